r"""The working order as sheets: every length of thread, leg by leg, with start, end and carries.

A panel shows one length (or a part of it, where it runs far). Crosses worked in turn bear their number, those worked
whole while cross 3 is half done are 3a, 3b and so on; a black dot in a corner tells where the needle comes up for the
lower leg, a white one for the upper leg. Where half crosses are worked one by one (the least order) the legs are
numbered: at the left or right of a square for the lower leg ``/``, above or below for the upper leg ``\``, the needle
coming up at the end beside the number. Crosses that are done are gray blocks, those to come have a dot. Panels are set
in rows, in the order of the work.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from converter.draw.canvas import INK, Drawing
from converter.draw.contrast import print_colour
from converter.draw.furniture import QUIET
from converter.draw.typeset import BODY_MM, SMALL_MM, set_paragraph, shorten
from converter.draw.words import Words, english
from converter.estimate.steps import cross_numbers
from converter.model.arrays import CellArray
from converter.model.chart import Chart
from converter.units import PAPER_SIZES_MM

MARGIN_MM: Final = 14.0
CELL_MM: Final = 6.4
LEAST_CELL_MM: Final = 4.8
PANEL_GAP_MM: Final = 7.0
_HEAD_MM: Final = 10.5
_EDGE_MM: Final = 4.2
_RULE: Final = "#bdbdbd"
_HEAVY: Final = "#4a4a4a"
_DONE: Final = "#d9d9d9"
_TONES: Final = ("#8f8f8f", "#d2d2d2", "#b3b3b3")
_TOP_MM: Final = 26.0


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


@dataclass(frozen=True, eq=False)
class _Panel:
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
        return self.window[2] - self.window[0]

    @property
    def columns(self) -> int:
        return self.window[3] - self.window[1]


def order_drawing(
    chart: Chart,
    lengths: Sequence[WorkLength],
    *,
    paper: str = "A4",
    words: Words | None = None,
    map_only: bool = False,
) -> Drawing:
    """Return the sheets of a working order.

    Parameters
    ----------
    chart : Chart
    lengths : sequence of WorkLength
        In the order of the work: first those of the crosses, then those of the lines.
    paper : str
        A4 or letter.
    words : Words, optional
    map_only : bool
        Leave the panels out.

    Returns
    -------
    drawing : Drawing
        First the map of all lengths, then a panel a length.
    """
    words = words or english()
    title = " ".join(chart.title.split()) or words("Cross-stitch piece")
    drawing = Drawing(title=words("{title}: working order", title=title), language=words.language)
    # Only the panels number the crosses.
    by_cross = not map_only and all(length.of_lines or cross_numbers(length.holes) is not None for length in lengths)
    sheet = _Sheets(drawing, chart, PAPER_SIZES_MM[paper], words, title, by_cross)
    sheet.draw_map(lengths, panels=not map_only)
    if map_only:
        return drawing
    done = np.zeros(chart.cells.shape, dtype=np.bool_)
    for panel in _panels(lengths, chart.cells.shape, sheet.width_mm):
        sheet.place(panel, done)
        if not panel.length.of_lines:
            at = panel.length.cells[panel.first : panel.last]
            done[at[:, 0], at[:, 1]] = True
    sheet.flush()
    return drawing


def _panels(lengths: Sequence[WorkLength], shape: tuple[int, ...], width_mm: float) -> Iterator[_Panel]:
    """Cut each length into windows that fit across the sheet."""
    most_columns = int((width_mm - _EDGE_MM) / LEAST_CELL_MM) - 2
    most_rows = 34
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
            yield _Panel(number, length, first, last, part, len(cuts) - 1, window)


class _Sheets:
    """Pages that fill up with rows of panels."""

    def __init__(
        self, canvas: Drawing, chart: Chart, paper_mm: tuple[float, float], words: Words, title: str, by_cross: bool
    ) -> None:
        self.canvas, self.chart, self.words, self.title = canvas, chart, words, title
        self.paper_mm = paper_mm
        self.width_mm = paper_mm[0] - 2 * MARGIN_MM
        self.colour = print_colour(chart.thread.colour)
        self.page = 0
        self.y_mm = 0.0
        self.row: list[tuple[_Panel, CellArray, float]] = []
        self.by_cross = by_cross

    def begin_page(self) -> None:
        """Start a sheet with its heading."""
        words, canvas = self.words, self.canvas
        self.page += 1
        label = words("Working order") if self.page == 1 else ""
        canvas.begin_page(*self.paper_mm, label=label)
        heading = words("{title}: working order", title=self.title)
        with canvas.tag("H2"):
            canvas.text(
                MARGIN_MM, MARGIN_MM + 5, shorten(heading, self.width_mm - 30, size_mm=6.2, weight="title"),
                size_mm=6.2, weight="title",
            )  # fmt: skip
        self.y_mm = _TOP_MM
        if self.page > 1:
            note = (
                words("1, 1a, 1b: lower leg of 1, crosses 1a and 1b, upper leg of 1. Ring: start. Square: end.")
                if self.by_cross
                else words("/ numbers stand left and right, \\ numbers above and below. Ring: start. Square: end.")
            )
            with canvas.tag("P"):
                canvas.text(MARGIN_MM, _TOP_MM - 1, note, size_mm=SMALL_MM, colour=QUIET)
            self.y_mm += 4

    def draw_map(self, lengths: Sequence[WorkLength], *, panels: bool) -> None:
        """Draw the first sheet: how to read the panels, and where each length lies."""
        self.begin_page()
        canvas, words, chart = self.canvas, self.words, self.chart
        crosses = sum(not length.of_lines for length in lengths)
        facts = words.many("{number} length for the crosses", "{number} lengths for the crosses", crosses)
        if not crosses:
            facts = words.many(
                "{number} length for the backstitches", "{number} lengths for the backstitches", len(lengths)
            )
        elif crosses < len(lengths):
            more = len(lengths) - crosses
            facts += words.many(", {number} for the backstitches", ", {number} for the backstitches", more)
        told = words(
            "Cut them one after the other; each begins at its number. Few crosses are open at any time, and every "
            "length ends on a finished cross."
        )
        if not crosses and not panels:
            told = words("Cut them one after the other; each begins at its number.")
        elif panels and self.by_cross:
            told = words(
                "Cut them one after the other. On the next pages each length has its picture. Start at the ring and"
                " work the crosses in turn, lower leg / first, upper leg \\ on top. Crosses 3a and 3b are worked "
                "whole while cross 3 is half done: lower leg of 3, cross 3a, cross 3b, upper leg of 3. The needle "
                "comes up at the corner with the black dot for the lower leg and at the one with the white dot for "
                "the upper leg. A dashed line is a carry behind the cloth. The black square is the end: run the "
                "thread under four or five stitches and cut it. Gray squares are done; a dot alone is still to "
                "come."
            )
        elif panels:
            told = words(
                "Cut them one after the other. On the next pages each length has its picture, with every leg "
                "numbered. Come up at the ring, at the end of the leg beside its number, go down at its other end, "
                "then come up at the next number. Numbers at the left and right of a square are lower legs, those "
                "above and below are upper legs. A dashed line is a carry behind the cloth. The square is the end: "
                "run the thread under four or five stitches and cut it. Gray squares are done; a dot is still to come."
            )
        text = f"{facts}. {told}"
        with canvas.tag("P"):
            self.y_mm = set_paragraph(canvas, MARGIN_MM, self.y_mm, self.width_mm, text, size_mm=BODY_MM) + 6
        room = (self.width_mm, self.paper_mm[1] - MARGIN_MM - 8 - self.y_mm)
        cell = min(room[0] / chart.columns, room[1] / chart.rows, 5.0)
        left = MARGIN_MM + (self.width_mm - cell * chart.columns) / 2
        with canvas.tag("Figure", words("Map of the chart: where each numbered length of thread lies.")):
            canvas.rectangles(
                [[left, self.y_mm, cell * chart.columns, cell * chart.rows]], stroke=_HEAVY, width_mm=0.25
            )
            for tone in range(len(_TONES)):
                mine = np.zeros(chart.cells.shape, dtype=np.bool_)
                for number, length in enumerate(lengths):
                    if number % len(_TONES) == tone and not length.of_lines:
                        mine[length.cells[:, 0], length.cells[:, 1]] = True
                if mine.any():
                    canvas.marks(left, self.y_mm, cell, mine, colour=_TONES[tone], size=1.0)
            for length in lengths:
                if length.of_lines:
                    ends = length.stitches.reshape(-1, 4)[:, [1, 0, 3, 2]] * cell + [left, self.y_mm, left, self.y_mm]
                    canvas.lines(ends, width_mm=0.4, colour=self.colour, round_ends=True)
            self._number_map(lengths, left, cell)
        self.y_mm = self.paper_mm[1]

    def _number_map(self, lengths: Sequence[WorkLength], left: float, cell: float) -> None:
        size = 2.5 if len(lengths) <= 60 else 1.9
        starts = np.array([length.holes[0] for length in lengths]) if lengths else np.zeros((0, 2))
        at = np.column_stack([left + starts[:, 1] * cell, self.y_mm + starts[:, 0] * cell])
        if len(at):
            self.canvas.circles(at, size * 0.75, fill="#ffffff", stroke=INK, width_mm=0.15)
        for number, (x, y) in enumerate(at, 1):
            digits = size if number < 100 else size * 0.7
            self.canvas.text(x, y + digits * 0.36, str(number), size_mm=digits, anchor="middle", weight="bold")

    def place(self, panel: _Panel, done: CellArray) -> None:
        """Put a panel into the row, or begin the next row."""
        cell = max(LEAST_CELL_MM, min(CELL_MM, (self.width_mm - _EDGE_MM) / panel.columns))
        row0, col0, row1, col1 = panel.window
        kept = done[row0:row1, col0:col1].copy()
        used = sum(_panel_width(p, c) + PANEL_GAP_MM for p, _, c in self.row)
        if self.row and used + _panel_width(panel, cell) > self.width_mm + 0.01:
            self.flush()
        self.row.append((panel, kept, cell))

    def flush(self) -> None:
        """Draw the row of panels that is waiting."""
        if not self.row:
            return
        height = max(_HEAD_MM + _EDGE_MM + p.rows * c for p, _, c in self.row)
        if self.y_mm + height > self.paper_mm[1] - MARGIN_MM:
            self.begin_page()
        x = MARGIN_MM
        for panel, done, cell in self.row:
            self._draw_panel(panel, done, x, self.y_mm, cell)
            x += _panel_width(panel, cell) + PANEL_GAP_MM
        self.y_mm += height + PANEL_GAP_MM
        self.row = []

    def _draw_panel(self, panel: _Panel, done: CellArray, x: float, y: float, cell: float) -> None:
        words, canvas, length = self.words, self.canvas, panel.length
        name = words("Length {number}", number=panel.number)
        if panel.parts > 1:
            name = words("{name}, part {part} of {parts}", name=name, part=panel.part, parts=panel.parts)
        count = len(length.stitches)
        if length.of_lines:
            what = words.many("{number} backstitch", "{number} backstitches", count)
        else:
            what = words.many("{number} cross", "{number} crosses", count // 2)
        thread = words("{cm} cm of thread", cm=f"{length.used_mm / 10:.0f}")
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

    def _grid(self, panel: _Panel, left: float, top: float, cell: float) -> None:
        row0, col0, row1, col1 = panel.window
        width, height = panel.columns * cell, panel.rows * cell
        across = [[left, top + r * cell, left + width, top + r * cell] for r in range(panel.rows + 1)]
        down = [[left + c * cell, top, left + c * cell, top + height] for c in range(panel.columns + 1)]
        self.canvas.lines(across + down, width_mm=0.12, colour=_RULE)
        heavy = [across[r - row0] for r in range(row0, row1 + 1) if r % 10 == 0]
        heavy += [down[c - col0] for c in range(col0, col1 + 1) if c % 10 == 0]
        if heavy:
            self.canvas.lines(heavy, width_mm=0.3, colour=_HEAVY)
        for c in _labels(col0, col1):
            self.canvas.text(left + (c - col0) * cell, top - 1.2, str(c), size_mm=2.4, anchor="middle", colour=QUIET)
        for r in _labels(row0, row1):
            self.canvas.text(left - 0.9, top + (r - row0) * cell + 0.8, str(r), size_mm=2.4, anchor="end", colour=QUIET)

    def _ground(self, panel: _Panel, done: CellArray, left: float, top: float, cell: float) -> None:
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
                fill=_HEAVY,
            )

    def _to_mm(self, holes: Any, panel: _Panel, left: float, top: float, cell: float) -> npt.NDArray[np.float64]:
        holes = np.asarray(holes, dtype=np.float64)
        return np.stack(
            [left + (holes[..., 1] - panel.window[1]) * cell, top + (holes[..., 0] - panel.window[0]) * cell], axis=-1
        )

    def _draw_crosses(self, panel: _Panel, left: float, top: float, cell: float) -> None:
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

    def _draw_legs(self, panel: _Panel, left: float, top: float, cell: float) -> None:
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

    def _draw_lines(self, panel: _Panel, left: float, top: float, cell: float) -> None:
        stitches = panel.length.stitches[panel.first : panel.last]
        ends = self._to_mm(stitches, panel, left, top, cell)
        self.canvas.lines(ends.reshape(-1, 4), width_mm=0.7, colour=self.colour, round_ends=True)
        self.canvas.circles(ends.reshape(-1, 2), 0.4, fill=self.colour)
        self._carries(panel, left, top, cell)
        size = cell * 0.30
        for number, (a, b) in enumerate(ends, panel.first + 1):
            along = (b - a) / max(1e-9, float(np.hypot(*(b - a))))
            at = (
                a
                + along * min(cell * 0.45, float(np.hypot(*(b - a))) / 2)
                + np.array([along[1], -along[0]]) * size * 0.75
            )
            digits = size if number < 100 else size * 0.75
            self.canvas.text(at[0], at[1] + digits * 0.36, str(number), size_mm=digits, anchor="middle")

    def _carries(self, panel: _Panel, left: float, top: float, cell: float) -> None:
        stitches = panel.length.stitches
        last = min(panel.last, len(stitches) - 1)
        first = panel.first
        moves = np.stack([stitches[first:last, 1], stitches[first + 1 : last + 1, 0]], axis=1)
        far = np.hypot(*(moves[:, 1] - moves[:, 0]).T) > (1.01 if not panel.length.of_lines else 1.5)
        if far.any():
            segments = self._to_mm(moves[far], panel, left, top, cell).reshape(-1, 4)
            with self.canvas.clip(left - 1, top - 1, panel.columns * cell + 2, panel.rows * cell + 2):
                self.canvas.lines(segments, width_mm=0.35, colour=INK, dash_mm=(1.1, 0.8))

    def _ends(self, panel: _Panel, left: float, top: float, cell: float) -> None:
        stitches = panel.length.stitches
        if panel.first == 0:
            at = self._to_mm(stitches[0, 0], panel, left, top, cell)
            self.canvas.circles([at], cell * 0.2, fill="#ffffff", stroke=INK, width_mm=0.5)
        if panel.last == len(stitches):
            at = self._to_mm(stitches[-1, 1], panel, left, top, cell)
            side = cell * 0.3
            self.canvas.rectangles([[at[0] - side / 2, at[1] - side / 2, side, side]], fill=INK)


def _panel_width(panel: _Panel, cell: float) -> float:
    return max(_EDGE_MM + panel.columns * cell, 46.0 if panel.parts == 1 else 58.0)


def _labels(first: int, last: int) -> list[int]:
    """Numbers along an edge: the tens, or both ends where there is none."""
    tens = [v for v in range(first, last + 1) if v % 10 == 0]
    return tens or [first, last]


def _mixed(colour: str, share: float) -> str:
    """Return a colour mixed with white."""
    parts = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(v * share + 255 * (1 - share)):02x}" for v in parts)
