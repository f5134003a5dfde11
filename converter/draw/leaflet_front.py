"""The front page of the leaflet: the stitched look, what the piece is, what is needed."""

from __future__ import annotations

import re
from typing import Final

import numpy as np

from converter.draw.canvas import Canvas, Drawing
from converter.draw.contrast import print_colour
from converter.draw.flow import COLUMN_GAP_MM, MARGIN_MM
from converter.draw.furniture import QUIET
from converter.draw.level import level_of
from converter.draw.palette import IndexedPicture, reduced_palette
from converter.draw.stitched import best_stitch_px, coverage, default_rim, stitched_picture
from converter.draw.typeset import LEADING, SMALL_MM, fit_size, set_paragraph, wrap_text
from converter.draw.words import Words
from converter.model.chart import Chart
from converter.model.leaflet import LeafletContent
from converter.units import MM_PER_INCH, PAPER_SIZES_MM

_BY = re.compile(r"(?<=[\d.]) x (?=\d)")
LOOK_PX: Final = 1500
"""Longer side of the picture on the front page: about 220 pixels an inch in print."""
MOST_LOOK_PX: Final = 2000
"""A picture for screens up to this size is taken as it is."""


def thread_words(chart: Chart, content: LeafletContent, words: Words) -> str:
    """Return the thread as she asks for it in the shop."""
    thread = chart.thread
    colour = words.say(content.thread_words) or thread.colour
    return f"{thread.name}, {colour}" if thread.name else colour


def strand_words(chart: Chart, words: Words) -> str:
    """Return the strands for crosses and for lines."""
    parts = []
    if chart.cells.any():
        parts.append(words.many("{number} strand for crosses", "{number} strands for crosses", chart.thread.strands))
    if len(chart.lines):
        number = chart.thread.line_strands
        parts.append(words.many("{number} strand for backstitch", "{number} strands for backstitch", number))
    return ", ".join(parts)


def fabric_words(chart: Chart, content: LeafletContent, words: Words) -> str:
    """Return the cloth in words, such as ``white Aida, 14 count``."""
    fabric = chart.fabric
    colour = words.say(content.cloth_words) or fabric.colour
    count = f"{fabric.count_per_inch:g}"
    if fabric.over > 1:
        return words(
            "{colour} evenly woven cloth, {count} threads to the inch, worked over {over}",
            colour=colour,
            count=count,
            over=fabric.over,
        )
    return words("{colour} cloth of {count} squares to the inch ({count} count)", colour=colour, count=count)


def piece_name(kind: str, words: Words) -> str:
    """Return what a piece is called."""
    names = {
        "panel": words("fringed panel on a cushion"),
        "cushion": words("cushion cover"),
        "sachet": words("sachet"),
        "bookmark": words("bookmark"),
        "card": words("card with a window"),
        "frame": words("framed picture"),
        "hoop": words("picture in its hoop"),
    }
    return names.get(kind, kind)


def piece_rows(chart: Chart, content: LeafletContent, words: Words) -> list[tuple[str, str]]:
    """Return what the piece is: label and words."""
    count, time = content.count, content.time
    level = level_of(chart, count, time, words)
    making = content.making
    rows = []
    if making is not None and making.finished_mm != (0.0, 0.0):
        rows.append(
            (
                words("Made up"),
                words("{piece}, {size}", piece=piece_name(making.kind, words), size=words.size(*making.finished_mm)),
            )
        )
    rows.append((words("Design"), words.size(*content.cut.finished_mm)))
    stitches = []
    if count.stitches:
        stitches.append(words.many("{number} cross", "{number} crosses", count.stitches))
    if count.backstitches:
        stitches.append(words.many("{number} backstitch", "{number} backstitches", count.backstitches))
    across = words("{columns} × {rows} squares", columns=count.columns, rows=count.rows)
    rows.append((words("Stitches"), "\n".join([across, *stitches])))
    hours = words("about {likely} hours", likely=_hours(time.likely))
    spread = words("({low} to {high})", low=_hours(time.low), high=_hours(time.high))
    rows.append((words("Time"), f"{hours} {spread}"))
    rows.append((words("Level"), f"{level.name}: {'; '.join(level.reasons)}"))
    return rows


def _hours(hours: float) -> str:
    return f"{hours:.1f}" if hours < 10 else f"{hours:.0f}"


