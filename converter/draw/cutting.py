"""The making-up sheet: parts to scale with their lines and measures, then lists and numbered steps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from converter.draw.canvas import INK, Canvas, Drawing
from converter.draw.fonts import text_width
from converter.draw.scene import ChartStyle, draw_lines, line_colour, mark_colour
from converter.draw.typeset import BODY_MM, LEADING, SMALL_MM, paragraph_height, set_paragraph, shorten, wrap_text
from converter.draw.words import Words, english
from converter.estimate.fabric import stitched_extent
from converter.estimate.making.words import part_length, part_size, size
from converter.model.chart import Chart
from converter.model.phrase import Phrase
from converter.model.results import Guide, MakingPlan, Part
from converter.units import MM_PER_INCH, PAPER_SIZES_MM

PIECE_WORDS: Final[dict[str, str]] = {
    "panel": Phrase("fringed panel on a cushion"),
    "cushion": Phrase("cushion cover"),
    "sachet": Phrase("sachet"),
    "bookmark": Phrase("bookmark"),
    "card": Phrase("card with a window"),
    "frame": Phrase("framed picture"),
    "hoop": Phrase("piece in its hoop"),
}
MARGIN_MM: Final = 14.0
_QUIET: Final = "#595959"
_CLOTH: Final[dict[str, str]] = {
    "cloth": "#f1f1f1",
    "felt": "#e9e9e9",
    "card": "#fafafa",
    "board": "#e4e4e4",
    "wadding": "#f6f6f6",
}
_SCALES: Final = (
    1.0,
    1.25,
    1.5,
    2.0,
    2.5,
    3.0,
    4.0,
    5.0,
    6.0,
    8.0,
    10.0,
    12.0,
    15.0,
    20.0,
    25.0,
    30.0,
    40.0,
    50.0,
    100.0,
)
"""Scales that a ruler can follow: one millimetre on paper is so many on the cloth."""
_GAP_MM: Final = 8.0
_DIMENSION_MM: Final = 6.5
"""Room for a dimension line and its figure."""


@dataclass(frozen=True)
class _Stroke:
    """How a kind of line is drawn."""

    colour: str
    width_mm: float
    dash_mm: tuple[float, ...] = ()


_STROKES: Final[dict[str, _Stroke]] = {
    "design": _Stroke("#8a8a8a", 0.15),
    "centre": _Stroke("#8a8a8a", 0.15, (5.0, 1.0, 0.8, 1.0)),
    "stitch": _Stroke("#1c1c1c", 0.35, (1.8, 1.2)),
    "trim": _Stroke("#1c1c1c", 0.3, (5.0, 1.2, 1.2, 1.2)),
    "fold": _Stroke("#1c1c1c", 0.2, (4.0, 2.0)),
    "hem": _Stroke("#1c1c1c", 0.25, (0.5, 0.9)),
    "window": _Stroke("#1c1c1c", 0.5),
    "place": _Stroke("#1c1c1c", 0.25, (3.0, 1.0)),
    "edge": _Stroke("#1c1c1c", 0.5),
}
_LEGEND_NAMES: Final = {
    "centre": Phrase("centre lines"),
    "fringe-level": Phrase("threads drawn out: fringe"),
    "fringe-upright": Phrase("threads drawn out: fringe"),
}
_KEY_MM: Final = 66.0
"""Width of a key that stands at the right of its part."""

_POOR_FILL = 0.2
"""A last page filled less than this is worth some squeezing."""
_SQUEEZES = (0.85, 0.7, 0.55)
"""Factors of gaps between items and of the room that the parts may take."""


def making_drawing(
    plan: MakingPlan, chart: Chart, *, paper: str = "A4", title: str = "", words: Words | None = None
) -> Drawing:
    """Return the making-up sheets of a plan.

    Parameters
    ----------
    plan : MakingPlan
    chart : Chart
        Shown small where the design lies.
    paper : str
        A4 or letter.
    title : str
        Name of the piece; the chart's title if empty.
    words : Words, optional
        Language and units.

    Returns
    -------
    drawing : Drawing
        First the parts to scale, then the cutting list, shopping list, steps and cautions.
    """
    words = words or english()
    name = " ".join((title or chart.title or words("Making up")).split())
    plan = plan_in_words(plan, words)
    drawing, filled = _draw(plan, chart, paper, name, words, 0, 1.0)
    count, chosen = len(drawing.pages), 1.0
    if filled < _POOR_FILL:
        # A few lines alone on a last page are drawn up to the page before, if smaller parts and gaps make room.
        for squeeze in _SQUEEZES:
            fewer = len(_draw(plan, chart, paper, name, words, 0, squeeze)[0].pages)
            if fewer < count:
                count, chosen = fewer, squeeze
                break
    return _draw(plan, chart, paper, name, words, count, chosen)[0]


def making_pdf(plan: MakingPlan, chart: Chart, *, paper: str = "A4", title: str = "") -> bytes:
    """Return the making-up sheets as PDF; see `making_drawing`."""
    return making_drawing(plan, chart, paper=paper, title=title).pdf_bytes()


def plan_in_words(plan: MakingPlan, words: Words) -> MakingPlan:
    """Return a making-up plan with its texts in one language and in her units."""

    def said(texts: Sequence[str]) -> tuple[str, ...]:
        return tuple(words.say(text) for text in texts)

    parts = tuple(
        replace(
            part,
            name=words.say(part.name),
            note=words.say(part.note),
            guides=tuple(
                replace(guide, label=words.say(_LEGEND_NAMES.get(guide.role, guide.label))) for guide in part.guides
            ),
        )
        for part in plan.parts
    )
    return replace(
        plan,
        parts=parts,
        steps=said(plan.steps),
        shopping=said(plan.shopping),
        cautions=said(plan.cautions),
        warnings=said(plan.warnings),
    )


def _draw(
    plan: MakingPlan, chart: Chart, paper: str, name: str, words: Words, pages: int, squeeze: float
) -> tuple[Drawing, float]:
    """Return the sheets and how much of the last one is filled, 0 to 1."""
    heading = f"{name}: {words.say(PIECE_WORDS[plan.kind])}"
    drawing = Drawing(title=heading, language=words.language)
    sheet = _Sheet(drawing, paper, name, words, pages, squeeze)
    sheet.start()
    with drawing.tag("H1"):
        sheet.y = set_paragraph(drawing, MARGIN_MM, sheet.y, sheet.width, heading, size_mm=7.5, weight="title")
    finished = size(plan.finished_mm, up=False)
    if plan.kind == "cushion":
        sheet.paragraph(words("For a pad of {size}.", size=finished))
    elif plan.kind == "panel":
        sheet.paragraph(words("The cushion measures {size}.", size=finished))
    else:
        sheet.paragraph(words("Made up it measures {size}.", size=finished))
    for warning in plan.warnings:
        sheet.boxed(warning)
    stitched, others = plan.parts[:1], plan.parts[1:]
    scale = sheet.parts(words("The stitched cloth"), stitched, chart, most_mm=140.0 if others else 165.0)
    if others:
        sheet.parts(words("The other parts"), others, chart, most_mm=110.0, least_scale=scale)
    rows = [f"{_times(part)}: {words.say(part_size(part))}{_also(part)}" for part in plan.parts]
    sheet.listed(words("Cutting list"), rows, tick=True)
    sheet.listed(words("Shopping list"), plan.shopping, tick=True)
    sheet.listed(words("Step by step"), plan.steps, numbered=True)
    sheet.listed(words("Take care"), plan.cautions)
    return drawing, (sheet.y - MARGIN_MM) / (sheet.bottom - MARGIN_MM)


def _times(part: Part) -> str:
    return part.name if part.count == 1 else f"{part.count} x {part.name}"


def _also(part: Part) -> str:
    return f", {part.note}" if part.note else ""


class _Sheet:
    """A flow of blocks down the pages."""

    def __init__(self, drawing: Drawing, paper: str, name: str, words: Words, pages: int, squeeze: float) -> None:
        self.drawing = drawing
        self.squeeze = squeeze
        self.words = words
        self.page_mm = PAPER_SIZES_MM[paper]
        self.width = self.page_mm[0] - 2 * MARGIN_MM
        self.bottom = self.page_mm[1] - MARGIN_MM - 6.0
        self.name = name
        self.pages = pages
        self.y = 0.0

    def start(self) -> None:
        """Begin a page with its foot."""
        number = len(self.drawing.pages) + 1
        self.drawing.begin_page(*self.page_mm, label=self.words("Parts") if number == 1 else "")
        self.y = MARGIN_MM
        with self.drawing.tag("Artifact"):
            foot = self.page_mm[1] - MARGIN_MM + 2.0
            name = shorten(self.name, self.width - 20.0, size_mm=2.9)
            self.drawing.text(MARGIN_MM, foot, name, size_mm=2.9, colour=_QUIET)
            if self.pages:
                words = self.words("{number} of {pages}", number=number, pages=self.pages)
                self.drawing.text(self.page_mm[0] - MARGIN_MM, foot, words, size_mm=2.9, colour=_QUIET, anchor="end")

    def need(self, height_mm: float) -> None:
        """Go to a new page if a block does not fit on this one."""
        if self.y + height_mm > self.bottom and self.y > MARGIN_MM + 1:
            self.start()

    def paragraph(self, text: str) -> None:
        """Set a paragraph."""
        self.need(paragraph_height(text, self.width))
        with self.drawing.tag("P"):
            self.y = set_paragraph(self.drawing, MARGIN_MM, self.y, self.width, text) + 2.0

    def boxed(self, text: str) -> None:
        """Set a warning in a box."""
        high = paragraph_height(text, self.width - 10.0) + 4.0
        self.need(high + 2.0)
        with self.drawing.tag("P"):
            self.drawing.rectangles([[MARGIN_MM, self.y, self.width, high]], fill="#f3f3f3", stroke=INK, width_mm=0.4)
            self.drawing.rectangles([[MARGIN_MM, self.y, 2.0, high]], fill=INK)
            set_paragraph(self.drawing, MARGIN_MM + 6.0, self.y + 2.0, self.width - 10.0, text)
        self.y += high + 2.5

    def heading(self, text: str, after_mm: float) -> None:
        """Set a heading, with room for what follows."""
        self.need(9.0 + after_mm)
        self.y += 3.0 * self.squeeze
        with self.drawing.tag("H2"):
            self.y = set_paragraph(self.drawing, MARGIN_MM, self.y, self.width, text, size_mm=5.2, weight="title") + 0.8

    def listed(self, heading: str, items: Sequence[str], *, numbered: bool = False, tick: bool = False) -> None:
        """Set a list with numbers, boxes to tick or dots."""
        indent = 8.0 if numbered else 6.0
        heights = [paragraph_height(item, self.width - indent) + 1.6 for item in items]
        # A short list stays in one piece; a long one keeps its first two items with its heading.
        self.heading(heading, sum(heights) if sum(heights) < 55.0 else sum(heights[:2]))
        at = 0
        while at < len(items):
            # A list that goes on over a page is a list on each of them.
            self.need(paragraph_height(items[at], self.width - indent))
            with self.drawing.tag("L"):
                while at < len(items):
                    high = paragraph_height(items[at], self.width - indent)
                    if self.y + high > self.bottom and self.y > MARGIN_MM + 1:
                        break
                    with self.drawing.tag("LI"):
                        self._sign(at + 1, numbered, tick)
                        set_paragraph(self.drawing, MARGIN_MM + indent, self.y, self.width - indent, items[at])
                    self.y += high + self.squeeze * (1.6 if numbered else 0.9)
                    at += 1

    def _sign(self, number: int, numbered: bool, tick: bool) -> None:
        middle = self.y + 0.5 * BODY_MM * LEADING
        if numbered:
            base = middle + 0.3 * BODY_MM
            self.drawing.text(MARGIN_MM + 5.5, base, str(number), weight="bold", anchor="end")
        elif tick:
            self.drawing.rectangles([[MARGIN_MM, middle - 1.4, 2.8, 2.8]], stroke=INK, width_mm=0.25)
        else:
            self.drawing.circles([[MARGIN_MM + 1.4, middle]], 0.55, fill=INK)

    def parts(
        self, heading: str, parts: Sequence[Part], chart: Chart, *, most_mm: float, least_scale: float = 1.0
    ) -> float:
        """Draw parts at one common scale, as large as the room allows, and return the scale."""
        most_mm *= self.squeeze
        room = min(most_mm, self.bottom - self.y - 24.0)
        if room < 0.7 * most_mm:
            # Better a fresh page than parts too small to read.
            self.start()
            room = min(most_mm, self.bottom - self.y - 24.0)
        scale, blocks, high = _arrange(parts, self.width, room, chart, self.words, least_scale)
        self.heading(heading, high + 8.0)
        self.y += 1.0
        for x, y, block in blocks:
            block.draw(self.drawing, MARGIN_MM + x, self.y + y)
        self.y += high + 2.0
        self.y = _scale_bar(self.drawing, MARGIN_MM, self.y, scale, self.words) + 2.0
        return scale


def _scale_bar(canvas: Canvas, x: float, y: float, scale: float, words: Words) -> float:
    """Draw bars of whole centimetres and inches at the scale of the parts."""
    shown = words("actual size") if scale == 1 else words("scale 1 : {scale}", scale=f"{scale:g}")
    centimetres, inches = (
        max((n for n in steps if n * unit_mm / scale <= 50.0), default=1)
        for unit_mm, steps in ((10.0, (1, 2, 5, 10, 20, 50)), (MM_PER_INCH, (1, 2, 4, 8, 16, 20)))
    )
    bars = (
        (centimetres, words("{value} cm", value=centimetres), 10.0),
        (inches, words("{value} in", value=inches), MM_PER_INCH),
    )
    with canvas.tag("P"):
        for count, label, factor in bars:
            part = factor / scale
            wide = count * part
            canvas.lines([[x, y + 0.9, x + wide, y + 0.9]], width_mm=0.3)
            step = 1 if part > 1.5 else 5
            canvas.lines([[x + i * part, y, x + i * part, y + 1.8] for i in range(0, count + 1, step)], width_mm=0.15)
            canvas.text(x + wide + 1.5, y + 1.9, label, size_mm=2.7, colour=_QUIET)
            x += wide + text_width(label, 2.7) + 6.0
        canvas.text(x, y + 1.9, words("{scale}; print at 100 %", scale=shown), size_mm=2.7, colour=_QUIET)
    return y + 3.0


@dataclass(frozen=True, eq=False)
class _Block:
    """A part with its name, dimension lines and key of lines."""

    part: Part
    scale: float
    chart: Chart
    words: Words
    beside: bool = False
    """The key stands at the right of the part instead of below it."""

    @property
    def paper_mm(self) -> tuple[float, float]:
        """Width and height of the part on paper."""
        return self.part.cut_mm[0] / self.scale, self.part.cut_mm[1] / self.scale

    def side(self, axis: int) -> str:
        """Return the words for the width (0) or the height (1)."""
        return self.words.say(part_length(self.part, axis))

    def key(self) -> list[tuple[str, str]]:
        """Return (role, words) of the lines that are explained."""
        rows: list[tuple[str, str]] = []
        for guide in self.part.guides:
            role = "fringe-level" if guide.role.startswith("fringe") else guide.role
            if guide.label and (role, guide.label) not in rows:
                rows.append((role, guide.label))
        order = ("design", "centre", "trim", "stitch", "fringe-level", "fold", "hem", "window", "place", "edge")
        return sorted(rows, key=lambda row: order.index(row[0]))

    def key_lines(self) -> list[tuple[str, list[str]]]:
        """Return the key with its texts broken to the width of the block."""
        room = (_KEY_MM if self.beside else max(self.paper_mm[0] + _DIMENSION_MM, 58.0)) - 11.0
        return [(role, wrap_text(text, room, size_mm=SMALL_MM)) for role, text in self.key()]

    @property
    def size_mm(self) -> tuple[float, float]:
        """Room that the block takes."""
        width, height = self.paper_mm
        key = self.key_lines()
        texts = [11.0 + text_width(line, SMALL_MM) for _, lines in key for line in lines]
        name = text_width(_times(self.part), BODY_MM, "bold")
        across = text_width(self.side(0), SMALL_MM)
        down = text_width(self.side(1), SMALL_MM)
        lines = sum(len(lines) for _, lines in key)
        if self.beside:
            wide = _DIMENSION_MM + max(width, across) + _GAP_MM + _KEY_MM
            return wide, 6.0 + max(height + _DIMENSION_MM, down, lines * SMALL_MM * 1.35 + 1.2 * len(key))
        wide = max(_DIMENSION_MM + max(width, across), name, *texts, 30.0)
        return wide, 6.0 + max(height, down) + _DIMENSION_MM + 1.0 + lines * SMALL_MM * 1.35

    def draw(self, canvas: Canvas, x: float, y: float) -> None:
        """Draw the block with its top left corner at (x, y)."""
        width, height = self.paper_mm
        with canvas.tag("P"):
            canvas.text(x, y + 0.8 * BODY_MM, _times(self.part), weight="bold")
        left, top = x + _DIMENSION_MM, y + 6.0
        size = self.words.say(part_size(self.part))
        with canvas.tag("Figure", self.words("{part}, {size}, drawn to scale", part=_times(self.part), size=size)):
            self._draw_part(canvas, left, top)
            _dimension(canvas, left, top + height + 3.0, left + width, self.side(0), level=True)
            _dimension(canvas, x + 3.0, top, top + height, self.side(1), level=False)
        down = text_width(self.side(1), SMALL_MM)
        base = top + max(height, down) + _DIMENSION_MM + 1.0
        if self.beside:
            across = text_width(self.side(0), SMALL_MM)
            x, base = left + max(width, across) + _GAP_MM, top
        for role, lines in self.key_lines():
            with canvas.tag("P"):
                _sample(canvas, role, x, base + 0.62 * SMALL_MM)
                for line in lines:
                    canvas.text(x + 11.0, base + 0.95 * SMALL_MM, line, size_mm=SMALL_MM)
                    base += SMALL_MM * 1.35
            base += 1.2 if self.beside else 0.0

    def _draw_part(self, canvas: Canvas, left: float, top: float) -> None:
        part, scale = self.part, self.scale
        width, height = self.paper_mm
        fill = self.chart.fabric.colour if part.material == "stitched" else _CLOTH[part.material]
        if part.round:
            canvas.circles([[left + width / 2, top + height / 2]], width / 2, fill=fill, stroke=INK, width_mm=0.5)
        else:
            canvas.rectangles([[left, top, width, height]], fill=fill, stroke=INK, width_mm=0.5)
        for guide in part.guides:
            points = np.array(guide.points) / scale + (left, top)
            if guide.role.startswith("fringe"):
                _fringe(canvas, points, guide.role)
                continue
            stroke = _STROKES[guide.role]
            if guide.role == "design":
                self._draw_design(canvas, points)
            if guide.role == "place":
                canvas.path(points, fill="#dcdcdc", stroke=None)
            canvas.path(
                points,
                stroke=stroke.colour,
                width_mm=stroke.width_mm,
                dash_mm=stroke.dash_mm,
                closed=len(points) > 2,
            )
        _centre_marks(canvas, part.guides, left, top, scale, self.paper_mm)

    def _draw_design(self, canvas: Canvas, points: np.ndarray) -> None:
        """Draw the chart itself, small, where it will be stitched."""
        chart = self.chart
        extent = stitched_extent(chart)
        cell = chart.fabric.cell_mm / self.scale
        rows = slice(math.floor(extent.top), math.ceil(extent.bottom))
        columns = slice(math.floor(extent.left), math.ceil(extent.right))
        x, y = float(points[0, 0]), float(points[0, 1])
        style = ChartStyle()
        canvas.marks(x, y, cell, chart.cells[rows, columns], colour=mark_colour(chart, style), shape="block", size=1.0)
        if len(chart.lines):
            moved = chart.lines - (extent.top, extent.left)
            draw_lines(canvas, moved, (x, y), cell, style, line_colour(chart))


def _fringe(canvas: Canvas, corners: np.ndarray, role: str) -> None:
    (x0, y0), (x1, y1) = corners[0], corners[2]
    if role == "fringe-level":
        count = max(2, round((y1 - y0) / 1.1))
        at = np.linspace(y0, y1, count)
        rows = [[x0, y, x1, y] for y in at]
    else:
        count = max(2, round((x1 - x0) / 1.1))
        at = np.linspace(x0, x1, count)
        rows = [[x, y0, x, y1] for x in at]
    canvas.lines(rows, width_mm=0.12, colour="#8a8a8a")


def _centre_marks(
    canvas: Canvas, guides: Sequence[Guide], left: float, top: float, scale: float, paper_mm: tuple[float, float]
) -> None:
    """Draw a small triangle at each end of the centre lines."""
    width, height = paper_mm
    for guide in guides:
        if guide.role != "centre":
            continue
        (x0, y0), (x1, _) = guide.points
        if x0 == x1:
            x = left + x0 / scale
            canvas.path([[x, top], [x - 1.1, top - 2.0], [x + 1.1, top - 2.0]], fill=INK, stroke=None)
            low = top + height
            canvas.path([[x, low], [x - 1.1, low + 2.0], [x + 1.1, low + 2.0]], fill=INK, stroke=None)
        else:
            y = top + y0 / scale
            canvas.path([[left, y], [left - 2.0, y - 1.1], [left - 2.0, y + 1.1]], fill=INK, stroke=None)
            right = left + width
            canvas.path([[right, y], [right + 2.0, y - 1.1], [right + 2.0, y + 1.1]], fill=INK, stroke=None)


def _dimension(canvas: Canvas, a: float, b: float, c: float, words: str, *, level: bool) -> None:
    """Draw a dimension line: level from x = a to c at y = b, or upright from y = b to c at x = a."""
    if level:
        canvas.lines([[a, b, c, b], [a, b - 1.2, a, b + 1.2], [c, b - 1.2, c, b + 1.2]], width_mm=0.15, colour=_QUIET)
        middle = max((a + c) / 2, a + text_width(words, SMALL_MM) / 2)
        canvas.text(middle, b + 0.6 + SMALL_MM * 0.9, words, size_mm=SMALL_MM, anchor="middle")
    else:
        canvas.lines([[a, b, a, c], [a - 1.2, b, a + 1.2, b], [a - 1.2, c, a + 1.2, c]], width_mm=0.15, colour=_QUIET)
        middle = max((b + c) / 2, b + text_width(words, SMALL_MM) / 2)
        canvas.text(a - 1.0, middle, words, size_mm=SMALL_MM, anchor="middle", angle_deg=-90.0)


def _sample(canvas: Canvas, role: str, x: float, y: float) -> None:
    """Draw a short piece of a kind of line for the key."""
    if role.startswith("fringe"):
        canvas.lines(
            [[x, y - 0.9 + 0.6 * i, x + 9.0, y - 0.9 + 0.6 * i] for i in range(4)], width_mm=0.12, colour=_QUIET
        )
        return
    stroke = _STROKES[role]
    if role in ("design", "place"):
        fill = "#dcdcdc" if role == "place" else None
        canvas.rectangles([[x, y - 1.1, 9.0, 2.2]], fill=fill)
        canvas.path(
            [[x, y - 1.1], [x + 9.0, y - 1.1], [x + 9.0, y + 1.1], [x, y + 1.1]],
            stroke=stroke.colour,
            width_mm=stroke.width_mm,
            dash_mm=stroke.dash_mm,
        )
        return
    canvas.lines([[x, y, x + 9.0, y]], width_mm=stroke.width_mm, colour=stroke.colour, dash_mm=stroke.dash_mm)


def _arrange(
    parts: Sequence[Part], width_mm: float, height_mm: float, chart: Chart, words: Words, least_scale: float
) -> tuple[float, list[tuple[float, float, _Block]], float]:
    """Return the largest scale at which the parts fit in rows, their places and the height they take."""
    placed: tuple[list[tuple[float, float, _Block]], float] = ([], 0.0)
    scale = _SCALES[-1]
    for scale in (s for s in _SCALES if s >= least_scale):
        beside = len(parts) == 1 and parts[0].cut_mm[0] < 3 * parts[0].cut_mm[1]
        placed = _in_rows([_Block(part, scale, chart, words, beside) for part in parts], width_mm)
        fits = placed[1] <= height_mm and all(block.size_mm[0] <= width_mm for _, _, block in placed[0])
        if fits:
            break
    return scale, placed[0], placed[1]


def _in_rows(blocks: Sequence[_Block], width_mm: float) -> tuple[list[tuple[float, float, _Block]], float]:
    places, x, y, high = [], 0.0, 0.0, 0.0
    for block in blocks:
        wide, tall = block.size_mm
        if x > 0 and x + wide > width_mm:
            x, y, high = 0.0, y + high + _GAP_MM, 0.0
        places.append((x, y, block))
        x += wide + _GAP_MM
        high = max(high, tall)
    return places, y + high
