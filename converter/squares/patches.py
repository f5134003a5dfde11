"""The sheet laid flat: every square as a small picture of the same size.

The mesh gives for each place of the flat sheet the place in the photo. The photo is read there once, as optical
density; after that a square is an array of numbers and neither tilt nor curl matters any more.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from converter.squares.density import FloatArray, density, gray
from converter.squares.sides import Nodes


@dataclass(frozen=True)
class FlatSheet:
    """The grid laid flat, with a border of half a square all round.

    ``dense`` is (rows * side + side, cols * side + side, 3) optical density; square (r, c) begins at pixel
    ``(r * side + side / 2, c * side + side / 2)``.
    """

    dense: FloatArray
    side: int
    rows: int
    cols: int

    @property
    def squares(self) -> FloatArray:
        """Return a view (rows, cols, side, side, 3) of the squares without the border."""
        return self.cut(self.dense)

    @cached_property
    def gray(self) -> FloatArray:
        """Return the mean of the channels, as large as ``dense``."""
        return gray(self.dense)

    @property
    def gray_squares(self) -> FloatArray:
        """Return a view (rows, cols, side, side) of the mean of the channels, without the border."""
        return self.cut(self.gray)

    def cut(self, image: FloatArray) -> FloatArray:
        """Return a view (rows, cols, side, side, ...) of an image as large as ``dense``, without its border."""
        half = self.side // 2
        core = image[half : half + self.rows * self.side, half : half + self.cols * self.side]
        return core.reshape(self.rows, self.side, self.cols, self.side, *image.shape[2:]).swapaxes(1, 2)

    def part(self, rows: slice, cols: slice) -> FlatSheet:
        """Return some rows and columns of squares, with half a square round them."""
        high, wide = rows.stop - rows.start, cols.stop - cols.start
        top, left = rows.start * self.side, cols.start * self.side
        dense = self.dense[top : top + (high + 1) * self.side, left : left + (wide + 1) * self.side]
        return FlatSheet(dense, self.side, high, wide)


def _between(count: int, side: int) -> npt.NDArray[np.float64]:
    """Return the (pixels, count + 1) matrix that interpolates crossings linearly, and beyond the ends."""
    at = (np.arange((count + 1) * side) + 0.5) / side - 0.5
    low = np.clip(np.floor(at).astype(int), 0, count - 1)
    part = at - low
    matrix = np.zeros((len(at), count + 1))
    matrix[np.arange(len(at)), low] = 1 - part
    matrix[np.arange(len(at)), low + 1] = part
    return matrix


def lay_flat(rgb: npt.NDArray[np.uint8], nodes: Nodes, side: int) -> FlatSheet:
    """Return the grid of ``nodes`` (picture row, col) laid flat with ``side`` (even) pixels a square."""
    rows, cols = nodes.shape[0] - 1, nodes.shape[1] - 1
    down, right = _between(rows, side), _between(cols, side)
    map_row = (down @ nodes[..., 0] @ right.T).astype(np.float32)
    map_col = (down @ nodes[..., 1] @ right.T).astype(np.float32)
    flat: npt.NDArray[np.uint8] = np.asarray(
        cv2.remap(rgb, map_col, map_row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), dtype=np.uint8
    )
    return FlatSheet(density(flat), side, rows, cols)
