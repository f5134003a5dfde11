"""The working-order sheets show each leg of each length once, numbered, inside the page."""

import re

import numpy as np
import pytest

from converter.draw.canvas import CirclesOp, LinesOp, TextOp
from converter.draw.order import MARGIN_MM, order_drawing
from converter.draw.order_panels import cut_panels, fill_sheets
from converter.estimate.steps import cross_numbers
from converter.estimate.thread import plan_chart
from converter.jobs.order import order_outputs, order_text, work_lengths
from converter.model.chart import Chart
from converter.settings import ThreadSettings
from converter.units import PAPER_SIZES_MM

CELLS = np.zeros((12, 30), dtype=bool)
CELLS[2:9, 3:20] = True
CELLS[4:6, 8:12] = False
CELLS[10, 25] = True
LINES = [[[0, c], [0, c + 1]] for c in range(6)] + [[[0, 6], [2, 7]]]


@pytest.fixture(scope="module")
def chart():
    return Chart(cells=CELLS, lines=LINES, title="Cup")


@pytest.fixture(scope="module")
def lengths(chart):
    return work_lengths(plan_chart(chart))


def texts(page):
    return [op for op in page.ops if isinstance(op, TextOp)]


def labels(drawing, pattern):
    """Return what stands in the panels in the middle of a square or beside a leg, without the numbers of the rules."""
    found = [op for page in drawing.pages[1:] for op in texts(page) if re.fullmatch(pattern, op.text)]
    return [op.text for op in found if op.anchor == "middle" and op.size_mm != pytest.approx(2.4)]


def test_every_cross_is_numbered_once_in_the_order_of_the_work(chart):
    lengths = work_lengths(plan_chart(chart.with_(lines=np.zeros((0, 2, 2)))))
    names = labels(order_drawing(chart, lengths), r"\d+[a-d]?")
    assert len(names) == CELLS.sum()
    assert sorted(names) == sorted(name for length in lengths for _, name in cross_numbers(length.holes))


def test_every_leg_of_the_least_order_is_numbered_once(chart):
    lengths = work_lengths(plan_chart(chart, ThreadSettings(order="least")))
    names = labels(order_drawing(chart, lengths), r"\d+")
    assert sorted(map(int, names)) == sorted(k for length in lengths for k in range(1, len(length.stitches) + 1))


def test_every_length_has_its_heading_in_order(chart, lengths):
    drawing = order_drawing(chart, lengths)
    headings = [op.text for page in drawing.pages for op in texts(page) if op.text.startswith("Length ")]
    seen = list(dict.fromkeys(int(h.split()[1].rstrip(",")) for h in headings))
    assert seen == list(range(1, len(lengths) + 1))


@pytest.mark.parametrize("paper", PAPER_SIZES_MM)
def test_nothing_leaves_the_page(paper):
    rng = np.random.default_rng(4)
    chart = Chart(cells=rng.random((70, 90)) < 0.08)
    drawing = order_drawing(chart, work_lengths(plan_chart(chart)), paper=paper)
    width, height = PAPER_SIZES_MM[paper]
    for page in drawing.pages:
        for op in page.ops:
            if isinstance(op, LinesOp):
                points = np.asarray(op.segments).reshape(-1, 2)
                assert points.min() >= MARGIN_MM - 6 and (points <= [width - 5, height - 5]).all()


def test_map_alone(chart, lengths):
    assert len(order_drawing(chart, lengths, map_only=True).pages) == 1


def test_text_lists_every_cross_and_line(chart, lengths):
    text = order_text(chart, lengths)
    body = text.split("Length 1:")[1]
    assert len(re.findall(r"\b\d+/\d+", body)) == CELLS.sum()
    assert text.count("Length ") == len(lengths)
    last = lengths[-1].stitches[0]
    assert f"{last[0, 0]:g},{last[0, 1]:g}-{last[1, 0]:g},{last[1, 1]:g}" in text


