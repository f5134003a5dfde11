"""Sheets drawn by arithmetic alone, each with one thing that is easily taken for another."""

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from bench_squares import score
from make_squared_paper import make_photo

from converter.squares import draw_overlay, read_squares
from converter.squares.extent import Extent, trimmed

SIDE, MARGIN = 18, 30
ROWS, COLS = 16, 18


def blank_sheet(rows=ROWS, cols=COLS):
    """Return squared paper with gray lines two pixels wide, uint8 (H, W, 3)."""
    page = np.full((rows * SIDE + 2 * MARGIN, cols * SIDE + 2 * MARGIN, 3), 245, np.uint8)
    for i in range(rows + 1):
        at = MARGIN + i * SIDE
        page[at - 1 : at + 1, MARGIN - 1 : MARGIN + cols * SIDE + 1] = 170
    for j in range(cols + 1):
        at = MARGIN + j * SIDE
        page[MARGIN - 1 : MARGIN + rows * SIDE + 1, at - 1 : at + 1] = 170
    return page


def hole(r, c):
    return MARGIN + c * SIDE, MARGIN + r * SIDE


def middle(r, c):
    return MARGIN + c * SIDE + SIDE // 2, MARGIN + r * SIDE + SIDE // 2


def crosses(page, cells, ink=(60, 60, 70)):
    for r, c in np.argwhere(cells):
        x, y = hole(r, c)
        for a, b in (((4, 4), (SIDE - 4, SIDE - 4)), ((SIDE - 4, 4), (4, SIDE - 4))):
            cv2.line(page, (x + a[0], y + a[1]), (x + b[0], y + b[1]), ink, 2, cv2.LINE_AA)


def draw_stroke(page, a, b, ink):
    cv2.line(page, hole(*a), hole(*b), ink, 3, cv2.LINE_AA)


def soft(page):
    """Return the sheet as a camera sees it, a little out of focus and with some grain."""
    grain = np.random.default_rng(9).normal(0, 3, page.shape)
    return np.clip(cv2.GaussianBlur(page, (0, 0), 0.7) + grain, 0, 255).astype(np.uint8)


def dotted(page, cells):
    for r, c in np.argwhere(cells):
        cv2.circle(page, middle(r, c), 4, (30, 30, 30), -1, cv2.LINE_AA)


@pytest.fixture
def cells():
    found = np.zeros((ROWS, COLS), bool)
    found[3:12, 4:13] = np.random.default_rng(2).random((9, 9)) < 0.6
    return found


def steps(lines):
    return {tuple(map(tuple, sorted(line.tolist()))) for line in lines}


def test_rows_of_pluses_are_no_lines_between_the_lines():
    """Their arms look like a grid of half the pitch, which is not there on the bare squares."""
    page = blank_sheet()
    plus = np.zeros((ROWS, COLS), bool)
    plus[2:13, 2:16] = True
    for r, c in np.argwhere(plus):
        x, y = middle(r, c)
        cv2.line(page, (x - 7, y), (x + 7, y), (40, 40, 160), 3)
        cv2.line(page, (x, y - 7), (x, y + 7), (40, 40, 160), 3)
    assert np.array_equal(read_squares(soft(page)).cells, plus)


@pytest.mark.parametrize(("level", "seed"), [("normal", 3027), ("scan", 2707), ("scan", 2655)])
def test_rows_of_marks_darker_than_the_lines_are_not_the_grid(level, seed):
    """Triangles, dots and crosses in rows: the printed lines are found between them."""
    photo = make_photo(seed, level)
    assert score(photo, read_squares(photo.image), 0.0).grid


def test_firm_lines_are_not_the_grid_if_there_are_faint_ones_between():
    """Crosses hide much of the faint ones; the lattice of every second line shows better."""
    photo = make_photo(3279, "scan")
    assert score(photo, read_squares(photo.image), 0.0).grid


def test_strokes_across_squares_that_run_beside_each_other_are_no_marks(cells):
    page = blank_sheet()
    dotted(page, cells)
    rising = [((15, 11 + k), (14, 12 + k)) for k in (0, 1)] + [((14, 12), (13, 13)), ((13, 13), (12, 14))]
    for a, b in rising:
        draw_stroke(page, a, b, (40, 40, 40))
    reading = read_squares(soft(page))
    assert np.array_equal(reading.cells, cells)
    assert steps(reading.lines) == {tuple(sorted(line)) for line in rising}


def test_fills_that_run_over_the_line_are_no_strokes():
    page = blank_sheet()
    cells = np.zeros((ROWS, COLS), bool)
    cells[3:12, 4:13] = True
    over = 3
    page[MARGIN + 3 * SIDE + 2 : MARGIN + 12 * SIDE + over, MARGIN + 4 * SIDE + 2 : MARGIN + 13 * SIDE - 2] = (
        90,
        90,
        100,
    )
    reading = read_squares(soft(page))
    assert np.array_equal(reading.cells, cells)
    assert len(reading.lines) == 0


def test_a_filled_last_column_at_the_edge_of_the_sheet_is_read(cells):
    page = blank_sheet()
    cells[:, -1] = True
    cells[4:9, -1] = False
    for r, c in np.argwhere(cells):
        x, y = hole(r, c)
        page[y + 1 : y + SIDE - 1, x + 1 : x + SIDE - 1] = (70, 100, 190)
    page[:, MARGIN + COLS * SIDE + 1 :] = (110, 80, 60)  # a table
    assert np.array_equal(read_squares(soft(page)).cells, cells)


