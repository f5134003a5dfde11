"""Small files, drawn fast: what is shared, numbered or read in bulk is the same as without."""

from __future__ import annotations

import io

import numpy as np
import pypdfium2
import pytest
from PIL import Image
from reportlab.pdfbase.ttfonts import TTFontFace

from converter.draw import pdf_bytes, png_bytes, stitched_bytes, svg_bytes
from converter.draw.canvas import Drawing
from converter.draw.fonts import FONT_DIR, FONT_FILES
from converter.draw.palette import IndexedPicture
from converter.draw.pdf import _Face
from converter.draw.png import render_pixels
from converter.draw.stitched import stitched_picture, stitched_pixels
from converter.model.chart import Chart


def _speckle(rows: int, columns: int, lines: int = 0) -> Chart:
    rng = np.random.default_rng(rows + columns)
    ends = []
    for _ in range(lines):
        row, column = int(rng.integers(rows)), int(rng.integers(columns))
        ends.append([[row, column], [row + 1, column + int(rng.integers(2))]])
    return Chart(rng.random((rows, columns)) < 0.4, ends, title="Speckle")


@pytest.mark.parametrize("face", FONT_FILES)
def test_tables_read_at_once_are_those_the_library_reads(face: str) -> None:
    theirs, ours = TTFontFace(str(FONT_DIR / FONT_FILES[face])), _Face(face)
    found = {code: glyph for code, glyph in theirs.charToGlyph.items() if glyph}
    found.pop(0xA0, None)  # the library takes the space for it
    assert {code: glyph for code, glyph in ours.charToGlyph.items() if code != 0xA0} == found
    assert [bearing for _, bearing in ours.hmetrics] == [bearing for _, bearing in theirs.hmetrics]
    wide = {glyph: ours.hmetrics[glyph][0] for glyph in found.values()}
    assert wide == {glyph: round(ours.charWidths[code] * ours.unitsPerEm / 1000) for code, glyph in found.items()}
    assert list(ours.glyphPos) == list(theirs.glyphPos)
    assert ours.defaultWidth == pytest.approx(theirs.defaultWidth)
    assert ours.name == theirs.name
    for code in found:
        assert ours.charWidths[code] == pytest.approx(theirs.charWidths[code])
    codes = [0, *map(ord, "Heron é½")]
    less = len(theirs.makeSubset(codes)) - len(ours.makeSubset(codes))
    assert abs(less - len(theirs.get_table("name")) - 16) < 4


@pytest.mark.parametrize("colours", [2, 3, 5, 17, 256])
def test_pictures_of_few_colours_come_back_from_png_and_pdf(colours: int) -> None:
    rng = np.random.default_rng(colours)
    table = rng.integers(0, 256, (colours, 3)).astype(np.uint8)
    picture = IndexedPicture(rng.integers(0, colours, (13, 29)).astype(np.uint8), table, dpi=300.0)
    read = Image.open(io.BytesIO(picture.png))
    assert np.array_equal(np.array(read.convert("RGB")), picture.pixels)
    assert read.info["dpi"][0] == pytest.approx(300.0, abs=0.02)
    sheet = Drawing()
    sheet.begin_page(29.0, 13.0)
    sheet.image(0.0, 0.0, 29.0, 13.0, picture)
    document = pypdfium2.PdfDocument(sheet.pdf_bytes())
    try:
        shown = np.array(document[0].render(scale=10 * 25.4 / 72).to_pil().convert("RGB"))
    finally:
        document.close()
    assert np.array_equal(shown[5::10, 5::10][:13, :29], picture.pixels)


def test_rules_alike_on_many_sheets_stand_in_the_pdf_once() -> None:
    def size(sheets: int) -> int:
        drawing = Drawing()
        for _ in range(sheets):
            drawing.begin_page(200.0, 200.0)
            drawing.lines(np.random.default_rng(1).random((300, 4)) * 200.0)
        return len(drawing.pdf_bytes())

    assert size(20) - size(1) < 0.15 * 19 * size(1)


def test_a_page_of_more_than_256_colours_is_drawn_in_full() -> None:
    sheet = Drawing()
    sheet.begin_page(40.0, 40.0)
    squares = [
        (10 * (i % 20), 10 * (i // 20), f"#{i % 7 * 36:02x}{i // 20 * 12:02x}{i % 20 * 13:02x}") for i in range(400)
    ]
    for x, y, colour in squares:
        sheet.rectangles([[x / 5, y / 5, 2.0, 2.0]], fill=colour)
    sheet.circles([[20.0, 20.0]], 5.0, fill="#123456")
    pixels = render_pixels(sheet.pages[0], 127.0)
    for x, y, colour in squares:
        if (x - 95) ** 2 + (y - 95) ** 2 > 50**2:
            assert "#" + bytes(pixels[y + 5, x + 5]).hex() == colour
    assert "#" + bytes(pixels[100, 100]).hex() == "#123456"
    assert np.array_equal(
        np.array(Image.open(io.BytesIO(sheet.png_bytes(dpi=127.0))).convert("RGB")).shape, pixels.shape
    )


def test_stitches_laid_together_look_as_if_laid_one_by_one() -> None:
    """One long call and many short ones differ only where two edges share a pixel."""
    segments = [[5 + 3 * i, 5, 7 + 3 * i, 9 + i % 3] for i in range(40)]
    together, apart = Drawing(), Drawing()
    for sheet in (together, apart):
        sheet.begin_page(130.0, 20.0)
    together.lines(segments, width_mm=0.8, round_ends=True)
    for segment in segments:
        apart.lines([segment], width_mm=0.8, round_ends=True)
    assert np.array_equal(render_pixels(together.pages[0], 150.0), render_pixels(apart.pages[0], 150.0))


def test_the_look_in_256_colours_is_near_the_look_in_all() -> None:
    chart = _speckle(30, 24, lines=40)
    full = stitched_pixels(chart, stitch_px=12, rim=3).astype(int)
    few = stitched_picture(chart, stitch_px=12, rim=3).pixels.astype(int)
    assert full.shape == few.shape
    assert np.abs(full - few).mean() < 3
    assert Image.open(io.BytesIO(stitched_bytes(chart))).mode == "P"


def test_drawings_of_large_charts_stay_small() -> None:
    """Bytes for a stitch: SVG 10, PNG 4, PDF 4, on the hardest chart to pack."""
    chart = _speckle(200, 200)
    stitches = int(chart.cells.sum())
    assert len(svg_bytes(chart)) < 14 * stitches
    assert len(png_bytes(chart)) < 10 * stitches
    assert len(pdf_bytes(chart)) < 6 * stitches
