"""From a prepared picture to cells: the stages in order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, MaskArray
from converter.raster.axis import Axis, find_axis, ink_depth, move_axis
from converter.raster.grid import MARGIN, Grid, lay_mask
from converter.raster.mirror import even_mask, find_symmetry
from converter.raster.morphology import drop_small, simplify_mask
from converter.raster.prepare import Prepared
from converter.raster.strokes import draw_ink
from converter.raster.take import Work, find_box, find_grid, take_up
from converter.settings import ChartSettings


@dataclass(frozen=True, eq=False)
class Reduction:
    """What became of a picture."""

    cells: CellArray
    """(rows, cols), True = full cross."""
    placement: npt.NDArray[np.float64]
    """(2, 3): picture (row, col) in pixels of hole (row, col) is ``placement @ [row, col, 1]``."""
    kind: str
    """line, shape or photo."""
    reason: str
    """Why it was taken for that, in words."""
    readability: float
    """0 to 100."""
    losses: tuple[str, ...]
    """What was dropped, closed or joined, in plain words."""
    loss_mask: MaskArray
    """(H, W) of the picture as it came: where that happened."""
    stages: Mapping[str, npt.NDArray[Any]] = field(default_factory=dict)
    """Named arrays of the stages, in the standard orientation, kept for viewing."""


def reduce_prepared(ready: Prepared, settings: ChartSettings) -> Reduction:
    """Reduce a prepared picture to the stitch grid."""
    work = take_up(ready, settings)
    ink, level = _set_detail(work.ink, work.pixels, settings)
    box = find_box(ink) if settings.picture.trim else work.box
    symmetry, box = find_symmetry(ink, box, work.pixels, ready.mirror, ready.symmetries)
    axis = find_axis(ink, ink_depth(ink, work.pixels), work.pixels)
    grid = find_grid(ink, box, ready, settings, symmetry, axis, work.pixels)
    laid = lay_mask(ink, grid, work.pixels)
    moved: Axis | None = move_axis(axis, work.pixels, grid.top, grid.left, grid.cell, MARGIN, work.pixels)
    if symmetry.images:
        laid = even_mask(laid, symmetry)
        moved = None
    drawn = draw_ink(laid, work.pixels, level, moved, symmetry)
    cells = drawn.cells[MARGIN:-MARGIN, MARGIN:-MARGIN]
    if not cells.any():
        cells = coverage_peak(drawn.coverage[MARGIN:-MARGIN, MARGIN:-MARGIN])
    cells, grid = _trim_free_side(cells, grid, ready, settings)
    return _result(ready, work, grid, cells, {"depth": work.depth, "ink": work.ink, "laid": laid})


def _set_detail(laid: MaskArray, pixels: int, settings: ChartSettings) -> tuple[MaskArray, float]:
    """Return the mask simplified as far as asked, and the coverage from which on a cell is a stitch."""
    detail, tidy = settings.reduction.detail, settings.reduction.tidy
    speck = 0.0004 * tidy**2 if tidy <= 50 else 1.0 * ((tidy - 50) / 25) ** 2 + 0.1 * 50 / tidy
    speck *= 0.08 if tidy <= 50 else 1
    bold = max(0.0, (50 - detail) / 50)
    simple = simplify_mask(laid, 0.5 * bold * pixels)
    simple = drop_small(simple, (speck + 4 * bold**2) * pixels**2)
    return (simple if simple.any() else laid), 0.5 + 0.12 * max(0.0, (detail - 50) / 50)


def coverage_peak(coverage: npt.NDArray[np.float32]) -> CellArray:
    """Return the cells of greatest coverage, when none reaches one half."""
    return np.asarray((coverage >= coverage.max()) & (coverage > 0))


def _trim_free_side(cells: CellArray, grid: Grid, ready: Prepared, settings: ChartSettings) -> tuple[CellArray, Grid]:
    """Cut blank rows (or columns) off the side whose number nobody asked for."""
    if not settings.picture.trim or (ready.columns is not None and ready.rows is not None):
        return cells, grid
    used = np.flatnonzero(cells.any(axis=1 if ready.columns is not None else 0))
    if len(used) == 0:
        return cells, grid
    first, last = int(used[0]), int(used[-1]) + 1
    if ready.columns is not None:
        return cells[first:last], grid.cut(first, 0, last - first, grid.columns)
    return cells[:, first:last], grid.cut(0, first, grid.rows, last - first)


def _result(
    ready: Prepared, work: Work, grid: Grid, cells: CellArray, stages: Mapping[str, npt.NDArray[Any]]
) -> Reduction:
    back = ready.orientation.inverse()
    turned = back.matrix((cells.shape[0], cells.shape[1]))
    placement = (ready.to_source @ work.to_standing @ grid.matrix() @ turned)[:2]
    return Reduction(
        cells=back.apply(cells),
        placement=placement,
        kind=work.kind.name,
        reason=work.kind.reason,
        readability=100.0,
        losses=(),
        loss_mask=np.zeros(ready.source_shape, dtype=np.bool_),
        stages=dict(stages),
    )
