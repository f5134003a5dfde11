"""Cutting and making-up plan of a chart: sheet, text and machine record."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from converter.draw.cutting import PIECE_WORDS, making_pdf
from converter.estimate.making import plan_making
from converter.estimate.making.words import part_size
from converter.estimate.thread import thread_use
from converter.files.chart_file import load_chart
from converter.files.output import check_name, check_targets, name_from, planned_files, write_outputs
from converter.jobs.batch import Outcome
from converter.jobs.requests import materials_from, thread_settings
from converter.model.chart import Chart
from converter.model.results import MakingPlan
from converter.settings import MakingSettings, ThreadSettings

FINISH_SUFFIXES: Final = ("-finish.pdf", "-finish.txt", "-finish.json")
"""What `onecolour finish` writes, after the name."""


def making_settings(options: Mapping[str, Any]) -> MakingSettings:
    """Return what the options say of the piece."""
    return MakingSettings(
        piece=options.get("piece") or MakingSettings.piece,
        way=options.get("way") or "auto",
        margin_mm=options.get("margin"),
        fringe_mm=options.get("fringe"),
        size_mm=options.get("size"),
        cloth_mm=options.get("cloth"),
        edge=options.get("edge") or "auto",
    )


def plan_finish(chart: Chart, settings: MakingSettings, thread: ThreadSettings | None = None) -> MakingPlan:
    """Return the making-up plan of a chart, with its thread on the shopping list."""
    use = thread or ThreadSettings()
    return plan_making(chart, settings=settings, stitch_thread=thread_use(chart, use), thread_settings=use)


def finish_chart(path: Path, options: Mapping[str, Any]) -> Outcome:
    """Plan the making up of a chart file and write the results.

    Parameters
    ----------
    path : Path
    options : mapping
        The options of ``onecolour finish`` by parameter name.

    Raises
    ------
    ConverterError
    """
    name = check_name(options["name"]) if options.get("name") else name_from(path)
    folder, overwrite = Path(options.get("out") or "."), bool(options.get("overwrite"))
    settings = making_settings(options)
    check_targets(planned_files(folder, name, FINISH_SUFFIXES), overwrite)
    chart = materials_from(options).apply(load_chart(path))
    plan = plan_finish(chart, settings, thread_settings(options))
    files = write_outputs(
        finish_outputs(plan, chart, paper=options.get("paper") or "A4", title=name), folder, name, overwrite
    )
    return Outcome(path, tuple(files), finish_record(plan, chart), finish_text(plan, chart, name))


def finish_outputs(plan: MakingPlan, chart: Chart, *, paper: str = "A4", title: str = "") -> dict[str, bytes]:
    """Return what ``onecolour finish`` writes, by suffix."""
    name = chart.title or title
    record = json.dumps(finish_record(plan, chart), ensure_ascii=False, indent=1) + "\n"
    return {
        "-finish.pdf": making_pdf(plan, chart, paper=paper, title=name),
        "-finish.txt": finish_text(plan, chart, name).encode("utf-8"),
        "-finish.json": record.encode("utf-8"),
    }


def _rounded(size_mm: tuple[float, ...]) -> list[float]:
    return [round(side, 3) for side in size_mm]


def finish_record(plan: MakingPlan, chart: Chart) -> dict[str, Any]:
    """Return the machine record of a plan."""
    cut = plan.cut
    return {
        "piece": plan.kind,
        "title": chart.title,
        "finished_mm": _rounded(plan.finished_mm),
        "design_mm": _rounded(cut.finished_mm) if cut else None,
        "margins_mm": dict(zip(("left", "top", "right", "bottom"), _rounded(cut.margins_mm), strict=True))
        if cut
        else {},
        "cut_threads": list(cut.threads) if cut and cut.threads else None,
        "parts": [
            {
                "name": part.name,
                "count": part.count,
                "cut_mm": _rounded(part.cut_mm),
                "cut_in": [round(side / 25.4, 3) for side in part.cut_mm],
                "material": part.material,
                "note": part.note,
                "lines": [
                    {"what": guide.role, "label": guide.label, "points_mm": [_rounded(point) for point in guide.points]}
                    for guide in part.guides
                    if len(guide.points) <= 4
                ],
            }
            for part in plan.parts
        ],
        "steps": list(plan.steps),
        "shopping": list(plan.shopping),
        "cautions": list(plan.cautions),
        "warnings": list(plan.warnings),
    }


def finish_text(plan: MakingPlan, chart: Chart, title: str = "") -> str:
    """Return the plan as text, for the screen or a printer without pictures."""
    head = f"{chart.title or title or 'Making up'}: {PIECE_WORDS[plan.kind]}"
    lines = [head, "=" * len(head), ""]
    for warning in plan.warnings:
        lines += [f"Look first: {warning}", ""]
    lines += ["Cutting list", "------------"]
    for part in plan.parts:
        times = "" if part.count == 1 else f"{part.count} x "
        note = f", {part.note}" if part.note else ""
        lines.append(f"- {times}{part.name}: {part_size(part)}{note}")
        for label in dict.fromkeys(guide.label for guide in part.guides if guide.label and guide.role != "centre"):
            lines.append(f"    {label}")
    for heading, items in (
        ("Shopping list", plan.shopping),
        ("Step by step", plan.steps),
        ("Take care", plan.cautions),
    ):
        lines += ["", heading, "-" * len(heading)]
        numbered = heading == "Step by step"
        lines += [f"{number}. {item}" if numbered else f"- {item}" for number, item in enumerate(items, 1)]
    return "\n".join(lines) + "\n"
