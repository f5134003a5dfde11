"""The steps to the outline of pale parts, each against a slow definition or a case worked out by hand."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy import ndimage

from converter.raster.axis import ink_depth
from converter.raster.edges import rim_of, span
from converter.raster.silhouette import _apart_from_paper, _open_paper, _surface, find_silhouette

Y, X = np.mgrid[:120, :160]


def paper(slope=(0.0, 0.0), bend=(0.0, 0.0), twist=0.0, middle=200.0):
    """Light on paper: a surface of second degree over rows and columns from -1 to 1."""
    y, x = 2 * (Y + 0.5) / 120 - 1, 2 * (X + 0.5) / 160 - 1
    return middle + slope[0] * y + slope[1] * x + bend[0] * y * y + bend[1] * x * x + twist * x * y


@pytest.mark.parametrize(
    "light",
    [{}, {"slope": (20, 0)}, {"slope": (0, -20)}, {"bend": (-25, 0)}, {"bend": (0, -25)}, {"twist": 15},
     {"slope": (10, -15), "bend": (-12, -6), "twist": 5}],
)  # fmt: skip
def test_the_light_of_the_paper_is_taken_out(light):
    """A square 60 levels darker than the paper is so wherever it lies; paper is within three levels of itself."""
    surface = paper(**light)
    picture = surface.copy()
    picture[30:60, 40:90] -= 60
    apart, least = _apart_from_paper(np.rint(picture).astype(np.uint8))
    assert least == 18.0
    assert np.abs(apart[30:60, 40:90].astype(float) - 60).max() <= 3
    apart[30:60, 40:90] = 0
    assert apart.max() <= 3
    # Brighter than paper is not apart from it.
    lit = np.rint(np.where((X > 40) & (X < 90) & (Y > 30) & (Y < 60), surface + 20, surface)).astype(np.uint8)
    assert _apart_from_paper(lit)[0].max() <= 3


@pytest.mark.parametrize("colour", [0, 1, 2])
def test_the_component_that_differs_most_tells(colour):
    picture = np.repeat(np.rint(paper(slope=(8, 8)))[:, :, None], 3, axis=2)
    picture[30:60, 40:90, colour] -= 50
    picture[30:60, 40:90, (colour + 1) % 3] -= 20
    apart, _ = _apart_from_paper(picture.astype(np.uint8))
    assert np.abs(apart[30:60, 40:90].astype(float) - 50).max() <= 2 and apart.shape == (120, 160)


def test_things_on_a_part_of_the_rim_do_not_move_the_paper():
    picture = np.rint(paper(slope=(15, -10)))
    picture[:, :12] -= 80
    apart, least = _apart_from_paper(picture.astype(np.uint8))
    assert least == 18.0 and np.abs(apart[:, :12].astype(float) - 80).max() <= 3 and apart[:, 12:].max() <= 2


@pytest.mark.parametrize(("spread", "least"), [(3.0, 18.0), (6.0, 24.3), (10.0, 40.5)])
def test_noise_raises_what_counts_as_apart(spread, least):
    """Half of all normal values are within 0.6745 of their standard deviation; six times that, at least 18."""
    rng = np.random.default_rng(1)
    noisy = np.rint(paper(middle=180) + rng.normal(0, spread, (120, 160))).clip(0, 255).astype(np.uint8)
    assert _apart_from_paper(noisy)[1] == pytest.approx(least, rel=0.12)


def test_black_paper_is_no_darker_than_black():
    """The fitted light runs below 0 towards a dark corner: held there, nothing is darker than it."""
    dark = np.clip(paper(slope=(40, 40), middle=30), 0, 255)
    apart, _ = _apart_from_paper(np.rint(dark).astype(np.uint8))
    assert apart[:20, :30].max() <= 1


def test_terms_of_the_surface():
    at = np.array([0.0, 0.5, 1.0, 0.75]), np.array([0.0, 0.5, 1.0, 0.25])
    assert _surface(*at).tolist() == [
        [1, -1, 1, -1, 1, 1], [1, 0, 0, 0, 0, 0], [1, 1, 1, 1, 1, 1], [1, 0.5, 0.25, -0.5, 0.25, -0.25],
    ]  # fmt: skip


def test_rims_spans_and_distances_by_their_definitions():
    rng = np.random.default_rng(2)
    rim = rim_of((5, 7))
    assert rim.sum() == 2 * 5 + 2 * 7 - 4 and not rim[1:-1, 1:-1].any()
    levels = rng.integers(0, 256, (20, 25), dtype=np.uint8)
    for side in (3, 11):
        slow = ndimage.maximum_filter(levels, side) - ndimage.minimum_filter(levels, side)
        assert np.array_equal(span(levels, side), slow)
    mask = rng.random((30, 40)) < 0.01
    # The distance of 5 by 5 masks is right to two parts in a hundred (G. Borgefors, CVGIP 34, 1986).
    assert ink_depth(~mask, 1) == pytest.approx(ndimage.distance_transform_edt(~mask), rel=0.03)


@pytest.mark.parametrize(("area", "open_"), [(121, True), (120, False)])
@pytest.mark.parametrize("turn", [False, True])
def test_openings_of_more_than_thirty_stitches_show_paper(area, open_, turn):
    """100 pixels on the longer side for 50 stitches: a stitch is four pixels."""
    like = np.ones((60, 100), dtype=bool)
    like[10:50, 10:90] = False
    like[20:30, 20:32] = True
    like[30, 20 : 20 + area - 120] = True
    like[5, 5] = False
    # Touching the outer paper with a corner is not being joined to it.
    like[10:20, 10] = False
    like = like.T.copy() if turn else like
    found = _open_paper(like, 50)
    found = found.T if turn else found
    assert found[0, 0] and found[20, 20] == open_ and not found[15, 15] and not found[5, 5]


def test_a_corner_does_not_join_paper_to_paper():
    like = np.zeros((30, 30), dtype=bool)
    like[:10] = True
    like[10, 5:8] = False
    like[10, 8] = False
    like[10:14, 10:14] = True
    assert _open_paper(like, 10)[12, 12]
    apart = np.zeros((30, 30), dtype=bool)
    apart[:10, :10] = True
    apart[10:14, 10:14] = True
    assert not _open_paper(apart, 10)[12, 12]


def scene(step=60, rim_dark=0, wide=1.0):
    """A disc ``step`` levels darker than its paper, blurred, with so many dark pixels on the picture's rim."""
    picture = np.full((200, 200), 230.0)
    picture[np.hypot(*(np.mgrid[:200, :200] - 99.5)) < 60] -= step
    picture = cv2.GaussianBlur(picture, (0, 0), wide)
    picture[0, :rim_dark] = 40
    return np.rint(picture).astype(np.uint8)


