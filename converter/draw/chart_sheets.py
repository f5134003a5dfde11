"""The chart on its sheets of paper: one page, or an overview and tiles."""

from __future__ import annotations

from dataclasses import dataclass, replace

from converter.draw.canvas import Canvas, Drawing
from converter.draw.furniture import (
    QUIET,
    draw_key,
    draw_map,
    draw_rulers,
    ruler_words,
)
from converter.draw.pages import ChartPages, SheetLayout, Tile, plan_pages
from converter.draw.scene import ChartStyle, Window, draw_cells, draw_edges, edges_depth
from converter.draw.typeset import SMALL_MM, fit_size, paragraph_height, set_paragraph, shorten, wrap_text
from converter.draw.words import Words
from converter.model.chart import Chart

NUMBER_MM = 2.8


@dataclass(frozen=True)
class SheetText:
    """What a chart sheet says besides the chart."""

    heading: str
    """The piece's title, or what the sheet is."""
    page_label: str = ""
    """Bottom right; empty for none."""
    note: str = ""
    """A sentence under the heading of the first sheet."""


def grid_origin_mm(chart: Chart, pages: ChartPages, layout: SheetLayout) -> tuple[float, float]:
    """Return where the upper left corner of the squares stands on every sheet, x and y."""
    x, y = layout.origin_mm(pages.landscape, pages.beside)
    if pages.single:
        width, height = layout.area_mm(pages.landscape, pages.beside)
        x += max(0.0, (width - chart.columns * pages.cell_mm) / 2)
        if not pages.beside:
            y += max(0.0, min(12.0, (height - chart.rows * pages.cell_mm) / 3))
    return round(x, 2), round(y, 2)


def _window(tile: Tile) -> Window:
    return Window(
        tile.first_row,
        tile.last_row,
        tile.first_column,
        tile.last_column,
        tile.repeated_rows,
        tile.repeated_columns,
    )


def part_words(chart: Chart, pages: ChartPages, index: int, words: Words) -> str:
    """Return which part of the chart a sheet shows, counted from 1."""
    tile = pages.tiles[index]
    part = words(
        "Part {part} of {parts}: columns {first_column} to {last_column}, rows {first_row} to {last_row}",
        part=index + 1,
        parts=len(pages.tiles),
        first_column=tile.first_column + 1,
        last_column=tile.last_column,
        first_row=tile.first_row + 1,
        last_row=tile.last_row,
    )
    return words("{part}; gray on the map: bare cloth, no sheet", part=part) if pages.bare else part


def figure_words(chart: Chart, window: Window, words: Words) -> str:
    """Return the words for a screen reader in place of the chart's picture."""
    part = chart.cells[window.first_row : window.last_row, window.first_column : window.last_column]
    return words(
        "Chart of {columns} by {rows} squares with {stitches} crosses",
        columns=part.shape[1],
        rows=part.shape[0],
        stitches=int(part.sum()),
    )


def with_stitches(chart: Chart, pages: ChartPages, *, lines_only: bool = False) -> ChartPages:
    """Return the pages without tiles on which nothing is stitched that no tile before shows.

    Parameters
    ----------
    chart : Chart
    pages : ChartPages
    lines_only : bool
        Only backstitches count.
    """
    low, high = chart.lines.min(axis=1), chart.lines.max(axis=1)

    def needed(tile: Tile) -> bool:
        top, left = tile.first_row + tile.repeated_rows, tile.first_column + tile.repeated_columns
        if not lines_only and chart.cells[top : tile.last_row, left : tile.last_column].any():
            return True
        meets = (high >= [top, left]).all(axis=1) & (low <= [tile.last_row, tile.last_column]).all(axis=1)
        return bool(meets.any())

    return pages if pages.single else pages.without_bare(needed)


def draw_chart_pages(
    canvas: Canvas,
    chart: Chart,
    *,
    layout: SheetLayout,
    style: ChartStyle,
    words: Words,
    text: SheetText,
    pages: ChartPages | None = None,
    label: str = "",
    first_page_number: int | None = None,
    lines_only: bool = False,
) -> int:
    """Draw all sheets of a chart on which something is stitched, and return their number.

    Parameters
    ----------
    canvas : Canvas
    chart : Chart
    label : str
        Name of the first sheet in the PDF's outline.
    first_page_number : int, optional
        Printed bottom right and counted up; None prints none.
    lines_only : bool
        Leave out sheets without backstitches.
    """
    pages = with_stitches(chart, pages or plan_pages(chart.columns, chart.rows, layout), lines_only=lines_only)
    width, height = layout.page_mm(pages.landscape)
    for index, tile in enumerate(pages.tiles):
        canvas.begin_page(width, height, label=label if index == 0 else "")
        number = "" if first_page_number is None else str(first_page_number + index)
        here = replace(text, page_label=number)
        if pages.beside:
            _beside_page(canvas, chart, pages, layout, style, words, here)
        else:
            _band_page(canvas, chart, pages, index, tile, layout, style, words, here)
    return len(pages.tiles)


def _grid(
    canvas: Canvas,
    chart: Chart,
    window: Window,
    x_mm: float,
    y_mm: float,
    cell_mm: float,
    style: ChartStyle,
    words: Words,
) -> None:
    with canvas.tag("Figure", figure_words(chart, window, words)):
        draw_cells(canvas, chart, window, x_mm, y_mm, cell_mm, style)
        draw_edges(canvas, chart, window, x_mm, y_mm, cell_mm, style, size_mm=NUMBER_MM)


