"""The working order of backstitch lines: double running, or back stitch.

Double running (Holbein, line or stroke stitch; Dillmont figs. 310-311, Christie fig. 85). Every line is passed once in
front and once behind, so both faces look alike. A connected figure of m lines needs exactly 2 m passes and no other
move: walk round a spanning tree, out along each branch and back; take every other line out and straight back where it
is met. Between the two passes of a line there lies an even number of passes, so of the two one is in front. Lengths end
after a pass behind. Where a carry leads on to another figure, it takes the place of the last pass behind.

Back stitch. The lines are worked along trails, straight on wherever the figure lets them, each stitch taken backwards:
up at the far hole, down at the near one, then behind to the far hole of the next line. A straight line of n takes
3 n - 2 sides against 2 n in double running.
"""

from __future__ import annotations

from math import ceil, dist
from typing import Any

import numpy as np

from converter.errors import RequestError, UsageError
from converter.estimate.line_figures import (
    Figure,
    Hole,
    close_pairs,
    figure_gaps,
    figure_holes,
    in_turn,
    line_figures,
    nearest,
)
from converter.estimate.route import ThreadPlan, check_lengths
from converter.estimate.route_geometry import EPSILON
from converter.model.arrays import as_lines

METHODS = ("double", "back")
_LINES_TRIED = 2000
"""Lines laid out in search of a better first figure, at most."""


