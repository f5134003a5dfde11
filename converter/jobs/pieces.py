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
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numpy as np

from converter.errors import PictureError, UsageError
from converter.files.chart_file import chart_from_bytes, looks_like_chart
from converter.files.picture import LEAST_WIDTH_PX, PIXELS_PER_STITCH, Picture, picture_from_bytes
from converter.jobs.batch import title_from
from converter.jobs.chart import MadeChart, make_chart
from converter.jobs.corrections import Corrections, Grid, Line, Move, cell_text, line_name, line_text
from converter.jobs.draft import GUESSED, LightPicture, guess
from converter.jobs.history import Patch
from converter.jobs.piece_border import check_border, check_letters, compose_piece
from converter.jobs.requests import chart_request
from converter.jobs.workspace import tidy_name
from converter.model.arrays import PictureArray, as_lines
from converter.model.chart import Chart, check_lines
from converter.pipeline import Reduction
from converter.settings import ChartSettings
from converter.units import PAPER_SIZES_MM

if TYPE_CHECKING:
    from converter.squares import SquaresReading

State = Mapping[str, Any]
T = TypeVar("T")
SURE_SQUARES: Final = 0.5
"""Confidence from which on a picture is taken for squared paper."""

PICTURE_SETTINGS: Final = (
    "kind", "dark", "detail", "tidy", "lines", "most_lines", "half_points", "mirror", "crop", "turn", "invert", "trim",
    "deskew", "subject",
)  # fmt: skip
OPTIONS: Final = (
    "wide", "high", "fit", "stitches", "hours", "skeins", "piece", "fabric", "thread_colour", "thread_name", "ground",
    "strands", "pace", "paper", "units", "large", "order",
)  # fmt: skip
PAGE_OPTIONS: Final = ("units", "large", "order")
"""How she wants it shown and printed; nothing of the chart depends on them."""
KINDS_OF_SOURCE: Final = ("picture", "squares", "chart")
LEAST_SIDE_PX: Final = 4
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
    whole : Chart
        With border and letters, before corrections outside the motif.
    made : MadeChart or None
        How it came from the picture; None for a chart that came as such.
    motif : tuple of int
        Row and column of the motif's first square on the chart, and its rows and columns.
    corrections, aside : int
        Corrections by hand in force, and those that do not fit this grid.
    drifted : bool
        The squares changed their size a little since the corrections were made.
    told : tuple of str
        What she must know about them.
    doubtful : tuple of (row, col)
        Squares read from squared paper that she should look at.
    """

    chart: Chart
    base: Chart
    whole: Chart
    made: MadeChart | None
    motif: tuple[int, int, int, int]
    corrections: int = 0
    aside: int = 0
    drifted: bool = False
    told: tuple[str, ...] = ()
    doubtful: tuple[tuple[int, int], ...] = ()
    memo: dict[str, Any] = field(default_factory=dict, repr=False)
    """What was worked out from it and takes long."""

    @property
    def reduction(self) -> Reduction | None:
        """The reduction of the picture, if there is one."""
        return None if self.made is None else self.made.reduction


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
    if state.get("border") is not None:
        check_border(state["border"])
    if state.get("letters") is not None:
        check_letters(state["letters"])
    for hand in state.get("hands", {}).values():
        if not isinstance(hand, dict) or not isinstance(hand.get("around", ""), str):
            raise UsageError("The corrections cannot be read.")
        Grid.from_json(hand.get("grid"))
        Corrections.from_json(hand)


def request_from(state: State) -> Any:
    """Return the request that the state's options and settings stand for, as the command would make it."""
    options = {name: value for name, value in state.get("options", {}).items() if name not in PAGE_OPTIONS}
    _check_options(state.get("options", {}))
    if options.get("fabric") is not None:
        count, over = options["fabric"]
        options["fabric"] = (float(count), over)
    if options.get("fit") is not None:
        options["fit"] = tuple(float(side) for side in options["fit"])
    settings = dict(state.get("settings", {}))
    for name in ("crop", "subject"):
        if settings.get(name) is not None:
            settings[name] = tuple(float(v) for v in _numbers(name, settings[name], 4))
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
    for name in ("large", "order"):
        if options.get(name) not in (None, True, False):
            raise UsageError(f"{name} is yes or no.")
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


