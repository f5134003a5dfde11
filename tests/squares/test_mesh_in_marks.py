"""Where the grid lies among marks, in perspective, in shadow and beside a table."""

import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))
sys.path.insert(0, str(Path(__file__).parent))

from bench_squares import offset_of, score
from make_squared_paper import make_photo
from test_drawn_sheets import COLS, MARGIN, ROWS, SIDE, blank_sheet, filled, hole, middle, soft

from converter.squares import mesh, read_squares, shade


def in_perspective(rows, cols):
    """Return crossings (row, col) by the formula of a pinhole camera, the far side up, about 20 pixels a square."""
    r, c = np.mgrid[:rows, :cols].astype(float)
    depth = 1.6 - 0.012 * r + 0.004 * c
    return np.stack([32 * r / depth, 32 * (c - cols / 2) / depth], axis=-1)


@pytest.mark.parametrize("edge", range(4))
def test_a_mesh_goes_on_as_a_sheet_in_perspective_does(edge):
    true = in_perspective(46, 40)
    grow = [0, 0, 0, 0]
    grow[edge] = 12
    known = true[grow[0] : 46 - grow[2], grow[1] : 40 - grow[3]]
    apart = np.hypot(*np.moveaxis(mesh.extend(known, tuple(grow)) - true, 2, 0))
    assert apart.max() < 0.1


def test_a_small_mesh_goes_on_evenly():
    r, c = np.mgrid[:9, :9].astype(float)
    nodes = np.stack([20 * r + c, 18 * c - r], axis=-1)
    wider = mesh.extend(nodes, (2, 3, 4, 1))
    r, c = np.mgrid[-2:13, -3:10].astype(float)
    assert np.allclose(wider, np.stack([20 * r + c, 18 * c - r], axis=-1))


def test_bars_of_marks_do_not_draw_the_grid_off():
    """Triangles have a bar close to the line below them; the sheet is flat, so all crossings are known."""
    page = blank_sheet()
    cells = np.zeros((ROWS, COLS), bool)
    cells[3:14, 3:15] = True
    for r, c in np.argwhere(cells):
        x, y = hole(r, c)
        corners = np.array([[x + SIDE * 0.5, y + 3], [x + SIDE - 4, y + SIDE - 4], [x + 4, y + SIDE - 4]], np.int32)
        cv2.polylines(page, [corners], True, (40, 40, 40), 2, cv2.LINE_AA)
    reading = read_squares(soft(page))
    assert np.array_equal(reading.cells, cells)
    assert len(reading.lines) == 0
    r, c = np.indices((ROWS + 1, COLS + 1))
    at = np.stack([r, c], axis=-1) * SIDE + MARGIN - 0.5
    assert np.abs(reading.corners - at).max() < 0.07 * SIDE


def test_firm_pluses_on_faint_lines_are_not_the_grid():
    page = np.full_like(blank_sheet(), 246)
    page[blank_sheet()[..., 0] < 200] = (246, 238, 226)
    cells = np.zeros((ROWS, COLS), bool)
    cells[4:13, 2:-2] = True
    for r, c in np.argwhere(cells):
        x, y = middle(r, c)
        cv2.line(page, (x - 6, y), (x + 6, y), (200, 90, 100), 2, cv2.LINE_AA)
        cv2.line(page, (x, y - 6), (x, y + 6), (200, 90, 100), 2, cv2.LINE_AA)
    assert np.array_equal(read_squares(cv2.GaussianBlur(page, (0, 0), 0.6)).cells, cells)


def test_no_shadow_is_as_small_as_a_square():
    light = np.zeros((6, 7))
    light[:, 4:] = 0.5
    spotted = light.copy()
    spotted[2, 1], spotted[4, 5] = 0.5, 0.0
    assert np.allclose(shade._without_islands(spotted), light)


