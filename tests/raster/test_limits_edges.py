"""Limits of small steps, each looked at just on both sides of it."""

from __future__ import annotations

from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from helpers.axes import plain_axis
from scipy import ndimage

from converter.raster import light, look, midtone, photo, readability, repair, silhouette, strokes, take, vote
from converter.raster.around import blur, count_round, grow, majority, shrink, square
from converter.raster.axis import _ends_free, find_diagonals, find_straights
from converter.raster.deskew import find_tilt
from converter.raster.dots import stamp_dots
from converter.raster.edges import is_even, rim_of, sharp_pieces, steps
from converter.raster.fields import find_field_edges
from converter.raster.grid import find_phase, lay_plain
from converter.raster.kind import Kind
from converter.raster.light import Ink, _drop_pale_specks
from converter.raster.mirror import Symmetry
from converter.raster.prepare import prepare_picture
from converter.raster.reduction import _closer_box, _reach_out, _set_detail
from converter.raster.scaling import laid_on, resize, resize_float, size_at
from converter.raster.structure import Faults
from converter.raster.tone import mean_around, part_colours, shrink_known
from converter.raster.vote import vote_regions
from converter.settings import ChartSettings


def options(columns=None, rows=None, **rest):
    return ChartSettings.from_options(columns=columns, rows=rows, **rest)


def random_mask(seed, shape=(40, 53), share=0.4):
    return np.random.default_rng(seed).random(shape) < share


# Round each pixel, against scipy.


@pytest.mark.parametrize("side", [3, 5, 7])
def test_masks_grow_and_shrink_as_by_scipy(side):
    foot = np.ones((side, side), dtype=bool)
    for seed, share in ((1, 0.05), (2, 0.5), (3, 0.95)):
        mask = random_mask(seed, share=share)
        assert np.array_equal(grow(mask, side), ndimage.binary_dilation(mask, foot))
        assert np.array_equal(shrink(mask, side), ndimage.binary_erosion(mask, foot, border_value=1))
        assert grow(mask, side).dtype == shrink(mask, side).dtype == np.bool_
    assert square(side).tolist() == [[1] * side] * side


@pytest.mark.parametrize("side", [3, 5])
def test_the_majority_is_the_median_of_scipy(side):
    mask = random_mask(8, share=0.5)
    assert np.array_equal(majority(mask, side), ndimage.median_filter(mask.view(np.uint8), side, mode="nearest") > 0)


def test_neighbours_are_counted_as_by_scipy():
    mask = random_mask(4)
    expected = ndimage.convolve(mask.astype(int), np.ones((3, 3), dtype=int), mode="constant")
    assert np.array_equal(count_round(mask), expected)


def test_the_blur_is_a_bell():
    """OpenCV cuts the bell off at some three sigma, and mirrors the picture at its sides."""
    plane = np.random.default_rng(5).random((60, 70)).astype(np.float32)
    assert blur(plane, 2.0) == pytest.approx(ndimage.gaussian_filter(plane, 2.0, mode="mirror"), abs=4e-3)


def test_sizes_of_copies():
    assert size_at((300, 200), 0.5, 1) == (100, 150)
    assert size_at((300, 200, 3), 0.01, 2) == (2, 3) and size_at((300, 200), 0.01, 8) == (8, 8)
    plane = np.arange(24, dtype=np.uint8).reshape(4, 6) * 10
    assert resize(plane, 0.5).shape == (2, 3) and resize(plane, 2.0).shape == (8, 12)
    assert resize(plane, 0.5)[0, 0] == pytest.approx(35 / 255, abs=2 / 255), "the mean of 0, 10, 60 and 70"
    assert resize(plane, 0.01).shape[0] == 1
    gray = plane.astype(np.float32) / 255
    assert resize_float(gray, 1.0) is gray and resize_float(gray, 1.5) is gray
    assert resize_float(gray, 0.5)[0, 0] == pytest.approx(35 / 255)


def test_marks_laid_on_a_picture_as_large_stay():
    mask = random_mask(6)
    assert np.array_equal(laid_on(mask, mask.shape), mask)
    assert np.array_equal(laid_on(mask, (80, 106)), np.repeat(np.repeat(mask, 2, axis=0), 2, axis=1))
    assert not np.array_equal(laid_on(mask, mask.shape, 1.0), mask)


# Edges.


@pytest.mark.parametrize(
    ("near", "far", "kept"),
    [
        (30, 100, False), (31, 100, False), (50, 100, False), (51, 100, True), (3, 10, False), (4, 8, False),
        (5, 8, True),
    ],
)  # fmt: skip
def test_edges_are_sharp_from_half_of_the_step_on(near, far, kept):
    """And soft from three tenths on, which makes pieces; just that much is none."""
    where = np.zeros((12, 30), dtype=bool)
    where[5, 4:26] = True
    plane = np.ones(where.shape, dtype=np.uint8)
    labels, stats, sharp = sharp_pieces(where, near * plane, far * plane)
    assert sharp.tolist() == [False] + ([] if near <= 0.3 * far else [kept])
    assert (labels > 0).any() == (near > 0.3 * far)
    if near > 0.3 * far:
        assert stats[1].tolist() == [4, 5, 22, 1, 22]


