"""Strokes, structure, mending and readability on drawings of a few cells, against slow definitions."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest
from helpers.axes import plain_axis
from helpers.text_grids import grid, shown
from scipy import ndimage

from converter.raster.axis import find_axis, find_diagonals, ink_depth, move_axis
from converter.raster.grid import MARGIN
from converter.raster.mirror import UPRIGHT, Symmetry
from converter.raster.readability import (
    AS_TONE,
    _as_sewn,
    _between,
    _filled_in,
    _likeness,
    _look_at_cells,
    _look_small,
    _open,
    _shown,
    judge,
)
from converter.raster.repair import _flip, _groups, _grow, mend
from converter.raster.strokes import (
    _better_half,
    _even_pens,
    _flip_cost,
    _inside,
    _level_edges,
    _rim,
    _single_half,
    _square_corners,
    cell_coverage,
    draw_ink,
)
from converter.raster.structure import (
    _border,
    _first_value,
    _nearest_at_centres,
    _nearest_label,
    _served,
    cells_near,
    find_faults,
    read_structures,
)

PIXELS = 12


def laid(*rows):
    """Cells with their margin, and the same as ink, pixel by pixel."""
    cells = np.pad(grid(*rows), MARGIN)
    return cells, np.kron(cells, np.ones((PIXELS, PIXELS))) > 0


def axis_of(ink):
    return find_axis(ink, ink_depth(ink, PIXELS), PIXELS)


def wedge(tip, degrees, half_degrees, length=9.0, side=20):
    """Ink that runs out to a tip, pixel by pixel: all that lies within an angle of a line from the tip."""
    y, x = ((np.indices((side * PIXELS,) * 2) + 0.5) / PIXELS) - np.reshape(tip, (2, 1, 1))
    along = y * np.cos(np.deg2rad(degrees)) + x * np.sin(np.deg2rad(degrees))
    across = x * np.cos(np.deg2rad(degrees)) - y * np.sin(np.deg2rad(degrees))
    return (along >= 0) & (along <= length) & (np.abs(across) <= along * np.tan(np.deg2rad(half_degrees)))


@pytest.mark.parametrize(("half_degrees", "nearest"), [(10, 0.75), (15, 0.75), (20, 1.25)])
@pytest.mark.parametrize("degrees", [0, 17, 31, 45, 60, 90])
def test_fine_tips_are_drawn_as_far_as_they_go(half_degrees, nearest, degrees):
    # A stitch within 0.75 of the line it stands for shows it (the recall of the reduction's measures).
    for off in ((0.1, 0.1), (0.5, 0.5), (0.3, 0.8), (0.9, 0.4), (0.0, 0.5)):
        tip = np.add(off, 9) - 6 * np.array([np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))])
        cells = draw_ink(wedge(tip, degrees, half_degrees), PIXELS).cells
        distance = np.hypot(*(np.argwhere(cells) + 0.5 - tip).T)
        assert distance.min() <= nearest
        assert ndimage.label(cells, np.ones((3, 3)))[1] == 1


def test_blunt_tips_end_where_they_cover_a_good_part_of_a_stitch():
    """Barbs of an arrow: a stitch of which they cover next to nothing would look like a stray one."""
    least, nearest = [], []
    for degrees in (0, 10, 22.5, 35, 45, 67.5, 80, 90, 112.5):
        for off in ((0.1, 0.1), (0.5, 0.5), (0.3, 0.8), (0.9, 0.4), (0.0, 0.5), (0.6, 0.2), (0.2, 0.6)):
            tip = np.add(off, 9) - 6 * np.array([np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))])
            ink = wedge(tip, degrees, 24)
            cells = draw_ink(ink, PIXELS).cells
            least.append(cell_coverage(ink, PIXELS)[cells].min())
            nearest.append(np.hypot(*(np.argwhere(cells) + 0.5 - tip).T).min())
    assert np.mean(np.array(least) > 0.12) > 0.9 and max(nearest) < 1.3


@pytest.mark.parametrize("half_degrees", [10, 15, 20])
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_tip_with_a_level_side_runs_out_in_one_row(half_degrees, mirrored):
    """The eaves of a house: no stitch of the last row is left out between the body and the end of the tip."""
    for row in (8.0, 8.125, 8.25, 8.375):
        ink = wedge((row, 5.3), 90 - half_degrees, half_degrees)
        ink = ink[:, ::-1].copy() if mirrored else ink
        cells, coverage = draw_ink(ink, PIXELS).cells, cell_coverage(ink, PIXELS)
        assert cells[coverage >= 0.5].mean() > 0.92
        assert ndimage.label(cells)[1] == 1
        last = np.flatnonzero(cells[8])
        assert len(last) == np.ptp(last) + 1 >= 8


def test_the_rounded_and_square_ends_of_strokes_go_no_farther_than_their_ink():
    for thick in (0.6, 1.0, 1.6):
        for slant in (0.0, 0.3, 1.0):
            ink = np.zeros((20 * PIXELS,) * 2, np.uint8)
            ends = [(5 * PIXELS, 8 * PIXELS), (14 * PIXELS, round((8 + 4 * slant) * PIXELS))]
            cv2.line(ink, *ends, 1, round(thick * PIXELS))
            away = ndimage.distance_transform_edt(ink == 0) / PIXELS
            axis = find_axis(ink > 0, ink_depth(ink > 0, PIXELS), PIXELS)
            row, col = (axis.points * PIXELS).astype(int).T
            assert away[row, col].max() == 0


def demands(ink, gap=1.5):
    return read_structures(ink, axis_of(ink), PIXELS, (gap,))[0]


# The centre line.


@pytest.mark.parametrize("width", [5, 9, 13, 21])
@pytest.mark.parametrize("upright", [False, True])
def test_centre_line_of_a_bar(width, upright):
    """Down the middle, half the bar's width from its edges, and as long as the bar but for its rounded ends."""
    ink = np.zeros((80, 260), dtype=bool)
    ink[30 : 30 + width, 20:240] = True
    ink = ink.T.copy() if upright else ink
    axis = axis_of(ink)
    along, across = (0, 1) if upright else (1, 0)
    assert axis.points[:, across] * PIXELS == pytest.approx(30 + width / 2, abs=1.0)
    middle = (axis.points[:, along] * PIXELS > 40) & (axis.points[:, along] * PIXELS < 220)
    assert 2 * axis.radius[middle] * PIXELS == pytest.approx(width, abs=1.5)
    # The ends are drawn out again: thinning eats half the width of each.
    ends = axis.points[:, along] * PIXELS
    assert 20 <= ends.min() < 20.4 + 0.43 * width and 239.6 - 0.43 * width < ends.max() <= 240
    assert ink[axis.pixel[:, 0], axis.pixel[:, 1]].all()
    assert (np.diff(np.sort(axis.pixel[middle, along])) <= 1).all()


