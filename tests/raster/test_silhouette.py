"""Pale parts on plain paper keep their outline; paper, shadows and what has an outline of ink get none."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest

from converter.pipeline import reduce_picture
from converter.raster.silhouette import find_silhouette
from converter.settings import ChartSettings

SHAPE = (300, 350)
CENTRE = (170, 150)
"""(x, y) of the flower head."""
YELLOW = (250, 232, 90)
STITCHES = 50
Y, X = np.mgrid[: SHAPE[0], : SHAPE[1]]
FAR = np.hypot(Y - CENTRE[1], X - CENTRE[0])


def _flower(colour: tuple[int, int, int] = YELLOW, paper: int = 255, blur: float = 0.8) -> np.ndarray:
    """Return a pale disc of radius 90 on a dark stalk."""
    picture = np.full((*SHAPE, 3), paper, dtype=np.uint8)
    picture[230:290, 167:174] = (20, 90, 30)
    cv2.circle(picture, CENTRE, 90, colour, -1, cv2.LINE_AA)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), blur), dtype=np.uint8)


def _ink(picture: np.ndarray) -> np.ndarray:
    return np.asarray(picture.mean(axis=2) < 120)


def _lit(picture: np.ndarray) -> np.ndarray:
    """Return the picture in light that falls from the left, with a sensor's noise."""
    noise = np.random.default_rng(4).normal(0, 2.0, picture.shape)
    return np.clip(picture * np.linspace(1.0, 0.75, SHAPE[1])[None, :, None] + noise, 0, 255).astype(np.uint8)


def _angles(lines: np.ndarray) -> set[int]:
    y, x = lines.nonzero()
    return set(np.degrees(np.arctan2(y - CENTRE[1], x - CENTRE[0])).astype(int).tolist())


@pytest.mark.parametrize("colour", [YELLOW, (255, 190, 200), (190, 220, 255), (200, 255, 180), (215, 215, 215)])
@pytest.mark.parametrize("light", [False, True])
def test_a_pale_shape_gets_its_outline_and_no_more(colour: tuple[int, int, int], light: bool) -> None:
    picture = _flower(colour)
    lines = find_silhouette(_lit(picture) if light else picture, _ink(picture), STITCHES)
    assert lines is not None
    stitch = 230 / STITCHES
    assert (np.abs(FAR[lines] - 90) < stitch).all(), "along the edge"
    assert np.median(FAR[lines]) < 90, "more inside than outside"
    assert len(_angles(lines)) > 335, "all round, but where the stalk is"


def test_a_pale_stroke_is_filled() -> None:
    picture = np.full((*SHAPE, 3), 255, dtype=np.uint8)
    cv2.circle(picture, CENTRE, 90, YELLOW, 6, cv2.LINE_AA)
    picture[20:280, 300:320] = 30
    lines = find_silhouette(picture, _ink(picture), STITCHES)
    assert lines is not None
    assert lines[np.abs(FAR - 90) < 2].all()


@pytest.mark.parametrize("what", ["ink round it", "soft", "small", "lighter", "patterned rim", "nothing"])
def test_where_there_is_none(what: str) -> None:
    picture = _flower()
    ink = _ink(picture)
    if what == "ink round it":
        cv2.circle(picture, CENTRE, 90, (0, 0, 0), 5, cv2.LINE_AA)
        ink = _ink(picture)
    elif what == "soft":
        disc = np.full((*SHAPE, 3), 255, dtype=np.uint8)
        cv2.circle(disc, CENTRE, 90, YELLOW, -1)
        picture = np.where(ink[:, :, None], picture, cv2.GaussianBlur(disc, (0, 0), 14))
    elif what == "small":
        picture = np.full((*SHAPE, 3), 255, dtype=np.uint8)
        picture[ink] = (20, 90, 30)
        cv2.circle(picture, (60, 60), 1, YELLOW, -1)
    elif what == "lighter":
        picture = _flower((255, 255, 255), paper=215)
    elif what == "patterned rim":
        picture[::6] = 150
    else:
        picture = np.full((*SHAPE, 3), 255, dtype=np.uint8)
        ink = np.zeros(SHAPE, dtype=bool)
    assert find_silhouette(picture, ink, STITCHES) is None


def test_the_edge_of_a_shadow_is_none() -> None:
    """A hand between lamp and paper darkens a third of the sheet, with an edge some ten pixels wide."""
    picture = np.full((*SHAPE, 3), 235, dtype=np.uint8)
    picture[100:200, 150:158] = 20
    shade = 1 - 0.3 / (1 + np.exp(-(X + 0.4 * Y - 300) / 3))
    picture = (picture * shade[:, :, None]).astype(np.uint8)
    assert find_silhouette(picture, picture.mean(axis=2) < 90, STITCHES) is None


