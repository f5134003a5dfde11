"""Backstitch lines: small figures whose thread can be counted, carries at their limit, trails."""

from __future__ import annotations

import math
from itertools import pairwise
from random import Random

import numpy as np
import pytest
from helpers.line_checker import check_line_plan
from scipy import ndimage

from converter.errors import RequestError
from converter.estimate import line_double
from converter.estimate.line_cut import cut_row, left_over
from converter.estimate.line_figures import (
    close_pairs,
    figure_gaps,
    figure_holes,
    in_turn,
    line_figures,
    nearest,
    neighbours,
    straightest,
)
from converter.estimate.line_group import DoubleGroup
from converter.estimate.line_laying import _joined
from converter.estimate.line_route import _back_routes, _trails, back_bound, plan_line_thread
from converter.estimate.line_walk import Tree, double_walk, tree_walk

ROOT2 = math.sqrt(2)


def row(*columns, at=0):
    """Unit lines along a row, from each of these columns to the next."""
    return [[[at, c], [at, c + 1]] for c in columns]


SQUARE = [[[0, 0], [0, 1]], [[0, 1], [1, 1]], [[1, 1], [1, 0]], [[1, 0], [0, 0]]]
LADDER = [*SQUARE, [[1, 0], [2, 0]], [[1, 1], [2, 1]], [[2, 0], [2, 1]], [[0, 0], [1, 1]]]
CROSS = [[[0, 1], [1, 1]], [[1, 1], [2, 1]], [[1, 0], [1, 1]], [[1, 1], [1, 2]]]


@pytest.mark.parametrize(("lines", "double", "back"), [
    (row(0), 2, 1),
    (row(0, 1), 4, 4),
    (row(0, 1, 2), 6, 7),
    # A square closes: from line to line one side back, three times two.
    (SQUARE, 8, 4 + 3 * ROOT2),
    ([[[0, 0], [1, 1]]], 2 * ROOT2, ROOT2),
    ([[[0, 0], [0, 3]]], 6, 3),
])  # fmt: skip
def test_thread_of_small_figures(lines, double, back):
    """Double running passes every line twice; back stitch n in front and the moves behind (Dillmont, figs. 310-311)."""
    plan = plan_line_thread(lines, tail=0)
    assert plan.total == pytest.approx(double) and plan.bound == pytest.approx(double)
    assert plan.front == pytest.approx(plan.back) and plan.starts == 1 and plan.carries == 0
    worked = plan_line_thread(lines, "back", tail=0)
    assert worked.total <= back + 1e-9 and worked.bound <= worked.total + 1e-9
    assert worked.front == pytest.approx(double / 2)
    tails = plan_line_thread(lines, tail=10.0)
    assert tails.total == pytest.approx(double + 20) and tails.tails == 20


@pytest.mark.parametrize("lines", [SQUARE, CROSS, row(0, 1, 2), [*row(0, 1), [[0, 1], [1, 1]], [[1, 1], [1, 2]]]])
def test_a_walk_passes_every_line_once_in_front_and_once_behind(lines):
    figure = line_figures(np.array(lines, dtype=float))[0]
    for start in {hole for pair in figure for hole in pair}:
        walk = double_walk(neighbours(figure), start)
        assert walk[0] == walk[-1] == start and len(walk) == 2 * len(figure) + 1
        passes = [tuple(sorted(pair)) for pair in pairwise(walk)]
        assert sorted(passes[::2]) == sorted(passes[1::2]) == sorted(tuple(sorted(pair)) for pair in figure)
        for first in [b if a == start else a for a, b in figure if start in (a, b)]:
            assert double_walk(neighbours(figure), start, first)[1] == first


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("lines", [SQUARE, CROSS, LADDER, [*row(0, 1), [[0, 1], [1, 1]], [[1, 1], [1, 2]]]])
def test_a_walk_round_any_tree_passes_every_line_an_odd_number_of_passes_apart(lines, seed):
    figure = line_figures(np.array(lines, dtype=float))[0]
    tree = Tree.drawn(len(figure), Random(seed)).changed(Random(seed + 1))
    for start in sorted({hole for pair in figure for hole in pair}):
        for first in [None] + [b if a == start else a for a, b in figure if start in (a, b)]:
            walk = tree_walk(neighbours(figure), start, first, tree)
            assert walk[0] == walk[-1] == start and (first is None or walk[1] == first)
            passes = [tuple(sorted(pair)) for pair in pairwise(walk)]
            assert sorted(passes[::2]) == sorted(passes[1::2]) == sorted(tuple(sorted(pair)) for pair in figure)


