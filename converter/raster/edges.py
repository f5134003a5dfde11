"""Edges of what is drawn without ink, and how sharp they are: a shadow has an edge too, but a soft one."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import LabelArray, MaskArray
from converter.raster.around import square

NEAR, FAR = 3, 11
"""Pixels over which the steps at an edge are compared."""
SHARP, SOFT = 0.5, 0.3
"""Shares of the step over the longer that lie within the shorter, at a sharp and at a soft edge; a shadow has less."""
MOSTLY = 0.3
"""Share of a piece that must be sharp: a small picture that was enlarged is sharp in places only."""
EVEN, EVENLY = 6, 0.95
"""Levels round the usual one, in each component, and the share of the rim within them, of paper in even light."""

Levels = npt.NDArray[np.uint8]


def span(levels: Levels, side: int) -> Levels:
    """Return the difference of the greatest and the least level in the square round each pixel, in each component."""
    foot = square(side)
    return np.asarray(cv2.dilate(levels, foot) - cv2.erode(levels, foot), dtype=np.uint8)


def steps(picture: Levels) -> tuple[Levels, Levels]:
    """Return the steps (H, W) over `NEAR` and `FAR` pixels in the component in which the nearer is greatest."""
    near, far = span(picture, NEAR), span(picture, FAR)
    if picture.ndim == 2:
        return near, far
    which = near.argmax(axis=2)[:, :, None]
    return np.take_along_axis(near, which, axis=2)[:, :, 0], np.take_along_axis(far, which, axis=2)[:, :, 0]


def sharp_pieces(
    where: MaskArray, near: Levels, far: Levels
) -> tuple[LabelArray, npt.NDArray[np.int32], npt.NDArray[np.bool_]]:
    """Return the pieces of possible edges that are sharp enough.

    Parameters
    ----------
    where : ndarray of shape (H, W), bool
        Where an edge may be.
    near, far : ndarray of shape (H, W), uint8
        From `steps`.

    Returns
    -------
    labels : ndarray of shape (H, W), int32
        8-connected pieces that are soft at least, 0 elsewhere.
    stats : ndarray of shape (pieces + 1, 5), int32
        Left, top, width, height and pixels of each.
    sharp : ndarray of shape (pieces + 1,), bool
        Those that are sharp over a good part of their length.
    """
    soft = where & (near > SOFT * far)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(soft.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    pixels = stats[:, cv2.CC_STAT_AREA]
    sharp = np.bincount(labels[where & (near > SHARP * far)], minlength=len(pixels)) > MOSTLY * pixels
    sharp[0] = False
    return np.asarray(labels, dtype=np.int32), np.asarray(stats, dtype=np.int32), sharp


def rim_of(shape: tuple[int, ...]) -> MaskArray:
    """Return the pixels along the sides of a picture as a mask."""
    rim = np.zeros(shape, dtype=np.bool_)
    rim[[0, -1]] = True
    rim[:, [0, -1]] = True
    return rim


def is_even(picture: Levels) -> bool:
    """Return whether the paper at the sides of a picture (H, W) or (H, W, 3) is all of one colour, as if drawn there.

    A lamp, a shadow and a camera's noise each make it uneven.
    """
    values = picture[rim_of(picture.shape[:2])].astype(np.int16)
    away = np.abs(values - np.median(values, axis=0)).reshape(len(values), -1).max(axis=1)
    return float((away <= EVEN).mean()) >= EVENLY
