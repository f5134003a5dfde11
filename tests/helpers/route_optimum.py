"""The least thread of a small chart, found by trying every order."""

from __future__ import annotations

import math

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
