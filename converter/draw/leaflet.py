"""The leaflet: what she prints, works from and hands to a beginner."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from converter.draw.canvas import Drawing, Op, TextOp
from converter.draw.chart_sheets import SheetText, draw_chart_pages
from converter.draw.drawings import chart_title
from converter.draw.flow import Flow
from converter.draw.furniture import QUIET
from converter.draw.leaflet_front import draw_front
from converter.draw.leaflet_text import set_beginning, set_closing
from converter.draw.pages import SheetLayout
from converter.draw.palette import IndexedPicture
from converter.draw.scene import ChartStyle, lines_hide_crosses
from converter.draw.typeset import BODY_MM, SMALL_MM
from converter.draw.words import Words, english
from converter.model.chart import Chart
from converter.model.leaflet import LeafletContent

_PAGE_NUMBER = re.compile(r"\d+( of \d+)?")
TIGHTER = ((0.87, 0.5), (0.88, 0.6), (0.91, 0.7), (0.94, 0.8), (0.97, 0.9))
"""Shares of the usual type and of the space between blocks, tightest first."""
NEARLY_EMPTY = 0.28
"""Share of the last teaching page up to which a tighter setting is tried to save it."""
PALE_MARKS = 0.28
"""Strength of the marks on the page that shows the backstitches."""


def leaflet_drawing(
    chart: Chart,
    content: LeafletContent,
    *,
    paper: str = "A4",
    large: bool = False,
    style: ChartStyle | None = None,
    words: Words | None = None,
    order_pages: Sequence[Drawing] = (),
    look: IndexedPicture | None = None,
) -> Drawing:
    """Return the leaflet page by page.

    Parameters
    ----------
    chart : Chart
    content : LeafletContent
        Counts, thread, cloth, hours, making up.
    paper : str
        A4 or letter.
    large : bool
        Squares of 4.5 mm and more, stronger rules, larger type in one column.
    style : ChartStyle, optional
    words : Words, optional
        Language and units.
    order_pages : sequence of Drawing
        Pages of the working order; they follow the chart.
    look : IndexedPicture, optional
        The stitched look, if it is drawn already.

    Returns
    -------
    drawing : Drawing
        Front page, chart, backstitch chart where lines would hide crosses, how to begin and to stitch,
        working order, making-up sheets with their cautions.
    """
    words = words or english()
    title = chart_title(chart) or words("Cross-stitch piece")
    drawing = Drawing(title=title, language=words.language)
    draw_front(
        drawing,
        chart,
        content,
        paper=paper,
        words=words,
        title=title,
        body_mm=1.2 * BODY_MM if large else BODY_MM,
        look=look,
    )
    layout = SheetLayout.large(paper) if large else SheetLayout(paper=paper)
    style = style or (ChartStyle.large() if large else ChartStyle())
    apart = lines_hide_crosses(chart)
    first = replace(style, lines=style.lines and not apart)
    note = words("Begin at the middle: follow the triangles.")
    if apart:
        note = words("The backstitches follow on a chart of their own.")
    number = len(drawing.pages) + 1
    draw_chart_pages(
        drawing,
        chart,
        layout=layout,
        style=first,
        words=words,
        text=SheetText(heading=words("{title}: chart", title=title), note=note),
        label=words("Chart"),
        first_page_number=number,
    )
    if apart:
        number = len(drawing.pages) + 1
        draw_chart_pages(
            drawing,
            chart,
            layout=layout,
            style=replace(style, pale=PALE_MARKS),
            words=words,
            text=SheetText(
                heading=words("{title}: backstitch", title=title), note=words("The crosses are printed pale.")
            ),
            label=words("Backstitch"),
            first_page_number=number,
            lines_only=True,
        )
    _set_text(drawing, chart, content, paper=paper, large=large, words=words, title=title, with_order=bool(order_pages))
    for pages in order_pages:
        drawing.extend(renumbered(pages, len(drawing.pages) + 1))
    if content.making is not None:
        from converter.draw.cutting import making_drawing

        sheets = making_drawing(content.making, chart, paper=paper, title=title, words=words)
        drawing.extend(renumbered(sheets, len(drawing.pages) + 1))
    return drawing


def _set_text(
    drawing: Drawing,
    chart: Chart,
    content: LeafletContent,
    *,
    paper: str,
    large: bool,
    words: Words,
    title: str,
    with_order: bool,
) -> None:
    """Set the teaching pages; type and spacing shrink a little where that saves a nearly empty page."""
    body = 1.28 * BODY_MM if large else BODY_MM

    def set_in(share: float, spacing: float) -> tuple[Drawing, float]:
        trial = Drawing(drawing.title, drawing.language)
        flow = Flow(
            trial,
            paper=paper,
            running_title=title,
            first_page_number=len(drawing.pages) + 1,
            columns=1 if large else 2,
            body_mm=share * body,
            spacing=spacing,
        )
        set_beginning(flow, chart, content, words, with_order=with_order)
        set_closing(flow, content, words)
        return trial, flow.filled

    usual, filled = set_in(1.0, 1.0)
    kept = usual
    if len(usual.pages) > 1 and filled < NEARLY_EMPTY:
        for share, spacing in TIGHTER:
            trial, _ = set_in(share, spacing)
            if len(trial.pages) == len(usual.pages):
                break
            kept = trial
    drawing.extend(kept)


def renumbered(pages: Drawing, first: int) -> Drawing:
    """Return the pages of a sheet with its own page numbers replaced by those of the leaflet.

    A page number is a text "1" or "1 of 3" that ends in the lowest 13 mm of the page, right of its middle, below
    all that is drawn; a page without one gets one.
    """
    result = Drawing(pages.title, pages.language)
    for number, page in enumerate(pages.pages, start=first):
        low = page.height_mm - 13.0
        found = False
        ops: list[Op] = []
        for op in page.ops:
            if (
                isinstance(op, TextOp)
                and op.anchor == "end"
                and op.y_mm > low
                and op.x_mm > page.width_mm / 2
                and _PAGE_NUMBER.fullmatch(op.text)
            ):
                op = replace(op, text=str(number))
                found = True
            ops.append(op)
        if not found:
            ops.append(TextOp(page.width_mm - 18.0, page.height_mm - 8.0, str(number), SMALL_MM, QUIET, "end"))
        result.pages.append(replace(page, ops=ops))
    return result


def leaflet_bytes(chart: Chart, content: LeafletContent, **options: object) -> bytes:
    """Return the leaflet as PDF; options of `leaflet_drawing`."""
    return leaflet_drawing(chart, content, **options).pdf_bytes()  # type: ignore[arg-type]
