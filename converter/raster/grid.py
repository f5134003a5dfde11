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

MARGIN = 3
"""Bare cells kept round the grid while working."""

PHASES = 8
"""Places within a stitch at which the grid is tried."""
STAIRS = 0.25
"""Stitches that a diagonal stroke costs for each of its length, where it passes too far from the corners of cells to be
drawn by cells that touch there alone."""
PAST_CORNERS = 0.19
"""How far that is, along the rows, in stitches: sqrt(2) times what leaves the axis within reach (0.72) half-way between
two such cells (0.707 from either)."""
FEW = 160
"""Stitches; on wider charts only half as many are tried."""

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
    mask[:edge] = mask[-edge:] = False
    mask[:, :edge] = mask[:, -edge:] = False
    return np.asarray(mask)


def find_phase(
    ink: MaskArray,
    box: Bounds,
    plain: Grid,
    rule: str,
    centred_rows: bool = False,
    centred_cols: bool = False,
    diagonals: tuple[npt.NDArray[np.float64], ...] = (),
    diagonal_weight: float = 0.0,
    straights: tuple[npt.NDArray[np.float64], ...] = (),
    most_bare: tuple[float, float] = (1.0, 1.0),
) -> Grid:
    """Slide and stretch the grid by parts of a stitch to where its cells are clearest.

    Parameters
    ----------
    ink : ndarray of shape (H, W), bool
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
    straights : two ndarrays
        From `axis.find_straights`: thin strokes that run level and upright, which want to run through middles of cells.
    most_bare : two floats
        Stitches of the first and of the last column (or row) of the fixed side that may lie outside the box. More would
        leave it without a stitch.

    Returns
    -------
    Grid

    Notes
    -----
    Clearness: the sum over cells of coverage times (1 - coverage), per length of boundary, is least. A stroke split by
    a grid line costs more than one inside a row of cells, and an edge at half coverage costs most. Thin strokes add
    the square of their distance from where they want to run. Of equal grids the one nearest to the plain grid is taken.
    """
    if rule == "columns":
        found = _find_phase(
            ink.view(np.uint8),
            box,
            plain.columns,
            (centred_rows, centred_cols),
            diagonals,
            diagonal_weight,
            straights,
            most_bare,
        )
        if found is None:
            return plain
        down, across, cell, count = found
        return Grid(down, across, cell, count, plain.columns)
    turned = (diagonals[0] * -1, diagonals[1]) if diagonals else ()
    upright = np.ascontiguousarray(ink.view(np.uint8).T)
    top, left, bottom, right = box
    found = _find_phase(
        upright,
        (left, top, right, bottom),
        plain.rows,
        (centred_cols, centred_rows),
        turned,
        diagonal_weight,
        straights[::-1],
        most_bare,
    )
    if found is None:
        return plain
    across, down, cell, count = found
    return Grid(down, across, cell, plain.rows, count)