def test_large_openings_show_paper_and_small_ones_do_not() -> None:
    """A ring has an inner outline; a white highlight in a balloon has not."""
    for radius, wanted in ((50, True), (7, False)):
        picture = _flower()
        cv2.circle(picture, CENTRE, radius, (255, 255, 255), -1, cv2.LINE_AA)
        lines = find_silhouette(picture, _ink(picture), STITCHES)
        assert lines is not None
        assert bool((FAR[lines] < 70).any()) is wanted


@pytest.mark.parametrize("colour", [YELLOW, (255, 190, 200), (205, 205, 205)])
def test_the_chart_shows_the_whole_drawing(colour: tuple[int, int, int]) -> None:
    """Not the stalk alone: it would fill the whole chart."""
    cells = reduce_picture(_flower(colour), ChartSettings.from_options(columns=40)).cells
    rows, columns = cells.shape
    assert columns == 40 and 50 <= rows <= 54
    assert cells[0].any() and cells[:, 0].any() and cells[:, -1].any()
    assert not cells[12:24, 12:28].any(), "the flower is bare inside"
    assert cells.sum() < 230


def test_a_tilted_photograph_keeps_the_outline_too() -> None:
    """A frame of ink tells the tilt, a pale disc within it is straightened with it."""
    picture = np.full((400, 500, 3), 245, dtype=np.uint8)
    cv2.rectangle(picture, (80, 60), (420, 340), (20, 20, 20), 8)
    cv2.circle(picture, (250, 200), 90, YELLOW, -1, cv2.LINE_AA)
    turn = cv2.getRotationMatrix2D((250, 200), 3.0, 1.0)
    picture = np.asarray(cv2.warpAffine(picture, turn, (500, 400), borderValue=(245, 245, 245)), dtype=np.uint8)
    found = reduce_picture(picture, ChartSettings.from_options(columns=50))
    assert "askew" in str(found.reason)
    middle = found.cells[8:-8, 8:-8]
    assert middle.any()
    assert not found.cells[15:25, 20:30].any()


@pytest.mark.parametrize("turn", [lambda a: a[:, ::-1], lambda a: a[::-1], lambda a: np.rot90(a)])
def test_turned_and_mirrored_pictures_give_turned_and_mirrored_charts(
    turn: Callable[[np.ndarray], np.ndarray],
) -> None:
    picture = _lit(_flower())
    across = 40
    upright = reduce_picture(picture, ChartSettings.from_options(columns=across)).cells
    other = np.ascontiguousarray(turn(picture))
    sides = {"columns": across} if other.shape == picture.shape else {"rows": across}
    assert np.array_equal(reduce_picture(other, ChartSettings.from_options(**sides)).cells, turn(upright))


