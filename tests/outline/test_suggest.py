"""Suggested backstitches: what must hold for any picture, and what simple drawings must give."""

import subprocess
import sys
from itertools import pairwise

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import ndimage
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from skimage import data

from converter.errors import UsageError
from converter.model.chart import Chart
from converter.outline.lattice import STEPS, is_balanced
from converter.pipeline import chart_from_image, suggest_lines

SIZE = 480
TURNS = [
    (lambda p: p[:, ::-1], lambda h, n: h * (1, -1) + (0, n)),
    (lambda p: p[::-1], lambda h, n: h * (-1, 1) + (n, 0)),
    (lambda p: p.T, lambda h, n: h[..., ::-1]),
    (lambda p: np.rot90(p), lambda h, n: h[..., ::-1] * (-1, 1) + (n, 0)),
    (lambda p: np.rot90(p, 2), lambda h, n: n - h),
    (lambda p: np.rot90(p, 3), lambda h, n: h[..., ::-1] * (1, -1) + (0, n)),
]


def paper(size=SIZE):
    return np.full((size, size), 255, dtype=np.uint8)


def stroke(picture, ends, width=6.0):
    """Draw a line between (row, col) points in pixels with an even edge, by the distance from it."""
    y, x = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]] + 0.5
    for (a, b), (c, d) in pairwise(ends):
        length2 = (c - a) ** 2 + (d - b) ** 2
        t = np.clip(((y - a) * (c - a) + (x - b) * (d - b)) / length2, 0, 1)
        away = np.hypot(y - a - t * (c - a), x - b - t * (d - b))
        tone = np.clip(away - width / 2 + 0.5, 0, 1) * 255
        np.minimum(picture, tone.round().astype(np.uint8), out=picture)
    return picture


def disc(picture, centre, radius, tone=0):
    y, x = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]] + 0.5
    share = np.clip(radius - np.hypot(y - centre[0], x - centre[1]) + 0.5, 0, 1)
    picture[:] = (picture * (1 - share) + tone * share).round().astype(np.uint8)
    return picture


def blobs(seed, size=96):
    """Random ink with a ragged rim."""
    rng = np.random.default_rng(seed)
    field = ndimage.gaussian_filter(rng.normal(size=(size, size)), rng.uniform(1.0, 6.0))
    return np.where(field > np.quantile(field, rng.uniform(0.3, 0.95)), 255, rng.integers(0, 120)).astype(np.uint8)


def canonical(lines):
    ends = sorted(tuple(sorted(map(tuple, line))) for line in lines.tolist())
    assert len(set(ends)) == len(ends), "a backstitch is suggested twice"
    return ends


def parts(lines):
    """Return the number of connected parts and of free ends."""
    holes, which = np.unique(lines.reshape(-1, 2), axis=0, return_inverse=True)
    pairs = which.reshape(-1, 2)
    root = list(range(len(holes)))

    def find(k):
        while root[k] != k:
            k = root[k]
        return k

    for a, b in pairs.tolist():
        root[find(a)] = find(b)
    degree = np.bincount(pairs.ravel(), minlength=len(holes))
    return len({find(k) for k in range(len(holes))}), int((degree == 1).sum())


def assert_legal(lines, rows, cols, fine=1):
    assert lines.shape[1:] == (2, 2) and lines.dtype == np.float64
    scaled = lines * fine
    assert (scaled == np.rint(scaled)).all()
    assert (lines >= 0).all() and (lines <= (rows, cols)).all()
    for step in (scaled[:, 1] - scaled[:, 0]).astype(int).tolist():
        assert tuple(step) in STEPS or (fine == 2 and (step[0] / 2, step[1] / 2) in STEPS)


def in_order(lines):
    """Return the steps of a single open chain from one end to the other."""
    beside = {}
    for a, b in map(lambda line: tuple(map(tuple, line)), lines.tolist()):
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    ends = sorted(hole for hole, other in beside.items() if len(other) == 1)
    assert len(ends) == 2
    path = [ends[0]]
    while path[-1] != ends[1]:
        path += [hole for hole in beside[path[-1]] if hole not in path[-2:-1]]
    return np.diff(np.array(path), axis=0).astype(int)


@pytest.mark.parametrize("degrees", [*range(0, 180, 11), 45, 135, 18.43, 26.57])
def test_a_straight_line_of_any_slope_is_sewn_regularly(degrees):
    """40 wide, a thin pen; an offset that favours no line of holes."""
    unit = np.array([np.sin(np.radians(degrees)), np.cos(np.radians(degrees))])
    middle = np.array([243.7, 238.1])
    lines = suggest_lines(stroke(paper(), [middle - 190 * unit, middle + 190 * unit]), 40, mirror="none", deskew=False)
    steps = in_order(lines)
    assert is_balanced(steps)
    assert np.hypot(*steps.sum(axis=0)) == pytest.approx(380 / 12, abs=1.2)


