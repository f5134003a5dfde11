"""Chart -> canvas calls: squares, rules, numbers, centre marks, backstitches.

Rules follow the habit of the handbooks: the ground is marked in tens along its sides and the middle is
shown both ways (Th. de Dillmont, Encyclopedia of Needlework, fig. 252).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from converter.draw.canvas import Canvas, MarkShape
from converter.draw.contrast import LINE_CONTRAST, print_colour, tint
from converter.draw.fonts import cap_height
from converter.errors import UsageError, quoted
from converter.model.arrays import LineArray
from converter.model.chart import Chart

RULE_COLOUR: Final = "#8a8a8a"
HEAVY_COLOUR: Final = "#3c3c3c"
REPEAT_TINT: Final = "#e9e9e9"
HEAVY_EVERY: Final = 10


@dataclass(frozen=True)
class ChartStyle:
    """How the squares look on paper. Widths are shares of the square."""

    shape: MarkShape = "block"
    """block: a square with a rim of paper; cross: two arms, which takes less ink."""
    mark_size: float = 0.82
    rule: float = 0.045
    heavy: float = 0.13
    line: float = 0.27
    """Backstitch."""
    casing: float = 0.12
    """Bare paper on both sides of a backstitch."""
    tens_from: str = "corner"
    """Heavy rules and numbers are counted from the top left corner or from the centre."""
    marks: bool = True
    pale: float = 1.0
    """Strength of the marks: 1 full colour, less on a page that shows the backstitches."""
    lines: bool = True

    def __post_init__(self) -> None:
        """Check choices."""
        if self.shape not in ("block", "cross"):
            raise UsageError(f"--marks is {quoted(self.shape)}.", "Choose block or cross.")
        if self.tens_from not in ("corner", "centre"):
            raise UsageError(f"--tens is {quoted(self.tens_from)}.", "Choose corner or centre.")

    @classmethod
    def large(cls, **changes: object) -> ChartStyle:
        """Return stronger rules and lines for tired eyes."""
        return cls(**{"rule": 0.06, "heavy": 0.17, "line": 0.3, **changes})  # type: ignore[arg-type]


@dataclass(frozen=True)
class Window:
    """Part of a chart: half-open ranges of rows and columns, and how many of the first are repeated."""

    first_row: int
    last_row: int
    first_column: int
    last_column: int
    repeated_rows: int = 0
    repeated_columns: int = 0

    @classmethod
    def whole(cls, chart: Chart) -> Window:
        """Return the window that shows all of a chart."""
        return cls(0, chart.rows, 0, chart.columns)


def tens(first: int, last: int, count: int, tens_from: str) -> list[tuple[int, int]]:
    """Return the heavy rules of one axis inside a window.

    Returns
    -------
    rules : list of (hole, number)
        Hole index from 0 to ``count`` and the number printed at it. From the corner the number is the
        stitches to the left or above; from the centre it is the distance from the middle, and for an odd
        count the middle lies half a stitch before the hole numbered 0.

    Examples
    --------
    >>> tens(0, 25, 25, "corner")
    [(10, 10), (20, 20)]
    >>> tens(0, 40, 40, "centre")
    [(0, 20), (10, 10), (20, 0), (30, 10), (40, 20)]
    """
    if tens_from == "corner":
        start = (first // HEAVY_EVERY) * HEAVY_EVERY
        return [(hole, hole) for hole in range(start, last + 1, HEAVY_EVERY) if first <= hole <= last and hole > 0]
    middle = (count + 1) // 2
    holes = [hole for hole in range(middle % HEAVY_EVERY, count + 1, HEAVY_EVERY) if first <= hole <= last]
    return [(hole, abs(hole - middle)) for hole in holes]


def mark_colour(chart: Chart, style: ChartStyle) -> str:
    """Return the colour of the marks on paper."""
    return tint(print_colour(chart.thread.colour), style.pale)


def line_colour(chart: Chart) -> str:
    """Return the colour of the backstitches on paper."""
    return print_colour(chart.thread.colour, LINE_CONTRAST)


def lines_in_window(lines: LineArray, window: Window) -> LineArray:
    """Return the backstitches that touch a window's area."""
    if len(lines) == 0:
        return lines
    low, high = lines.min(axis=1), lines.max(axis=1)
    keep = (
        (high[:, 0] >= window.first_row)
        & (low[:, 0] <= window.last_row)
        & (high[:, 1] >= window.first_column)
        & (low[:, 1] <= window.last_column)
    )
    kept: LineArray = lines[keep]
    return kept


