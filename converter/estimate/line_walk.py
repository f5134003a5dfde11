"""Walks round a connected figure that pass every line in front and behind: along any spanning tree."""

from __future__ import annotations

from dataclasses import dataclass, replace
from heapq import heapify, heappop, heappush
from random import Random

from converter.estimate.line_figures import Hole, Neighbours, straightest

_NEW_PLACE = 0.3
"""Share of the changes to a tree that change where its figure is put in."""


def double_walk(near: Neighbours, start: Hole, first: Hole | None = None) -> list[Hole]:
    """Return a closed walk from a hole that passes every line of a connected figure twice, an odd number apart.

    The first line leads to ``first``, if that hole is given.
    """
    done = [False] * (sum(map(len, near.values())) // 2)
    seen = {start}
    walk = [start]
    ways = sorted(straightest(None, start, near[start]), key=lambda way: way[0] != first)
    # Each entry: hole, the hole it was reached from, its ways on (the next one last).
    stack: list[tuple[Hole, Hole | None, list[tuple[Hole, int]]]] = [(start, None, ways[::-1])]
    while stack:
        at, before, ways = stack[-1]
        if not ways:
            stack.pop()
            if before is not None:
                walk.append(before)
            continue
        to, line = ways.pop()
        if done[line]:
            continue
        done[line] = True
        walk.append(to)
        if to in seen:
            walk.append(at)
            continue
        seen.add(to)
        stack.append((to, at, straightest(at, to, near[to])[::-1]))
    return walk


@dataclass(frozen=True)
class Tree:
    """What a spanning tree of a figure is made from.

    Parameters
    ----------
    rank : tuple of float
        For each line: of those that lead on the lowest is taken into the tree first, and gone first from its hole.
    late : tuple of bool
        For each line: if the tree leaves it out, whether it is gone out and back from the later of its two holes.
    place : float
        Which of the places is taken where it can be put in, from 0, the cheapest, up to 1.
    """

    rank: tuple[float, ...]
    late: tuple[bool, ...]
    place: float = 0.0

    @classmethod
    def drawn(cls, lines: int, random: Random) -> Tree:
        """Return any tree."""
        rank, late = [], []
        for _ in range(lines):
            rank.append(random.random())
            late.append(random.random() < 0.5)
        return cls(tuple(rank), tuple(late), _place(random))

    def changed(self, random: Random) -> Tree:
        """Return a tree that differs in the place of one line, or is put in at another place."""
        if random.random() < _NEW_PLACE:
            return replace(self, place=_place(random))
        at = int(random.random() * len(self.rank))
        rank, late = list(self.rank), list(self.late)
        rank[at], late[at] = random.random(), random.random() < 0.5
        return Tree(tuple(rank), tuple(late), self.place)


def _place(random: Random) -> float:
    # Half of them the cheapest.
    return max(0.0, 2 * random.random() - 1) ** 2


def tree_walk(near: Neighbours, start: Hole, first: Hole | None, tree: Tree) -> list[Hole]:
    """Return a closed walk as `double_walk` does, round a given tree."""
    branches: dict[Hole, list[tuple[float, Hole, bool]]] = {start: []}
    edge = [(tree.rank[k], k, start, to) for to, k in near[start]]
    heapify(edge)
    done = [False] * len(tree.rank)
    while edge:
        value, k, here, to = heappop(edge)
        if done[k]:
            continue
        done[k] = True
        if to in branches:
            if (tree.late[k] and (here, to) != (start, first)) or (to, here) == (start, first):
                here, to = to, here
            branches[here].append((value, to, False))
            continue
        branches[here].append((value, to, True))
        branches[to] = []
        for beyond, line in near[to]:
            if not done[line]:
                heappush(edge, (tree.rank[line], line, to, beyond))
    for ways in branches.values():
        ways.sort(reverse=True)
    branches[start].sort(key=lambda way: way[1] == first)
    walk = [start]
    stack = [(start, branches[start])]
    while stack:
        at, ways = stack[-1]
        if not ways:
            stack.pop()
            if stack:
                walk.append(stack[-1][0])
            continue
        _, to, on = ways.pop()
        walk.append(to)
        if on:
            stack.append((to, branches[to]))
        else:
            walk.append(at)
    return walk