@pytest.mark.parametrize(("sharp_pixels", "kept"), [(6, False), (7, True)])
def test_three_tenths_of_a_piece_must_be_sharp(sharp_pixels, kept):
    where = np.zeros((9, 30), dtype=bool)
    where[4, 5:25] = True
    near = np.full(where.shape, 40, dtype=np.uint8)
    near[4, 5 : 5 + sharp_pixels] = 60
    assert sharp_pieces(where, near, np.full_like(near, 100))[2].tolist() == [False, kept]


def test_steps_are_those_of_the_component_that_changes_most_close_by():
    picture = np.zeros((15, 30, 3), dtype=np.uint8)
    picture[:, 15:, 0] = 50
    picture[:, 15:, 2] = 90
    picture[:, 18:, 0] = 255
    near, far = steps(picture)
    assert near[7, 14] == 90 and far[7, 14] == 90, "blue steps most within three pixels"
    assert near[7, 18] == 205 and far[7, 18] == 255 and near[7, 3] == far[7, 3] == 0
    one, wide = steps(picture[:, :, 0].copy())
    assert one[7, 14] == 50 and wide[7, 14] == 255 and wide[7, 9] == 0 and wide[7, 10] == 50


@pytest.mark.parametrize(("off", "share", "even"), [(6, 0.2, True), (7, 0.2, False), (7, 0.04, True), (7, 0.06, False)])
@pytest.mark.parametrize("colour", [False, True])
def test_paper_is_even_within_six_levels_but_for_a_twentieth(off, share, even, colour):
    picture = np.full((51, 51, 3) if colour else (51, 51), 200, dtype=np.uint8)
    picture[5:40, 5:40] = 30
    rim = np.flatnonzero(rim_of((51, 51)))
    assert len(rim) == 200
    flat = picture.reshape(51 * 51, -1)
    flat[rim[: round(share * 200)], -1] = 200 - off
    assert is_even(picture) is even


# Areas of colour.


@pytest.mark.parametrize(("apart", "found"), [(45, False), (46, True)])
def test_colours_of_fields_lie_more_than_forty_five_levels_apart(apart, found):
    picture = np.full((80, 120), 120, dtype=np.uint8)
    picture[:, 60:] = 120 + apart
    body = np.zeros(picture.shape, dtype=bool)
    body[8:72, 8:112] = True
    lines = find_field_edges(picture, body, np.zeros_like(body), 0.0, 10.0)
    assert lines.any() == found and (not found or set(np.nonzero(lines)[1].tolist()) <= {59, 60})
    # Two pixels inside the body, and away from what is drawn.
    if found:
        assert set(np.nonzero(lines)[0].tolist()) == set(range(10, 70))
        drawn = np.zeros_like(body)
        drawn[30, :] = True
        rows = set(np.nonzero(find_field_edges(picture, body, drawn, 3.0, 3.0))[0].tolist())
        assert rows == set(range(10, 27)) | set(range(34, 70))
        # Four stitches long at least.
        assert find_field_edges(picture, body, np.zeros_like(body), 0.0, 15.0).any()
        assert not find_field_edges(picture, body, np.zeros_like(body), 0.0, 15.1).any()


def toned(low, high, broad=30, spots=1, blur_by=0.0):
    """Return a patch of a paler colour on a darker one, and what `_two_tones` needs beside."""
    picture = np.full((90, 120, 3), high, dtype=np.uint8)
    for k in range(spots):
        picture[10 + 16 * k : 22 + 16 * k, 10:30] = low
    if blur_by:
        picture = cv2.GaussianBlur(picture, (0, 0), blur_by)
    gray = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    part = np.zeros(gray.shape, dtype=bool)
    part[4:86, 4:116] = True
    return part, part, picture, gray


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        ((20, 20, 20), (20, 90, 140), True),
        # Sixty apart in a component, twenty-five in gray.
        ((20, 60, 60), (79, 90, 90), False), ((20, 60, 60), (81, 90, 90), True),
        ((20, 60, 20), (120, 60, 80), True), ((20, 60, 20), (81, 60, 28), False),
    ],
)  # fmt: skip
def test_two_tones_are_plainly_apart_in_colour_and_in_gray(low, high, told):
    part, ink, picture, gray = toned(low, high)
    found = midtone._two_tones(part, ink, picture, gray, 6.0)
    assert (found is not None) == told
    if told:
        gray_of = [cv2.cvtColor(np.full((1, 1, 3), each, np.uint8), cv2.COLOR_RGB2GRAY)[0, 0] for each in (low, high)]
        assert found == pytest.approx(gray_of, abs=0.5)


