"""The photo with what was read laid over it, for checking by eye."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import as_picture
from converter.squares import density
from converter.squares.reading import SquaresReading

GRID = (20, 120, 215)
STITCH = (0, 150, 60)
DOUBT = (245, 130, 0)
LINE = (200, 0, 120)
LONGEST_PX = 2400
LEAST_SIDE_PX = 26.0
"""Squares narrower than this are drawn larger, as far as the picture's size allows: marks on them could not be told."""
_SHIFT = 4
_INWARD = 0.12
"""Part of the way to its middle that the frame of a square is drawn in, so that two side by side are two."""


def draw_overlay(
    image: npt.NDArray[np.uint8], reading: SquaresReading, longest: int = LONGEST_PX
) -> npt.NDArray[np.uint8]:
    """Return the photo with the found grid, the squares taken as stitches and the doubtful squares marked.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) or (H, W, 4), uint8
        The picture that was read.
    reading : SquaresReading
    longest : int
        Longest side of the result in pixels; larger photos are reduced, those with small squares enlarged.

    Returns
    -------
    overlay : ndarray of shape (h, w, 3), uint8
        Grid in blue, a green dot in each square taken as a stitch, a thick orange frame within each doubtful square,
        backstitches in magenta.
    """
    rgb = density.as_rgb(as_picture(image))
    crossings = np.asarray(reading.corners)
    side = float(np.median(np.hypot(*np.diff(crossings, axis=1).reshape(-1, 2).T)))
    scale = min(longest / max(rgb.shape[:2]), max(1.0, LEAST_SIDE_PX / max(side, 1.0)))
    out = _resized(rgb, scale)
    factor = out.shape[0] / rgb.shape[0]
    nodes, side = (crossings + 0.5) * factor - 0.5, side * factor
    points = np.round(nodes[..., ::-1] * 2**_SHIFT).astype(np.int32)
    thin = max(1, round(side / 18))
    runs = [points[i].reshape(-1, 1, 2) for i in range(points.shape[0])]
    runs += [points[:, j].reshape(-1, 1, 2) for j in range(points.shape[1])]
    cv2.polylines(out, [np.ascontiguousarray(r) for r in runs], False, GRID, thin, cv2.LINE_AA, _SHIFT)
    middle = (points[:-1, :-1].astype(np.int64) + points[1:, 1:] + points[:-1, 1:] + points[1:, :-1]) // 4
    radius = max(1 << _SHIFT, round(side * 0.16 * 2**_SHIFT))
    for r, c in np.argwhere(reading.cells):
        cv2.circle(out, (int(middle[r, c, 0]), int(middle[r, c, 1])), radius, STITCH, -1, cv2.LINE_AA, _SHIFT)
    for a, b in np.asarray(reading.lines):
        ends = [_at(points, a), _at(points, b)]
        cv2.line(out, ends[0], ends[1], LINE, max(2, round(side / 7)), cv2.LINE_AA, _SHIFT)
    for r, c in np.argwhere(reading.doubtful):
        corners = np.array([points[r, c], points[r, c + 1], points[r + 1, c + 1], points[r + 1, c]], np.float64)
        frame = np.round(corners + _INWARD * (corners.mean(axis=0) - corners)).astype(np.int32)
        cv2.polylines(out, [frame.reshape(-1, 1, 2)], True, DOUBT, max(2, round(side / 8)), cv2.LINE_AA, _SHIFT)
    return out


def _resized(rgb: npt.NDArray[np.uint8], scale: float) -> npt.NDArray[np.uint8]:
    """Return a copy of the picture, reduced or enlarged."""
    if scale <= 1:
        return np.ascontiguousarray(density.shrink(rgb, scale)).copy()
    size = (round(rgb.shape[1] * scale), round(rgb.shape[0] * scale))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_CUBIC), dtype=np.uint8)


def _at(points: npt.NDArray[np.int32], hole: npt.NDArray[np.float64]) -> tuple[int, int]:
    """Return the fixed-point pixel of a hole, halves between two crossings."""
    low, high = np.floor(hole).astype(int), np.ceil(hole).astype(int)
    four = [points[r, c].astype(np.int64) for r in (low[0], high[0]) for c in (low[1], high[1])]
    x, y = sum(four) // 4
    return int(x), int(y)
