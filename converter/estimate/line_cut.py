"""Rows of pairs, a line in front and a move behind, cut into lengths of thread at the best places."""

from __future__ import annotations

from collections import deque
from itertools import accumulate, pairwise
from math import dist, inf

import numpy as np

from converter.estimate.line_figures import Hole
from converter.estimate.line_through import Pair
from converter.estimate.route_geometry import EPSILON

Route = list[Hole]
Row = list[Pair]
TIE = 1e-6
"""What a carry counts where two cuts take the same thread."""


def is_gap(one: Pair, two: Pair, reach: float) -> bool:
    """Return whether no carry leads from a pair to the next one."""
    return one[2] != two[0] and dist(one[1], two[0]) > reach


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
        if first + 1 < count and is_gap(row[first], row[first + 1], carry + EPSILON):
            window.clear()
        value = ends[first] + total[first + 1] + TIE * carries[first]
        while window and window[-1][0] > value + EPSILON:
            window.pop()
        window.append((value, first))
        while ends[window[0][1]] > capacity + EPSILON + used[first]:
            window.popleft()
        value, last = window[0]
        total[first] = price + value - used[first] - TIE * carries[first]
        follow[first] = last + 1
    routes, first = [], 0
    while first < count:
        part = row[first : follow[first]]
        routes.append([*(hole for pair in part for hole in pair[:2]), part[-1][2]])
        first = follow[first]
    return total[0], routes
