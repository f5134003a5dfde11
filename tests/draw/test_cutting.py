"""The making-up sheet: to scale, inside the paper, complete."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from pypdf import PdfReader

from converter.draw.canvas import CirclesOp, ImageOp, LinesOp, MarksOp, PathOp, RectanglesOp, TextOp
from converter.draw.cutting import making_drawing, making_pdf
from converter.draw.fonts import text_width
from converter.estimate.making import plan_making
from converter.model.chart import Chart
from converter.model.materials import Fabric
from converter.settings import PIECES, WAYS, MakingSettings

KINDS = [(piece, way) for piece in PIECES for way in WAYS.get(piece, ("auto",))]


def chart_of(rows, columns, **materials):
    cells = np.zeros((rows, columns), dtype=bool)
    cells[0], cells[-1], cells[:, 0], cells[:, -1] = True, True, True, True
    cells[rows // 3 : rows // 2, columns // 4 : columns // 2] = True
    lines = [[[0, 0], [1, 1]], [[rows - 1, columns - 1], [rows, columns]]]
    return Chart(cells, lines=lines, title="Gate", **materials)


def sheet(rows=60, columns=45, piece="panel", way="auto", paper="A4", **options):
    chart = chart_of(rows, columns)
    plan = plan_making(chart, settings=MakingSettings(piece=piece, way=way, **options))
    return plan, chart, making_drawing(plan, chart, paper=paper)


def texts(page):
    return [op.text for op in page.ops if isinstance(op, TextOp)]


def scales(drawing):
    """Return the scales that the sheets name, in the order of their diagrams."""
    words = [text for page in drawing.pages for text in texts(page)]
    found = [re.search(r"^scale 1 : ([\d.]+)|^actual size", text) for text in words]
    return [float(m[1]) if m[1] else 1.0 for m in found if m]


def outlines(drawing):
    """Return width and height on paper of every part outline (the heaviest rectangles)."""
    return [
        (width, height)
        for page in drawing.pages
        for op in page.ops
        if isinstance(op, RectanglesOp) and op.width_mm == 0.5 and op.stroke
        for _, _, width, height in op.boxes
    ]


@pytest.mark.parametrize(("piece", "way"), KINDS)
def test_parts_are_to_scale(piece, way):
    plan, _, drawing = sheet(piece=piece, way=way)
    named = scales(drawing)
    squares = [part for part in plan.parts if not part.round]
    factors = [named[0]] + [named[-1]] * (len(plan.parts) - 1)
    drawn = outlines(drawing)
    assert len(drawn) == len(squares)
    for part, factor, (width, height) in zip(squares, factors, drawn, strict=False):
        assert (width * factor, height * factor) == pytest.approx(part.cut_mm)


def test_round_parts_are_to_scale():
    plan, _, drawing = sheet(piece="hoop")
    felt = plan.parts[1]
    radii = [
        op.radius_mm for page in drawing.pages for op in page.ops if isinstance(op, CirclesOp) and op.width_mm == 0.5
    ]
    assert radii == [pytest.approx(felt.cut_mm[0] / 2 / scales(drawing)[-1])]


def test_design_lies_where_it_will_be_stitched():
    plan, chart, drawing = sheet()
    scale = scales(drawing)[0]
    page = drawing.pages[0]
    marks = next(op for op in page.ops if isinstance(op, MarksOp))
    frame = next(op for op in page.ops if isinstance(op, RectanglesOp) and op.width_mm == 0.5)
    left, top = frame.boxes[0][:2]
    assert marks.cell_mm * scale == pytest.approx(chart.fabric.cell_mm)
    assert (marks.x_mm - left) * scale == pytest.approx(plan.cut.margins_mm[0])
    assert (marks.y_mm - top) * scale == pytest.approx(plan.cut.margins_mm[1])
    assert np.array_equal(marks.cells, chart.cells)


def test_only_the_stitched_part_of_a_chart_is_drawn():
    cells = np.zeros((30, 40), dtype=bool)
    cells[5:20, 8:30] = True
    chart = Chart(cells, fabric=Fabric(14))
    drawing = making_drawing(plan_making(chart, "panel"), chart)
    marks = next(op for page in drawing.pages for op in page.ops if isinstance(op, MarksOp))
    assert marks.cells.shape == (15, 22)


def reach(op):
    """Return the box (x0, y0, x1, y1) of a drawing call."""
    if isinstance(op, LinesOp):
        xs, ys = op.segments[:, [0, 2]], op.segments[:, [1, 3]]
    elif isinstance(op, RectanglesOp):
        xs = np.stack([op.boxes[:, 0], op.boxes[:, 0] + op.boxes[:, 2]])
        ys = np.stack([op.boxes[:, 1], op.boxes[:, 1] + op.boxes[:, 3]])
    elif isinstance(op, PathOp):
        xs, ys = np.concatenate(op.rings)[:, 0], np.concatenate(op.rings)[:, 1]
    elif isinstance(op, CirclesOp):
        xs = np.concatenate([op.centres[:, 0] - op.radius_mm, op.centres[:, 0] + op.radius_mm])
        ys = np.concatenate([op.centres[:, 1] - op.radius_mm, op.centres[:, 1] + op.radius_mm])
    elif isinstance(op, MarksOp):
        xs = np.array([op.x_mm, op.x_mm + op.cells.shape[1] * op.cell_mm])
        ys = np.array([op.y_mm, op.y_mm + op.cells.shape[0] * op.cell_mm])
    elif isinstance(op, TextOp) and op.angle_deg == 0:
        wide = text_width(op.text, op.size_mm, op.weight)
        start = op.x_mm - {"start": 0, "middle": wide / 2, "end": wide}[op.anchor]
        xs, ys = np.array([start, start + wide]), np.array([op.y_mm - op.size_mm, op.y_mm])
    elif isinstance(op, TextOp):
        wide = text_width(op.text, op.size_mm, op.weight)
        xs, ys = np.array([op.x_mm - op.size_mm, op.x_mm]), np.array([op.y_mm - wide / 2, op.y_mm + wide / 2])
    else:
        assert not isinstance(op, ImageOp)
        return None
    return xs.min(), ys.min(), xs.max(), ys.max()


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("size", [(5, 5), (20, 160), (160, 20), (150, 150)])
@pytest.mark.parametrize(("piece", "way"), KINDS)
def test_nothing_leaves_the_paper(piece, way, size, paper):
    _, _, drawing = sheet(*size, piece, way, paper)
    for page in drawing.pages:
        for op in page.ops:
            box = reach(op)
            if box is not None:
                assert box[0] >= 5.0
                assert box[1] >= 5.0
                assert box[2] <= page.width_mm - 5.0
                assert box[3] <= page.height_mm - 5.0


@pytest.mark.parametrize(("piece", "way"), KINDS)
def test_every_sentence_is_printed(piece, way):
    plan, chart, drawing = sheet(piece=piece, way=way)
    printed = " ".join(" ".join(texts(page)) for page in drawing.pages)
    for sentence in (*plan.steps, *plan.shopping, *plan.cautions, *plan.warnings):
        assert " ".join(sentence.split()) in printed
    for part in plan.parts:
        assert part.name in printed
    for number in range(1, len(plan.steps) + 1):
        assert str(number) in [text for page in drawing.pages for text in texts(page)]
    # The same words can be read out of the PDF.
    pdf = PdfReader(io.BytesIO(making_pdf(plan, chart)))
    assert len(pdf.pages) == len(drawing.pages)
    assert "Step by step" in "".join(page.extract_text() for page in pdf.pages)


def test_scale_bars_measure_what_they_say():
    _, _, drawing = sheet()
    ops = [op for page in drawing.pages for op in page.ops]
    labels = [op.text for op in ops if isinstance(op, TextOp) and re.fullmatch(r"\d+ (cm|in)", op.text)]
    bars = [op.segments[0] for op in ops if isinstance(op, LinesOp) and len(op.segments) == 1 and op.width_mm == 0.3]
    bars = [bar for bar in bars if not op_is_key(bar)]
    factors = [scale for scale in scales(drawing) for _ in ("cm", "in")]
    for label, bar, scale in zip(labels, bars, factors, strict=True):
        count, unit = label.split()
        assert (bar[2] - bar[0]) * scale == pytest.approx(int(count) * {"cm": 10.0, "in": 25.4}[unit])


def op_is_key(segment):
    """Samples in the key of lines are 9 mm long."""
    return abs(segment[2] - segment[0] - 9.0) < 1e-6


def test_fringe_is_drawn_on_four_sides_and_leaves_the_corners_empty():
    plan, _, drawing = sheet()
    scale = scales(drawing)[0]
    page = drawing.pages[0]
    frame = next(op for op in page.ops if isinstance(op, RectanglesOp) and op.width_mm == 0.5).boxes[0]
    stitch = next(g for g in plan.parts[0].guides if g.role == "stitch")
    deep = stitch.points[0][0] / scale
    strands = [s for op in page.ops if isinstance(op, LinesOp) and op.width_mm == 0.12 for s in op.segments]
    inside = [
        s
        for s in strands
        if frame[0] - 0.01 <= s[0] <= frame[0] + frame[2] + 0.01 and s[1] < frame[1] + frame[3] + 0.01
    ]
    sides = {"left": 0, "right": 0, "top": 0, "bottom": 0}
    for x0, y0, x1, y1 in inside:
        assert max(abs(x1 - x0), abs(y1 - y0)) == pytest.approx(deep)
        if y0 == y1:
            sides["left" if x0 < frame[0] + frame[2] / 2 else "right"] += 1
            assert frame[1] + deep - 1e-6 <= y0 <= frame[1] + frame[3] - deep + 1e-6
        else:
            sides["top" if y0 < frame[1] + frame[3] / 2 else "bottom"] += 1
            assert frame[0] + deep - 1e-6 <= x0 <= frame[0] + frame[2] - deep + 1e-6
    assert min(sides.values()) > 5
    assert sides["left"] == sides["right"]
    assert sides["top"] == sides["bottom"]


def test_equal_plans_give_equal_bytes():
    plan, chart, _ = sheet()
    assert making_pdf(plan, chart) == making_pdf(plan, chart)


def test_long_titles_and_warnings_stay_on_the_paper():
    cells = np.ones((20, 20), dtype=bool)
    chart = Chart(cells, title="A very long title " * 12)
    plan = plan_making(chart, settings=MakingSettings(piece="panel", size_mm=(600, 600), cloth_mm=(30, 30)))
    assert len(plan.warnings) == 2
    drawing = making_drawing(plan, chart)
    for page in drawing.pages:
        for op in page.ops:
            box = reach(op)
            assert box is None or box[2] <= page.width_mm - 5.0
