"""Corrections by hand: stitches and lines put in or taken out, kept beside the settings and laid over what they give.

A set of corrections belongs to a grid: so many columns and rows, lying so on the picture. It stays as long as later
settings leave that grid where it is. If the blank paper is trimmed a little differently, so that the rows move or the
squares change their size slightly, the corrections move along with the picture. If the grid is another one they are
set aside, not lost: with the former size they are back.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from converter.errors import UsageError
from converter.model.arrays import CellArray, LineArray, as_lines
from converter.model.chart import MAX_SIDE, Chart

SAME_GRID_CELLS: Final = 0.45
"""Two grids are the same if no hole lies farther from its place than this, in stitches (our own choice)."""
NEAR_SCALE: Final = 0.12
"""Grids whose squares differ by more than this share have nothing in common (our own choice): another width."""
Line = tuple[float, float, float, float]


@dataclass(frozen=True)
class Grid:
    """Where a set of corrections belongs."""

    rows: int
    columns: int
    placement: tuple[float, ...] | None = None
    """The six figures of `Chart.placement` row by row; None without a picture."""

    @classmethod
    def of(cls, chart: Chart) -> Grid:
        """Return the grid of a chart."""
        placement = None if chart.placement is None else tuple(round(float(v), 3) for v in chart.placement.ravel())
        return cls(chart.rows, chart.columns, placement)

    @classmethod
    def from_json(cls, value: Any) -> Grid:
        """Read what `to_json` gives."""
        try:
            rows, columns = int(value["rows"]), int(value["columns"])
            placement = None if value["placement"] is None else tuple(float(v) for v in value["placement"])
        except (TypeError, KeyError, ValueError, OverflowError):
            raise UsageError("The corrections have no grid.") from None
        if not (1 <= rows <= MAX_SIDE and 1 <= columns <= MAX_SIDE) or (placement is not None and len(placement) != 6):
            raise UsageError("The corrections have no grid.")
        return cls(rows, columns, placement)

    def to_json(self) -> dict[str, Any]:
        """Return plain JSON."""
        return {
            "rows": self.rows,
            "columns": self.columns,
            "placement": None if self.placement is None else list(self.placement),
        }

    def move_to(self, other: Grid) -> Move | None:
        """Return how what stands on this grid moves onto the other one, or None if they have nothing in common.

        Examples
        --------
        >>> Grid(10, 10, (2, 0, 0, 0, 2, 0)).move_to(Grid(11, 10, (2, 0, -2, 0, 2, 0))).shift
        (1, 0)
        >>> Grid(10, 10, (2, 0, 0, 0, 2, 0)).move_to(Grid(10, 10, (3, 0, 0, 0, 3, 0))) is None
        True
        """
        if self.placement is None or other.placement is None:
            same = (self.rows, self.columns) == (other.rows, other.columns) and self.placement == other.placement
            return Move((1.0, 0.0, 0.0, 0.0, 1.0, 0.0), (0, 0)) if same else None
        mine = np.array(self.placement).reshape(2, 3)
        theirs = np.array(other.placement).reshape(2, 3)
        if abs(np.linalg.det(theirs[:, :2])) < 1e-9:
            return None
        inverse = np.linalg.inv(theirs[:, :2])
        matrix = np.hstack([inverse @ mine[:, :2], (inverse @ (mine[:, 2] - theirs[:, 2]))[:, None]])
        if not np.isfinite(matrix).all() or np.abs(matrix[:, :2] - np.eye(2)).max() > NEAR_SCALE:
            return None
        corners = np.array([[0, 0, 1], [self.rows, 0, 1], [0, self.columns, 1], [self.rows, self.columns, 1.0]])
        moves = corners @ matrix.T - corners[:, :2]
        step = np.rint(moves.mean(axis=0))
        held = np.abs(moves - step).max() <= SAME_GRID_CELLS
        return Move(tuple(float(v) for v in matrix.ravel()), (int(step[0]), int(step[1])) if held else None)


@dataclass(frozen=True)
class Move:
    """How corrections move from one grid to another."""

    matrix: tuple[float, ...]
    """(2, 3) row by row: hole (row, col, 1) of the one to (row, col) of the other."""
    shift: tuple[int, int] | None
    """Whole rows and columns, where that is all; None where the squares changed their size a little too."""

    def cell(self, row: int, col: int) -> tuple[int, int]:
        """Return the square that the middle of a square comes to lie in."""
        if self.shift is not None:
            return row + self.shift[0], col + self.shift[1]
        at = self._at(row + 0.5, col + 0.5)
        return int(np.floor(at[0])), int(np.floor(at[1]))

    def line(self, line: Line) -> Line | None:
        """Return the line between the nearest holes (or halves, where it had halves); None if it lost its length."""
        if self.shift is not None:
            down, across = self.shift
            return line_name((line[0] + down, line[1] + across, line[2] + down, line[3] + across))
        fine = 1 if all(v == int(v) for v in line) else 2
        ends = [round(v * fine) / fine for pair in (line[:2], line[2:]) for v in self._at(*pair)]
        return line_name(ends) if ends[:2] != ends[2:] else None

    def _at(self, row: float, col: float) -> tuple[float, float]:
        a, b, c, d, e, f = self.matrix
        return a * row + b * col + c, d * row + e * col + f


@dataclass(frozen=True)
class Corrections:
    """Stitches and lines that differ from what the settings give."""

    cells: Mapping[tuple[int, int], bool] = field(default_factory=dict)
    """(row, col) to stitched or bare."""
    lines: Mapping[Line, bool] = field(default_factory=dict)
    """Line to there or not."""

    @classmethod
    def from_json(cls, value: Mapping[str, Any]) -> Corrections:
        """Read the mappings kept in a piece's state: ``"row,col"`` and ``"row,col,row,col"`` as keys."""
        try:
            cells = {_cell_key(key): bool(on) for key, on in dict(value.get("cells", {})).items()}
            lines = {_line_key(key): bool(on) for key, on in dict(value.get("lines", {})).items()}
        except (TypeError, ValueError, OverflowError):
            raise UsageError("The corrections cannot be read.") from None
        return cls(cells, lines)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.cells) + len(self.lines)

    def moved(self, move: Move) -> Corrections:
        """Return the corrections on another grid."""
        lines = ((move.line(line), on) for line, on in self.lines.items())
        return Corrections(
            {move.cell(*at): on for at, on in self.cells.items()},
            {line: on for line, on in lines if line is not None},
        )

    def apply(self, cells: CellArray, lines: LineArray) -> tuple[CellArray, LineArray]:
        """Return corrected crosses and lines; corrections that fall outside are left out."""
        rows, columns = cells.shape
        fresh = np.array(cells)
        if self.cells:
            at = np.array(list(self.cells), dtype=np.int64)
            on = np.array(list(self.cells.values()), dtype=np.bool_)
            inside = ((at >= 0) & (at < (rows, columns))).all(axis=1)
            fresh[at[inside, 0], at[inside, 1]] = on[inside]
        if not self.lines:
            return fresh, lines
        kept = [line for line in lines.reshape(-1, 4).tolist() if self.lines.get(line_name(line), True)]
        present = {line_name(line) for line in kept}
        limit = (rows, columns, rows, columns)
        for line, put in self.lines.items():
            if put and line not in present and all(0 <= v <= most for v, most in zip(line, limit, strict=True)):
                kept.append(list(line))
        return fresh, as_lines(np.array(kept).reshape(-1, 2, 2)) if kept else np.zeros((0, 2, 2))


def line_name(line: Any) -> Line:
    """Return a line with its two ends in order, so that it has one name only."""
    a, b, c, d = (float(v) for v in line)
    return (a, b, c, d) if (a, b) <= (c, d) else (c, d, a, b)


def cell_text(row: int, col: int) -> str:
    """Return the key of a stitch in a piece's state."""
    return f"{row},{col}"


def line_text(line: Line) -> str:
    """Return the key of a line in a piece's state."""
    return ",".join(f"{v:g}" for v in line_name(line))


def _cell_key(text: str) -> tuple[int, int]:
    row, col = text.split(",")
    return int(row), int(col)


def _line_key(text: str) -> Line:
    values = [float(v) for v in text.split(",")]
    if len(values) != 4 or not np.isfinite(values).all():
        raise ValueError(text)
    return line_name(values)
