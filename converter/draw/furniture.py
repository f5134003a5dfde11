"""What stands round a chart on its sheet: title, key, rulers, page map."""

from __future__ import annotations

from typing import Final

import numpy as np

from converter.draw.canvas import INK, Canvas
from converter.draw.contrast import print_colour
from converter.draw.fonts import cap_height, text_width
from converter.draw.pages import ChartPages, Tile
from converter.draw.scene import (
    HEAVY_COLOUR,
    REPEAT_TINT,
    RULE_COLOUR,
    ChartStyle,
    draw_lines,
    line_colour,
    mark_colour,
)
from converter.draw.typeset import SMALL_MM, wrap_text
from converter.draw.words import Words
from converter.model.chart import Chart
from converter.units import MM_PER_INCH

QUIET: Final = "#595959"
"""Second-rank text; contrast 7 on white."""
BARE_COLOUR: Final = "#d0d0d0"
"""Parts of the page map that have no sheet."""
RULER_MM: Final = 50.0
RULER_IN: Final = 2.0


def key_items(chart: Chart, style: ChartStyle, words: Words, *, repeats: bool) -> list[tuple[str, str]]:
    """Return (symbol, words) of what the chart shows."""
    items = []
    if style.marks and chart.cells.any():
        paler = print_colour(chart.thread.colour) != chart.thread.colour
        text = words("one cross stitch (darker than the thread)") if paler else words("one cross stitch")
        items.append(("mark", text))
    if style.lines and len(chart.lines):
        items.append(("line", words("backstitch")))
    items.append(("heavy", words("every 10 stitches")))
    items.append(("middle", words("middle")))
    if repeats:
        items.append(("repeat", words("already on the part before")))
    return items


def _symbol(
    canvas: Canvas, kind: str, x_mm: float, y_mm: float, side_mm: float, chart: Chart, style: ChartStyle
) -> None:
    """Draw one symbol of the key in a square with its top left corner at (x, y)."""
    middle = y_mm + side_mm / 2
    if kind in ("mark", "repeat"):
        fill = REPEAT_TINT if kind == "repeat" else None
        canvas.rectangles([[x_mm, y_mm, side_mm, side_mm]], fill=fill, stroke=RULE_COLOUR, width_mm=0.12)
        size = style.mark_size if style.shape == "block" else 0.2
        canvas.marks(
            x_mm,
            y_mm,
            side_mm,
            np.full((1, 1), kind == "mark"),
            colour=mark_colour(chart, style),
            shape=style.shape,
            size=size,
        )
    elif kind == "line":
        one = np.array([[[0.5, 0.1], [0.5, 1.1]]])
        draw_lines(canvas, one, (x_mm - 0.1 * side_mm, y_mm), side_mm, style, line_colour(chart))
    elif kind == "heavy":
        canvas.lines(
            [[x_mm, middle, x_mm + side_mm, middle]], width_mm=max(0.3, style.heavy * side_mm), colour=HEAVY_COLOUR
        )
    elif kind == "middle":
        half = 0.32 * side_mm
        x = x_mm + side_mm / 2
        canvas.path(
            [[x, middle + half], [x - half, middle - half], [x + half, middle - half]], fill=HEAVY_COLOUR, stroke=None
        )


def draw_key(
    canvas: Canvas,
    x_mm: float,
    y_mm: float,
    width_mm: float,
    chart: Chart,
    style: ChartStyle,
    words: Words,
    *,
    repeats: bool = False,
    size_mm: float = SMALL_MM,
    column: bool = False,
) -> float:
    """Draw the key in running items, a little smaller if one line needs it, or one below the other.

    Returns its lower edge.
    """
    items = key_items(chart, style, words, repeats=repeats)
    if not column:
        needed = sum(text_width(text, size_mm) + 3.5 * size_mm for _, text in items) - 2 * size_mm
        size_mm = max(0.8 * size_mm, min(size_mm, size_mm * width_mm / needed))
    side = size_mm * 1.05
    gap = 0.45 * size_mm
    x, y = x_mm, y_mm
    with canvas.tag("P"):
        for kind, text in items:
            lines = wrap_text(text, width_mm - side - gap, size_mm=size_mm)
            wide = side + gap + max(text_width(line, size_mm) for line in lines)
            if x > x_mm and (column or x + wide > x_mm + width_mm + 0.01):
                x, y = x_mm, y + size_mm * 1.65
            _symbol(canvas, kind, x, y, side, chart, style)
            for i, line in enumerate(lines):
                top = y + i * size_mm * 1.25
                canvas.text(x + side + gap, top + side / 2 + cap_height(size_mm) / 2, line, size_mm=size_mm)
            y += (len(lines) - 1) * size_mm * 1.25
            x += wide + 2.0 * size_mm
    return y + side


