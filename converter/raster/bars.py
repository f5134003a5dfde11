"""Bars round a picture that are not of it: those of a telephone's screen, and the dark beyond a scanned page.

- A picture of a screen shows another picture between two bars of one exact tone, nearly black or nearly white, above
  and below it if it is upright, beside it if it lies. Signs may stand on the bars, but none at the straight seams, and
  no bar crosses the picture.
- A scanner that was left open is dark beyond the paper: along two sides that meet, or along three. The seam is
  straight, or nearly, the paper along it is bare, and most of what is left is paper.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.raster.tone import is_painted

LEAST_SCREEN, LEAST_SCAN = 320, 480
"""Pixels on the longer side of the smallest screen and of the smallest scan; emblems are smaller."""
SAMPLES = 128
"""Pixels along each side that are looked at."""
LONG = 1.25
"""Longer side of a screen over the shorter one."""
TONE = 10
"""Levels by which the tone of a bar differs from one exact tone, and from that of the other bar: packing blurs it."""
BLACK, WHITE, GRAY = 70, 225, 24
"""Levels up to which a tone is nearly black, from which it is nearly white, and by which its colours differ at most."""
HELD = 0.5
"""Share of a bar's row that shows its tone, whatever signs stand on it."""
AT_SEAM = 0.97
"""The same at the seam and at the rim."""
ACROSS = 0.3
"""Share of the row within the seam that may show the tone of the bar."""
LEAST_BARS = 0.15
"""Share of the picture that both bars take up together."""
LEAST_BAR = 0.04
"""Share of it that each takes up."""
LEAST_ALIKE = 0.4
"""Breadth of the narrower one over that of the other if they are white: else they may be the picture's blank paper."""
LEAST_LEFT = 0.2
"""Share of it that is left between them."""
DARK = 0.5
"""Brightness beyond a scanned page, as a share of the paper's, at most."""
BEYOND = 0.9
"""Share of a row that is dark beyond the page."""
BARE = 0.04
"""Share of the row within the seam that may be dark."""
WIDEST = 0.3
"""Share of the picture that the dark along one side has at most."""
TILT = 0.02
"""Share of the picture by which the seam may lean over its length."""
LEAST_PAPER = 0.6
"""Share of what is left that is about as bright as the paper."""