@pytest.mark.parametrize("offset", np.linspace(0, 11, 7))
@pytest.mark.parametrize("tilt", [0, 3, -3, 1.2])
def test_lines_along_the_axes_stay_on_them_even_after_a_tilt(offset, tilt):
    """A frame of four lines and a bar; tilted by the camera, the grid is turned with it."""
    corners = np.array([(90, 70), (90, 400), (380, 400), (380, 70), (90, 70)]) + offset
    turn = np.radians(tilt)
    rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    picture = stroke(paper(), (corners - 240) @ rotate.T + 240)
    steps = suggest_lines(picture, 40)
    vectors = np.abs(steps[:, 1] - steps[:, 0])
    slanting = (vectors.min(axis=1) > 0).sum()
    assert slanting == 0
    assert len(set(steps[:, :, 0].ravel().tolist()) & set(steps[:, :, 1].ravel().tolist())) > 0
    assert parts(steps) == (1, 0)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 10**6), st.integers(8, 24), st.sampled_from(["auto", "edges", "strokes"]), st.booleans())
def test_every_backstitch_can_be_sewn(seed, columns, lines, half_points):
    found = suggest_lines(blobs(seed), columns, lines=lines, half_points=half_points)
    assert_legal(found, columns, columns, 2 if half_points else 1)
    canonical(found)


@pytest.mark.slow
def test_no_illegal_stitch_on_a_thousand_random_pictures():
    for seed in range(1000):
        kind = ("auto", "line", "photo")[seed % 3]
        assert_legal(suggest_lines(blobs(seed, 64), 8 + seed % 17, kind=kind), 8 + seed % 17, 8 + seed % 17)


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 10**6), st.integers(0, len(TURNS) - 1))
def test_a_turned_picture_gives_exactly_the_turned_lines(seed, which):
    turn, turn_holes = TURNS[which]
    picture = blobs(seed)
    base = suggest_lines(picture, 16)
    turned = suggest_lines(np.ascontiguousarray(turn(picture)), 16)
    assert canonical(turned) == canonical(turn_holes(base, 16))


@pytest.mark.parametrize("columns", [30, 31])
@pytest.mark.parametrize("name", ["heart", "disc", "cross", "pinwheel"])
def test_a_symmetric_picture_gives_symmetric_lines(name, columns):
    """Exactly equal under mirroring, so that the lines have to be, too (from either side of an axis)."""
    y, x = (np.mgrid[0:SIZE, 0:SIZE] - 239.5) / 200
    shape = {
        "heart": ((1.3 * x) ** 2 + (1.3 * y) ** 2 - 1) ** 3 + (1.3 * x) ** 2 * (1.3 * y) ** 3 < 0,
        "disc": np.hypot(x, y) < 0.9,
        "cross": (np.abs(x) < 0.15) & (np.abs(y) < 0.9) | (np.abs(y) < 0.15) & (np.abs(x) < 0.9),
        "pinwheel": np.zeros_like(x, dtype=bool),
    }[name]
    if name == "pinwheel":
        blade = (x > 0.1) & (x < 0.8) & (y < 0.05) & (y > -0.7 * x)
        shape = blade | np.rot90(blade) | np.rot90(blade, 2) | np.rot90(blade, 3)
    picture = np.where(shape, 0, 255).astype(np.uint8)
    lines = suggest_lines(picture, columns)
    assert len(lines) > 20
    for turn, turn_holes in TURNS:
        if np.array_equal(turn(picture), picture):
            assert canonical(turn_holes(lines, columns)) == canonical(lines)


def test_crossing_strokes_share_a_hole_and_parts_stay_apart():
    cross = stroke(stroke(paper(), [(60, 75), (300, 280)]), [(310, 90), (80, 330)])
    assert parts(suggest_lines(cross, 40)) == (1, 4)
    apart = stroke(stroke(paper(), [(60, 75), (400, 200)]), [(60, 99), (400, 224)])
    assert parts(suggest_lines(apart, 40)) == (2, 4)


def test_three_kinds_of_curve():
    """A stroke has one line, an area its outline, a narrow gap between areas one line."""
    thin = suggest_lines(stroke(paper(), [(240, 60), (240, 420)], 6), 40)
    assert parts(thin) == (1, 2)
    thick = suggest_lines(stroke(paper(), [(240, 60), (240, 420)], 48), 40)
    assert parts(thick) == (1, 0)
    areas = paper()
    areas[100:380, 60:420] = 0
    areas[100:380, 240:246] = 255
    lines = suggest_lines(areas, 40)
    assert parts(lines) == (1, 0)
    inner = lines[(np.abs(lines[:, :, 1] - 20.25) < 2).all(axis=1) & (lines[:, :, 0].min(axis=1) > 9)]
    assert len(set(inner[(inner[:, :, 0].max(axis=1) < 31)][:, :, 1].ravel().tolist())) == 1


def test_strokes_leaves_areas_out():
    picture = disc(stroke(paper(), [(60, 60), (60, 420)]), (280, 240), 100)
    edges = suggest_lines(picture, 40, lines="edges")
    strokes = suggest_lines(picture, 40, lines="strokes")
    assert parts(edges)[0] == 2
    assert parts(strokes) == (1, 2)
    assert (strokes[:, :, 0] <= 6).all()