@dataclass(frozen=True, eq=False)
class _Last:
    """The last chart made in full, without corrections."""

    settings: ChartSettings
    base: Chart
    made: MadeChart
    image: PictureArray


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
        self._light = _Kept(_PICTURES_KEPT)
        self._light_guard = threading.Lock()
        self._last: _Last | None = None
        self._squares: SquaresReading | None = None
        self._squares_guard = threading.Lock()
        self._full_size: tuple[int, int] | None = None

    def picture(self, columns: int) -> Picture:
        """Return the picture as the command would read it for so many stitches across."""
        with self.guard:
            key = None if self._full_size is None else self._reading(columns)
            if key is None:
                picture = picture_from_bytes(self.data, self.file_name, columns)
                if min(picture.full_size) < LEAST_SIDE_PX:
                    wide, high = picture.full_size
                    raise PictureError(
                        f"The picture is only {wide} x {high} pixels; nothing can be seen in it.", "Take a larger one."
                    )
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

    def draft(self, state: State) -> Made:
        """Return about what `make` would give for a state, at once, from the last chart that was made in full.

        For showing while a control moves, also while a full one is being made; what is kept and taken away is
        always made by `make`. A change that cannot be guessed is made in full.
        """
        key = json.dumps(state, sort_keys=True)
        last = self._last
        if last is None or key in self._made.items or state["what"] != "picture":
            return self.make(state)
        before, after = last.settings, request_from(state).settings
        guessed = {name: getattr(before.reduction, name) for name in (*GUESSED, "columns")}
        if replace(after, reduction=replace(after.reduction, **guessed)) != before:
            return self.make(state)
        with self._light_guard:
            light = self._light.get(
                (id(last.image), before.picture.invert), lambda: LightPicture.of(last.image, before.picture.invert)
            )
        base = guess(light, last.base, before, after)
        return self.make(state) if base is None else self._finish(state, base, last.made)

    def _make(self, state: State) -> Made:
        request = request_from(state)
        base, made = self._base(state)
        return self._finish(state, request.materials.apply(base) if made is None else base, made)

    def _finish(self, state: State, base: Chart, made: MadeChart | None) -> Made:
        hand, drifted, aside = fitting_hand(state, Grid.of(base))
        chart = _corrected(base, hand)
        motif = (0, 0, chart.rows, chart.columns)
        told: list[str] = []
        if state.get("border") or state.get("letters"):
            chart, motif, told = compose_piece(chart, state)
        whole = chart
        outer, _, outer_aside = fitting_hand(state, Grid(chart.rows, chart.columns), around(state) or None)
        chart = _corrected(chart, outer)
        inside, outside = (0 if each is None else len(each) for each in (hand, outer))
        doubtful: tuple[tuple[int, int], ...] = ()
        if state["what"] == "squares":
            at = np.argwhere(self.squares().doubtful) + np.array(motif[:2])
            doubtful = tuple((int(row), int(col)) for row, col in at)
            if doubtful:
                number = "1 square is" if len(doubtful) == 1 else f"{len(doubtful)} squares are"
                told.append(f"{number} not sure to be read rightly: ringed on the chart.")
        corrections = inside + outside
        return Made(chart, base, whole, made, motif, corrections, aside + outer_aside, drifted, tuple(told), doubtful)

    def _base(self, state: State) -> tuple[Chart, MadeChart | None]:
        what = state["what"]
        if what == "chart":
            return self._bases.get("chart", lambda: chart_from_bytes(self.data, self.file_name)), None
        request = request_from(state)
        if what == "squares":
            from converter.jobs.squares import chart_of_reading

            reading = self.squares()
            if reading.confidence < SURE_SQUARES:
                raise PictureError(
                    "No squares were found in this picture that could be read one by one.", "Read it as a picture."
                )
            return chart_of_reading(reading, title=title_from(state["name"]), source=self.file_name), None
        options = state.get("options", {})
        key = json.dumps([state.get("settings"), options.get("wide"), options.get("high")], sort_keys=True)
        reduction = request.settings.reduction
        opened = self.picture(max(reduction.columns or 0, reduction.rows or 0))

        def make() -> MadeChart:
            return make_chart(opened, request.settings, title=title_from(state["name"]), source=self.file_name)

        made = self._bases.get(key, make)
        fabric, thread = request.materials.fresh()
        chart = made.chart.with_(title=title_from(state["name"]), fabric=fabric, thread=thread)
        made = replace(made, chart=chart)
        self._last = _Last(request.settings, chart, made, opened.pixels)
        return chart, made

    def squares(self) -> SquaresReading:
        """Return the picture read as squared paper, once."""
        from converter.squares import read_squares

        with self._squares_guard:
            if self._squares is None:
                self._squares = read_squares(picture_from_bytes(self.data, self.file_name).pixels)
            return self._squares

    def look_for_squares(self, state: State) -> dict[str, Any]:
        """Return whether the picture is a motif on squared paper, and how sure that is."""
        if state["what"] == "chart":
            return {"squares": False, "confidence": 0.0}
        from converter.squares import looks_squared

        sure = looks_squared(self.picture(60).pixels)
        return {"squares": sure >= SURE_SQUARES, "confidence": round(float(sure), 3)}


