"""Double running over several figures: one walk through all that carries can join, and the best cutting of it.

Each connected figure is walked round and back to where the walk began (`double_walk`). Another figure is walked in the
midst of it: in place of a pass behind, a carry leads over, the other figure is walked round up to its last pass
behind, and in place of that one a carry leads back. At either end of the walk one carry will do. So figures are put
in one by one, the nearest next, each where that takes least thread. Where no carry leads back, one leads over all the
same and a length ends there; a walk that is closed but for one such place begins behind it, so that nothing is lost.

Every walk is a row of *pairs*, a line passed in front and a move behind. A length may end after any of them, with the
pass behind in place of a carry. Which cuts take least is a dynamic programme along the row. The row leads back to where
it began, so it may begin with any pair: with the one from which the lengths leave least (`left_over`). Begun at another
figure or hole the pairs fill the lengths otherwise, so this is tried as long as it may save thread. Where that is not
enough, and lines of unlike lengths or figures hard to reach leave much of the thread unused, walks round other spanning
trees (`tree_walk`) and other places to put figures in are tried, each a small change of the best so far.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from heapq import heapify, heappop, heappush
from itertools import accumulate, pairwise
from math import dist, inf, sqrt
from random import Random

import numpy as np

from converter.estimate.line_figures import Figure, Hole, Neighbours, close_pairs, figure_holes, neighbours, straightest
from converter.estimate.route_geometry import EPSILON
from converter.estimate.route_graph import spanning_forest

_LINES_TRIED = 4000
"""Lines laid out in search of a first hole that saves a start or a few sides, at most."""
_LINES_TURNED, _TREES_EACH = 150_000, 30
"""Lines laid out along other trees in search of one that saves a start, at most, and trees for each line, at most."""
_NEW_TREE = 0.1
"""Share of the tries that change the whole tree."""
_NEW_PLACE = 0.3
"""Share of the changes to a tree that change where its figure is put in."""
_DEARER = 2.0
"""How many sides more than the cheapest a place may take that is tried."""
_TIE = 1e-6
_PLACES = 24
"""Nearest pairs of holes looked at where a figure is put in."""

_GAP = 1000.0
"""What a place counts, in sides, where a length has to end anew."""

Route = list[Hole]
Pair = tuple[Hole, Hole, Hole]
"""Hole where a line comes up, where it goes down, and where its pass behind would lead."""
Row = list[Pair]
_Place = tuple[float, tuple[int, Hole, Hole]]
"""What it takes; the pair before (-1: none), the hole where a figure is entered and the one where it is left."""


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

    def least(self, capacity: float, starts: int = 1) -> tuple[int, float]:
        """Return the fewest starts, from a number on, that can hold a group, and its least thread with so many.

        Both passes of every line; for every figure that is put in with a carry to it and one from it, each with the
        pass behind it takes the place of: one of the two counts in a cheapest spanning forest (fewer by one for each
        further start), the other counts only if it saves thread.
        """
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


class _Laying:
    """A row of pairs through figures put in one by one.

    From some pairs no carry leads to the next one: these *gaps* are where a length has to end.
    """

    def __init__(self, group: DoubleGroup, trees: list[Tree] | None, figure: int, start: Hole) -> None:
        self._group = group
        self._trees = trees
        self._reach = group.carry + EPSILON
        self._pairs: Row = []
        self._next: list[int] = []
        self._before: list[int] = []
        self._ends_at: dict[Hole, list[int]] = {}
        self._begins_at: dict[Hole, list[int]] = {}
        self.placed = [False] * len(group.figures)
        self._head, self._last = self._add(figure, self._walk(figure, start, None))

    def _walk(self, figure: int, start: Hole, first: Hole | None) -> list[Hole]:
        near = self._group.near[figure]
        if self._trees is None:
            return double_walk(near, start, first)
        return tree_walk(near, start, first, self._trees[figure])

    def _add(self, figure: int, walk: list[Hole]) -> tuple[int, int]:
        first = len(self._pairs)
        for k in range(0, len(walk) - 1, 2):
            number = len(self._pairs)
            self._begins_at.setdefault(walk[k], []).append(number)
            self._ends_at.setdefault(walk[k + 1], []).append(number)
            self._pairs.append((walk[k], walk[k + 1], walk[k + 2]))
            self._before.append(number - 1)
            self._next.append(number + 1)
        self._before[first] = self._next[-1] = -1
        self.placed[figure] = True
        return first, len(self._pairs) - 1

    def put(self, figure: int, one_way: bool) -> bool:
        """Put a figure in where it takes least; False if it cannot be.

        With ``one_way`` also where a carry leads to it or from it but none back, so that a length has to end there.
        """
        found: list[_Place] = []
        seen = 0
        for _, hole, other, theirs in self._group.close[figure]:
            if not self.placed[other]:
                continue
            seen += 1
            if seen > _PLACES and found:
                break
            found += self._places(figure, hole, theirs)
            if one_way:
                found += self._one_way(figure, hole, theirs)
        if not found:
            return False
        if one_way and self._trees is not None:
            found += self._apart(figure)
        best, chosen = found[0]
        for cost, place in found:
            if cost < best - EPSILON:
                best, chosen = cost, place
        share = self._trees[figure].place if self._trees is not None else 0.0
        if share > 0:
            few = sorted((p for p in found if one_way or p[0] <= best + _DEARER), key=lambda p: round(p[0], 9))
            _, chosen = few[int(share * len(few))]
        pair, enter, leave = chosen
        after = self._next[pair] if pair >= 0 else self._head
        # The walk turned about ends with the pass behind from ``leave``.
        first, last = self._add(figure, self._walk(figure, enter, leave)[::-1])
        self._before[first], self._next[last] = pair, after
        if pair >= 0:
            self._next[pair] = first
        else:
            self._head = first
        if after >= 0:
            self._before[after] = last
        else:
            self._last = last
        return True

    def _places(self, figure: int, hole: Hole, theirs: Hole) -> list[_Place]:
        """Return what it takes to put a figure in by a carry between two holes: after which pair, from and to where."""
        near = self._group.near[figure]
        gap = dist(hole, theirs)
        found = []
        for pair in self._ends_at.get(theirs, ()):
            after = self._next[pair]
            ahead = self._pairs[after][0] if after >= 0 else None
            freed = self._move(pair)
            for leave, _ in near[hole]:
                if ahead is None:
                    found.append((gap - freed, (pair, hole, leave)))
                elif (back := dist(leave, ahead)) <= self._reach:
                    found.append((gap + back - freed - dist(leave, hole), (pair, hole, leave)))
        if self._pairs[self._head][0] == theirs:
            found += [(gap - dist(hole, enter), (-1, enter, hole)) for enter, _ in near[hole]]
        return found

    def _one_way(self, figure: int, hole: Hole, theirs: Hole) -> list[_Place]:
        """Return the same for a carry after which, or before which, a length ends."""
        beside = self._group.near[figure][hole][0][0]
        gap = dist(hole, theirs)
        found = []
        for pair in self._ends_at.get(theirs, ()):
            more = 0.0 if self._ends_after(pair) else _GAP
            found.append((gap - self._move(pair) + more, (pair, hole, beside)))
        for after in self._begins_at.get(theirs, ()):
            pair = self._before[after]
            more = gap - dist(hole, beside)
            if pair >= 0 and not self._ends_after(pair):
                _, down, behind = self._pairs[pair]
                more += dist(down, behind) - self._move(pair) + _GAP
            found.append((more, (pair, beside, hole)))
        return found

    def _apart(self, figure: int) -> list[_Place]:
        """Return the same for a row of its own, from which a carry may lead on to figures not yet put in."""
        near = self._group.near[figure]
        ends = {other: hole for _, hole, other, _ in self._group.close[figure][::-1] if not self.placed[other]}
        return [(_GAP, (self._last, near[hole][0][0], hole)) for hole in ends.values() or [min(near)]]

    def _ends_after(self, pair: int) -> bool:
        after = self._next[pair]
        return after < 0 or _is_gap(self._pairs[pair], self._pairs[after], self._reach)

    def _move(self, pair: int) -> float:
        """Return the move behind after a pair."""
        _, down, behind = self._pairs[pair]
        return dist(down, behind if self._ends_after(pair) else self._pairs[self._next[pair]][0])

    def row(self) -> Row:
        """Return the pairs in order; a closed row that has gaps begins behind one of them."""
        parts: list[Row] = []
        at = self._head
        ended = True
        while at >= 0:
            if ended:
                parts.append([])
            parts[-1].append(self._pairs[at])
            ended = self._ends_after(at)
            at = self._next[at]
        return _joined(parts)


def _joined(parts: list[Row]) -> Row:
    """Return rows as one, each followed by one that begins where its last pass behind leads, if there is any."""
    begins: dict[Hole, list[int]] = {}
    for k, part in enumerate(parts):
        begins.setdefault(part[0][0], []).append(k)
    follow = [-1] * len(parts)
    # Of what is joined so far: the last part by its first one, and the other way round.
    last, first = list(range(len(parts))), list(range(len(parts)))
    for k, part in enumerate(parts):
        fitting = begins.get(part[-1][2], [])
        after = next((after for after in fitting if after != first[k]), -1)
        if after >= 0:
            fitting.remove(after)
            follow[k] = after
            last[first[k]], first[last[after]] = last[after], first[k]
    row: Row = []
    for at in sorted(set(range(len(parts))) - set(follow)):
        while at >= 0:
            row += parts[at]
            at = follow[at]
    return row


def _is_gap(one: Pair, two: Pair, reach: float) -> bool:
    return one[2] != two[0] and dist(one[1], two[0]) > reach


def _laid_out(group: DoubleGroup, figure: int, start: Hole, trees: list[Tree] | None = None) -> Row:
    """Return a row of pairs through all figures of a group, begun at a hole of one of them."""
    laying = _Laying(group, trees, figure, start)
    waiting: list[tuple[float, int]] = []

    def look_round(figure: int) -> None:
        for gap, _, other, _ in group.close[figure]:
            if not laying.placed[other]:
                heappush(waiting, (gap, other))

    look_round(figure)
    refused: list[tuple[float, int]] = []
    while waiting or refused:
        one_way = not waiting
        entry = heappop(refused if one_way else waiting)
        if laying.placed[entry[1]]:
            continue
        if laying.put(entry[1], one_way):
            look_round(entry[1])
        else:
            heappush(refused, entry)
    return laying.row()


def double_routes(group: DoubleGroup, capacity: float, price: float, effort: float = 1.0) -> list[Route]:
    """Return the routes of a group: holes in order, front and behind in turn, an odd number to each length.

    Parameters
    ----------
    group : DoubleGroup
    capacity : float
        Thread of one length between its tails; it holds at least the longest line twice.
    price : float
        What a start counts.
    effort : float
        Share of the usual search, 0 to 1; its root is taken, as this search is short.
    """
    lines = sum(len(figure) for figure in group.figures)
    fewest, thread = group.least(capacity)
    best: tuple[float, list[Route]] = inf, []

    def tried(begin: tuple[int, Hole], trees: list[Tree] | None = None) -> tuple[float, float]:
        """Cut a row where it seems best; return what this takes, and what a length less would leave."""
        nonlocal best
        row = _laid_out(group, *begin, trees)
        left, first = left_over(row, capacity, group.carry, max(fewest, len(best[1]) - 1))
        cut = cut_row(row[first:] + row[:first], capacity, price, group.carry)
        if cut[0] < best[0] - EPSILON:
            best = cut
        return cut[0], left

    starts = group.starts()
    for begin in starts[:: -(-len(starts) // max(1, _LINES_TRIED // lines))]:
        tried(begin)
        if best[0] <= thread + fewest * price + _TIE:
            break
    random = Random(lines)
    kept: tuple[tuple[int, Hole], list[Tree]] | None = None
    least = inf, inf
    for _ in range(int(sqrt(effort) * min(_LINES_TURNED // lines, _TREES_EACH * lines))):
        if len(best[1]) == fewest:
            break
        if kept is None or random.random() < _NEW_TREE:
            begin, trees = random.choice(starts), [Tree.drawn(len(figure), random) for figure in group.figures]
        else:
            begin, trees = kept[0], list(kept[1])
            at = int(random.random() * len(trees))
            trees[at] = trees[at].changed(random)
        value = tried(begin, trees)
        if value <= (least[0] + EPSILON, least[1]):
            kept, least = (begin, trees), value
    return best[1]


def left_over(row: Row, capacity: float, carry: float, lengths: int) -> tuple[float, int]:
    """Return the least thread that so many lengths leave of a row, begun at any of its pairs, and where to begin.

    Parameters
    ----------
    row : list of Pair
        Worked round: after the last pair follows the first one, or a gap.
    capacity, carry : float
        Thread of one length, and longest move, in stitch sides.
    lengths : int
        Each takes as much as it holds.
    """
    pairs = np.asarray(row, dtype=np.float64)
    count = len(row)
    up, down, behind = pairs[:, 0], pairs[:, 1], pairs[:, 2]
    ahead = np.roll(up, -1, axis=0)
    move, front, back = (np.hypot(*(b - a).T) for a, b in ((down, ahead), (up, down), (down, behind)))
    gap = (behind != ahead).any(axis=1) & (move > carry + EPSILON)
    each = np.tile(front + np.where(gap, back, move), 2)
    used = np.cumsum(each) - each
    ends = used + np.tile(front + back, 2)
    # A later pair may end sooner, after a short carry.
    soonest = np.minimum.accumulate(ends[::-1])[::-1]
    after = np.searchsorted(soonest, used + capacity + EPSILON, side="right")
    forced = np.append(np.flatnonzero(np.tile(gap, 2)) + 1, 2 * count)
    at = np.arange(2 * count)
    follow = np.append(np.minimum(after, forced[np.searchsorted(forced, at, side="right")]), 2 * count)
    at = at[:count]
    whole = at + count
    for _ in range(lengths):
        at = np.minimum(follow[at], whole)
    left = (np.append(used, used[-1] + each[-1]))[whole] - used[at]
    first = int(left.argmin())
    return float(left[first]), first


def cut_row(row: Row, capacity: float, price: float, carry: float = inf) -> tuple[float, list[Route]]:
    """Return the cost and the routes of the cheapest cutting of a row of pairs, with no move longer than a carry.

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
        if first + 1 < count and _is_gap(row[first], row[first + 1], carry + EPSILON):
            window.clear()
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
