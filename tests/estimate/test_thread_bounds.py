"""The sharper lower bounds of the bench against the true optimum of small charts, found by trying every order."""

from __future__ import annotations

import sys
from collections import deque
from itertools import pairwise, product
from math import dist, inf, sqrt
from pathlib import Path

import numpy as np
import pytest
from helpers.route_optimum import fewest_lengths, least_excess, optimum

sys.path.append(str(Path(__file__).parents[2] / "scripts"))
from thread_bounds import (
    _Moves,
    _out_of_turn,
    _passing,
    closed_bound,
    dead_ends,
    double_bound,
    leg_bound,
    tile_bound,
    turn_bound,
)

from converter.estimate.line_figures import figure_gaps, line_figures
from converter.estimate.line_group import DoubleGroup
from converter.estimate.line_route import plan_line_thread
from converter.estimate.route import plan_thread
from converter.estimate.route_bound import thread_bound
from converter.estimate.route_geometry import Crosses, MoveRules
from converter.estimate.route_tree import SideGraph


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


def optimum_in_lengths(cells, capacity, tail, carry):
    """Return the least thread of all orders in lengths that hold so much between their tails, tried in full."""
    crosses = [tuple(map(int, at)) for at in np.argwhere(cells)]
    legs = [(((r + 1, c), (r, c + 1)), ((r, c), (r + 1, c + 1))) for r, c in crosses]
    states = {(0,) * len(crosses): {(None, inf): 0.0}}
    for _ in range(2 * len(crosses)):
        ahead = {}
        for done, ends in states.items():
            for k, worked in enumerate(done):
                if worked == 2:
                    continue
                target = ahead.setdefault((*done[:k], worked + 1, *done[k + 1 :]), {})
                for up, down in (legs[k][worked], legs[k][worked][::-1]):
                    for (at, used), cost in ends.items():
                        ways = [(cost + 2 * tail + sqrt(2), sqrt(2))]
                        move = inf if at is None else dist(at, up)
                        if 1 <= move <= carry and used + move + sqrt(2) <= capacity + 1e-9:
                            ways.append((cost + move + sqrt(2), used + move + sqrt(2)))
                        for total, held in ways:
                            key = down, round(held, 6)
                            target[key] = min(target.get(key, inf), total)
        states = ahead
    return min(states[(2,) * len(crosses)].values())


def test_lengths_that_cannot_hold_the_excess_of_their_moves_are_too_few(monkeypatch):
    sharper = 0
    for seed in range(12):
        rng = np.random.default_rng(740 + seed)
        cells = np.zeros(40, dtype=bool)
        cells[rng.permutation(40)[:4]] = True
        cells = cells.reshape(5, 8)
        room = 2 * sqrt(2) * 4 + 7 + float(rng.choice([0.5, 1.0, 2.0]))
        monkeypatch.setattr("thread_bounds.LENGTH", room + 50)
        best = optimum_in_lengths(cells, room, 25.0, 3.5)
        crosses = Crosses.of(cells)
        plain = thread_bound(crosses, SideGraph.of(crosses), MoveRules(cells, 3.5, False), room + 50, 25.0)
        for side, price in ((8, 2.5), (8, 0.5), (4, 2.5)):
            found = tile_bound(cells, side, price)
            assert plain.total - 1e-6 <= found <= best + 1e-5
            sharper += found > plain.total + 40
    assert sharper


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


CROSS, DETOUR = 8**0.5 + 2, 2**0.5 - 1
STEPS = ((0, 1), (1, 0), (0, -1), (-1, 0))
"""Thread of a cross with its two back moves, the least excess of a longer move, and steps to side neighbours."""


def star(arms, length):
    """Arms one cross wide that meet in a cross."""
    cells = np.zeros((2 * length + 1, 2 * length + 1), dtype=bool)
    middle = length
    for dr, dc in STEPS[:arms]:
        for k in range(length + 1):
            cells[middle + k * dr, middle + k * dc] = True
    return cells


@pytest.mark.parametrize(("count", "detours"), [(1, 0), (2, 0), (3, 0), (4, 1), (5, 1)])
def test_the_last_crosses_of_an_arm_come_free(count, detours):
    """Worked in passing: out on every other cross and back on those between, one change from one to the other."""
    window = np.zeros((count + 8, 13), dtype=np.int8)
    window[5] = 1
    window[6 : 6 + count, 6] = 2
    assert _passing(window) == pytest.approx(detours * DETOUR)


def test_an_arm_without_an_end_takes_a_detour():
    """Three arms and two ends: one arm is worked in passing, and no order does with less."""
    cells = star(3, 4)
    assert dead_ends(cells) == pytest.approx([DETOUR] * 3)
    starts, total = closed_bound(cells, 1000.0)
    assert starts == 1 and total == pytest.approx(CROSS * 13 - 1 + 50 + DETOUR)
    assert least_excess(cells, DETOUR) == pytest.approx(DETOUR)
    # As many lengths as there are dead ends need none: the price of a start is then what counts.
    starts, total = closed_bound(cells, 1000.0, tail=0.1)
    assert total <= CROSS * 13 - 1 + 0.2 + DETOUR + 1e-9


