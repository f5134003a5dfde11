"""Drawing -> PDF: vector pages, embedded font subsets, tagged reading order.

The page's own coordinates are set to millimetres with y down by one matrix at its start, so the numbers in
the file are the numbers of the drawing. What is drawn alike on several sheets (the rules of the squares) stands
in the file once.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterable
from math import cos, radians, sin
from typing import Final

import numpy as np

from converter.draw.canvas import (
    CirclesOp,
    ClipOp,
    Drawing,
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
from converter.draw.fonts import split_runs, text_width
from converter.draw.palette import IndexedPicture
from converter.draw.pdf_file import PdfFile, array, pdf_string, reference
from converter.draw.pdf_fonts import FontSubset
from converter.draw.pdf_tags import TagTree
from converter.model.materials import rgb
from converter.units import mm_to_points

CIRCLE_KAPPA: Final = 0.5522847498
"""Length of the handles of the four Bezier curves that stand for a circle of radius 1."""
_SHARED_FROM: Final = 12
"""Lines drawn by one call that are worth an object of their own."""


def _number(value: float) -> str:
    """Return a length in mm to the micrometre, without needless digits."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _numbers(values: Iterable[float]) -> str:
    return " ".join(_number(v) for v in values)


def _colour(colour: str, operator: str) -> str:
    return " ".join(f"{c / 255:.3f}".rstrip("0").rstrip(".") for c in rgb(colour)) + f" {operator}"


class _Document:
    """What the pages share: fonts, pictures, and lines that are the same on several sheets."""

    def __init__(self) -> None:
        self.pdf = PdfFile()
        self.tags = TagTree(self.pdf)
        self.fonts: dict[str, FontSubset] = {}
        self.objects: dict[str, int] = {}
        """Name in the resources to number."""
        self.resources = self.pdf.reserve()
        self._pictures: dict[int, str] = {}
        self._forms: dict[tuple[str, str], str] = {}

    def font(self, face: str) -> FontSubset:
        """Return the subset of a face."""
        if face not in self.fonts:
            self.fonts[face] = FontSubset(face, f"F{len(self.fonts)}", self.pdf)
        return self.fonts[face]

    def _named(self, number: int) -> str:
        name = f"X{len(self.objects)}"
        self.objects[name] = number
        return name

    def form(self, code: str, box: str) -> str:
        """Return the name of operators that can be drawn on any page."""
        key = (code, box)
        if key not in self._forms:
            entries = f"/Type/XObject/Subtype/Form/BBox[{box}]"
            self._forms[key] = self._named(self.pdf.add_stream(code.encode("ascii"), entries))
        return self._forms[key]

    def picture(self, op: ImageOp) -> str:
        """Return the name of a picture."""
        key = id(op.picture)
        if key not in self._pictures:
            self._pictures[key] = self._named(_add_picture(self.pdf, op))
        return self._pictures[key]

    def finish(self) -> None:
        """Write fonts and resources."""
        fonts = "".join(f"/{font.name} {reference(font.number)}" for font in self.fonts.values())
        objects = "".join(f"/{name} {reference(number)}" for name, number in self.objects.items())
        self.pdf.add(f"<</Font<<{fonts}>>/XObject<<{objects}>>>>", self.resources)
        for font in self.fonts.values():
            font.finish()


def _add_picture(pdf: PdfFile, op: ImageOp) -> int:
    """Take a picture: of few colours as it is packed already, in full colour as JPEG, small or gray without loss."""
    head = "/Type/XObject/Subtype/Image"
    if isinstance(op.picture, IndexedPicture):
        height, width = op.picture.index.shape
        table = op.picture.colours.tobytes().hex()
        entries = (
            f"{head}/Width {width}/Height {height}/BitsPerComponent {op.picture.bits}"
            f"/ColorSpace[/Indexed/DeviceRGB {len(op.picture.colours) - 1}<{table}>]/Filter/FlateDecode"
            f"/DecodeParms<</Predictor 15/Columns {width}/BitsPerComponent {op.picture.bits}>>"
        )
        return pdf.add_stream(op.picture.packed, entries, packed=True)
    height, width = op.picture.shape[:2]
    gray = op.picture.ndim == 2
    size = f"{head}/Width {width}/Height {height}/BitsPerComponent 8/ColorSpace/{'DeviceGray' if gray else 'DeviceRGB'}"
    if gray or width * height <= 40_000:
        return pdf.add_stream(zlib.compress(op.picture.tobytes(), 9), f"{size}/Filter/FlateDecode", packed=True)
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(op.picture).save(buffer, "JPEG", quality=90, subsampling=0)
    return pdf.add_stream(buffer.getvalue(), f"{size}/Filter/DCTDecode", packed=True)