def _find_phase(
    ink: npt.NDArray[np.uint8],
    box: Bounds,
    fixed: int,
    centred: tuple[bool, bool],
    diagonals: tuple[npt.NDArray[np.float64], ...],
    diagonal_weight: float,
    straights: tuple[npt.NDArray[np.float64], ...],
    most_bare: tuple[float, float],
) -> tuple[float, float, float, int] | None:
    """Return top, left, cell and rows of the clearest grid of ``fixed`` columns.

    For each stretch the ink is brought to `PHASES` pixels a cell; one box filter then gives the coverage of the cells
    at all phases together.
    """
    top, left, bottom, right = box
    height, width = bottom - top, right - left
    most = min(0.8, 0.04 * fixed + 0.2)
    parts = PHASES if fixed <= FEW else PHASES // 2
    best: tuple[float, tuple[float, float, float, int]] | None = None
    shrunken: dict[int, npt.NDArray[np.uint8]] = {}
    for slack in (-0.3, -0.15, *np.linspace(0.0, most, 6)):
        cell = width / (fixed - slack)
        if centred[0]:
            counts = sorted({max(1, round(height / cell - 0.15)), max(1, round(height / cell + 0.35))})
            first = top + height / 2 - cell * counts[0] / 2
            downs = [(-k * parts // 2, n) for k, n in enumerate(counts)]
        else:
            first = top
            downs = [(-k, int(np.ceil(height / cell - 1e-6)) + 1) for k in range(parts)]
        if max(fixed, max(n for _, n in downs)) > MAX_SIDE:
            continue
        reach = 0 if centred[1] or slack < 0 else int(slack / 2 * parts)
        start = left - slack * cell / 2
        less = max(1, int(cell / parts))
        if less not in shrunken:
            shrunken[less] = _shrink(ink, less)
        unclear = _unclear(shrunken[less], less, (first, start, cell), (max(n for _, n in downs), fixed), parts)
        aslant = (
            _beside_corners(diagonals, first - start, first + start, cell, parts, STAIRS)
            if diagonal_weight > 0
            else None
        )
        beside = _beside_corners(straights, first + cell / 2, start + cell / 2, cell, parts) if straights else None
        for down, count in downs:
            along = unclear[parts + down :: parts][:count].sum(axis=0)
            for across in sorted(range(-reach, reach + 1), key=abs):
                if slack / 2 - across / parts > most_bare[0] or slack / 2 + across / parts > most_bare[1]:
                    continue
                value = float(along[parts + across :: parts][:fixed].sum()) * cell
                if aslant is not None:
                    value += (
                        2
                        * cell
                        * diagonal_weight
                        * (aslant[0][(down - across) % parts] + aslant[1][(down + across) % parts])
                    )
                if beside is not None:
                    value += 2 * cell * diagonal_weight * (beside[0][down % parts] + beside[1][across % parts])
                value *= 1 + 0.02 * (abs(across) / parts + abs(slack))
                if best is None or value < best[0] - 1e-6:
                    best = value, (first + cell * down / parts, start + cell * across / parts, cell, count)
    return None if best is None else best[1]


def _shrink(ink: npt.NDArray[np.uint8], less: int) -> npt.NDArray[np.uint8]:
    """Return the ink so many times smaller both ways, 0 to 255."""
    full = ink * np.uint8(255)
    if less == 1:
        return full
    full = np.asarray(
        cv2.copyMakeBorder(full, 0, -ink.shape[0] % less, 0, -ink.shape[1] % less, cv2.BORDER_CONSTANT, value=0),
        dtype=np.uint8,
    )
    size = (full.shape[1] // less, full.shape[0] // less)
    return np.asarray(cv2.resize(full, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _unclear(
    source: npt.NDArray[np.uint8], less: int, place: tuple[float, float, float], shape: tuple[int, int], parts: int
) -> npt.NDArray[np.float32]:
    """Return coverage times (1 - coverage) of the cell that begins at each pixel; the first is one cell before.

    The source is ``less`` times smaller than the pixels in which top, left and cell are given.
    """
    top, left, cell = (value / less for value in place)
    step = place[2] / parts / less
    matrix = np.array([[step, 0, left - cell + step / 2 - 0.5], [0, step, top - cell + step / 2 - 0.5]])
    size = ((shape[1] + 2) * parts, (shape[0] + 2) * parts)
    laid = cv2.warpAffine(source, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    cover = cv2.boxFilter(
        laid, cv2.CV_32F, (parts, parts), anchor=(0, 0), normalize=False, borderType=cv2.BORDER_CONSTANT
    )
    share = np.asarray(cover, dtype=np.float32)
    share /= np.float32(255 * parts * parts)
    share -= share * share
    return share


def _beside_corners(
    diagonals: tuple[npt.NDArray[np.float64], ...],
    falling: float,
    rising: float,
    cell: float,
    parts: int,
    stairs: float = 0.0,
) -> list[list[float]]:
    """Return the summed squares of how far, in stitches, diagonal strokes pass beside the corners, for each phase."""
    out = []
    for values, origin in zip(diagonals, (falling, rising), strict=True):
        off = (values - origin) / cell
        sums = []
        for k in range(parts):
            far = off - k / parts
            far = np.abs(far - np.rint(far))
            sums.append(float((far**2).sum() + stairs * (far > PAST_CORNERS).sum()))
        out.append(sums)
    return out
