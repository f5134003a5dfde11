"""The small steps of the reduction, each worked out by hand on a few pixels."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest
from helpers.text_grids import grid, shown

from converter.errors import RequestError, UsageError
from converter.model.chart import MAX_SIDE
from converter.raster.components import label_ink, label_parts
from converter.raster.deskew import find_tilt, turn_back
from converter.raster.dots import stamp_dots
from converter.raster.frame import ORIENTATIONS, Orientation
from converter.raster.grid import (
    MARGIN,
    Grid,
    _beside_corners,
    _shrink,
    _unclear,
    find_phase,
    lay_mask,
    lay_plain,
    lay_tone,
)
from converter.raster.kind import edges_elsewhere, line_or_shape, tell_kind, toning
from converter.raster.light import Ink
from converter.raster.mirror import (
    HALF_TURN,
    LEVEL,
    UPRIGHT,
    Symmetry,
    even_mask,
    find_symmetry,
    first_of_orbit,
    orbits,
)
from converter.raster.morphology import disc, drop_small, fill_small, simplify_mask
from converter.raster.prepare import _box_inside, _mask, _same_proportions, _span, _turn_box, prepare_picture
from converter.raster.threshold import threshold_otsu
from converter.raster.tone import median, to_gray
from converter.settings import ChartSettings


def options(columns=None, rows=None, **rest):
    return ChartSettings.from_options(columns=columns, rows=rows, **rest)


# Parts, discs, specks.


def test_labels_of_parts_and_holes():
    cells = grid("#..#", ".#..", "...#")
    count, labels = label_ink(cells)
    assert count == 3 and labels.max() == 3 and ((labels > 0) == cells).all() and labels[0, 0] == labels[1, 1]
    four, area = label_parts(cells, 4)
    assert four.max() == 4 and area.tolist() == [8, 1, 1, 1, 1]
    assert label_parts(cells, 8)[1].tolist() == [8, 2, 1, 1]


@pytest.mark.parametrize(
    ("radius", "rows"),
    [
        (-1.0, ["#"]),
        (0.0, ["#"]),
        (0.99, ["#"]),
        (1.0, [".#.", "###", ".#."]),
        (1.41, [".#.", "###", ".#."]),
        (1.4143, ["###", "###", "###"]),
        (2.0, ["..#..", ".###.", "#####", ".###.", "..#.."]),
    ],
)
def test_discs(radius, rows):
    if radius < 0:
        assert disc(radius).shape == (1, 1)
    else:
        assert shown(disc(radius) > 0) == rows


def test_specks_up_to_a_size_go_and_holes_up_to_a_size_are_filled():
    mask = grid("##..#", "#....", "...#.", "..#..")
    assert shown(drop_small(mask, 1)) == ["##...", "#....", "...#.", "..#.."]
    assert shown(drop_small(mask, 2)) == ["##...", "#....", ".....", "....."]
    assert shown(drop_small(mask, 1, 4)) == ["##...", "#....", ".....", "....."]
    assert drop_small(mask, 0) is mask
    ring = grid("####", "#.##", "##.#", "####")
    assert fill_small(ring, 1).all() and shown(fill_small(ring, 0.9)) == shown(ring)
    two = grid("####", "#..#", "####")
    assert shown(fill_small(two, 1)) == shown(two) and fill_small(two, 2).all()


def test_gaps_narrower_than_twice_the_radius_are_closed():
    for gap, closed in ((4, True), (5, False)):
        mask = np.zeros((40, 60), dtype=bool)
        mask[10:30, 10:25] = mask[10:30, 25 + gap : 50] = True
        assert simplify_mask(mask, 2.0)[20, 25 : 25 + gap].all() == closed
    thin = np.zeros((20, 20), dtype=bool)
    thin[10, 3:17] = True
    # Strokes stay as thin as they are; below one pixel nothing is done at all.
    assert np.array_equal(simplify_mask(thin, 2.0), thin) and simplify_mask(thin, 0.99) is thin
    # Openings of up to 8 radii squared are filled: 32 pixels, and 67.
    big = np.ones((40, 40), dtype=bool)
    big[10:18, 10:18] = False
    assert not simplify_mask(big, 2.0)[13, 13] and simplify_mask(big, 2.9)[13, 13]


# Tones.


def test_gray_of_the_three_colours():
    """Rec. 601 luma: 0.299, 0.587, 0.114 (ITU-R BT.601)."""
    picture = np.array([[[255, 0, 0], [0, 255, 0], [0, 0, 255], [80, 80, 80]]], dtype=np.uint8)
    assert to_gray(picture).tolist() == [[76, 150, 29, 80]]
    assert to_gray(picture[:, :, 0]).tolist() == [[255, 0, 0, 80]]


def test_median_equals_numpys():
    rng = np.random.default_rng(2)
    for size in (1, 2, 3, 4, 9, 10, 101):
        values = rng.random(size)
        assert median(values) == pytest.approx(np.median(values))
    assert median(np.array([[5.0, 1.0], [2.0, 2.0]])) == 2.0


def slow_otsu(levels):
    """Between-class variance of every threshold from its definition; of several best ones the lowest."""
    best, chosen = -1.0, 0
    for level in range(256):
        dark, light = levels[levels <= level], levels[levels > level]
        if dark.size and light.size:
            value = round(dark.size * light.size * (dark.mean() - light.mean()) ** 2, 6)
            if value > best:
                best, chosen = value, level
    return chosen


def test_threshold_equals_its_definition():
    rng = np.random.default_rng(3)
    for count in (2, 3, 8, 40):
        for _ in range(6):
            levels = rng.integers(0, 256, count, dtype=np.uint8)
            if len(set(levels.tolist())) > 1:
                assert threshold_otsu(levels) == slow_otsu(levels.astype(float))
    assert threshold_otsu(np.array([0, 255], dtype=np.uint8)) == 0
    assert threshold_otsu(np.array([254, 255], dtype=np.uint8)) == 254


# Preparing.


@pytest.mark.parametrize(
    ("low", "high", "size", "span"),
    [(0, 100, 50, (0, 50)), (10, 60, 50, (5, 30)), (10.1, 59.9, 50, (5, 30)), (9.9, 60.1, 50, (4, 31)),
     (50, 50.1, 50, (25, 26)), (99.9, 100, 3, (2, 3)), (100 / 3, 200 / 3, 3, (1, 2)), (50, 50, 50, (25, 26))],
)  # fmt: skip
def test_percent_to_pixels_rounded_outwards(low, high, size, span):
    assert _span(low, high, size) == span
    if high - low > 0.5:
        # The mirrored span is the mirror image.
        first, last = _span(100 - high, 100 - low, size)
        assert (size - last, size - first) == span


def test_subject_boxes_are_cut_and_turned_with_the_picture():
    # Of 200 x 100 pixels the columns 50 to 150 and the rows 20 to 70 are kept.
    crop, shape = (50, 20, 150, 70), (100, 200)
    assert _box_inside((25, 20, 75, 70), crop, shape) == pytest.approx((0, 0, 100, 100))
    assert _box_inside((0, 0, 50, 45), crop, shape) == pytest.approx((0, 0, 50, 50))
    assert _box_inside((50, 45, 100, 100), crop, shape) == pytest.approx((50, 50, 100, 100))
    assert _box_inside((30, 30, 40, 40), crop, shape) == pytest.approx((10, 20, 30, 40))
    for box in ((0, 0, 25, 100), (75, 0, 100, 100), (0, 0, 100, 20), (0, 70, 100, 100)):
        assert _box_inside(box, crop, shape) is None
    box = (10, 20, 30, 60)
    assert _turn_box(box, Orientation()) == box
    assert _turn_box(box, Orientation(flip_cols=True)) == (70, 20, 90, 60)
    assert _turn_box(box, Orientation(flip_rows=True)) == (10, 40, 30, 80)
    assert _turn_box(box, Orientation(transpose=True)) == (20, 10, 60, 30)
    assert _turn_box(box, Orientation(True, True, False)) == (20, 70, 60, 90)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [((50, 100), (25, 50), True), ((50, 100), (25, 52), True), ((50, 100), (25, 54), False),
     ((50, 100), (23, 50), False), ((3, 2), (300, 200), True), ((100, 50), (50, 100), False)],
)  # fmt: skip
def test_masks_of_the_same_proportions(one, other, same):
    """Sides rounded, so a pixel and a half off either way."""
    assert _same_proportions(one, other) is same


def test_masks_are_brought_to_the_size_of_the_picture():
    mask = np.zeros((4, 6), dtype=bool)
    mask[:2, :3] = True
    assert _mask("keep", None, (4, 6)) is None
    assert np.array_equal(_mask("keep", mask.astype(int), (4, 6)), mask)
    half = _mask("keep", mask, (2, 3))
    # The second column of the small one is covered by half: it counts.
    assert half.tolist() == [[True, True, False], [False, False, False]]
    for wrong in (mask[:1], mask[0], np.zeros((0, 6)), np.zeros((4, 6, 1))):
        with pytest.raises(UsageError):
            _mask("keep", wrong, (4, 6))


def test_what_is_wished_turns_with_the_picture():
    rng = np.random.default_rng(4)
    picture = rng.integers(0, 256, (49, 54), dtype=np.uint8)
    keep = rng.random((49, 54)) < 0.5
    for each in ORIENTATIONS:
        image = each.apply(picture)
        wish = {"rows" if each.transpose else "columns": 20, "keep": each.apply(keep)}
        wish["mirror"] = "level" if each.transpose else "upright"
        box = _turn_box((10.0, 20.0, 60.0, 70.0), each)
        ready = prepare_picture(image, options(**{"columns": None, **wish}, subject=box))
        first = prepare_picture(picture, options(20, keep=keep, mirror="upright", subject=(10.0, 20.0, 60.0, 70.0)))
        assert np.array_equal(ready.gray, first.gray) and np.array_equal(ready.keep, first.keep)
        assert (ready.columns, ready.rows, ready.mirror) == (first.columns, first.rows, first.mirror)
        assert ready.subject == pytest.approx(first.subject) and ready.source_shape == image.shape
        at = ready.to_source @ [0.5, 0.5, 1]
        assert image[int(at[0]), int(at[1])] == ready.gray[0, 0]
    plain = prepare_picture(picture, options(20))
    assert plain.keep is None and plain.clear is None and plain.subject is None and plain.colour is None
    inverted = prepare_picture(picture, options(20, invert=True))
    one, other = sorted(plain.gray.ravel().tolist()), sorted((255 - inverted.gray).ravel().tolist())
    assert one == other
    cropped = prepare_picture(picture, options(20, crop=(50, 0, 100, 100), turn=90))
    # Turned clockwise the right half is what was the upper half: 25 of 49 rows.
    assert sorted(cropped.gray.ravel().tolist()) == sorted(picture[:25].ravel().tolist())


def test_a_symmetric_picture_with_a_subject_is_not_taken_for_symmetric():
    picture = np.full((8, 8), 200, dtype=np.uint8)
    picture[2:6, 3:5] = 0
    assert prepare_picture(picture, options(8)).symmetries
    assert prepare_picture(picture, options(8, subject=(0.0, 0.0, 50.0, 50.0))).symmetries == ()


# Straightening.


def frame(degrees):
    """A frame with a bar, turned clockwise by so many degrees."""
    picture = np.full((300, 320), 255, dtype=np.uint8)
    cv2.rectangle(picture, (80, 90), (240, 210), 0, 5)
    cv2.line(picture, (80, 140), (240, 140), 0, 5)
    turn = cv2.getRotationMatrix2D((160, 150), -degrees, 1)
    return cv2.warpAffine(picture, turn, (320, 300), flags=cv2.INTER_AREA, borderValue=255).astype(np.float32) / 255


@pytest.mark.parametrize("degrees", [-5.5, -3.0, -1.0, 1.0, 2.5, 4.0, 5.5])
def test_tilt_is_found_to_a_tenth_of_a_degree(degrees):
    assert find_tilt(frame(degrees)) == pytest.approx(degrees, abs=0.12)


@pytest.mark.parametrize("degrees", [0.0, 0.15, -0.2, 8.0, -9.0, 45.0])
def test_what_is_straight_or_plainly_meant_stays(degrees):
    assert find_tilt(frame(degrees)) == 0


def test_without_straight_edges_there_is_no_tilt():
    circle = np.full((300, 300), 255, dtype=np.uint8)
    cv2.circle(circle, (150, 150), 100, 0, 8, cv2.LINE_AA)
    assert find_tilt(circle.astype(np.float32) / 255) == 0
    assert find_tilt(np.ones((300, 300), dtype=np.float32)) == 0
    # A roof leans both ways alike.
    roof = np.full((300, 300), 255, dtype=np.uint8)
    cv2.polylines(roof, [np.array([(20, 160), (150, 150), (280, 160)])], False, 0, 5, cv2.LINE_AA)
    cv2.polylines(roof, [np.array([(20, 220), (150, 210), (280, 220)])], False, 0, 5, cv2.LINE_AA)
    assert find_tilt(roof.astype(np.float32) / 255) == 0


@pytest.mark.parametrize("degrees", [3.0, -5.0])
def test_turned_back_it_is_straight_and_the_map_leads_to_the_tilted_picture(degrees):
    tilted, plain = frame(degrees), frame(0.0)
    straight, back = turn_back(tilted, degrees)
    inner = (slice(40, -40), slice(40, -40))
    assert np.abs(straight - plain)[inner].mean() < 0.012
    assert straight.shape == tilted.shape and straight.dtype == np.float32
    for row, col in ((92.5, 82.5), (150.0, 160.0), (208.0, 238.0)):
        r, c, one = back @ [row, col, 1]
        assert one == 1 and abs(tilted[int(r), int(c)] - straight[int(row), int(col)]) < 0.35
    assert (back @ [150.0, 160.0, 1])[:2] == pytest.approx([150.0, 160.0])
    assert np.allclose(back[:2, :2] @ back[:2, :2].T, np.eye(2))


# Dots.

PIXELS = 10


def stamped(size, at=(8.0, 8.0), shape=(16, 16), cells=None, fill=None, disc=False):
    """A block or disc of so many pixels with its middle at a place in stitches; ``cells`` drawn for it before."""
    ink = np.zeros((shape[0] * PIXELS, shape[1] * PIXELS), dtype=bool)
    height, width = size
    top, left = round(at[0] * PIXELS - height / 2), round(at[1] * PIXELS - width / 2)
    ink[top : top + height, left : left + width] = True
    if disc:
        row, col = np.ogrid[:height, :width]
        far = ((row + 0.5) / height - 0.5) ** 2 + ((col + 0.5) / width - 0.5) ** 2
        ink[top : top + height, left : left + width] = far <= 0.25
    if fill is not None:
        # Hollow: so many pixels of it are left.
        inner = ink[top + 1 : top + height - 1, left + 1 : left + width - 1]
        hollow = inner.copy().ravel()
        hollow[: height * width - fill] = False
        inner[:] = hollow.reshape(inner.shape)
    before = np.zeros(shape, dtype=bool) if cells is None else cells
    return stamp_dots(before, ink, PIXELS)


@pytest.mark.parametrize(
    ("side", "rows"),
    [
        (5, ["#"]),
        (14, ["#"]),
        (15, ["##", "##"]),
        (23, ["##", "##"]),
        (24, [".#.", "###", ".#."]),
        (30, [".#.", "###", ".#."]),
        (31, [".##.", "####", "####", ".##."]),
        (36, [".##.", "####", "####", ".##."]),
    ],
)
def test_dots_by_their_size(side, rows):
    """Up to 1.5 stitches one cross, to 2.4 four, to 3.1 a plus, to 3.6 twelve."""
    made = stamped((side, side), at=(8.5, 8.5) if len(rows) % 2 else (8.0, 8.0), disc=True)
    where = np.argwhere(made)
    top, left = where.min(axis=0)
    assert shown(made[top : top + len(rows), left : left + len(rows)]) == rows and made.sum() == grid(*rows).sum()
    middle = (where.min(axis=0) + where.max(axis=0) + 1) / 2
    assert middle.tolist() == ([8.5, 8.5] if len(rows) % 2 else [8.0, 8.0])


@pytest.mark.parametrize(("side", "wide"), [(5, 1), (14, 1), (16, 2), (24, 2), (26, 3), (34, 3), (36, 4)])
def test_squares_are_squares_of_the_nearest_size(side, wide):
    made = stamped((side, side), at=(8.5, 8.5) if wide % 2 else (8.0, 8.0))
    where = np.argwhere(made)
    assert made.sum() == wide**2 and (np.ptp(where, axis=0) == wide - 1).all()
    assert (where.mean(axis=0) + 0.5).tolist() == ([8.5, 8.5] if wide % 2 else [8.0, 8.0])


def test_what_is_no_dot_stays_as_it_is():
    for size in ((37, 37), (14, 10), (10, 14)):
        assert not stamped(size).any()
    assert stamped((13, 10)).sum() == 1 and stamped((10, 13)).sum() == 1
    # A disc fills 0.785 of its box; less than 0.7 is not round.
    assert stamped((10, 10), fill=70).sum() == 1 and not stamped((10, 10), fill=69).any()
    assert stamped((20, 20), fill=280).any() and not stamped((20, 20), fill=279).any()
    ring = np.zeros((16 * PIXELS, 16 * PIXELS), dtype=bool)
    ring[70:90, 70:90] = True
    ring[74:86, 74:86] = False
    assert not stamp_dots(np.zeros((16, 16), dtype=bool), ring, PIXELS).any()


def test_dots_replace_what_was_drawn_for_them_and_nothing_else():
    cells = np.zeros((16, 16), dtype=bool)
    cells[7, 7:9] = True
    assert shown(stamped((15, 15), at=(8.0, 8.0), cells=cells)[6:10, 6:11]) == [".....", ".##..", ".##..", "....."]
    # The dot covers no part of the third column: that is another's, and the dot stays as it was drawn.
    cells[7, 9] = True
    assert np.array_equal(stamped((15, 15), at=(8.0, 8.0), cells=cells), cells)
    far = np.zeros((16, 16), dtype=bool)
    far[8, 12] = True
    made = stamped((14, 14), at=(8.5, 8.5), cells=far)
    assert made[8, 8] and made[8, 12] and made.sum() == 2
    # A stitch of another part beside it, by side or corner, keeps the dot from being set.
    for other in ((8, 10), (10, 10), (7, 10)):
        near = np.zeros((16, 16), dtype=bool)
        near[other] = True
        made = stamped((9, 9), at=(8.5, 9.5), cells=near)
        assert not made[8, 9] if other[1] == 10 and abs(other[0] - 8) <= 1 else made[8, 9]


@pytest.mark.parametrize("step", [s for s in itertools.product((-1, 0, 1), repeat=2) if s != (0, 0)])
def test_a_stitch_on_any_side_of_a_dot_keeps_it_from_being_set(step):
    """One cross at (8, 9); another part beside it, and a row or column further off."""
    for far in (1, 2):
        near = np.zeros((16, 16), dtype=bool)
        near[8 + far * step[0], 9 + far * step[1]] = True
        assert stamped((9, 9), at=(8.5, 9.5), cells=near)[8, 9] == (far == 2)


def test_dots_stay_inside_the_margin():
    assert stamped((14, 14), at=(3.5, 3.5))[3, 3]
    assert stamped((14, 14), at=(12.5, 12.5))[12, 12]
    for beyond in ((2.4, 8.5), (13.6, 8.5), (8.5, 2.4), (8.5, 13.6)):
        assert not stamped((14, 14), at=beyond).any()
    assert stamped((15, 15), at=(4.0, 12.0))[3:5, 11:13].all()


# Kinds.


def test_lines_and_solids_are_told_by_the_share_of_thick_parts():
    bar = np.zeros((220, 420), dtype=bool)
    bar[100:112, 10:410] = True
    fat = bar.copy()
    fat[98:118, 10:410] = True
    square = np.zeros((300, 300), dtype=bool)
    square[50:250, 50:250] = True
    ring = square.copy()
    ring[60:240, 60:240] = False
    assert line_or_shape(bar).name == "line" and line_or_shape(square).name == "shape"
    assert line_or_shape(ring).name == "line" and line_or_shape(fat).name == "shape"
    assert line_or_shape(np.zeros((5, 5), dtype=bool)).name == "line"
    # A block of a fifth of the side in a frame of thin lines: thick where deeper than a ninth of the half side.
    for side, name in ((20, "line"), (80, "shape")):
        mixed = ring.copy()
        mixed[150 - side // 2 : 150 + side // 2, 150 - side // 2 : 150 + side // 2] = True
        assert line_or_shape(mixed).name == name
    # A tall key: thin against its width, or against three tenths of its height.
    key = np.zeros((400, 120), dtype=bool)
    key[20:380, 55:65] = True
    assert line_or_shape(key).name == "line"


def ink_of(depth, mask):
    return Ink(mask, depth.astype(np.float32), 1.0)


def test_how_many_toned_a_picture_is():
    mask = np.zeros((60, 80), dtype=bool)
    mask[20:40, 20:60] = True
    flat = np.where(mask, 1.0, 0.0)
    assert toning(ink_of(flat, mask)) == (0.0, 0.0)
    # Half the ink 0.27 darker and half as much lighter: one unit of unevenness.
    uneven = flat.copy()
    uneven[20:40, 20:40] += 0.27
    uneven[20:40, 40:60] -= 0.27
    tones, restless = toning(ink_of(uneven, mask))
    assert tones == pytest.approx(1.0, abs=0.02) and restless > 0
    paper = flat.copy()
    paper[:, 0:10] += 0.09
    paper[:, 70:80] -= 0.09
    away = ~(cv2.dilate(mask.view(np.uint8), np.ones((5, 5), np.uint8)) > 0)
    assert toning(ink_of(paper, mask))[0] == pytest.approx(np.std(paper[away]) / 0.09, abs=0.05)


def test_a_picture_without_broad_ink_or_without_paper():
    """Ink of a pixel has no inside: it is not uneven. Where no paper is left it is taken for uneven as can be."""
    thin = np.zeros((60, 80), dtype=bool)
    thin[30] = True
    assert toning(ink_of(np.where(thin, 1.0, 0.0), thin))[0] == 0.0
    full = np.ones((60, 80), dtype=bool)
    assert toning(ink_of(np.ones(full.shape), full)) == (pytest.approx(1 / 0.09), 0.0)
    hatched = np.zeros((60, 80), dtype=bool)
    hatched[::2] = True
    assert toning(ink_of(np.where(hatched, 1.0, 0.0), hatched)) == (pytest.approx(1 / 0.09), 1.0)


def test_edges_that_are_not_those_of_the_ink():
    """Two equal squares, far apart: all edges are the ink's if it is both, half if it is one, few at half contrast."""
    gray = np.ones((120, 240), dtype=np.float32)
    gray[40:80, 40:80] = gray[40:80, 160:200] = 0
    one, both = np.zeros(gray.shape, dtype=bool), gray < 0.5
    one[40:80, 40:80] = True
    assert edges_elsewhere(ink_of(1 - gray, both), gray) == 0
    assert edges_elsewhere(ink_of(1 - gray, one), gray) == pytest.approx(0.5)
    gray[40:80, 160:200] = 0.5
    assert edges_elsewhere(ink_of(1 - gray, one), gray) == pytest.approx(0.2, abs=0.01)
    assert edges_elsewhere(ink_of(1 - gray, one), np.ones_like(gray)) == 0


