"""The sheet of paper in a photograph: found, laid flat and charted alone; nothing else is taken for one.

Outside checks: the flat sheet against the projective transform of scikit-image (R. Hartley, A. Zisserman, Multiple View
Geometry in Computer Vision, 2nd ed., 2004, chapter 4: four points tell it); photographs of scikit-image that show no
sheet.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from helpers.sheet_photos import GROUNDS, SHEET, overlap, photograph, stitch_agreement
from skimage import data
from skimage.transform import ProjectiveTransform

from converter.pipeline import chart_from_image, reduce_picture, suggest_lines
from converter.raster.prepare import prepare_picture
from converter.raster.sheet import LEAST_PIXELS, Sheet, find_sheet
from converter.settings import ChartSettings

NAMES = ("heron", "teapot", "key", "fern", "boat")
SAID = "Only the sheet of paper in the photo was taken, laid flat."


def settings_of(**options):
    return ChartSettings.from_options(**options)


@pytest.mark.parametrize("cut", [False, True])
@pytest.mark.parametrize("ground", GROUNDS)
def test_found_on_any_table(ground, cut):
    for seed, name in enumerate(NAMES[:3]):
        photo = photograph(seed, name, ground, cut)
        sheet = find_sheet(photo.picture)
        assert sheet is not None, (seed, name)
        assert overlap(sheet.corners, photo.corners, photo.picture.shape[:2]) > 0.93, (seed, name)


def test_gray_photos_have_sheets_too():
    photo = photograph(3, "boat", "slate")
    gray = cv2.cvtColor(photo.picture, cv2.COLOR_RGB2GRAY)
    sheet = find_sheet(gray)
    assert sheet is not None
    assert overlap(sheet.corners, photo.corners, gray.shape) > 0.93


@pytest.mark.parametrize("name", NAMES)
def test_the_chart_is_that_of_the_drawing(name):
    photo = photograph(11, name, "boards")
    wide = chart_from_image(photo.drawing, columns=40, lines="none").cells
    made = chart_from_image(photo.picture, columns=40, lines="none")
    assert SAID in made.notes[0]
    assert abs(made.cells.shape[0] / wide.shape[0] - 1) < 0.08
    assert stitch_agreement(made.cells, wide) > 0.95
    # All of the photo is another picture altogether.
    whole = chart_from_image(photo.picture, columns=40, lines="none", sheet=False)
    assert SAID not in whole.notes[0]
    assert stitch_agreement(whole.cells, wide) < 0.8


def test_flat_as_the_projective_transform_of_a_general_library():
    corners = np.array([[40.0, 60], [25, 410], [330, 390], [300, 80]])
    sheet = Sheet(corners)
    rows, cols = sheet.shape
    assert (rows, cols) == (
        round((np.hypot(260, 20) + np.hypot(305, 20)) / 2),
        round((np.hypot(15, 350) + np.hypot(30, 310)) / 2),
    )
    flat = np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], dtype=float)
    known = ProjectiveTransform.from_estimate(flat, corners[:, ::-1])
    # A slope in both directions is carried over exactly, up to rounding to whole levels.
    down, across = np.mgrid[0:400, 0:500]
    slope = (0.25 * down + 0.3 * across).astype(np.uint8)
    got = sheet.lay_flat(slope)
    assert got.shape == (rows, cols)
    at = np.stack(np.meshgrid(np.arange(5, cols - 5), np.arange(5, rows - 5)), axis=-1).reshape(-1, 2) + 0.5
    x, y = (known(at) - 0.5).T
    expected = 0.25 * y + 0.3 * x
    assert np.abs(got[5:-5, 5:-5].ravel() - expected).max() < 1.6


def test_the_map_back_is_exact_for_a_sheet_seen_from_straight_above():
    angle = np.radians(12)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    square = np.array([[0.0, 0], [0, 300], [200, 300], [200, 0]])
    sheet = Sheet(square @ turn.T + [90, 120])
    assert sheet.shape == (200, 300)
    back = np.column_stack([square, np.ones(4)]) @ sheet.matrix().T
    assert np.allclose(back[:, :2], sheet.corners)


def test_masks_go_with_the_sheet():
    photo = photograph(5, "key", "oak")
    keep = np.zeros(photo.picture.shape[:2], bool)
    middle = photo.corners.mean(axis=0).astype(int)
    keep[middle[0] - 40 : middle[0] + 40, middle[1] - 40 : middle[1] + 40] = True
    ready = prepare_picture(photo.picture, settings_of(columns=40, keep=keep))
    assert ready.on_sheet and ready.keep is not None and ready.keep.shape == ready.gray.shape
    at = np.argwhere(ready.keep).mean(axis=0)
    assert np.abs(at - np.array(ready.gray.shape) / 2).max() < 25
    assert 0.7 < ready.keep.sum() / keep.sum() < 1.3


def test_mirrored_photos_give_mirrored_charts():
    photo = photograph(7, "teapot", "gray cloth")
    made = chart_from_image(photo.picture, columns=32, lines="none").cells
    again = chart_from_image(photo.picture[:, ::-1].copy(), columns=32, lines="none").cells
    assert np.array_equal(made, again[:, ::-1])


def test_the_grid_lies_on_the_drawing_in_the_photo():
    photo = photograph(2, "heron", "slate")
    made = reduce_picture(photo.picture, settings_of(columns=40))
    rows, cols = made.cells.shape
    inside = made.placement @ np.array([[0, 0, 1], [0, cols, 1], [rows, cols, 1], [rows, 0, 1]]).T
    assert overlap(inside.T, photo.corners, photo.picture.shape[:2]) < 1
    polygon = photo.corners[:, ::-1].astype(np.float32)
    assert all(cv2.pointPolygonTest(polygon, (float(c), float(r)), False) >= 0 for r, c in inside.T)
    dark = photo.picture.min(axis=2)
    row, col = (made.placement @ np.array([*(np.argwhere(made.cells) + 0.5).T, np.ones(made.cells.sum())])).astype(int)
    bare_row, bare_col = (
        made.placement @ np.array([*(np.argwhere(~made.cells) + 0.5).T, np.ones((~made.cells).sum())])
    ).astype(int)
    assert dark[row, col].mean() < 0.6 * dark[bare_row, bare_col].mean()


@pytest.mark.parametrize(
    "options", [{"invert": True}, {"kind": "photo"}, {"subject": (20, 20, 80, 80)}, {"sheet": False}]
)
def test_she_may_mean_the_whole_photo(options):
    photo = photograph(1, "boat", "boards")
    assert not prepare_picture(photo.picture, settings_of(columns=40, **options)).on_sheet
    assert prepare_picture(photo.picture, settings_of(columns=40)).on_sheet


def test_lines_alone_are_suggested_on_the_whole_photo():
    photo = photograph(1, "snail", "slate")
    lines = suggest_lines(photo.picture, columns=60)
    # The sheet's own edge is a line of the photo.
    assert np.ptp(lines[:, :, 1]) > 0.4 * 60


@pytest.mark.parametrize(
    "name", ["astronaut", "camera", "chelsea", "coffee", "coins", "page", "rocket", "brick", "text"]
)
def test_photographs_without_a_sheet_are_taken_whole(name):
    picture = getattr(data, name)()
    large = cv2.resize(picture, None, fx=600 / max(picture.shape), fy=600 / max(picture.shape))
    assert find_sheet(picture) is None and find_sheet(large) is None


def painted(level=255, noise=0, small=False):
    """A white card on a dark ground with a star on it, painted by a program."""
    picture = np.full((700, 900), 60, np.uint8)
    cv2.rectangle(picture, (200, 120), (700, 580), level, -1)
    cv2.circle(picture, (450, 350), 90, 20, -1)
    if noise:
        picture = np.clip(picture + np.random.default_rng(0).normal(0, noise, picture.shape), 0, 255).astype(np.uint8)
    return cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA) if small else picture


def test_what_a_program_painted_is_no_photograph():
    assert find_sheet(painted()) is None
    assert find_sheet(painted(235, noise=2)) is not None


def test_blank_sheets_small_pictures_and_white_rims_are_left_alone():
    assert painted(235, 2, small=True).shape[1] < LEAST_PIXELS
    assert find_sheet(painted(235, 2, small=True)) is None
    blank = painted(235, noise=2)
    blank[200:500, 300:600] = 235
    assert find_sheet(blank) is None
    framed = np.pad(painted(235, 2)[60:640, 140:760], 160, constant_values=236)
    assert find_sheet(framed) is None


def shaded(picture, fall, shadow):
    """A drawing as it is photographed from near: light that falls off, a shadow across it, blur and grain."""
    high, wide = picture.shape
    down, along = np.linspace(-1, 1, high)[:, None], np.linspace(-1, 1, wide)[None, :]
    light = 1 - (1 - fall) * (down**2 + along**2) / 2
    across = np.arange(wide)[None, :] + 0.6 * np.arange(high)[:, None] > 0.9 * wide
    light = cv2.GaussianBlur(np.where(across, shadow * light, light), (0, 0), 12)
    noise = np.random.default_rng(3).normal(0, 3, picture.shape)
    return np.clip(cv2.GaussianBlur(picture * light, (0, 0), 1.2) + noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("fall, shadow", [(0.9, 1), (0.6, 1), (0.9, 0.6), (0.7, 0.7)])
@pytest.mark.parametrize("broad", [24, 56, 84])
@pytest.mark.parametrize("below", [0, 90])
def test_a_drawn_frame_is_no_sheet_however_broad_its_pen(fall, shadow, broad, below):
    """With or without a broad bar below, as of a portrait that hangs or a house; the paper round it is shaded too."""
    picture = np.full((800, 800), 228, np.uint8)
    cv2.rectangle(picture, (150, 120), (650, 600 + below), 30, -1)
    cv2.rectangle(picture, (150 + broad, 120 + broad), (650 - broad, 600 - broad), 228, -1)
    cv2.circle(picture, (400, 360), 70, 30, 24)
    assert find_sheet(shaded(picture, fall, shadow)) is None


@pytest.mark.parametrize("fall, shadow", [(0.9, 1), (0.6, 1), (0.9, 0.6), (0.7, 0.7)])
def test_a_sheet_on_a_dark_table_under_the_same_light_is_one(fall, shadow):
    picture = np.full((800, 800), 40, np.uint8)
    cv2.rectangle(picture, (150, 120), (650, 680), 228, -1)
    cv2.circle(picture, (400, 360), 70, 30, 24)
    assert find_sheet(shaded(picture, fall, shadow)) is not None


def test_a_drawing_over_the_edge_of_the_sheet_makes_it_no_sheet():
    """What runs over the edge all round is no drawing on a sheet: a window with bars, say."""
    picture = painted(235, noise=2)
    for at in range(220, 700, 16):
        picture[110:590, at : at + 6] = 50
    assert find_sheet(picture) is None


def test_sheet_of_the_photo_is_what_paper_it_is():
    assert SHEET[0] > SHEET[1]
    ready = prepare_picture(photograph(4, "fern", "boards").picture, settings_of(columns=40))
    flat = sorted(ready.gray.shape)
    assert abs(flat[1] / flat[0] - SHEET[0] / SHEET[1]) < 0.12


@pytest.mark.parametrize("below", [0.12, 0.2, 0.3])
@pytest.mark.parametrize("turned", [0, 1, 2, 3])
def test_a_broad_dark_shape_is_not_the_end_of_the_sheet(below, turned):
    """A hull from side to side: above it is paper, and below it too."""
    rng = np.random.default_rng(7)
    photo = np.full((900, 760, 3), 60.0)
    photo[50:850, 60:700] = (225, 222, 214)
    top = round(850 - below * 800)
    photo[top - 90 : top, 80:680] = 40
    photo[160 : top - 90, 370:384] = 40
    photo[200:420, 390:560] = 40
    for left in range(100, 640, 140):
        photo[836:852, left : left + 40] = 40
    photo = np.rot90(cv2.GaussianBlur(photo, (0, 0), 1.2) + rng.normal(0, 3, photo.shape), turned)
    sheet = find_sheet(np.clip(photo, 0, 255).astype(np.uint8))
    assert sheet is not None
    high, wide = (800, 640) if turned % 2 == 0 else (640, 800)
    assert np.abs(np.subtract(sheet.shape, (high, wide))).max() < 25
