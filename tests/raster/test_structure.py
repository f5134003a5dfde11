"""Structure is read from the picture, faults are found, and mending puts them right."""

import cv2
import numpy as np
import pytest

from converter.pipeline import reduce_picture
from converter.raster.axis import find_axis, ink_depth
from converter.raster.repair import mend
from converter.raster.strokes import draw_ink
from converter.raster.structure import condense, find_faults, read_structures
from converter.settings import ChartSettings

PIXELS = 12


def laid(*rows):
    cells = np.array([[c == "#" for c in row] for row in rows])
    return np.pad(cells, 3), np.kron(np.pad(cells, 3), np.ones((PIXELS, PIXELS), bool)).astype(bool)


def demands(ink):
    return read_structures(ink, find_axis(ink, ink_depth(ink, PIXELS), PIXELS), PIXELS, (1.5,))[0]


RING = ("######", "#....#", "#....#", "#....#", "######")


def test_the_drawing_itself_has_no_faults():
    cells, ink = laid(*RING)
    assert find_faults(cells, demands(ink)).count == 0


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        ([(3, 6), (3, 5), (3, 7)], "leaked"),
        ([(5, 3 + k) for k in range(6)], "cut"),
        ([(5, 5)], "invented"),
    ],
)
def test_faults_are_found_and_mended(change, kind):
    cells, ink = laid(*RING)
    want = demands(ink)
    broken = cells.copy()
    for place in change:
        broken[place] ^= True
    found = find_faults(broken, want)
    assert found.count > 0
    assert kind in {name for name, _ in found.places} or kind == "cut"
    cost = np.where(broken == cells, 1.0, 0.1).astype(np.float32)
    assert find_faults(mend(broken, (want,), cost), want).count < found.count or len(change) > 2


def test_two_parts_that_touch_are_parted():
    cells, ink = laid("##...##", "##...##")
    want = demands(ink)
    bridged = cells.copy()
    bridged[3, 5:8] = True
    assert {name for name, _ in find_faults(bridged, want).places} == {"joined"}
    mended = mend(bridged, (want,), np.where(cells, 1.0, 0.2).astype(np.float32))
    assert find_faults(mended, want).count == 0


def test_a_missing_dot_is_a_fault():
    cells, ink = laid("#......", ".......", "......#")
    want = demands(ink)
    gone = cells.copy()
    gone[5, 9] = False
    assert [name for name, _ in find_faults(gone, want).places] == ["broken"]
    mended = mend(gone, (want,), np.where(ink[6::12, 6::12], 0.1, 0.9).astype(np.float32))
    assert np.array_equal(mended, cells)


@pytest.mark.parametrize("off", range(0, 12, 2))
@pytest.mark.parametrize("radius", [8, 10, 13])
def test_a_dot_stays_wherever_its_middle_lies(off, radius):
    """Also on a crossing of the grid, farther from every stitch than a bend of a stroke may lie."""
    rows, cols = np.mgrid[: 10 * PIXELS, : 10 * PIXELS] + 0.5
    dot = np.hypot(rows - 60 - off, cols - 60 - off) < radius
    ink = np.pad(dot, PIXELS)
    drawn = draw_ink(ink, PIXELS)
    at = np.argwhere(drawn.cells) + 0.5 - 1
    assert 1 <= len(at) <= 5
    assert np.abs(at.mean(axis=0) - 5 - off / 12).max() <= 0.5


def test_strokes_are_drawn_single_wherever_they_lie():
    """A stroke half a stitch wide, at many slopes and offsets, is one unbroken line one stitch wide."""
    rows, cols = 20, 30
    y, x = (np.mgrid[0 : rows * PIXELS, 0 : cols * PIXELS] + 0.5) / PIXELS
    for slope in (0, 0.13, 0.37, 0.5):
        for offset in (0.0, 0.21, 0.5, 0.77):
            middle = 6 + offset + slope * (x - 5)
            ink = (np.abs(y - middle) < 0.25 * np.hypot(1, slope)) & (x > 5) & (x < 25)
            drawn = draw_ink(ink, PIXELS)
            columns = drawn.cells[:, 6:24].sum(axis=0)
            assert (columns == 1).all(), (slope, offset, columns)
            assert find_faults(drawn.cells, drawn.wants[0]).count == 0


