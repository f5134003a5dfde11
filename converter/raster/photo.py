"""Photographs: to few, tonal shapes that say what the picture says.

1. the subject is looked for (or cut out of the box she gives) and the rest left as bare cloth;
2. the picture is smoothed without crossing edges;
3. light and dark are parted by a threshold that goes half with the whole picture and half with the surroundings, after
   edges have been made stronger (difference of Gaussians), so that a bright rim parts two dark things;
4. parts too small to be more than scattered stitches join what lies round them.

References
----------
C. Rother, V. Kolmogorov, A. Blake, GrabCut, ACM TOG 23(3), 2004, 309-314 (`cv2.grabCut`).
C. Tomasi, R. Manduchi, Bilateral filtering for gray and color images, ICCV 1998 (`cv2.bilateralFilter`).
H. Winnemoller, J. E. Kyprianidis, S. C. Olsen, XDoG, Computers & Graphics 36(6), 2012, 740-753.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import GrayArray, MaskArray
from converter.pixels.runs import spread
from converter.raster.around import blur, majority
from converter.raster.components import label_parts
from converter.raster.morphology import drop_small, fill_small
from converter.raster.scaling import size_at
from converter.raster.threshold import threshold_otsu
from converter.settings import Box

CUT_SIDE = 160
CUT_SIDE_UNASKED = 112
"""Longer side, in pixels, of the copy on which the subject is cut out, as she shows it or found without help."""
STRENGTH = 7.0
"""How much the edges are strengthened."""
WHOLE_SHARE = 0.5
"""How far the threshold goes by the whole picture; the rest by the surroundings."""


def tone_mask(
    gray: GrayArray, pixels: float, dark: float, detail: float, tidy: float, inside: MaskArray | None
) -> MaskArray:
    """Return which parts of a photograph become stitches.

    Parameters
    ----------
    gray : ndarray of shape (H, W), float32, 0 to 1
    pixels : float
        Pixels a stitch.
    dark, detail, tidy : float
        As in `ReductionSettings`.
    inside : ndarray of shape (H, W), bool, or None
        The subject; what lies outside stays bare.
    """
    levels = np.rint(np.clip(gray, 0, 1) * 255).astype(np.uint8)
    calm = cv2.bilateralFilter(levels, 0, 22, 0.35 * pixels)
    calm = cv2.bilateralFilter(calm, 0, 22, 0.35 * pixels)
    tone = np.asarray(calm / np.float32(255), dtype=np.float32)
    fine = 0.42 * pixels * (1 + (50 - detail) / 100)
    near = blur(tone, fine)
    far = blur(tone, 1.6 * fine)
    sharp = near + STRENGTH * (near - far)
    chosen = levels[inside] if inside is not None and inside.any() else levels
    whole = threshold_otsu(chosen) / 255
    around = _wide_mean(tone, max(tone.shape) / 7, inside)
    level = WHOLE_SHARE * whole + (1 - WHOLE_SHARE) * around + 0.35 * dark / 100
    mask = np.asarray(sharp < level)
    if inside is not None:
        mask = mask & inside
    least = (1.0 + 3.0 * tidy / 50 + 6.0 * max(0.0, (50 - detail) / 50)) * pixels**2
    mask = fill_small(drop_small(mask, least), least)
    return majority(mask, 2 * round(0.3 * pixels) + 1)


def _wide_mean(tone: npt.NDArray[np.float32], sigma: float, inside: MaskArray | None) -> npt.NDArray[np.float32]:
    """Return the mean of the surroundings, of the subject only if there is one."""
    scale = min(1.0, 12 / sigma)
    size = size_at(tone.shape, scale, 2)
    weight = np.ones_like(tone) if inside is None else inside.astype(np.float32)
    shares, total = (
        blur(np.asarray(cv2.resize(each, size, interpolation=cv2.INTER_AREA), dtype=np.float32), sigma * scale)
        for each in (weight, tone * weight)
    )
    mean = total / np.maximum(shares, 1e-4)
    return np.asarray(cv2.resize(mean, (tone.shape[1], tone.shape[0]), interpolation=cv2.INTER_LINEAR), np.float32)


def cut_subject(colour: npt.NDArray[np.uint8], shape: tuple[int, ...], box: Box | None) -> MaskArray | None:
    """Return the subject of a photograph.

    Parameters
    ----------
    colour : ndarray of shape (H, W, 3) RGB or (H, W), uint8
    shape : int, int
        Rows and columns of the result.
    box : left, top, right, bottom in percent, or None
        Where the subject is. Without it the subject is taken to lie clear of the rim, and is given only if it is
        plainly parted from what lies round it.

    Returns
    -------
    ndarray of the shape asked for, bool, or None
    """
    scale = min(1.0, (CUT_SIDE_UNASKED if box is None else CUT_SIDE) / max(colour.shape[:2]))
    size = size_at(colour.shape, scale, 8)
    small: npt.NDArray[Any] = cv2.resize(colour, size, interpolation=cv2.INTER_AREA)
    if small.ndim == 2:
        small = np.repeat(small[:, :, None], 3, axis=2)
    small = np.asarray(cv2.bilateralFilter(small, 5, 30, 3), dtype=np.uint8)
    left, top, right, bottom = (4.0, 4.0, 96.0, 96.0) if box is None else box
    x0, y0 = int(size[0] * left / 100), int(size[1] * top / 100)
    x1, y1 = max(x0 + 2, int(np.ceil(size[0] * right / 100))), max(y0 + 2, int(np.ceil(size[1] * bottom / 100)))
    marks = np.full((size[1], size[0]), cv2.GC_BGD, dtype=np.uint8)
    marks[y0:y1, x0:x1] = cv2.GC_PR_FGD
    if not (marks == cv2.GC_BGD).any():
        return None
    cv2.setRNGSeed(1)
    models = np.zeros((1, 65)), np.zeros((1, 65))
    cut: Any = cv2.grabCut
    try:
        cut(small, marks, None, models[0], models[1], 3 if box is None else 4, cv2.GC_INIT_WITH_MASK)
    except cv2.error:
        return None
    found = np.asarray((marks == cv2.GC_FGD) | (marks == cv2.GC_PR_FGD))
    if not found.any():
        return None
    labels, areas = label_parts(found, 4)
    areas[0] = 0
    found = fill_small(spread(areas >= 0.15 * areas.max(), labels), 0.02 * found.size)
    if box is None and not _stands_out(small, found):
        return None
    big = np.asarray(cv2.resize(found.astype(np.float32), shape[::-1], interpolation=cv2.INTER_CUBIC), dtype=np.float32)
    return np.asarray(blur(big, 0.6 * max(1.0, max(shape) / max(size))) > 0.5)


def _stands_out(small: npt.NDArray[np.uint8], found: MaskArray) -> bool:
    """Return whether a subject found without help is believable: of fair size, clear of the rim, on a calm ground."""
    share = float(found.mean())
    if not 0.08 <= share <= 0.7:
        return False
    rim = np.concatenate([found[1], found[-2], found[:, 1], found[:, -2]])
    if float(rim.mean()) > 0.25:
        return False
    lab = cv2.cvtColor(small, cv2.COLOR_RGB2LAB).astype(np.float32)
    ground, subject = lab[~found], lab[found]
    spread = float(np.sqrt(ground.var(axis=0).sum()))
    apart = float(np.linalg.norm(ground.mean(axis=0) - subject.mean(axis=0)))
    return spread < 28 and apart > 0.9 * spread
