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

from converter.estimate.route_geometry import EPSILON
from converter.estimate.route_links import Links

_LEVELS = (0.0, 0.42, 0.84, 1.3, 1.7, 2.5, 3.4, 5.1)
_THIN = 3


class Rounds:
    """Rounds of stops that are merged step by step.

    Each stop knows its two neighbours on its round; a round of one is a stop that is its own neighbour.
    """

    def __init__(self, links: Links) -> None:
        self.links = links
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

    def merge(self, a: int, b: int, most: float) -> bool:
        """Join the rounds of two stops by linking these two, if that costs at most ``most``."""
        excess = self.links.excess
        link = excess(a, b)
        best, chosen = most + EPSILON, None
        for a2 in (self.one[a], self.two[a]):
            loss = link - (excess(a, a2) if a2 != a else 0.0)
            for b2 in (self.one[b], self.two[b]):
                cost = loss + excess(a2, b2) - (excess(b, b2) if b2 != b else 0.0)
                if cost < best:
                    best, chosen = cost, (a2, b2)
        if chosen is None:
            return False
        a2, b2 = chosen
        self._swap(a, a2, b)
        self._swap(b, b2, a)
        self._swap(a2, a, b2)
        self._swap(b2, b, a2)
        self._join(a, b)
        return True

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
        costs = [self.links.excess(walk[k - 1], walk[k]) for k in range(len(walk))]
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
    _merge_dear(rounds)
    return rounds.walks()


def _merge_free(rounds: Rounds) -> None:
    """Join rounds at no cost: first inside blocks of two by two places of a colour, then block to block."""
    links = rounds.links
    row, col, at, flat, width = links.crosses.row, links.crosses.col, links.at, links.flat, links.width
    block = ((row + col) >> 1) // 2 * 65536 + ((row - col) >> 1) // 2 + 2 * (row + col) % 2 * (1 << 40)
    blocks = block.tolist()
    stops = [k for k, is_stop in enumerate(rounds.is_stop) if is_stop]
    steps = (width - 1, width + 1, 2, 2 * width)
    for inside in (True, False, False):
        for a in stops:
            place = flat[a]
            for step in steps:
                b = at[place + step]
                if b < 0 or not rounds.is_stop[b] or (inside and blocks[a] != blocks[b]):
                    continue
                if rounds.root(a) != rounds.root(b):
                    rounds.merge(a, b, 0.0)


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


def _merge_dear(rounds: Rounds) -> None:
    """Join rounds in the order of the cost, the largest round of all serving as a partner only."""
    links, price = rounds.links, rounds.links.price
    stops = [k for k, is_stop in enumerate(rounds.is_stop) if is_stop]
    if not stops:
        return
    biggest = rounds.root(max(stops, key=lambda k: (rounds.size(k), -k)))
    near: dict[int, list[tuple[int, float]]] = {}
    for level in _LEVELS:
        if level > price / 4:
            break
        merged = True
        while merged:
            merged = False
            for a in stops:
                if rounds.root(a) == rounds.root(biggest):
                    continue
                if a not in near:
                    near[a] = [pair for pair in links.near(a, links.rules.carry) if rounds.is_stop[pair[0]]][:16]
                for b, cost in near[a]:
                    if cost > level + 0.84 + EPSILON:
                        break
                    if rounds.root(a) != rounds.root(b) and rounds.merge(a, b, level):
                        merged = True