@pytest.mark.parametrize("kind", ["auto", "photo"])
def test_a_photograph_on_plain_paper_keeps_its_pale_parts(kind: str) -> None:
    """A mottled body with a pale wing: the wing is drawn by its outline, and the picture is as high as it is."""
    rng = np.random.default_rng(8)
    mottled = cv2.GaussianBlur(rng.normal(0, 1, SHAPE), (0, 0), 5)
    tone = 90 + 60 * mottled / mottled.std()
    picture = np.full(SHAPE, 250.0)
    body = np.hypot((Y - 200) / 60, (X - 180) / 90) < 1
    picture[np.hypot((Y - 90) / 70, (X - 200) / 25) < 1] = 222
    picture[body] = tone[body]
    picture = np.clip(cv2.GaussianBlur(picture, (0, 0), 0.8) + rng.normal(0, 1.5, SHAPE), 0, 255).astype(np.uint8)
    found = reduce_picture(picture, ChartSettings.from_options(columns=50, kind=kind))
    rows, columns = found.cells.shape
    assert found.kind == "photo"
    assert rows / columns == pytest.approx(240 / 180, rel=0.05)
    wing = found.cells[: rows // 3]
    assert wing.any() and wing.mean() < 0.15
    assert found.readability > 60


def test_light_and_dark_of_a_thing_on_plain_paper_are_told_inside_it() -> None:
    """A mottled brown body has light and dark parts though all of it is darker than the paper."""
    rng = np.random.default_rng(9)
    mottled = cv2.GaussianBlur(rng.normal(0, 1, (*SHAPE, 1)), (0, 0), 9)
    tone = 95 + 45 * mottled / mottled.std() + rng.normal(0, 5, SHAPE)
    body = np.hypot((Y - 150) / 110, (X - 175) / 140) < 1
    gray = np.where(body, tone, 255.0)
    picture = np.clip(gray[:, :, None] * np.array([1.0, 0.8, 0.65]) + 90 * ~body[:, :, None], 0, 255).astype(np.uint8)
    found = reduce_picture(picture, ChartSettings.from_options(columns=60, kind="photo"))
    rows, columns = found.cells.shape
    y, x = np.mgrid[:rows, :columns]
    middle = np.hypot((y + 0.5) / rows - 0.5, (x + 0.5) / columns - 0.5) < 0.4
    assert 0.25 < found.cells[middle].mean() < 0.75
    assert rows / columns == pytest.approx(110 / 140, rel=0.05)


def test_a_shape_that_touches_the_sides_of_its_picture_is_closed_there() -> None:
    """A picture cut close to the drawing: paper is in the corners alone, but a shape of all its height is whole."""
    picture = np.full((220, 420, 3), 255, dtype=np.uint8)
    cv2.circle(picture, (110, 110), 109, YELLOW, -1, cv2.LINE_AA)
    picture[60:160, 300:316] = 20
    lines = find_silhouette(picture, _ink(picture), STITCHES)
    assert lines is not None
    for side in (lines[:6, 80:140], lines[-6:, 80:140], lines[80:140, :6]):
        assert side.any(axis=0).all() or side.any(axis=1).all()
    assert not lines[60:160, 60:160].any()


@pytest.mark.parametrize("slope", [0.0, 0.3])
def test_a_shadow_that_runs_to_the_sides_of_the_picture_is_not_closed_there(slope: float) -> None:
    """The upper part of the sheet lies in shade: where the picture ends, the shade does not."""
    picture = np.full((*SHAPE, 3), 225, dtype=np.uint8)
    cv2.circle(picture, CENTRE, 70, (20, 20, 20), 9, cv2.LINE_AA)
    shade = 1 - 0.35 / (1 + np.exp((Y + slope * X - 120) / 9))
    noise = np.random.default_rng(3).normal(0, 1.5, SHAPE)
    picture = np.clip(picture * shade[:, :, None] + noise[:, :, None], 0, 255).astype(np.uint8)
    assert find_silhouette(picture, picture.mean(axis=2) < 70, STITCHES) is None
    cells = reduce_picture(picture, ChartSettings.from_options(columns=STITCHES)).cells
    assert abs(cells.shape[0] - STITCHES) <= 1, "the ring alone"


@pytest.mark.parametrize("times", [2, 3])
def test_a_small_picture_that_was_enlarged_keeps_its_whole_outline(times: int) -> None:
    """Its edges are as soft as it was enlarged; sharp in some places, they are one outline all the same."""
    small = cv2.resize(_flower(), None, fx=1 / times, fy=1 / times, interpolation=cv2.INTER_AREA)
    picture = cv2.resize(small, SHAPE[::-1], interpolation=cv2.INTER_CUBIC)
    lines = find_silhouette(picture, _ink(picture), STITCHES)
    assert lines is not None
    assert len(_angles(lines)) > 335


def _two_fields(other: tuple[int, int, int]) -> np.ndarray:
    """Return a pale disc whose right half is of another pale colour."""
    picture = np.full((*SHAPE, 3), 255, dtype=np.uint8)
    cv2.circle(picture, CENTRE, 90, YELLOW, -1, cv2.LINE_AA)
    picture[(FAR < 88) & (CENTRE[0] < X)] = other
    picture[230:290, 167:174] = (20, 90, 30)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), dtype=np.uint8)


@pytest.mark.parametrize(
    ("other", "drawn"), [((150, 215, 250), True), ((255, 190, 200), True), ((244, 226, 92), False)]
)
def test_between_two_pale_colours_there_is_a_line_but_none_between_shades(
    other: tuple[int, int, int], drawn: bool
) -> None:
    picture = _two_fields(other)
    lines = find_silhouette(picture, _ink(picture), STITCHES, fields=True)
    assert lines is not None
    between = (np.abs(X - CENTRE[0]) < 4) & (FAR < 70)
    assert bool(lines[between].any(axis=0).any()) is drawn
    assert not lines[(np.abs(X - CENTRE[0]) > 8) & (FAR < 70)].any()
    if drawn:
        assert lines[80:220, CENTRE[0] - 4 : CENTRE[0] + 4].any(axis=1).all()
    plain = find_silhouette(picture, _ink(picture), STITCHES)
    assert plain is not None and not plain[between].any()


def test_in_a_photograph_there_are_no_lines_between_colours() -> None:
    """Where light falls from a side, an edge inside may be one of light."""
    picture = _lit(_two_fields((150, 215, 250)))
    lines = find_silhouette(picture, _ink(picture), STITCHES, fields=True)
    assert lines is not None and not lines[(np.abs(X - CENTRE[0]) < 8) & (FAR < 70)].any()
