"""One list of drawing calls gives the same sheet as PDF, SVG and PNG, true to size and equal byte for byte."""

from __future__ import annotations

import io
import re
import struct
import xml.etree.ElementTree as ET
from itertools import pairwise

import numpy as np
import pypdf
import pytest
import resvg_py
from helpers.chart_reader import render_pages
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from converter.draw import pdf_bytes, png_bytes, svg_bytes
from converter.draw.canvas import Drawing, LinesOp, MarksOp, RectanglesOp, TextOp
from converter.draw.drawings import pdf_drawing
from converter.draw.fonts import FONT_DIR, FONT_FILES, font_metrics, split_runs, text_width
from converter.draw.furniture import draw_rulers
from converter.draw.pages import SheetLayout, plan_pages
from converter.draw.png import encode_png, render_pixels
from converter.draw.scene import ChartStyle, tens
from converter.draw.typeset import wrap_text
from converter.draw.words import english
from converter.errors import OutputError, RequestError, UsageError
from converter.model.chart import Chart
from converter.model.materials import Thread

SVG = "{http://www.w3.org/2000/svg}"


def _sheet() -> Drawing:
    sheet = Drawing(title="Sheet", language="en")
    sheet.begin_page(60.0, 40.0)
    sheet.rectangles([[5.0, 5.0, 10.0, 8.0]], fill="#204060")
    sheet.lines([[20.0, 5.0, 20.0, 35.0]], width_mm=1.0, colour="#a00000")
    sheet.path([[30.0, 5.0], [45.0, 5.0], [37.5, 18.0]], fill="#30a030", stroke=None)
    sheet.circles([[52.0, 10.0]], 4.0, fill="#000000")
    sheet.marks(5.0, 20.0, 3.0, np.eye(4, dtype=bool), colour="#b01e28")
    with sheet.clip(30.0, 25.0, 6.0, 6.0):
        sheet.rectangles([[25.0, 20.0, 30.0, 30.0]], fill="#808000")
    return sheet


def test_three_ends_show_the_same_sheet() -> None:
    """Rendered by three unrelated programs at one pixel for a quarter millimetre."""
    sheet, dpi = _sheet(), 25.4 * 4
    png = render_pixels(sheet.pages[0], dpi).mean(axis=2)
    pdf = render_pages(sheet.pdf_bytes(), dpi)[0].astype(float)
    svg_png = bytes(resvg_py.svg_to_bytes(svg_string=sheet.svg_bytes().decode(), dpi=dpi))
    svg = np.asarray(Image.open(io.BytesIO(svg_png)).convert("RGB")).mean(axis=2)
    assert png.shape == pdf.shape == svg.shape == (160, 240)
    gray = np.asarray(Image.fromarray(render_pixels(sheet.pages[0], dpi)).convert("L"), dtype=float)
    assert np.abs(gray - pdf).mean() < 2.0
    assert np.abs(png - svg).mean() < 2.0


def test_calls_are_noted_in_order() -> None:
    kinds = [type(op).__name__ for op in _sheet().pages[0].ops]
    assert kinds == [
        "RectanglesOp", "LinesOp", "PathOp", "CirclesOp", "MarksOp", "ClipOp", "RectanglesOp", "EndOp",
    ]  # fmt: skip


def test_misuse_is_refused() -> None:
    sheet = Drawing()
    with pytest.raises(RuntimeError, match="begin_page"):
        sheet.lines([[0, 0, 1, 1]])
    with pytest.raises(RequestError, match="cannot be made"):
        sheet.begin_page(0, 10)
    sheet.begin_page(10, 10)
    with pytest.raises(UsageError, match="colour"):
        sheet.lines([[0, 0, 1, 1]], colour="red")
    with pytest.raises(ValueError, match="shape"):
        sheet.lines([[0, 0, 1]])
    with pytest.raises(ValueError, match="finite"):
        sheet.rectangles([[0, 0, float("nan"), 1]], fill="#000000")
    with pytest.raises(RuntimeError, match="still open"), sheet.clip(0, 0, 1, 1):
        sheet.begin_page(10, 10)


