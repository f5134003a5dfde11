"""What is done to the picture before anything is measured on it: alpha, turn, crop, invert, standard orientation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.errors import UsageError
from converter.model.arrays import PictureArray, as_picture
from converter.pixels.blocks import to_blocks
from converter.pixels.clear import put_on_white
from converter.raster.bars import find_bars
from converter.raster.drawn_squares import enlarge
from converter.raster.folds import find_folds
from converter.raster.frame import Matrix, Orientation, find_standing, quarter_turn
from converter.raster.paper import look_at_paper
from converter.raster.rulings import has_rulings
from converter.raster.sheet import find_sheet
from converter.raster.tone import part_colours, to_gray
from converter.settings import Box, ChartSettings


@dataclass(frozen=True, eq=False)
class Prepared:
    """A picture in its standard orientation, ready for measuring."""

    gray: npt.NDArray[np.uint8]
    """(H, W), 0 black to 255 white; dark is ink."""
    colour: npt.NDArray[np.uint8] | None
    """(H, W, 3) RGB, if the picture has colours."""
    keep: npt.NDArray[np.bool_] | None
    clear: npt.NDArray[np.bool_] | None
    """(H, W) marks on this picture."""
    subject: Box | None
    """Percent of this picture."""
    mirror: str
    """auto, none, upright, level or both, as seen in this orientation."""
    columns: int | None
    rows: int | None
    orientation: Orientation
    """From the turned and cropped picture to this one."""
    symmetries: tuple[Orientation, ...]
    """Orientations that leave this picture exactly unchanged."""
    to_source: Matrix
    """(3, 3): (row, col, 1) in pixels of this picture to pixels of the picture as it came."""
    source_shape: tuple[int, int]
    had_bars: bool = False
    """Bars of a screen, or the dark beyond a scanned page, were left out."""
    on_sheet: bool = False
    """Only a sheet of paper in the photograph was taken."""
    was_ruled: bool = False
    """Printed lines of the paper were left out."""
    was_folded: bool = False
    """Folds of the paper were left out."""

    @property
    def stitches(self) -> int:
        """Return how many are asked for, on the longer side if on both."""
        return max(side for side in (self.columns, self.rows) if side is not None)


def prepare_picture(image: Any, settings: ChartSettings) -> Prepared:
    """Turn, crop and invert a picture and bring it to its standard orientation.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) RGB or (H, W, 4) RGBA, uint8
    settings : ChartSettings

    Raises
    ------
    UsageError
        If the image or a mask has the wrong shape or dtype.

    Notes
    -----
    The crop box and the subject box are percentages of the turned picture; masks have the shape of the picture as
    it came and are turned and cropped with it. Small pictures are enlarged. If a photograph shows a sheet of paper with
    something else round it, only the sheet is taken and laid flat.
    """
    picture = as_picture(image)
    source_shape = (picture.shape[0], picture.shape[1])
    wanted = settings.reduction
    turn = quarter_turn(settings.picture.turn)
    to_source = turn.matrix(source_shape)
    layers: list[Any] = [
        put_on_white(picture),
        _mask("keep", wanted.keep, source_shape),
        _mask("clear", wanted.clear, source_shape),
    ]
    layers = [None if layer is None else turn.apply(layer) for layer in layers]
    subject = wanted.subject
    if settings.picture.crop is not None:
        height, width = layers[0].shape[:2]
        left, top, right, bottom = settings.picture.crop
        first_col, last_col = _span(left, right, width)
        first_row, last_row = _span(top, bottom, height)
        layers = [None if x is None else x[first_row:last_row, first_col:last_col] for x in layers]
        to_source = to_source @ np.array([[1.0, 0, first_row], [0, 1, first_col], [0, 0, 1]])
        if subject is not None:
            subject = _box_inside(subject, (first_col, first_row, last_col, last_row), (height, width))
    colour, keep, clear = layers
    if settings.picture.invert:
        colour = 255 - colour
    colour, times = enlarge(colour)
    keep, clear = (None if x is None else to_blocks(x, times) for x in (keep, clear))
    to_source = to_source @ np.diag([1 / times, 1 / times, 1.0])
    gray = part_colours(colour, to_gray(colour))
    has_colour = colour.ndim == 3
    standing = find_standing(gray, colour if has_colour else None, keep, clear)
    one = standing.orientation
    to_source = to_source @ one.matrix(gray.shape)
    gray, colour = one.apply(gray), one.apply(colour)
    keep, clear = (None if x is None else one.apply(x) for x in (keep, clear))
    bars = find_bars(colour) if settings.picture.trim and subject is None else None
    if bars is not None:
        colour, keep, clear = (None if x is None else bars.cut(x) for x in (colour, keep, clear))
        to_source = to_source @ bars.matrix()
    sheet = find_sheet(colour) if _may_lie_on_a_sheet(settings) else None
    if sheet is not None:
        colour = sheet.lay_flat(colour)
        keep, clear = (None if x is None else sheet.lay_flat(x) for x in (keep, clear))
        to_source = to_source @ sheet.matrix()
    colour, was_ruled, was_folded = _on_plain_paper(colour, settings)
    changed = bars is not None or sheet is not None or was_ruled or was_folded
    if changed:
        gray = part_colours(colour, to_gray(colour))
    columns, rows = (wanted.rows, wanted.columns) if one.transpose else (wanted.columns, wanted.rows)
    mirror = wanted.mirror
    if one.transpose:
        mirror = {"upright": "level", "level": "upright"}.get(mirror, mirror)
    symmetries = standing.symmetries if subject is None and not changed else ()
    return Prepared(
        gray=gray,
        colour=colour if has_colour else None,
        keep=keep,
        clear=clear,
        subject=None if subject is None else _turn_box(subject, one),
        mirror=mirror,
        columns=columns,
        rows=rows,
        orientation=one,
        symmetries=symmetries,
        to_source=to_source,
        source_shape=source_shape,
        had_bars=bars is not None,
        on_sheet=sheet is not None,
        was_ruled=was_ruled,
        was_folded=was_folded,
    )


def _may_lie_on_a_sheet(settings: ChartSettings) -> bool:
    """Return whether she may mean only the sheet of paper that the picture shows."""
    wanted = settings.reduction
    photo = wanted.kind == "photo" or wanted.subject is not None
    return settings.picture.sheet and not settings.picture.invert and not photo


def _on_plain_paper(picture: PictureArray, settings: ChartSettings) -> tuple[PictureArray, bool, bool]:
    """Return a drawing without printed lines or folds of its paper, and whether it had either."""
    look = None
    if not settings.picture.invert and settings.reduction.kind != "photo":
        look = look_at_paper(picture)
    if look is None:
        return picture, False, False
    if has_rulings(look):
        return (picture, False, False) if settings.picture.rulings else (look.wipe(picture), True, False)
    folds = find_folds(look)
    return (picture, False, False) if folds is None else (folds.smooth(picture), False, True)


def _mask(name: str, mask: Any, shape: tuple[int, int]) -> npt.NDArray[np.bool_] | None:
    """Return a mask at the picture's size: a large photo may have been decoded smaller than its mask."""
    if mask is None:
        return None
    array = np.asarray(mask)
    if array.shape == shape:
        return array.astype(np.bool_)
    if array.ndim != 2 or 0 in array.shape or not _same_proportions(array.shape, shape):
        raise UsageError(
            f"The {name} mask has {' x '.join(map(str, array.shape[::-1]))} pixels, the picture "
            f"{shape[1]} x {shape[0]}.",
            "Give a mask of the picture's size or proportions.",
        )
    shares = cv2.resize(array.astype(np.float32), (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return np.asarray(shares >= 0.5)


def _same_proportions(one: tuple[int, ...], other: tuple[int, int]) -> bool:
    """Return True if a scaled copy of the one, its sides rounded, has the size of the other."""
    rows, cols = one
    return abs(rows * other[1] / cols - other[0]) <= 1.5 or abs(cols * other[0] / rows - other[1]) <= 1.5


def _span(low: float, high: float, size: int) -> tuple[int, int]:
    """Return whole pixels of a percentage span; the mirrored span gives the mirrored pixels."""
    first = int(np.floor(low * size / 100 + 1e-9))
    last = int(np.ceil(high * size / 100 - 1e-9))
    return first, max(last, first + 1)


def _box_inside(box: Box, crop: tuple[int, int, int, int], shape: tuple[int, int]) -> Box | None:
    left, top = box[0] * shape[1] / 100 - crop[0], box[1] * shape[0] / 100 - crop[1]
    right, bottom = box[2] * shape[1] / 100 - crop[0], box[3] * shape[0] / 100 - crop[1]
    width, height = crop[2] - crop[0], crop[3] - crop[1]
    held = (max(left / width, 0), max(top / height, 0), min(right / width, 1), min(bottom / height, 1))
    if held[0] >= held[2] or held[1] >= held[3]:
        return None
    return held[0] * 100, held[1] * 100, held[2] * 100, held[3] * 100


def _turn_box(box: Box, one: Orientation) -> Box:
    left, top, right, bottom = box
    if one.transpose:
        left, top, right, bottom = top, left, bottom, right
    if one.flip_rows:
        top, bottom = 100 - bottom, 100 - top
    if one.flip_cols:
        left, right = 100 - right, 100 - left
    return left, top, right, bottom