def test_outputs_are_the_same_bytes_twice(chart):
    first = order_outputs(chart, ThreadSettings(), paper="A4")
    assert first == order_outputs(chart, ThreadSettings(), paper="A4")
    assert first["-order.pdf"].startswith(b"%PDF")
    assert "-order.png" in first


def test_empty_chart_has_a_sheet_all_the_same():
    chart = Chart(cells=np.zeros((3, 3), dtype=bool))
    assert len(order_drawing(chart, work_lengths(plan_chart(chart))).pages) == 1


def crowded_chart():
    return Chart(cells=np.random.default_rng(7).random((60, 60)) < 0.6)


def test_numbers_on_the_map_do_not_lie_on_each_other():
    chart = crowded_chart()
    lengths = work_lengths(plan_chart(chart))
    assert len(lengths) > 40
    discs = [
        (op.centres, op.radius_mm)
        for op in order_drawing(chart, lengths, map_only=True).pages[0].ops
        if isinstance(op, CirclesOp) and op.fill == "#ffffff"
    ]
    [(at, radius)] = [(np.asarray(points), radius) for points, radius in discs if radius > 1]
    assert len(at) == len(lengths)
    apart = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) + 10 * radius * np.eye(len(at))
    assert apart.min() >= 1.9 * radius


def test_where_only_some_lengths_have_room_for_a_number_the_sheet_says_so():
    chart = Chart(cells=np.ones((320, 320), dtype=bool))
    lengths = work_lengths(plan_chart(chart))
    drawing = order_drawing(chart, lengths, map_only=True)
    words = " ".join(op.text for op in texts(drawing.pages[0]))
    step = int(re.search(r"every (\d+)th length", words)[1])
    numbers = [int(op.text) for op in texts(drawing.pages[0]) if op.text.isdigit()]
    assert step > 1
    assert numbers == list(range(1, len(lengths) + 1, step))


def test_the_start_of_the_first_length_is_counted_from_the_middle(chart, lengths):
    sheet = order_drawing(chart, lengths).pages[0]
    words = " ".join(op.text for op in texts(sheet))
    row, column = lengths[0].holes[0] - [chart.rows / 2, chart.columns / 2]
    down = f"{abs(row):g} square{'s' if abs(row) > 1 else ''} {'below' if row > 0 else 'above'}"
    across = f"{abs(column):g} square{'s' if abs(column) > 1 else ''} to the {'right' if column > 0 else 'left'}"
    assert f"Length 1 begins {down} and {across} of the middle." in words


def test_a_piece_of_lines_alone_speaks_of_no_crosses():
    chart = Chart(cells=np.zeros((9, 9), dtype=bool), lines=LINES)
    drawing = order_drawing(chart, work_lengths(plan_chart(chart)))
    words = " ".join(op.text for page in drawing.pages for op in texts(page))
    assert "cross" not in words
    assert "come up at the end beside the number" in words


@pytest.mark.parametrize("paper", PAPER_SIZES_MM)
def test_panels_keep_their_order_and_do_not_overlap(paper):
    width, height = PAPER_SIZES_MM[paper]
    room = (width - 2 * MARGIN_MM, height - 44)
    chart = crowded_chart()
    panels = list(cut_panels(work_lengths(plan_chart(chart)), chart.cells.shape, room))
    sheets = fill_sheets(panels, room)
    assert [place.panel for sheet in sheets for place in sheet] == panels
    assert len(sheets) < len(panels) / 2
    for sheet in sheets:
        boxes = np.array([(p.x_mm, p.y_mm, *p.panel.size_mm(p.cell_mm)) for p in sheet])
        assert (boxes[:, :2] >= 0).all()
        assert (boxes[:, :2] + boxes[:, 2:] <= np.array(room) + 0.02).all()
        for i, (x, y, w, h) in enumerate(boxes):
            for other_x, other_y, other_w, other_h in boxes[:i]:
                aside = x >= other_x + other_w or other_x >= x + w
                assert aside or y >= other_y + other_h or other_y >= y + h
