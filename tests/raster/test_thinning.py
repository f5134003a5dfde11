"""Simple cells and thinning."""

import numpy as np
from scipy import ndimage

from converter.raster.thinning import RING, simple_table, thin_in_order

EIGHT = np.ones((3, 3))


def topology(cells):
    wide = np.pad(cells, 1)
    return ndimage.label(wide, EIGHT)[1], ndimage.label(~wide)[1]


def test_simple_cells_are_those_that_leave_parts_and_holes_alone():
    """All 256 surroundings: a simple cell never changes the numbers of parts and holes of the 3 x 3 patch in a frame.

    (A. Rosenfeld's definition, checked by counting on the patch itself; the patch tells all for a single cell.)
    """
    # Worked out anew, not as it was kept when first asked for.
    table = simple_table.__wrapped__()
    for code in range(256):
        patch = np.zeros((3, 3), bool)
        for bit, (dr, dc) in enumerate(RING):
            patch[1 + dr, 1 + dc] = code >> bit & 1
        ink = patch.copy()
        parts = ndimage.label(ink, EIGHT)[1]
        bare = ~patch
        bare[1, 1] = False
        labels, _ = ndimage.label(bare)
        sides = {labels[0, 1], labels[1, 0], labels[1, 2], labels[2, 1]} - {0}
        assert table[code] == (parts == 1 and len(sides) == 1)


def test_thinning_keeps_topology_and_served_points():
    rng = np.random.default_rng(4)
    for _ in range(20):
        cells = np.zeros((14, 14), bool)
        cells[2:-2, 2:-2] = ndimage.binary_opening(rng.random((10, 10)) < 0.7, np.ones((2, 2)))
        index = np.flatnonzero(cells.ravel())
        order = rng.permutation(index)
        wanted = set(rng.choice(index, size=min(5, len(index)), replace=False).tolist()) if len(index) else set()
        names = {cell: k for k, cell in enumerate(sorted(wanted))}
        points = [[names[c]] if c in names else [] for c in order.tolist()]
        thin = thin_in_order(cells, order, points, np.ones(len(names), np.int32))
        assert topology(thin) == topology(cells)
        assert not (thin & ~cells).any()
        assert all(thin.ravel()[c] for c in wanted)


def test_a_thick_bar_becomes_a_line():
    cells = np.zeros((7, 12), bool)
    cells[2:5, 2:10] = True
    index = np.flatnonzero(cells.ravel())
    away = np.abs(index // 12 - 3)
    order = index[np.argsort(-away, kind="stable")]
    ends = [[0] if i % 12 == 2 else [1] if i % 12 == 9 else [] for i in order]
    thin = thin_in_order(cells, order, ends, np.array([3, 3], np.int32))
    expected = np.zeros_like(cells)
    expected[3, 2:10] = True
    assert np.array_equal(thin, expected)


# The block letters R and C, each with a dot, of the Rosetta Code page on Zhang-Suen thinning (the small picture, typed
# from memory); the page's pictures have 4 components and Euler number 3 before and after.
LETTERS = """
................................
.#########.......########.......
.###...####.....####..####......
.###....###.....###....###......
.###...####.....###.............
.#########......###.............
.###.####.......###....###......
.###..####..###.####..####.###..
.###...####.###..########..###..
................................
"""


def test_thinning_the_letters_keeps_their_topology():
    from skimage.measure import euler_number
    from skimage.morphology import skeletonize

    cells = np.pad(np.array([[c == "#" for c in row] for row in LETTERS.split()]), 1)
    assert topology(cells)[0] == 4 and euler_number(cells, connectivity=2) == 3
    # By the distance from the edge, the outermost first; the ends of what zhang's skeleton leaves stay.
    depth = ndimage.distance_transform_cdt(cells, metric="taxicab")
    index = np.flatnonzero(cells.ravel())
    order = index[np.argsort(depth.ravel()[index], kind="stable")]
    keep = {int(i): k for k, i in enumerate(np.flatnonzero(skeletonize(cells).ravel()))}
    points = [[keep[int(i)]] if int(i) in keep else [] for i in order]
    thin = thin_in_order(cells, order, points, np.ones(len(keep), np.int32))
    assert thin.sum() < 0.5 * cells.sum()
    assert topology(thin)[0] == 4 and euler_number(thin, connectivity=2) == 3
