"""A piece's state becomes its chart: picture, settings, corrections by hand, border and letters, in this order.

The state is plain JSON and holds only what she chose; see `new_state`. Everything here calls the same functions as
the command, so the same choices give the same bytes.
"""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, TypeVar

import numpy as np

from converter.errors import PictureError, UsageError
from converter.files.chart_file import chart_from_bytes, looks_like_chart
from converter.files.picture import LEAST_WIDTH_PX, PIXELS_PER_STITCH, Picture, picture_from_bytes
from converter.jobs.chart import MadeChart, make_chart
from converter.jobs.corrections import Corrections, Grid, Line, cell_text, line_name, line_text
from converter.jobs.history import Patch
from converter.jobs.requests import chart_request
from converter.jobs.workspace import tidy_name
from converter.model.arrays import as_lines
from converter.model.chart import Chart, check_lines
from converter.pipeline import Reduction
from converter.units import PAPER_SIZES_MM

State = Mapping[str, Any]
T = TypeVar("T")

PICTURE_SETTINGS: Final = (
    "kind", "dark", "detail", "tidy", "lines", "most_lines", "half_points", "mirror", "crop", "turn", "invert", "trim",
    "deskew", "subject",
)  # fmt: skip
OPTIONS: Final = (
    "wide", "high", "fit", "stitches", "hours", "skeins", "piece", "fabric", "thread_colour", "thread_name", "ground",
    "strands", "pace", "paper", "units",
)  # fmt: skip
KINDS_OF_SOURCE: Final = ("picture", "squares", "chart")
_CHARTS_KEPT: Final = 12
_PICTURES_KEPT: Final = 2


@dataclass(frozen=True, eq=False)
class Made:
    """A piece as it stands.

    Parameters
    ----------
    chart : Chart
        With everything on it.
    base : Chart
        As the settings alone give it.
    made : MadeChart or None
        How it came from the picture; None for a chart that came as such.
    motif : tuple of int
        Row and column of the motif's first square on the chart, and its rows and columns.
    corrections, aside : int
        Corrections by hand in force, and those that do not fit this grid.
    told : tuple of str
        What she must know about them.
    """

    chart: Chart
    base: Chart
    made: MadeChart | None
    motif: tuple[int, int, int, int]
    corrections: int = 0
    aside: int = 0
    told: tuple[str, ...] = ()

    @property
    def reduction(self) -> Reduction | None:
        """The reduction of the picture, if there is one."""
        return None if self.made is None else self.made.reduction


def new_state(data: bytes, file_name: str) -> dict[str, Any]:
    """Return the first state of a piece.

    Parameters
    ----------
    data : bytes
        The file as it came.
    file_name : str
        What it was called; kept as text.

    Raises
    ------
    PictureError
        If it is neither a picture nor a chart.
    """
    file_name = tidy_name(file_name.replace("\\", "/").rsplit("/", 1)[-1], "picture")
    name = tidy_name(_base_name(file_name))
    if looks_like_chart(data[:64]):
        chart = chart_from_bytes(data, file_name)
        return {"name": tidy_name(chart.title, name), "file": file_name, "what": "chart", "settings": {}, "options": {}}
    picture_from_bytes(data, file_name, 60)
    return {"name": name, "file": file_name, "what": "picture", "settings": {}, "options": {"wide": 60}}


def _base_name(file_name: str) -> str:
    for ending in (".chart.json",):
        if file_name.lower().endswith(ending):
            return file_name[: -len(ending)]
    return file_name.rsplit(".", 1)[0] or file_name


def check_state(state: State) -> None:
    """Raise UsageError if a state holds anything that could not be made into a chart."""
    unknown = set(state) - {"name", "file", "what", "settings", "options", "hands", "border", "letters"}
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
    request_from(state)
    for hand in state.get("hands", {}).values():
        if not isinstance(hand, dict):
            raise UsageError("The corrections cannot be read.")
        Grid.from_json(hand.get("grid"))
        Corrections.from_json(hand)


def request_from(state: State) -> Any:
    """Return the request that the state's options and settings stand for, as the command would make it."""
    options = {name: value for name, value in state.get("options", {}).items() if name != "units"}
    _check_options(state.get("options", {}))
    for name in ("fabric", "fit"):
        if options.get(name) is not None:
            options[name] = tuple(options[name])
    settings = dict(state.get("settings", {}))
    for name in ("crop", "subject"):
        if settings.get(name) is not None:
            settings[name] = _numbers(name, settings[name], 4)
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
            _numbers(name, options[name], count)
    thread_name = options.get("thread_name")
    if thread_name is not None and (not isinstance(thread_name, str) or tidy_name(thread_name, "") != thread_name):
        raise UsageError("The thread's name must be a line of text.")
    if options.get("paper") not in (None, *PAPER_SIZES_MM):
        raise UsageError("The paper is A4 or letter.")
    if options.get("units") not in (None, "cm", "in"):
        raise UsageError("Sizes are shown in cm or in.")