def test_photographs_have_many_tones_and_edges_everywhere_and_are_restless():
    rng = np.random.default_rng(1)
    mask = np.zeros((100, 100), dtype=bool)
    mask[:, :50] = True
    noisy = rng.normal(0.5, 0.15, (100, 100)).astype(np.float32)
    assert tell_kind(None, noisy).name == "photo"
    assert tell_kind(ink_of(noisy, mask), 1 - noisy).name == "photo"
    plain = np.where(mask, 0.0, 1.0).astype(np.float32)
    assert tell_kind(ink_of(1 - plain, mask), plain).name == "shape"
    # Many tones, but the edges are those of the ink: a drawing shaded with a soft pencil.
    assert tell_kind(ink_of(noisy, mask), plain).name == "shape"
    # Uneven but calm between the edges: a drawing in bad light.
    calm = np.where(mask, np.linspace(0.4, 1.6, 100)[:, None], np.linspace(-0.2, 0.2, 100)[:, None])
    assert toning(ink_of(calm, mask))[0] > 2 and tell_kind(ink_of(calm * 0.5, mask), 1 - noisy).name == "shape"


# Mirrors.


def test_orbits_by_hand():
    upright = Symmetry((UPRIGHT,))
    assert first_of_orbit((2, 3), upright).tolist() == [0, 1, 0, 3, 4, 3]
    assert first_of_orbit((2, 3), upright, last=True).tolist() == [2, 1, 2, 5, 4, 5]
    assert orbits((2, 3), upright).tolist() == [[0, 2], [1, 1], [2, 0], [3, 5], [4, 4], [5, 3]]
    both = Symmetry((UPRIGHT, LEVEL, HALF_TURN))
    assert first_of_orbit((2, 3), both).tolist() == [0, 1, 0, 0, 1, 0]
    assert orbits((2, 3), both)[0].tolist() == [0, 2, 3, 5]
    # A quarter turn has no place on an oblong.
    turned = Symmetry((Orientation(True, True, False),))
    assert first_of_orbit((2, 3), turned).tolist() == list(range(6)) and orbits((2, 3), turned).shape == (6, 1)
    assert orbits((2, 2), turned).shape == (4, 2) and first_of_orbit((2, 2), Symmetry()).tolist() == [0, 1, 2, 3]