def test_a_broad_part_has_points_all_over_it():
    """More than 4.8 stitches wide: no line, but points over its middle."""
    ink = np.zeros((200, 200), dtype=bool)
    ink[40:160, 40:160] = True
    axis = axis_of(ink)
    inner = ndimage.distance_transform_edt(ink) > 30
    near = np.zeros(ink.shape, dtype=bool)
    near[axis.pixel[:, 0], axis.pixel[:, 1]] = True
    assert (ndimage.distance_transform_edt(~near)[inner] < 8).all() and len(axis.points) < inner.sum()
    thin = np.zeros((200, 200), dtype=bool)
    thin[95:105, 40:160] = True
    assert len(axis_of(thin).points) < 140
    empty = np.zeros((40, 40), dtype=bool)
    assert len(axis_of(empty).points) == 0


def test_corners_have_no_spurs():
    """The centre line of a solid corner ends where the strokes meet, it does not run out into the tip."""
    ink = np.zeros((200, 200), dtype=bool)
    ink[60:84, 60:180] = ink[60:180, 60:84] = True
    axis = axis_of(ink)
    at = axis.points * PIXELS
    assert not ((at[:, 0] < 66) & (at[:, 1] < 66)).any()


def test_a_single_dot_has_a_point_and_a_short_dash_its_length():
    dot = np.zeros((60, 60), dtype=bool)
    cv2.circle(dot.view(np.uint8), (30, 30), 5, 1, -1)
    assert np.allclose(axis_of(dot).points.mean(axis=0) * PIXELS, 30.5, atol=1.0)
    dash = np.zeros((60, 60), dtype=bool)
    dash[28:34, 20:42] = True
    at = axis_of(dash).points[:, 1] * PIXELS
    assert at.min() < 24 and at.max() > 38


def test_an_axis_in_other_coordinates():
    axis = plain_axis(np.array([[2.0, 3.0]]), np.array([0.5]), np.array([[20, 30]]), np.array([True]))
    moved = move_axis(axis, 10, 5.0, 10.0, 7.5, 3, 6)
    # Pixel (20, 30) less (5, 10) in cells of 7.5, and 3 of margin; half of 10 pixels are 2/3 of 7.5.
    assert moved.points.tolist() == [[pytest.approx(5.0), pytest.approx(17 / 3)]]
    assert moved.radius.tolist() == [pytest.approx(5 / 7.5)] and moved.pixel.tolist() == [[30, 34]]


def test_depth_of_ink_in_stitches():
    ink = np.zeros((30, 30), dtype=bool)
    ink[10:20, 10:20] = True
    depth = ink_depth(ink, 5)
    assert depth[ink].min() == pytest.approx(0.2) and depth.max() == pytest.approx(1.0) and not depth[~ink].any()


@pytest.mark.parametrize("sense", [1, -1])
def test_strokes_at_forty_five_degrees(sense):
    ink = np.zeros((300, 300), dtype=np.uint8)
    line = [(40, 50), (240, 250)] if sense == 1 else [(240, 50), (40, 250)]
    cv2.line(ink, *line, 1, 5)
    cv2.line(ink, (20, 280), (280, 280), 1, 5)
    ink = ink > 0
    axis = axis_of(ink)
    falling, rising = find_diagonals(axis, ink.shape, PIXELS)
    mine, other = (falling, rising) if sense == 1 else (rising, falling)
    # Row less column (or and column) of the line's middle; the level line is none.
    assert len(mine) > 20 and mine == pytest.approx(10 if sense == 1 else 291, abs=1.5)
    assert len(other) == 0