def shaded(page, turn):
    """Return the sheet with a hard shadow over the lower right, its edge slanting by ``turn``."""
    y, x = np.mgrid[: page.shape[0], : page.shape[1]]
    dark = 1 / (1 + np.exp(-(y + turn * x - 0.5 * page.shape[0] - 0.5 * turn * page.shape[1]) / 2.0))
    return np.clip(page * (1 - 0.45 * dark[..., None]), 0, 255)


@pytest.mark.parametrize("turn", [0.2, 0.7, 1.6])
@pytest.mark.parametrize("mark", ["ring", "fill"])
def test_marks_on_the_edge_of_a_shadow_are_read(turn, mark):
    page = blank_sheet()
    cells = np.zeros((ROWS, COLS), bool)
    cells[2:14, 3:15] = np.random.default_rng(4).random((12, 12)) < 0.5
    if mark == "fill":
        filled(page, cells)
    else:
        for r, c in np.argwhere(cells):
            cv2.circle(page, middle(r, c), 5, (70, 70, 75), 2, cv2.LINE_AA)
    assert np.array_equal(read_squares(soft(shaded(page, turn))).cells, cells)


def test_a_row_of_fills_beside_a_table_nearly_as_dark_is_read():
    page = blank_sheet()
    cells = np.zeros((ROWS, COLS), bool)
    cells[4:9, 5:13] = np.random.default_rng(6).random((5, 8)) < 0.6
    cells[-1] = True
    filled(page, cells)
    end = MARGIN + ROWS * SIDE
    page[end:] = (38, 38, 40)
    page = np.vstack([page, page[-MARGIN:], page[-MARGIN:]])
    assert np.array_equal(read_squares(soft(page)).cells, cells)


@pytest.mark.parametrize("seed", range(3))
def test_grain_of_a_table_is_no_row_of_squares(seed):
    """The sheet is printed to its edge; the table beside it has grain along and is hardly in view."""
    page = blank_sheet()
    cells = np.zeros((ROWS, COLS), bool)
    cells[3:12, 4:13] = np.random.default_rng(seed).random((9, 9)) < 0.5
    for r, c in np.argwhere(cells):
        cv2.circle(page, middle(r, c), 5, (40, 40, 40), 2, cv2.LINE_AA)
    sheet = page[MARGIN - 1 : MARGIN + ROWS * SIDE + 1, MARGIN - 1 : MARGIN + COLS * SIDE + 1]
    high, wide = sheet.shape[0] + 60, sheet.shape[1] + 60
    grain = np.random.default_rng(seed + 20).normal(0, 18, (high // 6 + 1, 1))
    table = np.repeat(np.repeat(grain, 6, axis=0)[:high], wide, axis=1)[..., None] + np.array([115, 112, 105])
    table[30:-30, 30:-30] = sheet
    assert np.array_equal(read_squares(soft(np.clip(table, 0, 255))).cells, cells)


def test_an_outermost_row_in_shade_at_the_edge_of_the_sheet_is_kept():
    """Its outer line is the cut of the sheet, and most of its squares are bare: only the lines that lead to it show."""
    photo = make_photo(5019, "normal")
    result = score(photo, read_squares(photo.image), 0.0)
    assert result.grid
    assert result.wrong == 0


def test_a_crossing_outside_the_photo_need_only_be_nearest_to_its_own():
    photo = make_photo(4, "scan", pixels=20, squares=(22, 18), marks=["cross"], lines=False, writing=0, frame=False)
    outside = (photo.corners < -0.5).any(-1) | (photo.corners > np.array(photo.image.shape[:2]) - 0.5).any(-1)
    assert outside.any()
    off = np.where(outside[..., None], [0.0, 8.0], 0.0)
    assert offset_of(photo, photo.corners + off)[1]
    shown = replace(photo, corners=photo.corners + 0.0)
    off[~outside] = [0.0, 8.0]
    assert not offset_of(shown, photo.corners + off)[1]
    assert not offset_of(photo, photo.corners + np.where(outside[..., None], [0.0, 25.0], 0.0))[1]
