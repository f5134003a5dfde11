"""What a border can be made of: strips, backstitch frames, corner pieces with lines between them.

Every band answers the same three questions, so that several can be nested in any order: how deep it is, what the
best ring round an opening costs, and which ring that is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from converter.compose.catalogue import Strip, strip_named
from converter.compose.frames import FRAME_NAMES, CornerBand, FrameBand
from converter.compose.frieze import primitive_tile
from converter.compose.profile import Profile, profile_of
from converter.compose.ring import NO_LINES, Ring
from converter.compose.search import CornerSearch, Costs, searches
from converter.compose.sides import Corner, Move
from converter.errors import RequestError, UsageError
from converter.model.arrays import CellArray, LineArray, as_cells

__all__ = [
    "CORNER_NAMES",
    "FRAME_NAMES",
    "Band",
    "CornerBand",
    "FittedBand",
    "FittedStrip",
    "FrameBand",
    "StripBand",
    "as_band",
    "as_corners",
    "as_strip",
    "check_drawn",
]


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


def _columns(shift: int) -> str:
    """Return a number of columns more or fewer, in words."""
    count = "one column" if abs(shift) == 1 else f"{abs(shift)} columns"
    return f"{count} {'more' if shift > 0 else 'fewer'}"


@dataclass(frozen=True, eq=False)
class FittedStrip:
    """A fitted ring of a strip, with its words."""

    ring: Ring
    dropped: str = ""
    rows_left_out: int = 0

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
        if side.move is Move.BARE:
            where = "every side is" if which == "all" else f"{which} are"
            return f"{where} too short for the strip and stay{'s' if which == 'all' else ''} bare"
        if side.move is Move.WIDEN:
            widening = profile.widening
            assert widening is not None
            what = "blank column" if widening.blank else "doubled column"
            count = f"one {what}" if side.extra == 1 else f"{side.extra} {what}s"
            if self.ring.corner is Corner.TURNED:
                return f"{count} set into {'each side' if which == 'all' else which}"
            turn = ", and the strip turns back on itself in the middle" if profile.axis is None else ""
            if side.shift:
                turn = f", and {_columns(side.shift)} in the middle"
            return f"{count} set into each half {place}{turn}"
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
    rows_left_out: int = 0
    barred: frozenset[Move] = frozenset()
    one_axis: bool = False
    """Whether middle pieces may stand on two of the four sides only, which looks unfinished."""
    searches: list[CornerSearch] = field(init=False)

    def __post_init__(self) -> None:
        """Look the tables up."""
        self.searches = searches(self.profile, self.corners)

    @property
    def depth(self) -> int:
        """Rows."""
        return self.profile.depth

    def costs(self, search: CornerSearch, widths: Sequence[int], heights: Sequence[int]) -> Costs:
        """Return the costs of one kind of corner, without the moves that are barred."""
        costs = search.costs(list(widths), list(heights))
        if not self.one_axis:
            others = [move for move in Move if move is not Move.CENTRE]
            costs[..., Move.CENTRE, others] = np.inf
            costs[..., others, Move.CENTRE] = np.inf
        for move in self.barred:
            costs[..., move, :] = np.inf
            costs[..., :, move] = np.inf
        return costs

    def best_costs(self, widths: Sequence[int], heights: Sequence[int]) -> Costs:
        """Return the cost of the best ring for every opening."""
        best = np.full((len(widths), len(heights)), np.inf)
        for search in self.searches:
            best = np.minimum(best, self.costs(search, widths, heights).min(axis=(2, 3, 4, 5)))
        return best + self.extra_cost

    def best_ring(self, w: int, h: int) -> FittedBand:
        """Return the best ring round an opening."""
        best: FittedStrip | None = None
        for search in self.searches:
            costs = self.costs(search, [w], [h])[0, 0]
            at = np.unravel_index(int(np.argmin(costs)), costs.shape)
            cost = float(costs[at]) + self.extra_cost
            if np.isfinite(cost) and (best is None or cost < best.cost):
                first_x, first_y, move_x, move_y = (int(v) for v in at)
                ring = search.ring(w, h, (first_x, first_y, move_x, move_y), cost)
                best = FittedStrip(ring, self.dropped, self.rows_left_out)
        if best is None:
            raise RequestError(f"The strip '{self.profile.strip.name}' does not fit round {w} x {h} stitches.")
        return best


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
            "Give one repeat of the strip, or fewer of its rows.",
        )
    return strip


def as_band(value: object, corners: tuple[Corner, ...], barred: frozenset[Move] = frozenset()) -> Band:
    """Return a band from anything that can be one: a strip, a name, ``line``, ``double line`` or a band."""
    if isinstance(value, (FrameBand, CornerBand)):
        return value
    if isinstance(value, str) and value.strip().lower() in FRAME_NAMES:
        return FrameBand(FRAME_NAMES[value.strip().lower()])
    return StripBand(profile_of(as_strip(value)), corners, barred=barred)


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
