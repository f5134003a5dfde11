"""The small filters against SciPy's ndimage, a general library."""

import numpy as np
import pytest
from scipy import ndimage

from converter.squares import filters


@pytest.fixture
def values():
    return np.random.default_rng(8).random((23, 31))


@pytest.mark.parametrize("sigma", [0.7, 1.5, 3.0])
def test_gaussian_is_that_of_ndimage(values, sigma):
    assert np.allclose(filters.gaussian(values, sigma), ndimage.gaussian_filter(values, sigma, mode="constant"))
    assert np.allclose(
        filters.gaussian(values, sigma, edge=True), ndimage.gaussian_filter(values, sigma, mode="nearest")
    )


def test_box_lowest_highest_and_median(values):
    assert np.allclose(filters.box(values, 5), ndimage.uniform_filter(values, 5, mode="constant"))
    assert np.allclose(filters.lowest(values, 9), ndimage.minimum_filter(values, 9, mode="nearest"))
    assert np.allclose(filters.highest(values, 3), ndimage.maximum_filter(values, 3, mode="nearest"))
    assert np.allclose(filters.median3(values), ndimage.median_filter(values, 3, mode="nearest"))
    assert np.allclose(filters.running_median(values, 15), ndimage.median_filter(values, (1, 15), mode="nearest"))


@pytest.mark.parametrize("part", [0.0, 0.15, 0.5, 1.0])
def test_quantile_near_is_a_rank_filter(values, part):
    rank = round(part * 80)
    expected = ndimage.rank_filter(values.astype(np.float32), rank, size=9, mode="nearest")
    assert np.allclose(filters.quantile_near(values, part, 9), expected)


def test_widened_and_groups(values):
    mask = values > 0.85
    assert np.array_equal(filters.widened(mask), ndimage.binary_dilation(mask, np.ones((3, 3))))
    labels, count = filters.groups(mask)
    expected, number = ndimage.label(mask, np.ones((3, 3)))
    assert count == number
    pairs = {(int(a), int(b)) for a, b in zip(labels.ravel(), expected.ravel(), strict=True)}
    assert len(pairs) == number + 1


def test_smooth_line_is_that_of_ndimage():
    line = np.random.default_rng(3).random(80)
    assert np.allclose(filters.smooth_line(line, 2.0), ndimage.gaussian_filter1d(line, 2.0, mode="constant"))
