"""Letters, numbers and dates in stitches: two alphabets of our own, with accents and proportional spacing.

Glyphs stand side by side in text grids. An accented letter is taken apart by Unicode (base letter and marks), the
marks are centred above or below it. Two letters are set so that their nearest crosses, looking one row up and down
as well, are the letter space apart; they may move closer than their boxes by one stitch (small) or two (large), so
that AV, To or L' do not gape.

A text can also be worked in backstitch: every cross becomes a hole, neighbours by side are joined, neighbours by
corner only where no side way leads round. A cross that stands alone becomes half a stitch.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Final

import numpy as np

from converter.errors import UsageError
from converter.model.arrays import CellArray, LineArray

ALPHABETS: Final = ("small", "large")
"""Heights of the capitals: 5 and 9 stitches."""
_LETTER_SPACE: Final = {"small": 1, "large": 2}
_WORD_SPACE: Final = {"small": 3, "large": 5}
_CLOSER: Final = {"small": 1, "large": 2}
_MARK_GAP: Final = 1

_MARKS: Final = {
    "\u0300": "grave", "\u0301": "acute", "\u0302": "circumflex", "\u0303": "tilde", "\u0308": "diaeresis",
    "\u030a": "ring", "\u030c": "caron", "\u0304": "macron", "\u0306": "breve", "\u0307": "dot", "\u030b": "double",
    "\u0327": "cedilla", "\u0328": "ogonek", "\u0326": "comma", "\u0323": "under",
}  # fmt: skip
_ALIKE: Final = {
    "`": "‘",
    "´": "’",
    "„": "“",
    "−": "-",
    "…": "...",
    "ĳ": "ij",
    "Ĳ": "IJ",
    "ﬁ": "fi",
    "ﬂ": "fl",
    "ſ": "s",
}


@dataclass(frozen=True, eq=False)
class Glyph:
    """A letter on its base line."""

    cells: CellArray
    """(rows, cols), bool, without blank edge columns."""
    rise: int
    """Rows above the base line; the others hang below it."""


@dataclass(frozen=True, eq=False)
class TextBlock:
    """A line of text in stitches.

    Parameters
    ----------
    text : str
    alphabet : str
    cells : ndarray of shape (rows, cols), bool
        Without blank edges.
    rise : int
        Rows above the base line.
    """

    text: str
    alphabet: str
    cells: CellArray
    rise: int

    @property
    def width(self) -> int:
        """Columns."""
        return int(self.cells.shape[1])

    @property
    def height(self) -> int:
        """Rows."""
        return int(self.cells.shape[0])


def _read_blocks(name: str) -> list[tuple[list[str], dict[str, str], list[list[str]]]]:
    """Return the blocks of a letter file: names, keys, and the rows of every glyph."""
    text = files("converter").joinpath(f"data/letters/{name}.txt").read_text(encoding="utf-8")
    blocks: list[tuple[list[str], dict[str, str], list[list[str]]]] = []
    for line in text.splitlines():
        if not line.strip() or line.startswith("; "):
            continue
        key, colon, value = line.partition(": ")
        if colon and key.isalpha():
            if key == "letters":
                blocks.append((value.split(), {}, [[] for _ in value.split()]))
            else:
                blocks[-1][1][key] = value.strip()
            continue
        if line.rstrip().endswith(": above") or line.rstrip().endswith(": below"):
            continue
        for rows, part in zip(blocks[-1][2], line.split(), strict=True):
            rows.append(part)
    return blocks


def _grid(rows: list[str]) -> CellArray:
    return np.array([[c == "#" for c in row] for row in rows], dtype=np.bool_)


def _trim_columns(cells: CellArray) -> CellArray:
    inked = np.flatnonzero(cells.any(axis=0))
    return cells[:, inked[0] : inked[-1] + 1]


def _trim_rows(cells: CellArray, rise: int) -> tuple[CellArray, int]:
    inked = np.flatnonzero(cells.any(axis=1))
    return cells[inked[0] : inked[-1] + 1], rise - int(inked[0])


@lru_cache(maxsize=4)
def _glyphs(alphabet: str) -> dict[str, Glyph]:
    found: dict[str, Glyph] = {}
    for names, keys, grids in _read_blocks(alphabet):
        for name, rows in zip(names, grids, strict=True):
            found[name] = Glyph(_trim_columns(_grid(rows)), int(keys["base"]))
    return found


@lru_cache(maxsize=4)
def _marks(alphabet: str) -> dict[str, tuple[CellArray, bool]]:
    found: dict[str, tuple[CellArray, bool]] = {}
    for names, keys, grids in _read_blocks("marks"):
        if alphabet in keys:
            for name, rows in zip(names, grids, strict=True):
                cells, _ = _trim_rows(_trim_columns(_grid(rows)), 0)
                found[name] = (cells, keys[alphabet] == "above")
    return found


def check_alphabet(alphabet: str) -> str:
    """Return the name of an alphabet, or raise UsageError."""
    if alphabet not in ALPHABETS:
        raise UsageError(f"There is no alphabet '{alphabet}'.", f"Choose {' or '.join(ALPHABETS)}.")
    return alphabet


def _undotted(letter: str, alphabet: str) -> Glyph:
    """Return i or j without its dot, to carry another mark."""
    if letter == "i":
        return _glyphs(alphabet)["ı"]
    glyph = _glyphs(alphabet)[letter]
    blank = np.flatnonzero(~glyph.cells.any(axis=1))
    under = int(blank[blank < glyph.rise].max()) + 1
    return Glyph(glyph.cells[under:], glyph.rise - under)


@lru_cache(maxsize=1024)
def glyph(letter: str, alphabet: str) -> Glyph:
    """Return a letter with its accents.

    Parameters
    ----------
    letter : str
        One character, composed or followed by combining marks.
    alphabet : str

    Raises
    ------
    UsageError
        If the alphabet has no such letter; the message names it.
    """
    known = _glyphs(alphabet)
    if letter in known:
        return known[letter]
    base, *marks = list(unicodedata.normalize("NFD", letter))
    # Marks that Unicode does not take apart, such as the cedilla of some letters, stay whole and are unknown.
    if base not in known or any(mark not in _MARKS for mark in marks):
        raise UsageError(
            f"The {alphabet} letters have no '{letter}'.", "Use Latin letters, digits and common punctuation."
        )
    above = [m for m in marks if _marks(alphabet)[_MARKS[m]][1]]
    found = _undotted(base, alphabet) if above and base in "ij" else known[base]
    for mark in marks:
        cells, over = _marks(alphabet)[_MARKS[mark]]
        found = _with_mark(found, cells, over)
    return found


def _with_mark(letter: Glyph, mark: CellArray, above: bool) -> Glyph:
    cells, rise = _trim_rows(letter.cells, letter.rise)
    gap = _MARK_GAP if above else 0
    width = max(cells.shape[1], mark.shape[1])
    left, mark_left = (width - cells.shape[1]) // 2, (width - mark.shape[1]) // 2
    grown = np.zeros((cells.shape[0] + gap + mark.shape[0], width), dtype=np.bool_)
    at, mark_at = (mark.shape[0] + gap, 0) if above else (0, cells.shape[0])
    grown[at : at + cells.shape[0], left : left + cells.shape[1]] = cells
    grown[mark_at : mark_at + mark.shape[0], mark_left : mark_left + mark.shape[1]] |= mark
    return Glyph(grown, rise + mark.shape[0] + gap if above else rise)


def _split(text: str) -> list[str]:
    """Split into characters, each with the combining marks that follow it."""
    for sign, other in _ALIKE.items():
        text = text.replace(sign, other)
    parts: list[str] = []
    for letter in unicodedata.normalize("NFC", text):
        if parts and unicodedata.combining(letter):
            parts[-1] += letter
        else:
            parts.append(letter)
    return parts


def _nearest(left: Glyph, right: Glyph) -> int:
    """Return the blank columns between two glyphs whose boxes touch, at their nearest rows (one up or down)."""
    top = max(left.rise, right.rise)
    rows = top + max(left.cells.shape[0] - left.rise, right.cells.shape[0] - right.rise)
    far = 99
    gap_left = np.full(rows + 2, far)
    gap_right = np.full(rows + 2, far)
    for gaps, letter, edge in ((gap_left, left, -1), (gap_right, right, 1)):
        for r in range(letter.cells.shape[0]):
            inked = np.flatnonzero(letter.cells[r])
            if inked.size:
                at = 1 + top - letter.rise + r
                gaps[at] = letter.cells.shape[1] - 1 - inked[-1] if edge < 0 else inked[0]
    near_right = np.minimum(np.minimum(gap_right[:-2], gap_right[1:-1]), gap_right[2:])
    return int((gap_left[1:-1] + near_right).min())


def text_cells(text: str, alphabet: str = "small", wider: int = 0) -> TextBlock:
    """Set one line of text in crosses.

    Parameters
    ----------
    text : str
        Leading and trailing blanks are left out, inner ones kept.
    alphabet : str
        ``small`` (capitals 5 high) or ``large`` (9 high).
    wider : int
        Stitches added to the first word space, to make a width even or odd; a single word stays as it is, since a
        wide letter space would be seen sooner than half a stitch off the middle.

    Returns
    -------
    block : TextBlock

    Raises
    ------
    UsageError
        If nothing is left to set, or a letter is unknown.

    Examples
    --------
    >>> text_cells("T").cells.astype(int)
    array([[1, 1, 1],
           [0, 1, 0],
           [0, 1, 0],
           [0, 1, 0],
           [0, 1, 0]])
    """
    check_alphabet(alphabet)
    text = " ".join(text.split("\n")).strip()
    letters = _split(text)
    if not letters:
        raise UsageError("The text is empty.", "Give at least one letter.")
    space = _LETTER_SPACE[alphabet]
    placed: list[tuple[int, Glyph]] = []
    x, before, spaces = 0, None, 0
    for letter in letters:
        if letter.isspace():
            spaces += 1
            continue
        shape = glyph(letter, alphabet)
        if before is not None and spaces:
            x += _WORD_SPACE[alphabet] * spaces + wider
            wider = 0
        elif before is not None:
            x += space - min(_CLOSER[alphabet], max(0, _nearest(before, shape)))
        placed.append((x, shape))
        x += shape.cells.shape[1]
        before, spaces = shape, 0
    rise = max(g.rise for _, g in placed)
    below = max(g.cells.shape[0] - g.rise for _, g in placed)
    cells = np.zeros((rise + max(below, 0), x), dtype=np.bool_)
    for at, shape in placed:
        row = rise - shape.rise
        cells[row : row + shape.cells.shape[0], at : at + shape.cells.shape[1]] |= shape.cells
    cells, rise = _trim_rows(_trim_columns(cells), rise)
    return TextBlock(text, alphabet, cells, rise)


def lines_from_cells(cells: CellArray) -> LineArray:
    """Turn thin strokes of crosses into backstitches between holes.

    A dot becomes one backstitch upwards, from hole to hole like all others; in the top row, downwards.

    Parameters
    ----------
    cells : ndarray of shape (rows, cols), bool

    Returns
    -------
    lines : ndarray of shape (K, 2, 2), float
        Hole (row, col) stands for cell (row, col). Sorted by the first end.

    Examples
    --------
    >>> lines_from_cells(np.array([[1, 1], [0, 1]], dtype=bool)).tolist()
    [[[0.0, 0.0], [0.0, 1.0]], [[0.0, 1.0], [1.0, 1.0]]]
    """
    found: list[list[tuple[float, float]]] = []
    rows, cols = cells.shape
    joined = np.zeros_like(cells)

    def full(r: int, c: int) -> bool:
        return 0 <= r < rows and 0 <= c < cols and bool(cells[r, c])

    for r, c in np.argwhere(cells).tolist():
        for dr, dc in ((0, 1), (1, -1), (1, 0), (1, 1)):
            if not full(r + dr, c + dc) or (dr and dc and (full(r, c + dc) or full(r + dr, c))):
                continue
            found.append([(r, c), (r + dr, c + dc)])
            joined[r, c] = joined[r + dr, c + dc] = True
    for r, c in np.argwhere(cells & ~joined).tolist():
        found.append([(r - 1, c), (r, c)] if r else [(0, c), (1, c)])
    found.sort()
    return np.array(found, dtype=np.float64).reshape(-1, 2, 2)
