"""Contrast between two colours, and the print colour of a thread.

References
----------
W3C, Web Content Accessibility Guidelines 2.2: terms "relative luminance" and "contrast ratio";
success criteria 1.4.3 (text, 4.5), 1.4.6 (7) and 1.4.11 (graphics, 3). sRGB curve: IEC 61966-2-1:1999.
"""

from __future__ import annotations

from typing import Final

from converter.model.materials import rgb

TEXT_CONTRAST: Final = 4.5
GRAPHIC_CONTRAST: Final = 3.0
LINE_CONTRAST: Final = 12.0
"""Backstitch on paper: dark enough to stand out beside the marks in black and white too."""


def linear_component(value: int) -> float:
    """Return the linear light of an 8-bit sRGB component, 0 to 1.

    Examples
    --------
    >>> round(linear_component(188), 6)
    0.502886
    """
    share = value / 255
    return share / 12.92 if share <= 0.04045 else float(((share + 0.055) / 1.055) ** 2.4)


def _coded_component(linear: float) -> int:
    share = 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055
    return min(255, max(0, int(share * 255)))


def relative_luminance(colour: str) -> float:
    """Return the relative luminance of ``#rrggbb``: 0 black to 1 white."""
    red, green, blue = (linear_component(value) for value in rgb(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast_ratio(first: str, second: str = "#ffffff") -> float:
    """Return the contrast ratio of two colours, 1 to 21.

    Examples
    --------
    >>> round(contrast_ratio("#000000"), 3)
    21.0
    >>> round(contrast_ratio("#767676"), 3)
    4.542
    """
    light, dark = sorted((relative_luminance(first), relative_luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def print_colour(colour: str, least: float = TEXT_CONTRAST) -> str:
    """Return the colour, or a darker one of the same hue, that has a contrast on white paper.

    A thread paler than the paper allows would vanish from a chart; it is printed darker, and the key says so.

    Examples
    --------
    >>> print_colour("#b01e28")
    '#b01e28'
    >>> contrast_ratio(print_colour("#ffe680")) >= 4.5
    True
    """
    if contrast_ratio(colour) >= least:
        return colour
    factor = 1.0
    red, green, blue = (linear_component(value) for value in rgb(colour))
    darker = colour
    while contrast_ratio(darker) < least:
        factor *= 0.94
        darker = "#" + "".join(f"{_coded_component(part * factor):02x}" for part in (red, green, blue))
    return darker


def tint(colour: str, share: float) -> str:
    """Return the colour mixed into white; ``share`` 0 is white, 1 the colour."""
    return "#" + "".join(f"{round(255 + (value - 255) * share):02x}" for value in rgb(colour))
