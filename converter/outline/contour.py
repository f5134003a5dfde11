"""Contours of a field with sub-pixel accuracy, and unit-edge outlines of cells.

`trace_contours` is marching squares: where the level lies between two neighbouring pixels the
contour crosses the line between their centres, at the place found by linear interpolation.
Within each square of four pixels the crossings are joined by straight pieces. In the undecided
case (two high pixels on one diagonal, two low on the other) the low pixels are joined, so that
high areas which touch only by a corner stay apart. Pieces are oriented with the high side on the
same hand and linked into closed loops; outside the picture the field counts as low, so all loops close.

References
----------
W. E. Lorensen, H. E. Cline, Marching cubes, 1987 (the two-dimensional case).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, PointArray


def trace_contours(field: npt.NDArray[np.floating[Any]], level: float = 0.0) -> list[PointArray]:
    """Return the closed contours of a field.

    Parameters
    ----------
    field : ndarray of shape (H, W), float
        Pixel (r, c) has its centre at (r + 0.5, c + 0.5).
    level : float
        The contour runs where the field equals it; above is inside.

    Returns
    -------
    contours : list of ndarray of shape (K, 2)
        (row, col), the first point repeated at the end; in order of the first crossing in reading order.
    """
    padded = np.full((field.shape[0] + 2, field.shape[1] + 2), -1e-3, dtype=np.float64)
    padded[1:-1, 1:-1] = np.asarray(field, dtype=np.float64) - level
    padded[0], padded[-1], padded[:, 0], padded[:, -1] = (
        np.minimum(-np.abs(padded[1]), -1e-3),
        np.minimum(-np.abs(padded[-2]), -1e-3),
        np.minimum(-np.abs(padded[:, 1]), -1e-3),
        np.minimum(-np.abs(padded[:, -2]), -1e-3),
    )
    high = padded > 0
    code = high[:-1, :-1] * 1 + high[:-1, 1:] * 2 + high[1:, 1:] * 4 + high[1:, :-1] * 8
    rows, cols = np.nonzero((code > 0) & (code < 15))
    codes = code[rows, cols]
    # Edges of a square: 0 top, 1 right, 2 bottom, 3 left; pieces run with the high side on the right of travel.
    table = {
        1: ((0, 3),),
        2: ((1, 0),),
        3: ((1, 3),),
        4: ((2, 1),),
        5: ((0, 3), (2, 1)),
        6: ((2, 0),),
        7: ((2, 3),),
        8: ((3, 2),),
        9: ((0, 2),),
        10: ((1, 0), (3, 2)),
        11: ((1, 2),),
        12: ((3, 1),),
        13: ((0, 1),),
        14: ((3, 0),),
    }
    width = padded.shape[1]
    size = padded.size
    starts, ends = [], []
    for value, pieces in table.items():
        here = codes == value
        if not here.any():
            continue
        r, c = rows[here], cols[here]
        ident = (r * width + c, size + r * width + c + 1, (r + 1) * width + c, size + r * width + c)
        for start, end in pieces:
            starts.append(ident[start])
            ends.append(ident[end])
    if not starts:
        return []
    start_ids, end_ids = np.concatenate(starts), np.concatenate(ends)
    order = np.argsort(start_ids)
    start_ids, end_ids = start_ids[order], end_ids[order]
    follow = np.searchsorted(start_ids, end_ids).tolist()
    # Place of each crossing: between (r, c) and (r, c + 1), or (r + 1, c).
    upright = start_ids >= size
    base = start_ids - size * upright
    r, c = base // width, base % width
    here = padded[r, c]
    there = np.where(
        upright, padded[np.minimum(r + 1, padded.shape[0] - 1), c], padded[r, np.minimum(c + 1, width - 1)]
    )
    share = here / (here - there)
    points = np.stack([r + share * upright, c + share * ~upright], axis=1) - 0.5
    seen = np.zeros(len(points), dtype=bool)
    loops = []
    for first in range(len(points)):
        if seen[first]:
            continue
        loop = [first]
        at = follow[first]
        while at != first:
            loop.append(at)
            at = follow[at]
        seen[loop] = True
        loops.append(points[[*loop, first]])
    return loops


def outline_cells(cells: CellArray) -> list[PointArray]:
    """Return the outlines of stitched cells along the grid, as closed loops of holes.

    Parameters
    ----------
    cells : ndarray of shape (rows, cols), bool

    Returns
    -------
    loops : list of ndarray of shape (K, 2)
        Holes one stitch side apart, the first repeated at the end. Cells that touch only by a
        corner get loops of their own. The total number of sides is the outline length of the
        cells: P. Selinger, Potrace: a polygon-based tracing algorithm, 2003, section 2.1.
    """
    padded = np.pad(cells, 1)
    sides: dict[tuple[int, int], list[tuple[int, int]]] = {}

    def add(starts: npt.NDArray[np.int64], move: tuple[int, int]) -> None:
        for row, col in starts.tolist():
            sides.setdefault((row, col), []).append((row + move[0], col + move[1]))

    inside = padded[1:-1, 1:-1]
    add(np.argwhere(inside & ~padded[:-2, 1:-1]), (0, 1))
    add(np.argwhere(inside & ~padded[2:, 1:-1]) + np.array((1, 1)), (0, -1))
    add(np.argwhere(inside & ~padded[1:-1, :-2]) + np.array((1, 0)), (-1, 0))
    add(np.argwhere(inside & ~padded[1:-1, 2:]) + np.array((0, 1)), (1, 0))
    loops = []
    for first in sorted(sides):
        while sides[first]:
            loop = [first]
            at = sides[first].pop()
            came = (at[0] - first[0], at[1] - first[1])
            while at != first:
                loop.append(at)
                onward = sides[at]
                # At a shared corner turn towards the own cell: clockwise round it.
                pick = 0
                if len(onward) > 1:
                    turn = (at[0] + came[1], at[1] - came[0])
                    pick = onward.index(turn) if turn in onward else 0
                step = onward.pop(pick)
                came = (step[0] - at[0], step[1] - at[1])
                at = step
            loops.append(np.array([*loop, first], dtype=np.float64))
    return loops
