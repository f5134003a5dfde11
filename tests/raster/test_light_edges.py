"""Ink in every light, photographs, pale areas, and the steps from picture to cells."""

from __future__ import annotations

from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from helpers.text_grids import grid, shown

from converter.errors import RequestError
from converter.raster import light as light_module
from converter.raster.frame import Orientation
from converter.raster.grid import MARGIN, Grid
from converter.raster.light import (
    Ink,
    _drop_pale_specks,
    _fill_gray_holes,
    _middle,
    _usual_contrast,
    find_ink,
)
from converter.raster.look import _is_dark_ground, _lies_on_dark
from converter.raster.mirror import UPRIGHT, Symmetry
from converter.raster.photo import _stands_out, _wide_mean, cut_subject, tone_mask
from converter.raster.reduction import (
    _closer_box,
    _on_source,
    _reach_out,
    _set_detail,
    _trim_free_side,
    coverage_peak,
)
from converter.raster.rims import find_rims
from converter.raster.scaling import laid_on, resize, resize_float
from converter.raster.take import _keeps_body, find_box
from converter.raster.window import pixels_for
from converter.settings import ChartSettings


def options(columns=None, rows=None, **rest):
    return ChartSettings.from_options(columns=columns, rows=rows, **rest)


def drawing(side=240):
    """A ring, a bar, a block with a hole and a dot: ink where True."""
    mask = np.zeros((side, side), dtype=np.uint8)
    cv2.circle(mask, (80, 80), 45, 1, 7)
    cv2.line(mask, (20, 200), (150, 150), 1, 6)
    cv2.rectangle(mask, (150, 30), (215, 110), 1, -1)
    cv2.rectangle(mask, (170, 55), (195, 85), 0, -1)
    cv2.circle(mask, (190, 180), 6, 1, -1)
    return mask > 0


def pictured(ink, paper=0.9, pen=0.1, light=None, blur=1.0, noise=0.0, seed=0):
    """Gray of ink on paper under a light, as a camera sees it."""
    gray = np.where(ink, pen, paper) * (1.0 if light is None else light)
    gray = cv2.GaussianBlur(gray.astype(np.float32), (0, 0), blur)
    gray += np.random.default_rng(seed).normal(0, noise, gray.shape).astype(np.float32)
    return np.clip(gray, 0, 1).astype(np.float32)


def light(kind, side=240):
    y, x = np.mgrid[:side, :side] / side
    if kind == "slope":
        return 1 - 0.6 * x
    if kind == "lamp":
        return 1 - 0.8 * ((x - 0.3) ** 2 + (y - 0.4) ** 2)
    if kind == "shadow":
        return 1 - 0.55 / (1 + np.exp(-(x + 0.4 * y - 0.8) * 60))
    return np.ones((side, side))


@pytest.mark.parametrize("kind", ["even", "slope", "lamp", "shadow"])
@pytest.mark.parametrize(("paper", "pen"), [(0.95, 0.05), (0.8, 0.35), (0.6, 0.2)])
def test_ink_is_found_in_every_light(kind, paper, pen):
    ink = drawing()
    found = find_ink(pictured(ink, paper, pen, light(kind), noise=0.004), 8.0)
    away = cv2.distanceTransform((~ink).view(np.uint8), cv2.DIST_L2, 5) + cv2.distanceTransform(
        ink.view(np.uint8), cv2.DIST_L2, 5
    )
    wrong = found.mask != ink
    # Right everywhere but within two pixels of an edge.
    assert (wrong & (away > 2.1)).mean() < 0.0015 and wrong.mean() < 0.023
    assert not found.grainy
    # The usual contrast of paper and ink, in natural logarithms (0.04 is added to both).
    assert found.contrast == pytest.approx(np.log((paper + 0.04) / (pen + 0.04)), rel=0.25)
    deep, bare = (
        cv2.erode(ink.view(np.uint8), np.ones((5, 5))) > 0,
        cv2.erode((~ink).view(np.uint8), np.ones((9, 9))) > 0,
    )
    assert found.depth[deep].mean() == pytest.approx(1.0, abs=0.25)
    assert abs(found.depth[bare].mean()) < 0.08


