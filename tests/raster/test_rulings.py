"""Printed lines of the paper: found on ruled, squared and dotted paper, left out, and nothing drawn taken for them.

Distances of real papers, from memory of the trade (common practice): lines 8 mm apart, squares of 5 mm, dots 5 mm apart
on paper 148 to 210 mm wide.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from helpers.sheet_photos import DRAWINGS, stitch_agreement
from helpers.worn_pictures import photograph
from skimage import data

from converter.pipeline import chart_from_image, suggest_lines
from converter.raster.paper import look_at_paper
from converter.raster.prepare import prepare_picture
from converter.raster.rulings import has_rulings
from converter.settings import ChartSettings

SAID = "The printed lines of the paper were left out."
PAPERS = ("ruled", "squared", "dotted")
PX_PER_MM = 6.0


def drawing_of(name, side=640):
    gray = cv2.imread(str(DRAWINGS / f"{name}.png"), cv2.IMREAD_GRAYSCALE)
    scale = side / max(gray.shape)
    return cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)


def on_paper(name, paper, seed=0, ink=(40, 45, 90), lines=(170, 195, 220), curl=0.012):
    """Return a photo of a drawing on printed paper, tilted, curled and under a lamp."""
    rng = np.random.default_rng(seed)
    drawing = drawing_of(name)
    height, width = drawing.shape[0] + 260, drawing.shape[1] + 260
    sheet = np.full((height, width, 3), (246, 245, 238), dtype=np.float32)
    step = round((8 if paper == "ruled" else 5) * PX_PER_MM)
    for at in range(20, height, step):
        if paper != "dotted":
            sheet[at : at + 2] = lines
    for at in range(20, width, step):
        if paper == "squared":
            sheet[:, at : at + 2] = lines
        if paper == "dotted":
            for down in range(20, height, step):
                sheet[down - 1 : down + 3, at - 1 : at + 3] = 150
    share = (drawing / 255)[:, :, None].astype(np.float32)
    part = sheet[130 : 130 + drawing.shape[0], 130 : 130 + drawing.shape[1]]
    part[:] = part * share + np.minimum(part, np.array(ink, np.float32)) * (1 - share)
    down, across = np.mgrid[0:height, 0:width].astype(np.float32)
    v, u = down / height - 0.5, across / width - 0.5
    angle, view = np.radians(rng.uniform(-3, 3)), rng.uniform(-0.04, 0.04)
    columns = width * (0.5 + (u * np.cos(angle) - v * np.sin(angle)) * (1 + view * v))
    rows = height * (0.5 + (v * np.cos(angle) + u * np.sin(angle)) * (1 + view * v) + curl * np.cos(3 * u))
    seen = cv2.remap(
        sheet, columns.astype(np.float32), rows.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    lamp = 0.75 + 0.25 * np.exp(-2 * ((u + 0.2) ** 2 + (v - 0.1) ** 2))
    seen = cv2.GaussianBlur(seen * lamp[:, :, None], (0, 0), 0.8) + rng.normal(0, 3, (height, width, 1))
    return np.clip(seen, 0, 255).astype(np.uint8)


def is_ruled(picture):
    look = look_at_paper(picture)
    return look is not None and has_rulings(look)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("seed", "name"), list(enumerate(["heron", "teapot", "boat", "snail"])))
def test_printed_lines_are_left_out(paper, seed, name):
    photo = on_paper(name, paper, seed)
    assert is_ruled(photo)
    made = chart_from_image(photo, columns=40)
    assert SAID in made.notes[0]
    true = chart_from_image(drawing_of(name), columns=40)
    assert stitch_agreement(made.cells, true.cells) > 0.93
    assert len(made.lines) <= 1.3 * len(true.lines) + 12


def test_she_may_want_them():
    photo = on_paper("teapot", "ruled", 1)
    settings = ChartSettings.from_options(columns=40, rulings=True)
    assert not prepare_picture(photo, settings).was_ruled
    assert prepare_picture(photo, ChartSettings.from_options(columns=40)).was_ruled
    with_lines = chart_from_image(photo, columns=40, rulings=True, lines="strokes")
    without = chart_from_image(photo, columns=40, lines="strokes")
    assert len(with_lines.lines) > len(without.lines) + 40
    # Lines alone are suggested on the picture as it is.
    assert len(suggest_lines(photo, columns=40)) > len(suggest_lines(photo, columns=40, rulings=False)) + 40


def test_the_paper_keeps_its_light_and_the_ink_its_colour():
    photo = on_paper("boat", "squared", 2)
    wiped = look_at_paper(photo).wipe(photo)
    assert wiped.shape == photo.shape and wiped.dtype == np.uint8
    dark = photo.max(axis=2) < 110
    assert dark.any() and np.array_equal(wiped[dark], photo[dark])
    bare = photo.min(axis=2) > 0.75 * cv2.blur(photo.max(axis=2), (61, 61))
    assert np.abs(wiped[bare].astype(int) - photo[bare]).mean() < 12
    # No line is left: away from the ink neighbouring pixels are alike.
    free = cv2.erode((~(photo.min(axis=2) < 110)).astype(np.uint8), np.ones((9, 9))) > 0
    step = np.abs(np.diff(wiped.astype(int), axis=0)).max(axis=2)
    assert step[free[1:] & free[:-1]].max() <= 6


def test_gray_scans_have_rulings_too():
    gray = cv2.cvtColor(on_paper("heron", "ruled", 3, lines=(190, 190, 190)), cv2.COLOR_RGB2GRAY)
    assert is_ruled(gray)
    assert look_at_paper(gray).wipe(gray).ndim == 2


def test_lines_as_dark_as_the_ink_belong_to_the_drawing():
    photo = on_paper("key", "squared", 4, ink=(60, 60, 60), lines=(80, 80, 80))
    assert not is_ruled(photo)


def test_a_pale_drawing_is_not_told_from_its_paper():
    photo = on_paper("snail", "ruled", 5, ink=(160, 160, 160), lines=(205, 205, 205))
    assert not is_ruled(photo)


@pytest.mark.parametrize("name", sorted(path.stem for path in DRAWINGS.glob("*.png")))
def test_plain_drawings_and_their_photos_have_none(name):
    drawing = drawing_of(name)
    assert not is_ruled(drawing)
    assert not is_ruled(photograph(np.pad(drawing, 60, constant_values=255), 7))


@pytest.mark.parametrize("name", ["astronaut", "brick", "camera", "coffee", "coins", "grass", "page", "text"])
def test_photographs_have_none(name):
    assert not is_ruled(getattr(data, name)())
