"""The printed lines of ruled, squared or dotted paper that a drawing was made on.

They are told from the drawing by three things together: they are far paler than its ink, fine, and come at one distance
over the whole paper. On a small copy the fine pale marks are counted along lines of each slope in turn, in a few strips
side by side, as paper curls and is seen askew; where most strips repeat at some distance there are rulings. Then all
that is darker than the paper by less than about half of what the ink is goes, wherever it is.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.raster.around import grow, square
from converter.raster.paper import FAINT, PaperLook
from converter.raster.slopes import count_by_slope

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


def has_rulings(look: PaperLook) -> bool:
    """Return whether the paper of a drawing has printed lines that are plainly paler than the ink."""
    fine = cv2.morphologyEx(look.dark, cv2.MORPH_TOPHAT, square(7)) > FAINT
    marks = fine & ~grow(look.drawn, 7)
    return float(marks.mean()) >= LEAST_MARKS and (_repeat(marks) or _repeat(marks.T))


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