@pytest.mark.parametrize("seed", [5, 7, 8, 10])
def test_a_ring_of_unlike_lines_fills_its_lengths(seed):
    """From no hole on, gone straight round either way, do these rings fit three lengths; along other trees they do."""
    rng = np.random.default_rng(seed)
    spans = rng.uniform(1.0, 5.0, 36)
    turn = np.append(0.0, np.cumsum(spans)) / spans.sum() * 2 * np.pi
    holes = np.round(np.stack((np.sin(turn), np.cos(turn)), axis=1) * spans.sum() / 6.3, 2)
    lines = np.stack((holes[:-1], np.roll(holes[:-1], -1, axis=0)), axis=1)
    thread = 2 * np.hypot(*(lines[:, 1] - lines[:, 0]).T).sum()
    plan = plan_line_thread(lines, "double", thread / 3 * 1.005 + 50.0, 25.0)
    assert plan.starts == 3 and plan.total == pytest.approx(thread + 150)


def test_the_straightest_way_comes_first():
    choices = [((1.0, 1.0), 0), ((0.0, 2.0), 1), ((1.0, 2.0), 2), ((0.0, 0.0), 3)]
    assert [k for _, k in straightest((0.0, 0.0), (0.0, 1.0), choices)] == [1, 2, 0, 3]
    # Without a way to go on, in reading order.
    assert [k for _, k in straightest(None, (0.0, 1.0), choices)] == [3, 1, 0, 2]


def test_trails_go_straight_on_and_begin_at_loose_ends():
    figure = line_figures(np.array(CROSS, dtype=float))[0]
    trails = _trails(figure)
    assert sorted(len(trail) for trail in trails) == [3, 3]
    for trail in trails:
        assert trail[0][0] == trail[-1][0] or trail[0][1] == trail[-1][1]
    square = _trails(line_figures(np.array(SQUARE, dtype=float))[0])
    assert len(square) == 1 and len(square[0]) == 5 and square[0][0] == square[0][-1]
    line = _trails(line_figures(np.array(row(0, 1, 2), dtype=float))[0])
    assert line == [[(0.0, 0.0), (0.0, 1.0), (0.0, 2.0), (0.0, 3.0)]]


@pytest.mark.parametrize(("gap", "carry", "starts"), [(2, 2.0, 1), (2, 1.99, 2), (3, 3.0, 1), (4, 3.5, 2)])
@pytest.mark.parametrize("method", ["double", "back"])
def test_carries_up_to_the_limit(method, gap, carry, starts):
    plan = plan_line_thread([*row(0), *row(1 + gap)], method, 252.0, 25.0, carry)
    assert plan.starts == starts and plan.carries == 2 - starts
    if starts == 1:
        # The second pass behind of the first line is left out; back stitch moves to the far hole or the near one.
        assert plan.total == pytest.approx((2 + gap + 1 if method == "double" else 2 + gap) + 50)
    else:
        assert plan.total == pytest.approx((4 if method == "double" else 2) + 100)


@pytest.mark.parametrize(("length", "starts"), [(20.0, 1), (19.99, 2), (10.0, 2), (9.99, 3), (2.0, 10)])
def test_double_running_is_cut_between_two_passes(length, starts):
    """Ten lines take 20 sides; a length ends behind, so it holds an even number of passes."""
    plan = plan_line_thread(row(*range(10)), "double", length, 0.0)
    assert plan.starts == starts and plan.total == 20
    with pytest.raises(RequestError):
        plan_line_thread(row(0), "double", 1.99, 0.0)


