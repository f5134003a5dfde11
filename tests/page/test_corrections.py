"""Corrections by hand: laid over what the settings give, kept while the grid stays, set aside when it does not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.errors import UsageError
from converter.jobs.corrections import Corrections, Grid, Move, cell_text, line_name, line_text

PLACEMENT = (8.0, 0.0, 3.0, 0.0, 8.0, 5.0)


def test_cells_are_put_in_and_taken_out():
    cells = np.array([[1, 0], [0, 1]], dtype=bool)
    hand = Corrections({(0, 0): False, (1, 0): True})
    fresh, _ = hand.apply(cells, np.zeros((0, 2, 2)))
    assert fresh.tolist() == [[False, False], [True, True]]
    assert cells.tolist() == [[True, False], [False, True]]


def test_lines_are_put_in_once_and_taken_out_whichever_way_they_run():
    lines = np.array([[[0, 0], [2, 2]], [[0, 2], [2, 0]]], dtype=float)
    hand = Corrections({}, {line_name((2, 2, 0, 0)): False, line_name((2, 0, 0, 2)): True, (0, 0, 0, 1): True})
    _, fresh = hand.apply(np.zeros((2, 2), dtype=bool), lines)
    assert fresh.reshape(-1, 4).tolist() == [[0, 2, 2, 0], [0, 0, 0, 1]]


def test_corrections_outside_are_left_out():
    hand = Corrections({(0, 0): True, (1, 1): True}, {(0, 0, 1, 1): True})
    moved = hand.moved(Move((1.0, 0.0, 2.0, 0.0, 1.0, 0.0), (2, 0)))
    cells, lines = moved.apply(np.zeros((3, 3), dtype=bool), np.zeros((0, 2, 2)))
    assert np.argwhere(cells).tolist() == [[2, 0]]
    assert lines.reshape(-1, 4).tolist() == [[2, 0, 3, 1]]


def test_same_grid_needs_no_move_and_a_trimmed_row_is_a_move():
    grid = Grid(10, 6, PLACEMENT)
    assert grid.move_to(grid).shift == (0, 0)
    nudged = Grid(10, 6, (8.0, 0.0, 5.0, 0.0, 8.0, 4.0))
    assert grid.move_to(nudged).shift == (0, 0)
    one_row_more_on_top = Grid(11, 6, (8.0, 0.0, -5.0, 0.0, 8.0, 5.0))
    assert grid.move_to(one_row_more_on_top).shift == (1, 0)


def test_slightly_larger_squares_take_corrections_along_with_the_picture():
    """Worked by hand: squares of 8.4 px instead of 8, both from the picture's corner."""
    move = Grid(40, 40, (8.0, 0, 0, 0, 8.0, 0)).move_to(Grid(38, 38, (8.4, 0, 0, 0, 8.4, 0)))
    assert move.shift is None
    # The middle of square 30 lies at 30.5 * 8 = 244 px, which is in square 29 of 8.4 px (243.6 to 252).
    assert move.cell(30, 0) == (29, 0)
    # Hole 30 at 240 px is nearest to hole 29 (243.6 px; hole 28 is at 235.2).
    assert move.line((30, 0, 30, 2)) == (29, 0, 29, 2)
    assert move.line((30, 0, 30, 0.5)) == (28.5, 0, 28.5, 0.5)


@pytest.mark.parametrize(
    "other",
    [
        Grid(12, 7, (6.8, 0.0, 3.0, 0.0, 6.8, 5.0)),
        Grid(6, 10, (0.0, 8.0, 3.0, -8.0, 0.0, 60.0)),
        Grid(10, 6, None),
        Grid(10, 6, (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)),
    ],
)
def test_other_size_turn_or_source_is_another_grid(other):
    assert Grid(10, 6, PLACEMENT).move_to(other) is None


@given(st.integers(-3, 3), st.integers(-3, 3), st.integers(4, 30), st.integers(4, 30))
def test_whole_moves_are_found_and_lead_back(down, across, rows, columns):
    one = Grid(rows, columns, PLACEMENT)
    other = Grid(rows, columns, (8.0, 0.0, 3.0 - 8 * down, 0.0, 8.0, 5.0 - 8 * across))
    assert one.move_to(other).shift == (down, across)
    assert other.move_to(one).shift == (-down, -across)


@given(st.dictionaries(st.tuples(st.integers(0, 50), st.integers(0, 50)), st.booleans(), max_size=8))
def test_state_form_is_read_back(cells):
    state = {"cells": {cell_text(*at): int(on) for at, on in cells.items()}, "lines": {line_text((3, 1, 0.5, 2)): 1}}
    hand = Corrections.from_json(state)
    assert dict(hand.cells) == cells
    assert dict(hand.lines) == {(0.5, 2.0, 3.0, 1.0): True}


@pytest.mark.parametrize("bad", [{"cells": {"1": 1}}, {"cells": {"a,b": 1}}, {"lines": {"1,2,3": 1}}, {"cells": 3}])
def test_unreadable_corrections_are_refused(bad):
    with pytest.raises(UsageError):
        Corrections.from_json(bad)


@pytest.mark.parametrize(
    "bad",
    [
        None,
        {},
        {"rows": 0, "columns": 1, "placement": None},
        {"rows": 2, "columns": 2, "placement": [1, 2]},
        {"rows": "x"},
    ],
)
def test_unreadable_grid_is_refused(bad):
    with pytest.raises(UsageError):
        Grid.from_json(bad)
    good = Grid(3, 4, PLACEMENT)
    assert Grid.from_json(good.to_json()) == good
