"""Pictures drawn in squares, one or more pixels each: at their own width they come back square by square."""

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from converter.errors import RequestError
from converter.pipeline import chart_from_image, reduce_picture
from converter.raster.drawn_squares import ENLARGED, SMALL, TINY, enlarge, find_squares
from converter.settings import ChartSettings, PictureSettings, ReductionSettings

ROWS = "..##..##.. .########. ########## ###.###### .########. ..######.. ...####... ....##...."
HEART = np.array([[c == "#" for c in row] for row in ROWS.split()])


def picture_of(cells, side=1, rim=0, tones=(0, 255)):
    ink = np.kron(np.pad(cells, rim), np.ones((side, side))) > 0
    return np.where(ink, np.uint8(tones[0]), np.uint8(tones[1]))


def reduce(picture, columns, **wanted):
    return reduce_picture(picture, ChartSettings(reduction=ReductionSettings(columns=columns, **wanted)))


@pytest.mark.parametrize("side", [1, 2, 7])
@pytest.mark.parametrize("rim", [0, 1, 4])
def test_each_square_is_a_stitch(side, rim):
    made = reduce(picture_of(HEART, side, rim), 10)
    assert np.array_equal(made.cells, HEART) and made.square_by_square
    assert made.readability == 100 and not made.loss_mask.any() and "one stitch" in made.reason
    # Hole (0, 0) is the corner of the first square, one hole further one square further.
    assert np.allclose(made.placement @ [0, 0, 1], [rim * side] * 2)
    assert np.allclose(made.placement @ [8, 10, 1], [(rim + 8) * side, (rim + 10) * side])


def test_loose_squares_and_any_two_tones_are_kept_and_no_lines_are_added():
    rng = np.random.default_rng(5)
    cells = rng.random((31, 23)) < 0.2
    cells[0, 0] = cells[-1, -1] = True
    assert np.array_equal(reduce(picture_of(cells, 1, 2, (40, 200)), 23).cells, cells)
    red = np.where(np.pad(cells, 2)[..., None], np.uint8([176, 30, 40]), np.uint8([255, 255, 255]))
    chart = chart_from_image(red, 23)
    assert np.array_equal(chart.cells, cells) and len(chart.lines) == 0


@pytest.mark.parametrize("turn", range(4))
def test_turned_mirrored_and_light_on_dark(turn):
    cells = np.rot90(HEART, turn)[:, ::-1]
    columns = cells.shape[1]
    assert np.array_equal(reduce(picture_of(cells, 3, 1), columns).cells, cells)
    night = reduce(picture_of(cells, 3, 4, (255, 0)), columns)
    assert np.array_equal(night.cells, cells)
    asked = ChartSettings(PictureSettings(invert=True), ReductionSettings(columns=columns))
    assert np.array_equal(reduce_picture(picture_of(cells, 3, 1, (255, 0)), asked).cells, cells)


def test_other_widths_are_drawn_and_told_of_the_squares():
    made = reduce(picture_of(HEART, 1, 1), 20)
    assert not made.square_by_square and "10 x 8" in made.reason
    assert np.array_equal(made.cells, np.kron(HEART, np.ones((2, 2))) > 0)


def test_a_plain_bar_is_not_told_to_be_drawn_in_squares():
    assert "squares" not in reduce(picture_of(np.ones((1, 2), bool), 60, 1), 30).reason


@pytest.mark.parametrize("wanted", [{"dark": 20}, {"detail": 20}, {"tidy": 90}, {"mirror": "upright"}])
def test_what_is_to_be_changed_is_no_copy(wanted):
    assert not reduce(picture_of(HEART, 2, 1), 10, **wanted).square_by_square


def test_untrimmed_squares_fill_the_picture():
    whole = ChartSettings(PictureSettings(trim=False), ReductionSettings(columns=12))
    assert np.array_equal(reduce_picture(picture_of(HEART, 2, 1), whole).cells, np.pad(HEART, 1))
    uneven = np.pad(picture_of(HEART, 3), 1, constant_values=255)
    assert find_squares(uneven, trim=True).side == 3 and find_squares(uneven, trim=False).side == 1


@pytest.mark.parametrize(
    "picture",
    [
        np.full((20, 20), 255, np.uint8),
        np.where(np.eye(9) > 0, np.uint8(100), np.uint8(140)),
        np.arange(100, dtype=np.uint8).reshape(10, 10),
        np.where(np.arange(2400)[None] % 2 == 0, np.uint8(0), np.uint8(255)) * np.ones((3, 1), np.uint8),
    ],
    ids=["blank", "pale", "many tones", "too many squares"],
)
def test_other_pictures_are_not_drawn_in_squares(picture):
    assert find_squares(picture, trim=True) is None


def test_small_pictures_are_enlarged_hard_pixels_to_blocks_and_soft_ones_smoothly():
    hard, times = enlarge(picture_of(HEART))
    assert times == -(-ENLARGED // 10) and np.array_equal(hard, picture_of(HEART, times))
    ramp = np.linspace(0, 255, TINY * TINY).astype(np.uint8).reshape(TINY, TINY)
    soft, times = enlarge(ramp)
    assert soft.shape == (TINY * times,) * 2 and np.abs(np.diff(soft.astype(int), axis=1)).max() <= 6
    for same in (np.tile(ramp, (2, 2)), picture_of(np.ones((SMALL + 1, 3)))):
        assert enlarge(same)[1] == 1 and enlarge(same)[0] is same


@pytest.mark.parametrize("size", [14, 22, 32, 48])
@pytest.mark.parametrize("columns", [24, 40, 60, 100])
def test_a_tiny_soft_disc_is_a_disc_at_every_width(size, columns):
    y, x = np.mgrid[:size, :size] - (size - 1) / 2
    picture = (255 * np.clip(np.hypot(x, y) - 0.36 * size + 0.5, 0, 1)).astype(np.uint8)
    try:
        cells = reduce(picture, columns).cells
    except RequestError as error:
        pytest.fail(str(error))
    y, x = np.mgrid[: cells.shape[0], : cells.shape[1]] + 0.5
    disc = np.hypot(y - cells.shape[0] / 2, x - cells.shape[1] / 2) < columns / 2
    assert (cells != disc).mean() < 0.08


# Small pictures, strongly packed.


@pytest.mark.parametrize("name", ["heron", "fern", "lantern", "sprig"])
@pytest.mark.parametrize(("width", "quality"), [(110, 40), (150, 40), (150, 60), (220, 30)])
def test_strong_packing_does_not_cost_a_small_picture_its_strokes(fixtures, name, width, quality):
    """What the blocks of JPEG (ITU-T T.81, 8 x 8 samples) leave behind is not the grain of broad chalk."""
    with Image.open(fixtures / "pictures" / f"{name}.png") as image:
        whole = image.convert("RGB")
    small = whole.resize((width, round(width * whole.height / whole.width)), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    small.save(stream, format="JPEG", quality=quality)
    with Image.open(stream) as image:
        packed = np.asarray(image)
    found = chart_from_image(packed, columns=50, lines="none")
    right = chart_from_image(np.asarray(whole), columns=50, lines="none")
    assert abs(found.rows - right.rows) <= 3
    near = cv2.dilate(found.cells.view(np.uint8), np.ones((3, 3), dtype=np.uint8)) > 0
    rows = min(found.rows, right.rows)
    assert float(near[:rows][right.cells[:rows]].mean()) > 0.9