def test_a_grid_is_centred_along_what_is_mirrored():
    for images, rows, cols in (((), False, False), ((UPRIGHT,), False, True), ((LEVEL,), True, False),
                               ((HALF_TURN,), True, True), ((Orientation(transpose=True),), True, True)):  # fmt: skip
        symmetry = Symmetry(images)
        assert (symmetry.centred_rows, symmetry.centred_cols) == (rows, cols)


def test_masks_are_evened():
    exact = Symmetry((UPRIGHT,))
    mask = np.zeros((9, 12), dtype=bool)
    mask[3:6, 2:9] = True
    made = even_mask(mask, exact)
    assert np.array_equal(made, made[:, ::-1]) and made[4, 3:9].all() and not made[4, :2].any()
    half = even_mask(mask, Symmetry((UPRIGHT,), exact=False))
    # What is not symmetric is made so from its first half.
    assert np.array_equal(half[:, :6], mask[:, :6]) and np.array_equal(half, half[:, ::-1])
    assert even_mask(mask, Symmetry()) is mask
    assert even_mask(mask, Symmetry((Orientation(transpose=True),))) is mask


def blot(seed=1):
    """Half of a blot, 60 rows by 40 columns, without any symmetry of its own."""
    rng = np.random.default_rng(seed)
    return cv2.resize((rng.random((6, 4)) < 0.5).astype(np.float32), (40, 60), interpolation=cv2.INTER_CUBIC) > 0.5


