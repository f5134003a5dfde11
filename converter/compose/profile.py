"""How a strip behaves at every place where a border may turn, fold, be cut or be widened.

All that the search needs to know about a strip is worked out once, by drawing each place in a small window and
judging it (`judge`): the mitred corner for every column that may stand at the corner, the fold for every half
column, the cut before every column, the widening at every column; all places of a kind at once. After that a plan
costs a few sums.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from converter.compose.catalogue import Strip
from converter.compose.frieze import frieze_group, mirror_constant
from converter.compose.judge import StripMeasure, Verdicts, pieces
from converter.compose.repeat import link_counts
from converter.compose.rosettes import corner_piece
from converter.model.arrays import CellArray

MOST_CLASH = 4
"""A plan with more foreign stitches than this in a quarter of the border is never offered."""
PARTED_COST = 0.75
"""For every pair of crosses side by side that a cut parts, beyond those at the thinnest place of the strip."""
BAD_CORNER_SHARE = 0.3
"""A corner with less than this share of the strip's own density looks empty."""


@dataclass(frozen=True)
class Spot:
    """A place of the border: whether it may be used and what it costs."""

    usable: bool
    clash: int
    cost: float


@dataclass(frozen=True, eq=False)
class Spots:
    """Places of one kind, one entry of every array for each."""

    usable: npt.NDArray[np.bool_]
    clash: npt.NDArray[np.int64]
    cost: npt.NDArray[np.float64]

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.usable)

    def __getitem__(self, at: int) -> Spot:
        """Return one of them."""
        return Spot(bool(self.usable[at]), int(self.clash[at]), float(self.cost[at]))

    def __iter__(self) -> Iterator[Spot]:
        """Go through them."""
        return (self[at] for at in range(len(self)))


@dataclass(frozen=True)
class Widening:
    """How the strip is made longer by one column."""

    column: int
    """Column of the repeat that is doubled, or before which a blank column is set in."""
    blank: bool
    spot: Spot


