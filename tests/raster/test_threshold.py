"""Otsu's threshold against published and open values."""

import numpy as np
import pytest
import skimage.data
from skimage.filters import threshold_otsu as reference

from converter.raster.threshold import threshold_otsu


def test_lecture_example():
    """6 x 6 image, levels 0-5 with counts 8 7 2 6 9 4 (a well-known lecture example): background is 0 to 2."""
    levels = np.repeat(np.arange(6, dtype=np.uint8), [8, 7, 2, 6, 9, 4]).reshape(6, 6)
    assert threshold_otsu(levels) == 2


def test_digits_of_the_scikit_image_test_suite():
    """skimage/filters/tests/test_thresholding.py: threshold 2, 11 cells above."""
    rows = ["00135", "01434", "12541", "24521", "45100"]
    image = np.array([[int(d) for d in row] for row in rows], dtype=np.uint8)
    assert threshold_otsu(image) == 2
    assert (image > 2).sum() == 11


@pytest.mark.parametrize(
    ("name", "expected"), [("coins", 107), ("camera", 102), ("page", 157), ("text", 109), ("moon", 87)]
)
def test_open_pictures(name, expected):
    """scikit-image's own pictures; its test suite bounds coins by 106 and 108."""
    image = getattr(skimage.data, name)()
    assert threshold_otsu(image) == expected == reference(image)
