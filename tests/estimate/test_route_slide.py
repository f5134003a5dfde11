"""The closed order on lines one cross wide: stops exchanged for their neighbours, and the true optimum."""

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers.route_checker import check_cross_plan
from helpers.route_optimum import least_excess

from converter.estimate.route import plan_thread
from converter.estimate.route_geometry import Crosses, MoveRules
from converter.estimate.route_links import Links
from converter.estimate.route_slide import Slide


def thin_piece(rng, side, count):
    """One piece with thin arms, grown cell by cell from cells with a single neighbour."""
    cells = np.zeros((side, side), dtype=bool)
    cells[side // 2, side // 2] = True
    while cells.sum() < count:
        r, c = rng.integers(1, side - 1, 2)
        beside = int(cells[r - 1, c]) + int(cells[r + 1, c]) + int(cells[r, c - 1]) + int(cells[r, c + 1])
        if not cells[r, c] and beside == 1:
            cells[r, c] = True
    return cells


def test_closed_order_of_thin_pieces_finds_the_optimum():
    rng = np.random.default_rng(41)
    found, over = 0, 0.0
    for _ in range(30):
        cells = thin_piece(rng, 12, int(rng.integers(5, 14)))
        plan = plan_thread(cells, 2000.0, 25.0)
        check_cross_plan(plan, cells, 2000.0, 25.0, 3.5, closed=True)
        excess = plan.total - plan.bound
        best = least_excess(cells, excess)
        found += excess <= best + 1e-6
        over += excess - best
    assert found >= 27, f"optimum in {found} of 30, {over:.2f} over"


def spider(up, left, right, down=0):
    """Return a row with an arm up, and one down, from one of its crosses."""
    cells = np.zeros((up + down + 1, left + right + 1), dtype=bool)
    cells[up] = True
    cells[:, left] = True
    return cells


@pytest.mark.parametrize(("arms", "turns"), [
    # An arm of up to two crosses is worked from the row; of three arms or more one is gone out and back, which takes
    # one change of colour, and of four arms two. Found by trying every order.
    ((1, 5, 5), 0), ((2, 5, 5), 0), ((3, 5, 5), 1), ((4, 5, 5), 1), ((5, 5, 5), 1), ((5, 5, 6), 1), ((7, 6, 6), 1),
    ((3, 5, 5, 1), 1), ((3, 5, 5, 2), 1), ((4, 5, 5, 2), 1), ((3, 5, 5, 3), 2), ((4, 5, 5, 4), 2), ((5, 5, 5, 5), 2),
])  # fmt: skip
def test_a_dead_end_takes_one_change_of_colour(arms, turns):
    cells = spider(*arms)
    plan = plan_thread(cells, 2000.0, 25.0)
    check_cross_plan(plan, cells, 2000.0, 25.0, 3.5, closed=True)
    assert plan.total - plan.bound == pytest.approx(turns * (math.sqrt(2) - 1), abs=1e-6)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_after_exchanges_every_cross_is_a_stop_or_beside_one(share):
    rng = np.random.default_rng(int(100 * share))
    cells = rng.random((20, 20)) < share
    crosses = Crosses.of(cells, pad=7)
    links = Links(crosses, MoveRules(cells, 3.5, False), 49.0)
    every = rng.permutation(crosses.count).tolist()
    slide = Slide(links, every, 3)
    before = sum(links.along(every))
    slide.search(30_000, 0.1, 0.03)
    stops = slide.stops()
    assert len(set(stops)) == len(stops)
    assert sum(links.along(stops)) < 0.7 * before
    is_stop = np.zeros((22, 22), dtype=bool)
    is_stop[crosses.row[stops] + 1, crosses.col[stops] + 1] = True
    beside = is_stop[1:-1, 1:-1] | is_stop[:-2, 1:-1] | is_stop[2:, 1:-1] | is_stop[1:-1, :-2] | is_stop[1:-1, 2:]
    assert beside[cells].all()
    assert Slide(links, every, 3).stops() == every
    again = Slide(links, every, 3)
    again.search(30_000, 0.1, 0.03)
    assert again.stops() == stops


def test_two_changes_of_colour_on_one_line_meet_and_are_gone():
    cells = np.ones((1, 24), dtype=bool)
    links = Links(Crosses.of(cells, pad=7), MoveRules(cells, 3.5, False), 49.0)
    stops = [0, 2, 4, 5, 7, 9, 11, 13, 15, 16, 18, 20, 22]
    assert sum(links.along(stops)) == pytest.approx(2 * (math.sqrt(2) - 1))
    slide = Slide(links, stops)
    slide.search(4000, 0.05, 0.03)
    assert sum(links.along(slide.stops())) == 0


def coiled(width):
    """Return a line one cross wide, coiled up with two bare rows between its turns."""
    cells = np.zeros((width, width), dtype=bool)
    row, col, left = 0, 0, 0
    sides = [width - 1, width - 1, width - 1]
    while width - 1 - 3 * left > 0:
        sides.append(width - 1 - 3 * (left + 1))
        sides.append(width - 1 - 3 * (left + 1))
        left += 1
    cells[0, 0] = True
    for way, side in enumerate(sides):
        if side <= 0:
            break
        down, right = ((0, 1), (1, 0), (0, -1), (-1, 0))[way % 4]
        for _ in range(side):
            row, col = row + down, col + right
            cells[row, col] = True
    return cells


def test_a_long_line_is_gone_along_once():
    """1500 crosses without an end to turn at: nothing but the bound will do, in the closed order too."""
    cells = coiled(67)
    plan = plan_thread(cells)
    check_cross_plan(plan, cells, 252.0, 25.0, 3.5, closed=True)
    assert 1400 < cells.sum() < 1700 and plan.total == pytest.approx(plan.bound)


def test_an_excess_is_moved_along_until_it_meets_another():
    cells = np.ones((1, 600), dtype=bool)
    links = Links(Crosses.of(cells, pad=7), MoveRules(cells, 3.5, False), 49.0)
    stops = [*range(0, 100, 2), *range(101, 500, 2), *range(500, 600, 2)]
    assert sum(links.along(stops)) == pytest.approx(1 + math.sqrt(2) - 1)
    slide = Slide(links, stops)
    slide._run(98, 101, True)
    # Where it met the other one both are gone.
    assert sum(links.along(slide.stops())) == 0
