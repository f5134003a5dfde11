"""Bars round a picture: those of a screen and the dark beyond a scanned page are left out, what is drawn is not.

Outside check: photographs of scikit-image between the bars of a screen are charted as they are without.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage import data

from converter.files.picture import load_picture
from converter.pipeline import chart_from_image, reduce_picture, suggest_lines
from converter.raster.bars import find_bars
from converter.raster.prepare import prepare_picture
from converter.settings import ChartSettings

SAID = "The bars round the picture were left out."
SCREEN = (720, 1560)
"""Width and height of a telephone's screen, pixels."""


@pytest.fixture
def drawing(fixtures):
    def load(name):
        pixels = load_picture(fixtures / "pictures" / f"{name}.png")
        return pixels if pixels.ndim == 3 else np.repeat(pixels[:, :, None], 3, axis=2)

    return load


def on_screen(picture, tone, signs=True, packed=False):
    """Return a picture as a telephone shows it, and the rows that it takes."""
    width, height = SCREEN
    rows = round(picture.shape[0] * width / picture.shape[1])
    screen = np.full((height, width, 3), tone, dtype=np.uint8)
    first = (height - rows) // 2
    screen[first : first + rows] = cv2.resize(picture, (width, rows), interpolation=cv2.INTER_AREA)
    if signs:
        ink = 255 if np.mean(tone) < 128 else 0
        cv2.putText(screen, "14:32", (40, 60), cv2.FONT_HERSHEY_SIMPLEX, 1.0, (ink, ink, ink), 2)
        cv2.rectangle(screen, (240, height - 20), (480, height - 14), (ink, ink, ink), -1)
        for col in (80, 260, 440, 620):
            cv2.circle(screen, (col, height - 80), 18, (ink, ink, ink), 3)
    if packed:
        ready, kept = cv2.imencode(".jpg", screen, [cv2.IMWRITE_JPEG_QUALITY, 85])
        assert ready
        screen = cv2.imdecode(kept, cv2.IMREAD_COLOR)
    return screen, (first, first + rows)


def scanned(picture, sides, seed=0, lean=0.0):
    """Return a scan of a page that is dark beyond some sides, and the box (top, left, bottom, right) of the page."""
    rng = np.random.default_rng(seed)
    wide = {side: int(rng.integers(20, 70)) if side in sides else 0 for side in ("top", "left", "bottom", "right")}
    page = picture.astype(np.float64) * 0.93
    height, width = page.shape[:2]
    scan = np.full((height + wide["top"] + wide["bottom"], width + wide["left"] + wide["right"], 3), 22.0)
    box = (wide["top"], wide["left"], wide["top"] + height, wide["left"] + width)
    scan[box[0] : box[2], box[1] : box[3]] = page
    if lean:
        turn = cv2.getRotationMatrix2D((scan.shape[1] / 2, scan.shape[0] / 2), lean, 1.0)
        scan = cv2.warpAffine(scan, turn, scan.shape[1::-1], borderMode=cv2.BORDER_REPLICATE)
    scan += rng.normal(0, 4, scan.shape)
    return np.clip(scan, 0, 255).astype(np.uint8), box


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("signs", [False, True])
@pytest.mark.parametrize("tone", [(0, 0, 0), (24, 26, 32), (255, 255, 255), (244, 241, 236)])
def test_bars_of_a_screen_are_found_to_the_pixel(tone, signs, packed):
    for photo in (data.chelsea(), data.coffee()):
        screen, (first, last) = on_screen(photo, tone, signs, packed)
        inside = find_bars(screen)
        assert inside is not None
        assert (inside.left, inside.right) == (0, SCREEN[0])
        # Neither a row of a bar, nor more than its two nearest rows of the picture.
        assert first <= inside.top <= first + 2
        assert last - 2 <= inside.bottom <= last
        lying = find_bars(screen.swapaxes(0, 1))
        assert (lying.top, lying.bottom, lying.left, lying.right) == (0, SCREEN[0], inside.top, inside.bottom)


@pytest.mark.parametrize("name", ["boat", "snail", "teapot", "lantern"])
def test_a_drawing_on_a_dark_screen_is_charted_alone(drawing, name):
    picture = drawing(name)
    screen, _ = on_screen(picture, (18, 18, 18), packed=True)
    found = reduce_picture(screen, ChartSettings.from_options(columns=60))
    assert SAID in found.reason
    alone = chart_from_image(picture, columns=60)
    assert abs(found.cells.shape[0] - alone.rows) <= 1
    rows = min(found.cells.shape[0], alone.rows)
    assert float((found.cells[:rows] == alone.cells[:rows]).mean()) > 0.9


def test_a_photograph_on_a_screen_is_charted_as_without():
    screen, (first, last) = on_screen(data.chelsea(), (0, 0, 0))
    found = reduce_picture(screen, ChartSettings.from_options(columns=60))
    alone = reduce_picture(screen[first + 1 : last - 1], ChartSettings.from_options(columns=60))
    assert float((found.cells == alone.cells).mean()) > 0.97
    assert SAID in found.reason and SAID not in alone.reason


def test_stitches_lead_back_to_the_whole_picture():
    screen, (first, last) = on_screen(data.coffee(), (0, 0, 0))
    placement = reduce_picture(screen, ChartSettings.from_options(columns=60)).placement
    rows = placement[0] @ np.array([[0, 40], [0, 0], [1, 1]])
    assert first - 20 < rows[0] < rows[1] < last + 20


