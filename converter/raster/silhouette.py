"""The outline of what is drawn, where no ink shows it: a yellow petal, a gray blade, a pale cup.

What is far paler than the drawing's ink becomes bare cloth, and with it the outline may be lost. On plain paper the
outline can be told without ink: paper is what has the colour of the picture's rim; all else is drawn.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray
from converter.raster.around import majority, shrink, square
from converter.raster.axis import ink_depth
from converter.raster.edges import SOFT, Levels, is_even, rim_of, sharp_pieces, steps
from converter.raster.fields import find_field_edges

APART: Final = 18.0
"""Levels, of 255, by which what is drawn is darker than paper in one component at least."""
ABOVE_NOISE: Final = 6.0
"""Times the usual difference of the paper from its smooth colour that it is at least."""
PLAIN: Final = 0.85
"""Share of the picture's rim that must be paper."""
LEAST_STEP: Final = 0.5
"""Share of those levels by which the edge steps within three pixels."""
OPENING: Final = 30.0
"""Square stitches from which on an enclosed area of the paper's colour is paper too."""
COVERED: Final = 0.7
"""Stitches; an outline that has ink so close is drawn already."""
NEAREST: Final = 2.5
"""Pixels that this is at least, as the blur of an edge reaches so far."""
LEAST_LENGTH: Final = 3.0
"""Stitches; shorter pieces are left out."""
STEPS: Final = 32
"""Places along each side at which the paper's colour is worked out; it changes slowly between."""
BEYOND: Final = 8
"""Pixels of paper added on all sides."""
LINE_WIDTH: Final = 0.8
"""Stitches, width of the lines."""


def find_silhouette(picture: Levels, ink: MaskArray, stitches: int, fields: bool = False) -> MaskArray | None:
    """Return lines along the outline of what is drawn, where there is no ink, or None if there are none.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8
        A copy of at most some 700 pixels.
    ink : ndarray of shape (H, W), bool
    stitches : int
        On the longer side of the drawing.
    fields : bool
        With the edges between areas of colour inside (see `fields`), if the light is even.

    Returns
    -------
    lines : ndarray of shape (H, W), bool, or None
        They lie inside what is drawn; a pale stroke hardly broader than a stitch is filled by them.
    """
    apart, least = _apart_from_paper(picture)
    if float((apart[rim_of(apart.shape)] < least).mean()) < PLAIN:
        return None
    # What touches the sides of the picture has an outline there too: beyond them lies paper.
    apart, ink = np.pad(apart, BEYOND), np.pad(ink, BEYOND)
    drawn = ~_open_paper((apart < least) & ~ink, stitches)
    body = majority(drawn, 5)
    rows, cols = np.flatnonzero(body.any(axis=1)), np.flatnonzero(body.any(axis=0))
    if not len(rows):
        return None
    stitch = max(2.0, max(int(rows[-1] - rows[0]), int(cols[-1] - cols[0])) / stitches)
    close = max(COVERED * stitch, NEAREST)
    outline = body & ~shrink(body)
    near, far = steps(apart)
    edge, away = outline & (near > LEAST_STEP * least), ink_depth(~ink, 1) > close
    shown = (edge & (near > SOFT * far)) | (outline & ~away)
    labels, stats, sharp = sharp_pieces(edge & away & ~_ends_of_shadows(outline, shown), near, far)
    sharp &= stats[:, cv2.CC_STAT_AREA] >= LEAST_LENGTH * stitch
    lines = body & (ink_depth(~sharp[labels], 1) < LINE_WIDTH * stitch) if sharp.any() else np.zeros_like(body)
    if fields and is_even(picture):
        ready = np.pad(picture, ((BEYOND, BEYOND), (BEYOND, BEYOND), (0, 0))[: picture.ndim], mode="edge")
        lines |= find_field_edges(ready, body, ink | lines, close, stitch)
    return np.asarray(lines[BEYOND:-BEYOND, BEYOND:-BEYOND]) if lines.any() else None


def find_body(picture: Levels, stitches: int) -> MaskArray | None:
    """Return all that is no paper (H, W) in a picture on plain paper in even light, or None if it is not such."""
    if not is_even(picture):
        return None
    apart, least = _apart_from_paper(picture)
    return ~_open_paper(apart < least, stitches)


def _ends_of_shadows(outline: MaskArray, shown: MaskArray) -> MaskArray:
    """Return those pieces along the picture's sides from whose ends no edge leads inwards: there a shadow ends."""
    side = outline.copy()
    side[BEYOND + 1 : -BEYOND - 1, BEYOND + 1 : -BEYOND - 1] = False
    _, labels = cv2.connectedComponents(side.view(np.uint8), connectivity=8)
    near = cv2.dilate(labels.astype(np.float32), square(7)).astype(np.int32)
    ends = outline & ~side & (near > 0)
    count = int(labels.max()) + 1
    seen = np.bincount(near[ends & shown], minlength=count)
    lost = 2 * seen <= np.bincount(near[ends], minlength=count)
    lost[0] = False
    return np.asarray(lost[labels])


def _apart_from_paper(picture: Levels) -> tuple[Levels, float]:
    """Return by how many levels each pixel is darker than paper in one component, and from where on it is no paper.

    The paper's colour is taken from the picture's rim: a surface of second degree, as the light may fall from a side.
    """
    height, width = picture.shape[:2]
    rim = rim_of((height, width))
    row, col = rim.nonzero()
    at = _surface((row + 0.5) / height, (col + 0.5) / width)
    values = picture[rim].reshape(len(row), -1).astype(np.float64)
    near = np.abs(values - np.median(values, axis=0)).max(axis=1)
    for _ in range(2):
        kept = near <= 2 * np.median(near) + 1
        fitted = np.linalg.lstsq(at[kept].T @ at[kept], at[kept].T @ values[kept], rcond=None)[0]
        near = np.abs(values - at @ fitted).max(axis=1)
    middles = (np.arange(STEPS) + 0.5) / STEPS
    y, x = np.meshgrid(middles, middles, indexing="ij")
    few = np.clip(_surface(y.ravel(), x.ravel()) @ fitted, 0, 255).astype(np.float32).reshape(STEPS, STEPS, -1)
    paper = np.rint(cv2.resize(few, (width, height), interpolation=cv2.INTER_LINEAR)).astype(np.uint8)
    apart = cv2.subtract(paper.reshape(picture.shape), picture)
    if apart.ndim == 3:
        apart = cv2.max(cv2.max(apart[:, :, 0], apart[:, :, 1]), apart[:, :, 2])
    return np.asarray(apart, dtype=np.uint8), max(APART, ABOVE_NOISE * float(np.median(near)))


def _surface(y: npt.NDArray[np.float64], x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the terms (K, 6) of a surface of second degree at places from 0 to 1."""
    y, x = 2 * y - 1, 2 * x - 1
    return np.stack([np.ones_like(y), y, y * y, x, x * x, x * y], axis=1)


def _open_paper(like: MaskArray, stitches: int) -> MaskArray:
    """Return what of the paper-coloured areas is paper: what is joined to the rim, and large openings."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(like.view(np.uint8), connectivity=4)
    paper = stats[:, cv2.CC_STAT_AREA] > OPENING * (max(like.shape) / stitches) ** 2
    paper[labels[rim_of(like.shape)]] = True
    paper[0] = False
    found: MaskArray = paper[labels]
    return found
