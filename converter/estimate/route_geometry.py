r"""Where the legs of the crosses lie, and which back moves a thread may make.

Unit of length: one stitch side. A cross on cell (row, col) has two legs on the front. The bottom leg ``/`` joins the
holes (row + 1, col) and (row, col + 1); the top leg ``\`` joins (row, col) and (row + 1, col + 1). In every cell the
same leg lies underneath, so ``/`` is always worked first. Leg ``2 k`` is the bottom leg of cross k, leg ``2 k + 1``
its top leg.

Between two legs the thread runs straight behind the cloth from one hole to another. It may not come up through the
hole it went down (the stitch would pull out), so a back move is at least 1 long. Longer moves are carries: they may
not pass the limit, and where carries have to be hidden they may run only behind worked squares, their edges included.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import gcd, hypot

import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]

ROOT2 = 2.0**0.5
EPSILON = 1e-9

LEG_ENDS = np.array([[[1, 0], [0, 1]], [[0, 0], [1, 1]]], dtype=np.int64)
"""Holes of the two legs as steps from the cell: [leg, end, (row, col)]."""


@dataclass(frozen=True, eq=False)
class Crosses:
    """The crosses of a chart, numbered in reading order.

    Parameters
    ----------
    cells : ndarray of shape (rows, cols), bool
    row, col : ndarray of shape (n,), int
        Cell of each cross.
    index : ndarray of shape (rows + 2 * pad, cols + 2 * pad), int32
        Number of the cross on each cell, -1 where there is none.
    pad : int
        Width of the empty rim round ``index``.
    """

    cells: CellArray
    row: IntArray
    col: IntArray
    index: npt.NDArray[np.int32]
    pad: int

    @classmethod
    def of(cls, cells: CellArray, pad: int = 2) -> Crosses:
        """Return the numbered crosses of a grid."""
        row, col = np.nonzero(cells)
        index = np.full((cells.shape[0] + 2 * pad, cells.shape[1] + 2 * pad), -1, dtype=np.int32)
        index[row + pad, col + pad] = np.arange(row.size, dtype=np.int32)
        return cls(cells, row.astype(np.int64), col.astype(np.int64), index, pad)

    @property
    def count(self) -> int:
        """Number of crosses."""
        return int(self.row.size)

    def leg_holes(self, legs: IntArray) -> IntArray:
        """Return the two holes of each leg, shape (m, 2, 2): [leg, end, (row, col)]."""
        cross = legs >> 1
        corner = np.stack((self.row[cross], self.col[cross]), axis=1)
        holes: IntArray = corner[:, None, :] + LEG_ENDS[legs & 1]
        return holes

    def neighbour(self, step: tuple[int, int]) -> npt.NDArray[np.int32]:
        """Return for each cross the number of the cross one ``step`` (rows, cols) on, -1 if there is none."""
        return self.index[self.row + self.pad + step[0], self.col + self.pad + step[1]]


@dataclass(frozen=True, eq=False)
class MoveRules:
    """What a back move may be.

    Parameters
    ----------
    cells : ndarray of shape (rows, cols), bool
        The worked squares that hide a carry.
    carry : float
        Longest back move, at least 1.
    hidden : bool
        True = moves run only behind worked squares.
    """

    cells: CellArray
    carry: float
    hidden: bool
    _behind: dict[tuple[int, int], npt.NDArray[np.bool_]] = field(default_factory=dict)

    def length(self, start: IntArray, end: IntArray) -> FloatArray:
        """Return the length of each back move, infinite where it is not allowed.

        Parameters
        ----------
        start, end : ndarray of shape (..., 2), int
            Holes (row, col).
        """
        step = end - start
        square = step[..., 0] ** 2 + step[..., 1] ** 2
        length = np.sqrt(square.astype(np.float64))
        length[(square == 0) | (length > self.carry + EPSILON)] = np.inf
        if self.hidden:
            self._drop_visible(start, step, length)
        return length

    def _drop_visible(self, start: IntArray, step: IntArray, length: FloatArray) -> None:
        live = np.isfinite(length)
        at, by = start[live], step[live]
        if not len(at):
            return
        reach = int(self.carry) + 1
        code = (by[:, 0] + reach) * (2 * reach + 1) + by[:, 1] + reach
        kept = np.ones(code.size, dtype=np.bool_)
        order = np.argsort(code, kind="stable")
        values, first = np.unique(code[order], return_index=True)
        for value, part in zip(values.tolist(), np.split(order, first[1:]), strict=True):
            grid = self.behind((value // (2 * reach + 1) - reach, value % (2 * reach + 1) - reach))
            kept[part] = grid[at[part, 0], at[part, 1]]
        ends = length[live]
        ends[~kept] = np.inf
        length[live] = ends

    def behind(self, step: tuple[int, int]) -> npt.NDArray[np.bool_]:
        """Return for each hole whether a move by ``step`` from it runs only behind worked squares.

        Returns
        -------
        ndarray of shape (rows + 1, cols + 1), bool
            False also where the move would leave the grid.
        """
        if step not in self._behind:
            self._behind[step] = _behind(self.cells, step)
        return self._behind[step]


def _behind(cells: CellArray, step: tuple[int, int]) -> npt.NDArray[np.bool_]:
    rows, cols = cells.shape
    rim = max(abs(step[0]), abs(step[1])) + 1
    wide = np.zeros((rows + 1 + 2 * rim, cols + 1 + 2 * rim), dtype=np.bool_)
    wide[rim : rim + rows, rim : rim + cols] = cells

    def shifted(dr: int, dc: int) -> npt.NDArray[np.bool_]:
        return wide[rim + dr : rim + dr + rows + 1, rim + dc : rim + dc + cols + 1]

    result = np.ones((rows + 1, cols + 1), dtype=np.bool_)
    if step[0] == 0 or step[1] == 0:
        count, across = max(abs(step[0]), abs(step[1])), step[0] == 0
        low = min(step[0], step[1], 0)
        for k in range(low, low + count):
            result &= (shifted(-1, k) | shifted(0, k)) if across else (shifted(k, -1) | shifted(k, 0))
    else:
        for dr, dc in crossed_cells(step):
            result &= shifted(dr, dc)
    return result


def crossed_cells(step: tuple[int, int]) -> list[tuple[int, int]]:
    """Return the cells whose inside a slanting move from hole (0, 0) by ``step`` crosses.

    Examples
    --------
    >>> crossed_cells((1, 2))
    [(0, 0), (0, 1)]
    >>> crossed_cells((-2, 2))
    [(-1, 0), (-2, 1)]
    """
    part = gcd(step[0], step[1])
    dr, dc = abs(step[0]) // part, abs(step[1]) // part
    found = [
        (i + k * dr, j + k * dc)
        for k in range(part)
        for i in range(dr)
        for j in range(dc)
        if max(i * dc, j * dr) < min((i + 1) * dc, (j + 1) * dr)
    ]
    return [(i if step[0] > 0 else -1 - i, j if step[1] > 0 else -1 - j) for i, j in found]


def link_length(step: tuple[int, int]) -> float:
    """Return the shortest back move from a finished cross to the start of the cross one ``step`` on.

    A finished cross is left from either hole of its top leg and the next is begun at either hole of its bottom leg,
    so the move is the step made shorter by one side: 1 for all crosses of the same colour of a chequerboard that are
    two sides away, the square root of 2 for the next cross in the row.
    """
    ends = ((1, 0), (0, 1), (-1, 0), (0, -1))
    lengths = [hypot(step[0] + dr, step[1] + dc) for dr, dc in ends]
    return min(length for length in lengths if length > 0)


def link_steps(carry: float) -> list[tuple[tuple[int, int], float]]:
    """Return all steps between crosses that one back move of at most ``carry`` can bridge, with its length.

    Shortest first, then in reading order.
    """
    reach = int(carry) + 2
    steps = [
        ((dr, dc), link_length((dr, dc)))
        for dr in range(-reach, reach + 1)
        for dc in range(-reach, reach + 1)
        if (dr, dc) != (0, 0)
    ]
    return sorted((s for s in steps if s[1] <= carry + EPSILON), key=lambda s: (round(s[1], 9), s[0]))
