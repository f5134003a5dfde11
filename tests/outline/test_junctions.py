"""Where strokes meet: straight ones stay straight, whatever joins them, and all are one chain."""

from itertools import pairwise

import numpy as np
import pytest
from outline.test_suggest import paper, parts, stroke

from converter.outline.graph import Curve, CurveNetwork, merged_length, straight_runs
from converter.outline.junctions import sharpen_corners, straighten_junctions
from converter.outline.lattice import is_balanced
from converter.pipeline import suggest_lines


def level_share(lines, row, low, high):
    """Return the holes' rows of the level backstitches near a row, between two columns."""
    level = lines[lines[:, 0, 0] == lines[:, 1, 0]]
    cols = level[:, :, 1]
    here = (np.abs(level[:, 0, 0] - row) < 1) & (cols.min(axis=1) >= low) & (cols.max(axis=1) <= high)
    return set(level[here][:, 0, 0].tolist()), int(here.sum())


def dented(points, at, depth):
    """Return the points of a level line drawn towards larger rows near a column, as the middle of the ink is."""
    pull = depth * np.clip(1 - np.abs(points[:, 1] - at) / 0.6, 0, 1)
    return points + np.stack([pull, np.zeros(len(points))], axis=1)


def test_a_dent_of_the_middle_line_is_taken_out_and_the_node_is_where_the_lines_cross():
    """A level line at row 4.3 with a foot at column 6.2, dented by 0.3 stitch: both as they were drawn."""
    node = np.array([4.6, 6.2])
    level = dented(np.stack([np.full(121, 4.3), np.linspace(0.2, 12.2, 121)], axis=1), 6.2, 0.3)
    foot = np.stack([np.linspace(4.6, 12.0, 75), np.full(75, 6.2)], axis=1)
    ends = [node, level[0], level[-1], foot[-1]]
    network = CurveNetwork(ends, [Curve(level[:61], 1, 0), Curve(level[60:], 0, 2), Curve(foot, 0, 3)])
    mended = straighten_junctions(network, 0.8)
    assert np.allclose(mended.nodes[0], (4.3, 6.2), atol=0.02)
    for curve in mended.curves[:2]:
        assert np.abs(curve.points[:, 0] - 4.3).max() < 0.02
    assert np.abs(mended.curves[2].points[:, 1] - 6.2).max() < 0.02


def test_an_arc_that_a_foot_joins_stays_an_arc():
    """As it is, or dented by 0.3 stitch at the joint: within 0.05 of the circle that was drawn."""
    angle = np.linspace(0, np.pi, 190)
    arc = np.stack([10 - 6 * np.sin(angle), 10 - 6 * np.cos(angle)], axis=1)
    foot = np.stack([np.linspace(4, 16, 121), np.full(121, 10.0)], axis=1)
    ends = [arc[95], arc[0], arc[-1], foot[-1]]
    network = CurveNetwork(ends, [Curve(arc[:96], 1, 0), Curve(arc[95:], 0, 2), Curve(foot, 0, 3)])
    pull = 0.3 * np.clip(1 - np.abs(arc[:, 1] - 10) / 0.6, 0, 1)
    dent = arc + np.stack([pull, np.zeros(len(arc))], axis=1)
    lower = [dent[95], arc[0], arc[-1], foot[-1]]
    dented_network = CurveNetwork(lower, [Curve(dent[:96], 1, 0), Curve(dent[95:], 0, 2), Curve(foot[3:], 0, 3)])
    for given in (network, dented_network):
        mended = straighten_junctions(given, 0.8)
        for curve in mended.curves[:2]:
            assert np.abs(np.hypot(*(curve.points - 10).T) - 6).max() < 0.05
        assert np.allclose(mended.nodes[0], (4, 10), atol=0.05)
        assert np.abs(mended.curves[2].points[:, 1] - 10).max() < 0.05


def test_a_ring_that_others_join_is_one_run_without_ends():
    corners = np.array([(0.0, 0.0), (0.0, 8.0), (8.0, 8.0), (8.0, 0.0), (0.0, 0.0)])
    sides = [a + np.linspace(0, 1, 81)[:, None] * (b - a) for a, b in pairwise(corners)]
    ring = np.concatenate([sides[0][40:], *(side[1:] for side in sides[1:]), sides[0][1:41]])
    foot = np.array([(0.0, 4.0), (4.0, 4.0)])
    network = CurveNetwork([ring[0], foot[-1]], [Curve(ring, 0, 0), Curve(foot, 0, 1)])
    closed = [run for run in straight_runs(network) if run.closed]
    assert len(closed) == 1
    assert closed[0].nodes == (0,)
    assert closed[0].members == (0,)


