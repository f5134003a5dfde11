"""Colours in plain words, for the shopping list and the printed key."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from converter.model.materials import rgb

_WORDS: Final = {
    "white": "#ffffff", "cream": "#fdf5dc", "ivory": "#fffff0", "pale yellow": "#fff3a0", "yellow": "#ffd800",
    "golden yellow": "#f0b000", "orange": "#ff8000", "pale orange": "#ffc080", "coral": "#ff7050",
    "bright red": "#e8101c", "red": "#d01020", "deep red": "#b01e28", "dark red": "#8a0f1a", "wine red": "#601020",
    "pink": "#ff90b0", "pale pink": "#ffd0dc", "deep pink": "#e03080", "raspberry": "#b01860", "lilac": "#c8a8e0",
    "violet": "#7a30b0", "dark violet": "#48206c", "pale blue": "#bcdcf4", "light blue": "#70b4e8", "blue": "#1f5fc8",
    "deep blue": "#183c94", "dark blue": "#10204c", "turquoise": "#18b0b0", "dark turquoise": "#0c6468",
    "pale green": "#bce4b8", "light green": "#78c860", "green": "#1e8c3c", "deep green": "#0f6030",
    "dark green": "#103820", "olive green": "#707020", "pale brown": "#d8b48c", "sand": "#e4d4b0", "tan": "#b88850",
    "brown": "#7c4a20", "dark brown": "#442812", "rust": "#a84818", "pale gray": "#dcdcdc", "light gray": "#b8b8b8",
    "gray": "#808080", "dark gray": "#484848", "black": "#101010",
}  # fmt: skip
"""Words of ours for colours of ours; nothing to do with any maker's names."""


Lab = tuple[float, float, float]


def _lab(colour: str) -> Lab:
    """Return CIE 1976 L*, a*, b* of an sRGB colour under D65 (IEC 61966-2-1; ISO/CIE 11664-4)."""
    red, green, blue = (
        share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4
        for share in (value / 255 for value in rgb(colour))
    )
    x = (0.4124 * red + 0.3576 * green + 0.1805 * blue) / 0.9505
    y = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    z = (0.0193 * red + 0.1192 * green + 0.9505 * blue) / 1.0890
    fx, fy, fz = (t ** (1 / 3) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in (x, y, z))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)


@lru_cache(maxsize=1)
def _named() -> dict[str, Lab]:
    return {name: _lab(colour) for name, colour in _WORDS.items()}


def colour_words(colour: str) -> str:
    """Return plain words for ``#rrggbb``: those of the nearest of our named colours in CIELAB.

    Examples
    --------
    >>> colour_words("#b01e28"), colour_words("#ffffff"), colour_words("#1a2550")
    ('deep red', 'white', 'dark blue')
    """
    wanted = _lab(colour)
    return min(_named().items(), key=lambda item: sum((a - b) ** 2 for a, b in zip(item[1], wanted, strict=True)))[0]
