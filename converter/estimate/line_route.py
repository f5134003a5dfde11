"""The working order of backstitch lines: double running, or back stitch.

Double running (Holbein, line or stroke stitch; Dillmont figs. 310-311, Christie fig. 85). Every line is passed once in
front and once behind, so both faces look alike. A connected figure of m lines needs exactly 2 m passes and no other
move: walk round a spanning tree, out along each branch and back; take every other line out and straight back where it
is met. Between the two passes of a line there lies an even number of passes, so of the two one is in front. Lengths end
after a pass behind. Carries to other figures take the place of passes behind (`line_double`).

Back stitch. The lines are worked along trails, straight on wherever the figure lets them, each stitch taken backwards:
up at the far hole, down at the near one, then behind to the far hole of the next line. A straight line of n takes
3 n - 2 sides against 2 n in double running.
"""

from __future__ import annotations

from itertools import pairwise
from math import ceil, dist
from typing import Any

import numpy as np

from converter.errors import RequestError, UsageError, quoted
from converter.estimate.line_cut import Route
from converter.estimate.line_double import double_routes
from converter.estimate.line_figures import (
    Figure,
    Hole,
    close_pairs,
    figure_gaps,
    in_turn,
    line_figures,
    neighbours,
    straightest,
)
from converter.estimate.line_group import DoubleGroup
from converter.estimate.route import LEAST_START, ThreadPlan, check_lengths
from converter.estimate.route_geometry import EPSILON
from converter.model.arrays import as_lines

METHODS = ("double", "back")
_LINES_TRIED = 2000
"""Lines laid out in search of a better first figure, at most."""


def plan_line_thread(
    lines: Any,
    method: str = "double",
    length: float = 252.0,
    tail: float = 25.0,
    carry: float = 3.5,
    effort: float = 1.0,
) -> ThreadPlan:
    """Plan the order in which backstitch lines are worked, and cut it into lengths of thread.

    Parameters
    ----------
    lines : array_like of shape (K, 2, 2)
        Each line as two holes (row, col); halves allowed. A line given twice is worked once.
    method : {"double", "back"}
        Double running or back stitch.
    length, tail, carry : float
        As in `plan_thread`, in stitch sides. Passes behind a line are no carries and have no limit.
    effort : float
        Share of the usual search for an order of double running with fewer starts, 0 to 1.

    Returns
    -------
    ThreadPlan
        ``lengths`` hold holes (row, col), front, back, front and so on; in double running a length ends with a pass
        behind, so its number of holes is odd. ``carries`` counts moves from figure to figure in double running, and
        moves over more than two lines' worth in back stitch.

    Raises
    ------
    UsageError
        If an argument is out of range.
    RequestError
        If a line is too long for a length.

    Examples
    --------
    >>> row = [[[0, k], [0, k + 1]] for k in range(10)]
    >>> plan_line_thread(row, tail=0).total, plan_line_thread(row, "back", tail=0).total
    (20.0, 28.0)
    """
    array = as_lines(lines)
    check_lengths(length, tail, carry)
    if method not in METHODS:
        raise UsageError(f"method is {quoted(method)}.", "Choose double or back.")
    figures = line_figures(array)
    if not figures:
        return ThreadPlan((), 0.0, 0.0, 0.0, 0.0, 0.0, 0, 0, method)
    capacity = length - 2 * tail
    longest = max(dist(*pair) for figure in figures for pair in figure)
    passes = 2 if method == "double" else 1
    if passes * longest > capacity + EPSILON:
        raise RequestError(
            f"A line of {longest:g} stitches does not fit a working length of {length:g} with tails of {tail:g}.",
            "Take a longer working length, or split the line into shorter stitches.",
        )
    if method == "double":
        routes, bound, carries = _double(figures, capacity, tail, carry, effort)
    else:
        routes, bound, carries = _back(figures, capacity, tail, carry)
    front = sum(_parts(route, 0) for route in routes)
    back = sum(_parts(route, 1) for route in routes)
    tails = 2 * tail * len(routes)
    total = front + back + tails
    lengths = tuple(np.asarray(route, dtype=np.float64) for route in routes)
    return ThreadPlan(lengths, min(bound, total), total, front, back, tails, len(routes), carries, method)