def _corrected(chart: Chart, hand: Corrections | None) -> Chart:
    if hand is None or not len(hand):
        return chart
    cells, lines = hand.apply(chart.cells, chart.lines)
    return chart.with_(cells=cells, lines=lines)


def around(state: State) -> str:
    """Return what lies round the motif, as one word: corrections there belong to it. Empty if nothing does."""
    parts = {key: state[key] for key in ("border", "letters") if state.get(key)}
    return json.dumps(parts, sort_keys=True) if parts else ""


def fitting_hand(state: State, grid: Grid, place: str | None = "") -> tuple[Corrections | None, bool, int]:
    """Return the corrections that belong on a grid.

    Parameters
    ----------
    state : mapping
    grid : Grid
    place : str or None
        Empty for the motif; for what lies round it, what `around` gave when they were made, or None if nothing
        lies there now.

    Returns
    -------
    corrections : Corrections or None
        Moved onto the grid.
    drifted : bool
        Whether the squares changed their size.
    aside : int
        How many corrections do not fit this grid.
    """
    name, move = hand_name(state, grid, place)
    found: Corrections | None = None
    aside = 0
    for other, hand in _hands(state, outside=place != ""):
        corrections = Corrections.from_json(hand)
        if other == name:
            found = corrections.moved(move)
        else:
            aside += len(corrections)
    return found, move.shift is None, aside


def hand_name(state: State, grid: Grid, place: str | None = "") -> tuple[str, Move]:
    """Return under which name corrections for a grid are kept in the state, and how these move onto it.

    Of several that fit, those whose squares have the same size come first.
    """
    near: tuple[str, Move] | None = None
    for name, hand in _hands(state, outside=place != ""):
        move = Grid.from_json(hand["grid"]).move_to(grid)
        if move is None or hand.get("around", "") != place:
            continue
        if move.shift is not None:
            return name, move
        near = near or (name, move)
    if near is not None:
        return near
    number = 1
    word = "around" if place else "motif"
    while f"{word}{number}" in state.get("hands", {}):
        number += 1
    return f"{word}{number}", Move((1.0, 0.0, 0.0, 0.0, 1.0, 0.0), (0, 0))


def _hands(state: State, outside: bool) -> list[tuple[str, Mapping[str, Any]]]:
    hands = state.get("hands", {})
    return [(name, hands[name]) for name in sorted(hands) if bool(hands[name].get("around", "")) == outside]


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
    chart = made.chart
    if (hand.get("rows"), hand.get("columns")) != (chart.rows, chart.columns):
        raise UsageError("The chart has another size by now.", "Do the correction again.")
    top, left, rows, cols = made.motif
    cells = list(_cells_of(hand.get("cells", []), chart))
    lines = list(_lines_of(hand.get("lines", []), chart))
    area = _numbers("release", hand["release"], 4) if "release" in hand else None
    hold = hand.get("hold") is True

    def in_motif(row: float, col: float, edge: int) -> bool:
        return top <= row < top + rows + edge and left <= col < left + cols + edge

    inner = _Layer(state, made.base, "", (top, left))
    outer = _Layer(state, made.whole, around(state), (0, 0))
    for row, col, on in cells:
        (inner if in_motif(row, col, 0) or not outer.place else outer).cell(row, col, on, hold)
    for line, on in lines:
        within = in_motif(line[0], line[1], 1) and in_motif(line[2], line[3], 1)
        (inner if within or not outer.place else outer).line(line, on, hold)
    if area is not None:
        inner.release(area)
        outer.release(area)
    return [*inner.patch(), *(outer.patch() if outer.place else [])] or [{"at": ["hands"]}]


