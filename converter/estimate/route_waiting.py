"""Children that wait for a stop: which stop along a walk takes each, and which can be left for a later one.

A length that goes on along a link with an excess holds a cross less. So where a row of stops without an excess ends,
the length should be just full: children that a later row reaches too are left for it, as many as make that so.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from converter.estimate.route_geometry import EPSILON
from converter.estimate.route_links import Links

Block = tuple[int, list[int]]
"""A stop and the children worked while it is open."""


class Waiting:
    """The children of the stops still to come.

    Parameters
    ----------
    links : Links
    stops : list of int
        Every cross must be a stop or have a side neighbour that is one.
    """

    def __init__(self, links: Links, stops: list[int]) -> None:
        order = np.asarray(stops, dtype=np.int64)
        count, none = links.crosses.count, order.size
        number = np.full(links.crosses.index.size, none, dtype=np.int64)
        number[links.place[order]] = np.arange(none)
        free = np.ones(count, dtype=np.bool_)
        free[order] = False
        rest = np.flatnonzero(free)
        steps = np.array([1, links.width, -1, -links.width])
        beside = number[links.place[rest, None] - steps]
        side = beside.argmin(axis=1)
        beside.sort(axis=1)
        latest = np.full(count, -1, dtype=np.int64)
        latest[rest] = np.where(beside < none, beside, -1).max(axis=1)
        self.last: list[int] = latest.tolist()
        """The last stop beside each cross, by its number on the walk."""
        first = beside[:, 0]
        by_stop = np.lexsort((side, first))
        ends = np.searchsorted(first[by_stop], np.arange(none + 1)).tolist()
        crosses = rest[by_stop].tolist()
        self.children: list[list[int]] = [crosses[a:b] for a, b in pairwise(ends)]
        """The free side neighbours of each stop that no stop before it takes: right, below, left, above."""
        self._beside = beside
        self._row = np.cumsum(free) - 1
        self._flat, self._stops = links.flat, stops
        self._rank = {int(step): at for at, step in enumerate(steps)}

    def leave(self, child: int, number: int) -> None:
        """Leave a child for the next stop beside it after ``number``."""
        owner = next(n for n in self._beside[self._row[child]].tolist() if n > number)
        place = self._flat[self._stops[owner]]
        found = self.children[owner]
        found.append(child)
        found.sort(key=lambda c: self._rank[self._flat[c] - place])

    def keep(self, child: int, end: int) -> None:
        """Let a child go to no stop from ``end`` on."""
        self.last[child] = max(n for n in self._beside[self._row[child]].tolist() if n < end)

    def owner(self, child: int) -> int:
        """Return the number of the stop that a child goes to."""
        beside: list[int] = self._beside[self._row[child]].tolist()
        return next(n for n in beside if n < len(self._stops) and child in self.children[n])

    def pass_on(self, child: int, end: int) -> None:
        """Take a child from its stop, and leave it for the next stop beside it from ``end`` on."""
        self.children[self.owner(child)].remove(child)
        self.last[child] = max(n for n in self._beside[self._row[child]].tolist() if n < len(self._stops))
        self.leave(child, end - 1)

    def reaches(self, child: int, number: int, end: int) -> bool:
        """Return whether a stop from ``number`` on and before ``end`` is beside a child."""
        return any(number <= n < end for n in self._beside[self._row[child]].tolist())

    def take_back(self, child: int, number: int, end: int) -> None:
        """Take a child from its stop, and give it to the next stop beside it from ``number`` on, before ``end``."""
        self.children[self.owner(child)].remove(child)
        self.keep(child, end)
        self.leave(child, number - 1)

    def put_back(self, blocks: list[Block], number: int, short: int) -> bool:
        """Leave ``short`` children of a length for stops after ``number``; False, and nothing done, if too few can."""
        found: list[tuple[int, int]] = []
        for at in range(len(blocks) - 1, -1, -1):
            found += [(at, child) for child in blocks[at][1] if self.last[child] > number]
            if len(found) >= short:
                break
        if len(found) < short:
            return False
        for at, child in found[:short]:
            blocks[at][1].remove(child)
            self.leave(child, number)
        return True


class Rows:
    """How many children each row of stops leaves for later rows, so that it fills whole lengths.

    Parameters
    ----------
    waiting : Waiting
    costs : list of float
        Excess of the link that leads to each stop; a row begins where there is any.
    """

    def __init__(self, waiting: Waiting, costs: list[float]) -> None:
        self._waiting = waiting
        self._first = [k for k, cost in enumerate(costs) if cost > EPSILON or not k] + [len(costs)]
        self._row = -1
        self._end = self._until = 0
        self._spare: list[int] = []
        """Children of the row that later rows reach too, and those of them that were left for these."""
        self._passed: list[int] = []

    def plan(self, number: int, placed: int, holds: int, most: int) -> None:
        """Leave children of the row from a stop on for later rows.

        Parameters
        ----------
        number : int
            The stop.
        placed : int
            Crosses in lengths up to here.
        holds, most : int
            Crosses for which the length that the stop goes to has room, and any later one.
        """
        waiting = self._waiting
        if number >= self._end:
            while self._first[self._row + 1] <= number:
                self._row += 1
            self._end = self._first[self._row + 1]
            here = [child for at in range(number, self._end) for child in waiting.children[at]]
            self._spare = [child for child in here if waiting.last[child] >= self._end]
            self._passed = []
            for child in self._spare:
                waiting.keep(child, self._end)
            self._until = placed + self._end - number + len(here)
        left = self._until - placed - holds
        over = left % most
        if not over:
            return
        # From the end of the row, for what is in lengths already stays there.
        spare = [(owner, child) for child in self._spare if (owner := waiting.owner(child)) >= number]
        if left > 0 and over <= len(spare):
            for _, child in sorted(spare)[-over:]:
                self._pass_on(child)
            return
        back = [child for child in self._passed if waiting.reaches(child, number, self._end)]
        if most - over <= len(back) and left > -most:
            for child in back[: most - over]:
                waiting.take_back(child, number, self._end)
                self._passed.remove(child)
                self._spare.append(child)
                self._until += 1

    def release(self, number: int, short: int) -> bool:
        """Leave ``short`` children of a stop that has no room for them for later rows; False if it has too few."""
        found = [child for child in self._waiting.children[number] if child in self._spare]
        if len(found) < short:
            return False
        for child in found[:short]:
            self._pass_on(child)
        return True

    def _pass_on(self, child: int) -> None:
        self._waiting.pass_on(child, self._end)
        self._spare.remove(child)
        self._passed.append(child)
        self._until -= 1
