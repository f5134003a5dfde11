"""Strokes that fade: thin lines followed on from where they are too pale to be sure ink.

A pen that is lifted, or one narrower than a pixel, leaves a line that is in places too pale to be told from paper by
its own edges, and so falls to pieces. Such a stretch is ink all the same if it is darker than the paper on both of its
sides, and goes on from the end of a sure stroke that is hardly darker than it is. A printed rule or a crease that runs
into a dark stroke is none: the stroke is far darker.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray
from converter.pixels.runs import spread
from converter.raster.around import square
from converter.raster.axis import ink_depth
from converter.raster.components import label_ink

THIN = 0.45
"""Stitches from its middle within which a fading stroke has paper on both sides."""
FAINTEST = 0.1
"""Share of the usual ink contrast down to which a stroke is followed,"""
ABOVE_NOISE = 2.5
"""and times the noise of the paper."""
WORTH = 0.75
"""Share of the contrast of sure edges; if a fading stroke would have to be darker, none is looked for."""
LIKE = 1.8
"""A sure stroke may be so many times as dark as the stretch that goes on from its end."""
NEAR = 0.3
"""Stitches from the place where they meet that both are looked at."""
FAR = 0.6
"""A stretch must lead so many stitches away from sure ink: a halo along its rim does not."""

Plane = npt.NDArray[np.float32]


def follow_fading(
    mask: MaskArray, level: Plane, dark_side: MaskArray, pixels: float, contrast: float, edge: float, noise: float
) -> MaskArray:
    """Return sure ink together with the fading stretches of its strokes.

    Parameters
    ----------
    mask : ndarray of shape (H, W), bool
        Sure ink.
    level : ndarray of shape (H, W), float32
        Logarithm of the brightness.
    dark_side : ndarray of shape (H, W), bool
        Darker than the middle between the darkest and the lightest near by.
    pixels : float
        Pixels a stitch.
    contrast, edge, noise : float
        Difference of levels: usual between paper and ink, of sure edges, and of the paper alone.
    """
    faintest = max(FAINTEST * contrast, ABOVE_NOISE * noise)
    if faintest > WORTH * edge:
        return mask
    foot = square(2 * max(2, round(THIN * pixels)) + 1)
    ridge = np.asarray(cv2.morphologyEx(level, cv2.MORPH_CLOSE, foot) - level, dtype=np.float32)
    stretch = (ridge > faintest) & dark_side & ~mask
    if not stretch.any():
        return mask
    around = square(2 * max(1, round(NEAR * pixels)) + 1)
    sure = cv2.dilate(np.where(mask, ridge, np.float32(0)), around)
    own = cv2.dilate(np.where(stretch, ridge, np.float32(0)), around)
    meets = stretch & (cv2.dilate(mask.view(np.uint8), square(3)) > 0) & (sure <= LIKE * own)
    if not meets.any():
        return mask
    count, labels = label_ink(stretch)
    joined = np.zeros(count + 1, dtype=bool)
    joined[np.unique(labels[meets])] = True
    far = np.zeros(count + 1, dtype=np.float32)
    at = np.flatnonzero(stretch)
    np.maximum.at(far, labels.ravel()[at], ink_depth(~mask, 1).ravel()[at])
    joined &= far >= FAR * pixels
    return np.asarray(mask | spread(joined, labels))
