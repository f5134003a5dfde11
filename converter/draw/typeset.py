"""Breaking text into lines and setting paragraphs, numbered steps and small tables."""

from __future__ import annotations

import re
from typing import Final

from converter.draw.canvas import INK, Canvas
from converter.draw.fonts import Weight, text_width

BODY_MM: Final = 3.9
"""Running text: 11 pt."""
SMALL_MM: Final = 3.2
"""Notes under drawings: 9 pt."""
LEADING: Final = 1.32
"""Line distance as a share of the type size."""
_FOLLOWS: Final = re.compile(r"(\d+/\d+|in|cm|mm|m|yd)[).,;:]*")
"""What is read with the number before it: a fraction or a unit."""


def wrap_text(text: str, width_mm: float, *, size_mm: float = BODY_MM, weight: Weight = "regular") -> list[str]:
    """Break a text into lines that fit a width.

    Parameters
    ----------
    text : str
        Blank-separated words; a newline forces a break.
    width_mm : float

    Returns
    -------
    lines : list of str
        No line is wider than ``width_mm`` unless a single character is. A word wider than the line is cut. A mixed
        number keeps its fraction, and a number its unit.

    Examples
    --------
    >>> wrap_text("one two", 1000.0)
    ['one two']
    """
    lines: list[str] = []
    space = text_width(" ", 1.0, weight) * size_mm
    for part in text.split("\n"):
        line, filled = "", 0.0
        for word in _kept_together(part.split(), width_mm, size_mm, weight):
            # Widths add up: there is no kerning.
            wide = text_width(word, 1.0, weight) * size_mm
            if line and filled + space + wide <= width_mm:
                line, filled = f"{line} {word}", filled + space + wide
                continue
            if line:
                lines.append(line)
            while wide > width_mm and len(word) > 1:
                keep = len(word) - 1
                while keep > 1 and text_width(word[:keep], 1.0, weight) * size_mm > width_mm:
                    keep -= 1
                lines.append(word[:keep])
                word = word[keep:]
                wide = text_width(word, 1.0, weight) * size_mm
            line, filled = word, wide
        lines.append(line)
    return lines


def _kept_together(words: list[str], width_mm: float, size_mm: float, weight: Weight) -> list[str]:
    """Return the words, those that would be misread apart as one: a line must not end in the 1 of 1 1/2 in."""
    kept: list[str] = []
    for word in words:
        if kept and kept[-1][-1].isdigit() and _FOLLOWS.fullmatch(word):
            both = f"{kept[-1]} {word}"
            if text_width(both, 1.0, weight) * size_mm <= width_mm:
                kept[-1] = both
                continue
        kept.append(word)
    return kept


def paragraph_height(
    text: str,
    width_mm: float,
    *,
    size_mm: float = BODY_MM,
    weight: Weight = "regular",
    leading: float = LEADING,
) -> float:
    """Return the height in mm that `set_paragraph` would take."""
    return len(wrap_text(text, width_mm, size_mm=size_mm, weight=weight)) * size_mm * leading


def set_paragraph(
    canvas: Canvas,
    x_mm: float,
    top_mm: float,
    width_mm: float,
    text: str,
    *,
    size_mm: float = BODY_MM,
    weight: Weight = "regular",
    colour: str = INK,
    leading: float = LEADING,
) -> float:
    """Set a text below ``top_mm`` and return the y of its lower edge.

    Examples
    --------
    >>> from converter.draw.canvas import Drawing
    >>> sheet = Drawing()
    >>> sheet.begin_page(100.0, 100.0)
    >>> bottom = set_paragraph(sheet, 10.0, 10.0, 80.0, "Wash your hands.", size_mm=4.0, leading=1.25)
    >>> bottom
    15.0
    """
    step = size_mm * leading
    y = top_mm
    for line in wrap_text(text, width_mm, size_mm=size_mm, weight=weight):
        canvas.text(x_mm, y + 0.5 * step + 0.3 * size_mm, line, size_mm=size_mm, weight=weight, colour=colour)
        y += step
    return y


def fit_size(text: str, width_mm: float, *, size_mm: float, least_mm: float, weight: Weight = "regular") -> float:
    """Return the largest type size up to ``size_mm``, at least ``least_mm``, at which a text fits one line."""
    width = text_width(text, size_mm, weight)
    return size_mm if width <= width_mm else max(least_mm, size_mm * width_mm / width)


def shorten(text: str, width_mm: float, *, size_mm: float = BODY_MM, weight: Weight = "regular") -> str:
    """Return the text, or as much of its start as fits with an ellipsis."""
    if text_width(text, size_mm, weight) <= width_mm:
        return text
    keep = len(text)
    while keep > 0 and text_width(text[:keep].rstrip() + "…", size_mm, weight) > width_mm:
        keep -= 1
    return text[:keep].rstrip() + "…"
