"""A piece's state: plain JSON that holds only what she chose, and its checks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from converter.errors import UsageError
from converter.files.chart_file import chart_from_bytes, looks_like_chart
from converter.jobs.batch import Request, title_from
from converter.jobs.corrections import Corrections, Grid
from converter.jobs.json_checks import as_numbers
from converter.jobs.piece_areas import check_areas
from converter.jobs.piece_border import check_border, check_letters
from converter.jobs.requests import chart_request
from converter.jobs.workspace import tidy_name
from converter.units import PAPER_SIZES_MM

State = Mapping[str, Any]

PICTURE_SETTINGS: Final = (
    "kind", "dark", "detail", "tidy", "lines", "most_lines", "half_points", "mirror", "crop", "turn", "invert", "trim",
    "sheet", "rulings", "deskew", "subject",
)  # fmt: skip
OPTIONS: Final = (
    "wide", "high", "fit", "stitches", "hours", "skeins", "piece", "fabric", "thread_colour", "thread_name", "ground",
    "strands", "pace", "paper", "units", "large", "order",
)  # fmt: skip
WHOLE_OPTIONS: Final = ("wide", "high", "stitches", "skeins", "strands")
PAGE_OPTIONS: Final = ("units", "large", "order")
"""How she wants it shown and printed; nothing of the chart depends on them."""
KINDS_OF_SOURCE: Final = ("picture", "squares", "chart")


def new_state(data: bytes, file_name: str) -> dict[str, Any]:
    """Return the first state of a piece; a picture is not decoded for it.

    Parameters
    ----------
    data : bytes
        The file as it came.
    file_name : str
        What it was called; kept as text.

    Raises
    ------
    PictureError
        If it is a chart file that cannot be read.
    """
    file_name = tidy_name(file_name.replace("\\", "/").rsplit("/", 1)[-1], "picture")
    name = title_from(tidy_name(_base_name(file_name)))
    if looks_like_chart(data[:64]):
        chart = chart_from_bytes(data, file_name)
        return {"name": tidy_name(chart.title, name), "file": file_name, "what": "chart", "settings": {}, "options": {}}
    return {"name": name, "file": file_name, "what": "picture", "settings": {}, "options": {"wide": 60}}


def _base_name(file_name: str) -> str:
    for ending in (".chart.json",):
        if file_name.lower().endswith(ending):
            return file_name[: -len(ending)]
    return file_name.rsplit(".", 1)[0] or file_name


def check_state(state: State) -> None:
    """Raise UsageError if a state holds anything that could not be made into a chart."""
    unknown = set(state) - {"name", "file", "what", "settings", "options", "areas", "hands", "border", "letters"}
    if unknown:
        raise UsageError(f"A piece has no part called {sorted(unknown)[0][:40]!r}.")
    for key in ("name", "file"):
        if not isinstance(state.get(key), str) or tidy_name(state[key]) != state[key]:
            raise UsageError(f"The {key} must be a line of text of at most 120 characters.")
    if state.get("what") not in KINDS_OF_SOURCE:
        raise UsageError("A piece comes from a picture, squared paper or a chart.")
    for key in ("settings", "options", "hands"):
        if not isinstance(state.get(key, {}), dict):
            raise UsageError(f"The {key} must be a mapping.")
    for key, known in (("settings", PICTURE_SETTINGS), ("options", OPTIONS)):
        for name in state.get(key, {}):
            if name not in known:
                raise UsageError(f"There is no {key[:-1]} called {str(name)[:40]!r}.")
    check_areas(state.get("areas", {}))
    request_from(state)
    if state.get("border") is not None:
        check_border(state["border"])
    if state.get("letters") is not None:
        check_letters(state["letters"])
    for hand in state.get("hands", {}).values():
        if not isinstance(hand, dict) or not isinstance(hand.get("around", ""), str):
            raise UsageError("The corrections cannot be read.")
        Grid.from_json(hand.get("grid"))
        Corrections.from_json(hand)


def request_from(state: State) -> Request:
    """Return the request that the state's options and settings stand for, as the command would make it."""
    options = {name: value for name, value in state.get("options", {}).items() if name not in PAGE_OPTIONS}
    _check_options(state.get("options", {}))
    for name in WHOLE_OPTIONS:
        # JSON does not tell 10 from 10.0, arrays do.
        value = options.get(name)
        if isinstance(value, float) and value.is_integer():
            options[name] = int(value)
    if options.get("fabric") is not None:
        count, over = options["fabric"]
        options["fabric"] = (float(count), over)
    if options.get("fit") is not None:
        options["fit"] = tuple(float(side) for side in options["fit"])
    settings = dict(state.get("settings", {}))
    for name in ("crop", "subject"):
        if settings.get(name) is not None:
            settings[name] = tuple(float(v) for v in as_numbers(name, settings[name], 4))
    return chart_request(options, settings)


def _check_options(options: Mapping[str, Any]) -> None:
    numbers: dict[str, tuple[float, float, bool]] = {
        "wide": (4, 1000, True),
        "high": (4, 1000, True),
        "stitches": (1, 4_000_000, True),
        "hours": (0.1, 100_000, False),
        "skeins": (1, 1000, True),
        "strands": (1, 6, True),
        "pace": (1, 2000, False),
    }
    for name, (low, high, whole) in numbers.items():
        value = options.get(name)
        if value is None:
            continue
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
            raise UsageError(f"{name} is {str(value)[:40]}.", f"It goes from {low:g} to {high:g}.")
        if whole and int(value) != value:
            raise UsageError(f"{name} is {value:g}.", "It must be a whole number.")
    for name, count in (("fabric", 2), ("fit", 2)):
        if options.get(name) is not None:
            as_numbers(name, options[name], count)
    thread_name = options.get("thread_name")
    if thread_name is not None and (not isinstance(thread_name, str) or tidy_name(thread_name, "") != thread_name):
        raise UsageError("The thread's name must be a line of text.")
    if options.get("paper") not in (None, *PAPER_SIZES_MM):
        raise UsageError("The paper is A4 or letter.")
    for name in ("large", "order"):
        if options.get(name) not in (None, True, False):
            raise UsageError(f"{name} is yes or no.")
    if options.get("units") not in (None, "cm", "in"):
        raise UsageError("Sizes are shown in cm or in.")
