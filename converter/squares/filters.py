"""Small filters over the squares of a sheet, on OpenCV and numpy alone.

The sheet's arrays are a few thousand numbers, so what counts is that nothing heavy has to be loaded for them: the quick
look at every picture goes through here.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def gaussian(values: npt.NDArray[Any], sigma: float, edge: bool = False) -> Floats:
    """Return the Gaussian average of (n, m); beyond the rim there is nothing, or with ``edge`` the rim goes on."""
    size = 2 * int(4 * sigma + 0.5) + 1
    border = cv2.BORDER_REPLICATE if edge else cv2.BORDER_CONSTANT
    blurred = cv2.GaussianBlur(np.asarray(values, dtype=np.float64), (size, size), sigma, borderType=border)
    return np.asarray(blurred, dtype=np.float64)


def box(values: npt.NDArray[Any], size: int) -> Floats:
    """Return the plain average over ``size`` by ``size`` of (n, m); beyond the rim there is nothing."""
    return np.asarray(
        cv2.blur(np.asarray(values, dtype=np.float64), (size, size), borderType=cv2.BORDER_CONSTANT), dtype=np.float64
    )


def lowest(values: npt.NDArray[Any], size: int) -> Floats:
    """Return the least value within ``size`` by ``size``."""
    return np.asarray(
        cv2.erode(np.asarray(values, dtype=np.float64), np.ones((size, size), np.uint8)), dtype=np.float64
    )


def highest(values: npt.NDArray[Any], size: int) -> Floats:
    """Return the greatest value within ``size`` by ``size``."""
    return np.asarray(
        cv2.dilate(np.asarray(values, dtype=np.float64), np.ones((size, size), np.uint8)), dtype=np.float64
    )


def widened(mask: npt.NDArray[np.bool_], by: int = 1) -> npt.NDArray[np.bool_]:
    """Return the mask grown by ``by`` squares to all eight sides."""
    side = 2 * by + 1
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((side, side), np.uint8)) > 0)


def median3(values: npt.NDArray[Any]) -> Floats:
    """Return the median over three by three; beyond the rim the rim goes on."""
    if values.size == 0:
        return np.asarray(values, dtype=np.float64)
    return np.asarray(cv2.medianBlur(np.asarray(values, dtype=np.float32), 3), dtype=np.float64)


def running_median(values: npt.NDArray[Any], size: int) -> Floats:
    """Return the median along the second axis of (n, m) over ``size`` (odd); beyond the rim the rim goes on."""
    half = size // 2
    padded = np.pad(np.asarray(values, dtype=np.float64), ((0, 0), (half, half)), mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, size, axis=1), axis=2))


def quantile_near(values: npt.NDArray[Any], part: float, size: int) -> npt.NDArray[np.float32]:
    """Return the quantile ``part`` over ``size`` by ``size`` (odd) of (n, m); beyond the rim the rim goes on."""
    half = size // 2
    padded = np.pad(np.asarray(values, dtype=np.float32), half, mode="edge")
    at = round(part * (size * size - 1))
    out = np.empty(values.shape, np.float32)
    for row in range(values.shape[0]):
        windows = np.lib.stride_tricks.sliding_window_view(padded[row : row + size], (size, size))[0]
        out[row] = np.partition(windows.reshape(values.shape[1], -1), at, axis=1)[:, at]
    return out


def smooth_line(values: npt.NDArray[Any], sigma: float) -> Floats:
    """Return the Gaussian average of (n,); beyond the ends there is nothing."""
    reach = max(1, int(4 * sigma + 0.5))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    return np.asarray(np.convolve(np.asarray(values, dtype=np.float64), kernel / kernel.sum(), mode="same"))


def groups(mask: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.int32], int]:
    """Return the eight-connected groups of a mask, numbered from 1, and how many there are."""
    count, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    return np.asarray(labels, dtype=np.int32), int(count) - 1
