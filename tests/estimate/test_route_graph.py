"""Spanning forests and near holes, against SciPy's graph and tree routines."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from converter.estimate.line_figures import close_pairs, nearest
from converter.estimate.route_geometry import Crosses
from converter.estimate.route_graph import spanning_forest
from converter.estimate.route_tree import SideGraph, TreeWalk


@pytest.mark.parametrize(("count", "edges"), [(1, 0), (4, 2), (30, 25), (200, 260), (900, 5000)])
def test_forest_weighs_what_scipys_does(count, edges):
    rng = np.random.default_rng(count)
    pairs = np.unique(np.sort(rng.integers(0, count, (edges, 2)), axis=1), axis=0)
    pairs = pairs[pairs[:, 0] < pairs[:, 1]]
    weight = rng.integers(1, 6, len(pairs)).astype(float)
    graph = sparse.csr_matrix((weight, (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    taken, part = spanning_forest(count, pairs[:, 0], pairs[:, 1], weight)
    expected = csgraph.minimum_spanning_tree(graph)
    assert weight[taken].sum() == expected.data.sum() and taken.size == expected.nnz
    # Numbered alike: each part by its first node.
    assert part.tolist() == csgraph.connected_components(graph, directed=False)[1].tolist()


def test_edges_of_weight_zero_join_too():
    taken, part = spanning_forest(3, np.array([0, 1]), np.array([1, 2]), np.zeros(2))
    assert taken.tolist() == [0, 1] and part.tolist() == [0, 0, 0]


def test_pieces_are_numbered_by_their_first_crosses():
    cells = np.random.default_rng(3).random((40, 31)) < 0.55
    crosses = Crosses.of(cells)
    sides = SideGraph.of(crosses)
    first = [int(np.flatnonzero(sides.piece == k)[0]) for k in range(sides.pieces)]
    assert first == sorted(first)
    for step in ((0, 1), (1, 0)):
        other = crosses.neighbour(step)
        assert (sides.piece[other >= 0] == sides.piece[other[other >= 0]]).all()


def test_trees_reach_every_cross_by_the_fewest_sides():
    cells = np.random.default_rng(4).random((25, 25)) < 0.7
    crosses = Crosses.of(cells)
    sides = SideGraph.of(crosses)
    entries = np.unique(sides.piece, return_index=True)[1]
    walk = TreeWalk(crosses, entries)
    rows, cols = [], []
    for step in ((0, 1), (1, 0)):
        other = crosses.neighbour(step)
        rows += np.flatnonzero(other >= 0).tolist()
        cols += other[other >= 0].tolist()
    graph = sparse.csr_matrix((np.ones(len(rows)), (rows, cols)), shape=(crosses.count, crosses.count))
    shortest = csgraph.shortest_path(graph, directed=False, unweighted=True, indices=entries).min(axis=0)
    for cross in range(crosses.count):
        assert len(walk.branch(int(entries[sides.piece[cross]]), cross)) - 1 == shortest[cross]


def test_near_holes_are_those_of_scipys_tree():
    rng = np.random.default_rng(6)
    points, others = rng.integers(0, 60, (300, 2)) / 2.0, rng.integers(0, 60, (120, 2)) / 2.0
    assert nearest(points, others) == pytest.approx(cKDTree(others).query(points)[0])
    one, two, span = close_pairs(points, 3.5)
    found = {(min(a, b), max(a, b)) for a, b in zip(one.tolist(), two.tolist(), strict=True)}
    assert len(found) == one.size and found == cKDTree(points).query_pairs(3.5)
    assert span == pytest.approx(np.linalg.norm(points[one] - points[two], axis=1))


def test_planning_loads_neither_scipy_nor_scikit_image():
    code = (
        "import sys, numpy as np; from converter.estimate.thread import plan_chart, slow_notes; "
        "from converter.model.chart import Chart; "
        "cells = np.random.default_rng(1).random((40, 40)) < 0.4; "
        "chart = Chart(cells, np.array([[[0, 0], [0, 1]], [[9, 9], [9, 10]]], dtype=float)); "
        "plan_chart(chart); slow_notes(chart); "
        "print([name for name in ('scipy', 'skimage') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