@pytest.mark.parametrize("seed", range(6))
def test_the_bound_of_orders_with_few_open_is_never_above_the_optimum(seed):
    """Stars of three arms, some of their crosses taken off and one put on anywhere."""
    rng = np.random.default_rng(800 + seed)
    cells = np.pad(star(3, 4), 1)
    for _ in range(int(rng.integers(2, 5))):
        ends = [at for at in np.argwhere(cells) if cells[tuple(np.add(at, STEPS).T)].sum() == 1]
        cells[tuple(ends[int(rng.integers(len(ends)))])] = False
    beside = [at for at in np.argwhere(~cells)[11:-11] if cells[tuple((np.add(at, STEPS) % 11).T)].any()]
    cells[tuple(beside[int(rng.integers(len(beside)))])] = True
    count = int(cells.sum())
    plan = plan_thread(cells, 1000.0, 25.0)
    known = plan.total - (CROSS * count - 1 + 50)
    starts, total = closed_bound(cells, 1000.0)
    assert starts == 1 and total <= CROSS * count - 1 + 50 + least_excess(cells, known) + 1e-6


@pytest.mark.parametrize("seed", range(4))
def test_no_order_of_small_pieces_has_fewer_starts_than_the_bound(seed):
    """Eleven crosses in lengths of five: the arms of a star, one cut short, and a cross beside one."""
    rng = np.random.default_rng(900 + seed)
    cells = np.pad(star(3, 3), 1)
    r, c = np.argwhere(cells)[int(rng.integers(10))]
    cells[r + 1, c] = True
    five = 5 * CROSS - 1 + 0.1
    starts, _ = closed_bound(cells, five + 50.0)
    assert starts <= fewest_lengths(cells, 5, five)


def fewest_double_lengths(lines, capacity, carry):
    """Fewest lengths of double running, by trying all: each line in front once, after it a pass behind or a carry."""
    pairs = [tuple(map(tuple, line.tolist())) for line in lines]
    holes = sorted({hole for pair in pairs for hole in pair})
    full = (1 << len(pairs)) - 1
    # Lines done in front and behind, where the thread is: fewest lengths and the least thread of the last one.
    best = {(0, 0, None): (0, 0.0)}
    layer = deque(best)
    while layer:
        front, behind, at = layer.popleft()
        count, used = best[front, behind, at]
        for k, pair in enumerate(pairs):
            if front >> k & 1:
                continue
            for up, down in (pair, pair[::-1]):
                moves = [
                    (pair[1 - pair.index(down)], behind | 1 << j)
                    for j, pair in enumerate(pairs)
                    if down in pair and not behind >> j & 1
                ]
                moves += [
                    (to, behind) for to in holes
                    if 0 < dist(down, to) <= carry and (down, to) not in pairs and (to, down) not in pairs
                ]  # fmt: skip
                begun = [(count + 1, 0.0)] + ([(count, used)] if up == at else [])
                for (to, after), (number, so_far) in product(moves, begun):
                    thread = so_far + dist(up, down) + dist(down, to)
                    key = front | 1 << k, after, to
                    if thread <= capacity + 1e-9 and (number, thread) < best.get(key, (inf, inf)):
                        if key not in best:
                            layer.append(key)
                        best[key] = number, thread
    # Lines are added one by one, so each state is left only after all ways to it.
    return min(value for (front, _, _), (value, _) in best.items() if front == full)


def scattered_figures(rng, count):
    """A few paths and hooks of unit lines near each other."""
    shapes = [[(0, 0), (0, 1)], [(0, 0), (0, 1), (0, 2)], [(0, 0), (1, 0), (1, 1)], [(0, 0), (1, 0), (2, 0), (2, 1)]]
    lines = set()
    while len({hole for line in lines for hole in line}) < count:
        shape = np.array(shapes[int(rng.integers(4))])
        if rng.random() < 0.5:
            shape = shape[:, ::-1]
        shape = shape + rng.integers(0, 7, 2)
        lines |= {tuple(sorted((a, b))) for a, b in pairwise(map(tuple, shape.tolist()))}
    return np.array(sorted(lines), dtype=float)


def test_the_bound_of_double_running_is_never_above_the_optimum():
    """Against all orders of a few lines; often it needs a start more than the plain bound, as the optimum does."""
    rng = np.random.default_rng(12)
    needed = sharper = 0
    for _ in range(120):
        lines = scattered_figures(rng, int(rng.integers(6, 9)))
        capacity = float(2 * rng.integers(2, 4)) + float(rng.choice([0.0, 0.5, 1.0]))
        if not 4 <= len(lines) <= 5:
            continue
        fewest = fewest_double_lengths(lines, capacity, 2.5)
        starts, thread = double_bound(lines, capacity + 10, 5.0, 2.5)
        plan = plan_line_thread(lines, "double", capacity + 10, 5.0, 2.5)
        assert starts <= fewest <= plan.starts
        assert plan.bound <= thread + 1e-9 <= plan.total + 2e-9
        figures = line_figures(lines)
        groups = [DoubleGroup([figures[k] for k in part], 2.5) for part in figure_gaps(figures, 2.5)[0]]
        plain = sum(group.least(capacity)[0] for group in groups)
        needed += plain < fewest
        sharper += plain < starts
    assert sharper >= 4 and sharper >= needed / 2
