"""The drawings of a chart as bytes: chart picture, chart PDF, stitched look."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from converter.draw.canvas import Drawing
from converter.draw.chart_sheets import SheetText, draw_chart_pages, draw_whole_chart
from converter.draw.pages import SheetLayout
from converter.draw.scene import ChartStyle
from converter.draw.words import Words, english
from converter.errors import UsageError
from converter.model.chart import Chart
from converter.model.results import MakingPlan
from converter.units import MM_PER_INCH

CELL_MM: Final = 3.0
"""Side of a square in the chart picture's own millimetres."""
MOST_CELL_PX: Final = 24
LEAST_CELL_PX: Final = 8
WANTED_WIDTH_PX: Final = 2400


def chart_title(chart: Chart) -> str:
    """Return the title as it is printed."""
    return " ".join(chart.title.split())


def best_cell_px(chart: Chart) -> int:
    """Return the side of a square in pixels that keeps the chart picture to a size for screens."""
    longest = max(chart.columns, chart.rows)
    return max(LEAST_CELL_PX, min(MOST_CELL_PX, WANTED_WIDTH_PX // longest))


def _whole(chart: Chart, cell_px: float, style: ChartStyle | None, words: Words | None) -> Drawing:
    words = words or english()
    drawing = Drawing(title=chart_title(chart), language=words.language)
    size = max(3.0, 13.0 * CELL_MM / cell_px)
    draw_whole_chart(
        drawing,
        chart,
        cell_mm=CELL_MM,
        style=style or ChartStyle(),
        words=words,
        title=chart_title(chart),
        size_mm=size,
    )
    return drawing


def png_bytes(
    chart: Chart, *, cell_px: int | None = None, style: ChartStyle | None = None, words: Words | None = None
) -> bytes:
    """Return the whole chart as PNG.

    Parameters
    ----------
    chart : Chart
    cell_px : int, optional
        Side of a square in pixels, 3 to 100; by default 8 to 24, by the size of the chart.
    style : ChartStyle, optional
    words : Words, optional

    Returns
    -------
    data : bytes
        Equal charts give equal bytes.
    """
    return png_packing(chart, cell_px=cell_px, style=style, words=words)()


def png_packing(
    chart: Chart, *, cell_px: int | None = None, style: ChartStyle | None = None, words: Words | None = None
) -> Callable[[], bytes]:
    """Draw the whole chart; what is returned gives `png_bytes`, and may run beside other work."""
    if cell_px is None:
        cell_px = best_cell_px(chart)
    if not 3 <= cell_px <= 100:
        raise UsageError(f"Squares of {cell_px} pixels cannot be drawn.", "Choose 3 to 100.")
    return _whole(chart, cell_px, style, words).png_packing(dpi=cell_px * MM_PER_INCH / CELL_MM)


def svg_bytes(chart: Chart, *, style: ChartStyle | None = None, words: Words | None = None) -> bytes:
    """Return the whole chart as SVG, text as text."""
    return _whole(chart, best_cell_px(chart), style, words).svg_bytes()


def pdf_drawing(
    chart: Chart,
    *,
    paper: str = "A4",
    large: bool = False,
    style: ChartStyle | None = None,
    words: Words | None = None,
) -> Drawing:
    """Return the sheets of a chart as a drawing that can be given out page by page."""
    words = words or english()
    layout = SheetLayout.large(paper) if large else SheetLayout(paper=paper)
    if style is None:
        style = ChartStyle.large() if large else ChartStyle()
    title = chart_title(chart) or words("Cross-stitch chart")
    drawing = Drawing(title=title, language=words.language)
    size = words.size(*chart.finished_mm)
    note = words(
        "{columns} × {rows} stitches, {size} on {fabric}",
        columns=chart.columns,
        rows=chart.rows,
        size=size,
        fabric=chart.fabric.describe(),
    )
    text = SheetText(heading=title, note=note)
    draw_chart_pages(
        drawing, chart, layout=layout, style=style, words=words, text=text, label=words("Chart"), first_page_number=1
    )
    return drawing


def pdf_bytes(
    chart: Chart,
    *,
    paper: str = "A4",
    large: bool = False,
    style: ChartStyle | None = None,
    words: Words | None = None,
) -> bytes:
    """Return the chart as a vector PDF on sheets of paper.

    Parameters
    ----------
    chart : Chart
    paper : str
        A4 or letter.
    large : bool
        Squares of 4.5 mm and more and stronger rules.
    style : ChartStyle, optional
    words : Words, optional

    Returns
    -------
    data : bytes
        One page where squares of at least 2.5 mm fit; else tiles that overlap, each with a map.
    """
    return pdf_drawing(chart, paper=paper, large=large, style=style, words=words).pdf_bytes()


def stitched_bytes(
    chart: Chart, *, stitch_px: int | None = None, cloth_rim: int | None = None, making: MakingPlan | None = None
) -> bytes:
    """Return the stitched look as PNG, with its true size on the cloth noted as the resolution.

    Parameters
    ----------
    chart : Chart
    stitch_px : int, optional
        Side of a stitch in pixels, 3 to 80; by default 6 to 40, by the size of the chart.
    cloth_rim : int, optional
        Bare squares round the design.
    making : MakingPlan, optional
        Show the made-up piece: its outline, fringe, hoop or mount.

    Returns
    -------
    data : bytes
        Equal charts give equal bytes.
    """
    from converter.draw.stitched import best_stitch_px, stitched_dpi, stitched_picture

    side = best_stitch_px(chart) if stitch_px is None else stitch_px
    if making is None:
        picture = stitched_picture(chart, stitch_px=side, rim=cloth_rim)
    else:
        from converter.draw.palette import reduced_palette
        from converter.draw.piece_look import piece_pixels

        picture = reduced_palette(piece_pixels(chart, making, stitch_px=side))
        picture = replace(picture, dpi=stitched_dpi(chart, side))
    return picture.png
