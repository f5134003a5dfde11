"""A canvas that draws enlarged on another one."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Any

import numpy as np
import numpy.typing as npt

from converter.draw.canvas import INK, Anchor, Canvas, MarkShape, Role
from converter.draw.fonts import Weight
from converter.draw.palette import IndexedPicture
from converter.model.arrays import CellArray, PictureArray


class ScaledCanvas:
    """Passes every call on with all lengths multiplied and moved.

    Parameters
    ----------
    canvas : Canvas
    x_mm, y_mm : float
        Where the origin comes to lie.
    factor : float
    """

    def __init__(self, canvas: Canvas, x_mm: float, y_mm: float, factor: float) -> None:
        self._canvas, self._factor = canvas, factor
        self._shift = np.array([x_mm, y_mm])

    def _points(self, points: npt.ArrayLike) -> npt.NDArray[np.float64]:
        scaled = np.asarray(points, dtype=np.float64).reshape(-1, 2) * self._factor
        moved: npt.NDArray[np.float64] = scaled + self._shift
        return moved

    def begin_page(self, width_mm: float, height_mm: float, *, label: str = "") -> None:
        """Start a new sheet; its size is not scaled."""
        self._canvas.begin_page(width_mm, height_mm, label=label)

    def lines(
        self,
        segments: npt.ArrayLike,
        *,
        width_mm: float = 0.2,
        colour: str = INK,
        dash_mm: Sequence[float] = (),
        round_ends: bool = False,
    ) -> None:
        """Draw straight lines."""
        factor = self._factor
        dashes = tuple(d * factor for d in dash_mm)
        moved = self._points(segments).reshape(-1, 4)
        self._canvas.lines(moved, width_mm=width_mm * factor, colour=colour, dash_mm=dashes, round_ends=round_ends)

    def rectangles(
        self, boxes: npt.ArrayLike, *, fill: str | None = None, stroke: str | None = None, width_mm: float = 0.2
    ) -> None:
        """Draw upright rectangles."""
        moved = np.array(boxes, dtype=np.float64).reshape(-1, 4) * self._factor
        moved[:, :2] += self._shift
        self._canvas.rectangles(moved, fill=fill, stroke=stroke, width_mm=width_mm * self._factor)

    def path(
        self,
        points: Any,
        *,
        fill: str | None = None,
        stroke: str | None = INK,
        width_mm: float = 0.2,
        closed: bool = True,
        dash_mm: Sequence[float] = (),
        round_ends: bool = False,
    ) -> None:
        """Draw a polygon or polyline, or several."""
        many = isinstance(points, (list, tuple)) and len(points) > 0 and np.ndim(points[0]) == 2
        rings = [self._points(ring) for ring in (points if many else [points])]
        self._canvas.path(
            rings,
            fill=fill,
            stroke=stroke,
            width_mm=width_mm * self._factor,
            closed=closed,
            dash_mm=tuple(d * self._factor for d in dash_mm),
            round_ends=round_ends,
        )

    def circles(
        self,
        centres: npt.ArrayLike,
        radius_mm: float,
        *,
        fill: str | None = None,
        stroke: str | None = None,
        width_mm: float = 0.2,
    ) -> None:
        """Draw circles."""
        factor = self._factor
        moved = self._points(centres)
        self._canvas.circles(moved, radius_mm * factor, fill=fill, stroke=stroke, width_mm=width_mm * factor)

    def marks(
        self,
        x_mm: float,
        y_mm: float,
        cell_mm: float,
        cells: CellArray,
        *,
        colour: str,
        shape: MarkShape = "block",
        size: float = 0.84,
    ) -> None:
        """Draw a field of marks."""
        (x, y), cell = self._points([x_mm, y_mm])[0], cell_mm * self._factor
        self._canvas.marks(float(x), float(y), cell, cells, colour=colour, shape=shape, size=size)

    def text(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        *,
        size_mm: float = 3.9,
        colour: str = INK,
        anchor: Anchor = "start",
        weight: Weight = "regular",
        angle_deg: float = 0.0,
    ) -> None:
        """Set one line of text."""
        x, y = self._points([x_mm, y_mm])[0]
        self._canvas.text(
            float(x),
            float(y),
            text,
            size_mm=size_mm * self._factor,
            colour=colour,
            anchor=anchor,
            weight=weight,
            angle_deg=angle_deg,
        )

    def image(
        self,
        x_mm: float,
        y_mm: float,
        width_mm: float,
        height_mm: float,
        pixels: PictureArray | IndexedPicture,
        *,
        alt: str = "",
    ) -> None:
        """Place a picture."""
        x, y = self._points([x_mm, y_mm])[0]
        width, height = width_mm * self._factor, height_mm * self._factor
        self._canvas.image(float(x), float(y), width, height, pixels, alt=alt)

    def clip(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> AbstractContextManager[None]:
        """Show what is drawn inside only within the rectangle."""
        x, y = self._points([x_mm, y_mm])[0]
        return self._canvas.clip(float(x), float(y), width_mm * self._factor, height_mm * self._factor)

    def tag(self, role: Role, alt: str = "") -> AbstractContextManager[None]:
        """Say what is drawn inside the ``with`` block."""
        return self._canvas.tag(role, alt)