def test_a_balloon_hangs_on_its_string():
    picture = disc(stroke(paper(), [(200, 240), (420, 250)]), (140, 240), 80)
    assert parts(suggest_lines(picture, 40)) == (1, 1)


def test_the_lines_follow_the_edge():
    picture = disc(paper(), (236, 247), 171)
    lines = suggest_lines(picture, 40)
    holes = lines.reshape(-1, 2) * 12
    away = np.abs(np.hypot(*(holes - (236, 247)).T) - 171) / 12
    assert away.mean() < 0.25
    assert away.max() < 0.71
    assert parts(lines) == (1, 0)


def test_uneven_light_changes_nothing_much():
    picture = disc(stroke(paper(), [(60, 60), (60, 420)]), (280, 240), 100).astype(np.float64)
    y, x = np.mgrid[0:SIZE, 0:SIZE] / SIZE
    lit = (picture * (0.95 - 0.35 * x - 0.15 * y)).astype(np.uint8)
    plain, uneven = canonical(suggest_lines(picture.astype(np.uint8), 40)), canonical(suggest_lines(lit, 40))
    assert len(set(plain) & set(uneven)) >= 0.9 * len(plain)
    assert parts(suggest_lines(lit, 40)) == (2, 2)


def test_half_points_come_nearer():
    picture = disc(paper(), (236, 247), 171)
    whole = suggest_lines(picture, 40)
    half = suggest_lines(picture, 40, half_points=True)
    assert_legal(half, 40, 40, 2)
    assert ((half * 2) % 2 == 1).any()

    def miss(lines):
        return np.abs(np.hypot(*(lines.reshape(-1, 2) * 12 - (236, 247)).T) - 171).mean()

    assert miss(half) < miss(whole)


def test_a_budget_is_kept():
    picture = disc(stroke(paper(), [(60, 60), (60, 420)]), (280, 240), 100)
    assert 0 < len(suggest_lines(picture, 40, most_lines=40)) <= 40
    assert len(suggest_lines(picture, 40, most_lines=0)) == 0
    assert 0 < len(suggest_lines(data.coffee(), 60, most_lines=70)) <= 70


@pytest.mark.parametrize("name", ["coffee", "rocket", "coins", "camera", "astronaut", "chelsea"])
def test_a_photograph_gets_few_lines(name):
    """Pictures of the scikit-image wheel; 60 wide."""
    lines = suggest_lines(getattr(data, name)(), 60, kind="photo")
    assert 40 <= len(lines) <= 150
    assert parts(lines)[0] <= 12


def test_lines_of_a_photograph_repeat_under_noise_and_contrast():
    """Share of the length that lies within a stitch of a line of the changed picture, mean of four photographs."""
    rng = np.random.default_rng(5)
    shares = []
    for photo in (data.coffee(), data.rocket(), data.coins(), data.camera()):
        noisy = np.clip(20 + 0.8 * photo + rng.normal(0, 4, photo.shape), 0, 255).astype(np.uint8)
        base = suggest_lines(photo, 60, kind="photo")
        other = suggest_lines(noisy, 60, kind="photo")
        holes = np.concatenate([other.reshape(-1, 2), other.mean(axis=1)])
        near = [np.hypot(*(holes - middle).T).min() <= 1.0 for middle in base.mean(axis=1)]
        shares.append(np.average(near, weights=np.hypot(*(base[:, 1] - base[:, 0]).T)))
    assert np.mean(shares) >= 0.9


def test_a_chart_of_strokes_needs_no_second_outline():
    picture = stroke(paper(), [(100, 80), (100, 400), (380, 300)], 8)
    assert len(chart_from_image(picture, 40, lines="auto").lines) == 0
    assert len(chart_from_image(picture, 40, lines="edges").lines) > 20
    assert len(chart_from_image(picture, 40, lines="none").lines) == 0


def test_a_chart_of_areas_has_lines_only_where_crosses_misrepresent():
    square = paper()
    square[60:420, 60:420] = 0
    assert len(chart_from_image(square, 30, lines="auto", trim=False).lines) == 0
    round_one = disc(paper(), (240, 240), 180)
    some = chart_from_image(round_one, 40, lines="auto").lines
    whole = chart_from_image(round_one, 40, lines="edges").lines
    assert 0 < len(some) < len(whole)
    assert set(canonical(some)) <= set(canonical(whole))


def test_lines_of_a_chart_lie_on_its_own_grid():
    """Blank paper is trimmed from the chart; the lines move with it."""
    picture = disc(paper(), (150, 300), 90)
    chart = chart_from_image(picture, 30, lines="edges")
    holes = np.concatenate([chart.lines.reshape(-1, 2), np.ones((2 * len(chart.lines), 1))], axis=1)
    on_picture = holes @ chart.placement.T
    assert np.abs(np.hypot(*(on_picture - (150, 300)).T) - 90).max() < 0.8 * 6


