"""The centre line to a part of a pixel: slants, ends, tips, corners."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from helpers.axes import plain_axis

from converter.raster.axis import (
    _ends_free,
    _lengthen_ends,
    _long_way,
    _out_to_tips,
    _smooth,
    _tapers,
    find_axis,
    find_diagonals,
    find_straights,
    ink_depth,
    places,
)

PIXELS = 12


def stroke(ends, width, shape=(200, 240)):
    """All pixels whose middle lies within half the width of a line between two places (row, col)."""
    at = np.indices(shape).transpose(1, 2, 0) + 0.5
    first, way = np.array(ends[0]), np.subtract(ends[1], ends[0])
    along = np.clip(((at - first) @ way) / (way @ way), 0, 1)
    return np.hypot(*(at - first - along[:, :, None] * way).transpose(2, 0, 1)) <= width / 2


def off_line(points, ends):
    """Return how far points lie off a line, and where along it, in its units."""
    way = np.subtract(ends[1], ends[0])
    way = way / np.hypot(*way)
    off = points - ends[0]
    return off @ [-way[1], way[0]], off @ way


def axis_of(ink):
    return find_axis(ink, ink_depth(ink, PIXELS), PIXELS)


SLANTS = [(1, 3), (1, 5), (2, 5), (1, 8), (3, 4)]


@pytest.mark.parametrize("slant", SLANTS)
@pytest.mark.parametrize("upright", [False, True])
@pytest.mark.parametrize("width", [5.0, 9.0, 14.0])
def test_a_slanting_stroke_has_no_steps(slant, upright, width):
    """Away from its ends the line runs evenly, at most half a pixel off the true one; the pixels go up and down."""
    down, across = slant[::-1] if upright else slant
    length = 150 / np.hypot(down, across)
    ends = ((25.0, 30.0), (25 + down * length, 30 + across * length))
    axis = axis_of(stroke(ends, width))
    off, along = off_line(axis.points * PIXELS, ends)
    inner = (along > 20) & (along < 130)
    raw, _ = off_line(axis.pixel + 0.5, ends)
    assert np.abs(off[inner].mean()) <= 0.55
    assert off[inner].std() < min(0.12, 0.6 * raw[inner].std())
    assert 2 * axis.radius[inner].mean() * PIXELS == pytest.approx(width, abs=1.3)
    assert axis.straight[inner].mean() > 0.9
    # As long as the stroke, no longer.
    assert along.min() < width / 2 and along.max() > 150 - width / 2
    assert along.min() > -width / 2 - 1 and along.max() < 150 + width / 2 + 1


def slow_mean(at, reach):
    """The mean of the line's points in the square round each, and how many they are."""
    near = np.abs(at[:, None] - at[None]).max(axis=2) <= reach
    count = near.sum(axis=1)
    return near @ at / count[:, None] + 0.5, count