def _double(
    figures: list[Figure], capacity: float, tail: float, carry: float, effort: float
) -> tuple[list[Route], float, int]:
    """Return the routes of double running, group by group, the nearest next; the bound; and the number of carries."""
    price = max(2 * tail, LEAST_START)
    members, _ = figure_gaps(figures, carry)
    joined = [[pair for k in group for pair in figures[k]] for group in members]
    routes: list[Route] = []
    bound = 0.0
    for lines in in_turn(joined):
        group = DoubleGroup(line_figures(lines), carry)
        starts, thread = group.least(capacity)
        bound += thread + 2 * tail * starts
        routes += double_routes(group, capacity, price, effort)
    known = {frozenset(pair) for figure in figures for pair in figure}
    carries = sum(frozenset(pair) not in known for route in routes for pair in list(pairwise(route))[1::2])
    return routes, bound, carries


def _back(figures: list[Figure], capacity: float, tail: float, carry: float) -> tuple[list[Route], float, int]:
    """Return the routes of back stitch, begun with the figure that makes them shortest; the bound; and the carries.

    Another first figure is tried only while a start may be saved by it, and less often where there are many lines.
    """
    bound = back_bound(figures, capacity, tail)
    tries = min(len(figures), max(1, _LINES_TRIED // sum(len(figure) for figure in figures)))
    best: tuple[float, list[Route], int] | None = None
    for number in range(tries):
        routes, carries = _back_routes(in_turn(figures, number), capacity, carry)
        total = sum(_parts(route, 0) + _parts(route, 1) for route in routes) + 2 * tail * len(routes)
        if best is None or total < best[0] - EPSILON:
            best = total, routes, carries
        if best[0] <= bound + tail + EPSILON:
            break
    assert best is not None
    return best[1], bound, best[2]


def _parts(route: list[Hole], first: int) -> float:
    return sum(dist(route[k], route[k + 1]) for k in range(first, len(route) - 1, 2))


def _trails(figure: Figure) -> list[Route]:
    """Return trails that together pass every line once, each straight on where it can."""
    near = neighbours(figure)
    done = [False] * len(figure)
    trails = []
    left = len(figure)
    at: Hole | None = None
    while left:
        open_ends = {h: sum(not done[k] for _, k in ways) for h, ways in near.items()}
        choices = [h for h, count in open_ends.items() if count]
        here = at
        at = min(
            choices,
            key=lambda h: (open_ends[h] % 2 == 0, round(dist(h, here), 9) if here is not None else 0.0, h),
        )
        trail = [at]
        while True:
            ways = [(to, k) for to, k in near[trail[-1]] if not done[k]]
            if not ways:
                break
            to, k = straightest(trail[-2] if len(trail) > 1 else None, trail[-1], ways)[0]
            done[k] = True
            left -= 1
            trail.append(to)
        trails.append(trail)
        at = trail[-1]
    return trails


def _back_routes(figures: list[Figure], capacity: float, carry: float) -> tuple[list[Route], int]:
    routes: list[Route] = []
    carries = 0
    used = 0.0
    for figure in figures:
        for trail in _trails(figure):
            for k in range(len(trail) - 1):
                near, far = trail[k], trail[k + 1]
                stitch = dist(near, far)
                move = dist(routes[-1][-1], far) if routes else 0.0
                follows = k > 0
                allowed = move > 0 and (follows or move <= carry + EPSILON)
                if routes and allowed and used + move + stitch <= capacity + EPSILON:
                    routes[-1] += [far, near]
                    used += move + stitch
                    carries += not follows
                else:
                    routes.append([far, near])
                    used = stitch
    return routes, carries


def back_bound(figures: list[Figure], capacity: float, tail: float) -> float:
    """Return the least thread of back stitch: each line in front, and from line to line at least the nearest holes."""
    spans = [dist(*pair) for figure in figures for pair in figure]
    holes = sorted({hole for figure in figures for pair in figure for hole in pair})
    gap = float(close_pairs(np.asarray(holes), min(spans))[2].min())
    front, count = sum(spans), len(spans)
    starts = max(1, ceil((front + gap * count) / (capacity + gap) - EPSILON))
    return front + gap * max(count - starts, 0) + 2 * tail * starts
