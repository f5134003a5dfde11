"""Ends and links that come of the strokes' thickness: by hand, and against the definition on random networks."""

from __future__ import annotations

import numpy as np
import pytest
from helpers import slow_pruning

from converter.outline.graph import Curve, CurveNetwork, straight_runs
from converter.outline.network import _order_runs
from converter.outline.pruning import contract_links, prune_spurs
from converter.outline.web import Least, Web


def random_network(seed: int) -> CurveNetwork:
    """Nodes close together, and bent curves between neighbours among them, loops and closed curves too."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(4, 40))
    nodes = list(rng.uniform(0, 1.2 * np.sqrt(count), (count, 2)))
    curves = []
    for _ in range(int(rng.integers(count, 3 * count))):
        start = int(rng.integers(count))
        near = np.argsort(np.hypot(*(np.array(nodes) - nodes[start]).T))
        end = int(near[min(int(rng.geometric(0.4)) - (rng.random() < 0.05), count - 1)])
        steps = int(rng.integers(3, 9))
        along = np.linspace(0, 1, steps)[:, None]
        bend = np.sin(np.pi * along) * rng.normal(0, 0.4, 2)
        points = nodes[start] + along * (nodes[end] - nodes[start]) + bend
        curves.append(Curve(points, start, end, float(rng.random())))
    for _ in range(2):
        turn = np.linspace(0, 2 * np.pi, 12)[:, None]
        curves.insert(int(rng.integers(len(curves))), Curve(np.hstack([np.sin(turn), np.cos(turn)])))
    return CurveNetwork(nodes, curves)


def copied(network: CurveNetwork) -> CurveNetwork:
    return CurveNetwork(list(network.nodes), list(network.curves))


def assert_same(one: CurveNetwork, other: CurveNetwork) -> None:
    assert len(one.nodes) == len(other.nodes) and len(one.curves) == len(other.curves)
    assert all(np.array_equal(a, b) for a, b in zip(one.nodes, other.nodes, strict=True))
    for a, b in zip(one.curves, other.curves, strict=True):
        assert (a.start, a.end, a.weight) == (b.start, b.end, b.weight) and np.array_equal(a.points, b.points)


@pytest.mark.parametrize("seed", range(60))
def test_links_are_merged_as_defined(seed: int) -> None:
    network = random_network(seed)
    for limit, half_pen in ((0.4, 0.0), (0.6, 0.3), (1.0, 0.5)):
        assert_same(
            contract_links(copied(network), limit, half_pen), slow_pruning.contract_links(network, limit, half_pen)
        )


@pytest.mark.parametrize("seed", range(60))
def test_spurs_are_pruned_as_defined(seed: int) -> None:
    network = random_network(seed)
    limits = np.random.default_rng(seed).uniform(0.3, 1.5, len(network.nodes)).tolist()

    def depth(points):
        return np.full(len(points), 0.4) + 0.2 * np.sin(points[:, 0])

    for half_pen, inside in ((0.0, None), (0.3, None), (0.4, depth)):
        found = prune_spurs(copied(network), limits, half_pen, inside)
        assert_same(found, slow_pruning.prune_spurs(copied(network), limits, half_pen, inside))


def test_the_networks_have_something_to_merge_and_to_prune() -> None:
    merged = [
        len(random_network(s).curves) - len(contract_links(random_network(s), 0.6, 0.3).curves) for s in range(60)
    ]
    assert np.mean(np.array(merged) > 2) > 0.5
    pruned = []
    for seed in range(60):
        network = random_network(seed)
        pruned.append(len(network.curves) - len(prune_spurs(network, [1.5] * len(network.nodes), 0.3).curves))
    assert np.mean(np.array(pruned) > 2) > 0.2


def test_a_large_mesh_costs_no_more_a_curve_than_a_small_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """A picture of dots or hatching has thousands of crossings: what is looked at grows with them, not faster."""
    looked_at = []
    original = Web.degree
    monkeypatch.setattr(Web, "degree", lambda self, node: looked_at.append(node) or original(self, node))
    shares = []
    for side in (8, 32):
        nodes = [np.array([r, c], float) for r in range(side) for c in range(side)]
        curves = []
        for r in range(side):
            for c in range(side):
                here = r * side + c
                # Of each third column the links are short.
                if c + 1 < side:
                    bow = 0.0 if c % 3 == 0 else 1.5
                    middle = (nodes[here] + nodes[here + 1]) / 2 + [bow, 0]
                    curves.append(Curve(np.array([nodes[here], middle, nodes[here + 1]]), here, here + 1))
                if r + 1 < side:
                    far = (nodes[here] + nodes[here + side]) / 2 + [0, 1.5]
                    curves.append(Curve(np.array([nodes[here], far, nodes[here + side]]), here, here + side))
        looked_at.clear()
        found = contract_links(CurveNetwork(nodes, curves), 1.1)
        assert 0.1 < 1 - len(found.curves) / len(curves) < 0.3
        shares.append(len(looked_at) / len(curves))
    assert shares[1] < 1.5 * shares[0]


@pytest.mark.parametrize("seed", range(20))
def test_runs_are_ordered_as_defined(seed: int) -> None:
    """Of those that wait for none the longest; if all wait the longest of all."""
    network = random_network(seed)
    runs = straight_runs(network)
    through: dict[int, list[int]] = {}
    for index, run in enumerate(runs):
        for node in run.nodes if run.closed else run.nodes[1:-1]:
            through.setdefault(node, []).append(index)
    awaited = {}
    for index, run in enumerate(runs):
        ends = (run.nodes[0], run.nodes[-1]) if run.nodes and not run.closed else ()
        awaited[index] = {other for node in ends for other in through.get(node, ())} - {index}
    order = []
    while awaited:
        ready = [index for index, others in awaited.items() if not others] or list(awaited)
        order.append(min(ready, key=lambda index: (-round(runs[index].length, 3), index)))
        del awaited[order[-1]]
        for others in awaited.values():
            others.discard(order[-1])
    assert _order_runs(runs, through) == order


def test_curves_by_number_and_node() -> None:
    points = np.zeros((2, 2))
    web = Web(
        CurveNetwork([np.zeros(2)] * 4, [Curve(points, 0, 1), Curve(points, 1, 1), Curve(points), Curve(points, 2, 1)])
    )
    assert list(web) == [0, 1, 2, 3] and web.at(1) == [0, 1, 3] and web.at(3) == []
    assert [web.degree(node) for node in range(4)] == [1, 4, 1, 0]
    assert web.around([0]) == [0, 1, 3] and web.around([2]) == [] and web.around(nodes=[2]) == [3]
    assert web.take(1).end == 1 and web.degree(1) == 2 and 1 not in web and web.around([1]) == []
    web.put(0, Curve(points, 3, 2))
    assert web.at(0) == [] and web.at(2) == [0, 3] and [c.start for c in web.network().curves] == [3, -1, 2]


def test_the_least_comes_first_and_the_first_of_equals() -> None:
    web = Web(CurveNetwork([], [Curve(np.zeros((2, 2)))] * 5))
    values = Least()
    for number, value in ((3, 2.0), (1, 1.0), (2, 1.0), (4, 0.5), (0, 3.0)):
        values.put(number, (value, number + 10))
    values.put(4, None)
    values.put(3, (0.7, 9))
    values.put(3, (0.7, 9))
    web.take(2)
    assert [values.pop(web) for _ in range(4)] == [(3, 9), (1, 11), (0, 10), None]
