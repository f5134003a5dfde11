"""The figures of a chart as the machine report, ``*.report.json``."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from converter.model.results import ThreadUse
from converter.report.facts import Facts
from converter.units import mm_to_inches


def report_mapping(facts: Facts) -> dict[str, Any]:
    """Return the machine report.

    ``thread.length_m`` is working thread as it goes through the needle, all strands together;
    ``skeins`` of each part and ``skeins_together`` are whole skeins to buy.
    """
    chart, count, cut = facts.chart, facts.count, facts.cut
    return {
        "title": chart.title,
        "source": chart.source,
        "stitches": count.stitches,
        "backstitches": count.backstitches,
        "line_length_cells": count.line_length_cells,
        "columns": count.columns,
        "rows": count.rows,
        "components": count.components,
        "holes": count.holes,
        "isolated": count.isolated,
        "fabric": {
            "count_per_inch": chart.fabric.count_per_inch,
            "over": chart.fabric.over,
            "colour": chart.fabric.colour,
        },
        "thread_colour": chart.thread.colour,
        "thread_name": chart.thread.name,
        "strands": chart.thread.strands,
        "line_strands": chart.thread.line_strands,
        "needle": facts.needle,
        "finished_mm": [round(v, 3) for v in cut.finished_mm],
        "finished_in": [round(mm_to_inches(v), 4) for v in cut.finished_mm],
        "cut_mm": [round(v, 3) for v in cut.cut_mm],
        "margin_mm": round(cut.margin_mm, 3),
        "thread": _thread(facts.thread),
        "line_thread": _thread(facts.line_thread),
        "skeins_together": facts.skeins,
        "skeins_left_over_m": round(facts.skeins_left_m, 3),
        "hours": {
            "low": round(facts.time.low, 2),
            "likely": round(facts.time.likely, 2),
            "high": round(facts.time.high, 2),
        },
        "readability": None if facts.readability is None else round(facts.readability, 1),
        "piece": facts.piece,
        "notes": list(facts.notes),
    }


def _thread(use: ThreadUse) -> Mapping[str, Any]:
    return {
        "length_m": round(use.length_m, 4),
        "front_m": round(use.front_m, 4),
        "back_m": round(use.back_m, 4),
        "tails_m": round(use.tails_m, 4),
        "starts": use.starts,
        "carries": use.carries,
        "skeins": use.skeins,
        "skein_share": round(use.skein_share, 4),
        "left_over_m": round(use.left_over_m, 3),
        "method": use.method,
        "allowance": use.allowance,
    }


def report_bytes(facts: Facts) -> bytes:
    """Return the bytes of ``*.report.json``."""
    return (json.dumps(report_mapping(facts), ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")