@pytest.mark.parametrize("seed", range(4))
def test_blank_paper_has_no_ink(seed):
    rng = np.random.default_rng(seed)
    for gray in (
        np.full((200, 200), 0.8),
        np.full((200, 200), 0.8) * light("slope", 200),
        0.8 + rng.normal(0, 0.02, (200, 200)),
        np.zeros((200, 200)),
    ):
        assert find_ink(np.clip(gray, 0, 1).astype(np.float32), 8.0) is None


def test_faint_ink_down_to_eight_percent():
    ink = drawing()
    for step, seen in ((0.03, False), (0.15, True), (0.3, True)):
        found = find_ink(pictured(ink, 0.9, 0.94 * np.exp(-step) - 0.04), 8.0)
        assert (found is not None) is seen


def test_darker_and_lighter_wishes():
    """Three tones: as it is, only the darkest, nearly all."""
    ink = np.zeros((200, 260), dtype=np.float32)
    ink[40:160, 20:80], ink[40:160, 100:160], ink[40:160, 180:240] = 1.0, 0.55, 0.2
    gray = np.exp(-2.0 * ink).astype(np.float32)
    gray = cv2.GaussianBlur(gray, (0, 0), 1.0)
    middles = [(100, 50), (100, 130), (100, 210)]

    def taken(dark):
        mask = find_ink(gray, 8.0, dark).mask
        return [bool(mask[at]) for at in middles]

    assert taken(-90) == [True, False, False] and taken(100) == [True, True, True]
    sizes = [int(find_ink(gray, 8.0, d).mask.sum()) for d in (-100, -60, -30, 0, 30, 60, 100)]
    assert sizes == sorted(sizes)


# Its steps.


def test_the_middle_of_large_planes_is_that_of_a_ninth():
    rng = np.random.default_rng(1)
    small, large = rng.random((60, 60)).astype(np.float32), rng.random((120, 150)).astype(np.float32)
    assert _middle(small) == pytest.approx(np.median(small))
    assert _middle(large) == pytest.approx(np.median(large[1::3, 1::3]))


def test_usual_contrast_is_that_of_the_stronger_edges():
    span = np.full((100, 100), 0.01, dtype=np.float32)
    span[20:40] = 1.0
    span[50:56] = 0.3
    assert _usual_contrast(span, 0.01, 0.001) == pytest.approx(1.0)
    # No more than nine times the grain: blank.
    assert _usual_contrast(span, 0.01, 0.12) == 0.0 and _usual_contrast(span, 0.01, 0.11) > 0
    # A single hot pixel is not the strongest edge.
    span[0, 0] = 50.0
    assert _usual_contrast(span, 0.01, 0.001) == pytest.approx(1.0)


@pytest.mark.parametrize(("side", "kept"), [(2, False), (3, True)])
def test_specks_of_less_than_a_fiftieth_of_a_stitch_go(side, kept, monkeypatch):
    """On 12 pixels a stitch 2.9 pixels; openings up to 0.06 of one, 8.6 pixels, are filled."""
    mask = np.zeros((80, 100), dtype=bool)
    mask[20:60, 20:60] = True
    mask[10, 80 : 80 + side] = True
    mask[30, 30 : 30 + 3 * side - (side > 2)] = False
    mask[40, 30 : 30 + 3 * side] = False
    edges = light_module._Edges(mask, np.zeros(mask.shape, np.float32), ~mask, ~mask, 1.0)
    monkeypatch.setattr(light_module, "_find_edges", lambda *args: edges)
    found = find_ink(np.ones((720, 720), np.float32), 12.0).mask
    assert found[10, 80] == kept and found[40, 30] == (side < 3) and found[30, 30]
    assert found[25, 25] and not found[70, 70]