def test_two_tones_need_room():
    """Six tenths of a square stitch of the darker, two fifths of the paler, 1.2 stitches to its middle, sharp edges."""
    part, ink, picture, gray = toned((20, 20, 20), (20, 90, 140))
    for pixels, told in ((19.9, True), (20.1, False)):
        # 240 pixels are dark.
        assert (midtone._two_tones(part, ink, picture, gray, pixels) is not None) == told
    # A strip of ink on the paler 14 or 16 pixels wide: 7 or 8 to its middle, for 7.2.
    for wide, told in ((14, False), (16, True)):
        strip = np.zeros_like(ink)
        strip[40 : 40 + wide] = True
        assert (midtone._two_tones(part, strip, picture, gray, 6.0) is not None) == told
    soft = toned((20, 20, 20), (20, 90, 140), blur_by=4.0)
    assert midtone._two_tones(*soft, 6.0) is None
    assert midtone._two_tones(np.zeros_like(part), ink, picture, gray, 6.0) is None
    # The paler holds two fifths of what lies two pixels inside the part: 43 of 108 columns, or 44.
    for dark_columns, told in ((65, False), (64, True)):
        much = np.full_like(picture, (20, 90, 140))
        much[:, : 6 + dark_columns] = (20, 20, 20)
        gray = cv2.cvtColor(much, cv2.COLOR_RGB2GRAY)
        assert (midtone._two_tones(part, ink, much, gray, 6.0) is not None) == told


# Light and dark.


@pytest.mark.parametrize(("span", "same"), [(39, False), (41, True)])
def test_colours_stand_for_light_and_dark_only_where_gray_says_nothing(span, same):
    """Red on blue; their gray reaches over less than forty levels or more."""
    picture = np.full((40, 60, 3), (60, 60, 220), dtype=np.uint8)
    gray = np.full((40, 60), 100, dtype=np.uint8)
    picture[10:20, 10:30] = (200, 30, 60)
    gray[10:20, 10:30] = 100 - span
    made = part_colours(picture, gray)
    assert (made is gray) == same
    if not same:
        # What is rarer is dark, on levels from 10 to 245.
        assert made[15, 15] < 20 and made[2, 2] > 235


def test_of_colours_as_frequent_the_redder_is_dark():
    picture = np.full((40, 60, 3), (60, 120, 200), dtype=np.uint8)
    picture[:, :30] = (190, 70, 60)
    gray = np.full((40, 60), 110, dtype=np.uint8)
    made = part_colours(picture, gray)
    assert made[0, 0] < 20 and made[0, 50] > 235
    # Colours less than eighty levels apart are one colour.
    near = picture.copy()
    near[:, :30] = (120, 110, 190)
    assert part_colours(near, gray) is gray
    plain = gray.copy()
    assert part_colours(plain, plain) is plain


def test_the_mean_around_is_that_of_what_is_known():
    rng = np.random.default_rng(7)
    values = rng.normal(0, 1, (50, 40)).astype(np.float32)
    known = rng.random((50, 40)) < 0.7
    weight, total = shrink_known(known, values)
    assert weight.shape == total.shape == (50, 40)
    assert np.array_equal(weight > 0.5, known) and total[known] == pytest.approx(values[known], abs=1e-6)
    assert not total[~known].any()
    out = mean_around(weight, total)
    # With more than a quarter known within three pixels those alone count.
    three = ndimage.uniform_filter(weight, 3, mode="nearest")
    mean = ndimage.uniform_filter(total, 3, mode="nearest") / np.maximum(three, 1e-6)
    sure = three > 0.251
    assert sure.sum() > 1500 and out[sure] == pytest.approx(mean[sure], abs=1e-4)
    big = shrink_known(np.ones((300, 400), dtype=bool), np.full((300, 400), 2, np.float32))
    assert big[0].shape == (150, 200) and big[1] == pytest.approx(2.0)


def test_where_little_is_known_the_mean_of_all_counts():
    known = np.zeros((700, 700), dtype=bool)
    known[0, 0] = True
    weight, total = known.astype(np.float32), known * np.float32(3)
    assert mean_around(weight, total)[600, 600] == pytest.approx(3.0)
    assert mean_around(weight, total)[0, 0] == pytest.approx(3.0)
    assert mean_around(np.zeros_like(weight), np.zeros_like(weight))[5, 5] == 0


@pytest.mark.parametrize(
    ("area", "shade", "gone"), [(3, 0.9, True), (199, 0.37, True), (199, 0.39, False), (201, 0.3, False)]
)
def test_pale_grains_of_shading_go(area, shade, gone):
    """Of 10 pixels a stitch: up to two square stitches and paler than 0.38, or up to twelve pixels."""
    mask, depth = np.zeros((60, 120), dtype=bool), np.full((60, 120), 0.9, dtype=np.float32)
    mask[5:55, 5:60] = True
    at = np.stack(np.divmod(np.arange(area), 15), axis=1) + np.array([20, 80])
    mask[at[:, 0], at[:, 1]] = True
    depth[at[:, 0], at[:, 1]] = shade
    made = _drop_pale_specks(mask, depth, 10.0)
    assert made[5:55, 5:60].all() and made[20, 80] != gone and not (made & ~mask).any()


@pytest.mark.parametrize(("area", "gone"), [(12, True), (13, False)])
def test_the_smallest_grains_go_however_dark(area, gone):
    mask, depth = np.zeros((40, 80), dtype=bool), np.full((40, 80), 0.9, dtype=np.float32)
    mask[5:35, 5:40] = True
    mask[20, 50 : 50 + area] = True
    assert _drop_pale_specks(mask, depth, 10.0)[20, 50] != gone