Shares = npt.NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Inside:
    """What lies between the bars: ``picture[top:bottom, left:right]``."""

    top: int
    left: int
    bottom: int
    right: int

    def cut(self, layer: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return that part of a picture, or of a mask of it."""
        return layer[self.top : self.bottom, self.left : self.right]

    def matrix(self) -> npt.NDArray[np.float64]:
        """Return the (3, 3) map of (row, col, 1) within it to the picture."""
        return np.array([[1.0, 0, self.top], [0, 1, self.left], [0, 0, 1]])


def find_bars(picture: npt.NDArray[Any]) -> Inside | None:
    """Return what lies between bars round a picture that are not of it.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8

    Returns
    -------
    inside : Inside or None
        None if there are no such bars.
    """
    height, width = picture.shape[:2]
    if max(height, width) < LEAST_SCREEN or min(height, width) < SAMPLES // 2:
        return None
    if height >= LONG * width and (span := _between_bars(picture)) is not None:
        return Inside(span[0], 0, span[1], width)
    if width >= LONG * height and (span := _between_bars(picture.swapaxes(0, 1))) is not None:
        return Inside(0, span[0], height, span[1])
    return _within_dark(picture) if max(height, width) >= LEAST_SCAN else None


def _sampled(picture: npt.NDArray[Any], axis: int) -> npt.NDArray[Any]:
    """Return `SAMPLES` rows (0) or columns (1) of a picture or some more, evenly apart."""
    step = max(1, picture.shape[axis] // SAMPLES)
    return picture[step // 2 :: step] if axis == 0 else picture[:, step // 2 :: step]


# Screens.


def _between_bars(picture: npt.NDArray[Any]) -> tuple[int, int] | None:
    """Return the first row between two level bars of one tone and the row after the last, or None."""
    samples = _sampled(picture, 1)
    tone, other = (np.median(samples[row], axis=0) for row in (1, -2))
    if np.abs(tone - other).max() > TONE or not _may_be_a_screen(tone):
        return None
    samples = np.ascontiguousarray(samples)
    least, most = (tuple(np.atleast_1d(np.clip(tone + by, 0, 255)).tolist()) for by in (-TONE, TONE))
    held = cv2.inRange(samples, least, most).mean(axis=1) / 255
    high = len(held)
    first, last = _first_below(held), high - _first_below(held[::-1])
    bars = (first, high - last)
    if min(bars) < LEAST_BAR * high or sum(bars) < LEAST_BARS * high or last - first < LEAST_LEFT * high:
        return None
    if tone.min() >= WHITE and min(bars) < LEAST_ALIKE * max(bars):
        return None
    within = held[first + 2 : last - 2]
    seams = (held[first - 3 : first - 1], held[last + 1 : last + 3])
    edges = (within[:2], within[-2:])
    clear = min(each.min() for each in seams) >= AT_SEAM and max(each.max() for each in edges) <= ACROSS
    exact = all(is_painted(samples[rows]) for rows in (slice(0, first), slice(last, high)))
    return (first + 1, last - 1) if clear and exact and float(within.max()) < AT_SEAM else None


def _may_be_a_screen(tone: npt.NDArray[np.floating[Any]]) -> bool:
    """Return whether the bars of a screen have such a tone."""
    low, high = float(tone.min()), float(tone.max())
    return high - low <= GRAY and (high <= BLACK or low >= WHITE)


def _first_below(held: Shares) -> int:
    """Return the first row that shows the tone of the bar over less than `HELD` of it."""
    less = held < HELD
    return int(less.argmax()) if less.any() else len(held)


# Scans.


def _within_dark(picture: npt.NDArray[Any]) -> Inside | None:
    """Return the bright page of a scan that is dark beyond it, or None."""
    tone = picture if picture.ndim == 2 else picture[:, :, 1]
    by_row, by_col = _sampled(tone, 1), _sampled(tone, 0).T
    paper = float(np.percentile(_sampled(by_row, 0), 80))
    dark = (by_row < DARK * paper, by_col < DARK * paper)
    beyond = [_both_ends(_dark_rows, each.mean(axis=1)) for each in dark]
    cut = []
    for rows, across, (first, last) in zip(dark, dark[::-1], beyond[::-1], strict=True):
        # The page alone, without what is dark beside it.
        share = rows.shape[1] / len(across)
        held = rows[:, int(np.ceil(first * share)) : rows.shape[1] - int(np.ceil(last * share))]
        cut.append(_both_ends(_rows_to_cut, held.mean(axis=1)) if held.size else (0, 0))
    (top, bottom), (left, right) = cut
    taken = (top > 0, bottom > 0, left > 0, right > 0)
    if sum(taken) not in (2, 3) or not (taken[0] or taken[1]) or not (taken[2] or taken[3]):
        return None
    found = Inside(top, left, len(by_row) - bottom, len(by_col) - right)
    left_over = _sampled(_sampled(found.cut(tone), 0), 1)
    beyond_it = by_row[found.bottom :] if bottom else by_row[:top]
    if is_painted(left_over) and is_painted(beyond_it):
        return None
    return found if float((left_over > 0.7 * paper).mean()) >= LEAST_PAPER else None


def _both_ends(count: Callable[[Shares], int], shares: Shares) -> tuple[int, int]:
    """Return what is counted at the beginning and at the end of a row of shares."""
    return count(shares), count(shares[::-1])


def _dark_rows(dark: Shares) -> int:
    """Return how many rows at the rim are dark, and a few more over which the seam may lean; 0 if there are none."""
    most = int(WIDEST * len(dark))
    full = int((dark[: most + 1] < BEYOND).argmax())
    return full + max(3, int(TILT * len(dark))) if full >= 3 else 0


def _rows_to_cut(dark: Shares) -> int:
    """Return how many rows at the rim are dark beyond a page, and of its seam; 0 if the page is not bare there."""
    last = _dark_rows(dark)
    bare = dark[: last + 1] <= BARE
    if not last or not bare.any():
        return 0
    seam = int(bare.argmax())
    after = dark[seam : seam + max(3, len(dark) // 100)]
    return seam + 1 if float(after.max()) <= BARE else 0
