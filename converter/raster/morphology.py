"""Specks and detail on the laid mask, before the cells are chosen."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import LabelArray, MaskArray
from converter.pixels.runs import spread
from converter.raster.components import label_parts


def disc(radius_pixels: float) -> npt.NDArray[np.uint8]:
    """Return a disc-shaped footprint; the same for all its mirror images."""
    reach = max(0, int(np.floor(radius_pixels)))
    steps = np.arange(-reach, reach + 1)
    return np.asarray(steps[:, None] ** 2 + steps[None, :] ** 2 <= radius_pixels**2 + 1e-9, dtype=np.uint8)


def drop_small(mask: MaskArray, max_area_removed: float, connectivity: int = 8) -> MaskArray:
    """Return the mask without connected parts of at most so many pixels."""
    return drop_parts(mask, label_parts(mask, connectivity), max_area_removed)


def drop_parts(mask: MaskArray, parts: tuple[LabelArray, npt.NDArray[np.int64]], max_area_removed: float) -> MaskArray:
    """Return the mask without parts of at most so many pixels; ``parts`` is what `label_parts` found on it."""
    labels, area = parts
    drop = area <= max_area_removed
    drop[0] = False
    if not drop.any():
        return mask
    return np.asarray(mask & ~spread(drop, labels))


def fill_small(mask: MaskArray, max_area_filled: float) -> MaskArray:
    """Return the mask with ground parts (4-connected) of at most so many pixels filled."""
    return np.asarray(~drop_small(~mask, max_area_filled, connectivity=4))


def simplify_mask(mask: MaskArray, radius_pixels: float) -> MaskArray:
    """Return the mask with gaps narrower than twice the radius closed and openings of that size filled.

    Nothing is opened, so that thin strokes stay: hatching becomes tone, small loops become dots.
    """
    if radius_pixels < 1:
        return mask
    closed = cv2.morphologyEx(mask.view(np.uint8), cv2.MORPH_CLOSE, disc(radius_pixels), borderType=cv2.BORDER_CONSTANT)
    return fill_small(np.asarray(closed > 0), 8 * radius_pixels**2)
