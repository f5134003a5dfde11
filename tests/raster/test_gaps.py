"""Bare lines between areas of colour: which edges get one, and that the chart shows it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage.measure import label

from converter import chart_from_image
from converter.pipeline import reduce_picture
from converter.raster.gaps import find_gaps
from converter.settings import ChartSettings

ORANGE, GREEN, RED, BROWN = (240, 120, 20), (20, 120, 60), (210, 30, 40), (110, 60, 30)
STITCH = 10.0


def two_halves(left, right, width: int = 300) -> np.ndarray:
    """A field of two colours on white; they meet at column 200."""
    picture = np.full((300, 400, 3), 255, dtype=np.uint8)
    picture[50:250, 200 - width // 2 : 200] = left
    picture[50:250, 200 : 200 + width // 2] = right
    return picture


def ink_of(picture: np.ndarray) -> np.ndarray:
    return np.asarray(picture.min(axis=2) < 200)


def test_a_bare_line_parts_two_broad_areas() -> None:
    for picture in (two_halves(ORANGE, GREEN), two_halves(GREEN, ORANGE), two_halves(RED, BROWN)):
        gaps = find_gaps(picture, ink_of(picture), STITCH)
        assert gaps is not None
        middle = gaps[60:240]
        assert middle[:, 195:205].all(), "a stitch wide at least, on the edge"
        assert not middle[:, :190].any() and not middle[:, 210:].any()
        turned = find_gaps(np.ascontiguousarray(np.rot90(picture)), np.rot90(ink_of(picture)).copy(), STITCH)
        assert turned is not None and turned.sum() == pytest.approx(gaps.sum(), rel=0.03)


def test_colours_of_equal_darkness_are_parted_too() -> None:
    picture = two_halves((200, 40, 40), (40, 118, 40))
    gray = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    assert abs(int(gray[150, 100]) - int(gray[150, 300])) < 6
    assert find_gaps(picture, ink_of(picture), STITCH) is not None


@pytest.mark.parametrize(
    "picture",
    [
        two_halves(ORANGE, ORANGE),
        two_halves((200, 40, 40), (180, 30, 30)),
        two_halves(ORANGE, GREEN, 40),
    ],
    ids=["one colour", "a shade of it", "two strips of two stitches"],
)
def test_no_line_is_left_bare(picture: np.ndarray) -> None:
    assert find_gaps(picture, ink_of(picture), STITCH) is None


def test_an_outline_stays_whole() -> None:
    """A pen of two stitches round a field: a bare line beside it would leave a thread of crosses, or none."""
    picture = np.full((300, 400, 3), 255, dtype=np.uint8)
    cv2.ellipse(picture, (200, 150), (150, 110), 0, 0, 360, GREEN, -1, cv2.LINE_AA)
    cv2.ellipse(picture, (200, 150), (150, 110), 0, 0, 360, (20, 20, 20), 20, cv2.LINE_AA)
    assert find_gaps(picture, ink_of(picture), STITCH) is None


def test_a_soft_shade_has_no_edge() -> None:
    picture = two_halves(ORANGE, GREEN)
    ramp = np.linspace(0, 1, 300)[:, None]
    picture[50:250, 50:350] = np.rint((1 - ramp) * ORANGE + ramp * np.array(GREEN)).astype(np.uint8)
    assert find_gaps(picture, ink_of(picture), STITCH) is None


def fruit(leaf=GREEN) -> np.ndarray:
    picture = np.full((600, 600, 3), 255, dtype=np.uint8)
    cv2.circle(picture, (300, 350), 200, RED, -1, cv2.LINE_AA)
    cv2.ellipse(picture, (330, 150), (140, 60), 20, 0, 360, leaf, -1, cv2.LINE_AA)
    return picture


@pytest.mark.parametrize("columns", [30, 50, 80])
def test_the_chart_shows_the_leaf(columns: int) -> None:
    apart = reduce_picture(fruit(), ChartSettings.from_options(columns=columns))
    one = reduce_picture(fruit(RED), ChartSettings.from_options(columns=columns))
    # Areas are parted where no side of a cross of the one lies at a side of one of the other.
    assert label(apart.cells, connectivity=1).max() == 2 and label(one.cells, connectivity=1).max() == 1
    assert "parted by a bare line" in str(apart.reason) and "parted" not in str(one.reason)
    assert apart.readability > 80
    filled = reduce_picture(fruit(), ChartSettings.from_options(columns=columns, dark=1))
    assert label(filled.cells, connectivity=1).max() == 1, "asked for darker, all of it is filled"


def test_a_photograph_of_it_is_left_as_it_is() -> None:
    """In light that falls from a side edges between colours may be edges of shadows."""
    lit = fruit().astype(np.float32) * np.linspace(1, 0.75, 600, dtype=np.float32)[None, :, None]
    noise = np.random.default_rng(2).normal(0, 2, lit.shape)
    found = reduce_picture(np.clip(lit + noise, 0, 255).astype(np.uint8), ChartSettings.from_options(columns=50))
    assert "parted" not in str(found.reason)


def test_no_backstitch_closes_the_bare_line() -> None:
    picture = np.full((600, 600, 3), 255, dtype=np.uint8)
    cv2.rectangle(picture, (60, 60), (540, 540), GREEN, -1)
    cv2.circle(picture, (300, 300), 130, RED, -1, cv2.LINE_AA)
    chart = chart_from_image(picture, 60)
    middles = chart.lines.mean(axis=1)
    away = np.hypot(*(middles - [30, 30]).T)
    assert not (away < 20).any(), "none round the disc"
    assert not chart.cells[30, 12:16].all(), "the bare line"