@pytest.mark.parametrize("width", [8, 16, 24])
@pytest.mark.parametrize("degrees", [45, 60, 90, 120])
def test_a_level_stroke_stays_on_its_row_where_another_joins_it(width, degrees):
    """At 40 wide a stitch is 12 pixels: pens of two thirds of a stitch to two stitches less a shade."""
    for offset in (1, 5, 9):
        row, col = 130.0 + offset, 236.0
        end = np.array([row, col]) + 220 * np.array([np.sin(np.radians(degrees)), np.cos(np.radians(degrees))])
        picture = stroke(stroke(paper(), [(row, 40), (row, 440)], width), [(row, col), end], width)
        lines = suggest_lines(picture, 40, mirror="none", deskew=False, lines="strokes")
        assert parts(lines) == (1, 3)
        rows, count = level_share(lines, row / 12, 5, 35)
        assert len(rows) == 1
        assert count == 30


@pytest.mark.parametrize("columns", [30, 40, 60])
def test_a_bar_across_the_axis_of_a_symmetric_drawing_stays_level(columns):
    """The letter T, its own mirror image; the foot leads to the row of the bar, not the bar to the foot."""
    for offset in range(0, 16, 4):
        row = 120.0 + offset
        picture = stroke(stroke(paper(), [(row, 80), (row, 400)], 14), [(row, 240), (400, 240)], 14)
        lines = suggest_lines(picture, columns, deskew=False)
        assert parts(lines) == (1, 3)
        unit = 480 / columns
        rows, count = level_share(lines, row / unit, 80 / unit + 1, 400 / unit - 1)
        assert len(rows) == 1
        assert count >= 320 / unit - 4


@pytest.mark.parametrize("columns", [30, 40, 41, 60])
def test_a_slanting_stroke_straight_across_the_axis_is_one_line_with_its_image(columns):
    """A stroke across a diagonal that another runs along: no step where its image begins.

    Where the two cross more than half a stitch from every hole on the diagonal no line of 45 degrees is near enough.
    """
    for offset in range(0, 12, 3):
        at = 180.0 + offset
        cross = at / 2 + 20
        if abs(cross * columns / 480 - round(cross * columns / 480)) * np.sqrt(2) > 0.5:
            continue
        picture = paper()
        for a, b in (
            ((at, 40), (40, at)),
            ((480 - at, 440), (440, 480 - at)),
            ((cross, cross), (480 - cross, 480 - cross)),
        ):
            stroke(picture, [a, b])
        lines = suggest_lines(picture, columns, deskew=False)
        slanting = lines[(lines.sum(axis=2) < 0.45 * 2 * columns).all(axis=1)]
        across = np.array([-1.0, 1.0]) / np.sqrt(2)
        outer = slanting[np.abs((slanting[:, 1] - slanting[:, 0]) @ across) > 1]
        outer = outer[np.argsort(outer.mean(axis=1) @ across)]
        flip = (outer[:, 1] - outer[:, 0]) @ across < 0
        outer[flip] = outer[flip][:, ::-1]
        assert len(outer) > 5
        assert is_balanced((outer[:, 1] - outer[:, 0]).astype(np.int64))


@pytest.mark.parametrize("columns", [30, 40, 60])
def test_the_sides_of_a_ring_stay_straight_where_slanting_strokes_join_it(columns):
    for offset in range(0, 12, 4):
        low, high = 80.0 + offset, 400.0 + offset
        corners = [(low, low), (low, high), (high, high), (high, low), (low, low)]
        picture = stroke(paper(), corners, 8)
        for start in (60, 140, 220):
            stroke(picture, [(low, low + start), (low + start, low)], 8)
        lines = suggest_lines(picture, columns, mirror="none", deskew=False)
        assert parts(lines) == (1, 0)
        unit = 480 / columns
        for turned in (lines, lines[:, :, ::-1]):
            rows, count = level_share(turned, low / unit, low / unit + 1, high / unit - 1)
            assert len(rows) == 1
            assert count >= 320 / unit - 4


@pytest.mark.parametrize("degrees", [20, 27, 45, 90, 140])
def test_two_strokes_are_one_as_far_as_a_disc_fits_between_the_notch_and_both_sides(degrees):
    """By plane geometry alone: half a stroke is 1 wide, its tip at 0, strokes leave it on both sides."""
    half = np.radians(degrees / 2)
    far = merged_length(np.array([np.cos(half), np.sin(half)]), np.array([np.cos(half), -np.sin(half)]), 1.0)
    to_notch = 1 / np.sin(half) - far
    to_sides = 1 + far * np.sin(half)
    assert to_notch == pytest.approx(to_sides)


