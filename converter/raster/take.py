"""The picture at working size: coarse first for the box of the ink, then fine inside it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from converter.errors import RequestError
from converter.model.arrays import GrayArray, MaskArray
from converter.raster.grid import Bounds, Grid, find_phase, lay_plain
from converter.raster.light import Ink, find_ink
from converter.raster.prepare import Prepared
from converter.raster.resample import summed_area
from converter.settings import ChartSettings

PIXELS_A_STITCH = 12
COARSE = 700


@dataclass(frozen=True, eq=False)
class Work:
    """The picture at working size: ink and where it lies."""

    depth: npt.NDArray[np.float32]
    """0 = paper, 1 = ink."""
    ink: MaskArray
    box: Bounds
    """Of the ink (or of the whole picture if nothing is to be trimmed), pixels of the working picture."""
    to_standing: npt.NDArray[np.float64]
    """(3, 3), working (row, col, 1) to standing picture."""


def take_up(ready: Prepared, settings: ChartSettings) -> Work:
    """Find the ink at a size that suits the width: coarse first for the box, then fine inside it."""
    height, width = ready.gray.shape
    trim = settings.picture.trim
    coarse_scale = min(1.0, COARSE / max(height, width))
    coarse = _resize(ready.gray, coarse_scale)
    if trim:
        guess = COARSE / max(ready.columns or 0, ready.rows or 0)
        ink = _ink(coarse, max(6.0, min(12.0, guess)), settings.reduction.dark).mask
        top, left, bottom, right = (v / coarse_scale for v in _ink_box(ink))
    else:
        top, left, bottom, right = 0.0, 0.0, float(height), float(width)
    plain = lay_plain((top, left, bottom, right), ready.columns, ready.rows)
    pixels = PIXELS_A_STITCH if max(plain.rows, plain.columns) <= 80 else 10
    rim = 2 * plain.cell + 2 / coarse_scale if trim else 0.0
    first_row, first_col = max(0, int(top - rim)), max(0, int(left - rim))
    last_row, last_col = min(height, int(np.ceil(bottom + rim))), min(width, int(np.ceil(right + rim)))
    part = ready.gray[first_row:last_row, first_col:last_col]
    scale = pixels / plain.cell
    gray = _resize(part, scale)
    found = _ink(gray, pixels, settings.reduction.dark)
    ink = found.mask
    to_standing = np.array([[1 / scale, 0, first_row], [0, 1 / scale, first_col], [0, 0, 1.0]])
    if ready.clear is not None:
        gone = cv2.resize(
            ready.clear[first_row:last_row, first_col:last_col].view(np.uint8),
            (ink.shape[1], ink.shape[0]),
            interpolation=cv2.INTER_NEAREST,
        )
        ink &= gone == 0
    box: Bounds = _ink_box(ink) if trim else (0.0, 0.0, float(ink.shape[0]), float(ink.shape[1]))
    return Work(found.depth, ink, box, to_standing)


def _resize(gray: npt.NDArray[np.uint8], scale: float) -> GrayArray:
    """Return the picture at exactly ``scale``, so that cells stay square whatever the rounded size."""
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    if min(gray.shape) * scale < 1:
        scale = 1 / min(gray.shape)
    out = cv2.resize(gray, None, fx=scale, fy=scale, interpolation=how)
    return np.asarray(out / np.float32(255), dtype=np.float32)


def find_grid(work: Work, ready: Prepared, settings: ChartSettings) -> Grid:
    """Lay the grid over the ink."""
    plain = lay_plain(work.box, ready.columns, ready.rows)
    if not settings.picture.trim or (ready.columns is not None and ready.rows is not None):
        return plain
    rule = "columns" if ready.columns is not None else "rows"
    table = summed_area(work.ink.astype(np.float32))
    turned = [each for each in ready.symmetries]
    return find_phase(
        table,
        work.box,
        plain,
        rule,
        centred_rows=any(each.flip_rows or each.transpose for each in turned),
        centred_cols=any(each.flip_cols or each.transpose for each in turned),
    )


def _ink(gray: GrayArray, pixels: float, dark: float) -> Ink:
    found = find_ink(gray, pixels, dark)
    if found is None:
        raise RequestError(
            "The picture is blank: it has no dark parts that could become stitches.",
            "Choose another picture or another crop.",
        )
    return found


def _ink_box(ink: MaskArray) -> tuple[int, int, int, int]:
    if not ink.any():
        raise RequestError(
            "No part of the picture is dark enough to become a stitch.", "Raise --dark or choose another crop."
        )
    kept = cv2.medianBlur(ink.view(np.uint8), 3).astype(bool)
    ink = kept if kept.any() else ink
    down, across = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    return int(down[0]), int(across[0]), int(down[-1]) + 1, int(across[-1]) + 1
