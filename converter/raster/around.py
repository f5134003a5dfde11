"""What lies round each pixel: OpenCV's filters in the words and with the sides used throughout.

Beyond the sides of a picture lies nothing that would change what is found inside.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import GrayArray, MaskArray


def square(side: int) -> npt.NDArray[np.uint8]:
    """Return the footprint of a square of so many pixels."""
    return np.ones((side, side), np.uint8)


def grow(mask: MaskArray, side: int = 3) -> MaskArray:
    """Return the mask with the square round each of its pixels."""
    return np.asarray(cv2.dilate(mask.view(np.uint8), square(side))).view(np.bool_)


def shrink(mask: MaskArray, side: int = 3) -> MaskArray:
    """Return the pixels of the mask round which the whole square lies in it."""
    return np.asarray(cv2.erode(mask.view(np.uint8), square(side))).view(np.bool_)


def majority(mask: MaskArray, side: int) -> MaskArray:
    """Return whether most of the square round each pixel is in the mask."""
    return np.asarray(cv2.medianBlur(mask.view(np.uint8), side)).view(np.bool_)


def count_round(mask: MaskArray) -> npt.NDArray[np.uint8]:
    """Return how many of the nine pixels at and round each one are set."""
    counts = cv2.boxFilter(mask.view(np.uint8), cv2.CV_8U, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(counts, dtype=np.uint8)


def blur(plane: GrayArray, sigma: float) -> GrayArray:
    """Return the mean of the surroundings of each pixel, weighted by a bell of so many pixels."""
    return np.asarray(cv2.GaussianBlur(plane, (0, 0), sigma), dtype=np.float32)