@pytest.mark.parametrize(("length", "starts"), [(28.0, 1), (27.99, 2), (13.0, 2), (12.99, 3), (1.0, 10)])
def test_back_stitch_is_cut_between_two_stitches(length, starts):
    """n lines take 3 n - 2 sides: ten 28, five 13."""
    plan = plan_line_thread(row(*range(10)), "back", length, 0.0)
    assert plan.starts == starts and plan.total == 30 - 2 * starts
    with pytest.raises(RequestError):
        plan_line_thread(row(0), "back", 0.99, 0.0)


@pytest.mark.parametrize(("length", "starts", "total"), [(12.0, 1, 12), (11.99, 2, 14)])
def test_a_carry_is_made_only_if_the_length_holds_it_and_the_next_two_passes(length, starts, total):
    """Four lines take 8 sides, the one beside them 2; in place of its pass behind comes a carry of 1: 10, and tails."""
    plan = plan_line_thread([*row(0, 1, 2, 3), *row(5)], "double", length, 1.0)
    assert (plan.starts, plan.carries) == (starts, 2 - starts)
    assert plan.total == pytest.approx(total)


def test_from_stitch_to_stitch_of_a_trail_no_carry_is_too_long():
    """Six in a row: two sides back from each to the next, though carries may go over one at most."""
    line = [((0, k), (0, k + 1)) for k in range(6)]
    routes, carries = _back_routes([line], 100.0, 1.0)
    assert len(routes) == 1 and carries == 0 and len(routes[0]) == 12
    apart = [((0, k), (0, k + 1)) for k in range(3, 6)]
    routes, carries = _back_routes([line[:1], apart], 100.0, 1.0)
    assert len(routes) == 2 and carries == 0
    assert _back_routes([line[:1], apart], 100.0, 9.0)[1] == 1


def test_bounds_of_figures_by_hand():
    one, two = (line_figures(np.array(lines, dtype=float))[0] for lines in (row(0), row(3)))
    group = DoubleGroup([one, two], 3.5)
    # Both passes of two lines, the carry of 2 in place of one pass.
    assert group.least(200.0) == (1, pytest.approx(4 + 2 - 1))
    # Too short for all: two starts, no carry.
    assert group.least(4.9) == (2, pytest.approx(4))
    assert group.least(5.0) == (1, pytest.approx(5))
    # A carry of 1 in place of a pass of 3 saves thread, and so may the one back.
    long = [line_figures(np.array([[[r, 0], [r, 3]]], dtype=float))[0] for r in (0, 1)]
    assert DoubleGroup(long, 3.5).least(200.0) == (1, pytest.approx(12 + 2 * (1 - 3)))
    # Back stitch: the lines in front and between any two at least the nearest two holes.
    assert back_bound([one, two], 200.0, 10.0) == pytest.approx(2 + 1 + 20)
    assert back_bound([one, two], 2.9, 10.0) == pytest.approx(2 + 40)


def test_a_figure_in_reach_of_the_midst_of_another_is_gone_out_to_and_back_from():
    """A row of twelve and three short lines beside it, far from one another: one start, as out and back costs less."""
    lines = [*row(*range(12)), *row(1, at=2), *row(5, at=2), *row(10, at=2)]
    plan = plan_line_thread(lines, carry=2.0)
    assert plan.starts == 1 and plan.bound <= plan.total
    # At the best: two of the three between two carries of 2 that save two passes, one at an end of the walk.
    assert plan.total <= 50 + 2 * 15 + 2 * (2 + 2 - 1 - 1) + (2 - 1) + 1e-9
    assert plan.carries <= 5
    # Tails of nothing, and still few starts: each takes a minute or two.
    assert plan_line_thread(lines, tail=0.0, carry=2.0).starts == 1


def ring(top, left, height, width):
    """Unit lines round a rectangle."""
    level = [[[r, left + k], [r, left + k + 1]] for r in (top, top + height) for k in range(width)]
    return level + [[[top + k, c], [top + k + 1, c]] for c in (left, left + width) for k in range(height)]


