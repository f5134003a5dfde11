"""The working order of crosses, checked by a checker that knows only the craft."""

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers.route_checker import ROOT2, check_cross_plan, runs_behind
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from converter.errors import RequestError, UsageError
from converter.estimate.route import plan_thread

LENGTH, TAIL, CARRY = 252.0, 25.0, 3.5


@st.composite
def small_grids(draw):
    rows, cols = draw(st.integers(1, 9)), draw(st.integers(1, 9))
    bits = draw(st.lists(st.booleans(), min_size=rows * cols, max_size=rows * cols))
    return np.array(bits, dtype=bool).reshape(rows, cols)


def grown_piece(rng, rows, cols, count):
    """One piece joined by sides, grown cell by cell: thin, full of holes and dead ends."""
    cells = np.zeros((rows, cols), dtype=bool)
    cells[rows // 2, cols // 2] = True
    while cells.sum() < count:
        edge = ndimage.binary_dilation(cells) & ~cells
        around = ndimage.convolve(cells.astype(int), np.array([[0, 1, 0], [1, 0, 1], [0, 1, 0]]), mode="constant")
        choices = np.argwhere(edge & (around <= rng.integers(1, 4)))
        if len(choices):
            cells[tuple(choices[rng.integers(len(choices))])] = True
    return cells


@pytest.mark.parametrize("order", ["closed", "least"])
@pytest.mark.parametrize("hidden", [False, True])
@settings(max_examples=25, deadline=None)
@given(
    cells=small_grids(),
    length=st.floats(10, 300),
    tail=st.floats(0, 3),
    carry=st.floats(1, 6),
)
def test_any_chart_gets_a_workable_plan(order, hidden, cells, length, tail, carry):
    plan = plan_thread(cells, length, tail, carry, hidden, order)
    check_cross_plan(plan, cells, length, tail, carry, hidden, order == "closed")


@pytest.mark.parametrize("order", ["closed", "least"])
def test_ten_crosses_in_a_row(order):
    # Th. de Dillmont, Encyclopedia of Needlework, fig. 253: out and back along a row, 2 sqrt(2) N in front and
    # 2 N - 1 behind.
    plan = plan_thread(np.ones((1, 10), dtype=bool), LENGTH, 0.0, CARRY, False, order)
    assert plan.front == pytest.approx(28.284, abs=5e-4)
    assert plan.back == 19
    assert plan.total == pytest.approx(47.284, abs=5e-4)
    assert plan.bound == pytest.approx(plan.total)


def test_least_order_of_a_row_goes_out_and_back():
    # Dillmont, fig. 253: all half crosses one way, the other halves on the way back.
    plan = plan_thread(np.ones((1, 8), dtype=bool), order="least")
    steps = np.diff(plan.lengths[0], axis=0)[::2]
    slants = (steps[:, 0] * steps[:, 1] < 0).tolist()
    assert slants == [True] * 8 + [False] * 8
    columns = plan.lengths[0][:, 1].reshape(-1, 2).min(axis=1)
    assert columns.tolist() == [*range(8), *range(7, -1, -1)]


@pytest.mark.parametrize("seed", range(12))
def test_one_piece_reaches_the_bound(seed):
    rng = np.random.default_rng(seed)
    cells = grown_piece(rng, 40, 40, int(rng.integers(1, 400)))
    plan = plan_thread(cells, order="least")
    check_cross_plan(plan, cells, LENGTH, TAIL, CARRY)
    count, per_length = int(cells.sum()), math.floor((LENGTH - 2 * TAIL + 1) / (1 + ROOT2))
    starts = -(-2 * count // per_length)
    expected = 2 * ROOT2 * count + 2 * count - starts + 2 * TAIL * starts
    assert plan.starts == starts
    assert plan.total == pytest.approx(expected)
    assert plan.bound == pytest.approx(expected)


@pytest.mark.parametrize("seed", range(8))
def test_closed_order_of_one_piece_is_close_to_the_bound(seed):
    rng = np.random.default_rng(100 + seed)
    cells = ndimage.gaussian_filter(rng.random((90, 90)), 5) > 0.5
    label, _ = ndimage.label(cells)
    cells = label == np.bincount(label.ravel())[1:].argmax() + 1
    plan = plan_thread(cells)
    starts, _, _ = check_cross_plan(plan, cells, LENGTH, TAIL, CARRY, closed=True)
    bound = plan_thread(cells, order="least")
    assert starts <= bound.starts + 1
    assert plan.total <= 1.004 * plan.bound


def test_hidden_carries_stay_behind_the_stitches():
    cells = np.random.default_rng(5).random((30, 30)) < 0.6
    plan = plan_thread(cells, carry=5.0, hidden=True)
    check_cross_plan(plan, cells, LENGTH, TAIL, 5.0, hidden=True, closed=True)
    shown = plan_thread(cells, carry=5.0, hidden=False)
    assert not all(
        runs_behind(cells, route[k], route[k + 1]) for route in shown.lengths for k in range(1, len(route) - 1, 2)
    ), "without the setting some carry shows, so the check above can fail"
    assert shown.starts < plan.starts


def test_carries_over_more_than_the_limit_start_anew():
    # The Art of Stitch, Carrying threads over: at most 3 to 4 squares over bare cloth.
    apart = np.zeros((1, 7), dtype=bool)
    apart[0, [0, 6]] = True
    assert plan_thread(apart, carry=4.0).starts == 2
    near = np.zeros((1, 6), dtype=bool)
    near[0, [0, 5]] = True
    assert plan_thread(near, carry=4.0).starts == 1
    assert plan_thread(near, carry=3.5).starts == 2


def test_published_pattern_of_37_crosses():
    # Mathgroup mailing list, 22 March 2012, "TSP-like problem with route priorities": 37 crosses, 9 groups by side
    # contact, 1 by corner contact; 2 N - 1 = 73 back moves at least.
    half = ["..X...X..", "..XX.XX..", "XX.X.X.XX", ".XX.X.XX.", "...XXX..."]
    cells = np.array([[c == "X" for c in row] for row in half + half[-2::-1]])
    assert cells.sum() == 37
    assert ndimage.label(cells)[1] == 9
    for order in ("closed", "least"):
        plan = plan_thread(cells, length=1000.0, tail=0.0, hidden=True, order=order)
        check_cross_plan(plan, cells, 1000.0, 0.0, CARRY, True, order == "closed")
        assert plan.starts == 1
        moves = sum((len(route) - 2) // 2 for route in plan.lengths)
        assert moves == 73
        assert 73 <= plan.back <= 73 * 1.1


def test_same_chart_same_plan():
    cells = np.random.default_rng(8).random((25, 25)) < 0.4
    first, second = plan_thread(cells), plan_thread(cells.copy())
    assert all(np.array_equal(a, b) for a, b in zip(first.lengths, second.lengths, strict=True))


def test_empty_chart_needs_no_thread():
    plan = plan_thread(np.zeros((4, 4), dtype=bool))
    assert (plan.lengths, plan.total, plan.starts) == ((), 0.0, 0)


@pytest.mark.parametrize(
    "wrong",
    [{"length": -1.0}, {"tail": float("nan")}, {"carry": 0.5}, {"order": "quick"}, {"length": "long"}],
)
def test_wrong_arguments_are_named(wrong):
    with pytest.raises(UsageError, match=next(iter(wrong))):
        plan_thread(np.ones((2, 2), dtype=bool), **wrong)


def test_too_short_a_length_is_refused():
    with pytest.raises(RequestError, match="no thread"):
        plan_thread(np.ones((2, 2), dtype=bool), length=52.0)


def test_search_never_spoils_an_order_that_is_as_good_as_its_bound():
    """Two pieces that one carry joins fill 54 lengths to the last few crosses: every excess more costs a start."""
    cells = np.zeros((45, 66), dtype=bool)
    cells[:43, :44] = True
    cells[:46, 46:54] = True
    cells[10:21, 54:57] = True
    cells[:12, 0] = False
    plan = plan_thread(cells, order="least")
    starts, _, _ = check_cross_plan(plan, cells, LENGTH, TAIL, CARRY)
    count = int(cells.sum())
    assert starts == -(-count // 42)
    assert plan.total <= plan.bound + 1.5