def _numbers(name: str, value: Any, count: int) -> tuple[float, ...]:
    ok = isinstance(value, (list, tuple)) and len(value) == count
    if not ok or any(isinstance(v, bool) or not isinstance(v, (int, float)) or not -1e6 < v < 1e6 for v in value):
        raise UsageError(f"{name} must be {count} numbers.")
    return tuple(value)


@dataclass
class _Kept:
    """The last few results of one kind, newest last."""

    most: int
    items: OrderedDict[Any, Any] = field(default_factory=OrderedDict)

    def get(self, key: Any, make: Callable[[], T]) -> T:
        if key in self.items:
            self.items.move_to_end(key)
            kept: T = self.items[key]
            return kept
        value = make()
        self.items[key] = value
        while len(self.items) > self.most:
            self.items.popitem(last=False)
        return value


class Bench:
    """One piece being worked on: its picture decoded, its last charts at hand.

    Parameters
    ----------
    data : bytes
        The file as it came.
    file_name : str
    """

    def __init__(self, data: bytes, file_name: str) -> None:
        self.data = data
        self.file_name = file_name
        self.guard = threading.RLock()
        self._pictures = _Kept(_PICTURES_KEPT)
        self._bases = _Kept(_CHARTS_KEPT)
        self._made = _Kept(_CHARTS_KEPT)
        self._full_size: tuple[int, int] | None = None

    def picture(self, columns: int) -> Picture:
        """Return the picture as the command would read it for so many stitches across."""
        with self.guard:
            key = None if self._full_size is None else self._reading(columns)
            if key is None:
                picture = picture_from_bytes(self.data, self.file_name, columns)
                self._full_size = picture.full_size
                return self._pictures.get(self._reading(columns), lambda: picture)
            return self._pictures.get(key, lambda: picture_from_bytes(self.data, self.file_name, columns))

    def _reading(self, columns: int) -> int:
        """Name the decoded size: widths that need the same pixels share them."""
        assert self._full_size is not None
        width, height = self._full_size
        least = max(LEAST_WIDTH_PX, round(PIXELS_PER_STITCH * columns * max(1.0, height / width)))
        return 0 if least * 2 > max(width, height) else least

    def make(self, state: State) -> Made:
        """Return the piece as the state describes it.

        Raises
        ------
        ConverterError
            If the state asks for what cannot be made.
        """
        with self.guard:
            key = json.dumps(state, sort_keys=True)
            return self._made.get(key, lambda: self._make(state))

    def _make(self, state: State) -> Made:
        request = request_from(state)
        base, made = self._base(state)
        base = request.materials.apply(base) if made is None else base
        grid = Grid.of(base)
        hand, shift, aside = fitting_hand(state, grid)
        chart = base
        told: tuple[str, ...] = ()
        if hand is not None and len(hand):
            cells, lines = hand.apply(base.cells, base.lines, shift)
            chart = base.with_(cells=cells, lines=lines)
        motif = (0, 0, chart.rows, chart.columns)
        chart = chart.with_(title=state["name"])
        return Made(chart, base, made, motif, 0 if hand is None else len(hand), aside, told)

    def _base(self, state: State) -> tuple[Chart, MadeChart | None]:
        what = state["what"]
        if what == "chart":
            return self._bases.get("chart", lambda: chart_from_bytes(self.data, self.file_name)), None
        request = request_from(state)
        named = {"settings": state.get("settings"), "name": state["name"]}
        options = {name: state["options"].get(name) for name in ("wide", "high", "fabric", "ground", "strands")}
        options |= {name: state["options"].get(name) for name in ("thread_colour", "thread_name")}
        key = json.dumps([named["settings"], options["wide"], options["high"]], sort_keys=True)
        reduction = request.settings.reduction
        opened = self.picture(max(reduction.columns or 0, reduction.rows or 0))

        def make() -> MadeChart:
            return make_chart(opened, request.settings, title=state["name"], source=self.file_name)

        made = self._bases.get(key, make)
        fabric, thread = request.materials.fresh()
        chart = made.chart.with_(title=state["name"], fabric=fabric, thread=thread)
        return chart, replace(made, chart=chart)

    def look_for_squares(self, state: State) -> dict[str, Any]:
        """Return whether the picture is a motif on squared paper, and how sure that is."""
        return {"squares": False, "confidence": 0.0}


def fitting_hand(state: State, grid: Grid) -> tuple[Corrections | None, tuple[int, int], int]:
    """Return the corrections that belong on a grid, how they are moved to it, and how many are set aside."""
    found: Corrections | None = None
    shift = (0, 0)
    aside = 0
    for name in sorted(state.get("hands", {})):
        hand = state["hands"][name]
        corrections = Corrections.from_json(hand)
        move = Grid.from_json(hand["grid"]).shift_to(grid) if found is None else None
        if move is None:
            aside += len(corrections)
        else:
            found, shift = corrections, move
    return found, shift, aside


