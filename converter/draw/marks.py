"""The list of marks found on squared paper: a sample of each with its number and count."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from converter.draw.canvas import Drawing
from converter.draw.typeset import BODY_MM
from converter.draw.words import Words, english
from converter.model.arrays import PictureArray

_ROW_MM: Final = 16.0
_SAMPLE_MM: Final = 12.0
_WIDTH_MM: Final = 110.0


def marks_drawing(title: str, marks: Sequence[tuple[int, str, PictureArray]], words: Words | None = None) -> Drawing:
    """Return a small sheet with the marks.

    Parameters
    ----------
    title : str
    marks : sequence of (count, colour, sample)
        Commonest first; ``sample`` is uint8 (side, side, 3).
    """
    words = words or english()
    drawing = Drawing(title=words("{title}: marks found", title=title), language=words.language)
    drawing.begin_page(_WIDTH_MM, 22.0 + _ROW_MM * max(1, len(marks)))
    with drawing.tag("H1"):
        drawing.text(8.0, 13.0, words("Marks found"), size_mm=6.0, weight="title")
    top = 19.0
    if not marks:
        drawing.text(8.0, top + 8, words("No marked squares."), size_mm=BODY_MM)
    for number, (count, colour, sample) in enumerate(marks, 1):
        drawing.image(8.0, top, _SAMPLE_MM, _SAMPLE_MM, sample, alt=words("Mark {number}", number=number))
        drawing.rectangles([[8.0, top, _SAMPLE_MM, _SAMPLE_MM]], stroke="#8a8a8a", width_mm=0.2)
        text = words.many("{number} square", "{number} squares", count)
        drawing.text(26.0, top + 5.5, words("Mark {number}", number=number), size_mm=BODY_MM, weight="bold")
        drawing.text(26.0, top + 10.5, f"{text}, {colour}", size_mm=BODY_MM)
        top += _ROW_MM
    return drawing
