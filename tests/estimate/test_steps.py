"""The working order in words."""

from __future__ import annotations

import re

import numpy as np

from converter.estimate.route import plan_thread
from converter.estimate.steps import cross_steps


def named(steps):
    return [tuple(map(int, pair)) for pair in re.findall(r"(\d+)/(\d+)", " ".join(steps))]


def test_closed_order_names_every_cross_once():
    cells = np.random.default_rng(4).random((15, 15)) < 0.5
    plan = plan_thread(cells)
    found = [cell for route in plan.lengths for cell in named(cross_steps(route))]
    assert sorted(found) == sorted((r + 1, c + 1) for r, c in np.argwhere(cells))
    carries = sum(step.startswith("carry") for route in plan.lengths for step in cross_steps(route))
    assert carries == plan.carries


def test_least_order_names_half_crosses():
    plan = plan_thread(np.ones((1, 3), dtype=bool), order="least")
    assert cross_steps(plan.lengths[0]) == ["1/1/", "1/2 (1/3)", "1/1\\"]