def test_symmetry_is_found_where_nearly_all_the_ink_meets_its_image():
    half = blot()
    mask = np.zeros((100, 120), dtype=bool)
    mask[20:80, 20:60], mask[20:80, 60:100] = half, half[:, ::-1]
    box = (20.0, 20.0, 80.0, 100.0)
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    box = (float(rows[0]), float(cols[0]), float(rows[-1] + 1), float(cols[-1] + 1))
    found, even = find_symmetry(mask, box, 12.0, "auto", ())
    assert found.images == (UPRIGHT,) and found.exact and even == box
    assert find_symmetry(mask, box, 12.0, "none", ())[0].images == ()
    assert find_symmetry(mask, box, 12.0, "upright", ())[0].exact
    assert find_symmetry(mask.T, (box[1], box[0], box[3], box[2]), 12.0, "auto", ())[0].images == (LEVEL,)
    # Off by a part of a stitch it is still found, and the box is made even about the true axis.
    off = (box[0], box[1] - 3, box[2], box[3])
    found, even = find_symmetry(mask, off, 12.0, "auto", ())
    assert found.images == (UPRIGHT,) and (even[1] + even[3]) / 2 == pytest.approx((box[1] + box[3]) / 2, abs=2.0)
    assert even[1] <= off[1] and even[3] >= off[3]
    # A part that is on one side only: no symmetry, unless it is asked for.
    odd = mask.copy()
    odd[40:55, 96:118] = True
    wide = (box[0], box[1], box[2], 118.0)
    assert find_symmetry(odd, wide, 12.0, "auto", ())[0].images == ()
    asked, kept = find_symmetry(odd, wide, 12.0, "upright", ())
    assert asked.images == (UPRIGHT,) and not asked.exact and kept == wide
    small = mask.copy()
    small[25:35, 3:13] = True
    assert find_symmetry(small, (box[0], 3.0, box[2], box[3] + 17), 12.0, "auto", ())[0].images == ()


