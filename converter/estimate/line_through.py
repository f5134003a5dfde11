"""Passing through a figure in double running: come in by one carry, go on by another, all lines worked in between.

At every hole as many passes in front end as moves behind. So between the two carries the lines without a pass behind
and carries inside the figure follow one another from hole to hole, a line first and last: this *chain* takes no thread
where the two holes are those of one line. With the lines of the chain taken from the passes behind and its carries put
to them, front and behind meet evenly everywhere but at the two holes, and there is a trail over all of them, front and
behind in turn: laid hole by hole as far as it goes, then, as long as anything is left, the same round from a hole on it
(Hierholzer's algorithm, from memory, with alternating edges).
"""

from __future__ import annotations

from itertools import pairwise
from math import dist

from converter.estimate.line_figures import Hole, Neighbours
from converter.estimate.route_geometry import EPSILON

_MOST_LINES = 8
"""Lines of a chain at most."""

Chain = list[Hole]
"""Holes from the first carry to the second: a line without a pass behind, a carry, such a line, and so on."""
Pair = tuple[Hole, Hole, Hole]
"""Hole where a line comes up, where it goes down, and where its pass behind would lead."""


def cheapest_chains(near: Neighbours, start: Hole, carry: float) -> dict[Hole, tuple[float, Chain]]:
    """Return for each hole that a chain reaches the cheapest one, and the thread it takes: carries less lines.

    Parameters
    ----------
    near : dict
        Neighbours of each hole of a connected figure.
    start : Hole
    carry : float
        Longest carry, in stitch sides.
    """
    found: dict[Hole, tuple[float, Chain]] = {}
    begun: dict[Hole, tuple[float, Chain]] = {start: (0.0, [start])}
    for _ in range(_MOST_LINES):
        ended: dict[Hole, tuple[float, Chain]] = {}
        for at, (cost, chain) in begun.items():
            for to, _ in near[at]:
                _keep(ended, cost - dist(at, to), [*chain, to])
        begun = {}
        for at, (cost, chain) in ended.items():
            _keep(found, cost, chain)
            beside = {to for to, _ in near[at]}
            for to in near:
                span = dist(at, to)
                if to != at and span <= carry + EPSILON and to not in beside:
                    _keep(begun, cost + span, [*chain, to])
    return found


def _keep(kept: dict[Hole, tuple[float, Chain]], cost: float, chain: Chain) -> None:
    """Keep a chain if it is the cheapest to its hole and has no line twice."""
    lines = [frozenset(chain[k : k + 2]) for k in range(0, len(chain) - 1, 2)]
    at = chain[-1]
    if (at not in kept or cost < kept[at][0] - EPSILON) and len(set(lines)) == len(lines):
        kept[at] = cost, chain


def through_walk(near: Neighbours, chain: Chain) -> list[Pair] | None:
    """Return the pairs of a walk over all lines of a figure from the first hole of a chain to its last one.

    None if none was found in which each length that ends before a carry has a pass behind of its own left.
    """
    lines = sorted({_ordered(hole, to) for hole, ways in near.items() for to, _ in ways})
    links = [_ordered(*link) for link in pairwise(chain)]
    missing = set(links[::2])
    behind = [line for line in lines if line not in missing] + links[1::2]
    pairs = _as_pairs(_trail(lines, behind, chain[0]), missing)
    return pairs or _as_pairs(_trail(lines, behind, chain[-1])[::-1], missing)


def _ordered(one: Hole, two: Hole) -> tuple[Hole, Hole]:
    return (one, two) if one <= two else (two, one)


def _trail(front: list[tuple[Hole, Hole]], behind: list[tuple[Hole, Hole]], start: Hole) -> list[Hole]:
    """Return the holes of a trail over all passes in front and all moves behind, in turn, begun in front."""
    left: tuple[dict[Hole, list[Hole]], dict[Hole, list[Hole]]] = ({}, {})
    for side, pairs in zip(left, (front, behind), strict=True):
        for one, two in pairs:
            side.setdefault(one, []).append(two)
            side.setdefault(two, []).append(one)

    def onward(at: Hole, side: int) -> list[Hole]:
        walk = [at]
        while ways := left[side].get(walk[-1]):
            to = ways.pop(0)
            left[side][to].remove(walk[-1])
            walk.append(to)
            side = 1 - side
        return walk

    walk, at = onward(start, 0), 0
    while at < len(walk):
        # Round from here, begun on the side on which it goes on from here.
        detour = onward(walk[at], at % 2)
        walk[at : at + 1] = detour
        at += len(detour) == 1
    return walk


def _as_pairs(walk: list[Hole], missing: set[tuple[Hole, Hole]]) -> list[Pair] | None:
    """Return a walk as pairs; a length that ends before a carry does so with one of the missing passes."""
    lines = {_ordered(*pass_in_front) for pass_in_front in list(pairwise(walk))[::2]}
    free = set(missing)
    found: list[Pair] = []
    for k in range(0, len(walk) - 1, 2):
        up, down = walk[k], walk[k + 1]
        behind = walk[k + 2] if k + 2 < len(walk) else None
        if behind is None or _ordered(down, behind) not in lines:
            own = min((line for line in free if down in line), default=None)
            if own is None:
                return None
            free.remove(own)
            behind = own[0] if own[1] == down else own[1]
        found.append((up, down, behind))
    return found
