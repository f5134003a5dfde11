"""The centre line of ink: where strokes run and how wide they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree
from skimage.morphology import skeletonize

from converter.model.arrays import MaskArray

TAPER_SLOPE = 0.3
"""Rise of the half-width along the axis from which on a narrow end is a tip or a corner and no stroke."""


@dataclass(frozen=True, eq=False)
class Axis:
    """Points of the centre line, in stitches of the laid grid."""

    points: npt.NDArray[np.float64]
    """(P, 2), (row, col)."""
    radius: npt.NDArray[np.float64]
    """(P,), half the width of the ink there, in stitches."""
    pixel: npt.NDArray[np.intp]
    """(P, 2), the pixel of the mask each point is the centre of."""


def move_axis(axis: Axis, pixels: int, top: float, left: float, cell: float, margin: int, laid_pixels: int) -> Axis:
    """Return an axis found on the working picture in the coordinates of the grid laid over it.

    Parameters
    ----------
    axis : Axis
        On the working picture, ``pixels`` a unit.
    top, left, cell : float
        Of the grid, in pixels of the working picture.
    margin : int
        Bare cells round the grid.
    laid_pixels : int
        Pixels a cell of the laid mask.
    """
    points = (axis.points * pixels - [top, left]) / cell + margin
    return Axis(points, axis.radius * pixels / cell, np.floor(points * laid_pixels).astype(np.intp))


def find_diagonals(axis: Axis, shape: tuple[int, int], pixels: int) -> tuple[npt.NDArray[np.float64], ...]:
    """Return row - col and row + col, in pixels, of the points on thin strokes that run at 45 degrees."""
    line = np.zeros((shape[0] + 6 * pixels, shape[1] + 6 * pixels), dtype=np.uint8)
    at = axis.pixel[axis.radius < 0.8]
    at = at[:: max(1, len(at) // 1200)]
    line[axis.pixel[:, 0] + 3 * pixels, axis.pixel[:, 1] + 3 * pixels] = 1
    line = np.asarray(cv2.dilate(line, np.ones((3, 3), np.uint8)), dtype=np.uint8)
    out = []
    for sense in (1, -1):
        on = np.ones(len(at), dtype=np.bool_)
        for k in (-2 * pixels, -pixels, pixels, 2 * pixels):
            on &= line[at[:, 0] + 3 * pixels + k, at[:, 1] + 3 * pixels + sense * k] > 0
        out.append((at[on, 0] + 0.5) - sense * (at[on, 1] + 0.5))
    return tuple(out)


def ink_depth(ink: MaskArray, pixels: int) -> npt.NDArray[np.float32]:
    """Return how far inside the mask each pixel lies, in stitches; 0 outside."""
    depth = cv2.distanceTransform(ink.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    return np.asarray(depth, dtype=np.float32) / np.float32(pixels)


def find_axis(ink: MaskArray, depth: npt.NDArray[np.float32], pixels: int, narrow: float = 0.75) -> Axis:
    """Return the centre line of the ink without the spurs that run into corners and tips.

    Parameters
    ----------
    ink : ndarray of shape (H, W), bool
    depth : ndarray of shape (H, W)
        From `ink_depth`.
    pixels : int
        Pixels a stitch.
    narrow : float
        Points whose half-width (stitches) is larger are never taken for a spur.

    References
    ----------
    T. Y. Zhang, C. Y. Suen, A fast parallel algorithm for thinning digital patterns, Comm. ACM 27(3), 1984, 236-239
    (`skimage.morphology.skeletonize`); T. C. Lee, R. L. Kashyap, C. N. Chu, CVGIP 56(6), 1994, 462-478.
    """
    at = np.argwhere(_lengthen_ends(_skeleton(ink, depth, pixels), depth, pixels))
    radius = depth[at[:, 0], at[:, 1]].astype(np.float64)
    if len(at):
        spur = np.zeros(len(at), dtype=bool)
        small = np.flatnonzero(radius < narrow + 0.3)
        pairs = cKDTree(at[small]).query_pairs(0.8 * pixels, output_type="ndarray")
        pairs = small[np.concatenate([pairs, pairs[:, ::-1]])]
        apart = np.hypot(*(at[pairs[:, 0]] - at[pairs[:, 1]]).T) / pixels
        rise = radius[pairs[:, 1]] - radius[pairs[:, 0]]
        steep = (rise > TAPER_SLOPE * apart) & (rise > 0.1) & (radius[pairs[:, 0]] < narrow)
        spur[pairs[steep, 0]] = True
        at, radius = at[~spur], radius[~spur]
    return Axis(_smooth(at, ink.shape, pixels) / pixels, radius, at)


def _smooth(at: npt.NDArray[np.intp], shape: tuple[int, ...], pixels: int) -> npt.NDArray[np.float64]:
    """Return the points, in pixels, without the steps that a slanting line of pixels has.

    Each becomes the mean of the line within a third of a stitch; ends, where that would draw it in, stay.
    """
    points = at + 0.5
    reach = max(1, pixels // 3)
    side = (2 * reach + 1, 2 * reach + 1)
    line = np.zeros(shape, dtype=np.float32)
    line[at[:, 0], at[:, 1]] = 1
    sums = [cv2.boxFilter(line, -1, side, normalize=False, borderType=cv2.BORDER_CONSTANT)]
    for k in (0, 1):
        plane = np.zeros(shape, dtype=np.float32)
        plane[at[:, 0], at[:, 1]] = at[:, k]
        sums.append(cv2.boxFilter(plane, -1, side, normalize=False, borderType=cv2.BORDER_CONSTANT))
    number, rows, cols = (each[at[:, 0], at[:, 1]].astype(np.float64) for each in sums)
    mean = np.stack([rows, cols], axis=1) / np.maximum(number, 1)[:, None] + 0.5
    whole = (number >= 2 * reach + 1) & (number <= 2 * reach + 2)
    return np.where(whole[:, None] & (np.abs(mean - points).max(axis=1) < 1.2)[:, None], mean, points)


def _skeleton(ink: MaskArray, depth: npt.NDArray[np.float32], pixels: int) -> MaskArray:
    """Return the skeleton; the slower of two methods is taken only where the quick one has eaten a slanting stroke."""
    thin: Any = skeletonize
    line = np.asarray(thin(ink), dtype=np.bool_)
    if not line.any():
        return line
    away = cv2.distanceTransform((~line).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5) / pixels
    # In the middle of a stroke the skeleton is at hand; a middle far from it has lost its skeleton.
    middle = ink & (depth >= cv2.dilate(depth, np.ones((3, 3), np.uint8)) - 1e-6)
    if (middle & (away > depth + 0.6)).any():
        return np.asarray(thin(ink, method="lee"), dtype=np.bool_)
    return line


def _lengthen_ends(skeleton: MaskArray, depth: npt.NDArray[np.float32], pixels: int) -> MaskArray:
    """Continue each end of the skeleton while the stroke stays about as wide: thinning eats the ends of strokes."""
    line = skeleton.view(np.uint8)
    around = cv2.filter2D(line, cv2.CV_8U, np.ones((3, 3), np.uint8), borderType=cv2.BORDER_CONSTANT)
    ends = np.argwhere(skeleton & (around <= 2))
    if len(ends) == 0:
        return skeleton
    at = np.argwhere(skeleton)
    tree = cKDTree(at)
    out = skeleton.copy()
    height, width = skeleton.shape
    reach = max(4.0, 0.6 * pixels)
    for end, group in zip(ends, tree.query_ball_point(ends, reach), strict=True):
        r, c = int(end[0]), int(end[1])
        wide = float(depth[max(0, r - 1) : r + 2, max(0, c - 1) : c + 2].max())
        ways = [] if len(group) < 5 else [end - at[group].mean(axis=0)]
        if not ways:
            ways = _long_way(depth, r, c, int(np.ceil(2.5 * wide * pixels)) + 2)
        for way in ways:
            length = float(np.hypot(*way))
            if length < 1e-6:
                continue
            step = way / length
            for k in range(1, 2 * pixels):
                nr, nc = round(r + k * step[0]), round(c + k * step[1])
                if not (0 <= nr < height and 0 <= nc < width) or depth[nr, nc] < 0.7 * wide:
                    break
                out[nr, nc] = True
    return out


def _long_way(depth: npt.NDArray[np.float32], r: int, c: int, reach: int) -> list[npt.NDArray[np.float64]]:
    """Return both senses of the longer axis of the ink round a lone point."""
    window = depth[max(0, r - reach) : r + reach + 1, max(0, c - reach) : c + reach + 1] > 0
    at = np.argwhere(window).astype(np.float64)
    at -= at.mean(axis=0)
    spread, ways = np.linalg.eigh(at.T @ at / len(at))
    if spread[1] < 1.3 * max(spread[0], 1e-9):
        return []
    return [ways[:, 1], -ways[:, 1]]