@pytest.mark.parametrize(("share", "torn"), [(0.09, False), (0.11, True), (0.89, True), (0.91, False)])
def test_a_region_is_torn_if_a_tenth_of_its_rim_speaks_against_the_rest(monkeypatch, share, torn):
    """Only then its dark and bright parts are looked at."""
    asked = []
    monkeypatch.setattr(vote, "_ink_share", lambda labels, count, *rest: np.r_[0.0, np.full(count - 1, share)])
    monkeypatch.setattr(vote, "_two_toned", lambda labels, area, *rest: asked.append(1) or np.zeros(len(area), bool))
    band = np.zeros((30, 40), dtype=bool)
    band[:, 20] = True
    plane = np.zeros(band.shape, np.float32)
    ink, paper, large = vote_regions(band, band, plane, plane, 1.0, 10.0)
    assert bool(asked) == torn and ink[5, 5] == (share > 0.5) and paper[5, 5] == large[5, 5] == (share <= 0.5)
    assert ink[5, 20] and not paper[5, 20]


# Strokes.


@pytest.mark.parametrize("pixels", [10, 12])
@pytest.mark.parametrize(("dots", "seen"), [((-2, -1, 0, 1, 2), True), ((-2, -1, 0, 1), False), ((-1, 0, 1, 2), False)])
def test_a_stroke_runs_straight_on_for_two_stitches_both_ways(pixels, dots, seen):
    for way in ((0, 1), (1, 0), (1, 1), (1, -1)):
        pixel = np.array([[100 + k * pixels * way[0], 100 + k * pixels * way[1]] for k in dots])
        axis = plain_axis((pixel + 0.5) / pixels, np.full(len(dots), 0.4), pixel, np.ones(len(dots), dtype=bool))
        found = (*find_straights(axis, (200, 200), pixels), *find_diagonals(axis, (200, 200), pixels))
        values = [each.tolist() for each in found]
        which = {(0, 1): 0, (1, 0): 1, (1, 1): 2, (1, -1): 3}[way]
        expected = {0: 100.5, 1: 100.5, 2: 0.0, 3: 201.0}[which]
        assert values == [[expected] if seen and k == which else [] for k in range(4)]


def test_points_in_the_corner_of_a_picture_are_no_strokes():
    pixel = np.array([[0, 0], [0, 199], [199, 0], [199, 199]])
    axis = plain_axis(pixel / 10, np.full(4, 0.4), pixel, np.ones(4, dtype=bool))
    assert not any(len(each) for each in (*find_straights(axis, (200, 200), 10), *find_diagonals(axis, (200, 200), 10)))


def test_the_first_run_of_points_may_be_free_too():
    at = np.array([[5, c] for c in range(4, 30)])
    some = np.zeros(len(at), dtype=bool)
    some[:4] = True
    assert _ends_free(at, some, (20, 40))[:4].all()
    some[-4:] = True
    assert np.flatnonzero(_ends_free(at, some, (20, 40))).tolist() == [0, 1, 2, 3, 22, 23, 24, 25]
    some[:] = False
    some[10:14] = True
    assert not _ends_free(at, some, (20, 40))[10:14].any()


@pytest.mark.parametrize(
    ("widths", "half"),
    [([1.0], 0.825), ([1.65] * 5, 0.75), ([1.5] * 3 + [1.8] * 5, 0.825), ([1.5, 1.6, 1.65, 1.7], 0.9)],
)
def test_single_strokes_end_where_fewest_are_and_nearest_to_the_middle(widths, half):
    axis = SimpleNamespace(radius=np.array(widths) / 2)
    assert strokes._single_half(axis) == pytest.approx(half, abs=0.026)


@pytest.mark.parametrize("pens", [(2.1,), (2.1, 3.1), (2.1, 3.1, 4.1)])
def test_up_to_three_pens_are_brought_to_whole_stitches(pens):
    """Bars of some pens, each a tenth of a stitch too wide, lose it."""
    pixels = 20
    ink = np.zeros((18 * pixels, 40 * pixels), dtype=bool)
    for k, pen in enumerate(pens):
        top = 60 + 90 * k
        ink[top : top + round(pen * pixels), 80:720] = True
    depth, away = (cv2.distanceTransform(m.view(np.uint8), cv2.DIST_L2, 5) / pixels for m in (ink, ~ink))
    at, radius = [], []
    for k, pen in enumerate(pens):
        middle = 60 + 90 * k + round(pen * pixels) // 2
        cols = np.arange(80 + pixels, 720 - pixels)
        at.append(np.stack([np.full(len(cols), middle), cols], axis=1))
        radius.append(depth[middle, cols])
    pixel, radius = np.concatenate(at), np.concatenate(radius).astype(float)
    axis = plain_axis((pixel + 0.5) / pixels, radius, pixel, np.ones(len(pixel), dtype=bool))
    made = strokes._even_pens(ink, depth.astype(np.float32), away.astype(np.float32), axis, 0.8, pixels)
    for k, pen in enumerate(pens):
        column = made[55 + 90 * k : 145 + 90 * k, 400]
        # A pixel less than whole stitches, see there.
        assert column.sum() == pytest.approx(np.floor(pen) * pixels - 1, abs=1)


# The grid and its box.


def small_grid(cell=10.0):
    return take.lay_plain((0.0, 0.0, 8 * cell, 12 * cell), 12, None)


