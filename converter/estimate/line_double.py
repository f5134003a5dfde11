"""Double running over several figures: one walk through all that carries can join, and the best cutting of it.

Each connected figure is walked round and back to where the walk began (`double_walk`). Another figure is walked in the
midst of it: in place of a pass behind, a carry leads over, the other figure is walked round up to its last pass
behind, and in place of that one a carry leads back. At either end of the walk one carry will do. So figures are put
in one by one, the nearest next, each where that takes least thread; where none fits, a walk of its own begins.

Every walk is a row of *pairs*, a line passed in front and a move behind. A length may end after any of them, with the
pass behind in place of a carry. Which cuts take least is a dynamic programme along the row. Begun at another figure or
hole the pairs fill the lengths otherwise, so this is tried as long as it may save a start. Where that is not enough,
and lines of unlike lengths leave much of the thread unused, walks round other spanning trees are tried (`tree_walk`),
each a small change of the best so far.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from itertools import accumulate, pairwise
from math import dist, inf
from random import Random

import numpy as np

from converter.estimate.line_figures import Figure, Hole, close_pairs, figure_holes, neighbours, straightest
from converter.estimate.route_geometry import EPSILON
from converter.estimate.route_graph import spanning_forest

_LINES_TRIED = 20_000
"""Lines laid out in search of a first hole that saves a start, at most, ..."""
_LINES_TRIED_FOR_LESS = 4000
"""... and of one that saves a few sides."""
_LINES_TURNED = 150_000
"""Lines laid out along other trees in search of one that saves a start, at most."""
_NEW_TREE = 0.1
"""Share of the tries that change the whole tree."""
_TIE = 1e-6
_PLACES = 24
"""Nearest pairs of holes looked at where a figure is put in."""

Route = list[Hole]
Row = list[tuple[Hole, Hole, Hole]]
"""Pairs: hole where a line comes up, where it goes down, and where its pass behind would lead."""


def double_walk(figure: Figure, start: Hole, first: Hole | None = None) -> list[Hole]:
    """Return a closed walk from a hole that passes every line of a connected figure twice, an odd number apart.

    The first line leads to ``first``, if that hole is given.
    """
    near = neighbours(figure)
    done = [False] * len(figure)
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
    """

    rank: tuple[float, ...]
    late: tuple[bool, ...]

    @classmethod
    def drawn(cls, lines: int, random: Random) -> Tree:
        """Return any tree."""
        rank, late = [], []
        for _ in range(lines):
            rank.append(random.random())
            late.append(random.random() < 0.5)
        return cls(tuple(rank), tuple(late))

    def changed(self, random: Random) -> Tree:
        """Return a tree that differs in the place of one line."""
        at = int(random.random() * len(self.rank))
        rank, late = list(self.rank), list(self.late)
        rank[at], late[at] = random.random(), random.random() < 0.5
        return Tree(tuple(rank), tuple(late))


def tree_walk(figure: Figure, start: Hole, first: Hole | None, tree: Tree) -> list[Hole]:
    """Return a closed walk as `double_walk` does, round a given tree."""
    near = neighbours(figure)
    branches: dict[Hole, list[tuple[float, Hole, bool]]] = {start: []}
    edge = [(tree.rank[k], k, start, to) for to, k in near[start]]
    heapify(edge)
    done = [False] * len(figure)
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


class DoubleGroup:
    """Figures that carries can join.

    Parameters
    ----------
    figures : list of Figure
    carry : float
        Longest carry, in stitch sides.
    """

    def __init__(self, figures: list[Figure], carry: float) -> None:
        self.figures = figures
        self.near = [neighbours(figure) for figure in figures]
        holes = [figure_holes(figure) for figure in figures]
        owner = np.repeat(np.arange(len(figures)), [len(part) for part in holes])
        cloud = np.concatenate(holes)
        one, two, span = close_pairs(cloud, carry)
        apart = owner[one] != owner[two]
        one, two, span = one[apart], two[apart], span[apart]
        one, two = np.concatenate((one, two)), np.concatenate((two, one))
        order = np.lexsort((two, one, np.round(np.tile(span, 2), 9)))
        at: list[Hole] = [(row, col) for row, col in cloud.tolist()]
        self.close: list[list[tuple[float, Hole, int, Hole]]] = [[] for _ in figures]
        """For each figure, nearest first: distance, its hole, another figure, the hole of that."""
        for a, b in zip(one[order].tolist(), two[order].tolist(), strict=True):
            self.close[owner[a]].append((dist(at[a], at[b]), at[a], int(owner[b]), at[b]))
        self.carry = carry
        spans = [[dist(*pair) for pair in figure] for figure in figures]
        self._both = 2 * sum(sum(span) for span in spans)
        longest = np.asarray(
            [max(dist(hole, to) for to, _ in near[hole]) for near in self.near for hole in sorted(near)]
        )
        # A carry takes the place of a pass behind that begins or ends at one of its two holes.
        extra = np.tile(span, 2) - np.maximum(longest[one], longest[two])
        first, second = owner[one], owner[two]
        tree, _ = spanning_forest(len(figures), first, second, extra)
        self._links: list[float] = np.sort(extra[tree]).tolist()
        gains = np.zeros(len(figures))
        np.minimum.at(gains, first, extra)
        self._gain = float(gains.sum() - gains.max())

    def least(self, capacity: float) -> tuple[int, float]:
        """Return the fewest starts that can hold a group, and a lower bound of its thread with so many.

        Both passes of every line; for every figure that is put in with a carry to it and one from it, each with the
        pass behind it takes the place of: one of the two counts in a cheapest spanning forest (fewer by one for each
        further start), the other counts only if it saves thread.
        """
        starts = 1
        while True:
            links = self._links[: max(len(self.figures) - starts, 0)]
            thread = self._both + sum(links) + self._gain
            if thread <= starts * capacity + EPSILON:
                return starts, thread
            starts += 1

    def starts(self) -> list[tuple[int, Hole]]:
        """Return the figures and holes that a walk may begin with, loose ends first, the largest figure first."""
        order = sorted(range(len(self.figures)), key=lambda k: (-len(self.figures[k]), k))
        return [(k, hole) for k in order for hole in sorted(self.near[k], key=lambda h: (self._even(k, h), h))]

    def _even(self, figure: int, hole: Hole) -> bool:
        return len(self.near[figure][hole]) % 2 == 0


