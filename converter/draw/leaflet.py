"""The leaflet: what she prints, works from and hands to a beginner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from converter.draw.canvas import Drawing
from converter.draw.chart_sheets import SheetText, draw_chart_pages
from converter.draw.drawings import chart_title
from converter.draw.flow import Flow
from converter.draw.leaflet_front import draw_front
from converter.draw.leaflet_text import set_beginning, set_finish
from converter.draw.pages import SheetLayout
from converter.draw.scene import ChartStyle, lines_hide_crosses
from converter.draw.typeset import BODY_MM
from converter.draw.words import Words, english
from converter.model.chart import Chart
from converter.model.leaflet import LeafletContent

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
    making_pages: Sequence[Drawing] = (),
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
    making_pages : sequence of Drawing
        Pages of the cutting diagram; they follow the steps of making up.

    Returns
    -------
    drawing : Drawing
        Front page, chart, backstitch chart where lines would hide crosses, how to begin and to stitch,
        working order, making up and cautions.
    """
    words = words or english()
    title = chart_title(chart) or words("Cross-stitch piece")
    drawing = Drawing(title=title, language=words.language)
    body = 1.28 * BODY_MM if large else BODY_MM
    draw_front(drawing, chart, content, paper=paper, words=words, title=title, body_mm=BODY_MM)
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
        )
    flow = _flow(drawing, paper, title, body, large)
    set_beginning(flow, chart, content, words)
    if content.making is None:
        set_finish(flow, chart, content, words)
    for pages in order_pages:
        drawing.extend(pages)
    if content.making is not None:
        flow = _flow(drawing, paper, title, body, large)
        set_finish(flow, chart, content, words)
    for pages in making_pages:
        drawing.extend(pages)
    return drawing


def _flow(drawing: Drawing, paper: str, title: str, body_mm: float, large: bool) -> Flow:
    return Flow(
        drawing,
        paper=paper,
        running_title=title,
        first_page_number=len(drawing.pages) + 1,
        columns=1 if large else 2,
        body_mm=body_mm,
    )


def leaflet_bytes(chart: Chart, content: LeafletContent, **options: object) -> bytes:
    """Return the leaflet as PDF; options of `leaflet_drawing`."""
    return leaflet_drawing(chart, content, **options).pdf_bytes()  # type: ignore[arg-type]
