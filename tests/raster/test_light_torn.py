"""Ink that fades into the paper, and fine drawing on a small picture."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from converter.raster import take
from converter.raster.light import Ink, find_ink
from converter.raster.prepare import prepare_picture
from converter.raster.vote import vote_regions
from converter.settings import ChartSettings


def _house(fading: bool = True) -> np.ndarray:
    """Return a frame of black lines; a beam as broad as a line fades from it to the white of the paper."""
    gray = np.full((360, 420), 255, dtype=np.uint8)
    cv2.rectangle(gray, (90, 100), (330, 300), 0, 14)
    if fading:
        gray[40:100, 150:270] = np.rint(np.linspace(255, 0, 60)).astype(np.uint8)[:, None]
    return np.asarray(cv2.GaussianBlur(gray, (0, 0), 0.8), dtype=np.float32) / np.float32(255)


@pytest.mark.parametrize("pixels", [8.0, 12.0])
def test_lines_stay_ink_where_ink_fades_into_paper(pixels: float) -> None:
    """Otherwise line and paper are one region without an edge between, and all of it is taken for the one."""
    found = find_ink(_house(), pixels)
    assert found is not None
    assert found.mask[300, 100:320].mean() > 0.98, "the sill"
    assert found.mask[120:290, 90].mean() > 0.98
    assert not found.mask[130:270, 130:290].any(), "the room"
    assert not found.mask[:30].any()
    assert not found.mask[320:].any()


def test_a_plain_colour_between_ink_and_paper_is_not_split() -> None:
    """A gray field within black lines on white is paper as before: it is one colour."""
    gray = _house(fading=False)
    gray[115:285, 105:315] = 0.7
    gray[100:115, 180:240] = 0.7
    found = find_ink(gray, 10.0)
    assert found is not None
    field = found.mask[130:270, 120:300]
    assert field.all() or not field.any()


def _pitted() -> np.ndarray:
    """Return a dark block full of tiny holes."""
    gray = np.ones((240, 300), dtype=np.float32)
    block = gray[60:180, 60:240]
    block[:] = np.where(np.random.default_rng(1).random(block.shape) < 0.03, 0.95, 0.1)
    return np.asarray(cv2.GaussianBlur(gray, (0, 0), 0.8), dtype=np.float32)


def test_what_looks_like_grain_is_smoothed_unless_it_was_judged_before() -> None:
    judged, kept = find_ink(_pitted(), 12.0), find_ink(_pitted(), 12.0, judge_grain=False)
    assert judged is not None and kept is not None
    assert judged.grainy and not kept.grainy
    assert judged.mask[70:170, 70:230].all() and not kept.mask[70:170, 70:230].all()


@pytest.mark.parametrize(("side", "columns", "judged"), [(300, 60, False), (900, 100, True), (2000, 60, True)])
def test_an_enlargement_is_not_judged_again(
    monkeypatch: pytest.MonkeyPatch, side: int, columns: int, judged: bool
) -> None:
    """It shows no grain that the picture itself has not; a finer copy than the first look's may."""
    asked: list[bool] = []

    def spy(*given: object, judge_grain: bool = True, **named: object) -> Ink | None:
        asked.append(judge_grain)
        return find_ink(*given, judge_grain=judge_grain, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(take, "find_ink", spy)
    picture = np.full((side, side), 255, dtype=np.uint8)
    cv2.circle(picture, (side // 2, side // 2), side // 3, 0, side // 30)
    settings = ChartSettings.from_options(columns=columns)
    take.take_up(prepare_picture(picture, settings), settings)
    assert asked[-1] is judged


def test_a_shaded_thing_in_its_soft_shadow_is_not_turned_inside_out() -> None:
    """Dark body, shadow and paper without an edge between: the bright part of it all is paper."""
    y, x = np.mgrid[:300, :400]
    gray = np.full((300, 400), 1.0)
    below = np.hypot((y - 190) / 35, (x - 200) / 130)
    gray *= 1 - 0.85 / (1 + np.exp((below - 1) * 9))
    body = np.hypot((y - 140) / 60, (x - 200) / 110) < 1
    gray[body] = (0.08 + 0.12 * (x / 400))[body]
    gray = cv2.GaussianBlur(gray.astype(np.float32), (0, 0), 0.8)
    found = find_ink(gray, 8.0)
    assert found is not None
    assert found.mask[body & (y < 180)].mean() > 0.95
    assert not found.mask[[0, -1]].any() and not found.mask[:, [0, -1]].any()


def _wheel() -> np.ndarray:
    """A dark wheel on white with a fork of a plain colour half-way across its rim, and a black and white eye."""
    gray = np.full((400, 400), 1.0, dtype=np.float32)
    cv2.circle(gray, (200, 270), 90, 0.27, -1, cv2.LINE_AA)
    cv2.circle(gray, (200, 270), 72, 1.0, -1, cv2.LINE_AA)
    cv2.rectangle(gray, (180, 60), (220, 190), 0.53, -1)
    for x in (120, 280):
        cv2.circle(gray, (x, 100), 14, 0.0, -1, cv2.LINE_AA)
        cv2.circle(gray, (x, 100), 7, 1.0, -1, cv2.LINE_AA)
    return gray


def test_white_paper_is_not_ink_whatever_is_drawn_on_plain_colours() -> None:
    """The votes of a region that holds paper and plain colours may be about even; most of it is white."""
    for pixels in (6.0, 8.0, 12.0):
        found = find_ink(_wheel(), pixels, mend_grain=False)
        assert found is not None
        assert not found.mask[:40].any() and not found.mask[-20:].any()
        assert found.mask[95:105, 110:112].all(), "the eye"


def test_an_even_vote_is_decided_by_how_bright_the_region_is() -> None:
    """An edge that ends in the open has the same region on both sides: paper if that is as bright as anything."""
    for plain_level, is_paper in ((0.0, True), (-0.1, True), (-0.4, False), (-0.9, False)):
        level = np.full((80, 80), plain_level, dtype=np.float32)
        band = np.zeros((80, 80), dtype=bool)
        dark_side = np.zeros_like(band)
        band[30:34, 20:60] = True
        dark_side[30:32, 20:60] = True
        span = np.where(band, np.float32(2.0), np.float32(0.0))
        # A little more weight on the dark side: by its votes it is ink.
        span[30:32] *= np.float32(1.1)
        level[30:32, 20:60], level[32:34, 20:60] = -2.0, 0.0
        level[60:70, :40] = 0.0
        ink, paper, large = vote_regions(band, dark_side, span, level, 2.0, 50.0)
        plain = ~band
        assert ink[plain].all() == (not is_paper) and ink[plain].any() == (not is_paper)
        assert np.array_equal(paper, plain & ~ink) and np.array_equal(large, paper)