def draw_cells(
    canvas: Canvas, chart: Chart, window: Window, x_mm: float, y_mm: float, cell_mm: float, style: ChartStyle
) -> None:
    """Draw the squares, rules and backstitches of a window with its top left corner at (x, y)."""
    rows = window.last_row - window.first_row
    columns = window.last_column - window.first_column
    width, height = columns * cell_mm, rows * cell_mm
    repeats = []
    if window.repeated_rows:
        repeats.append([x_mm, y_mm, width, window.repeated_rows * cell_mm])
    if window.repeated_columns:
        repeats.append([x_mm, y_mm, window.repeated_columns * cell_mm, height])
    canvas.rectangles(repeats, fill=REPEAT_TINT)
    _rules(canvas, chart, window, x_mm, y_mm, cell_mm, style, heavy=False)
    if style.marks:
        part = chart.cells[window.first_row : window.last_row, window.first_column : window.last_column]
        size = style.mark_size if style.shape == "block" else 0.2
        canvas.marks(x_mm, y_mm, cell_mm, part, colour=mark_colour(chart, style), shape=style.shape, size=size)
    _rules(canvas, chart, window, x_mm, y_mm, cell_mm, style, heavy=True)
    if style.lines:
        margin = cell_mm * style.line
        with canvas.clip(x_mm - margin, y_mm - margin, width + 2 * margin, height + 2 * margin):
            shift = (x_mm - window.first_column * cell_mm, y_mm - window.first_row * cell_mm)
            draw_lines(canvas, lines_in_window(chart.lines, window), shift, cell_mm, style, line_colour(chart))


def _rules(
    canvas: Canvas,
    chart: Chart,
    window: Window,
    x_mm: float,
    y_mm: float,
    cell_mm: float,
    style: ChartStyle,
    *,
    heavy: bool,
) -> None:
    across = {hole for hole, _ in tens(window.first_column, window.last_column, chart.columns, style.tens_from)}
    down = {hole for hole, _ in tens(window.first_row, window.last_row, chart.rows, style.tens_from)}
    across |= {hole for hole in (0, chart.columns) if window.first_column <= hole <= window.last_column}
    down |= {hole for hole in (0, chart.rows) if window.first_row <= hole <= window.last_row}
    if not heavy:
        across = set(range(window.first_column, window.last_column + 1)) - across
        down = set(range(window.first_row, window.last_row + 1)) - down
    right = x_mm + (window.last_column - window.first_column) * cell_mm
    bottom = y_mm + (window.last_row - window.first_row) * cell_mm
    over = cell_mm * (style.heavy if heavy else style.rule) / 2
    segments = []
    for hole in sorted(across):
        x = x_mm + (hole - window.first_column) * cell_mm
        segments.append([x, y_mm - over, x, bottom + over])
    for hole in sorted(down):
        y = y_mm + (hole - window.first_row) * cell_mm
        segments.append([x_mm - over, y, right + over, y])
    width, colour = (style.heavy, HEAVY_COLOUR) if heavy else (style.rule, RULE_COLOUR)
    canvas.lines(segments, width_mm=width * cell_mm, colour=colour)


def draw_lines(
    canvas: Canvas,
    lines: LineArray,
    origin_mm: tuple[float, float],
    cell_mm: float,
    style: ChartStyle,
    colour: str,
) -> None:
    """Draw backstitches: a dark line with round ends in a casing of bare paper, a dot at each hole.

    The casing, the round ends and the dots tell them from rules without colour.
    """
    if len(lines) == 0:
        return
    segments = np.empty((len(lines), 4))
    segments[:, [0, 2]] = origin_mm[0] + lines[:, :, 1] * cell_mm
    segments[:, [1, 3]] = origin_mm[1] + lines[:, :, 0] * cell_mm
    width = style.line * cell_mm
    canvas.lines(segments, width_mm=width + 2 * style.casing * cell_mm, colour="#ffffff", round_ends=True)
    canvas.lines(segments, width_mm=width, colour=colour, round_ends=True)
    holes = np.unique(segments.reshape(-1, 2), axis=0)
    canvas.circles(holes, 0.24 * cell_mm, fill=colour)
    canvas.circles(holes, 0.07 * cell_mm, fill="#ffffff")


