"""Contours, outlines, thinning and simplifying, against published examples and other libraries."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import ndimage
from scipy.spatial import cKDTree
from skimage.measure import find_contours, label
from skimage.morphology import thin

from converter.outline.contour import outline_cells, trace_contours
from converter.outline.near import find_nearest
from converter.outline.parts import _half_width, distance_inside
from converter.outline.regions import find_basins
from converter.outline.simplify import curve_length, resample_curve, simplify_curve, smooth_curve
from converter.pixels.thinning import thin_to_lines

FEEP = """
........................
.####..####..####..####.
.#.....#.....#.....#..#.
.###...###...###...####.
.#.....#.....#.....#....
.#.....####..####..#....
........................
"""


def grid(text):
    return np.array([[c == "#" for c in row] for row in text.split()])


def test_douglas_peucker_worked_example():
    """Rosetta Code, Ramer-Douglas-Peucker line simplification: tolerance 1.0."""
    points = [(0, 0), (1, 0.1), (2, -0.1), (3, 5), (4, 6), (5, 7), (6, 8.1), (7, 9), (8, 9), (9, 9)]
    kept = simplify_curve(np.array(points, dtype=float), 1.0)
    assert kept.tolist() == [[0, 0], [2, -0.1], [3, 5], [7, 9], [9, 9]]


@given(arrays(np.float64, st.tuples(st.integers(2, 30), st.just(2)), elements=st.floats(-20, 20)), st.floats(0.1, 5))
def test_no_point_left_out_is_farther_than_the_tolerance(points, tolerance):
    kept = simplify_curve(points, tolerance)
    # Distance to the infinite chord is what the rule limits; the ends of the polyline always stay.
    assert (kept[0] == points[0]).all() and (kept[-1] == points[-1]).all()
    assert len(kept) <= len(points)
    assert all(any((p == q).all() for q in points) for p in kept)


def test_outline_length_of_the_pbm_example():
    """Netpbm pbm(5), feep.pbm: 102 unit edges; as in Selinger, Potrace, section 2.1, each edge lies on one path."""
    cells = grid(FEEP)
    assert cells.shape == (7, 24) and cells.sum() == 48
    loops = outline_cells(cells)
    assert sum(len(loop) - 1 for loop in loops) == 102
    # Four letters and the hole of the last one.
    assert len(loops) == 5


@given(arrays(np.bool_, (8, 8)))
def test_outline_is_every_side_between_a_cell_and_bare_cloth(cells):
    padded = np.pad(cells, 1)
    sides = int((padded[1:] != padded[:-1]).sum() + (padded[:, 1:] != padded[:, :-1]).sum())
    loops = outline_cells(cells)
    assert sum(len(loop) - 1 for loop in loops) == sides
    for loop in loops:
        assert (loop[0] == loop[-1]).all()
        assert (np.abs(np.diff(loop, axis=0)).sum(axis=1) == 1).all()
    # Loops: one round each 4-connected group, one round each 8-connected hole.
    groups = label(cells, connectivity=1).max()
    holes = label(~padded, connectivity=2).max() - 1
    assert len(loops) == groups + holes


def smooth_field(seed, size=40):
    rng = np.random.default_rng(seed)
    return ndimage.gaussian_filter(rng.normal(size=(size, size)), 3.0)


@pytest.mark.parametrize("seed", range(6))
def test_contour_agrees_with_scikit_image(seed):
    """skimage.measure.find_contours on the same field, padded low so that its contours close too."""
    field = smooth_field(seed)
    field[[0, -1]] = field[:, [0, -1]] = -0.2
    ours = np.concatenate(trace_contours(field, 0.0))
    theirs = find_contours(np.pad(field, 1, constant_values=-0.2), 0.0, fully_connected="low")
    assert len(trace_contours(field, 0.0)) == len(theirs)
    points = np.concatenate(theirs) - 0.5
    assert cKDTree(points).query(ours)[0].max() < 1e-9
    assert cKDTree(ours).query(points)[0].max() < 1e-9


def test_contour_of_a_disc_lies_on_the_circle():
    y, x = np.mgrid[0:60, 0:60] + 0.5
    (loop,) = trace_contours(20.0 - np.hypot(y - 30, x - 30))
    assert np.abs(np.hypot(*(loop - 30).T) - 20).max() < 0.02
    assert (loop[0] == loop[-1]).all()


def test_high_pixels_on_a_diagonal_stay_apart():
    assert len(trace_contours(np.array([[1.0, -1.0], [-1.0, 1.0]]))) == 2
    assert len(trace_contours(np.full((3, 3), -1.0))) == 0


@pytest.mark.parametrize("seed", range(4))
def test_thinning_is_that_of_scikit_image(seed):
    """skimage.morphology.thin implements the same paper."""
    ink = smooth_field(seed, 60) > 0
    assert np.array_equal(thin_to_lines(ink, 60), thin(ink))


@settings(max_examples=50)
@given(arrays(np.bool_, (12, 12)))
def test_thinning_keeps_parts_and_holes(ink):
    lines = thin_to_lines(ink, 12)
    assert not (lines & ~ink).any()
    assert label(lines, connectivity=2).max() == label(ink, connectivity=2).max()
    assert label(~np.pad(lines, 1), connectivity=1).max() == label(~np.pad(ink, 1), connectivity=1).max()


def test_a_slanting_line_of_even_width_is_not_lost():
    ink = np.zeros((40, 40), dtype=bool)
    for k in range(5, 35):
        ink[k, k] = ink[k, k + 1] = True
    assert thin_to_lines(ink, 10).sum() >= 28


def test_few_passes_leave_thick_parts_alone():
    ink = np.zeros((40, 60), dtype=bool)
    ink[5:35, 5:35] = True
    ink[18:21, 35:55] = True
    lines = thin_to_lines(ink, 3)
    assert lines[12:28, 12:28].all()
    assert (lines[:, 42:50].sum(axis=0) == 1).all()


def test_resampling_keeps_ends_and_length():
    points = np.array([(0.0, 0.0), (3.0, 4.0), (3.0, 10.0)])
    even = resample_curve(points, 0.5)
    assert even[0].tolist() == [0, 0] and even[-1].tolist() == [3, 10]
    assert np.allclose(np.hypot(*np.diff(even, axis=0).T), 0.5)
    assert curve_length(even) == pytest.approx(11)
    assert resample_curve(np.array([(1.0, 1.0)]), 0.5).tolist() == [[1, 1], [1, 1]]


def test_smoothing_leaves_straight_lines_and_ends_where_they_are():
    line = np.stack([np.linspace(0, 5, 21), np.linspace(1, 3, 21)], axis=1)
    assert np.allclose(smooth_curve(line, 4, False), line)
    ring = 5 * np.stack([np.cos(np.linspace(0, 2 * np.pi, 60)), np.sin(np.linspace(0, 2 * np.pi, 60))], axis=1)
    ring[-1] = ring[0]
    smooth = smooth_curve(ring, 3, True)
    assert (smooth[0] == smooth[-1]).all()
    assert np.ptp(np.hypot(*smooth.T)) < 1e-9


@given(
    arrays(np.float64, st.tuples(st.integers(1, 40), st.just(2)), elements=st.floats(-9, 9)),
    arrays(np.float64, st.tuples(st.integers(0, 20), st.just(2)), elements=st.floats(-12, 12)),
    st.floats(0.2, 4),
)
def test_nearest_points_are_those_of_a_tree(points, queries, reach):
    """Against scipy.spatial.cKDTree."""
    distance, index = find_nearest(points, queries, reach)
    expected = cKDTree(points).query(queries)[0] if len(queries) else np.zeros(0)
    # At the very limit the two may round differently.
    within, beyond = expected < reach - 1e-9, expected > reach + 1e-9
    assert np.allclose(distance[within], expected[within], rtol=0, atol=1e-9)
    assert not np.isfinite(distance[beyond]).any()
    found = np.isfinite(distance)
    assert np.allclose(np.hypot(*(points[index[found]] - queries[found]).T), distance[found])


def test_hollows_of_a_small_landscape():
    height = np.array(
        [
            [1, 2, 5, 2, 2],
            [2, 3, 6, 1, 2],
            [4, 5, 7, 3, 3],
            [1, 4, 7, 4, 0],
        ],
        dtype=float,
    )
    assert find_basins(height).tolist() == [
        [0, 0, 1, 1, 1],
        [0, 0, 1, 1, 1],
        [2, 2, 1, 3, 3],
        [2, 2, 3, 3, 3],
    ]


@given(arrays(np.float64, st.tuples(st.integers(1, 9), st.integers(1, 9)), elements=st.integers(0, 4).map(float)))
def test_every_pixel_runs_downhill_to_its_hollow(height):
    labels = find_basins(height)
    assert set(np.unique(labels)) == set(range(labels.max() + 1))
    for k in range(labels.max() + 1):
        inside = labels == k
        assert ndimage.label(inside, np.ones((3, 3)))[1] == 1


@pytest.mark.parametrize("pixels", range(1, 9))
def test_half_a_width_is_exact_for_odd_and_even_pixels(pixels):
    for mask in (np.zeros((20, 30), dtype=bool), np.zeros((30, 20), dtype=bool).T):
        mask[5 : 5 + pixels] = True
        half = _half_width(distance_inside(mask, 4), 4)
        assert 2 * 4 * half[:, 15].max() == pytest.approx(pixels)
        assert np.allclose(half, _half_width(distance_inside(mask[::-1], 4), 4)[::-1])
