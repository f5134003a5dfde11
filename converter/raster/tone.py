"""From colours to one gray: luma, and slow changes of light."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray, PictureArray
from converter.raster.scaling import size_at

SMALL_SIDE = 200
"""Pixels, longer side of the copy on which slow changes of light are filled in."""
PAINTED = 0.8
"""Share of equal neighbours from which on tones are exact."""
FEW = 0.002
"""Share of the pixels at either end that do not count."""
FLAT = 40
"""Levels of gray over which a picture reaches at most that has no light and dark of its own."""
COLOURED_APART = 80.0
"""Levels over which its colours must then reach along their main axis."""


def to_gray(picture: PictureArray) -> npt.NDArray[np.uint8]:
    """Return the luma (H, W), uint8, of a picture of shape (H, W) or (H, W, 3)."""
    if picture.ndim == 2:
        return np.ascontiguousarray(picture)
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(picture), cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def is_painted(levels: PictureArray, where: MaskArray | None = None) -> bool:
    """Return whether a picture, gray or in colour, or a part of it is of exact tones, as only a program paints them."""
    same = levels[1:] == levels[:-1]
    if same.ndim == 3:
        same = same.all(axis=2)
    if where is not None:
        same = same[where[1:] & where[:-1]]
    return same.size > 0 and float(same.mean()) > PAINTED


def darkest_colour(picture: PictureArray) -> npt.NDArray[np.uint8]:
    """Return how bright a picture is in its darkest colour: what is coloured is darker than white paper there."""
    if picture.ndim == 2:
        return picture
    # Plane by plane: numpy's own minimum over so short an axis is slow.
    red, green, blue = (picture[:, :, k] for k in range(3))
    return np.asarray(np.minimum(np.minimum(red, green), blue), dtype=np.uint8)


def part_colours(picture: PictureArray, gray: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """Return the gray of a picture, or one made of its colours if these are all about equally dark.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8
    gray : ndarray of shape (H, W), uint8
        Its luma.

    Notes
    -----
    Red on green of the same luma is a blank picture in gray. Then the axis along which the colours differ most stands
    for light and dark. What is rarer is dark; if that says nothing, what is redder is. Only counts of colours are used,
    so that mirrored pictures give the mirrored gray.
    """
    if picture.ndim == 2:
        return gray
    levels = cv2.calcHist([gray], [0], None, [256], [0, 256]).ravel()
    if _reach(np.arange(256.0), levels) > FLAT:
        return gray
    counts = cv2.calcHist([np.ascontiguousarray(picture)], [0, 1, 2], None, [32, 32, 32], [0, 256] * 3)
    at = np.argwhere(counts > 0)
    number, colours = counts[at[:, 0], at[:, 1], at[:, 2]].astype(np.float64), at * 8.0 + 3.5
    mean = number @ colours / number.sum()
    apart = colours - mean
    spread, ways = np.linalg.eigh((apart * number[:, None]).T @ apart / number.sum())
    way = ways[:, 2] if ways[np.argmax(np.abs(ways[:, 2])), 2] > 0 else -ways[:, 2]
    along = apart @ way
    if _reach(along, number) < COLOURED_APART:
        return gray
    skew = float(number @ along**3 / number.sum() / spread[2] ** 1.5)
    if skew > 0.05 or (skew >= -0.05 and way[0] >= 0):
        way = -way
    # All colours within the levels there are: cut off at either end, edges would move.
    along = colours @ way
    scale = 235 / float(np.ptp(along))
    made = cv2.transform(np.ascontiguousarray(picture), np.array([[*(scale * way), 10 - scale * float(along.min())]]))
    return np.asarray(made, dtype=np.uint8)


def _reach(values: npt.NDArray[np.float64], number: npt.NDArray[Any]) -> float:
    """Return how far apart the values are between which all but a few of a picture's pixels lie."""
    order = np.argsort(values, kind="stable")
    share = np.cumsum(number[order], dtype=np.float64)
    first, last = np.searchsorted(share / share[-1], (FEW, 1 - FEW))
    return float(values[order[last]] - values[order[first]])


def median(values: npt.NDArray[np.floating]) -> float:
    """Return the median of numbers none of which is missing.

    `numpy.median` looks for missing ones, and loads numpy's masked arrays for that: 10 ms at the first call.

    Examples
    --------
    >>> median(np.array([3.0, 1.0, 2.0])), median(np.array([4.0, 1.0, 2.0, 3.0]))
    (2.0, 2.5)
    """
    flat = values.ravel()
    half = len(flat) // 2
    if len(flat) % 2:
        return float(np.partition(flat, half)[half])
    low, high = np.partition(flat, (half - 1, half))[half - 1 : half + 1]
    return float((low + high) / 2)


def shrink_known(
    known: npt.NDArray[np.bool_], values: npt.NDArray[np.float32]
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Return how much is known and the sum of the known values on a small copy, as `mean_around` takes them."""
    scale = min(1.0, SMALL_SIDE / max(values.shape))
    size = size_at(values.shape, scale, 2)

    def shrink(plane: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        return np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), dtype=np.float32)

    return shrink(known.astype(np.float32)), shrink(np.where(known, values, np.float32(0)))


def mean_around(weight: npt.NDArray[np.float32], total: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return the mean, total by weight, of the surroundings, which reach the farther the less weight there is.

    Both arrays have shape (H, W); the total is the sum of what is known, the weight how much is.
    """
    out = np.zeros_like(total)
    left = np.ones_like(total)
    for reach in (3, 9, 27, 81, 243):
        w = cv2.blur(weight, (reach, reach), borderType=cv2.BORDER_REPLICATE)
        t = cv2.blur(total, (reach, reach), borderType=cv2.BORDER_REPLICATE)
        sure = np.clip(w * 4, 0, 1) * left
        out = out + np.where(w > 1e-6, t / np.maximum(w, 1e-6), 0) * sure
        left = left - sure
    mean = float(total.sum() / max(float(weight.sum()), 1e-6))
    return np.asarray(out + mean * left, dtype=np.float32)