# Strokes.


def test_coverage_and_what_a_change_costs():
    ink = np.zeros((4, 8), dtype=bool)
    ink[:, :2] = ink[:2, 4:] = True
    coverage = cell_coverage(ink, 4)
    assert coverage.tolist() == [[0.5, 0.5]]
    coverage = np.array([[0.9, 0.2, 0.5]], dtype=np.float32)
    cost = _flip_cost(np.array([[True, True, False]]), coverage)
    assert cost[0].tolist() == pytest.approx([0.9, 0.2, 0.5])


def test_axis_points_off_the_ink_do_not_count():
    ink = grid("##.", "#..")
    pixel = np.array([[0, 0], [0, 2], [1, 0], [-1, 0], [0, -1], [2, 0], [0, 3], [1, 2]])
    axis = plain_axis(pixel + 0.5, np.arange(8.0), pixel, np.ones(8, dtype=bool))
    held = _inside(axis, ink)
    assert held.pixel.tolist() == [[0, 0], [1, 0]] and held.radius.tolist() == [0, 2]


@pytest.mark.parametrize(("widths", "half"), [([1.0] * 9 + [3.0] * 9, 0.8), ([1.5] * 9, 0.85), ([1.7] * 9, 0.75)])
def test_the_limit_of_single_strokes_lies_where_few_strokes_are(widths, half):
    """Between 1.45 and 1.75 stitches, at the middle if nothing is so wide."""
    axis = plain_axis(
        np.zeros((len(widths), 2)),
        np.array(widths) / 2,
        np.zeros((len(widths), 2), dtype=int),
        np.ones(len(widths), dtype=bool),
    )
    assert _single_half(axis) == pytest.approx(half, abs=0.03)
    assert 1.45 <= 2 * _single_half(axis) <= 1.75


@pytest.mark.parametrize(
    ("before", "after"),
    [
        # A single cell on a straight edge five long goes, one missing from it comes.
        ([".......", "...#...", ".#####."], [".......", ".......", ".#####."]),
        (["#######", "#######", "#.....#", "#######"], None),
        ([".......", "..##...", ".#####."], None),
        ([".......", "...#...", "..####."], None),
    ],
)
def test_undecided_cells_are_levelled_with_a_straight_edge(before, after):
    cells = np.pad(grid(*before), 2)
    unsure = np.full(cells.shape, 0.5, dtype=np.float32)
    expected = cells if after is None else np.pad(grid(*after), 2)
    for turn in range(4):
        assert np.array_equal(_level_edges(np.rot90(cells, turn), np.rot90(unsure, turn)), np.rot90(expected, turn))
        # The same of the ground.
        assert np.array_equal(_level_edges(~np.rot90(cells, turn), np.rot90(unsure, turn)), ~np.rot90(expected, turn))
    # What is plainly covered, or plainly not, stays.
    for share in (0.5 + 0.33, 0.5 - 0.33):
        assert np.array_equal(_level_edges(cells, np.full(cells.shape, share, dtype=np.float32)), cells)
    for share in (0.5 + 0.31, 0.5 - 0.31):
        assert np.array_equal(_level_edges(cells, np.full(cells.shape, share, dtype=np.float32)), expected)


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("ink", [True, False])
@pytest.mark.parametrize(
    ("corner", "filled"),
    # The product of 0.6 and 0.7, a little less, and what a round corner covers, or one that is plainly bare.
    [(0.42, True), (0.40, True), (0.37, False), (0.15, False)],
)
def test_a_square_corner_belongs_to_both_its_edges(turn, ink, corner, filled):
    coverage = np.zeros((9, 10), dtype=np.float32)
    coverage[2:6, 2:7] = 1
    coverage[6, 2:7], coverage[2:6, 7], coverage[6, 7] = 0.6, 0.7, corner
    cells = coverage >= 0.5
    expected = cells.copy()
    expected[6, 7] = filled
    if not ink:
        cells, coverage, expected = ~cells, 1 - coverage, ~expected
    assert np.array_equal(_square_corners(np.rot90(cells, turn), np.rot90(coverage, turn)), np.rot90(expected, turn))


def test_the_steps_of_a_slanting_edge_are_no_corners():
    y, x = (np.indices((30 * PIXELS,) * 2) + 0.5) / PIXELS
    for slope in (0.1, 0.37, 0.8, 1.0, 2.3):
        for shift in np.arange(0, 1, 0.125):
            coverage = cell_coverage(y > 4 + shift + slope * x, PIXELS)
            cells = coverage >= 0.5
            assert (_square_corners(cells, coverage) != cells).mean() <= 0.002


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("ink", [True, False])
def test_only_the_undecided_cell_itself_counts(turn, ink):
    """A bump on a long edge: levelled if its own cell is undecided, whatever the others are, and only then."""
    cells = np.zeros((10, 13), dtype=bool)
    cells[4:8, 2:11] = True
    cells[3, 6] = True
    cells = cells if ink else ~cells
    flat = cells.copy()
    flat[3, 6] = not ink
    for own, others, expected in ((0.5, 1.0, flat), (1.0, 0.5, cells)):
        coverage = np.full(cells.shape, others, dtype=np.float32)
        coverage[3, 6] = own
        assert np.array_equal(_level_edges(np.rot90(cells, turn), np.rot90(coverage, turn)), np.rot90(expected, turn))