def test_symmetry_asked_for_joins_what_the_picture_has():
    half = blot(4)
    quarter = np.vstack([half, half[::-1]])
    mask = np.zeros((140, 100), dtype=bool)
    mask[10:130, 10:50], mask[10:130, 50:90] = quarter, quarter[:, ::-1]
    box = (10.0, 10.0, 130.0, 90.0)
    assert set(find_symmetry(mask, box, 12.0, "auto", ())[0].images) == {UPRIGHT, LEVEL, HALF_TURN}
    assert set(find_symmetry(mask, box, 12.0, "both", ())[0].images) == {UPRIGHT, LEVEL, HALF_TURN}
    assert find_symmetry(mask, box, 12.0, "level", ())[0].images == (LEVEL,)
    given = find_symmetry(mask, box, 12.0, "auto", (HALF_TURN,))
    assert given[0].images == (HALF_TURN,) and given[1] == box
    # A half-turn and one mirror make the other mirror.
    assert set(find_symmetry(mask, box, 12.0, "upright", (HALF_TURN,))[0].images) == {UPRIGHT, LEVEL, HALF_TURN}
    assert find_symmetry(mask, box, 12.0, "upright", (UPRIGHT,))[0].images == (UPRIGHT,)
    assert find_symmetry(np.zeros((9, 9), bool), (0.0, 0.0, 9.0, 9.0), 12.0, "auto", ())[0].images == ()


