"""Picture in, chart out: the stages in order, arrays in, arrays out.

1. `raster.prepare`: alpha on white, turn, crop, invert, standard orientation.
2. `raster.tone`: uneven light divided out.
3. `raster.threshold`: gray to ink.
4. Blank paper round the drawing trimmed; the grid laid over what is left.
5. `raster.resample`: area averaging onto the grid.
6. `raster.components`: loose stitches tidied away.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.errors import RequestError
from converter.model.arrays import CellArray, LineArray, MaskArray
from converter.model.chart import MAX_SIDE, Chart
from converter.raster.components import remove_small_groups
from converter.raster.prepare import Prepared, prepare_picture
from converter.raster.resample import average_cells, summed_area
from converter.raster.threshold import threshold_otsu
from converter.raster.tone import flatten_light
from converter.settings import ChartSettings

PIXELS_A_STITCH = 12


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


def chart_from_image(image: Any, columns: int | None = 60, **settings: Any) -> Chart:
    """Return the chart of a picture.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) RGB or (H, W, 4) RGBA, uint8
    columns : int or None
        Stitches across; with None, ``rows`` rules.
    **settings
        Fields of `PictureSettings`, `ReductionSettings` and `LineSettings`.

    Returns
    -------
    Chart
        ``chart.cells.shape[1] == columns``.

    Raises
    ------
    UsageError
        If a setting is unknown or out of range, or the array is no picture.
    RequestError
        If nothing in the picture can become a stitch.
    """
    chosen = ChartSettings.from_options(columns=columns, **settings)
    return chart_from_reduction(image, reduce_picture(image, chosen), chosen)


def chart_from_reduction(image: Any, reduction: Reduction, settings: ChartSettings) -> Chart:
    """Return the chart of a reduction already made, with backstitches if ``settings.lines`` asks for them."""
    return Chart(
        cells=reduction.cells,
        lines=lines_for_reduction(image, reduction, settings),
        placement=reduction.placement,
        notes=(reduction.reason, *reduction.losses),
    )


def lines_for_reduction(image: Any, reduction: Reduction, settings: ChartSettings) -> LineArray:
    """Return the backstitches (K, 2, 2) that belong on the grid of a reduction."""
    if settings.lines.lines == "none":
        return np.zeros((0, 2, 2), dtype=np.float64)
    ready = prepare_picture(image, settings)
    placement = np.concatenate([reduction.placement, [[0.0, 0.0, 1.0]]])
    return _lines_on_grid(ready, placement, reduction.cells.shape, reduction.cells, reduction.kind, settings)


def suggest_lines(image: Any, columns: int | None = 60, lines: str = "auto", **settings: Any) -> LineArray:
    """Return backstitches that follow the edges and strokes of a picture.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) RGB or (H, W, 4) RGBA, uint8
    columns : int or None
        Stitches across the whole picture; with None, ``rows`` rules.
    lines : str
        ``edges``: outlines of areas, thin strokes as one line; ``strokes``: centre lines of thin strokes
        alone; ``auto``: what the kind of picture asks for, as if there were no crosses.
    **settings
        Fields of `PictureSettings`, `ReductionSettings` and `LineSettings`.

    Returns
    -------
    lines : ndarray of shape (K, 2, 2)
        Each backstitch from hole (row, col) to hole (row, col). The grid is that of the whole picture, after turning
        and cropping but never trimmed: hole (0, 0) is its top left corner, its width is ``columns`` stitches.

    Raises
    ------
    UsageError
        If a setting is unknown or out of range, or the array is no picture.
    """
    chosen = ChartSettings.from_options(columns=columns, lines=lines, **settings)
    if chosen.lines.lines == "none":
        return np.zeros((0, 2, 2), dtype=np.float64)
    ready = prepare_picture(image, chosen)
    height, width = ready.orientation.inverse().apply(np.empty(ready.gray.shape, dtype=np.bool_)).shape
    wide, high = chosen.reduction.columns, chosen.reduction.rows
    if wide is not None:
        cell = width / wide
        high = max(1, round(height / cell))
    else:
        assert high is not None
        cell = height / high
        wide = max(1, round(width / cell))
    if max(wide, high) > MAX_SIDE:
        raise RequestError(
            f"The picture would be {wide} x {high} stitches; {MAX_SIDE} is the most on a side.",
            "Ask for fewer stitches on the other side, or crop the picture.",
        )
    # The prepared picture is turned; its own corner leads back to the picture as it came.
    upright = ready.to_source @ np.linalg.inv(ready.orientation.matrix((height, width)))
    placement = upright @ np.diag([cell, cell, 1.0])
    return _lines_on_grid(ready, placement, (high, wide), None, chosen.reduction.kind, chosen)


def _lines_on_grid(
    ready: Prepared,
    placement: npt.NDArray[np.float64],
    shape: tuple[int, ...],
    cells: CellArray | None,
    kind: str,
    settings: ChartSettings,
) -> LineArray:
    """Return the backstitches on an upright grid, worked out in the standard orientation."""
    # Imported here: the lines are the only part that needs a skeleton.
    from converter.outline.suggest import suggest

    one = ready.orientation
    rows, cols = shape
    turned = one.matrix((rows, cols))
    standing = np.linalg.inv(ready.to_source) @ placement @ turned
    lines = suggest(
        ready.gray if ready.colour is None else ready.colour,
        standing[:2],
        (cols, rows) if one.transpose else (rows, cols),
        None if cells is None else one.apply(cells),
        kind,
        settings.lines,
    )
    ends = np.concatenate([lines, np.ones((len(lines), 2, 1))], axis=2)
    return np.asarray((ends @ turned.T)[:, :, :2], dtype=np.float64)


def reduce_picture(image: Any, settings: ChartSettings) -> Reduction:
    """Reduce a picture to the stitch grid.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) RGB or (H, W, 4) RGBA, uint8
    settings : ChartSettings

    Raises
    ------
    RequestError
        If the picture is blank, or the other side of the chart would be longer than any cloth.
    """
    ready = prepare_picture(image, settings)
    flat = flatten_light(np.asarray(ready.gray / np.float32(255), dtype=np.float32))
    ink = _ink(flat, settings.reduction.dark)
    if ready.clear is not None:
        ink &= ~ready.clear
    box = _ink_box(ink) if settings.picture.trim else (0, 0, ink.shape[0], ink.shape[1])
    row_edges, col_edges = _lay_grid(box, ready.columns, ready.rows)
    coverage = average_cells(summed_area(ink.astype(np.float32)), row_edges, col_edges)
    cells = coverage >= 0.5 - 0.2 * (settings.reduction.detail - 50) / 50
    if not cells.any():
        cells = coverage >= coverage.max()
    swept = remove_small_groups(cells, round(settings.reduction.tidy / 40))
    cells = swept if swept.any() else cells
    for each in ready.symmetries:
        if cells.shape == each.apply(cells).shape:
            cells = cells | each.apply(cells)
    return _result(ready, cells, row_edges, col_edges, flat, ink)


def _ink(flat: npt.NDArray[np.float32], dark: float) -> MaskArray:
    levels = np.rint(flat * 255).astype(np.uint8)
    low, high = np.percentile(levels, [0.05, 99.95])
    if high - low < 12:
        raise RequestError(
            "The picture is blank: it has no dark parts that could become stitches.",
            "Choose another picture or another crop.",
        )
    at = threshold_otsu(levels)
    edge = at + (255 - at if dark > 0 else at) * dark / 100 * 0.9
    return np.asarray(levels <= edge)


def _ink_box(ink: MaskArray) -> tuple[int, int, int, int]:
    if not ink.any():
        raise RequestError(
            "No part of the picture is dark enough to become a stitch.", "Raise --dark or choose another crop."
        )
    kept = cv2.medianBlur(ink.view(np.uint8), 3).astype(bool)
    ink = kept if kept.any() else ink
    down, across = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    return int(down[0]), int(across[0]), int(down[-1]) + 1, int(across[-1]) + 1


def _lay_grid(
    box: tuple[int, int, int, int], columns: int | None, rows: int | None
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return the grid lines, in pixels, of square cells that hold the box, centred on it."""
    top, left, bottom, right = box
    height, width = bottom - top, right - left
    if columns is not None and rows is not None:
        cell = max(width / columns, height / rows)
    elif columns is not None:
        cell = width / columns
        rows = max(1, int(np.floor(height / cell + 0.5)))
    else:
        assert rows is not None
        cell = height / rows
        columns = max(1, int(np.floor(width / cell + 0.5)))
    if max(rows, columns) > MAX_SIDE:
        raise RequestError(
            f"The chart would be {columns} x {rows} stitches; {MAX_SIDE} is the most on a side.",
            "Ask for fewer stitches on the other side, or crop the picture.",
        )
    middle_row, middle_col = (top + bottom) / 2, (left + right) / 2
    row_edges = np.asarray(middle_row + cell * (np.arange(rows + 1) - rows / 2), dtype=np.float64)
    col_edges = np.asarray(middle_col + cell * (np.arange(columns + 1) - columns / 2), dtype=np.float64)
    return row_edges, col_edges


def _result(
    ready: Prepared,
    cells: CellArray,
    row_edges: npt.NDArray[np.float64],
    col_edges: npt.NDArray[np.float64],
    flat: npt.NDArray[np.float32],
    ink: MaskArray,
) -> Reduction:
    back = ready.orientation.inverse()
    upright = back.apply(cells)
    cell = col_edges[1] - col_edges[0]
    hole_to_standing = np.array([[cell, 0, row_edges[0]], [0, cell, col_edges[0]], [0, 0, 1.0]])
    turned = back.matrix((cells.shape[0], cells.shape[1]))
    placement = (ready.to_source @ hole_to_standing @ turned)[:2]
    return Reduction(
        cells=upright,
        placement=placement,
        kind="line",
        reason="",
        readability=100.0,
        losses=(),
        loss_mask=np.zeros(ready.source_shape, dtype=np.bool_),
        stages={"flat": flat, "ink": ink},
    )