@dataclass(eq=False)
class Profile:
    """A strip with everything the search looks up."""

    strip: Strip
    lenient: bool = False
    """Take every place, however it looks: for strips that have no clean corner or fold at all."""
    searches: dict[int, object] = field(default_factory=dict)
    _turned: dict[tuple[int, int], Spot] = field(default_factory=dict)

    @property
    def tile(self) -> CellArray:
        """One repeat, (d, p)."""
        return self.strip.tile

    @cached_property
    def depth(self) -> int:
        """Rows."""
        return self.strip.depth

    @cached_property
    def period(self) -> int:
        """Columns."""
        return self.strip.period

    @cached_property
    def measure(self) -> StripMeasure:
        """The strip's own pieces and features."""
        return StripMeasure(self.tile)

    @cached_property
    def axis(self) -> int | None:
        """Mirror constant a, or None."""
        return mirror_constant(self.tile)

    @cached_property
    def group(self) -> str:
        """Frieze group."""
        return frieze_group(self.tile)

    @cached_property
    def separate(self) -> bool:
        """Whether the strip is made of closed pieces only."""
        return not self.measure.running

    @cached_property
    def corner_piece(self) -> CellArray:
        """Piece for the top left corner of a block ring, (d, d).

        The one that belongs to the strip; or a closed piece of the strip itself if it fills the square and is equal
        to all its turned and mirrored forms; or the piece drawn for that depth.
        """
        d = self.depth
        given = self.strip.corner
        if given is not None and given.shape[0] <= d:
            cells = np.zeros((d, d), dtype=np.bool_)
            start = (d - given.shape[0] + 1) // 2
            cells[start : start + given.shape[0], start : start + given.shape[1]] = given
            return cells
        if self.separate and d > 1:
            for _, piece in pieces(np.tile(self.tile, (1, 3))):
                mirrored = np.array_equal(piece, piece.T) if piece.shape == (d, d) else False
                if mirrored and np.array_equal(piece, piece[::-1]):
                    return piece
        return corner_piece(d)

    @cached_property
    def _reach(self) -> int:
        return self.depth + max(self.period, self.measure.widest) + 3

    def columns(self, start: int, count: int) -> CellArray:
        """Return ``count`` columns of the endless strip from column ``start``."""
        return np.take(self.tile, np.arange(start, start + count) % self.period, axis=1)

    def _runs(self, starts: Sequence[int] | npt.NDArray[np.int64], count: int) -> CellArray:
        """Return ``count`` columns from each of the given ones, (K, d, count)."""
        order = (np.asarray(starts)[:, None] + np.arange(count)) % self.period
        return np.moveaxis(self.tile[:, order], 1, 0)

    def _spots(self, found: Verdicts, corner: bool = False) -> Spots:
        if self.lenient:
            cost = 6.0 * found.broken + 2.0 * found.foreign + 0.75 * found.clash
            return Spots(np.ones_like(found.broken), np.zeros_like(found.clash), cost)
        bad = found.broken | (found.clash > MOST_CLASH)
        if self.separate:
            bad |= found.foreign > 0
        weight = 0.08 if corner else 0.12
        cost = 0.75 * found.clash + 2.0 * found.foreign + np.minimum(1.5, weight * found.novelty)
        return Spots(~bad, np.where(bad, 0, found.clash), np.where(bad, 0.0, cost))

    @cached_property
    def mitres(self) -> Spots:
        """The mitred corner that begins with each column of the repeat."""
        d, reach = self.depth, self._reach
        arms = self._runs(range(self.period), reach)
        windows = np.zeros((self.period, reach, reach), dtype=np.bool_)
        for r in range(d):
            windows[:, r, r:] = arms[:, r, r:]
            windows[:, r:, r] = arms[:, r, r:]
        open_edges = np.zeros((reach, reach), dtype=np.bool_)
        open_edges[:d, -1] = True
        open_edges[-1, :d] = True
        spots = self._spots(self.measure.judge_all(windows, open_edges), corner=True)
        share = windows[:, :d, :d].mean(axis=(1, 2)) / max(1e-9, float(self.tile.mean()))
        bare = spots.usable & (share < BAD_CORNER_SHARE) & (d > 1)
        return Spots(spots.usable, spots.clash, spots.cost + 1.5 * bare)

    @cached_property
    def folds(self) -> Spots:
        """The fold at each half column: 2c on column c, 2c + 1 between c and c + 1."""
        p, reach = self.period, self._reach
        halves = self._runs(np.arange(p) - reach + 1, reach)
        on, between = (self._folds(halves, odd) for odd in (True, False))

        def mixed(first: npt.NDArray[Any], second: npt.NDArray[Any]) -> npt.NDArray[Any]:
            return np.stack([first, second], axis=1).reshape(2 * p)

        return Spots(mixed(on.usable, between.usable), mixed(on.clash, between.clash), mixed(on.cost, between.cost))

    def _folds(self, halves: CellArray, odd: bool) -> Spots:
        reach = halves.shape[2]
        windows = np.concatenate([halves, halves[:, :, ::-1][:, :, int(odd) :]], axis=2)
        open_edges = np.zeros(windows.shape[1:], dtype=np.bool_)
        open_edges[:, [0, -1]] = True
        count = np.zeros_like(open_edges)
        count[:, :reach] = True
        return self._spots(self.measure.judge_all(windows, open_edges, count))

    @cached_property
    def shifts(self) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
        """Columns more (+) or fewer (-) than at the nearest axis that a fold at each half column puts in the middle.

        The second array tells which of them look right: a running strip may be off by one column; between separate
        pieces the space in the middle may be as wide or as narrow as the table of folds allows. Without an axis
        every shift is 0.
        """
        p = self.period
        if self.axis is None:
            return np.zeros(2 * p, dtype=np.int64), np.ones(2 * p, dtype=np.bool_)
        off = (np.arange(2 * p) - self.axis + p // 2) % p - p // 2
        return off, (np.abs(off) <= 1) | self.separate

    @cached_property
    def cuts(self) -> Spots:
        """The run that begins with each column, bare cloth before it."""
        return self._cuts(self._runs(range(self.period), self._reach), self._parted)

    @cached_property
    def end_cuts(self) -> Spots:
        """The run that ends with each column, bare cloth after it."""
        reach = self._reach
        return self._cuts(self._runs(np.arange(self.period) - reach + 1, reach)[:, :, ::-1], np.roll(self._parted, -1))

    @cached_property
    def _parted(self) -> npt.NDArray[np.int64]:
        """How many pairs of crosses side by side a cut before each column parts."""
        return np.asarray((self.tile & np.roll(self.tile, 1, axis=1)).sum(axis=0), dtype=np.int64)

    def _cuts(self, runs: CellArray, parted: npt.NDArray[np.int64]) -> Spots:
        windows = np.concatenate([np.zeros((len(runs), self.depth, 1), dtype=np.bool_), runs], axis=2)
        open_edges = np.zeros(windows.shape[1:], dtype=np.bool_)
        open_edges[:, -1] = True
        spots = self._spots(self.measure.judge_all(windows, open_edges))
        # A line is best cut where it is thinnest: half a flower at the end of a run catches the eye.
        return Spots(spots.usable, spots.clash, spots.cost + PARTED_COST * (parted - parted.min()))

    @cached_property
    def lead(self) -> tuple[int, ...]:
        """Blank columns before the first stitch of a run that begins with each column."""
        inked = np.asarray(self.tile.any(axis=0))
        p = self.period
        return tuple(next((k for k in range(p) if inked[(x + k) % p]), 0) for x in range(p))

    @cached_property
    def trail(self) -> tuple[int, ...]:
        """Blank columns after the last stitch of a run that ends with each column."""
        inked = np.asarray(self.tile.any(axis=0))
        p = self.period
        return tuple(next((k for k in range(p) if inked[(x - k) % p]), 0) for x in range(p))

    @cached_property
    def widening(self) -> Widening | None:
        """The least visible way to make the strip longer by a column, mirrored strips at a place and its image."""
        links = link_counts(self.tile)
        p, reach = self.period, self._reach
        options: list[tuple[float, int, Widening]] = []
        for blank in (True, False):
            places = [x for x in range(p) if not blank or links[x] == 0]
            if not places:
                continue
            left = self._runs(np.array(places) - reach, reach)
            extra = self._runs(places, 1) & (not blank)
            windows = np.concatenate([left, extra, self._runs(places, reach)], axis=2)
            open_edges = np.zeros(windows.shape[1:], dtype=np.bool_)
            open_edges[:, [0, -1]] = True
            spots = self._spots(self.measure.judge_all(windows, open_edges))
            for x, spot in zip(places, spots, strict=True):
                if spot.usable:
                    options.append((spot.cost - (0.5 if blank else 0.0), x, Widening(x, blank, spot)))
        return min(options, key=lambda o: (*o[:2], not o[2].blank))[2] if options else None

    def turned_corners(self, pairs: Sequence[tuple[int, int]]) -> list[Spot]:
        """Return the corners where a side that ends with the second column meets the next that begins with the first.

        The sides are cut along the diagonal and each is the last one turned by a quarter. Every side owns the
        diagonal at its beginning.
        """
        new = sorted(set(pairs) - set(self._turned))
        if new:
            d, reach = self.depth, self._reach
            windows = np.zeros((len(new), reach, reach), dtype=np.bool_)
            along = self._runs(np.array([end for _, end in new]) - reach + 1, reach)
            down = self._runs([start for start, _ in new], reach)
            for r in range(d):
                windows[:, r, : reach - 1 - r] = along[:, r, : reach - 1 - r]
                windows[:, r:, reach - 1 - r] = down[:, r, r:]
            open_edges = np.zeros((reach, reach), dtype=np.bool_)
            open_edges[:d, 0] = True
            open_edges[-1, reach - d :] = True
            spots = self._spots(self.measure.judge_all(windows, open_edges), corner=True)
            self._turned.update(zip(new, spots, strict=True))
        return [self._turned[pair] for pair in pairs]


@lru_cache(maxsize=256)
def _profile(
    tile: bytes, shape: tuple[int, int], name: str, kind: str, upright: bool, corner: bytes, lenient: bool
) -> Profile:
    cells = np.frombuffer(tile, dtype=np.bool_).reshape(shape).copy()
    cells.setflags(write=False)
    side = round(len(corner) ** 0.5)
    piece = np.frombuffer(corner, dtype=np.bool_).reshape(side, side).copy() if corner else None
    return Profile(Strip(name, cells, kind, upright, piece), lenient)


def profile_of(strip: Strip, lenient: bool = False) -> Profile:
    """Return the profile of a strip; equal strips share one, so that it is worked out once."""
    corner = b"" if strip.corner is None else strip.corner.tobytes()
    shape = (strip.depth, strip.period)
    return _profile(strip.tile.tobytes(), shape, strip.name, strip.kind, strip.upright, corner, lenient)