def test_a_figure_that_one_carry_reaches_takes_no_start_of_its_own():
    """Two squares corner to corner, (2, 2) apart: of all pairs of holes one is in reach, so no carry leads back."""
    lines = [*ring(0, 0, 6, 6), *ring(8, 8, 1, 1)]
    plan = plan_line_thread(lines, "double", 120.0, 5.0, 3.0)
    assert (plan.starts, plan.carries) == (1, 1)
    check_line_plan(plan, lines, 120.0, 5.0, 3.0)
    # All passes, and a carry in place of one of them.
    assert plan.total == pytest.approx(2 * 28 + math.sqrt(8) - 1 + 10) and plan.bound == pytest.approx(plan.total)


@pytest.mark.parametrize("corners", [
    [(-3, -3), (8, 8)],
    [(-3, -3), (8, 8), (-3, 8)],
    [(-3, -3), (8, 8), (-3, 8), (8, -3)],
])  # fmt: skip
@pytest.mark.parametrize("length", [252.0, 60.0, 40.0])
def test_lengths_end_where_no_carry_leads_back(corners, length):
    """Squares off the corners of a larger one, each in reach of one hole only: one start less than figures, or none
    over what the thread takes anyway."""
    lines = [*ring(0, 0, 6, 6), *(line for r, c in corners for line in ring(r, c, 1, 1))]
    plan = plan_line_thread(lines, "double", length, 5.0, 3.0)
    check_line_plan(plan, lines, length, 5.0, 3.0)
    assert plan.starts <= max(len(corners), math.ceil((2 * len(lines) + 8) / (length - 10)))


@pytest.mark.parametrize("seed", range(6))
def test_outlines_of_a_piece_with_holes_come_near_the_bound(seed):
    """Smoothed noise, its largest piece: several figures, some beside one another in reach of few holes."""
    noise = ndimage.gaussian_filter(np.random.default_rng(seed).random((60, 60)), 2)
    label, _ = ndimage.label(noise > np.quantile(noise, 0.4))
    piece = np.pad(label == np.bincount(label.ravel())[1:].argmax() + 1, 1)
    upright, level = np.argwhere(piece[:, 1:] != piece[:, :-1]), np.argwhere(piece[1:] != piece[:-1])
    lines = np.concatenate(
        [np.stack((upright, np.add(upright, (1, 0))), 1), np.stack((level, np.add(level, (0, 1))), 1)]
    )
    lines[: len(upright), :, 1] += 1
    lines[len(upright) :, :, 0] += 1
    plan = plan_line_thread(lines)
    check_line_plan(plan, lines, 252.0, 25.0, 3.5)
    assert plan.total <= 1.02 * plan.bound


def test_rows_are_joined_where_one_begins_as_the_other_ends():
    one, two, three, four = (((0, k), (1, k), (0, k + 1)) for k in range(4))
    far = ((9, 9), (9, 8), (9, 9))
    assert _joined([[three], [one, two]]) == [one, two, three]
    assert _joined([[four], [far], [one], [two, three]]) == [far, one, two, three, four]
    # A row that leads back to its own beginning stays as it is, and so does a ring of two.
    assert _joined([[far], [one]]) == [far, one]
    back = ((0, 1), (1, 0), (0, 0))
    assert sorted(_joined([[one], [back]])) == sorted([one, back])


def test_no_length_goes_over_a_gap():
    row_of = [((0.0, 0.0), (0.0, 1.0), (0.0, 0.0)), ((0.0, 9.0), (0.0, 8.0), (0.0, 9.0))]
    assert len(cut_row(row_of, 99.0, 50.0, 3.5)[1]) == 2
    assert len(cut_row(row_of, 99.0, 50.0, 8.0)[1]) == 1
    # A pass behind a long line is no carry.
    long = [((0.0, 0.0), (0.0, 9.0), (0.0, 0.0)), ((0.0, 0.0), (0.0, 1.0), (0.0, 0.0))]
    assert len(cut_row(long, 99.0, 50.0, 3.5)[1]) == 1


