"""The standard orientation: all eight images of a picture lead to one."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from converter.raster.frame import ORIENTATIONS, find_standing, quarter_turn

PICTURES = hnp.arrays(np.uint8, st.tuples(st.integers(1, 6), st.integers(1, 6)), elements=st.integers(0, 3))


@given(PICTURES)
def test_all_eight_images_stand_alike(picture):
    first = find_standing(picture)
    expected = first.orientation.apply(picture)
    for each in ORIENTATIONS:
        image = each.apply(picture)
        standing = find_standing(image)
        assert np.array_equal(standing.orientation.apply(image), expected)
        assert standing.symmetries == first.symmetries


@given(PICTURES)
def test_symmetries_are_exactly_those_that_leave_the_picture_unchanged(picture):
    standing = find_standing(picture)
    upright = standing.orientation.apply(picture)
    same = {each for each in ORIENTATIONS[1:] if np.array_equal(each.apply(upright), upright)}
    assert set(standing.symmetries) == same


@given(PICTURES, st.sampled_from(ORIENTATIONS))
def test_the_inverse_leads_back(picture, each):
    assert np.array_equal(each.inverse().apply(each.apply(picture)), picture)


@pytest.mark.parametrize("each", ORIENTATIONS)
def test_the_matrix_leads_from_the_image_to_the_picture(each):
    picture = np.arange(12).reshape(3, 4)
    image = each.apply(picture)
    matrix = each.matrix(picture.shape)
    for row in range(image.shape[0]):
        for col in range(image.shape[1]):
            r, c, _ = matrix @ [row + 0.5, col + 0.5, 1]
            assert image[row, col] == picture[int(r), int(c)]


def test_quarter_turns_are_clockwise():
    picture = np.array([[0, 1, 2], [3, 4, 5]])
    for quarters, turn in enumerate((0, 90, 180, 270)):
        assert np.array_equal(quarter_turn(turn).apply(picture), np.rot90(picture, -quarters))
