"""From which strength on a square holds a mark."""

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from test_drawn_sheets import COLS, ROWS, blank_sheet, crosses, middle, soft

from converter.squares import read_squares
from converter.squares.mark_threshold import faint_border, find_border, maybe_faint

RNG = np.random.default_rng(6)
BARE = RNG.normal(0.015, 0.003, 2000)
DARK = RNG.normal(0.6, 0.05, 70)


def borders(faint, in_middle, thin):
    """Return the border before and after faint squares are looked for; the others are marks or bare paper."""
    values = np.concatenate([BARE, DARK, faint])
    before, _bare = find_border(values)
    middles, edges = values.copy(), 0.3 * values
    middles[len(values) - len(faint) :] = in_middle * faint
    edges[len(values) - len(faint) :] = thin * faint
    maybe = maybe_faint(values, middles, before)
    return before, faint_border(values, edges, maybe, before)


def test_a_few_faint_marks_are_told_from_paper_beside_dark_ones():
    faint = RNG.uniform(0.06, 0.25, 40)
    before, after = borders(faint, 1.0, 0.3)
    assert before > np.median(faint)
    assert BARE.max() < after < faint.min()


@pytest.mark.parametrize(("in_middle", "thin"), [(0.2, 0.3), (1.0, 0.02)])
def test_spilt_ink_and_shadows_are_no_faint_marks(in_middle, thin):
    before, after = borders(RNG.uniform(0.06, 0.25, 40), in_middle, thin)
    assert after == before


def test_three_faint_squares_are_none():
    before, after = borders(np.array([0.12, 0.13, 0.14]), 1.0, 0.3)
    assert after == before


def fill(page, where, tone):
    for r, c in np.argwhere(where):
        x, y = middle(r, c)
        page[y - 8 : y + 8, x - 8 : x + 8] = tone


def test_pencil_crosses_beside_ink_are_read():
    page = blank_sheet()
    ink, pencil = np.zeros((2, ROWS, COLS), bool)
    ink[2:6, 2:15] = np.random.default_rng(3).random((4, 13)) < 0.6
    pencil[8:14, 3:16] = np.random.default_rng(4).random((6, 13)) < 0.25
    fill(page, ink, 25)
    crosses(page, pencil, (205, 205, 205))
    assert np.array_equal(read_squares(soft(page)).cells, ink | pencil)


def test_black_squares_in_the_edge_of_a_shadow_are_marks():
    page = blank_sheet().astype(float)
    crossed, fills = np.zeros((2, ROWS, COLS), bool)
    crossed[2:7, 9:16] = np.random.default_rng(3).random((5, 7)) < 0.6
    fills[[4, 8, 12], [3, 4, 5]] = True
    fill(page, fills, 60)
    crosses(page, crossed, (90, 90, 90))
    down, right = np.mgrid[: page.shape[0], : page.shape[1]]
    shade = np.where(right - 0.4 * down < 40, 0.75, 1.0)
    photo = page * cv2.GaussianBlur(shade, (0, 0), 3)[..., None]
    assert np.array_equal(read_squares(soft(photo.astype(np.uint8))).cells, crossed | fills)