def test_the_margin_is_the_rim():
    rim = _rim(np.zeros((9, 10), dtype=bool))
    assert rim.sum() == 9 * 10 - 3 * 4 and not rim[3:6, 3:7].any()


@pytest.mark.parametrize(("width", "drawn"), [(1.8, 2), (2.1, 2), (2.4, 2), (2.6, 3), (3.1, 3), (3.7, 4), (4.3, 4)])
def test_pens_are_drawn_a_whole_number_of_stitches_wide(width, drawn):
    for offset in (0.0, 0.3, 0.55, 0.8):
        ink = np.zeros((22 * PIXELS, 30 * PIXELS), dtype=bool)
        top = round((7 + offset) * PIXELS)
        ink[top : top + round(width * PIXELS), 5 * PIXELS : 25 * PIXELS] = True
        assert set(draw_ink(ink, PIXELS).cells[:, 8:22].sum(axis=0).tolist()) == {drawn}


@pytest.mark.parametrize("width", [0.3, 0.7, 1.0, 1.3])
@pytest.mark.parametrize("offset", [0.0, 0.25, 0.5, 0.8])
def test_thin_pens_are_drawn_one_stitch_wide(width, offset):
    ink = np.zeros((22 * PIXELS, 30 * PIXELS), dtype=bool)
    top = round((7 + offset) * PIXELS)
    ink[top : top + max(3, round(width * PIXELS)), 5 * PIXELS : 25 * PIXELS] = True
    cells = draw_ink(ink, PIXELS).cells
    assert (cells[:, 6:24].sum(axis=0) == 1).all() and cells[:, :4].sum() == cells[:, 26:].sum() == 0
    rows = np.flatnonzero(cells[:, 15])
    middle = (top + max(3, round(width * PIXELS)) / 2) / PIXELS
    assert abs(rows[0] + 0.5 - middle) <= 0.55


def test_broad_drawings_keep_their_widths():
    """From 15 % of the ink broader than 4.6 stitches on it is no pen drawing."""
    ink = np.zeros((40 * PIXELS, 40 * PIXELS), dtype=bool)
    ink[5 * PIXELS : 25 * PIXELS, 5 * PIXELS : 25 * PIXELS] = True
    depth, away = ink_depth(ink, PIXELS), ink_depth(~ink, PIXELS)
    axis = axis_of(ink)
    assert _even_pens(ink, depth, away, axis, 0.8, PIXELS) is ink
    none = plain_axis(np.zeros((0, 2)), np.zeros(0), np.zeros((0, 2), dtype=int), np.zeros(0, dtype=bool))
    assert _even_pens(ink, depth, away, none, 0.8, PIXELS) is ink
    thin = np.zeros_like(ink)
    thin[100:112, 60:400] = True
    assert _even_pens(thin, ink_depth(thin, PIXELS), ink_depth(~thin, PIXELS), axis_of(thin), 0.8, PIXELS) is thin


def test_cells_of_a_drawing_in_cells_are_those_cells():
    """What is drawn on the grid comes back as it is: blocks, bars, holes and gaps a stitch wide."""
    for rows in (
        ("######", "######", "######", "######"),
        ("########", "#......#", "#......#", "########"),
        ("####..####", "####..####", "####..####", "####..####", "..........", "##########"),
        ("#......", ".#.....", "..#....", "...#...", "....#..", ".....#."),
        ("####....", "####....", "####....", "....####", "....####", "....####"),
    ):
        cells, ink = laid(*rows)
        assert np.array_equal(draw_ink(ink, PIXELS).cells, cells), rows


def test_the_level_decides_from_which_coverage_on_a_solid_cell_is_a_stitch():
    ink = np.zeros((16 * PIXELS, 16 * PIXELS), dtype=bool)
    ink[4 * PIXELS : 12 * PIXELS + 7, 4 * PIXELS : 12 * PIXELS] = True
    assert draw_ink(ink, PIXELS, 0.5).cells[12, 5:11].all()
    assert not draw_ink(ink, PIXELS, 0.7).cells[12, 5:11].any()


def test_the_better_side_is_mirrored():
    cells, ink = laid("####....####", "####....####")
    want = demands(ink)
    lopsided = cells.copy()
    lopsided[:, 3:7] = False
    coverage = cell_coverage(ink, PIXELS)
    axis = find_axis(ink, ink_depth(ink, PIXELS), PIXELS)
    made = _better_half(lopsided, (want,), coverage, axis, Symmetry((UPRIGHT,)))
    assert np.array_equal(made, cells)
    other = cells.copy()
    other[:, 11:15] = False
    assert np.array_equal(_better_half(other, (want,), coverage, axis, Symmetry((UPRIGHT,))), cells)


# Structure.


