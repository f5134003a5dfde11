"""One side of a ring: how the strip fills exactly ``n`` columns, and what that costs.

Except in a turned border a side is built as one half and its reflection, so that it is symmetric to the last
stitch whatever its length. The half begins at the corner with column ``phi`` of the repeat and runs to the fold in
the middle. The fold stands at half column ``f = 2 phi + n - 1``. If that is a mirror axis of the strip (``f = a``
modulo the period) the fold cannot be seen and the side is *plain*. If not, one of these moves makes it fit:

- *middle*: the fold stands half a column off an axis, so one column more or less stands in the middle; between
  separate pieces the space in the middle may differ by more;
- *reversal*: the strip turns back on itself somewhere else; the only way for strips without an upright mirror;
- *widen*: ``r`` columns in each half are doubled, or blank columns set in between separate pieces, evenly spread;
- *centre*: a piece of its own covers the middle;
- *bare*: between two corner pieces, where not even one repeat has room, nothing stands at all.

The sides of many openings and first columns are worked out at once, as arrays (`SideTable`).

A side of a *turned* border is not folded: it runs from corner to corner and each side is the last one turned by a
quarter.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from converter.compose.profile import MOST_CLASH, Profile
from converter.compose.rosettes import middle_piece, middle_width
from converter.model.arrays import CellArray

REVERSAL_COST = 3.0
MIDDLE_COST = 2.0
CENTRE_COST = 3.5
MOST_PER_PLACE = 3
"""Blank columns set in at one place between pieces."""
BLANKS = (1, 2, 3)
"""Blank columns allowed between a corner piece or middle piece and the run."""
DEEP = 10
"""From this depth on a fourth blank column still looks right at a corner piece."""
MORE_BLANKS = (4, 5, 6)
"""Where the side is too short for anything else."""
BARE_COST = 12.0
BARE_SPARE = 2
"""A side up to so many columns longer than the least run may stay bare,"""
BARE_LIKE_DEPTH = 6
"""but none that is over so many columns longer than two corner pieces."""

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


class Corner(IntEnum):
    """How the strip gets round a corner."""

    MITRE = 0
    BLOCK = 1
    TURNED = 2


class Move(IntEnum):
    """What makes a side come out even."""

    PLAIN = 0
    MIDDLE = 1
    REVERSAL = 2
    WIDEN = 3
    CENTRE = 4
    BARE = 5


@dataclass(frozen=True)
class Side:
    """One side of a ring, ready to be drawn.

    Parameters
    ----------
    length : int
        Columns of the side, blank columns at its ends not counted.
    phi : int
        Column of the repeat at its beginning.
    move : Move
    extra : int
        Columns put in: in each half of a folded side, in the whole of a turned one.
    piece, space : int
        Width of the middle piece, and blank columns on each side of it.
    blanks : int
        Block corners: blank columns between corner piece and run. Turned corners of separate pieces: blank columns
        after the run.
    shift : int
        Columns more (+) or fewer (-) in the middle than at an axis of the strip.
    cost : float
    clash : int
        Foreign stitches in the half (in the whole of a turned side).
    """

    length: int
    phi: int
    move: Move
    cost: float
    clash: int
    extra: int = 0
    piece: int = 0
    space: int = 0
    blanks: int = 0
    shift: int = 0


@dataclass(frozen=True, eq=False)
class SideTable:
    """The cheapest side for every opening, first column and move.

    Parameters
    ----------
    phases : ndarray of shape (P,), int
        First columns.
    cost, clash : ndarray of shape (N, P, M)
        The cost is infinite where there is no such side.
    details : dict of ndarray of shape (N, P, M), int
        The other values of `Side`.
    """

    phases: Ints
    cost: Floats
    clash: Ints
    details: dict[str, Ints]

    @staticmethod
    def empty(count: int, phases: Ints) -> SideTable:
        """Return a table without any side."""
        shape = (count, len(phases), len(Move))
        details = {name: np.zeros(shape, dtype=np.int64) for name in _DETAILS}
        return SideTable(phases, np.full(shape, np.inf), np.zeros(shape, dtype=np.int64), details)

    def put(self, move: Move, better: Flags, cost: Floats, clash: Ints, **details: Ints | int) -> None:
        """Enter sides of one move where ``better`` holds, (N, P)."""
        self.cost[..., move] = np.where(better, cost, self.cost[..., move])
        self.clash[..., move] = np.where(better, clash, self.clash[..., move])
        for name, values in details.items():
            self.details[name][..., move] = np.where(better, values, self.details[name][..., move])

    def merge(self, better: Flags, cost: Floats, clash: Ints, details: dict[str, Ints]) -> None:
        """Enter sides of all moves at once where ``better`` holds, (N, P, M)."""
        np.copyto(self.cost, cost, where=better)
        np.copyto(self.clash, clash, where=better)
        for name, values in details.items():
            np.copyto(self.details[name], values, where=better)

    def side(self, row: int, first: int, move: Move) -> Side:
        """Return one entry as a side that can be drawn."""
        at = (row, first, int(move))
        details = {name: int(values[at]) for name, values in self.details.items()}
        phi = int(self.phases[first])
        return Side(phi=phi, move=move, cost=float(self.cost[at]), clash=int(self.clash[at]), **details)


_DETAILS = ("length", "extra", "piece", "space", "blanks", "shift")


def _slots(profile: Profile, phi: Ints, low: int, high: Ints) -> tuple[Ints, Ints]:
    """Return the first place from ``low`` on where the run can be widened, and how many there are below ``high``."""
    widening = profile.widening
    assert widening is not None
    first = low + (widening.column - phi - low) % profile.period
    return first, np.maximum(0, -((first - high) // profile.period))


def _spread(extra: int, first: int, count: int, period: int) -> list[int]:
    """Return ``extra`` places, evenly spread over ``count`` places a period apart, in rising order."""
    each, rest = divmod(extra, count)
    chosen = {((2 * k + 1) * count) // (2 * rest) for k in range(rest)} if rest else set()
    return [first + period * i for i in range(count) for _ in range(each + (i in chosen))]


def _low(profile: Profile, corner: Corner) -> int:
    """First column after the corner that may be widened."""
    return 1 if corner is Corner.BLOCK or (profile.separate and corner is Corner.TURNED) else profile.depth + 1


def _widened(profile: Profile, phi: int, count: int, extra: int, low: int, high: int) -> CellArray:
    """Return ``count`` columns from ``phi`` with ``extra`` columns put in between places ``low`` and ``high``."""
    p = profile.period
    order = (np.arange(phi, phi + count) % p).tolist()
    if extra:
        widening = profile.widening
        assert widening is not None
        first, places = _slots(profile, np.array(phi), low, np.array(high))
        for at in reversed(_spread(extra, int(first), int(places), p)):
            order.insert(at, p if widening.blank else order[at])
    source = np.concatenate([profile.tile, np.zeros((profile.depth, 1), dtype=np.bool_)], axis=1)
    return np.ascontiguousarray(source[:, order])


def draw_side(profile: Profile, side: Side, corner: Corner) -> tuple[CellArray, CellArray]:
    """Return the side as (d, length) cells, and where a middle piece of its own stands.

    Raises
    ------
    AssertionError
        If the parts do not add up to the length, which would be a fault of the search.
    """
    d, n = profile.depth, side.length
    own = np.zeros((d, n), dtype=np.bool_)
    if side.move is Move.BARE:
        return own, own
    low = _low(profile, corner)
    if corner is Corner.TURNED:
        count = n - side.extra
        cells = _widened(profile, side.phi, count, side.extra, low, count - low)
    elif side.move is Move.CENTRE:
        run = (n - side.piece) // 2 - side.space
        half = profile.columns(side.phi, run)
        blank = np.zeros((d, side.space), dtype=np.bool_)
        piece = middle_piece(d, side.piece)
        cells = np.concatenate([half, blank, piece, blank, half[:, ::-1]], axis=1)
        own[:, run + side.space : run + side.space + side.piece] = True
    else:
        m = (n + 1) // 2 - side.extra
        half = _widened(profile, side.phi, m, side.extra, low, m - 1)
        cells = np.concatenate([half, half[:, ::-1][:, n % 2 :]], axis=1)
    assert cells.shape == (d, n)
    return cells, own


def folded_sides(profile: Profile, corner: Corner, lengths: Ints, phases: Ints) -> SideTable:
    """Return the cheapest sides of folded runs of the given numbers of columns, from every first column.

    Only moves whose fold, cut and widening look right are in the table (`profile`).
    """
    table = SideTable.empty(len(lengths), phases)
    low = _low(profile, corner)
    n, phi = lengths[:, None], phases[None, :]
    long = (n + 1) // 2 > low
    f = (2 * phi + n - 1) % (2 * profile.period)
    usable = profile.folds.usable[f] & long
    cost, clash = profile.folds.cost[f], profile.folds.clash[f]
    shift, near = (values[f] for values in profile.shifts)
    if profile.axis is None:
        table.put(Move.REVERSAL, usable, REVERSAL_COST + cost, clash, length=n)
    else:
        table.put(Move.PLAIN, usable & near & (shift == 0), cost, clash, length=n)
        table.put(
            Move.MIDDLE, usable & near & (shift != 0), cost + _middle_cost(shift), clash, length=n, shift=shift
        )  # fmt: skip
        table.put(Move.REVERSAL, usable & ~near, REVERSAL_COST + cost, clash, length=n)
    _put_widened(table, profile, n, phi, low)
    _put_centre(table, profile, n, phi, low)
    return table


def _middle_cost(shift: Ints) -> Floats:
    return np.asarray(np.where(shift != 0, MIDDLE_COST + 0.75 * (np.abs(shift) - 1), 0.0))


def _widen_costs(profile: Profile, extra: Ints) -> tuple[Floats, Ints]:
    widening = profile.widening
    assert widening is not None
    if widening.blank:
        return np.asarray(1.0 + 0.75 * extra), np.zeros_like(extra)
    return np.asarray(2.0 + extra * (1.0 + widening.spot.cost)), extra * widening.spot.clash


def _put_widened(table: SideTable, profile: Profile, n: Ints, phi: Ints, low: int) -> None:
    widening = profile.widening
    most = min(profile.period, int(n.max()) // 2)
    if widening is None or most < 1:
        return
    extra = np.arange(1, most + 1)[:, None, None]
    half = (n + 1) // 2 - extra
    places = _slots(profile, phi, low, half - 1)[1]
    f = (2 * phi + n - 2 * extra - 1) % (2 * profile.period)
    shift, near = (values[f] for values in profile.shifts)
    added, clash = _widen_costs(profile, extra)
    clash = clash + profile.folds.clash[f]
    cost = added + profile.folds.cost[f] + (REVERSAL_COST if profile.axis is None else _middle_cost(shift))
    good = (half > low) & (extra <= places * (MOST_PER_PLACE if widening.blank else 1))
    good &= profile.folds.usable[f] & near & (clash <= MOST_CLASH)
    cost = np.where(good, cost, np.inf)
    best = cost.argmin(axis=0)[None]
    at = (np.take_along_axis(values, best, axis=0)[0] for values in (good, cost, clash, shift))
    found, cost, clash, shift = at
    table.put(Move.WIDEN, found, cost, clash, length=n, extra=best[0] + 1, shift=shift)


def _put_centre(table: SideTable, profile: Profile, n: Ints, phi: Ints, low: int) -> None:
    odd, even = (middle_width(profile.depth, wish) for wish in (True, False))
    if odd is None or even is None:
        return
    width = np.where(n % 2 == 1, odd, even)
    trail = np.array(profile.trail)
    ends = profile.end_cuts
    best = np.full(table.cost.shape[:2], np.inf)
    for space in BLANKS:
        run = (n - width) // 2 - space
        last = (phi + run - 1) % profile.period
        bare = space + trail[last]
        cost = CENTRE_COST + ends.cost[last] + 0.3 * (bare - 1)
        better = (run > low) & ends.usable[last] & (bare <= BLANKS[-1]) & (cost < best)
        best = np.where(better, cost, best)
        table.put(Move.CENTRE, better, cost, ends.clash[last], length=n, piece=width, space=space)


def block_sides(profile: Profile, openings: Ints, phases: Ints) -> SideTable:
    """Return the cheapest sides between two corner pieces, for every opening and first column.

    One to three blank columns stand between each corner piece and the run, four beside a deep strip; the strip's own
    spacing is preferred. A side too short for any run of whole pieces gets more, or stays bare.
    """
    table = SideTable.empty(len(openings), phases)
    begin = profile.cuts
    usual = np.clip(np.array(profile.trail)[phases - 1], BLANKS[0], BLANKS[-1])
    usable = BLANKS[-1] + (profile.depth >= DEEP)
    done = np.zeros(table.cost.shape[:2], dtype=np.bool_)
    choices = (*BLANKS, *MORE_BLANKS)
    lengths = (openings[:, None] - 2 * np.array(choices)).ravel()
    every = folded_sides(profile, Corner.BLOCK, lengths, phases)
    for at, blanks in enumerate(choices):
        if blanks > usable:
            done = np.asarray(np.isfinite(table.cost).any(axis=2))
        lot = slice(at, None, len(choices))
        more = begin.cost[phases] + 0.4 * np.abs(blanks - usual) + max(0, blanks - usable)
        cost = every.cost[lot] + more[:, None]
        better = begin.usable[phases][:, None] & ~done[:, :, None] & (cost < table.cost)
        details = {name: values[lot] for name, values in every.details.items()}
        details["blanks"] = np.full_like(details["length"], blanks)
        table.merge(better, cost, every.clash[lot] + begin.clash[phases][:, None], details)
    # A strip that must turn back in the middle needs a repeat on each side of it.
    least = profile.period * (2 if profile.axis is None else 1)
    short = np.broadcast_to(
        (openings <= min(least + BARE_SPARE, 2 * profile.depth + BARE_LIKE_DEPTH))[:, None], done.shape
    )
    table.put(Move.BARE, short, np.full(done.shape, BARE_COST), np.zeros_like(openings)[:, None])
    return table


def turned_sides(profile: Profile, openings: Ints, phases: Ints) -> SideTable:
    """Return the cheapest plain and widened sides that run through one corner.

    Separate pieces: the side begins at the outer edge, goes through its first corner and stops one to three blank
    columns before the next side. Running lines: both sides are cut along the diagonal of the corner.
    """
    table = SideTable.empty(len(openings), phases)
    d, p = profile.depth, profile.period
    widening = profile.widening
    low = _low(profile, Corner.TURNED)
    w, phi = openings[:, None], phases[None, :]
    start = np.broadcast_to(phi, table.cost.shape[:2])
    for blanks in BLANKS if profile.separate else (0,):
        n = w + d - blanks if profile.separate else w + 2 * d
        done = np.zeros(start.shape, dtype=np.bool_)
        for extra in range(0, p + 1 if widening is not None else 1):
            count = n - extra
            open_ones = ~done & (count > 2 * low)
            added, clash = np.zeros(start.shape), np.zeros(start.shape, dtype=np.int64)
            if extra:
                assert widening is not None
                places = _slots(profile, phi, low, count - low)[1]
                open_ones &= extra <= places * (MOST_PER_PLACE if widening.blank else 1)
                added, clash = _widen_costs(profile, np.full(start.shape, extra))
            if not open_ones.any():
                break
            last = (phi + count - 1) % p
            usable, spot_clash, spot_cost = _turned_spots(profile, start, last, open_ones)
            clash = clash + spot_clash
            cost = added + spot_cost + 0.4 * max(0, blanks - 1)
            move = Move.WIDEN if extra else Move.PLAIN
            good = open_ones & usable & (clash <= MOST_CLASH)
            better = good & (cost < table.cost[..., move])
            table.put(move, better, cost, clash, length=n, extra=extra, blanks=blanks)
            if extra:
                done |= good
    return table


def _turned_spots(profile: Profile, start: Ints, last: Ints, wanted: Flags) -> tuple[Flags, Ints, Floats]:
    """Return whether corners from column ``start`` after column ``last`` may be used, with clash and cost."""
    if profile.separate:
        begin, end = profile.cuts, profile.end_cuts
        usable = begin.usable[start] & end.usable[last] & (np.array(profile.trail)[last] == 0)
        return usable, begin.clash[start] + end.clash[last], begin.cost[start] + end.cost[last]
    usable = np.zeros(start.shape, dtype=np.bool_)
    clash, cost = np.zeros(start.shape, dtype=np.int64), np.zeros(start.shape)
    pairs = list(zip(start[wanted].tolist(), last[wanted].tolist(), strict=True))
    spots = profile.turned_corners(pairs)
    usable[wanted] = [spot.usable for spot in spots]
    clash[wanted] = [spot.clash for spot in spots]
    cost[wanted] = [spot.cost for spot in spots]
    return usable, clash, cost
