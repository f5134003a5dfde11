"""Edges between areas of colour that both become bare: a tear on a cheek, a white belly, a sleeve over an arm."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np

from converter.model.arrays import MaskArray
from converter.raster.around import shrink
from converter.raster.axis import ink_depth
from converter.raster.edges import Levels, sharp_pieces, steps

APART: Final = 45
"""Levels, of 255, between the colours in one component at least; a shade of the same colour is less."""
REACH: Final = 4.0
"""Stitches that such an edge spans at least."""
INSIDE: Final = 5
"""Pixels, side of the square that must lie inside what is drawn."""


def find_field_edges(picture: Levels, body: MaskArray, drawn: MaskArray, apart: float, stitch: float) -> MaskArray:
    """Return the edges between areas of colour, as lines a few pixels wide.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8
        In even light.
    body, drawn : ndarray of shape (H, W), bool
        What is no paper, and what has ink or a line already.
    apart : float
        Pixels that the edges are away from that.
    stitch : float
        Pixels a stitch.
    """
    near, far = steps(np.asarray(cv2.medianBlur(picture, 3), dtype=np.uint8))
    labels, stats, sharp = sharp_pieces(
        shrink(body, INSIDE) & (near > APART) & (ink_depth(~drawn, 1) > apart), near, far
    )
    sharp &= np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) >= REACH * stitch
    return np.asarray(sharp[labels])
