"""Text that runs in columns over pages: headings, paragraphs, numbered steps, figures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from converter.draw.canvas import INK, Canvas, Role
from converter.draw.furniture import QUIET
from converter.draw.scaled import ScaledCanvas
from converter.draw.typeset import BODY_MM, LEADING, SMALL_MM, paragraph_height, set_paragraph, shorten, wrap_text
from converter.units import PAPER_SIZES_MM

MARGIN_MM: Final = 18.0
COLUMN_GAP_MM: Final = 9.0
FIGURE_MM: Final = 86.0
"""Widest drawing; larger type enlarges it with the text."""

Figure = Callable[[Canvas, float, float, float], None]
"""Draws at (x, y) with a width, all in mm."""


class Flow:
    """Sets blocks one below the other, column by column, page by page.

    Parameters
    ----------
    canvas : Canvas
    paper : str
    running_title : str
        Printed small at the foot of each page.
    first_page_number : int
    columns : int
    body_mm : float
        Size of running text.
    spacing : float
        Share of the usual space between blocks.
    """

    def __init__(
        self,
        canvas: Canvas,
        *,
        paper: str,
        running_title: str,
        first_page_number: int,
        columns: int = 2,
        body_mm: float = BODY_MM,
        spacing: float = 1.0,
    ) -> None:
        self.canvas = canvas
        self.page_width, self.page_height = PAPER_SIZES_MM[paper]
        self.running_title = running_title
        self.page_number = first_page_number - 1
        self.columns = columns
        self.body_mm = body_mm
        self.spacing = spacing
        self.column_mm = (self.page_width - 2 * MARGIN_MM - (columns - 1) * COLUMN_GAP_MM) / columns
        self.top = MARGIN_MM
        self.bottom = self.page_height - MARGIN_MM - 6.0
        self.column = 0
        self.y = self.bottom

    @property
    def x(self) -> float:
        """Left edge of the column in use."""
        return MARGIN_MM + self.column * (self.column_mm + COLUMN_GAP_MM)

    @property
    def filled(self) -> float:
        """Share of the page in use that is filled, 0 to 1."""
        return (self.column + (self.y - self.top) / (self.bottom - self.top)) / self.columns

    def page(self, title: str, *, label: str = "") -> None:
        """Start a page with a title across all columns."""
        self._begin(label or title)
        size = 1.9 * self.body_mm
        with self.canvas.tag("H2"):
            shown = shorten(title, self.page_width - 2 * MARGIN_MM, size_mm=size, weight="title")
            self.canvas.text(MARGIN_MM, MARGIN_MM + 0.8 * size, shown, size_mm=size, weight="title")
        self.top = MARGIN_MM + 2.0 * size
        self.y = self.top

    def _begin(self, label: str = "") -> None:
        self.canvas.begin_page(self.page_width, self.page_height, label=label)
        self.page_number += 1
        self.column = 0
        self.top = self.y = MARGIN_MM
        foot = self.page_height - MARGIN_MM + 2.0
        right = self.page_width - MARGIN_MM
        title = shorten(self.running_title, right - MARGIN_MM - 20.0, size_mm=SMALL_MM)
        self.canvas.text(MARGIN_MM, foot, title, size_mm=SMALL_MM, colour=QUIET)
        self.canvas.text(right, foot, str(self.page_number), size_mm=SMALL_MM, colour=QUIET, anchor="end")

    def need(self, height_mm: float) -> None:
        """Go to the next column or page unless a height fits here."""
        if self.y + height_mm <= self.bottom + 0.01 or (self.y <= self.top + 0.01 and self.page_number > 0):
            return
        self.column += 1
        if self.column >= self.columns:
            self._begin()
        self.y = self.top

    def gap(self, share: float = 0.6) -> None:
        """Leave a share of a line, except at the top of a column."""
        if self.y > self.top + 0.01:
            self.y += share * self.spacing * self.body_mm * LEADING

    def heading(self, text: str, *, keep_mm: float = 0.0) -> None:
        """Set a heading that stays with what follows."""
        size = 1.2 * self.body_mm
        high = paragraph_height(text, self.column_mm, size_mm=size, weight="bold")
        self.gap(0.9)
        self.need(high + max(keep_mm, 3 * self.body_mm * LEADING))
        with self.canvas.tag("H3"):
            self.y = set_paragraph(
                self.canvas, self.x, self.y, self.column_mm, text, size_mm=size, weight="bold", leading=1.2
            )
        self.y += 0.25 * self.body_mm

    def paragraph(self, text: str, *, quiet: bool = False) -> None:
        """Set a paragraph."""
        high = paragraph_height(text, self.column_mm, size_mm=self.body_mm)
        self.need(high)
        with self.canvas.tag("P"):
            colour = QUIET if quiet else INK
            self.y = set_paragraph(
                self.canvas, self.x, self.y, self.column_mm, text, size_mm=self.body_mm, colour=colour
            )
        self.gap(0.4)

    def items(self, texts: Sequence[str], *, numbered: bool = False, bullet: str = "•") -> None:
        """Set steps with hanging numbers, or points with hanging bullets; each stays whole."""
        indent = (1.75 if numbered else 1.1) * self.body_mm
        if numbered and len(texts) > 9:
            indent = 2.1 * self.body_mm
        with self.canvas.tag("L"):
            for number, text in enumerate(texts, start=1):
                lines = wrap_text(text, self.column_mm - indent, size_mm=self.body_mm)
                self.need(len(lines) * self.body_mm * LEADING)
                with self.canvas.tag("LI"):
                    sign = f"{number}" if numbered else bullet
                    weight = "bold" if numbered else "regular"
                    base = self.y + 0.5 * self.body_mm * LEADING + 0.3 * self.body_mm
                    self.canvas.text(self.x, base, sign, size_mm=self.body_mm, weight=weight)  # type: ignore[arg-type]
                    self.y = set_paragraph(
                        self.canvas, self.x + indent, self.y, self.column_mm - indent, text, size_mm=self.body_mm
                    )
                self.gap(0.28)
        self.gap(0.3)

    def figure(self, height_mm: float, draw: Figure, alt: str, caption: str = "") -> None:
        """Place a drawing with a caption below; both stay together."""
        size = max(SMALL_MM, 0.82 * self.body_mm)
        low = paragraph_height(caption, self.column_mm, size_mm=size) if caption else 0.0
        width = min(self.column_mm, FIGURE_MM * self.body_mm / BODY_MM)
        scale = width / FIGURE_MM if width > FIGURE_MM else 1.0
        width, height_mm = width / scale, height_mm * scale
        self.gap(0.2)
        self.need(height_mm + low + 2.0)
        role: Role = "Figure"
        with self.canvas.tag(role, alt):
            if scale == 1:
                draw(self.canvas, self.x, self.y, width)
            else:
                draw(ScaledCanvas(self.canvas, self.x, self.y, scale), 0.0, 0.0, width)
        self.y += height_mm + 1.0
        if caption:
            with self.canvas.tag("Caption"):
                self.y = set_paragraph(
                    self.canvas, self.x, self.y, self.column_mm, caption, size_mm=size, colour=QUIET, leading=1.25
                )
        self.gap(0.5)