def plan_line_thread(
    lines: Any, method: str = "double", length: float = 252.0, tail: float = 25.0, carry: float = 3.5
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
        raise UsageError(f"method is {method!r}.", "Choose double or back.")
    figures = line_figures(array)
    if not figures:
        return ThreadPlan((), 0.0, 0.0, 0.0, 0.0, 0.0, 0, 0, method)
    capacity = length - 2 * tail
    longest = max(dist(*pair) for figure in figures for pair in figure)
    if (2 if method == "double" else 1) * longest > capacity + EPSILON:
        raise RequestError(
            f"A line of {longest:g} stitches does not fit a working length of {length:g} with tails of {tail:g}.",
            "Take a longer working length, or split the line into shorter stitches.",
        )
    bound = _line_bound(figures, method, capacity, tail, carry)
    total, routes, carries = _best_routes(figures, method, capacity, tail, carry, bound)
    front = sum(_parts(route, 0) for route in routes)
    back = sum(_parts(route, 1) for route in routes)
    tails = 2 * tail * len(routes)
    lengths = tuple(np.asarray(route, dtype=np.float64) for route in routes)
    return ThreadPlan(lengths, min(bound, total), total, front, back, tails, len(routes), carries, method)


def _best_routes(
    figures: list[Figure], method: str, capacity: float, tail: float, carry: float, bound: float
) -> tuple[float, list[list[Hole]], int]:
    """Return the least total, its routes and carries, of the orders that begin with one figure or another.

    Another first figure is tried only while a start may be saved by it, and less often where there are many lines.
    """
    plan = _double_routes if method == "double" else _back_routes
    tries = min(len(figures), max(1, _LINES_TRIED // sum(len(figure) for figure in figures)))
    best: tuple[float, list[list[Hole]], int] | None = None
    for number in range(tries):
        routes, carries = plan(in_turn(figures, number), capacity, carry)
        total = sum(_parts(route, 0) + _parts(route, 1) for route in routes) + 2 * tail * len(routes)
        if best is None or total < best[0] - EPSILON:
            best = total, routes, carries
        if best[0] <= bound + tail + EPSILON:
            break
    assert best is not None
    return best


def _parts(route: list[Hole], first: int) -> float:
    return sum(dist(route[k], route[k + 1]) for k in range(first, len(route) - 1, 2))


def _neighbours(figure: Figure) -> dict[Hole, list[tuple[Hole, int]]]:
    near: dict[Hole, list[tuple[Hole, int]]] = {}
    for k, (a, b) in enumerate(figure):
        near.setdefault(a, []).append((b, k))
        near.setdefault(b, []).append((a, k))
    return near


def _straightest(before: Hole | None, at: Hole, choices: list[tuple[Hole, int]]) -> list[tuple[Hole, int]]:
    """Return the ways on from a hole, the straightest first."""

    def turn(choice: tuple[Hole, int]) -> tuple[float, Hole]:
        to = choice[0]
        if before is None:
            return (0.0, to)
        ahead = (at[0] - before[0], at[1] - before[1])
        step = (to[0] - at[0], to[1] - at[1])
        cosine = (ahead[0] * step[0] + ahead[1] * step[1]) / (dist(before, at) * dist(at, to))
        return (-round(cosine, 9), to)

    return sorted(choices, key=turn)


def double_walk(figure: Figure, start: Hole, first: Hole | None = None) -> list[Hole]:
    """Return a closed walk from a hole that passes every line of a connected figure twice, an odd number apart.

    The first line leads to ``first``, if that hole is given.
    """
    near = _neighbours(figure)
    done = [False] * len(figure)
    seen = {start}
    walk = [start]
    ways = sorted(_straightest(None, start, near[start]), key=lambda way: way[0] != first)
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
        stack.append((to, at, _straightest(at, to, near[to])[::-1]))
    return walk


def _start_hole(figure: Figure, close_to: Hole | None) -> Hole:
    """Return where a figure is begun: the hole nearest to where the thread is, else its first loose end."""
    near = _neighbours(figure)
    if close_to is not None:
        return min(near, key=lambda hole: (round(dist(hole, close_to), 9), hole))
    return min(near, key=lambda hole: (len(near[hole]) % 2 == 0, hole))


def _walk_towards(figure: Figure, other: Figure, carry: float) -> list[Hole] | None:
    """Return a walk whose last hole but one is where a carry leads on to another figure, None if there is none."""
    near = _neighbours(figure)
    holes = sorted(near)
    gaps = nearest(np.asarray(holes), figure_holes(other))
    at = int(np.argmin(np.round(gaps, 9)))
    if gaps[at] > carry + EPSILON:
        return None
    for start, _ in sorted(near[holes[at]]):
        walk = double_walk(figure, start, holes[at])
        if walk[-2] == holes[at]:
            return walk
    return None


def _double_routes(figures: list[Figure], capacity: float, carry: float) -> tuple[list[list[Hole]], int]:
    routes: list[list[Hole]] = []
    carries = 0
    used = 0.0
    for number, figure in enumerate(figures):
        # The last pass behind is left out when a carry leads on, so that the thread stands at the hole before.
        stand = routes[-1][-2] if routes else None
        start = _start_hole(figure, stand)
        walk = double_walk(figure, start)
        joined = False
        if stand is not None and 0 < dist(stand, start) <= carry + EPSILON:
            saved = dist(stand, routes[-1][-1])
            first = dist(walk[0], walk[1]) + dist(walk[1], walk[2])
            joined = used - saved + dist(stand, start) + first <= capacity + EPSILON
            if joined:
                used += dist(stand, start) - saved
                routes[-1][-1] = start
                carries += 1
        if not joined:
            if number + 1 < len(figures):
                walk = _walk_towards(figure, figures[number + 1], carry) or walk
            routes.append([walk[0]])
            used = 0.0
        for k in range(0, len(walk) - 1, 2):
            pair = dist(walk[k], walk[k + 1]) + dist(walk[k + 1], walk[k + 2])
            if used + pair > capacity + EPSILON:
                routes.append([walk[k]])
                used = 0.0
            routes[-1] += [walk[k + 1], walk[k + 2]]
            used += pair
    return routes, carries


def _trails(figure: Figure) -> list[list[Hole]]:
    """Return trails that together pass every line once, each straight on where it can."""
    near = _neighbours(figure)
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
            to, k = _straightest(trail[-2] if len(trail) > 1 else None, trail[-1], ways)[0]
            done[k] = True
            left -= 1
            trail.append(to)
        trails.append(trail)
        at = trail[-1]
    return trails


def _back_routes(figures: list[Figure], capacity: float, carry: float) -> tuple[list[list[Hole]], int]:
    routes: list[list[Hole]] = []
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


def _line_bound(figures: list[Figure], method: str, capacity: float, tail: float, carry: float) -> float:
    """Return the least thread of the method.

    Double running: both passes of every line, less the last pass behind of each figure that a carry leads on from,
    plus those carries; the lengths hold all of it. Back stitch: every line in front, and between two lines at least
    the shortest distance of two holes.
    """
    spans = [[dist(*pair) for pair in figure] for figure in figures]
    front = sum(sum(span) for span in spans)
    if method == "back":
        holes = sorted({hole for figure in figures for pair in figure for hole in pair})
        gap = float(close_pairs(np.asarray(holes), min(min(span) for span in spans))[2].min())
        count = sum(len(span) for span in spans)
        starts = max(1, ceil((front + gap * count) / (capacity + gap) - EPSILON))
        return front + gap * max(count - starts, 0) + 2 * tail * starts
    groups, gaps = figure_gaps(figures, carry)
    total = 0.0
    for members, tree in zip(groups, gaps, strict=True):
        both = 2 * sum(sum(spans[k]) for k in members)
        loss = max(max(spans[k]) for k in members)
        starts = 1
        while True:
            links = tree[: max(len(members) - starts, 0)]
            thread = both + sum(links) - loss * len(links)
            if thread <= starts * capacity + EPSILON:
                break
            starts += 1
        total += thread + 2 * tail * starts
    return total