def test_gray_holes_are_the_tooth_of_the_paper():
    """A hole that hardly shows the paper's brightness is filled, up to so many square stitches."""
    mask = np.ones((60, 60), dtype=bool)
    mask[10:20, 10:20] = mask[30:40, 30:40] = False
    depth = np.where(mask, 1.0, 0.0).astype(np.float32)
    depth[10:20, 10:20] = 0.3
    made = _fill_gray_holes(mask, depth, 10.0)
    assert made[10:20, 10:20].all() and not made[30:40, 30:40].any()
    # A larger one only if it is darker still: 3, 4 and 20 square stitches.
    for shade, side, filled in ((0.3, 17, True), (0.16, 22, True), (0.08, 44, True), (0.08, 46, False),
                                (0.06, 10, False), (0.3, 46, False)):  # fmt: skip
        mask = np.ones((70, 70), dtype=bool)
        mask[10 : 10 + side, 10 : 10 + side] = False
        depth = np.where(mask, 1.0, shade).astype(np.float32)
        assert _fill_gray_holes(mask, depth, 10.0).all() == filled, (shade, side)
    # A slender opening is blurred over most of it; its middle tells.
    for middle, filled in ((0.02, False), (0.1, True)):
        mask = np.ones((30, 110), dtype=bool)
        mask[7:22, 10:100] = False
        depth = np.where(mask, 1.0, 0.2).astype(np.float32)
        depth[11:18, 10:100] = middle
        assert _fill_gray_holes(mask, depth, 10.0).all() == filled, middle


def test_pale_specks_go_unless_they_are_many():
    """Up to two square stitches and paler than 0.38, less than three tenths of all ink."""
    mask = np.zeros((80, 80), dtype=bool)
    mask[5:35, 5:35] = True
    mask[50:60, 50:60] = True
    depth = np.where(mask, 1.0, 0.0).astype(np.float32)
    for shade, side, gone in ((0.37, 10, True), (0.39, 10, False), (0.2, 14, True), (0.2, 15, False)):
        speck = mask.copy()
        speck[50:75, 50:75] = False
        speck[50 : 50 + side, 50 : 50 + side] = True
        pale = depth.copy()
        pale[50:75, 50:75] = shade
        assert _drop_pale_specks(speck, pale, 10.0)[50:75, 50:75].any() != gone, (shade, side)
    many = mask.copy()
    many[5:35, 5:35] = False
    many[5:15, 5:15] = True
    few = np.where(many, 0.2, 0.0).astype(np.float32)
    assert np.array_equal(_drop_pale_specks(many, few, 10.0), many)


# Photographs.


def test_the_mean_of_the_surroundings():
    tone = np.full((60, 80), 0.4, dtype=np.float32)
    assert _wide_mean(tone, 10.0, None) == pytest.approx(0.4, abs=1e-3)
    tone[:, 40:] = 0.8
    around = _wide_mean(tone, 8.0, None)
    assert around[30, 5] < 0.45 and around[30, 75] > 0.75 and around[30, 40] == pytest.approx(0.6, abs=0.05)
    assert pytest.approx(around, abs=1e-3) == _wide_mean(tone.T.copy(), 8.0, None).T
    inside = np.zeros(tone.shape, dtype=bool)
    inside[:, :40] = True
    assert pytest.approx(_wide_mean(tone, 8.0, inside), abs=1e-3) == _wide_mean(tone.T.copy(), 8.0, inside.T).T
    # Of the subject alone, what lies beside it does not count.
    assert _wide_mean(tone, 8.0, inside)[30, 35] == pytest.approx(0.4, abs=0.03)


def scene(side=160, ground=(70, 140, 60), subject=(200, 60, 50), radius=40, at=(80, 80), noise=6, seed=0):
    picture = np.full((side, side, 3), ground, dtype=np.float64)
    cv2.circle(picture, at, radius, subject, -1)
    picture += np.random.default_rng(seed).normal(0, noise, picture.shape)
    return np.clip(picture, 0, 255).astype(np.uint8)