def draw_rulers(
    canvas: Canvas,
    x_mm: float,
    y_mm: float,
    words: Words,
    *,
    size_mm: float = 2.7,
    stacked: bool = False,
) -> float:
    """Draw a bar of exactly 50 mm and one of exactly 2 in with its top at ``y_mm``; return the lower edge."""
    bars = [
        (RULER_MM, 5.0, 2, words("50 mm")),
        (RULER_IN * MM_PER_INCH, MM_PER_INCH / 4, 2, words("2 in") if stacked else words("2 in, printed at 100 %")),
    ]
    high = 1.8
    x, y = x_mm, y_mm
    with canvas.tag("P"):
        for length, fine, every, label in bars:
            places = x + np.arange(round(length / fine) + 1) * fine
            deep = np.where(np.arange(len(places)) % every == 0, high, 0.55 * high)
            ticks = np.stack([places, np.full_like(places, y), places, y + deep], axis=1)
            canvas.lines(ticks, width_mm=0.15, colour=INK)
            canvas.rectangles([[x, y, length, 0.5]], fill=INK)
            canvas.text(x + length + 1.5, y + high, label, size_mm=size_mm, colour=QUIET)
            if stacked:
                y += high + 3.2
            else:
                x += length + 1.5 + text_width(label, size_mm) + 7.0
    return y - 3.2 if stacked else y + high


def ruler_words(words: Words) -> str:
    """Return what the rulers are for."""
    return words("Print at 100 %: these bars must measure 50 mm and 2 in.")


def draw_map(
    canvas: Canvas,
    x_mm: float,
    y_mm: float,
    width_mm: float,
    height_mm: float,
    chart: Chart,
    pages: ChartPages,
    current: int | None,
    *,
    numbers: bool = False,
) -> tuple[float, float]:
    """Draw a small map of the sheets, right-aligned in a box, and return its width and height.

    ``current`` is the tile shown dark; ``numbers`` prints the number of every tile. Tiles without a sheet are gray.
    """
    scale = min(width_mm / chart.columns, height_mm / chart.rows)
    wide, high = chart.columns * scale, chart.rows * scale
    left = x_mm + width_mm - wide
    every = pages.tiles + pages.bare
    across = [*sorted({t.first_column + t.repeated_columns for t in every}), chart.columns]
    down = [*sorted({t.first_row + t.repeated_rows for t in every}), chart.rows]
    canvas.rectangles([[left, y_mm, wide, high]], fill="#ffffff")

    def box(tile: Tile) -> tuple[float, float, float, float]:
        x, y = left + across[tile.across] * scale, y_mm + down[tile.down] * scale
        w = (across[tile.across + 1] - across[tile.across]) * scale
        return x, y, w, (down[tile.down + 1] - down[tile.down]) * scale

    boxes = [box(tile) for tile in pages.tiles]
    if pages.bare:
        canvas.rectangles([box(tile) for tile in pages.bare], fill=BARE_COLOUR)
    if current is not None:
        canvas.rectangles([boxes[current]], fill=HEAVY_COLOUR)
    rules = [[left + c * scale, y_mm, left + c * scale, y_mm + high] for c in across]
    rules += [[left, y_mm + r * scale, left + wide, y_mm + r * scale] for r in down]
    canvas.lines(rules, width_mm=0.18, colour=HEAVY_COLOUR)
    for i, (x, y, w, h) in enumerate(boxes):
        size = min(3.2, 0.62 * h, 0.62 * w)
        if numbers or (i == current and size > 1.4):
            colour = "#ffffff" if i == current else INK
            canvas.text(
                x + w / 2, y + h / 2 + cap_height(size) / 2, str(i + 1), size_mm=size, anchor="middle", colour=colour
            )
    return wide, high
