"""From a prepared picture to cells: the stages in order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, MaskArray
from converter.model.phrase import Phrase, sentences
from converter.raster.axis import Axis, find_axis, ink_depth, move_axis
from converter.raster.drawn_squares import DrawnSquares, are_stitches, find_squares
from converter.raster.grid import MARGIN, Bounds, Grid, lay_mask, lay_tone
from converter.raster.kind import line_or_shape
from converter.raster.mirror import Symmetry, even_mask, find_symmetry
from converter.raster.morphology import drop_small, simplify_mask
from converter.raster.prepare import Prepared
from converter.raster.readability import Verdict, judge
from converter.raster.repair import MOST_TRIALS
from converter.raster.strokes import draw_ink
from converter.raster.take import Work, find_box, find_grid, take_up
from converter.settings import ChartSettings

READS_WELL = 70.0
"""Readability below which simpler drawings are tried."""
SIMPLER = (0.3, 0.55)
"""Stitches: half the width of the gaps that are then closed."""
FEW_SQUARES = 8
"""Squares on the longer side, of fewer of which a plain shape may be made."""
HAD_BARS = Phrase("The bars round the picture were left out.")
ON_SHEET = Phrase("Only the sheet of paper in the photo was taken, laid flat.")
WAS_RULED = Phrase("The printed lines of the paper were left out.")
WAS_FOLDED = Phrase("The folds of the paper were left out.")
WORTH_IT = 4.0
"""Readability that a simpler drawing must gain."""


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
    square_by_square: bool = False
    """The picture is drawn in squares, and each of them is one stitch."""


def reduce_prepared(ready: Prepared, settings: ChartSettings) -> Reduction:
    """Reduce a prepared picture to the stitch grid."""
    squares = find_squares(ready.gray, trim=settings.picture.trim, inverted=not settings.picture.invert)
    if squares is not None and are_stitches(squares, ready.columns, ready.rows, settings):
        return _square_by_square(ready, squares)
    work = take_up(ready, settings)
    tried = [_draw_at(ready, settings, work, 0.0)]
    if tried[0].verdict.readability < READS_WELL and work.kind.name != "photo":
        tried += [_draw_at(ready, settings, work, radius) for radius in SIMPLER]
    best = max(tried[1:], key=lambda each: each.verdict.readability, default=tried[0])
    if best.verdict.readability < tried[0].verdict.readability + WORTH_IT:
        best = tried[0]
    made = _result(ready, work, best)
    # Every picture of pixels is drawn in squares of one pixel, and every bar in a few large ones: neither is told.
    if squares is None or squares.side < 2 or max(squares.cells.shape) < FEW_SQUARES:
        return made
    rows, columns = ready.orientation.inverse().apply(squares.cells).shape
    note = Phrase(
        "It is drawn in squares, {columns} x {rows}: at that width each of them is one stitch.",
        columns=columns,
        rows=rows,
    )
    return replace(made, reason=sentences(made.reason, note))


def _square_by_square(ready: Prepared, squares: DrawnSquares) -> Reduction:
    """Return the squares of a picture that is drawn in them, as stitches."""
    back = ready.orientation.inverse()
    ink = (ready.gray == ready.gray.min()) ^ squares.inverted
    kind = line_or_shape(squares.cells)
    reason = sentences(kind.reason, Phrase("It is drawn in squares, and each of them is one stitch."))
    return Reduction(
        cells=back.apply(squares.cells),
        placement=(ready.to_source @ squares.grid.matrix() @ back.matrix(squares.cells.shape))[:2],
        kind=kind.name,
        reason=reason,
        readability=100.0,
        losses=(),
        loss_mask=np.zeros(ready.source_shape, dtype=np.bool_),
        stages={"depth": ink.astype(np.float32), "ink": ink},
        square_by_square=True,
    )


@dataclass(frozen=True, eq=False)
class _Attempt:
    """One way of drawing the picture."""

    cells: CellArray
    grid: Grid
    laid: MaskArray
    laid_grid: Grid
    verdict: Verdict
    simpler: bool


def _draw_at(ready: Prepared, settings: ChartSettings, work: Work, radius: float) -> _Attempt:
    """Draw the ink, with gaps of less than twice ``radius`` stitches closed on purpose."""
    pixels, simpler = work.pixels, bool(radius)
    ink, level = _set_detail(work, settings, radius)
    box = find_box(ink) if settings.picture.trim else work.box
    symmetry, box = find_symmetry(ink, box, pixels, ready.mirror, ready.symmetries)
    axis = find_axis(ink, ink_depth(ink, pixels), pixels)
    for _ in range(3):
        grid = find_grid(ink, box, ready, settings, symmetry, axis, pixels)
        straight = lay_mask(ink, grid, pixels)
        moved: Axis | None = move_axis(axis, pixels, grid.top, grid.left, grid.cell, MARGIN, pixels)
        laid = straight
        if symmetry.images:
            laid = even_mask(straight, symmetry)
            moved = None
        if work.kind.name == "photo":
            # Its parts are soft: a few of them joined or parted change nothing that anyone sees.
            drawn = draw_ink(laid, pixels, level, moved, symmetry, MOST_TRIALS // 16, (1.5,))
        else:
            drawn = draw_ink(laid, pixels, level, moved, symmetry, MOST_TRIALS // 4 if simpler else MOST_TRIALS)
        inner = drawn.cells[MARGIN:-MARGIN, MARGIN:-MARGIN]
        if not inner.any():
            inner = coverage_peak(drawn.coverage[MARGIN:-MARGIN, MARGIN:-MARGIN])
        inner = _reach_out(inner, drawn.coverage[MARGIN:-MARGIN, MARGIN:-MARGIN], ready, symmetry)
        closer = _closer_box(inner, grid, box, ready, settings)
        if closer is None:
            break
        box = closer
    full = straight if ink is work.ink else lay_mask(work.ink, grid, pixels)
    whole = axis
    if simpler or settings.reduction.detail < 50:
        whole = find_axis(work.ink, ink_depth(work.ink, pixels), pixels)
    shown = move_axis(whole, pixels, grid.top, grid.left, grid.cell, MARGIN, pixels)
    tone = lay_tone(work.depth, grid, pixels) if work.kind.name == "photo" else None
    verdict = judge(full, np.pad(inner, MARGIN), pixels, tone, None if tone is not None else shown)
    cells, trimmed = _trim_free_side(inner, grid, ready, settings)
    return _Attempt(cells, trimmed, laid, grid, verdict, simpler)


def _reach_out(cells: CellArray, coverage: npt.NDArray[np.float32], ready: Prepared, symmetry: Symmetry) -> CellArray:
    """Draw a tip that ends in the outermost cells of the side asked for, if it was too pointed to be drawn there."""
    across = ready.columns is not None
    out, cover = (cells, coverage) if across else (cells.T, coverage.T)
    if out.shape[1] < 3:
        return cells
    out = out.copy()
    for edge, beside in ((0, 1), (-1, -2)):
        if out[:, edge].any():
            continue
        reach = np.convolve(out[:, beside], np.ones(3), mode="same") > 0
        value = np.where(reach, cover[:, edge], 0)
        if value.max() > 0.08:
            out[int(np.argmax(value)), edge] = True
    out = np.ascontiguousarray(out if across else out.T)
    for each in symmetry.images:
        if not each.transpose or out.shape[0] == out.shape[1]:
            out = out | each.apply(out)
    return out


def _closer_box(cells: CellArray, grid: Grid, box: Bounds, ready: Prepared, settings: ChartSettings) -> Bounds | None:
    """Return a smaller box if the outermost stitches on the side asked for are bare: a tip too fine to be drawn."""
    if not settings.picture.trim or (ready.columns is not None and ready.rows is not None):
        return None
    across = ready.columns is not None
    used = np.flatnonzero(cells.any(axis=0 if across else 1))
    length = cells.shape[1] if across else cells.shape[0]
    if not len(used) or (used[0] == 0 and used[-1] == length - 1):
        return None
    top, left, bottom, right = box
    before, after = int(used[0]) * grid.cell, int(length - 1 - used[-1]) * grid.cell
    smaller = (top, left + before, bottom, right - after) if across else (top + before, left, bottom - after, right)
    return smaller if smaller[2] - smaller[0] > 1 and smaller[3] - smaller[1] > 1 else None


def _set_detail(work: Work, settings: ChartSettings, radius: float) -> tuple[MaskArray, float]:
    """Return the ink simplified as far as asked, and the coverage from which on a cell is a stitch."""
    pixels = work.pixels
    detail, tidy = settings.reduction.detail, settings.reduction.tidy
    bold = max(0.0, (50 - detail) / 50)
    # Square stitches: dust at 50, whole groups of stitches at 100.
    speck = 0.08 * min(1.0, tidy / 50) ** 2 + 4 * max(0.0, (tidy - 50) / 50) ** 2
    simple = simplify_mask(work.ink, max(radius, 0.5 * bold) * pixels)
    simple = drop_small(simple, (speck + 4 * bold**2 + 1.5 * radius**2) * pixels**2)
    if work.keep is not None:
        simple = np.where(work.keep, work.ink, simple)
    return (simple if simple.any() else work.ink), 0.5 + 0.12 * max(0.0, (detail - 50) / 50)


def coverage_peak(coverage: npt.NDArray[np.float32]) -> CellArray:
    """Return the cells of greatest coverage, when none reaches one half."""
    return np.asarray((coverage >= coverage.max()) & (coverage > 0))


def _trim_free_side(cells: CellArray, grid: Grid, ready: Prepared, settings: ChartSettings) -> tuple[CellArray, Grid]:
    """Cut blank rows (or columns) off the side whose number nobody asked for."""
    if not settings.picture.trim or (ready.columns is not None and ready.rows is not None):
        return cells, grid
    used = np.flatnonzero(cells.any(axis=1 if ready.columns is not None else 0))
    if not len(used):
        return cells, grid
    first, last = int(used[0]), int(used[-1]) + 1
    if ready.columns is not None:
        return cells[first:last], grid.cut(first, 0, last - first, grid.columns)
    return cells[:, first:last], grid.cut(0, first, grid.rows, last - first)


def _result(ready: Prepared, work: Work, best: _Attempt) -> Reduction:
    back = ready.orientation.inverse()
    turned = back.matrix(best.cells.shape)
    to_source = ready.to_source @ work.to_standing
    losses = best.verdict.losses
    if best.simpler:
        simpler = Phrase("At this size the drawing was simplified on purpose: narrow gaps were filled.")
        losses = (simpler, *losses)
    reason = work.kind.reason
    notes = (
        (ready.had_bars, HAD_BARS), (ready.on_sheet, ON_SHEET), (ready.was_ruled, WAS_RULED),
        (ready.was_folded, WAS_FOLDED),
    )  # fmt: skip
    for said, note in notes:
        reason = sentences(reason, note) if said else reason
    lost = np.zeros(ready.source_shape, dtype=np.bool_)
    if best.verdict.mask.any():
        lost = _on_source(best.verdict.mask, to_source, best.laid_grid, work.pixels, ready.source_shape)
    return Reduction(
        cells=back.apply(best.cells),
        placement=(to_source @ best.grid.matrix() @ turned)[:2],
        kind=work.kind.name,
        reason=reason,
        readability=best.verdict.readability,
        losses=losses,
        loss_mask=lost,
        stages={"depth": work.depth, "ink": work.ink, "laid": best.laid},
    )


def _on_source(
    mask: MaskArray, to_source: npt.NDArray[np.float64], grid: Grid, pixels: int, shape: tuple[int, int]
) -> MaskArray:
    """Return marks of the laid mask on the picture as it came."""
    scale = np.array([[1 / pixels, 0, -MARGIN], [0, 1 / pixels, -MARGIN], [0, 0, 1.0]])
    centre = np.array([[1.0, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    forth = np.linalg.inv(centre) @ to_source @ grid.matrix() @ scale @ centre
    xy = forth[[1, 0]][:, [1, 0, 2]]
    return np.asarray(cv2.warpAffine(mask.view(np.uint8), xy, (shape[1], shape[0]), flags=cv2.INTER_NEAREST) > 0)
