"""The picture of what was lost: pale grays, the marks its only colour, at a size for a screen."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from converter.draw.contrast import contrast_ratio
from converter.draw.losses import losses_bytes, losses_picture

RED = (180, 20, 30)


def _drawing(channels: int = 3) -> np.ndarray:
    """Return a red bar on white paper, 60 by 90."""
    picture = np.full((60, 90, channels), 255, dtype=np.uint8)
    picture[20:40, 10:80, :3] = RED
    return picture


def _marked(*places: tuple[slice, slice]) -> np.ndarray:
    mask = np.zeros((60, 90), dtype=bool)
    for place in places:
        mask[place] = True
    return mask


def _hex(pixel: np.ndarray) -> str:
    return "#" + bytes(pixel).hex()


def test_only_the_marks_have_colour() -> None:
    """A blue mark on a blue drawing would not be seen: the drawing is gray, whatever its colours."""
    picture = losses_picture(_drawing(), _marked((slice(25, 35), slice(60, 70)))).pixels.astype(int)
    coloured = np.ptp(picture, axis=2) > 0
    ring = (picture == (0, 90, 200)).all(axis=2)
    assert coloured[25:35, 60:70].all()
    assert not coloured[:, :50].any()
    assert ring.any()
    assert not ring[25:35, 60:70].any(), "the ring lies round the part, not on it"


def test_the_drawing_is_still_seen_under_the_marks() -> None:
    picture = losses_picture(_drawing(), _marked((slice(35, 45), slice(30, 60)))).pixels
    inside, outside = picture[37, 45], picture[43, 45]
    assert contrast_ratio(_hex(inside), _hex(outside)) > 1.5


def test_an_unmarked_picture_has_no_colour() -> None:
    pixels = losses_picture(_drawing(), _marked()).pixels
    assert (np.ptp(pixels.astype(int), axis=2) == 0).all()
    assert pixels[0, 0].tolist() == [255, 255, 255]


@pytest.mark.parametrize("size", [(60, 90), (3000, 20), (20, 3000), (2400, 2400)])
def test_it_fits_a_screen(size: tuple[int, int]) -> None:
    picture = losses_picture(np.full(size, 200, dtype=np.uint8), np.ones(size, dtype=bool))
    high, wide = picture.index.shape
    assert max(high, wide) <= 1200
    assert max(high, wide) == min(1200, max(size))
    assert abs(high / wide - size[0] / size[1]) <= 1 / min(high, wide) * max(high, wide) / min(high, wide)


def test_clear_parts_are_paper() -> None:
    """Black under no opacity is nothing: as on white paper (W3C PNG, third edition, 13.16)."""
    clear = _drawing(4)
    clear[:, :, :3][clear[:, :, 0] == 255] = 0
    clear[:, :, 3] = np.where(clear[:, :, 0] == 0, 0, 255)
    assert np.array_equal(losses_picture(clear, _marked()).index, losses_picture(_drawing(), _marked()).index)


def test_the_file_says_what_the_picture_says() -> None:
    mask = _marked((slice(0, 9), slice(0, 9)))
    opened = Image.open(io.BytesIO(losses_bytes(_drawing(), mask))).convert("RGB")
    assert np.array_equal(np.asarray(opened), losses_picture(_drawing(), mask).pixels)
