"""What a piece comes to: figures, files to take away, several sizes side by side."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np

from converter.errors import RequestError, UsageError
from converter.jobs.piece_areas import with_areas
from converter.jobs.piece_state import State, request_from
from converter.jobs.pieces import Bench, Made
from converter.model.results import MakingPlan
from converter.report.facts import Facts
from converter.units import PAPER_SIZES_MM

TAKEABLE: Final[Mapping[str, tuple[str, str]]] = {
    "leaflet": (".pdf", "application/pdf"),
    "chart-picture": (".png", "image/png"),
    "chart-drawing": (".svg", "image/svg+xml"),
    "cloth-picture": ("-stitched.png", "image/png"),
    "chart-file": (".chart.json", "application/json"),
    "report": (".txt", "text/plain; charset=utf-8"),
    "figures": (".report.json", "application/json"),
    "left-out": ("-left-out.png", "image/png"),
}
"""Kind of file to its ending and media type; the endings are those of ``onecolour chart``."""
_SIZES_SHOWN: Final = 6


def facts_of(bench: Bench, state: State, made: Made) -> Facts:
    """Return the figures of a piece, as the command works them out; once for each state of it."""
    facts, said = quick_facts(state, made), len([note for note in made.chart.notes if note])
    return replace(facts, notes=(*facts.notes[:said], *bench.paper_notes(state), *facts.notes[said:]))


def quick_facts(state: State, made: Made) -> Facts:
    """Return the figures without a look whether the picture is squared paper, which may take seconds."""
    from converter.jobs.facts import gather_facts

    if "facts" not in made.memo:
        request = request_from(state)
        made.memo["facts"] = gather_facts(made.chart, thread=request.thread, time=request.time, piece=request.piece)
    facts: Facts = made.memo["facts"]
    return facts


def figures_of(facts: Facts, making: MakingPlan | None = None) -> dict[str, Any]:
    """Return the figures for the page."""
    from converter.report.machine import report_mapping

    figures = {**report_mapping(facts), "needle": facts.needle, "skeins": facts.skeins, "warnings": []}
    if making is not None:
        figures["warnings"] = list(making.warnings)
        figures["made_up_mm"] = list(making.finished_mm)
        figures["parts"] = [{"name": part.name, "count": part.count, "cut_mm": part.cut_mm} for part in making.parts]
    return figures


def piece_output(bench: Bench, state: State, made: Made, kind: str) -> bytes:
    """Return the bytes of one of the files of `TAKEABLE`.

    Raises
    ------
    UsageError
        If there is no such file.
    """
    from converter.draw import drawings
    from converter.files.chart_file import chart_bytes

    chart = made.chart
    if kind == "chart-file":
        return chart_bytes(chart)
    if kind == "chart-picture":
        return drawings.png_bytes(chart)
    if kind == "chart-drawing":
        return drawings.svg_bytes(chart)
    if kind == "cloth-picture":
        return drawings.stitched_bytes(chart)
    if kind == "left-out":
        return _left_out(made)
    facts = facts_of(bench, state, made)
    if kind == "report":
        from converter.report.plain import report_text

        return report_text(facts).encode("utf-8")
    if kind == "figures":
        from converter.report.machine import report_bytes

        return report_bytes(facts)
    if kind == "leaflet":
        return piece_leaflet(state, made, facts)
    raise UsageError("There is no such file to take away.")


def _left_out(made: Made) -> bytes:
    from converter.draw.losses import losses_bytes

    reduction = made.reduction
    if made.made is None or reduction is None or not reduction.loss_mask.any():
        raise RequestError("Nothing of the picture was left out or joined.")
    return losses_bytes(made.made.image, reduction.loss_mask)


def piece_leaflet(state: State, made: Made, facts: Facts) -> bytes:
    """Return the leaflet: that of ``onecolour chart``, or with a kind of piece that of ``onecolour leaflet``."""
    from converter.draw.words import Words
    from converter.jobs.leaflet import leaflet_bytes

    request = request_from(state)
    options = state.get("options", {})
    making = piece_making(state, made)
    if making is None and not options.get("large") and not options.get("order"):
        return leaflet_bytes(made.chart, facts, paper=request.paper, thread=request.thread)
    large = bool(options.get("large"))
    return leaflet_bytes(
        made.chart,
        facts,
        paper=request.paper,
        thread=request.thread,
        making=making,
        pace=request.time.pace,
        large=large,
        style=None,
        words=Words(units="both"),
        order=bool(options.get("order")),
    )


def piece_making(state: State, made: Made) -> MakingPlan | None:
    """Return the making-up plan of a piece, or None if it is not decided what it becomes."""
    from converter.estimate.making import plan_making
    from converter.jobs.finish import making_settings

    request = request_from(state)
    if request.piece is None:
        return None
    facts = quick_facts(state, made)
    return plan_making(
        made.chart,
        settings=making_settings({"piece": request.piece}),
        stitch_thread=(facts.thread, facts.line_thread),
        thread_settings=request.thread,
    )


def fit_piece(bench: Bench, state: State) -> dict[str, Any]:
    """Return the largest width within her limits.

    Returns
    -------
    answer : dict
        ``wide`` in stitches, ``words`` on what held it.
    """
    from converter.jobs.sizes import fit_width

    if state["what"] != "picture":
        raise RequestError("A finished chart keeps its size.", "Begin again from the picture to change it.")
    request = request_from({**state, "options": {**state.get("options", {}), "wide": None, "high": None}})
    picture = bench.picture(request.settings.reduction.columns or 0)
    areas = state.get("areas", {})
    settings = with_areas(request.settings, areas, (picture.pixels.shape[0], picture.pixels.shape[1]))
    # Marked parts belong to one size of the picture; without them each width is tried as it would be made.
    read = None if areas else lambda stitches: bench.picture(stitches).pixels
    settings, words = fit_width(picture.pixels, settings, request, read)
    return {"wide": settings.reduction.columns, "words": list(words)}


def piece_sizes(bench: Bench, state: State, widths: Any = None) -> dict[str, Any]:
    """Return the piece at several widths side by side.

    Parameters
    ----------
    bench : Bench
    state : mapping
    widths : list of int, optional
        At most six; unsaid, from half to one and a half times the present width.
    """
    if state["what"] != "picture":
        raise RequestError("A finished chart keeps its size.", "Begin again from the picture to change it.")
    now = bench.make(state).base.columns
    if widths is None:
        widths = sorted({max(12, min(1000, 2 * round(now * share / 2))) for share in (0.5, 0.7, 0.85, 1.0, 1.25, 1.5)})
    ok = isinstance(widths, list) and 0 < len(widths) <= _SIZES_SHOWN
    if not ok or not all(type(wide) is int and 4 <= wide <= 1000 for wide in widths):
        raise UsageError("Widths are at most six whole numbers from 4 to 1000.")
    shown = []
    for wide in widths:
        one = {**state, "options": {**state.get("options", {}), "wide": wide, "high": None}}
        one.pop("hands", None)
        one.pop("border", None)
        one.pop("letters", None)
        made = bench.make(one)
        facts = figures_of(quick_facts(one, made))
        reduction = made.reduction
        shown.append(
            {
                "wide": made.base.columns,
                "rows": made.chart.rows,
                "columns": made.chart.columns,
                "bits": base64.b64encode(np.packbits(made.chart.cells).tobytes()).decode("ascii"),
                "lines": made.chart.lines.ravel().tolist(),
                "thread": made.chart.thread.colour,
                "facts": facts,
                "losses": [] if reduction is None else list(reduction.losses),
            }
        )
    return {"sizes": shown}


def offers() -> dict[str, Any]:
    """Return the choices that the page shows."""
    from converter.settings import PIECES

    return {"kinds": list(PIECES), "papers": list(PAPER_SIZES_MM), "takeable": list(TAKEABLE)}


def border_plans(bench: Bench, state: State, wish: Mapping[str, Any]) -> dict[str, Any]:
    """Return the plans that fit round the piece: one of each strip, or the best of the strips she names."""
    from converter.jobs.piece_border import border_choices, middle_of

    inner = {key: value for key, value in state.items() if key not in ("border", "letters")}
    middle = middle_of(bench.make(inner).chart, state)
    return border_choices(middle, wish.get("strips"), wish.get("gap"), wish.get("onto"))
