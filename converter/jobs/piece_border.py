"""Borders and letters round a piece: which plans fit, and the chosen one put round the motif.

In a piece's state ``border`` is ``{"strips": [names from the inside out], "gap": squares, "plan": mark}``, where the
mark names the plan she chose; when the motif changes its size and the plan is gone, the best one is taken.
``letters`` is ``{"text": ..., "place": ..., "size": ..., "method": ...}``. Everything goes through the border job, so
the command makes the same chart of the same choices.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from converter.compose.bands import FRAME_NAMES
from converter.compose.catalogue import strips
from converter.compose.plan import BorderPlan
from converter.errors import RequestError, UsageError
from converter.jobs.border import compose_chart, make_offers
from converter.model.chart import Chart

MOST_STRIPS: Final = 3
LETTER_PLACES: Final = ("below", "above", "border", "border-top")
LETTER_SIZES: Final = ("auto", "small", "large")
LETTER_METHODS: Final = ("crosses", "lines")
MOST_LETTERS: Final = 60
_PLANS: Final = 12
_SHOWN: Final = 6
Box = tuple[int, int, int, int]


def check_border(border: Any) -> None:
    """Raise UsageError if it is no border as described above."""
    if not isinstance(border, dict) or not set(border) <= {"strips", "gap", "plan"}:
        raise UsageError("A border names its strips, its gap and its plan.")
    names = border.get("strips")
    known = (*strips(), *FRAME_NAMES)
    if not isinstance(names, list) or not 0 < len(names) <= MOST_STRIPS or not all(name in known for name in names):
        raise UsageError(f"A border has one to {MOST_STRIPS} strips of the collection.")
    gap = border.get("gap", 3)
    if type(gap) is not int or not 0 <= gap <= 40:
        raise UsageError("The gap is a whole number of squares from 0 to 40.")
    if not isinstance(border.get("plan", ""), str) or len(border.get("plan", "")) > 100:
        raise UsageError("The plan is named by its mark.")


def check_letters(letters: Any) -> None:
    """Raise UsageError if they are no letters as described above."""
    if not isinstance(letters, dict) or not set(letters) <= {"text", "place", "size", "method"}:
        raise UsageError("Letters have a text, a place, a size and a method.")
    text = letters.get("text")
    if not isinstance(text, str) or not text.strip() or len(text) > MOST_LETTERS or not text.isprintable():
        raise UsageError(f"The text is a line of at most {MOST_LETTERS} letters.")
    allowed = (("place", LETTER_PLACES), ("size", LETTER_SIZES), ("method", LETTER_METHODS))
    for key, choices in allowed:
        if letters.get(key, choices[0]) not in choices:
            raise UsageError(f"The {key} of the letters is one of {', '.join(choices)}.")


def border_options(state: Mapping[str, Any]) -> dict[str, Any]:
    """Return the options of the border job for a piece's border and letters."""
    border, letters = state.get("border"), state.get("letters")
    options: dict[str, Any] = {"strip": ["none"], "plans": _PLANS}
    if border:
        options |= {"strip": list(border["strips"]), "gap": border.get("gap", 3)}
    if letters:
        options |= {
            "text": letters["text"],
            "text_place": letters.get("place", "below"),
            "letters": letters.get("size", "auto"),
            "text_method": letters.get("method", "crosses"),
        }
    return options


def compose_piece(chart: Chart, state: Mapping[str, Any]) -> tuple[Chart, Box, list[str]]:
    """Return the motif with border and letters, where the motif is now, and what she must know.

    Parameters
    ----------
    chart : Chart
        The motif.
    state : mapping
        With ``border`` or ``letters`` or both.

    Returns
    -------
    whole : Chart
    motif : tuple of int
        Row and column of the motif's first square, its rows and columns.
    told : list of str
    """
    options = border_options(state)
    told: list[str] = []
    middle = middle_of(chart, state)
    border = state.get("border")
    if border:
        offers = make_offers(middle, options["strip"], gap=options["gap"], count=_PLANS)
        if not offers:
            raise RequestError("No border of that kind fits round this motif.", "Choose another one or another gap.")
        marks = [plan_mark(offer.plan) for offer in offers]
        wanted = border.get("plan", "")
        if wanted in marks:
            options["plan"] = marks.index(wanted) + 1
        elif wanted:
            told.append("The border plan you chose does not fit this size; the best one for it is shown.")
    outcome = compose_chart(chart, options)
    row, col = _motif_in_middle(chart, middle, state)
    if outcome.offers:
        top, left, _, _ = outcome.offers[outcome.chosen - 1].plan.motif_box
        row, col = row + top, col + left
    whole = outcome.chart
    if chart.placement is not None:
        whole = whole.with_(placement=chart.placement @ np.array([[1.0, 0, -row], [0, 1, -col], [0, 0, 1]]))
    return whole, (row, col, chart.rows, chart.columns), told + list(outcome.notes)


def middle_of(chart: Chart, state: Mapping[str, Any]) -> Chart:
    """Return what the border goes round: the motif, with its line of text if that stands above or below it."""
    letters = state.get("letters")
    if not letters or letters.get("place", "below") not in ("below", "above"):
        return chart
    return compose_chart(chart, border_options({"letters": letters})).chart


def _motif_in_middle(chart: Chart, middle: Chart, state: Mapping[str, Any]) -> tuple[int, int]:
    above = (state.get("letters") or {}).get("place") == "above"
    return (middle.rows - chart.rows if above else 0), (middle.columns - chart.columns) // 2


def plan_mark(plan: BorderPlan) -> str:
    """Return a short mark that no other plan has: of the border's stitches, wherever the motif's are."""
    digest = hashlib.sha256(np.packbits(plan.border_cells).tobytes())
    digest.update(plan.border_lines.tobytes())
    digest.update(repr((plan.shape, plan.motif_box)).encode())
    return digest.hexdigest()[:16]


def border_choices(chart: Chart, names: Any = None, gap: Any = None, onto: Any = None) -> dict[str, Any]:
    """Return what the page shows.

    Parameters
    ----------
    chart : Chart
        What the border goes round.
    names : list of str, optional
        With them, the best plans of these strips.
    gap : int, optional
    onto : list of str, optional
        Without names: one plan of each strip of the collection, put outside these.
    """
    gap = 3 if gap is None else gap
    onto = [] if onto is None else onto
    check_border({"strips": names or ["line"], "gap": gap})
    if onto:
        check_border({"strips": onto, "gap": gap})
    shown = []
    if names:
        offers = make_offers(chart, names, gap=gap, count=_PLANS)[:_SHOWN]
        shown = [(names, offer.plan) for offer in offers]
    else:
        for name in (*strips(), *FRAME_NAMES):
            try:
                shown.append(([*onto, name], make_offers(chart, [*onto, name], gap=gap, count=1)[0].plan))
            except (RequestError, IndexError):
                continue
    return {"plans": [_shown(chosen, plan) for chosen, plan in shown]}


def _shown(names: list[str], plan: BorderPlan) -> dict[str, Any]:
    return {
        "strips": names,
        "plan": plan_mark(plan),
        "corners": plan.corners,
        "rows": plan.cells.shape[0],
        "columns": plan.cells.shape[1],
        "bits": base64.b64encode(np.packbits(plan.cells).tobytes()).decode("ascii"),
        "lines": plan.lines.ravel().tolist(),
        "deviations": list(plan.deviations),
        "whole": plan.whole,
    }
