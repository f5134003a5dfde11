"""From colours to one gray: alpha put on white, luma, uneven light divided out."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import GrayArray, PictureArray


def put_on_white(picture: PictureArray) -> PictureArray:
    """Return a picture of shape (H, W) or (H, W, 3), uint8, with any transparency put on white paper."""
    if picture.ndim == 2 or picture.shape[2] == 3:
        return picture
    alpha = picture[:, :, 3:].astype(np.uint16)
    colour = picture[:, :, :3].astype(np.uint16)
    mixed = (colour * alpha + 255 * (255 - alpha) + 127) // 255
    return mixed.astype(np.uint8)


def to_gray(picture: PictureArray) -> npt.NDArray[np.uint8]:
    """Return the luma (H, W), uint8, of a picture of shape (H, W) or (H, W, 3)."""
    if picture.ndim == 2:
        return np.ascontiguousarray(picture)
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(picture), cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def flatten_light(gray: GrayArray, window_share: float = 0.125) -> GrayArray:
    """Divide the brightness of the paper out.

    Parameters
    ----------
    gray : ndarray of shape (H, W), float32, 0 to 1
    window_share : float
        Side of the window that must hold some bare paper, as a share of the longer side.

    Returns
    -------
    ndarray of shape (H, W), float32, 0 to 1
        1 where the picture is as bright as the paper round it.

    Notes
    -----
    The paper is the closing of a reduced copy (longest side 256), smoothed.
    """
    height, width = gray.shape
    scale = min(1.0, 256 / max(height, width))
    small_size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = cv2.resize(gray, small_size, interpolation=cv2.INTER_AREA)
    side = max(3, round(window_share * max(small_size)) | 1)
    paper = cv2.morphologyEx(small, cv2.MORPH_CLOSE, np.ones((side, side), np.uint8), borderType=cv2.BORDER_REPLICATE)
    paper = cv2.blur(paper, (side, side), borderType=cv2.BORDER_REPLICATE)
    paper = cv2.resize(paper, (width, height), interpolation=cv2.INTER_LINEAR)
    flat = gray / np.maximum(paper, 1 / 255)
    return np.asarray(np.clip(flat, 0, 1), dtype=np.float32)


def median(values: npt.NDArray[np.floating]) -> float:
    """Return the median of numbers none of which is missing.

    `numpy.median` looks for missing ones, and loads numpy's masked arrays for that: 10 ms at the first call.

    Examples
    --------
    >>> median(np.array([3.0, 1.0, 2.0])), median(np.array([4.0, 1.0, 2.0, 3.0]))
    (2.0, 2.5)
    """
    flat = values.ravel()
    half = len(flat) // 2
    if len(flat) % 2:
        return float(np.partition(flat, half)[half])
    low, high = np.partition(flat, (half - 1, half))[half - 1 : half + 1]
    return float((low + high) / 2)
