"""The closed order where hardly a cross may be lost: lengths filled to the last cross.

A length without any excess holds most crosses; one excess in it, and it holds one less. Where the fewest lengths have
little room to spare, as often on thin arms, the order with the least excess takes one length more, most of it empty.
Then lengths are filled evenly along the walk as if an excess took no room, so that each one with an excess holds a
cross too much, just where the excess is (`EVEN`); or the shortest length is put to another one, which so holds far too
much (`PUT_TOGETHER`). And the lengths are changed cross by cross until none holds too much: a child goes to another
stop beside it, or becomes a stop; a stop becomes a child, changes places with one, or goes elsewhere in the walks; the
ends of two walks are exchanged, or a stretch of one turned. What counts are the crosses for which there is no room,
each as a whole however little room it lacks, and a little the excess: so what excess is left gathers in few lengths,
each a cross short. To hand a cross on from one full length to the next costs nothing, so what is too much finds its way
to where there is room; an excess finds its way to a length with room for it, or away at the end of a walk. Half of the
changes are tried where there is an excess, and at first crosses without room count little, so that the walks get free
of any excess before they are filled evenly. A change is kept unless it makes things worse, now and then even then
(Metropolis's rule, from memory; the generator is seeded).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, inf, log
from random import Random

from converter.estimate.route_geometry import EPSILON, ROOT2
from converter.estimate.route_links import Links
from converter.estimate.route_waiting import Block

_CROSS = 2 * ROOT2 + 2
_FAR, _NEAR = 1.3, 16
"""Excess of links that are looked at, and how many of them from a cross."""
_EXCESS = 1.5
"""What a side of excess usually counts beside the thread of crosses for which there is no room."""
_EARLY = 0.7
"""Share of the tries from which on a side of thread for which there is no room counts as one."""
_AT_EXCESS = 0.5
"""Share of the tries that go to links with an excess."""
_FULL = 0.9
"""Share of the other tries that go to lengths that hold too much."""
_LOOK = 1000
"""Tries after which the excess is added up."""
_ROUNDS, _COLD = 3, 0.02
"""Times that the heat falls in the tries given, and its last value."""
_HOPELESS = 20
"""Lengths that hold too much after a round of the tries given with which no other is tried."""

Lengths = list[list[Block]]


@dataclass(frozen=True)
class Pace:
    """How lengths are changed until none holds too much.

    Parameters
    ----------
    heat : float
        At the beginning of each round.
    price : float
        What a side of thread counts then for which there is no room: little where the lengths are to find ways without
        an excess first, whatever they hold.
    excess : float
        What a side of excess counts beside that.
    rounds : int
        Times that the heat falls at most, when it is nearly done.
    nearly : int
        Lengths that hold too much after a round beyond the tries given with which no other is tried.
    """

    heat: float
    price: float
    excess: float
    rounds: int
    nearly: int


EVEN = Pace(0.15, 0.2, 0.4, 15, 8)
PUT_TOGETHER = Pace(0.25, 0.05, _EXCESS, 5, 3)


def fewer_lengths(
    links: Links,
    lengths: Lengths,
    capacity: float,
    wanted: int,
    tries: int,
    enough: float = inf,
    pace: Pace = PUT_TOGETHER,
    number: int = 0,
) -> Lengths | None:
    """Return as few lengths as are wanted, or None if they are not found.

    Parameters
    ----------
    links : Links
    lengths : list of list of Block
        Lengths that hold all crosses.
    capacity : float
        Thread of one length between its tails.
    wanted : int
        Number of lengths.
    tries : int
        Changes tried in the first three rounds; each further one has as many as one of these.
    enough : float
        Excess of all lengths down to which the search goes on in the tries given.
    pace : Pace
    number : int
        Of this search: each takes another way.
    """
    filling = _Filling(links, lengths, capacity, pace.excess, number)
    while filling.number() > wanted:
        if not filling.dissolve():
            return None
    found, least = None, inf
    for turn in range(pace.rounds):
        filling.anneal(tries // _ROUNDS, pace.heat, _COLD, enough, pace.price)
        over = filling.too_full()
        if not over:
            if filling.excess() < least:
                found, least = filling.lengths(), filling.excess()
            if turn >= _ROUNDS - 1 or least <= enough:
                break
            continue
        if over > (_HOPELESS if turn < _ROUNDS - 1 else pace.nearly):
            break
    return found


class _Filling:
    """Lengths as rings of stops, each through a mark of its own, with their children."""

    def __init__(
        self, links: Links, lengths: Lengths, capacity: float, each_excess: float = _EXCESS, number: int = 0
    ) -> None:
        count = len(links.flat)
        self._each_excess = each_excess
        self._links = links
        self._random = Random(count + number)
        self._price = 1.0
        self._count = count
        self._holds = capacity + 1 + EPSILON
        self._after = [-1] * (count + len(lengths))
        self._before = [-1] * (count + len(lengths))
        self._length = [-1] * count
        """Length of each cross."""
        self._parent = [-1] * count
        """Stop of each child, -1 for a stop."""
        self._children: list[list[int]] = [[] for _ in range(count)]
        self._members: list[list[int]] = [[] for _ in lengths]
        self._place = [-1] * count
        self._excess = [0.0] * len(lengths)
        self._walks: list[list[int] | None] = [None] * len(lengths)
        """Stops of each length in order, as long as it does not change; and its links with an excess."""
        self._faults: list[list[tuple[int, int]] | None] = [None] * len(lengths)
        self._over: list[int] = []
        """Lengths that hold too much, and the place of each in that list."""
        self._over_place = [-1] * len(lengths)
        self._faulty: list[int] = []
        self._faulty_place = [-1] * len(lengths)
        for number, blocks in enumerate(lengths):
            before = count + number
            for stop, children in blocks:
                self._after[before], self._before[stop] = stop, before
                before = stop
                self._join(stop, number)
                self._children[stop] = list(children)
                for child in children:
                    self._parent[child] = stop
                    self._join(child, number)
            self._after[before], self._before[count + number] = count + number, before
            self._excess[number] = self._along(number)
            self._note(number)
        steps = (1, links.width, -1, -links.width)
        self._sides = [[links.at[p + s] for s in steps if links.at[p + s] >= 0] for p in links.flat]
        self._nearest: list[list[int] | None] = [None] * count
        self._beside: list[list[int] | None] = [None] * count

    # What there is

    def number(self) -> int:
        """Return the number of lengths."""
        return sum(bool(part) for part in self._members)

    def too_full(self) -> int:
        """Return the number of lengths that hold too much."""
        return len(self._over)

    def excess(self) -> float:
        """Return the excess of all lengths."""
        return sum(self._excess)

    def lengths(self) -> Lengths:
        """Return the lengths."""
        return [
            [(stop, list(self._children[stop])) for stop in self._stops(number)]
            for number, members in enumerate(self._members)
            if members
        ]

    def _stops(self, number: int) -> list[int]:
        found = self._walks[number]
        if found is None:
            found, at = [], self._after[self._count + number]
            while at < self._count:
                found.append(at)
                at = self._after[at]
            self._walks[number] = found
        return found

    def _faulty_links(self, number: int) -> list[tuple[int, int]]:
        found = self._faults[number]
        if found is None:
            excess = self._links.excess
            found = self._faults[number] = [(a, b) for a, b in pairwise(self._stops(number)) if excess(a, b) > EPSILON]
        return found

    def _along(self, number: int) -> float:
        stops = self._stops(number)
        return sum(self._link(a, b) for a, b in pairwise(stops))

    def _link(self, a: int, b: int) -> float:
        return 0.0 if a >= self._count or b >= self._count else self._links.excess(a, b)

    def _near(self, cross: int) -> list[int]:
        found = self._nearest[cross]
        if found is None:
            found = [other for other, _ in self._links.near(cross, _FAR, None, _NEAR)]
            self._nearest[cross] = found
        return found

    def _worth(self, size: int, excess: float) -> float:
        """Return what a length of so many crosses with such an excess counts."""
        over = size * _CROSS + excess - self._holds
        return self._each_excess * excess + (self._price * _CROSS * ceil(over / _CROSS) if over > 0 else 0.0)

    # How it is changed

    def _join(self, cross: int, number: int) -> None:
        old = self._length[cross]
        if old == number:
            return
        if old >= 0:
            last, at = self._members[old].pop(), self._place[cross]
            if last != cross:
                self._members[old][at] = last
                self._place[last] = at
        self._length[cross] = number
        self._place[cross] = len(self._members[number])
        self._members[number].append(cross)

    def _note(self, number: int) -> None:
        self._walks[number] = self._faults[number] = None
        over = len(self._members[number]) * _CROSS + self._excess[number] > self._holds
        _keep(self._over, self._over_place, number, over)
        _keep(self._faulty, self._faulty_place, number, self._excess[number] > EPSILON)

    def dissolve(self) -> bool:
        """Put the shortest length to one beside it; return whether there was one."""
        number = min((k for k, part in enumerate(self._members) if part), key=lambda k: (len(self._members[k]), k))
        mine = list(self._stops(number))
        best: tuple[float, int, int] | None = None
        for end in (mine[0], mine[-1]):
            for other, excess in self._links.near(end, self._links.price, None):
                if self._length[other] != number and self._parent[other] < 0 and (best is None or excess < best[0]):
                    best = excess, end, other
        if best is None:
            return False
        _, end, other = best
        if end == mine[-1]:
            mine.reverse()
        to = self._length[other]
        after = self._after[other]
        for a, b in zip([other, *mine], [*mine, after], strict=True):
            self._after[a], self._before[b] = b, a
        mark = self._count + number
        self._after[mark] = self._before[mark] = mark
        for stop in mine:
            self._join(stop, to)
            for child in self._children[stop]:
                self._join(child, to)
        self._excess[number] = 0.0
        self._walks[to] = None
        self._excess[to] = self._along(to)
        self._note(number)
        self._note(to)
        return True

    def anneal(self, tries: int, hot: float, cold: float, enough: float = inf, price: float = 1.0) -> None:
        """Try changes while the heat falls from ``hot`` to ``cold``, and what lacks room rises from ``price`` to one.

        At most until no length holds too much and the excess is ``enough``.
        """
        draw, members = self._random.random, self._members
        for done in range(tries):
            if not self._over and (enough == inf or (done % _LOOK == 0 and self.excess() <= enough)):
                return
            heat = hot * (cold / hot) ** (done / tries)
            self._price = price ** max(0.0, 1.0 - done / tries / _EARLY)
            most = -heat * log(1.0 - draw()) + EPSILON
            if self._faulty and draw() < _AT_EXCESS:
                self._at_excess(most)
                continue
            if self._over and draw() < _FULL:
                part = members[self._over[int(draw() * len(self._over))]]
                cross = part[int(draw() * len(part))]
            else:
                cross = int(draw() * self._count)
            way = draw()
            if self._parent[cross] >= 0:
                if way < 0.4:
                    self._hand_on(cross, most, draw())
                else:
                    self._insert(cross, most, draw(), draw())
            elif way < 0.25:
                self._take_in(cross, most, draw())
            elif way < 0.5:
                self._exchange(cross, most, draw())
            elif way < 0.75:
                self._insert(cross, most, draw(), draw())
            else:
                self._swap_ends(cross, most, draw(), draw())

    def _at_excess(self, most: float) -> None:
        """Try a change at a link with an excess."""
        draw = self._random.random
        links = self._faulty_links(self._faulty[int(draw() * len(self._faulty))])
        if not links:
            return
        a, b = links[int(draw() * len(links))]
        at = a if draw() < 0.5 else b
        way = draw()
        if way < 0.3:
            self._exchange(at, most, draw())
        elif way < 0.4:
            self._take_in(at, most, draw())
        elif way < 0.75:
            near = self._around(at)
            self._insert_between(near[int(draw() * len(near))], a, b, most)
        else:
            self._swap_ends(at, most, draw(), draw())

    def _around(self, cross: int) -> list[int]:
        found = self._beside[cross]
        if found is None:
            near = self._near(cross)
            found = self._beside[cross] = near + [other for other in self._sides[cross] if other not in near]
        return found

    def _change(self, one: int, two: int, size: int, excess_one: float, excess_two: float) -> float:
        """Return what it costs if ``size`` crosses go to another length and the excess of both changes."""
        n1, n2 = len(self._members[one]), len(self._members[two])
        e1, e2 = self._excess[one], self._excess[two]
        if one == two:
            return self._worth(n1, e1 + excess_one + excess_two) - self._worth(n1, e1)
        return (
            self._worth(n1 - size, e1 + excess_one)
            + self._worth(n2 + size, e2 + excess_two)
            - self._worth(n1, e1)
            - self._worth(n2, e2)
        )

    def _set(self, one: int, two: int, excess_one: float, excess_two: float) -> None:
        self._excess[one] += excess_one
        self._excess[two] += excess_two
        self._note(one)
        self._note(two)

    def _child_to(self, child: int, stop: int) -> None:
        """Make a cross the child of a stop; it must be in no walk."""
        old = self._parent[child]
        if old >= 0:
            self._children[old].remove(child)
        self._parent[child] = stop
        self._children[stop].append(child)
        self._join(child, self._length[stop])

    def _hand_on(self, child: int, most: float, which: float) -> None:
        """Make a child the child of another stop."""
        parent = self._parent[child]
        ways = [s for s in self._sides[child] if self._parent[s] < 0 and s != parent]
        if not ways:
            return
        stop = ways[int(which * len(ways))]
        one, two = self._length[child], self._length[stop]
        if one == two or self._change(one, two, 1, 0.0, 0.0) <= most:
            self._child_to(child, stop)
            self._set(one, two, 0.0, 0.0)

    def _homes(self, stop: int, without: int = -1) -> list[tuple[int, int]] | None:
        """Return another stop of its length for each child of a stop, None if one has no other."""
        found = []
        for child in self._children[stop]:
            if child == without:
                continue
            for other in self._sides[child]:
                if other != stop and self._parent[other] < 0 and self._length[other] == self._length[stop]:
                    found.append((child, other))
                    break
            else:
                return None
        return found

    def _take_in(self, stop: int, most: float, which: float) -> None:
        """Make a stop a child of a stop beside it, its own children those of others."""
        ways = [s for s in self._sides[stop] if self._parent[s] < 0]
        if not ways:
            return
        homes = self._homes(stop)
        if homes is None:
            return
        parent = ways[int(which * len(ways))]
        one, two = self._length[stop], self._length[parent]
        a, b = self._before[stop], self._after[stop]
        freed = self._link(a, b) - self._link(a, stop) - self._link(stop, b)
        if self._change(one, two, 1, freed, 0.0) > most:
            return
        self._after[a], self._before[b] = b, a
        for child, home in homes:
            self._child_to(child, home)
        self._child_to(stop, parent)
        self._set(one, two, freed, 0.0)

    def _exchange(self, stop: int, most: float, which: float) -> None:
        """Put a child beside a stop in its place, the stop becoming a child of that."""
        ways = [c for c in self._sides[stop] if self._parent[c] >= 0]
        if not ways:
            return
        child = ways[int(which * len(ways))]
        homes = self._homes(stop, child)
        one, two = self._length[child], self._length[stop]
        if homes is None:
            return
        a, b = self._before[stop], self._after[stop]
        excess = self._link(a, child) + self._link(child, b) - self._link(a, stop) - self._link(stop, b)
        if self._change(one, two, 1, 0.0, excess) > most:
            return
        for other, home in homes:
            self._child_to(other, home)
        self._children[self._parent[child]].remove(child)
        self._parent[child] = -1
        self._join(child, two)
        self._after[a] = self._before[b] = child
        self._before[child], self._after[child] = a, b
        self._child_to(stop, child)
        self._set(one, two, 0.0, excess)

    def _insert(self, cross: int, most: float, which: float, side: float) -> None:
        """Put a child, or a stop with its children, beside a near stop in its walk."""
        near = self._near(cross)
        if not near:
            return
        other = near[int(which * len(near))]
        if self._parent[other] >= 0:
            return
        a, b = (other, self._after[other]) if side < 0.5 else (self._before[other], other)
        self._insert_between(cross, a, b, most)

    def _insert_between(self, cross: int, a: int, b: int, most: float) -> None:
        """Put a child, or a stop with its children, between two neighbours of a walk."""
        if cross in (a, b):
            return
        one, two = self._length[cross], self._length[a if a < self._count else b]
        added = self._link(a, cross) + self._link(cross, b) - self._link(a, b)
        freed, size = 0.0, 1
        is_stop = self._parent[cross] < 0
        if is_stop:
            p, n = self._before[cross], self._after[cross]
            freed = self._link(p, n) - self._link(p, cross) - self._link(cross, n)
            size += len(self._children[cross])
        if self._change(one, two, size, freed, added) > most:
            return
        if is_stop:
            self._after[p], self._before[n] = n, p
        else:
            self._children[self._parent[cross]].remove(cross)
            self._parent[cross] = -1
        self._after[a] = self._before[b] = cross
        self._before[cross], self._after[cross] = a, b
        if one != two:
            self._join(cross, two)
            for child in self._children[cross]:
                self._join(child, two)
        self._set(one, two, freed, added)

    def _swap_ends(self, stop: int, most: float, which: float, side: float) -> None:
        """Link a stop to a near one: turn a stretch of the walk, or exchange the ends of two walks."""
        near = self._near(stop)
        if not near:
            return
        other = near[int(which * len(near))]
        if self._parent[other] >= 0 or other in (self._after[stop], self._before[stop]):
            return
        one, two = self._length[stop], self._length[other]
        if one == two:
            self._turn(stop, other, most, side < 0.5)
            return
        n = self._count
        walk, theirs = self._stops(one), self._stops(two)
        at, to = walk.index(stop), theirs.index(other)
        now = self._worth(len(self._members[one]), self._excess[one])
        now += self._worth(len(self._members[two]), self._excess[two])
        # From the first part of one into a part of the other.
        turned = side >= 0.5
        size = self._size(walk[: at + 1])
        size += self._size(theirs[: to + 1] if turned else theirs[to:])
        sizes = size, len(self._members[one]) + len(self._members[two]) - size
        if self._worth(sizes[0], 0.0) + self._worth(sizes[1], 0.0) - now > most:
            return
        if turned:
            halves = walk[: at + 1] + theirs[to::-1], walk[:at:-1] + theirs[to + 1 :]
        else:
            halves = walk[: at + 1] + theirs[to:], theirs[:to] + walk[at + 1 :]
        excess = [sum(self._link(a, b) for a, b in pairwise(half)) for half in halves]
        if self._worth(sizes[0], excess[0]) + self._worth(sizes[1], excess[1]) - now > most:
            return
        for number, half, value in zip((one, two), halves, excess, strict=True):
            ring = [n + number, *half, n + number]
            for a, b in pairwise(ring):
                self._after[a], self._before[b] = b, a
            for s in half:
                if self._length[s] != number:
                    self._join(s, number)
                    for child in self._children[s]:
                        self._join(child, number)
            self._excess[number] = value
        self._note(one)
        self._note(two)

    def _size(self, stops: list[int]) -> int:
        """Return how many crosses stops and their children are."""
        return len(stops) + sum([len(self._children[stop]) for stop in stops])

    def _turn(self, stop: int, other: int, most: float, ahead: bool) -> None:
        """Turn the stretch between two stops of a walk, so that they become neighbours."""
        number = self._length[stop]
        walk = self._stops(number)
        low, high = sorted((walk.index(stop), walk.index(other)))
        first, last = (low + 1, high) if ahead else (low, high - 1)
        a = walk[first - 1] if first else self._count + number
        b = walk[last + 1] if last + 1 < len(walk) else self._count + number
        change = self._link(a, walk[last]) + self._link(walk[first], b) - self._link(a, walk[first])
        change -= self._link(walk[last], b)
        if self._change(number, number, 0, change, 0.0) > most:
            return
        ring = [a, *walk[first : last + 1][::-1], b]
        for one, two in pairwise(ring):
            self._after[one], self._before[two] = two, one
        self._set(number, number, change, 0.0)


def _keep(listed: list[int], place: list[int], number: int, wanted: bool) -> None:
    """Put a number on a list or take it off, ``place`` telling where each is, -1 for nowhere."""
    at = place[number]
    if wanted and at < 0:
        place[number] = len(listed)
        listed.append(number)
    elif not wanted and at >= 0:
        last = listed.pop()
        place[number] = -1
        if last != number:
            listed[at] = last
            place[last] = at
