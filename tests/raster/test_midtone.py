"""Dark on a middle tone is stitched alone, on a bare area with a line round it; one tone stays whole."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest

from converter.pipeline import reduce_picture
from converter.raster.components import label_ink
from converter.raster.midtone import find_middle_tones
from converter.settings import ChartSettings

SHAPE = (300, 350)
PIXELS = 7.0
BLUE, RED, BLACK = (54, 179, 226), (240, 40, 30), (25, 25, 30)
Y, X = np.mgrid[: SHAPE[0], : SHAPE[1]]


def _beetle(body: tuple[int, int, int], spots: tuple[int, int, int], blur: float = 0.8, times: int = 1) -> np.ndarray:
    """Return an oval with four spots, all well inside."""
    picture = np.full((*SHAPE, 3), 255, dtype=np.uint8)
    cv2.ellipse(picture, (175, 150), (150, 110), 0, 0, 360, body, -1, cv2.LINE_AA)
    for x, y in ((120, 110), (230, 110), (120, 190), (230, 190)):
        cv2.circle(picture, (x, y), 18, spots, -1, cv2.LINE_AA)
    picture = cv2.GaussianBlur(picture, (0, 0), blur)
    if times > 1:
        picture = cv2.resize(picture, None, fx=1 / times, fy=1 / times, interpolation=cv2.INTER_AREA)
        picture = cv2.resize(picture, SHAPE[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray(picture, dtype=np.uint8)


def _find(picture: np.ndarray):
    gray = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    return find_middle_tones(picture, gray.astype(np.float32) / 255, gray < 200, PIXELS)


@pytest.mark.parametrize(
    ("body", "spots"), [(BLUE, BLACK), (BLUE, (0, 106, 167)), (RED, BLACK), ((250, 150, 20), BLACK)]
)
@pytest.mark.parametrize("times", [1, 3])
def test_the_spots_alone_are_darker_than_the_limit(
    body: tuple[int, int, int], spots: tuple[int, int, int], times: int
) -> None:
    picture = _beetle(body, spots, times=times)
    found = _find(picture)
    assert found is not None
    ink = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY) / 255 <= found.limits
    oval = np.hypot((X - 175) / 150, (Y - 150) / 110)
    inner = oval < 0.9
    assert label_ink(ink & inner)[0] == 4
    assert (ink & inner).sum() == pytest.approx(4 * np.pi * 18**2, rel=0.12)
    assert found.lines[np.abs(oval - 0.985) < 0.005].mean() > 0.95, "a line all round"
    assert not found.lines[oval < 0.9].any()


@pytest.mark.parametrize(
    "what", ["one tone", "two grays", "a highlight", "specks", "a shade", "a narrow body", "paper inside"]
)
def test_what_stays_as_it_is(what: str) -> None:
    picture = _beetle(BLUE, BLUE)
    if what == "two grays":
        picture = _beetle((75, 75, 75), (25, 25, 25))
    elif what == "a highlight":
        picture = _beetle((20, 40, 120), (255, 255, 255))
    elif what == "specks":
        picture[100:103, 100:103] = picture[180:183, 200:203] = 20
    elif what == "a shade":
        soft = 1 / (1 + np.exp(-(X - 175) / 25))
        oval = np.hypot((X - 175) / 150, (Y - 150) / 110) < 1
        shaded = (np.array(BLUE) * (1 - 0.8 * soft[:, :, None])).astype(np.uint8)
        picture = np.where(oval[:, :, None], shaded, np.uint8(255))
    elif what == "a narrow body":
        picture = np.full((*SHAPE, 3), 255, dtype=np.uint8)
        for at in range(20, 330, 30):
            picture[20:280, at : at + 8] = BLUE
            picture[140:170, at : at + 8] = BLACK
        picture[20:26, 20:330] = BLUE
    elif what == "paper inside":
        picture = np.full((*SHAPE, 3), 255, dtype=np.uint8)
        cv2.ellipse(picture, (175, 150), (150, 110), 0, 0, 360, BLACK, 12, cv2.LINE_AA)
        cv2.circle(picture, (175, 150), 20, BLACK, -1, cv2.LINE_AA)
    assert _find(picture) is None


def test_a_hole_round_the_spot_is_part_of_the_body() -> None:
    """Close to a dark spot the middle tone may pass for paper; from its brightness it does not."""
    picture = _beetle(BLUE, BLACK)
    gray = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    ring = np.hypot(X - 120, Y - 110)
    found = find_middle_tones(
        picture, gray.astype(np.float32) / 255, (gray < 200) & ~((ring > 19) & (ring < 36)), PIXELS
    )
    assert found is not None
    assert not found.lines[ring < 48].any()


@pytest.mark.parametrize("turn", [lambda a: a, lambda a: a[:, ::-1], lambda a: a[::-1]])
def test_the_chart_shows_the_spots(turn: Callable[[np.ndarray], np.ndarray]) -> None:
    picture = np.ascontiguousarray(turn(_beetle(RED, BLACK)))
    found = reduce_picture(picture, ChartSettings.from_options(columns=50))
    assert "Paler areas" in str(found.reason)
    assert label_ink(found.cells)[0] == 5, "outline and four spots"
    grounds = cv2.connectedComponents(np.pad(~found.cells, 1, constant_values=True).view(np.uint8), connectivity=4)[0]
    assert grounds == 3, "ink, the paper outside and the body: a closed outline"
    filled = reduce_picture(picture, ChartSettings.from_options(columns=50, dark=20))
    assert filled.cells.mean() > 0.6, "darker means more stitches: the body is filled"


def test_light_that_falls_from_a_side_leaves_all_as_it_is() -> None:
    """In a photograph a tone says little: its paper is darker on one side than ink on the other may be."""
    noise = np.random.default_rng(4).normal(0, 2.0, (*SHAPE, 3))
    lit = np.clip(_beetle(BLUE, BLACK) * np.linspace(1, 0.7, SHAPE[1])[None, :, None] + noise, 0, 255).astype(np.uint8)
    found = reduce_picture(lit, ChartSettings.from_options(columns=50, kind="shape"))
    assert found.cells.mean() > 0.6


@pytest.mark.parametrize("columns", [40, 50, 60, 80])
def test_what_the_coarse_look_finds_is_not_lost_at_working_size(columns: int) -> None:
    """A middle tone beside a smaller, stronger colour: a grayish blue body that blows a spout of clear blue."""
    picture = np.full((512, 544, 3), 255, dtype=np.uint8)
    cv2.ellipse(picture, (272, 340), (240, 130), 0, 0, 360, (107, 163, 174), -1, cv2.LINE_AA)
    cv2.circle(picture, (190, 330), 14, BLACK, -1, cv2.LINE_AA)
    cv2.ellipse(picture, (272, 90), (70, 60), 0, 0, 360, BLUE, -1, cv2.LINE_AA)
    picture = cv2.resize(picture, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    picture = cv2.resize(picture, (544, 512), interpolation=cv2.INTER_CUBIC)
    cells = reduce_picture(picture, ChartSettings.from_options(columns=columns)).cells
    assert cells.shape[0] / cells.shape[1] == pytest.approx((470 - 30) / 480, rel=0.06)
    assert cells[:, 0].any() and cells[-1].any()
