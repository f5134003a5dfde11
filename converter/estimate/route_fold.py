"""The least order over several pieces: walks that branch.

The walk over the stops leaves ends where no carry leads on. A branch can be gone out and back instead, its crosses
begun on the way out and finished on the way back: twice the carries, but no start. So walks are hung on one another by
the cheapest links (Kruskal's rule) as long as the way there and back costs less than a start, and each tree that comes
of it is worked like a piece: along its longest walk each stop is finished before the next, everything that hangs on
the side is walked round.
"""

from __future__ import annotations

from itertools import pairwise

from converter.estimate.route_geometry import EPSILON
from converter.estimate.route_groups import find_root
from converter.estimate.route_links import Links
from converter.estimate.route_tree import SideGraph


def folded_legs(links: Links, sides: SideGraph, walks: list[list[int]]) -> list[int]:
    """Return the order of all legs when walks over stops are hung on one another.

    Parameters
    ----------
    links : Links
    sides : SideGraph
    walks : list of list of int
        Stops in order, all links makeable; every piece has at least one stop.
    """
    owner = [-1] * len(links.flat)
    for number, walk in enumerate(walks):
        for stop in walk:
            owner[stop] = number
    root = list(range(len(walks)))

    # What a walk costs when it is gone out and back in place of once.
    extra = [sum(links.excess(a, b) for a, b in pairwise(walk)) for walk in walks]
    joints: dict[int, list[int]] = {}
    found = [
        (excess, stop, other)
        for walk in walks
        for stop in walk
        for other, excess in links.near(stop, links.rules.carry)
        if owner[other] >= 0 and owner[other] > owner[stop]
    ]
    found.sort()
    for excess, stop, other in found:
        one, two = find_root(root, owner[stop]), find_root(root, owner[other])
        if one == two:
            continue
        if extra[one] < extra[two]:
            one, two = two, one
        if 2 * excess + extra[two] > links.price:
            continue
        root[two] = one
        extra[one] += 2 * excess + extra[two]
        joints.setdefault(stop, []).append(other)
        joints.setdefault(other, []).append(stop)
    return _walk_round(links, sides, walks, joints, {find_root(root, k) for k in range(len(walks))})


def _walk_round(
    links: Links, sides: SideGraph, walks: list[list[int]], joints: dict[int, list[int]], roots: set[int]
) -> list[int]:
    near: dict[int, list[int]] = {}
    for walk in walks:
        for a, b in pairwise(walk):
            near.setdefault(a, []).append(b)
            near.setdefault(b, []).append(a)
    for stop, others in joints.items():
        near.setdefault(stop, []).extend(others)
    hang = _hanging_cells(links, walks)
    legs: list[int] = []
    for number, walk in enumerate(walks):
        if number not in roots:
            continue
        on_spine = set(walk)
        for stop in walk:
            # Round about everything beside the spine while the stop is open.
            legs.append(2 * stop)
            legs += _round(hang, near, stop, on_spine)
            legs.append(2 * stop + 1)
    return legs


def _round(hang: dict[int, list[int]], near: dict[int, list[int]], stop: int, closed: set[int]) -> list[int]:
    """Return the legs of all that hangs on a stop, away from the stops in ``closed``."""
    legs: list[int] = []
    stack = [(c, stop) for c in reversed(near.get(stop, [])) if c not in closed]
    stack += [(c, stop) for c in reversed(hang.get(stop, []))]
    while stack:
        at, above = stack.pop()
        if at < 0:
            legs.append(1 - 2 * (at + 1))
            continue
        legs.append(2 * at)
        stack.append((-1 - at, above))
        stack += [(c, at) for c in reversed(near.get(at, [])) if c != above and c not in closed]
        stack += [(c, at) for c in reversed(hang.get(at, []))]
    return legs


def _hanging_cells(links: Links, walks: list[list[int]]) -> dict[int, list[int]]:
    """Return a forest by sides that hangs every cross that is no stop on a stop of its piece, nearest first."""
    seen = [False] * len(links.flat)
    front = [stop for walk in walks for stop in walk]
    for stop in front:
        seen[stop] = True
    hang: dict[int, list[int]] = {}
    steps = (1, links.width, -1, -links.width)
    while front:
        ahead = []
        for cell in front:
            for step in steps:
                other = links.at[links.flat[cell] + step]
                if other >= 0 and not seen[other]:
                    seen[other] = True
                    hang.setdefault(cell, []).append(other)
                    ahead.append(other)
        front = ahead
    return hang


def split_walks(links: Links, stops: list[int]) -> list[list[int]]:
    """Return a walk over stops as walks that can be gone without a new start."""
    walks: list[list[int]] = []
    for stop in stops:
        if walks and links.excess(walks[-1][-1], stop) <= links.rules.carry - 1 + EPSILON:
            walks[-1].append(stop)
        else:
            walks.append([stop])
    return walks
