"""From the picture to its working size: places in pixels, and what is told of the picture on the way."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from converter.errors import RequestError
from converter.pipeline import reduce_picture
from converter.raster.frame import find_standing
from converter.raster.look import look_at
from converter.raster.prepare import prepare_picture
from converter.raster.reduction import reduce_prepared
from converter.raster.take import take_up
from converter.settings import ChartSettings


def options(columns=None, rows=None, **rest):
    return ChartSettings.from_options(columns=columns, rows=rows, **rest)


def plate(shape=(300, 400), box=(60, 90, 210, 330), paper=240, pen=20):
    """A solid plate with a notch, so that it stands one way only: top, left, bottom, right."""
    picture = np.full(shape, paper, dtype=np.uint8)
    top, left, bottom, right = box
    picture[top:bottom, left:right] = pen
    picture[top : top + 40, left + 30 : left + 55] = paper
    return picture


def taken(picture, settings):
    ready = prepare_picture(picture, settings)
    return ready, take_up(ready, settings)


def on_picture(ready, work, row, col):
    return (ready.to_source @ work.to_standing @ [row, col, 1])[:2]


@pytest.mark.parametrize("columns", [12, 40, 90, 120])
def test_the_working_picture_lies_where_the_ink_is(columns):
    picture = plate()
    ready, work = taken(picture, options(columns, deskew=False))
    top, left, bottom, right = work.box
    corners = [on_picture(ready, work, *at) for at in ((top, left), (bottom, right))]
    rows, cols = sorted(c[0] for c in corners), sorted(c[1] for c in corners)
    assert rows == pytest.approx([60, 210], abs=1.5) and cols == pytest.approx([90, 330], abs=1.5)
    # About so many pixels a stitch over the width asked for.
    cell = max(bottom - top, right - left) / columns
    assert cell == pytest.approx(work.pixels, rel=0.03)
    # Ink is ink: the middle of the plate, and nothing of the paper beside it.
    assert work.ink.mean() > 0.3 and not work.inverted and work.kind.name == "shape"
    for place in ((150, 200), (70, 100), (200, 320), (50, 200), (150, 80), (80, 130)):
        standing = np.linalg.inv(ready.to_source @ work.to_standing) @ [*place, 1]
        r, c = int(standing[0]), int(standing[1])
        if 0 <= r < work.ink.shape[0] and 0 <= c < work.ink.shape[1]:
            assert bool(work.ink[r, c]) == (picture[place] < 128)
        else:
            assert picture[place] > 128


def test_untrimmed_the_whole_picture_is_the_box():
    ready, work = taken(plate(), options(40, trim=False))
    assert work.box == (0.0, 0.0, float(work.ink.shape[0]), float(work.ink.shape[1]))
    corner = on_picture(ready, work, work.ink.shape[0], work.ink.shape[1])
    ends = [abs(corner[0] - v) for v in (0, 300)], [abs(corner[1] - v) for v in (0, 400)]
    assert min(ends[0]) < 2 and min(ends[1]) < 2


def test_what_is_kept_and_cleared_lies_on_the_working_picture():
    picture = plate()
    keep, clear = np.zeros(picture.shape, dtype=bool), np.zeros(picture.shape, dtype=bool)
    keep[150:200, 100:150] = True
    clear[:, 250:] = True
    ready, work = taken(picture, options(40, keep=keep, clear=clear, deskew=False))
    top, left, bottom, right = work.box
    corners = [on_picture(ready, work, *at) for at in ((top, left), (bottom, right))]
    # Cleared ink does not count for the box.
    assert sorted(c[1] for c in corners) == pytest.approx([90, 250], abs=2.5)
    marked = np.argwhere(work.keep)
    places = np.array([on_picture(ready, work, *(at + 0.5)) for at in marked[:: max(1, len(marked) // 200)]])
    assert places.min(axis=0) == pytest.approx([150, 100], abs=3) and places.max(axis=0) == pytest.approx(
        [200, 150], abs=3
    )  # fmt: skip


@pytest.mark.parametrize("degrees", [-3.0, 2.0])
def test_a_tilted_picture_is_straightened_and_its_place_is_known(degrees):
    picture = plate()
    turn = cv2.getRotationMatrix2D((200, 150), degrees, 1)
    tilted = cv2.warpAffine(picture, turn, (400, 300), flags=cv2.INTER_AREA, borderValue=240)
    ready, work = taken(tilted, options(40))
    assert f"{abs(degrees):.1f} degrees askew" in work.kind.reason
    top, left, bottom, right = work.box
    corners = {
        tuple(np.round(on_picture(ready, work, *at)))
        for at in ((top, left), (top, right), (bottom, left), (bottom, right))
    }
    for x, y in ((90, 60), (330, 60), (90, 210), (330, 210)):
        col, row = turn @ [x, y, 1]
        assert min(np.hypot(row - r, col - c) for r, c in corners) < 4
    assert "askew" not in taken(tilted, options(40, deskew=False))[1].kind.reason
    # Filled straight on the chart: no step along its edges.
    cells = reduce_prepared(ready, options(40)).cells
    assert cells[:, 0].mean() > 0.8 or cells[0].mean() > 0.8


def test_light_on_dark_is_taken_the_other_way_round():
    work = taken(plate(paper=15, pen=235), options(40))[1]
    assert work.inverted and "light on dark" in work.kind.reason and work.kind.name == "shape"
    dark = taken(plate(), options(40))[1]
    assert work.ink.mean() == pytest.approx(dark.ink.mean(), abs=0.03)
    # Told to exchange dark and light, it is not turned round once more.
    assert not taken(plate(paper=15, pen=235), options(40, invert=True))[1].inverted


@pytest.mark.parametrize("kind", ["line", "shape", "photo"])
def test_a_kind_asked_for_is_named_as_asked(kind):
    _, work = taken(plate(), options(30, kind=kind))
    names = {"line": "a line drawing", "shape": "solid shapes", "photo": "a photograph"}
    assert work.kind.name == kind and work.kind.reason.startswith(f"Taken for {names[kind]}, as asked.")
    assert (work.pixels == 8) if kind == "photo" else work.pixels > 8


def test_the_first_look_is_taken_on_a_small_copy():
    large = cv2.resize(plate(), None, fx=5, fy=5, interpolation=cv2.INTER_NEAREST)
    settings = options(40)
    look = look_at(prepare_picture(large, settings), settings)
    assert max(look.mask.shape) == 700 and look.scale == pytest.approx(700 / 2000)
    small = look_at(prepare_picture(plate(), settings), settings)
    assert sorted(small.mask.shape) == [300, 400] and small.scale == 1.0 and small.tilt == 0 and small.rims is None


def test_blank_pictures_and_too_few_pixels_are_refused():
    for kind in ("auto", "line", "shape", "photo"):
        with pytest.raises(RequestError, match="blank"):
            taken(np.full((60, 80), 200, dtype=np.uint8), options(20, kind=kind))
    tiny = np.full((60, 60), 240, dtype=np.uint8)
    tiny[20:24, 30:34] = 0
    tiny[0, 0] = 239
    with pytest.raises(RequestError, match="too few"):
        taken(tiny, options(1000))


def test_a_dot_too_small_for_the_smallest_copy_is_seen():
    picture = np.full((700, 700), 240, dtype=np.uint8)
    picture[350:353, 200:203] = 0
    _, work = taken(picture, options(12))
    assert work.ink.any() and work.ink.mean() < 0.8


def test_a_photograph_is_worked_at_eight_pixels_a_stitch_with_its_tones():
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:240, :320] / 320
    photo = 120 + 90 * np.sin(7 * x) * np.cos(5 * y) + cv2.GaussianBlur(rng.normal(0, 60, (240, 320)), (0, 0), 4)
    photo = np.clip(photo + rng.normal(0, 6, photo.shape), 0, 255).astype(np.uint8)
    settings = options(30, kind="photo", trim=False)
    ready, work = taken(photo, settings)
    assert work.pixels == 8 and work.depth.min() >= 0 and work.depth.max() <= 1
    # The darker the picture, the deeper.
    gray = cv2.resize(ready.gray, work.depth.shape[::-1], interpolation=cv2.INTER_AREA) / 255
    assert np.corrcoef(gray.ravel(), work.depth.ravel())[0, 1] < -0.98
    assert work.ink[gray < 0.2].mean() > 0.85 and work.ink[gray > 0.75].mean() < 0.1


def test_colour_pictures_stand_as_their_gray_does():
    """Sums over rows, columns and colours decide; pictures of colours are symmetric only if all of them are."""
    rng = np.random.default_rng(2)
    picture = rng.integers(0, 4, (5, 7, 3), dtype=np.uint8)
    first = find_standing(picture)
    from converter.raster.frame import ORIENTATIONS

    for each in ORIENTATIONS:
        image = each.apply(picture)
        assert np.array_equal(find_standing(image).orientation.apply(image), first.orientation.apply(picture))
    mirrored = np.concatenate([picture, picture[:, ::-1]], axis=1)
    assert len(find_standing(mirrored).symmetries) == 1
    mirrored[0, 0, 2] += 1
    assert find_standing(mirrored).symmetries == ()


@pytest.mark.parametrize("columns", [20, 33, 60])
def test_a_chart_of_a_plate_is_the_plate(columns):
    """Every stitch of the plate, its notch, and where they lie on the picture."""
    picture = plate()
    settings = options(columns, deskew=False)
    found = reduce_prepared(prepare_picture(picture, settings), settings)
    assert found.cells.shape[1] == columns and abs(found.cells.shape[0] - columns * 150 / 240) <= 1
    centres = np.argwhere(np.ones_like(found.cells)) + 0.5
    at = (found.placement @ np.column_stack([centres, np.ones(len(centres))]).T).T
    # A cell whose middle lies within a pixel of an edge may be either.
    near = [picture[(at[:, 0] + r).astype(int), (at[:, 1] + c).astype(int)] < 128 for r in (-1, 1) for c in (-1, 1)]
    truth, either = np.all(near, axis=0), np.any(near, axis=0)
    cells = found.cells.ravel()
    assert ((truth & ~cells) | (cells & ~either)).mean() < 0.01
    assert found.readability > 90 and found.losses == () and not found.loss_mask.any()
    assert found.loss_mask.shape == picture.shape and set(found.stages) == {"depth", "ink", "laid"}
    hole = found.placement @ [0, 0, 1]
    assert hole == pytest.approx([60, 90], abs=240 / columns)


def test_what_is_lost_is_marked_on_the_picture():
    picture = plate()
    picture[100:104, 350:354] = 20
    picture[250, 20:23] = 20
    settings = options(14, tidy=0, deskew=False, trim=False)
    found = reduce_prepared(prepare_picture(picture, settings), settings)
    if found.loss_mask.any():
        assert found.losses
        rows, cols = np.nonzero(found.loss_mask)
        assert ((rows > 90) & (cols > 340) | (rows > 240) & (cols < 40) | (picture[rows, cols] < 128)).mean() > 0.5


@pytest.mark.parametrize("pen", [44, 52, 60, 68])
@pytest.mark.parametrize("bar", [303, 311, 322, 335])
def test_a_frame_fills_the_outermost_columns_with_its_whole_side(pen, bar):
    """Bars inside pull the grid to and fro; the sides of the frame are drawn all the same, not a lone stitch."""
    gray = np.full((700, 1100), 255, dtype=np.uint8)
    gray[100:600, 100:1000] = 0
    gray[100 + pen : 600 - pen, 100 + pen : 1000 - pen] = 255
    for left in range(100 + bar, 900, bar):
        gray[100:600, left : left + pen] = 0
    cells = reduce_picture(gray, ChartSettings.from_options(columns=40)).cells
    assert cells.shape[1] == 40
    assert cells[:, 0].all()
    assert cells[:, -1].all()


@pytest.mark.parametrize(("body", "light"), [(200, True), (45, False)])
def test_a_subject_keeps_its_outline_on_a_lighter_or_darker_ground(body, light):
    """A ball with two spots before a cloth of middle gray: what is stitched is the ball, and the spots are bare."""
    rng = np.random.default_rng(8)
    ground = cv2.GaussianBlur(rng.normal(0, 60, (360, 480)).astype(np.float32), (0, 0), 6) + 120
    rows, cols = np.mgrid[:360, :480]
    ball = (rows - 180) ** 2 + (cols - 240) ** 2 < 100**2
    spots = ((rows - 160) ** 2 + (np.abs(cols - 240) - 40) ** 2) < 20**2
    shade = body + 20 * (cols - 240) / 100
    picture = np.where(ball, np.where(spots, 245 - body, shade), ground).clip(0, 255).astype(np.uint8)
    settings = options(40, kind="photo", subject=(25, 18, 75, 82))
    found = reduce_prepared(prepare_picture(picture, settings), settings)
    at = (np.argwhere(np.ones_like(found.cells)) + 0.5) @ found.placement[:, :2].T + found.placement[:, 2]
    truth = (ball & ~spots)[at[:, 0].astype(int), at[:, 1].astype(int)].reshape(found.cells.shape)
    assert (truth != found.cells).mean() < 0.06
    assert ("lighter than what lies round it" in str(found.reason)) == light
    assert found.readability > 70
