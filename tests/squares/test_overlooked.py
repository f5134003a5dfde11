"""Marks fainter than the grain are told by their shape, where there are several."""

import cv2
import numpy as np
import pytest

from converter.squares.overlooked import overlooked

SIDE, COUNT, GRAIN = 7, 400, 0.02


def shape(kind):
    """Return the fields of a mark, drawn by hand: a little larger or smaller, not quite in the middle."""
    page = np.zeros((140, 140), np.float32)
    if kind == "cross":
        cv2.line(page, (28, 20), (112, 116), 1.0, 20)
        cv2.line(page, (114, 26), (24, 110), 1.0, 20)
    elif kind == "stroke":
        cv2.line(page, (116, 22), (26, 112), 1.0, 22)
    else:
        cv2.circle(page, (66, 74), 44, 1.0, 20)
    return page.reshape(SIDE, 20, SIDE, 20).mean(axis=(1, 3)).ravel()


def bare(seed=1):
    return np.random.default_rng(seed).normal(0.0, GRAIN, (COUNT, SIDE * SIDE))


@pytest.mark.parametrize("kind", ["cross", "stroke", "ring"])
def test_faint_marks_of_a_shape_are_found_amid_grain(kind):
    fields, marked = bare(), np.zeros(COUNT, bool)
    marked[5::30] = True
    fields[marked] += 3.5 * GRAIN * shape(kind)
    assert np.array_equal(overlooked(fields, SIDE), marked)


def test_grain_and_uneven_shade_hold_no_marks():
    shade = np.random.default_rng(3).normal(0.0, 0.1, (COUNT, 1))
    for seed in range(5):
        assert not overlooked(bare(seed) + shade, SIDE).any()


def test_a_few_are_no_proof():
    fields = bare()
    fields[[10, 50, 90, 130]] += 3 * GRAIN * shape("cross")
    assert not overlooked(fields, SIDE).any()