def usual_hoop(content: LeafletContent, words: Words) -> str:
    """Return the working hoop that suits the cloth."""
    if content.hoop:
        return words.say(content.hoop)
    shorter = min(content.cut.cut_mm)
    if shorter < 4.5 * MM_PER_INCH:
        return words("no hoop: the cloth is small enough for the hand")
    inches = 5 if shorter < 7 * MM_PER_INCH else 6 if shorter < 10 * MM_PER_INCH else 8
    return words("a hoop about {size} across, if you like one", size=words.rough_length(inches * MM_PER_INCH))


def needs(chart: Chart, content: LeafletContent, words: Words) -> list[str]:
    """Return what is needed, one thing a line."""
    strands = strand_words(chart, words)
    if content.making is not None:
        lines = [_capital(_BY.sub(" × ", words.say(line))) for line in content.making.shopping]
        if strands:
            lines.append(words("In the needle: {strands}", strands=strands))
        if content.making.kind != "hoop":
            lines.append(_capital(usual_hoop(content, words)))
        lines.append(words("Scissors with fine points"))
        return lines
    skeins = words.many("{number} skein", "{number} skeins", content.skeins)
    thread = words(
        "Six-strand cotton, {thread}: {skeins} of {length} m",
        thread=thread_words(chart, content, words),
        skeins=skeins,
        length=f"{content.skein_m:g}",
    )
    lines = [
        words(
            "{fabric}: cut {size}",
            fabric=_capital(fabric_words(chart, content, words)),
            size=words.size(*content.cut.cut_mm),
        ),
        thread,
    ]
    if strands:
        lines.append(words("In the needle: {strands}", strands=strands))
    lines.append(
        _capital(words.say(content.needle)) if content.needle else words("A tapestry needle with a blunt point")
    )
    lines.append(_capital(usual_hoop(content, words)))
    lines.append(words("Scissors with fine points"))
    return lines


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _zigzag(canvas: Canvas, y_mm: float, width_mm: float, colour: str) -> float:
    """Draw a zigzag of marks across the page and return its lower edge."""
    cell = 1.25
    count = int((width_mm - 2 * MARGIN_MM) / cell)
    count -= (count - 1) % 8
    column = np.arange(count)
    cells = np.zeros((5, count), dtype=np.bool_)
    cells[np.abs((column + 4) % 8 - 4), column] = True
    left = (width_mm - count * cell) / 2
    canvas.marks(left, y_mm, cell, cells, colour=print_colour(colour), size=0.86)
    return y_mm + 5 * cell


def draw_front(
    canvas: Canvas,
    chart: Chart,
    content: LeafletContent,
    *,
    paper: str,
    words: Words,
    title: str,
    body_mm: float,
    look: IndexedPicture | None = None,
) -> None:
    """Draw the front page; ``look`` is the stitched look if it is drawn already."""
    width, height = PAPER_SIZES_MM[paper]
    inner = width - 2 * MARGIN_MM
    canvas.begin_page(width, height, label=title)
    top = _zigzag(canvas, MARGIN_MM - 4.0, width, chart.thread.colour) + 4.0
    size = fit_size(title, inner, size_mm=13.0, least_mm=8.5, weight="title")
    lines = wrap_text(title, inner, size_mm=size, weight="title")[:2]
    with canvas.tag("H1"):
        for line in lines:
            top += size * 1.12
            canvas.text(width / 2, top - 0.22 * size, line, size_mm=size, weight="title", anchor="middle")
    subtitle = _subtitle(chart, content, words)
    with canvas.tag("P"):
        canvas.text(width / 2, top + 4.2, subtitle, size_mm=4.2, weight="italic", anchor="middle", colour=QUIET)
    top += 10.0
    bottom = height - MARGIN_MM
    text_mm = body_mm
    while True:
        trial = Drawing()
        trial.begin_page(width, 3000.0)
        low = _columns(trial, chart, content, words, 0.0, width, text_mm)
        room = bottom - top - low - 13.0
        if room >= 88.0 or text_mm <= 3.0:
            break
        text_mm -= 0.15
    room = max(60.0, min(room, 150.0))
    picture, box = _look_box(chart, content, look, MARGIN_MM, top, inner, room)
    x, y, wide, high = box
    with canvas.tag("Figure", words("How {title} looks stitched", title=title)):
        canvas.image(x, y, wide, high, picture, alt=title)
        if content.making is None or content.making.kind in ("card", "frame"):
            canvas.rectangles([list(box)], stroke="#bdb4a2", width_mm=0.25)
    caption = (
        words(
            "So it will look: {fabric}; thread covers about {share} % of a stitched square.",
            fabric=fabric_words(chart, content, words),
            share=round(100 * coverage(chart)),
        )
        if chart.cells.any()
        else words("So it will look: {fabric}.", fabric=fabric_words(chart, content, words))
    )
    below = y + high + 1.2
    with canvas.tag("Caption"):
        for line in wrap_text(caption, inner, size_mm=SMALL_MM, weight="italic")[:2]:
            below += SMALL_MM * 1.25
            canvas.text(width / 2, below - 0.8, line, size_mm=SMALL_MM, weight="italic", anchor="middle", colour=QUIET)
    spare = bottom - (below + 4.0) - low
    _columns(canvas, chart, content, words, below + 4.0 + max(0.0, min(6.0, spare / 2)), width, text_mm)