@pytest.mark.parametrize("lengths", [1, 2, 3])
def test_what_lengths_leave_of_a_row_is_the_least_from_any_pair_on(lengths):
    """Against walks along the row from each of its pairs, each length as long as it holds, gaps never crossed."""
    rng = np.random.default_rng(lengths)
    for _ in range(30):
        points = [tuple(map(float, hole)) for hole in rng.integers(0, 4, (27, 2))]
        pairs = [(points[3 * k], points[3 * k + 1], points[3 * k + 2]) for k in range(9)]
        steps = list(zip(pairs, pairs[1:] + pairs[:1], strict=True))
        if any(a == b or b == c for a, b, c in pairs) or any(one[1] == two[0] for one, two in steps):
            continue

        def thread(first, last, pairs=pairs):
            """Thread from one pair to another, or infinite where a move is longer than a carry of 2."""
            part = [pairs[k % 9] for k in range(first, last + 1)]
            total = sum(math.dist(pair[0], pair[1]) for pair in part) + math.dist(part[-1][1], part[-1][2])
            for one, two in pairwise(part):
                move = math.dist(one[1], two[0])
                total += move if move <= 2.0 or one[2] == two[0] else math.inf
            return total

        least = math.inf
        for first in range(9):
            at = first
            for _ in range(lengths):
                fitting = [last for last in range(at, first + 9) if thread(at, last) <= 12.0]
                at = fitting[-1] + 1 if fitting else at
            rest = [pairs[k % 9] for k in range(at, first + 9)]
            moves = [(one, two) for one, two in pairwise([*rest, pairs[first]])] if rest else []
            left = sum(math.dist(pair[0], pair[1]) for pair in rest)
            for one, two in moves:
                move = math.dist(one[1], two[0])
                left += move if move <= 2.0 or one[2] == two[0] else math.dist(one[1], one[2])
            least = min(least, left)
        found, first = left_over(pairs, 12.0, 2.0, lengths)
        assert found == pytest.approx(least, abs=1e-9) and 0 <= first < 9
    square = line_figures(np.array(SQUARE, dtype=float))[0]
    walk = double_walk(neighbours(square), square[0][0])
    pairs = [(walk[k], walk[k + 1], walk[k + 2]) for k in range(0, 8, 2)]
    assert [left_over(pairs, 4.0, 3.5, count)[0] for count in (1, 2, 3)] == [4.0, 0.0, 0.0]


