"""The PDF's objects, tables and fonts, against other programs' reading of them."""

from __future__ import annotations

import io
import struct

import numpy as np
import pypdf
import pypdfium2
import pytest
from PIL import Image, ImageDraw, ImageFont

from converter.draw.canvas import Drawing
from converter.draw.fonts import FONT_DIR, FONT_FILES, font_file
from converter.draw.palette import IndexedPicture
from converter.draw.pdf_file import PdfFile, pdf_string
from converter.draw.truetype import FontFile

TEXT = "Åéñ Wij 10½ žł"


def _sheet(text: str = TEXT, weight: str = "regular") -> Drawing:
    sheet = Drawing(title="Größe (1)")
    sheet.begin_page(100.0, 40.0, label="First")
    with sheet.tag("P"):
        sheet.text(5.0, 25.0, text, size_mm=12.0, weight=weight)  # type: ignore[arg-type]
    return sheet


def _rendered(pdf: bytes, scale: float) -> np.ndarray:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return np.array(document[0].render(scale=scale, grayscale=True).to_numpy()).reshape(
            -1, int(scale * 100 * 72 / 25.4) + 1
        )
    finally:
        document.close()


def test_a_strict_reader_finds_every_object() -> None:
    reader = pypdf.PdfReader(io.BytesIO(_sheet().pdf_bytes()), strict=True)
    for number in range(1, reader.trailer["/Size"]):
        assert reader.get_object(number) is not None
    assert reader.metadata is not None and reader.metadata.title == "Größe (1)"
    assert [entry["/Title"] for entry in reader.outline] == ["First"]  # type: ignore[index,call-overload]
    assert TEXT in reader.pages[0].extract_text()
    assert len(reader.trailer["/ID"][0]) == 16


def test_many_objects_go_into_several_streams() -> None:
    pdf = PdfFile()
    kids = [pdf.add(f"({i})") for i in range(1000)]
    root = pdf.add("<</Type/Catalog>>")
    info = pdf.add("<<>>")
    reader = pypdf.PdfReader(io.BytesIO(pdf.write(root, info)), strict=True)
    assert [reader.get_object(kid) for kid in kids] == [str(i) for i in range(1000)]


@pytest.mark.parametrize("text", ["plain", r"a (b) \ c", "Журавль", "漢字 🙂", "", "two\nlines", "\ud800"])
def test_strings_come_back(text: str) -> None:
    pdf = PdfFile()
    root = pdf.add("<</Type/Catalog>>")
    data = pdf.write(root, pdf.add(f"<</Title{pdf_string(text)}>>"))
    metadata = pypdf.PdfReader(io.BytesIO(data)).metadata
    assert metadata is not None and (metadata.title or "") == text.encode("utf-16", "replace").decode("utf-16")


@pytest.mark.parametrize("weight", ["regular", "bold", "italic", "title"])
def test_glyphs_of_the_subset_are_drawn_as_in_the_whole_font(weight: str) -> None:
    """Rendered by PDFium from the subset and by FreeType (Pillow) from the file, the text covers the same pixels."""
    scale = 8.0
    size_px = scale * 12.0 * 72 / 25.4
    gray = _rendered(_sheet(weight=weight).pdf_bytes(), scale)
    image = Image.new("L", gray.shape[::-1], 255)
    font = ImageFont.truetype(str(FONT_DIR / FONT_FILES[weight]), size_px, layout_engine=ImageFont.Layout.BASIC)
    pen = ImageDraw.Draw(image)
    x = 5.0 / 25.4 * 72 * scale
    for char in TEXT:
        pen.text((x, 25.0 / 25.4 * 72 * scale), char, fill=28, font=font, anchor="ls", features=None)
        x += font_file(weight).advance(font_file(weight).glyph(ord(char))) / font_file(weight).em * size_px
    there, expected = gray < 128, np.array(image) < 128
    assert expected.sum() > 5000
    assert (there ^ expected).sum() < 0.06 * expected.sum()


@pytest.mark.parametrize("face", FONT_FILES)
def test_a_subset_is_a_sound_font(face: str) -> None:
    """Checksums (ISO/IEC 14496-22, head.checkSumAdjustment), tables, and widths of the glyphs asked for."""
    whole = font_file(face)
    glyphs = [0, *(whole.glyph(ord(char)) for char in "Aé½ž")]
    data = whole.subset(glyphs)
    assert sum(struct.unpack(f">{len(data) // 4}L", data)) & 0xFFFFFFFF == 0xB1B0AFBA
    assert len(data) < 12_000
    count = struct.unpack_from(">H", data, 4)[0]
    tables = {
        struct.unpack_from(">4sLLL", data, 12 + 16 * i)[0]: struct.unpack_from(">4sLLL", data, 12 + 16 * i)
        for i in range(count)
    }
    assert set(tables) == {b"glyf", b"head", b"hhea", b"hmtx", b"loca", b"maxp"}
    assert list(tables) == sorted(tables)
    widths = [struct.unpack_from(">H", data, tables[b"hmtx"][2] + 4 * i)[0] for i in range(len(glyphs))]
    assert widths == [whole.advance(glyph) for glyph in glyphs]


def test_characters_no_font_has_get_the_missing_glyph() -> None:
    font = FontFile((FONT_DIR / FONT_FILES["regular"]).read_bytes())
    assert font.glyph(0x1F642) == 0
    assert font.glyph(0xFFFF) == 0
    assert font.glyph(ord("A")) > 0


@pytest.mark.parametrize("colours", [1, 2, 3, 4, 5, 16, 17, 256])
def test_pictures_of_few_colours_come_back_from_png_and_pdf(colours: int) -> None:
    rng = np.random.default_rng(colours)
    table = rng.integers(0, 256, (colours, 3)).astype(np.uint8)
    picture = IndexedPicture(rng.integers(0, colours, (13, 29)).astype(np.uint8), table)
    read = Image.open(io.BytesIO(picture.png_bytes(300.0)))
    assert np.array_equal(np.array(read.convert("RGB")), picture.pixels)
    assert read.info["dpi"][0] == pytest.approx(300.0, abs=0.02)
    sheet = Drawing()
    sheet.begin_page(29.0, 13.0)
    sheet.image(0.0, 0.0, 29.0, 13.0, picture)
    (found,) = pypdf.PdfReader(io.BytesIO(sheet.pdf_bytes())).pages[0].images
    assert np.array_equal(np.array(found.image.convert("RGB")), picture.pixels)


def test_lines_alike_on_many_sheets_stand_in_the_file_once() -> None:
    def sheets(number: int) -> int:
        drawing = Drawing()
        for _ in range(number):
            drawing.begin_page(200.0, 200.0)
            rng = np.random.default_rng(1)
            drawing.lines(rng.random((300, 4)) * 200.0)
        return len(drawing.pdf_bytes())

    assert sheets(20) < 2 * sheets(1)
