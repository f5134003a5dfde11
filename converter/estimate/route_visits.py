"""Scattered crosses in groups of some dozens: save starts that single legs moved about do not save.

Each cross is visited twice, the first time for its bottom leg and the second for its top leg. So an order is a row of
visits, and any stretch of it may be put elsewhere or turned round: what is bottom and what is top leg follows. That is
what it takes to join two lengths that end far from one another, by way of others: one end goes to a cross in the
middle of another length, what hung there becomes the new end, and so on until two ends meet.

Such a change alters legs all along the stretch. So it is first weighed at its three seams alone, as if every leg could
be chosen freely there; what passes is weighed whole, with the best direction of every leg (products of two by two
tables, in pairs). Kept is what gets shorter, or else with a probability that falls with the loss and with time
(simulated annealing, as in `route_anneal`). All groups of about one size are worked at once, each in several copies.
The generator is seeded, so the same chart gives the same order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from converter.estimate.route_anneal import Excess
from converter.estimate.route_geometry import IntArray

Costs = npt.NDArray[np.float32]

_NEAREST = 8
_SHORT = 8
_TRIES = 4
"""Changes weighed for each copy at once."""
_COPIES = 128
"""Copies of all groups together, but not less than these of each:"""
_FEWEST_COPIES = 8
_SLACK = 0.5
"""What a change may be too dear at its seams: the legs along the stretch may make up for it."""
_STUBS = 0.5
"""Share of changes at an end of a length."""
_EXTENTS = (0.4, 0.7)
"""Stretches: a few visits; up to the end of the length; and up to where it goes, which turns them in place."""


@dataclass(frozen=True, eq=False)
class _Tables:
    """Excess of all moves inside groups of up to n crosses; a cross n more fills up smaller groups at no cost."""

    size: int
    """Legs, with those of the cross that fills up."""
    link: Costs
    """From leg a to leg b of a group, shape (4, groups * size * size): worked from their ends 00, 01, 10, 11."""
    cross: Costs
    """Least excess from a leg of a cross to one of another, shape (groups * crosses * crosses)."""
    near: IntArray
    """Nearest crosses, shape (groups, crosses, 8)."""
    price: float

    @classmethod
    def of(cls, holes: list[IntArray], excess: Excess, price: float) -> _Tables:
        most = max(len(part) for part in holes) // 2 + 1
        size = 2 * most
        link = np.zeros((4, len(holes), size, size), dtype=np.float32)
        near = np.zeros((len(holes), most, _NEAREST), dtype=np.int64)
        for number, part in enumerate(holes):
            count = len(part)
            for way in range(4):
                out, into = part[:, 1 - way // 2], part[:, way % 2]
                found = excess(np.repeat(out, count), np.tile(into, count)).reshape(count, count)
                found[np.arange(count), np.arange(count)] = price
                link[way, number, :count, :count] = found
        cross = link.min(axis=0).reshape(len(holes), most, 2, most, 2).min(axis=(2, 4))
        for number, part in enumerate(holes):
            count = len(part) // 2
            apart = cross[number, :count, :count] + price * np.eye(count, dtype=np.float32)
            order = np.argsort(apart, axis=1, kind="stable")[:, :_NEAREST]
            reached = np.maximum((np.take_along_axis(apart, order, axis=1) < price).sum(axis=1), 1)
            near[number, :count] = np.take_along_axis(order, np.arange(_NEAREST) % reached[:, None], axis=1)
            inside = np.arange(count)
            cross[number, inside, inside] = link[:, number, 2 * inside, 2 * inside + 1].min(axis=0)
        return cls(size, link.reshape(4, -1), cross.reshape(-1), near, price)

    def weigh(self, visits: IntArray, base: IntArray) -> tuple[Costs, IntArray]:
        """Return what rows of visits take at best, and the places in the table of their moves.

        Parameters
        ----------
        visits : ndarray of shape (rows, m), int
            2 cross and 2 cross + 1, whichever comes first.
        base : ndarray of shape (rows, 1), int
            Where the table of the group begins.
        """
        count = visits.shape[1]
        row = np.arange(0, visits.size, count)[:, None]
        place = np.empty(visits.size, dtype=np.int64)
        place[visits + row] = np.arange(count)
        leg = (visits & ~1) | (place.take((visits ^ 1) + row) < np.arange(count))
        at = leg[:, :-1] * self.size + leg[:, 1:] + base
        ways = list(self.link.take(at, axis=1))
        while ways[0].shape[1] > 1:
            pairs = ways[0].shape[1] // 2 * 2
            one, two = [way[:, 0:pairs:2] for way in ways], [way[:, 1:pairs:2] for way in ways]
            joined = [np.minimum(one[a] + two[b], one[a + 1] + two[2 + b]) for a in (0, 2) for b in (0, 1)]
            if ways[0].shape[1] > pairs:
                joined = [np.concatenate((new, way[:, -1:]), axis=1) for new, way in zip(joined, ways, strict=True)]
            ways = joined
        return np.minimum(np.minimum(ways[0], ways[1]), np.minimum(ways[2], ways[3]))[:, 0], at


class _Copies:
    """Rows of visits, each with what is needed to draw changes."""

    def __init__(self, tables: _Tables, group: IntArray, visits: IntArray, real: IntArray) -> None:
        self._tables = tables
        self.group, self._real, self.visits = group, real, visits
        rows, count = visits.shape
        self.base = (group * tables.size**2)[:, None]
        self.at = np.zeros((rows, count), dtype=np.int64)
        """Place of each visit."""
        self.old = np.zeros((rows, count + 1), dtype=np.float32)
        """Excess of the move before each place."""
        self.cross = np.full((rows, count + 2), tables.size // 2 - 1, dtype=np.int64)
        """Cross at each place, one place further on."""
        self.low, self.high = np.zeros_like(visits), np.zeros_like(visits)
        """Ends of the length each place belongs to."""
        self.stubs, self.stub_count = np.zeros_like(visits), np.zeros(rows, dtype=np.int64)
        self.cost, at = tables.weigh(visits, self.base)
        self.note(np.arange(rows), at)

    def note(self, rows: IntArray, moves: IntArray) -> None:
        """Keep up what belongs to rows."""
        tables, place = self._tables, np.arange(self.visits.shape[1])
        excess = tables.link.take(moves, axis=1).min(axis=0)
        edge = np.ones((rows.size, 1), dtype=np.bool_)
        gap = excess >= tables.price
        # What fills up hangs together and begins where the visits end.
        inside = place < self._real[rows][:, None]
        first = np.concatenate((edge, gap | (place[1:] == self._real[rows][:, None])), axis=1)
        last = np.concatenate((first[:, 1:], edge), axis=1)
        self.old[rows, 1:-1] = excess
        self.low[rows] = np.maximum.accumulate(np.where(first, place, 0), axis=1)
        high = np.where(last, place, place[-1])
        self.high[rows] = np.minimum.accumulate(high[:, ::-1], axis=1)[:, ::-1]
        ends = (first | last) & inside
        self.stub_count[rows] = ends.sum(axis=1)
        self.stubs[rows] = np.argsort(~ends, axis=1, kind="stable")
        self.at[rows[:, None], self.visits[rows]] = place
        self.cross[rows, 1:-1] = self.visits[rows] >> 1

    def change(self, random: np.random.Generator, heat: float) -> None:
        """Draw changes of every row and make the first that passes in each."""
        tables, real = self._tables, self._real
        row = np.repeat(np.arange(self.group.size), _TRIES)
        drawn, bits = random.random((4, row.size)), random.integers(0, 128, row.size)
        stub = self.stubs[row, (drawn[1] * self.stub_count[row]).astype(np.int64)]
        base = np.where(drawn[0] < _STUBS, stub, (drawn[1] * real[row]).astype(np.int64))
        other = tables.near[self.group[row], self.visits[row, base] >> 1, bits & 7]
        to = self.at[row, 2 * other + (bits >> 3 & 1)]
        swap = (bits & 16).astype(np.bool_)
        end, to = np.where(swap, to, base), np.where(swap, base, to)
        # The stretch has ``end`` at one end, which comes to lie beside ``to``.
        rightward, few = (bits & 32).astype(np.bool_), (drawn[3] ** 2 * _SHORT).astype(np.int64)
        short, whole = drawn[2] < _EXTENTS[0], drawn[2] > _EXTENTS[1]
        first = np.where(rightward, end, np.where(short, end - few, self.low[row, end]))
        last = np.where(rightward, np.where(short, end + few, self.high[row, end]), end)
        first = np.maximum(np.where(whole, np.where(to < end, to + 1, end), first), 0)
        last = np.minimum(np.where(whole, np.where(to < end, end, to - 1), last), real[row] - 1)
        after = np.where(whole, to < end, (bits & 64).astype(np.bool_))
        before = to + after
        turned = (end == first) != after
        in_place = (before == first) | (before == last + 1)
        limit = heat * random.standard_exponential(row.size, dtype=np.float32)
        change = self._seams(row, first, last, before, turned, in_place)
        passes = ((to < first) | (to > last)) & (turned | ~in_place) & (change <= limit + _SLACK)
        chosen = np.flatnonzero(passes)
        if not chosen.size:
            return
        row, limit = row[chosen], limit[chosen]
        new = np.take_along_axis(
            self.visits[row], self._moved(first[chosen], last[chosen], before[chosen], turned[chosen]), axis=1
        )
        cost, moves = tables.weigh(new, self.base[row])
        kept = np.flatnonzero(cost - self.cost[row] <= limit)
        if not kept.size:
            return
        rows, at = np.unique(row[kept], return_index=True)
        kept = kept[at]
        self.visits[rows], self.cost[rows] = new[kept], cost[kept]
        self.note(rows, moves[kept])

    def _seams(
        self, row: IntArray, first: IntArray, last: IntArray, before: IntArray, turned: IntArray, in_place: IntArray
    ) -> Costs:
        """Return what changes cost at their seams, the legs chosen freely there."""
        tables, cross = self._tables, self.cross
        width = tables.size // 2
        base = self.group[row] * width * width

        def link(one: IntArray, two: IntArray) -> Costs:
            found: Costs = tables.cross.take(base + one * width + two)
            return found

        head, foot = cross[row, first + 1], cross[row, last + 1]
        head, foot = np.where(turned, foot, head), np.where(turned, head, foot)
        left, right = cross[row, first], cross[row, last + 2]
        freed = self.old[row, first] + self.old[row, last + 1]
        there = link(left, head) + link(foot, right)
        moved = link(left, right) + link(cross[row, before], head) + link(foot, cross[row, before + 1])
        found: Costs = np.where(in_place, there, moved - self.old[row, before]) - freed
        return found

    def _moved(self, first: IntArray, last: IntArray, before: IntArray, turned: IntArray) -> IntArray:
        """Return for each place of changed rows the place it is filled from."""
        place = np.arange(self.visits.shape[1])
        first, last, before, turned = first[:, None], last[:, None], before[:, None], turned[:, None]
        size, back = last - first + 1, before <= first
        low, high = np.where(back, before, first), np.where(back, last + 1, before)
        within = place - np.where(back, low, high - size)
        shifted = np.where((place >= low) & (place < high), place + np.where(back, -size, size), place)
        inside = (within >= 0) & (within < size)
        found: IntArray = np.where(inside, np.where(turned, last - within, first + within), shifted)
        return found


def shorter_orders(
    orders: list[IntArray], holes: list[IntArray], excess: Excess, price: float, tries: int, heats: tuple[float, float]
) -> list[IntArray]:
    """Return shorter orders of groups of crosses that hang together by carries.

    Parameters
    ----------
    orders : list of ndarray of shape (2 n,), int
        Legs of each group in order, numbered in the group.
    holes : list of ndarray of shape (2 n, 2), int
        Holes of each leg, as numbers that ``excess`` takes.
    excess : callable
        Excess of a back move from a hole to another, the price if it cannot be made.
    price : float
        Excess that a new start counts.
    tries : int
        Changes tried for each leg.
    heats : tuple of float
        First and last heat, in stitch sides.

    Returns
    -------
    list of ndarray
        Every bottom leg before its top leg.
    """
    tables = _Tables.of(holes, excess, price)
    copies = max(_FEWEST_COPIES, _COPIES // len(orders))
    count = tables.size - 2
    start = np.tile(np.arange(count), (len(orders), 1))
    for number, order in enumerate(orders):
        start[number, : order.size] = order
    # Rows of smaller groups are filled up with visits of crosses that cost nothing.
    real = np.array([order.size for order in orders])
    group = np.repeat(np.arange(len(orders)), copies)
    rows = _Copies(tables, group, start[group], real[group])
    best, kept = rows.cost.reshape(-1, copies)[:, 0].copy(), start
    random = np.random.default_rng(count)
    steps = tries * int(real.sum()) // (group.size * _TRIES)
    for step in range(steps):
        rows.change(random, heats[0] * (heats[1] / heats[0]) ** (step / steps))
        least = rows.cost.reshape(-1, copies)
        at = least.argmin(axis=1)
        value = least[np.arange(len(orders)), at]
        better = np.flatnonzero(value < best - 1e-3)
        best[better] = value[better]
        kept[better] = rows.visits[better * copies + at[better]]
    return [_as_legs(kept[number, : order.size]) for number, order in enumerate(orders)]


def _as_legs(visits: IntArray) -> IntArray:
    place = np.empty(visits.size, dtype=np.int64)
    place[visits] = np.arange(visits.size)
    legs: IntArray = (visits & ~1) | (place[visits ^ 1] < np.arange(visits.size))
    return legs
