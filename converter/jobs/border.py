"""Borders round a motif: read, move the motif about, fit, letter, draw, write."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap
from typing import Any, Final

from converter.compose import moves
from converter.compose.bands import as_band, as_corners
from converter.compose.catalogue import strips
from converter.compose.fit import fit_borders
from converter.compose.lettering import fit_text, letter_border, place_text, text_chart
from converter.compose.letters import text_cells
from converter.compose.plan import BorderPlan
from converter.compose.ring import symmetry_name
from converter.errors import RequestError, UsageError
from converter.files.chart_file import chart_bytes, load_chart
from converter.files.output import check_name, check_targets, name_from, planned_files, write_outputs
from converter.jobs.border_checks import refuse_idle
from converter.jobs.border_parts import chosen_bands, moved_motif, outer_size, wanted_corners, wanted_gap
from converter.jobs.requests import materials_from
from converter.model.chart import Chart
from converter.units import format_size

SUFFIXES: Final = (".chart.json", ".png", "-plans.png")
_WIDE: Final = 100
"""Columns of the printed words."""
_TEXT_SPACE: Final = 2
"""Blank rows between the motif and a line of text."""


@dataclass(frozen=True, eq=False)
class Offer:
    """A plan and the strips it is made of."""

    strip: str
    plan: BorderPlan

    def record(self, number: int) -> dict[str, Any]:
        """Return the plan for the machine report."""
        rows, cols = self.plan.shape
        return {
            "plan": number,
            "strip": self.strip,
            "columns": cols,
            "rows": rows,
            "corners": self.plan.corners,
            "deviations": list(self.plan.deviations),
            "notes": list(self.plan.notes),
            "cost": self.plan.cost,
            "whole": self.plan.whole,
            "symmetry": self.plan.symmetry,
        }


@dataclass(frozen=True, eq=False)
class BorderOutcome:
    """What came of a border job."""

    chart: Chart
    offers: tuple[Offer, ...]
    chosen: int
    notes: tuple[str, ...]
    files: tuple[Path, ...] = ()

    def report(self) -> dict[str, Any]:
        """Return the machine report."""
        width_mm, height_mm = self.chart.finished_mm
        return {
            "plans": [offer.record(at) for at, offer in enumerate(self.offers, 1)],
            "chosen": self.chosen,
            "columns": self.chart.columns,
            "rows": self.chart.rows,
            "stitches": int(self.chart.cells.sum()),
            "backstitches": len(self.chart.lines),
            "finished_mm": [round(width_mm, 1), round(height_mm, 1)],
            "notes": list(self.notes),
            "files": [str(file) for file in self.files],
        }

    def text(self) -> str:
        """Return the outcome in plain words."""
        lines = []
        for at, offer in enumerate(self.offers, 1):
            mark = "*" if at == self.chosen else " "
            lines += wrap(f"{mark}{at:>3}  {offer.strip}: {offer.plan.describe()}", _WIDE, subsequent_indent=" " * 6)
        size = format_size(*self.chart.finished_mm)
        lines.append(
            f"{'Plan ' + str(self.chosen) + ': ' if self.offers else ''}{self.chart.columns} x {self.chart.rows} "
            f"stitches, {size} on {self.chart.fabric.describe()}."
        )
        for note in self.notes:
            lines += wrap(f"- {note}", _WIDE, subsequent_indent="  ")
        return "\n".join(lines)


def make_offers(
    chart: Chart,
    names: Sequence[object],
    *,
    gap: int | tuple[int, ...] = 3,
    outer: tuple[int, int] | None = None,
    corners: str = "auto",
    slack: int = 2,
    double_middle: bool = False,
    count: int = 12,
) -> list[Offer]:
    """Return the best plans round a chart.

    Parameters
    ----------
    names : sequence
        Strips from the inside out; none: every built-in strip is tried and each gives its best plan.
    """
    options: dict[str, Any] = {
        "gap": gap, "outer": outer, "corners": corners, "slack": slack, "double_middle": double_middle,
    }  # fmt: skip
    if names:
        label = " + ".join(
            value if isinstance(value, str) else getattr(value, "name", "corner pieces") for value in names
        )
        return [Offer(label, plan) for plan in fit_borders(chart, list(names), count=count, **options)]
    offers = []
    for name in strips():
        try:
            offers.append(Offer(name, fit_borders(chart, name, count=1, **options)[0]))
        except RequestError:
            continue
    if not offers:
        raise RequestError("No strip fits there.", "Take a larger outer size or allow other corners.")
    offers.sort(key=lambda offer: offer.plan.cost)
    return offers[:count]


def border_chart(path: Path | None, options: Mapping[str, Any]) -> BorderOutcome:
    """Do the whole border job for a chart file.

    Parameters
    ----------
    path : Path
    options : mapping
        The options of ``onecolour border`` by parameter name.

    Raises
    ------
    ConverterError
    """
    assert path is not None
    name = check_name(options["name"]) if options.get("name") else f"{name_from(path)}-border"
    folder = Path(options.get("out") or ".")
    overwrite = bool(options.get("overwrite"))
    refuse_idle(options)
    check_targets(planned_files(folder, name, SUFFIXES), overwrite)
    chart = materials_from(options).apply(load_chart(path))
    outcome = compose_chart(chart, options)
    files = write_outputs(border_outputs(outcome), folder, name, overwrite)
    return BorderOutcome(outcome.chart, outcome.offers, outcome.chosen, outcome.notes, tuple(files))


def compose_chart(chart: Chart, options: Mapping[str, Any]) -> BorderOutcome:
    """Move the motif about, add text, fit the borders and choose a plan, without writing anything."""
    chart, notes = moved_motif(chart, options)
    text, place = options.get("text"), str(options.get("text_place") or "below")
    bare = [str(name).strip().lower() for name in options.get("strip") or ()] == ["none"]
    bands = [] if bare else chosen_bands(options, notes)
    outer = outer_size(chart, options)
    if text and place in ("below", "above"):
        chart, note = _with_text_line(chart, text, place, _text_room(outer, bands, options), options)
        notes += [note] if note else []
    offers: list[Offer] = []
    chosen = 0
    if not bare:
        chosen = int(options.get("plan") or 1)
        if options.get("double_middle") and symmetry_name(chart.cells, chart.lines) not in ("D4", "D2"):
            notes.append("The motif is not symmetric both ways, so its middle was not doubled.")
        offers = make_offers(
            chart,
            bands,
            gap=wanted_gap(options),
            outer=outer,
            corners=wanted_corners(bands, options),
            slack=int(options.get("slack", 2)),
            double_middle=bool(options.get("double_middle")),
            count=max(int(options.get("plans") or 12), chosen),
        )
        if chosen > len(offers):
            raise RequestError(f"There is no plan {chosen}.", f"Choose one from 1 to {len(offers)}.")
        plan = offers[chosen - 1].plan
        cells, lines = plan.cells, plan.lines
        if text and place in ("border", "border-top"):
            lettered = letter_border(
                plan, text, side="top" if place == "border-top" else "bottom",
                alphabet=options.get("letters") or "auto", method=options.get("text_method") or "crosses",
            )  # fmt: skip
            cells, lines = lettered.cells, lettered.lines
            notes += [lettered.note] if lettered.note else []
        notes += list(plan.notes)
        if options.get("cloth") and not options.get("margin"):
            notes.append(
                "The border reaches the edge of the cloth. Give --margin for bare cloth on every side; 3 in (7.5 cm) "
                "is usual for a piece that is framed or mounted."
            )
        chart = chart.with_(cells=cells, lines=lines, placement=None)
    elif text and place in ("border", "border-top"):
        raise UsageError("There is no border to put the text into.", "Choose another place for it.")
    if text and place not in ("below", "above", "border", "border-top"):
        chart, note = place_text(
            chart, text, _place(place, chart), align="left" if "," in place else "centre", from_top=True,
            alphabet=options.get("letters") or "auto", method=options.get("text_method") or "crosses",
        )  # fmt: skip
        notes += [note] if note else []
    return BorderOutcome(chart, tuple(offers), chosen, tuple(notes))


def border_outputs(outcome: BorderOutcome) -> dict[str, bytes]:
    """Return the files of a border job by suffix."""
    from converter.draw import png_bytes
    from converter.draw.plans import SHEET_DPI, plan_sheet

    chart = outcome.chart
    try:
        picture = png_bytes(chart)
    except RequestError as error:
        raise RequestError(
            f"A chart of {chart.columns} x {chart.rows} stitches is too large to be drawn on one sheet.",
            "Take a smaller size, or repeat or join less.",
        ) from error
    outputs = {".chart.json": chart_bytes(chart), ".png": picture}
    if outcome.offers:
        sheet = plan_sheet(
            [(offer.strip, offer.plan) for offer in outcome.offers], outcome.chart, chosen=outcome.chosen
        )
        outputs["-plans.png"] = sheet.png_bytes(dpi=SHEET_DPI)
    return outputs


def write_collection(options: Mapping[str, Any]) -> Path:
    """Write the sheet of all built-in strips and return its file."""
    from converter.draw.plans import SHEET_DPI, strip_sheet

    name = check_name(options["name"]) if options.get("name") else "border-strips"
    folder = Path(options.get("out") or ".")
    overwrite = bool(options.get("overwrite"))
    check_targets([folder / f"{name}.png"], overwrite)
    colour = options.get("thread_colour")
    sheet = strip_sheet(colour) if colour else strip_sheet()
    return write_outputs({".png": sheet.png_bytes(dpi=SHEET_DPI)}, folder, name, overwrite)[0]


def _text_room(outer: tuple[int, int] | None, bands: Sequence[object], options: Mapping[str, Any]) -> int | None:
    """Return the columns that a text inside the borders may take, or None if the size is free."""
    if options.get("text_wide"):
        return int(options["text_wide"])
    if outer is None:
        return None
    gap = wanted_gap(options)
    gaps = (gap,) * max(1, len(bands)) if isinstance(gap, int) else gap
    depth = sum(as_band(band, as_corners(None)).depth for band in bands)
    return max(1, outer[1] - 2 * depth - 2 * sum(gaps))


def _with_text_line(
    chart: Chart, text: str, place: str, room: int | None, options: Mapping[str, Any]
) -> tuple[Chart, str]:
    """Put a line of text below or above the motif; without a fixed size it may be wider than the motif."""
    method = options.get("text_method") or "crosses"
    alphabet = options.get("letters") or "auto"
    if alphabet == "auto":
        large = text_cells(text, "large").width <= min(chart.columns, room or chart.columns)
        alphabet = "large" if large and method == "crosses" else "small"
    width = max(chart.columns, text_cells(text, alphabet).width + 1) if room is None else room
    fitted = fit_text(text, width, alphabet, even_to=chart.columns)
    line = text_chart(chart, fitted, method)
    parts = [chart, line] if place == "below" else [line, chart]
    joined = moves.join(parts, _TEXT_SPACE, "centre", upright=True)
    return joined.with_(title=chart.title), fitted.note


def _place(text: str, chart: Chart) -> moves.Box:
    try:
        row, col = (int(v) for v in (text if "," in text else f"{text},1").split(","))
    except ValueError:
        raise UsageError(
            f"'{text}' is not a place for the text.", "Write below, above, border, border-top, ROW,COLUMN or ROW."
        ) from None
    if not (1 <= row <= chart.rows and 1 <= col <= chart.columns):
        raise RequestError(f"Row {row}, column {col} is not inside the chart of {chart.columns} x {chart.rows}.")
    return row - 1, col - 1, chart.rows - row + 1, chart.columns - col + 1
