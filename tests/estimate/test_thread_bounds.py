"""The sharper lower bounds of the bench against the true optimum of small charts, found by trying every order."""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from helpers.route_optimum import optimum

sys.path.append(str(Path(__file__).parents[2] / "scripts"))
from thread_bounds import _Moves, _out_of_turn, leg_bound, tile_bound, turn_bound

from converter.estimate.route_geometry import Crosses


@pytest.mark.parametrize("seed", range(8))
def test_no_bound_is_above_the_optimum(seed):
    rng = np.random.default_rng(700 + seed)
    rows, cols = 4, 9
    cells = np.zeros(rows * cols, dtype=bool)
    cells[rng.permutation(rows * cols)[: int(rng.integers(3, 6))]] = True
    cells = cells.reshape(rows, cols)
    best = optimum(cells, 25.0, 3.5)
    turn = turn_bound(cells, 4.0)
    assert best - 1e-3 <= turn <= best + 1e-5
    # Tiles of five columns, of three, and the whole chart at once, at several shares of the price of a start.
    for side, price in ((5, 2.5), (3, 2.5), (9, 2.5), (5, 49.0), (5, 0.5)):
        assert tile_bound(cells, side, price) <= best + 1e-5
    assert leg_bound(cells, 40) <= best + 1e-5


def test_turning_back_is_seen_by_the_sharper_bounds():
    """Three crosses in a line two apart: one may be finished on the way back, which the plain bound does not count."""
    cells = np.zeros((5, 9), dtype=bool)
    cells[[0, 2, 4, 2], [0, 3, 0, 7]] = True
    best = optimum(cells, 25.0, 3.5)
    turn = turn_bound(cells, 4.0)
    assert turn <= best + 1e-5
    assert turn >= 0.97 * best
    assert tile_bound(cells, 9) <= turn + 1e-3 * turn


def test_lengths_that_wait_for_each_other_are_no_plan():
    """Lengths 2b 0b 1t | 1b 0t 2t: each has to come before the other, which the rows against it say."""
    cells = np.zeros((3, 7), dtype=bool)
    cells[[0, 0, 2], [0, 2, 1]] = True
    table = _Moves.of(Crosses.of(cells))
    legs = table.pairs >> 1
    paths = [[4, 0, 3], [2, 1, 5]]

    def moves_of(paths):
        taken = np.zeros(table.size, dtype=bool)
        for out, into in [step for path in paths for step in pairwise(path)]:
            taken[np.flatnonzero((legs == (out, into)).all(axis=1))[0]] = True
        return taken

    rows = _out_of_turn(table, paths)
    assert rows
    assert all(row @ moves_of(paths) < least for row, least in rows)
    good = moves_of([[4, 0, 2], [3, 1, 5]])
    assert all(row @ good >= least for row, least in rows)
    assert not _out_of_turn(table, [[4, 0, 2], [3, 1, 5]])


def test_lengths_that_cannot_hold_all_thread_ask_for_one_more():
    """One row with a cross more than a length holds: the sum over all moves asks for a second start."""
    cells = np.zeros((1, 43), dtype=bool)
    cells[0, :] = True
    # 43 crosses take 43 * (2 sqrt 2 + 2) - 1 sides in one length of 202: one more than fits.
    assert turn_bound(cells, 2.0) >= 43 * (8**0.5 + 2) - 2 + 100 - 1e-5
