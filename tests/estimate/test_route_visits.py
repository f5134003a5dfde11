"""Orders of visits of groups of scattered crosses: legal, never longer, and the optimum where it is known."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.route_optimum import optimum

from converter.estimate.route_anneal import LegOrder
from converter.estimate.route_cut import choose_directions, move_table, taken_moves
from converter.estimate.route_geometry import ROOT2, Crosses, MoveRules
from converter.estimate.route_links import Links
from converter.estimate.route_visits import shorter_orders

PRICE = 49.0


def scattered(rng, side, count):
    cells = np.zeros(side * side, dtype=bool)
    cells[rng.permutation(side * side)[:count]] = True
    return cells.reshape(side, side)


def taken(cells, legs, hidden=False):
    """Excess of an order, a move that cannot be made or is too dear as a new start."""
    table = move_table(Crosses.of(cells), MoveRules(cells, 3.5, hidden), legs)
    moves = np.minimum(taken_moves(table, choose_directions(table, PRICE + 1)), PRICE + 1)
    return float(moves.sum()) - moves.size


def shortened(charts, tries, hidden=False):
    """Orders of several charts at once, from each cross finished in reading order."""
    orders, holes = [], []
    side = max(chart.shape[0] for chart in charts)
    whole = np.zeros((side, sum(chart.shape[1] + 9 for chart in charts)), dtype=bool)
    at = 0
    for chart in charts:
        whole[: chart.shape[0], at : at + chart.shape[1]] = chart
        at += chart.shape[1] + 9
    links = Links(Crosses.of(whole, pad=7), MoveRules(whole, 3.5, hidden), PRICE)
    every = np.arange(2 * links.crosses.count)
    order = LegOrder(links, [every], np.zeros(every.size, dtype=np.int64), PRICE)
    at = 0
    for chart in charts:
        inside = (links.crosses.col >= at) & (links.crosses.col < at + chart.shape[1])
        members = np.flatnonzero(inside)
        holes.append(order.leg_holes()[np.stack((2 * members, 2 * members + 1), axis=1).ravel()])
        orders.append(np.arange(2 * members.size))
        at += chart.shape[1] + 9
    return shorter_orders(orders, holes, order.excess, PRICE, tries, (5.0, 0.5))


@pytest.mark.parametrize("hidden", [False, True])
def test_orders_are_legal_and_never_longer(hidden):
    rng = np.random.default_rng(31)
    charts = [scattered(rng, 14, count) for count in (9, 14, 20)]
    for chart, legs in zip(charts, shortened(charts, 150, hidden), strict=True):
        assert sorted(legs.tolist()) == list(range(2 * int(chart.sum())))
        place = np.argsort(legs)
        assert (place[0::2] < place[1::2]).all(), "bottom legs come first"
        assert taken(chart, legs, hidden) <= taken(chart, np.arange(legs.size), hidden) + 1e-3
    shorter = shortened(charts, 150, hidden)
    assert sum(taken(c, o, hidden) for c, o in zip(charts, shorter, strict=True)) < sum(
        taken(c, np.arange(o.size), hidden) for c, o in zip(charts, shorter, strict=True)
    )


def test_small_groups_come_to_their_optimum():
    rng = np.random.default_rng(32)
    charts = [scattered(rng, 7, 5) for _ in range(8)]
    found = 0
    for chart, legs in zip(charts, shortened(charts, 4000), strict=True):
        total = 2 * ROOT2 * 5 + 2 * 5 + PRICE + taken(chart, legs)
        best = optimum(chart, 25.0, 3.5)
        assert total >= best - 1e-4
        found += total <= best + 1e-3
    assert found >= 7


def test_same_orders_again():
    charts = [scattered(np.random.default_rng(33), 12, 12)]
    assert shortened(charts, 60)[0].tolist() == shortened(charts, 60)[0].tolist()
