"""The fonts that ship with the package: which file draws a character, and how wide it is.

Every end (PDF, SVG, PNG) places text by these widths, so a line breaks in the same place in all of them.
Advance widths are used without kerning.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import Final, Literal

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


@dataclass(frozen=True, eq=False)
class FontMetrics:
    """Advance widths and heights of one font file, as shares of the type size."""

    ascent: float
    descent: float
    cap_height: float
    advances: dict[int, float]
    """Code point to advance width; a missing key means a missing glyph."""
    glyphs: dict[int, int]
    """Code point to number of the glyph in the file."""


def _character_map(data: bytes, at: int) -> dict[int, int]:
    """Return code point to glyph of the best Unicode subtable (formats 4 and 12 of the OpenType cmap table)."""
    count = struct.unpack_from(">H", data, at + 2)[0]
    best: tuple[int, int] | None = None
    for i in range(count):
        platform, _, offset = struct.unpack_from(">HHL", data, at + 4 + 8 * i)
        kind = struct.unpack_from(">H", data, at + offset)[0]
        if platform in (0, 3) and kind in (4, 12) and (best is None or kind > best[0]):
            best = (kind, at + offset)
    if best is None:
        return {}
    kind, start = best
    glyphs: dict[int, int] = {}
    if kind == 12:
        groups = struct.unpack_from(">L", data, start + 12)[0]
        for i in range(groups):
            first, last, glyph = struct.unpack_from(">LLL", data, start + 16 + 12 * i)
            glyphs.update(zip(range(first, last + 1), range(glyph, glyph + last - first + 1), strict=True))
        return glyphs
    double = struct.unpack_from(">H", data, start + 6)[0]
    size = double // 2
    ends = struct.unpack_from(f">{size}H", data, start + 14)
    starts = struct.unpack_from(f">{size}H", data, start + 16 + double)
    deltas = struct.unpack_from(f">{size}h", data, start + 16 + 2 * double)
    at_offsets = start + 16 + 3 * double
    offsets = struct.unpack_from(f">{size}H", data, at_offsets)
    for i, (first, last, delta, offset) in enumerate(zip(starts, ends, deltas, offsets, strict=True)):
        codes = range(first, min(last, 0xFFFE) + 1)
        if offset == 0:
            start = (first + delta) & 0xFFFF
            if start and start + len(codes) <= 0x10000:
                glyphs.update(zip(codes, range(start, start + len(codes)), strict=True))
                continue
            found = [(code + delta) & 0xFFFF for code in codes]
        else:
            listed = struct.unpack_from(f">{len(codes)}H", data, at_offsets + 2 * i + offset)
            found = [(glyph + delta) & 0xFFFF if glyph else 0 for glyph in listed]
        glyphs.update((code, glyph) for code, glyph in zip(codes, found, strict=True) if glyph)
    return glyphs


@cache
def font_metrics(face: str) -> FontMetrics:
    """Return the widths of one of `FONT_FILES`, read from the file's own tables."""
    data = (FONT_DIR / FONT_FILES[face]).read_bytes()
    tables = {}
    for i in range(struct.unpack_from(">H", data, 4)[0]):
        tag, _, offset, _ = struct.unpack_from(">4sLLL", data, 12 + 16 * i)
        tables[tag] = offset
    em = struct.unpack_from(">H", data, tables[b"head"] + 18)[0]
    ascent, descent = struct.unpack_from(">hh", data, tables[b"hhea"] + 4)
    long_metrics = struct.unpack_from(">H", data, tables[b"hhea"] + 34)[0]
    widths = struct.unpack_from(">" + "Hh" * long_metrics, data, tables[b"hmtx"])[::2]
    version = struct.unpack_from(">H", data, tables[b"OS/2"])[0]
    cap = struct.unpack_from(">h", data, tables[b"OS/2"] + 88)[0] if version >= 2 else round(0.7 * em)
    glyphs = _character_map(data, tables[b"cmap"])
    advances = {code: widths[min(glyph, long_metrics - 1)] / em for code, glyph in glyphs.items()}
    return FontMetrics(ascent / em, descent / em, cap / em, advances, glyphs)


@lru_cache(maxsize=4096)
def split_runs(text: str, weight: str = "regular") -> tuple[tuple[str, str], ...]:
    """Return the text as runs of (face, characters), each drawable by that face.

    A character that no face has becomes U+FFFD, so that a gap in a title is seen, not lost.
    """
    main = font_metrics(weight).advances
    runs: list[tuple[str, str]] = []
    for char in text:
        code = ord(char)
        face = weight
        if code not in main:
            face = "fallback"
            if code not in font_metrics("fallback").advances:
                char = " " if char.isspace() else "" if code < 32 else "\ufffd"
        if not char:
            continue
        if runs and runs[-1][0] == face:
            runs[-1] = (face, runs[-1][1] + char)
        else:
            runs.append((face, char))
    return tuple(runs)


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
    return _width(text, weight) * size_mm


@lru_cache(maxsize=8192)
def _width(text: str, weight: str) -> float:
    """Return the width of a text as a multiple of its type size."""
    total = 0.0
    for face, run in split_runs(text, weight):
        advances = font_metrics(face).advances
        total += sum([advances[ord(char)] for char in run])
    return total


def cap_height(size_mm: float, weight: str = "regular") -> float:
    """Return the height of a capital letter in mm; useful to centre figures on a row."""
    return font_metrics(weight).cap_height * size_mm
