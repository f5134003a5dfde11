"""The map of a working order: where each length of thread lies, and where it begins."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor
from typing import Final

import numpy as np
import numpy.typing as npt

from converter.draw.canvas import INK, Canvas
from converter.draw.order_panels import HEAVY, WorkLength
from converter.draw.words import Words
from converter.model.chart import Chart

_TONES: Final = ("#8f8f8f", "#d2d2d2", "#b3b3b3")
_CROWDED: Final = 60
"""More numbers than this are set smaller."""
_STEPS: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
_FULL: Final = 0.45
"""Share of the stitched area that numbers may take."""


def number_size_mm(count: int) -> float:
    """Return the size of the numbers on a map of so many lengths."""
    return 2.5 if count <= _CROWDED else 1.9


def numbered_step(lengths: Sequence[WorkLength], cell_mm: float) -> int:
    """Return 1 if every length gets its number on the map; n if only every nth has room."""
    squares = sum(length.squares for length in lengths)
    disc = (1.5 * number_size_mm(len(lengths))) ** 2
    for step in _STEPS:
        if ceil(len(lengths) / step) * disc <= _FULL * squares * cell_mm**2 or len(lengths) // step <= _CROWDED // 2:
            return step
    return _STEPS[-1]


def draw_order_map(
    canvas: Canvas,
    chart: Chart,
    lengths: Sequence[WorkLength],
    left_mm: float,
    top_mm: float,
    cell_mm: float,
    *,
    words: Words,
    colour: str,
    step: int = 1,
) -> None:
    """Draw the map of all lengths.

    Parameters
    ----------
    canvas : Canvas
    chart : Chart
    lengths : sequence of WorkLength
    left_mm, top_mm, cell_mm : float
        Upper left corner and side of a square.
    words : Words
    colour : str
        Of the backstitches.
    step : int
        Number every so many lengths, beginning with the first.
    """
    with canvas.tag("Figure", words("Map of the chart: where each numbered length of thread lies.")):
        canvas.rectangles(
            [[left_mm, top_mm, cell_mm * chart.columns, cell_mm * chart.rows]], stroke=HEAVY, width_mm=0.25
        )
        for tone, shade in enumerate(_TONES):
            mine = np.zeros(chart.cells.shape, dtype=np.bool_)
            for number, length in enumerate(lengths):
                if number % len(_TONES) == tone and not length.of_lines:
                    mine[length.cells[:, 0], length.cells[:, 1]] = True
            if mine.any():
                canvas.marks(left_mm, top_mm, cell_mm, mine, colour=shade, size=1.0)
        corner = np.array([left_mm, top_mm] * 2)
        for length in lengths:
            if length.of_lines:
                ends = length.stitches.reshape(-1, 4)[:, [1, 0, 3, 2]] * cell_mm + corner
                canvas.lines(ends, width_mm=0.4, colour=colour, round_ends=True)
        _draw_numbers(canvas, lengths, (left_mm, top_mm), cell_mm, step)


def _draw_numbers(
    canvas: Canvas, lengths: Sequence[WorkLength], corner_mm: tuple[float, float], cell_mm: float, step: int
) -> None:
    """Set each number at its start, or in the nearest free place along its length, with a hair to the start."""
    size = number_size_mm(len(lengths))
    chosen = range(0, len(lengths), step)
    starts, places = [], []
    taken = _Taken(1.5 * size)
    for index in chosen:
        length = lengths[index]
        start = np.array([length.holes[0, 1], length.holes[0, 0]]) * cell_mm + corner_mm
        along = length.stitches.mean(axis=1)[:, ::-1] * cell_mm + corner_mm
        along = along[np.argsort(np.hypot(*(along - start).T), kind="stable")]
        place = taken.choose(np.vstack([start[None], along]))
        starts.append(start)
        places.append(place)
    if not places:
        return
    at, first = np.array(places), np.array(starts)
    moved = np.hypot(*(at - first).T) > 0.75 * size
    if moved.any():
        canvas.lines(np.hstack([first[moved], at[moved]]), width_mm=0.18, colour=INK)
        canvas.circles(first[moved], 0.3, fill=INK)
    canvas.circles(at, size * 0.75, fill="#ffffff", stroke=INK, width_mm=0.15)
    for index, (x, y) in zip(chosen, at.tolist(), strict=True):
        digits = size if index + 1 < 100 else size * 0.7
        canvas.text(x, y + digits * 0.36, str(index + 1), size_mm=digits, anchor="middle", weight="bold")


class _Taken:
    """Places of discs, kept by squares of one diameter so that neighbours are found at once."""

    def __init__(self, diameter: float) -> None:
        self.diameter = diameter
        self.discs: dict[tuple[int, int], list[tuple[float, float]]] = {}

    def choose(self, candidates: npt.NDArray[np.float64]) -> tuple[float, float]:
        """Take the first place (x, y) that is clear of all discs, or the clearest one."""
        best, clearest = (0.0, 0.0), -1.0
        for x, y in candidates.tolist():
            room = self._room(x, y)
            if room > clearest:
                best, clearest = (x, y), room
            if room >= self.diameter:
                break
        self.discs.setdefault(self._square(*best), []).append(best)
        return best

    def _square(self, x: float, y: float) -> tuple[int, int]:
        return floor(x / self.diameter), floor(y / self.diameter)

    def _room(self, x: float, y: float) -> float:
        column, row = self._square(x, y)
        near = [
            float(np.hypot(x - other_x, y - other_y))
            for i in (-1, 0, 1)
            for j in (-1, 0, 1)
            for other_x, other_y in self.discs.get((column + i, row + j), ())
        ]
        return min(near, default=2 * self.diameter)
