"""Ink laid on the grid to cells: thin strokes by their axis, thick parts by coverage, then mending."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, MaskArray
from converter.raster.around import square
from converter.raster.axis import Axis, find_axis, ink_depth
from converter.raster.dots import stamp_dots
from converter.raster.grid import MARGIN
from converter.raster.mirror import Symmetry, first_of_orbit, orbits
from converter.raster.repair import MOST_TRIALS, mend
from converter.raster.structure import Structure, cells_near, find_faults, reach_of, read_structures
from converter.raster.thinning import thin_in_order
from converter.raster.tone import median

SINGLE_WIDTHS = (1.5, 1.8)
"""Stitches; between these lies the width from which on strokes are no longer drawn one stitch wide. It is taken where
the fewest strokes of the drawing are so wide, so that one pen is not drawn in two ways."""
EVEN_WIDTHS = (1.5, 4.6)
"""Stitches; pens between these are drawn a whole number of stitches wide."""
MOST_BROAD = 0.15
"""Share of the ink too broad for a pen, from which on the picture is no pen drawing and keeps its widths."""
MOST_AT_JOINTS, END_REACH = 1.5, 0.6
"""Widths of a pen: as wide it may be where its strokes meet, and so far from its strokes their ends and joints lie."""
SHOWN = 0.75
"""Stitches: an axis point so near to the middle of a stitch is shown by it, also where both sides are made alike."""
LEAST_IN_TIP = 0.15
"""Coverage that a cell must have to be drawn for a blunt tip alone."""
LEAN = 0.07
SQUARE = 0.93
"""Share of the product of both edges' coverage that a square corner has at least."""
UNSURE = 0.32
"""Difference from half coverage up to which a single cell may be levelled with a straight edge."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """Cells of a laid mask, margin included, and what they were made from."""

    cells: CellArray
    coverage: npt.NDArray[np.float32]
    axis: Axis
    wants: tuple[Structure, ...]


def draw_ink(
    ink: MaskArray,
    pixels: int,
    level: float = 0.5,
    axis: Axis | None = None,
    symmetry: Symmetry | None = None,
    most_trials: int = MOST_TRIALS,
    gaps: tuple[float, ...] = (1.5, 0.95),
) -> Drawn:
    """Return the cells of a mask laid on the grid.

    Parameters
    ----------
    ink : ndarray of shape (rows * pixels, cols * pixels), bool
        The outermost two rings of cells are bare.
    pixels : int
        Pixels a stitch.
    level : float
        Coverage from which on a cell of a solid part is a stitch.
    axis : Axis, optional
        Centre line of the ink on this grid, if it is known.
    symmetry : Symmetry, optional
        What the cells must keep; the mask has it already.
    most_trials : int
        See `repair.mend`.
    gaps : tuple of float
        Stitches: gaps and grounds so wide are kept open, as far as small changes can bring it, the first first.
    """
    rows, cols = ink.shape[0] // pixels, ink.shape[1] // pixels
    depth = ink_depth(ink, pixels)
    away = ink_depth(~ink, pixels)
    axis = find_axis(ink, depth, pixels) if axis is None else _inside(axis, ink)
    half = _single_half(axis)
    even = _even_pens(ink, depth, away, axis, half, pixels)
    coverage = cell_coverage(even, pixels)
    solid = (coverage >= level) & (_thick_share(depth, half, even, pixels) >= 0.3)
    del depth, even
    axis = _without_bare_tips(axis, coverage)
    solid |= (coverage >= level) & _holds(axis.points[axis.rising], (rows, cols))
    solid = _square_corners(_level_edges(solid, coverage), coverage) & ~_rim(solid)
    cells = stamp_dots(_draw_thin(solid, axis, half, (rows, cols)), ink, pixels)
    wants = read_structures(ink, axis, pixels, gaps, away)
    cost = _flip_cost(cells, coverage)
    orbit = None
    if symmetry is not None and symmetry.images:
        cells = _better_half(cells, wants, coverage, axis, symmetry)
        orbit = orbits((rows, cols), symmetry)
    cells = mend(cells, wants, cost, orbit, most_trials)
    return Drawn(cells, coverage, axis, wants)


def _without_bare_tips(axis: Axis, coverage: npt.NDArray[np.float32]) -> Axis:
    """Return the axis without the ends of tips that cover nothing, or of blunt ones too little, of a stitch near by."""
    rising = axis.take(axis.rising)
    near = cells_near(rising.points, coverage.shape, reach_of(rising))
    covered = coverage.ravel()[near].max(axis=1)
    kept = np.ones(len(axis.points), dtype=np.bool_)
    kept[axis.rising] = np.where(rising.blunt, covered >= LEAST_IN_TIP, covered > 0)
    return axis.take(kept)


def _holds(points: npt.NDArray[np.float64], shape: tuple[int, int]) -> CellArray:
    """Return the cells that hold one of the points."""
    cells = np.zeros(shape, dtype=np.bool_)
    at = np.clip(np.floor(points).astype(np.intp), 0, [shape[0] - 1, shape[1] - 1])
    cells[at[:, 0], at[:, 1]] = True
    return cells


def _thick_share(depth: npt.NDArray[np.float32], half: float, ink: MaskArray, pixels: int) -> npt.NDArray[np.float32]:
    """Return the share of each cell that is ink of strokes wider than twice ``half``."""
    core = depth > half
    if not core.any():
        return np.zeros((depth.shape[0] // pixels, depth.shape[1] // pixels), dtype=np.float32)
    return cell_coverage((ink_depth(~core, pixels) < half) & ink, pixels)


def _inside(axis: Axis, ink: MaskArray) -> Axis:
    r, c = axis.pixel[:, 0], axis.pixel[:, 1]
    held = (r >= 0) & (c >= 0) & (r < ink.shape[0]) & (c < ink.shape[1])
    held[held] &= ink[r[held], c[held]]
    return axis.take(held)


def _better_half(
    cells: CellArray,
    wants: tuple[Structure, ...],
    coverage: npt.NDArray[np.float32],
    axis: Axis,
    symmetry: Symmetry,
) -> CellArray:
    """Return the cells made symmetric from the side that says more of the picture."""
    shape = cells.shape
    near = cells_near(axis.points, shape, SHOWN)
    best: tuple[float, int, float] | None = None
    chosen = cells
    for last in (False, True):
        trial = cells.ravel()[first_of_orbit(shape, symmetry, last)].reshape(shape)
        missed = int((~trial.ravel()[near].any(axis=1)).sum())
        value = (find_faults(trial, wants[0]).score, missed, float(np.abs(coverage - trial).sum()))
        if best is None or value < best:
            best, chosen = value, trial
    return chosen


def _single_half(axis: Axis) -> float:
    """Return half the width below which strokes are drawn single."""
    widths = 2 * axis.radius
    at = np.linspace(*SINGLE_WIDTHS, 7)
    crowd = [float(np.sum(np.abs(widths - t) < 0.12)) + 0.01 * abs(t - sum(SINGLE_WIDTHS) / 2) for t in at]
    return float(at[int(np.argmin(crowd))]) / 2


def _even_pens(
    ink: MaskArray,
    depth: npt.NDArray[np.float32],
    away: npt.NDArray[np.float32],
    axis: Axis,
    half: float,
    pixels: int,
) -> MaskArray:
    """Return the ink with each pen of the drawing brought to a whole number of stitches.

    Notes
    -----
    A pen is a width that a good part of the axis shares. Its edges are moved by half the difference to the nearest
    whole number, so that wherever it lies on the grid as many cells are covered by half or more. Where both edges lie
    in the middle of a cell neither more nor less than that number comes of it only if one side is preferred: pens lean
    `LEAN` stitches down and to the right (of the standard orientation).
    """
    # The distance is that to the middle of the nearest bare pixel, half a pixel outside the ink.
    widths = 2 * axis.radius - 1 / pixels
    broad = float((depth > EVEN_WIDTHS[1] / 2).sum()) / max(1.0, float(ink.sum()))
    if not len(widths) or broad > MOST_BROAD:
        return ink
    grown = np.full(len(widths), np.nan)
    left = (widths > 2 * half) & (widths < EVEN_WIDTHS[1])
    total = len(widths)
    for _ in range(3):
        if left.sum() < max(4 * pixels, 0.04 * total):
            break
        counts, edges = np.histogram(widths[left], bins=40, range=(1.4, EVEN_WIDTHS[1] + 0.4))
        heap = np.convolve(counts, np.ones(3), mode="same")
        middle = float(edges[int(np.argmax(heap))] + edges[1] / 2 - edges[0] / 2)
        near = left & (np.abs(widths - middle) < 0.08 * middle + 0.1)
        if near.sum() < max(4 * pixels, 0.04 * total):
            break
        width = median(widths[near])
        near = left & (np.abs(widths - width) < 0.08 * width + 0.1)
        grown[near] = (max(2, np.floor(width + 0.5)) - width) / 2
        left &= np.abs(widths - width) >= 0.3 * width
    if np.isnan(grown).all():
        return ink
    known = ~_ends_of_pens(widths, grown, axis, ink.shape, pixels)
    row, col = axis.pixel[known, 0], axis.pixel[known, 1]
    seed = np.ones(ink.shape, dtype=np.uint8)
    seed[row, col] = 0
    _, index = cv2.distanceTransformWithLabels(seed, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    table = np.full(int(index.max()) + 1, np.nan, dtype=np.float32)
    table[index[row, col]] = grown[known]
    move = table[index]
    half_pixel, least = np.float32(0.5 / pixels), np.float32(0.01 / pixels)
    # A pixel just as deep as the edge moves goes: what is left is then a pixel less than whole stitches, and covers
    # half of no cell too many wherever it lies.
    taken = np.where(move < 0, depth - half_pixel > least - move, ink)
    drawn = np.where(move > 0, away - half_pixel < move - least, taken)
    shift = max(1, round(LEAN * pixels))
    leaning = np.roll(drawn, (shift, shift), axis=(0, 1))
    return np.asarray(np.where(np.isnan(move), ink, leaning))


def _ends_of_pens(
    widths: npt.NDArray[np.float64], grown: npt.NDArray[np.float64], axis: Axis, shape: tuple[int, ...], pixels: int
) -> npt.NDArray[np.bool_]:
    """Return which points are of no width of their own: the ends and joints of a pen's strokes, which go with it.

    Parameters
    ----------
    widths : ndarray of shape (P,)
        Stitches.
    grown : ndarray of shape (P,)
        How far the edges of each pen are moved; nan for points of no pen.
    axis : Axis
    shape : tuple of int
        Of the mask.
    pixels : int
        Pixels a stitch.
    """
    pen = ~np.isnan(grown)
    widest = float(widths[pen].max())
    doubtful = ~pen & (widths < MOST_AT_JOINTS * widest)
    if not doubtful.any():
        return doubtful
    plane = np.zeros(shape, dtype=np.float32)
    plane[axis.pixel[pen, 0], axis.pixel[pen, 1]] = widths[pen]
    side = 2 * round(END_REACH * widest * pixels) + 1
    plane = np.asarray(cv2.dilate(plane, square(side)), dtype=np.float32)
    return np.asarray(doubtful & (widths < MOST_AT_JOINTS * plane[axis.pixel[:, 0], axis.pixel[:, 1]]))


def cell_coverage(mask: MaskArray, pixels: int) -> npt.NDArray[np.float32]:
    """Return the share of each cell that a laid mask covers."""
    rows, cols = mask.shape[0] // pixels, mask.shape[1] // pixels
    return np.asarray(cv2.resize(mask.astype(np.float32), (cols, rows), interpolation=cv2.INTER_AREA), np.float32)


def _level_edges(cells: CellArray, coverage: npt.NDArray[np.float32]) -> CellArray:
    """Return the cells without single ones that stick out of a straight edge, or are missing from it, undecidedly."""
    out = cells.copy()
    unsure = np.abs(coverage - 0.5) < UNSURE
    # The four sides, seen as rows above an edge; bumps of ink and of ground.
    for turned in (False, True):
        plane = cells.T if turned else cells
        doubt = unsure.T if turned else unsure
        target = out.T if turned else out
        for upward in (False, True):
            seen = plane[::-1] if upward else plane
            maybe = doubt[::-1] if upward else doubt
            into = target[::-1] if upward else target
            for ink in (True, False):
                way = seen if ink else ~seen
                row, under = way[:-1], way[1:]
                lone = row[:, 2:-2] & ~row[:, :-4] & ~row[:, 1:-3] & ~row[:, 3:-1] & ~row[:, 4:]
                base = under[:, :-4] & under[:, 1:-3] & under[:, 2:-2] & under[:, 3:-1] & under[:, 4:]
                into[:-1, 2:-2][lone & base & maybe[:-1, 2:-2]] = not ink
    return out


def _square_corners(cells: CellArray, coverage: npt.NDArray[np.float32]) -> CellArray:
    """Return the cells with those put right that are missing from a square corner of ink or of ground.

    Where two straight edges meet at right angles the cell in the corner is covered as far as both edges' cells are,
    one times the other: it may fall below one half where neither of them does. At a round corner it is covered less.
    """
    out = cells.copy()
    for ink in (True, False):
        way, cover = (cells, coverage) if ink else (~cells, 1 - coverage)
        for down, across in itertools.product((1, -1), repeat=2):
            seen, into, share = way[::down, ::across], out[::down, ::across], cover[::down, ::across]
            above, beside, corner = share[:-2, 1:-1], share[1:-1, :-2], share[1:-1, 1:-1]
            held = seen[:-2, 1:-1] & seen[1:-1, :-2] & seen[:-2, :-2]
            free = ~seen[1:-1, 1:-1] & ~seen[1:-1, 2:] & ~seen[2:, 1:-1] & ~seen[:-2, 2:] & ~seen[2:, :-2]
            sharp = (corner >= SQUARE * above * beside) & (corner > 0.5 - UNSURE)
            into[1:-1, 1:-1][held & free & sharp] = ink
    return out


def _rim(cells: CellArray) -> CellArray:
    rim = np.ones(cells.shape, dtype=np.bool_)
    rim[MARGIN:-MARGIN, MARGIN:-MARGIN] = False
    return rim


def _draw_thin(solid: CellArray, axis: Axis, half: float, shape: tuple[int, ...]) -> CellArray:
    rows, cols = shape
    # Points of thick parts need no thin stroke, unless coverage left them out.
    near = cells_near(axis.points, shape, reach_of(axis))
    shown = solid.ravel()[near].any(axis=1)
    thin = (axis.radius <= half) | ~shown
    points, near = axis.points[thin], near[thin]
    # A stroke on the very edge of the grid is drawn in the outermost cells.
    at = np.clip(np.floor(points).astype(np.intp), MARGIN, [rows - MARGIN - 1, cols - MARGIN - 1])
    cells = solid.copy()
    cells[at[:, 0], at[:, 1]] = True
    free = cells & ~solid
    index = np.flatnonzero(free.ravel())
    if not len(index):
        return cells
    # cells -> axis points
    flat = cells.ravel()
    served = flat[near].sum(axis=1).astype(np.int32)
    pairs_cell, pairs_point = near.ravel(), np.repeat(np.arange(len(points)), 4)
    use = (pairs_cell > 0) & flat[pairs_cell]
    pairs_cell, pairs_point = pairs_cell[use], pairs_point[use]
    off = np.hypot(*(points[pairs_point] - np.stack([pairs_cell // cols, pairs_cell % cols], axis=1) - 0.5).T)
    distance = np.full(cells.size, np.inf)
    np.minimum.at(distance, pairs_cell, off)
    order = np.argsort(-distance[index], kind="stable")
    by_cell = np.argsort(pairs_cell, kind="stable")
    pairs_cell, pairs_point = pairs_cell[by_cell], pairs_point[by_cell]
    starts = np.searchsorted(pairs_cell, index[order])
    ends = np.searchsorted(pairs_cell, index[order], side="right")
    points_of = [pairs_point[a:b].tolist() for a, b in zip(starts, ends, strict=True)]
    return thin_in_order(cells, index[order], points_of, served)


def _flip_cost(cells: CellArray, coverage: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    return np.where(cells, coverage, 1 - coverage)
