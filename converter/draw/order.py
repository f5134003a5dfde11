r"""The working order as sheets: every length of thread, leg by leg, with start, end and carries.

The first sheet tells how to read the others and has the map (`order_map.py`). A panel (`order_panels.py`) shows one
length, or a part of it where it runs far. Crosses worked in turn bear their number, those worked whole while cross 3
is half done are 3a, 3b and so on; a black dot in a corner tells where the needle comes up for the lower leg, a white
one for the upper leg. Where half crosses are worked one by one (the least order) the legs are numbered: at the left
or right of a square for the lower leg ``/``, above or below for the upper leg ``\``, the needle coming up at the end
beside the number. Crosses that are done are gray blocks, those to come have a dot.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from converter.draw.canvas import Drawing
from converter.draw.contrast import print_colour
from converter.draw.furniture import QUIET
from converter.draw.middle import from_middle
from converter.draw.order_map import draw_order_map, numbered_step
from converter.draw.order_panels import PanelDrawer, Place, WorkLength, cut_panels, fill_sheets
from converter.draw.typeset import BODY_MM, SMALL_MM, set_paragraph, shorten
from converter.draw.words import Words, english
from converter.estimate.steps import cross_numbers
from converter.model.chart import Chart
from converter.units import PAPER_SIZES_MM

MARGIN_MM: Final = 14.0
_TOP_MM: Final = 26.0
_PANELS_MM: Final = _TOP_MM + 4.0


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
    room = sheet.room_mm
    for places in fill_sheets(list(cut_panels(lengths, chart.cells.shape, room)), room):
        sheet.begin_page(_reminder(places, words, by_cross))
        for place in places:
            panel = place.panel
            row0, col0, row1, col1 = panel.window
            x, y = MARGIN_MM + place.x_mm, _PANELS_MM + place.y_mm
            sheet.panels.draw(panel, done[row0:row1, col0:col1], x, y, place.cell_mm)
            if not panel.length.of_lines:
                at = panel.length.cells[panel.first : panel.last]
                done[at[:, 0], at[:, 1]] = True
    return drawing


def _reminder(places: Sequence[Place], words: Words, by_cross: bool) -> str:
    """Return the reminder over the panels of a sheet."""
    notes = []
    if not all(place.panel.length.of_lines for place in places):
        notes.append(
            words("1, 1a, 1b: lower leg of 1, crosses 1a and 1b, upper leg of 1.")
            if by_cross
            else words("/ numbers stand left and right, \\ numbers above and below.")
        )
    if any(place.panel.length.of_lines for place in places):
        notes.append(words("Backstitches: up at the end beside the number."))
    return " ".join([*notes, words("Ring: start. Square: end.")])


class _Sheets:
    """The sheets of one working order, with their headings."""

    def __init__(
        self, canvas: Drawing, chart: Chart, paper_mm: tuple[float, float], words: Words, title: str, by_cross: bool
    ) -> None:
        self.canvas, self.chart, self.words, self.title = canvas, chart, words, title
        self.paper_mm = paper_mm
        self.room_mm = (paper_mm[0] - 2 * MARGIN_MM, paper_mm[1] - MARGIN_MM - _PANELS_MM)
        self.by_cross = by_cross
        self.panels = PanelDrawer(canvas, chart, words, print_colour(chart.thread.colour), by_cross)

    def begin_page(self, note: str = "", *, label: str = "") -> None:
        """Start a sheet with its heading."""
        canvas = self.canvas
        canvas.begin_page(*self.paper_mm, label=label)
        heading = self.words("{title}: working order", title=self.title)
        with canvas.tag("H2"):
            canvas.text(
                MARGIN_MM, MARGIN_MM + 5, shorten(heading, self.room_mm[0] - 30, size_mm=6.2, weight="title"),
                size_mm=6.2, weight="title",
            )  # fmt: skip
        if note:
            with canvas.tag("P"):
                canvas.text(MARGIN_MM, _TOP_MM - 1, note, size_mm=SMALL_MM, colour=QUIET)

    def draw_map(self, lengths: Sequence[WorkLength], *, panels: bool) -> None:
        """Draw the first sheet: how to read the panels, and where each length lies."""
        self.begin_page(label=self.words("Working order"))
        canvas, chart = self.canvas, self.chart
        # The sentence about numbers left out is set before the room for the map is known.
        widest = min(self.room_mm[0] / chart.columns, self.room_mm[1] * 0.8 / chart.rows, 5.0)
        step = numbered_step(lengths, widest)
        text = self._told(lengths, panels=panels, step=step)
        with canvas.tag("P"):
            top = set_paragraph(canvas, MARGIN_MM, _TOP_MM, self.room_mm[0], text, size_mm=BODY_MM) + 6
        high = self.paper_mm[1] - MARGIN_MM - 8 - top
        cell = min(self.room_mm[0] / chart.columns, high / chart.rows, 5.0)
        left = MARGIN_MM + (self.room_mm[0] - cell * chart.columns) / 2
        draw_order_map(canvas, chart, lengths, left, top, cell, words=self.words, colour=self.panels.colour, step=step)

    def _told(self, lengths: Sequence[WorkLength], *, panels: bool, step: int) -> str:
        """Return how many lengths there are, where the first begins and how to read the sheets."""
        words = self.words
        crosses = sum(not length.of_lines for length in lengths)
        lines = len(lengths) - crosses
        facts = words.many("{number} length for the crosses", "{number} lengths for the crosses", crosses)
        if not crosses:
            facts = words.many("{number} length for the backstitches", "{number} lengths for the backstitches", lines)
        elif lines:
            facts += words.many(", {number} for the backstitches", ", {number} for the backstitches", lines)
        told = [f"{facts}.", words("Cut them one after the other.")]
        if lengths:
            middle = np.array([self.chart.rows / 2, self.chart.columns / 2])
            where = from_middle(lengths[0].holes[0] - middle, words)
            told.append(words("Length 1 begins {where}.", where=where))
        if not panels:
            told.append(words("Each length begins at its number."))
            if crosses:
                told.append(words("Few crosses are open at any time, and every length ends on a finished cross."))
        else:
            told += self._reading(crosses > 0, lines > 0)
        if step > 1:
            told.append(words("On the map every {step}th length has its number.", step=step))
        return " ".join(told)

    def _reading(self, crosses: bool, lines: bool) -> list[str]:
        """Return how the panels are read."""
        words = self.words
        told = [words("On the next pages each length has its picture.")]
        if crosses and self.by_cross:
            told.append(
                words(
                    "Start at the ring and work the crosses in turn, lower leg / first, upper leg \\ on top. Crosses "
                    "3a and 3b are worked whole while cross 3 is half done: lower leg of 3, cross 3a, cross 3b, "
                    "upper leg of 3. The needle comes up at the corner with the black dot for the lower leg and at "
                    "the one with the white dot for the upper leg."
                )
            )
        elif crosses:
            told.append(
                words(
                    "Every leg is numbered. Come up at the ring, at the end of the leg beside its number, go down at "
                    "its other end, then come up at the next number. Numbers at the left and right of a square are "
                    "lower legs, those above and below are upper legs."
                )
            )
        if lines:
            told.append(
                words(
                    "The backstitches are numbered in the order of the work: come up at the end beside the number, go "
                    "down at the other end."
                )
            )
        told.append(
            words(
                "A dashed line is a carry behind the cloth. The black square is the end: run the thread under four or "
                "five stitches and cut it."
            )
        )
        if crosses:
            told.append(words("Gray squares are done; a dot alone is still to come."))
        return told
