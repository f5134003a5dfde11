"""Shorten the walk over the stops by local search.

Only links with an excess are worth a try, so the work goes with what is wrong and not with the size of the chart.

- Turn a stretch of the walk round (two links exchanged), or move up to three stops elsewhere (three links exchanged),
  wherever a cheaper link to a near stop allows it; over and over until nothing helps.
- Take stops out that can as well be worked from their neighbours.
- Then exchange two neighbouring stretches near a link with an excess, repair as before, and keep the result unless it
  is dearer; undo it otherwise. Places and sizes come from a seeded generator and the number of tries from the chart,
  so the same chart gives the same walk.

Stretches that would be turned or moved are limited in length, so each try takes bounded time on any chart.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Protocol

from converter.estimate.route_geometry import EPSILON

_NEAR = 10
_REACH = 1000
_SWAP = 30
_SPARE = 400
_END = -1
LARGE = 5000
"""Crosses from which fewer tries are made."""


def share_of_tries(crosses: int) -> float:
    """Return the share of the tries that a chart gets: on large charts there are fewer, as each takes longer."""
    return min(1.0, float((LARGE / crosses) ** 1.5))


class WalkLinks(Protocol):
    """What a walk asks of the links between its stops."""

    price: float
    flat: list[int]
    excess: Callable[[int, int], float]

    def along(self, stops: list[int]) -> list[float]:
        """Return the excess of each link of a walk."""

    def near(
        self, stop: int, most: float, place: list[int] | None = None, count: int = 1 << 30
    ) -> list[tuple[int, float]]:
        """Return the first ``count`` stops with a place that a link of ``most`` excess reaches, cheapest first."""


class SpareRule(Protocol):
    """Which stops the walk can do without."""

    def spare(self, stop: int) -> bool:
        """Return whether a stop can be taken out at present."""

    def drop(self, stop: int) -> None:
        """Take a stop out."""

    def restore(self, stop: int) -> None:
        """Put a stop back."""


class Walk:
    """A walk over stops with the moves that shorten it.

    Parameters
    ----------
    links : WalkLinks
    stops : list of int
        The walk; each cross at most once.
    """

    def __init__(self, links: WalkLinks, stops: list[int]) -> None:
        self.links = links
        self.stops = list(stops)
        self._excess = links.excess
        self.place = [-1] * len(links.flat)
        for at, stop in enumerate(self.stops):
            self.place[stop] = at
        self._near: dict[int, list[tuple[int, float]]] = {}
        self._undo: list[tuple[int, list[int]]] | None = None

    def cost(self) -> float:
        """Return the sum of the excess of all links."""
        return sum(self.costs())

    def costs(self) -> list[float]:
        """Return the excess of the link that leads to each stop, 0 for the first."""
        return [0.0, *self.links.along(self.stops)]

    def faulty(self) -> list[int]:
        """Return the stops at links with an excess, in order."""
        costs = [*self.costs(), 0.0]
        return [s for s, one, two in zip(self.stops, costs, costs[1:], strict=False) if one > EPSILON or two > EPSILON]

    def link(self, at: int) -> float:
        """Return the excess of the link that leads to the stop at a place; 0 before the first and after the last."""
        if at <= 0 or at >= len(self.stops):
            return 0.0
        return self._excess(self.stops[at - 1], self.stops[at])

    def near(self, stop: int) -> list[tuple[int, float]]:
        """Return the nearest other stops and the excess of the link to each."""
        found = self._near.get(stop)
        if found is None:
            found = self._near[stop] = self.links.near(stop, self.links.price, self.place, _NEAR)
        return found

    def _write(self, low: int, part: list[int]) -> None:
        if self._undo is not None:
            self._undo.append((low, self.stops[low : low + len(part)]))
        self.stops[low : low + len(part)] = part
        place = self.place
        for at, stop in enumerate(part, low):
            place[stop] = at

    def settle(self, queue: list[int]) -> float:
        """Apply every improving move that starts at one of these stops; return the change of the cost."""
        change = 0.0
        waiting = set(queue)
        queue = list(queue)
        while queue:
            stop = queue.pop()
            waiting.discard(stop)
            gain, touched = self._improve(stop)
            while gain < 0:
                change += gain
                for other in touched:
                    if other not in waiting:
                        waiting.add(other)
                        queue.append(other)
                gain, touched = self._improve(stop)
        return change

    def _improve(self, stop: int) -> tuple[float, list[int]]:
        """Make the first move found that shortens the walk at a stop."""
        stops, place, excess = self.stops, self.place, self._excess
        at = place[stop]
        end = len(stops) - 1
        before = excess(stops[at - 1], stop) if at else 0.0
        after = excess(stop, stops[at + 1]) if at < end else 0.0
        if after <= EPSILON and before <= EPSILON:
            return 0.0, []
        dearest = max(before, after) - EPSILON
        stretches: list[tuple[int, int, float, int]] | None = None
        for other, cost in self.near(stop):
            if cost >= dearest:
                break
            to = place[other]
            if not -_REACH <= to - at <= _REACH:
                continue
            into = excess(stops[to - 1], other) if to else 0.0
            out = excess(other, stops[to + 1]) if to < end else 0.0
            # Turn a stretch round so that the two stops become neighbours.
            if cost < after - EPSILON:
                if to > at:
                    change = cost - after - out + (excess(stops[at + 1], stops[to + 1]) if to < end else 0.0)
                    low, high = at + 1, to
                else:
                    change = cost - after - out + (excess(stops[to + 1], stops[at + 1]) if at < end else 0.0)
                    low, high = to + 1, at
                if change < -EPSILON:
                    return self._turn(low, high, change)
            if cost < before - EPSILON:
                if to > at:
                    change = cost - before - into + (excess(stops[at - 1], stops[to - 1]) if at else 0.0)
                    low, high = at, to - 1
                else:
                    change = cost - before - into + (excess(stops[to - 1], stops[at - 1]) if to else 0.0)
                    low, high = to, at - 1
                if change < -EPSILON:
                    return self._turn(low, high, change)
            # Move a stretch of one to three stops that ends at this stop next to the other one.
            if stretches is None:
                stretches = self._stretches(at)
            for low, high, freed, far in stretches:
                if low <= to <= high:
                    continue
                for right, gone in ((to, into), (to + 1, out)):
                    if cost - gone - freed >= -EPSILON or low <= right <= high or low < right <= high + 1:
                        continue
                    beyond = to - 1 if right == to else right
                    joined = excess(far, stops[beyond]) if 0 <= beyond <= end else 0.0
                    change = cost + joined - gone - freed
                    if change < -EPSILON:
                        part = stops[low : high + 1]
                        # The stop itself lies beside the other one.
                        if (right == to) != (part[-1] == stop):
                            part.reverse()
                        return self._move(low, high, right, part, change)
        return 0.0, []

    def _stretches(self, at: int) -> list[tuple[int, int, float, int]]:
        """Return stretches of one to three stops that end at a place: first, last, what leaving frees, far stop."""
        stops, excess, end = self.stops, self._excess, len(self.stops) - 1
        found = []
        for low, high in ((at, at), (at, at + 1), (at - 1, at), (at, at + 2), (at - 2, at)):
            if low < 0 or high > end:
                continue
            freed = excess(stops[low - 1], stops[low]) if low else 0.0
            freed += excess(stops[high], stops[high + 1]) if high < end else 0.0
            freed -= excess(stops[low - 1], stops[high + 1]) if low and high < end else 0.0
            found.append((low, high, freed, stops[high] if low == at else stops[low]))
        return found

    def _turn(self, low: int, high: int, change: float) -> tuple[float, list[int]]:
        self._write(low, self.stops[low : high + 1][::-1])
        return change, [self.stops[k] for k in (low - 1, low, high, high + 1) if 0 <= k < len(self.stops)]

    def _move(self, low: int, high: int, right: int, part: list[int], change: float) -> tuple[float, list[int]]:
        size = high - low + 1
        if right > high:
            self._write(low, self.stops[high + 1 : right] + part)
            ends = (low - 1, low, right - size - 1, right - size, right - 1, right)
        else:
            self._write(right, part + self.stops[right:low])
            ends = (right - 1, right, right + size - 1, right + size, high, high + 1)
        return change, [self.stops[k] for k in ends if 0 <= k < len(self.stops)]

    def drop_spare(self, rule: SpareRule) -> None:
        """Take stops out of the walk that can be worked from other stops, wherever that shortens it.

        From each link with an excess, stops are taken out one after another to either side until the link that closes
        the gap makes up for it, or the rule or the limit says no.
        """
        after = dict(zip([_END, *self.stops], [*self.stops, _END], strict=True))
        before = {b: a for a, b in after.items()}

        def excess(a: int, b: int) -> float:
            return 0.0 if a == _END or b == _END else self._excess(a, b)

        waiting = [stop for stop, cost in zip(self.stops, self.costs(), strict=True) if cost > EPSILON][::-1]
        while waiting:
            right = waiting.pop()
            for ahead, back in ((after, before), (before, after)):
                if right not in ahead:
                    break
                first = right if ahead is after else before[right]
                fixed = back[first]
                if first == _END:
                    continue
                out: list[int] = []
                old, at = excess(fixed, first), first
                while at != _END and len(out) < _SPARE and len(after) - len(out) > 2 and rule.spare(at):
                    rule.drop(at)
                    out.append(at)
                    old += excess(at, ahead[at])
                    at = ahead[at]
                    if excess(fixed, at) < old - EPSILON:
                        break
                if out and excess(fixed, at) < old - EPSILON:
                    ahead[fixed], back[at] = at, fixed
                    for stop in out:
                        del after[stop], before[stop]
                        self.place[stop] = -1
                    later = at if ahead is after else fixed
                    if later != _END:
                        waiting.append(later)
                    break
                for stop in out:
                    rule.restore(stop)
        self.stops = []
        stop = after[_END]
        while stop != _END:
            self.place[stop] = len(self.stops)
            self.stops.append(stop)
            stop = after[stop]
        self._near.clear()

    def search(self, tries: int) -> None:
        """Exchange neighbouring stretches at random, repair, and keep what is not dearer."""
        random = Random(len(self.stops))
        count = len(self.stops)
        if count < 8:
            return
        faulty = [stop for stop, cost in zip(self.stops, self.costs(), strict=True) if cost > EPSILON]
        for _ in range(tries):
            if not faulty:
                return
            stop = faulty[random.randrange(len(faulty))]
            low = max(1, self.place[stop] - random.randrange(0, 3))
            one, two = random.randrange(1, _SWAP), random.randrange(1, _SWAP)
            if low + one + two > count:
                continue
            mid, high = low + one, low + one + two
            change = -self.link(low) - self.link(mid) - self.link(high)
            self._undo = []
            self._write(low, self.stops[mid:high] + self.stops[low:mid])
            mid = low + two
            change += self.link(low) + self.link(mid) + self.link(high)
            ends = (low - 1, low, mid - 1, mid, high - 1, high)
            change += self.settle([self.stops[k] for k in ends if 0 <= k < count])
            undo, self._undo = self._undo, None
            if change > EPSILON:
                for at, part in reversed(undo):
                    self._write(at, part)
        self._undo = None
