"""Pictures with clear parts, put on white paper.

A drawing in white on a clear ground could not be seen there; it is drawn dark instead, by its shape.
"""

from __future__ import annotations

import numpy as np

from converter.model.arrays import PictureArray

WHITE = 240
"""Level from which paper and drawing cannot be told apart by eye."""
OPAQUE = 128
"""Level of alpha from which a part is taken to be drawn."""


def put_on_white(picture: PictureArray) -> PictureArray:
    """Return a picture of shape (H, W), (H, W, 3) or (H, W, 4), uint8, with any transparency put on white paper."""
    if picture.ndim == 2 or picture.shape[2] == 3:
        return picture
    alpha = picture[:, :, 3:].astype(np.uint16)
    colour = picture[:, :, :3].astype(np.uint16)
    mixed = ((colour * alpha + 255 * (255 - alpha) + 127) // 255).astype(np.uint8)
    return seen_on_white(mixed, picture[:, :, 3])


def seen_on_white(on_white: PictureArray, alpha: PictureArray) -> PictureArray:
    """Return a picture put on white, or the dark shape of what is drawn if that is all white.

    Parameters
    ----------
    on_white : ndarray of shape (H, W) or (H, W, 3), uint8
    alpha : ndarray of shape (H, W), uint8
        0 where the picture is clear.
    """
    if on_white.size == 0 or on_white.min() < WHITE or alpha.max() < OPAQUE or alpha.min() >= OPAQUE:
        return on_white
    shape = 255 - alpha
    return shape if on_white.ndim == 2 else np.repeat(shape[:, :, None], 3, axis=2)
