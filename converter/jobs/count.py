"""Counting a chart that is there already, with its working order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from converter.files.chart_file import load_chart
from converter.files.output import check_name, check_targets, name_from, planned_files, write_outputs
from converter.jobs.batch import Outcome
from converter.jobs.facts import gather_facts
from converter.jobs.requests import materials_from, thread_settings
from converter.report.machine import report_bytes, report_mapping
from converter.report.plain import report_text
from converter.settings import TimeSettings

SHEET_SUFFIXES: Final = (".txt", ".report.json", "-order.pdf", "-order.png", "-order.txt")


def count_chart(path: Path, options: Mapping[str, Any]) -> Outcome:
    """Count a chart file.

    Parameters
    ----------
    path : Path
    options : mapping
        The options of ``onecolour count`` by parameter name.

    Returns
    -------
    outcome : Outcome

    Raises
    ------
    ConverterError
    """
    name = check_name(options["name"]) if options.get("name") else name_from(path)
    folder = Path(options.get("out") or ".")
    sheet = bool(options.get("sheet"))
    if sheet:
        check_targets(planned_files(folder, name, SHEET_SUFFIXES), bool(options.get("overwrite")))
    chart = materials_from(options).apply(load_chart(path))
    thread = replace(
        thread_settings(options),
        working_length_mm=options["needleful"],
        tail_mm=options["tail"],
        carry_cells=options["carry"],
        hidden=options["hidden"],
        order=options["order"],
        line_method=options["line_method"],
    )
    if options.get("allowance") is not None:
        thread = replace(thread, allowance=options["allowance"] / 100)
    facts = gather_facts(chart, thread=thread, time=TimeSettings(pace=options["pace"]), piece=options.get("piece"))
    files: list[Path] = []
    if sheet:
        from converter.jobs.order import order_outputs

        outputs = {
            ".txt": report_text(facts).encode("utf-8"),
            ".report.json": report_bytes(facts),
            **order_outputs(chart, thread, paper=options["paper"], plans=facts.plans),
        }
        files = write_outputs(outputs, folder, name, bool(options.get("overwrite")))
    return Outcome(path, tuple(files), report_mapping(facts), report_text(facts))