def test_cells_near_a_point_by_trying_all():
    rng = np.random.default_rng(1)
    points = np.concatenate([rng.random((60, 2)) * [7, 8], [[3.0, 4.0], [0.2, 0.2], [6.9, 7.9], [1.0, 1.5]]])
    for reach in (0.72, 0.75, 1.0):
        near = cells_near(points, (7, 8), reach)
        for point, found in zip(points, near, strict=True):
            # Of the four cells round the point, without the rim.
            expected = set()
            for r, c in itertools.product(range(1, 6), range(1, 7)):
                if np.hypot(point[0] - r - 0.5, point[1] - c - 0.5) <= reach and max(
                    abs(point[0] - r - 0.5), abs(point[1] - c - 0.5)
                ) < 1.0:  # fmt: skip
                    expected.add(r * 8 + c)
            assert set(found.tolist()) - {0} == expected


def test_labels_of_the_nearest():
    rng = np.random.default_rng(2)
    labels = np.zeros((40, 52), dtype=np.int32)
    for k, at in enumerate(rng.integers(2, 38, (6, 2)), 1):
        labels[at[0], at[1]] = k
    found = _nearest_label(labels)
    distance = np.stack([ndimage.distance_transform_edt(labels != k) for k in range(1, 7)])
    chosen = np.take_along_axis(distance, found[None] - 1, axis=0)[0]
    assert (chosen <= distance.min(axis=0) * 1.06 + 0.6).all()
    assert np.array_equal(_nearest_label(np.zeros((3, 3), dtype=np.int32)), np.zeros((3, 3)))
    blocks = np.kron(np.arange(1, 13).reshape(3, 4), np.ones((6, 6))).astype(np.int32)
    for pixels in (6,):
        assert np.array_equal(_nearest_at_centres(blocks, pixels), np.arange(1, 13).reshape(3, 4))
    eight = np.kron(np.arange(1, 13).reshape(3, 4), np.ones((8, 8))).astype(np.int32)
    assert np.array_equal(_nearest_at_centres(eight, 8), np.arange(1, 13).reshape(3, 4))


def test_a_value_of_each_label():
    labels = np.array([[1, 1, 0, 2], [0, 3, 3, 0], [4, 0, 0, 5]], dtype=np.int32)
    values = labels * 10 + 7
    assert _first_value(labels, 6, values.astype(np.int32)).tolist() == [0, 17, 27, 37, 47, 57]


