"""The working order of a chart: sheets, pictures and a list of steps."""

from __future__ import annotations

import textwrap
from typing import Final

import numpy as np

from converter.draw.canvas import Drawing
from converter.draw.order import order_drawing as draw_order_sheets
from converter.draw.order_panels import WorkLength
from converter.draw.words import Words
from converter.estimate.steps import cross_steps
from converter.estimate.thread import ChartPlans, length_mm, plan_chart
from converter.model.chart import Chart
from converter.report.plain import WIDTH
from converter.settings import ThreadSettings

MOST_PICTURES: Final = 12
"""Pages that come as PNG too; the PDF has all."""


def work_lengths(plans: ChartPlans) -> list[WorkLength]:
    """Return all lengths of a chart in the order of the work: crosses first, then lines."""
    return [
        WorkLength(np.asarray(holes, dtype=np.float64), length_mm(holes, plans), of_lines)
        for of_lines, plan in ((False, plans.crosses), (True, plans.lines))
        for holes in plan.lengths
    ]


def order_drawing(
    chart: Chart,
    thread: ThreadSettings,
    *,
    paper: str = "A4",
    words: Words | None = None,
    plans: ChartPlans | None = None,
    most_lengths: int | None = None,
) -> Drawing:
    """Return the sheets of the working order of a chart; the map alone where there are over ``most_lengths``."""
    lengths = work_lengths(plans or plan_chart(chart, thread))
    map_only = most_lengths is not None and len(lengths) > most_lengths
    return draw_order_sheets(chart, lengths, paper=paper, words=words, map_only=map_only)


def order_text(chart: Chart, lengths: list[WorkLength]) -> str:
    """Return the working order as a list of steps, to be read beside the chart."""
    title = chart.title or "Working order"
    lines = [title, "=" * len(title), ""]
    lines += textwrap.wrap(
        "Squares are written row/square, counted from 1 at the top left. Work the crosses in turn, lower leg / first, "
        "upper leg \\ on top. Crosses in brackets are worked whole after the lower leg of the cross before the "
        "bracket, whose upper leg follows them.",
        WIDTH,
    )
    if any(length.of_lines for length in lengths):
        lines += textwrap.wrap(
            "For backstitches holes are written row,hole, counted from 0 at the top left corner; each pair is up-down.",
            WIDTH,
        )
    for number, length in enumerate(lengths, 1):
        count = len(length.stitches)
        what = f"{count} backstitches" if length.of_lines else f"{count // 2} crosses"
        lines += ["", f"Length {number}: {what}, {length.used_mm / 10:.0f} cm of thread"]
        if length.of_lines:
            steps = [f"{_hole(up)}-{_hole(down)}" for up, down in length.stitches]
        else:
            steps = cross_steps(length.holes)
        lines += textwrap.wrap(
            "  ".join(steps), WIDTH, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False
        )
        lines.append("  End: run the thread under four or five stitches and cut it.")
    return "\n".join(lines) + "\n"


def _hole(hole: np.ndarray) -> str:
    return ",".join(f"{v:g}" for v in hole)


def order_outputs(
    chart: Chart, thread: ThreadSettings, *, paper: str, plans: ChartPlans | None = None
) -> dict[str, bytes]:
    """Return the working order by suffix: PDF, the first pages as PNG, and text."""
    lengths = work_lengths(plans or plan_chart(chart, thread))
    drawing = draw_order_sheets(chart, lengths, paper=paper)
    outputs = {"-order.pdf": drawing.pdf_bytes()}
    for page in range(min(len(drawing.pages), MOST_PICTURES)):
        suffix = "-order.png" if page == 0 else f"-order-{page + 1}.png"
        outputs[suffix] = drawing.png_bytes(page, dpi=150)
    outputs["-order.txt"] = order_text(chart, lengths).encode("utf-8")
    return outputs
