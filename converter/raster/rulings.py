"""The printed lines of ruled, squared or dotted paper that a drawing was made on.

They are told from the drawing by three things together: they are far paler than its ink, fine, and come at one distance
over the whole paper. On a small copy the fine pale marks are counted along lines of each slope in turn, in a few strips
side by side, as paper curls and is seen askew; where most strips repeat at some distance there are rulings. Then all
that is darker than the paper by less than about half of what the ink is goes, wherever it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.raster.around import grow, square
from converter.raster.scaling import size_at
from converter.raster.slopes import count_by_slope
from converter.raster.tone import darkest_colour

SEEN = 700
"""Pixels on the longer side of the copy that is looked at."""
LIFT = 8.0
"""Levels added before the logarithm, so that noise in the dark does not count."""
GROUND, STEP = 124, 4
"""Pixels of the copy: so broad an area may be and is still told from the paper, which is looked for on each fourth."""
LEAST_INK = 0.6
"""Logarithm of the darkness of the ink; of a paler drawing its own soft parts cannot be told from printed lines."""
PALE = 0.4
"""Share of the ink's darkness up to which marks may be printed lines."""
FAINT = 0.03
"""Logarithm of darkness from which on a mark is seen."""
ALIKE, LEAST_BARE = 0.06, 0.4
"""Logarithm by which bare paper wavers, and the share of the picture that must be bare."""
LEAST_MARKS = 0.004
"""Share of the copy that such marks take up at least; far fewer are the soft edges of the ink."""
STRIPS, LEAST_STRIPS = 4, 3
"""Strips that are looked at by themselves, and how many must repeat."""
STEEPEST = 0.16
"""Slope of the lines against the picture's, some 9 degrees."""
EVEN = 31
"""Pixels over which the counts are brought to the same level, as ink hides some."""
SHORTEST, MOST_SHARE = 6, 0.2
"""Least distance of two lines, pixels of the copy, and the greatest as a share of its side."""
LEAST_REPEAT, LEAST_AGAIN = 0.7, 0.38
"""Correlation of the counts with themselves one distance on, and two."""

Plane = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Rulings:
    """Printed lines of the paper, and what is needed to leave them out."""

    paper: npt.NDArray[np.uint8]
    """(h, w) or (h, w, 3): the bare paper on the copy."""
    darkest: float
    """Logarithm of the darkness up to which all is left out."""

    def wiped(self, picture: npt.NDArray[Any]) -> npt.NDArray[np.uint8]:
        """Return the picture with bare paper for all that is no ink."""
        paper = np.asarray(cv2.resize(self.paper, picture.shape[1::-1], interpolation=cv2.INTER_LINEAR), dtype=np.uint8)
        least = (darkest_colour(paper).astype(np.float32) + np.float32(LIFT)) * np.float32(np.exp(-self.darkest))
        bare = darkest_colour(picture) + np.float32(LIFT) > least
        out = picture.copy()
        out[bare] = paper[bare]
        return np.asarray(out, dtype=np.uint8)


def find_rulings(picture: npt.NDArray[Any]) -> Rulings | None:
    """Return the printed lines of the paper that a picture is drawn on.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8

    Returns
    -------
    rulings : Rulings or None
        None if there are none that are plainly paler than the ink.
    """
    scale = min(1.0, SEEN / max(picture.shape[:2]))
    size = size_at(picture.shape[:2], scale, 1)
    small = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    if min(small.shape[:2]) < GROUND:
        return None
    tone = darkest_colour(small)
    dark = np.log((_bare_paper(tone) + np.float32(LIFT)) / (tone + np.float32(LIFT)))
    if float((np.abs(dark) < ALIKE).mean()) < LEAST_BARE:
        return None
    strongest = 0.5 * float(np.partition(dark.ravel(), -len(dark))[-len(dark)])
    usual = float(np.median(dark[dark > strongest])) if strongest > FAINT else 0.0
    if usual < LEAST_INK:
        return None
    fine = cv2.morphologyEx(dark, cv2.MORPH_TOPHAT, square(7)) > FAINT
    marks = fine & ~grow(dark > PALE * usual, 7)
    if float(marks.mean()) < LEAST_MARKS or not (_repeat(marks) or _repeat(marks.T)):
        return None
    return Rulings(_bare_paper(small), (PALE + 0.05) * usual)


def _bare_paper(small: npt.NDArray[Any]) -> npt.NDArray[np.uint8]:
    """Return the paper without what is drawn or printed on it."""
    bright = np.ascontiguousarray(cv2.dilate(small, square(2 * STEP + 1))[::STEP, ::STEP])
    closed = cv2.morphologyEx(bright, cv2.MORPH_CLOSE, square(GROUND // STEP | 1))
    return np.asarray(
        cv2.resize(cv2.blur(closed, (5, 5)), small.shape[1::-1], interpolation=cv2.INTER_LINEAR), np.uint8
    )


def _repeat(marks: npt.NDArray[np.bool_]) -> bool:
    """Return whether marks repeat from row to row at one distance, in most strips."""
    width = marks.shape[1] // STRIPS
    strips = [marks[:, k * width : (k + 1) * width] for k in range(STRIPS)]
    return sum(_repeats(strip) for strip in strips) >= LEAST_STRIPS


def _repeats(marks: npt.NDArray[np.bool_]) -> bool:
    height, width = marks.shape
    row, col = np.nonzero(marks)
    if len(row) < height:
        return False
    counted = count_by_slope(row, col, (height, width), STEEPEST, finer=2)
    counts = counted.counts[:, counted.shift : counted.shift + height]
    uneven = counts - cv2.blur(counts, (EVEN, 1), borderType=cv2.BORDER_REPLICATE)
    chosen = uneven[int((uneven**2).sum(axis=1).argmax())].astype(np.float64)
    total = float(chosen @ chosen)
    longest = int(MOST_SHARE * height)
    if total == 0 or longest <= SHORTEST:
        return False
    # Each sum has fewer terms the greater the distance.
    like = {
        k: float(chosen[k:] @ chosen[:-k]) * height / (height - k) / total for k in range(SHORTEST, 2 * longest + 1)
    }
    best = max(range(SHORTEST, longest), key=lambda k: (like[k], -k))
    return bool(like[best] > LEAST_REPEAT and like[2 * best] > LEAST_AGAIN)
