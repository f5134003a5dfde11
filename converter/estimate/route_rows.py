"""Rows of stops without an excess that fill whole lengths.

A length that goes on from one row to the next holds a cross less, and one that cannot go on is left half full. Neither
happens where a row ends just as a length is full. So row after row is made to fit, at the cost of later ones:

1. Crosses beside it are left for later rows that reach them too.
2. Its end is exchanged with that of a later row, wherever two rows lie beside each other, at no excess.
3. Stops are taken out where the row is whole without them; they make rows of their own at the end.

Rows come in an order in which each has many crosses in common with later ones (`route_row_order`).
"""

from __future__ import annotations

from heapq import heappop, heappush
from itertools import accumulate

from converter.estimate.route_cover import Cover
from converter.estimate.route_geometry import EPSILON
from converter.estimate.route_links import Links
from converter.estimate.route_row_order import dead_end_depths, loose_order

_LONG = 300
"""Stops of a row that none are taken out of."""


def fitted_walk(links: Links, rows: list[list[int]], most: int, ends: int, shed: bool) -> list[int]:
    """Return a walk along rows changed so that as many as can be fill whole lengths.

    Parameters
    ----------
    links : Links
    rows : list of list of int
        In the order in which they are worked.
    most : int
        Crosses that a length holds.
    ends : int
        Exchanges of an end for each row, at most; with one, the last stop's end alone.
    shed : bool
        Take stops out of rows, to make rows of their own.
    """
    fitting = _Fitting(links, rows, most, ends, shed)
    number = 0
    while number < len(fitting.rows):
        fitting.fit(number)
        number += 1
        if number == len(fitting.rows):
            fitting.add_rest()
    return [stop for row in fitting.rows for stop in row]


