"""Contact sheets: border plans side by side, and the whole collection of strips on one sheet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from converter.compose.catalogue import strips
from converter.compose.fit import fit_borders
from converter.compose.frieze import mirror_constant
from converter.compose.plan import BorderPlan
from converter.compose.ring import NO_LINES
from converter.draw.canvas import INK, Canvas, Drawing
from converter.draw.typeset import set_paragraph, wrap_text
from converter.draw.words import Words, english
from converter.model.arrays import CellArray, LineArray
from converter.model.chart import Chart
from converter.model.materials import Thread
from converter.model.phrase import Phrase

TILE_MM: Final = 64.0
"""Room for one plan."""
_EDGE_MM: Final = 8.0
_SPACE_MM: Final = 7.0
_TEXT_MM: Final = 2.9
_HEAD_MM: Final = 3.8
_LEAD: Final = 1.3
_QUIET: Final = "#5c5c5c"
_MOST_CELL_MM: Final = 1.6
_COLUMNS: Final = 4
_KINDS: Final = {"geometric": Phrase("geometric"), "plant": Phrase("plant"), "figure": Phrase("figure")}
SHEET_DPI: Final = 150.0
"""Resolution at which a cell is a whole number of pixels."""
_PIXEL_MM: Final = 25.4 / SHEET_DPI


def _on_pixel(value_mm: float) -> float:
    """Move a length to the next whole pixel, so that all cells of the PNG are equally large."""
    return float(np.ceil(value_mm / _PIXEL_MM - 1e-6)) * _PIXEL_MM


def _draw_piece(
    canvas: Canvas, x: float, y: float, cell: float, cells: CellArray, lines: LineArray, colour: str
) -> None:
    """Draw crosses as blocks and backstitches as strokes."""
    x, y = _on_pixel(x), _on_pixel(y)
    canvas.marks(x, y, cell, cells, colour=colour, shape="block", size=0.92)
    if len(lines):
        segments = np.stack(
            [
                x + lines[:, 0, 1] * cell,
                y + lines[:, 0, 0] * cell,
                x + lines[:, 1, 1] * cell,
                y + lines[:, 1, 0] * cell,
            ],
            axis=1,
        )
        canvas.lines(segments, width_mm=max(0.2, 0.3 * cell), colour=colour, round_ends=True)


def _caption(number: int, name: str, plan: BorderPlan, words: Words) -> tuple[str, str]:
    rows, cols = plan.shape
    return f"{number}. {name}, {cols} x {rows}", f"{words.say(plan.corners)}: {words.say(plan.changes)}."


def plan_sheet(
    plans: Sequence[tuple[str, BorderPlan]],
    chart: Chart,
    *,
    chosen: int = 0,
    columns: int = _COLUMNS,
    words: Words | None = None,
) -> Drawing:
    """Draw plans side by side, all to one scale, each with its number and what was changed.

    Parameters
    ----------
    plans : sequence of (name, BorderPlan)
    chart : Chart
        Gives the title and the thread colour.
    chosen : int
        Number of the plan that was taken, from 1; it gets a frame. 0 for none.
    columns : int
        Plans in a row.
    words : Words, optional

    Returns
    -------
    sheet : Drawing
        One page, as large as it needs to be.
    """
    words = words or english()
    columns = max(1, min(columns, len(plans)))
    largest = max((max(plan.shape) for _, plan in plans), default=1)
    cell = max(2, int(min(_MOST_CELL_MM, TILE_MM / largest) / _PIXEL_MM)) * _PIXEL_MM
    captions = [_caption(at, name, plan, words) for at, (name, plan) in enumerate(plans, 1)]
    heights = [
        plan.shape[0] * cell
        + (len(wrap_text(head, TILE_MM, size_mm=_HEAD_MM, weight="bold")) * _HEAD_MM
           + len(wrap_text(body, TILE_MM, size_mm=_TEXT_MM)) * _TEXT_MM) * _LEAD
        + 2.0
        for (_, plan), (head, body) in zip(plans, captions, strict=True)
    ]  # fmt: skip
    rows = [heights[at : at + columns] for at in range(0, len(heights), columns)]
    top = _EDGE_MM + 9.0
    width = 2 * _EDGE_MM + columns * TILE_MM + (columns - 1) * _SPACE_MM
    height = top + sum(max(row) + _SPACE_MM for row in rows) + _EDGE_MM - _SPACE_MM
    title = words("Border plans: {title}", title=chart.title) if chart.title else words("Border plans")
    sheet = Drawing(title=title, language=words.language)
    sheet.begin_page(width, max(height, 30.0))
    with sheet.tag("H1"):
        sheet.text(_EDGE_MM, _EDGE_MM + 4.0, title, size_mm=5.0, weight="title")
    y = top
    for at_row, row in enumerate(rows):
        for at_col in range(len(row)):
            number = at_row * columns + at_col + 1
            x = _EDGE_MM + at_col * (TILE_MM + _SPACE_MM)
            name, plan = plans[number - 1]
            head, body = captions[number - 1]
            if number == chosen:
                box = [[x - 2.5, y - 2.5, TILE_MM + 5.0, row[at_col] + 5.0]]
                sheet.rectangles(box, stroke=INK, width_mm=0.5)
            with sheet.tag("P"):
                below = set_paragraph(sheet, x, y, TILE_MM, head, size_mm=_HEAD_MM, weight="bold", leading=_LEAD)
                below = set_paragraph(sheet, x, below, TILE_MM, body, size_mm=_TEXT_MM, colour=_QUIET, leading=_LEAD)
            with sheet.tag("Figure", alt=f"{name}: {plan.describe()}"):
                _draw_piece(sheet, x, below + 2.0, cell, plan.cells, plan.lines, chart.thread.colour)
        y += max(row) + _SPACE_MM
    return sheet


def _sample(name: str) -> CellArray:
    """Return a small ring of a strip: of the openings 18 to 30 squared the one that costs least."""
    plans = [fit_borders((n, n), name, gap=0, count=1)[0] for n in range(18, 31)]
    return min(plans, key=lambda plan: (plan.cost, plan.shape)).border_cells


def strip_sheet(colour: str = Thread().colour, columns: int = 3, words: Words | None = None) -> Drawing:
    """Draw every built-in strip: a length of it, a small ring with its corners, its name and size.

    Parameters
    ----------
    colour : str
        Thread colour, ``#rrggbb``.
    columns : int
        Strips in a row.
    words : Words, optional
    """
    words = words or english()
    known = strips()
    cell, small = 6 * _PIXEL_MM, 4 * _PIXEL_MM
    long_mm, ring_mm = 60.0, 36.0
    width_mm = long_mm + 4.0 + ring_mm
    title = words("Border strips")
    sheet = Drawing(title=title, language=words.language)
    names = list(known)
    rows = [names[at : at + columns] for at in range(0, len(names), columns)]
    samples = {name: _sample(name) for name in names}
    heights = [max(max(samples[n].shape[0] * small, 10.0 + known[n].depth * cell) for n in row) + 6.0 for row in rows]
    top = _EDGE_MM + 9.0
    sheet.begin_page(2 * _EDGE_MM + columns * width_mm + (columns - 1) * 8.0, top + sum(heights) + _EDGE_MM)
    with sheet.tag("H1"):
        sheet.text(_EDGE_MM, _EDGE_MM + 4.0, title, size_mm=5.0, weight="title")
    y = top
    for row, height in zip(rows, heights, strict=True):
        for at, name in enumerate(row):
            strip = known[name]
            x = _EDGE_MM + at * (width_mm + 8.0)
            way = words("runs one way") if mirror_constant(strip.tile) is None else words("mirrored")
            told = words(
                "{kind}, {depth} deep, repeat {period}, {way}",
                kind=_KINDS.get(strip.kind, strip.kind),
                depth=strip.depth,
                period=strip.period,
                way=way,
            )
            with sheet.tag("P"):
                sheet.text(x, y + 3.2, name, size_mm=_HEAD_MM, weight="bold")
                sheet.text(x, y + 7.0, told, size_mm=_TEXT_MM, colour=_QUIET)
            with sheet.tag("Figure", alt=words("The strip {name}", name=name)):
                count = int(long_mm / cell)
                run = np.take(strip.tile, np.arange(count) % strip.period, axis=1)
                _draw_piece(sheet, x, y + 9.5, cell, run, NO_LINES, colour)
                _draw_piece(sheet, x + long_mm + 4.0, y, small, samples[name], NO_LINES, colour)
        y += height
    return sheet