def draw_edges(
    canvas: Canvas,
    chart: Chart,
    window: Window,
    x_mm: float,
    y_mm: float,
    cell_mm: float,
    style: ChartStyle,
    *,
    size_mm: float = 3.0,
    sides: Sequence[str] = ("top", "left", "bottom", "right"),
) -> None:
    """Draw the numbers at every ten and the centre marks outside a window's four edges.

    They take `edges_depth` of ``size_mm`` on each side.
    """
    right = x_mm + (window.last_column - window.first_column) * cell_mm
    bottom = y_mm + (window.last_row - window.first_row) * cell_mm
    reach, tick = 0.75 * size_mm, 0.55 * size_mm
    high = cap_height(size_mm)
    ticks = []
    for hole, number in tens(window.first_column, window.last_column, chart.columns, style.tens_from):
        x = x_mm + (hole - window.first_column) * cell_mm
        if "top" in sides:
            canvas.text(x, y_mm - reach, str(number), size_mm=size_mm, anchor="middle")
            ticks.append([x, y_mm - tick, x, y_mm])
        if "bottom" in sides:
            canvas.text(x, bottom + reach + high, str(number), size_mm=size_mm, anchor="middle")
            ticks.append([x, bottom, x, bottom + tick])
    for hole, number in tens(window.first_row, window.last_row, chart.rows, style.tens_from):
        y = y_mm + (hole - window.first_row) * cell_mm
        if "left" in sides:
            canvas.text(x_mm - reach, y + high / 2, str(number), size_mm=size_mm, anchor="end")
            ticks.append([x_mm - tick, y, x_mm, y])
        if "right" in sides:
            canvas.text(right + reach, y + high / 2, str(number), size_mm=size_mm)
            ticks.append([right, y, right + tick, y])
    canvas.lines(ticks, width_mm=0.15, colour=HEAVY_COLOUR)
    middle_column, middle_row = chart.columns / 2, chart.rows / 2
    half = 0.34 * size_mm
    depth = 0.62 * size_mm
    triangles: list[npt.NDArray[np.float64]] = []
    if window.first_column <= middle_column <= window.last_column:
        x = x_mm + (middle_column - window.first_column) * cell_mm
        if "top" in sides:
            triangles.append(np.array([[x, y_mm - 0.2], [x - half, y_mm - depth], [x + half, y_mm - depth]]))
        if "bottom" in sides:
            triangles.append(np.array([[x, bottom + 0.2], [x - half, bottom + depth], [x + half, bottom + depth]]))
    if window.first_row <= middle_row <= window.last_row:
        y = y_mm + (middle_row - window.first_row) * cell_mm
        if "left" in sides:
            triangles.append(np.array([[x_mm - 0.2, y], [x_mm - depth, y - half], [x_mm - depth, y + half]]))
        if "right" in sides:
            triangles.append(np.array([[right + 0.2, y], [right + depth, y - half], [right + depth, y + half]]))
    for triangle in triangles:
        canvas.path(triangle, fill=HEAVY_COLOUR, stroke=None)


def edges_depth(size_mm: float = 3.0) -> float:
    """Return how far numbers of up to four figures reach from the grid, in mm."""
    return 2.9 * size_mm


def lines_hide_crosses(chart: Chart) -> bool:
    """Return True if backstitches cover so many crosses that they need a page of their own.

    A backstitch hides a cross if it runs through the inside of its square.
    """
    if len(chart.lines) == 0 or not chart.cells.any():
        return False
    starts, runs = chart.lines[:, 0], chart.lines[:, 1] - chart.lines[:, 0]
    counts = np.maximum(2, np.ceil(np.abs(runs).max(axis=1) * 4)).astype(np.intp)
    hidden = np.zeros((chart.rows + 1, chart.columns + 1), dtype=np.bool_)
    for steps in np.unique(counts).tolist():
        alike = counts == steps
        along = ((np.arange(steps) + 0.5) / steps)[None, :, None]
        points = (starts[alike][:, None] + runs[alike][:, None] * along).reshape(-1, 2)
        inside = (np.abs(points - np.round(points)) > 0.1).all(axis=1)
        at = np.floor(points[inside]).astype(np.intp)
        hidden[at[:, 0], at[:, 1]] = True
    return int((hidden[:-1, :-1] & chart.cells).sum()) > max(6, 0.02 * int(chart.cells.sum()))