def test_a_subject_on_a_calm_ground_is_cut_out():
    found = cut_subject(scene(), (80, 80), None)
    y, x = np.mgrid[:80, :80]
    truth = np.hypot(y - 39.5, x - 39.5) < 20
    assert found.shape == (80, 80) and (found != truth).mean() < 0.02
    box = cut_subject(scene(), (160, 160), (20.0, 20.0, 80.0, 80.0))
    assert box.shape == (160, 160) and box[80, 80] and not box[5, 5]
    # The same picture gives the same cut; gray pictures are taken too.
    assert np.array_equal(found, cut_subject(scene(), (80, 80), None))
    assert cut_subject(scene()[:, :, 0], (80, 80), (20.0, 20.0, 80.0, 80.0)) is not None
    assert cut_subject(scene(), (80, 80), (0.0, 0.0, 100.0, 100.0)) is None


@pytest.mark.parametrize(
    ("box", "marked"),
    [
        # On a copy of 160 pixels: rounded outwards, two pixels at least.
        ((25.0, 50.0, 75.0, 62.5), (80, 100, 40, 120)),
        ((25.2, 50.2, 75.2, 62.7), (80, 101, 40, 121)),
        ((50.0, 50.0, 50.1, 62.5), (80, 100, 80, 82)),
        ((25.0, 50.0, 75.0, 50.1), (80, 82, 40, 120)),
        # Unasked: clear of the rim by a twenty-fifth, on a copy of 112.
        (None, (4, 108, 4, 108)),
    ],
)
def test_where_the_subject_is_looked_for(monkeypatch, box, marked):
    seen = []
    monkeypatch.setattr(cv2, "grabCut", lambda small, marks, *rest: seen.append((marks.copy(), rest)))
    cut_subject(scene(200), (80, 80), box)
    marks, rest = seen[0]
    top, bottom, left, right = marked
    expected = np.zeros((160, 160) if box else (112, 112), dtype=np.uint8)
    expected[top:bottom, left:right] = cv2.GC_PR_FGD
    assert np.array_equal(marks, expected) and rest[3] == (4 if box else 3)


@pytest.mark.parametrize(("radius", "at", "noise", "believed"), [(40, (80, 80), 6, True), (16, (80, 80), 6, False),
                                                                 (70, (20, 20), 6, False), (40, (80, 80), 45, False),
                                                                 (74, (80, 80), 2, True)])  # fmt: skip
def test_a_subject_found_without_help_must_stand_out(radius, at, noise, believed):
    """A fair share of the picture (8 to 70 %), clear of the rim, on a calm ground."""
    picture = scene(radius=radius, at=at, noise=noise)
    y, x = np.mgrid[:160, :160]
    assert _stands_out(picture, np.hypot(y - at[1], x - at[0]) < radius) is believed


def test_a_subject_like_its_ground_does_not_stand_out():
    y, x = np.mgrid[:160, :160]
    disc = np.hypot(y - 80, x - 80) < 40
    assert not _stands_out(scene(subject=(74, 142, 64), noise=8), disc)
    everything = np.zeros((160, 160), dtype=bool)
    everything[10:150, 10:150] = True
    assert not _stands_out(scene(), everything)