@pytest.mark.parametrize(
    "picture",
    [
        np.full((40, 40), 255, np.uint8),
        np.zeros((40, 40), np.uint8),
        np.full((1, 1), 7, np.uint8),
        np.full((3, 200, 3), 128, np.uint8),
        np.random.default_rng(1).integers(0, 256, (50, 30, 4), dtype=np.uint8),
    ],
)
@pytest.mark.parametrize("kind", ["auto", "line", "photo"])
def test_odd_pictures_give_legal_lines_or_none(picture, kind):
    lines = suggest_lines(picture, 12, kind=kind)
    rows = max(1, round(picture.shape[0] * 12 / picture.shape[1]))
    assert_legal(lines, rows, 12)


def test_wrong_settings_are_refused():
    with pytest.raises(UsageError, match="--lines"):
        suggest_lines(paper(), 40, lines="wavy")
    with pytest.raises(UsageError):
        suggest_lines(paper(), 40, most_lines=-1)
    with pytest.raises(UsageError):
        suggest_lines(np.zeros(5, np.uint8), 40)


def test_same_picture_same_lines():
    picture = blobs(3)
    assert np.array_equal(suggest_lines(picture, 20), suggest_lines(picture.copy(), 20))


def test_colour_and_transparency():
    gray = disc(paper(), (240, 240), 150)
    clear = np.zeros((SIZE, SIZE, 4), np.uint8)
    clear[:, :, 3] = 255 - gray
    red = np.stack([np.maximum(gray, 176), gray, gray], axis=2)
    base = set(canonical(suggest_lines(gray, 40)))
    for other in (clear, red):
        assert len(base & set(canonical(suggest_lines(other, 40)))) >= 0.9 * len(base)
    assert cv2.countNonZero(clear[:, :, 3]) > 0


def test_a_cleared_part_has_no_lines():
    picture = disc(stroke(paper(), [(60, 60), (60, 420)]), (280, 240), 100)
    clear = np.zeros(picture.shape, dtype=bool)
    clear[150:] = True
    lines = suggest_lines(picture, 40, clear=clear)
    assert len(lines) > 20
    assert (lines[:, :, 0] < 150 / 12 + 1).all()


@pytest.mark.parametrize("seed", range(6))
def test_strokes_that_cross_stay_regular_and_share_a_hole(seed):
    """A level stroke, 6 stitches above the middle, crossed by one of any slope."""
    rng = np.random.default_rng(seed)
    degrees = rng.uniform(30, 150)
    unit = np.array([np.sin(np.radians(degrees)), np.cos(np.radians(degrees))])
    middle = np.array([200.0, 240.0]) + rng.uniform(-6, 6, 2)
    picture = stroke(stroke(paper(), [(200, 40), (200, 440)]), [middle - 150 * unit, middle + 150 * unit])
    lines = suggest_lines(picture, 40, mirror="none", deskew=False)
    assert parts(lines) == (1, 4)
    level = lines[:, 0, 0] == lines[:, 1, 0]
    assert len(set(lines[level][:, :, 0].ravel().tolist())) <= 2


GREEN, RED = (40, 142, 60), (200, 60, 60)
"""Of equal luma (ITU-R BT.601 weights), 0.299 R + 0.587 G + 0.114 B."""


def coloured(fields, size=SIZE):
    """Return a picture of discs (row, col, radius, colour) on white, later ones above."""
    y, x = np.mgrid[0:size, 0:size]
    picture = np.full((size, size, 3), 255, np.uint8)
    for row, col, radius, colour in fields:
        picture[np.hypot(y - row, x - col) < radius] = colour
    return picture


def test_an_edge_between_colours_of_equal_gray_has_a_line():
    weights = np.array([0.299, 0.587, 0.114])
    assert abs(weights @ GREEN - weights @ RED) < 1
    picture = coloured([(240, 240, 190, GREEN), (240, 240, 100, RED)])
    lines = suggest_lines(picture, 40)
    assert parts(lines) == (2, 0)
    away = np.hypot(*(lines.reshape(-1, 2) - 20).T)
    assert (np.minimum(np.abs(away - 100 / 12), np.abs(away - 190 / 12)) < 0.8).all()
    plain = suggest_lines(coloured([(240, 240, 190, GREEN)]), 40)
    assert parts(plain) == (1, 0)


def test_a_coloured_field_inside_its_dark_outline_has_no_second_line():
    picture = coloured([(240, 240, 190, (0, 0, 0)), (240, 240, 180, (250, 215, 70))])
    gray = coloured([(240, 240, 190, (0, 0, 0)), (240, 240, 180, (255, 255, 255))])
    assert parts(suggest_lines(picture, 40)) == parts(suggest_lines(gray, 40)) == (1, 0)


