"""How the working orders are put together: shares of the tries, groups, lengths merged, filled and cut."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from converter.estimate import route_least
from converter.estimate.route_anneal import LegOrder
from converter.estimate.route_bound import thread_bound
from converter.estimate.route_cut import choose_directions, move_table, taken_moves
from converter.estimate.route_geometry import Crosses, MoveRules
from converter.estimate.route_least import (
    _cost,
    _filled,
    _heats,
    _merged,
    _most_tries,
    _regrouped,
    _shorter_by_group,
    _worked,
    cut_order,
    least_lengths,
)
from converter.estimate.route_links import Links
from converter.estimate.route_search import share_of_tries
from converter.estimate.route_tree import SideGraph
from converter.estimate.route_work import _best_filling, closed_lengths

PRICE = 49.0
ROOT2 = math.sqrt(2)


def links_of(cells, hidden=False, price=PRICE):
    return Links(Crosses.of(cells, 7), MoveRules(cells, 3.5, hidden), price)


def moves_of(links, legs):
    legs = np.asarray(legs)
    table = move_table(links.crosses, links.rules, legs)
    return taken_moves(table, choose_directions(table, links.price + 1))


def clusters(rng, count, size, apart=12):
    """Groups of scattered crosses, each in a square of its own, too far from one another for a carry."""
    side = math.ceil(math.sqrt(3 * size))
    cells = np.zeros((side, count * (side + apart)), dtype=bool)
    group = []
    for k in range(count):
        at = rng.permutation(side * side)[:size]
        cells[at // side, k * (side + apart) + at % side] = True
    index = Crosses.of(cells, 7)
    group = index.col // (side + apart)
    return cells, group


def random_legs(rng, count):
    """Crosses in any order, the two legs of each at any place in turn."""
    visits = rng.permutation(np.repeat(np.arange(count), 2))
    seen = np.zeros(count, dtype=int)
    legs = []
    for cross in visits.tolist():
        legs.append(2 * cross + seen[cross])
        seen[cross] += 1
    return np.array(legs)


@pytest.mark.parametrize(
    ("crosses", "share"), [(1, 1.0), (5000, 1.0), (5001, 0.9997), (10_000, 0.3536), (20_000, 0.125), (500_000, 0.001)]
)
def test_large_charts_get_fewer_tries(crosses, share):
    """As one and a half times the power of their size."""
    assert share_of_tries(crosses) == pytest.approx(share, abs=1e-4) and _most_tries(crosses) == int(
        2500 * share_of_tries(crosses)
    )


@pytest.mark.parametrize(
    ("legs", "apart", "faulty", "hot"),
    [(2002, 0, 0.4, 0.7), (2002, 0, 0.5, 10.0), (2002, 501, 0.4, 10.0), (2000, 0, 0.4, 10.0), (2002, 0, 0.2, 0.7),
     (200, 0, 0.2, 0.7), (200, 0, 0.3, 10.0), (2002, 0, 0.09, 0.25), (200, 0, 0.09, 0.25)],
)  # fmt: skip
def test_how_hot_a_search_begins(legs, apart, faulty, hot):
    """Hot where many moves have an excess, but for large charts most of whose crosses are in one group."""
    group = np.zeros(legs // 2, dtype=int)
    group[:apart] = np.arange(1, apart + 1)
    assert _heats(legs, group, int(np.ceil(faulty * legs)))[3] == hot


def test_directions_and_moves_of_an_order():
    rng = np.random.default_rng(1)
    links = links_of(rng.random((6, 6)) < 0.5)
    legs = random_legs(rng, links.crosses.count)
    ends, moves = _worked(links, legs)
    table = move_table(links.crosses, links.rules, legs)
    assert moves == pytest.approx(moves_of(links, legs)) and moves.size == legs.size - 1
    assert ends[legs].tolist() == choose_directions(table, PRICE + 1).tolist()


def test_what_lengths_cost():
    """Back moves less one for each leg, and a start for each length."""
    links = links_of(np.ones((1, 4), dtype=bool))
    row = np.array([0, 1, 2, 3, 4, 5, 6, 7])
    # Cross by cross: the leg ends at the upper side of one, the next begins one or root two away.
    whole = moves_of(links, row).sum() - 8 + PRICE + 1
    assert _cost(links, [row]) == pytest.approx(whole)
    parts = [row[:4], row[4:]]
    assert _cost(links, parts) == pytest.approx(sum(moves_of(links, p).sum() - 4 for p in parts) + 2 * (PRICE + 1))
    assert _cost(links, parts) > _cost(links, [row])


def test_neighbours_with_the_least_thread_are_put_together():
    lengths = [np.array([k]) for k in range(5)]
    load, broken = [5.0, 1.0, 3.0, 2.0, 9.0], [False, False, False, False]

    def merged(fewest, broken=broken):
        return [part.tolist() for part in _merged(lengths, load, broken, fewest)]

    assert merged(5) == [[0], [1], [2], [3], [4]]
    assert merged(4) == [[0], [1, 2], [3], [4]]
    assert merged(3) == [[0], [1, 2, 3], [4]]
    assert merged(2) == [[0, 1, 2, 3], [4]]
    assert merged(1) == [[0, 1, 2, 3, 4]]
    # Where no move joins them they come last.
    assert merged(4, [False, True, False, False]) == [[0], [1], [2, 3], [4]]
    assert merged(3, [False, True, False, False]) == [[0, 1], [2, 3], [4]]
    assert merged(2, [False, True, False, False]) == [[0, 1], [2, 3, 4]]
    assert load == [5.0, 1.0, 3.0, 2.0, 9.0] and len(lengths) == 5
    # However long the others are, as lengths of a usual working length go.
    found = _merged(lengths[:4], [150.0, 150.0, 1.0, 1.0], [False, True, False], 2)
    assert [part.tolist() for part in found] == [[0, 1], [2, 3]]


@pytest.mark.parametrize("seed", range(4))
def test_each_group_takes_the_shorter_of_two_orders(seed):
    rng = np.random.default_rng(seed)
    cells, group = clusters(rng, 4, 5)
    links = links_of(cells)
    one, two = (random_legs(rng, links.crosses.count) for _ in range(2))
    found = _shorter_by_group(links, one, two, group)

    def excess(legs, k):
        part = legs[group[legs >> 1] == k]
        return np.minimum(moves_of(links, part) - 1, PRICE).sum()

    def inside(legs, k):
        # The ends of the legs are chosen for the whole order at once.
        legs = legs[np.argsort(group[legs >> 1], kind="stable")]
        belongs = group[legs >> 1]
        same = (belongs[1:] == k) & (belongs[:-1] == k)
        return np.minimum(moves_of(links, legs) - 1, PRICE)[same].sum()

    assert np.array_equal(group[found >> 1], np.sort(group[found >> 1]))
    for k in range(4):
        parts = [legs[group[legs >> 1] == k] for legs in (one, two)]
        better = parts[1] if inside(two, k) < inside(one, k) - 1e-6 else parts[0]
        assert np.array_equal(found[group[found >> 1] == k], better)
        assert excess(found, k) <= max(excess(one, k), excess(two, k)) + 1e-6
    assert np.array_equal(_shorter_by_group(links, one, one, group), one[np.argsort(group[one >> 1], kind="stable")])


def scattered_order(sizes, seed=1, hidden=False):
    """Groups of these sizes, legs in any order, and what annealing knows of them."""
    rng = np.random.default_rng(seed)
    parts = [clusters(rng, 1, size)[0] for size in sizes]
    height, apart = max(part.shape[0] for part in parts), 6
    cells = np.zeros((height, sum(part.shape[1] for part in parts) + apart * len(parts)), dtype=bool)
    left, ends = 0, []
    for part in parts:
        cells[: part.shape[0], left : left + part.shape[1]] = part
        left += part.shape[1] + apart
        ends.append(left)
    links = links_of(cells, hidden)
    group = np.searchsorted(np.array(ends), links.crosses.col, side="right")
    legs = random_legs(rng, links.crosses.count)
    legs = legs[np.argsort(group[legs >> 1], kind="stable")]
    ends, _ = _worked(links, legs)
    return links, LegOrder(links, [legs], ends, PRICE), legs, group


def test_which_groups_are_worked_again(monkeypatch):
    """Of a dozen to 95 crosses, in several lengths, those of a like size together; the larger the fewer tries."""
    seen = []

    def find(orders, holes, excess, price, tries, heats):
        seen.append((sorted(order.size // 2 for order in orders), tries))
        assert price == PRICE and heats == (5.0, 0.5)
        assert all(sorted(order.tolist()) == list(range(order.size)) for order in orders)
        assert all(part.shape == (order.size, 2) for part, order in zip(holes, orders, strict=True))
        return orders

    monkeypatch.setattr(route_least, "shorter_orders", find)
    links, order, legs, group = scattered_order((11, 12, 23, 24, 47, 48, 95, 96))
    before = legs.copy()
    assert np.array_equal(_regrouped(links, order, legs, group), before)
    crosses = 12 + 23 + 24 + 47 + 48 + 95
    tries = min(4000, 1_700_000 / (2 * crosses))
    assert seen == [([12, 23], int(tries)), ([24, 47], int(tries * 40 / 47)), ([48, 95], int(tries * 40 / 95))]
    # With carries to hide there is time for 0.15 of that; fewer than 400 are none.
    seen.clear()
    links, order, legs, group = scattered_order((30, 30), hidden=True)
    _regrouped(links, order, legs, group)
    assert [tries for _, tries in seen] == [int(1_700_000 * 0.15 / 120)]
    seen.clear()
    monkeypatch.setattr(route_least, "_GROUP_TRIES", 400 * 120 / 0.15 - 1)
    _regrouped(links, order, legs, group)
    assert seen == []
    # A group in one length stays.
    monkeypatch.setattr(route_least, "_GROUP_TRIES", 1_700_000)
    links = links_of(np.ones((4, 5), dtype=bool))
    row = np.arange(40)
    joined = LegOrder(links, [row], _worked(links, row)[0], PRICE)
    _regrouped(links, joined, row, np.zeros(20, dtype=int))
    assert seen == []


def test_groups_worked_again_take_less_thread(monkeypatch):
    monkeypatch.setattr(route_least, "_GROUP_TRIES", 60_000)
    links, order, legs, group = scattered_order((12, 20), seed=3)
    before = moves_of(links, legs)
    made = _regrouped(links, order, legs.copy(), group)
    assert sorted(made.tolist()) == list(range(64)) and np.array_equal(group[made >> 1], group[legs >> 1])
    place = np.argsort(made)
    assert (place[::2] < place[1::2]).all()
    assert np.minimum(moves_of(links, made), PRICE + 1).sum() < 0.8 * np.minimum(before, PRICE + 1).sum()


@pytest.mark.parametrize("capacity", [30.0, 80.0])
def test_an_order_is_cut_where_it_is_cheapest(capacity):
    rng = np.random.default_rng(5)
    links = links_of(rng.random((7, 8)) < 0.5)
    legs = random_legs(rng, links.crosses.count)
    parts = cut_order(links, legs, capacity)
    assert np.concatenate(parts).tolist() == legs.tolist() and all(part.size for part in parts)
    for part in parts:
        assert moves_of(links, part).sum() + (1 + ROOT2) * part.size - part.size <= capacity + 1e-6 or part.size == 1
    assert len(cut_order(links_of(np.ones((3, 3), bool)), np.arange(18), 1e6)) == 1


def test_lengths_are_filled_only_if_that_saves_thread():
    """A row of crosses in three lengths of which each could hold half of it: two are enough."""
    links = links_of(np.ones((1, 12), dtype=bool))
    legs = np.arange(24)
    parts = [legs[:8], legs[8:16], legs[16:]]
    capacity = (1 + ROOT2) * 12 + 8
    made = _filled(links, parts, capacity, 40_000)
    assert len(made) == 2 and _cost(links, made) < _cost(links, parts)
    assert sorted(np.concatenate(made).tolist()) == legs.tolist()
    # Where they are full, or most ends are too far apart, they stay as they are.
    full = _filled(links, parts, (1 + ROOT2) * 8 + 4, 40_000)
    assert full is parts
    cells = np.zeros((1, 60), dtype=bool)
    cells[0, [0, 1, 25, 26, 50, 51]] = True
    far = links_of(cells)
    apart = [np.arange(4), np.arange(4, 8), np.arange(8, 12)]
    assert _filled(far, apart, 100.0, 4000) is apart


def filler_of(costs, fewest):
    """A filler that charges so much by the first stop."""

    def fill(order):
        length, excess = costs[order[0], order[1]]
        return [list(order)] * length, excess

    return SimpleNamespace(fill=fill, fewest=lambda stops: fewest, links=SimpleNamespace(price=10.0))


def test_first_stops_are_tried_until_the_fewest_lengths_do():
    stops = [0, 1, 2, 3]
    costs = {(0, 1): (3, 1.0), (3, 2): (3, 0.5), (1, 2): (3, 2.0), (0, 3): (2, 9.0), (2, 3): (2, 0.0)}
    costs |= {(1, 0): (3, 5.0), (3, 0): (3, 5.0), (2, 1): (3, 0.1)}
    found = _best_filling(filler_of(costs, 2), stops, 1, 100.0)
    # Ahead, back, then from the second stop: two lengths, at which the search ends.
    assert found[0] == 29.0 and len(found[1]) == 2
    assert _best_filling(filler_of(costs, 2), stops, 3, 100.0)[0] == 31.0
    # Only one stop is tried with so few turns.
    assert _best_filling(filler_of(costs, 2), stops, 1, 4.0)[0] == 30.5
    assert _best_filling(filler_of(costs, 1), stops, 1, 16.0)[0] == 20.0


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize(("seed", "share"), [(1, 0.2), (2, 0.5), (3, 0.85)])
def test_both_orders_hold_every_leg_within_the_capacity(monkeypatch, seed, share, hidden):
    few = {"_MOST_LEG_TRIES": 300_000, "_HIDDEN_LEG_TRIES": 45_000, "_FEW_LEG_TRIES": 30_000, "_GROUP_TRIES": 60_000}
    for name, tries in few.items():
        monkeypatch.setattr(route_least, name, tries)
    rng = np.random.default_rng(seed)
    cells = rng.random((10, 12)) < share
    links = links_of(cells, hidden)
    sides = SideGraph.of(links.crosses)
    capacity = 60.0
    bound = thread_bound(links.crosses, sides, links.rules, 600.0, 25.0)
    for legs, starts in (least_lengths(links, sides, capacity, bound), closed_lengths(links, capacity, 1, 0.3)):
        assert sorted(legs.tolist()) == list(range(2 * links.crosses.count)) and starts[0] == 0
        place = np.argsort(legs)
        assert (place[::2] < place[1::2]).all()
        for first, last in zip(starts, [*starts[1:], legs.size], strict=True):
            part = legs[first:last]
            moves = moves_of(links, part)
            assert (moves <= 3.5 + 1e-6).all()
            assert moves.sum() + ROOT2 * part.size <= capacity + 1e-6
