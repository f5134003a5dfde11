"""One picture at several widths on one sheet, so that she can choose by eye and by cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from converter.draw.canvas import INK, Canvas, Drawing
from converter.draw.fonts import text_width
from converter.draw.scene import ChartStyle, draw_lines, line_colour, mark_colour
from converter.draw.typeset import SMALL_MM, paragraph_height, set_paragraph, shorten, wrap_text
from converter.draw.words import Words, english
from converter.estimate.making.words import metres, size
from converter.model.chart import Chart
from converter.model.results import StitchCount, WorkTime
from converter.units import PAPER_SIZES_MM

MARGIN_MM: Final = 12.0
_QUIET: Final = "#595959"
_GAP_MM: Final = 6.0
_TILE_HIGH_MM: Final = 80.0
_ROWS: Final = 3
"""Rows of two on one sheet of paper."""
_TALL: Final = 1.1
"""From this height to width on, the figures stand beside the chart."""


@dataclass(frozen=True, eq=False)
class SizeEntry:
    """One width and what it takes."""

    chart: Chart
    count: StitchCount
    thread_m: float
    """Working thread of crosses and lines."""
    skein_share: float
    skeins: int
    hours: WorkTime
    readability: float
    """0 to 100."""
    losses: tuple[str, ...] = ()
    good: bool = False
    """Readable enough to be stitched with pleasure."""
    chosen: bool = False
    """The smallest good one."""


def sizes_drawing(
    entries: Sequence[SizeEntry],
    *,
    title: str,
    pace: float,
    paper: str = "A4",
    tall: bool = False,
    words: Words | None = None,
) -> Drawing:
    """Return the sheet of sizes.

    Parameters
    ----------
    entries : sequence of SizeEntry
        Rising widths.
    title : str
    pace : float
        Crosses an hour that the hours are reckoned with.
    paper : str
        A4 or letter.
    tall : bool
        One page as high as it needs to be, for a picture file; otherwise sheets of paper.
    words : Words, optional
        Language and units.
    """
    words = words or english()
    drawing = Drawing(title=words("{title}: sizes", title=title), language=words.language)
    width, height = PAPER_SIZES_MM[paper]
    per_page = len(entries) if tall else 2 * _ROWS
    for first in range(0, len(entries), per_page):
        part = entries[first : first + per_page]
        rows = -(-len(part) // 2)
        head = _head_lines(entries, pace, width - 2 * MARGIN_MM, words) if first == 0 else []
        if tall:
            high = MARGIN_MM * 2 + 12.0 + len(head) * 5.2 + 4.0 + rows * _TILE_HIGH_MM + (rows - 1) * _GAP_MM
            drawing.begin_page(width, max(high, 60.0), label=words("Sizes"))
        else:
            drawing.begin_page(width, height, label=words("Sizes"))
        _page(drawing, part, head, words("{title}: which size?", title=title), width, None if tall else height, words)
    return drawing


def _head_lines(entries: Sequence[SizeEntry], pace: float, width_mm: float, words: Words) -> list[str]:
    chosen = next((entry for entry in entries if entry.chosen), None)
    fabric = entries[0].chart.fabric
    if chosen is not None:
        first = words(
            "{columns} stitches wide is the smallest of these that keeps the picture well readable (marked with a "
            "bar).",
            columns=chosen.chart.columns,
        )
    else:
        first = words("None of these keeps the picture well readable: try a wider one, or a simpler picture.")
    second = words(
        "Sizes on {cloth} cloth. Hours at {pace} crosses an hour. Readability goes from 0 to 100.",
        cloth=fabric.describe(),
        pace=f"{pace:g}",
    )
    return [line for text in (first, second) for line in wrap_text(text, width_mm)]


def _page(
    canvas: Canvas,
    entries: Sequence[SizeEntry],
    head: list[str],
    title: str,
    width: float,
    height: float | None,
    words: Words,
) -> None:
    y = MARGIN_MM
    with canvas.tag("H1"):
        y = set_paragraph(canvas, MARGIN_MM, y, width - 2 * MARGIN_MM, title, size_mm=7.5, weight="title")
    with canvas.tag("P"):
        for line in head:
            y = set_paragraph(canvas, MARGIN_MM, y, width, line)
    y += 4.0
    high = _TILE_HIGH_MM
    if height is not None:
        high = min(high, (height - y - MARGIN_MM - (_ROWS - 1) * _GAP_MM) / _ROWS)
    wide = (width - 2 * MARGIN_MM - _GAP_MM) / 2
    for i, entry in enumerate(entries):
        x = MARGIN_MM + (i % 2) * (wide + _GAP_MM)
        _tile(canvas, entry, x, y + (i // 2) * (high + _GAP_MM), wide, high, words)


def figures(entry: SizeEntry, words: Words | None = None) -> list[str]:
    """Return the lines of figures under a chart, each short enough for the column beside it."""
    words = words or english()
    count, hours = entry.count, entry.hours
    lines = [words("{number} crosses", number=count.stitches)]
    if count.backstitches:
        lines.append(words("{number} backstitches", number=count.backstitches))
    skeins = words.many("{number} skein", "{number} skeins", entry.skeins)
    likely = words("about {likely} hours", likely=_hours(hours.likely))
    spread = words("({low} to {high})", low=_hours(hours.low), high=_hours(hours.high))
    return [
        *lines,
        words.say(size(entry.chart.finished_mm, up=False)),
        words("{length} of thread", length=metres(entry.thread_m)),
        words("{skeins} ({share} used)", skeins=skeins, share=f"{entry.skein_share:.2f}"),
        f"{likely} {spread}",
        words("readability {value}", value=f"{entry.readability:.0f}"),
    ]


def _hours(value: float) -> str:
    """Return hours to the half, and from ten on to the hour."""
    return f"{max(round(value * 2), 1) / 2:g}" if value < 10 else f"{value:.0f}"


def _tile(canvas: Canvas, entry: SizeEntry, x: float, y: float, wide: float, high: float, words: Words) -> None:
    chart = entry.chart
    if entry.chosen:
        canvas.rectangles([[x - 3.0, y, 1.6, high]], fill=INK)
    heading = words("{columns} wide, {rows} high", columns=chart.columns, rows=chart.rows)
    with canvas.tag("H2"):
        canvas.text(x, y + 4.0, heading, size_mm=4.6, weight="bold")
        if entry.chosen:
            at = x + text_width(heading, 4.6, "bold") + 3.0
            canvas.text(at, y + 4.0, words("smallest good one"), size_mm=SMALL_MM, weight="italic")
    top = y + 7.0
    room = high - 7.0
    tall = chart.rows >= _TALL * chart.columns
    text_wide = min(40.0, wide * 0.46) if tall else wide
    texts = figures(entry, words)
    if not tall:
        # Below a wide chart there is room for two figures in a line.
        texts = [", ".join(pair) for pair in zip(texts[::2], [*texts[1::2], ""], strict=False)]
        texts = [text.removesuffix(", ") for text in texts]
    text_high = sum(paragraph_height(t, text_wide, size_mm=SMALL_MM) for t in texts)
    lost = 3 * SMALL_MM * 1.32 if entry.losses else 0.0
    box = (wide - text_wide - 4.0, room) if tall else (wide, room - text_high - lost - 2.0)
    used = _chart(canvas, chart, x, top, box, words)
    left, bottom = (x + used[0] + 4.0, top) if tall else (x, top + used[1] + 2.0)
    text_wide = x + wide - left
    for text in texts:
        with canvas.tag("P"):
            bottom = set_paragraph(canvas, left, bottom, text_wide, text, size_mm=SMALL_MM)
    _lost(canvas, entry, left, bottom, text_wide, y + high, words)


def _lost(canvas: Canvas, entry: SizeEntry, x: float, y: float, wide: float, bottom: float, words: Words) -> None:
    """Say what this size loses, as far as there is room."""
    step = SMALL_MM * 1.32
    most = int((bottom - y) / step)
    lines = [line for loss in entry.losses for line in wrap_text(words.say(loss), wide, size_mm=SMALL_MM)]
    if len(lines) > most > 0:
        lines = lines[:most]
        lines[-1] = shorten(words("{losses} and more …", losses=lines[-1]), wide, size_mm=SMALL_MM)
    with canvas.tag("P"):
        for line in lines[: max(most, 0)]:
            y = set_paragraph(canvas, x, y, wide + 5.0, line, size_mm=SMALL_MM, colour=_QUIET)


def _chart(
    canvas: Canvas, chart: Chart, x: float, y: float, box: tuple[float, float], words: Words
) -> tuple[float, float]:
    """Draw the chart as large as a box allows and return the size it takes."""
    cell = min(box[0] / chart.columns, box[1] / chart.rows)
    width, height = chart.columns * cell, chart.rows * cell
    style = ChartStyle()
    shown = words(
        "Chart of {columns} by {rows} squares with {stitches} crosses",
        columns=chart.columns,
        rows=chart.rows,
        stitches=int(chart.cells.sum()),
    )
    with canvas.tag("Figure", shown):
        canvas.rectangles([[x, y, width, height]], fill=chart.fabric.colour, stroke="#b8b8b8", width_mm=0.12)
        size_share = 0.9 if cell > 0.9 else 1.0
        canvas.marks(x, y, cell, chart.cells, colour=mark_colour(chart, style), shape="block", size=size_share)
        if len(chart.lines):
            draw_lines(canvas, chart.lines, (x, y), cell, style, line_colour(chart))
    return width, height
