"""The working order of backstitch lines."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.line_checker import check_line_plan
from hypothesis import given, settings
from hypothesis import strategies as st

from converter.errors import RequestError, UsageError
from converter.estimate.line_figures import figure_gaps, line_figures
from converter.estimate.line_group import DoubleGroup
from converter.estimate.line_route import plan_line_thread


@st.composite
def unit_figures(draw):
    """A connected figure of unit stitches, grown edge by edge."""
    holes, edges = [(0, 0)], set()
    for _ in range(draw(st.integers(1, 40))):
        at = holes[draw(st.integers(0, len(holes) - 1))]
        step = draw(st.sampled_from([(0, 1), (1, 0), (0, -1), (-1, 0)]))
        to = (at[0] + step[0], at[1] + step[1])
        edges.add(tuple(sorted((at, to))))
        if to not in holes:
            holes.append(to)
    return np.array(sorted(edges), dtype=float) + 50


def test_line_of_ten():
    # Dillmont figs. 310-311, Christie fig. 85: double running takes 2 n, back stitch 3 n - 2.
    row = [[[0, k], [0, k + 1]] for k in range(10)]
    double = plan_line_thread(row, tail=0)
    assert (double.total, double.front, double.back, double.starts) == (20, 10, 10, 1)
    assert plan_line_thread(row, "back", tail=0).total == 28


@settings(max_examples=80)
@given(lines=unit_figures())
def test_double_running_of_a_connected_figure_is_exact(lines):
    # Every line once in front and once behind and no other move: both faces alike (J. Holden, The graph theory of
    # blackwork embroidery, 2007, asks for an odd number of moves between the two visits).
    plan = plan_line_thread(lines, length=1000.0, tail=10.0)
    front, behind = check_line_plan(plan, lines, 1000.0, 10.0, 3.5)
    assert front == behind
    assert plan.total == 2 * len(lines) + 20
    assert plan.bound == plan.total
    route = plan.lengths[0]
    assert tuple(route[0]) == tuple(route[-1]), "the walk comes back to where it began"


@pytest.mark.parametrize("method", ["double", "back"])
@settings(max_examples=30)
@given(lines=unit_figures(), length=st.floats(20, 120))
def test_lengths_hold(method, lines, length):
    plan = plan_line_thread(lines, method, length, 3.0)
    check_line_plan(plan, lines, length, 3.0, 3.5)


@settings(max_examples=40, deadline=None)
@given(
    figures=st.lists(unit_figures(), min_size=2, max_size=5),
    shifts=st.lists(st.integers(0, 9), min_size=10, max_size=10),
    length=st.floats(30, 252),
    carry=st.floats(1, 5),
)
def test_a_pass_behind_is_left_out_only_for_a_carry(figures, shifts, length, carry):
    moved = [lines + np.array(shifts[2 * k : 2 * k + 2]) for k, lines in enumerate(figures)]
    lines = np.unique(np.concatenate(moved), axis=0)
    plan = plan_line_thread(lines, "double", length, 5.0, carry)
    front, behind = check_line_plan(plan, lines, length, 5.0, carry)
    carries = sum(count for pair, count in behind.items() if pair not in front)
    assert plan.carries == carries
    assert all(behind[pair] <= 1 for pair in front)
    assert sum(behind.values()) == len(front), "every pass in front is followed by a move behind"
    assert sum(1 for pair in front if not behind[pair]) == carries
    parts = line_figures(lines)
    bound = 0.0
    for members in figure_gaps(parts, carry)[0]:
        starts, thread = DoubleGroup([parts[k] for k in members], carry).least(length - 10.0)
        bound += thread + 10.0 * starts
    assert bound <= plan.total + 1e-6, "no plan beats the bound"


def test_slanting_and_half_lines():
    lines = [[[0, 0], [1, 2]], [[1, 2], [2.5, 2]], [[2.5, 2], [0, 0]], [[10, 10], [10.5, 11]]]
    for method in ("double", "back"):
        check_line_plan(plan_line_thread(lines, method), lines, 252.0, 25.0, 3.5)


def test_a_carry_takes_the_place_of_the_last_pass_behind():
    lines = [[[0, 0], [0, 1]], [[0, 3], [0, 4]]]
    plan = plan_line_thread(lines, tail=1.0)
    assert (plan.starts, plan.carries) == (1, 1)
    far = plan_line_thread([[[0, 0], [0, 1]], [[0, 9], [0, 10]]], tail=1.0)
    assert (far.starts, far.carries) == (2, 0)


def test_a_line_given_twice_is_worked_once():
    lines = np.array([[[0, 0], [0, 1]], [[0, 1], [0, 0]]], dtype=float)
    assert line_figures(lines) == [[((0.0, 0.0), (0.0, 1.0))]]
    assert plan_line_thread(lines).front == 1


def test_nothing_to_do_and_what_cannot_be_done():
    assert plan_line_thread(np.zeros((0, 2, 2))).lengths == ()
    with pytest.raises(UsageError, match="method"):
        plan_line_thread([[[0, 0], [0, 1]]], "satin")
    with pytest.raises(RequestError, match="does not fit"):
        plan_line_thread([[[0, 0], [0, 200]]], length=150.0)
