"""Names, dtypes and checks of the arrays that pass between the stages."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from converter.errors import UsageError

type_gray = np.float32
type_cells = np.bool_
type_lines = np.float64

GrayArray = npt.NDArray[np.float32]
"""(H, W), 0 black to 1 white, sRGB-coded unless called linear."""
CellArray = npt.NDArray[np.bool_]
"""(rows, cols), True = full cross."""
MaskArray = npt.NDArray[np.bool_]
"""(H, W) on the picture, True = ink or marked."""
LabelArray = npt.NDArray[np.int32]
"""(H, W) or (rows, cols), 0 = none."""
PointArray = npt.NDArray[np.float64]
"""(K, 2), (row, col)."""
LineArray = npt.NDArray[np.float64]
"""(K, 2, 2): K backstitches, each two holes (row, col)."""
PictureArray = npt.NDArray[np.uint8]
"""(H, W), (H, W, 3) RGB or (H, W, 4) RGBA."""


def as_cells(value: Any, name: str = "cells") -> CellArray:
    """Return a fresh bool array of shape (rows, cols), or raise UsageError."""
    array = np.asarray(value)
    if array.ndim != 2 or array.shape[0] < 1 or array.shape[1] < 1:
        raise UsageError(f"{name} must be a grid with at least one row and one column, not shape {array.shape}.")
    if array.dtype != np.bool_ and not np.isin(array, (0, 1)).all():
        raise UsageError(f"{name} must hold only True and False.")
    return np.array(array, dtype=np.bool_)


def as_lines(value: Any, name: str = "lines") -> LineArray:
    """Return a fresh float array of shape (K, 2, 2), or raise UsageError."""
    array = np.array(value, dtype=np.float64)
    if array.size == 0:
        return np.zeros((0, 2, 2), dtype=np.float64)
    if array.ndim != 3 or array.shape[1:] != (2, 2):
        raise UsageError(f"{name} must have shape (K, 2, 2), not {array.shape}.")
    return array


def as_picture(value: Any) -> PictureArray:
    """Return a uint8 picture (H, W), (H, W, 3) or (H, W, 4), or raise UsageError."""
    array = np.asarray(value)
    if array.dtype == np.bool_:
        array = np.where(array, np.uint8(255), np.uint8(0))
    if array.dtype != np.uint8:
        raise UsageError(f"A picture must be uint8, not {array.dtype}.", "Scale it to 0..255 first.")
    if array.ndim == 3 and array.shape[2] == 1:
        array = array[:, :, 0]
    if array.ndim not in (2, 3) or (array.ndim == 3 and array.shape[2] not in (3, 4)) or min(array.shape) < 1:
        raise UsageError(f"A picture must have shape (H, W), (H, W, 3) or (H, W, 4), not {array.shape}.")
    return array