class _Rows:
    """Walks as rows of pairs, into which figures can be put."""

    def __init__(self, group: DoubleGroup, trees: list[Tree] | None = None) -> None:
        self._group = group
        self._trees = trees
        self.pairs: Row = []
        self._next: list[int] = []
        self._heads: list[int] = []
        self._ends_at: dict[Hole, list[int]] = {}
        self._placed = [False] * len(group.figures)

    def begin(self, figure: int, start: Hole) -> None:
        """Begin a row of its own."""
        first, _ = self._add(figure, self._walk(figure, start, None))
        self._heads.append(first)

    def _walk(self, figure: int, start: Hole, first: Hole | None) -> list[Hole]:
        lines = self._group.figures[figure]
        if self._trees is None:
            return double_walk(lines, start, first)
        return tree_walk(lines, start, first, self._trees[figure])

    def _add(self, figure: int, walk: list[Hole]) -> tuple[int, int]:
        first = len(self.pairs)
        for k in range(0, len(walk) - 1, 2):
            self._ends_at.setdefault(walk[k + 1], []).append(len(self.pairs))
            self.pairs.append((walk[k], walk[k + 1], walk[k + 2]))
            self._next.append(len(self.pairs))
        self._next[-1] = -1
        self._placed[figure] = True
        return first, len(self.pairs) - 1

    def put(self, figure: int) -> bool:
        """Put a figure in where it takes least; False if it cannot be."""
        best, chosen = inf, None
        seen = 0
        for _, hole, other, theirs in self._group.close[figure]:
            if not self._placed[other]:
                continue
            seen += 1
            if seen > _PLACES and chosen is not None:
                break
            for cost, place in self._places(figure, hole, theirs):
                if cost < best - EPSILON:
                    best, chosen = cost, place
        if chosen is None:
            return False
        pair, enter, leave = chosen
        # The walk turned about ends with the pass behind from ``leave``.
        first, last = self._add(figure, self._walk(figure, enter, leave)[::-1])
        if pair >= 0:
            self._next[last], self._next[pair] = self._next[pair], first
        else:
            head = -1 - pair
            self._next[last] = self._heads[head]
            self._heads[head] = first
        return True

    def _places(self, figure: int, hole: Hole, theirs: Hole) -> list[tuple[float, tuple[int, Hole, Hole]]]:
        """Return what it takes to put a figure in by a carry between two holes: after which pair, from and to where."""
        near, reach = self._group.near[figure], self._group.carry + EPSILON
        gap = dist(hole, theirs)
        found = []
        for pair in self._ends_at.get(theirs, ()):
            _, down, behind = self.pairs[pair]
            after = self._next[pair]
            ahead = self.pairs[after][0] if after >= 0 else None
            for leave, _ in near[hole]:
                back = dist(leave, ahead) if ahead is not None else 0.0
                if back <= reach:
                    freed = dist(down, behind) if ahead is None else dist(down, ahead) + dist(leave, hole)
                    found.append((gap + back - freed, (pair, hole, leave)))
        for number, head in enumerate(self._heads):
            if self.pairs[head][0] == theirs:
                found += [(gap - dist(hole, enter), (-1 - number, enter, hole)) for enter, _ in near[hole]]
        return found

    def rows(self) -> list[Row]:
        """Return the pairs of each row in order."""
        found = []
        for head in self._heads:
            row, at = [], head
            while at >= 0:
                row.append(self.pairs[at])
                at = self._next[at]
            found.append(row)
        return found


