"""The figures of a chart as a page of plain text."""

from __future__ import annotations

import textwrap

from converter.report.facts import Facts
from converter.units import format_size, mm_to_inches

WIDTH = 78

CAUTIONS = (
    "Test the thread for colour that runs before you stitch: wet a length, press it on white cloth. "
    "Rinse strong colours, red above all, in cold water until it stays clear, and let them dry.",
    "Count needles and pins before and after; keep scissors, needles and thread ends away from small children.",
    "If you did not draw the picture yourself, make sure that you may use it; "
    "selling a piece may need the owner's leave and has to follow local rules.",
)


def report_text(facts: Facts) -> str:
    """Return the report she reads."""
    chart, count, cut = facts.chart, facts.count, facts.cut
    title = chart.title or "Chart"
    parts = [title, "=" * min(len(title), WIDTH), ""]
    rows = [
        ("Design", f"{count.columns} wide x {count.rows} high"),
        ("Crosses", f"{count.stitches:,}"),
    ]
    if count.backstitches:
        rows.append(("Backstitches", f"{count.backstitches:,} ({count.line_length_cells:.0f} stitch sides long)"))
    rows += [
        ("Separate parts", f"{count.components:,}, openings {count.holes:,}, loose stitches {count.isolated:,}"),
        ("Cloth", f"{chart.fabric.describe()}, colour {chart.fabric.colour}"),
        ("Finished size", format_size(*cut.finished_mm)),
        ("Cut the cloth", format_size(*cut.cut_mm)),
        ("", f"that is {mm_to_inches(cut.margin_mm):.2f} in ({cut.margin_mm / 10:.1f} cm) bare on every side"),
        ("Thread", _thread_words(facts)),
        ("Crosses take", _use_words(facts, lines=False)),
    ]
    if count.backstitches:
        rows.append(("Backstitch takes", _use_words(facts, lines=True)))
    rows += [
        ("Skeins", f"{facts.skeins} of 8 m; about {facts.skeins_left_m:.1f} m left over"),
        ("Needle", facts.needle or "-"),
        ("Time", f"about {facts.time.likely:.1f} hours ({facts.time.low:.1f} to {facts.time.high:.1f})"),
    ]
    if facts.readability is not None:
        rows.append(("Readability", f"{facts.readability:.0f} of 100"))
    if facts.piece:
        rows.append(("For", facts.piece))
    parts += [f"{label:<17}{text}" for label, text in rows]
    if facts.notes:
        parts += ["", "Good to know", "------------", *_listed(facts.notes)]
    parts += ["", "Before you begin", "----------------", *_listed(CAUTIONS)]
    return "\n".join(parts) + "\n"


def _thread_words(facts: Facts) -> str:
    thread = facts.chart.thread
    name = f"{thread.name}, " if thread.name else ""
    words = f"{name}colour {thread.colour}, {thread.strands} strands for crosses"
    return words + (f", {thread.line_strands} for backstitch" if facts.count.backstitches else "")


def _use_words(facts: Facts, lines: bool) -> str:
    use = facts.line_thread if lines else facts.thread
    starts = "1 length" if use.starts == 1 else f"{use.starts} lengths"
    carries = "no carries" if use.carries == 0 else ("1 carry" if use.carries == 1 else f"{use.carries} carries")
    return f"{use.length_m:.1f} m in the needle, {starts}, {carries}"


def _listed(notes: tuple[str, ...]) -> list[str]:
    lines: list[str] = []
    for note in notes:
        lines += textwrap.wrap(note, WIDTH, initial_indent="- ", subsequent_indent="  ")
    return lines
