"""Taking cells away without changing what is joined to what."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray

RING = ((-1, -1), (-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1))
"""The eight neighbours in order round the cell."""


@cache
def simple_table() -> npt.NDArray[np.bool_]:
    """Return, for each of the 256 surroundings, whether the middle cell can change without changing topology.

    Notes
    -----
    Bit k is the neighbour ``RING[k]``. Simple for 8-connected ink on 4-connected ground: exactly one 8-component of
    ink and exactly one 4-component of ground (with a side on the cell) among the eight neighbours.

    References
    ----------
    T. Y. Kong, A. Rosenfeld, Digital topology: introduction and survey, CVGIP 48(3), 1989, 357-393.
    """
    table = np.zeros(256, dtype=np.bool_)
    for code in range(256):
        ring = [(code >> k) & 1 for k in range(8)]
        table[code] = _parts(ring, 1) == 1 and _parts(ring, 0) == 1
    return table


def _parts(ring: list[int], value: int) -> int:
    members = [k for k in range(8) if ring[k] == value]
    group = {k: k for k in members}

    def root(k: int) -> int:
        while group[k] != k:
            k = group[k]
        return k

    for k in members:
        after = (k + 1) % 8
        if after in group:
            group[root(k)] = root(after)
        # Two side neighbours touch by their corner across the corner cell: that joins ink, not ground.
        across = (k + 2) % 8
        if value == 1 and k % 2 == 1 and across in group:
            group[root(k)] = root(across)
    if value == 1:
        return len({root(k) for k in members})
    return len({root(k) for k in members if k % 2 == 1})


def thin_in_order(
    cells: CellArray,
    order: npt.NDArray[np.intp],
    points_of_cell: list[list[int]],
    served: npt.NDArray[np.int32],
) -> CellArray:
    """Remove cells one after another where that keeps topology and leaves every axis point served.

    Parameters
    ----------
    cells : ndarray of shape (rows, cols), bool
        The outermost ring must be bare.
    order : ndarray of shape (K,)
        Flat indices of the cells that may go, the first to go first.
    points_of_cell : list of K lists
        For each of these, the axis points it serves.
    served : ndarray of shape (P,), int32
        How many set cells serve each axis point.

    Returns
    -------
    ndarray of shape (rows, cols), bool
    """
    simple = simple_table().tolist()
    cols = cells.shape[1]
    flat = cells.ravel().tolist()
    count = served.tolist()
    steps = [dr * cols + dc for dr, dc in RING]
    pending = list(zip(order.tolist(), points_of_cell, strict=True))
    while True:
        left = []
        for cell, points in pending:
            code = 0
            for bit, step in enumerate(steps):
                if flat[cell + step]:
                    code |= 1 << bit
            if simple[code] and all(count[p] > 1 for p in points):
                flat[cell] = False
                for p in points:
                    count[p] -= 1
            else:
                left.append((cell, points))
        if len(left) == len(pending):
            return np.array(flat, dtype=np.bool_).reshape(cells.shape)
        pending = left
