"""The leaflet: complete, on the paper, nothing over anything else."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import numpy as np
import pypdf
import pytest
from helpers.chart_reader import TileReader, render_pages
from helpers.leaflet_cases import CASES, content_of

from converter.draw.canvas import Drawing, ImageOp, MarksOp, Page, TextOp
from converter.draw.fonts import text_width
from converter.draw.leaflet import leaflet_bytes, leaflet_drawing, renumbered
from converter.draw.leaflet_text import first_stitch
from converter.draw.level import level_of
from converter.draw.pages import SheetLayout, plan_pages
from converter.draw.scene import ChartStyle
from converter.draw.words import Words, english
from converter.model.chart import Chart
from converter.units import PAPER_SIZES_MM

VARIANTS = [(name, "A4", False) for name in CASES]
VARIANTS += [(name, "letter", True) for name in ("bookmark", "lines", "mixed")]


@pytest.fixture(scope="module")
def leaflets() -> dict[tuple[str, str, bool], Drawing]:
    made = {}
    for name, paper, large in VARIANTS:
        chart, piece = CASES[name]
        made[name, paper, large] = leaflet_drawing(chart, content_of(chart, piece), paper=paper, large=large)
    return made


def _box(op: TextOp) -> tuple[float, float, float, float]:
    width = text_width(op.text, op.size_mm, op.weight)
    left = op.x_mm - {"start": 0.0, "middle": 0.5, "end": 1.0}[op.anchor] * width
    return left, op.y_mm - 0.65 * op.size_mm, left + width, op.y_mm + 0.12 * op.size_mm


def _texts(page: Page) -> list[TextOp]:
    return [op for op in page.ops if isinstance(op, TextOp)]


@pytest.mark.parametrize(("name", "paper", "large"), VARIANTS)
def test_all_text_is_on_the_paper(leaflets, name: str, paper: str, large: bool) -> None:
    for page in leaflets[name, paper, large].pages:
        assert _texts(page)
        for op in _texts(page):
            if op.angle_deg:
                continue
            left, top, right, bottom = _box(op)
            assert left > 5 and top > 5 and right < page.width_mm - 5 and bottom < page.height_mm - 5, op


@pytest.mark.parametrize(("name", "paper", "large"), VARIANTS)
def test_no_text_lies_over_another(leaflets, name: str, paper: str, large: bool) -> None:
    drawing = leaflets[name, paper, large]
    own = [page for page in drawing.pages if not _is_making_up(page)]
    for page in own:
        texts = [op for op in _texts(page) if not op.angle_deg]
        boxes = np.array([_box(op) for op in texts])
        low, high = boxes[:, None], boxes[None, :]
        across = np.minimum(low[..., 2], high[..., 2]) - np.maximum(low[..., 0], high[..., 0])
        down = np.minimum(low[..., 3], high[..., 3]) - np.maximum(low[..., 1], high[..., 1])
        hit = (across > 0.05) & (down > 0.05)
        np.fill_diagonal(hit, False)
        pairs = [(texts[i].text, texts[j].text) for i, j in np.argwhere(hit) if i < j]
        assert not pairs


def _is_making_up(page: Page) -> bool:
    words = " ".join(op.text for op in _texts(page))
    return any(key in words for key in ("The stitched cloth", "The other parts", "Cutting list", "Step by step"))


@pytest.mark.parametrize("name", CASES)
def test_pictures_and_squares_do_not_touch_the_text(leaflets, name: str) -> None:
    drawing = leaflets[name, "A4", False]
    page = drawing.pages[0]
    image = next(op for op in page.ops if isinstance(op, ImageOp))
    right, bottom = image.x_mm + image.width_mm, image.y_mm + image.height_mm
    assert image.width_mm > 30 and image.height_mm > 55
    for op in _texts(page):
        box = _box(op)
        apart = box[2] < image.x_mm or box[0] > right or box[3] < image.y_mm or box[1] > bottom
        assert apart, op


@pytest.mark.parametrize("name", CASES)
def test_it_holds_all_that_a_stitcher_needs(leaflets, name: str) -> None:
    chart, piece = CASES[name]
    content = content_of(chart, piece)
    text = " ".join(op.text for page in leaflets[name, "A4", False].pages for op in _texts(page))
    wanted = [
        "You need",
        "How to begin and to stitch",
        "Find the middle",
        "Thread the needle",
        "Take care",
        "Good habits",
    ]
    wanted += ["hours", "needle no. 24", f"{chart.columns} × {chart.rows} squares"]
    wanted.append("every 10 stitches")
    if content.count.stitches:
        wanted += [
            f"{content.count.stitches:,} crosses",
            "2 strands for crosses",
            "The cross",
            "% of a stitched square",
        ]
    if content.count.backstitches:
        wanted += ["1 strand for backstitch", "The backstitch"]
        wanted.append(f"{content.count.backstitches:,} backstitch")
    if piece is not None:
        wanted += ["Step by step", "Cutting list"]
    for phrase in wanted:
        assert phrase in text, phrase


def test_text_can_be_searched_and_the_document_says_what_it_is() -> None:
    chart, piece = CASES["lines"]
    reader = pypdf.PdfReader(io.BytesIO(leaflet_bytes(chart, content_of(chart, piece))))
    text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))
    for phrase in (chart.title, "How to begin and to stitch", "Each line of the chart goes from dot to dot"):
        assert phrase in text
    assert reader.metadata is not None and reader.metadata.title == chart.title
    root = reader.trailer["/Root"]
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"].value is True


def test_headings_come_in_reading_order() -> None:
    chart, piece = CASES["sachet"]
    reader = pypdf.PdfReader(io.BytesIO(leaflet_bytes(chart, content_of(chart, piece))))
    body = reader.trailer["/Root"]["/StructTreeRoot"]["/K"][0].get_object()
    roles = [kid.get_object()["/S"] for kid in body["/K"]]
    assert roles[0] == "/H1"
    assert roles.count("/H1") >= 1 and roles.count("/H2") >= 2 and roles.count("/H3") >= 5
    figures = [kid.get_object() for kid in body["/K"] if kid.get_object()["/S"] == "/Figure"]
    assert figures and all(figure["/Alt"] for figure in figures)


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_pages_have_the_size_of_the_paper(paper: str) -> None:
    """ISO 216 A4; ANSI/ASME Y14.1 size A: 612 x 792 pt."""
    chart, piece = CASES["large"]
    reader = pypdf.PdfReader(io.BytesIO(leaflet_bytes(chart, content_of(chart, piece), paper=paper)))
    expected = sorted({"A4": (595.2756, 841.8898), "letter": (612.0, 792.0)}[paper])
    assert sorted(v * 72 / 25.4 for v in PAPER_SIZES_MM[paper]) == pytest.approx(expected, abs=1e-4)
    for page in reader.pages:
        size = sorted(float(v) for v in page.mediabox[2:])
        assert size == pytest.approx(expected, abs=0.001 * 72 / 25.4)


def test_equal_input_gives_equal_bytes() -> None:
    chart, piece = CASES["mixed"]
    assert leaflet_bytes(chart, content_of(chart, piece)) == leaflet_bytes(chart, content_of(chart, piece))


def test_no_page_is_empty() -> None:
    for name in ("bookmark", "lines"):  # with and without crosses
        chart, piece = CASES[name]
        for page in render_pages(leaflet_bytes(chart, content_of(chart, piece)), dpi=50):
            assert (page < 200).mean() > 0.004


def test_backstitches_that_hide_crosses_get_a_chart_of_their_own() -> None:
    rng = np.random.default_rng(4)
    cells = np.ones((30, 30), dtype=bool)
    lines = [[[r, c], [r + 1, c + 1]] for r, c in rng.integers(0, 29, size=(25, 2)).tolist()]
    lines = [line for i, line in enumerate(lines) if line not in lines[:i]]
    chart = Chart(cells, lines, title="Net")
    drawing = leaflet_drawing(chart, content_of(chart, None))
    labels = [page.label for page in drawing.pages]
    first, second = labels.index("Chart"), labels.index("Backstitch")
    assert second == first + 1
    layout = SheetLayout()
    plan = plan_pages(30, 30, layout)
    images = render_pages(drawing.pdf_bytes())
    plain = TileReader(images[first], chart, plan, plan.tiles[0], layout)
    lined = TileReader(images[second], chart, plan, plan.tiles[0], layout)
    assert plain.cells().all()
    assert not any(plain.has_line(tuple(a), tuple(b), ChartStyle()) for a, b in lines)
    assert all(lined.has_line(tuple(a), tuple(b), ChartStyle()) for a, b in lines)


def test_few_backstitches_stay_on_the_chart() -> None:
    chart, _ = CASES["mixed"]
    lone = chart.with_(lines=[[[0, 0], [1, 0]]])
    labels = [page.label for page in leaflet_drawing(lone, content_of(lone, None)).pages]
    assert "Backstitch" not in labels


@pytest.mark.parametrize(
    ("rows", "phrase"),
    [
        (["...", ".#.", "..."], "at the middle mark itself"),
        (["#...", "....", "....", "...."], "2 squares above and 2 squares to the left of the middle"),
        (["....", "....", "....", "...#"], "2 squares below and 2 squares to the right of the middle"),
        (["...#", "....", "....", "...."], "2 squares above and 2 squares to the right of the middle"),
        ([".....", ".....", "....#"], "2 squares to the right of the middle."),
        (["..#..", ".....", ".....", ".....", "....."], "2 squares above the middle."),
    ],
)
def test_the_first_stitch_is_counted_from_the_middle(rows: list[str], phrase: str) -> None:
    chart = Chart([[char == "#" for char in row] for row in rows])
    assert phrase in first_stitch(chart, english())


def test_levels_rise_with_size_scatter_and_hours() -> None:
    small = CASES["mixed"][0]
    large = CASES["large"][0]
    words = english()
    easy, hard = content_of(small, None), content_of(large, None)
    assert level_of(small, easy.count, easy.time, words).step == 0
    assert level_of(large, hard.count, hard.time, words).step > 0
    scattered = replace(easy.count, isolated=easy.count.stitches // 4)
    assert level_of(small, scattered, easy.time, words).reasons != level_of(small, easy.count, easy.time, words).reasons


def test_a_line_start_is_counted_in_squares_and_halves() -> None:
    chart = Chart(np.zeros((4, 5), dtype=bool), [[[0, 0], [1, 0]]])
    assert "1 square above and 2.5 squares to the left of the middle" in first_stitch(chart, english())


def test_units_are_hers() -> None:
    chart, _ = CASES["mixed"]
    metric = leaflet_drawing(chart, content_of(chart, None), words=Words(units="cm"))
    texts = " ".join(op.text for page in metric.pages[:1] for op in _texts(page))
    assert " cm" in texts
    assert not re.search(r"[0-9.] in\b", texts)


def test_large_print_is_larger() -> None:
    """Squares of 4.5 mm and more."""
    chart, piece = CASES["sachet"]
    for large, least in ((False, 2.5), (True, 4.5)):
        drawing = leaflet_drawing(chart, content_of(chart, piece), large=large)
        marks = [op for page in drawing.pages[1:] for op in page.ops if isinstance(op, MarksOp) and op.cells.size > 100]
        charts = [op for op in marks if op.size > 0.8 and op.cell_mm > 1.5]
        assert charts and min(op.cell_mm for op in charts) >= least


def test_pages_of_other_sheets_are_numbered_on() -> None:
    other = Drawing()
    for text in ("1 of 2", "2 of 2"):
        other.begin_page(210, 297)
        other.text(190, 285, text, anchor="end")
        other.text(190, 100, "1 of 2", anchor="end")
    other.begin_page(210, 297)
    numbered = renumbered(other, 7)
    found = [[op.text for op in _texts(page)] for page in numbered.pages]
    assert found == [["7", "1 of 2"], ["8", "1 of 2"], ["9"]]
    assert [op.text for op in _texts(other.pages[0])] == ["1 of 2", "1 of 2"]


def test_odd_charts_print_too() -> None:
    """One stitch, an empty chart, a very long title."""
    for chart in (
        Chart([[True]]),
        Chart([[False, False]]),
        Chart([[True, False]] * 3, title="Ein sehr langer Titel, der auf keine Zeile passt " * 4),
    ):
        drawing = leaflet_drawing(chart, content_of(chart, None))
        assert drawing.pdf_bytes().startswith(b"%PDF")
        for page in drawing.pages:
            for op in _texts(page):
                left, _, right, _ = _box(op)
                assert left > 5 and right < page.width_mm - 5


@pytest.mark.parametrize(("units", "unwanted"), [("cm", r"\d in\b"), ("in", r"\d (cm|mm)\b")])
def test_sizes_of_all_pages_are_in_her_units(units: str, unwanted: str) -> None:
    chart, piece = CASES["sachet"]
    content = content_of(chart, piece)
    drawing = leaflet_drawing(chart, content, words=Words(units=units))
    reader = pypdf.PdfReader(io.BytesIO(drawing.pdf_bytes()))
    text = " ".join(page.extract_text() for page in reader.pages)
    found = [text[each.start() - 20 : each.end() + 10] for each in re.finditer(unwanted, text)]
    # The test rulers (50 mm, 2 in), and the bars at the parts' scale, show both.
    found = [each for each in found if not re.search(r"(50 mm|2 in|\d+ (cm|in)\s+scale|scale 1)", each)]
    assert found == []


def test_numbers_of_stitches_low_on_a_sheet_are_no_page_numbers() -> None:
    sheet = Drawing("Order")
    sheet.begin_page(210.0, 297.0)
    sheet.text(150.0, 284.5, "17", anchor="middle")
    sheet.text(120.0, 283.7, "80", anchor="end")
    told = [op.text for op in renumbered(sheet, 5).pages[0].ops if isinstance(op, TextOp)]
    assert told == ["17", "80", "5"]


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_how_to_stitch_crosses_takes_one_page(paper: str) -> None:
    """A piece of crosses without a making-up plan has all teaching and cautions on one page."""
    chart = Chart(np.ones((30, 30), dtype=bool), title="Fern", notes=("Taken for a line drawing, as asked.",))
    drawing = leaflet_drawing(chart, content_of(chart, None), paper=paper)
    texts = [[op.text for op in _texts(page)] for page in drawing.pages]
    page = next(found for found in texts if "How to begin and to stitch" in found)
    assert page is texts[-1]
    assert {"The cross", "Good habits", "Take care", "Good to know about this chart"} <= set(page)
