"""Thinning to lines."""

import cv2
import numpy as np
import pytest
import skimage.data
from skimage.measure import euler_number

from converter.pixels.thinning import thin_to_lines


def parts(mask):
    return cv2.connectedComponents(mask.view(np.uint8), connectivity=8)[0]


@pytest.mark.parametrize("passes", [3, 200])
def test_parts_and_holes_stay(passes):
    """Euler numbers (bit quads, S. B. Gray 1971) before and after, counted by scikit-image."""
    rng = np.random.default_rng(4)
    blobs = cv2.GaussianBlur(rng.standard_normal((150, 170)), (0, 0), 3) > 0.05
    for mask in (blobs, ~skimage.data.horse().astype(bool)):
        line = thin_to_lines(mask, passes)
        assert not (line & ~mask).any()
        assert parts(line) == parts(mask)
        assert euler_number(line, connectivity=2) == euler_number(mask, connectivity=2)


@pytest.mark.parametrize("width", [2, 3, 6, 9])
@pytest.mark.parametrize("slope", [0.0, 0.3, 0.5, 1.0])
def test_a_stroke_becomes_one_thin_line_from_end_to_end(width, slope):
    y, x = np.mgrid[0:140, 0:120]
    mask = (np.abs(y - 15 - slope * x) < width / 2 * np.hypot(1, slope)) & (x >= 10) & (x < 110)
    line = thin_to_lines(mask, 200)
    assert parts(line) == 2
    columns = np.flatnonzero(line.any(axis=0))
    assert columns[0] <= 12 + width and columns[-1] >= 107 - width
    middle = line[:, 30:90]
    assert middle.any(axis=0).all() and middle.sum() <= 60 * 1.35


def test_wide_parts_keep_an_area_in_the_middle():
    mask = np.zeros((60, 60), bool)
    mask[5:55, 5:55] = True
    line = thin_to_lines(mask, 5)
    assert line[11:49, 11:49].all()
    assert not thin_to_lines(np.zeros((4, 5), bool), 3).any()
