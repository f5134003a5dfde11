"""Pictures drawn in squares: two tones, in blocks of equal size, as a pixel editor or a spreadsheet gives them.

Such a picture is a chart already. Where the width asked for is its own, each of its squares is one stitch.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray
from converter.model.chart import MAX_SIDE
from converter.pixels.blocks import to_blocks
from converter.raster.grid import Grid
from converter.settings import ChartSettings

LEAST_SPAN = 64
"""Levels of gray between the two tones, at least."""
SMALL, ENLARGED = 200, 300
"""Longer side up to which a picture of two tones is enlarged, and what it then has at least: stages that look for edges
need some room between them."""
TINY = 48
"""The same where it has soft edges."""
SEEN = 24
"""Sides of a large picture's sample, by which nearly all pictures are told at once."""


@dataclass(frozen=True, eq=False)
class DrawnSquares:
    """The squares of a picture, and where they lie."""

    cells: CellArray
    """(rows, cols), True = ink."""
    top: float
    left: float
    side: float
    """Pixels."""
    inverted: bool = False
    """The ground is dark, and the light squares are the drawing."""

    @property
    def grid(self) -> Grid:
        """The squares as a grid on the picture."""
        return Grid(self.top, self.left, self.side, *self.cells.shape)


def enlarge(picture: npt.NDArray[np.uint8]) -> tuple[npt.NDArray[np.uint8], int]:
    """Return a small picture enlarged a whole number of times, and how many; all others as they are.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8

    Notes
    -----
    Two tones are hard pixels, and each becomes a block. What has more tones has soft edges, which stay so.
    """
    longest = max(picture.shape[:2])
    if longest > SMALL:
        return picture, 1
    times = -(-ENLARGED // longest)
    if _has_two_tones(picture):
        return to_blocks(picture, times), times
    if longest > TINY:
        return picture, 1
    size = (picture.shape[1] * times, picture.shape[0] * times)
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC), dtype=np.uint8), times


def _has_two_tones(picture: npt.NDArray[np.uint8]) -> bool:
    pixels = picture.reshape(picture.shape[0] * picture.shape[1], -1)
    others = pixels[(pixels != pixels[0]).any(axis=1)]
    return len(others) > 0 and bool((others == others[0]).all())


def find_squares(gray: npt.NDArray[np.uint8], *, trim: bool, inverted: bool = True) -> DrawnSquares | None:
    """Return the squares of a picture that is drawn in them.

    Parameters
    ----------
    gray : ndarray of shape (H, W), uint8
    trim : bool
        Leave bare squares round the drawing away; without it the squares must fill the picture.
    inverted : bool
        A dark ground may be told from the drawing.

    Returns
    -------
    squares : DrawnSquares or None
        None if the picture has more than two tones, or its blocks are not all squares of one size, or there are more
        of them than a chart may have.
    """
    steps = tuple(max(1, size // SEEN) for size in gray.shape)
    if len(np.unique(gray[:: steps[0], :: steps[1]])) > 2:
        return None
    low, high = int(gray.min()), int(gray.max())
    if high - low < LEAST_SPAN:
        return None
    ink = gray == low
    if not (ink | (gray == high)).all():
        return None
    rim = np.concatenate([ink[0], ink[-1], ink[:, 0], ink[:, -1]])
    on_dark = inverted and float(rim.mean()) > 0.9 and float(ink.mean()) > 0.55
    ink = ~ink if on_dark else ink
    rows, cols = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    if not len(rows):
        return None
    box = (int(rows[0]), int(cols[0]), int(rows[-1]) + 1, int(cols[-1]) + 1) if trim else (0, 0, *ink.shape)
    top, left, bottom, right = box
    inner = ink[top:bottom, left:right]
    side = int(np.gcd.reduce([*_changes(inner), *_changes(inner.T), *inner.shape]))
    if max(inner.shape) > side * MAX_SIDE:
        return None
    return DrawnSquares(np.ascontiguousarray(inner[::side, ::side]), top, left, side, on_dark)


def _changes(ink: npt.NDArray[np.bool_]) -> list[int]:
    """Return the rows at which anything changes."""
    return (np.flatnonzero((ink[1:] != ink[:-1]).any(axis=1)) + 1).tolist()


def are_stitches(squares: DrawnSquares, columns: int | None, rows: int | None, settings: ChartSettings) -> bool:
    """Return whether each square is to be one stitch: the size asked for is theirs, and nothing is to be changed."""
    asked = settings.reduction
    as_it_is = asked.dark == 0 and asked.detail == 50 and asked.tidy <= 50 and asked.kind != "photo"
    untouched = asked.keep is None and asked.clear is None and asked.mirror in ("auto", "none")
    size = (rows or squares.cells.shape[0], columns or squares.cells.shape[1])
    return as_it_is and untouched and size == squares.cells.shape
