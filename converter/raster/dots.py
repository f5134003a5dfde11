"""Dots: small round and square parts, drawn alike wherever they lie on the grid."""

from __future__ import annotations

import cv2
import numpy as np

from converter.model.arrays import CellArray, MaskArray
from converter.raster.components import label_parts
from converter.raster.grid import MARGIN

LARGEST = 3.6
"""Stitches across; larger parts are drawn by coverage."""
ROUND_FILL = 0.7
"""Least share of its box that a round part fills (a disc fills 0.785)."""
SQUARE_FILL = 0.9
"""From that share on it is a square."""
STAMPS = {
    len(rows): np.array([[mark == "#" for mark in row] for row in rows])
    for rows in (("#",), ("##", "##"), (".#.", "###", ".#."), (".##.", "####", "####", ".##."))
}
"""By their stitches across."""


def stamp_dots(cells: CellArray, ink: MaskArray, pixels: int) -> CellArray:
    """Return the cells with each round or square dot of the picture drawn as one even group.

    Parameters
    ----------
    cells : ndarray of shape (rows, cols), bool
        Margin included.
    ink : ndarray of shape (rows * pixels, cols * pixels), bool
    pixels : int
        Pixels a stitch.

    Notes
    -----
    A dot 1.5 stitches across and less is one stitch, then 2 x 2, then a plus of five, then 4 x 4 without corners, set
    where its middle falls. A square is as many stitches wide as it comes nearest to. A dot stays as it is where the
    group would touch other stitches or leave the grid.
    """
    _, pixels_of = label_parts(ink, 8)
    if not (pixels_of[1:] <= (LARGEST * pixels) ** 2).any():
        return cells
    count, labels, stats, middles = cv2.connectedComponentsWithStats(ink.view(np.uint8), connectivity=8)
    out = cells
    rows, cols = cells.shape
    for part in range(1, count):
        left, top, width, height, area = (int(v) for v in stats[part])
        size = max(width, height) / pixels
        if size > LARGEST or max(width, height) > 1.3 * min(width, height) or area < ROUND_FILL * width * height:
            continue
        if area >= SQUARE_FILL * width * height:
            stamp = np.ones((max(1, round(size)),) * 2, dtype=np.bool_)
        else:
            stamp = STAMPS[1 if size < 1.5 else 2 if size < 2.4 else 3 if size < 3.1 else 4]
        side = stamp.shape[0]
        col, row = (float(v + 0.5) / pixels for v in middles[part])
        first_row, first_col = round(row - side / 2), round(col - side / 2)
        if min(first_row, first_col) < MARGIN or first_row + side > rows - MARGIN or first_col + side > cols - MARGIN:
            continue
        # What was drawn for it so far.
        r0, r1 = top // pixels, -(-(top + height) // pixels)
        c0, c1 = left // pixels, -(-(left + width) // pixels)
        mine = np.zeros(cells.shape, dtype=np.bool_)
        patch = labels[r0 * pixels : r1 * pixels, c0 * pixels : c1 * pixels] == part
        mine[r0:r1, c0:c1] = patch.reshape(r1 - r0, pixels, c1 - c0, pixels).any(axis=(1, 3))
        others = out & ~mine
        rim = others[first_row - 1 : first_row + side + 1, first_col - 1 : first_col + side + 1]
        if rim.any():
            continue
        if out is cells:
            out = cells.copy()
        out[mine] = False
        out[first_row : first_row + side, first_col : first_col + side] |= stamp
    return out
