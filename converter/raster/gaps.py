"""Bare lines between areas of colour that both become crosses: an orange and its leaf, petals one before the other.

All that is darker than the paper by much is ink, and what has several colours would be one blot of crosses. Where two
broad areas of plain colour meet, a line about one stitch wide is left bare, as a stencil has it.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np

from converter.model.arrays import MaskArray
from converter.raster.around import grow, shrink
from converter.raster.axis import ink_depth
from converter.raster.edges import Levels, sharp_pieces, steps
from converter.raster.morphology import drop_small

APART: Final = 40
"""Levels, of 255, between the colours in one component at least; a shade of the same colour is less."""
REACH: Final = 5.0
"""Stitches that such an edge spans at least."""
BROAD: Final = 3.0
"""Stitches of crosses at least on both sides of a line; else it would leave strips and crumbs."""
BESIDE: Final = 0.6
"""Stitches from a narrower strip that a line ends."""
ACROSS: Final = 0.2
"""Stitches; what lies across an edge is farther from a broad area than its own rim."""
TIP: Final = 1.5
"""Square stitches of a corner that is narrow at its tip alone."""
GAP: Final = 9
"""Pixels; narrower gaps in the ink are none."""
INSIDE: Final = 5
"""Pixels, side of the square that must lie inside the ink."""
LINE_WIDTH: Final = 1.5
"""Stitches that are bare."""


def find_gaps(picture: Levels, ink: MaskArray, stitch: float) -> MaskArray | None:
    """Return the lines to be left bare, or None if there are none.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8
        In even light.
    ink : ndarray of shape (H, W), bool
    stitch : float
        Pixels a stitch.
    """
    # Between two colours a bare rim may have been found.
    whole = shrink(grow(ink, GAP), GAP)
    near, far = steps(np.asarray(cv2.medianBlur(picture, 3), dtype=np.uint8))
    labels, _, sharp = sharp_pieces(shrink(whole, INSIDE) & (near > APART), near, far)
    edges = sharp[labels]
    edges &= ~grow(_strips(whole & ~edges, stitch), max(3, round(BESIDE * stitch) | 1))
    _, pieces, stats, _ = cv2.connectedComponentsWithStats(edges.view(np.uint8), connectivity=8)
    long = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) >= REACH * stitch
    long[0] = False
    if not long.any():
        return None
    return np.asarray(whole & (ink_depth(~long[pieces], 1) < LINE_WIDTH / 2 * stitch))


def _strips(areas: MaskArray, stitch: float) -> MaskArray:
    """Return what of some areas is too narrow for crosses of its own, but for the tips of corners."""
    broad = ink_depth(areas, 1) > BROAD / 2 * stitch
    narrow = areas & (ink_depth(~broad, 1) > (BROAD / 2 + ACROSS) * stitch)
    return drop_small(narrow, TIP * stitch**2)
