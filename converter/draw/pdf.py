"""Drawing -> PDF: vector pages, embedded font subsets, tagged reading order.

The page's own coordinates are set to millimetres with y down by one matrix at its start, so the numbers in
the file are the numbers of the drawing. What is drawn alike on several sheets (the rules of the squares) stands
in the file once.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterable
from functools import cache
from typing import Any, Final
from weakref import WeakKeyDictionary

import numpy as np
from reportlab import rl_config
from reportlab.pdfbase import pdfdoc
from reportlab.pdfbase.ttfonts import TTEncoding, TTFont, TTFontFace
from reportlab.pdfgen.canvas import Canvas as ReportlabCanvas

from converter.draw.canvas import (
    CirclesOp,
    ClipOp,
    Drawing,
    EndOp,
    ImageOp,
    LinesOp,
    MarksOp,
    Op,
    PathOp,
    RectanglesOp,
    TagOp,
    TextOp,
)
from converter.draw.fonts import FONT_DIR, FONT_FILES, font_metrics, split_runs, text_width
from converter.draw.palette import IndexedPicture
from converter.draw.pdf_tags import TagTree
from converter.model.arrays import PictureArray
from converter.model.materials import rgb
from converter.units import mm_to_points

rl_config.useA85 = 0
"""Streams stay binary: a quarter smaller than as text."""


class _Packed(pdfdoc.PDFStreamFilterZCompress):
    """Packs streams as small as they get: a twentieth less for a chart of specks."""

    def encode(self, text: str | bytes) -> bytes:
        return zlib.compress(text.encode() if isinstance(text, str) else text, 9)


pdfdoc.PDFZCompress = _Packed()
CIRCLE_KAPPA: Final = 0.5522847498
"""Length of the handles of the four Bezier curves that stand for a circle of radius 1."""
SHARED_FROM: Final = 8
"""Lines drawn by one call that are kept once for all sheets that have the same."""
REPEATED_FROM: Final = 400
"""Characters of a repeated part of the furniture, key and rulers, from which it is kept once for all sheets."""
LARGEST_MM: Final = 5080
"""Side of the largest page."""


class _Face(TTFontFace):
    """A face whose long tables are read at once: the library goes through them number by number, in 20 ms a font."""

    def __init__(self, face: str) -> None:
        self.metrics = font_metrics(face)
        super().__init__(str(FONT_DIR / FONT_FILES[face]))

    def extractInfo(self, charInfo: int = 1) -> None:
        """Read the face's own figures by the library, and the tables of its thousands of glyphs in bulk."""
        super().extractInfo(charInfo=0)
        self.charToGlyph = self.metrics.glyphs
        self.glyphToChar: dict[int, list[int]] = {}
        self.charWidths = {code: 1000 * width for code, width in self.metrics.advances.items()}
        data: bytes = self._ttf_data  # type: ignore[attr-defined]
        glyphs: int = self.numGlyphs
        (pairs,) = struct.unpack_from(">H", data, self.get_table_pos("hhea")[0] + 34)
        numbers = struct.unpack_from(f">{pairs + glyphs}H", data, self.get_table_pos("hmtx")[0])
        widths, bearings = numbers[: 2 * pairs : 2], numbers[1 : 2 * pairs : 2] + numbers[2 * pairs :]
        self.hmetrics = list(zip(widths + widths[-1:] * (glyphs - pairs), bearings, strict=True))
        self.defaultWidth = 1000 * widths[0] / self.unitsPerEm
        (long,) = struct.unpack_from(">h", data, self.get_table_pos("head")[0] + 50)
        places = struct.unpack_from(f">{glyphs + 1}{'L' if long else 'H'}", data, self.get_table_pos("loca")[0])
        self.glyphPos = places if long else [2 * place for place in places]

    def get_table(self, tag: str) -> bytes:
        """Return a table of the file for a subset; names and licence texts are of no use inside a PDF.

        References
        ----------
        ISO 32000-1:2008, 9.9: the tables of an embedded TrueType font (clause from memory).
        """
        if tag == "name":
            raise KeyError(tag)
        table: bytes = super().get_table(tag)  # type: ignore[no-untyped-call]
        return table


class _Font(TTFont):
    """One of the shipped fonts; a document takes the glyphs it uses and no others."""

    def __init__(self, face: str) -> None:
        self.fontName = f"converter-{face}"
        self.face = _Face(face)
        self.encoding = TTEncoding()
        self.state: WeakKeyDictionary[Any, Any] = WeakKeyDictionary()
        self._asciiReadable = False
        self.shapable = False


