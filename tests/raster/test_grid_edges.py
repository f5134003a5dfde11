"""The grid that is laid is the clearest of all that are tried: every one is worked out slowly here."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest

from converter.raster import grid as grid_module
from converter.raster.grid import Grid, find_phase, lay_plain


def mean_of_cells(ink, grid):
    """The mean over each cell, fractions of pixels by area; what lies outside is bare."""
    table = cv2.integral(ink.astype(np.float64))
    for axis, (first, count) in enumerate(((grid.top, grid.rows), (grid.left, grid.columns))):
        at = np.clip(first + grid.cell * np.arange(count + 1), 0, table.shape[axis] - 1)
        low = np.minimum(at.astype(int), table.shape[axis] - 2)
        share = np.expand_dims(at - low, 1 - axis)
        table = np.take(table, low, axis) * (1 - share) + np.take(table, low + 1, axis) * share
    return np.diff(np.diff(table, axis=0), axis=1) / grid.cell**2


def from_middle(at, first, cell):
    off = (np.asarray(at) - first) / cell
    return np.abs(off - np.rint(off))


def cost(ink, grid, across, slack, weight=0.0, diagonals=None, straights=None):
    """Coverage times (1 - coverage) by length of boundary, and what thin strokes add where they do not want to run."""
    share = mean_of_cells(ink, grid)
    value = (share * (1 - share)).sum()
    if weight:
        for at, first in zip(diagonals, (grid.top - grid.left, grid.top + grid.left), strict=True):
            far = from_middle(at, first, grid.cell)
            # A quarter of a stitch for each that passes more than 0.19 from the corners.
            value += 2 * weight * ((far**2).sum() + 0.25 * (far > 0.19).sum())
        for at, first in zip(straights, (grid.top, grid.left), strict=True):
            value += 2 * weight * (from_middle(at, first + grid.cell / 2, grid.cell) ** 2).sum()
    return value * grid.cell * (1 + 0.02 * (abs(across) + abs(slack)))


def tried(box, fixed, centred=(False, False), most_bare=(1.0, 1.0), parts=8):
    """Every grid of so many columns: stretched by up to 0.8 stitches, drawn together by 0.3, at eight phases."""
    top, left, bottom, right = box
    for slack in (-0.3, -0.15, *np.linspace(0, min(0.8, 0.04 * fixed + 0.2), 6)):
        cell = (right - left) / (fixed - slack)
        high = (bottom - top) / cell
        if centred[0]:
            counts = sorted({max(1, round(high - 0.15)), max(1, round(high + 0.35))})
            places = [((top + bottom) / 2 - cell * n / 2, n) for n in counts]
        else:
            places = [(top - cell * k / parts, int(np.ceil(high - 1e-6)) + 1) for k in range(parts)]
        reach = 0 if centred[1] or slack < 0 else int(slack / 2 * parts)
        for (first, rows), k in itertools.product(places, range(-reach, reach + 1)):
            if slack / 2 - k / parts <= most_bare[0] and slack / 2 + k / parts <= most_bare[1]:
                yield Grid(first, left - slack * cell / 2 + cell * k / parts, cell, rows, fixed), k / parts, slack


def blots(seed, shape=(150, 190), spots=(9, 11), share=0.45):
    rng = np.random.default_rng(seed)
    return cv2.resize((rng.random(spots) < share).astype(np.float32), shape[::-1], interpolation=cv2.INTER_CUBIC) > 0.5


def box_of(ink):
    rows, cols = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    return float(rows[0]), float(cols[0]), float(rows[-1] + 1), float(cols[-1] + 1)


def turned(grid):
    return Grid(grid.left, grid.top, grid.cell, grid.columns, grid.rows)


@pytest.mark.parametrize("rule", ["columns", "rows"])
@pytest.mark.parametrize("centred", [(False, False), (True, False), (False, True), (True, True)])
@pytest.mark.parametrize(("seed", "fixed", "most_bare"), [(1, 14, (1.0, 1.0)), (2, 9, (1.0, 1.0)), (3, 17, (0.2, 0.4))])
def test_the_clearest_of_all_grids_is_laid(rule, centred, seed, fixed, most_bare):
    ink = blots(seed)
    box = box_of(ink)
    every = list(tried(box, fixed, centred, most_bare))
    costs = [cost(ink, *each) for each in every]
    if rule == "columns":
        found = find_phase(ink, box, lay_plain(box, fixed, None), rule, *centred, most_bare=most_bare)
    else:
        across = (box[1], box[0], box[3], box[2])
        found = turned(find_phase(ink.T.copy(), across, lay_plain(across, None, fixed), rule, *centred[::-1],
                                  most_bare=most_bare))  # fmt: skip
    off = [abs(g.top - found.top) + abs(g.left - found.left) + abs(g.cell - found.cell) for g, _, _ in every]
    chosen = int(np.argmin(off))
    assert off[chosen] < 1e-6 and every[chosen][0].rows == found.rows and found.columns == fixed
    # It looks at eight pixels a cell, so that the next best may be as good.
    assert costs[chosen] <= min(costs) * 1.03


@pytest.mark.parametrize("rule", ["columns", "rows"])
@pytest.mark.parametrize("seed", [4, 5, 6])
def test_thin_strokes_draw_the_grid_to_where_they_want_to_run(rule, seed):
    rng = np.random.default_rng(seed)
    ink = blots(seed)
    box, fixed, weight = box_of(ink), 13, 0.8
    top, left = rng.uniform(0, 12, 2)
    straights = (top + 14 * rng.integers(0, 8, 12), left + 14 * rng.integers(0, 8, 12))
    diagonals = (top - left + 14.0 * rng.integers(-6, 6, 9), top + left + 14.0 * rng.integers(0, 16, 7))
    every = list(tried(box, fixed))
    costs = [cost(ink, *each, weight, diagonals, straights) for each in every]
    if rule == "columns":
        found = find_phase(ink, box, lay_plain(box, fixed, None), rule, diagonals=diagonals, diagonal_weight=weight,
                           straights=straights)  # fmt: skip
    else:
        across = (box[1], box[0], box[3], box[2])
        flipped = (-diagonals[0], diagonals[1])
        found = turned(find_phase(ink.T.copy(), across, lay_plain(across, None, fixed), rule, diagonals=flipped,
                                  diagonal_weight=weight, straights=straights[::-1]))  # fmt: skip
    off = [abs(g.top - found.top) + abs(g.left - found.left) + abs(g.cell - found.cell) for g, _, _ in every]
    chosen = int(np.argmin(off))
    assert off[chosen] < 1e-6
    assert costs[chosen] <= min(costs) * 1.02 + 1e-9
    # Without them it lies elsewhere.
    plain = [cost(ink, *each) for each in every]
    assert int(np.argmin(plain)) != chosen


def test_wide_charts_are_tried_at_half_the_phases(monkeypatch):
    """From more than 160 stitches on; a chart of more stitches than a chart may have is left at the plain grid."""
    seen = []
    plain = grid_module._unclear
    monkeypatch.setattr(grid_module, "_unclear", lambda *args: seen.append(args[-1]) or plain(*args))
    ink = np.zeros((12, 400), dtype=bool)
    ink[3:9, 5:395] = True
    box = box_of(ink)
    for fixed, parts in ((160, 8), (161, 4)):
        seen.clear()
        found = find_phase(ink, box, lay_plain(box, fixed, None), "columns")
        assert set(seen) == {parts} and found.columns == fixed
    monkeypatch.setattr(grid_module, "MAX_SIDE", 160)
    wide = lay_plain(box, 160, None)
    monkeypatch.setattr(grid_module, "MAX_SIDE", 159)
    assert find_phase(ink, box, wide, "columns") is wide
    upright = (box[1], box[0], box[3], box[2])
    tall = turned(wide)
    assert find_phase(ink.T.copy(), upright, tall, "rows") is tall
