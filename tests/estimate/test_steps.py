"""The working order in words."""

from __future__ import annotations

import re

import numpy as np

from converter.estimate.route import plan_thread
from converter.estimate.steps import cross_numbers, cross_steps


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


def test_numbers_follow_the_legs_of_the_closed_order():
    # The numbers alone tell the order of all legs: lower leg of 3, both legs of 3a, both of 3b, upper leg of 3.
    cells = np.random.default_rng(5).random((14, 17)) < 0.6
    for route in plan_thread(cells).lengths:
        told: list[tuple[tuple[int, int], bool]] = []
        opened = None
        for cell, name in cross_numbers(route):
            if name.isdigit():
                told += [(opened, True)] if opened else []
                told.append((cell, False))
                opened = cell
            else:
                told += [(cell, False), (cell, True)]
        told.append((opened, True))
        legs = route.reshape(-1, 2, 2)
        wanted = [
            (tuple((leg.min(axis=0) + 1).tolist()), bool(np.prod(leg[0] - leg[1], dtype=np.int64) > 0)) for leg in legs
        ]
        assert told == wanted


def test_the_least_order_has_no_numbers_by_cross():
    assert cross_numbers(plan_thread(np.ones((1, 5), dtype=bool), order="least").lengths[0]) is None
