"""Scattered crosses: shorten the order leg by leg.

Where crosses stand apart, the thread is in the carries and the starts, and the two legs of a cross need not follow one
another: a cross can be begun on the way out to others and finished on the way back, which saves a start at the price
of going the same way twice. So single legs, whole crosses and short runs of legs are moved next to a leg nearby, as
they are or turned round, the bottom leg of a cross always before its top leg, and the change is kept if the thread
gets shorter, or else with a probability that falls with the loss and with time (simulated annealing; Kirkpatrick,
Gelatt and Vecchi, Science 220, 1983, from memory). The generator is seeded and the number of tries fixed by the chart,
so the same chart gives the same order.

Thousands of moves are weighed at once on whole arrays. Of those to be made, two that touch the same place of the order
do not go together; one of them is dropped. A small chart is worked in several copies, and of each group of crosses
that carries can join the best copy is kept.

Lengths. With a ``capacity`` the order is kept in as many lengths as it is given in. The way from one to the next costs
nothing, but thread beyond the capacity does, more and more with time: so legs move over until every length is full,
which no cutting of a finished order can do. Here hardly any change but one with a short new link passes, so such a link
is drawn first, and what has to move for it follows. While starts are to be saved, when it is hot, that finds less.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from converter.estimate.route_geometry import EPSILON, ROOT2, FloatArray, IntArray
from converter.estimate.route_links import Links

_LONGEST = 8
_NEAREST, _ENDS = 8, 12
"""Nearest crosses of each cross, and of the ends of their legs those nearest to each end, that are linked."""
_BLOCK = 4096
"""Crosses whose nearest are looked for at once."""
_BATCH = 8192
_BATCH_FULL = 4096
"""Moves weighed at once; fewer when lengths are to be filled, as the load of each is known at first only."""
_AWAY = 1 << 40
"""Hole of the marks between lengths: farther off than any other."""
_OVER, _LATE = (1.0, 8.0), 0.7
"""What a side of thread beyond the capacity of a length counts, at first and at last. From a share of the tries on as
much again counts where there is any, which moves it away whole; before, it would keep it from being spread."""
_NEARLY, _RISE = 30.0, (0.02, 0.004)
"""Thread under the capacity from which a length presses on its neighbours, and how fast this rises, at first and at
last. Without it a length far too full could not get rid of its thread between lengths that are nearly full."""
_FULL, _ROUNDING = 1e-6, 1e-4

Excess = Callable[[IntArray, IntArray], npt.NDArray[np.float32]]
_Near = tuple[IntArray, npt.NDArray[np.float32]]


def _step_costs(links: Links, price: float) -> tuple[int, dict[int, tuple[tuple[int, int], float]]]:
    """Return the width of a row of hole codes, and by difference of codes the step and excess of every back move."""
    reach = int(links.rules.carry)
    width = links.crosses.cells.shape[1] + 2 * reach + 4
    around = range(-reach, reach + 1)
    return width, {
        dr * width + dc: ((dr, dc), min((dr * dr + dc * dc) ** 0.5 - 1, price))
        for dr in around
        for dc in around
        if 0 < dr * dr + dc * dc <= links.rules.carry**2 + EPSILON
    }


def _excess(links: Links, price: float, highest: int) -> Excess:
    """Return the function of the excess of back moves from holes to others, the price if one cannot be made."""
    width, steps = _step_costs(links, price)
    middle = highest + 1
    table = np.full(2 * middle + 1, price, dtype=np.float32)
    table[[0, -1]] = 0.0
    table[np.array(list(steps)) + middle] = [cost for _, cost in steps.values()]

    def plain(start: IntArray, end: IntArray) -> npt.NDArray[np.float32]:
        return table.take(end - start + middle, mode="clip")

    if not links.rules.hidden:
        return plain
    number = np.ones(table.size, dtype=np.int64)
    number[[0, -1]] = 0
    rows, cols = links.crosses.cells.shape
    shown = np.full((len(steps) + 2, highest + 1), price, dtype=np.float32)
    shown[0] = 0.0
    for k, (code, (step, cost)) in enumerate(steps.items(), 2):
        number[code + middle] = k
        grid = np.full((rows + 1, width), price, dtype=np.float32)
        grid[:, : cols + 1][links.rules.behind(step)] = cost
        shown[k, : grid.size] = grid.ravel()[: highest + 1]
    flat = shown.ravel()

    def hidden(start: IntArray, end: IntArray) -> npt.NDArray[np.float32]:
        kind = number.take(end - start + middle, mode="clip")
        return flat.take(kind * (highest + 1) + np.minimum(start, highest))

    return hidden


def _nearest_crosses(links: Links) -> tuple[IntArray, npt.NDArray[np.bool_]]:
    """Return each cross and the nearest others within reach of a carry, shape (n, 1 + 8), and where it fills up."""
    crosses, reach = links.crosses, int(links.rules.carry) + 1
    around = range(-reach, reach + 1)
    near = np.repeat(np.arange(crosses.count)[:, None], 1 + _NEAREST, axis=1)
    found = np.zeros(crosses.count, dtype=np.int64)
    for _, r, c in sorted((r * r + c * c, r, c) for r in around for c in around):
        other = crosses.neighbour((r, c))
        fits = np.flatnonzero((other >= 0) & (found <= _NEAREST))
        near[fits, found[fits]] = other[fits]
        found[fits] += 1
    return near, np.arange(1 + _NEAREST) >= found[:, None]


class _Place(NamedTuple):
    """The order as it stands: at each place the leg or mark, and what belongs to it."""

    into: IntArray
    """Hole where it is entered."""
    out: IntArray
    """Hole where it is left."""
    link: npt.NDArray[np.float32]
    """Excess of the move to the next place."""
    length: IntArray
    """Length it belongs to."""
    load: FloatArray
    """For each length: thread with one side for each leg, less the capacity."""
    sums: FloatArray
    """Excess of all moves up to here."""


@dataclass(frozen=True, eq=False)
class _Moves:
    """Runs of places ``first`` to ``last`` that go behind the place ``left``."""

    first: IntArray
    last: IntArray
    left: IntArray
    turned: npt.NDArray[np.bool_]
    """Worked from the far end."""
    flips: tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]
    """Whether the first and the last leg alone are worked from their other end."""

    @classmethod
    def plain(cls, first: IntArray, last: IntArray, left: IntArray, turned: npt.NDArray[np.bool_]) -> _Moves:
        """Return moves without a leg worked from its other end alone."""
        same = np.zeros(first.size, dtype=np.bool_)
        return cls(first, last, left, turned, (same, same))

    def of(self, chosen: IntArray) -> _Moves:
        """Return some of the moves."""
        head = self.flips[0][chosen]
        flips = head, head if self.flips[1] is self.flips[0] else self.flips[1][chosen]
        return _Moves(self.first[chosen], self.last[chosen], self.left[chosen], self.turned[chosen], flips)


class LegOrder:
    """An order of legs in one or several lengths, each leg with the end it is worked from.

    Parameters
    ----------
    links : Links
    lengths : list of ndarray of shape (m,), int
        Legs of each length in order; together every leg once.
    ends : ndarray of shape (2 n,), int
        End from which each leg is worked.
    price : float
        Excess that a move counts which cannot be made.
    copies : int
        How often the whole chart is worked beside itself.
    """

    def __init__(self, links: Links, lengths: list[IntArray], ends: IntArray, price: float, copies: int = 1) -> None:
        self._price = price
        self._count = count = 2 * links.crosses.count
        self._first_mark = legs = copies * count
        marks = copies * len(lengths) + 1
        width, _ = _step_costs(links, price)
        holes = links.crosses.leg_holes(np.arange(count, dtype=np.int64))
        code = (holes[:, :, 0] * width + holes[:, :, 1]).ravel()
        self.excess: Excess = _excess(links, price, (int(code.max()) + 4 * width) * copies)
        apart = (int(code.max()) + 4 * width) * np.arange(copies)
        self.hole = np.concatenate(((code + apart[:, None]).ravel(), np.full(4 * marks, _AWAY)))
        """Hole of each end of each leg as a single number, at 2 leg + end; the last ones stand off the ends."""
        crosses, again = _nearest_crosses(links)
        cyclic = np.arange(_NEAREST) % np.maximum((~again).sum(axis=1) - 1, 1)[:, None]
        near = np.take_along_axis(crosses, 1 + cyclic, axis=1)
        self._near = (near + links.crosses.count * np.arange(copies)[:, None, None]).reshape(-1)
        self._close = crosses, again
        self.end = np.concatenate((np.tile(ends, copies), np.zeros(2 * marks, dtype=np.int64)))
        parts = [part + k * count for k in range(copies) for part in lengths]
        seams = legs + 2 * np.arange(marks)
        self._order: IntArray = np.concatenate(
            [seams[:1], *(p for k in zip(parts, seams[1:, None], strict=True) for p in k)]
        )
        self._at = np.zeros(legs + 2 * marks, dtype=np.int64)

    def _nearest_ends(self) -> _Near:
        """Return for each end of a leg those of others to which a move has the least excess, over and over, and that.

        Looked at are the ends of the cross itself and of the nearest ones within reach of a carry.
        """
        crosses, again = self._close
        count = len(crosses)
        near, excess = np.empty((count, 4, _ENDS), dtype=np.int64), np.empty((count, 4, _ENDS), dtype=np.float32)
        for low in range(0, count, _BLOCK):
            part = slice(low, min(low + _BLOCK, count))
            own = 4 * np.arange(part.start, part.stop)[:, None, None] + np.arange(4)[:, None]
            every = (4 * crosses[part, :, None] + np.arange(4)).reshape(len(own), 1, -1)
            mine, theirs = np.broadcast_arrays(own, every)
            cost = self.excess(self.hole[mine], self.hole[theirs])
            cost[(mine >> 1 == theirs >> 1) | np.repeat(again[part], 4, axis=1)[:, None]] = self._price
            order = np.argsort(cost, axis=2, kind="stable")[:, :, :_ENDS]
            reached = (np.take_along_axis(cost, order, axis=2) < self._price).sum(axis=2, keepdims=True)
            order = np.take_along_axis(order, np.arange(_ENDS) % np.maximum(reached, 1), axis=2)
            near[part] = np.take_along_axis(theirs, order, axis=2)
            excess[part] = np.take_along_axis(cost, order, axis=2)
        return near.reshape(-1), excess.reshape(-1)

    def _drawn(self, at: IntArray, drawn: IntArray, size: IntArray) -> _Moves:
        """Return moves to any leg of a near cross.

        Parameters
        ----------
        at : ndarray of shape (m,), int
            First place of each run.
        drawn : ndarray of shape (m,), int
            Random bits.
        size : ndarray of shape (m,), int
            Legs of each run, less one.
        """
        last = np.minimum(at + size, self._order.size - 2)
        # Where to: before or after a leg of a cross near the first or the last one.
        about = np.minimum(self._order.take(np.where(drawn & 256, at, last)), self._first_mark - 1) >> 1
        other = self._near.take(about * _NEAREST + (drawn >> 11) * _NEAREST // (1 << 15))
        left = self._at.take(2 * other + (drawn >> 10 & 1)) - (drawn >> 9 & 1)
        return _Moves.plain(at, last, left, np.zeros(at.size, dtype=np.bool_))

    def _drawn_by_link(
        self, ends: _Near, beside: IntArray, drawn: IntArray, size: IntArray
    ) -> tuple[_Moves, npt.NDArray[np.float32]]:
        """Return moves that make a link with little excess, and that excess.

        Parameters
        ----------
        ends : tuple of ndarray
            See `_nearest_ends`.
        beside : ndarray of shape (m,), int
            Place to go behind or before.
        drawn, size : ndarray of shape (m,), int
            As above.
        """
        leg = np.minimum(self._order.take(beside), self._first_mark - 1)
        behind = drawn >> 8 & 1
        at = (2 * leg + (self.end.take(leg) ^ behind)) * _ENDS + ((drawn >> 11) * _ENDS >> 15)
        other = ends[0].take(at)
        place = self._at.take(other >> 1)
        # The run begins or ends with the end that is to be linked.
        ends_there = (other ^ self.end.take(other >> 1)) & 1
        first = np.maximum(place - size * ends_there, 1)
        last = np.minimum(place + size * (1 - ends_there), self._order.size - 2)
        return _Moves.plain(first, last, beside + behind - 1, ends_there == behind), ends[1].take(at)

    def _shorter_turned(self, place: _Place, moves: _Moves) -> _Moves:
        """Return the same moves, each run turned if that is shorter."""
        enters, leaves = place.into[moves.first], place.out[moves.last]
        before, after = place.out[moves.left], place.into[moves.left + 1]
        plain = self.excess(before, enters) + self.excess(leaves, after)
        turned = self.excess(before, leaves) + self.excess(enters, after)
        return replace(moves, turned=turned < plain)

    def _place(self, capacity: float | None) -> _Place:
        order, code = self._order, self.hole
        hole = 2 * order + self.end[order]
        into, out = code[hole], code[hole ^ 1]
        self._at[order] = np.arange(order.size)
        link = self.excess(out[:-1], into[1:])
        if capacity is None:
            return _Place(into, out, link, order, np.zeros(0), np.zeros(0))
        mark = order >= self._first_mark
        length = np.cumsum(mark) - 1
        load = np.bincount(length[1:], link) + (1 + ROOT2) * np.bincount(length[~mark], minlength=int(length[-1]) + 1)
        return _Place(
            into, out, link, length, load - capacity - 1, np.concatenate(([0.0], np.cumsum(link, dtype=float)))
        )

    def anneal(self, tries: int, hot: float, cold: float, capacity: float | None = None) -> None:
        """Move legs about, ``tries`` times, while the heat falls from ``hot`` to ``cold`` (in stitch sides).

        Parameters
        ----------
        tries : int
        hot, cold : float
        capacity : float, optional
            Thread that a length holds between its tails, where there is one copy. Without it lengths may hold any.
        """
        places = self._order.size - 2
        batch = min(_BATCH if capacity is None else _BATCH_FULL, max(64, 2 * places))
        random = np.random.default_rng(places)
        share = (np.arange(256) + 0.5) / 256
        sizes = (share * share * _LONGEST).astype(np.int64)
        claim = np.zeros(places + 2, dtype=np.int64)
        place = self._place(capacity)
        ends = self._nearest_ends() if capacity is not None else None
        for done in range(0, tries, batch):
            heat = hot * (cold / hot) ** (done / tries)
            at = (random.random(batch, dtype=np.float32) * places).astype(np.int64) + 1
            drawn = random.integers(0, 1 << 26, batch)
            limit = heat * random.standard_exponential(batch, dtype=np.float32)
            size = sizes.take(drawn & 255)
            if ends is None:
                moves, pressure = self._drawn(at, drawn, size), None
                hopeful, freed = self._hopeful(place, moves, limit, None)
                moves = self._shorter_turned(place, moves.of(hopeful))
            else:
                moves, link = self._drawn_by_link(ends, at, drawn, size)
                pressure = _Pressure(done / tries)
                hopeful, freed = self._hopeful(place, moves, limit - link, pressure)
                moves = moves.of(hopeful)
            change, moves = self._change(place, moves, pressure, freed)
            if self._make(moves.of(np.flatnonzero(change <= limit[hopeful])), claim):
                place = self._place(capacity)

    def _hopeful(
        self, place: _Place, moves: _Moves, limit: FloatArray, pressure: _Pressure | None
    ) -> tuple[IntArray, npt.NDArray[np.float32]]:
        """Return the moves that lead elsewhere and would pass if no more than one new link cost anything.

        And for each of them the excess that taking the run out saves.
        """
        link, first, last, left = place.link, moves.first, moves.last, moves.left
        freed = (
            link.take(first - 1) + link.take(last) - self.excess(place.out.take(first - 1), place.into.take(last + 1))
        )
        gain: FloatArray = (freed + link.take(left)).astype(float)
        if pressure is not None:
            run = (1 + ROOT2) * (last - first + 1) + place.sums.take(last) - place.sums.take(first)
            slope, step = pressure.slope(place.load), pressure.step(place.load)
            here, there = place.length.take(first), place.length.take(left)
            gain = gain + step.take(here) + step.take(there)
            gain += slope.take(here) * np.maximum(run + gain, 0.0) + slope.take(there) * link.take(left)
        hopeful = np.flatnonzero((limit + gain > -_ROUNDING) & ((left < first - 1) | (left > last)))
        return hopeful, freed.take(hopeful)

    def _change(
        self, place: _Place, moves: _Moves, pressure: _Pressure | None, freed: npt.NDArray[np.float32]
    ) -> tuple[npt.NDArray[np.float32], _Moves]:
        """Return what moves cost, and the moves with whole crosses turned leg by leg for it."""
        excess, into, out, link = self.excess, place.into, place.out, place.link
        first, last, left, turned = moves.first, moves.last, moves.left, moves.turned
        enters, leaves = into[first], out[last]
        before, after = out[left], into[left + 1]
        head = excess(before, np.where(turned, leaves, enters))
        foot = excess(np.where(turned, enters, leaves), after)
        # Both legs of a cross may be turned at no cost between them.
        legs = self._order[first], self._order[last]
        cross = np.flatnonzero((last == first + 1) & (legs[0] ^ legs[1] == 1))
        flips = np.zeros(first.size, dtype=np.bool_), np.zeros(first.size, dtype=np.bool_)
        plain = excess(before[cross], enters[cross]), excess(leaves[cross], after[cross])
        other = excess(before[cross], out[first[cross]]), excess(into[last[cross]], after[cross])
        for k in (0, 1):
            flips[k][cross] = other[k] < plain[k]
        joined = head + foot
        joined[cross] = np.minimum(other[0], plain[0]) + np.minimum(other[1], plain[1])
        added = joined - link[left]
        change: npt.NDArray[np.float32] = added - freed
        if pressure is not None:
            one, two = place.length[first], place.length[left]
            inside = (1 + ROOT2) * (last - first + 1) + place.sums[last] - place.sums[first]
            same = one == two
            here, there = place.load[one], place.load[two]
            moved = np.where(same, added - freed, inside + added)
            now = pressure(place.load)
            more = pressure(there + moved) - now[two]
            less = np.where(same, 0.0, now[one] - pressure(here - inside - freed))
            change = (change + (more - less)).astype(np.float32)
        whole = np.zeros(first.size, dtype=np.bool_)
        whole[cross] = True
        return change, replace(moves, turned=turned & ~whole, flips=flips)

    def _make(self, moves: _Moves, claim: IntArray) -> bool:
        """Make those moves that keep every bottom leg before its top leg and do not touch one another."""
        if not moves.first.size:
            return False
        at = np.arange(_LONGEST)[None, :]
        first, last, left = moves.first[:, None], moves.last[:, None], moves.left[:, None]
        run = np.minimum(first + at, last)
        legs = self._order[run]
        partner = self._at[legs ^ 1]
        inside = (partner >= first) & (partner <= last)
        top = (legs & 1).astype(np.bool_)
        passed = np.where(left > last, ~top & (partner <= left), top & (partner > left)) & ~inside
        marks = (legs >= self._first_mark).any(axis=1)
        fits = ~(marks | passed.any(axis=1) | (moves.turned & inside.any(axis=1) & (moves.first < moves.last)))
        chosen = np.flatnonzero(fits)
        touched = np.concatenate((run, partner, first - 1, last + 1, left, left + 1), axis=1)[chosen]
        number = np.arange(chosen.size)[:, None]
        claim[touched] = number
        chosen = chosen[(claim[touched] == number).all(axis=1)]
        if not chosen.size:
            return False
        moves, run = moves.of(chosen), run[chosen]
        size = (moves.last - moves.first + 1)[:, None]
        taken = at < size
        gone = run[taken]
        self.end[self._order[run[taken & moves.turned[:, None]]]] ^= 1
        self.end[self._order[moves.first[moves.flips[0]]]] ^= 1
        self.end[self._order[moves.last[moves.flips[1]]]] ^= 1
        room = np.ones(self._order.size, dtype=np.int64)
        room[gone] = 0
        room[moves.left + 1] += size[:, 0]
        new = np.cumsum(room) - 1
        within = np.where(moves.turned[:, None], size - 1 - at, at)
        new[gone] = (new[moves.left][:, None] + 1 + within)[taken]
        order = np.empty_like(self._order)
        order[new] = self._order
        self._order = order
        return True

    def leg_holes(self) -> IntArray:
        """Return the holes of each leg as numbers that ``excess`` takes, shape (2 n, 2)."""
        return self.hole[: 2 * self._count].reshape(-1, 2)

    def lengths(self) -> list[IntArray]:
        """Return the legs of each length in order, those of all copies one after another."""
        marks = np.flatnonzero(self._order >= self._first_mark)
        return [self._order[a + 1 : b] % self._count for a, b in pairwise(marks.tolist())]

    def best(self, group: IntArray) -> IntArray:
        """Return all legs in order, those of each group from the copy where they take least.

        Parameters
        ----------
        group : ndarray of shape (n,), int
            Group of each cross: crosses that carries can join.
        """
        link = self._place(None).link
        real = np.flatnonzero(self._order < self._first_mark)
        legs = self._order[real] % self._count
        copy, groups = self._order[real] // self._count, group[legs >> 1]
        cost = np.where(self._order[real - 1] < self._first_mark, link[real - 1], self._price)
        each = np.zeros((int(copy.max()) + 1, int(group.max()) + 1))
        np.add.at(each, (copy, groups), np.minimum(cost, self._price))
        keep = np.flatnonzero(each.round(3).argmin(axis=0)[groups] == copy)
        found: IntArray = legs[keep[np.argsort(groups[keep], kind="stable")]]
        return found


class _Pressure:
    """What the thread of a length counts beside its excess, the more the fuller it is.

    Parameters
    ----------
    done : float
        Share of the tries that are made.
    """

    def __init__(self, done: float) -> None:
        self._over = _OVER[0] * (_OVER[1] / _OVER[0]) ** done
        self._at_all = self._over if done >= _LATE else 0.0
        self._rise = _RISE[0] * (_RISE[1] / _RISE[0]) ** done

    def __call__(self, load: FloatArray) -> FloatArray:
        """Return what lengths count, ``load`` being their thread less the capacity."""
        near = np.maximum(load + _NEARLY, 0.0)
        found: FloatArray = self._rise * near * near + np.where(load > _FULL, self._over * load + self._at_all, 0.0)
        return found

    def step(self, load: FloatArray) -> FloatArray:
        """Return what lengths count for holding too much, however little."""
        found: FloatArray = np.where(load > _FULL, self._at_all, 0.0)
        return found

    def slope(self, load: FloatArray) -> FloatArray:
        """Return what the last side of thread counts."""
        found: FloatArray = 2 * self._rise * np.maximum(load + _NEARLY, 0.0) + np.where(load > _FULL, self._over, 0.0)
        return found
