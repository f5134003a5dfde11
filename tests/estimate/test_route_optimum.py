"""Small scattered charts against the true optimum, found by trying every order."""

from __future__ import annotations

import math

import numpy as np
from helpers.route_checker import ROOT2

from converter.estimate.route import plan_thread

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


def test_least_order_finds_the_optimum_on_small_charts():
    rng = np.random.default_rng(2026)
    found = bounds = tried = 0
    worst = 1.0
    while tried < 60:
        side = int(rng.integers(3, 8))
        cells = np.zeros(side * side, dtype=bool)
        cells[rng.permutation(side * side)[: int(rng.integers(2, 6))]] = True
        cells = cells.reshape(side, side)
        tried += 1
        best = optimum(cells, 25.0, 3.5)
        plan = plan_thread(cells, 252.0, 25.0, 3.5, order="least")
        assert plan.bound <= best + 1e-6 <= plan.total + 2e-6, "the bound is one, and no plan beats the optimum"
        found += plan.total <= best + 1e-6
        bounds += plan.bound >= best - 1e-6
        worst = max(worst, plan.total / best)
    assert found >= 0.9 * tried, f"optimum in {found} of {tried}, worst {worst:.3f}"
    assert bounds >= 0.2 * tried, "the bound is met now and then"
