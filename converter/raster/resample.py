"""Area averaging onto the stitch grid, at any phase and scale."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CoverageArray


def summed_area(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """Return the summed-area table (H + 1, W + 1) of an array of shape (H, W)."""
    return np.asarray(cv2.integral(values, sdepth=cv2.CV_64F))


def average_cells(
    table: npt.NDArray[np.float64], row_edges: npt.NDArray[np.float64], col_edges: npt.NDArray[np.float64]
) -> CoverageArray:
    """Return the mean over each cell of a grid laid over a picture.

    Parameters
    ----------
    table : ndarray of shape (H + 1, W + 1)
        From `summed_area`.
    row_edges, col_edges : ndarray of shape (rows + 1,) and (cols + 1,)
        Grid lines in pixels, ascending; fractions of pixels count by area, and what lies
        outside the picture counts as 0.

    Returns
    -------
    ndarray of shape (rows, cols), float32
    """
    sums = sample_table(sample_table(table, row_edges, 0), col_edges, 1)
    area = np.outer(np.diff(row_edges), np.diff(col_edges))
    cells = np.diff(np.diff(sums, axis=0), axis=1) / area
    return np.asarray(cells, dtype=np.float32)


def sample_table(table: npt.NDArray[np.float64], at: npt.NDArray[np.float64], axis: int) -> npt.NDArray[np.float64]:
    """Return a table at fractional places along one axis, by linear interpolation, held inside it."""
    last = table.shape[axis] - 1
    held = np.clip(at, 0, last)
    low = np.minimum(held.astype(np.intp), last - 1)
    share = held - low
    share = share[:, None] if axis == 0 else share[None, :]
    mixed = np.take(table, low, axis) * (1 - share) + np.take(table, low + 1, axis) * share
    return np.asarray(mixed, dtype=np.float64)
