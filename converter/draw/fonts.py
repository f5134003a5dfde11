"""The fonts that ship with the package: which file draws a character, and how wide it is.

Every end (PDF, SVG, PNG) places text by these widths, so a line breaks in the same place in all of them.
Advance widths are used without kerning.
"""

from __future__ import annotations

from functools import cache, lru_cache
from pathlib import Path
from typing import Final, Literal

from converter.draw.truetype import FontFile

Weight = Literal["regular", "bold", "italic", "title"]

FONT_DIR: Final = Path(__file__).resolve().parent.parent / "data" / "fonts"
FONT_FILES: Final[dict[str, str]] = {
    "regular": "Carlito-Regular.ttf",
    "bold": "Carlito-Bold.ttf",
    "italic": "Carlito-Italic.ttf",
    "title": "GentiumBookPlus-Regular.ttf",
    "fallback": "DejaVuSans.ttf",
}
"""Text faces and the fallback for characters they lack; licences lie beside the files."""


@cache
def font_file(face: str) -> FontFile:
    """Return one of `FONT_FILES`, opened."""
    return FontFile((FONT_DIR / FONT_FILES[face]).read_bytes())


@lru_cache(maxsize=4096)
def advance(char: str, face: str) -> float | None:
    """Return the width of a character as a share of the type size, or None if the face has no glyph for it."""
    font = font_file(face)
    glyph = font.glyph(ord(char))
    return font.advance(glyph) / font.em if glyph else None


@lru_cache(maxsize=4096)
def split_runs(text: str, weight: str = "regular") -> tuple[tuple[str, str], ...]:
    """Return the text as runs of (face, characters), each drawable by that face.

    A character that no face has becomes U+FFFD, so that a gap in a title is seen, not lost.
    """
    runs: list[tuple[str, str]] = []
    for char in text:
        face = weight
        if advance(char, weight) is None:
            face = "fallback"
            if advance(char, "fallback") is None:
                char = " " if char.isspace() else "" if ord(char) < 32 else "\ufffd"
        if not char:
            continue
        if runs and runs[-1][0] == face:
            runs[-1] = (face, runs[-1][1] + char)
        else:
            runs.append((face, char))
    return tuple(runs)


@lru_cache(maxsize=8192)
def text_width(text: str, size_mm: float, weight: str = "regular") -> float:
    """Return the width of one line of text in mm.

    Parameters
    ----------
    text : str
    size_mm : float
        Type size (the em), in mm; 1 pt is 0.3528 mm.
    weight : str
        regular, bold, italic or title.

    Examples
    --------
    >>> text_width("", 4.0)
    0.0
    >>> text_width("WW", 4.0) > text_width("ii", 4.0) > 0
    True
    """
    total = 0.0
    for face, run in split_runs(text, weight):
        total += sum(advance(char, face) or 0.0 for char in run)
    return total * size_mm


def cap_height(size_mm: float, weight: str = "regular") -> float:
    """Return the height of a capital letter in mm; useful to centre figures on a row."""
    font = font_file(weight)
    high: float = font.cap_height / font.em * size_mm
    return high
