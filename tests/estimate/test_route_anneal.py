"""Moves of legs that are not weighed whole: none of them would have been made."""

from __future__ import annotations

import numpy as np
import pytest

from converter.estimate.route_anneal import LegOrder, _Pressure
from converter.estimate.route_geometry import Crosses, MoveRules
from converter.estimate.route_links import Links


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize("done", [None, 0.0, 0.5, 0.9])
def test_a_move_that_passes_is_always_held_hopeful(done, hidden):
    rng = np.random.default_rng(5)
    cells = rng.random((24, 24)) < 0.25
    links = Links(Crosses.of(cells, pad=7), MoveRules(cells, 3.5, hidden), 49.0)
    legs = np.arange(2 * links.crosses.count)
    order = LegOrder(links, np.array_split(legs, 4), rng.integers(0, 2, legs.size), 49.0)
    # Some lengths hold too much, some do not.
    capacity, pressure = (None, None) if done is None else (160.0, _Pressure(done))
    place = order._place(capacity)
    if pressure is not None:
        assert (place.load > 0).any()
    count = 20_000
    first = rng.integers(1, legs.size + 3, count)
    last = np.minimum(first + rng.integers(0, 8, count), legs.size + 3)
    left = rng.integers(0, legs.size + 3, count)
    limit = rng.exponential(0.5, count)
    change, _, _ = order._change(place, first, last, left, pressure)
    elsewhere = (left < first - 1) | (left > last)
    hopeful = np.zeros(count, dtype=bool)
    hopeful[order._hopeful(place, first, last, left, limit, pressure)] = True
    assert not (hopeful & ~elsewhere).any()
    inside = (place.into[first] < 1 << 39) & (place.into[last] < 1 << 39) & (place.into[left] < 1 << 39)
    passes = elsewhere & inside & (change <= limit)
    assert passes.any()
    assert hopeful[passes].all()
    assert (elsewhere & ~hopeful).any()