def test_a_pen_two_stitches_wide_is_drawn_two_wide_everywhere():
    for offset in (0.0, 0.2, 0.37, 0.6, 0.85):
        ink = np.zeros((20 * PIXELS, 30 * PIXELS), bool)
        top = round((6 + offset) * PIXELS)
        ink[top : top + round(2.1 * PIXELS), 5 * PIXELS : 25 * PIXELS] = True
        columns = draw_ink(ink, PIXELS).cells[:, 7:23].sum(axis=0)
        assert (columns == 2).all(), (offset, columns)


def test_a_white_line_in_a_dark_shape_stays_open():
    for offset in (0.0, 0.3, 0.5, 0.8):
        ink = np.zeros((22 * PIXELS, 30 * PIXELS), bool)
        ink[4 * PIXELS : 18 * PIXELS, 4 * PIXELS : 26 * PIXELS] = True
        top = round((10 + offset) * PIXELS)
        ink[top : top + round(1.1 * PIXELS), 7 * PIXELS : 23 * PIXELS] = False
        cells = draw_ink(ink, PIXELS).cells
        bare = ~cells[5:17, 8:22]
        assert bare.any(axis=0).all(), offset


@pytest.mark.parametrize("columns", range(24, 42, 2))
def test_a_dot_in_the_middle_of_a_ring_stays(columns):
    """At even widths its middle is a crossing of the grid, farther from every stitch than a bend may lie."""
    rows, cols = np.mgrid[:1000, :1000] + 0.5
    ink = np.abs(np.hypot(rows - 500, cols - 500) - 430) < 9
    for row in (310, 500, 690):
        ink |= np.hypot(rows - row, cols - 500) < 22
    found = reduce_picture(np.where(ink, 0, 255).astype(np.uint8), ChartSettings.from_options(columns=columns))
    assert cv2.connectedComponents(found.cells.view(np.uint8), connectivity=8)[0] - 1 == 4


@pytest.mark.parametrize("pen", [60, 62, 64, 66])
def test_a_pen_of_hardly_more_than_a_stitch_and_a_half_is_drawn_single(pen):
    """A frame, 1.5 to 1.65 stitches broad at 40 wide: half as much again on two rows would be twice the work."""
    gray = np.full((1300, 1800), 255, dtype=np.uint8)
    gray[100:1200, 100:1700] = 0
    gray[100 + pen : 1200 - pen, 100 + pen : 1700 - pen] = 255
    cells = reduce_picture(gray, ChartSettings.from_options(columns=40)).cells
    assert cells[0, 1:-1].all() and cells[1:-1, 0].all()
    assert not cells[2:-2, 2:-2].any() and not cells[1, 2:-2].any()


@pytest.mark.parametrize("seed", range(8))
def test_demands_told_once_find_the_same_faults(seed):
    rng = np.random.default_rng(seed)
    spots = cv2.GaussianBlur(rng.random((20 * PIXELS, 17 * PIXELS)).astype(np.float32), (0, 0), 0.8 * PIXELS)
    ink = np.zeros((26 * PIXELS, 23 * PIXELS), dtype=bool)
    ink[3 * PIXELS : -3 * PIXELS, 3 * PIXELS : -3 * PIXELS] = spots > np.median(spots)
    want = demands(ink)
    short = condense(want)
    for long_one, short_one in ((want.ink, short.ink), (want.ground, short.ground)):
        assert len(short_one.near) < len(long_one.near) and short_one.often.sum() == len(long_one.near)
        # The first point of each owner is the same one.
        first, same = long_one.near[long_one.anchor], short_one.near[short_one.anchor]
        assert np.array_equal(first, same) and np.array_equal(
            short_one.owner[short_one.anchor], np.unique(long_one.owner)
        )
    good = ink[PIXELS // 2 :: PIXELS, PIXELS // 2 :: PIXELS]
    for share in (0.0, 0.02, 0.1, 0.4):
        cells = good ^ (rng.random(good.shape) < share)
        cells[:3] = cells[-3:] = cells[:, :3] = cells[:, -3:] = False
        one, other = find_faults(cells, want), find_faults(cells, short)
        assert one.score == other.score and one.count == other.count
        assert [name for name, _ in one.places] == [name for name, _ in other.places]
        assert all(np.array_equal(a, b) for (_, a), (_, b) in zip(one.places, other.places, strict=True))
    assert condense(short).ink is short.ink
