"""Join rings of stops to other rows and rings by exchanging links without an excess.

Where two lines cross, a row may go straight on or turn off, and a ring may lie beside a row without two links that
could be exchanged at once. A closed trail of links, taken out and put in in turn, changes several such places together;
it is looked for breadth first from each link of a ring, and taken if there are fewer parts after it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from itertools import pairwise

_DEEP, _MOST, _TRIES, _RENEWED = 3, 60, 1, 40
"""Exchanges in a row, and stops looked at, in search of a trail; trails tried, and stops put together anew, for each
stop of the chart."""

Near = list[list[int]]
Pairs = list[tuple[int, int]]
Exchange = Callable[[Pairs, Pairs], None]


class Joining:
    """Closed trails of links, taken out and put in in turn, that join rings to other parts.

    Parameters
    ----------
    near : list of list of int
        Stops that a link without an excess leads to, for each cross.
    mates : list of list of int
        Stops that each stop is linked to; changed by ``exchange`` alone.
    rows, rings : list of list of int
        All rows and rings of linked stops.
    exchange : callable
        Takes links out and puts others in.
    """

    def __init__(
        self, near: Near, mates: Near, rows: list[list[int]], rings: list[list[int]], exchange: Exchange
    ) -> None:
        self._near, self._mates, self._exchange = near, mates, exchange
        self._parts, self._rows = rows + rings, len(rows)
        self._part, self._place = [-1] * len(near), [-1] * len(near)
        self._left = 0
        for number in range(len(self._parts)):
            self._label(number)

    def _label(self, number: int) -> None:
        for at, stop in enumerate(self._parts[number]):
            self._part[stop], self._place[stop] = number, at

    def join(self) -> None:
        """Join what can be joined, from the shortest ring on; the longest one is only joined to."""
        stops = sum(map(len, self._parts))
        tries, self._left = _TRIES * stops, _RENEWED * stops
        numbers = sorted(range(self._rows, len(self._parts)), key=lambda k: (len(self._parts[k]), k))
        for number in numbers if self._rows else numbers[:-1]:
            tries = self._join_ring(number, tries)

    def _join_ring(self, number: int, tries: int) -> int:
        for stop in self._parts[number]:
            for mate in self._mates[stop]:
                if tries <= 0 or self._left <= 0:
                    return 0
                tries -= 1
                found = self._trail(stop, mate)
                if found is not None and self._joins(*found):
                    self._exchange(*found)
                    self._renew({self._part[end] for pair in found[1] for end in pair})
                    return tries
        return tries

    def _renew(self, changed: set[int]) -> None:
        """Put changed parts together anew; a ring that is left over has the number of a ring still to come."""
        stops = [stop for number in sorted(changed) for stop in self._parts[number]]
        self._left -= len(stops)
        rows, rings = linked_parts(stops, self._mates)
        for number in sorted(changed):
            ring = number >= self._rows
            found = rings if ring else rows
            self._parts[number] = found.pop() if found else []
            self._label(number)
        assert not rows and not rings

    def _trail(self, stop: int, mate: int) -> tuple[Pairs, Pairs] | None:
        """Return a trail from a link that is taken out, by its first stop, to its second or to the end of a row."""
        near, mates, part, mine = self._near, self._mates, self._part, self._part[stop]
        came: dict[int, tuple[int, int, int]] = {stop: (0, -1, -1)}
        queue = deque([stop])
        for _ in range(_MOST):
            if not queue:
                return None
            at = queue.popleft()
            deep = came[at][0]
            for other in near[at]:
                if other in mates[at]:
                    continue
                if (deep and other == mate) or len(mates[other]) < 2:
                    gone, new = trail_to(at, came)
                    gone, new = [pair_of(stop, mate), *gone], [pair_of(at, other), *new]
                    alone = all(part[a] == mine and part[b] == mine for a, b in new)
                    if alone or len(set(new)) < len(new) or len(set(gone)) < len(gone):
                        break
                    return gone, new
                if deep < _DEEP and other != mate:
                    for beyond in mates[other]:
                        if beyond not in came:
                            came[beyond] = deep + 1, at, other
                            queue.append(beyond)
        return None

    def _joins(self, gone: Pairs, new: Pairs) -> bool:
        """Return whether an exchange of links lowers the number of parts."""
        cuts: dict[int, list[int]] = {self._part[stop]: [] for pair in new for stop in pair}
        for a, b in gone:
            number = self._part[a]
            low, high = sorted((self._place[a], self._place[b]))
            # The link from the last stop of a ring to its first.
            round_about = number >= self._rows and (low, high) == (0, len(self._parts[number]) - 1) and high > 1
            cuts[number].append(high if round_about else low)
        arcs: Pairs = []
        for number, after in cuts.items():
            stops, after = self._parts[number], sorted(after)
            if number < self._rows:
                bounds = [-1, *after, len(stops) - 1]
            elif after:
                bounds = [*after, after[0] + len(stops)]
            else:
                return False
            arcs += [(stops[(a + 1) % len(stops)], stops[b % len(stops)]) for a, b in pairwise(bounds)]
        owner = {end: number for number, arc in enumerate(arcs) for end in arc}
        root = list(range(len(arcs)))
        for a, b in new:
            if a not in owner or b not in owner:
                return False
            one, two = owner[a], owner[b]
            while root[one] != one:
                one = root[one]
            while root[two] != two:
                two = root[two]
            root[one] = two
        return sum(number == above for number, above in enumerate(root)) < len(cuts)


def linked_parts(stops: list[int], mates: Near) -> tuple[list[list[int]], list[list[int]]]:
    """Return the rows of linked stops from end to end, and the rings."""
    seen: set[int] = set()
    rows: list[list[int]] = []
    rings: list[list[int]] = []
    for ends, found in ((True, rows), (False, rings)):
        for first in stops:
            if first in seen or (ends and len(mates[first]) == 2):
                continue
            part, before, at = [first], -1, first
            seen.add(first)
            while True:
                ahead = next((stop for stop in mates[at] if stop != before and stop not in seen), -1)
                if ahead < 0:
                    break
                seen.add(ahead)
                part.append(ahead)
                before, at = at, ahead
            found.append(part)
    return rows, rings


def trail_to(at: int, came: dict[int, tuple[int, int, int]]) -> tuple[Pairs, Pairs]:
    """Return the links taken out and those put in on the way to a stop, from it backwards.

    Parameters
    ----------
    at : int
    came : dict
        Of each stop reached: exchanges up to it, the stop before, and the one between, which lost a link to it.
    """
    gone, new = [], []
    while came[at][0]:
        _, before, between = came[at]
        gone.append(pair_of(between, at))
        new.append(pair_of(before, between))
        at = before
    return gone, new


def pair_of(a: int, b: int) -> tuple[int, int]:
    """Return two stops as a link, the lower one first."""
    return (a, b) if a < b else (b, a)
