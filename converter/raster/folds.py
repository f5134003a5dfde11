"""Folds of the paper: narrow, straight, and from one side of the picture to the other, whatever is drawn over them."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray

BREADTH: Final = 2.0
"""Stitches that the mark of a fold is broad at most."""
STEEPEST: Final = 0.15
"""Slope against the picture's side at most."""
MOST_ENDS: Final = 8
"""Narrow marks at one side of a picture; more of them are a pattern."""
SEEN: Final = 0.7
"""Share of a fold that is seen where nothing is drawn over it."""
LEAST_SEEN: Final = 0.2
"""Share of the picture's side along which nothing is drawn over it."""
BESIDE: Final = 0.15
"""Share of it beside which there is something too: it is the rim of something."""

Places = npt.NDArray[np.float64]


def find_folds(body: MaskArray, ink: MaskArray, stitch: float) -> MaskArray:
    """Return what of the marks on paper is the mark of a fold.

    Parameters
    ----------
    body : ndarray of shape (H, W), bool
        All that is not of the paper's colour.
    ink : ndarray of shape (H, W), bool
        What of it is surely drawn.
    stitch : float
        Pixels.
    """
    found = np.zeros_like(body)
    for turned in (False, True):
        marks, drawn, into = (each.T if turned else each for each in (body, ink, found))
        rows = np.arange(marks.shape[0])
        for first in _ends(marks[0], stitch):
            for last in _ends(marks[-1], stitch):
                cols = first + (last - first) * rows / max(1, len(rows) - 1)
                if abs(last - first) <= STEEPEST * len(rows) and _is_fold(marks, drawn, cols, stitch):
                    near = np.abs(np.arange(marks.shape[1]) - cols[:, None]) <= BREADTH / 2 * stitch + 1
                    into |= near & marks & ~drawn
    return found


def _ends(rim: npt.NDArray[np.bool_], stitch: float) -> list[float]:
    """Return the middles of narrow marks along a side of the picture."""
    steps = np.flatnonzero(np.diff(np.pad(rim, 1).astype(np.int8)))
    first, after = steps[::2], steps[1::2]
    narrow = (after - first <= BREADTH * stitch) & (first > 0) & (after < len(rim))
    middles = ((first + after - 1) / 2)[narrow]
    return middles.tolist() if len(middles) <= MOST_ENDS else []


def _is_fold(marks: MaskArray, drawn: MaskArray, cols: Places, stitch: float) -> bool:
    """Return whether a straight line down the picture is marked all along, and narrow, where nothing is drawn."""
    rows, width = np.arange(len(cols)), marks.shape[1]

    def at(off: float, mask: MaskArray) -> npt.NDArray[np.bool_]:
        return np.asarray(mask[rows, np.clip(np.rint(cols + off).astype(int), 0, width - 1)])

    clear = ~(at(0, drawn) | at(-BREADTH * stitch, drawn) | at(BREADTH * stitch, drawn))
    if float(clear.mean()) < LEAST_SEEN:
        return False
    middle = at(0, marks) | at(-0.4 * stitch, marks) | at(0.4 * stitch, marks)
    beside = at(-BREADTH * stitch, marks) | at(BREADTH * stitch, marks)
    return bool(middle[clear].mean() >= SEEN and beside[clear].mean() <= BESIDE)
