"""Folds of the paper: narrow, straight, and from one side of the picture to the other, whatever is drawn over them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray, PictureArray
from converter.raster.around import blur, grow, square
from converter.raster.paper import PaperLook
from converter.raster.tone import is_painted

BROADEST: Final = 0.024
"""Share of the picture's longer side that the mark of a fold is broad at most."""
DARKER: Final = 0.05
"""Logarithm by which its middle is darker than the paper; a paler one is never drawn."""
GRAIN: Final = 1.5
"""Pixels over which the grain of the paper is smoothed."""
DEEPEST: Final = 1.5
"""How dark a fold may be at most, as a share of its usual darkness."""
STEEPEST: Final = 0.15
"""Slope against the picture's side at most."""
MOST_ENDS: Final = 8
"""Narrow marks at one side of a picture; more of them are a pattern."""
SEEN_OF_IT: Final = 0.7
"""Share of a fold that is seen where nothing is drawn over it."""
LEAST_SEEN: Final = 0.2
"""Share of the picture's side along which nothing is drawn over it."""
BESIDE: Final = 0.3
"""Share of it beside which there is something too: it is the rim of something."""

Places = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Folds:
    """The furrows of folded paper."""

    darker: npt.NDArray[np.float32]
    """(h, w): logarithm of how much darker each pixel of a small copy is by them."""

    def smooth(self, picture: PictureArray) -> PictureArray:
        """Return a picture without them."""
        darker = cv2.resize(self.darker, picture.shape[1::-1], interpolation=cv2.INTER_LINEAR)
        rows, cols = (darker > 0).nonzero()
        light = np.exp(darker[rows, cols])
        out = picture.copy()
        out[rows, cols] = np.minimum(picture[rows, cols] * (light if picture.ndim == 2 else light[:, None]), 255)
        return out


def find_folds(look: PaperLook) -> Folds | None:
    """Return the folds of the paper of a drawing, or None if there are none."""
    if is_painted(look.small):
        return None
    breadth = BROADEST * max(look.dark.shape)
    fine = cv2.morphologyEx(blur(look.dark, GRAIN), cv2.MORPH_TOPHAT, square(round(breadth) | 1))
    marks, drawn = fine > DARKER, grow(look.drawn, 7)
    near = lines_of_folds(marks, drawn, breadth)
    if near is None:
        return None
    # What is drawn over a fold stays as it is, and so do its soft edges.
    usual = float(np.median(fine[near & marks & ~drawn]))
    return Folds(np.where(near & ~look.drawn, np.minimum(fine, np.float32(DEEPEST * usual)), np.float32(0)))


def lines_of_folds(marks: MaskArray, drawn: MaskArray, breadth: float) -> MaskArray | None:
    """Return the surroundings of straight narrow marks from one side of a picture to the other.

    Parameters
    ----------
    marks : ndarray of shape (h, w), bool
    drawn : ndarray of shape (h, w), bool
        What hides them.
    breadth : float
        Pixels that a mark is broad at most.
    """
    found = np.zeros_like(marks)
    for turned in (False, True):
        here, hidden, into = (each.T if turned else each for each in (marks, drawn, found))
        rows = np.arange(here.shape[0])
        for first in _ends(here[0], breadth):
            for last in _ends(here[-1], breadth):
                cols = first + (last - first) * rows / max(1, len(rows) - 1)
                if abs(last - first) <= STEEPEST * len(rows) and _is_fold(here, hidden, cols, breadth):
                    into |= np.abs(np.arange(here.shape[1]) - cols[:, None]) <= breadth
    return found if found.any() else None


def _ends(rim: npt.NDArray[np.bool_], breadth: float) -> list[float]:
    """Return the middles of narrow marks along a side of the picture."""
    steps = np.flatnonzero(np.diff(np.pad(rim, 1).astype(np.int8)))
    first, after = steps[::2], steps[1::2]
    narrow = (after - first <= breadth) & (first > 0) & (after < len(rim))
    middles = ((first + after - 1) / 2)[narrow]
    return middles.tolist() if len(middles) <= MOST_ENDS else []


def _is_fold(marks: MaskArray, drawn: MaskArray, cols: Places, breadth: float) -> bool:
    """Return whether a straight line down the picture is marked all along, and narrow, where nothing is drawn."""
    rows, width = np.arange(len(cols)), marks.shape[1]

    def at(off: float, mask: MaskArray) -> npt.NDArray[np.bool_]:
        return np.asarray(mask[rows, np.clip(np.rint(cols + off * breadth).astype(int), 0, width - 1)])

    clear = ~(at(0, drawn) | at(-1, drawn) | at(1, drawn))
    if float(clear.mean()) < LEAST_SEEN:
        return False
    middle, beside = at(0, marks) | at(-0.2, marks) | at(0.2, marks), at(-1, marks) | at(1, marks)
    return bool(middle[clear].mean() >= SEEN_OF_IT and beside[clear].mean() <= BESIDE)