def test_uneven_light_and_grain_are_no_lines():
    """A sheet half in shadow, with the grain of a sensor."""
    rng = np.random.default_rng(11)
    clean = disc(stroke(paper(), [(60, 60), (60, 420)]), (280, 240), 100)
    light = cv2.resize(rng.uniform(0.6, 1.0, (4, 5)).astype(np.float32), (SIZE, SIZE), interpolation=cv2.INTER_CUBIC)
    grainy = np.clip(clean * 0.9 * light + rng.normal(0, 7, clean.shape), 0, 255).astype(np.uint8)
    for lines in ("edges", "strokes"):
        base = suggest_lines(clean, 40, lines=lines)
        found = suggest_lines(grainy, 40, lines=lines, kind="line")
        assert parts(found) == parts(base)
        assert abs(len(found) - len(base)) <= 0.1 * len(base) + 2


@pytest.mark.parametrize("width", [20, 26, 34, 44])
def test_strokes_a_few_stitches_wide_need_no_second_outline_either(width):
    """40 wide: 12 pixels a stitch. The crosses show such strokes; lines on both sides would be more work than they."""
    picture = stroke(paper(), [(90, 70), (100, 410), (400, 300), (380, 90)], width)
    assert len(chart_from_image(picture, 40, lines="auto", mirror="none", trim=False).lines) == 0
    assert len(chart_from_image(picture, 40, lines="edges", mirror="none", trim=False).lines) > 40


def test_light_on_dark_has_the_lines_of_dark_on_light():
    picture = disc(stroke(paper(), [(60, 60), (60, 420)]), (280, 240), 100)
    dark = chart_from_image(picture, 40, lines="edges")
    light = chart_from_image(255 - picture, 40, lines="edges")
    assert (dark.cells == light.cells).mean() > 0.97
    assert parts(light.lines) == parts(dark.lines)
    assert len(set(canonical(dark.lines)) & set(canonical(light.lines))) >= 0.8 * len(dark.lines)


def test_lines_that_auto_keeps_are_no_crumbs():
    """Pieces of an outline shorter than four stitches are more bother than they show."""
    y, x = (np.mgrid[0:SIZE, 0:SIZE] - 239.5) / 200
    heart = ((1.3 * x) ** 2 + (1.3 * y) ** 2 - 1) ** 3 + (1.3 * x) ** 2 * (1.3 * y) ** 3 < 0
    lines = chart_from_image(np.where(heart, 0, 255).astype(np.uint8), 50, lines="auto").lines
    holes, which = np.unique(lines.reshape(-1, 2), axis=0, return_inverse=True)
    one, other = which.reshape(-1, 2).T
    label = connected_components(coo_matrix((np.ones(len(one)), (one, other)), (len(holes), len(holes))))[1]
    length = np.bincount(label[one], np.hypot(*(lines[:, 1] - lines[:, 0]).T))
    assert len(lines) > 10
    assert length.min() > 3.5


@pytest.mark.parametrize("offset", [0, 2, 4, 5, 7, 9, 11])
def test_the_corners_of_a_square_are_not_cut(offset):
    """Wherever the square lies on the grid; 12 pixels a stitch."""
    picture = paper()
    picture[100 + offset : 380 + offset, 60 + offset : 400 + offset] = 0
    lines = suggest_lines(picture, 40)
    steps = np.abs(lines[:, 1] - lines[:, 0])
    assert (steps.min(axis=1) == 0).all()
    assert [len(set(lines[:, :, axis].ravel().tolist()) & {float(e)}) for axis in (0, 1) for e in (20,)] == [1, 1]
    assert parts(lines) == (1, 0)


@pytest.mark.parametrize("width", [10, 18, 24, 30])
def test_strokes_of_a_broader_pen_are_one_line_where_only_strokes_are_asked_for(width):
    picture = stroke(paper(), [(90, 70), (100, 410), (400, 300), (380, 90)], width)
    assert parts(suggest_lines(picture, 40, lines="strokes", mirror="none")) == (1, 2)


def test_no_line_needs_the_heavy_libraries():
    """They would add to the start of every chart."""
    code = "import sys, converter.outline.suggest; print(sorted({'scipy', 'skimage'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def turn_points(points, degrees, middle=240.0):
    """Turn (row, col) points about the middle of the picture."""
    turn = np.radians(degrees)
    return (np.array(points) - middle) @ np.array(
        [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]
    ) + middle


@pytest.mark.parametrize("tilt", [3, -3, 1.5, -4.5])
def test_a_tilted_mirror_image_is_straightened_though_it_has_no_straight_line(tilt):
    """A heart and an arch over it; about an upright line the lines are mirror images again."""
    t = np.linspace(0, 2 * np.pi, 80)
    heart = np.stack(
        [-(13 * np.cos(t) - 5 * np.cos(2 * t) - 2 * np.cos(3 * t) - np.cos(4 * t)), 16 * np.sin(t) ** 3], axis=1
    )
    bow = np.linspace(-0.6, 0.6, 12)
    arch = np.stack([-20 * np.cos(bow) + 2, 20 * np.sin(bow)], axis=1)
    picture = paper()
    for line in (heart, arch):
        picture = stroke(picture, turn_points(line * 9 + 240, tilt))
    lines = suggest_lines(picture, 40)
    assert canonical(lines * (1, -1) + (0, 40)) == canonical(lines)
    left = suggest_lines(picture, 40, deskew=False)
    assert canonical(left * (1, -1) + (0, 40)) != canonical(left)