class _Fitting:
    """Rows, and the crosses that each of their stops holds: itself and those that go to it."""

    def __init__(self, links: Links, rows: list[list[int]], most: int, ends: int, shed: bool) -> None:
        self._links, self._most, self._ends, self._shed = links, most, ends, shed
        self.rows = [list(row) for row in rows]
        count = len(links.flat)
        self._row, self._place = [-1] * count, [-1] * count
        """Row of each stop, -1 for other crosses and a number above all for stops that were taken out; place in it."""
        self._owner = [-1] * count
        """Stop that each other cross goes to: the first beside it, unless it is left for a later row."""
        self._holds = [1] * count
        for number in range(len(rows)):
            self._label(number)
        self._share([cross for cross in range(count) if self._row[cross] < 0], 0)
        self._depth = dead_end_depths(links) if shed else []

    def _label(self, number: int) -> None:
        for at, stop in enumerate(self.rows[number]):
            self._row[stop], self._place[stop] = number, at

    def _share(self, crosses: list[int], first: int) -> None:
        """Give crosses to the first stop beside them in a row from ``first`` on."""
        row, place, owner = self._row, self._place, self._owner
        for cross in crosses:
            beside = [stop for stop in self._links.sides(cross) if row[stop] >= first]
            if owner[cross] >= 0:
                self._holds[owner[cross]] -= 1
            owner[cross] = min(beside, key=lambda stop: (row[stop], place[stop]))
            self._holds[owner[cross]] += 1

    def _beside(self, number: int) -> list[int]:
        """Return the crosses that go to a row."""
        return self._of(self.rows[number])

    def _of(self, stops: list[int]) -> list[int]:
        sides, row, owner = self._links.sides, self._row, self._owner
        return [cross for stop in stops for cross in sides(stop) if row[cross] < 0 and owner[cross] == stop]

    def _spare(self, number: int) -> list[int]:
        """Return the crosses of a row that can be left for later rows."""
        sides, row = self._links.sides, self._row
        return [cross for cross in self._beside(number) if any(row[stop] > number for stop in sides(cross))]

    def _sums(self, number: int) -> list[int]:
        return [0, *accumulate(self._holds[stop] for stop in self.rows[number])]

    def _over(self, number: int) -> int:
        """Return how many crosses of a row are left over whole lengths."""
        return self._sums(number)[-1] % self._most

    def fit(self, number: int) -> None:
        """Let a row fill whole lengths."""
        for _ in range(self._ends):
            if self._over(number) <= len(self._spare(number)) or not self._exchange_end(number):
                break
        if self._shed and self._over(number) > len(self._spare(number)):
            self._take_out(number)
        over, spare = self._over(number), self._spare(number)
        if over <= len(spare):
            self._share(spare[len(spare) - over :], number + 1)

    def _exchange_end(self, number: int) -> bool:
        """Exchange one end of a row with that of a later one, so that as little as can be is over."""
        found = []
        for turned in (False, True)[: self._ends]:
            if turned:
                self._turn(number)
            best = self._best_end(number)
            if best is not None:
                found.append((best[0], turned, best[1:]))
        if not found:
            return False
        _, turned, (at, step, backwards) = min(found)
        if turned != (self._ends > 1):
            self._turn(number)
        other, to = self._row[step], self._place[step]
        changed = self._beside(number) + self._beside(other)
        row, there = self.rows[number], self.rows[other]
        if backwards:
            self.rows[number], self.rows[other] = row[: at + 1] + there[to::-1], row[:at:-1] + there[to + 1 :]
        else:
            self.rows[number], self.rows[other] = row[: at + 1] + there[to:], there[:to] + row[at + 1 :]
        self._label(number)
        self._label(other)
        self._share(changed, number)
        return True

    def _turn(self, number: int) -> None:
        self.rows[number].reverse()
        self._label(number)

    def _best_end(self, number: int) -> tuple[int, int, int, bool] | None:
        """Return what is over, the place after which to end a row, the stop of another that follows, and which way."""
        row, sums, excess = self.rows[number], self._sums(number), self._links.excess
        theirs: dict[int, list[int]] = {}
        least, best = sums[-1] % self._most, None
        for at, stop in enumerate(row):
            ahead = row[at + 1] if at + 1 < len(row) else -1
            for step, _ in self._links.near(stop, 0.0, self._row):
                other = self._row[step]
                if not number < other < len(self.rows):
                    continue
                if other not in theirs:
                    theirs[other] = self._sums(other)
                to, sums_there, there = self._place[step], theirs[other], self.rows[other]
                for backwards in (False, True):
                    size = sums[at + 1] + (sums_there[to + 1] if backwards else sums_there[-1] - sums_there[to])
                    if size < self._most or size % self._most >= least:
                        continue
                    beyond = to + 1 if backwards else to - 1
                    inside = 0 <= beyond < len(there)
                    # Something has to be left of the other row.
                    if inside if ahead < 0 else not inside or excess(ahead, there[beyond]) <= EPSILON:
                        least = size % self._most
                        best = least, at, step, backwards
        return best

    def _take_out(self, number: int) -> None:
        """Take stops out of a row, those far from dead ends, until what is over can be left for others."""
        row, holds = self.rows[number], self._holds
        wanted = self._sums(number)[-1] - self._over(number)
        if not wanted or len(row) > _LONG:
            return
        kept = self._short_way(row)
        high = len(self._row)
        out = set(row) - set(kept)
        if not out:
            return
        changed = self._of(row)
        for stop in out:
            self._row[stop], self._place[stop] = high, stop
        self.rows[number] = kept
        self._label(number)
        self._share(changed, number)
        while sum(holds[stop] for stop in self.rows[number]) < wanted and self._put_in(number, high):
            pass

    def _short_way(self, row: list[int]) -> list[int]:
        """Return a way from the first to the last stop of a row, near dead ends and without an excess."""
        inside, links = set(row), self._links
        best, came = {row[0]: 0}, {row[0]: -1}
        queue = [(0, row[0])]
        while queue:
            spent, at = heappop(queue)
            if at == row[-1]:
                break
            if spent > best[at]:
                continue
            for other, _ in links.near(at, 0.0):
                total = spent + 1 + self._depth[other]
                if other in inside and total < best.get(other, total + 1):
                    best[other], came[other] = total, at
                    heappush(queue, (total, other))
        way = [row[-1]]
        while came[way[-1]] >= 0:
            way.append(came[way[-1]])
        return way[::-1]

    def _put_in(self, number: int, high: int) -> bool:
        """Put a stop that was taken out back in at no excess: one that parts nothing, the nearest to a dead end."""
        row, excess = self.rows[number], self._links.excess
        best: tuple[int, int, int, int] | None = None
        for at, stop in enumerate(row[:-1]):
            for other, _ in self._links.near(stop, 0.0, self._row):
                if self._row[other] == high and excess(other, row[at + 1]) <= EPSILON:
                    found = self._parted(other, number), self._depth[other], other, at
                    best = found if best is None else min(best, found)
        if best is None:
            return False
        _, _, other, at = best
        changed = self._of(row) + self._of([other])
        row.insert(at + 1, other)
        self._label(number)
        self._share(changed, number)
        return True

    def _parted(self, stop: int, number: int) -> int:
        """Return in how many parts the stops of later rows beside a stop are without it."""
        near = [other for other, _ in self._links.near(stop, 0.0, self._row) if self._row[other] > number]
        parts = 0
        while near:
            parts += 1
            front = [near.pop()]
            for one in front:
                ahead = [other for other in near if self._links.excess(one, other) <= EPSILON]
                near = [other for other in near if other not in ahead]
                front += ahead
        return parts

    def add_rest(self) -> None:
        """Make rows of the stops that were taken out."""
        rest = [stop for stop, number in enumerate(self._row) if number == len(self._row)]
        if not rest:
            return
        cover = Cover(self._links, rest, 0)
        cover.join_rings()
        first = len(self.rows)
        self.rows += loose_order(self._links, cover.rows + cover.rings)
        for number in range(first, len(self.rows)):
            self._label(number)
        self._shed = False