@pytest.mark.parametrize("lean", [0.0, 0.6])
@pytest.mark.parametrize(
    "sides",
    [("right", "bottom"), ("left", "top"), ("left", "bottom"), ("top", "right", "bottom"), ("left", "top", "right")],
)
def test_the_dark_beyond_a_scanned_page_is_found(drawing, sides, lean):
    for seed, name in enumerate(("heron", "sprig", "teapot")):
        scan, box = scanned(drawing(name), sides, seed, lean)
        inside = find_bars(scan)
        assert inside is not None, (seed, name)
        got = (inside.top, inside.left, inside.bottom, inside.right)
        assert np.abs(np.subtract(got, box)).max() <= (3 if not lean else 0.02 * max(scan.shape) + 6)


def test_a_scanned_page_is_charted_alone(drawing):
    scan, (top, left, bottom, right) = scanned(drawing("heron"), ("right", "bottom"), 2)
    found = reduce_picture(scan, ChartSettings.from_options(columns=60))
    alone = reduce_picture(scan[top:bottom, left:right], ChartSettings.from_options(columns=60))
    assert SAID in found.reason and SAID not in alone.reason
    assert found.cells.shape == alone.cells.shape
    assert float((found.cells == alone.cells).mean()) > 0.97


def framed(picture, top, left, bottom, right, tone=0):
    return cv2.copyMakeBorder(picture, top, bottom, left, right, cv2.BORDER_CONSTANT, value=(tone, tone, tone))


@pytest.mark.parametrize(
    ("what", "edges"),
    [
        ("a frame", (40, 40, 40, 40)),
        ("ground below", (0, 0, 200, 0)),
        ("a wall at the left", (0, 120, 0, 0)),
        ("thin ends of a bookmark", (40, 0, 40, 0)),
        ("unequal ends", (300, 0, 0, 0)),
        ("a corner painted by a program", (0, 0, 60, 60)),
    ],
)
@pytest.mark.parametrize("name", ["heron", "sprig"])
def test_what_is_drawn_is_kept(drawing, name, what, edges):
    picture = framed(drawing(name), *edges)
    assert find_bars(picture) is None, what


def test_a_photographed_frame_and_ground_are_kept(drawing):
    rng = np.random.default_rng(4)
    for edges in ((40, 40, 40, 40), (0, 0, 120, 0), (0, 80, 0, 0), (60, 0, 60, 0)):
        picture = framed(drawing("heron"), *edges) * 0.9
        assert find_bars(np.clip(picture + rng.normal(0, 5, picture.shape), 0, 255).astype(np.uint8)) is None, edges


def test_stripes_are_kept():
    """Bands of one colour that come again within: cloth, flags."""
    tall = np.full((900, 500, 3), 250, dtype=np.uint8)
    for first in range(0, 900, 360):
        tall[first : first + 180] = (160, 20, 30)
    assert find_bars(tall) is None


@pytest.mark.parametrize("tone", [(200, 20, 30), (20, 40, 140), (128, 128, 128)])
def test_coloured_bands_are_kept(drawing, tone):
    """A flag."""
    flag = cv2.copyMakeBorder(drawing("teapot"), 0, 0, 400, 400, cv2.BORDER_CONSTANT, value=tone)
    assert find_bars(flag) is None


@pytest.mark.parametrize(
    "name",
    ["astronaut", "brick", "camera", "cat", "cell", "chelsea", "clock", "coffee", "coins", "grass", "gravel", "horse",
     "hubble_deep_field", "immunohistochemistry", "moon", "page", "retina", "rocket", "text"],
)  # fmt: skip
def test_other_pictures_have_none(name):
    if not hasattr(data, name):
        pytest.skip(f"this scikit-image has no {name}")
    try:
        picture = np.asarray(getattr(data, name)())
    except (OSError, ModuleNotFoundError, ConnectionError) as error:
        pytest.skip(f"{name} does not come with scikit-image: {error}")
    picture = (picture * 255).astype(np.uint8) if picture.dtype == np.bool_ else picture
    assert find_bars(picture) is None


def test_she_may_keep_them(drawing):
    screen, _ = on_screen(drawing("boat"), (0, 0, 0))
    assert prepare_picture(screen, ChartSettings.from_options(columns=40)).had_bars
    whole = prepare_picture(screen, ChartSettings.from_options(columns=40, trim=False))
    assert not whole.had_bars and whole.gray.size == screen.shape[0] * screen.shape[1]
    # With the subject of a photograph told, its box stays in percent of the whole.
    assert not prepare_picture(screen, ChartSettings.from_options(columns=40, subject=(10, 40, 90, 60))).had_bars


def test_lines_alone_keep_to_the_grid_of_the_whole_picture(drawing):
    screen, (first, last) = on_screen(drawing("boat"), (0, 0, 0))
    cell = SCREEN[0] / 40
    lines = suggest_lines(screen, columns=40)
    assert len(lines)
    assert (last - first) / cell < lines[:, :, 0].max()


@pytest.mark.parametrize("shape", [(1, 1), (4, 900), (900, 4), (330, 64), (330, 330), (700, 500)])
@pytest.mark.parametrize("tone", [0, 90, 255])
def test_plain_pictures_of_any_shape_have_none(shape, tone):
    assert find_bars(np.full(shape, tone, dtype=np.uint8)) is None
    noise = np.random.default_rng(1).integers(0, 256, (*shape, 3), dtype=np.uint8)
    assert find_bars(noise) is None
