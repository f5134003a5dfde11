"""Figures put one by one into a row of pairs, each where that takes least thread; `line_double` tells how."""

from __future__ import annotations

from math import dist, inf
from typing import NamedTuple

from converter.estimate.line_cut import Row, is_gap
from converter.estimate.line_figures import Hole
from converter.estimate.line_group import DoubleGroup
from converter.estimate.line_walk import Tree, double_walk, tree_walk
from converter.estimate.route_geometry import EPSILON

_PLACES = 24
"""Nearest pairs of holes looked at where a figure is put in."""
_DEARER = 2.0
"""How many sides more than the cheapest a place may take that is tried."""
_GAP = 1000.0
"""What a place counts, in sides, where a length has to end anew."""


class _Place(NamedTuple):
    """Where a figure is put in."""

    cost: float
    """What it takes."""
    pair: int
    """The pair before, -1 for none."""
    enter: Hole
    """Hole where the figure is entered, and where it is left."""
    leave: Hole
    through: Row | None = None
    """How the figure before is walked then, if otherwise than now."""


class Laying:
    """A row of pairs through figures put in one by one.

    From some pairs no carry leads to the next one: these *gaps* are where a length has to end.
    """

    def __init__(self, group: DoubleGroup, trees: list[Tree] | None, figure: int, start: Hole, through: bool) -> None:
        self._group = group
        self._may_pass = through
        self.passes = False
        """Whether a figure is passed through."""
        self._trees = trees
        self._reach = group.carry + EPSILON
        self._pairs: Row = []
        self._next: list[int] = []
        self._before: list[int] = []
        self._ends_at: dict[Hole, list[int]] = {}
        self._begins_at: dict[Hole, list[int]] = {}
        self._owner: list[int] = []
        """Figure of each pair."""
        self._span: dict[int, tuple[int, int]] = {}
        """First and last pair of each figure in the midst of which no other one is."""
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
            self._owner.append(figure)
        self._before[first] = self._next[-1] = -1
        self.placed[figure] = True
        self._span[figure] = first, len(self._pairs) - 1
        return self._span[figure]

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
                found += self._through(figure, hole, theirs, other)
        if not found:
            return False
        if one_way and self._trees is not None:
            found += self._apart(figure)
        chosen = found[0]
        for place in found:
            if place.cost < chosen.cost - EPSILON:
                chosen = place
        share = self._trees[figure].place if self._trees is not None else 0.0
        if share > 0:
            most = inf if one_way else chosen.cost + _DEARER
            few = sorted((p for p in found if p.cost <= most), key=lambda p: round(p.cost, 9))
            chosen = few[int(share * len(few))]
        self._put_at(figure, chosen)
        return True

    def _put_at(self, figure: int, place: _Place) -> None:
        pair = place.pair
        if place.through is not None:
            self._walk_anew(self._owner[pair], place.through)
            self.passes = True
        if pair >= 0 and self._span.get(self._owner[pair], (0, pair))[1] != pair:
            del self._span[self._owner[pair]]
        after = self._next[pair] if pair >= 0 else self._head
        # The walk turned about ends with the pass behind from ``leave``.
        first, last = self._add(figure, self._walk(figure, place.enter, place.leave)[::-1])
        self._before[first], self._next[last] = pair, after
        if pair >= 0:
            self._next[pair] = first
        else:
            self._head = first
        if after >= 0:
            self._before[after] = last
        else:
            self._last = last

    def _walk_anew(self, figure: int, row: Row) -> None:
        """Walk a figure in the midst of which no other one is in another order."""
        number = self._span[figure][0]
        for new in row:
            up, down, _ = self._pairs[number]
            self._begins_at[up].remove(number)
            self._ends_at[down].remove(number)
            self._begins_at.setdefault(new[0], []).append(number)
            self._ends_at.setdefault(new[1], []).append(number)
            self._pairs[number] = new
            number = self._next[number]

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
                    found.append(_Place(gap - freed, pair, hole, leave))
                elif (back := dist(leave, ahead)) <= self._reach:
                    found.append(_Place(gap + back - freed - dist(leave, hole), pair, hole, leave))
        if self._pairs[self._head][0] == theirs:
            found += [_Place(gap - dist(hole, enter), -1, enter, hole) for enter, _ in near[hole]]
        return found

    def _one_way(self, figure: int, hole: Hole, theirs: Hole) -> list[_Place]:
        """Return the same for a carry after which, or before which, a length ends."""
        beside = self._group.near[figure][hole][0][0]
        gap = dist(hole, theirs)
        found = []
        for pair in self._ends_at.get(theirs, ()):
            more = 0.0 if self._ends_after(pair) else _GAP
            found.append(_Place(gap - self._move(pair) + more, pair, hole, beside))
        for after in self._begins_at.get(theirs, ()):
            pair = self._before[after]
            more = gap - dist(hole, beside)
            if pair >= 0 and not self._ends_after(pair):
                _, down, behind = self._pairs[pair]
                more += dist(down, behind) - self._move(pair) + _GAP
            found.append(_Place(more, pair, beside, hole))
        return found

    def _through(self, figure: int, hole: Hole, theirs: Hole, other: int) -> list[_Place]:
        """Return the same for a carry from another figure before a gap, which then is walked so that it ends there."""
        first, last = self._span.get(other, (-1, -1))
        if not self._may_pass or last < 0 or not self._ends_after(last):
            return []
        found = self._group.through(other, self._pairs[first][0], theirs)
        if found is None:
            return []
        more, walk = found
        beside = self._group.near[figure][hole][0][0]
        return [_Place(dist(hole, theirs) + more, last, hole, beside, walk)]

    def _apart(self, figure: int) -> list[_Place]:
        """Return the same for a row of its own, from which a carry may lead on to figures not yet put in."""
        near = self._group.near[figure]
        ends = {other: hole for _, hole, other, _ in self._group.close[figure][::-1] if not self.placed[other]}
        return [_Place(_GAP, self._last, near[hole][0][0], hole) for hole in ends.values() or [min(near)]]

    def _ends_after(self, pair: int) -> bool:
        after = self._next[pair]
        return after < 0 or is_gap(self._pairs[pair], self._pairs[after], self._reach)

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