def test_the_cuts_of_a_row_are_the_cheapest():
    """Against all ways of cutting, for rows of pairs as a walk over two figures gives them."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        points = [tuple(map(float, hole)) for hole in rng.integers(0, 4, (24, 2))]
        pairs = [(points[3 * k], points[3 * k + 1], points[3 * k + 2]) for k in range(8)]
        if any(math.dist(pair[0], pair[1]) + math.dist(pair[1], pair[2]) > 9 for pair in pairs):
            continue

        def thread(part):
            moves = sum(math.dist(one[1], two[0]) for one, two in pairwise(part))
            return sum(math.dist(pair[0], pair[1]) for pair in part) + moves + math.dist(part[-1][1], part[-1][2])

        best = math.inf
        for mask in range(1 << 7):
            cuts = [0, *(k + 1 for k in range(7) if mask >> k & 1), 8]
            parts = [thread(pairs[a:b]) for a, b in pairwise(cuts)]
            if max(parts) <= 9 + 1e-9:
                best = min(best, sum(parts) + 4.0 * len(parts))
        cost, routes = cut_row(pairs, 9.0, 4.0)
        walked = [sum(math.dist(a, b) for a, b in pairwise(route)) for route in routes]
        assert max(walked) <= 9 + 1e-9
        assert cost == pytest.approx(sum(walked) + 4.0 * len(routes), abs=1e-4)
        # What lies between two cuts is cut at its best as long as longer lengths take more thread.
        assert cost >= best - 1e-9 and cost <= best + 4.0


def test_every_carry_leads_from_the_end_of_a_length_to_the_next_figure():
    """Three short lines and three farther off: two lengths, two carries each, every line with its own two holes."""
    lines = [*row(0), *row(3), *row(6), *row(20), *row(23), *row(26)]
    plan = plan_line_thread(lines, tail=1.0, carry=2.0)
    assert (plan.starts, plan.carries) == (2, 4)
    for route in plan.lengths:
        passes = [tuple(sorted(map(tuple, pair.tolist()))) for pair in (route[k : k + 2] for k in range(0, 5, 2))]
        assert len(set(passes)) == 3 and len(route) == 7
        assert all(abs(a[1] - b[1]) == 1 for a, b in passes)
    assert plan.total == pytest.approx(2 * (3 * 2 + 2 * (2 - 1) + 2))


# Figures.


def test_figures_hang_together_by_their_holes():
    lines = np.array([[[0, 1], [0, 0]], [[5, 5], [6, 6]], [[0, 1], [1, 1]], [[0, 0], [0, 1]], [[6, 6], [6, 7.5]]])
    assert line_figures(lines) == [
        [((0.0, 0.0), (0.0, 1.0)), ((0.0, 1.0), (1.0, 1.0))],
        [((5.0, 5.0), (6.0, 6.0)), ((6.0, 6.0), (6.0, 7.5))],
    ]
    assert figure_holes(line_figures(lines)[0]).tolist() == [[0, 0], [0, 1], [1, 1]]
    # Lines that cross without a common hole do not hang together.
    assert len(line_figures(np.array([[[0, 0], [1, 1]], [[0, 1], [1, 0]]], dtype=float))) == 2


def test_figures_are_taken_each_nearest_to_the_one_before():
    figures = [line_figures(np.array(row(c), dtype=float))[0] for c in (0, 20, 4, 9)]
    assert in_turn(figures) == [figures[k] for k in (0, 2, 3, 1)]
    assert in_turn(figures, 2) == [figures[k] for k in (2, 0, 3, 1)]
    assert in_turn(figures, 1) == [figures[k] for k in (1, 3, 2, 0)]


def test_pairs_at_most_so_far_apart():
    points = np.array([[0.0, 0], [0, 2], [2, 0], [3, 3], [0, 0.5]])
    one, two, span = close_pairs(points, 2.0)
    found = {(min(a, b), max(a, b)): s for a, b, s in zip(one.tolist(), two.tolist(), span.tolist(), strict=True)}
    assert found == {(0, 1): 2, (0, 2): 2, (0, 4): 0.5, (1, 4): 1.5}
    assert close_pairs(points, 0.4)[0].size == 0
    assert nearest(points[:2], points[2:4]).tolist() == pytest.approx([2.0, math.sqrt(8)])


def test_groups_of_figures_and_their_gaps():
    figures = [line_figures(np.array(row(c), dtype=float))[0] for c in (0, 3, 5, 30)]
    groups, gaps = figure_gaps(figures, 2.0)
    assert groups == [[0, 1, 2], [3]] and gaps == [[1.0, 2.0], []]
    assert figure_gaps(figures, 1.9)[0] == [[0], [1, 2], [3]]


def test_the_search_of_a_small_hopeless_group_is_short(monkeypatch):
    """Three bars in a row, no carry fits inside the middle one: it is not passed, and no search saves a start."""
    lines = [*row(0, 1, 2), *row(*range(4, 14)), *row(15, 16, 17)]
    laid_out = []
    known = line_double._laid_out
    monkeypatch.setattr(line_double, "_laid_out", lambda *given: laid_out.append(1) or known(*given))
    counts = []
    for effort in (0.0, 0.03, 1.0):
        laid_out.clear()
        assert plan_line_thread(lines, carry=1.9, effort=effort).starts == 2
        counts.append(len(laid_out))
    holes = 4 + 11 + 4
    assert counts[0] == 2 * holes < counts[1] < counts[2] / 2 and counts[2] <= 2 * holes + 45 * len(lines)


def test_a_length_passes_through_a_bar_and_goes_on():
    """Three bars in a row, three sides apart: the way leads through the middle one by carries over two lines."""
    lines = [*row(0, 1, 2), *row(*range(6, 16)), *row(19, 20, 21)]
    plan = plan_line_thread(lines)
    check_line_plan(plan, lines, 252.0, 25.0, 3.5)
    # Sixteen moves behind: two of three sides, three of two along the bar, the others of one.
    assert (plan.starts, plan.front, plan.back, plan.carries) == (1, 16, 2 * 3 + 3 * 2 + 11, 5)
