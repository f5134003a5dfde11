"""Optical density: how much darker than full white, so that ink adds up and shade becomes a constant.

A photo is a product: light times what the paper reflects. In the logarithm the light is a slowly changing addend,
and a printed line raises the density by the same amount in the sun and in the shade. Everything in this package
measures differences of density between near places, never brightness as such.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.pixels.clear import put_on_white

FloatArray = npt.NDArray[np.float32]

_FLOOR = 12.0
_TABLE = (-np.log((np.arange(256) + _FLOOR) / (255 + _FLOOR))).astype(np.float32)


def as_rgb(image: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """Return the picture as (H, W, 3), with any transparency put on white paper."""
    if image.ndim == 2:
        return np.repeat(image[:, :, None], 3, axis=2)
    return put_on_white(image)


def density(rgb: npt.NDArray[np.uint8]) -> FloatArray:
    """Return the density of each channel.

    Parameters
    ----------
    rgb : ndarray of shape (H, W, 3), uint8

    Returns
    -------
    density : ndarray of shape (H, W, 3), float32
        0 for white, natural logarithm; about 3.1 for black.
    """
    return np.asarray(cv2.LUT(np.ascontiguousarray(rgb), _TABLE), dtype=np.float32)


def gray(dense: npt.NDArray[Any]) -> FloatArray:
    """Return the mean (...) of the channels of (..., 3)."""
    flat = np.ascontiguousarray(dense, dtype=np.float32).reshape(-1, 1, 3)
    mean = np.asarray(cv2.transform(flat, np.full((1, 3), 1 / 3, np.float32)), dtype=np.float32)
    return mean.reshape(dense.shape[:-1])


def ink(dense: npt.NDArray[Any]) -> FloatArray:
    """Return one number (...) for the channels of (..., 3) in which ink of any colour counts: mean and darkest."""
    flat = np.ascontiguousarray(dense, dtype=np.float32).reshape(-1, 1, 3)
    darkest = np.maximum(np.maximum(flat[..., 0], flat[..., 1]), flat[..., 2])
    mean = cv2.transform(flat, np.full((1, 3), 1 / 3, np.float32)).reshape(darkest.shape)
    return np.asarray(cv2.addWeighted(mean, 0.5, darkest, 0.5, 0.0), dtype=np.float32).reshape(dense.shape[:-1])


def shrink(image: npt.NDArray[Any], scale: float) -> npt.NDArray[Any]:
    """Return the picture reduced by area averaging; ``scale`` above 1 leaves it as it is."""
    if scale >= 0.999:
        return image
    size = (max(1, round(image.shape[1] * scale)), max(1, round(image.shape[0] * scale)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA))


def channel_weights(dense: FloatArray) -> FloatArray:
    """Return the mix of channels in which thin dark strokes stand out most from the noise.

    Light blue lines show in red, orange ones in blue. The mix is Fisher's for independent noise: mean height of
    the thin dark ridges over the variance of the fine grain, channel by channel.
    """
    every = -(-max(dense.shape[:2]) // 1200)
    small = np.ascontiguousarray(dense[::every, ::every])
    kernel = np.ones((7, 7), np.uint8)
    ridges = small - cv2.morphologyEx(small, cv2.MORPH_OPEN, kernel)
    tall = ridges.max(axis=2)
    ridge = tall >= max(float(np.quantile(tall[::3, ::3], 0.9)), 0.2 * float(tall.max()))
    height = ridges[ridge].mean(axis=0)
    grain = small - cv2.GaussianBlur(small, (0, 0), 1.0)
    spread = np.median(np.abs(grain[::2, ::2]), axis=(0, 1)) + 0.004
    return mix(height, spread)


def mix(height: npt.NDArray[Any], spread: npt.NDArray[Any]) -> FloatArray:
    """Return weights that add up to 1 from the height and the noise of each channel."""
    weight = np.maximum(height, 0) / spread**2
    weight = np.minimum(weight, 4 * np.median(weight) + 1e-9)
    total = float(weight.sum())
    if total <= 0:
        return np.full(3, 1 / 3, np.float32)
    return np.asarray(weight / total, dtype=np.float32)