# The grid.


def test_square_cells_that_hold_the_box():
    assert lay_plain((10, 20, 70, 140), 12, None) == Grid(10, 20, 10, 6, 12)
    assert lay_plain((10, 20, 70, 140), None, 6) == Grid(10, 20, 10, 6, 12)
    # The free side is rounded, and the grid stands about the middle of the box.
    assert lay_plain((10, 20, 74, 140), 12, None) == Grid(12, 20, 10, 6, 12)
    assert lay_plain((10, 20, 75, 140), 12, None) == Grid(7.5, 20, 10, 7, 12)
    assert lay_plain((0, 0, 2, 100), 10, None).rows == 1 and lay_plain((0, 0, 100, 2), None, 10).columns == 1
    # With both sides given the tighter one rules.
    assert lay_plain((0, 0, 60, 120), 12, 12) == Grid(-30, 0, 10, 12, 12)
    assert lay_plain((0, 0, 120, 60), 12, 12) == Grid(0, -30, 10, 12, 12)
    assert lay_plain((0, 0, 10 * MAX_SIDE, 10), 1, None).rows == MAX_SIDE
    for box, columns, rows in (((0, 0, 10 * MAX_SIDE + 10, 10), 1, None), ((0, 0, 10, 10 * MAX_SIDE + 10), None, 1)):
        with pytest.raises(RequestError):
            lay_plain(box, columns, rows)


