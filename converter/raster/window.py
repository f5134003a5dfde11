"""The part of a picture that is worked on, at working size, and marks brought onto it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from converter.errors import RequestError
from converter.model.arrays import GrayArray, MaskArray
from converter.raster.deskew import turn_back
from converter.raster.grid import Bounds, lay_plain
from converter.raster.look import MOST_PIXELS_TURNED, Look
from converter.raster.prepare import Prepared
from converter.raster.scaling import laid_on, resize

PIXELS_A_STITCH = 12
MOST_PIXELS_A_STITCH = 30
PIXELS_OF_PHOTO = 8
MOST_PIXELS_WORKED = 2_500_000

Place = tuple[slice, slice]


@dataclass(frozen=True, eq=False)
class Window:
    """The part of the standing picture that is worked on."""

    gray: GrayArray
    """At working size, straight, light on dark turned to dark on light."""
    pixels: int
    """About so many to a stitch."""
    scale: float
    """Pixels at working size to a pixel of the standing picture."""
    to_standing: npt.NDArray[np.float64]
    """(3, 3), working (row, col, 1) to standing picture."""
    place: Place
    """Of the standing picture, if it was not turned."""
    coarse_place: Place
    """Of the coarse copy of the first look."""
    tilt: float
    whole: tuple[int, ...]
    cut: Place
    """The shape of the whole picture at working size, and the part of that, if it was turned."""

    def bring(self, mask: MaskArray) -> MaskArray:
        """Return marks on the standing picture as marks on the working picture."""
        if self.tilt == 0:
            return laid_on(mask[self.place], self.gray.shape)
        return laid_on(mask, self.whole, self.tilt)[self.cut]

    def bring_coarse(self, marks: MaskArray) -> MaskArray:
        """Return marks on the coarse copy as marks on the working picture."""
        return laid_on(marks[self.coarse_place], self.gray.shape)

    def bring_smoothly(self, marks: MaskArray) -> MaskArray:
        """Return marks on the coarse copy as marks on the working picture, with smooth edges."""
        return np.asarray(self._enlarged(marks.astype(np.float32), cv2.INTER_LINEAR) >= 0.5)

    def bring_levels(self, levels: GrayArray) -> GrayArray:
        """Return a plane of the coarse copy at working size."""
        return self._enlarged(levels, cv2.INTER_NEAREST)

    def _enlarged(self, plane: GrayArray, how: int) -> GrayArray:
        size = self.gray.shape[::-1]
        return np.asarray(cv2.resize(plane[self.coarse_place], size, interpolation=how), dtype=np.float32)


def open_window(ready: Prepared, look: Look, inked: Bounds, rim: bool) -> Window:
    """Return the window round what is inked, at a size that suits the stitches asked for.

    Parameters
    ----------
    ready : Prepared
    look : Look
    inked : top, left, bottom, right
        Of what is to be drawn, pixels of the standing picture.
    rim : bool
        Leave two stitches round it.

    Raises
    ------
    RequestError
        If there are far too few pixels for the stitches asked for.
    """
    height, width = ready.gray.shape
    top, left, bottom, right = inked
    plain = lay_plain(inked, ready.columns, ready.rows)
    far = 2 * plain.cell + 2 / look.scale if rim else 0.0
    first_row, first_col = max(0, int(top - far)), max(0, int(left - far))
    last_row, last_col = min(height, int(np.ceil(bottom + far))), min(width, int(np.ceil(right + far)))
    area = (last_row - first_row) * (last_col - first_col)
    pixels = PIXELS_OF_PHOTO if look.kind.name == "photo" else pixels_for(max(plain.rows, plain.columns))
    pixels = _affordable(pixels, plain.cell, area)
    scale = pixels / plain.cell
    if area * scale**2 > MOST_PIXELS_TURNED:
        raise RequestError(
            f"The drawing is only {right - left:.0f} x {bottom - top:.0f} pixels, too few for so many stitches.",
            "Use a larger picture, or ask for fewer stitches.",
        )
    place = slice(first_row, last_row), slice(first_col, last_col)
    cut = (
        slice(int(first_row * scale), int(np.ceil(last_row * scale))),
        slice(int(first_col * scale), int(np.ceil(last_col * scale))),
    )
    if look.tilt == 0:
        gray = resize(ready.gray[place], scale)
        whole: tuple[int, ...] = gray.shape
        to_standing = np.array([[1 / scale, 0, first_row], [0, 1 / scale, first_col], [0, 0, 1.0]])
    else:
        turned, back = turn_back(resize(ready.gray, scale), look.tilt)
        gray, whole = np.ascontiguousarray(turned[cut]), turned.shape
        shift = np.array([[1.0, 0, cut[0].start], [0, 1, cut[1].start], [0, 0, 1]])
        to_standing = np.diag([1 / scale, 1 / scale, 1.0]) @ back @ shift
    return Window(
        gray=1 - gray if look.inverted else gray,
        pixels=pixels,
        scale=scale,
        to_standing=to_standing,
        place=place,
        coarse_place=(_at(look.scale, first_row, last_row), _at(look.scale, first_col, last_col)),
        tilt=look.tilt,
        whole=whole,
        cut=cut,
    )


def _at(scale: float, first: int, last: int) -> slice:
    return slice(int(first * scale), max(1, int(last * scale)))


def _affordable(pixels: int, cell: float, area: int) -> int:
    """Return the pixels a stitch, fewer where a few picture pixels are spread over many stitches: that loses nothing.

    Parameters
    ----------
    pixels : int
        Wanted.
    cell : float
        Side of a stitch, pixels of the standing picture.
    area : int
        Of the window, square pixels of the standing picture.
    """
    if area * (pixels / cell) ** 2 <= MOST_PIXELS_WORKED:
        return pixels
    pixels = min(pixels, 8)
    while pixels > 4 and area * (pixels / cell) ** 2 > MOST_PIXELS_WORKED * 4:
        pixels -= 2
    return pixels


def pixels_for(longest: int) -> int:
    """Return the pixels a stitch to work at, an even number, for so many stitches on the longer side."""
    if longest <= 80:
        return int(np.clip(2 * round(240 / longest), PIXELS_A_STITCH, MOST_PIXELS_A_STITCH))
    return 10 if longest <= 100 else 8