def _laid_out(group: DoubleGroup, figure: int, start: Hole, trees: list[Tree] | None = None) -> list[Row]:
    """Return rows of pairs through all figures of a group, begun at a hole of one of them."""
    rows = _Rows(group, trees)
    rows.begin(figure, start)
    waiting: list[tuple[float, int]] = []
    placed = [False] * len(group.figures)

    def place(figure: int) -> None:
        placed[figure] = True
        for gap, _, other, _ in group.close[figure]:
            if not placed[other]:
                heappush(waiting, (gap, other))

    place(figure)
    while not all(placed):
        refused = []
        while waiting:
            gap, nearest = heappop(waiting)
            if placed[nearest]:
                continue
            if rows.put(nearest):
                place(nearest)
            else:
                refused.append((gap, nearest))
        left = [k for _, k in sorted(refused) if not placed[k]]
        if left:
            rows.begin(left[0], min(group.near[left[0]]))
            place(left[0])
            waiting += [(0.0, k) for k in left[1:]]
            waiting.sort()
    return rows.rows()


def double_routes(group: DoubleGroup, capacity: float, price: float, bound: float) -> list[Route]:
    """Return the routes of a group: holes in order, front and behind in turn, an odd number to each length.

    Parameters
    ----------
    group : DoubleGroup
    capacity : float
        Thread of one length between its tails; it holds at least the longest line twice.
    price : float
        What a start counts.
    bound : float
        Least thread of the group with each start at its price.
    """
    lines = sum(len(figure) for figure in group.figures)
    starts = group.starts()

    def laid_out(begin: tuple[int, Hole], trees: list[Tree] | None = None) -> tuple[float, list[Route]]:
        cost, routes = 0.0, []
        for row in _laid_out(group, *begin, trees):
            taken, found = cut_row(row, capacity, price)
            cost += taken
            routes += found
        return cost, routes

    best: tuple[float, list[Route]] | None = None
    most = max(1, _LINES_TRIED // lines)
    few = max(1, _LINES_TRIED_FOR_LESS // lines)
    # Spread over all holes from the first on.
    tried = starts[:: -(-len(starts) // most)]
    for number, begin in enumerate(tried):
        cost, routes = laid_out(begin)
        if best is None or cost < best[0] - EPSILON:
            best = cost, routes
        if best[0] <= bound + _TIE or (number + 1 >= few and best[0] <= bound + price / 2):
            break
    assert best is not None
    if best[0] <= bound + price / 2:
        return best[1]
    random = Random(lines)
    kept: tuple[tuple[int, Hole], list[Tree]] | None = None
    least = inf, inf
    for _ in range(_LINES_TURNED // lines):
        if kept is None or random.random() < _NEW_TREE:
            begin, trees = random.choice(starts), [Tree.drawn(len(figure), random) for figure in group.figures]
        else:
            begin, trees = kept[0], list(kept[1])
            at = int(random.random() * len(trees))
            trees[at] = trees[at].changed(random)
        cost, routes = laid_out(begin, trees)
        # Of two that take the same the one whose shortest length is nearer to being none.
        value = cost, min(map(_thread, routes))
        if value <= (least[0] + EPSILON, least[1]):
            kept, least = (begin, trees), value
        if cost < best[0] - EPSILON:
            best = cost, routes
        if best[0] <= bound + price / 2:
            break
    return best[1]


def _thread(route: Route) -> float:
    return sum(dist(a, b) for a, b in pairwise(route))


def cut_row(row: Row, capacity: float, price: float) -> tuple[float, list[Route]]:
    """Return the cost and the routes of the cheapest cutting of a row of pairs.

    A sliding window as in `route_cut`; a length from one pair to another takes what lies between two prefix sums.
    """
    moves = [dist(one[1], two[0]) for one, two in pairwise(row)]
    used = list(accumulate((dist(pair[0], pair[1]) + m for pair, m in zip(row, moves, strict=False)), initial=0.0))
    ends = [at + dist(up, down) + dist(down, behind) for at, (up, down, behind) in zip(used, row, strict=True)]
    # Of cuts that take the same thread those with fewer carries.
    carries = list(accumulate((one[2] != two[0] for one, two in pairwise(row)), initial=0))
    count = len(row)
    total = [0.0] * (count + 1)
    follow = [count] * count
    window: deque[tuple[float, int]] = deque()
    for first in range(count - 1, -1, -1):
        value = ends[first] + total[first + 1] + _TIE * carries[first]
        while window and window[-1][0] > value + EPSILON:
            window.pop()
        window.append((value, first))
        while ends[window[0][1]] > capacity + EPSILON + used[first]:
            window.popleft()
        value, last = window[0]
        total[first] = price + value - used[first] - _TIE * carries[first]
        follow[first] = last + 1
    routes, first = [], 0
    while first < count:
        part = row[first : follow[first]]
        routes.append([*(hole for pair in part for hole in pair[:2]), part[-1][2]])
        first = follow[first]
    return total[0], routes