def _band_page(
    canvas: Canvas,
    chart: Chart,
    pages: ChartPages,
    index: int,
    tile: Tile,
    layout: SheetLayout,
    style: ChartStyle,
    words: Words,
    text: SheetText,
) -> None:
    page_width, page_height = layout.page_mm(pages.landscape)
    left, right, top = layout.margin_mm, page_width - layout.margin_mm, layout.end_margin_mm
    inner = right - left
    map_width = 0.0
    if not pages.single:
        map_width, _ = draw_map(canvas, left, top, inner, layout.header_mm - 1.5, chart, pages, index)
    room = inner - map_width - 6.0
    size = fit_size(text.heading, room, size_mm=6.4, least_mm=4.2, weight="title")
    with canvas.tag("H2" if index == 0 else "Artifact"):
        heading = shorten(text.heading, room, size_mm=size, weight="title")
        canvas.text(left, top + 5.0, heading, size_mm=size, weight="title")
    below = text.note if pages.single else part_words(chart, pages, index, words)
    if below:
        with canvas.tag("P"):
            line = shorten(below, room, size_mm=SMALL_MM)
            canvas.text(left, top + 10.2, line, size_mm=SMALL_MM, colour=QUIET)
    window = _window(tile)
    x, y = grid_origin_mm(chart, pages, layout)
    _grid(canvas, chart, window, x, y, pages.cell_mm, style, words)
    bottom = page_height - layout.end_margin_mm
    repeats = bool(tile.repeated_rows or tile.repeated_columns)
    # Read out once; on the later sheets key and rulers are furniture.
    with canvas.tag("P" if index == 0 else "Artifact"):
        draw_key(canvas, left, bottom - 11.5, inner, chart, style, words, repeats=repeats)
        draw_rulers(canvas, left, bottom - 3.0, words)
    if text.page_label:
        canvas.text(right, bottom - 1.2, text.page_label, size_mm=SMALL_MM, anchor="end", colour=QUIET)


def _beside_page(
    canvas: Canvas,
    chart: Chart,
    pages: ChartPages,
    layout: SheetLayout,
    style: ChartStyle,
    words: Words,
    text: SheetText,
) -> None:
    page_width, page_height = layout.page_mm(pages.landscape)
    right = page_width - layout.margin_mm
    left = right - layout.side_mm + 2.0
    inner = right - left
    window = Window.whole(chart)
    x, y = grid_origin_mm(chart, pages, layout)
    size = 6.4
    with canvas.tag("H2"):
        lines = wrap_text(text.heading, inner, size_mm=size, weight="title")[:4]
        for i, line in enumerate(lines):
            canvas.text(left, y + 4.5 + i * size * 1.2, line, size_mm=size, weight="title")
    below = y + 4.5 + (len(lines) - 1) * size * 1.2 + 4.0
    if text.note:
        with canvas.tag("P"):
            below = set_paragraph(canvas, left, below, inner, text.note, size_mm=SMALL_MM, colour=QUIET)
    _grid(canvas, chart, window, x, y, pages.cell_mm, style, words)
    draw_key(canvas, left, below + 6.0, inner, chart, style, words, column=True)
    bottom = page_height - layout.end_margin_mm
    note = ruler_words(words)
    high = paragraph_height(note, inner, size_mm=2.7)
    draw_rulers(canvas, left - 6.0, bottom - 16.5 - high, words, stacked=True)
    with canvas.tag("P"):
        set_paragraph(canvas, left - 6.0, bottom - 7.5 - high, inner, note, size_mm=2.7, colour=QUIET)
    if text.page_label:
        canvas.text(right, bottom - 1.2, text.page_label, size_mm=SMALL_MM, anchor="end", colour=QUIET)


def draw_whole_chart(
    canvas: Canvas,
    chart: Chart,
    *,
    cell_mm: float,
    style: ChartStyle,
    words: Words,
    title: str,
    size_mm: float = 3.0,
) -> None:
    """Draw the whole chart on one sheet of its own size, for a screen or for sharing.

    The grid starts a whole number of squares from the sheet's edges, so that squares of whole pixels stay sharp.
    """
    around = -(-edges_depth(size_mm) // cell_mm) + 1
    pad = around * cell_mm
    width = max(chart.columns * cell_mm, 16 * size_mm) + 2 * pad
    width = -(-width // cell_mm) * cell_mm
    inner = width - 2 * size_mm
    title_size = fit_size(title, inner, size_mm=2.2 * size_mm, least_mm=1.1 * size_mm, weight="title")
    head = -(-(2.2 * title_size if title else 0.0) // cell_mm) * cell_mm
    key_room = chart.rows * cell_mm + head + 2 * pad
    trial = Drawing()
    trial.begin_page(width, 100.0)
    key_high = draw_key(trial, 0.0, 0.0, inner, chart, style, words, size_mm=size_mm) + 1.5 * size_mm
    canvas.begin_page(width, -(-(key_room + key_high) // cell_mm) * cell_mm)
    if title:
        with canvas.tag("H1"):
            shown = shorten(title, inner, size_mm=title_size, weight="title")
            canvas.text(width / 2, 1.6 * title_size, shown, size_mm=title_size, weight="title", anchor="middle")
    left = ((width - chart.columns * cell_mm) / 2) // cell_mm * cell_mm
    window = Window.whole(chart)
    with canvas.tag("Figure", figure_words(chart, window, words)):
        draw_cells(canvas, chart, window, left, head + pad, cell_mm, style)
        draw_edges(canvas, chart, window, left, head + pad, cell_mm, style, size_mm=size_mm)
    draw_key(canvas, size_mm, key_room, inner, chart, style, words, size_mm=size_mm)