def _page_numbers(pdf: bytes) -> tuple[str, tuple[float, float]]:
    page = pypdf.PdfReader(io.BytesIO(pdf)).pages[0]
    return page.get_contents().get_data().decode("latin-1"), tuple(float(v) for v in page.mediabox[2:])


@pytest.mark.parametrize(("paper", "points"), [("A4", (595.276, 841.890)), ("letter", (612.0, 792.0))])
def test_page_boxes(paper: str, points: tuple[float, float]) -> None:
    """ISO 216 A4 and ANSI/ASME Y14.1 size A in units of 1/72 in (ISO 32000-1, 8.3.2.3)."""
    _, size = _page_numbers(pdf_bytes(Chart([[True]]), paper=paper))
    assert size == pytest.approx(points, abs=0.001 * 72 / 25.4)


def test_rulers_measure_50_mm_and_2_in() -> None:
    """50 mm = 141.732 pt, 1 in = 72 pt (ISO 32000-1, default user unit)."""
    sheet = Drawing()
    sheet.begin_page(210.0, 297.0)
    draw_rulers(sheet, 12.0, 280.0, english())
    bars = [op.boxes[0, 2] for op in sheet.pages[0].ops if isinstance(op, RectanglesOp)]
    code, _ = _page_numbers(sheet.pdf_bytes())
    scale = float(re.search(r"q ([\d.]+) 0 0 -", code)[1])
    printed = [float(w) * scale for w in re.findall(r"[\d.]+ 280 ([\d.]+) 0\.5 re", code)]
    assert printed == pytest.approx([141.732, 144.0], abs=0.001)
    assert bars == [50.0, 50.8]


@pytest.mark.parametrize(("rows", "columns"), [(20, 30), (100, 28), (150, 150)])
def test_a_printed_square_measures_what_it_says(rows: int, columns: int) -> None:
    """To 0.01 mm in the PDF's own numbers."""
    chart = Chart(np.ones((rows, columns), dtype=bool))
    cell = plan_pages(columns, rows).cell_mm
    code, _ = _page_numbers(pdf_bytes(chart))
    scale = float(re.search(r"q ([\d.]+) 0 0 -", code)[1]) * 25.4 / 72
    cells = [float(v) for v in re.findall(r"q ([\d.]+) 0 0 \1 [\d.]+ [\d.]+ cm", code)]
    assert cells[0] * scale == pytest.approx(cell, abs=0.0001)
    grid = next(op for op in pdf_drawing(chart).pages[0].ops if isinstance(op, LinesOp) and len(op.segments) > 20)
    uprights = np.unique(grid.segments[grid.segments[:, 0] == grid.segments[:, 2], 0])
    gaps = np.diff(uprights) / cell
    assert np.abs(gaps - np.round(gaps)).max() * cell < 0.01


def test_a_design_of_n_stitches_has_n_plus_one_lines() -> None:
    """16 squares have 17 holes (Catkin & Lillie, All about cross stitch fabric count)."""
    drawing = pdf_drawing(Chart(np.ones((16, 16), dtype=bool)))
    lines = [op.segments for op in drawing.pages[0].ops if isinstance(op, LinesOp)]
    grid = np.concatenate([s for s in lines if np.abs(s[:, 3] - s[:, 1]).max() > 60])
    assert len(np.unique(grid[grid[:, 0] == grid[:, 2], 0])) == 17


