"""Doubtful squares are decided by what sure ones on the same sheet look like."""

import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from bench_squares import score
from make_squared_paper import make_photo

from converter.squares import read_squares
from converter.squares.marks import Marking
from converter.squares.patches import FlatSheet
from converter.squares.second_look import look_again

SIDE, ROWS, COLS = 20, 12, 14
FAINT, BLOT, BARE = (5, 5), (7, 8), (3, 10)
INSIDE = np.zeros((ROWS, COLS), bool)


def cross(density):
    page = np.zeros((SIDE, SIDE), np.float32)
    for a, b in (((4, 4), (15, 15)), ((15, 4), (4, 15))):
        cv2.line(page, a, b, density, 2)
    return page


def sheet_with(shadow=0.0):
    """Return a grainy sheet of crosses, a faint one and a blot among them, and which squares hold crosses."""
    crossed = np.random.default_rng(1).random((ROWS, COLS)) < 0.4
    crossed[FAINT], crossed[BLOT], crossed[BARE] = True, False, False
    squares = np.zeros((ROWS, COLS, SIDE, SIDE), np.float32)
    squares[crossed] = cross(0.4)
    squares[FAINT] = cross(0.28)
    squares[BLOT][2:7, 9:18] = 0.35
    # the edge of a shadow runs slanting through every square of one row
    at = np.arange(SIDE)
    squares[FAINT[0]] += shadow * (at[:, None] + at > SIDE)
    flat = squares.swapaxes(1, 2).reshape(ROWS * SIDE, COLS * SIDE)
    dense = np.pad(flat, SIDE // 2) + np.random.default_rng(2).normal(0, 0.03, (ROWS * SIDE + SIDE, COLS * SIDE + SIDE))
    return FlatSheet(np.repeat(dense[..., None], 3, axis=2).astype(np.float32), SIDE, ROWS, COLS), crossed


def marking_of(crossed, doubtful):
    """Return all that is crossed as sure, but for the doubtful squares, which are all taken for the other thing."""
    marked, doubt = crossed.copy(), np.zeros((ROWS, COLS))
    for at in doubtful:
        marked[at], doubt[at] = ~marked[at], 0.5
    nothing = np.zeros((ROWS, COLS), np.float32)
    return Marking(marked, doubt, 0.4 * crossed, 0.1, np.zeros((ROWS, COLS, 3), np.float32), INSIDE, nothing)


def test_a_faint_mark_and_a_bare_square_are_told_by_the_sure_ones():
    sheet, crossed = sheet_with()
    again = look_again(sheet, marking_of(crossed, [FAINT, BARE]), INSIDE)
    assert np.array_equal(again.marked, crossed)
    assert again.doubt[FAINT] == 0.5


def test_what_is_like_neither_marks_nor_paper_stays_as_it_was():
    sheet, crossed = sheet_with()
    for before in (False, True):
        marking = marking_of(crossed, [BLOT])
        marking.marked[BLOT] = before
        assert look_again(sheet, marking, INSIDE).marked[BLOT] == before


def test_sure_squares_are_left_alone():
    sheet, crossed = sheet_with()
    wrong = marking_of(crossed, [])
    wrong.marked[BARE] = True
    assert look_again(sheet, wrong, INSIDE) is wrong


@pytest.mark.parametrize("height", [0.1, 0.2])
def test_in_the_edge_of_a_shadow_a_cross_is_a_mark_and_the_edge_is_none(height):
    sheet, crossed = sheet_with(height)
    row = np.zeros((ROWS, COLS), bool)
    row[FAINT[0]] = True
    doubtful = [tuple(at) for at in np.argwhere(row)]
    marking = marking_of(crossed, doubtful)
    marking = replace(marking, edge=row, rise=np.where(row, np.float32(height), np.float32(0)))
    again = look_again(sheet, replace(marking, marked=marking.marked & ~row), INSIDE)
    assert np.array_equal(again.marked, crossed)


@pytest.mark.parametrize("seed", [6329, 6585])
def test_marks_that_a_shadow_crosses_are_read(seed):
    photo = make_photo(seed, "hard")
    assert score(photo, read_squares(photo.image), 0.0).wrong == 0
