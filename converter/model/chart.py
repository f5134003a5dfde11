"""Chart: the grid of crosses and the backstitches that every output reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from converter.errors import UsageError
from converter.model.arrays import CellArray, LineArray, as_cells, as_lines
from converter.model.materials import Fabric, Thread

MAX_SIDE = 2000
"""Stitches along one side; beyond it no piece of cloth would hold the chart."""


@dataclass(frozen=True, eq=False)
class Chart:
    """A counted chart in one colour.

    Parameters
    ----------
    cells : ndarray of shape (rows, cols), bool
        True = full cross. Row 0 is at the top. Copied and made read-only.
    lines : ndarray of shape (K, 2, 2), float
        Backstitches, each two holes (row, col) of the cloth grid, 0 to rows and 0 to cols;
        halves allowed. Copied and made read-only.
    title, source : str
        What the piece is called; the picture it came from.
    fabric : Fabric
    thread : Thread
    settings : mapping
        How the chart was made; never needed for reading.
    placement : ndarray of shape (2, 3), float64, or None
        Picture (row, col) in pixels of hole (row, col) is ``placement @ [row, col, 1]``.
    notes : tuple of str
        What the stages want her to know, in plain words.
    extra : mapping
        Unknown keys of a chart file, kept on rewriting.

    Raises
    ------
    UsageError
        If the grid is empty or too large, or a backstitch leaves it or has no length.
    """

    cells: CellArray
    lines: LineArray = field(default_factory=lambda: np.zeros((0, 2, 2)))
    title: str = ""
    source: str = ""
    fabric: Fabric = field(default_factory=Fabric)
    thread: Thread = field(default_factory=Thread)
    settings: Mapping[str, Any] = field(default_factory=dict)
    placement: npt.NDArray[np.float64] | None = None
    notes: tuple[str, ...] = ()
    extra: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Copy, check and freeze the arrays."""
        cells = as_cells(self.cells)
        lines = as_lines(self.lines)
        if max(cells.shape) > MAX_SIDE:
            raise UsageError(f"A chart of {cells.shape[1]} x {cells.shape[0]} is over {MAX_SIDE} stitches a side.")
        check_lines(lines, (cells.shape[0], cells.shape[1]))
        cells.setflags(write=False)
        lines.setflags(write=False)
        object.__setattr__(self, "cells", cells)
        object.__setattr__(self, "lines", lines)
        if self.placement is not None:
            placement = np.array(self.placement, dtype=np.float64)
            if placement.shape != (2, 3):
                raise UsageError(f"placement must have shape (2, 3), not {placement.shape}.")
            placement.setflags(write=False)
            object.__setattr__(self, "placement", placement)

    @property
    def rows(self) -> int:
        """Height in stitches."""
        return int(self.cells.shape[0])

    @property
    def columns(self) -> int:
        """Width in stitches."""
        return int(self.cells.shape[1])

    @property
    def finished_mm(self) -> tuple[float, float]:
        """Width and height of the stitched design on its cloth."""
        return self.fabric.width_mm(self.columns), self.fabric.width_mm(self.rows)

    def with_(self, **changes: Any) -> Chart:
        """Return a chart with some fields changed."""
        return replace(self, **changes)

    def same_stitches(self, other: Chart) -> bool:
        """Return True if both charts have the same crosses and the same backstitches in the same order."""
        return np.array_equal(self.cells, other.cells) and np.array_equal(self.lines, other.lines)


def check_lines(lines: LineArray, shape: tuple[int, int]) -> None:
    """Raise UsageError at the first backstitch that cannot be sewn on a grid of ``shape`` cells."""
    if lines.size == 0:
        return
    limit = np.array(shape, dtype=np.float64)
    bad = (
        ~np.isfinite(lines).all(axis=(1, 2))
        | (lines < 0).any(axis=(1, 2))
        | (lines > limit).any(axis=(1, 2))
        | ((lines * 2) % 1 != 0).any(axis=(1, 2))
        | (lines[:, 0] == lines[:, 1]).all(axis=1)
    )
    if bad.any():
        at = int(np.argmax(bad))
        raise UsageError(
            f"Backstitch {at + 1} runs from {lines[at, 0].tolist()} to {lines[at, 1].tolist()}.",
            f"Each end must be a hole (or half) inside 0..{shape[0]} rows and 0..{shape[1]} columns, "
            "and the two ends must differ.",
        )
