"""How a strip behaves at every place where a border may turn, fold, be cut or be widened.

All that the search needs to know about a strip is worked out once, by drawing each place in a small window and
judging it (`judge`): the mitred corner for every column that may stand at the corner, the fold for every half
column, the cut before every column, the widening at every column. After that a plan costs a few sums.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np

from converter.compose.catalogue import Strip
from converter.compose.frieze import frieze_group, mirror_constant
from converter.compose.judge import StripMeasure, Verdict, pieces
from converter.compose.repeat import link_counts
from converter.compose.rosettes import corner_piece
from converter.model.arrays import CellArray

MOST_CLASH = 4
"""A plan with more foreign stitches than this in a quarter of the border is never offered."""
BAD_CORNER_SHARE = 0.3
"""A corner with less than this share of the strip's own density looks empty."""


@dataclass(frozen=True)
class Spot:
    """A place of the border: whether it may be used and what it costs."""

    usable: bool
    clash: int
    cost: float


BAD = Spot(False, 0, 0.0)


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

    def _spot(self, verdict: Verdict, corner: bool = False) -> Spot:
        if self.lenient:
            return Spot(True, 0, 6.0 * verdict.broken + 2.0 * verdict.foreign + 0.75 * verdict.clash)
        if verdict.broken or verdict.clash > MOST_CLASH:
            return BAD
        if verdict.foreign and self.separate:
            return BAD
        weight = 0.08 if corner else 0.12
        cost = 0.75 * verdict.clash + 2.0 * verdict.foreign + min(1.5, weight * verdict.novelty)
        return Spot(True, verdict.clash, cost)

    @cached_property
    def mitres(self) -> tuple[Spot, ...]:
        """The mitred corner that begins with each column of the repeat."""
        return tuple(self._mitre(phi) for phi in range(self.period))

    def _mitre(self, phi: int) -> Spot:
        d, reach = self.depth, self._reach
        arm = self.columns(phi, reach)
        window = np.zeros((reach, reach), dtype=np.bool_)
        for r in range(d):
            window[r, r:] = arm[r, r:]
            window[r:, r] = arm[r, r:]
        open_edges = np.zeros_like(window)
        open_edges[:d, -1] = True
        open_edges[-1, :d] = True
        spot = self._spot(self.measure.judge(window, open_edges), corner=True)
        share = window[:d, :d].mean() / max(1e-9, self.tile.mean())
        if spot.usable and d > 1 and share < BAD_CORNER_SHARE:
            return Spot(True, spot.clash, spot.cost + 1.5)
        return spot

    @cached_property
    def folds(self) -> tuple[Spot, ...]:
        """The fold at each half column: 2c on column c, 2c + 1 between c and c + 1."""
        return tuple(self._fold(f) for f in range(2 * self.period))

    def _fold(self, f: int) -> Spot:
        odd = f % 2 == 0
        reach = self._reach
        last = f // 2
        half = self.columns(last - reach + 1, reach)
        window = np.concatenate([half, half[:, ::-1][:, int(odd) :]], axis=1)
        open_edges = np.zeros_like(window)
        open_edges[:, 0] = True
        open_edges[:, -1] = True
        count = np.zeros_like(window)
        count[:, :reach] = True
        return self._spot(self.measure.judge(window, open_edges, count))

    @cached_property
    def cuts(self) -> tuple[Spot, ...]:
        """The run that begins with each column, bare cloth before it."""
        return tuple(self._cut(phi, self.tile) for phi in range(self.period))

    @cached_property
    def end_cuts(self) -> tuple[Spot, ...]:
        """The run that ends with each column, bare cloth after it."""
        back = self.tile[:, ::-1]
        p = self.period
        return tuple(self._cut(p - 1 - x, back) for x in range(p))

    def _cut(self, phi: int, tile: CellArray) -> Spot:
        reach = self._reach
        run = np.take(tile, np.arange(phi, phi + reach) % self.period, axis=1)
        window = np.concatenate([np.zeros((self.depth, 1), dtype=np.bool_), run], axis=1)
        open_edges = np.zeros_like(window)
        open_edges[:, -1] = True
        return self._spot(self.measure.judge(window, open_edges))

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
        options: list[tuple[float, int, Widening]] = []
        for x in range(self.period):
            for blank in (True, False):
                if blank and links[x] != 0:
                    continue
                spot = self._widen(x, blank)
                if spot.usable:
                    options.append((spot.cost - (0.5 if blank else 0.0), x, Widening(x, blank, spot)))
        return min(options, key=lambda o: o[:2])[2] if options else None

    def _widen(self, x: int, blank: bool) -> Spot:
        reach = self._reach
        left = self.columns(x - reach, reach)
        extra = np.zeros((self.depth, 1), dtype=np.bool_) if blank else self.columns(x, 1)
        window = np.concatenate([left, extra, self.columns(x, reach)], axis=1)
        open_edges = np.zeros_like(window)
        open_edges[:, 0] = True
        open_edges[:, -1] = True
        return self._spot(self.measure.judge(window, open_edges))

    def turned_corner(self, start: int, end: int) -> Spot:
        """Return the corner where a side that ends with column ``end`` meets the next that begins with ``start``.

        The sides are cut along the diagonal and each is the last one turned by a quarter. Every side owns the
        diagonal at its beginning.
        """
        key = (start, end)
        if key not in self._turned:
            d, reach = self.depth, self._reach
            window = np.zeros((reach, reach), dtype=np.bool_)
            along = self.columns(end - reach + 1, reach)
            down = self.columns(start, reach)
            for r in range(d):
                window[r, : reach - 1 - r] = along[r, : reach - 1 - r]
                window[r:, reach - 1 - r] = down[r, r:]
            open_edges = np.zeros_like(window)
            open_edges[:d, 0] = True
            open_edges[-1, reach - d :] = True
            self._turned[key] = self._spot(self.measure.judge(window, open_edges), corner=True)
        return self._turned[key]


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
