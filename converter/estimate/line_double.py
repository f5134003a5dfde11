"""Double running over several figures: one walk through all that carries can join, and the best cutting of it.

Each connected figure is walked round and back to where the walk began (`double_walk`). Another figure is walked in the
midst of it: in place of a pass behind, a carry leads over, the other figure is walked round up to its last pass
behind, and in place of that one a carry leads back. At either end of the walk one carry will do. So figures are put
in one by one, the nearest next, each where that takes least thread. Where no carry leads back, one leads over all the
same and a length ends there; a walk that is closed but for one such place begins behind it, so that nothing is lost.
A small figure before such a place is passed through, if the way leads on from another of its holes (`line_through`).

Every walk is a row of *pairs*, a line passed in front and a move behind. A length may end after any of them, with the
pass behind in place of a carry. Which cuts take least is a dynamic programme along the row. The row leads back to where
it began, so it may begin with any pair: with the one from which the lengths leave least (`left_over`). Begun at another
figure or hole the pairs fill the lengths otherwise, so this is tried as long as it may save thread. Where that is not
enough, and lines of unlike lengths or figures hard to reach leave much of the thread unused, walks round other spanning
trees (`tree_walk`) and other places to put figures in are tried, each a small change of the best so far.
"""

from __future__ import annotations

from heapq import heappop, heappush
from math import inf, sqrt
from random import Random

from converter.estimate.line_cut import TIE, Route, Row, cut_row, left_over
from converter.estimate.line_figures import Hole
from converter.estimate.line_group import DoubleGroup
from converter.estimate.line_laying import Laying
from converter.estimate.line_walk import Tree
from converter.estimate.route_geometry import EPSILON

_LINES_TRIED = 4000
"""Lines laid out in search of a first hole that saves a start or a few sides, at most."""
_LINES_TURNED, _TREES_EACH = 600_000, 30
"""Lines laid out along other trees in search of one that saves a start, at most, and trees for each line, at most."""
_NEW_TREE = 0.1
"""Share of the tries that change the whole tree."""
_PASSING = 0.5
"""Of the tries, how many are made again with figures passed through if that may save a start."""


def _laid_out(
    group: DoubleGroup, figure: int, start: Hole, trees: list[Tree] | None, through: bool
) -> tuple[Row, bool]:
    """Return a row of pairs through all figures of a group, begun at a hole of one of them.

    And whether any figure is passed through, which is done only with ``through``.
    """
    laying = Laying(group, trees, figure, start, through)
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
    return laying.row(), laying.passes


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

    def tried(begin: tuple[int, Hole], trees: list[Tree] | None, through: bool) -> tuple[float, float, bool]:
        """Cut a row where it seems best; return what this takes, what a length less leaves, if a figure is passed."""
        nonlocal best
        row, passes = _laid_out(group, *begin, trees, through)
        left, first = left_over(row, capacity, group.carry, max(fewest, len(best[1]) - 1))
        cut = cut_row(row[first:] + row[:first], capacity, price, group.carry)
        if cut[0] < best[0] - EPSILON:
            best = cut
        return cut[0], left, passes

    starts = group.starts()

    def search(through: bool) -> None:
        """Try first holes, and then other trees while a start may be saved."""
        passed = False
        for begin in starts[:: -(-len(starts) // max(1, _LINES_TRIED // lines))]:
            passed |= tried(begin, None, through)[2]
            if best[0] <= thread + fewest * price + TIE:
                break
        if through and not passed:
            return
        random = Random(lines)
        kept: tuple[tuple[int, Hole], list[Tree]] | None = None
        least = inf, inf
        tries = sqrt(effort) * min(_LINES_TURNED // lines, _TREES_EACH * lines)
        for _ in range(int(tries * _PASSING if through else tries)):
            if len(best[1]) == fewest:
                break
            if kept is None or random.random() < _NEW_TREE:
                begin, trees = random.choice(starts), [Tree.drawn(len(figure), random) for figure in group.figures]
            else:
                begin, trees = kept[0], list(kept[1])
                at = int(random.random() * len(trees))
                trees[at] = trees[at].changed(random)
            value = tried(begin, trees, through)[:2]
            if value <= (least[0] + EPSILON, least[1]):
                kept, least = (begin, trees), value

    search(False)
    if len(best[1]) > fewest:
        search(True)
    return best[1]
