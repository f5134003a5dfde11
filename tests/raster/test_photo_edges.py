"""Photographs and tilted drawings: limits on either side."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from converter.errors import RequestError
from converter.raster import look
from converter.raster.deskew import find_tilt
from converter.raster.photo import cut_subject, tone_mask
from converter.raster.prepare import prepare_picture
from converter.settings import ChartSettings


def options(columns=None, rows=None, **rest):
    return ChartSettings.from_options(columns=columns, rows=rows, **rest)


# Tilt.


def strokes(parts, side=500):
    """Strokes 60 long at these angles (degrees clockwise), so many of each, none touching another."""
    picture = np.full((side, side), 255, dtype=np.uint8)
    places = [(r, c) for r in range(50, side - 40, 60) for c in range(50, side - 40, 80)]
    angles = [angle for angle, count in parts for _ in range(count)]
    # Every other place, so that no kind keeps to one part of the picture.
    for (r, c), angle in zip(places[::2] + places[1::2], angles, strict=False):
        dx, dy = 30 * np.cos(np.radians(angle)), 30 * np.sin(np.radians(angle))
        ends = [tuple(round(8 * v) for v in (c + k * dx, r + k * dy)) for k in (-1, 1)]
        cv2.line(picture, *ends, 0, 5, cv2.LINE_AA, 3)
    return picture.astype(np.float32) / 255


@pytest.mark.parametrize(
    ("parts", "tilt"),
    [
        (((3, 20),), 3.0), (((-4, 20),), -4.0),
        # Upright strokes count as level ones.
        (((93, 10), (3, 10)), 3.0),
        # 0.22 of all edges must agree.
        (((3, 12), (20, 11), (-25, 11)), 3.0), (((3, 5), (20, 10), (-17, 10), (34, 10)), 0.0),
        # Twice as much as the other way, and one and a half times as much as is straight.
        (((3, 24), (-3, 9)), 3.0), (((3, 18), (-3, 12)), 0.0), (((4, 24), (0, 12)), 4.0), (((4, 18), (0, 16)), 0.0),
        # What is hardly off straight counts as straight; up to six degrees.
        (((1.6, 20),), 1.6), (((0.1, 20),), 0.0), (((5.7, 20),), 5.7), (((7.2, 20),), 0.0),
    ],
)  # fmt: skip
def test_how_much_must_agree_on_a_tilt(parts, tilt):
    assert find_tilt(strokes(parts)) == pytest.approx(tilt, abs=0.3 if tilt else 0)
    mirrored = tuple((-angle, count) for angle, count in parts)
    assert find_tilt(strokes(mirrored)) == pytest.approx(-tilt, abs=0.3 if tilt else 0)


# Tones.


def test_the_threshold_goes_half_by_the_whole_and_half_by_the_surroundings():
    """A middle-gray patch between black and white fields becomes ink at the wish that lifts the level over it."""
    gray = np.full((240, 280), 0.9, dtype=np.float32)
    gray[:, :70] = 0.1
    gray[60:180, 120:240] = 0.55
    # The threshold that parts dark and light of the whole picture lies on the darker side (N. Otsu, 1979).
    levels = np.rint(gray * 255).astype(np.uint8)
    whole = cv2.threshold(levels, 0, 255, cv2.THRESH_OTSU)[0] / 255
    around = cv2.GaussianBlur(gray, (0, 0), 280 / 7)[120, 180]
    # 0.35 of full brightness for a wish of 100.
    turn = (0.55 - 0.5 * whole - 0.5 * around) / 0.0035
    taken = [bool(tone_mask(gray, 8.0, turn + step, 50.0, 50.0, None)[120, 180]) for step in (-14, 14)]
    assert taken == [False, True]


@pytest.mark.parametrize(
    ("tidy", "detail", "gone", "kept"),
    [(0.0, 50.0, 1, 18), (50.0, 50.0, 10, 22), (100.0, 50.0, 14, 30), (0.0, 0.0, 14, 30), (0.0, 100.0, 1, 18)],
)
def test_small_parts_join_what_lies_round_them(tidy, detail, gone, kept):
    """On 8 pixels a stitch 64 pixels and less, 192 more for each 50 of tidiness, 384 more for 50 less detail."""
    for ink in (True, False):
        gray = np.full((160, 220), 0.85 if ink else 0.15, dtype=np.float32)
        # Something larger, so that both tones are there.
        gray[:, :60] = 0.15 if ink else 0.85
        gray[70 : 70 + gone, 100 : 100 + gone] = gray[70 : 70 + kept, 160 : 160 + kept] = 0.05 if ink else 0.95
        mask = tone_mask(gray, 8.0, 0.0, detail, tidy, None)
        small, large = mask[70 + gone // 2, 100 + gone // 2], mask[70 + kept // 2, 160 + kept // 2]
        assert small != ink and large == ink


def test_fine_detail_is_sharper():
    """Two bars a stitch apart: with much detail the gap between stays open."""
    gray = np.full((160, 160), 0.85, dtype=np.float32)
    gray[40:120, 50:70] = gray[40:120, 76:96] = 0.15
    share = [tone_mask(gray, 8.0, 20.0, detail, 0.0, None)[60:100, 71:75].mean() for detail in (0, 50, 100)]
    assert share == sorted(share, reverse=True) and share[-1] == 0
    # Without any edge an even picture is as it is: nothing is darker than itself and its surroundings.
    assert not tone_mask(np.full((80, 80), 0.5, np.float32), 8.0, -20.0, 50.0, 50.0, None).any()


def test_islands_beside_a_subject_belong_to_it_from_a_seventh_of_its_size_on():
    rng = np.random.default_rng(1)
    for radius, held in ((28, True), (12, False)):
        picture = np.full((320, 320, 3), (70, 140, 60), dtype=np.float64)
        cv2.circle(picture, (110, 160), 60, (200, 60, 50), -1)
        cv2.circle(picture, (235, 160), radius, (200, 60, 50), -1)
        picture = np.clip(picture + rng.normal(0, 5, picture.shape), 0, 255).astype(np.uint8)
        found = cut_subject(picture, (160, 160), (10.0, 20.0, 92.0, 80.0))
        assert found[80, 55] and found[80, 117] == held and not found[20, 20] and not found[80, 95]


# The look at a photograph.


def photo_look(monkeypatch, mask, inside=None, other=None, gray=None, **settings):
    """What is told of a photograph whose tones are these; ``other``: of its negative."""
    picture = np.full((120, 160), 128, dtype=np.uint8) if gray is None else gray
    picture[0, 0] = 255 if gray is None else picture[0, 0]
    calls = []

    def tones(shown, pixels, dark, detail, tidy, held):
        calls.append((shown.shape, pixels, held))
        return mask if len(calls) == 1 or other is None else other

    monkeypatch.setattr(look, "tone_mask", tones)
    monkeypatch.setattr(look, "cut_subject", lambda colour, shape, box: inside)
    monkeypatch.setattr(look, "_find_outline", lambda ready, mask: None)
    wanted = options(settings.pop("columns", 30), kind="photo", **settings)
    return look.look_at(prepare_picture(picture, wanted), wanted), calls


@pytest.mark.parametrize(("bare", "dark"), [(160, False), (150, True)])
def test_a_dark_ground_is_left_bare(monkeypatch, bare, dark):
    """From seven tenths of the rim on, which is 560 pixels long: a whole side of 160 is more than the rest."""
    mask = np.ones((120, 160), dtype=bool)
    mask[:4, :bare] = False
    other = np.zeros_like(mask)
    other[40:80, 40:120] = True
    told, calls = photo_look(monkeypatch, mask, other=other)
    assert ("Its ground is dark" in told.kind.reason) == dark and told.inverted == dark
    assert len(calls) == (2 if dark else 1) and np.array_equal(told.mask, other if dark else mask)
    assert not photo_look(monkeypatch, mask, invert=True)[0].inverted


def test_a_light_subject_is_stitched_by_its_light_parts(monkeypatch):
    inside = np.zeros((120, 160), dtype=bool)
    inside[40:80, 50:110] = True
    mask = inside.copy()
    for light in (True, False):
        monkeypatch.setattr(look, "_is_light_on_dark", lambda gray, inside, light=light: light)
        told, calls = photo_look(monkeypatch, mask, inside)
        assert told.inverted == light and ("lighter than what lies round it" in told.kind.reason) == light
        assert all(held is inside for _, _, held in calls)
        # With a subject a dark ground is none of its business.
        assert "ground is dark" not in photo_look(monkeypatch, np.ones_like(mask), inside)[0].kind.reason
        assert not photo_look(monkeypatch, mask, inside, invert=True)[0].inverted


@pytest.mark.parametrize(("columns", "pixels"), [(30, 400 / 30), (100, 4.0), (133, 400 / 133), (200, 3.0)])
def test_pixels_a_stitch_of_a_photographs_first_look(monkeypatch, columns, pixels):
    mask = np.zeros((120, 160), dtype=bool)
    mask[40:80, 40:80] = True
    _, calls = photo_look(monkeypatch, mask, columns=columns)
    assert calls[0][1] == pytest.approx(pixels)


def test_a_photograph_without_tones_is_looked_at_more_closely_and_then_refused(monkeypatch):
    none = np.zeros((120, 160), dtype=bool)
    with pytest.raises(RequestError, match="blank"):
        photo_look(monkeypatch, none)
    some = ~none
    some[:60] = False
    for step, seen in ((9, False), (12, True)):
        # Less than 0.04 of full brightness from dark to light.
        gray = np.full((120, 160), 128, dtype=np.uint8)
        gray[60:, 80:] += step
        if seen:
            assert photo_look(monkeypatch, some, gray=gray)[0].mask is some
        else:
            with pytest.raises(RequestError, match="blank"):
                photo_look(monkeypatch, some, gray=gray)