def test_holes_of_a_grid_in_pixels():
    made = Grid(5.0, 7.0, 3.0, 4, 6)
    assert (made.matrix() @ [2, 1, 1]).tolist() == [11, 10, 1]
    assert made.cut(1, 2, 2, 3) == Grid(8.0, 13.0, 3.0, 2, 3)


@pytest.mark.parametrize(("cell", "pixels"), [(6.0, 6), (12.0, 6), (3.0, 6), (6.0, 4)])
def test_masks_are_laid_on_the_grid_cell_by_cell(cell, pixels):
    cells = grid("#..#.", ".##..", "#...#")
    side = int(cell)
    ink = np.zeros((3 * side + 9, 5 * side + 11), dtype=bool)
    ink[4 : 4 + 3 * side, 5 : 5 + 5 * side] = np.kron(cells, np.ones((side, side))) > 0
    laid = lay_mask(ink, Grid(4.0, 5.0, cell, 3, 5), pixels)
    assert laid.shape == ((3 + 2 * MARGIN) * pixels, (5 + 2 * MARGIN) * pixels)
    expected = np.kron(np.pad(cells, MARGIN), np.ones((pixels, pixels))) > 0
    assert np.array_equal(laid[1::pixels, 1::pixels], np.pad(cells, MARGIN))
    assert (laid != expected).mean() < 0.04
    if cell == pixels:
        assert np.array_equal(laid, expected)
    # What lies outside stays bare but for half a cell.
    full = lay_mask(np.ones((200, 200), dtype=bool), Grid(90.0, 90.0, cell, 3, 5), pixels)
    edge = MARGIN * pixels - pixels // 2
    assert full[edge:-edge, edge:-edge].all() and full.sum() == full[edge:-edge, edge:-edge].size
    tone = lay_tone(np.full((200, 200), 0.25), Grid(90.0, 90.0, cell, 3, 5), pixels)
    assert tone == pytest.approx(0.25)


