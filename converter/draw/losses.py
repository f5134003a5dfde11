"""The picture with what was dropped, closed or joined marked on it."""

from __future__ import annotations

from typing import Any, Final

import cv2
import numpy as np

from converter.draw.png import encode_png
from converter.model.arrays import MaskArray, PictureArray

_LONGEST_PX: Final = 1200
_MARK_RGB: Final = (0, 90, 200)
"""Blue: told from ink by its tone, and from red by those who see red and green alike."""


def losses_pixels(image: Any, mask: MaskArray) -> PictureArray:
    """Return the picture paled, with the marked areas ringed and tinted.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) or (H, W, 4), uint8
    mask : ndarray of shape (H, W), bool

    Returns
    -------
    pixels : ndarray of shape (h, w, 3), uint8
        At most 1200 pixels on the longer side.
    """
    picture = np.asarray(image)
    if picture.ndim == 2:
        picture = np.repeat(picture[:, :, None], 3, axis=2)
    if picture.shape[2] == 4:
        alpha = picture[:, :, 3:].astype(np.float32) / 255
        picture = np.rint(picture[:, :, :3] * alpha + 255 * (1 - alpha)).astype(np.uint8)
    marked = mask.astype(np.uint8)
    height, width = marked.shape
    scale = min(1.0, _LONGEST_PX / max(height, width))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = cv2.resize(np.ascontiguousarray(picture), size, interpolation=cv2.INTER_AREA)
    area = cv2.resize(marked * 255, size, interpolation=cv2.INTER_AREA) > 0
    pale = 255 - (255 - small.astype(np.float32)) * 0.55
    reach = max(3, round(max(size) / 150))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    wide = cv2.dilate(area.astype(np.uint8), kernel)
    inner = cv2.erode(wide, np.ones((3, 3), np.uint8), iterations=max(1, reach // 3))
    pale[area] = 0.35 * pale[area] + 0.65 * np.array(_MARK_RGB, dtype=np.float32)
    pale[(wide > 0) & (inner == 0)] = _MARK_RGB
    return np.asarray(np.rint(pale), dtype=np.uint8)


def losses_bytes(image: Any, mask: MaskArray) -> bytes:
    """Return `losses_pixels` as PNG."""
    return encode_png(losses_pixels(image, mask), 96.0)
