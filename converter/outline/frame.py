"""The picture in the stitch frame: a fixed number of pixels a stitch, even paper, ink above zero.

Paper under a lamp or a window is not equally bright. Its brightness is taken as a smooth surface
(quadratic, with the cubic and fourth-order terms of a lens) in the logarithm of the gray value,
fitted to the bright pixels again and again while darker ones are dropped; unlike a local maximum it
does not sink inside large dark shapes.

What is ink is decided against the darkest value within a stitch: a pixel is ink if it is darker
than half way between paper and that value. So a faint hairline and a black area each have their
edge where their own darkness falls to one half.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, GrayArray, MaskArray, PictureArray

NEAR_INK: Final = 0.5
"""Known ink is trusted so many stitches round it."""


@dataclass(frozen=True, eq=False)
class StitchFrame:
    """A picture resampled so that its pixels fill the grid exactly."""

    rgb: npt.NDArray[np.float32]
    """(rows * scale, cols * scale, 3), 0 to 1."""
    scale: int
    """Pixels a stitch."""
    shape: tuple[int, int]
    """Rows and columns of the grid."""
    paper: GrayArray
    """(rows * scale, cols * scale): brightness of bare paper, judged on the whole picture."""
    inked: MaskArray | None = None
    """(rows * scale, cols * scale): within `NEAR_INK` stitches of what is known to be ink; None if nothing is known."""

    @property
    def even(self) -> GrayArray:
        """Gray with the paper at 1."""
        return np.asarray(np.minimum(to_gray(self.rgb) / self.paper, 1.0), dtype=np.float32)


def working_scale(columns: int, rows: int) -> int:
    """Return the pixels a stitch to work at: 12 on small grids, fewer on large ones."""
    return int(np.clip(900 // max(columns, rows), 4, 12))


def to_frame(
    image: PictureArray,
    placement: npt.NDArray[np.float64],
    shape: tuple[int, int],
    scale: int,
    inked: MaskArray | None = None,
) -> StitchFrame:
    """Return the part of a picture under the grid.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) or (H, W, 4), uint8
        Transparent parts count as white.
    placement : ndarray of shape (2, 3)
        Picture (row, col), pixel corners at whole numbers, of hole (row, col) is
        ``placement @ [row, col, 1]``.
    shape : tuple of int
        Rows and columns of the grid.
    scale : int
        Pixels a stitch.
    inked : ndarray of shape (h, w), bool, optional
        Where there is ink, on a copy of the whole picture of any size. The brightness of the paper is then that
        of the paper near by; without it, a smooth surface is fitted.

    Notes
    -----
    The picture is first averaged down by a whole number so that the final, interpolated step
    never skips pixels. Beyond the picture its edge pixels are repeated.
    """
    picture: npt.NDArray[Any] = image
    if picture.ndim == 3 and picture.shape[2] == 4:
        alpha = picture[:, :, 3:].astype(np.uint16)
        flat = (picture[:, :, :3] * alpha + 255 * (255 - alpha) + 127) // 255
        picture = flat.astype(np.uint8)
    small, factor = _average_down(picture, float(np.sqrt(abs(np.linalg.det(placement[:, :2])))) / scale)
    warped = _warp(small, placement / factor, shape, scale)
    if warped.ndim == 2:
        warped = np.repeat(warped[:, :, None], 3, axis=2)
    coarse, coarser = _average_down(picture, max(picture.shape[:2]) / 200)
    gray = to_gray(coarse.astype(np.float32) / np.float32(255))
    light = fit_paper(gray, 1) if inked is None else fill_paper(gray, inked)
    return StitchFrame(
        np.asarray(warped, dtype=np.float32) / np.float32(255),
        scale,
        shape,
        np.asarray(_warp(light, placement / coarser, shape, scale), dtype=np.float32),
        None if inked is None else _near_ink(inked, placement * (inked.shape[0] / picture.shape[0]), shape, scale),
    )


def _near_ink(inked: MaskArray, placement: npt.NDArray[np.float64], shape: tuple[int, int], scale: int) -> MaskArray:
    """Return what lies under the grid within `NEAR_INK` stitches of ink."""
    under = _warp(inked.astype(np.float32), placement, shape, scale) > 0.2
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * max(round(NEAR_INK * scale), 1) + 1,) * 2)
    return np.asarray(cv2.dilate(under.astype(np.uint8), disc) > 0)


def _average_down(picture: npt.NDArray[Any], step: float) -> tuple[npt.NDArray[Any], int]:
    """Return a picture averaged over squares of a whole number of pixels, at most ``step``, and that number."""
    height, width = picture.shape[:2]
    factor = max(int(step), 1)
    if factor == 1:
        return picture, 1
    rows, cols = -(-height // factor), -(-width // factor)
    if (rows * factor, cols * factor) != (height, width):
        picture = cv2.copyMakeBorder(picture, 0, rows * factor - height, 0, cols * factor - width, cv2.BORDER_REPLICATE)
    return cv2.resize(picture, (cols, rows), interpolation=cv2.INTER_AREA), factor


def _warp(
    picture: npt.NDArray[Any], placement: npt.NDArray[np.float64], shape: tuple[int, int], scale: int
) -> npt.NDArray[Any]:
    """Return the picture under the grid, interpolated."""
    # Pixel centres: frame (x + 0.5) / scale is the hole coordinate; picture centre coordinates are 0.5 less.
    step = placement[:, :2] / scale
    origin = placement[:, 2] + step @ np.array([0.5, 0.5]) - 0.5
    matrix = np.array([[step[1, 1], step[1, 0], origin[1]], [step[0, 1], step[0, 0], origin[0]]])
    return cv2.warpAffine(
        picture,
        matrix,
        (shape[1] * scale, shape[0] * scale),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )


def to_gray(rgb: npt.NDArray[np.float32]) -> GrayArray:
    """Return the luma of sRGB-coded colours (weights of ITU-R BT.601); gray stays gray."""
    if rgb.ndim == 2:
        return rgb
    return np.asarray(rgb @ np.array([0.299, 0.587, 0.114], dtype=np.float32), dtype=np.float32)


def fit_paper(gray: GrayArray, stride: int) -> GrayArray:
    """Return the brightness of the paper at each pixel.

    Parameters
    ----------
    gray : ndarray of shape (H, W), float32
    stride : int
        Every so many pixels in both directions are looked at.
    """
    height, width = gray.shape
    stride = max(min(stride, height // 24, width // 24), 1)
    blurred = cv2.blur(gray, (3, 3))
    sample = np.log(blurred[stride // 2 :: stride, stride // 2 :: stride].astype(np.float64) + 0.02)
    rows = (np.arange(sample.shape[0]) + 0.5) / sample.shape[0] * 2 - 1
    cols = (np.arange(sample.shape[1]) + 0.5) / sample.shape[1] * 2 - 1
    y, x = np.meshgrid(rows, cols, indexing="ij")
    far = x * x + y * y
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y, x * far, y * far, far * far], axis=-1).reshape(-1, 9)
    value = sample.ravel()
    surface = np.full(len(value), float(np.quantile(value, 0.97)))
    # The bend of the surface is freed step by step; a wide margin first.
    for count, margin in (
        (1, 0.5),
        (3, 0.35),
        (3, 0.25),
        (6, 0.2),
        (6, 0.15),
        (9, 0.15),
        (9, 0.12),
        (9, 0.1),
        (9, 0.1),
    ):
        keep = value > surface - margin
        if keep.sum() < 24:
            break
        # A little weight on flatness holds the surface where no paper is in sight.
        ridge = np.diag([0.0, 1e-3, 1e-3, 1e-2, 1e-2, 1e-2, 3e-2, 3e-2, 3e-2][:count]) * keep.sum()
        part = terms[keep][:, :count]
        solution = np.linalg.solve(part.T @ part + ridge, part.T @ value[keep])
        surface = terms[:, :count] @ solution
    coarse = np.exp(surface.reshape(sample.shape)) - 0.02
    full = cv2.resize(coarse.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(np.clip(full, 0.05, 1.5), dtype=np.float32)


def fill_paper(gray: GrayArray, inked: MaskArray) -> GrayArray:
    """Return the brightness of the paper at each pixel: the mean of the paper near by.

    Parameters
    ----------
    gray : ndarray of shape (H, W), float32
    inked : ndarray of shape (h, w), bool
        Where there is ink, on a copy of any size.
    """
    height, width = gray.shape
    # Whatever holds some ink, and the pixels next to it, tells nothing about the paper.
    share = cv2.resize(inked.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA)
    bare = (cv2.dilate(share, np.ones((3, 3), np.uint8)) <= 0.02).astype(np.float32)
    if bare.sum() < 24:
        return fit_paper(gray, 1)
    level = np.full_like(gray, float((gray * bare).sum() / bare.sum()))
    for reach in (243, 81, 27, 9, 5):
        weight = cv2.blur(bare, (reach, reach), borderType=cv2.BORDER_REPLICATE)
        near = cv2.blur(gray * bare, (reach, reach), borderType=cv2.BORDER_REPLICATE) / np.maximum(weight, 1e-6)
        sure = np.clip(4 * weight, 0, 1)
        level = np.asarray(level + sure * (near - level), dtype=np.float32)
    return np.asarray(np.clip(cv2.GaussianBlur(level, (0, 0), 2.0), 0.05, 1.5), dtype=np.float32)


def find_ink(even: GrayArray, scale: int) -> tuple[npt.NDArray[np.float32], MaskArray]:
    """Return how far each pixel is beyond the edge of ink, and what is ink.

    Parameters
    ----------
    even : ndarray of shape (H, W), float32
        Gray on even paper of brightness 1.
    scale : int
        Pixels a stitch.

    Returns
    -------
    field : ndarray of shape (H, W), float32
        Above 0 in ink, 0 at its edge.
    ink : ndarray of shape (H, W), bool
    """
    smooth = np.asarray(cv2.GaussianBlur(even, (0, 0), max(0.06 * scale, 0.5)), dtype=np.float32)
    dark = _otsu_split(smooth)
    # Noise of the paper decides how faint a stroke may be.
    paper = smooth[smooth > dark]
    noise = 1.4826 * float(np.median(np.abs(paper - np.median(paper)))) if paper.size else 0.0
    faintest = max(0.12, 5 * noise)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * scale + 1, 2 * scale + 1))
    darkest = cv2.blur(cv2.erode(smooth, disc), (scale, scale))
    threshold = np.minimum((1.0 + darkest) / 2, 1.0 - faintest / 2)
    field = np.asarray(threshold - smooth, dtype=np.float32)
    return field, field > 0


def is_light_on_dark(frame: StitchFrame, cells: CellArray) -> bool:
    """Return whether the crosses of a chart stand for the light parts of the picture."""
    rows, cols = frame.shape
    tone = to_gray(frame.rgb).reshape(rows, frame.scale, cols, frame.scale).mean(axis=(1, 3))
    return bool(cells.any() and not cells.all() and tone[cells].mean() > tone[~cells].mean() + 0.1)


def _otsu_split(values: npt.NDArray[np.float32]) -> float:
    level, _ = cv2.threshold(
        np.clip(values * 255, 0, 255).astype(np.uint8), 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU
    )
    return float(level) / 255