@given(st.integers(1, 300), st.integers(0, 299), st.integers(1, 300), st.sampled_from(["corner", "centre"]))
def test_heavy_rules_stand_every_ten(count: int, first: int, length: int, tens_from: str) -> None:
    """The ground is marked in tens (Th. de Dillmont, Encyclopedia of Needlework, fig. 252)."""
    first, last = min(first, count), min(first + length, count)
    rules = tens(first, last, count, tens_from)
    holes = [hole for hole, _ in rules]
    assert all(first <= hole <= last for hole in holes)
    assert all(b - a == 10 for a, b in pairwise(holes))
    assert all(number % 10 == 0 for _, number in rules)
    if tens_from == "corner":
        assert all(hole == number for hole, number in rules)
    else:
        assert all(abs(hole - count / 2) - number in (-0.5, 0, 0.5) for hole, number in rules)


def test_centre_marks_point_at_half_the_width_and_height() -> None:
    """The middle is marked both ways (Dillmont, fig. 252)."""
    from converter.draw.canvas import PathOp

    for rows, columns in ((20, 30), (21, 33)):
        drawing = pdf_drawing(Chart(np.ones((rows, columns), dtype=bool)))
        ops = drawing.pages[0].ops
        marks = next(op for op in ops if isinstance(op, MarksOp) and op.cells.size > 1)
        tips = [op.rings[0][0] for op in ops if isinstance(op, PathOp) and len(op.rings[0]) == 3][:4]
        middle_x = marks.x_mm + columns * marks.cell_mm / 2
        middle_y = marks.y_mm + rows * marks.cell_mm / 2
        assert sorted(round(abs(x - middle_x), 6) == 0 for x, _ in tips) == [False, False, True, True]
        assert sorted(round(abs(y - middle_y), 6) == 0 for _, y in tips) == [False, False, True, True]


def test_png_says_its_size() -> None:
    """PNG signature; pHYs of 300, 96 and 72 dpi is 11811, 3780, 2835 pixels a metre (W3C PNG, third edition)."""
    for dpi, per_metre in ((300, 11811), (96, 3780), (72, 2835)):
        data = _sheet().png_bytes(dpi=dpi)
        assert data[:8] == bytes([137, 80, 78, 71, 13, 10, 26, 10])
        at = data.index(b"pHYs") + 4
        assert struct.unpack(">IIB", data[at : at + 9]) == (per_metre, per_metre, 1)