def test_tones_become_few_shapes():
    """A dark disc on light, a middle ground: dark parts are stitched, specks of a square stitch are not."""
    gray = np.full((200, 260), 0.8, dtype=np.float32)
    cv2.circle(gray, (80, 100), 50, 0.2, -1)
    cv2.circle(gray, (200, 60), 4, 0.2, -1)
    gray[150:190, 170:240] = 0.25
    mask = tone_mask(gray, 8.0, 0.0, 50.0, 50.0, None)
    assert mask[100, 80] and mask[170, 200] and not mask[20, 20] and not mask[60, 200]
    truth = gray < 0.5
    truth[50:70, 190:210] = False
    assert (mask != truth).mean() < 0.02
    # The small one is kept where all small parts are.
    assert tone_mask(gray, 8.0, 0.0, 50.0, 0.0, None).sum() >= mask.sum()
    # 1 + 3 x tidy / 50 square stitches: at 0 an 9 x 9 block of 81 pixels stays on 8 pixels a stitch, at 50 it goes.
    block = np.full((120, 120), 0.8, dtype=np.float32)
    block[50:61, 50:61] = 0.1
    assert tone_mask(block, 8.0, 0.0, 50.0, 0.0, None).any() and not tone_mask(block, 8.0, 0.0, 50.0, 50.0, None).any()
    inside = np.zeros(gray.shape, dtype=bool)
    inside[:, :140] = True
    kept = tone_mask(gray, 8.0, 0.0, 50.0, 50.0, inside)
    assert kept[100, 80] and not kept[:, 140:].any()
    sizes = [int(tone_mask(gray, 8.0, d, 50.0, 50.0, None).sum()) for d in (-100, -50, 0, 50, 100)]
    assert sizes == sorted(sizes) and sizes[0] < sizes[-1]


# Pale areas.


def pale(inner=0.42, outer=0.95):
    """A pale disc without an outline, beside a black block."""
    gray = np.full((300, 300), outer, dtype=np.float32)
    cv2.circle(gray, (120, 150), 70, inner, -1)
    gray[60:240, 240:270] = 0.05
    return cv2.GaussianBlur(gray, (0, 0), 0.8)


def block_ink(gray):
    mask = gray < 0.3
    return Ink(mask, mask.astype(np.float32), 2.2)


def test_the_edge_of_a_pale_area_is_drawn():
    gray = pale()
    rims = find_rims(gray, block_ink(gray))
    y, x = np.mgrid[:300, :300]
    far = np.abs(np.hypot(y - 150, x - 120) - 70)
    assert rims.any() and far[rims].max() < 4
    # All the way round: at every degree there is some of it.
    angle = np.degrees(np.arctan2(y - 150, x - 120)[rims]).astype(int)
    assert len(set(angle.tolist())) > 340


@pytest.mark.parametrize("change", ["lighter", "grainy", "no ink", "soft", "small", "sheet"])
def test_other_edges_are_none(change):
    gray = pale()
    ink = block_ink(gray)
    if change == "lighter":
        gray = pale(inner=0.95, outer=0.42)
    elif change == "grainy":
        ink = Ink(ink.mask, ink.depth, ink.contrast, True)
    elif change == "no ink":
        ink = Ink(np.zeros_like(ink.mask), ink.depth, ink.contrast)
    elif change == "soft":
        gray = np.where(ink.mask, gray, cv2.GaussianBlur(pale(), (0, 0), 12)).astype(np.float32)
    elif change == "small":
        gray = np.full((300, 300), 0.95, dtype=np.float32)
        cv2.circle(gray, (120, 150), 11, 0.42, -1)
        gray[60:240, 240:270] = 0.05
    else:
        gray = np.full((300, 300), 0.42, dtype=np.float32)
        gray[30:270, 30:270] = 0.95
        gray[60:240, 240:260] = 0.05
        ink = block_ink(gray)
    assert find_rims(gray, ink) is None


# From picture to cells.


@pytest.mark.parametrize(
    ("longest", "pixels"),
    [(1, 30), (8, 30), (16, 30), (17, 28), (20, 24), (30, 16), (40, 12), (60, 12), (80, 12), (81, 10),
     (100, 10), (101, 8), (1000, 8)],
)  # fmt: skip
def test_pixels_a_stitch(longest, pixels):
    assert pixels_for(longest) == pixels and pixels % 2 == 0


def test_the_box_of_the_ink_without_single_specks():
    ink = np.zeros((40, 50), dtype=bool)
    ink[10:20, 15:35] = True
    assert find_box(ink) == (10, 15, 20, 35)
    ink[2, 2] = ink[38, 48] = True
    assert find_box(ink) == (10, 15, 20, 35)
    dot = np.zeros((9, 9), dtype=bool)
    dot[4, 6] = True
    assert find_box(dot) == (4, 6, 5, 7)
    with pytest.raises(RequestError):
        find_box(np.zeros((4, 4), dtype=bool))


