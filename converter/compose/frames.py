"""Frames in backstitch, and corner pieces with backstitch lines that lead from one to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from converter.compose.ring import NO_LINES
from converter.compose.search import Costs
from converter.model.arrays import CellArray, LineArray

if TYPE_CHECKING:
    from converter.compose.bands import FittedBand

FRAME_NAMES = {"line": False, "double line": True}
"""Names of the backstitch frames: one line, or two lines a stitch apart."""


def _unit_stitches(points: list[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    """Cut a path of level, upright and 45 degree runs through grid points into backstitches one cell long."""
    stitches = []
    for (r0, c0), (r1, c1) in pairwise(points):
        steps = int(max(abs(r1 - r0), abs(c1 - c0)))
        # Whole steps, so that every end is a hole exactly and reflections agree to the last bit.
        down, along = (r1 - r0) / max(1, steps), (c1 - c0) / max(1, steps)
        for k in range(steps):
            stitches.append([(r0 + down * k, c0 + along * k), (r0 + down * (k + 1), c0 + along * (k + 1))])
    return stitches


def rectangle_lines(top: int, left: int, bottom: int, right: int) -> LineArray:
    """Return the backstitches of a rectangle through four holes, each one cell long, from the top left round."""
    corners: list[tuple[float, float]] = [(top, left), (top, right), (bottom, right), (bottom, left), (top, left)]
    return np.array(_unit_stitches(corners), dtype=np.float64).reshape(-1, 2, 2)


@dataclass(frozen=True, eq=False)
class FrameBand:
    """A frame in backstitch: one line, or two lines one stitch apart."""

    pair: bool = False
    opening: tuple[int, int] | None = None
    cost: float = 0.0

    @property
    def depth(self) -> int:
        """0 for one line, 1 for two."""
        return int(self.pair)

    @property
    def whole(self) -> bool:
        """A line always comes out even."""
        return True

    def best_costs(self, widths: Sequence[int], heights: Sequence[int]) -> Costs:
        """Return zeros: a line fits round everything."""
        return np.zeros((len(widths), len(heights)))

    def best_ring(self, w: int, h: int) -> FittedBand:
        """Return the frame round an opening."""
        return FrameBand(self.pair, (h, w))

    def _outer(self) -> tuple[int, int]:
        assert self.opening is not None
        return self.opening[0] + 2 * self.depth, self.opening[1] + 2 * self.depth

    def draw(self) -> tuple[CellArray, CellArray]:
        """Return two blank grids: a frame has no crosses."""
        blank = np.zeros(self._outer(), dtype=np.bool_)
        return blank, blank

    def stitch_lines(self) -> LineArray:
        """Return the backstitches."""
        rows, cols = self._outer()
        lines = [rectangle_lines(0, 0, rows, cols)]
        if self.pair:
            lines.append(rectangle_lines(1, 1, rows - 1, cols - 1))
        return np.concatenate(lines)

    def words(self) -> list[str]:
        """Nothing is ever changed."""
        return []

    def corner_words(self) -> str:
        """Return what it is."""
        return "two lines in backstitch" if self.pair else "a line in backstitch"

    def drawn_check(self) -> tuple[bool, int]:
        """There is nothing to break."""
        return False, 0


@dataclass(frozen=True, eq=False)
class CornerBand:
    """Pieces at the four corners and backstitch lines that lead from one to the next.

    Parameters
    ----------
    piece : ndarray of shape (k, k), bool
        The piece for the top left corner; the others are its reflections.
    lines : bool
        Lines along the sides, one blank stitch away from the pieces. A line on the axis needs an even piece; an odd
        one gets a pair of lines, half a stitch to each side of the axis.
    upright : bool
        Reflect the piece from left to right only, so that a thing that stands keeps standing.
    """

    piece: CellArray
    lines: bool = True
    upright: bool = False
    opening: tuple[int, int] | None = None
    cost: float = 0.0

    @property
    def depth(self) -> int:
        """Side of the piece."""
        return int(self.piece.shape[0])

    @property
    def whole(self) -> bool:
        """Lines always come out even."""
        return True

    def best_costs(self, widths: Sequence[int], heights: Sequence[int]) -> Costs:
        """Corner pieces fit round everything that has room for a line between them."""
        short = (np.array(widths)[:, None] < 3) | (np.array(heights)[None, :] < 3)
        return np.where(short, np.inf, 0.0)

    def best_ring(self, w: int, h: int) -> FittedBand:
        """Return the ring round an opening."""
        return CornerBand(self.piece, self.lines, self.upright, (h, w))

    def _outer(self) -> tuple[int, int]:
        assert self.opening is not None
        return self.opening[0] + 2 * self.depth, self.opening[1] + 2 * self.depth

    def draw(self) -> tuple[CellArray, CellArray]:
        """Return the four pieces and their places."""
        k = self.depth
        cells = np.zeros(self._outer(), dtype=np.bool_)
        own = np.zeros_like(cells)
        below = self.piece if self.upright else self.piece[::-1]
        cells[:k, :k], cells[:k, -k:] = self.piece, self.piece[:, ::-1]
        cells[-k:, :k], cells[-k:, -k:] = below, below[:, ::-1]
        for rows in (slice(None, k), slice(-k, None)):
            own[rows, :k] = own[rows, -k:] = True
        return cells, own

    def stitch_lines(self) -> LineArray:
        """Return the backstitches along the sides."""
        if not self.lines:
            return NO_LINES
        k = self.depth
        rows, cols = self._outer()
        axes = [k // 2] if k % 2 == 0 else [k // 2, k // 2 + 1]
        stitches = []
        for at in axes:
            for row in (at, rows - at):
                stitches += _unit_stitches([(row, k + 1), (row, cols - k - 1)])
            for col in (at, cols - at):
                stitches += _unit_stitches([(k + 1, col), (rows - k - 1, col)])
        return np.array(stitches, dtype=np.float64).reshape(-1, 2, 2)

    def words(self) -> list[str]:
        """Nothing is ever changed."""
        return []

    def corner_words(self) -> str:
        """Return what it is."""
        size = f"corner pieces of {self.depth} x {self.depth}"
        if not self.lines:
            return size
        return f"{size} with {'a line' if self.depth % 2 == 0 else 'a pair of lines'} in backstitch between them"

    def drawn_check(self) -> tuple[bool, int]:
        """There is nothing to break."""
        return False, 0
