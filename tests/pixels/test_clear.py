"""Pictures with clear parts."""

import numpy as np
import pytest

from converter.pixels.clear import put_on_white


def test_clear_pixels_show_white_paper():
    picture = np.array(
        [[[0, 100, 200, 255], [0, 100, 200, 0], [0, 100, 201, 128], [255, 255, 255, 77]]], dtype=np.uint8
    )
    # 128 of 255: half and a little of the colour, the rest white, rounded.
    assert put_on_white(picture).tolist() == [[[0, 100, 200], [255, 255, 255], [127, 177, 228], [255, 255, 255]]]
    plain = picture[:, :, :3].copy()
    assert put_on_white(plain) is plain
    assert put_on_white(plain[:, :, 0]).shape == (1, 4)


def test_white_on_clear_is_seen_by_its_shape():
    picture = np.full((8, 12, 4), 255, dtype=np.uint8)
    picture[:, :, 3] = np.linspace(0, 255, 12).astype(np.uint8)
    assert np.array_equal(put_on_white(picture), np.repeat(255 - picture[:, :, 3:], 3, axis=2))


@pytest.mark.parametrize("alpha", [0, 100, 255])
def test_white_paper_stays_white(alpha):
    """All clear, all faint or all there: nothing is drawn."""
    picture = np.full((8, 12, 4), 255, dtype=np.uint8)
    picture[:, :, 3] = alpha
    assert put_on_white(picture).min() == 255


def test_a_dark_part_keeps_the_white_ones_white():
    picture = np.full((8, 12, 4), 255, dtype=np.uint8)
    picture[:4, :, 3] = 0
    picture[6, 6, :3] = 30
    seen = put_on_white(picture)
    assert seen[6, 6].tolist() == [30, 30, 30]
    seen[6, 6] = 255
    assert seen.min() == 255
