"""The closed order, first half: a round of stops through the whole chart.

The closed order leaves at most two crosses open. It is a path of *stops*: crosses that are begun and finished in turn.
While a stop is open, side neighbours may be worked whole between its two legs, at no extra thread; they are its
*children*. From a finished stop the thread reaches, one side away, the bottom leg of every cross two sides off, that
is of every near cross of the same colour of a chequerboard. So the stops are the crosses of one colour, the other
colour are their children, and what is sought is a round through all stops by steps of a king (turned by 45 degrees).

1. Crosses of four neighbouring places of a colour reach one another: they form a small round.
2. Two rounds with a link each that lie side by side become one: take both links out, join the four ends crosswise.
   Merging at no cost, over and over, joins all parts that are at least two stops wide.
3. What is left is thin: lines one cross wide. There a child becomes a stop beside its neighbour. Rounds of two such
   stops merge into a walk out on every other cross and back on those left out, at one excess for turning.
4. Remaining rounds merge in the order of what a merger costs, as long as that is well under a new start.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from converter.estimate.route_geometry import EPSILON, FloatArray, IntArray
from converter.estimate.route_links import Links

_LEVELS = (0.0, 0.42, 0.84, 1.3, 1.7, 2.5, 3.4, 5.1)
_THIN = 3
_NEAR = 16
_BLOCK = 1 << 14
"""Stops whose links are looked at together."""
Near = dict[int, list[int]]


class Rounds:
    """Rounds of stops that are merged step by step.

    Each stop knows its two neighbours on its round; a round of one is a stop that is its own neighbour.
    """

    def __init__(self, links: Links) -> None:
        self.links = links
        self._excess = links.excess
        count = len(links.flat)
        self.one = list(range(count))
        self.two = list(range(count))
        self.is_stop = [False] * count
        self._root = list(range(count))
        self._size = [1] * count

    def root(self, stop: int) -> int:
        """Return the representative of the round of a stop."""
        root = self._root
        while root[stop] != stop:
            root[stop] = root[root[stop]]
            stop = root[stop]
        return stop

    def size(self, stop: int) -> int:
        """Return how many stops the round of a stop has."""
        return self._size[self.root(stop)]

    def _swap(self, stop: int, old: int, new: int) -> None:
        if self.one[stop] == old:
            self.one[stop] = new
        else:
            self.two[stop] = new

    def _join(self, a: int, b: int) -> None:
        a, b = self.root(a), self.root(b)
        if self._size[a] < self._size[b]:
            a, b = b, a
        self._root[b] = a
        self._size[a] += self._size[b]

    def merge(self, a: int, b: int, most: float) -> tuple[int, int] | None:
        """Join the rounds of two stops by linking these two, if that costs at most ``most``.

        Returns
        -------
        tuple of int or None
            The two stops that were linked to them before; None if nothing was done.
        """
        excess = self._excess
        link = excess(a, b)
        best, chosen = most + EPSILON, None
        after = [(b2, 0.0 if b2 == b else excess(b, b2)) for b2 in {self.one[b]: 0, self.two[b]: 0}]
        for a2 in {self.one[a]: 0, self.two[a]: 0}:
            loss = link - (0.0 if a2 == a else excess(a, a2))
            for b2, freed in after:
                cost = loss + excess(a2, b2) - freed
                if cost < best:
                    best, chosen = cost, (a2, b2)
        if chosen is not None:
            a2, b2 = chosen
            self._swap(a, a2, b)
            self._swap(b, b2, a)
            self._swap(a2, a, b2)
            self._swap(b2, b, a2)
            self._join(a, b)
        return chosen

    def roots(self) -> IntArray:
        """Return the representative of the round of every cross."""
        root = np.asarray(self._root, dtype=np.int64)
        while (root[root] != root).any():
            root = root[root]
        self._root = root.tolist()
        return root

    def start(self, stops: IntArray, group: IntArray) -> None:
        """Make a round of each group of stops, in the order given; ``group`` ascends."""
        first = np.flatnonzero(np.diff(group, prepend=-1))
        count = np.diff(np.append(first, stops.size))
        last = first + count - 1
        one, two, root, size = (np.asarray(part) for part in (self.one, self.two, self._root, self._size))
        one[stops], two[stops] = np.roll(stops, 1), np.roll(stops, -1)
        one[stops[first]], two[stops[last]] = stops[last], stops[first]
        root[stops], size[stops[first]] = np.repeat(stops[first], count), count
        self.one, self.two, self._root, self._size = one.tolist(), two.tolist(), root.tolist(), size.tolist()

    def link(self, parts: list[list[int]]) -> None:
        """Make a round of each of these walks; no other cross is a stop."""
        for stops in parts:
            for before, stop, after in zip(stops[-1:] + stops[:-1], stops, stops[1:] + stops[:1], strict=True):
                self.one[stop], self.two[stop], self._root[stop] = before, after, stops[0]
                self.is_stop[stop] = True
            self._size[stops[0]] = len(stops)

    def dissolve(self, stops: list[int]) -> None:
        """Make each of these stops a round of its own; they must be whole rounds."""
        for stop in stops:
            self.one[stop] = self.two[stop] = self._root[stop] = stop
            self._size[stop] = 1

    def walks(self) -> list[list[int]]:
        """Return all rounds, each opened at its dearest link, in the order of their first stops."""
        seen = [False] * len(self.one)
        found = []
        for first, is_stop in enumerate(self.is_stop):
            if not is_stop or seen[first]:
                continue
            walk, before, at = [first], first, self.two[first]
            seen[first] = True
            while at != first:
                walk.append(at)
                seen[at] = True
                ahead = self.two[at] if self.one[at] == before else self.one[at]
                before, at = at, ahead
            found.append(self._opened(walk))
        return found

    def _opened(self, walk: list[int]) -> list[int]:
        if len(walk) < 3:
            return walk
        costs = self.links.along([walk[-1], *walk])
        at = max(range(len(walk)), key=lambda k: (costs[k], -k))
        return walk[at:] + walk[:at]


def stop_walks(links: Links, colour: int) -> list[list[int]]:
    """Return walks over stops that together reach every cross of a chart.

    Parameters
    ----------
    links : Links
    colour : int
        0 or 1: the colour of the chequerboard that the stops are on.

    Returns
    -------
    list of list of int
        Stops in order. Every cross is a stop or has a side neighbour that is one.
    """
    rounds = Rounds(links)
    row, col = links.crosses.row, links.crosses.col
    sides = [links.crosses.neighbour(step) for step in ((0, 1), (1, 0), (0, -1), (-1, 0))]
    lonely = (sides[0] < 0) & (sides[1] < 0) & (sides[2] < 0) & (sides[3] < 0)
    rounds.is_stop = (((row + col) % 2 == colour) | lonely).tolist()
    _merge_free(rounds)
    _split_thin(rounds, [side.tolist() for side in sides])
    merge_dear(rounds)
    return rounds.walks()


def _merge_free(rounds: Rounds) -> None:
    """Join rounds at no cost: first inside blocks of two by two places of a colour, then block to block."""
    links = rounds.links
    stops = np.flatnonzero(np.asarray(rounds.is_stop))
    row, col = links.crosses.row[stops], links.crosses.col[stops]
    # Rows and columns of a colour, turned by 45 degrees; four places of a block reach one another, in a ring.
    up, down = (row + col) >> 1, (row - col) >> 1
    block = (up // 2 * (1 << 20) + down // 2 + (1 << 19)) * 2 + (row + col) % 2
    index = links.crosses.index.ravel()
    steps = np.array([links.width - 1, links.width + 1, 2, 2 * links.width])
    other = index[links.place[stops, None] + steps]
    other[~np.asarray(rounds.is_stop)[other]] = -1
    linked = other.ravel() >= 0
    first, second = np.repeat(stops, 4)[linked], other.ravel()[linked]
    # Links along worked crosses come before those over a gap, which would take their places.
    between = np.array([[-1, links.width], [1, links.width], [1, 1], [links.width, links.width]])
    over = (index[links.place[stops, None, None] + between] < 0).all(axis=2).ravel()[linked]
    number = np.zeros(links.crosses.count, dtype=np.int64)
    inside = links.rules.hidden
    if not inside:
        turn = 2 * (up % 2) + (up + down) % 2
        _square_up(rounds, stops, block, turn)
        number[stops] = block
        pairs = over & (number[first] == number[second])
        block[np.isin(block, number[first[pairs]]) & (_size(block) == 2)] = -1
        alone = np.flatnonzero(block < 0)
        block[alone] = block.max(initial=0) + 1 + alone
        order = np.lexsort((turn, block))
        rounds.start(stops[order], block[order])
    number[stops] = block
    same = number[first] == number[second]
    passes = (~same & ~over, ~same & ~over, ~same, ~same)
    for chosen in (same, *passes) if inside else passes:
        root = rounds.roots()
        chosen = chosen & (root[first] != root[second])
        for a, b in zip(first[chosen].tolist(), second[chosen].tolist(), strict=True):
            if rounds.root(a) != rounds.root(b):
                rounds.merge(a, b, 0.0)


def _size(number: IntArray) -> IntArray:
    """Return how often each number occurs."""
    _, at, size = np.unique(number, return_inverse=True, return_counts=True)
    found: IntArray = size[at.reshape(-1)]
    return found


def _square_up(rounds: Rounds, stops: IntArray, block: IntArray, turn: IntArray) -> None:
    """Put stops that meet no other by a corner into upright blocks of four places two sides apart, or the half of one.

    Along arms one cross wide with a gap of one, as in a maze, the stops meet across the gaps.
    """
    links, width = rounds.links, rounds.links.width
    is_stop = np.append(np.asarray(rounds.is_stop), False)
    index, place = links.crosses.index.ravel(), links.place[stops]
    corners = np.array([-width - 1, -width + 1, width - 1, width + 1])
    lone = np.flatnonzero(~is_stop[index[place[:, None] + corners]].any(axis=1))
    row, col = links.crosses.row[stops[lone]], links.crosses.col[stops[lone]]
    best, kept = 0, np.zeros(0, dtype=np.bool_)
    for down, across in product((0, 2), (0, 2)):
        code = ((row + down) >> 2) * (1 << 20) + ((col + across) >> 2)
        _, number, size = np.unique(code * 4 + 2 * (row % 2) + col % 2, return_inverse=True, return_counts=True)
        number = number.reshape(-1)
        full = int((size == 4).sum())
        if full > best:
            r, c = ((row + down) >> 1) % 2, ((col + across) >> 1) % 2
            ring = 2 * r + (r + c) % 2
            # Of two places that are neighbours on the ring one is even.
            pair = (size == 2) & (np.bincount(number, ring) % 2 == 1)
            best, kept, found, turned = full, ((size == 4) | pair)[number], number, ring
    if best:
        block[lone[kept]] = block.max() + 1 + found[kept]
        turn[lone[kept]] = turned[kept]


def _split_thin(rounds: Rounds, sides: list[list[int]]) -> None:
    """Pair the stops of small rounds with a free side neighbour each."""
    thin = [k for k, is_stop in enumerate(rounds.is_stop) if is_stop and rounds.size(k) <= _THIN]
    rounds.dissolve(thin)
    for stop in thin:
        for side in sides:
            other = side[stop]
            if other >= 0 and not rounds.is_stop[other]:
                rounds.is_stop[other] = True
                rounds.merge(stop, other, 1.0)
                break


def merge_dear(rounds: Rounds) -> None:
    """Join rounds in the order of the cost, the largest round of all serving as a partner only."""
    root = rounds.roots()
    stops = np.flatnonzero(np.asarray(rounds.is_stop))
    if not stops.size:
        return
    biggest = int(np.bincount(root[stops]).argmax())
    one, two, cost = _apart(rounds, stops, root, biggest)
    for level in _LEVELS:
        if level > rounds.links.price / 4:
            break
        root = rounds.roots()
        apart = root[one] != root[two]
        one, two, cost = one[apart], two[apart], cost[apart]
        within = cost <= level + 0.84 + EPSILON
        near = _grouped(one[within], two[within])
        waiting = list(near)
        while waiting:
            touched = _merge_at(rounds, waiting, near, level, biggest)
            # What was merged, and what lies near it, may merge on.
            again = touched.union(b for a in touched for b in near.get(a, ()))
            waiting = sorted(a for a in again if a in near)


def _merge_at(rounds: Rounds, waiting: list[int], near: Near, level: float, biggest: int) -> set[int]:
    """Merge the rounds of these stops with those near them at no more than ``level``; return the stops linked anew."""
    root = rounds.root
    touched: set[int] = set()
    for a in waiting:
        mine = root(a)
        if mine == root(biggest):
            continue
        for b in near[a]:
            if root(b) == mine:
                continue
            ends = rounds.merge(a, b, level)
            if ends is not None:
                touched.update((a, b, *ends))
                mine = root(a)
    return touched


def _grouped(one: IntArray, two: IntArray) -> Near:
    """Return for each number of ``one``, which ascends, those of ``two`` beside it."""
    found: Near = {}
    for a, b in zip(one.tolist(), two.tolist(), strict=True):
        found.setdefault(a, []).append(b)
    return found


def _apart(rounds: Rounds, stops: IntArray, root: IntArray, biggest: int) -> tuple[IntArray, IntArray, FloatArray]:
    """Return pairs of a stop outside the biggest round and one of another round that a link reaches, with its excess.

    Sorted by the first stop, cheapest first.
    """
    links = rounds.links
    outside = stops[root[stops] != biggest]
    index, is_stop = links.crosses.index.ravel(), np.asarray([*rounds.is_stop, False])
    steps = np.asarray(list(links.excess_of), dtype=np.int64)
    plain = np.asarray(list(links.excess_of.values()))
    first, second, costs = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)], [np.zeros(0)]
    for low in range(0, outside.size, _BLOCK):
        part = outside[low : low + _BLOCK]
        other = index[links.place[part, None] + steps]
        at, which = np.nonzero(is_stop[other] & (root[other] != root[part, None]) & (plain < links.price))
        one, two = part[at], other[at, which].astype(np.int64)
        if links.rules.hidden:
            cost = np.array([links.excess(a, b) for a, b in zip(one.tolist(), two.tolist(), strict=True)])
            order = np.lexsort((which, cost, at))
            order = order[cost[order] < links.price]
            at, one, two, cost = at[order], one[order], two[order], cost[order]
        else:
            cost = plain[which]
        # Only so many of each.
        rank = np.arange(at.size) - np.searchsorted(at, at)
        first.append(one[rank < _NEAR])
        second.append(two[rank < _NEAR])
        costs.append(cost[rank < _NEAR])
    return np.concatenate(first), np.concatenate(second), np.concatenate(costs)
