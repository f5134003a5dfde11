"""A quick guess at the chart while a control moves.

The guess starts from the last chart that was made in full. The picture is laid on that chart's grid once; for the
old and the new settings each square is judged by its ink alone, and only the squares for which the two judgements
differ are changed. So a control that stands still changes nothing, and one that moves changes the right parts at
once. What is kept is always made in full, by the same stages as the command.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, PictureArray
from converter.model.chart import Chart
from converter.raster.components import remove_small_groups
from converter.raster.threshold import threshold_otsu
from converter.raster.tone import flatten_light, to_gray
from converter.settings import ChartSettings

GUESSED: Final = ("dark", "detail", "tidy")
"""Settings that a guess follows on the same grid; a change of ``columns`` gets a guess on its own grid."""
PIXELS_A_STITCH: Final = 6
LONGEST_PX: Final = 1600


@dataclass(frozen=True, eq=False)
class LightPicture:
    """A picture with its uneven light taken out, at a handy size."""

    flat: npt.NDArray[np.float32]
    """(H, W), 0 black to 1 white."""
    scale: float
    """Its pixels to one of the picture."""

    @classmethod
    def of(cls, pixels: PictureArray, invert: bool) -> LightPicture:
        """Prepare a picture for guessing."""
        gray: Any = to_gray(pixels)
        if invert:
            gray = 255 - gray
        scale = min(1.0, LONGEST_PX / max(gray.shape))
        if scale < 1:
            gray = cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        return cls(flatten_light(np.asarray(gray, dtype=np.float32) / np.float32(255)), scale)

    def lay(self, placement: npt.NDArray[np.float64], rows: int, columns: int) -> npt.NDArray[np.uint8]:
        """Return the picture laid on a grid, `PIXELS_A_STITCH` to a square, 0 black to 255 white."""
        side = PIXELS_A_STITCH
        # Hole (row, col) lies at an edge of pixels; the middle of small pixel i is (i + 0.5) / side in holes.
        to_holes = np.array([[1 / side, 0, 0.5 / side], [0, 1 / side, 0.5 / side], [0, 0, 1.0]])
        at = np.vstack([placement * self.scale, [0, 0, 1]]) @ to_holes
        swap = np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1.0]])
        matrix = (swap @ at @ swap)[:2] - np.array([[0, 0, 0.5], [0, 0, 0.5]])
        laid = cv2.warpAffine(
            self.flat,
            matrix,
            (columns * side, rows * side),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=1.0,
        )
        return np.clip(np.rint(laid * 255), 0, 255).astype(np.uint8)


def judge(laid: npt.NDArray[np.uint8], settings: ChartSettings) -> CellArray:
    """Return which squares of a laid picture are stitched, each by its ink alone."""
    wanted = settings.reduction
    at = float(threshold_otsu(laid)) if laid.min() < laid.max() else 127.0
    edge = at + (255 - at if wanted.dark > 0 else at) * wanted.dark / 100 * 0.9
    side = PIXELS_A_STITCH
    rows, columns = laid.shape[0] // side, laid.shape[1] // side
    ink = (laid <= edge).reshape(rows, side, columns, side)
    share = ink.mean(axis=(1, 3), dtype=np.float32)
    swept = 0.0 if wanted.tidy <= 50 else ((wanted.tidy - 50) / 25) ** 2
    bold = max(0.0, (50 - wanted.detail) / 50)
    return remove_small_groups(share >= 0.5, round(swept + 4 * bold**2))


def guess(picture: LightPicture, last: Chart, before: ChartSettings, after: ChartSettings) -> Chart | None:
    """Return about the chart that ``after`` will give.

    Parameters
    ----------
    picture : LightPicture
    last : Chart
        Made in full with ``before``.
    before, after : ChartSettings

    Returns
    -------
    chart : Chart or None
        None if the change is of a kind that cannot be guessed.
    """
    if last.placement is None:
        return None
    columns = after.reduction.columns
    if columns is None or before.reduction.columns is None:
        return None
    if columns == before.reduction.columns:
        laid = picture.lay(last.placement, last.rows, last.columns)
        old, new = judge(laid, before), judge(laid, after)
        return last.with_(cells=np.where(old != new, new, last.cells))
    ratio = last.columns / columns
    rows = max(1, round(last.rows / ratio))
    placement = last.placement * np.array([[ratio, ratio, 1.0]])
    cells = judge(picture.lay(placement, rows, columns), after)
    return last.with_(cells=cells, lines=np.zeros((0, 2, 2)), placement=placement)