@pytest.mark.parametrize("across", [True, False])
def test_a_bare_outermost_line_makes_the_box_smaller(across):
    """By as many cells; not if less than two pixels were left."""
    cells = np.zeros((8, 12), dtype=bool)
    cells[1:7, 2:11] = True
    ready = SimpleNamespace(columns=12 if across else None, rows=None if across else 8)
    box = (0.0, 0.0, 80.0, 120.0)
    expected = (0.0, 20.0, 80.0, 110.0) if across else (10.0, 0.0, 70.0, 120.0)
    assert _closer_box(cells, small_grid(), box, ready, options(12)) == expected
    assert _closer_box(cells, small_grid(), box, ready, options(12, trim=False)) is None
    for more, found in ((1.0, False), (1.1, True)):
        narrow = (0.0, 0.0, 80.0, 30 + more) if across else (0.0, 0.0, 20 + more, 120.0)
        assert (_closer_box(cells, small_grid(), narrow, ready, options(12)) is not None) == found
        other = (0.0, 0.0, more, 120.0) if across else (0.0, 0.0, 80.0, more)
        assert (_closer_box(cells, small_grid(), other, ready, options(12)) is not None) == found
    full = np.ones_like(cells)
    assert _closer_box(full, small_grid(), box, ready, options(12)) is None
    assert _closer_box(~full, small_grid(), box, ready, options(12)) is None


@pytest.mark.parametrize("flip", [False, True])
@pytest.mark.parametrize("across", [True, False])
def test_a_pointed_end_is_drawn_beside_the_outermost_stitch(across, flip):
    """In the fullest cell of the outermost line within a cell of a stitch, if more than 0.08 of it is covered."""
    cells = np.zeros((7, 9), dtype=bool)
    cells[2:5, 1] = cells[2:5, -1] = True
    cells[4, 1:9] = cells[:, 3] = cells[6, 2] = True
    cover = np.zeros((7, 9), dtype=np.float32)
    ready = SimpleNamespace(columns=9 if across else None, rows=None if across else 9)

    def drawn(amount, row):
        shares = cover.copy()
        shares[row, 0] = amount
        a, b = cells, shares
        if flip:
            a, b = a[:, ::-1], b[:, ::-1]
        if not across:
            a, b = a.T, b.T
        made = _reach_out(np.ascontiguousarray(a), np.ascontiguousarray(b), ready, Symmetry())
        made = made if across else made.T
        made = made[:, ::-1] if flip else made
        assert np.array_equal(made[:, 1:], cells[:, 1:])
        return np.flatnonzero(made[:, 0]).tolist()

    assert drawn(0.09, 3) == [3] and drawn(0.08, 3) == [] and drawn(0.2, 1) == [1] and drawn(0.2, 5) == [5]
    assert drawn(0.9, 0) == [] and drawn(0.9, 6) == []


@pytest.mark.parametrize(("tidy", "speck"), [(0, 0.0), (25, 0.02), (50, 0.08), (75, 1.08), (100, 4.08)])
def test_specks_go_by_their_size_in_square_stitches(tidy, speck):
    pixels = 20
    for area in (round(speck * 400), round(speck * 400) + 1):
        ink = np.zeros((120, 160), dtype=bool)
        ink[5:55, 5:55] = True
        at = np.stack(np.divmod(np.arange(area), 40), axis=1) + np.array([60, 70])
        ink[at[:, 0], at[:, 1]] = True
        work = SimpleNamespace(pixels=pixels, ink=ink, keep=None)
        made, level = _set_detail(work, options(20, tidy=tidy), 0.0)
        assert level == 0.5 and made.sum() == 2500 + (area if area > speck * 400 else 0)


@pytest.mark.parametrize(("share", "lost"), [(0.69, True), (0.71, False)])
def test_lost_parts_of_the_coarse_ink_come_back(share, lost):
    """If less than seven tenths of its middle is there; parts of which more than half is missing, and that are dark."""
    body = np.zeros((60, 150), dtype=bool)
    body[10:50, 5:45] = body[10:50, 55:95] = body[10:50, 105:145] = True
    ink = body.copy()
    ink[10:50, 5:45] = False
    ink[10:50, 5 : 5 + round(40 * (1 - 3 * (1 - share)))] = True
    depth = np.full(body.shape, 0.9, dtype=np.float32)
    found = Ink(ink, depth, 1.0)
    whole = grow(body)
    assert take._keeps_body(ink, body) != lost
    made = take._with_lost_parts(found, body, lambda: whole)
    assert made[30, 43] == lost and np.array_equal(made, (ink | (whole & (np.arange(150) < 50))) if lost else ink)
    if lost:
        for shade, back in ((0.29, False), (0.31, True)):
            pale = Ink(ink, np.full(body.shape, shade, dtype=np.float32), 1.0)
            assert take._with_lost_parts(pale, body, lambda: whole)[30, 43] == back


def test_a_part_of_which_half_is_there_is_not_lost():
    body = np.zeros((60, 120), dtype=bool)
    body[10:50, 10:50] = body[10:50, 70:110] = True
    for there, back in ((19, True), (20, False), (21, False)):
        ink = np.zeros_like(body)
        ink[10:50, 10 : 10 + there] = ink[10:50, 70:72] = True
        made = take._with_lost_parts(Ink(ink, np.ones(body.shape, np.float32), 1.0), body, lambda: body)
        assert made[30, 45] == back and made[30, 100]
    few = np.zeros_like(body)
    few[10:17, 10:17] = True
    assert take._keeps_body(~few, few) and not take._keeps_body(np.zeros_like(body), body)