def filled(page, cells):
    for r, c in np.argwhere(cells):
        x, y = hole(r, c)
        page[y + 1 : y + SIDE - 1, x + 1 : x + SIDE - 1] = (60, 60, 62)


@pytest.mark.parametrize("edge", ["top", "bottom", "left", "right"])
def test_a_row_all_of_marks_at_the_edge_of_the_picture_is_read(cells, edge):
    page = blank_sheet()
    along = {"top": np.s_[0], "bottom": np.s_[-1], "left": np.s_[:, 0], "right": np.s_[:, -1]}[edge]
    cells[along] = True
    filled(page, cells)
    low, high, right = MARGIN - 1, MARGIN + ROWS * SIDE - 1, MARGIN + COLS * SIDE - 1
    cut = {"top": np.s_[low:], "bottom": np.s_[:high], "left": np.s_[:, low:], "right": np.s_[:, :right]}[edge]
    assert np.array_equal(read_squares(soft(page[cut])).cells, cells)


def test_a_table_as_dark_as_the_marks_is_no_row(cells):
    page = blank_sheet()
    filled(page, cells)
    page[MARGIN + ROWS * SIDE + 1 :] = (60, 60, 62)
    page = np.vstack([page, page[-MARGIN:], page[-MARGIN:]])
    assert np.array_equal(read_squares(soft(page)).cells, cells)


def test_a_round_shape_is_not_taken_for_filled_blocks():
    rows, cols = np.mgrid[0:30, 0:26]
    cells = np.hypot(rows - 15, cols - 13) < 11
    page = blank_sheet(30, 26)
    dotted(page, cells)
    assert np.array_equal(read_squares(soft(page)).cells, cells)


def test_a_dot_between_two_strokes_is_a_mark(cells):
    page = blank_sheet()
    cells[5:8, 14] = True
    dotted(page, cells)
    for c in (14, 15):
        draw_stroke(page, (4, c), (9, c), (20, 20, 20))
    reading = read_squares(soft(page))
    assert np.array_equal(reading.cells, cells)
    assert steps(reading.lines) == {((r, c), (r + 1, c)) for r in range(4, 9) for c in (14, 15)}


def test_a_stroke_along_most_of_a_printed_line_is_found(cells):
    page = blank_sheet()
    dotted(page, cells)
    draw_stroke(page, (1, 2), (1, 17), (30, 30, 150))
    reading = read_squares(soft(page))
    assert np.array_equal(reading.cells, cells)
    assert steps(reading.lines) == {((1, c), (1, c + 1)) for c in range(2, 17)}


def test_a_stroke_beside_and_between_fills_is_found():
    page = blank_sheet()
    cells = np.zeros((ROWS, COLS), bool)
    cells[3:12, 4:9] = True
    cells[5:8, 9:13] = True
    for r, c in np.argwhere(cells):
        x, y = hole(r, c)
        cv2.rectangle(page, (x + 1, y + 1), (x + SIDE - 2, y + SIDE - 2), (150, 120, 90), -1)
    draw_stroke(page, (2, 9), (10, 9), (20, 20, 20))
    reading = read_squares(soft(page))
    assert np.array_equal(reading.cells, cells)
    assert steps(reading.lines) == {((r, 9), (r + 1, 9)) for r in range(2, 10)}


@pytest.mark.parametrize("turn", [0.0, 0.3])
def test_the_edge_of_a_shadow_is_no_stroke(cells, turn):
    page = blank_sheet()
    dotted(page, cells)
    y, x = np.mgrid[0 : page.shape[0], 0 : page.shape[1]]
    inside = x + turn * y > MARGIN + 13.2 * SIDE + turn * 150
    shade = cv2.GaussianBlur(np.where(inside, 0.6, 1.0), (0, 0), 2.0)
    reading = read_squares(np.round(soft(page) * shade[..., None]).astype(np.uint8))
    assert np.array_equal(reading.cells, cells)
    assert len(reading.lines) == 0


def test_a_word_that_begins_in_the_margin_adds_no_squares(cells):
    page = blank_sheet()
    dotted(page, cells)
    cv2.putText(
        page, "two strands", (6, MARGIN + 14 * SIDE), cv2.FONT_HERSHEY_SIMPLEX, 0.45, (60, 60, 60), 1, cv2.LINE_AA
    )
    assert np.array_equal(read_squares(soft(page)).cells, cells)


def test_of_rows_hardly_in_view_those_with_marks_are_kept():
    outside = np.zeros((6, 10), bool)
    outside[0, :9] = outside[5, :9] = True
    inked = np.zeros((6, 10), bool)
    inked[5, 9] = True
    assert trimmed(Extent(2, 3, 8, 13), outside, inked) == Extent(3, 3, 8, 13)
    assert trimmed(Extent(2, 3, 8, 13), outside, ~outside) == Extent(2, 3, 8, 13)


def test_small_squares_are_drawn_larger_for_checking(cells):
    page = blank_sheet()
    dotted(page, cells)
    small = cv2.resize(page, None, fx=0.7, fy=0.7, interpolation=cv2.INTER_AREA)
    reading = read_squares(small)
    overlay = draw_overlay(small, reading)
    side = 0.7 * SIDE * overlay.shape[0] / small.shape[0]
    assert side >= 24
    assert abs(overlay.shape[0] / overlay.shape[1] - small.shape[0] / small.shape[1]) < 0.01
    assert max(draw_overlay(small, reading, longest=200).shape) == 200
