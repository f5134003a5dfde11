"""The least thread and the fewest lengths of a small chart, found by trying every order."""

from __future__ import annotations

import heapq
import math
from functools import cache
from itertools import combinations

import numpy as np
from helpers.route_checker import ROOT2

LEGS = (((1, 0), (0, 1)), ((0, 0), (1, 1)))


def optimum(cells, tail, carry):
    """Return the least thread of all orders, lengths without a limit: dynamic programme over the sets of legs done."""
    crosses = [tuple(map(int, at)) for at in np.argwhere(cells)]
    holes = [[[(r + d[0], c + d[1]) for d in ends] for ends in LEGS] for r, c in crosses]
    weight = [3**k for k in range(len(crosses))]
    states = {0: {None: 0.0}}
    for _ in range(2 * len(crosses)):
        ahead: dict[int, dict] = {}
        for state, ends in states.items():
            fresh = min(ends.values()) + 2 * tail
            for k, legs in enumerate(holes):
                done = state // weight[k] % 3
                if done == 2:
                    continue
                target = ahead.setdefault(state + weight[k], {})
                for up, down in (legs[done], legs[done][::-1]):
                    cost = fresh
                    for at, before in ends.items():
                        if at is not None and 1 <= math.dist(at, up) <= carry:
                            cost = min(cost, before + math.dist(at, up))
                    target[down] = min(target.get(down, math.inf), cost + ROOT2)
        states = ahead
    return min(states[3 ** len(crosses) - 1].values())


def least_excess(cells, known, carry=3.5):
    """Return the least excess of all orders in one length with at most two crosses open, at most ``known``.

    Shortest path over the legs worked and the hole where the thread stands.
    """
    crosses = [tuple(map(int, at)) for at in np.argwhere(cells)]
    holes = [[[(r + d[0], c + d[1]) for d in ends] for ends in LEGS] for r, c in crosses]
    best = {(0, 0, None): 0.0}
    queue: list[tuple[float, int, int, tuple[int, int] | None]] = [(0.0, 0, 0, (-9, -9))]
    best[0, 0, (-9, -9)] = 0.0
    while queue:
        cost, begun, done, at = heapq.heappop(queue)
        if done == (1 << len(crosses)) - 1:
            return cost
        if cost > best[begun, done, at] + 1e-12:
            continue
        for k, legs in enumerate(holes):
            bit = 1 << k
            if done & bit or (not begun & bit and (begun & ~done).bit_count() >= 2):
                continue
            leg = legs[1 if begun & bit else 0]
            for up, down in (leg, leg[::-1]):
                move = 1.0 if at == (-9, -9) else math.dist(at, up)
                total = cost + move - 1
                state = (begun | bit, done | bit if begun & bit else done, down)
                if 1 <= move <= carry and total <= known + 1e-6 and total < best.get(state, math.inf) - 1e-12:
                    best[state] = total
                    heapq.heappush(queue, (total, *state))
    raise AssertionError("no order is as good as the one known")


def fewest_lengths(cells, each, capacity):
    """Return the fewest lengths of at most ``each`` crosses that any closed order needs: all ways to part the chart.

    Which crosses one length can hold is found by trying every order (`least_excess`).
    """
    at = np.argwhere(cells)
    holds = [[] for _ in at]
    for size in range(1, each + 1):
        for part in combinations(range(len(at)), size):
            alone = np.zeros_like(cells)
            alone[tuple(at[list(part)].T)] = True
            try:
                least_excess(alone, capacity + 1 - size * (2 * ROOT2 + 2))
            except AssertionError:
                continue
            holds[part[0]].append(sum(1 << k for k in part))

    @cache
    def fewest(left):
        if not left:
            return 0
        first = (left & -left).bit_length() - 1
        return 1 + min(fewest(left & ~part) for part in holds[first] if part & ~left == 0)

    return fewest((1 << len(at)) - 1)
