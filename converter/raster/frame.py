"""The standard orientation: how a turned or mirrored picture comes to give exactly the turned or mirrored chart.

Many of the later decisions need a rule for ties, and a rule such as "the left one" breaks the symmetry. So the
picture is first turned into a standard orientation, which is the same for all eight images of it: of the eight,
the one whose size, row sums, column sums and (if these are equal) pixels come first in the order of numbers. All
work is done in this orientation and the chart is turned back. When two of the eight images are equal pixel for
pixel, the picture is symmetric and the chart is made symmetric in the same way (`Standing.symmetries`).

Coordinates here are edges: a picture of H rows spans 0 to H, so turning maps row r to H - r.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar

import cv2
import numpy as np
import numpy.typing as npt

Array = TypeVar("Array", bound=npt.NDArray[Any])
Matrix = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Orientation:
    """One of the eight images of a picture: rows and columns exchanged first, then each reversed or not."""

    transpose: bool = False
    flip_rows: bool = False
    flip_cols: bool = False

    def apply(self, array: Array) -> Array:
        """Return this image of an array of shape (H, W) or (H, W, C), contiguous."""
        out: Any = array
        if array.dtype.itemsize == 1:
            # OpenCV turns bytes far faster than a copy of strides does.
            out = array.view(np.uint8)
            if self.transpose:
                out = cv2.transpose(out)
            if self.flip_rows or self.flip_cols:
                out = cv2.flip(out, -1 if self.flip_rows and self.flip_cols else 0 if self.flip_rows else 1)
            return np.ascontiguousarray(out).view(array.dtype)  # type: ignore[return-value]
        out = np.swapaxes(out, 0, 1) if self.transpose else out
        if self.flip_rows:
            out = out[::-1]
        if self.flip_cols:
            out = out[:, ::-1]
        return np.ascontiguousarray(out)  # type: ignore[return-value]

    def inverse(self) -> Orientation:
        """Return the orientation that leads back."""
        if self.transpose:
            return Orientation(True, self.flip_cols, self.flip_rows)
        return self

    def matrix(self, shape: tuple[int, ...]) -> Matrix:
        """Return the (3, 3) map from (row, col, 1) of this image back to the array of ``shape`` it was made from."""
        height, width = (shape[1], shape[0]) if self.transpose else shape
        back = np.eye(3)
        if self.flip_rows:
            back = np.array([[-1.0, 0, height], [0, 1, 0], [0, 0, 1]]) @ back
        if self.flip_cols:
            back = np.array([[1.0, 0, 0], [0, -1, width], [0, 0, 1]]) @ back
        if self.transpose:
            back = np.array([[0.0, 1, 0], [1, 0, 0], [0, 0, 1]]) @ back
        return back


ORIENTATIONS = tuple(Orientation(bool(k & 4), bool(k & 2), bool(k & 1)) for k in range(8))


@dataclass(frozen=True)
class Standing:
    """How a picture is brought to its standard orientation."""

    orientation: Orientation
    symmetries: tuple[Orientation, ...]
    """Orientations other than the identity that leave the standing picture unchanged."""


def find_standing(picture: npt.NDArray[np.uint8], *masks: npt.NDArray[Any] | None) -> Standing:
    """Return the standard orientation of a picture.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, C), uint8
    *masks : ndarray of shape (H, W) or None
        Marks on the picture that must be symmetric too for it to count as symmetric.

    Notes
    -----
    The eight images of one picture all have the same standard orientation. Exact: integers only.
    """
    down, across = (_sums(picture, axis) for axis in (1, 0))
    if 2 * int(down.sum()) < 255 * picture.size:
        # A drawing in light on dark stands as it would in dark on light.
        down, across = -down, -across
    keys = []
    for each in ORIENTATIONS:
        first, second = (across, down) if each.transpose else (down, across)
        first = first[::-1] if each.flip_rows else first
        second = second[::-1] if each.flip_cols else second
        keys.append((len(first), tuple(first.tolist()), tuple(second.tolist())))
    best = min(keys)
    equal = [each for each, key in zip(ORIENTATIONS, keys, strict=True) if key == best]
    if len(equal) == 1:
        return Standing(equal[0], ())
    layers = [np.asarray(layer) for layer in (picture, *masks) if layer is not None]
    images = [b"".join(each.apply(layer).tobytes() for layer in layers) for each in equal]
    smallest = min(images)
    chosen = equal[images.index(smallest)]
    standing = [chosen.apply(layer) for layer in layers]
    same = tuple(
        each for each in ORIENTATIONS[1:] if all(np.array_equal(each.apply(layer), layer) for layer in standing)
    )
    return Standing(chosen, same)


def _sums(picture: npt.NDArray[np.uint8], axis: int) -> npt.NDArray[np.int64]:
    """Return the sums of all values along one side, exact."""
    total = cv2.reduce(np.ascontiguousarray(picture), axis, cv2.REDUCE_SUM, dtype=cv2.CV_32S)
    by_side = np.asarray(total, dtype=np.int64).reshape(picture.shape[1 - axis], -1)
    return np.asarray(by_side.sum(axis=1), dtype=np.int64)


def quarter_turn(turn: int) -> Orientation:
    """Return the clockwise turn by 0, 90, 180 or 270 degrees as an orientation."""
    return {
        0: Orientation(),
        90: Orientation(True, False, True),
        180: Orientation(False, True, True),
        270: Orientation(True, True, False),
    }[turn]
