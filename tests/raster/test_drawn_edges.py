"""Thin strokes, pens, readability and light in numbers: each rule with its limits on either side."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from helpers.axes import plain_axis
from helpers.text_grids import grid, shown
from scipy import ndimage

from converter.raster import readability
from converter.raster.axis import find_axis, ink_depth
from converter.raster.grid import MARGIN, find_phase, lay_plain
from converter.raster.light import Ink
from converter.raster.mirror import HALF_TURN, LEVEL, UPRIGHT, Symmetry, _even_box, _match_all, even_mask
from converter.raster.rims import _is_darker_inside, find_rims
from converter.raster.strokes import _draw_thin, _ends_of_pens, _thick_share, draw_ink
from converter.raster.structure import Demand, Structure, _demand, _grouped, find_faults, read_structures
from converter.raster.thinning import thin_in_order
from converter.raster.tone import mean_around, part_colours, shrink_known, to_gray

PIXELS = 12


def points_axis(points, radius=0.4, straight=True):
    points = np.asarray(points, dtype=float)
    pixel = np.floor(points * PIXELS).astype(np.intp)
    return plain_axis(points, np.full(len(points), radius), pixel, np.full(len(points), straight))


def run(first, last, steps=60):
    return np.linspace(first, last, steps)


# Thin strokes.


def test_a_thin_stroke_takes_the_cells_its_axis_runs_through():
    none = np.zeros((12, 16), dtype=bool)
    level = _draw_thin(none, points_axis(run((5.5, 4.2), (5.5, 11.8))), 0.8, none.shape)
    assert shown(level[5:6, 3:13]) == [".########."] and level.sum() == 8
    steep = _draw_thin(none, points_axis(run((3.5, 4.5), (8.5, 9.5))), 0.8, none.shape)
    assert np.argwhere(steep).tolist() == [[k, k + 1] for k in range(3, 9)]
    # Off the grid it is drawn in the outermost cells.
    edge = _draw_thin(none, points_axis(run((2.9, 4.5), (2.9, 11.5))), 0.8, none.shape)
    assert edge[3, 4:12].all() and edge.sum() == 8
    side = _draw_thin(none, points_axis(run((4.5, 13.1), (7.5, 13.1))), 0.8, none.shape)
    assert side[4:8, 12].all() and side.sum() == 4


def test_what_a_solid_part_shows_is_not_drawn_again():
    solid = np.zeros((12, 16), dtype=bool)
    solid[4:8, 4:8] = True
    inside = points_axis(run((5.5, 4.5), (5.5, 7.5)), radius=2.0)
    assert np.array_equal(_draw_thin(solid, inside, 0.8, solid.shape), solid)
    # A thick point that coverage left out is drawn.
    out = points_axis(run((5.5, 8.9), (5.5, 11.5)), radius=2.0)
    assert _draw_thin(solid, out, 0.8, solid.shape)[5, 9:12].all()
    # A lone point that a stitch of it shows as well needs none of its own.
    assert np.array_equal(_draw_thin(solid, points_axis([(5.5, 8.1)]), 0.8, solid.shape), solid)
    # A thin stroke that runs on from it is drawn up to it, no further than needed.
    on = points_axis(run((5.5, 5.0), (5.5, 11.5)))
    made = _draw_thin(solid, on, 0.8, solid.shape)
    assert made[5, 8:12].all() and made.sum() == 16 + 4


def test_a_stair_is_thinned_to_one_cell_a_step():
    """A slanting stroke: one cell in every column, each point with a stitch near it, all in one piece."""
    none = np.zeros((22, 22), dtype=bool)
    for slope in (0.2, 0.4, 0.7):
        axis = points_axis(run((5.0, 4.5), (5.0 + 13 * slope, 17.5), 200))
        made = _draw_thin(none, axis, 0.8, none.shape)
        assert (made[:, 5:17].sum(axis=0) == 1).all() and (made.sum(axis=0) <= 1).all()
        assert ndimage.label(made, np.ones((3, 3)))[1] == 1
        centres = np.argwhere(made) + 0.5
        assert np.hypot(*(axis.points[:, None] - centres).transpose(2, 0, 1)).min(axis=1).max() <= 0.75


def test_cells_go_in_turn_while_something_else_serves_their_points():
    cells = np.zeros((5, 7), dtype=bool)
    cells[2, 1:6] = True
    ends = [2 * 7 + 1, 2 * 7 + 5]
    # The end serves a point that its neighbour serves too: it goes; then the neighbour is the last to serve it.
    made = thin_in_order(cells, np.array([15, 16]), [[0], [0]], np.array([2], np.int32))
    assert shown(made)[2] == "..####."
    made = thin_in_order(cells, np.array([16, 15]), [[0], [0]], np.array([2], np.int32))
    assert shown(made)[2] == "..####.", "the inner one cannot go before the end"
    made = thin_in_order(cells, np.array([15, 16, 17, 18, 19]), [[]] * 5, np.zeros(0, np.int32))
    assert made.sum() == 1
    assert ends == [15, 19]


def test_the_share_of_broad_strokes_in_each_cell():
    ink = np.zeros((12 * PIXELS, 16 * PIXELS), dtype=bool)
    ink[4 * PIXELS : 8 * PIXELS, 4 * PIXELS : 8 * PIXELS] = True
    ink[5 * PIXELS : 6 * PIXELS, 8 * PIXELS : 13 * PIXELS] = True
    share = _thick_share(ink_depth(ink, PIXELS), 0.8, ink, PIXELS)
    assert share[5:7, 5:7].min() == 1 and share[5, 9:13].max() < 0.1 and share[4, 4] > 0.8
    assert not _thick_share(ink_depth(ink, PIXELS), 3.0, ink, PIXELS).any()


@pytest.mark.parametrize(("width", "gone"), [(2.9, True), (3.1, False)])
@pytest.mark.parametrize(("away", "near"), [(1.0, True), (1.4, False)])
def test_ends_and_joints_of_a_pen_lie_near_it_and_are_at_most_half_as_wide_again(width, gone, away, near):
    """A pen of two stitches: within 1.2 of its strokes (0.6 widths), and less than 3 wide."""
    axis = points_axis([(5.0, 5.0), (5.0, 5.0 + away)])
    found = _ends_of_pens(np.array([2.0, width]), np.array([0.1, np.nan]), axis, (12 * PIXELS, 12 * PIXELS), PIXELS)
    assert found.tolist() == [False, gone and near]
    every = _ends_of_pens(np.array([2.0, 2.0]), np.array([0.1, 0.1]), axis, (12 * PIXELS, 12 * PIXELS), PIXELS)
    assert every.tolist() == [False, False]


def test_the_widest_pen_near_by_counts():
    axis = points_axis([(5.0, 5.0), (5.0, 9.0), (5.0, 8.5)])
    widths, grown = np.array([4.0, 2.0, 3.5]), np.array([0.0, 0.0, np.nan])
    assert not _ends_of_pens(widths, grown, axis, (144, 240), PIXELS)[2], "4 wide, but 3.5 away"
    widths[1] = 2.4
    assert _ends_of_pens(widths, grown, axis, (144, 240), PIXELS)[2]


# Demands.


def laid(*rows):
    cells = np.pad(grid(*rows), MARGIN)
    return cells, np.kron(cells, np.ones((PIXELS, PIXELS))) > 0


def test_points_without_a_stitch_in_reach_demand_none_but_the_last_of_a_part():
    shape = (12, 12)
    points = np.array([[5.5, 5.5], [5.0, 5.0], [8.0, 8.0], [8.5, 8.5], [3.0, 8.0]])
    owner = np.array([2, 2, 1, 1, 4])
    group = np.array([0, 7, 8, 9, 9])
    want = _grouped(_demand(points, owner, shape, np.full(5, 0.66)), group)
    # A corner of cells is 0.707 from all four: no demand, but for the part that has no other point.
    assert want.owner.tolist() == [0, 1, 2] and want.anchor.tolist() == [0, 1, 2] and want.group.tolist() == [7, 8, 9]
    assert [sorted(set(each.tolist())) for each in want.near] == [
        [0, 8 * 12 + 8], [0, 5 * 12 + 5], [2 * 12 + 7, 2 * 12 + 8, 3 * 12 + 7, 3 * 12 + 8],
    ]  # fmt: skip
    # The last point of a part demands what lies within half a diagonal of it.
    off = _demand(np.array([[5.3, 5.3]]), np.array([1]), shape, np.array([0.2]))
    assert off.near[0][off.near[0] > 0].tolist() == [5 * 12 + 5]
    wide = _demand(points, owner, shape, np.full(5, 0.75))
    assert len(wide.near) == 5 and wide.owner.tolist() == [0, 0, 1, 1, 2] and wide.anchor.tolist() == [0, 2, 4]


def test_ground_that_is_missed_can_be_opened_a_step_all_round():
    """Stitches all over: the one bare cell asked for, and every other within a step of it."""
    cells = np.zeros((11, 12), dtype=bool)
    cells[2:9, 2:10] = True
    none = Demand(np.zeros((0, 4), int), np.zeros(0, int), np.zeros(0, int), np.zeros(0, int))
    one = Demand(np.full((1, 4), 5 * 12 + 6), np.zeros(1, int), np.zeros(1, int), np.zeros(1, int))
    owner = np.ones(cells.shape, np.int32)
    found = find_faults(cells, Structure(cells.shape, none, one, np.ones(cells.shape, bool), owner, owner))
    around = np.zeros_like(cells)
    around[4:7, 5:8] = True
    places = dict(found.places)
    assert found.score == pytest.approx(2.001) and set(places) == {"cut", "invented"}
    assert places["cut"].tolist() == np.flatnonzero(around).tolist()
    assert places["invented"].tolist() == np.flatnonzero(cells).tolist()


@pytest.mark.parametrize("gap", [0.95, 1.5, 3.0])
def test_parts_closer_than_the_gap_may_join(gap):
    """Two stitches apart: of one cluster from a gap of more than that on."""
    _, ink = laid("###..###", "###..###")
    axis = find_axis(ink, ink_depth(ink, PIXELS), PIXELS)
    (want,) = read_structures(ink, axis, PIXELS, (gap,))
    assert len(set(want.ink.group.tolist())) == (1 if gap == 3.0 else 2) and len(want.ink.anchor) == 2
    joined = np.pad(grid("########", "###..###"), MARGIN)
    assert ("joined" in [name for name, _ in find_faults(joined, want).places]) == (gap != 3.0)
    # Without the depth of the ground at hand it is worked out.
    (same,) = read_structures(ink, axis, PIXELS, (gap,), ink_depth(~ink, PIXELS))
    assert np.array_equal(same.ground.near, want.ground.near) and np.array_equal(same.roomy, want.roomy)


def test_openings_of_the_picture_are_where_holes_may_be():
    _, ink = laid("#####", "#...#", "#...#", "#####")
    hole = ink.copy()
    hole[5 * PIXELS + 2 : 5 * PIXELS + 6, 5 * PIXELS + 2 : 5 * PIXELS + 6] = True
    axis = find_axis(ink, ink_depth(ink, PIXELS), PIXELS)
    (want,) = read_structures(ink, axis, PIXELS, (1.5,))
    inner = np.zeros(want.shape, dtype=bool)
    inner[4:6, 4:7] = True
    assert want.roomy[inner].all()
    ring = inner.copy()
    ring[3:7, 3:8] = True
    ring &= ~inner
    assert not want.roomy[ring].any() and want.roomy[0].all()
    # An opening of a tenth of a cell counts, a smaller one not.
    for side, counted in ((5, True), (3, False)):
        solid = np.kron(np.pad(np.ones((5, 5), dtype=bool), MARGIN), np.ones((PIXELS, PIXELS))) > 0
        solid[5 * PIXELS + 3 : 5 * PIXELS + 3 + side, 5 * PIXELS + 3 : 5 * PIXELS + 3 + side] = False
        (want,) = read_structures(solid, find_axis(solid, ink_depth(solid, PIXELS), PIXELS), PIXELS, (1.5,))
        assert want.roomy[5, 5] == counted


def test_who_owns_a_cell_is_who_is_nearest():
    _, ink = laid("##....##", "##....##")
    axis = find_axis(ink, ink_depth(ink, PIXELS), PIXELS)
    (want,) = read_structures(ink, axis, PIXELS, (1.5,))
    left, right = want.ink_owner[3, 3], want.ink_owner[3, 10]
    assert left != right and (want.ink_owner[:, :6] == left).all() and (want.ink_owner[:, 8:] == right).all()
    assert len(set(want.ground_owner.ravel().tolist())) == 1


# Readability.


@pytest.mark.parametrize(
    ("rows", "changed", "kept"),
    [
        # Parts of 8 and 4 cells; the smaller is gone: the share of the roots of their areas.
        (("####..##", "####..##"), ("####....", "####...."), 8**0.5 / (8**0.5 + 4**0.5)),
        # A ring of 16 with an opening of 6 that is closed.
        (("#####", "#...#", "#...#", "#####"), ("#####",) * 4, 14**0.5 / (14**0.5 + 6**0.5)),
        # Two of 6 run together: half a part.
        (("###.###", "###.###"), ("#######", "#######"), 1.5 / 2),
        (("###.###", "###.###"), ("###.###", "###.###"), 1.0),
        # None is left.
        (("##",), ("..",), 0.0),
    ],
)
def test_readability_is_likeness_times_what_is_kept(monkeypatch, rows, changed, kept):
    _, ink = laid(*rows)
    made = np.pad(grid(*changed), MARGIN)
    for alike in (1.0, 0.6):
        monkeypatch.setattr(readability, "_alikeness", lambda *args, alike=alike: alike)
        verdict = readability.judge(ink, made, PIXELS)
        assert verdict.readability == pytest.approx(100 * alike * (0.5 + 0.5 * kept), abs=0.051)
    # Of strokes half of whose length is shown half of that is left.
    monkeypatch.setattr(readability, "_alikeness", lambda *args: 1.0)
    monkeypatch.setattr(readability, "_shown", lambda axis, cells: (0.5, np.zeros((1, 2), dtype=np.intp)))
    some = points_axis([(5.5, 5.5)])
    half = readability.judge(ink, made, PIXELS, axis=some)
    assert half.readability == pytest.approx(50 * (0.5 + 0.5 * kept), abs=0.051)
    assert "About 50 % of the length of the strokes was left out." in map(str, half.losses)


@pytest.mark.parametrize(("share", "words"), [(0.986, False), (0.984, True)])
def test_from_one_and_a_half_percent_on_missing_strokes_are_told(monkeypatch, share, words):
    cells, ink = laid("#####")
    monkeypatch.setattr(readability, "_shown", lambda axis, cells: (share, np.array([[40, 40]])))
    losses = " ".join(map(str, readability.judge(ink, cells, PIXELS, axis=points_axis([(3.5, 3.5)])).losses))
    assert ("% of the length" in losses) == words


@pytest.mark.parametrize(("area", "covered", "told"), [(5, 0, True), (4, 0, False), (100, 49, True), (100, 51, False)])
def test_parts_from_three_hundredths_of_a_stitch_on_are_missed_if_less_than_half_is_sewn(area, covered, told):
    """On 12 pixels a stitch that is 4.3 pixels; a part of 100 lies with so many columns on stitches."""
    picture = np.zeros((12 * PIXELS, 12 * PIXELS), dtype=bool)
    cells = np.zeros((12, 12), dtype=bool)
    if area == 100:
        # Ten rows in a stitched row, or just below one where nothing is near.
        cells[5, :6] = True
        first = 6 * PIXELS - round(covered / 10)
        picture[5 * PIXELS : 5 * PIXELS + 10, first : first + 10] = True
        covered = (picture & (np.kron(cells, np.ones((PIXELS, PIXELS))) > 0)).sum()
    else:
        picture[8 * PIXELS, 3 * PIXELS : 3 * PIXELS + area] = True
    losses = " ".join(map(str, readability.judge(picture, cells, PIXELS).losses))
    # Half a stitch about a stitch is near it too.
    near = ink_depth(np.kron(~cells, np.ones((PIXELS, PIXELS))) > 0, PIXELS) <= 0.5
    expected = told if area < 100 else (picture & near).sum() < 50
    assert ("left out" in losses) == expected


@pytest.mark.parametrize(("side", "bare", "told"), [(4, 0, False), (5, 0, True), (12, 36, True), (12, 48, False)])
def test_openings_from_an_eighth_of_a_stitch_on_are_missed(side, bare, told):
    """18 pixels and more; shut if less than three tenths of one, or of 0.6 stitches, is bare."""
    cells = np.pad(np.ones((6, 6), dtype=bool), MARGIN)
    picture = np.kron(cells, np.ones((PIXELS, PIXELS))) > 0
    top = left = 5 * PIXELS
    if bare:
        # The opening lies with a strip beside a bare cell of the chart.
        cells[5, 5] = False
        top += PIXELS - round(bare / side)
    picture[top : top + side, left : left + side] = False
    losses = " ".join(map(str, readability.judge(picture, cells, PIXELS).losses))
    assert ("too small for the grid" in losses) == told


def test_the_likeness_is_brought_to_its_span(monkeypatch):
    """0.68 stands for nothing and 0.90 for all; of tones 0.35 and 0.8; filled gaps count 0.85 of that."""
    cells, ink = laid("####", "####")
    tone = ink.astype(np.float32)
    for value, expected in ((0.68, 0.0), (0.79, 0.5), (0.9, 1.0), (0.95, 1.0), (0.3, 0.0)):
        monkeypatch.setattr(readability, "_likeness", lambda picture, chart, value=value: value)
        assert readability._alikeness(ink, cells, PIXELS, None) == pytest.approx(expected, abs=1e-6)
    for value, expected in ((0.35, 0.0), (0.575, 0.5), (0.8, 1.0)):
        monkeypatch.setattr(readability, "_likeness", lambda picture, chart, value=value: value)
        assert readability._alikeness(ink, cells, PIXELS, tone) == pytest.approx(expected, abs=1e-6)
    monkeypatch.setattr(readability, "_as_sewn", lambda *small: ("open", "closed"))
    for of_open, of_closed, likeness in ((0.7, 1.0, 0.85), (0.88, 1.0, 0.88), (0.8, 0.9, 0.8)):
        told = {"open": of_open, "closed": of_closed}
        monkeypatch.setattr(readability, "_likeness", lambda picture, chart, told=told: told[picture])
        assert readability._alikeness(ink, cells, PIXELS, None) == pytest.approx((likeness - 0.68) / 0.22)
    monkeypatch.setattr(readability, "_open", lambda *small: 0.5)
    assert readability._alikeness(ink, cells, PIXELS, None) == pytest.approx((0.8 - 0.68) / 0.22 / 2)


# Light and colour.


def test_the_mean_around_is_that_of_what_is_known():
    weight = np.zeros((60, 80), dtype=np.float32)
    weight[:, :20] = weight[:, 60:] = 1
    total = weight.copy()
    total[:, 60:] = 3.0
    found = mean_around(weight, total)
    assert found[:, :18] == pytest.approx(1.0, abs=1e-4) and found[:, 62:] == pytest.approx(3.0, abs=1e-4)
    assert found[30, 40] == pytest.approx(2.0, abs=0.05) and (np.diff(found[30]) > -1e-4).all()
    # Half as much known everywhere is the same mean; nothing known gives nothing.
    assert mean_around(weight / 2, total / 2) == pytest.approx(found, abs=0.2)
    assert not mean_around(weight * 0, total * 0).any()
    # Far from what little is known the mean of all.
    few = np.zeros((300, 300), dtype=np.float32)
    few[0, 0] = 1
    assert mean_around(few, few * 5)[299, 299] == pytest.approx(5.0, abs=0.01)


@pytest.mark.parametrize(("shape", "small"), [((300, 400), (150, 200)), ((150, 120), (150, 120)), ((3, 900), (2, 200))])
def test_what_is_known_is_shrunk_to_two_hundred_pixels(shape, small):
    known = np.zeros(shape, dtype=bool)
    known[:, : shape[1] // 2] = True
    values = np.full(shape, 7.0, dtype=np.float32)
    values[:, shape[1] // 2 :] = 100.0
    weight, total = shrink_known(known, values)
    assert weight.shape == total.shape == small
    assert weight.mean() == pytest.approx(0.5, abs=0.01) and total == pytest.approx(7 * weight, abs=1e-3)


def gray_of(picture):
    return part_colours(picture, to_gray(picture))


def two_colours(one, other, share=0.3):
    """One colour in a part of the picture, the other round it."""
    picture = np.empty((100, 100, 3), dtype=np.uint8)
    picture[:] = other
    picture[: round(100 * share)] = one
    return picture


def test_colours_of_one_darkness_are_told_apart():
    # Luma 91 of either: 0.299 R + 0.587 G + 0.114 B.
    red, green = (220, 35, 40), (60, 120, 28)
    for one, other, share, dark in ((red, green, 0.3, True), (red, green, 0.7, False), (green, red, 0.3, True)):
        made = gray_of(two_colours(one, other, share))
        assert (made[0, 0] < made[-1, 0]) == dark, "what is rarer is dark"
        assert abs(int(made[0, 0]) - int(made[-1, 0])) > 200
    # Of as much either what is redder.
    assert gray_of(two_colours(red, green, 0.5))[0, 0] < gray_of(two_colours(red, green, 0.5))[-1, 0]
    assert gray_of(two_colours(green, red, 0.5))[0, 0] > gray_of(two_colours(green, red, 0.5))[-1, 0]


def test_pictures_with_light_and_dark_of_their_own_keep_their_gray():
    for one, other in (((220, 35, 40), (80, 180, 30)), ((120, 90, 60), (90, 100, 75)), ((100, 100, 100), (80, 80, 80))):
        picture = two_colours(one, other)
        assert np.array_equal(gray_of(picture), to_gray(picture))
    # Full white is light too.
    white = two_colours((255, 190, 120), (255, 255, 255))
    assert np.array_equal(gray_of(white), to_gray(white))
    plain = np.full((9, 9), 90, dtype=np.uint8)
    assert gray_of(plain) is plain
    # A few pixels of black on red and green are no light and dark of their own: 0.2 % at either end do not count.
    for number, kept in ((15, False), (60, True)):
        picture = two_colours((220, 35, 40), (60, 120, 28))
        picture[50, :number] = 0
        assert np.array_equal(gray_of(picture), to_gray(picture)) == kept


@pytest.mark.parametrize(("step", "darker"), [(0.11, True), (0.09, False), (-0.2, False)])
def test_a_rim_holds_something_a_tenth_of_the_contrast_darker(step, darker):
    level = np.zeros((80, 80), dtype=np.float32)
    inside = np.hypot(*(np.mgrid[:80, :80] - 40)) < 20
    rim = np.abs(np.hypot(*(np.mgrid[:80, :80] - 40)) - 20) < 1.5
    level[inside] = -2.0 * step
    assert _is_darker_inside(rim, rim, level, 2.0) is darker
    # An open rim holds nothing, a wall of ink closes it.
    half = rim.copy()
    half[38:43, 55:] = False
    assert not _is_darker_inside(half, half, level, 2.0)
    assert _is_darker_inside(half, rim, level, 2.0) is darker


def test_rims_must_be_steep_long_and_clear_of_ink():
    def disc(step, radius, soft=0.8, ink_at=None, noise=0.0):
        far = np.hypot(*(np.mgrid[:200, :240] - np.array([100, 100]).reshape(2, 1, 1)))
        gray = np.full((200, 240), 0.8)
        gray[far < radius] *= np.exp(-step)
        gray = cv2.GaussianBlur(gray, (0, 0), soft)
        gray[40:160, 225:232] = 0.05
        if ink_at is not None:
            gray[(np.abs(far - ink_at) < 1.5) & (np.arange(240) > 100)] = 0.05
        gray += np.random.default_rng(1).normal(0, noise, gray.shape)
        mask = gray < 0.2
        return find_rims(gray.clip(0, 1).astype(np.float32), Ink(mask, mask.astype(np.float32), 2.0))

    # Of a contrast of 2 a sixteenth and more lies within three pixels: 0.24.
    assert disc(0.5, 60) is not None and disc(0.2, 60) is None and disc(0.5, 60, soft=6) is None
    # Across 0.15 of 240 pixels at least, corner to corner: 36, with two pixels of blur.
    assert disc(0.6, 16) is not None and disc(0.6, 10) is None
    # Ink within four pixels of it draws it already.
    for away, drawn in ((2, False), (12, True)):
        rims = disc(0.6, 60, ink_at=60 + away)
        assert rims[95:105, 30:50].any() and rims[95:105, 150:170].any() == drawn
    # Five times the noise between neighbours.
    assert disc(0.6, 60, noise=0.004) is not None and disc(0.6, 60, noise=0.06) is None


# Mirrors and the grid.


def blob(seed=3):
    rng = np.random.default_rng(seed)
    half = cv2.resize((rng.random((6, 4)) < 0.6).astype(np.float32), (48, 72), interpolation=cv2.INTER_CUBIC) > 0.5
    return np.concatenate([half, half[:, ::-1]], axis=1)


@pytest.mark.parametrize(("cut", "off"), [(0, 0), (3, 0), (-3, 0), (5, -2), (-5, 2)])
def test_how_far_the_axis_lies_off_the_middle(cut, off):
    """Of a box cut on one side, in half pixels: tried in steps of two, and 0.3 stitches off is as good."""
    mask = np.pad(blob(), 10)
    box = (0.0, float(max(0, cut)), float(mask.shape[0]), float(mask.shape[1] + min(0, cut)))
    found = _match_all(mask, box, 12.0, (UPRIGHT,))[UPRIGHT]
    assert found == (1.0, off)
    assert _match_all(mask.T.copy(), (box[1], box[0], box[3], box[2]), 12.0, (LEVEL,))[LEVEL] == found


@pytest.mark.parametrize("cut", [2, -2])
def test_with_few_pixels_a_stitch_a_pixel_counts(cut):
    """Within 1.2 pixels of four; moved by one along the rows and not across them."""
    mask = np.pad(blob(), 10)
    box = (0.0, float(max(0, cut)), float(mask.shape[0]), float(mask.shape[1] + min(0, cut)))
    share, off = _match_all(mask, box, 4.0, (UPRIGHT,))[UPRIGHT]
    assert share == 1.0 and off == -cut // 2
    share, off = _match_all(mask.T.copy(), (box[1], box[0], box[3], box[2]), 4.0, (LEVEL,))[LEVEL]
    assert share == 1.0 and off == -cut // 2


def test_boxes_are_made_even_about_the_axis():
    box = (10.0, 20.0, 110.0, 220.0)
    matches = {UPRIGHT: (1.0, 4), LEVEL: (1.0, -6)}
    assert _even_box(box, (UPRIGHT,), matches) == (10.0, 20.0, 110.0, 224.0)
    assert _even_box(box, (LEVEL,), matches) == (4.0, 20.0, 110.0, 220.0)
    assert _even_box(box, (UPRIGHT, LEVEL, HALF_TURN), matches) == (4.0, 20.0, 110.0, 224.0)
    assert _even_box(box, (HALF_TURN,), matches) == box


@pytest.mark.parametrize(("side", "met"), [(5, True), (12, False)])
def test_a_part_on_one_side_alone_spoils_the_symmetry(side, met):
    """Ink that lies farther than 0.7 stitches from its image, be it ever so little."""
    mask = np.pad(blob(), 30)
    mask[20 : 20 + side, 10 : 10 + side] = True
    mask[20 : 20 + side, -10 - side - 8 : -18] = met
    box = (0.0, 0.0, float(mask.shape[0]), float(mask.shape[1]))
    assert (_match_all(mask, box, 12.0, (UPRIGHT,))[UPRIGHT][0] >= 0.985) == met


def test_the_mean_distance_to_the_edge_decides():
    """A bar two pixels longer on one side comes out a pixel longer on both."""
    mask = np.zeros((9, 40), dtype=bool)
    mask[3:6, 10:32] = True
    made = even_mask(mask, Symmetry((UPRIGHT,)))
    assert np.array_equal(made, made[:, ::-1])
    assert np.flatnonzero(made[4]).tolist() in (list(range(9, 31)), list(range(8, 32)), list(range(10, 30)))
    assert even_mask(np.ones((4, 6), bool), Symmetry((UPRIGHT,))).all()


@pytest.mark.parametrize("rule", ["columns", "rows"])
def test_level_and_upright_strokes_run_through_the_middles_of_cells(rule):
    """Told of thin strokes at known places the grid is laid so that they lie half-way between its lines."""
    ink = np.zeros((240, 300), dtype=bool)
    box = (20.0, 25.0, 220.0, 275.0)
    plain = lay_plain(box, *((25, None) if rule == "columns" else (None, 20)))
    rows, cols = np.array([63.0, 113.0, 163.0]), np.array([82.0, 132.0, 202.0])
    found = find_phase(ink, box, plain, rule, diagonals=(rows[:0],) * 2, straights=(rows, cols), diagonal_weight=1.0)
    for at, first in ((rows, found.top), (cols, found.left)):
        assert np.abs((at - first) / found.cell % 1 - 0.5).max() < 0.2


@pytest.mark.parametrize("most", [(0.1, 1.0), (1.0, 0.1), (0.05, 0.05)])
@pytest.mark.parametrize("rule", ["columns", "rows"])
def test_the_outermost_lines_lie_at_most_so_far_outside_the_ink(most, rule):
    rng = np.random.default_rng(9)
    ink = cv2.resize((rng.random((10, 13)) < 0.5).astype(np.float32), (260, 200)) > 0.5
    box = (0.0, 0.0, 200.0, 260.0)
    plain = lay_plain(box, *((19, None) if rule == "columns" else (None, 19)))
    found = find_phase(ink, box, plain, rule, most_bare=most)
    first, last, size = (
        (found.left, found.left + found.cell * 19, 260.0)
        if rule == "columns"
        else (found.top, found.top + found.cell * 19, 200.0)
    )
    assert -first / found.cell <= most[0] + 1e-9 and (last - size) / found.cell <= most[1] + 1e-9


def test_what_a_chart_is_made_from_comes_with_it():
    cells, ink = laid("####", "#..#", "####")
    drawn = draw_ink(ink, PIXELS)
    assert np.array_equal(drawn.cells, cells) and drawn.coverage.shape == cells.shape
    assert len(drawn.wants) == 2 and find_faults(drawn.cells, drawn.wants[0]).count == 0
    few = draw_ink(ink, PIXELS, axis=drawn.axis, gaps=(1.5,), most_trials=0)
    assert len(few.wants) == 1 and np.array_equal(few.cells, cells)
