"""The result files of a chart, as bytes by suffix; and the public drawing functions."""

from __future__ import annotations

from pathlib import Path
from typing import IO, Any

from converter.draw import drawings
from converter.draw.stitched import stitched_picture
from converter.files.chart_file import chart_bytes
from converter.files.output import write_whole
from converter.jobs.chart import MadeChart
from converter.model.chart import Chart
from converter.report.facts import Facts
from converter.report.machine import report_bytes
from converter.report.plain import report_text
from converter.settings import ThreadSettings

Target = str | Path | IO[bytes]


class ChartPictures:
    """The pictures of a chart in pixels, which can be drawn before its figures are known.

    Parameters
    ----------
    chart : Chart
    """

    def __init__(self, chart: Chart) -> None:
        self.chart_png = drawings.png_bytes(chart)
        self.look = stitched_picture(chart)
        self.look_png = self.look.png


def chart_outputs(
    made: MadeChart, facts: Facts, pictures: ChartPictures, *, paper: str, thread: ThreadSettings
) -> dict[str, bytes]:
    """Return what ``onecolour chart`` writes.

    Returns
    -------
    outputs : dict of suffix to bytes
        `converter.jobs.chart.CHART_SUFFIXES`, and ``-left-out.png`` where parts of the picture were lost.
    """
    from converter.jobs.leaflet import leaflet_bytes

    chart = made.chart
    outputs = {
        ".chart.json": chart_bytes(chart),
        ".png": pictures.chart_png,
        "-stitched.png": pictures.look_png,
        ".pdf": leaflet_bytes(chart, facts, paper=paper, thread=thread, look=pictures.look),
        ".txt": report_text(facts).encode("utf-8"),
        ".report.json": report_bytes(facts),
    }
    if made.reduction.losses and made.reduction.loss_mask.any():
        from converter.draw.losses import losses_bytes

        outputs["-left-out.png"] = losses_bytes(made.image, made.reduction.loss_mask)
    return outputs


def draw_png(chart: Chart, target: Target, **options: Any) -> None:
    """Write the chart as PNG; options of `converter.draw.drawings.png_bytes`."""
    _write(target, drawings.png_bytes(chart, **options))


def draw_svg(chart: Chart, target: Target, **options: Any) -> None:
    """Write the chart as SVG; options of `converter.draw.drawings.svg_bytes`."""
    _write(target, drawings.svg_bytes(chart, **options))


def draw_pdf(chart: Chart, target: Target, **options: Any) -> None:
    """Write the chart as vector PDF; options of `converter.draw.drawings.pdf_bytes`."""
    _write(target, drawings.pdf_bytes(chart, **options))


def draw_stitched(chart: Chart, target: Target, **options: Any) -> None:
    """Write the stitched look as PNG; options of `converter.draw.drawings.stitched_bytes`."""
    _write(target, drawings.stitched_bytes(chart, **options))


def _write(target: Target, data: bytes) -> None:
    if isinstance(target, (str, Path)):
        write_whole(target, data, overwrite=True)
    else:
        target.write(data)
