"""Parts of the picture that she wants in full detail, or left out: marked on the chart, kept on the picture.

In a piece's state ``areas`` is ``{"1": {"do": "keep" or "clear", "corners": [[row, col], ...]}, ...}`` with four
corners in percent of the picture as it came, going round. So a part stays where it is on the picture whatever width,
crop or turn comes later. Where two parts overlap, the later one counts. They become the same masks that the command
takes as pictures.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from converter.errors import RequestError, UsageError
from converter.jobs.history import Patch
from converter.jobs.json_checks import as_numbers
from converter.model.arrays import MaskArray
from converter.model.chart import Chart
from converter.settings import ChartSettings

if TYPE_CHECKING:
    from converter.jobs.piece_state import State
    from converter.jobs.pieces import Made

DEEDS: Final = ("keep", "clear")
MOST_AREAS: Final = 200
Corners = npt.NDArray[np.float64]
"""(4, 2), row and column of each corner."""


def check_areas(areas: Any) -> None:
    """Raise UsageError if they are no parts as described above."""
    if not isinstance(areas, dict) or len(areas) > MOST_AREAS:
        raise UsageError(f"At most {MOST_AREAS} parts of the picture can be marked.")
    for name, area in areas.items():
        if not isinstance(name, str) or not name.isascii() or not name.isdecimal() or len(name) > 9:
            raise UsageError("Marked parts of the picture are numbered.")
        if not isinstance(area, dict) or set(area) != {"do", "corners"} or area["do"] not in DEEDS:
            raise UsageError("A part of the picture is kept in full detail or left out.")
        corners = area["corners"]
        if not isinstance(corners, list) or len(corners) != 4:
            raise UsageError("A part of the picture has four corners.")
        for corner in corners:
            as_numbers("A corner", corner, 2)


def with_areas(settings: ChartSettings, areas: Mapping[str, Any], shape: tuple[int, int]) -> ChartSettings:
    """Return the settings with the masks that parts of a picture of ``shape`` rows and columns of pixels give."""
    if not areas:
        return settings
    keep, clear = masks_of(areas, shape)
    return replace(settings, reduction=replace(settings.reduction, keep=keep, clear=clear))


def masks_of(areas: Mapping[str, Any], shape: tuple[int, int]) -> tuple[MaskArray | None, MaskArray | None]:
    """Return what is kept in full detail and what is left out, on a picture of ``shape``; None where nothing is.

    A pixel belongs to a part if its middle lies in it.

    Examples
    --------
    >>> areas = {"1": {"do": "clear", "corners": [[0, 0], [0, 50], [50, 50], [50, 0]]}}
    >>> keep, clear = masks_of(areas, (2, 4))
    >>> keep is None, clear.astype(int).tolist()
    (True, [[1, 1, 0, 0], [0, 0, 0, 0]])
    """
    masks = {do: np.zeros(shape, dtype=np.bool_) for do in DEEDS}
    for name in sorted(areas, key=int):
        corners = np.array(areas[name]["corners"], dtype=np.float64) * np.array(shape) / 100
        first = np.clip(np.floor(corners.min(axis=0)).astype(int), 0, shape)
        last = np.clip(np.ceil(corners.max(axis=0)).astype(int), 0, shape)
        rows, cols = np.ogrid[first[0] + 0.5 : last[0] + 0.5, first[1] + 0.5 : last[1] + 0.5]
        within = _inside(corners, rows, cols)
        place = (slice(first[0], last[0]), slice(first[1], last[1]))
        for do, mask in masks.items():
            mask[place] = mask[place] | within if do == areas[name]["do"] else mask[place] & ~within
    keep, clear = (mask if mask.any() else None for mask in masks.values())
    return keep, clear


def _inside(corners: Corners, rows: npt.NDArray[np.float64], cols: npt.NDArray[np.float64]) -> MaskArray:
    """Return which points lie in a convex shape."""
    sides = []
    for (row, col), (next_row, next_col) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        sides.append((next_row - row) * (cols - col) - (next_col - col) * (rows - row))
    return np.asarray(np.all([side >= 0 for side in sides], axis=0) | np.all([side <= 0 for side in sides], axis=0))


def areas_on(areas: Mapping[str, Any], chart: Chart, shape: tuple[int, int] | None) -> tuple[dict[str, Any], ...]:
    """Return the parts in squares of a chart: ``name``, ``do`` and ``corners`` in rows and columns.

    Parameters
    ----------
    areas : mapping
    chart : Chart
    shape : tuple of int or None
        Rows and columns of pixels of the picture that the chart's placement refers to.
    """
    if chart.placement is None or shape is None:
        return ()
    back = np.linalg.inv(np.vstack([chart.placement, [0, 0, 1.0]]))
    shown = []
    for name in sorted(areas, key=int):
        corners = np.array(areas[name]["corners"], dtype=np.float64) * np.array(shape) / 100
        at = (np.column_stack([corners, np.ones(4)]) @ back.T)[:, :2]
        shown.append({"name": name, "do": areas[name]["do"], "corners": at.round(3).tolist()})
    return tuple(shown)


def area_patch(state: State, made: Made, wish: Any) -> Patch:
    """Return the change of the state that marking a part of the picture, or taking a mark back, makes.

    Parameters
    ----------
    state, made : the piece as it stands
    wish : mapping
        ``rows`` and ``columns`` of the chart she saw, ``do`` and ``box`` (row, column, rows, columns of squares); or
        ``drop``, the number of a part.

    Raises
    ------
    UsageError
        If it does not fit the chart.
    RequestError
        If the piece has no picture there.
    """
    if not isinstance(wish, dict):
        raise UsageError("A part of the picture must be a mapping.")
    areas = state.get("areas", {})
    if "drop" in wish:
        if not isinstance(wish["drop"], str) or wish["drop"] not in areas:
            raise UsageError("There is no such part of the picture any more.")
        return [{"at": ["areas"], "drop": [wish["drop"]]}]
    chart, size = made.chart, made.picture_shape
    if chart.placement is None or size is None or state["what"] != "picture":
        raise RequestError("There is no picture under this chart.", "Clear the squares by hand instead.")
    if (wish.get("rows"), wish.get("columns")) != (chart.rows, chart.columns):
        raise UsageError("The chart has another size by now.", "Mark the part again.")
    if wish.get("do") not in DEEDS:
        raise UsageError("A part of the picture is kept in full detail or left out.")
    top, left, rows, cols = as_numbers("The part", wish.get("box"), 4)
    first_row, first_col, high, wide = made.motif
    bottom, right = min(top + rows, first_row + high), min(left + cols, first_col + wide)
    top, left = max(top, first_row), max(left, first_col)
    if top >= bottom or left >= right:
        raise RequestError("Nothing of the picture lies there.", "Mark a part of the motif.")
    corners = np.array([[top, left, 1.0], [top, right, 1], [bottom, right, 1], [bottom, left, 1]])
    percent = corners @ chart.placement.T * 100 / np.array(size)
    number = 1 + max((int(name) for name in areas), default=0)
    area = {"do": wish["do"], "corners": percent.round(4).tolist()}
    if wish["do"] == "clear" and _nothing_left(made.base, {**areas, str(number): area}, size):
        raise RequestError("Nothing of the picture would be left.", "Leave a smaller part out.")
    return [{"at": ["areas"], "set": {str(number): area}}]


def _nothing_left(base: Chart, areas: Mapping[str, Any], size: tuple[int, int]) -> bool:
    """Return whether the middle of every stitch of the motif would be left out."""
    clear = masks_of(areas, size)[1]
    assert base.placement is not None and clear is not None
    middles = np.argwhere(base.cells) + 0.5
    at = np.floor(np.column_stack([middles, np.ones(len(middles))]) @ base.placement.T).astype(int)
    at = np.clip(at, 0, np.array(size) - 1)
    return bool(clear[at[:, 0], at[:, 1]].all())