class _Layer:
    """Corrections of one grid, gathered for a patch."""

    def __init__(self, state: State, under: Chart, place: str, at: tuple[int, int]) -> None:
        self.place = place
        self.under = under
        self.grid = Grid.of(under) if not place else Grid(under.rows, under.columns)
        self.name, move = hand_name(state, self.grid, place)
        self.at = at
        self.present: Mapping[str, Any] | None = state.get("hands", {}).get(self.name)
        self.rebased: dict[str, Any] | None = None
        shift = move.shift
        if shift is None:
            # The squares changed their size: from this correction on all belong to the grid as it is now.
            shift = (0, 0)
            assert self.present is not None
            moved = Corrections.from_json(self.present).moved(move)
            self.present = self.rebased = {
                **self.present,
                "grid": self.grid.to_json(),
                "cells": {cell_text(*cell): int(on) for cell, on in moved.cells.items()},
                "lines": {line_text(line): int(on) for line, on in moved.lines.items()},
            }
        self.move = (at[0] + shift[0], at[1] + shift[1])
        self.drawn = {line_name(line) for line in under.lines.reshape(-1, 4).tolist()}
        self.put: dict[str, dict[str, int]] = {"cells": {}, "lines": {}}
        self.gone: dict[str, list[str]] = {"cells": [], "lines": []}

    def cell(self, row: int, col: int, on: bool, hold: bool) -> None:
        same = bool(self.under.cells[row - self.at[0], col - self.at[1]]) == on
        self._note("cells", cell_text(row - self.move[0], col - self.move[1]), on, keep=hold or not same)

    def line(self, line: Line, on: bool, hold: bool) -> None:
        a, b, c, d = line
        there = line_name((a - self.at[0], b - self.at[1], c - self.at[0], d - self.at[1])) in self.drawn
        key = line_text((a - self.move[0], b - self.move[1], c - self.move[0], d - self.move[1]))
        self._note("lines", key, on, keep=hold or there != on)

    def _note(self, part: str, key: str, on: bool, keep: bool) -> None:
        self.put[part].pop(key, None)
        if keep:
            self.put[part][key] = int(on)
        else:
            self.gone[part].append(key)

    def release(self, area: tuple[float, ...]) -> None:
        if self.present is None:
            return
        kept = Corrections.from_json(self.present)
        top, left = area[0] - self.move[0], area[1] - self.move[1]
        bottom, right = top + area[2], left + area[3]
        self.gone["cells"] += [cell_text(r, c) for r, c in kept.cells if top <= r < bottom and left <= c < right]
        self.gone["lines"] += [
            line_text(line)
            for line in kept.lines
            if top <= min(line[0], line[2]) and max(line[0], line[2]) <= bottom
            if left <= min(line[1], line[3]) and max(line[1], line[3]) <= right
        ]

    def patch(self) -> Patch:
        patch: Patch = []
        for part in ("cells", "lines"):
            there = (self.present or {}).get(part, {})
            gone = [key for key in dict.fromkeys(self.gone[part]) if key not in self.put[part] and key in there]
            if self.put[part] or gone:
                patch.append({"at": ["hands", self.name, part], "set": self.put[part], "drop": gone})
        if patch and self.rebased is not None:
            patch.insert(0, {"at": ["hands"], "set": {self.name: self.rebased}})
        if patch and self.present is None:
            fresh: dict[str, Any] = {"grid": self.grid.to_json(), "cells": {}, "lines": {}}
            if self.place:
                fresh["around"] = self.place
            patch.insert(0, {"at": ["hands"], "set": {self.name: fresh}})
        return patch


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
