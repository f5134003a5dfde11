"""The sheet of sizes: every figure on it, nothing off the paper."""

from __future__ import annotations

import numpy as np
import pytest

from converter.draw.canvas import MarksOp, RectanglesOp, TextOp
from converter.draw.fonts import text_width
from converter.draw.sizes import SizeEntry, figures, sizes_drawing
from converter.estimate.stitches import count_stitches
from converter.model.chart import Chart
from converter.model.results import WorkTime


def entry(columns, rows, chosen=False, losses=(), lines=True):
    cells = np.zeros((rows, columns), dtype=bool)
    cells[::2] = True
    chart = Chart(cells, lines=[[[0, 0], [0, 1]]] if lines else [])
    return SizeEntry(
        chart=chart,
        count=count_stitches(chart),
        thread_m=columns / 10,
        skein_share=columns / 70,
        skeins=-(-columns // 70),
        hours=WorkTime(1.1, 2.6, 14.2),
        readability=float(columns),
        losses=losses,
        good=chosen,
        chosen=chosen,
    )


def texts(page):
    return [op for op in page.ops if isinstance(op, TextOp)]


@pytest.mark.parametrize("shape", [(1.0, 0.4), (1.0, 1.0), (0.4, 1.0), (0.1, 1.0), (1.0, 0.1)])
@pytest.mark.parametrize("tall", [True, False])
@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_everything_is_on_the_paper(shape, tall, paper):
    losses = ("Two small dots were left out.", "The gap between the reeds was closed.") * 4
    sizes = [
        entry(max(4, round(n * shape[0])), max(4, round(n * shape[1])), chosen=n == 50, losses=losses)
        for n in (30, 40, 50, 60, 80, 100, 120)
    ]
    drawing = sizes_drawing(sizes, title="Gate", pace=80, paper=paper, tall=tall)
    assert len(drawing.pages) == (1 if tall else 2)
    boxes = 0
    for page in drawing.pages:
        for op in texts(page):
            assert op.x_mm + text_width(op.text, op.size_mm, op.weight) <= page.width_mm - 5
            assert 5 <= op.y_mm <= page.height_mm - 5
        for op in page.ops:
            if isinstance(op, MarksOp):
                boxes += 1
                assert op.x_mm + op.cells.shape[1] * op.cell_mm <= page.width_mm - 5
                assert op.y_mm + op.cells.shape[0] * op.cell_mm <= page.height_mm - 5
            if isinstance(op, RectanglesOp):
                assert (op.boxes[:, 1] + op.boxes[:, 3]).max() <= page.height_mm - 5
    assert boxes == len(sizes)


@pytest.mark.parametrize("rows", [20, 60])
def test_every_figure_is_printed(rows):
    sizes = [entry(40, rows), entry(60, rows, chosen=True)]
    drawing = sizes_drawing(sizes, title="Gate", pace=80)
    printed = " ".join(op.text for op in texts(drawing.pages[0]))
    for one in sizes:
        for figure in figures(one):
            assert figure in printed
    assert "80 crosses an hour" in printed
    assert "14 count" in printed
    assert printed.count("smallest good one") == 1
    assert printed.startswith("Gate: which size? 60 stitches wide is the smallest")


def test_what_is_lost_is_told_and_cut_short_where_there_is_no_room():
    few = sizes_drawing([entry(40, 20, losses=("A gap was closed.",))], title="Gate", pace=100)
    assert "A gap was closed." in [op.text for op in texts(few.pages[0])]
    many = sizes_drawing([entry(40, 20, losses=("A gap between two reeds was closed.",) * 40)], title="Gate", pace=100)
    assert any(op.text.endswith("…") for op in texts(many.pages[0]))


def test_it_says_when_none_is_good():
    printed = " ".join(op.text for op in texts(sizes_drawing([entry(10, 10)], title="Gate", pace=100).pages[0]))
    assert "None of these keeps the picture well readable" in printed
    assert "smallest good one" not in printed


def test_equal_sheets_give_equal_bytes():
    sizes = [entry(40, 20, chosen=True)]
    first, second = (sizes_drawing(sizes, title="Gate", pace=100, tall=True) for _ in range(2))
    assert first.png_bytes(dpi=60) == second.png_bytes(dpi=60)
    assert first.pdf_bytes() == second.pdf_bytes()
