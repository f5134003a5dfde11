"""What a border can be made of: strips, backstitch frames, corner pieces with lines between them.

Every band answers the same three questions, so that several can be nested in any order: how deep it is, what the
best ring round an opening costs, and which ring that is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Protocol

import numpy as np

from converter.compose.catalogue import Strip, strip_named
from converter.compose.frieze import primitive_tile
from converter.compose.profile import Profile, profile_of
from converter.compose.ring import NO_LINES, Ring
from converter.compose.search import CornerSearch, Costs, searches
from converter.compose.sides import Corner, Move
from converter.errors import RequestError, UsageError
from converter.model.arrays import CellArray, LineArray, as_cells

FRAME_NAMES = {"line": False, "double line": True}
"""Names of the backstitch frames: one line, or two lines a stitch apart."""


class FittedBand(Protocol):
    """A ring round a known opening."""

    @property
    def cost(self) -> float:
        """Cost of the ring."""

    @property
    def depth(self) -> int:
        """Rows the ring takes on each side."""

    @property
    def whole(self) -> bool:
        """Whether it holds whole repeats only."""

    def draw(self) -> tuple[CellArray, CellArray]:
        """Return cells and the mask of pieces of its own, on the outer size."""

    def stitch_lines(self) -> LineArray:
        """Return the backstitches on the outer size."""

    def words(self) -> list[str]:
        """Return what was changed to make it fit."""

    def corner_words(self) -> str:
        """Return how it gets round the corners."""

    def drawn_check(self) -> tuple[bool, int]:
        """Return whether the drawn ring has a broken piece, and the foreign stitches in a quarter of it."""


class Band(Protocol):
    """A kind of ring, not yet fitted."""

    @property
    def depth(self) -> int:
        """Rows on each side."""

    def best_costs(self, widths: Sequence[int], heights: Sequence[int]) -> Costs:
        """Return the cost of the best ring for every opening, (widths, heights)."""

    def best_ring(self, w: int, h: int) -> FittedBand:
        """Return the best ring round an opening."""


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


def _columns(shift: int) -> str:
    """Return a number of columns more or fewer, in words."""
    count = "one column" if abs(shift) == 1 else f"{abs(shift)} columns"
    return f"{count} {'more' if shift > 0 else 'fewer'}"


@dataclass(frozen=True, eq=False)
class FittedStrip:
    """A fitted ring of a strip, with its words."""

    ring: Ring
    dropped: str = ""

    @property
    def cost(self) -> float:
        """Cost of the ring."""
        return self.ring.cost

    @property
    def depth(self) -> int:
        """Rows."""
        return self.ring.depth

    @property
    def whole(self) -> bool:
        """Whether it holds whole repeats only."""
        return self.ring.whole and not self.dropped

    def draw(self) -> tuple[CellArray, CellArray]:
        """Return cells and own pieces."""
        return self.ring.draw()

    def stitch_lines(self) -> LineArray:
        """Return none: a strip has no backstitch."""
        return NO_LINES

    def _side_words(self, which: str) -> str:
        side = self.ring.level if which != "left and right" else self.ring.upright
        profile = self.ring.profile
        place = "of each side" if which == "all" else f"of {which}"
        if side.move is Move.MIDDLE:
            return f"{_columns(side.shift)} in the middle {place}"
        if side.move is Move.REVERSAL:
            return f"the strip turns back on itself in the middle {place}"
        if side.move is Move.CENTRE:
            return f"a piece {side.piece} stitches wide covers the middle {place}"
        if side.move is Move.WIDEN:
            widening = profile.widening
            assert widening is not None
            kind = "blank" if widening.blank else "doubled"
            count = "1 column" if side.extra == 1 else f"{side.extra} columns"
            if self.ring.corner is Corner.TURNED:
                where = "on each side" if which == "all" else f"on {which}"
                return f"{count} ({kind}) put in {where}"
            turn = ", where the strip also turns back in the middle" if profile.axis is None else ""
            if side.shift:
                turn = f", and {_columns(side.shift)} in the middle"
            return f"{count} ({kind}) put in in each half {place}{turn}"
        return ""

    def words(self) -> list[str]:
        """Return what was changed, in the order of importance."""
        words = [self.dropped] if self.dropped else []
        level, upright = self.ring.level, self.ring.upright
        alike = (level.move, level.extra, level.shift, level.piece) == (
            upright.move, upright.extra, upright.shift, upright.piece,
        )  # fmt: skip
        for which in ("all",) if alike else ("top and bottom", "left and right"):
            text = self._side_words(which)
            if text:
                words.append(text)
        if self.ring.corner is Corner.BLOCK and level.phi != upright.phi:
            words.append("top and bottom begin with another part of the repeat than left and right")
        return words

    def corner_words(self) -> str:
        """Return how it gets round the corners."""
        if self.ring.corner is Corner.MITRE:
            return "mitred corners"
        if self.ring.corner is Corner.BLOCK:
            return f"corner pieces of {self.depth} x {self.depth}"
        return "turned corners, the strip runs one way round"

    def drawn_check(self) -> tuple[bool, int]:
        """Judge the drawn ring against the strip, apart from the tables the search used."""
        cells, own = self.ring.draw()
        return check_drawn(self.ring.profile, cells & ~own)


def check_drawn(profile: Profile, cells: CellArray) -> tuple[bool, int]:
    """Judge a drawn ring.

    Returns
    -------
    broken : bool
        A piece is smaller than the smallest of the strip, or, in a strip of closed pieces only, a piece has a shape
        that the strip has not.
    clash : int
        Foreign stitches in the top left quarter.
    """
    quarter = np.zeros_like(cells)
    quarter[: (cells.shape[0] + 1) // 2, : (cells.shape[1] + 1) // 2] = True
    verdict = profile.measure.judge(cells, np.zeros_like(cells), quarter)
    return verdict.broken or (profile.separate and verdict.foreign > 0), verdict.clash


@dataclass(eq=False)
class StripBand:
    """A strip that may be fitted with some kinds of corner."""

    profile: Profile
    corners: tuple[Corner, ...]
    dropped: str = ""
    extra_cost: float = 0.0
    searches: list[CornerSearch] = field(init=False)

    def __post_init__(self) -> None:
        """Look the tables up."""
        self.searches = searches(self.profile, self.corners)

    @property
    def depth(self) -> int:
        """Rows."""
        return self.profile.depth

    def best_costs(self, widths: Sequence[int], heights: Sequence[int]) -> Costs:
        """Return the cost of the best ring for every opening."""
        best = np.full((len(widths), len(heights)), np.inf)
        for search in self.searches:
            best = np.minimum(best, search.costs(list(widths), list(heights)).min(axis=(2, 3, 4, 5)))
        return best + self.extra_cost

    def best_ring(self, w: int, h: int) -> FittedBand:
        """Return the best ring round an opening."""
        best: FittedStrip | None = None
        for search in self.searches:
            costs = search.costs([w], [h])[0, 0]
            at = np.unravel_index(int(np.argmin(costs)), costs.shape)
            cost = float(costs[at]) + self.extra_cost
            if np.isfinite(cost) and (best is None or cost < best.cost):
                first_x, first_y, move_x, move_y = (int(v) for v in at)
                ring = search.ring(w, h, (first_x, first_y, move_x, move_y), cost)
                best = FittedStrip(ring, self.dropped)
        if best is None:
            raise RequestError(f"The strip '{self.profile.strip.name}' does not fit round {w} x {h} stitches.")
        return best


StripLike = CellArray | str | Strip | FrameBand | CornerBand


def as_strip(value: object) -> Strip:
    """Return a strip from a grid, a built-in name or a strip.

    Raises
    ------
    UsageError, RequestError
        If it is none of these, or has no stitch.
    """
    if isinstance(value, Strip):
        strip = value
    elif isinstance(value, str):
        strip = strip_named(value)
    else:
        strip = Strip("own", primitive_tile(as_cells(value, "strip")))
    if not strip.tile.any():
        raise RequestError("The strip has no stitch in it.", "Give a strip with at least one cross.")
    if strip.depth > MOST_DEPTH or strip.period > MOST_PERIOD:
        raise RequestError(
            f"The repeat is {strip.period} x {strip.depth} stitches; {MOST_PERIOD} x {MOST_DEPTH} is the most.",
            "Give one repeat of the strip, not a whole picture.",
        )
    return strip


def as_band(value: object, corners: tuple[Corner, ...]) -> Band:
    """Return a band from anything that can be one: a strip, a name, ``line``, ``double line`` or a band."""
    if isinstance(value, (FrameBand, CornerBand)):
        return value
    if isinstance(value, str) and value.strip().lower() in FRAME_NAMES:
        return FrameBand(FRAME_NAMES[value.strip().lower()])
    return StripBand(profile_of(as_strip(value)), corners)


MOST_DEPTH, MOST_PERIOD = 60, 240
"""Rows and columns of the largest repeat that is fitted."""

CORNER_NAMES = {"mitre": Corner.MITRE, "block": Corner.BLOCK, "turned": Corner.TURNED}


def as_corners(names: Sequence[str] | str | None) -> tuple[Corner, ...]:
    """Return the kinds of corner of their names; None and ``auto`` are all of them."""
    if names is None or names == "auto":
        return tuple(Corner)
    wanted = [names] if isinstance(names, str) else list(names)
    for name in wanted:
        if name not in CORNER_NAMES:
            raise UsageError(f"corners is '{name}'.", f"Choose from {', '.join(CORNER_NAMES)}.")
    return tuple(CORNER_NAMES[name] for name in wanted)