def hand_name(state: State, grid: Grid) -> tuple[str, tuple[int, int]]:
    """Return under which name corrections for a grid are kept in the state, and how that grid moves onto this one."""
    for name in sorted(state.get("hands", {})):
        move = Grid.from_json(state["hands"][name]["grid"]).shift_to(grid)
        if move is not None:
            return name, move
    number = 1
    while f"grid{number}" in state.get("hands", {}):
        number += 1
    return f"grid{number}", (0, 0)


def hand_patch(state: State, made: Made, hand: Mapping[str, Any]) -> Patch:
    """Return the change of the state that a correction by hand makes.

    Parameters
    ----------
    state, made : the piece as it stands
    hand : mapping
        ``rows`` and ``columns`` of the chart she saw; ``cells``: row, column, 1 or 0, row, ...; ``lines``: lists of
        row, col, row, col, 1 or 0; ``hold``: true to keep stitches even where the settings give the same;
        ``release``: row, column, rows, columns of an area whose corrections are taken back.

    Raises
    ------
    UsageError
        If it does not fit the chart.
    """
    chart, base = made.chart, made.base
    if (hand.get("rows"), hand.get("columns")) != (chart.rows, chart.columns):
        raise UsageError("The chart has another size by now.", "Do the correction again.")
    name, shift = hand_name(state, Grid.of(base))
    present = state.get("hands", {}).get(name)
    cells: dict[str, Any] = {}
    lines: dict[str, Any] = {}
    gone_cells: list[str] = []
    gone_lines: list[str] = []
    hold = hand.get("hold") is True
    for row, col, on in _cells_of(hand.get("cells", []), chart):
        key = cell_text(row - shift[0], col - shift[1])
        if hold or bool(base.cells[row, col]) != on:
            cells[key] = int(on)
        else:
            cells.pop(key, None)
            gone_cells.append(key)
    drawn = {line_name(line) for line in base.lines.reshape(-1, 4).tolist()}
    for line, on in _lines_of(hand.get("lines", []), chart):
        key = line_text((line[0] - shift[0], line[1] - shift[1], line[2] - shift[0], line[3] - shift[1]))
        lines.pop(key, None)
        if hold or (line_name(line) in drawn) != on:
            lines[key] = int(on)
        else:
            gone_lines.append(key)
    if "release" in hand and present is not None:
        area = _numbers("release", hand["release"], 4)
        top, left = area[0] - shift[0], area[1] - shift[1]
        kept = Corrections.from_json(present)
        bottom, right = top + area[2], left + area[3]
        gone_cells += [cell_text(r, c) for r, c in kept.cells if top <= r < bottom and left <= c < right]
        gone_lines += [
            line_text(line)
            for line in kept.lines
            if top <= min(line[0], line[2]) and max(line[0], line[2]) <= bottom
            if left <= min(line[1], line[3]) and max(line[1], line[3]) <= right
        ]
    patch: Patch = []
    if present is None:
        patch.append({"at": ["hands"], "set": {name: {"grid": Grid.of(base).to_json(), "cells": {}, "lines": {}}}})
    for part, put, gone in (("cells", cells, gone_cells), ("lines", lines, gone_lines)):
        gone = [key for key in dict.fromkeys(gone) if key not in put]
        if put or gone:
            patch.append({"at": ["hands", name, part], "set": put, "drop": gone})
    return patch or [{"at": ["hands"]}]


def _cells_of(values: Any, chart: Chart) -> Iterator[tuple[int, int, bool]]:
    if not isinstance(values, list) or len(values) % 3 or not all(type(v) is int for v in values):
        raise UsageError("Corrected stitches are row, column, 1 or 0, and so on.")
    for at in range(0, len(values), 3):
        row, col, on = values[at : at + 3]
        if not (0 <= row < chart.rows and 0 <= col < chart.columns and on in (0, 1)):
            raise UsageError(f"There is no square in row {row + 1}, column {col + 1}.")
        yield row, col, bool(on)


def _lines_of(values: Any, chart: Chart) -> Iterator[tuple[Line, bool]]:
    if not isinstance(values, list):
        raise UsageError("Corrected lines are lists of row, column, row, column, 1 or 0.")
    for value in values:
        a, b, c, d, on = _numbers("A corrected line", value, 5)
        check_lines(as_lines([[[a, b], [c, d]]]), (chart.rows, chart.columns))
        yield (a, b, c, d), bool(on)


def picture_preview(picture: Picture, turn: int, longest: int = 900) -> bytes:
    """Return a small JPEG of the picture as it is turned, for choosing a part of it."""
    import cv2

    pixels: Any = np.rot90(picture.pixels, -(turn // 90) % 4)
    ratio = min(1.0, longest / max(pixels.shape[:2]))
    if ratio < 1:
        size = (max(1, round(pixels.shape[1] * ratio)), max(1, round(pixels.shape[0] * ratio)))
        pixels = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    if pixels.ndim == 3:
        pixels = pixels[:, :, ::-1]
    done, data = cv2.imencode(".jpg", np.ascontiguousarray(pixels), [cv2.IMWRITE_JPEG_QUALITY, 85])
    if not done:
        raise PictureError("The picture cannot be shown.")
    return bytes(data)
