"""Where the stitch grid lies on the picture: width, phase, scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.errors import RequestError
from converter.model.arrays import MaskArray
from converter.model.chart import MAX_SIDE
from converter.raster.resample import sample_table

MARGIN = 3
"""Bare cells kept round the grid while working."""

Bounds = tuple[float, float, float, float]
"""top, left, bottom, right in pixels."""


@dataclass(frozen=True)
class Grid:
    """Square cells on a picture."""

    top: float
    left: float
    cell: float
    rows: int
    columns: int

    def matrix(self) -> npt.NDArray[np.float64]:
        """Return the (3, 3) map from hole (row, col, 1) to pixels (row, col, 1)."""
        return np.array([[self.cell, 0, self.top], [0, self.cell, self.left], [0, 0, 1.0]])

    def cut(self, top: int, left: int, rows: int, columns: int) -> Grid:
        """Return a part of the grid, in cells."""
        return Grid(self.top + top * self.cell, self.left + left * self.cell, self.cell, rows, columns)


def lay_plain(box: Bounds, columns: int | None, rows: int | None) -> Grid:
    """Return square cells that hold the box, centred on it."""
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
    top = (top + bottom) / 2 - cell * rows / 2
    left = (left + right) / 2 - cell * columns / 2
    return Grid(top, left, cell, rows, columns)


def lay_tone(values: npt.NDArray[Any], grid: Grid, pixels: int) -> npt.NDArray[np.float32]:
    """Return an array resampled to exactly ``pixels`` a cell, with `MARGIN` cells more all round."""
    height, width = (grid.rows + 2 * MARGIN) * pixels, (grid.columns + 2 * MARGIN) * pixels
    step = grid.cell / pixels
    start_row = grid.top - MARGIN * grid.cell + step / 2 - 0.5
    start_col = grid.left - MARGIN * grid.cell + step / 2 - 0.5
    matrix = np.array([[step, 0, start_col], [0, step, start_row]])
    laid = cv2.warpAffine(
        values.astype(np.float32), matrix, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    return np.asarray(laid, dtype=np.float32)


def lay_mask(ink: MaskArray, grid: Grid, pixels: int) -> MaskArray:
    """Return the mask resampled to exactly ``pixels`` a cell, with `MARGIN` bare cells all round."""
    mask = lay_tone(ink, grid, pixels) >= 0.5
    edge = MARGIN * pixels - pixels // 2
    inside = np.zeros(mask.shape, dtype=np.bool_)
    inside[edge:-edge, edge:-edge] = True
    return np.asarray(mask & inside)


def find_phase(
    table: npt.NDArray[np.float64],
    box: Bounds,
    plain: Grid,
    rule: str,
    centred_rows: bool = False,
    centred_cols: bool = False,
    diagonals: tuple[npt.NDArray[np.float64], ...] = (),
    diagonal_weight: float = 0.0,
) -> Grid:
    """Slide and stretch the grid by parts of a stitch to where its cells are clearest.

    Parameters
    ----------
    table : ndarray of shape (H + 1, W + 1)
        Summed-area table of the ink.
    box : top, left, bottom, right
        Of the ink, in pixels.
    plain : Grid
        From `lay_plain`.
    rule : "columns" or "rows"
        The side whose number of stitches is fixed; the other may gain one.
    centred_rows, centred_cols : bool
        Keep the grid centred on the box along the rows or the columns.
    diagonals : two ndarrays
        From `axis.find_diagonals`: thin strokes at 45 degrees, which want to run through corners of cells.
    diagonal_weight : float
        Stitches that one of these points stands for.

    Returns
    -------
    Grid

    Notes
    -----
    Clearness: the sum over cells of coverage times (1 - coverage), per length of boundary, is least. A stroke split by
    a grid line costs more than one inside a row of cells, and an edge at half coverage costs most. Of equal grids the
    one nearest to the plain grid is taken.
    """
    top, left, bottom, right = box
    height, width = bottom - top, right - left
    fixed = plain.columns if rule == "columns" else plain.rows
    length = width if rule == "columns" else height
    most = min(0.8, 0.04 * fixed + 0.2)
    best: tuple[float, float, Grid] | None = None
    centred_fixed, centred_free = (centred_cols, centred_rows) if rule == "columns" else (centred_rows, centred_cols)
    low = left if rule == "columns" else top
    free_low, free_span = (top, height) if rule == "columns" else (left, width)
    axis = 1 if rule == "columns" else 0
    for slack in (-0.3, -0.15, *np.linspace(0.0, most, 6)):
        cell = length / (fixed - slack)
        share = np.array([0.5]) if centred_fixed or slack < 0 else np.linspace(0.0, 1.0, 5 if abs(slack) > 0.3 else 3)
        free_count = int(np.ceil(free_span / cell - 1e-6)) + 1
        if centred_free:
            counts = sorted({max(1, round(free_span / cell - 0.15)), max(1, round(free_span / cell + 0.35))})
            free_starts = [(free_low + free_span / 2 - cell * n / 2, n) for n in counts]
        else:
            free_starts = [(free_low - cell * k / 8, free_count) for k in range(8)]
        for free_start, count in free_starts:
            if max(count, fixed) > MAX_SIDE:
                continue
            along = sample_table(table, free_start + cell * np.arange(count + 1), 1 - axis)
            along = np.diff(along, axis=1 - axis)
            for part in share:
                start = low - slack * cell * part
                edges = start + cell * np.arange(fixed + 1)
                cover = np.diff(sample_table(along, edges, axis), axis=axis) / cell**2
                unclear = float((cover * (1 - cover)).sum() * cell)
                off = abs(part - 0.5) * abs(slack) + abs(slack)
                grid = (
                    Grid(free_start, start, cell, count, fixed)
                    if rule == "columns"
                    else Grid(start, free_start, cell, fixed, count)
                )
                if diagonal_weight > 0:
                    row, col = (free_start, start) if rule == "columns" else (start, free_start)
                    unclear += 2 * cell * diagonal_weight * _beside_corners(diagonals, row, col, cell)
                value = unclear * (1 + 0.02 * off)
                if best is None or value < best[0] - 1e-9:
                    best = (value, off, grid)
    return plain if best is None else best[2]


def _beside_corners(diagonals: tuple[npt.NDArray[np.float64], ...], row: float, col: float, cell: float) -> float:
    """Return the summed squares of how far, in stitches, diagonal strokes pass beside the corners of cells."""
    falling = (diagonals[0] - row + col) / cell
    rising = (diagonals[1] - row - col) / cell
    return float(((falling - np.rint(falling)) ** 2).sum() + ((rising - np.rint(rising)) ** 2).sum())
