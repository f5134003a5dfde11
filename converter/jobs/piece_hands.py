"""Which corrections by hand belong on a grid, and how a new one changes a piece's state."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from converter.errors import UsageError
from converter.jobs.corrections import Corrections, Grid, Line, Move, cell_text, line_name, line_text
from converter.jobs.history import Patch
from converter.jobs.json_checks import as_numbers
from converter.jobs.piece_state import State
from converter.model.arrays import as_lines
from converter.model.chart import Chart, check_lines

if TYPE_CHECKING:
    from converter.jobs.pieces import Made


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
    area = as_numbers("release", hand["release"], 4) if "release" in hand else None
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
        a, b, c, d, on = as_numbers("A corrected line", value, 5)
        check_lines(as_lines([[[a, b], [c, d]]]), (chart.rows, chart.columns))
        yield (a, b, c, d), bool(on)