@pytest.mark.parametrize(("row", "col"), [(0.0, 0.0), (3.0, 5.0), (6.0, 2.0), (9.0, 9.0), (11.0, 1.0)])
@pytest.mark.parametrize("rule", ["columns", "rows"])
def test_the_grid_of_a_chart_is_found_wherever_it_lies(rule, row, col):
    """A chart of 14 x 11 cells of 12 pixels, drawn cell by cell; the box of its ink is known."""
    rng = np.random.default_rng(5)
    cells = rng.random((11, 14)) < 0.4
    cells[0, 3] = cells[-1, 8] = cells[4, 0] = cells[7, -1] = True
    ink = np.zeros((190, 220), dtype=bool)
    top, left = int(10 + row), int(10 + col)
    ink[top : top + 132, left : left + 168] = np.kron(cells, np.ones((12, 12))) > 0
    box = (float(top), float(left), top + 132.0, left + 168.0)
    plain = lay_plain(box, *((14, None) if rule == "columns" else (None, 11)))
    found = find_phase(ink, box, plain, rule)
    laid = lay_mask(ink, found, 12)[MARGIN * 12 : -MARGIN * 12, MARGIN * 12 : -MARGIN * 12]
    share = laid.reshape(found.rows, 12, found.columns, 12).mean(axis=(1, 3))
    assert ((share < 0.02) | (share > 0.98)).all()
    assert found.cell == pytest.approx(12.0, abs=0.01)
    assert (found.columns if rule == "columns" else found.rows) == (14 if rule == "columns" else 11)
    used = share > 0.5
    assert np.array_equal(used[used.any(axis=1)][:, used.any(axis=0)], cells[:, cells.any(axis=0)])


def test_a_box_half_a_cell_too_wide_is_stretched_to_the_cells():
    """Strokes two cells of 10 apart in a box that gives cells of 10.5: the grid is drawn together to part them."""
    ink = np.zeros((60, 240), dtype=bool)
    for k in range(0, 20, 2):
        ink[10:50, 20 + 10 * k : 30 + 10 * k] = True
    box = (10.0, 20.0, 50.0, 210.0)
    found = find_phase(ink, box, lay_plain(box, 19, None), "columns")
    assert found.cell == pytest.approx(10.0, abs=0.05)


@pytest.mark.parametrize("centred", [(True, False), (False, True), (True, True)])
def test_a_centred_grid_stays_about_the_middle(centred):
    rng = np.random.default_rng(6)
    ink = cv2.resize((rng.random((9, 12)) < 0.4).astype(np.float32), (190, 140)) > 0.5
    box = (0.0, 0.0, 140.0, 190.0)
    plain = lay_plain(box, 15, None)
    found = find_phase(ink, box, plain, "columns", *centred)
    if centred[0]:
        assert found.top + found.cell * found.rows / 2 == pytest.approx(70.0)
    if centred[1]:
        assert found.left + found.cell * found.columns / 2 == pytest.approx(95.0)


@pytest.mark.parametrize(("cell", "parts"), [(8.0, 8), (16.0, 8), (40.0, 8), (8.0, 4)])
def test_clearness_of_cells_at_every_phase(cell, parts):
    """Coverage times what is left of the cell that begins at each place, counted pixel by pixel."""
    rng = np.random.default_rng(7)
    ink = cv2.resize((rng.random((8, 9)) < 0.5).astype(np.uint8), (180, 160), interpolation=cv2.INTER_NEAREST)
    less = max(1, int(cell / parts))
    found = _unclear(_shrink(ink, less), less, (20.0, 30.0, cell), (2, 3), parts)
    step, side = cell / parts, int(cell)
    for i, j in itertools.product(range(parts, 2 * parts), range(parts, 3 * parts)):
        top, left = 20 - cell + i * step, 30 - cell + j * step
        if top % 1 or left % 1 or (step % 1 and side % 1):
            continue
        share = ink[int(top) : int(top) + side, int(left) : int(left) + side].mean()
        assert found[i, j] == pytest.approx(share * (1 - share), abs=0.03)


def test_strokes_that_pass_beside_corners():
    falling, rising = np.array([0.0, 10.0, 12.5]), np.array([5.0])
    sums = _beside_corners((falling, rising), 0.0, 0.0, 10.0, 4)
    # In stitches: 0, 1 and 1.25 off the origin; a quarter further for each phase.
    expected = [sum((v - k / 4 - round(v - k / 4)) ** 2 for v in (0, 1, 1.25)) for k in range(4)]
    assert sums[0] == pytest.approx(expected)
    assert sums[1] == pytest.approx([0.25, 0.0625, 0.0, 0.0625])
    assert _beside_corners((falling, rising), 2.5, 5.0, 10.0, 4)[1][0] == 0
