"""Shorten the walk over the stops by changing which crosses are stops.

Along a line one cross wide the stops are every other cross, and where the walk comes out of a dead end it comes on the
crosses in between: it changes its colour of the chequerboard, at an excess of the square root of 2 less one. Where it
goes on with the other colour is free. So an excess can be moved along a line at no cost, by making a neighbour a stop
in place of a stop, and two that meet are gone. A search at the links with an excess alone does this: a stop is taken
out, a cross put in or brought from elsewhere, or a stop exchanged for its neighbour, and the change is kept unless it
makes the walk dearer, now and then even then (Metropolis's rule, from memory; the generator is seeded). Every cross
stays a stop or beside one. By single steps to and fro an excess comes far along a line only slowly, so now and then one
is moved on in one direction until it meets another or can go no further.
"""

from __future__ import annotations

from math import log
from random import Random

from converter.estimate.route_geometry import EPSILON
from converter.estimate.route_links import Links

_END = -1
_NEAR = 12
_RUNS, _FAR, _LONG = 0.03, 200, 200
"""Share of the tries that move an excess along, by how many stops at most, and the length of a walk that needs it."""


class Slide:
    """A walk over stops as a chain in which single stops can be changed.

    Parameters
    ----------
    links : Links
    stops : list of int
        The walk; every cross is a stop or has a side neighbour that is one.
    seed : int
        Of the generator.
    """

    def __init__(self, links: Links, stops: list[int], seed: int = 0) -> None:
        self._random = Random(seed)
        self._links = links
        self._excess = links.excess
        count = len(links.flat)
        self._after = [_END] * (count + 1)
        self._before = [_END] * (count + 1)
        for a, b in zip([_END, *stops], [*stops, _END], strict=True):
            self._after[a], self._before[b] = b, a
        self._is_stop = [False] * count
        for stop in stops:
            self._is_stop[stop] = True
        self.sides = links.sides
        self._nearest: dict[int, list[int]] = {}
        # Stops that a link with an excess leads to, in a list for drawing and with the place of each.
        self._faulty: list[int] = []
        self._place: dict[int, int] = {}
        for stop in stops:
            self._note(stop)

    def _near(self, cross: int) -> list[int]:
        found = self._nearest.get(cross)
        if found is None:
            found = [other for other, _ in self._links.near(cross, 1.0, None, _NEAR)]
            found += [other for other in self.sides(cross) if other not in found]
            self._nearest[cross] = found
        return found

    def _link(self, a: int, b: int) -> float:
        return 0.0 if a == _END or b == _END else self._excess(a, b)

    def _note(self, stop: int) -> None:
        """Keep the list of links with an excess."""
        if stop == _END:
            return
        faulty = self._is_stop[stop] and self._link(self._before[stop], stop) > EPSILON
        at = self._place.get(stop)
        if faulty and at is None:
            self._place[stop] = len(self._faulty)
            self._faulty.append(stop)
        elif not faulty and at is not None:
            last = self._faulty.pop()
            del self._place[stop]
            if last != stop:
                self._faulty[at] = last
                self._place[last] = at

    def _needed(self, stop: int, instead: int = _END) -> bool:
        """Return whether some cross would be left without a stop beside it, if ``instead`` becomes one for a stop."""
        is_stop = self._is_stop
        alone = True
        for cross in self.sides(stop):
            if is_stop[cross] or cross == instead:
                alone = False
            elif not any(other != stop and is_stop[other] for other in self.sides(cross)):
                return True
        return alone

    def _out(self, stop: int) -> None:
        a, b = self._before[stop], self._after[stop]
        self._after[a], self._before[b] = b, a
        self._is_stop[stop] = False
        self._note(stop)
        self._note(b)

    def _in(self, cross: int, a: int) -> None:
        """Put a cross in behind the stop ``a``."""
        b = self._after[a]
        self._after[a], self._before[cross] = cross, a
        self._after[cross], self._before[b] = b, cross
        self._is_stop[cross] = True
        self._note(cross)
        self._note(b)

    def search(self, tries: int, hot: float, cold: float) -> None:
        """Try changes at links with an excess, while the heat falls from ``hot`` to ``cold``."""
        draw, long = self._random.random, sum(self._is_stop) > _LONG
        for done in range(tries):
            if not self._faulty:
                return
            heat = hot * (cold / hot) ** (done / tries)
            second = self._faulty[int(draw() * len(self._faulty))]
            first = self._before[second]
            if long and draw() < _RUNS:
                self._run(first, second, draw() < 0.5)
                continue
            at = second if draw() < 0.5 else first
            # What a change may cost.
            most = -heat * log(1.0 - draw()) + EPSILON
            if draw() < 0.5:
                self._exchange(at, most, draw())
            else:
                self._bring(first, second, at, most, draw())

    def _run(self, first: int, second: int, ahead: bool) -> None:
        """Move the excess of a link along the walk at no cost, as far as it goes."""
        follow = self._after if ahead else self._before
        fixed, stop = (first, second) if ahead else (second, first)
        for _ in range(_FAR):
            if stop == _END or fixed == _END:
                return
            beyond = follow[stop]
            most = self._toward(fixed, stop, ahead) + self._toward(stop, beyond, ahead) + EPSILON
            for cross in self.sides(stop):
                if self._is_stop[cross] or self._toward(fixed, cross, ahead) > EPSILON:
                    continue
                if self._toward(cross, beyond, ahead) <= most and not self._needed(stop, cross):
                    break
            else:
                return
            before = self._before[stop]
            self._out(stop)
            self._in(cross, before)
            if self._toward(cross, beyond, ahead) <= EPSILON:
                return
            fixed, stop = cross, beyond

    def _toward(self, stop: int, beyond: int, ahead: bool) -> float:
        return self._link(stop, beyond) if ahead else self._link(beyond, stop)

    def _exchange(self, stop: int, most: float, which: float) -> None:
        """Exchange a stop for one of its side neighbours, or take it out."""
        p, n = self._before[stop], self._after[stop]
        old = self._link(p, stop) + self._link(stop, n)
        sides = self.sides(stop)
        at = int(which * (len(sides) + 1))
        if at == len(sides):
            if self._link(p, n) - old <= most and not self._needed(stop):
                self._out(stop)
            return
        cross = sides[at]
        if self._is_stop[cross]:
            return
        if self._link(p, cross) + self._link(cross, n) - old <= most and not self._needed(stop, cross):
            self._out(stop)
            self._in(cross, p)

    def _bring(self, a: int, b: int, about: int, most: float, which: float) -> None:
        """Put a cross near ``about`` between two stops, a new one or a stop from elsewhere."""
        near = self._near(about)
        cross = near[int(which * len(near))] if near else a
        if cross in (a, b):
            return
        link = self._link
        change = link(a, cross) + link(cross, b) - link(a, b)
        if not self._is_stop[cross]:
            if change <= most:
                self._in(cross, a)
            return
        p, n = self._before[cross], self._after[cross]
        if change + link(p, n) - link(p, cross) - link(cross, n) <= most:
            self._out(cross)
            self._in(cross, a)

    def stops(self) -> list[int]:
        """Return the walk."""
        found, at = [], self._after[_END]
        while at != _END:
            found.append(at)
            at = self._after[at]
        return found
