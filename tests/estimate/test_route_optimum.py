"""Small scattered charts against the true optimum, found by trying every order."""

from __future__ import annotations

import numpy as np
from helpers.route_optimum import optimum

from converter.estimate.route import plan_thread


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
