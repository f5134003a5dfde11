"""A quick guess at the chart while a control moves.

The guess starts from the last chart that was made in full. The picture is laid on that chart's grid once; for the
old and the new settings the ink is found as the reduction finds it, each square is judged by how much of it is ink,
and only the squares for which the two judgements differ are changed. So a control that stands still changes nothing,
and one that moves changes the right parts at once. What is kept is always made in full, by the same stages as the
command.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, MaskArray, PictureArray
from converter.model.chart import Chart
from converter.raster.light import find_ink
from converter.raster.morphology import drop_small, simplify_mask
from converter.raster.photo import tone_mask
from converter.raster.tone import to_gray
from converter.settings import ChartSettings, ReductionSettings

GUESSED: Final = ("dark", "detail", "tidy")
"""Settings that a guess follows on the same grid; a change of ``columns`` gets a guess on its own grid."""
LONGEST_PX: Final = 1600
_SIDES: Final = ((12_000, 6), (40_000, 4))
"""Pixels along a square for charts of up to so many squares; `_LEAST_SIDE` for larger ones."""
_LEAST_SIDE: Final = 3
_SHARES: Final = np.linspace(0.2, 0.6, 17)
"""Shares of ink from which on a square may count as a stitch."""
Plane = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class LightPicture:
    """A picture in gray, at a handy size, what is left out of it white."""

    gray: Plane
    """(H, W), 0 black to 1 white."""
    scale: float
    """Its pixels to one of the picture."""

    @classmethod
    def of(cls, pixels: PictureArray, invert: bool, clear: MaskArray | None = None) -> LightPicture:
        """Prepare a picture for guessing."""
        gray: Any = to_gray(pixels)
        if invert:
            gray = 255 - gray
        if clear is not None:
            gray = np.where(clear, np.uint8(255), gray)
        scale = min(1.0, LONGEST_PX / max(gray.shape))
        if scale < 1:
            gray = cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        return cls(np.asarray(gray, dtype=np.float32) / np.float32(255), scale)

    def lay(self, placement: npt.NDArray[np.float64], shape: tuple[int, int]) -> Plane:
        """Return the picture laid on a grid of ``shape`` squares, `side_of` pixels to each."""
        side = side_of(shape)
        # Hole (row, col) lies at an edge of pixels; the middle of small pixel i is (i + 0.5) / side in holes.
        to_holes = np.array([[1 / side, 0, 0.5 / side], [0, 1 / side, 0.5 / side], [0, 0, 1.0]])
        at = np.vstack([placement * self.scale, [0, 0, 1]]) @ to_holes
        swap = np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1.0]])
        matrix = (swap @ at @ swap)[:2] - np.array([[0, 0, 0.5], [0, 0, 0.5]])
        return np.asarray(
            cv2.warpAffine(
                self.gray,
                matrix,
                (shape[1] * side, shape[0] * side),
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                borderMode=cv2.BORDER_REPLICATE,
            )
        )


def side_of(shape: tuple[int, int]) -> int:
    """Return the pixels along a square of a chart of so many rows and columns."""
    squares = shape[0] * shape[1]
    return next((side for most, side in _SIDES if squares <= most), _LEAST_SIDE)


def ink_share(laid: Plane, wanted: ReductionSettings, kind: str, side: int) -> Plane:
    """Return how much of each square of a laid picture is ink, 0 to 1."""
    if kind == "photo":
        mask = tone_mask(laid, side, wanted.dark, wanted.detail, wanted.tidy, None)
    else:
        ink = find_ink(laid, side, wanted.dark)
        mask = np.zeros(laid.shape, dtype=np.bool_) if ink is None else ink.mask
    bold = max(0.0, (50 - wanted.detail) / 50)
    speck = 0.08 * (wanted.tidy / 50) ** 2 if wanted.tidy <= 50 else 0.08 + 4 * ((wanted.tidy - 50) / 50) ** 2
    mask = drop_small(simplify_mask(mask, 0.5 * bold * side), (speck + 4 * bold**2) * side**2)
    rows, columns = laid.shape[0] // side, laid.shape[1] // side
    return np.asarray(mask.reshape(rows, side, columns, side).mean(axis=(1, 3), dtype=np.float32))


class Guesser:
    """What guesses start from: the last chart made in full and the picture laid on its grid.

    Parameters
    ----------
    picture : LightPicture
    chart : Chart
        Made in full, without corrections.
    kind : str
        What the picture was taken for: line, shape or photo.
    settings : ChartSettings
        The chart's own.
    """

    def __init__(self, picture: LightPicture, chart: Chart, kind: str, settings: ChartSettings) -> None:
        self.kind = kind
        self.settings = settings
        self.cells = chart.cells
        self.placement = chart.placement
        self.picture = picture
        if chart.placement is None:
            return
        self.laid = picture.lay(chart.placement, chart.cells.shape)
        side = side_of(chart.cells.shape)
        share = ink_share(self.laid, settings.reduction, kind, side)
        other = ink_share(1 - self.laid, settings.reduction, kind, side)
        # Light drawn on dark is found by the reduction; here the chart itself tells which way it was taken.
        self.inverted = np.count_nonzero((other >= 0.5) != chart.cells) < np.count_nonzero(
            (share >= 0.5) != chart.cells
        )
        if self.inverted:
            self.laid, share = 1 - self.laid, other
        # Thin strokes fill less than half of their squares: the share that gives as many stitches as there are.
        counts = np.array([np.count_nonzero(share >= level) for level in _SHARES])
        self.level = float(_SHARES[np.argmin(np.abs(counts - np.count_nonzero(chart.cells)))])
        self.judged: CellArray = share >= self.level

    def guess(self, last: Chart, after: ChartSettings) -> Chart | None:
        """Return about the chart that ``after`` will give.

        Parameters
        ----------
        last : Chart
            The chart that was made in full, on her cloth.
        after : ChartSettings

        Returns
        -------
        chart : Chart or None
            None if the change is of a kind that cannot be guessed.
        """
        columns, now = after.reduction.columns, self.settings.reduction.columns
        if self.placement is None or columns is None or now is None:
            return None
        shape = (last.rows, last.columns)
        if columns == now:
            fresh = self._judge(self.laid, after, shape)
            return last.with_(cells=np.where(self.judged != fresh, fresh, last.cells))
        ratio = last.columns / columns
        shape = (max(1, round(last.rows / ratio)), columns)
        placement = self.placement * np.array([[ratio, ratio, 1.0]])
        laid = self.picture.lay(placement, shape)
        cells = self._judge(1 - laid if self.inverted else laid, after, shape)
        return last.with_(cells=cells, lines=np.zeros((0, 2, 2)), placement=placement)

    def _judge(self, laid: Plane, after: ChartSettings, shape: tuple[int, int]) -> CellArray:
        return np.asarray(ink_share(laid, after.reduction, self.kind, side_of(shape)) >= self.level)
