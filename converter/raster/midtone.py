"""Dark drawn on a middle tone: an eye on a blue whale, black spots on a red beetle.

A part of the ink that holds two tones, broad and paler areas and what is plainly darker on them, would be one blot of
crosses. The darker alone is stitched then; the paler area is bare, with a line along its edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import GrayArray, LabelArray, MaskArray
from converter.raster.around import grow, shrink
from converter.raster.axis import ink_depth
from converter.raster.components import label_parts
from converter.raster.edges import Levels, steps
from converter.raster.threshold import threshold_otsu

LEAST_PART: Final = 12.0
"""Square stitches of a part, at least."""
APART: Final = 60.0
"""Levels, of 255, that the two tones lie apart in one component of their colour, at least."""
DIFFERENT: Final = 25.0
"""The same of their gray."""
PALER_SHARE: Final = 0.4
"""Share of the part that is of the paler tone, at least."""
BROAD: Final = 1.2
"""Stitches, half the width of its broadest place, at least."""
DARKER: Final = 0.6
"""Square stitches of the darker tone, at least."""
SHARP: Final = 0.4
"""Usual share of the step over eleven pixels that lies within three where the tones meet; shades are softer."""
LIKE_IT: Final = 0.25
"""Share of the way to the paper up to which a hole in a part is of its tone: some mistake of the ink's edges."""
GAP: Final = 9
"""Pixels; narrower gaps between the tones are none."""
LINE_WIDTH: Final = 0.8
"""Stitches, width of the line along the edge."""


@dataclass(frozen=True, eq=False)
class MiddleTones:
    """Areas of middle tone that become bare.

    Parameters
    ----------
    limits : ndarray of shape (H, W), float32
        Ink is no brighter than this; 1 where all of it stays.
    lines : ndarray of shape (H, W), bool
        Along the edges of the areas, inside them.
    """

    limits: GrayArray
    lines: MaskArray


def find_middle_tones(picture: Levels, gray: GrayArray, ink: MaskArray, pixels: float) -> MiddleTones | None:
    """Return the areas on which something darker is drawn, or None if there are none.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8
        A copy of at most some 700 pixels.
    gray : ndarray of shape (H, W), float32, 0 to 1
    ink : ndarray of shape (H, W), bool
    pixels : float
        Pixels a stitch.
    """
    levels = np.asarray(np.rint(gray * 255), dtype=np.uint8)
    smooth = np.asarray(cv2.medianBlur(levels, 5), dtype=np.uint8)
    # Between dark and middle tone a bare rim may have been found.
    whole = shrink(grow(ink, GAP), GAP)
    labels, area = label_parts(whole, 8)
    bare, bare_area = label_parts(~whole, 4)
    brightness = np.bincount(bare.ravel(), smooth.ravel(), len(bare_area)) / np.maximum(bare_area, 1)
    limits, body = np.ones(gray.shape, dtype=np.float32), np.zeros_like(ink)
    for label in np.flatnonzero(area >= LEAST_PART * pixels**2):
        if label == 0:
            continue
        part, paper = _with_holes(labels == label, bare, brightness, whole, smooth)
        tones = _two_tones(part, part & ink, picture, smooth, pixels)
        if tones is not None and tones[1] < paper - DIFFERENT:
            body |= part
            # The blur of an edge lies outside it too.
            limits[grow(part, 7)] = sum(tones) / 510
    if not body.any():
        return None
    # Beyond the sides of the picture lies paper.
    inside = ink_depth(np.pad(body, 1), 1)[1:-1, 1:-1]
    lines = body & (inside <= LINE_WIDTH * pixels)
    return MiddleTones(limits, np.asarray(lines))


def _two_tones(
    part: MaskArray, inked: MaskArray, picture: Levels, smooth: Levels, pixels: float
) -> tuple[float, float] | None:
    """Return the darker and the paler level of a part, or None if it is all of one tone."""
    within = shrink(part, 5)
    values = smooth[within]
    if not len(values):
        return None
    between = threshold_otsu(values)
    dark = values <= between
    if np.count_nonzero(~dark) < PALER_SHARE * len(values) or np.count_nonzero(dark) < DARKER * pixels**2:
        return None
    low, high = float(values[dark].mean()), float(values[~dark].mean())
    paler = within & (smooth > between)
    colours = picture[within].reshape(len(values), -1)
    apart = np.abs(colours[dark].mean(axis=0) - colours[~dark].mean(axis=0)).max()
    if high - low < DIFFERENT or apart < APART or float(ink_depth(paler & inked, 1).max()) < BROAD * pixels:
        return None
    meeting = within & ~paler & grow(paler)
    near, far = steps(picture)
    if not meeting.any() or float(np.median(near[meeting] / np.maximum(far[meeting], 1))) < SHARP:
        return None
    return low, high


def _with_holes(
    part: MaskArray, bare: LabelArray, brightness: npt.NDArray[np.float64], ink: MaskArray, smooth: Levels
) -> tuple[MaskArray, float]:
    """Return a part with the holes in it that are about as bright as itself and the ink in them, and the paper's level.

    The paper is the brightest that lies beside the part; 0 if there is none.
    """
    tone = float(np.median(smooth[part]))
    rim = grow(part) & (bare > 0)
    beside = np.unique(bare[rim])
    paper = float(brightness[beside].max()) if len(beside) else 0.0
    like = np.zeros(len(brightness), dtype=np.bool_)
    like[beside] = brightness[beside] < tone + LIKE_IT * (paper - tone)
    if not like.any():
        return part, paper
    holes = like[bare]
    inside, _ = label_parts(ink & ~part, 8)
    beside_holes = np.unique(inside[grow(holes)])
    return np.asarray(part | holes | np.isin(inside, beside_holes[beside_holes > 0])), paper
