"""The leaflet of a chart: figures, working order and making up, put together for printing."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from converter.draw.canvas import Drawing
from converter.draw.leaflet import leaflet_drawing
from converter.draw.palette import IndexedPicture
from converter.draw.scene import ChartStyle
from converter.draw.words import Words
from converter.files.chart_file import load_chart
from converter.files.output import check_name, check_targets, name_from, planned_files, write_outputs
from converter.jobs.batch import Outcome, title_from
from converter.jobs.colour_words import colour_words
from converter.jobs.facts import gather_facts
from converter.jobs.requests import materials_from, thread_settings
from converter.model.chart import Chart
from converter.model.leaflet import LeafletContent
from converter.model.results import MakingPlan
from converter.report.facts import Facts
from converter.report.machine import report_mapping
from converter.report.plain import report_text
from converter.settings import ThreadSettings, TimeSettings

MOST_LENGTHS: Final = 24
"""A leaflet shows each length of thread up to this number, and above it only the map of them."""


def leaflet_content(
    facts: Facts, *, thread: ThreadSettings, making: MakingPlan | None = None, pace: float | None = None
) -> LeafletContent:
    """Return what the leaflet says of a chart."""
    cut = making.cut if making is not None and making.cut is not None else facts.cut
    return LeafletContent(
        count=facts.count,
        thread=facts.thread,
        line_thread=facts.line_thread,
        skeins=facts.skeins,
        skeins_left_m=facts.skeins_left_m,
        skein_m=thread.skein_m,
        cut=cut,
        time=facts.time,
        pace=pace,
        needle=facts.needle,
        thread_words=colour_words(facts.chart.thread.colour),
        cloth_words=colour_words(facts.chart.fabric.colour),
        working_length_mm=thread.working_length_mm,
        tail_mm=thread.tail_mm,
        carry_cells=thread.carry_cells,
        making=making,
        notes=facts.notes,
    )


def leaflet_pages(
    chart: Chart,
    facts: Facts,
    *,
    paper: str,
    thread: ThreadSettings,
    making: MakingPlan | None = None,
    pace: float | None = None,
    large: bool = False,
    style: ChartStyle | None = None,
    words: Words | None = None,
    order: bool = True,
    look: IndexedPicture | None = None,
) -> Drawing:
    """Return the leaflet as a drawing, page by page."""
    content = leaflet_content(facts, thread=thread, making=making, pace=pace)
    order_pages: list[Drawing] = []
    if order and facts.count.stitches + facts.count.backstitches:
        from converter.jobs.order import order_drawing

        order_pages = [
            order_drawing(chart, thread, paper=paper, words=words, plans=facts.plans, most_lengths=MOST_LENGTHS)
        ]
    return leaflet_drawing(
        chart,
        content,
        paper=paper,
        large=large,
        style=style,
        words=words,
        order_pages=order_pages,
        look=look,
    )


def leaflet_bytes(chart: Chart, facts: Facts, *, paper: str, thread: ThreadSettings, **options: Any) -> bytes:
    """Return the leaflet as PDF; options of `leaflet_pages`."""
    return leaflet_pages(chart, facts, paper=paper, thread=thread, **options).pdf_bytes()


def write_leaflet(path: Path, options: Mapping[str, Any]) -> Outcome:
    """Write the leaflet of a chart file.

    Parameters
    ----------
    path : Path
    options : mapping
        The options of ``onecolour leaflet`` by parameter name.

    Raises
    ------
    ConverterError
    """
    from converter.jobs.finish import making_settings, plan_finish

    name = check_name(options["name"]) if options.get("name") else name_from(path)
    folder, overwrite = Path(options.get("out") or "."), bool(options.get("overwrite"))
    check_targets(planned_files(folder, name, (".pdf",)), overwrite)
    chart = materials_from(options).apply(load_chart(path))
    if not chart.title:
        chart = chart.with_(title=title_from(name))
    thread = thread_settings(options)
    pace = options.get("pace") or TimeSettings.pace
    facts = gather_facts(chart, thread=thread, time=TimeSettings(pace=pace), piece=options.get("piece"))
    making = None
    if options.get("piece"):
        making = plan_finish(chart, making_settings(options), thread)
    tens_from = options.get("tens_from")
    large = bool(options.get("large"))
    style = None
    if tens_from:
        from dataclasses import replace

        style = replace(ChartStyle.large() if large else ChartStyle(), tens_from=tens_from)
    data = leaflet_bytes(
        chart,
        facts,
        paper=options.get("paper") or "A4",
        thread=thread,
        making=making,
        pace=pace,
        large=large,
        style=style,
        words=Words(units=options.get("units") or "both"),
        order=options.get("order", True),
    )
    files = write_outputs({".pdf": data}, folder, name, overwrite)
    return Outcome(path, tuple(files), report_mapping(facts), report_text(facts))
