"""Contact sheets of plans and of the collection."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from converter.compose import fit_borders
from converter.compose.catalogue import strips
from converter.draw.canvas import LinesOp, MarksOp, RectanglesOp, TagOp, TextOp
from converter.draw.plans import SHEET_DPI, plan_sheet, strip_sheet
from converter.model.chart import Chart

CHART = Chart(np.ones((12, 15), dtype=bool), title="Gate")


def ops(sheet, kind):
    return [op for op in sheet.pages[0].ops if isinstance(op, kind)]


@pytest.fixture(scope="module")
def sheet():
    plans = [("lines and hearts", plan) for plan in fit_borders(CHART, ["line", "hearts"], gap=(2, 2), count=7)]
    return plans, plan_sheet(plans, CHART, chosen=2)


def test_every_plan_is_drawn_whole(sheet):
    plans, drawing = sheet
    marks = ops(drawing, MarksOp)
    assert len(marks) == len(plans)
    for (_, plan), mark in zip(plans, marks, strict=True):
        assert np.array_equal(mark.cells, plan.cells)
        assert mark.colour == CHART.thread.colour
    assert len(ops(drawing, LinesOp)) == len(plans)
    assert [len(op.segments) for op in ops(drawing, LinesOp)] == [len(plan.lines) for _, plan in plans]


def test_every_plan_has_number_size_and_deviations(sheet):
    plans, drawing = sheet
    texts = " ".join(op.text for op in ops(drawing, TextOp))
    for number, (_, plan) in enumerate(plans, 1):
        assert f"{number}. lines and hearts, {plan.shape[1]} x {plan.shape[0]}" in texts
        for words in [plan.changes] if plan.like else plan.deviations:
            assert words in texts
    assert "Gate" in texts


def test_chosen_plan_is_framed_and_figures_have_words(sheet):
    plans, drawing = sheet
    frames = ops(drawing, RectanglesOp)
    assert len(frames) == 1
    figures = [op for op in ops(drawing, TagOp) if op.role == "Figure"]
    assert [plan.describe() in op.alt for (_, plan), op in zip(plans, figures, strict=True)] == [True] * len(plans)


def test_nothing_leaves_the_sheet(sheet):
    _, drawing = sheet
    page = drawing.pages[0]
    for mark in ops(drawing, MarksOp):
        assert mark.x_mm >= 0 and mark.x_mm + mark.cells.shape[1] * mark.cell_mm <= page.width_mm
        assert mark.y_mm >= 0 and mark.y_mm + mark.cells.shape[0] * mark.cell_mm <= page.height_mm


def test_cells_are_whole_pixels(sheet):
    _, drawing = sheet
    for mark in ops(drawing, MarksOp):
        for length in (mark.x_mm, mark.y_mm, mark.cell_mm):
            assert (length * SHEET_DPI / 25.4) == pytest.approx(round(length * SHEET_DPI / 25.4), abs=1e-6)


def test_same_plans_same_bytes(sheet):
    plans, drawing = sheet
    again = plan_sheet(plans, CHART, chosen=2)
    assert drawing.png_bytes(dpi=SHEET_DPI) == again.png_bytes(dpi=SHEET_DPI)
    with Image.open(io.BytesIO(again.png_bytes(dpi=SHEET_DPI))) as image:
        assert image.format == "PNG"


def test_collection_shows_every_strip():
    drawing = strip_sheet()
    texts = [op.text for op in ops(drawing, TextOp)]
    marks = ops(drawing, MarksOp)
    for name, strip in strips().items():
        assert name in texts
        assert any(
            mark.cells.shape[0] == strip.depth and np.array_equal(mark.cells[:, : strip.period], strip.tile)
            for mark in marks
        )
    assert len(marks) == 2 * len(strips())
