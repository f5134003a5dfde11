"""The result files of a chart, as bytes by suffix; and the public drawing functions."""

from __future__ import annotations

from pathlib import Path
from typing import IO, Any

from converter.draw import drawings
from converter.draw.losses import losses_bytes
from converter.draw.palette import IndexedPicture
from converter.draw.stitched import stitched_picture
from converter.files.chart_file import chart_bytes
from converter.files.output import write_whole
from converter.jobs.beside import Beside
from converter.jobs.chart import MadeChart
from converter.model.chart import Chart
from converter.report.facts import Facts
from converter.report.machine import report_bytes
from converter.report.plain import report_text
from converter.settings import ThreadSettings

Target = str | Path | IO[bytes]


class ChartPictures:
    """The pictures of a chart in pixels: drawn at once, packed beside what comes next.

    Parameters
    ----------
    made : MadeChart
    """

    def __init__(self, made: MadeChart) -> None:
        look = stitched_picture(made.chart)
        packing = {"-stitched.png": Beside(lambda: look.png), ".png": Beside(drawings.png_packing(made.chart))}
        if made.reduction.losses and made.reduction.loss_mask.any():
            packing["-left-out.png"] = Beside(lambda: losses_bytes(made.image, made.reduction.loss_mask))
        self._look = look
        self._packing = packing

    def packed(self) -> dict[str, bytes]:
        """Return the PNG files by their suffix, once they are packed."""
        return {suffix: work.result() for suffix, work in self._packing.items()}

    @property
    def look(self) -> IndexedPicture:
        """The stitched look, once it is packed."""
        self._packing["-stitched.png"].result()
        return self._look


def chart_outputs(
    made: MadeChart, facts: Facts, pictures: ChartPictures, *, paper: str, thread: ThreadSettings
) -> dict[str, bytes]:
    """Return what ``onecolour chart`` writes.

    Returns
    -------
    outputs : dict of suffix to bytes
        `converter.jobs.batch.CHART_SUFFIXES`, and ``-left-out.png`` where parts of the picture were lost.
    """
    from converter.jobs.leaflet import leaflet_bytes

    chart = made.chart
    leaflet = leaflet_bytes(chart, facts, paper=paper, thread=thread, look=pictures.look)
    packed = pictures.packed()
    return {
        ".chart.json": chart_bytes(chart),
        ".png": packed.pop(".png"),
        "-stitched.png": packed.pop("-stitched.png"),
        ".pdf": leaflet,
        ".txt": report_text(facts).encode("utf-8"),
        ".report.json": report_bytes(facts),
        **packed,
    }


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
