"""Copies of a picture and of marks on it at another size."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import GrayArray, MaskArray
from converter.raster.deskew import turn_back


def size_at(shape: tuple[int, ...], scale: float, least: int) -> tuple[int, int]:
    """Return columns and rows of a copy, as OpenCV takes them, at least so many each."""
    return max(least, round(shape[1] * scale)), max(least, round(shape[0] * scale))


def laid_on(mask: MaskArray, shape: tuple[int, ...], tilt: float = 0.0) -> MaskArray:
    """Return marks resampled to a shape, and straightened."""
    small = cv2.resize(mask.view(np.uint8), (shape[1], shape[0]), interpolation=cv2.INTER_NEAREST)
    if tilt == 0:
        return np.asarray(small).view(np.bool_)
    return np.asarray(turn_back(np.asarray(small, dtype=np.float32), tilt)[0] > 0.5)


def resize(gray: npt.NDArray[np.uint8], scale: float) -> GrayArray:
    """Return the picture at exactly ``scale``, so that cells stay square whatever the rounded size."""
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    if min(gray.shape) * scale < 1:
        scale = 1 / min(gray.shape)
    out = cv2.resize(gray, None, fx=scale, fy=scale, interpolation=how)
    return np.asarray(out / np.float32(255), dtype=np.float32)


def resize_float(gray: GrayArray, scale: float) -> GrayArray:
    """Return a gray copy, 0 to 1, at about ``scale``, or the picture itself if that is no smaller."""
    if scale >= 1:
        return gray
    return np.asarray(cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), dtype=np.float32)