def _subtitle(chart: Chart, content: LeafletContent, words: Words) -> str:
    count = content.count
    if count.stitches and count.backstitches:
        kind = words("Counted cross stitch and backstitch in one colour")
    elif count.stitches:
        kind = words("Counted cross stitch in one colour")
    else:
        kind = words("Counted backstitch in one colour")
    return kind


def _look_box(
    chart: Chart,
    content: LeafletContent,
    look: IndexedPicture | None,
    x_mm: float,
    y_mm: float,
    width_mm: float,
    height_mm: float,
) -> tuple[IndexedPicture, tuple[float, float, float, float]]:
    """Return the picture and where it stands in the room it has."""
    if content.making is None:
        across = max(chart.columns, chart.rows) + 2 * default_rim(chart)
        side = best_stitch_px(chart)
        if across * side > MOST_LOOK_PX:
            side, look = max(3, LOOK_PX // across), None
        picture = stitched_picture(chart, stitch_px=side) if look is None else look
    else:
        from converter.draw.piece_look import piece_pixels, stitched_part

        part = stitched_part(content.making)
        side = max(3, min(48, round(LOOK_PX * chart.fabric.cell_mm / max(part.cut_mm))))
        picture = reduced_palette(piece_pixels(chart, content.making, stitch_px=side))
    high, wide = picture.index.shape
    scale = min(width_mm / wide, height_mm / high)
    w, h = wide * scale, high * scale
    return picture, (x_mm + (width_mm - w) / 2, y_mm, w, h)


def _columns(
    canvas: Canvas, chart: Chart, content: LeafletContent, words: Words, top_mm: float, width_mm: float, body_mm: float
) -> float:
    """Set the two columns of text and return their height."""
    column = (width_mm - 2 * MARGIN_MM - COLUMN_GAP_MM) / 2
    head = 1.2 * body_mm
    left_x, right_x = MARGIN_MM, MARGIN_MM + column + COLUMN_GAP_MM
    with canvas.tag("H3"):
        set_paragraph(canvas, left_x, top_mm, column, words("The piece"), size_mm=head, weight="bold")
    y = top_mm + 1.7 * head
    rows = piece_rows(chart, content, words)
    label = 0.27 * column
    for name, value in rows:
        with canvas.tag("P"):
            set_paragraph(canvas, left_x, y, label, name, size_mm=body_mm, weight="bold")
            y = set_paragraph(canvas, left_x + label, y, column - label, value, size_mm=body_mm) + 0.25 * body_mm
    left_low = y
    with canvas.tag("H3"):
        set_paragraph(canvas, right_x, top_mm, column, words("You need"), size_mm=head, weight="bold")
    y = top_mm + 1.7 * head
    indent = 1.05 * body_mm
    with canvas.tag("L"):
        for line in needs(chart, content, words):
            with canvas.tag("LI"):
                canvas.text(right_x, y + 0.5 * body_mm * LEADING + 0.3 * body_mm, "•", size_mm=body_mm)
                y = set_paragraph(canvas, right_x + indent, y, column - indent, line, size_mm=body_mm) + 0.2 * body_mm
    y += _swatch(canvas, chart, right_x, y + 1.0, words, body_mm)
    return max(left_low, y) - top_mm


def _swatch(canvas: Canvas, chart: Chart, x_mm: float, y_mm: float, words: Words, body_mm: float) -> float:
    """Draw the colour of thread and cloth and return the height taken."""
    side = 1.25 * body_mm
    text = words("Thread and cloth, as near as print comes")
    canvas.rectangles([[x_mm, y_mm, side, side]], fill=chart.thread.colour, stroke="#8a8a8a", width_mm=0.15)
    canvas.rectangles([[x_mm + side, y_mm, side, side]], fill=chart.fabric.colour, stroke="#8a8a8a", width_mm=0.15)
    size = 0.85 * body_mm
    with canvas.tag("P"):
        canvas.text(x_mm + 2 * side + 1.5, y_mm + side / 2 + 0.32 * size, text, size_mm=size, colour=QUIET)
    return side + 1.0