@given(st.integers(0, 2**32 - 1), st.integers(1, 4))
def test_png_keeps_flat_colours(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    colours = rng.integers(0, 8, size=(count, 3)).astype(np.uint8) * 36
    pixels = colours[rng.integers(0, count, size=(9, 7))]
    back = np.asarray(Image.open(io.BytesIO(encode_png(pixels, None))).convert("RGB"))
    assert np.array_equal(back, pixels)


def test_chart_png_has_whole_squares_in_the_thread_colour() -> None:
    chart = Chart(np.eye(12, dtype=bool), thread=Thread("#1d3a6b"))
    picture = Image.open(io.BytesIO(png_bytes(chart, cell_px=20)))
    pixels = np.asarray(picture.convert("RGB"))
    marks = (pixels == (0x1D, 0x3A, 0x6B)).all(axis=2)
    top = int(np.nonzero(marks)[0].min()) // 20
    left = int(np.nonzero(marks[top * 20 + 10])[0].min()) // 20
    for row in range(12):
        for column in range(12):
            square = marks[(top + row) * 20 : (top + row + 1) * 20, (left + column) * 20 : (left + column + 1) * 20]
            assert square[10, 10] == (row == column)
            assert square.sum() == (256 if row == column else 0)


def test_svg_is_a_drawing_of_known_size_with_text_as_text() -> None:
    chart = Chart(np.ones((4, 5), dtype=bool), [[[0, 0], [1, 1]]], title="Löwe & <Lamm> Ж")
    root = ET.fromstring(svg_bytes(chart))
    assert root.tag == f"{SVG}svg"
    width, height = (float(root.get(key).removesuffix("mm")) for key in ("width", "height"))
    assert root.get("viewBox").split() == ["0", "0", f"{width:g}", f"{height:g}"]
    assert root.findtext(f"{SVG}title") == "Löwe & <Lamm> Ж"
    assert "Löwe & <Lamm> Ж" in [text.text for text in root.iter(f"{SVG}text")]
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= {
        "svg", "title", "rect", "path", "circle", "text", "g", "clipPath", "image",
    }  # fmt: skip


@pytest.mark.parametrize("title", ["Heron", "Ruță și λουλούδι", "Журавль", "Čáp – Gólya ½ × ″", "漢字 🙂", ""])
def test_titles_of_any_script_print_and_are_searchable(title: str) -> None:
    chart = Chart([[True]], title=title)
    reader = pypdf.PdfReader(io.BytesIO(pdf_bytes(chart)))
    text = reader.pages[0].extract_text()
    shown = "".join(run for _, run in split_runs(title, "title"))
    assert shown in text.replace("\n", " ")
    assert bool(title) <= (reader.metadata.title == title)


def test_fonts_are_embedded_subsets_with_their_licence() -> None:
    reader = pypdf.PdfReader(io.BytesIO(pdf_bytes(Chart([[True]], title="Heron"))))
    fonts = [font.get_object() for font in reader.pages[0]["/Resources"]["/Font"].values()]
    embedded = [font for font in fonts if "/FontDescriptor" in font]
    assert embedded
    for font in embedded:
        assert re.match(r"/[A-Z]{6}\+", font["/BaseFont"])
        descriptor = font["/FontDescriptor"].get_object()
        assert "/FontFile2" in descriptor and "/ToUnicode" in font
    used = set(re.findall(rb"/(F\d+\+\d+) [\d.]+ Tf", reader.pages[0].get_contents().get_data()))
    assert used and used <= {name.lstrip("/").encode() for name in reader.pages[0]["/Resources"]["/Font"]}
    for file in FONT_FILES.values():
        family = file.split("-")[0].removesuffix(".ttf")
        assert any(family in licence.name for licence in FONT_DIR.glob("LICENCE-*"))


@pytest.mark.parametrize("face", FONT_FILES)
def test_widths_agree_with_the_font_library(face: str) -> None:
    """Advance widths read from the file equal those of FreeType (Pillow)."""
    from PIL import ImageFont

    font = ImageFont.truetype(str(FONT_DIR / FONT_FILES[face]), 1000, layout_engine=ImageFont.Layout.BASIC)
    for char in "AWil10.éőЖλ×":
        assert ord(char) in font_metrics(face).advances
        assert text_width(char, 1000.0, face) == pytest.approx(font.getlength(char), abs=1.0)


@given(st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\x00"), max_size=80), st.floats(8, 120))
def test_lines_fit_their_width_and_no_word_is_lost(text: str, width: float) -> None:
    lines = wrap_text(text, width, size_mm=4.0)
    for line in lines:
        assert text_width(line, 4.0) <= width + 1e-6 or len(line) <= 1
    assert "".join("".join(lines).split()) == "".join(text.split())


@given(st.floats(20, 120))
def test_a_number_keeps_its_fraction_and_its_unit(width: float) -> None:
    """An 1 at the end of a line and 1/2 in at the head of the next reads as another length."""
    text = "That leaves 21 squares, about 1 1/2 in (3.8 cm) of bare cloth; hem 12 3/8 in, a thread of 1.4 m (1.5 yd)."
    for line in wrap_text(text, width, size_mm=4.0):
        assert not re.search(r"(^| |\()[\d.]+$", line) or line.endswith("21")
        assert not re.match(r"\d/\d|(in|cm|m|yd)\b", line)


def test_equal_charts_give_equal_bytes() -> None:
    rng = np.random.default_rng(1)
    chart = Chart(rng.random((40, 30)) < 0.4, [[[0, 0], [2, 2]]], title="Twice")
    for make in (png_bytes, svg_bytes, pdf_bytes):
        assert make(chart) == make(chart.with_(title="Twice"))
    other = chart.with_(title="Once")
    assert pdf_bytes(other) != pdf_bytes(chart)


def test_styles_differ_as_asked() -> None:
    chart = Chart(np.ones((25, 25), dtype=bool))
    plain = pdf_bytes(chart)
    assert pdf_bytes(chart, style=ChartStyle(shape="cross")) != plain
    assert pdf_bytes(chart, style=ChartStyle(tens_from="centre")) != plain
    with pytest.raises(UsageError, match="tens"):
        ChartStyle(tens_from="left")


def test_writing_where_nothing_can_be_written_says_so(tmp_path) -> None:
    from converter import draw_png

    with pytest.raises(OutputError, match="cannot be written"):
        draw_png(Chart([[True]]), tmp_path / "no" / "folder.png")
    buffer = io.BytesIO()
    draw_png(Chart([[True]]), buffer)
    assert buffer.getvalue().startswith(b"\x89PNG")


def test_a_page_of_too_many_pixels_is_refused() -> None:
    with pytest.raises(RequestError, match="million"):
        _sheet().png_bytes(dpi=100_000)
    with pytest.raises(UsageError, match="pixels"):
        png_bytes(Chart([[True]]), cell_px=1)


def test_many_pages_stay_small() -> None:
    """A 400 x 400 chart of large shapes on over 30 sheets: under 200 kB."""
    y, x = np.mgrid[:400, :400]
    chart = Chart(np.sin(x / 9) + np.sin(y / 11) + np.sin((x + y) / 17) > 0.2, title="Large")
    assert len(plan_pages(400, 400, SheetLayout()).tiles) >= 30
    assert len(pdf_bytes(chart)) < 200_000


def test_text_is_measured_from_its_anchor() -> None:
    sheet = Drawing()
    sheet.begin_page(100, 30)
    for anchor in ("start", "middle", "end"):
        sheet.text(50, 10, "mmmm", anchor=anchor)
    widths = []
    for op in sheet.pages[0].ops:
        assert isinstance(op, TextOp)
        lone = Drawing()
        lone.begin_page(100, 30)
        lone.text(op.x_mm, op.y_mm, op.text, anchor=op.anchor)
        dark = np.nonzero((render_pages(lone.pdf_bytes(), 254)[0] < 128).any(axis=0))[0] / 10
        widths.append((dark.min(), dark.max()))
    wide = text_width("mmmm", 3.9)
    assert [left for left, _ in widths] == pytest.approx([50, 50 - wide / 2, 50 - wide], abs=0.5)


def test_every_mark_of_a_tagged_page_is_closed_and_counted() -> None:
    """Marked content is balanced, artifacts hold no tagged content, MCIDs run from 0 (ISO 32000-1, 14.6 to 14.8)."""
    rng = np.random.default_rng(2)
    chart = Chart(rng.random((130, 90)) < 0.4, [[[0, 0], [2, 2]]], title="Tagged")
    reader = pypdf.PdfReader(io.BytesIO(pdf_bytes(chart)))
    numbers = reader.trailer["/Root"]["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    assert len(reader.pages) > 1
    for index, page in enumerate(reader.pages):
        code = page.get_contents().get_data().decode("latin-1")
        depth, found = 0, []
        for kind, number in re.findall(r"(/Artifact BMC|/\w+ <</MCID (\d+)>> BDC|\bEMC\b)", code):
            depth += -1 if kind == "EMC" else 1
            assert depth in (0, 1)
            if number:
                found.append(int(number))
        assert depth == 0
        assert found == list(range(len(found)))
        parents = numbers[2 * index + 1].get_object()
        assert numbers[2 * index] == page["/StructParents"] == index
        assert [kid.get_object()["/K"] for kid in parents] == found
        assert all(kid.get_object()["/Pg"].get_object() == page.get_object() for kid in parents)