def test_dark_grounds():
    """Ink nearly all round the rim, two pixels in, and more than 55 % of the picture."""
    mask = np.ones((100, 100), dtype=bool)
    assert _is_dark_ground(mask)
    mask[20:86, 20:86] = False
    assert _is_dark_ground(mask)  # 56.4 %
    mask[20:88, 20:88] = False
    assert not _is_dark_ground(mask)  # 53.8 %
    rim = np.ones((100, 100), dtype=bool)
    rim[2, 5:41] = False
    assert _is_dark_ground(rim)
    rim[2, 5:47] = False
    assert not _is_dark_ground(rim) and _is_dark_ground(rim, 0.7)
    framed = np.ones((100, 100), dtype=bool)
    framed[[0, 1, -1, -2]] = framed[:, [0, 1, -1, -2]] = False
    assert _is_dark_ground(framed)
    assert _is_dark_ground(np.ones((1, 1), dtype=bool)) and not _is_dark_ground(np.zeros((3, 3), dtype=bool))


def test_a_dark_ground_is_darker_than_what_lies_on_it():
    """Whatever passes for ink: white paper is no dark ground, and a slate in falling light is one."""
    mask = np.ones((60, 60), dtype=bool)
    mask[25:30, 25:30] = False
    bare = np.ones((60, 60), dtype=np.float32)
    assert not _lies_on_dark(mask, bare)
    bare[20:40, 20:40] = 0.5
    bare[25:30, 25:30] = 0.97
    assert not _lies_on_dark(mask, bare), "as light as the white of an eye"
    slate = np.tile(np.linspace(0.15, 0.6, 60, dtype=np.float32), (60, 1))
    slate[25:30, 25:30] += 0.25
    assert _lies_on_dark(mask, slate)
    # What is too fine for the mask counts too.
    fine = np.full((60, 60), 0.2, dtype=np.float32)
    assert not _lies_on_dark(np.ones_like(mask), fine)
    fine[30] = 0.8
    assert _lies_on_dark(np.ones_like(mask), fine)


def test_a_sure_body_of_ink_must_be_kept():
    body = np.zeros((20, 20), dtype=bool)
    body[:10, :10] = True
    for share, kept in ((71, True), (70, False), (0, False)):
        ink = np.zeros(400, dtype=bool)
        at = np.flatnonzero(body.ravel())[:share]
        ink[at] = True
        assert _keeps_body(ink.reshape(20, 20), body) is kept
    small = np.zeros((20, 20), dtype=bool)
    small[:7, :7] = True
    assert _keeps_body(np.zeros_like(small), small)  # 49
    small[0, 7] = True
    assert not _keeps_body(np.zeros_like(small), small)  # 50


def test_sizes_and_masks_are_scaled():
    gray = np.arange(0, 240, 10, dtype=np.uint8).reshape(4, 6)
    assert resize(gray, 1.0) == pytest.approx(gray / 255)
    assert resize(gray, 0.5).shape == (2, 3) and resize(gray, 0.5)[0, 0] == pytest.approx((0 + 10 + 60 + 70) / 4 / 255)
    assert resize(gray, 2.0).shape == (8, 12)
    # A picture never shrinks to nothing.
    assert min(resize(gray, 0.1).shape) == 1
    plain = gray.astype(np.float32)
    assert resize_float(plain, 1.0) is plain and resize_float(plain, 1.5) is plain
    assert resize_float(plain, 0.5)[0, 0] == 35
    mask = grid("#.", ".#")
    assert shown(laid_on(mask, (4, 4), 0.0)) == ["##..", "##..", "..##", "..##"]
    wide = np.zeros((60, 60), dtype=bool)
    wide[28:32, 10:50] = True
    turned = laid_on(wide, (60, 60), 5.0)
    rows = [np.flatnonzero(turned[:, c]).mean() for c in (14, 46)]
    assert abs(rows[1] - rows[0]) == pytest.approx(32 * np.tan(np.radians(5)), abs=1.0)