@pytest.mark.parametrize("degrees", [22, 27, 35, 50, 90])
def test_a_rounded_corner_between_straight_stretches_is_made_sharp(degrees):
    way = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    along = np.arange(60, 1, -1)[:, None] / 10
    points = np.concatenate([along * (1.0, 0.0), along[::-1] * way]) + np.array([3.0, 4.0])
    mended = sharpen_corners(points, False, 0.3)
    assert np.hypot(*(mended - (3.0, 4.0)).T).min() < 0.02
    off = np.abs((mended - (3.0, 4.0)) @ np.array([-way[1], way[0]]))
    assert np.minimum(off, np.abs(mended[:, 1] - 4.0)).max() < 0.02


def test_an_arc_has_no_corner():
    angle = np.linspace(0, np.pi, 64)
    arc = 2 * np.stack([np.sin(angle), np.cos(angle)], axis=1)
    assert sharpen_corners(arc, False, 0.3) is arc


@pytest.mark.parametrize("width", [5, 9, 14, 19])
@pytest.mark.parametrize("offset", [0, 3, 7])
@pytest.mark.parametrize("columns", [26, 40])
def test_a_sharp_corner_has_no_loose_end(width, offset, columns):
    """The letter N: two upright strokes and one at 25 degrees to them."""
    ends = [(330 + offset, 140), (130, 140 + offset), (330 + offset, 240 + offset), (130, 240)]
    lines = suggest_lines(stroke(paper(), ends, width), columns, mirror="none", deskew=False, lines="strokes")
    assert parts(lines) == (1, 2)


@pytest.mark.parametrize("width", [5, 9, 14, 19])
@pytest.mark.parametrize("offset", [0, 3, 7, 10])
def test_a_slanting_stroke_crosses_a_level_one_at_one_place(width, offset):
    """At 24 degrees their ink is one for a long way; the level one goes on along its row."""
    row, degrees = 230.0 + offset, np.radians(24)
    way = 190 * np.array([np.sin(degrees), np.cos(degrees)])
    picture = stroke(paper(), [(row, 40), (row, 440)], width)
    picture = stroke(picture, [np.array([row, 240]) - way, np.array([row, 240]) + way], width)
    lines = suggest_lines(picture, 40, mirror="none", deskew=False, lines="strokes")
    assert parts(lines) == (1, 4)
    rows, count = level_share(lines, row / 12, 5, 35)
    assert len(rows) == 1
    assert count == 30


@pytest.mark.parametrize("columns", [30, 40, 60])
def test_a_base_stays_level_where_long_slanting_sides_come_down_on_it(columns):
    """A tall roof of one stroke, longer than the box that it stands on."""
    for offset in (0, 4, 7, 10):
        top, left, right = 362.0 + offset, 100.0, 380.0
        picture = stroke(paper(), [(420, left), (top, left), (top, right), (420, right)], 8)
        stroke(picture, [(420, 60), (420, 420)], 8)
        stroke(picture, [(top, 190), (110, 205), (60, 240), (110, 275), (top, 290)], 8)
        for mirror in ("auto", "none"):
            lines = suggest_lines(picture, columns, mirror=mirror, deskew=False)
            unit = 480 / columns
            assert parts(lines) == (1, 2)
            rows, count = level_share(lines, top / unit, left / unit + 1, right / unit - 1)
            assert len(rows) == 1
            assert count >= 280 / unit - 4


@pytest.mark.parametrize("width", [6, 8, 10])
def test_a_foot_leaves_a_level_stroke_straight_that_goes_on_as_an_arc(width):
    """The lower half of an S with a short upright through its level end; at half a stitch, where it matters most."""
    for shift in range(0, 8, 2):
        row, turn = 300.0 + shift, np.linspace(0, np.pi, 30)
        arc = [(row - 44 + 44 * np.cos(t), 240 + 44 * np.sin(t)) for t in turn]
        picture = stroke(paper(), [(row, 180.0), *arc], width)
        stroke(picture, [(row, 236), (row + 24, 236)], width)
        lines = suggest_lines(picture, 60, mirror="none", deskew=False)
        assert parts(lines) == (1, 3)
        rows, count = level_share(lines, row / 8, 180 / 8, 236 / 8)
        assert len(rows) == 1
        assert count >= 5


def test_the_end_of_a_stroke_close_to_another_is_no_joint_because_its_other_end_is():
    """A ring and a bar that joins it on the right and leaves a gap on the left."""
    for gap in (10, 13, 16):
        turn = np.linspace(0, 2 * np.pi, 121)
        ring = [(240 + 110 * np.sin(t), 240 + 110 * np.cos(t)) for t in turn]
        picture = stroke(stroke(paper(), ring, 9), [(240, 134.5 + gap), (240, 350)], 9)
        assert parts(suggest_lines(picture, 30, deskew=False)) == (1, 1)