@cache
def _font(face: str) -> TTFont:
    return _Font(face)


def _number(value: float) -> str:
    """Return a length in mm to the micrometre, without needless digits."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _numbers(values: Iterable[float]) -> str:
    return " ".join(_number(v) for v in values)


def _colour(colour: str, operator: str) -> str:
    return " ".join(f"{c / 255:.3f}".rstrip("0").rstrip(".") for c in rgb(colour)) + f" {operator}"


class _Image(pdfdoc.PDFObject):
    """A picture of the page: of few colours, gray or small without loss, else as JPEG without colour subsampling."""

    def __init__(self, name: str, picture: PictureArray | IndexedPicture) -> None:
        self.name = name
        self.entries: dict[str, Any] = {"BitsPerComponent": 8, "Filter": pdfdoc.PDFName("FlateDecode")}
        if isinstance(picture, IndexedPicture):
            height, width = picture.index.shape
            self.data = picture.packed
            table = pdfdoc.PDFString(picture.colours.tobytes(), enc="raw")
            last = len(picture.colours) - 1
            self.entries |= {
                "BitsPerComponent": picture.bits,
                "ColorSpace": pdfdoc.PDFArray([pdfdoc.PDFName("Indexed"), pdfdoc.PDFName("DeviceRGB"), last, table]),
                "DecodeParms": pdfdoc.PDFDictionary(
                    {"Predictor": 15, "Columns": width, "BitsPerComponent": picture.bits}
                ),
            }
        else:
            height, width = picture.shape[:2]
            gray = picture.ndim == 2
            self.entries["ColorSpace"] = pdfdoc.PDFName("DeviceGray" if gray else "DeviceRGB")
            if gray or width * height <= 40_000:
                self.data = zlib.compress(picture.tobytes(), 9)
            else:
                from PIL import Image

                buffer = io.BytesIO()
                Image.fromarray(picture).save(buffer, "JPEG", quality=90, subsampling=0)
                self.data = buffer.getvalue()
                self.entries["Filter"] = pdfdoc.PDFName("DCTDecode")
        self.entries |= {"Width": width, "Height": height}

    def format(self, document: Any) -> bytes:
        stream = pdfdoc.PDFStream(content=self.data)
        stream.dictionary["Type"] = pdfdoc.PDFName("XObject")
        stream.dictionary["Subtype"] = pdfdoc.PDFName("Image")
        for key, value in self.entries.items():
            stream.dictionary[key] = value
        formatted: bytes = stream.format(document)
        return formatted


class _PdfPage:
    """Turns the calls of one page into content operators."""

    def __init__(self, canvas: ReportlabCanvas, tags: TagTree, forms: dict[str, str]) -> None:
        self.canvas: Any = canvas
        self.forms = forms
        """Lines drawn already, to the name under which the document keeps them."""
        self.code: list[str] = canvas._code  # type: ignore[attr-defined]
        self.tags = tags
        self._furniture: int | None = None
        """Where the operators of a repeated part begin."""

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
            if self.tags.hidden and self._furniture is None:
                self.code.extend(self.tags.open_artifact())
                self._furniture = len(self.code)
        elif isinstance(op, EndOp):
            self.code.extend(["Q"] if op.of == "clip" else self.tags.close())
            if self._furniture is not None and not self.tags.hidden:
                self._keep_furniture(self._furniture)
                self._furniture = None

    def _keep_furniture(self, first: int) -> None:
        """Keep operators once that stand outside the reading order and come again on other sheets."""
        code = "\n".join(self.code[first:])
        if len(code) >= REPEATED_FROM:
            del self.code[first:]
            self._do_form(code)

    def _do_form(self, code: str) -> None:
        name = self.forms.get(code)
        if name is None:
            name = self.forms[code] = f"part{len(self.forms)}"
            inner = [form for form in self.canvas._formsinuse if f"/{self._form_name(form)} Do" in code]
            self.canvas.beginForm(name, 0, 0, LARGEST_MM, LARGEST_MM)
            self.canvas._code.append(code)
            self.canvas._formsinuse.extend(inner)
            self.canvas.endForm()
        self.canvas.doForm(name)

    def _form_name(self, form: str) -> str:
        return str(self.canvas._doc.getXObjectName(form))

    def _paint(self, fill: str | None, stroke: str | None, width_mm: float) -> str:
        """Set colours and return the painting operator for shapes that may overlap."""
        if fill is not None:
            self.code.append(_colour(fill, "rg"))
        if stroke is not None:
            self.code.append(f"{_colour(stroke, 'RG')} {_number(width_mm)} w")
        return "B" if fill and stroke else "f" if fill else "S"

    def _marks(self, op: MarksOp) -> None:
        """Write a field row by row, each row in its own coordinates: equal rows are equal text and pack well."""
        size = f"{op.size:g}".removeprefix("0")
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
        if len(rounded) < SHARED_FROM:
            self.code.append(code)
            return
        self._do_form(code)

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
        if op.fill and not op.stroke:
            # A line without length and with round ends is a disc (ISO 32000-1:2008, 8.5.3.2).
            dots = np.repeat(op.centres, 2, axis=0).reshape(-1, 4)
            self._lines(LinesOp(dots, 2 * op.radius_mm, op.fill, round_ends=True))
            return
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
        document = self.canvas._doc
        width = text_width(op.text, op.size_mm, op.weight) if op.anchor != "start" else 0.0
        back = width * (0.5 if op.anchor == "middle" else 1.0)
        angle = np.deg2rad(op.angle_deg)
        cos, sin = float(np.cos(angle)), float(np.sin(angle))
        x, y = op.x_mm - back * cos, op.y_mm - back * sin
        turn = _numbers((cos, sin, sin, -cos)) if op.angle_deg else "1 0 0 -1"
        self.code.append(f"BT {turn} {_numbers((x, y))} Tm {_colour(op.colour, 'rg')}")
        for face, run in split_runs(op.text, op.weight):
            font = _font(face)
            for subset, chunk in font.splitString(run, document):
                name = font.getSubsetInternalName(subset, document)
                self.code.append(f"{name} {_number(op.size_mm)} Tf ({self.canvas._escape(chunk)}) Tj")
        self.code.append("ET")

    def _image(self, op: ImageOp) -> None:
        canvas, document = self.canvas, self.canvas._doc
        name = f"picture{len(document.idToObject)}"
        image = _Image(name, op.picture)
        registered = document.getXObjectName(name)
        canvas._currentPageHasImages = 1
        canvas._formsinuse.append(name)
        document.Reference(image, registered)
        document.addForm(name, image)
        matrix = _numbers((op.width_mm, 0, 0, -op.height_mm, op.x_mm, op.y_mm + op.height_mm))
        self.code.append(f"q {matrix} cm /{registered} Do Q")


def render_pdf(drawing: Drawing) -> bytes:
    """Return all pages of a drawing as one PDF.

    Notes
    -----
    The PDF's user unit is 1/72 inch (ISO 32000-1:2008, 8.3.2.3; clause from memory). There is no date in
    the file, so equal drawings give equal bytes.
    """
    buffer = io.BytesIO()
    first = drawing.pages[0]
    canvas: Any = ReportlabCanvas(
        buffer,
        pagesize=(mm_to_points(first.width_mm), mm_to_points(first.height_mm)),
        pageCompression=1,
        invariant=1,
        lang=drawing.language,
    )
    canvas.setTitle(drawing.title)
    canvas.setCreator("onecolour")
    canvas.setProducer("onecolour")
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    canvas.setViewerPreference("PrintScaling", "None")
    tags = TagTree(canvas._doc)
    scale = mm_to_points(1.0)
    labels = False
    forms: dict[str, str] = {}
    for page in drawing.pages:
        width, height = mm_to_points(page.width_mm), mm_to_points(page.height_mm)
        canvas.setPageSize((width, height))
        canvas._code.append(f"q {scale:.9f} 0 0 {-scale:.9f} 0 {height:.6f} cm")
        if page.label:
            key = f"page{len(canvas._doc.Pages.pages)}"
            canvas.bookmarkPage(key)
            canvas.addOutlineEntry(page.label, key, level=0)
            labels = True
        tags.begin_page()
        end = _PdfPage(canvas, tags, forms)
        for op in page.ops:
            end.draw(op)
        canvas._code.extend(tags.end_page())
        canvas._code.append("Q")
        canvas.showPage()
        tags.attach(canvas._doc.Pages.pages[-1])
    if labels and len(drawing.pages) > 2:
        canvas.showOutline()
    tags.finish()
    canvas.save()
    return buffer.getvalue()