@pytest.mark.parametrize(("half", "gone"), [(11, False), (13, True)])
def test_broad_areas_that_the_coarse_copy_shows_bare_are_bare(half, gone):
    """Of 10 pixels a stitch: more than 1.2 stitches to the middle, beyond 0.3 round the known ink."""
    coarse = np.zeros((100, 140), dtype=bool)
    coarse[20:80, 10:30] = True
    ink = coarse.copy()
    ink[50 - half : 50 + half + 1, 30:120] = True
    made = take._without_bare_parts(ink, coarse, 10)
    assert np.array_equal(made, coarse if gone else ink)


# Photographs, silhouettes, tilt.


def test_nothing_is_cut_out_where_nothing_stands(monkeypatch):
    def nothing(small, marks, *rest):
        marks[:] = cv2.GC_BGD

    monkeypatch.setattr(cv2, "grabCut", nothing)
    picture = np.full((60, 80, 3), 90, dtype=np.uint8)
    assert photo.cut_subject(picture, (60, 80), (20.0, 20.0, 80.0, 80.0)) is None
    assert photo.cut_subject(picture, (60, 80), None) is None
    assert photo.cut_subject(picture, (60, 80), (0.0, 0.0, 100.0, 100.0)) is None


def test_a_slender_picture_is_cut_on_a_copy_of_eight_rows(monkeypatch):
    seen = []
    monkeypatch.setattr(cv2, "grabCut", lambda small, marks, *rest: seen.append(marks.copy()))
    for box, side in ((None, 112), ((10.0, 0.0, 50.0, 100.0), 160)):
        photo.cut_subject(np.full((6, 400), 90, dtype=np.uint8), (6, 400), box)
        assert seen[-1].shape == (8, side)
    # From 16 to 80 of 160 columns.
    assert np.flatnonzero((seen[-1] == cv2.GC_PR_FGD).any(axis=0)).tolist() == list(range(16, 80))
    photo.cut_subject(np.full((6, 400), 90, dtype=np.uint8), (6, 400), (90.0, 0.0, 98.0, 100.0))
    assert np.flatnonzero((seen[-1] == cv2.GC_PR_FGD).any(axis=0)).tolist() == list(range(144, 157))
    photo.cut_subject(np.full((400, 6), 90, dtype=np.uint8), (400, 6), None)
    assert seen[-1].shape == (112, 8)


def test_the_mean_of_wide_surroundings_is_that_of_the_subject():
    inside = np.zeros((90, 120), dtype=bool)
    inside[20:70, 30:90] = True
    tone = np.where(inside, np.float32(0.3), np.float32(0.9))
    assert photo._wide_mean(tone, 15.0, inside)[30:60, 40:80] == pytest.approx(0.3, abs=1e-3)
    without = photo._wide_mean(tone, 15.0, None)
    assert without == pytest.approx(ndimage.gaussian_filter(tone, 15.0, mode="mirror"), abs=0.03)
    assert photo._wide_mean(tone, 6.0, None) == pytest.approx(
        ndimage.gaussian_filter(tone, 6.0, mode="mirror"), abs=0.02
    )


def test_the_outline_takes_its_stitches_from_what_is_drawn(monkeypatch):
    """From the first row to the last and the first column to the last, the longer."""
    seen = []
    monkeypatch.setattr(
        silhouette, "sharp_pieces", lambda where, near, far: seen.append(where) or sharp_pieces(where, near, far)
    )
    monkeypatch.setattr(silhouette, "find_field_edges", lambda *args: seen.append(args[3:]) or np.zeros_like(args[1]))
    for turn in (False, True):
        picture = np.full((160, 220), 240, dtype=np.uint8)
        picture[40:121, 60:161] = 190
        picture = picture.T.copy() if turn else picture
        seen.clear()
        silhouette.find_silhouette(picture, np.zeros(picture.shape, dtype=bool), 10, fields=True)
        assert seen[-1] == pytest.approx((7.0, 10.0)), "a hundred pixels are ten stitches"
        silhouette.find_silhouette(picture, np.zeros(picture.shape, dtype=bool), 80, fields=True)
        assert seen[-1] == pytest.approx((2.5, 2.0))


def test_a_drawing_that_tilts_both_ways_alike_stays():
    """A gable of two slopes, three degrees either way, more of one than of the other, or as much."""

    def slopes(left, right):
        y, x = np.mgrid[0:300, 0:400].astype(np.float32)
        rise = np.tan(np.radians(3.0))
        made = np.ones((300, 400), dtype=np.float32)
        for k, way in [(k, 1) for k in range(left)] + [(k, -1) for k in range(right)]:
            off = np.abs(y - 40 - 40 * k + way * rise * (x - 200))
            side = ((x < 190) == (way > 0)) & (np.abs(x - 200) > 10)
            made = np.where(side, np.minimum(made, np.clip(off - 2, 0, 1)), made)
        return cv2.GaussianBlur(made, (0, 0), 1.0)

    assert find_tilt(slopes(6, 6)) == 0.0 and find_tilt(slopes(5, 4)) == 0.0
    assert abs(find_tilt(slopes(6, 1))) == pytest.approx(3.0, abs=0.3)
    assert find_tilt(slopes(6, 1)) == pytest.approx(-find_tilt(slopes(1, 6)), abs=0.1)


