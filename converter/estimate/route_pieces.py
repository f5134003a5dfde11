"""The least order over several pieces that carries can join.

1. Between any two pieces the links from a finished cross of one to a bottom leg of the other are listed, shortest
   first. Pieces are strung into chains by the shortest links (each piece at most two, no rings), the chains set in a
   row, and the row is shortened as in `route_search`.
2. Where no carry leads on, a chain can be hung on a cross of another one: gone out to while that cross is open, and
   back from before it is finished. That takes the carries of the chain twice but no start, and is done by the cheapest
   such joints (Kruskal's rule) as long as it costs less than a start.
3. Along a chain each piece is entered at one cross and left at another (`route_tree`). Which ones is a dynamic
   programme over the listed links; a change of colour inside a piece counts the square root of 2 less one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from converter.estimate.route_geometry import EPSILON, ROOT2, IntArray
from converter.estimate.route_groups import find_root
from converter.estimate.route_links import Links
from converter.estimate.route_search import Walk
from converter.estimate.route_tree import SideGraph, TreeWalk

_CHOICES = 6
_ENDS = (((1, 0), (0, 1)), ((0, 0), (1, 1)))


class PieceLinks:
    """Links between pieces, in the form that `route_search` asks for."""

    def __init__(self, links: Links, sides: SideGraph) -> None:
        self.price = links.price
        self.flat = list(range(sides.pieces))
        self.cells: dict[tuple[int, int], list[tuple[float, int, int]]] = {}
        """For two pieces the best links from a cross of the first to one of the second: excess and the two."""
        self.joints: dict[tuple[int, int], tuple[float, int, int]] = {}
        """For two pieces, the lower first: what going out and back takes, and the two crosses."""
        piece = sides.piece.tolist()
        out_and_back = _out_and_back(links)
        reach = links.rules.carry
        for cross in _rims(links):
            mine, place = piece[cross], links.flat[cross]
            for step, both in out_and_back:
                other = links.at[place + step]
                if other < 0 or piece[other] == mine:
                    continue
                excess = links.excess(cross, other)
                if excess <= reach - 1 + EPSILON:
                    self.cells.setdefault((mine, piece[other]), []).append((excess, cross, other))
                key = (mine, piece[other])
                if both < links.price and both < self.joints.get(key, (links.price,))[0] - EPSILON:
                    self.joints[key] = (both, cross, other)
        for found in self.cells.values():
            found.sort(key=lambda link: (round(link[0], 9), link[1], link[2]))
            del found[_CHOICES:]
        self.excess: Callable[[int, int], float] = self._least
        """Least excess of a link between two pieces, the price if there is none."""
        self._near: list[list[tuple[int, float]]] = [[] for _ in self.flat]
        for (one, two), found in self.cells.items():
            self._near[one].append((two, found[0][0]))
        for near in self._near:
            near.sort(key=lambda pair: (round(pair[1], 9), pair[0]))

    def _least(self, one: int, two: int) -> float:
        found = self.cells.get((one, two))
        return min(found[0][0], self.price) if found else self.price

    def along(self, stops: list[int]) -> list[float]:
        """Return the excess of each link of a row of pieces."""
        return [self.excess(one, two) for one, two in pairwise(stops)]

    def near(
        self, piece: int, most: float, place: list[int] | None = None, count: int = 1 << 30
    ) -> list[tuple[int, float]]:
        """Return the first ``count`` pieces with a place that a link of ``most`` excess reaches, nearest first."""
        found = self._near[piece]
        return [p for p in found if p[1] <= most + EPSILON and (place is None or place[p[0]] >= 0)][:count]


def _rims(links: Links) -> list[int]:
    """Return the crosses that have a bare side."""
    bare = np.zeros(links.crosses.count, dtype=np.bool_)
    for step in ((0, 1), (1, 0), (0, -1), (-1, 0)):
        bare |= links.crosses.neighbour(step) < 0
    found: list[int] = np.flatnonzero(bare).tolist()
    return found


def _out_and_back(links: Links) -> list[tuple[int, float]]:
    """Return flat steps to other crosses, nearest first, and what going out and back takes.

    That is the excess of a move there from bottom leg to bottom leg, and of one back from top leg to top leg.
    """
    carry = links.rules.carry
    reach = int(carry) + 2
    steps = []
    for dr in range(-reach, reach + 1):
        for dc in range(-reach, reach + 1):
            both = 0.0
            for ends in _ENDS:
                spans = [((dr + a - c) ** 2 + (dc + b - d) ** 2) ** 0.5 for a, b in ends for c, d in ends]
                span = min(s for s in spans if s > 0)
                both += span - 1 if span <= carry + EPSILON else links.price
            if (dr, dc) != (0, 0):
                steps.append((dr * dr + dc * dc, dr * links.width + dc, both))
    return [(step, both) for _, step, both in sorted(steps)]


@dataclass(eq=False)
class _Hung:
    """Pieces that hang on crosses of others."""

    at: dict[int, list[int]] = field(default_factory=dict)
    """Cross: the crosses at which pieces that hang on it are entered."""

    def add(self, cross: int, entry: int) -> None:
        self.at.setdefault(cross, []).append(entry)


def joined_legs(links: Links, sides: SideGraph, tries: int, most: int) -> list[int]:
    """Return the order of all legs of a chart of several pieces.

    Parameters
    ----------
    links : Links
    sides : SideGraph
    tries : int
        Exchanges tried for each link with an excess, and
    most : int
        at most.
    """
    between = PieceLinks(links, sides)
    row = Walk(between, _chains(between))
    faulty = row.faulty()
    row.settle(faulty[::-1])
    row.search(min(most, tries * len(faulty)))
    chains: list[list[int]] = []
    for piece in row.stops:
        if chains and between.excess(chains[-1][-1], piece) < between.price:
            chains[-1].append(piece)
        else:
            chains.append([piece])
    entry = np.full(sides.pieces, -1, dtype=np.int64)
    leave: dict[int, int] = {}
    hung = _Hung()
    roots = _hang(between, chains, hung, entry)
    for number in roots:
        for piece, (first, last) in zip(chains[number], _ways(links, between, chains[number]), strict=True):
            entry[piece], leave[piece] = first, last
    lowest = np.unique(sides.piece, return_index=True)[1]
    entry = np.where(entry < 0, lowest, entry)
    for piece in range(sides.pieces):
        if leave.get(piece, 0) < 0:
            leave[piece] = int(entry[piece])
    walk = TreeWalk(links.crosses, entry)
    spine = [(int(entry[piece]), leave[piece]) for number in roots for piece in chains[number]]
    return list(_emit(walk, spine, hung))


def _emit(walk: TreeWalk, spine: list[tuple[int, int]], hung: _Hung) -> Iterator[int]:
    """Give out the legs along the chains, what hangs on a cross before its top leg."""
    stack: list[Iterator[int]] = []
    for first, last in spine:
        stack.append(iter(walk.legs(first, last)))
        waiting: list[int] = []
        while stack:
            leg = next(stack[-1], -1)
            if leg < 0:
                stack.pop()
                if stack:
                    yield waiting.pop()
                continue
            below = hung.at.pop(leg >> 1, None) if leg & 1 else None
            if below is None:
                yield leg
                continue
            waiting.append(leg)
            stack.append(iter([leg for entry in below for leg in walk.legs(entry, entry)]))


def _chains(between: PieceLinks) -> list[int]:
    """Return the pieces in a row of chains, strung by the shortest links."""
    count = len(between.flat)
    links = sorted((round(found[0][0], 9), one, two) for (one, two), found in between.cells.items() if one < two)
    root = list(range(count))

    near: list[list[int]] = [[] for _ in range(count)]
    for _, one, two in links:
        if len(near[one]) < 2 and len(near[two]) < 2 and find_root(root, one) != find_root(root, two):
            root[find_root(root, one)] = find_root(root, two)
            near[one].append(two)
            near[two].append(one)
    seen = [False] * count
    row: list[int] = []
    for end in range(count):
        if seen[end] or len(near[end]) == 2:
            continue
        before, at = -1, end
        while at >= 0:
            seen[at] = True
            row.append(at)
            ahead = [other for other in near[at] if other != before]
            before, at = at, ahead[0] if ahead else -1
    return row


def _hang(between: PieceLinks, chains: list[list[int]], hung: _Hung, entry: IntArray) -> list[int]:
    """Hang chains on one another; return the numbers of those that stay on their own."""
    owner = {piece: number for number, chain in enumerate(chains) for piece in chain}
    root = list(range(len(chains)))

    def joint(one: int, two: int) -> tuple[float, int, int]:
        return between.joints.get((one, two), (between.price, -1, -1))

    cost = [sum(joint(a, b)[0] for a, b in pairwise(chain)) for chain in chains]
    tree: list[list[tuple[int, int]]] = [[] for _ in chains]
    order = sorted((round(found[0], 9), one, two) for (one, two), found in between.joints.items() if one < two)
    for both, one, two in order:
        a, b = find_root(root, owner[one]), find_root(root, owner[two])
        if a == b:
            continue
        if cost[a] < cost[b]:
            a, b = b, a
        if both + cost[b] >= between.price:
            continue
        root[b] = a
        cost[a] += both + cost[b]
        tree[owner[one]].append((one, two))
        tree[owner[two]].append((two, one))
    roots = [number for number in range(len(chains)) if find_root(root, number) == number]
    for number in roots:
        # From the chain that stays, outward: piece by piece, whatever hangs on it.
        stack = list(chains[number])
        done = set(chains[number])
        while stack:
            piece = stack.pop()
            others = [two for one, two in tree[owner[piece]] if one == piece]
            if owner[piece] != number:
                chain = chains[owner[piece]]
                at = chain.index(piece)
                others += chain[max(0, at - 1) : at] + chain[at + 1 : at + 2]
            for other in others:
                if other in done:
                    continue
                done.add(other)
                _, cross, first = joint(piece, other)
                hung.add(cross, first)
                entry[other] = first
                stack.append(other)
    return roots


def _ways(links: Links, between: PieceLinks, chain: list[int]) -> list[tuple[int, int]]:
    """Return for each piece of a chain the cross it is entered at and the one it is left at; -1 = any."""
    if len(chain) == 1:
        return [(-1, -1)]
    row, col = links.crosses.row, links.crosses.col
    choices = [between.cells[pair] for pair in pairwise(chain)]
    best = [[excess for excess, _, _ in choices[0]]]
    came: list[list[int]] = []
    for before, here in pairwise(choices):
        costs, froms = [], []
        for excess, leave, _ in here:
            ways = [
                best[-1][k] + ((ROOT2 - 1) if (row[first] + col[first] - row[leave] - col[leave]) % 2 else 0.0)
                for k, (_, _, first) in enumerate(before)
            ]
            k = int(np.argmin(ways))
            costs.append(ways[k] + excess)
            froms.append(k)
        best.append(costs)
        came.append(froms)
    picked = [int(np.argmin(best[-1]))]
    for froms in reversed(came):
        picked.append(froms[picked[-1]])
    taken = [choices[k][at] for k, at in enumerate(reversed(picked))]
    firsts = [taken[0][1]] + [first for _, _, first in taken]
    lasts = [leave for _, leave, _ in taken] + [taken[-1][2]]
    return list(zip(firsts, lasts, strict=True))