def test_borders_between_owners():
    place = grid("####", "####", ".##.")
    owner = np.array([[1, 1, 2, 2], [1, 1, 2, 2], [1, 1, 1, 2]], dtype=np.int32)
    by_side = {(0, 1), (0, 2), (1, 1), (1, 2), (2, 2)}
    assert {(int(k) // 4, int(k) % 4) for k in _border(place, owner, False)} == by_side
    assert {(int(k) // 4, int(k) % 4) for k in _border(place, owner, True)} == by_side | {(1, 3), (2, 1)}
    assert not _border(place, np.zeros_like(owner), True).size


RING = ("######", "#....#", "#....#", "#....#", "######")


def kinds(cells, want):
    found = find_faults(cells, want)
    return found.count, sorted(name for name, _ in found.places), found.score


@pytest.mark.parametrize(
    ("rows", "changed", "count", "names"),
    [
        (RING, RING, 0, []),
        # The ring cut open: what lies inside runs out.
        (RING, ("######", "#....#", "#.....", "#....#", "######"), None, ["leaked"]),
        # A stitch in its middle: a group that is not there in the picture.
        (RING, ("######", "#....#", "#.#..#", "#....#", "######"), 1, ["invented"]),
        # Two blocks run together, two of them apart.
        (("###...###", "###...###"), ("#########", "###...###"), 1, ["joined"]),
        # A block that is gone.
        (("###...###", "###...###"), ("###......", "###......"), 1, ["broken"]),
        # A hole that is not there in the picture.
        (
            ("#####", "#####", "#####", "#####", "#####"),
            ("#####", "#####", "##.##", "#####", "#####"),
            None,
            ["invented"],
        ),
        # A hole filled in.
        (RING, ("######",) * 5, None, ["cut"]),
    ],
)
def test_faults_by_kind(rows, changed, count, names):
    cells, ink = laid(*rows)
    want = demands(ink)
    assert kinds(cells, want) == (0, [], 0.0)
    found, told, score = kinds(np.pad(grid(*changed), MARGIN), want)
    assert set(names) <= set(told) and (score > 0) == bool(names)
    if count is not None:
        assert found == count and told == names
        # One for each fault, and a thousandth for each point of it.
        assert count <= score < count + 0.5 if count else score == 0


TWO_ROOMS = ("###########", "#....#....#", "#....#....#", "#....#....#", "###########")


def test_only_what_runs_together_counts():
    """Two rooms whose wall is open; three blocks of which two touch: one fault, whatever else there is."""
    cells, ink = laid(*TWO_ROOMS)
    want = demands(ink)
    opened = cells.copy()
    opened[5, 8] = False
    # The broken wall is a fault of its own, and a thousandth for each point of it.
    found = find_faults(opened, want)
    assert [name for name, _ in found.places] == ["broken", "leaked"] and 2 < found.score < 2.1
    both = opened.copy()
    both[5, 3] = False
    assert 3 < find_faults(both, want).score < 3.1 and find_faults(both, want).count == 2
    blocks, ink = laid("###...###...###", "###...###...###")
    want = demands(ink)
    bridged = blocks.copy()
    bridged[3, 6:9] = True
    found = find_faults(bridged, want)
    assert [name for name, _ in found.places] == ["joined"] and found.score == 1
    bridged[3, 12:15] = True
    assert find_faults(bridged, want).score == 2 and find_faults(bridged, want).count == 1


def test_where_faults_can_be_mended():
    cells, ink = laid("###...###", "###...###")
    want = demands(ink)
    bridged = cells.copy()
    bridged[3, 6:9] = True
    ((_, place),) = find_faults(bridged, want).places
    where = {(int(k) // 15, int(k) % 15) for k in place}
    assert where <= {(3, c) for c in range(3, 12)} | {(4, c) for c in range(3, 12)} and any(
        r == 3 and 5 < c < 9 for r, c in where
    )
    gone = cells.copy()
    gone[3:5, 9:12] = False
    ((_, place),) = find_faults(gone, want).places
    near = {(int(k) // 15, int(k) % 15) for k in place} - {(0, 0)}
    assert near and all(9 <= c <= 11 for _, c in near)


def test_each_owner_is_served_by_the_group_that_meets_most_of_its_points():
    from converter.raster.structure import Demand

    labels = np.array([0, 1, 1, 2, 2, 2, 0, 3], dtype=np.int32)
    near = np.array([[1, 2, 0, 0], [3, 0, 0, 0], [4, 1, 0, 0], [5, 3, 0, 0], [6, 0, 0, 0], [7, 7, 0, 0]])
    owner = np.array([0, 0, 0, 0, 1, 2])
    want = Demand(near, owner, np.array([0, 4, 5]), np.array([1, 2, 3]))
    label, missing, far = _served(want, labels)
    # Of owner 0: group 1 meets points 0 and 2, group 2 meets 1, 2 and 3. Owner 1 has no stitch near.
    assert label.tolist() == [2, -1, 3] and missing.tolist() == [1, 1, 0] and far.tolist() == [0, 4]
    none = Demand(np.zeros((0, 4), int), np.zeros(0, int), np.zeros(0, int), np.zeros(0, int))
    assert [part.size for part in _served(none, labels)] == [0, 0, 0]


# Mending.


def test_spots_grow_by_a_cell_all_round():
    spot = np.zeros((7, 7), dtype=bool)
    spot[3, 3] = True
    assert shown(_grow(spot)) == shown(ndimage.binary_dilation(spot, np.ones((3, 3))))
    spot[0, 0] = spot[6, 5] = True
    assert np.array_equal(_grow(spot), ndimage.binary_dilation(spot, np.ones((3, 3))))


def test_singles_are_tried_before_pairs_the_cheapest_first():
    index, cost = np.array([4, 7, 9]), np.array([0.1, 0.2, 0.4], dtype=np.float32)
    groups = _groups(index, cost)
    assert [tuple(i for i, _ in group) for group in groups] == [(4,), (7,), (9,), (4, 7), (4, 9), (7, 9)]
    many = _groups(np.arange(20), np.arange(20, dtype=np.float32))
    assert len(many) == 20 + 12 * 11 // 2
    cells = np.zeros((2, 3), dtype=bool)
    assert shown(_flip(cells, (1, 5), None)) == [".#.", "..#"]
    orbit = np.array([[0, 2], [1, 1], [2, 0], [3, 5], [4, 4], [5, 3]])
    assert shown(_flip(cells, (0,), orbit)) == ["#.#", "..."] and shown(_flip(cells, (0, 2), orbit)) == ["#.#", "..."]


@pytest.mark.parametrize("change", [[(3, 6)], [(5, 5)], [(3, 6), (7, 6)], [(5, 3)]])
def test_small_damage_is_mended_at_the_least_cost(change):
    cells, ink = laid(*RING)
    want = demands(ink)
    broken = cells.copy()
    for place in change:
        broken[place] ^= True
    cost = np.full(cells.shape, 1.0, dtype=np.float32)
    for place in change:
        cost[place] = 0.1
    assert np.array_equal(mend(broken, (want,), cost), cells)
    # Without a trial nothing is changed; a sound chart stays as it is.
    assert np.array_equal(mend(broken, (want,), cost, most_trials=0), broken)
    assert np.array_equal(mend(cells, (want,), cost), cells)


def test_mending_stays_off_the_margin_and_keeps_the_mirror():
    cells, ink = laid("##....##", "##....##")
    want = demands(ink)
    broken = np.zeros_like(cells)
    from converter.raster.mirror import orbits

    made = mend(broken, (want,), np.full(cells.shape, 0.5, np.float32), orbits(cells.shape, Symmetry((UPRIGHT,))))
    assert np.array_equal(made, made[:, ::-1]) and made.any() and not made[_rim(made)].any()


@pytest.mark.parametrize("shift", [0, 1, 5, 6, 9, 10])
@pytest.mark.parametrize("turned", [False, True])
def test_a_pen_is_as_wide_at_its_ends_and_joints_as_elsewhere(shift, turned):
    """A pen 2.25 stitches wide is drawn two wide, also where an arm goes off it and up to its round ends."""
    ink = np.zeros((24 * PIXELS, 24 * PIXELS), dtype=np.uint8)
    wide, row, left, right = round(2.25 * PIXELS), 12 * PIXELS + shift, 6 * PIXELS, 18 * PIXELS
    cv2.rectangle(ink, (left, row), (right, row + wide - 1), 1, -1)
    for end in (left, right):
        cv2.circle(ink, (end, row + wide // 2), (wide - 1) // 2, 1, -1)
    cv2.rectangle(ink, (12 * PIXELS, 5 * PIXELS), (12 * PIXELS + wide - 1, row), 1, -1)
    made = draw_ink((ink.T.copy() if turned else ink) > 0, PIXELS).cells
    made = made.T if turned else made
    beside = np.ones(24, dtype=bool)
    beside[11:16] = False
    assert (made[:, beside].sum(axis=0) <= 2).all() and (made[:, 6:11].sum(axis=0) == 2).all()


@pytest.mark.parametrize("wide", [27, 29])
def test_a_pen_alone_is_two_wide_wherever_it_lies(wide):
    """An odd number of pixels, a little more than two stitches of twelve."""
    for shift in range(PIXELS):
        ink = np.zeros((12 * PIXELS, 14 * PIXELS), dtype=bool)
        ink[4 * PIXELS + shift : 4 * PIXELS + shift + wide, 3 * PIXELS : 11 * PIXELS] = True
        assert set(draw_ink(ink, PIXELS).cells[:, 4:10].sum(axis=0).tolist()) == {2}


# Readability.


def test_a_true_chart_reads_well_and_says_nothing():
    for rows in (RING, ("###...###", "###...###"), ("######",) * 5):
        cells, ink = laid(*rows)
        verdict = judge(ink, cells, PIXELS, axis=axis_of(ink))
        assert verdict.readability > 95 and verdict.losses == () and not verdict.mask.any()


@pytest.mark.parametrize(
    ("rows", "changed", "words"),
    [
        (("####...#", "####....", "####...."), ("####....", "####....", "####...."), "1 small part was left out."),
        (("#...#..#", "........", "####...."), ("........", "........", "####...."), "3 small parts were left out."),
        (RING, ("######",) * 5, "1 opening was too small for the grid and closed."),
        (
            ("#####", "#.#.#", "#####"),
            ("#####", "#####", "#####"),
            "2 openings were too small for the grid and closed.",
        ),
        (("####.####", "####.####"), ("#########", "#########"), "2 parts that lie closer than a stitch touch."),
        (("##.##.##", "##.##.##"), ("########", "########"), "3 parts that lie closer than a stitch touch."),
    ],
)
def test_what_is_lost_in_words(rows, changed, words):
    cells, ink = laid(*rows)
    whole = judge(ink, cells, PIXELS)
    made = np.pad(grid(*changed), MARGIN)
    verdict = judge(ink, made, PIXELS)
    assert words in verdict.losses and words not in whole.losses
    assert verdict.readability < whole.readability
    # The place is marked: where chart and picture differ, or beside it.
    differ = np.kron(cells != made, np.ones((PIXELS, PIXELS))) > 0
    wide = ndimage.binary_dilation(differ, iterations=2 * PIXELS)
    assert verdict.mask.any() and not (verdict.mask & ~wide).any()


def test_how_much_of_the_strokes_is_shown():
    cells, ink = laid("##########")
    axis = axis_of(ink)
    made = cells.copy()
    made[:, 9:] = False
    share, missed = _shown(axis, made)
    # Six of ten stitches are drawn, and the centre line is shown half a stitch further.
    assert 0.5 < share < 0.8 and (missed[:, 1] >= 9 * PIXELS).all()
    assert _shown(axis, cells)[0] == 1.0
    verdict = judge(ink, made, PIXELS, axis=axis)
    assert any(f"About {round(100 * (1 - share))} % of the length" in words for words in verdict.losses)
    assert judge(ink, made, PIXELS).readability > verdict.readability


def test_cells_partly_inked_amid_stitches():
    cells = np.ones((5, 5), dtype=bool)
    picture = np.ones((50, 50), dtype=bool)
    picture[20:30, 20:23] = False
    picture[10:20, 10:11] = False
    found = _filled_in(picture, cells)
    assert np.argwhere(found).tolist() == [[2, 2]]
    cells[1, 2] = False
    assert not _filled_in(picture, cells).any()


def test_ground_that_touches_two_parts():
    labels = np.zeros((5, 12), dtype=np.int32)
    labels[:, :3], labels[:, 6:9] = 1, 2
    bridged = np.zeros(labels.shape, dtype=bool)
    bridged[2, 3:6] = True
    bridged[0, 10] = bridged[4, 9:] = True
    assert np.array_equal(_between(labels, bridged), np.pad(np.ones((1, 3), bool), ((2, 2), (3, 6))))


def test_fine_strokes_are_looked_at_a_stitch_wide():
    ink = np.zeros((120, 160), dtype=bool)
    ink[60:62, 20:140] = True
    sewn, filled = _as_sewn(*_look_small(ink, 12))
    step = 2
    drawn = (sewn >= 0.5)[:, 40]
    assert drawn.sum() * step == pytest.approx(12, abs=3) and filled is None
    # Between two strokes less than a stitch apart it stays as it is, or is filled.
    pair = ink.copy()
    pair[70:72, 20:140] = True
    sewn, filled = _as_sewn(*_look_small(pair, 12))
    assert sewn[32:34, 40].max() < 0.5 and filled[32:34, 40].min() > 0.5
    broad = np.zeros((120, 160), dtype=bool)
    broad[40:80, 20:140] = True
    same, _ = _as_sewn(*_look_small(broad, 12))
    assert (same >= 0.5).sum() == (broad[::2, ::2]).sum()


@pytest.mark.parametrize("turned", [False, True])
def test_gaps_that_run_shut_are_missed(turned):
    """Two bars with half a stitch between them, drawn as one, have lost 8 stitches of gap; their edges are 36 long."""
    ink = np.zeros((12 * PIXELS, 12 * PIXELS), dtype=bool)
    half = PIXELS // 4
    ink[5 * PIXELS - half : 6 * PIXELS - half, 2 * PIXELS : 10 * PIXELS] = True
    ink[6 * PIXELS + half : 7 * PIXELS + half, 2 * PIXELS : 10 * PIXELS] = True
    shut, kept = np.zeros((12, 12), dtype=bool), np.zeros((12, 12), dtype=bool)
    shut[5:7, 2:10] = True
    kept[[4, 6], 2:10] = True
    if turned:
        ink, shut, kept = ink.T.copy(), shut.T, kept.T
    small = _look_small(ink, PIXELS)
    assert _open(*small, kept) == 1.0
    assert _open(*small, shut) == pytest.approx(1 - 8 / 18, abs=0.06)


def test_wide_grounds_and_sharp_notches_are_no_gaps():
    far, ink = laid("########", "........", "........", "########")
    assert _open(*_look_small(ink, PIXELS), np.ones_like(far)) == 1.0
    row, col = np.mgrid[: 12 * PIXELS, : 12 * PIXELS]
    notch = row < abs(col - 6 * PIXELS)
    assert _open(*_look_small(notch, PIXELS), np.ones((12, 12), dtype=bool)) == 1.0
    assert _open(*_look_small(np.zeros_like(ink), PIXELS), far) == 1.0


def test_likeness_is_the_correlation_of_what_is_seen():
    rng = np.random.default_rng(3)
    cells = cv2.resize((rng.random((5, 6)) < 0.5).astype(np.float32), (24, 20)) > 0.5
    picture = np.kron(cells, np.ones((12, 12))).astype(np.float32)
    chart = _look_at_cells(cells)
    assert _likeness(picture, chart) > 0.97
    assert _likeness(1 - picture, chart) < -0.9
    assert _likeness(0.5 * picture + 0.2, chart) > 0.96
    assert _likeness(np.zeros_like(picture), _look_at_cells(np.zeros_like(cells))) == 1.0
    moved = _likeness(picture, _look_at_cells(np.roll(cells, 1, axis=1)))
    assert _likeness(picture, _look_at_cells(np.roll(cells, 2, axis=1))) < moved < 0.97
    assert 0 < AS_TONE < 1


def test_tones_are_judged_more_leniently():
    rng = np.random.default_rng(4)
    cells = cv2.resize((rng.random((5, 6)) < 0.5).astype(np.float32), (24, 20)) > 0.5
    picture = np.kron(cells, np.ones((12, 12))) > 0
    noisy = cells ^ (rng.random(cells.shape) < 0.06)
    soft = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 6)
    assert judge(picture, noisy, 12, soft).readability > judge(picture, noisy, 12).readability


# What the line is known by.


def test_a_line_is_surely_known_where_it_runs_straight_on():
    """A square frame: near its four corners the axis is not straight, along its sides it is."""
    ink = np.zeros((20 * PIXELS, 20 * PIXELS), dtype=bool)
    ink[4 * PIXELS : 16 * PIXELS, 4 * PIXELS : 16 * PIXELS] = True
    ink[5 * PIXELS : 15 * PIXELS, 5 * PIXELS : 15 * PIXELS] = False
    axis = find_axis(ink, ink_depth(ink, PIXELS), PIXELS)
    corners = np.array([[4.5, 4.5], [4.5, 15.5], [15.5, 4.5], [15.5, 15.5]])
    away = np.hypot(*(axis.points[:, None] - corners).transpose(2, 0, 1)).min(axis=1)
    assert axis.straight[away > 1].all() and not axis.straight[away < 0.3].any()


def test_a_crossing_keeps_its_arms_and_a_rough_stroke_its_narrow_places():
    ink = np.zeros((24 * PIXELS, 24 * PIXELS), dtype=bool)
    middle = 12 * PIXELS
    ink[middle - 5 : middle + 5, 4 * PIXELS : 20 * PIXELS] = True
    ink[4 * PIXELS : 20 * PIXELS, middle - 5 : middle + 5] = True
    # A bite out of one arm.
    ink[middle - 5 : middle - 1, 7 * PIXELS : 7 * PIXELS + 4] = False
    axis = find_axis(ink, ink_depth(ink, PIXELS), PIXELS)
    level = np.sort(axis.points[np.abs(axis.points[:, 0] - 12) < 0.5, 1])
    assert level[0] < 4.6 and level[-1] > 19.4 and np.diff(level).max() < 0.2