# Mending.


def test_all_demands_are_looked_at_and_the_first_weighs_most(monkeypatch):
    """A change that mends the last of three demands is taken, one that harms an earlier is not."""
    cells = np.zeros((14, 14), dtype=bool)
    good, bad = 14 * 6 + 6, 14 * 7 + 7
    cost = np.ones(cells.shape, np.float32)
    cost.ravel()[bad] = 0.1

    def find(trial, want):
        flat = trial.ravel()
        score = {"first": 1.0 * flat[bad], "second": 0.0, "third": 2.0 - 2.0 * flat[good] - 1.0 * flat[bad]}[want]
        return Faults(score, int(score > 0), (("broken", np.array([good])),) if score > 0 else ())

    monkeypatch.setattr(repair, "find_faults", find)
    monkeypatch.setattr(repair, "condense", lambda want: want)
    made = repair.mend(cells, ("first", "second", "third"), cost)
    assert np.flatnonzero(made).tolist() == [good]


def test_stitches_asked_for_are_those_of_the_longer_side():
    picture = np.full((80, 60), 255, dtype=np.uint8)
    picture[20:60, 20:40] = 0
    for columns, rows, stitches in ((20, None, 20), (None, 31, 31), (20, 31, 31), (33, 31, 33)):
        settings = options(columns, rows)
        assert prepare_picture(picture, settings).stitches == stitches


