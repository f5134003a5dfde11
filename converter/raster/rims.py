"""Edges of coloured areas without an outline: areas too pale to be stitched full, but plainly parted from the paper."""

from __future__ import annotations

import cv2
import numpy as np

from converter.model.arrays import GrayArray, MaskArray
from converter.raster.around import blur, grow, square
from converter.raster.light import LIFT, Ink

SHARP = 0.12
"""Share of the usual ink contrast that lies between neighbouring pixels on a sharp edge; a shadow's edge is softer."""
ABOVE_NOISE = 5.0
"""Times the usual difference between neighbouring pixels that it is at least."""
CLEAR_OF_INK = 9
"""Pixels, side of the square round an edge that must hold no ink."""
LEAST_LENGTH = 0.15
"""Share of the picture's longer side that such an edge spans at least."""
PALER = 0.1
"""Share of the contrast by which the area inside must be darker than what lies outside."""


def find_rims(gray: GrayArray, ink: Ink) -> MaskArray | None:
    """Return the edges of pale areas, as lines some two or three pixels wide, or None if there are none.

    Parameters
    ----------
    gray : ndarray of shape (H, W), float32, 0 to 1
        A copy of at most some 700 pixels.
    ink : Ink
        Found on it.

    Notes
    -----
    Only areas darker than what surrounds them count: the edge of a sheet of paper on a table is none.
    """
    if ink.grainy or not ink.mask.any():
        return None
    level = np.log(blur(gray, 0.7) + np.float32(LIFT))
    foot = square(3)
    span = cv2.dilate(level, foot) - cv2.erode(level, foot)
    near = grow(ink.mask, CLEAR_OF_INK)
    least = max(SHARP * ink.contrast, ABOVE_NOISE * float(np.median(span[::3, ::3].ravel())))
    edge = np.asarray((span > least) & ~near)
    if not edge.any():
        return None
    joined = grow(edge)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined.view(np.uint8), connectivity=8)
    kept = np.zeros(count, dtype=np.bool_)
    long = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) > LEAST_LENGTH * max(gray.shape)
    wall = joined | near
    long[0] = False
    for label in np.flatnonzero(long):
        kept[label] = _is_darker_inside(labels == label, wall, level, ink.contrast)
    found = np.asarray(kept[labels] & edge)
    return found if found.any() else None


def _is_darker_inside(rim: MaskArray, wall: MaskArray, level: GrayArray, contrast: float) -> bool:
    """Return whether a rim, closed by the ink and the rims it runs to, holds something darker than lies outside."""
    framed = np.pad(~wall, 1, constant_values=True).view(np.uint8)
    _, grounds = cv2.connectedComponents(framed, connectivity=4, ltype=cv2.CV_32S)
    outside = grounds[1:-1, 1:-1] == grounds[0, 0]
    close = grow(rim, 7) & ~wall
    inner, outer = close & ~outside, close & outside
    if inner.sum() < 0.2 * outer.sum() or not outer.any():
        return False
    return float(np.mean(level[inner])) < float(np.mean(level[outer])) - PALER * contrast
