"""Where the grid ends: faint lines, marks at the cut edge of the sheet, rows hidden by marks."""

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from bench_squares import score
from make_squared_paper import make_photo
from test_drawn_sheets import COLS, MARGIN, ROWS, SIDE, blank_sheet, crosses, soft

from converter.squares import read_squares
from converter.squares.extent import _Family, _rows_there, _Verdict

THERE, HARDLY, NONE = _Verdict(True), _Verdict(None), _Verdict(False)
BARE, OUT = _Verdict(False, bare=True), _Verdict(False, out=True)


def family(shown, sides=40, on_paper=40):
    """Return two lines that show a part of a printed line under grain that hides it on any single side."""
    bumps = np.random.default_rng(4).normal(0, 0.5, (2, sides, 5))
    bumps[:, :, 2] += np.reshape(shown, (2, 1))
    paper = np.zeros((2, sides), bool)
    paper[:, :on_paper] = True
    every = np.ones((2, sides), bool)
    return _Family(np.zeros((2, sides)), np.clip(bumps, -1.5, 2.0), paper, every, every, every, every)


def test_a_line_too_faint_for_any_side_is_seen_along_the_row():
    lines = family([0.8, 0.0])
    assert lines.printed((0, slice(0, 40))) == pytest.approx(0.8, abs=0.2)
    assert lines.printed((1, slice(0, 40))) < 0.25


def test_a_line_without_paper_is_not_judged_by_it():
    assert family([1.0, 1.0], on_paper=4).printed((0, slice(0, 40))) is None


def test_a_line_in_a_shadow_is_seen_along_the_row_though_no_paper_is_clean():
    lines = family([0.8, 0.0], on_paper=0)
    assert lines.evenly((0, slice(0, 40))) == pytest.approx(0.8, abs=0.2)
    assert lines.evenly((1, slice(0, 40))) < 0.25


def test_a_last_row_under_words_is_seen_between_them_where_the_light_falls_off():
    photo = make_photo(6535, "normal")
    assert score(photo, read_squares(photo.image), 0.0).grid


def test_a_strip_beyond_rows_of_marks_shows_that_the_grid_goes_on():
    page = blank_sheet(16, 26)
    cells = np.zeros((16, 26), bool)
    cells[1:15, 1:8] = True
    cells[5:9, 12:20] = np.random.default_rng(8).random((4, 8)) < 0.5
    for r, c in np.argwhere(cells):
        x, y = MARGIN + c * SIDE, MARGIN + r * SIDE
        zigzag = [(x + (2 if k % 2 else SIDE - 2), y + 2 + 2 * k) for k in range(8)]
        cv2.polylines(page, [np.array(zigzag, np.int32)], False, (120, 70, 150), 2, cv2.LINE_AA)
    read = read_squares(soft(page[:, MARGIN + SIDE // 3 :])).cells
    assert read.shape[1] in (25, 26)
    assert np.array_equal(read[:, -25:], cells[:, 1:])


@pytest.mark.parametrize("depth", [0.3, 0.5])
def test_rows_in_a_steep_shadow_belong_to_the_grid(depth):
    page = blank_sheet().astype(float)
    high = np.arange(page.shape[0])
    light = np.interp(high, [MARGIN + 2 * SIDE, MARGIN + 7 * SIDE], [depth, 1.0])
    assert read_squares(soft((page * light[:, None, None]).astype(np.uint8))).cells.shape == (ROWS, COLS)


@pytest.mark.parametrize("turns", range(4))
def test_crosses_all_along_the_cut_edge_of_a_sheet_are_read(turns):
    page = blank_sheet()
    cells = np.zeros((ROWS, COLS), bool)
    cells[5:9, 4:12] = np.random.default_rng(5).random((4, 8)) < 0.5
    cells[-1] = True
    crosses(page, cells)
    page[MARGIN + ROWS * SIDE + 1 :] = (96, 84, 70)
    photo = np.rot90(page, turns)
    assert np.array_equal(read_squares(soft(np.ascontiguousarray(photo))).cells, np.rot90(cells, turns))


@pytest.mark.parametrize(
    ("rows", "count"),
    [
        ([], 0),
        ([THERE] * 5 + [NONE, THERE], 5),
        ([THERE] * 5 + [HARDLY, THERE, NONE], 7),
        ([THERE] * 5 + [HARDLY, HARDLY, THERE, NONE], 5),
        ([THERE] * 5 + [HARDLY, HARDLY, THERE, THERE, NONE], 5),
        ([THERE] * 5 + [HARDLY, HARDLY, THERE, OUT], 5),
        ([THERE] * 5 + [HARDLY, HARDLY, _Verdict(True, firm=True), OUT], 8),
        ([THERE] * 5 + [HARDLY, HARDLY, THERE, THERE, THERE, NONE], 10),
        ([THERE] * 5 + [HARDLY] * 5 + [THERE, THERE, THERE, NONE], 5),
        ([THERE] * 5 + [_Verdict(None, light=True)] * 3 + [THERE, THERE, NONE], 10),
        ([THERE] * 5 + [_Verdict(None, light=True)] * 3 + [BARE, THERE, THERE], 5),
        ([THERE] * 5 + [HARDLY, NONE, _Verdict(True, surely=True), BARE], 8),
        ([THERE] * 5 + [HARDLY] * 5 + [_Verdict(False, surely=True, out=True), OUT], 10),
        ([THERE] * 5 + [_Verdict(None, lined=True), BARE], 6),
        ([THERE] * 5 + [_Verdict(None, lined=True), NONE], 5),
    ],
)
def test_rows_from_the_inside_out(rows, count):
    assert _rows_there(rows) == count
