"""The small tilt of a drawing photographed or scanned askew."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import GrayArray
from converter.raster.around import blur

MOST_DEGREES = 6.0
LEAST_DEGREES = 0.35
LEAST_SHARE = 0.22
"""Share of all edges that must agree on the tilt."""
BIN_DEGREES = 0.25


def find_tilt(gray: GrayArray) -> float:
    """Return the angle, degrees, by which upright and level edges of a drawing are turned.

    Parameters
    ----------
    gray : ndarray of shape (H, W), float32

    Returns
    -------
    float
        Positive if the picture must be turned counterclockwise to stand straight; 0 if it has no straight edges to go
        by, if they are straight already, or if they tilt both ways alike (a symmetric drawing stays as it is).
    """
    soft = blur(gray, 1.5)
    across = cv2.Scharr(soft, cv2.CV_32F, 1, 0)
    down = cv2.Scharr(soft, cv2.CV_32F, 0, 1)
    least = 0.25 * float(np.percentile(np.hypot(across[::2, ::2], down[::2, ::2]), 99.7))
    # Roots are slow: first the squares part the few strong edges from the rest, with room for rounding.
    likely = np.flatnonzero(across * across + down * down > 0.99 * least**2)
    across, down = across.ravel()[likely], down.ravel()[likely]
    size = np.hypot(across, down)
    strong = size > least
    across, down, size = across[strong], down[strong], size[strong]
    if len(size) < 100:
        return 0.0
    angle = np.degrees(np.arctan2(down, across))
    folded = (angle + 45) % 90 - 45
    weight = np.minimum(size, np.percentile(size, 80))
    edges = np.arange(-45, 45 + BIN_DEGREES, BIN_DEGREES)
    counts, _ = np.histogram(folded, bins=edges, weights=weight)
    heap = np.convolve(counts, np.ones(7), mode="same") / float(counts.sum())
    middle = (edges[:-1] + edges[1:]) / 2
    allowed = np.abs(middle) <= MOST_DEGREES
    at = int(np.argmax(np.where(allowed, heap, 0)))
    mirrored = heap[::-1][at]
    straight = heap[np.abs(middle) <= 0.2].max()
    if heap[at] < LEAST_SHARE or heap[at] < 2 * mirrored or heap[at] < 1.5 * straight:
        return 0.0
    close = np.abs(folded - middle[at]) < 1.0
    tilt = float(np.average(folded[close], weights=weight[close]))
    return tilt if LEAST_DEGREES <= abs(tilt) <= MOST_DEGREES else 0.0


def turn_back(gray: GrayArray, tilt: float) -> tuple[GrayArray, npt.NDArray[np.float64]]:
    """Return the picture turned straight about its middle, and the (3, 3) map of (row, col, 1) back to the tilted."""
    height, width = gray.shape
    angle = np.radians(tilt)
    cos, sin = float(np.cos(angle)), float(np.sin(angle))
    mid_row, mid_col = height / 2, width / 2
    # (row, col) of the straight picture to the tilted one, edge coordinates.
    back = np.array(
        [
            [cos, sin, mid_row - cos * mid_row - sin * mid_col],
            [-sin, cos, mid_col + sin * mid_row - cos * mid_col],
            [0, 0, 1.0],
        ]
    )
    centre = np.array([[1.0, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    pixel = np.linalg.inv(centre) @ back @ centre
    xy = pixel[[1, 0]][:, [1, 0, 2]]
    out = cv2.warpAffine(
        gray, xy, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(out, dtype=np.float32), back
