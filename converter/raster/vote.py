"""Ink or paper: every region between the edges of a picture by the vote of its rim.

A region in whose rim some edges say ink and others paper is one in which ink fades into the paper, as a shaded thing
does into its shadow; if it is dark and bright by turns it is parted where the level is half-way. If not, and the votes
are about even, it is paper if most of it is as bright as anything in the picture: plain colours without a strong edge
between them lie in one region with the paper, and the dark things on them say on both sides that they are ink.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import LabelArray, MaskArray
from converter.pixels.runs import spread
from converter.raster.around import grow, square
from converter.raster.components import label_parts
from converter.raster.tone import mean_around, shrink_known

MUCH_PAPER = 0.05
"""Share of all paper from which on a region is large."""
TORN = 0.1
"""Share of a region's rim from which on it is heard that speaks against the rest."""
HALF = 0.4
"""Share from which on it says both alike: all that is dark and all that is bright is this one region."""
TWO_TONED = 0.52
"""Share of the contrast by which its dark and its bright parts then differ."""
EVEN = 0.1
"""Votes no farther than this from one half are about even."""
NEARLY_ALL, AS_BRIGHT = 0.98, 0.1
"""Share of the picture's pixels below its brightest, and share of the contrast by which as bright is less."""
MOST_FADING = 0.25
"""Share of the outline of such a dark part that may have no edge."""

Plane = npt.NDArray[np.float32]


def vote_regions(
    band: MaskArray, dark_side: MaskArray, span: Plane, level: Plane, contrast: float, least_area: float
) -> tuple[MaskArray, MaskArray, MaskArray]:
    """Label the band by its dark side and every region between by the vote of its rim.

    Returns
    -------
    ink : ndarray of shape (H, W), bool
    sure_paper : ndarray of shape (H, W), bool
        Regions of paper of at least so many pixels. A smaller one may be a bare fleck in a shaded area, and says
        nothing about how bright the paper is.
    large : ndarray of shape (H, W), bool
        Those of them that hold a good part of all paper.
    """
    plain = ~band
    labels, pixels_of = label_parts(plain, 4)
    share = _ink_share(labels, len(pixels_of), band, dark_side, span)
    torn = (np.minimum(share, 1 - share) > TORN) & (pixels_of >= least_area)
    torn[0] = False
    if torn.any():
        # Ink that fades into the paper: one region in which some of the rim says ink and some paper.
        dark = plain & (level < _level_of_edges(level, band))
        torn &= _two_toned(labels, pixels_of, dark, level, contrast, least_area)
        if torn.any():
            # Where the rim says both alike, the dark part cannot be a mere shadow on paper with other ink.
            paper = spread(torn & (share <= HALF), labels)
            dark = (dark & spread(torn & (share > HALF), labels)) | _sharply_bound(dark & paper, paper, band)
            labels, pixels_of = _two_kinds(plain & ~dark, dark)
            share = _ink_share(labels, len(pixels_of), band, dark_side, span)
        even = (np.abs(share - 0.5) < EVEN) & (pixels_of >= least_area)
        even[0] = False
        if even.any():
            brightest = np.quantile(level[::3, ::3], NEARLY_ALL) - AS_BRIGHT * contrast
            bright = np.bincount(labels[level > brightest], minlength=len(pixels_of))
            share = np.where(even & (bright > pixels_of / 2), 0, share)
    is_ink = share > 0.5
    # Of each region: 0 paper, 1 ink, 2 sure paper, 3 much of it; the band itself is of none.
    area = np.where(is_ink, 0, pixels_of)
    area[0] = 0
    what = is_ink.astype(np.uint8)
    what[area >= least_area] = 2
    what[(area >= least_area) & (area >= MUCH_PAPER * area.sum())] = 3
    found = spread(what, labels)
    return np.asarray((band & dark_side) | (found == 1)), np.asarray(found >= 2), np.asarray(found == 3)


def _ink_share(
    labels: LabelArray, count: int, band: MaskArray, dark_side: MaskArray, span: Plane
) -> npt.NDArray[np.float64]:
    """Return of each region what share of its rim, 0 to 1, says that it is ink; 0 for one without a rim."""
    narrow: npt.NDArray[Any] = labels.astype(np.uint16 if count <= np.iinfo(np.uint16).max else np.float32)
    near = cv2.dilate(narrow, square(3))
    rim = np.flatnonzero(band & (near > 0))
    who = near.ravel()[rim].astype(np.intp)
    weight = span.ravel()[rim].astype(np.float64)
    ink_votes = np.bincount(who, weights=np.where(dark_side.ravel()[rim], weight, 0), minlength=count)
    all_votes = np.bincount(who, weights=weight, minlength=count)
    return ink_votes / np.maximum(all_votes, np.finfo(np.float64).tiny)


def _level_of_edges(level: Plane, band: MaskArray) -> Plane:
    """Return the level half-way between paper and ink, filled in from the edges near by."""
    filled = mean_around(*shrink_known(band, level))
    return np.asarray(cv2.resize(filled, (level.shape[1], level.shape[0]), interpolation=cv2.INTER_LINEAR), np.float32)


def _two_toned(
    labels: LabelArray,
    area: npt.NDArray[np.int64],
    dark: MaskArray,
    level: Plane,
    contrast: float,
    least_area: float,
) -> npt.NDArray[np.bool_]:
    """Return of each region whether it has much of dark and of bright, far apart, as no plain colour has."""
    count = len(area)
    whose, weight, inked = labels.ravel(), level.ravel(), dark.ravel()
    total = np.bincount(whose, weight, count)
    area_dark, total_dark = np.bincount(whose[inked], minlength=count), np.bincount(whose[inked], weight[inked], count)
    bright = (total - total_dark) / np.maximum(area - area_dark, 1)
    both = (area_dark >= least_area) & (area - area_dark >= least_area)
    far: npt.NDArray[np.bool_] = bright - total_dark / np.maximum(area_dark, 1) > TWO_TONED * contrast
    return both & far


def _sharply_bound(dark: MaskArray, here: MaskArray, band: MaskArray) -> MaskArray:
    """Return the dark parts of some regions that end in edges nearly all round; a shadow fades on a long way."""
    labels, area = label_parts(dark, 4)
    soft = dark & grow(here & ~dark)
    sharp = dark & ~soft & grow(band)
    fading, ending = (np.bincount(labels[each], minlength=len(area)) for each in (soft, sharp))
    kept = fading < MOST_FADING * (fading + ending)
    kept[0] = False
    return np.asarray(kept[labels])


def _two_kinds(one: MaskArray, other: MaskArray) -> tuple[LabelArray, npt.NDArray[np.int64]]:
    """Return labels and areas of the parts of two masks that share no pixel."""
    labels, area = label_parts(one, 4)
    more, more_area = label_parts(other, 4)
    return np.where(other, more + np.int32(len(area) - 1), labels), np.concatenate([area, more_area[1:]])
