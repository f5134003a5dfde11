"""Moves of legs are drawn by short links, and none that is not weighed whole would have been made."""

from __future__ import annotations

import numpy as np
import pytest

from converter.estimate.route_anneal import _ENDS, LegOrder, _Pressure
from converter.estimate.route_geometry import Crosses, MoveRules
from converter.estimate.route_links import Links

PRICE = 49.0


def drawn_moves(hidden=False, share=0.25, count=20_000, by_link=True):
    rng = np.random.default_rng(5)
    cells = rng.random((24, 24)) < share
    links = Links(Crosses.of(cells, pad=7), MoveRules(cells, 3.5, hidden), PRICE)
    legs = np.arange(2 * links.crosses.count)
    order = LegOrder(links, np.array_split(legs, 4), rng.integers(0, 2, legs.size), PRICE)
    # As it is when moves are drawn.
    order._place(160.0)
    drawn = rng.integers(1, legs.size + 4, count), rng.integers(0, 1 << 26, count), rng.integers(0, 8, count)
    if by_link:
        moves, link = order._drawn_by_link(order._nearest_ends(), *drawn)
    else:
        moves, link = order._drawn(*drawn), np.zeros(count)
    return order, moves, link, rng.exponential(0.5, count)


def pairs(order, moves):
    """Return whether a run is a cross, whose legs are turned each for itself."""
    first, last = order._order[moves.first], order._order[moves.last]
    return (moves.last == moves.first + 1) & (first ^ last == 1)


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize("done", [None, 0.0, 0.5, 0.9])
def test_a_move_that_passes_is_always_held_hopeful(done, hidden):
    order, moves, link, limit = drawn_moves(hidden, by_link=done is not None)
    # Some lengths hold too much, some do not.
    capacity, pressure = (None, None) if done is None else (160.0, _Pressure(done))
    place = order._place(capacity)
    if pressure is not None:
        assert (place.load > 0).any()
    if done is None:
        moves = order._shorter_turned(place, moves)
    # The legs of a whole cross may be turned for a link other than the one drawn.
    single = ~pairs(order, moves) | (done is None)
    elsewhere = (moves.left < moves.first - 1) | (moves.left > moves.last)
    hopeful = np.zeros(limit.size, dtype=bool)
    found, saved = order._hopeful(place, moves, limit - link, pressure)
    hopeful[found] = True
    assert not (hopeful & ~elsewhere).any()
    first, last = moves.first, moves.last
    freed = place.link[first - 1] + place.link[last] - order.excess(place.out[first - 1], place.into[last + 1])
    assert (saved == freed[found]).all()
    change, _ = order._change(place, moves, pressure, freed)
    inside = (place.into[moves.first] < 1 << 39) & (place.into[moves.last] < 1 << 39)
    inside &= (place.into[moves.left] < 1 << 39) & (place.into[moves.left + 1] < 1 << 39)
    passes = elsewhere & inside & single & (change <= limit)
    assert passes.any()
    assert hopeful[passes].all()
    assert (elsewhere & ~hopeful).any()


@pytest.mark.parametrize("hidden", [False, True])
def test_one_of_the_two_new_links_is_the_one_that_was_drawn(hidden):
    order, moves, link, _ = drawn_moves(hidden)
    place = order._place(None)
    enters, leaves = place.into[moves.first], place.out[moves.last]
    head, foot = np.where(moves.turned, leaves, enters), np.where(moves.turned, enters, leaves)
    new = np.stack((order.excess(place.out[moves.left], head), order.excess(foot, place.into[moves.left + 1])))
    marks = (order._order[moves.left] >= order._first_mark) | (order._order[moves.left + 1] >= order._first_mark)
    elsewhere = (moves.left < moves.first - 1) | (moves.left > moves.last)
    assert (np.abs(new - link).min(axis=0) < 1e-6)[elsewhere & ~marks].all()


@pytest.mark.parametrize("hidden", [False, True])
def test_links_are_drawn_to_the_ends_with_least_excess(hidden):
    """Among all ends of the legs of other crosses nearby, held against every end of the chart."""
    order, *_ = drawn_moves(hidden, share=0.1)
    ends = order.hole[: 2 * order._count]
    near, costs = (part.reshape(-1, _ENDS) for part in order._nearest_ends())
    linked = 0
    for end in range(0, ends.size, 7):
        excess = order.excess(np.full(ends.size, ends[end]), ends).astype(float)
        excess[[end, end ^ 1]] = PRICE
        least = np.sort(excess[excess < PRICE])[:_ENDS]
        if not least.size:
            continue
        linked += 1
        found = np.unique(near[end])
        assert (found >> 1 != end >> 1).all()
        assert found.size == least.size
        assert np.allclose(costs[end], excess[near[end]])
        # The nearest crosses are nearly always those with the least excess.
        assert excess[found].mean() <= least.mean() + 0.5
    assert linked > 20
