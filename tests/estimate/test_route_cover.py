"""The rows of stops without an excess on which charts of thin lines are worked.

Outside sources: that a figure of lines can be worked in one go follows the same as Euler's walks; the rules that a plan
is held to are those of Th. de Dillmont, Encyclopedia of Needlework, fig. 253, in ``helpers/route_checker.py``.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from helpers.route_checker import check_cross_plan
from hypothesis import given, settings
from hypothesis import strategies as st

from converter.estimate.route import plan_thread
from converter.estimate.route_bound import thread_bound
from converter.estimate.route_cover import Cover, cover_walk, stops_of
from converter.estimate.route_fill import Filler
from converter.estimate.route_geometry import EPSILON, Crosses, MoveRules
from converter.estimate.route_links import Links
from converter.estimate.route_row_order import loose_order, split_rows
from converter.estimate.route_rows import fitted_walk
from converter.estimate.route_tree import SideGraph

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "scripts"))
from thread_nets import bricks, even_comb, ladders, lattice, net, rings

LENGTH, TAIL, CARRY = 252.0, 25.0, 3.5
CAPACITY = LENGTH - 2 * TAIL


def links_of(cells: Any, hidden: bool = False) -> Links:
    grid = np.asarray(cells, dtype=bool)
    return Links(Crosses.of(grid, pad=7), MoveRules(grid, CARRY, hidden), 49.0)


def text(*rows: str) -> Any:
    return np.array([[mark == "#" for mark in row] for row in rows])


def random_lines(seed: int, size: int) -> Any:
    """Return lines across and down at random places, some of them cut short."""
    rng = np.random.default_rng(seed)
    cells = np.zeros((size, size), dtype=bool)
    for _ in range(int(rng.integers(1, size))):
        at, low, high = int(rng.integers(size)), *sorted(rng.integers(0, size + 1, 2).tolist())
        if rng.random() < 0.5:
            cells[at, low:high] = True
        else:
            cells[low:high, at] = True
    cells[0, 0] = True
    return cells


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 26), st.booleans())
def test_rows_and_rings_hold_every_stop_once_and_no_excess(seed: int, size: int, hidden: bool):
    links = links_of(random_lines(seed, size), hidden)
    for colour in (0, 1):
        for along in (0, 1):
            cover = Cover(links, stops_of(links, colour), along)
            ends = len(cover.rows)
            stops = sorted(stop for part in cover.rows + cover.rings for stop in part)
            for joined in (False, True):
                if joined:
                    before = cover.parts
                    cover.join_rings()
                    assert len(cover.rows) == ends and cover.parts <= before
                assert sorted(stop for part in cover.rows + cover.rings for stop in part) == stops
                for part in cover.rows:
                    assert all(cost <= EPSILON for cost in links.along(part))
                for part in cover.rings:
                    assert len(part) > 2 and all(cost <= EPSILON for cost in links.along([*part, part[0]]))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 26))
def test_a_walk_over_rows_leaves_no_cross_without_a_stop(seed: int, size: int):
    links = links_of(random_lines(seed, size))
    walk = cover_walk(links, 10**6)
    stops = set(walk)
    assert len(stops) == len(walk) > 0
    for cross in range(len(links.flat)):
        assert cross in stops or stops.intersection(links.sides(cross))


def test_a_lattice_is_one_round_without_an_excess():
    """Lines that cross at each fourth cross: stops beside the crossings, never on them."""
    cells = lattice(41, 4)
    walk = cover_walk(links_of(cells), 1)
    row, col = np.nonzero(cells)
    assert walk and sum(links_of(cells).along(walk)) == 0
    assert not any(row[stop] % 4 == 0 and col[stop] % 4 == 0 for stop in walk)


def test_a_crossing_is_walked_without_an_excess():
    """Four arms two crosses long: from one to the next round the crossing, each end a child."""
    cells = text("..#..", "..#..", "#####", "..#..", "..#..")
    links = links_of(cells)
    walk = cover_walk(links, 1)
    assert sum(links.along(walk)) == 0
    assert sorted(walk) == [1, 3, 5, 7]


@pytest.mark.parametrize(
    "cells",
    [
        lattice(100, 3),
        lattice(110, 4),
        lattice(84, 4, 2),
        bricks(130, 4, 8),
        net(140, 8),
        ladders(120, 2, 8),
        rings(100, 3, 2),
        even_comb(60, 30, 1),
        even_comb(120, 40, 2),
        even_comb(120, 40, 3),
    ],
    ids=["lattice 3", "lattice 4", "wide lattice", "bricks", "net", "ladders", "rings", "comb", "comb 2", "comb 3"],
)
def test_thin_lines_take_hardly_more_than_the_bound(cells: Any):
    plan = plan_thread(cells, LENGTH, TAIL, CARRY)
    starts, _, _ = check_cross_plan(plan, cells, LENGTH, TAIL, CARRY, closed=True)
    crosses = Crosses.of(cells)
    fewest = thread_bound(crosses, SideGraph.of(crosses), MoveRules(cells, CARRY, False), LENGTH, TAIL).starts
    assert starts <= fewest + 1
    assert plan.total - 49 * (starts - fewest) <= 1.002 * plan.bound


def test_no_walk_is_given_along_more_rows_than_asked_for():
    """Teeth three bare columns apart: dead ends, and two of them to a row at best."""
    cells = text("#...#...#...#", "#...#...#...#", "#...#...#...#", "#...#...#...#", "#############")
    links = links_of(cells)
    fewest = next(most for most in range(9) if cover_walk(links, most))
    assert fewest > 1
    assert not cover_walk(links, fewest - 1) and cover_walk(links, fewest + 1) == cover_walk(links, fewest)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(4, 30))
def test_lengths_by_rows_hold_every_cross_and_fit(seed: int, size: int):
    links = links_of(random_lines(seed, size))
    walk = cover_walk(links, 10**6)
    plain, by_rows = Filler(links, CAPACITY), Filler(links, CAPACITY, by_rows=True)
    lengths, excess = by_rows.fill(walk)
    found = [cross for blocks in lengths for stop, children in blocks for cross in (stop, *children)]
    assert sorted(found) == list(range(len(links.flat)))
    total = 0.0
    for blocks in lengths:
        along = links.along([stop for stop, _ in blocks])
        total += sum(along)
        assert sum(1 + len(children) for _, children in blocks) <= plain.fitting(sum(along))
        for stop, children in blocks:
            assert set(children) <= set(links.sides(stop))
    assert excess == pytest.approx(total)


def test_a_row_leaves_a_child_for_the_next_so_that_lengths_are_full():
    """Two bars over each other share the crosses between them: the first leaves the one that it has no room for."""
    cells = np.ones((3, 43), dtype=bool)
    cells[1, 1::2] = False
    links = links_of(cells)
    row, col = np.nonzero(cells)
    first = [k for k in range(len(row)) if row[k] == 0 and col[k] % 2 == 0]
    second = [k for k in range(len(row)) if row[k] == 2 and col[k] % 2 == 0]
    walk = first + second
    assert sum(cost > EPSILON for cost in links.along(walk)) == 1
    plain, _ = Filler(links, CAPACITY).fill(walk)
    lengths, excess = Filler(links, CAPACITY, by_rows=True).fill(walk)
    sizes = [[sum(1 + len(c) for _, c in blocks) for blocks in found] for found in (plain, lengths)]
    assert sum(sizes[0]) == sum(sizes[1]) == 108
    assert sizes[1][0] == 42 and excess == 0 and len(lengths) <= len(plain)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(4, 30), st.integers(3, 42))
def test_fitted_rows_are_walks_over_the_same_stops(seed: int, size: int, most: int):
    links = links_of(random_lines(seed, size))
    walk = cover_walk(links, 10**6)
    rows = split_rows(links, walk)
    assert [stop for row in rows for stop in row] == walk
    assert all(cost <= EPSILON for row in rows for cost in links.along(row))
    loose = loose_order(links, rows)
    assert sorted(loose) == sorted(rows)
    for ends, shed in ((4, False), (1, True), (0, True)):
        fitted = fitted_walk(links, loose, most, ends, shed)
        assert sorted(fitted) == sorted(walk)
        if not shed:
            assert len(split_rows(links, fitted)) <= len(rows)


def test_rows_that_leave_crosses_for_others_come_first():
    """Three bars over each other: the middle one has crosses in common with both others, and is not the first."""
    cells = np.ones((5, 9), dtype=bool)
    cells[1::2, 1::2] = False
    links = links_of(cells)
    row, col = np.nonzero(cells)
    bars = [[k for k in range(len(row)) if row[k] == at and col[k] % 2 == 0] for at in (2, 0, 4)]
    order = loose_order(links, bars)
    assert order[0] != bars[0] and sorted(order) == sorted(bars)


def test_combs_with_wide_gaps_fill_every_length():
    """Two teeth of 40 and four crosses of the bar are two lengths; the rest of the bar is a row of its own."""
    cells = even_comb(42, 40, 2)
    links = links_of(cells)
    rows = loose_order(links, split_rows(links, cover_walk(links, 10**6)))
    lengths, excess = Filler(links, CAPACITY, by_rows=True).fill(fitted_walk(links, rows, 42, 1, True))
    sizes = [sum(1 + len(children) for _, children in blocks) for blocks in lengths]
    assert excess == 0
    assert len(lengths) == -(-int(cells.sum()) // 42)
    assert sum(size < 42 for size in sizes) <= 3
