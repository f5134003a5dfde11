"""Drawing -> SVG 1.1: one page, one user unit a millimetre, text as text."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from converter.draw.canvas import (
    CirclesOp,
    ClipOp,
    EndOp,
    ImageOp,
    LinesOp,
    MarksOp,
    Op,
    Page,
    PathOp,
    RectanglesOp,
    TagOp,
    TextOp,
)
from converter.draw.fonts import text_width

FAMILIES: Final = {
    "regular": "Carlito, 'Open Sans', sans-serif",
    "bold": "Carlito, 'Open Sans', sans-serif",
    "italic": "Carlito, 'Open Sans', sans-serif",
    "title": "'Gentium Book Plus', Gentium, serif",
}
"""The shipped faces first; ``textLength`` keeps the width where a viewer takes another one."""
_UNITS: Final = 50
"""Parts of a square's side in which its mark is written."""


def _number(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _numbers(values: Iterable[float]) -> str:
    return " ".join(_number(v) for v in values)


def _paint(fill: str | None, stroke: str | None, width_mm: float) -> str:
    text = f'fill="{fill or "none"}"'
    if stroke:
        text += f' stroke="{stroke}" stroke-width="{_number(width_mm)}"'
    return text


def _stroke_style(dash_mm: tuple[float, ...], round_ends: bool) -> str:
    text = f' stroke-dasharray="{_numbers(dash_mm)}"' if dash_mm else ""
    return text + (' stroke-linecap="round" stroke-linejoin="round"' if round_ends else "")


class _SvgPage:
    """Collects the elements of one page."""

    def __init__(self) -> None:
        self.parts: list[str] = []
        self.clips = 0

    def draw(self, op: Op) -> None:
        if isinstance(op, MarksOp):
            self._marks(op)
        elif isinstance(op, LinesOp):
            data = "".join(f"M{_numbers(s[:2])}L{_numbers(s[2:])}" for s in op.segments.tolist())
            style = _stroke_style(op.dash_mm, op.round_ends)
            self.parts.append(f'<path d="{data}" {_paint(None, op.colour, op.width_mm)}{style}/>')
        elif isinstance(op, RectanglesOp):
            paint = _paint(op.fill, op.stroke, op.width_mm)
            for x, y, w, h in op.boxes.tolist():
                self.parts.append(
                    f'<rect x="{_number(x)}" y="{_number(y)}" width="{_number(w)}" height="{_number(h)}" {paint}/>'
                )
        elif isinstance(op, PathOp):
            data = "".join(
                "M" + "L".join(_numbers(p) for p in ring.tolist()) + ("Z" if op.closed else "") for ring in op.rings
            )
            style = _stroke_style(op.dash_mm, op.round_ends)
            rule = ' fill-rule="evenodd"' if len(op.rings) > 1 else ""
            self.parts.append(f'<path d="{data}" {_paint(op.fill, op.stroke, op.width_mm)}{rule}{style}/>')
        elif isinstance(op, CirclesOp):
            paint = _paint(op.fill, op.stroke, op.width_mm)
            for x, y in op.centres.tolist():
                self.parts.append(f'<circle cx="{_number(x)}" cy="{_number(y)}" r="{_number(op.radius_mm)}" {paint}/>')
        elif isinstance(op, TextOp):
            self._text(op)
        elif isinstance(op, ImageOp):
            self._image(op)
        elif isinstance(op, ClipOp):
            self.clips += 1
            x, y, w, h = (_number(v) for v in (op.x_mm, op.y_mm, op.width_mm, op.height_mm))
            box = f'<rect x="{x}" y="{y}" width="{w}" height="{h}"/>'
            self.parts.append(f'<clipPath id="clip{self.clips}">{box}</clipPath><g clip-path="url(#clip{self.clips})">')
        elif isinstance(op, TagOp):
            role = ' role="img"' if op.role == "Figure" else ""
            label = f" aria-label={quoteattr(op.alt)}" if op.alt else ""
            self.parts.append(f"<g{role}{label}>")
        elif isinstance(op, EndOp):
            self.parts.append("</g>")

    def _marks(self, op: MarksOp) -> None:
        """Write a field of marks as one path in fiftieths of the cell, each mark from where the last one ended.

        A block is a stroke as wide as it is long.
        """
        scale = op.cell_mm / _UNITS
        place = f'transform="translate({_number(op.x_mm)} {_number(op.y_mm)}) scale({scale:.8g})"'
        width = round(_UNITS * op.size)
        low = width // 2 + 2
        arm = _UNITS - 2 * low
        if op.shape == "block":
            mark, start, back, ends = f"h{width}", ((_UNITS - width) / 2, _UNITS / 2), (width, 0), ""
        else:
            mark = f"l{arm} {arm}m0-{arm}l-{arm} {arm}"
            start, back, ends = (low, low), (0, arm), ' stroke-linecap="round"'
        parts = []
        last_row = last_column = -1
        for r, c in np.argwhere(op.cells).tolist():
            if r != last_row:
                parts.append(f"M{_number(_UNITS * c + start[0])} {_number(_UNITS * r + start[1])}{mark}")
            else:
                parts.append(f"m{_UNITS * (c - last_column) - back[0]}{-back[1] or ' 0'}{mark}")
            last_row, last_column = r, c
        self.parts.append(
            f'<path {place} d="{"".join(parts)}" fill="none" stroke="{op.colour}" stroke-width="{width}"{ends}/>'
        )

    def _text(self, op: TextOp) -> None:
        width = text_width(op.text, op.size_mm, op.weight)
        extra = {"bold": ' font-weight="bold"', "italic": ' font-style="italic"'}.get(op.weight, "")
        if op.anchor != "start":
            extra += f' text-anchor="{op.anchor}"'
        if op.angle_deg:
            extra += f' transform="rotate({_numbers((op.angle_deg, op.x_mm, op.y_mm))})"'
        self.parts.append(
            f'<text x="{_number(op.x_mm)}" y="{_number(op.y_mm)}" font-family="{FAMILIES[op.weight]}"'
            f' font-size="{_number(op.size_mm)}" fill="{op.colour}" textLength="{_number(width)}"'
            f' lengthAdjust="spacingAndGlyphs" xml:space="preserve"{extra}>{escape(_printable(op.text))}</text>'
        )

    def _image(self, op: ImageOp) -> None:
        import base64

        from converter.draw.png import encode_png

        data = base64.b64encode(encode_png(op.pixels, None)).decode("ascii")
        self.parts.append(
            f'<image x="{_number(op.x_mm)}" y="{_number(op.y_mm)}" width="{_number(op.width_mm)}"'
            f' height="{_number(op.height_mm)}" preserveAspectRatio="none"'
            f' xlink:href="data:image/png;base64,{data}"/>'
        )


def _printable(text: str) -> str:
    """Return the text without the control characters that XML forbids."""
    return "".join(char for char in text if char >= " " and char not in "\ufffe\uffff")


def render_svg(page: Page, *, title: str = "", language: str = "en") -> bytes:
    """Return one page as SVG; its size is stated in mm, its title is the document's."""
    end = _SvgPage()
    for op in page.ops:
        end.draw(op)
    width, height = _number(page.width_mm), _number(page.height_mm)
    head = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" version="1.1"'
        f' width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}" xml:lang={quoteattr(language)}>\n'
    )
    name = f"<title>{escape(_printable(title))}</title>\n" if title else ""
    ground = f'<rect width="{width}" height="{height}" fill="#ffffff"/>\n'
    return (head + name + ground + "\n".join(end.parts) + "\n</svg>\n").encode()
