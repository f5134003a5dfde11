"""Folds of the paper are no part of the drawing on it. The pictures are our own, folded by arithmetic and seeded."""

from __future__ import annotations

import numpy as np
import pytest

from converter.files.picture import load_picture
from converter.pipeline import chart_from_image, reduce_picture
from converter.raster.folds import find_folds, lines_of_folds
from converter.raster.paper import look_at_paper
from converter.raster.prepare import prepare_picture
from converter.settings import ChartSettings


def folded(drawing, seed, depth, upright=2, level=1):
    """Return a photo of a drawing on paper that was folded: dark furrows with a bright rim, each field apart."""
    rng = np.random.default_rng(seed)
    height, width = drawing.shape
    row, col = np.mgrid[:height, :width].astype(np.float64)
    light = np.full(drawing.shape, 0.86)
    side = min(height, width)
    for count, across, along, size in ((upright, col, row, width), (level, row, col, height)):
        for number in range(count):
            place = size * (number + 1) / (count + 1) + rng.uniform(-0.02, 0.02) * size
            off = across - place - rng.uniform(-0.03, 0.03) * along
            light -= depth * np.exp(-((off / (0.006 * side)) ** 2))
            light += 0.4 * depth * np.exp(-(((off - 0.014 * side) / (0.01 * side)) ** 2))
            light += np.where(off > 0, 1, -1) * rng.uniform(-0.015, 0.015)
    photo = light * (0.18 + 0.82 * drawing / 255) + rng.normal(0, 0.015, drawing.shape)
    return (np.clip(photo, 0, 1) * 255).astype(np.uint8)


@pytest.fixture
def drawing(fixtures):
    def load(name):
        pixels = load_picture(fixtures / "pictures" / f"{name}.png")
        gray = pixels if pixels.ndim == 2 else pixels[:, :, 1]
        # Paper all round: the folds reach the sides of the picture, the drawing does not.
        return np.pad(gray, 60, constant_values=255)

    return load


@pytest.mark.parametrize("depth", [0.08, 0.12, 0.17])
@pytest.mark.parametrize("name", ["lantern", "heron", "sprig", "snail"])
def test_a_folded_drawing_is_charted_as_a_flat_one(drawing, name, depth):
    flat = drawing(name)
    alone = chart_from_image(flat, columns=60, lines="none")
    found = reduce_picture(folded(flat, len(name), depth), ChartSettings.from_options(columns=60))
    assert "The folds of the paper were left out." in found.reason
    assert "their edges are drawn" not in found.reason
    assert abs(found.cells.shape[0] - alone.rows) <= 2
    assert abs(int(found.cells.sum()) - int(alone.cells.sum())) < 0.12 * int(alone.cells.sum())


def test_no_backstitch_follows_a_fold(drawing):
    flat = drawing("lantern")
    lines = [len(chart_from_image(each, columns=60).lines) for each in (flat, folded(flat, 3, 0.15))]
    assert lines[1] <= lines[0] + 6


def marks_of(*lines, shape=(300, 240), broad=4):
    """Return marks along lines (row, col, row, col)."""
    found = np.zeros(shape, dtype=np.bool_)
    for first_row, first_col, last_row, last_col in lines:
        for share in np.linspace(0, 1, 1200):
            row = round(first_row + share * (last_row - first_row))
            col = round(first_col + share * (last_col - first_col))
            found[row, max(0, col - broad // 2) : col + broad // 2] = True
            found[max(0, row - broad // 2) : row + broad // 2, col] = True
    return found


NONE = np.zeros((300, 240), dtype=np.bool_)


BROAD = 10.0


@pytest.mark.parametrize("turned", [False, True])
def test_from_side_to_side_and_nothing_else(turned):
    def found(marks, ink=NONE):
        both = [each.T if turned else each for each in (marks, ink)]
        got = lines_of_folds(*both, BROAD)
        return None if got is None else got.T if turned else got

    fold = marks_of((0, 100, 299, 112))
    assert not (fold & ~found(fold)).any() and found(fold).mean() < 0.1
    # What is drawn over it hides a part of it.
    ink = NONE.copy()
    ink[60:160, 40:200] = True
    assert not (fold & ~found((fold & ~ink) | ink, ink)).any()
    # Something broad that reaches the side, a stroke that ends, one that leans, the rim of an area, a pattern.
    assert found(marks_of((0, 100, 299, 112), broad=16)) is None
    assert found(marks_of((0, 100, 170, 106))) is None
    assert found(marks_of((0, 100, 299, 190))) is None
    area = NONE.copy()
    area[:, 100:] = True
    assert found(area) is None
    middle = (np.arange(300) > 5) & (np.arange(300) < 294)
    assert found(fold | (area & middle[:, None])) is None
    stripes = NONE.copy()
    stripes[:, ::20] = True
    assert found(stripes) is None


def test_folds_that_cross():
    cross = marks_of((0, 100, 299, 104), (140, 0, 150, 239))
    assert not (cross & ~lines_of_folds(cross, NONE, BROAD)).any()


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (40, 1), (7, 7)])
@pytest.mark.parametrize("marked", [False, True])
def test_tiny_pictures_have_none(shape, marked):
    assert lines_of_folds(np.full(shape, marked), np.zeros(shape, dtype=np.bool_), 2.0) is None


@pytest.mark.parametrize("name", ["heron", "fern", "key", "lantern"])
def test_flat_paper_has_none(drawing, name):
    for depth in (0.0, 0.02):
        look = look_at_paper(folded(drawing(name), 1, depth))
        assert look is not None
        assert find_folds(look) is None


def test_a_pale_line_that_a_program_drew_stays(drawing):
    """Exact tones: no paper, no fold."""
    picture = drawing("snail")
    picture[20:30] = np.minimum(picture[20:30], 205)
    look = look_at_paper(picture)
    assert look is not None and find_folds(look) is None
    assert chart_from_image(picture, columns=60).rows > chart_from_image(drawing("snail"), columns=60).rows


def test_ruled_paper_is_not_folded(drawing):
    """Its lines go from side to side too: she may want them, and they are told of as lines."""
    rng = np.random.default_rng(2)
    flat = drawing("heron").astype(np.float64)
    flat[40::45] = np.minimum(flat[40::45], 200)
    flat[41::45] = np.minimum(flat[41::45], 200)
    photo = np.clip(flat * 0.9 + rng.normal(0, 3, flat.shape), 0, 255).astype(np.uint8)
    ready = prepare_picture(photo, ChartSettings.from_options(columns=40))
    assert ready.was_ruled and not ready.was_folded
    kept = prepare_picture(photo, ChartSettings.from_options(columns=40, rulings=True))
    assert not kept.was_ruled and not kept.was_folded