def work_of(ink, pixels=10, keep=None):
    return SimpleNamespace(ink=ink, pixels=pixels, keep=keep)


def test_detail_and_tidiness_in_square_stitches():
    """Dust of 0.08 (tidy / 50)^2 up to 50, then 0.08 + 4 ((tidy - 50) / 50)^2; bold drawings 4 bold^2 more."""
    ink = np.zeros((200, 420), dtype=bool)
    ink[20:110, 20:60] = True
    sides = (2, 3, 6, 9, 14, 20, 21, 28)
    for k, side in enumerate(sides):
        ink[130 : 130 + side, 5 + 45 * k : 5 + 45 * k + side] = True

    def left(detail=50, tidy=50, radius=0.0, keep=None):
        mask, level = _set_detail(work_of(ink, keep=keep), options(20, detail=detail, tidy=tidy), radius)
        return [side for k, side in enumerate(sides) if mask[131, 6 + 45 * k]], level

    assert left(tidy=0) == (list(sides), 0.5)
    assert left(tidy=50)[0] == [3, 6, 9, 14, 20, 21, 28]  # up to 8 pixels
    assert left(tidy=70)[0] == [9, 14, 20, 21, 28]  # 0.72: 72
    assert left(tidy=100)[0] == [21, 28]  # 4.08: 408
    assert left(detail=0, tidy=0)[0] == [21, 28]  # 4: 400
    assert left(tidy=0, radius=0.5)[0] == [9, 14, 20, 21, 28]  # 1.5 x 0.25: 37
    # From 50 on more detail asks for more coverage of a solid cell.
    assert [left(detail=d)[1] for d in (0, 50, 75, 100)] == pytest.approx([0.5, 0.5, 0.56, 0.62])
    keep = np.zeros_like(ink)
    keep[125:, :30] = True
    assert left(tidy=100, keep=keep)[0] == [2, 21, 28]
    # Where nothing would be left, all stays.
    dust = np.zeros((50, 50), dtype=bool)
    dust[10:12, 10:12] = True
    assert _set_detail(work_of(dust), options(20, tidy=100), 0.0)[0] is dust


def test_where_no_cell_is_half_covered_the_fullest_are_taken():
    cover = np.array([[0.1, 0.3], [0.3, 0.0]], dtype=np.float32)
    assert coverage_peak(cover).tolist() == [[False, True], [True, False]]
    assert not coverage_peak(np.zeros((2, 2), dtype=np.float32)).any()


def ready_of(columns, rows=None):
    return SimpleNamespace(columns=columns, rows=rows)


def test_blank_rows_are_cut_off_the_side_nobody_asked_for():
    cells = grid(".....", ".##..", ".#...", ".....", ".....")
    where = Grid(10.0, 20.0, 2.0, 5, 5)
    made, placed = _trim_free_side(cells, where, ready_of(5), options(5))
    assert shown(made) == [".##..", ".#..."] and placed == Grid(12.0, 20.0, 2.0, 2, 5)
    made, placed = _trim_free_side(cells, where, ready_of(None, 5), options(rows=5))
    assert shown(made) == ["..", "##", "#.", "..", ".."] and placed == Grid(10.0, 22.0, 2.0, 5, 2)
    for ready, settings in ((ready_of(5, 5), options(5, rows=5)), (ready_of(5), options(5, trim=False))):
        assert _trim_free_side(cells, where, ready, settings)[0] is cells
    blank = np.zeros((3, 3), dtype=bool)
    assert _trim_free_side(blank, where, ready_of(3), options(4))[0] is blank


