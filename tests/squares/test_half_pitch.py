"""Lattices that marks make: of half the pitch, or turned."""

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))
sys.path.insert(0, str(Path(__file__).parent))

from bench_squares import score
from make_squared_paper import make_photo
from test_drawn_sheets import COLS, MARGIN, ROWS, SIDE, soft

from converter.squares import pitch, read_squares

EVERY = 2 * SIDE
"""Pixels of a square here."""


def sheet_with(pluses, fine):
    """Return a sheet with squares of two usual ones a side, with pluses on or with lines between, and its crossings."""
    high, wide = ROWS * SIDE, COLS * SIDE
    page = np.full((high + 2 * MARGIN, wide + 2 * MARGIN, 3), 245, np.uint8)
    for at in range(0, wide + 1, SIDE if fine else EVERY):
        page[MARGIN : MARGIN + high, MARGIN + at - 1 : MARGIN + at + 1] = 170
    for at in range(0, high + 1, SIDE if fine else EVERY):
        page[MARGIN + at - 1 : MARGIN + at + 1, MARGIN : MARGIN + wide] = 170
    for r, c in np.argwhere(pluses):
        x, y = MARGIN + c * EVERY + SIDE, MARGIN + r * EVERY + SIDE
        cv2.line(page, (x - SIDE + 3, y), (x + SIDE - 3, y), (120, 120, 120), 2)
        cv2.line(page, (x, y - SIDE + 3), (x, y + SIDE - 3), (120, 120, 120), 2)
    i, j = np.indices((ROWS // 2 + 1, COLS // 2 + 1))
    return soft(page), np.stack([MARGIN + EVERY * i, MARGIN + EVERY * j], axis=-1) - 0.5


def hollow(pluses, fine):
    picture, nodes = sheet_with(pluses, fine)
    source = pitch.Source(picture, np.full(3, 1 / 3, np.float32))
    half = nodes[:-1, :-1] + EVERY / 2
    return pitch._hollow(source, nodes), pitch._hollow(source, half)


def test_squares_without_lines_between_are_counted_where_there_are_lines_all_round():
    """Among pluses the bare squares are; between the arms of the pluses, and in finer grids, there are none."""
    pluses = np.zeros((ROWS // 2, COLS // 2), bool)
    pluses[3:, 3:] = True
    own, between = hollow(pluses, fine=False)
    assert own > pitch._MANY_HOLLOW
    assert between == 0
    assert hollow(np.zeros_like(pluses), fine=True) == (0, 0)


def test_faint_pluses_nearly_all_over_the_sheet_do_not_halve_its_squares():
    photo = make_photo(8210, "normal")
    assert score(photo, read_squares(photo.image), 0.0).grid


@pytest.mark.parametrize(("level", "seed"), [("scan", 8205), ("normal", 8359)])
def test_the_lines_of_a_field_of_crosses_are_not_the_grid(level, seed):
    """Neither every second one, where printed lines are seen on a strip of bare paper alone, nor all of them."""
    photo = make_photo(seed, level)
    assert score(photo, read_squares(photo.image), 0.0).grid