class _PdfPage:
    """Turns the calls of one page into content operators."""

    def __init__(self, document: _Document, page: Page, number: int) -> None:
        self.document = document
        self.tags = document.tags
        self.box = _numbers((0, 0, page.width_mm, page.height_mm))
        height = mm_to_points(page.height_mm)
        scale = mm_to_points(1.0)
        self.code = [f"q {scale:.9f} 0 0 {-scale:.9f} 0 {height:.6f} cm"]
        self.tags.begin_page(number)
        for op in page.ops:
            self.draw(op)
        self.code.extend(self.tags.end_page())
        self.code.append("Q")

    def content(self) -> bytes:
        """Return the page's operators."""
        return "\n".join(self.code).encode("ascii")

    def draw(self, op: Op) -> None:
        if not isinstance(op, (TagOp, EndOp, ClipOp)):
            self.code.extend(self.tags.open_artifact())
        if isinstance(op, MarksOp):
            self._marks(op)
        elif isinstance(op, LinesOp):
            self._lines(op)
        elif isinstance(op, RectanglesOp):
            self._rectangles(op)
        elif isinstance(op, TextOp):
            self._text(op)
        elif isinstance(op, PathOp):
            self._path(op)
        elif isinstance(op, CirclesOp):
            self._circles(op)
        elif isinstance(op, ImageOp):
            self._image(op)
        elif isinstance(op, ClipOp):
            box = _numbers((op.x_mm, op.y_mm, op.width_mm, op.height_mm))
            self.code.append(f"q {box} re W n")
        elif isinstance(op, TagOp):
            self.code.extend(self.tags.open(op))
        elif isinstance(op, EndOp):
            self.code.extend(["Q"] if op.of == "clip" else self.tags.close())

    def _paint(self, fill: str | None, stroke: str | None, width_mm: float) -> str:
        """Set colours and return the painting operator for shapes that may overlap."""
        if fill is not None:
            self.code.append(_colour(fill, "rg"))
        if stroke is not None:
            self.code.append(f"{_colour(stroke, 'RG')} {_number(width_mm)} w")
        return "B" if fill and stroke else "f" if fill else "S"

    def _marks(self, op: MarksOp) -> None:
        """Write a field row by row, each row in its own coordinates: equal rows are equal text and pack well."""
        size = f"{op.size:g}"
        count = op.cells.shape[1]
        if op.shape == "block":
            shift = (1 - op.size) / 2
            head = _colour(op.colour, "rg")
            marks = [f"{c} 0 {size} {size} re" for c in range(count)]
            paint = "f"
        else:
            shift = 0.5 * op.size + 0.04
            arm = f"{1 - 2 * shift:g}"
            head = f"{_colour(op.colour, 'RG')} {size} w 1 J"
            marks = [
                f"{c} 0 m {c + 1 - 2 * shift:g} {arm} l {c} {arm} m {c + 1 - 2 * shift:g} 0 l" for c in range(count)
            ]
            paint = "S"
        scale = f"{op.cell_mm:.6f}".rstrip("0").rstrip(".")
        place = _numbers((op.x_mm + shift * op.cell_mm, op.y_mm + shift * op.cell_mm))
        code = [f"q {scale} 0 0 {scale} {place} cm {head}"]
        down = 0
        for row in op.cells:
            places = np.flatnonzero(row).tolist()
            if places:
                if down:
                    code.append(f"1 0 0 1 0 {down} cm")
                    down = 0
                code.extend([marks[c] for c in places])
                code.append(paint)
            down += 1
        code.append("Q")
        self.code.append("\n".join(code))

    def _lines(self, op: LinesOp) -> None:
        head = f"q {_colour(op.colour, 'RG')} {_number(op.width_mm)} w"
        if op.dash_mm:
            head += f" [{_numbers(op.dash_mm)}] 0 d"
        if op.round_ends:
            head += " 1 J"
        rounded = np.round(op.segments, 3).tolist()
        lines = "\n".join([f"{a:.7g} {b:.7g} m {c:.7g} {d:.7g} l" for a, b, c, d in rounded])
        code = f"{head}\n{lines}\nS Q"
        if len(rounded) >= _SHARED_FROM:
            code = f"/{self.document.form(code, self.box)} Do"
        self.code.append(code)

    def _rectangles(self, op: RectanglesOp) -> None:
        self.code.append("q")
        paint = self._paint(op.fill, op.stroke, op.width_mm)
        self.code.append("\n".join(f"{_numbers(box)} re" for box in op.boxes.tolist()))
        self.code.append(f"{paint} Q")

    def _path(self, op: PathOp) -> None:
        self.code.append("q")
        if op.dash_mm:
            self.code.append(f"[{_numbers(op.dash_mm)}] 0 d")
        if op.round_ends:
            self.code.append("1 J 1 j")
        paint = self._paint(op.fill, op.stroke, op.width_mm)
        for ring in op.rings:
            points = [_numbers(point) for point in ring.tolist()]
            drawn = [f"{points[0]} m", *(f"{point} l" for point in points[1:])]
            if op.closed:
                drawn.append("h")
            self.code.append("\n".join(drawn))
        self.code.append(f"{paint}* Q" if op.fill else f"{paint} Q")

    def _circles(self, op: CirclesOp) -> None:
        self.code.append("q")
        paint = self._paint(op.fill, op.stroke, op.width_mm)
        r, k = op.radius_mm, op.radius_mm * CIRCLE_KAPPA
        for x, y in op.centres.tolist():
            curves = (
                (x + r, y + k, x + k, y + r, x, y + r),
                (x - k, y + r, x - r, y + k, x - r, y),
                (x - r, y - k, x - k, y - r, x, y - r),
                (x + k, y - r, x + r, y - k, x + r, y),
            )
            drawn = " ".join(f"{_numbers(curve)} c" for curve in curves)
            self.code.append(f"{_numbers((x + r, y))} m {drawn} h")
        self.code.append(f"{paint} Q")

    def _text(self, op: TextOp) -> None:
        width = text_width(op.text, op.size_mm, op.weight) if op.anchor != "start" else 0.0
        back = width * (0.5 if op.anchor == "middle" else 1.0)
        if op.angle_deg:
            level, steep = cos(radians(op.angle_deg)), sin(radians(op.angle_deg))
            turn = _numbers((level, steep, steep, -level))
        else:
            level, steep, turn = 1.0, 0.0, "1 0 0 -1"
        place = _numbers((op.x_mm - back * level, op.y_mm - back * steep))
        parts = [f"BT {turn} {place} Tm {_colour(op.colour, 'rg')}"]
        for face, run in split_runs(op.text, op.weight):
            font = self.document.font(face)
            parts.append(f"/{font.name} {_number(op.size_mm)} Tf <{font.encode(run)}> Tj")
        parts.append("ET")
        self.code.append(" ".join(parts))

    def _image(self, op: ImageOp) -> None:
        matrix = _numbers((op.width_mm, 0, 0, -op.height_mm, op.x_mm, op.y_mm + op.height_mm))
        self.code.append(f"q {matrix} cm /{self.document.picture(op)} Do Q")