def test_where_the_picture_ends_is_no_line_of_the_drawing():
    """A frame tilted by 3 degrees and so large that the picture cuts its corners."""
    picture = 255 - np.zeros((SIZE, SIZE), np.uint8)
    bar = turn_points([(20, 20), (20, 460), (460, 460), (460, 20)], 3)
    cv2.fillPoly(picture, [np.rint(bar[:, ::-1]).astype(np.int32)], 0)
    hole = turn_points([(120, 120), (120, 360), (360, 360), (360, 120)], 3)
    cv2.fillPoly(picture, [np.rint(hole[:, ::-1]).astype(np.int32)], 255)
    lines = suggest_lines(picture, 40)
    inner = lines[(np.abs(lines - 20) < 14).all(axis=(1, 2))]
    assert len(inner) >= 70
    assert ((inner[:, 0] == inner[:, 1]).any(axis=1)).all()


@pytest.mark.parametrize("offset", [-2, -1, 0, 1, 2])
def test_a_stroke_and_its_image_under_a_half_turn_stay_straight(offset):
    """Half way between two lines of holes, give or take a sixth of a stitch, so that rounding differs."""
    picture = stroke(paper(), [(100, 186 + offset), (380, 186 + offset), (340, 100)])
    picture = stroke(picture, [(380, 294 + offset), (100, 294 + offset), (140, 380 + offset)])
    lines = suggest_lines(picture, 40)
    assert parts(lines) == (2, 4)


def test_a_stroke_that_ends_on_itself_is_led_to_itself():
    """A figure nine: a ring and a tail, in one go."""
    t = np.linspace(0, 2 * np.pi, 40)
    for middle in (200.0, 203.0, 207.0, 210.0):
        ring = np.stack([150 - 60 * np.sin(t), middle + 50 * np.cos(t)], axis=1)
        tail = [(150, middle + 50), (250, middle + 46), (330, middle + 10), (370, middle - 60)]
        assert parts(suggest_lines(stroke(paper(), [*ring, *tail]), 30, deskew=False)) == (1, 1)


