"""Strokes that fade are followed; what only runs into a stroke, or along it, is not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from converter import chart_from_image
from converter.raster.components import label_ink
from converter.raster.fading import ABOVE_NOISE, FAR, follow_fading

PIXELS = 10.0
CONTRAST = 2.0
EDGE = 0.33 * CONTRAST


def level(*strokes: tuple[float, float, float, float, float, float]) -> np.ndarray:
    """Paper at 0; strokes (row, col, row, col, first depth, last depth) in shares of the contrast, 3 pixels wide."""
    out = np.zeros((200, 200), dtype=np.float32)
    for row, col, row2, col2, first, last in strokes:
        steps = int(max(abs(row2 - row), abs(col2 - col))) + 1
        for share in np.linspace(0, 1, steps):
            r, c = round(row + share * (row2 - row)), round(col + share * (col2 - col))
            here = out[r - 1 : r + 2, c - 1 : c + 2]
            np.minimum(here, -CONTRAST * (first + share * (last - first)), out=here)
    return out


def followed(values: np.ndarray, noise: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Sure ink, and what is followed from it."""
    mask = values < -EDGE
    dark = values < -0.02 * CONTRAST
    return mask, follow_fading(mask, values, dark, PIXELS, CONTRAST, EDGE, noise)


def test_a_stroke_is_followed_while_it_fades() -> None:
    values = level((100, 20, 100, 180, 0.5, 0.05))
    mask, found = followed(values)
    assert (found & mask).sum() == mask.sum()
    ends = [int(np.flatnonzero(m[100])[-1]) for m in (mask, found)]
    assert ends[0] < 90 < 150 < ends[1] < 175


def test_a_gap_that_is_pale_on_both_sides_is_closed() -> None:
    values = level((100, 20, 100, 80, 0.5, 0.2), (100, 80, 100, 120, 0.2, 0.2), (100, 120, 100, 180, 0.2, 0.5))
    mask, found = followed(values)
    assert label_ink(mask)[0] == 2
    assert label_ink(found)[0] == 1


@pytest.mark.parametrize("crossing", [True, False], ids=["across", "up to it"])
def test_a_pale_line_that_meets_a_dark_stroke_is_none(crossing: bool) -> None:
    end = 190 if crossing else 98
    mask, found = followed(level((20, 100, 180, 100, 1.0, 1.0), (100, 10, 100, end, 0.2, 0.2)))
    assert np.array_equal(mask, found)


def test_a_pale_line_that_meets_nothing_is_none() -> None:
    mask, found = followed(level((100, 20, 100, 80, 0.5, 0.4), (100, 120, 100, 180, 0.2, 0.2)))
    assert np.array_equal(mask, found)


def test_the_edge_of_a_shade_is_none() -> None:
    """A broad pale area that begins at a stroke is paper to both the stroke and the eye."""
    values = level((100, 20, 100, 180, 0.4, 0.4))
    values[100:160, 20:180] = np.minimum(values[100:160, 20:180], -0.2 * CONTRAST)
    mask, found = followed(values)
    assert np.array_equal(mask, found)


def test_a_halo_along_a_stroke_is_none() -> None:
    """It keeps nearer to the stroke than a stretch must lead."""
    values = level((100, 20, 100, 180, 0.4, 0.4))
    rim = (cv2.dilate((values < 0).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0) & (values == 0)
    values[rim] = -0.2 * CONTRAST
    assert FAR * PIXELS > 2
    mask, found = followed(values)
    assert np.array_equal(mask, found)


def test_in_noise_nothing_is_followed() -> None:
    values = level((100, 20, 100, 180, 0.5, 0.05))
    mask, found = followed(values, noise=0.9 * EDGE / ABOVE_NOISE)
    assert np.array_equal(mask, found)


def two_pens(thinnest: float) -> np.ndarray:
    """A box in a broad pen round a ring in a fine one that grows thinner at its top, drawn large and averaged down."""
    page = np.full((1600, 1600), 255, dtype=np.uint8)
    cv2.rectangle(page, (80, 80), (1520, 1520), 0, 40)
    turns = np.linspace(0, 2 * np.pi, 2001)
    for turn in turns:
        at = (800 + 500 * np.cos(turn), 800 + 500 * np.sin(turn))
        width = thinnest + (18 - thinnest) * (1 + np.sin(turn)) / 2
        cv2.circle(page, (round(at[0] * 16), round(at[1] * 16)), round(width * 8), 0, -1, cv2.LINE_AA, 4)
    return np.asarray(cv2.resize(page, (160, 160), interpolation=cv2.INTER_AREA))


@pytest.mark.parametrize("wide", [40, 60, 90])
@pytest.mark.parametrize("thinnest", [5.0, 8.0])
def test_a_ring_of_a_fine_pen_beside_a_broad_one_stays_whole(wide: int, thinnest: float) -> None:
    cells = chart_from_image(two_pens(thinnest), wide, lines="none").cells
    assert label_ink(cells)[0] == 2
    _, grounds = cv2.connectedComponents((~cells).astype(np.uint8), connectivity=4)
    inside = grounds == grounds[tuple(np.array(cells.shape) // 2)]
    # Its radius is 34 % of the width of the box.
    assert inside.mean() == pytest.approx(np.pi * 0.338**2, abs=0.05)