@pytest.mark.parametrize("pixels", [3, 6, 12, 20])
@pytest.mark.parametrize("turn", [0, 1])
def test_smoothing_by_its_definition(pixels, turn):
    line = np.zeros((60, 70), dtype=np.uint8)
    cv2.polylines(line, [np.array([(5, 5), (40, 12), (50, 50), (10, 55)])], False, 1)
    line = np.rot90(line, turn)
    at = places(line > 0)
    points, straight = _smooth(at, line.shape, pixels)
    for k, (mean, count) in enumerate(slow_mean(at, reach) for reach in (max(1, pixels // 3), max(1, 2 * pixels // 3))):
        reach = max(1, (k + 1) * pixels // 3)
        whole = (count >= 2 * reach + 1) & (count <= 2 * reach + 2)
        off = np.abs(mean - at - 0.5).max(axis=1)
        if k == 0:
            expected = np.where((whole & (off < 0.8))[:, None], mean, at + 0.5)
            assert points == pytest.approx(expected)
        else:
            assert np.array_equal(straight, whole & (off < max(0.8, 0.06 * pixels)))


def wedge(half_degrees, length=60.0, way=0.0):
    """Ink that widens from a tip at (100, 20): row and column."""
    y, x = np.indices((200, 200)) + 0.5 - np.array([100, 20 if abs(way) < 60 else 100]).reshape(2, 1, 1)
    turn = np.deg2rad(way)
    along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    return (along > 0) & (along < length) & (np.abs(across) < along * np.tan(np.deg2rad(half_degrees)))


@pytest.mark.parametrize("half_degrees", [7, 12, 18])
def test_the_line_of_a_fine_tip_ends_where_the_ink_does(half_degrees):
    """Half-widths that rise by 0.1 to 0.36 a stitch: 6 to 20 degrees on either side."""
    axis = axis_of(wedge(half_degrees))
    assert axis.points[:, 1].min() * PIXELS == pytest.approx(20, abs=3.5)
    assert axis.points[np.argmin(axis.points[:, 1]), 0] * PIXELS == pytest.approx(100, abs=1.5)


def tip(slope, thin=0.1, length=40, bend=0):
    """A line of points in a row whose half-width, in stitches, rises evenly from one end."""
    at = np.stack([np.full(length, 20), 10 + np.arange(length)], axis=1)
    at[:, 0] += (np.arange(length) * bend) // length
    radius = thin + slope * np.arange(length) / PIXELS
    return at, radius


@pytest.mark.parametrize(("slope", "moved"), [(0.09, False), (0.12, True), (0.25, True), (0.34, True), (0.38, False)])
def test_ends_of_fine_tips_go_out_to_where_the_ink_is_nothing(slope, moved):
    at, radius = tip(slope)
    points = (at + 0.5) / PIXELS
    made = _out_to_tips(points, radius, at, (60, 80), PIXELS)
    assert np.array_equal(made[1:], points[1:])
    if moved:
        # To a quarter of a pixel of half-width, 0.6 stitches at most, straight on.
        step = min(0.6, (0.1 - 0.25 / PIXELS) / slope)
        assert made[0] == pytest.approx(points[0] - [0, step])
    else:
        assert np.array_equal(made, points)


@pytest.mark.parametrize(("pixels", "moved"), [(4, False), (6, True), (8, True), (20, True)])
def test_two_points_close_by_and_two_farther_back_tell_a_tip(pixels, moved):
    """From 0.3 to 0.6 stitches off, and from 0.9 to 1.4: with four pixels a stitch one of the first."""
    at = np.stack([np.full(60, 20), 10 + np.arange(60)], axis=1)
    radius = 0.1 + 0.2 * np.arange(60) / pixels
    points = (at + 0.5) / pixels
    assert (not np.array_equal(_out_to_tips(points, radius, at, (60, 80), pixels), points)) == moved


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_tips_go_out_whichever_way_they_point(turn):
    at, radius = tip(0.2)
    line = np.zeros((60, 60), dtype=bool)
    line[at[:, 0], at[:, 1]] = True
    wide = np.zeros(line.shape)
    wide[at[:, 0], at[:, 1]] = radius
    where = places(np.rot90(line, turn))
    radii = np.rot90(wide, turn)[where[:, 0], where[:, 1]]
    points = (where + 0.5) / PIXELS
    made = _out_to_tips(points, radii, where, (60, 60), PIXELS)
    end = int(np.argmin(radii))
    step = (0.1 - 0.25 / PIXELS) / 0.2
    out = [(0, -step), (step, 0), (0, step), (-step, 0)][turn]
    assert made[end] - points[end] == pytest.approx(out)
    others = np.arange(len(where)) != end
    assert np.array_equal(made[others], points[others])


def test_other_ends_stay():
    at, radius = tip(0.2)
    points = (at + 0.5) / PIXELS
    shape = (60, 80)

    def moved(points, radius, at):
        return not np.array_equal(_out_to_tips(points, radius, at, shape, PIXELS), points)

    assert moved(points, radius, at)
    # As wide as 0.8 stitches at the end, or of an even width, or not falling evenly: no tip.
    assert not moved(points, radius + 0.31, at)
    assert not moved(points, np.full(len(at), 0.3), at)
    uneven = radius.copy()
    uneven[0] += 0.15
    assert not moved(points, uneven, at)
    # Among many other points: the middle of a broad part.
    many = np.concatenate([np.add(at, (down, 0)) for down in range(3)])
    order = np.lexsort((many[:, 1], many[:, 0]))
    radii = np.concatenate([radius, radius, radius])[order]
    assert not moved((many[order] + 0.5) / PIXELS, radii, many[order])
    # A line too short to tell.
    assert not moved(points[:9], radius[:9], at[:9])
    assert len(_out_to_tips(points[:0], radius[:0], at[:0], shape, PIXELS)) == 0


def slow_tapers(at, radius, narrow, slope):
    """Points with one so much wider near by, within an octagon that grows by crosses and squares in turn."""
    found = np.zeros(len(at), dtype=bool)
    some = radius < narrow + 0.3
    off = np.abs(at[:, None] - at[None])
    for k in range(1, int(0.8 * PIXELS) + 1):
        crosses, squares = (k + 1) // 2, k // 2
        within = (off.max(axis=2) <= k) & (off.sum(axis=2) <= crosses + 2 * squares)
        widest = np.where(within & some[None], radius[None], 0).max(axis=1)
        found |= widest - radius > max(0.1, slope * k / PIXELS)
    return found & some & (radius < narrow)


@pytest.mark.parametrize("slope", [0.3, 0.44, 0.5, 0.8])
@pytest.mark.parametrize("narrow", [0.4, 0.75])
def test_ends_that_widen_steeply_are_spurs(slope, narrow):
    at, radius = tip(slope)
    radius = np.minimum(radius, 0.9)
    found, blunter = _tapers(at, radius, (60, 80), PIXELS, narrow, (0.46, 0.35))
    assert np.array_equal(found, slow_tapers(at, radius, narrow, 0.46))
    assert np.array_equal(blunter, slow_tapers(at, radius, narrow, 0.35))
    assert found.any() == (slope > 0.46) and blunter.any() == (slope > 0.35)
    # All of it in one run from the end on.
    assert not found.any() or np.flatnonzero(found)[-1] == found.sum() - 1


def test_a_spur_has_a_free_end_and_hangs_on_the_line_once():
    line = np.zeros((20, 40), dtype=bool)
    line[10, 2:38] = True
    line[4:10, 20] = True
    at = places(line)
    shape = line.shape

    def free(mask):
        some = mask[at[:, 0], at[:, 1]]
        found = _ends_free(at, some, shape) & some
        assert not found.any() or np.array_equal(found, some)
        return found.any()

    def only(*where):
        mask = np.zeros(shape, dtype=bool)
        mask[where] = True
        return mask & line

    assert free(only(slice(None), slice(0, 8))) and free(only(slice(None), slice(30, 40)))
    assert free(only(slice(0, 9)))
    # In the middle of the line, or round the crossing: other parts of the line at both sides.
    assert not free(only(slice(None), slice(24, 30))) and not free(only(slice(8, 12), slice(18, 24)))
    # The whole line meets nothing at all.
    assert free(line)
    # A ring has no end.
    ring = np.zeros(shape, dtype=bool)
    cv2.circle(ring.view(np.uint8), (20, 10), 7, 1)
    here = places(ring)
    assert not _ends_free(here, np.ones(len(here), dtype=bool), shape).any()


def test_ends_are_drawn_out_along_the_stroke_as_far_as_it_is_as_wide():
    """A bar 13 wide whose line stops 15 pixels short of either end, or five."""
    ink = np.zeros((60, 140), dtype=bool)
    ink[20:33, 20:120] = True
    depth = ink_depth(ink, PIXELS)
    # From far it may run out by 0.46 pixels a pixel, to the very end; close by it stops where it is 0.7 as deep as 7.
    for short, left in ((15, 0), (5, 4)):
        line = np.zeros_like(ink)
        line[26, 20 + short : 120 - short] = True
        row, col = np.nonzero(_lengthen_ends(line, depth, PIXELS))
        assert set(row.tolist()) == {26} and (col.min(), col.max()) == (20 + left, 119 - left)
    # What lies farther than 0.6 stitches from the end does not turn it: another line across the corner.
    line = np.zeros_like(ink)
    line[26, 35:105] = True
    plain = _lengthen_ends(line, depth, PIXELS)
    line[[19, 20], [42, 41]] = True
    beside = _lengthen_ends(line, np.where(np.arange(60)[:, None] < 23, 0, depth).astype(np.float32), PIXELS)
    assert np.array_equal(beside[23:], plain[23:])
    # A lone point on a long stroke goes both ways, on a round one nowhere.
    dot = np.zeros_like(ink)
    dot[26, 70] = True
    row, col = np.nonzero(_lengthen_ends(dot, depth, PIXELS))
    assert set(row.tolist()) == {26} and 70 - col.min() == pytest.approx(col.max() - 70, abs=1)
    assert col.max() - 70 == 2 * PIXELS - 1
    disc = np.zeros((60, 60), dtype=bool)
    cv2.circle(disc.view(np.uint8), (30, 30), 9, 1, -1)
    alone = np.zeros_like(disc)
    alone[30, 30] = True
    assert np.array_equal(_lengthen_ends(alone, ink_depth(disc, PIXELS), PIXELS), alone)
    # A line without ends stays as it is.
    ring = np.zeros((60, 60), dtype=bool)
    cv2.circle(ring.view(np.uint8), (30, 30), 20, 1)
    assert _lengthen_ends(ring, ink_depth(ring, PIXELS), PIXELS) is ring


def test_the_long_way_of_ink_round_a_point():
    for ends in (((20.0, 30.0), (60.0, 50.0)), ((20.0, 30.0), (20.0, 70.0)), ((30.0, 20.0), (70.0, 20.0))):
        ink = stroke(ends, 9.0, (100, 100))
        middle = np.mean(ends, axis=0).astype(int)
        ways = _long_way(ink.astype(np.float32), *middle.tolist(), 60)
        true = np.subtract(ends[1], ends[0]) / np.hypot(*np.subtract(ends[1], ends[0]))
        assert len(ways) == 2 and np.allclose(ways[0], -ways[1])
        assert abs(ways[0] @ true) == pytest.approx(1, abs=0.01)
    block = np.zeros((40, 40), dtype=np.float32)
    for wide, ways in ((20, 0), (22, 0), (23, 2), (30, 2)):
        # Of a rectangle the squares of the sides are as 1.3 to 1 at 22.8 to 20.
        block[:] = 0
        block[5:25, 5 : 5 + wide] = 1
        assert len(_long_way(block, 15, 15, 40)) == ways


def straight_axis(points, radius=0.4):
    pixel = np.asarray(points)
    return plain_axis((pixel + 0.5) / PIXELS, np.full(len(pixel), radius), pixel, np.ones(len(pixel), dtype=bool))


@pytest.mark.parametrize(("radius", "seen"), [(0.79, True), (0.8, False)])
def test_level_upright_and_slanting_strokes_are_told_apart(radius, seen):
    """Two stitches either way must lie on the line: of 100 pixels those 24 from the ends."""
    run = np.arange(100)
    level = np.stack([np.full(100, 50), 20 + run], axis=1)
    upright = level[:, ::-1]
    falling, rising = np.stack([20 + run, 30 + run], axis=1), np.stack([20 + run, 150 - run], axis=1)
    shape = (200, 200)
    count = 100 - 2 * 2 * PIXELS + 2 if seen else 0
    for points, which in ((level, 0), (upright, 1), (falling, 2), (rising, 3)):
        axis = straight_axis(points, radius)
        found = (*find_straights(axis, shape, PIXELS), *find_diagonals(axis, shape, PIXELS))
        assert [len(each) for each in found] == [count if k == which else 0 for k in range(4)]
        if seen:
            # Rows and columns of pixel middles; row less column, row and column.
            assert found[which] == pytest.approx([50.5, 50.5, -10, 171][which])


def test_of_long_lines_every_so_many_points_are_taken():
    run = np.arange(5000)
    axis = straight_axis(np.stack([np.full(5000, 20), run], axis=1))
    level, upright = find_straights(axis, (40, 5000), PIXELS)
    assert 1200 <= len(level) <= 1250 and len(upright) == 0
    slant = straight_axis(np.stack([run, run], axis=1))
    falling, rising = find_diagonals(slant, (5000, 5000), 2)
    assert 1200 <= len(falling) <= 1250 and len(rising) == 0
