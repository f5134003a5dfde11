"""The pictures of a working order: one length of thread each, and how they fill the sheets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from converter.draw.canvas import INK, Canvas
from converter.draw.furniture import QUIET
from converter.draw.typeset import BODY_MM, SMALL_MM
from converter.draw.words import Words
from converter.estimate.steps import cross_numbers
from converter.model.arrays import CellArray
from converter.model.chart import Chart
from converter.units import MM_PER_INCH

CELL_MM: Final = 6.4
LEAST_CELL_MM: Final = 4.8
GAP_MM: Final = 7.0
HEAVY: Final = "#4a4a4a"
_HEAD_MM: Final = 10.5
_EDGE_MM: Final = 4.2
_LEAST_LINE_DIGITS_MM: Final = 1.9
_RULE: Final = "#bdbdbd"
_DONE: Final = "#d9d9d9"


@dataclass(frozen=True, eq=False)
class WorkLength:
    """One length of thread as the sheet shows it.

    Parameters
    ----------
    holes : ndarray of shape (M, 2)
        Up, down, up, down, and so on: holes (row, col).
    used_mm : float
        Thread it takes, tails included.
    of_lines : bool
        Backstitches, not crosses.
    """

    holes: npt.NDArray[np.float64]
    used_mm: float
    of_lines: bool = False

    @property
    def stitches(self) -> npt.NDArray[np.float64]:
        """Stitches in front (K, 2, 2): up, down; a last move behind the cloth is left out."""
        return self.holes[: len(self.holes) // 2 * 2].reshape(-1, 2, 2)

    @property
    def cells(self) -> npt.NDArray[np.int64]:
        """Squares (row, col) that the stitches cross, one a leg."""
        return np.asarray(np.floor(self.stitches.min(axis=1)), dtype=np.int64)

    @property
    def squares(self) -> float:
        """Squares that the length takes on a map: one a cross, one a backstitch."""
        return len(self.stitches) / (1 if self.of_lines else 2)


@dataclass(frozen=True, eq=False)
class Panel:
    """A window on the chart with a run of stitches of one length."""

    number: int
    length: WorkLength
    first: int
    last: int
    part: int
    parts: int
    window: tuple[int, int, int, int]
    """First row, first column, last row and last column, exclusive at the end."""

    @property
    def rows(self) -> int:
        """Rows of the window."""
        return self.window[2] - self.window[0]

    @property
    def columns(self) -> int:
        """Columns of the window."""
        return self.window[3] - self.window[1]

    def size_mm(self, cell_mm: float) -> tuple[float, float]:
        """Return width and height with squares of the size given."""
        wide = max(_EDGE_MM + self.columns * cell_mm, 46.0 if self.parts == 1 else 58.0)
        return wide, _HEAD_MM + _EDGE_MM + self.rows * cell_mm


@dataclass(frozen=True)
class Place:
    """Where a panel stands on its sheet, from the upper left corner of the room for panels."""

    panel: Panel
    x_mm: float
    y_mm: float
    cell_mm: float


def cut_panels(lengths: Sequence[WorkLength], shape: tuple[int, ...], room_mm: tuple[float, float]) -> Iterator[Panel]:
    """Cut each length into windows that fit a sheet.

    Parameters
    ----------
    lengths : sequence of WorkLength
    shape : tuple of int
        Rows and columns of the chart.
    room_mm : tuple of float
        Width and height that a sheet has for panels.
    """
    most_columns = int((room_mm[0] - _EDGE_MM) / LEAST_CELL_MM) - 2
    most_rows = int((room_mm[1] - _HEAD_MM - _EDGE_MM) / LEAST_CELL_MM) - 2
    for number, length in enumerate(lengths, 1):
        low = np.floor(length.stitches.min(axis=1))
        high = np.ceil(length.stitches.max(axis=1))
        cuts = [0]
        top_left, bottom_right = low[0], high[0]
        for at in range(1, len(low)):
            a, b = np.minimum(top_left, low[at]), np.maximum(bottom_right, high[at])
            if (b - a)[1] > most_columns or (b - a)[0] > most_rows:
                cuts.append(at)
                a, b = low[at], high[at]
            top_left, bottom_right = a, b
        cuts.append(len(low))
        for part, (first, last) in enumerate(pairwise(cuts), 1):
            a, b = low[first:last].min(axis=0), high[first:last].max(axis=0)
            window = (
                max(0, int(a[0]) - 1), max(0, int(a[1]) - 1),
                min(shape[0], int(b[0]) + 1), min(shape[1], int(b[1]) + 1),
            )  # fmt: skip
            yield Panel(number, length, first, last, part, len(cuts) - 1, window)


@dataclass
class _Page:
    """A sheet that fills up: rows of columns, a column of one panel or of several below each other."""

    room_mm: tuple[float, float]
    places: list[Place] = field(default_factory=list)
    row_y: float = 0.0
    row_high: float = 0.0
    column_x: float = 0.0
    column_wide: float = 0.0
    column_end: float = 0.0
    """Lower end of the last panel of the column."""

    def put(self, panel: Panel, cell_mm: float) -> bool:
        """Add a panel after the others; False if the sheet is full."""
        cell = max(LEAST_CELL_MM, min(cell_mm, (self.room_mm[0] - _EDGE_MM) / panel.columns))
        cell = max(LEAST_CELL_MM, min(cell, (self.room_mm[1] - _HEAD_MM - _EDGE_MM) / panel.rows))
        wide, high = panel.size_mm(cell)
        below = self.column_end + GAP_MM
        if self.places and wide <= self.column_wide and below + high <= self.row_y + self.row_high + 0.01:
            self._add(panel, self.column_x, below, cell, self.column_wide, high)
            return True
        beside = self.column_x + self.column_wide + GAP_MM if self.places else 0.0
        if beside + wide <= self.room_mm[0] + 0.01 and self.row_y + high <= self.room_mm[1] + 0.01:
            self._add(panel, beside, self.row_y, cell, wide, high)
            return True
        under = self.row_y + self.row_high + GAP_MM
        if not self.places or under + high > self.room_mm[1] + 0.01:
            return False
        self.row_y, self.row_high = under, 0.0
        self._add(panel, 0.0, under, cell, wide, high)
        return True

    def _add(self, panel: Panel, x: float, y: float, cell: float, wide: float, high: float) -> None:
        self.places.append(Place(panel, x, y, cell))
        self.column_x, self.column_wide, self.column_end = x, wide, y + high
        self.row_high = max(self.row_high, y + high - self.row_y)


def fill_sheets(panels: Sequence[Panel], room_mm: tuple[float, float]) -> list[list[Place]]:
    """Set panels on as few sheets as this way of setting needs, with the largest squares that need no more.

    Parameters
    ----------
    panels : sequence of Panel
        In the order of the work, which is kept: rows from left to right, short panels below each other.
    room_mm : tuple of float
        Width and height that a sheet has for panels.

    Returns
    -------
    sheets : list of list of Place
    """
    sheets = _fill(panels, room_mm, LEAST_CELL_MM)
    tenths = range(round(LEAST_CELL_MM * 10) + 1, round(CELL_MM * 10) + 1)
    for cell in (tenth / 10 for tenth in reversed(tenths)):
        larger = _fill(panels, room_mm, cell)
        if len(larger) == len(sheets):
            return larger
    return sheets


def _fill(panels: Sequence[Panel], room_mm: tuple[float, float], cell_mm: float) -> list[list[Place]]:
    pages: list[_Page] = []
    for panel in panels:
        if not pages or not pages[-1].put(panel, cell_mm):
            pages.append(_Page(room_mm))
            pages[-1].put(panel, cell_mm)
    return [page.places for page in pages]


class PanelDrawer:
    """Draws panels of one chart on a canvas.

    Parameters
    ----------
    canvas : Canvas
    chart : Chart
    words : Words
    colour : str
        Of the stitches.
    by_cross : bool
        Number whole crosses, not legs.
    """

    def __init__(self, canvas: Canvas, chart: Chart, words: Words, colour: str, by_cross: bool) -> None:
        self.canvas, self.chart, self.words, self.colour, self.by_cross = canvas, chart, words, colour, by_cross

    def draw(self, panel: Panel, done: CellArray, x: float, y: float, cell: float) -> None:
        """Draw a panel at (x, y) in mm; ``done`` (rows, cols) are the squares of the window stitched before it."""
        words, canvas, length = self.words, self.canvas, panel.length
        name = words("Length {number}", number=panel.number)
        if panel.parts > 1:
            name = words("{name}, part {part} of {parts}", name=name, part=panel.part, parts=panel.parts)
        count = len(length.stitches)
        if length.of_lines:
            what = words.many("{number} backstitch", "{number} backstitches", count)
        else:
            what = words.many("{number} cross", "{number} crosses", count // 2)
        thread = (
            words("{inches} in of thread", inches=f"{length.used_mm / MM_PER_INCH:.1f}")
            if words.units == "in"
            else words("{cm} cm of thread", cm=f"{length.used_mm / 10:.0f}")
        )
        with canvas.tag("H3"):
            canvas.text(x, y + 4, name, size_mm=BODY_MM, weight="bold")
        with canvas.tag("P"):
            canvas.text(x, y + 8, f"{what}, {thread}", size_mm=SMALL_MM, colour=QUIET)
        left, top = x + _EDGE_MM, y + _HEAD_MM + _EDGE_MM
        shown = (
            words("{name}: {what}, numbered in the order of the work.", name=name, what=what)
            if self.by_cross
            else words("{name}: {what}, every leg numbered.", name=name, what=what)
        )
        with canvas.tag("Figure", shown):
            self._grid(panel, left, top, cell)
            self._ground(panel, done, left, top, cell)
            if length.of_lines:
                self._draw_lines(panel, left, top, cell)
            elif self.by_cross:
                self._draw_crosses(panel, left, top, cell)
            else:
                self._draw_legs(panel, left, top, cell)
            self._ends(panel, left, top, cell)

    def _grid(self, panel: Panel, left: float, top: float, cell: float) -> None:
        row0, col0, row1, col1 = panel.window
        width, height = panel.columns * cell, panel.rows * cell
        across = [[left, top + r * cell, left + width, top + r * cell] for r in range(panel.rows + 1)]
        down = [[left + c * cell, top, left + c * cell, top + height] for c in range(panel.columns + 1)]
        self.canvas.lines(across + down, width_mm=0.12, colour=_RULE)
        heavy = [across[r - row0] for r in range(row0, row1 + 1) if r % 10 == 0]
        heavy += [down[c - col0] for c in range(col0, col1 + 1) if c % 10 == 0]
        if heavy:
            self.canvas.lines(heavy, width_mm=0.3, colour=HEAVY)
        for c in _labels(col0, col1):
            self.canvas.text(left + (c - col0) * cell, top - 1.2, str(c), size_mm=2.4, anchor="middle", colour=QUIET)
        for r in _labels(row0, row1):
            self.canvas.text(left - 0.9, top + (r - row0) * cell + 0.8, str(r), size_mm=2.4, anchor="end", colour=QUIET)

    def _ground(self, panel: Panel, done: CellArray, left: float, top: float, cell: float) -> None:
        row0, col0, row1, col1 = panel.window
        here = self.chart.cells[row0:row1, col0:col1]
        if panel.length.of_lines:
            self.canvas.marks(left, top, cell, here, colour=_DONE, size=0.9)
            return
        mine = np.zeros(here.shape, dtype=np.bool_)
        at = panel.length.cells[panel.first : panel.last] - [row0, col0]
        mine[at[:, 0], at[:, 1]] = True
        if (done & ~mine).any():
            self.canvas.marks(left, top, cell, done & ~mine, colour=_DONE, size=0.9)
        later = np.argwhere(here & ~done & ~mine)
        if len(later):
            self.canvas.circles(
                np.column_stack([left + (later[:, 1] + 0.5) * cell, top + (later[:, 0] + 0.5) * cell]),
                0.35,
                fill=HEAVY,
            )

    def _to_mm(self, holes: Any, panel: Panel, left: float, top: float, cell: float) -> npt.NDArray[np.float64]:
        holes = np.asarray(holes, dtype=np.float64)
        return np.stack(
            [left + (holes[..., 1] - panel.window[1]) * cell, top + (holes[..., 0] - panel.window[0]) * cell], axis=-1
        )

    def _draw_crosses(self, panel: Panel, left: float, top: float, cell: float) -> None:
        numbers = dict(cross_numbers(panel.length.holes) or ())
        stitches, cells = panel.length.stitches, panel.length.cells
        steps = stitches[:, 1] - stitches[:, 0]
        mine = [k for k in range(panel.first, panel.last) if steps[k, 0] * steps[k, 1] < 0]
        names = [numbers[int(cells[k, 0]) + 1, int(cells[k, 1]) + 1] for k in mine]
        middles = self._to_mm(cells[mine] + 0.5, panel, left, top, cell)
        kinds = [(_mixed(self.colour, 0.42), True), (_mixed(self.colour, 0.16), False)]
        for tint, in_turn in kinds:
            here = np.zeros((panel.rows, panel.columns), dtype=np.bool_)
            for k, name in zip(mine, names, strict=True):
                if name.isdigit() == in_turn:
                    here[cells[k, 0] - panel.window[0], cells[k, 1] - panel.window[1]] = True
            if here.any():
                self.canvas.marks(left, top, cell, here, colour=tint, size=0.9)
        self._carries(panel, left, top, cell)
        # Clear of carries that pass behind them, the numbers can be read.
        for tint, in_turn in kinds:
            discs = middles[[name.isdigit() == in_turn for name in names]]
            if len(discs):
                self.canvas.circles(discs, cell * 0.27, fill=tint)
        for lower in (True, False):
            legs = [k for k in range(panel.first, panel.last) if (steps[k, 0] * steps[k, 1] < 0) == lower]
            ends = self._to_mm(stitches[legs], panel, left, top, cell)
            dots = ends[:, 0] + (ends[:, 1] - ends[:, 0]) * 0.14
            if len(dots):
                fill, stroke = (INK, None) if lower else ("#ffffff", INK)
                self.canvas.circles(dots, cell * 0.06, fill=fill, stroke=stroke, width_mm=0.15)
        for name, (x, y) in zip(names, middles.tolist(), strict=True):
            size = cell * (0.42 if len(name) < 3 else 0.35)
            self.canvas.text(
                x, y + size * 0.36, name, size_mm=size, anchor="middle", weight="bold" if name.isdigit() else "regular"
            )

    def _draw_legs(self, panel: Panel, left: float, top: float, cell: float) -> None:
        stitches = panel.length.stitches[panel.first : panel.last]
        ends = self._to_mm(stitches, panel, left, top, cell)
        steps = stitches[:, 1] - stitches[:, 0]
        upper = steps[:, 0] * steps[:, 1] > 0
        inner = ends + (ends.mean(axis=1, keepdims=True) - ends) * 0.24
        if (~upper).any():
            self.canvas.lines(
                inner[~upper].reshape(-1, 4), width_mm=0.45, colour=_mixed(self.colour, 0.45), round_ends=True
            )
        if upper.any():
            self.canvas.lines(inner[upper].reshape(-1, 4), width_mm=0.6, colour=self.colour, round_ends=True)
        self._carries(panel, left, top, cell)
        size = cell * 0.30
        for number, (leg, is_upper) in enumerate(zip(stitches, upper, strict=True), panel.first + 1):
            middle = self._to_mm(leg.mean(axis=0), panel, left, top, cell)
            digits = size if number < 100 else size * 0.75
            if is_upper:
                side = -1 if leg[0, 0] < leg[1, 0] else 1
                x, y = middle[0], middle[1] + side * cell * 0.34
            else:
                side = -1 if leg[0, 1] < leg[1, 1] else 1
                x, y = middle[0] + side * cell * 0.32, middle[1]
            self.canvas.text(x, y + digits * 0.36, str(number), size_mm=digits, anchor="middle")

    def _draw_lines(self, panel: Panel, left: float, top: float, cell: float) -> None:
        stitches = panel.length.stitches[panel.first : panel.last]
        ends = self._to_mm(stitches, panel, left, top, cell)
        self.canvas.lines(ends.reshape(-1, 4), width_mm=0.7, colour=self.colour, round_ends=True)
        self.canvas.circles(ends.reshape(-1, 2), 0.4, fill=self.colour)
        self._carries(panel, left, top, cell)
        size = max(cell * 0.33, _LEAST_LINE_DIGITS_MM)
        for number, (a, b) in enumerate(ends, panel.first + 1):
            along = (b - a) / max(1e-9, float(np.hypot(*(b - a))))
            at = (
                a
                + along * min(cell * 0.45, float(np.hypot(*(b - a))) / 2)
                + np.array([along[1], -along[0]]) * size * 0.75
            )
            digits = size if number < 100 else size * 0.75
            self.canvas.text(at[0], at[1] + digits * 0.36, str(number), size_mm=digits, anchor="middle")

    def _carries(self, panel: Panel, left: float, top: float, cell: float) -> None:
        stitches = panel.length.stitches
        last = min(panel.last, len(stitches) - 1)
        first = panel.first
        moves = np.stack([stitches[first:last, 1], stitches[first + 1 : last + 1, 0]], axis=1)
        far = np.hypot(*(moves[:, 1] - moves[:, 0]).T) > (1.01 if not panel.length.of_lines else 1.5)
        if far.any():
            segments = self._to_mm(moves[far], panel, left, top, cell).reshape(-1, 4)
            with self.canvas.clip(left - 1, top - 1, panel.columns * cell + 2, panel.rows * cell + 2):
                self.canvas.lines(segments, width_mm=0.35, colour=INK, dash_mm=(1.1, 0.8))

    def _ends(self, panel: Panel, left: float, top: float, cell: float) -> None:
        stitches = panel.length.stitches
        if panel.first == 0:
            at = self._to_mm(stitches[0, 0], panel, left, top, cell)
            self.canvas.circles([at], cell * 0.2, fill="#ffffff", stroke=INK, width_mm=0.5)
        if panel.last == len(stitches):
            at = self._to_mm(stitches[-1, 1], panel, left, top, cell)
            side = cell * 0.3
            self.canvas.rectangles([[at[0] - side / 2, at[1] - side / 2, side, side]], fill=INK)


def _labels(first: int, last: int) -> list[int]:
    """Numbers along an edge: the tens, or both ends where there is none."""
    tens = [v for v in range(first, last + 1) if v % 10 == 0]
    return tens or [first, last]


def _mixed(colour: str, share: float) -> str:
    """Return a colour mixed with white."""
    parts = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(v * share + 255 * (1 - share)):02x}" for v in parts)
