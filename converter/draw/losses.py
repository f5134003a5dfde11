"""The picture with what was dropped, closed or joined marked on it."""

from __future__ import annotations

from typing import Any, Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.draw.palette import IndexedPicture
from converter.model.arrays import MaskArray
from converter.pixels.clear import put_on_white
from converter.raster.tone import to_gray

_LONGEST_PX: Final = 1200
_MARK_RGB: Final = (0, 90, 200)
"""Blue: told from ink by its tone, and from red by those who see red and green alike."""
_PALE: Final = 0.55
"""How much of the ink's strength is left, so that the marks are the first thing seen."""
_TINT: Final = 0.65
_LEVELS: Final = 64


def losses_picture(image: Any, mask: MaskArray) -> IndexedPicture:
    """Return the picture in pale grays, with the marked areas ringed and tinted.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) or (H, W, 4), uint8
    mask : ndarray of shape (H, W), bool

    Returns
    -------
    picture : IndexedPicture
        At most 1200 pixels on the longer side. Gray, so that the marks are its only colour whatever the
        colours of the drawing.
    """
    height, width = mask.shape
    scale = min(1.0, _LONGEST_PX / max(height, width))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    paper = np.ascontiguousarray(put_on_white(np.asarray(image)))
    small = np.asarray(cv2.resize(paper, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    area = cv2.resize(mask.astype(np.uint8) * 255, size, interpolation=cv2.INTER_AREA) > 0
    index = to_gray(small) // np.uint8(256 // _LEVELS)
    reach = max(3, round(max(size) / 150))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    wide = cv2.dilate(area.astype(np.uint8), kernel)
    inner = cv2.erode(wide, np.ones((3, 3), np.uint8), iterations=max(1, reach // 3))
    index[area] += np.uint8(_LEVELS)
    index[wide > inner] = 2 * _LEVELS
    return IndexedPicture(index, _colours(), busy=True, dpi=96.0)


def _colours() -> npt.NDArray[np.uint8]:
    """Return the table (2 * levels + 1, 3): pale grays, the same tinted, the ring."""
    grays = np.linspace(0, 255, _LEVELS)
    pale = np.repeat((255 - (255 - grays) * _PALE)[:, None], 3, axis=1)
    mark = np.array(_MARK_RGB, dtype=np.float64)
    table = np.concatenate([pale, (1 - _TINT) * pale + _TINT * mark, mark[None]])
    return np.asarray(np.rint(table), dtype=np.uint8)


def losses_bytes(image: Any, mask: MaskArray) -> bytes:
    """Return `losses_picture` as PNG."""
    return losses_picture(image, mask).png
