"""The repeat in a strip of her own: found by the shortest description, cut at the best place.

For every possible period p the columns that fall together are laid over each other and each square takes the
majority. The strip is then described by the ``p * d`` squares of the tile and the list of squares where the strip
differs from it. A wrong square is taken to be as likely as `WRONG_SHARE`, so each one costs 5.6 bits and each right
one 0.03; a square of the tile costs `TILE_BITS`. The shortest description wins: a multiple of the true period
explains no more squares but costs a longer tile, a wrong period leaves many squares unexplained.

The place where the tile is cut does not change the border but decides how it is shown: between the two columns
with the fewest linked crosses, then nearest to a mirror axis, then furthest left.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log2

import numpy as np
import numpy.typing as npt

from converter.compose.frieze import mirror_constant, primitive_tile
from converter.errors import RequestError
from converter.model.arrays import CellArray, as_cells

WRONG_SHARE = 0.02
"""Share of squares that may be wrong in a strip that was drawn or read by hand."""
TILE_BITS = 0.6
"""Bits for one square of the tile: under 1, as strips are drawn with sense. From 0.5 to 0.7 the period is found nearly
always, with 2 to 5 % of the squares wrong; below 0.5 multiples of it win."""
LEAST_REPEATS = 1.5
"""A period is believed only if the strip shows at least so many of it."""


@dataclass(frozen=True, eq=False)
class Repeat:
    """What was found in a strip."""

    tile: CellArray
    """(d, p), bool."""
    wrong: int
    """Squares of the strip that differ from the repeat, which were put right."""
    shown: float
    """How many repeats the strip shows."""


def _wrong_bits(squares: int, wrong: int) -> float:
    return -wrong * log2(WRONG_SHARE) - (squares - wrong) * log2(1 - WRONG_SHARE)


def majority_tile(strip: CellArray, period: int) -> tuple[CellArray, int]:
    """Return the tile of a period and how many squares of the strip differ from it.

    A square with as many votes for a cross as against takes the cross.
    """
    d, n = strip.shape
    votes = np.zeros((d, period), dtype=np.int64)
    shown = np.zeros(period, dtype=np.int64)
    where = np.arange(n) % period
    np.add.at(votes.T, where, strip.T.astype(np.int64))
    np.add.at(shown, where, 1)
    tile = votes * 2 >= shown
    wrong = int(np.minimum(votes, shown - votes).sum())
    return tile, wrong


def link_counts(tile: CellArray) -> npt.NDArray[np.int64]:
    """Return for each column x how many pairs of crosses touch across the line between x - 1 and x.

    Pairs by side count 1, pairs by corner alone count 1 as well.
    """
    before = np.roll(tile, 1, axis=1)
    straight = (before & tile).sum(axis=0)
    down = (before[:-1] & tile[1:]).sum(axis=0)
    up = (before[1:] & tile[:-1]).sum(axis=0)
    return np.asarray(straight + down + up, dtype=np.int64)


def best_cut(tile: CellArray) -> int:
    """Return the column where one repeat is best begun: fewest links, then nearest to an axis, then leftmost."""
    p = tile.shape[1]
    links = link_counts(tile)
    a = mirror_constant(tile)

    def off_axis(x: int) -> int:
        # A cut before column x stands at x - 1/2; the axes stand at a/2 and (a + p)/2. Measured in half columns.
        return 0 if a is None else min(abs((2 * x - 1 - a - k * p + p) % (2 * p) - p) for k in (0, 1))

    return min(range(p), key=lambda x: (int(links[x]), off_axis(x), x))


def find_repeat(strip: CellArray) -> Repeat:
    """Find the repeat in a strip that shows it more than once.

    Parameters
    ----------
    strip : ndarray of shape (d, n), bool
        A strip cut anywhere, lengthwise from left to right. Blank rows and columns round it are cut away first.

    Returns
    -------
    repeat : Repeat
        A strip that shows no repeat comes back whole, with ``shown`` 1.

    Raises
    ------
    RequestError
        If there is no stitch in it.
    """
    cells = as_cells(strip, "strip")
    if not cells.any():
        raise RequestError("The strip has no stitch in it.", "Give a strip with at least one cross.")
    rows = np.flatnonzero(cells.any(axis=1))
    cells = cells[rows[0] : rows[-1] + 1]
    d, n = cells.shape
    best_bits, best_p = TILE_BITS * d * n, n
    for p in range(1, int(n / LEAST_REPEATS) + 1):
        _, wrong = majority_tile(cells, p)
        bits = TILE_BITS * d * p + _wrong_bits(d * n, wrong)
        if bits < best_bits - 1e-9:
            best_bits, best_p = bits, p
    tile, wrong = majority_tile(cells, best_p)
    tile = primitive_tile(tile)
    tile = np.roll(tile, -best_cut(tile), axis=1)
    return Repeat(tile=tile, wrong=wrong, shown=n / tile.shape[1])


def repeat_words(name: str, found: Repeat) -> str:
    """Return in plain words what was found in the strip of a file."""
    d, p = found.tile.shape
    if found.shown < LEAST_REPEATS:
        words = f"No repeat was found in '{name}': the whole of it, {p} x {d} stitches, counts as one."
        touching = link_counts(found.tile)[0] > 0
        return words + (" Leave a bare column at its end if the pieces shall not touch." if touching else "")
    wrong = {0: "", 1: "; 1 square that differed was put right"}.get(
        found.wrong, f"; {found.wrong} squares that differed were put right"
    )
    return f"Repeat found in '{name}': {p} x {d} stitches, shown {found.shown:.3g} times{wrong}."


def choose_rows(tile: CellArray, first: int, last: int) -> CellArray:
    """Return rows ``first`` to ``last`` of a tile, counted from 1 at the outside, both included.

    Raises
    ------
    RequestError
        If the rows are not there, or nothing is left.
    """
    if not 1 <= first <= last <= tile.shape[0]:
        raise RequestError(
            f"Rows {first}-{last} were asked for, but the strip has {tile.shape[0]}.",
            "Count from 1 at the outside, the lower number first.",
        )
    kept = primitive_tile(tile[first - 1 : last])
    if not kept.any():
        raise RequestError(f"Rows {first}-{last} of the strip hold no stitch.", "Take other rows.")
    return kept


def double_rows(tile: CellArray, rows: list[int]) -> CellArray:
    """Return the tile with the given rows (from 1 at the outside) standing twice."""
    for row in rows:
        if not 1 <= row <= tile.shape[0]:
            raise RequestError(
                f"Row {row} was to be doubled, but the strip has {tile.shape[0]}.", "Count from 1 at the outside."
            )
    order = [r for r in range(tile.shape[0]) for _ in range(2 if r + 1 in rows else 1)]
    return np.ascontiguousarray(tile[order])