def render_pdf(drawing: Drawing) -> bytes:
    """Return all pages of a drawing as one PDF.

    Notes
    -----
    The PDF's user unit is 1/72 inch (ISO 32000-1:2008, 8.3.2.3; clause from memory). There is no date in
    the file, so equal drawings give equal bytes.
    """
    document = _Document()
    pdf = document.pdf
    tree = pdf.reserve()
    numbers = [pdf.reserve() for _ in drawing.pages]
    for page, number in zip(drawing.pages, numbers, strict=True):
        end = _PdfPage(document, page, number)
        content = pdf.add_stream(end.content())
        box = f"{mm_to_points(page.width_mm):.6f} {mm_to_points(page.height_mm):.6f}"
        pdf.add(
            f"<</Type/Page/Parent {reference(tree)}/MediaBox[0 0 {box}]/Resources {reference(document.resources)}"
            f"/Contents {reference(content)}{document.tags.page_entries()}>>",
            number,
        )
    pdf.add(f"<</Type/Pages/Count {len(numbers)}/Kids{array([reference(n) for n in numbers])}>>", tree)
    document.finish()
    catalog = f"<</Type/Catalog/Pages {reference(tree)}/Lang{pdf_string(drawing.language)}"
    catalog += "/ViewerPreferences<</DisplayDocTitle true/PrintScaling/None>>"
    catalog += document.tags.finish()
    labelled = [(page.label, number) for page, number in zip(drawing.pages, numbers, strict=True) if page.label]
    if labelled:
        catalog += f"/Outlines {reference(_add_outline(pdf, labelled))}"
        if len(drawing.pages) > 2:
            catalog += "/PageMode/UseOutlines"
    root = pdf.add(catalog + ">>")
    info = pdf.add(f"<</Title{pdf_string(drawing.title)}/Creator(onecolour)/Producer(onecolour)>>")
    return pdf.write(root, info)


def _add_outline(pdf: PdfFile, labelled: list[tuple[str, int]]) -> int:
    """Take the list of named pages that viewers show at the side (ISO 32000-1:2008, 12.3.3)."""
    root = pdf.reserve()
    items = [pdf.reserve() for _ in labelled]
    for i, (label, page) in enumerate(labelled):
        before = f"/Prev {reference(items[i - 1])}" if i else ""
        after = f"/Next {reference(items[i + 1])}" if i + 1 < len(items) else ""
        pdf.add(
            f"<</Title{pdf_string(label)}/Parent {reference(root)}{before}{after}/Dest[{reference(page)}/Fit]>>",
            items[i],
        )
    return pdf.add(
        f"<</Type/Outlines/First {reference(items[0])}/Last {reference(items[-1])}/Count {len(items)}>>", root
    )