def test_a_tip_too_fine_to_be_drawn_is_left_out_of_the_box():
    where, box = Grid(0.0, 0.0, 10.0, 3, 6), (0.0, 5.0, 30.0, 65.0)
    cells = grid("......", "..##..", "......")
    assert _closer_box(cells, where, box, ready_of(6), options(6)) == (0.0, 25.0, 30.0, 45.0)
    assert _closer_box(cells, where, box, ready_of(None, 3), options(rows=4)) == (10.0, 5.0, 20.0, 65.0)
    full = grid("#....#", "..##..", "......")
    assert _closer_box(full, where, box, ready_of(6), options(6)) is None
    one = grid("#.....", "..##..", "......")
    assert _closer_box(one, where, box, ready_of(6), options(6)) == (0.0, 5.0, 30.0, 45.0)
    assert _closer_box(cells, where, box, ready_of(6, 3), options(6, rows=4)) is None
    assert _closer_box(cells, where, box, ready_of(6), options(6, trim=False)) is None
    assert _closer_box(np.zeros((3, 6), bool), where, box, ready_of(6), options(6)) is None
    assert _closer_box(cells, where, (0.0, 5.0, 30.0, 45.5), ready_of(6), options(6)) is None


def test_a_tip_in_the_outermost_column_is_drawn_beside_the_stitches():
    cells = grid("......", ".####.", "......", "......")
    cover = np.zeros((4, 6), dtype=np.float32)
    cover[2, 0], cover[3, 0], cover[1, 5] = 0.1, 0.4, 0.07
    made = _reach_out(cells, cover, ready_of(6), Symmetry())
    # By side or corner of what is drawn there, and covered by more than 0.08.
    assert shown(made) == ["......", ".####.", "#.....", "......"]
    cover[1, 5] = 0.09
    assert _reach_out(cells, cover, ready_of(6), Symmetry())[1, 5]
    mirrored = _reach_out(cells, np.where(cover > 0.08, cover, 0), ready_of(6), Symmetry((UPRIGHT,)))
    assert np.array_equal(mirrored, mirrored[:, ::-1]) and mirrored[2, 5]
    turned = _reach_out(cells.T.copy(), cover.T.copy(), ready_of(None, 6), Symmetry())
    assert turned[0, 2] and turned[5, 1]
    narrow = grid("#.", "..")
    assert _reach_out(narrow, np.ones((2, 2), np.float32), ready_of(2), Symmetry()) is narrow
    full = grid("#....#", "......")
    assert np.array_equal(_reach_out(full, np.ones((2, 6), np.float32), ready_of(6), Symmetry()), full)


def test_marks_go_back_to_the_picture_as_it_came():
    """Cells of 4 pixels from (2, 3) on; a mark on one cell of the laid mask marks its pixels."""
    where = Grid(2.0, 3.0, 4.0, 3, 5)
    laid = np.zeros(((3 + 2 * MARGIN) * 2, (5 + 2 * MARGIN) * 2), dtype=bool)
    row, col = (MARGIN + 1) * 2, (MARGIN + 2) * 2
    laid[row : row + 2, col : col + 2] = True
    made = _on_source(laid, np.eye(3), where, 2, (20, 30))
    expected = np.zeros((20, 30), dtype=bool)
    expected[6:10, 11:15] = True
    assert np.array_equal(made, expected)
    turned = Orientation(flip_cols=True).matrix((20, 30))
    assert np.array_equal(_on_source(laid, turned, where, 2, (20, 30)), expected[:, ::-1])


@pytest.mark.parametrize(("paper", "ink"), [(1.0, 0.0), (0.9, 0.2), (0.6, 0.05), (1.0, 0.7)])
@pytest.mark.parametrize("blur", [0.8, 1.6])
def test_the_edge_lies_at_half_the_brightness(paper, ink, blur):
    """A blurred step is half as bright at the step itself, however dark the ink (the error function is odd)."""
    true = np.zeros((160, 160), dtype=bool)
    true[50:93, 40:121] = True
    gray = cv2.GaussianBlur(np.where(true, ink, paper).astype(np.float32), (0, 0), blur)
    found = find_ink(gray, 12.0)
    edge = 2 * (43 + 81)
    assert abs(int(found.mask.sum()) - int(true.sum())) < 0.1 * edge