@pytest.mark.parametrize(("dark", "found"), [(0, True), (119, True), (120, False)])
def test_seventeen_twentieths_of_the_rim_are_paper(dark, found):
    """Of its 796 pixels up to 119 may be something else."""
    lines = find_silhouette(scene(rim_dark=dark), np.zeros((200, 200), bool), 40)
    assert (lines is not None) is found


@pytest.mark.parametrize(("step", "found"), [(16, False), (24, True), (60, True)])
def test_an_area_must_be_eighteen_levels_darker(step, found):
    assert (find_silhouette(scene(step), np.zeros((200, 200), bool), 40) is not None) is found


@pytest.mark.parametrize(("wide", "found"), [(0.8, True), (1.2, True), (5.0, False), (9.0, False)])
def test_a_soft_edge_is_none(wide, found):
    """Half of the step over eleven pixels lies within three up to a blur of some 1.9 pixels (error function)."""
    assert (find_silhouette(scene(wide=wide), np.zeros((200, 200), bool), 40) is not None) is found


@pytest.mark.parametrize("side", [0, 1, 2, 3])
def test_an_edge_close_to_ink_is_drawn_already(side):
    """A stitch is three pixels here (120 of the disc for 40): ink up to 2.5 pixels away covers, farther not."""
    picture = scene()
    far = np.hypot(*(np.mgrid[:200, :200] - 99.5))
    seen = {}
    for gap in (0, 1, 2, 5, 7):
        ink = (far >= 60 + gap) & (far < 62 + gap) & (np.mgrid[:200, :200][1] > 100)
        dark = np.where(ink, 30, picture).astype(np.uint8)
        lines = find_silhouette(np.rot90(dark, side), np.rot90(ink, side), 40)
        assert lines is not None
        lines = np.rot90(lines, -side)
        assert lines[90:110, 36:44].any(), "the side without ink"
        seen[gap] = bool(lines[90:110, 150:162].any())
    assert not seen[0] and not seen[1] and seen[7]


@pytest.mark.parametrize(("length", "found"), [(2.0, False), (4.5, True)])
def test_pieces_shorter_than_three_stitches_are_left_out(length, found):
    """A disc but for a stretch of its edge has an outline of ink; a stitch is three pixels."""
    far, angle = np.hypot(*(np.mgrid[:200, :200] - 99.5)), np.arctan2(*(np.mgrid[:200, :200] - 99.5))
    # Within five pixels of ink, at either end, an edge is not told by itself.
    half = (length * 3 / 2 + 5.5) / 60
    ink = (np.abs(far - 60) < 2) & (np.abs(angle) > half)
    dark = np.where(ink, 30, scene()).astype(np.uint8)
    lines = find_silhouette(dark, ink, 40)
    assert (lines is not None) is found
    if found:
        assert (np.abs(angle[lines]) < 2 * half).all()


@pytest.mark.parametrize("stitches", [20, 40, 60])
def test_lines_lie_within_four_fifths_of_a_stitch_inside_the_edge(stitches):
    far = np.hypot(*(np.mgrid[:200, :200] - 99.5))
    lines = find_silhouette(scene(), np.zeros((200, 200), bool), stitches)
    stitch = max(2.0, 120 / stitches)
    inside = 60 - far
    assert (inside[lines] > -1.5).all()
    assert (inside[lines] < 0.8 * stitch + 2).all() and lines[(inside > 0.5) & (inside < 0.8 * stitch - 1)].all()
    assert lines.shape == (200, 200) and lines.dtype == np.bool_


@pytest.mark.parametrize(("step", "found"), [(6, False), (14, True)])
def test_a_faint_step_on_a_soft_shade_is_no_outline(step, found):
    """Half of the 18 levels that part drawing and paper must lie within three pixels."""
    far = np.hypot(*(np.mgrid[:300, :300] - 149.5))
    shade = 15 * np.clip((130 - far) / 60, 0, 1)
    picture = np.rint(230 - shade - step * (far < 40)).astype(np.uint8)
    assert (find_silhouette(picture, np.zeros((300, 300), bool), 40) is not None) is found


def test_a_single_dark_pixel_is_nothing():
    picture = np.full((100, 100), 230, dtype=np.uint8)
    picture[50, 50] = 100
    assert find_silhouette(picture, np.zeros((100, 100), bool), 40) is None