@pytest.mark.parametrize(("side", "copy"), [(800, 400), (640, 400), (300, 300)])
def test_a_photograph_is_looked_at_on_four_hundred_pixels(monkeypatch, side, copy):
    seen = []
    plain = look.tone_mask
    monkeypatch.setattr(look, "tone_mask", lambda gray, *args: seen.append((gray.shape, args[0])) or plain(gray, *args))
    y, x = np.mgrid[0 : side * 3 // 4, 0:side] / side
    picture = np.asarray(128 + 100 * np.sin(9 * x) * np.cos(7 * y), dtype=np.uint8)
    settings = options(40, kind="photo")
    found = look.look_at(prepare_picture(picture, settings), settings)
    assert max(seen[0][0]) == max(found.mask.shape) == copy and seen[0][1] == pytest.approx(10.0)
    assert found.scale == pytest.approx(copy / side)


def test_no_outline_is_looked_for_where_the_ink_shows_it():
    picture = np.full((120, 160), 245, dtype=np.uint8)
    picture[30:90, 40:120] = 20
    ready = prepare_picture(picture, options(30))
    mask = look.resize(ready.gray, 1.0) < 0.5
    assert look._find_outline(ready, mask, True) is None
    assert look._find_outline(ready, np.zeros_like(mask), True) is not None


def test_bare_areas_are_looked_for_only_where_lines_stand_for_them(monkeypatch):
    """A yellow disc with a black dot: its rim is a line. A black ring: none, though it holds as much bare cloth."""
    seen = []
    plain = take._without_bare_parts
    monkeypatch.setattr(take, "_without_bare_parts", lambda *args: seen.append(args[1]) or plain(*args))
    for pale in (True, False):
        picture = np.full((200, 240, 3), 255, dtype=np.uint8)
        cv2.circle(picture, (120, 100), 80, (255, 225, 120) if pale else (20, 20, 20), -1 if pale else 8, cv2.LINE_AA)
        cv2.circle(picture, (120, 100), 10, (20, 20, 20), -1, cv2.LINE_AA)
        settings = options(30)
        seen.clear()
        work = take.take_up(prepare_picture(picture, settings), settings)
        assert bool(seen) == pale and work.ink.any()
        if pale:
            # What is known is the coarse copy's ink without the lines.
            assert 0 < seen[0].mean() < 0.03 and work.ink.mean() > 2 * seen[0].mean()


@pytest.mark.parametrize("most", [0.1, 0.2, 0.3, 0.4, 1.0])
def test_a_grid_leaves_no_more_of_its_sides_bare_than_it_may(most):
    """Phases that leave more of the first or last column outside the box are passed over."""
    ink = np.zeros((80, 126), dtype=bool)
    for k in range(12):
        ink[:, 3 + 10 * k : 8 + 10 * k] = True
    box = (0.0, 3.0, 80.0, 118.0)
    plain = lay_plain(box, 12, None)
    found = find_phase(ink, box, plain, "columns", most_bare=(most, most))
    bare = (box[1] - found.left) / found.cell, (found.left + 12 * found.cell - box[3]) / found.cell
    assert max(bare) <= most + 1e-6 and found.columns == 12


@pytest.mark.parametrize("seed", range(6))
def test_the_sides_of_a_grid_are_told_apart(seed):
    """What the first column may leave bare the last may of the mirrored drawing."""
    rng = np.random.default_rng(seed)
    ink = np.zeros((60, 130), dtype=bool)
    ink[5:55, 5:125] = np.repeat(rng.random(40) < 0.6, 3)[None, :]
    ink[5:55, 5] = ink[5:55, 124] = True
    box = (5.0, 5.0, 55.0, 125.0)
    plain = lay_plain(box, 14, None)
    for first, last in ((0.05, 1.0), (0.15, 0.6), (0.3, 0.1)):
        one = find_phase(ink, box, plain, "columns", most_bare=(first, last))
        other = find_phase(ink[:, ::-1].copy(), box, plain, "columns", most_bare=(last, first))
        assert other.left == pytest.approx(130 - (one.left + 14 * one.cell)) and other.cell == pytest.approx(one.cell)


@pytest.mark.parametrize(("area", "filled"), [(40, True), (41, False)])
def test_the_smallest_holes_are_filled_however_bright(area, filled):
    """Of 10 pixels a stitch up to 0.4 square stitches."""
    mask, depth = np.ones((60, 80), dtype=bool), np.ones((60, 80), dtype=np.float32)
    at = np.stack(np.divmod(np.arange(area), 7), axis=1) + np.array([20, 30])
    mask[at[:, 0], at[:, 1]] = False
    depth[at[:, 0], at[:, 1]] = 0.0
    assert light._fill_gray_holes(mask, depth, 10.0)[20, 30] == filled


@pytest.mark.parametrize(
    ("cells_filled", "stitches", "told"), [(3, 60, False), (4, 60, True), (8, 420, False), (9, 420, True)]
)
def test_lines_that_run_together_are_told_from_four_cells_on(monkeypatch, cells_filled, stitches, told):
    """And from a fiftieth of all stitches on."""
    picture = np.zeros((36 * 12, 36 * 12), dtype=bool)
    cells = np.zeros((36, 36), dtype=bool)
    cells[3:33, 3:33].flat[:stitches] = True
    picture[:] = np.kron(cells, np.ones((12, 12))) > 0
    mush = np.zeros_like(cells)
    mush[10, 5 : 5 + cells_filled] = True
    monkeypatch.setattr(readability, "_filled_in", lambda *args: mush)
    losses = " ".join(map(str, readability.judge(picture, cells, 12).losses))
    assert ("run together" in losses) == told


def test_dots_leave_the_cells_they_were_given_alone():
    ink = np.zeros((16 * 10, 16 * 10), dtype=np.uint8)
    cv2.circle(ink, (52, 52), 9, 1, -1)
    cv2.circle(ink, (112, 108), 12, 1, -1)
    given = np.zeros((16, 16), dtype=bool)
    given[4:7, 4:7] = given[10, 10] = True
    before = given.copy()
    made = stamp_dots(given, ink > 0, 10)
    assert np.array_equal(given, before) and not np.array_equal(made, given)


def test_middle_tones_end_half_way_and_turn_with_a_tilted_picture():
    """A red plate with a black bar, askew or not: the limit lies between the two tones, and the bar alone is inked."""
    for degrees in (0.0, 4.0):
        picture = np.full((300, 340, 3), 255, dtype=np.uint8)
        cv2.rectangle(picture, (60, 50), (280, 250), (214, 60, 50), -1)
        cv2.rectangle(picture, (150, 90), (190, 210), (20, 20, 20), -1)
        turn = cv2.getRotationMatrix2D((170, 150), degrees, 0.9)
        picture = cv2.warpAffine(picture, turn, (340, 300), flags=cv2.INTER_AREA, borderValue=(255, 255, 255))
        settings = options(40)
        found = look.look_at(prepare_picture(picture, settings), settings)
        assert abs(found.tilt) == pytest.approx(degrees, abs=0.3) and found.limits is not None
        tones = [cv2.cvtColor(np.full((1, 1, 3), each, np.uint8), cv2.COLOR_RGB2GRAY)[0, 0] / 255
                 for each in ((214, 60, 50), (20, 20, 20))]  # fmt: skip
        middle = found.mask.shape[0] // 2, found.mask.shape[1] // 2
        assert found.limits[middle] == pytest.approx(sum(tones) / 2, abs=1.2 / 255)
        # The bar is 36 x 108 pixels and the plate's edge some 750 long; the plate itself holds 36,000.
        area = found.mask.sum() / found.mask.size * picture.shape[0] * picture.shape[1]
        assert found.mask[middle] and 36 * 108 < area < 16_000


@pytest.mark.parametrize("dark", [False, True])
def test_the_kind_is_told_with_all_fine_texture_as_grain(monkeypatch, dark):
    """Without mending, on a light ground and on a dark one, which is looked at both ways."""
    seen = []
    plain = look.find_ink
    monkeypatch.setattr(look, "find_ink", lambda *args, **names: seen.append((args, names)) or plain(*args, **names))
    monkeypatch.setattr(look, "tell_kind", lambda ink, gray: Kind("photo", "told so"))
    picture = np.full((200, 260), 20, dtype=np.uint8)
    picture[80:110, 100:140] = 230
    settings = options(30)
    look.look_at(prepare_picture(picture if dark else 255 - picture, settings), settings)
    told = [names for args, names in seen if args[1] == 8.0]
    assert told == [{"mend_grain": False}] * (2 if dark else 1)