@pytest.mark.parametrize("width", [8, 20, 36])
def test_a_sharp_notch_in_an_area_has_no_stitch_sticking_out(width):
    for shift in range(0, 12, 3):
        picture = paper()
        picture[80:400, 80:400] = 0
        notch = np.array([(400, 240 - width), (250 + shift, 240 + shift), (400, 240 + width)])
        cv2.fillPoly(picture, [notch[:, ::-1].astype(np.int32)], 255)
        thorn = np.array([(80, 120), (20 + shift, 120 + shift + width // 2), (80, 120 + width)])
        cv2.fillPoly(picture, [thorn[:, ::-1].astype(np.int32)], 0)
        found, ends = parts(suggest_lines(picture, 40, mirror="none", deskew=False))
        assert found == 1
        assert ends <= 2


@pytest.mark.parametrize("soft", [3, 6, 10])
def test_a_soft_bright_disc_has_its_rim_and_no_rays(soft):
    """An edge blurred over a stitch or more falls apart into pieces; where they meet is no edge."""
    rng = np.random.default_rng(soft)
    y, x = np.mgrid[0:SIZE, 0:SIZE] + 0.5
    away = np.hypot(y - 230, x - 260)
    tone = 70 + 150 / (1 + np.exp((away - 120) / soft))
    picture = np.clip(tone + rng.normal(0, 3, tone.shape), 0, 255).astype(np.uint8)
    lines = suggest_lines(picture, 60, kind="photo")
    long = lines.mean(axis=1) * SIZE / 60 - (230, 260)
    on_rim = np.abs(np.hypot(*long.T) - 120) < 2.5 * 8
    assert parts(lines)[0] <= 3
    assert np.average(on_rim) >= 0.8
    angles = np.degrees(np.arctan2(*long[on_rim].T))
    assert (np.histogram(angles, 12, (-180, 180))[0] > 0).all()


def test_one_rounded_corner_of_many_edges_gets_no_line_of_its_own():
    """A comb of square teeth, one of them slanting: a line there alone would look like a mistake."""
    picture = paper()
    picture[80:140, 40:440] = 0
    for left in range(40, 440, 80):
        picture[140:400, left : left + 64] = 0
    comb = chart_from_image(picture, 50, lines="auto", mirror="none").lines
    slanting = picture.copy()
    cv2.fillPoly(slanting, [np.array([(264, 240), (264, 400), (242, 400)])], 255)
    few = chart_from_image(slanting, 50, lines="auto", mirror="none").lines
    assert len(comb) == len(few) == 0
    alone = paper()
    cv2.fillPoly(alone, [np.array([(100, 100), (380, 100), (310, 400), (100, 400)])], 0)
    assert len(chart_from_image(alone, 30, lines="auto", mirror="none").lines) > 0


def test_slanting_strokes_stay_regular_across_another():
    """A level stroke, crossed by one whose ends lie anywhere between the holes: eleven of twelve stay regular."""
    regular = 0
    for seed in range(12):
        rng = np.random.default_rng(seed + 100)
        degrees = rng.uniform(35, 145)
        unit = np.array([np.sin(np.radians(degrees)), np.cos(np.radians(degrees))])
        middle = np.array([240.0, 240.0]) + rng.uniform(-12, 12, 2)
        picture = stroke(paper(), [middle - 160 * unit, middle + 160 * unit])
        row = 166 + rng.uniform(-6, 6)
        lines = suggest_lines(stroke(picture, [(row, 30), (row, 450)]), 40, mirror="none", deskew=False)
        assert parts(lines) == (1, 4)
        slanting = lines[lines[:, 0, 0] != lines[:, 1, 0]]
        slanting = slanting[np.argsort(slanting.mean(axis=1) @ unit)]
        flip = (slanting[:, 1] - slanting[:, 0]) @ unit < 0
        slanting[flip] = slanting[flip][:, ::-1]
        assert (slanting[1:, 0] == slanting[:-1, 1]).all()
        regular += is_balanced((slanting[:, 1] - slanting[:, 0]).astype(np.int64))
    assert regular >= 11


@pytest.mark.parametrize("seed", range(10))
def test_no_line_runs_past_the_end_of_its_stroke(seed):
    """No point farther than three quarters of a stitch from the centre line, at its ends neither."""
    rng = np.random.default_rng(seed + 200)
    picture, ends = paper(), []
    for row in (80, 240, 400):
        a = np.array([row, 90.0]) + rng.uniform(-40, 40, 2)
        ends.append((a, a + np.array([rng.uniform(-60, 60), rng.uniform(80, 260)])))
        stroke(picture, ends[-1])
    lines = suggest_lines(picture, 30, mirror="none", deskew=False)
    assert parts(lines) == (3, 6)
    share = np.linspace(0, 1, 21)[:, None]
    points = np.concatenate([a + share * (b - a) for a, b in lines])
    away = []
    for a, b in ends:
        a, b = a / 16, b / 16
        along = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
        away.append(np.hypot(*(points - a - along[:, None] * (b - a)).T))
    assert np.min(away, axis=0).max() <= 0.75


@pytest.mark.parametrize("columns", [24, 31, 40, 53])
def test_a_ring_of_straight_strokes_has_no_stitch_there_and_back(columns):
    for offset in range(0, 12, 3):
        ring = np.array([(60, 70), (60, 400), (150, 400), (290, 260), (420, 260), (420, 180), (280, 180), (150, 70)])
        picture = stroke(paper(), [*(ring + offset), ring[0] + offset])
        assert parts(suggest_lines(picture, columns, mirror="none", deskew=False)) == (1, 0)


@pytest.mark.parametrize("legs", [(44, 50), (58, 58), (66, 74)])
def test_a_small_triangle_is_an_area_and_a_small_cross_is_two_strokes(legs):
    """Triangles with legs of 3 to 5 stitches, and a cross as large."""
    for shift in (0, 5):
        picture = paper()
        corners = np.array([(200, 200), (200, 200 + legs[1]), (200 + legs[0], 200)]) + shift
        cv2.fillPoly(picture, [corners[:, ::-1].astype(np.int32)], 0, cv2.LINE_AA)
        assert parts(suggest_lines(picture, 32, mirror="none", deskew=False)) == (1, 0)
        a, b = 200 + shift, 200 + shift + legs[0]
        cross = stroke(stroke(paper(), [(a, a), (b, b)], 15), [(a, b), (b, a)], 15)
        assert parts(suggest_lines(cross, 32, mirror="none", deskew=False)) == (1, 4)


@pytest.mark.parametrize("offset", range(0, 12, 2))
def test_level_lines_that_meet_their_image_on_a_diagonal_stay_level(offset):
    """A drawing that is its own mirror image about a diagonal: a bar and its image, crossing on it."""
    at = 160 + offset
    picture = stroke(stroke(paper(), [(at, 60), (at, 420)], 12), [(60, at), (420, at)], 12)
    lines = suggest_lines(picture, 40)
    assert parts(lines) == (1, 4)
    assert (np.abs(lines[:, 1] - lines[:, 0]).min(axis=1) == 0).all()


@pytest.mark.parametrize("tilt", [3, -3])
def test_slanting_strokes_in_mirrored_pairs_tell_the_tilt_where_one_line_along_the_axis_does_not(tilt):
    """A star with a ground line under it. As it is drawn, upright, nothing is turned."""
    turn = np.arange(11) * np.pi / 5
    star = [(210 - r * np.cos(t), 240 + r * np.sin(t)) for t, r in zip(turn, [120.0, 50.0] * 5 + [120.0], strict=True)]
    # Left and right differ, so that the whole is no mirror image.
    figure = [star, [(360.0, 80.0), (360.0, 270.0)], [(60.0, 60.0), (150.0, 100.0)], [(60.0, 420.0), (150.0, 380.0)]]
    figure += [[(400.0, 300.0), (430.0, 420.0)], [(430.0, 60.0), (400.0, 180.0)]]
    drawn, upright = paper(), paper()
    for line in figure:
        stroke(drawn, turn_points(line, tilt), 7)
        stroke(upright, line, 7)
    lines = suggest_lines(drawn, 40)
    level = lines[(lines[:, 0, 0] == lines[:, 1, 0]) & (lines[:, 0, 0] >= 29) & (lines[:, 0, 0] < 32)]
    assert len(level) >= 14
    assert len(np.unique(level[:, :, 0])) == 1
    assert canonical(suggest_lines(upright, 40)) == canonical(suggest_lines(upright, 40, deskew=False))


@pytest.mark.parametrize("width", [10, 12])
def test_strokes_that_meet_at_sharp_corners_are_lines_beside_a_filled_shape_too(width):
    """A filled lozenge and two more under it of a pen, as a pile of sheets; 480 pixels are 60 stitches."""
    picture = paper()
    tops = [(100.0, 240.0), (180.0, 80.0), (260.0, 240.0), (180.0, 400.0), (100.0, 240.0)]
    cv2.fillPoly(picture, [np.rint(np.array(tops)[:, ::-1]).astype(np.int32)], 0)
    stroke(picture, tops, width)
    for low in (80, 160):
        sheet = [(140.0 + low, 160.0), (180.0 + low, 80.0), (260.0 + low, 240.0), (180.0 + low, 400.0)]
        stroke(picture, [*sheet, (140.0 + low, 320.0)], width)
    lines = suggest_lines(picture, 60, deskew=False)
    assert parts(lines)[0] == 1
    # One line along each lower side, where its stroke is.
    ends = np.sort(lines[:, :, 1], axis=1)
    for column in (22.5, 24.5, 26.5):
        rows = lines.mean(axis=1)[(ends[:, 0] <= column) & (ends[:, 1] >= column), 0]
        assert len(rows[rows > 34]) == 2


@pytest.mark.parametrize("thick", [13.6, 14.3, 14.7, 15.0, 15.5])
def test_bars_of_one_thickness_are_of_one_kind_whichever_way_they_lie(thick):
    """Level, upright and slanting, near the limit between one line and two; 480 pixels are 60 stitches."""
    picture = paper()
    for ends in ([(60, 60), (60, 180)], [(60, 300), (180, 300)], [(300, 60), (385, 145)]):
        stroke(picture, ends, thick)
    lines = suggest_lines(picture, 60, mirror="none", deskew=False)
    middle = lines.mean(axis=1)
    boxes = [(0, 15, 0, 30), (0, 30, 30, 45), (30, 60, 0, 30)]
    found = [
        lines[(middle[:, 0] > a) & (middle[:, 0] < b) & (middle[:, 1] > c) & (middle[:, 1] < d)] for a, b, c, d in boxes
    ]
    assert {parts(part) for part in found} in ({(1, 2)}, {(1, 0)})


@pytest.mark.parametrize("ends", [[(360, 80), (360, 400)], [(300, 80), (420, 400)]])
def test_a_limb_just_under_the_limit_goes_with_the_areas_beside_it(ends):
    """Pixels 13.6 wide are 1.7 stitches at 60 wide: a line among strokes, two edges beside a body and a head."""
    alone = stroke(paper(), ends, 13.6)
    assert parts(suggest_lines(alone, 60, mirror="none", deskew=False)) == (1, 2)
    figure = disc(disc(stroke(paper(), ends, 13.6), (130, 150), 60), (150, 340), 80)
    assert parts(suggest_lines(figure, 60, mirror="none", deskew=False)) == (3, 0)
    # A small area does not make shapes of the strokes.
    mostly = disc(stroke(stroke(paper(), ends, 13.6), [(60, 60), (60, 420)], 13.6), (180, 240), 20)
    assert parts(suggest_lines(mostly, 60, mirror="none", deskew=False)) == (3, 4)


def test_an_area_shown_by_its_outline_in_crosses_gets_no_second_one() -> None:
    """Blue with black spots: the body is bare with a line of crosses round it. Without spots it is a solid."""
    y, x = np.mgrid[:300, :350]
    away = np.hypot((y - 150) / 110, (x - 175) / 150)
    plain = np.ascontiguousarray(np.where((away < 1)[..., None], np.array((54, 179, 226), np.uint8), np.uint8(255)))
    spotted = plain.copy()
    for row, col in ((110, 120), (110, 230), (190, 120), (190, 230)):
        spotted[np.hypot(y - row, x - col) < 18] = 25
    outlined, filled = (chart_from_image(picture, 50) for picture in (spotted, plain))
    assert outlined.cells.mean() < 0.25 < 0.6 < filled.cells.mean()

    def along_edge(chart: Chart) -> int:
        half = np.array(chart.cells.shape) / 2
        far = np.hypot(*((chart.lines.mean(axis=1) - half) / half).T)
        return int((far > 0.85).sum())

    assert along_edge(outlined) == 0 < along_edge(filled)
