"""BorderPlan: one way to put borders round a motif, with its deviations in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from converter.compose.bands import FittedBand, FittedStrip
from converter.compose.ring import NO_LINES, symmetry_name
from converter.model.arrays import CellArray, LineArray


@dataclass(frozen=True)
class Gaps:
    """Blank cells before each band along one axis, inside out, and whether a pad row was added first."""

    gaps: tuple[int, ...]
    pad: int = 0


@dataclass(frozen=True, eq=False)
class BorderPlan:
    """One way to put one or several borders round a motif.

    Parameters
    ----------
    motif : ndarray of shape (rows, cols), bool
        What stands in the middle; blank if only a size was given.
    motif_lines : ndarray of shape (K, 2, 2), float
    rings : tuple of FittedBand
        Inside out.
    across, up : Gaps
        Gaps left and right, and above and below.
    wanted : tuple of int
        The gaps asked for.
    cost : float
        0 for a plan without any deviation; see `fit`.
    fixed : bool
        Whether the outer size was given, so that the first gap had no choice.
    doubled : bool
        A pad row doubles the middle of the motif instead of standing beside it.
    like : int
        Number, from 1, of the plan earlier in the list from which this one differs only by the part of the repeat at
        the corners; 0 if there is none.
    """

    motif: CellArray
    motif_lines: LineArray
    rings: tuple[FittedBand, ...]
    across: Gaps
    up: Gaps
    wanted: tuple[int, ...]
    cost: float
    fixed: bool = False
    doubled: bool = False
    like: int = 0

    @property
    def whole(self) -> bool:
        """Whether every side of every border is an unbroken run of the repeat, with no column changed."""
        return all(ring.whole for ring in self.rings)

    @cached_property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the whole."""
        deep = 2 * sum(ring.depth for ring in self.rings)
        rows = self.motif.shape[0] + self.up.pad + 2 * sum(self.up.gaps) + deep
        return rows, self.motif.shape[1] + self.across.pad + 2 * sum(self.across.gaps) + deep

    @cached_property
    def _insets(self) -> list[int]:
        """Distance of each ring from the outer edge, inside out; the same on both axes by depth, not by gap."""
        return [sum(ring.depth for ring in self.rings[at + 1 :]) for at in range(len(self.rings))]

    def ring_corner(self, at: int) -> tuple[int, int]:
        """Top left cell of ring ``at``."""
        inset = self._insets[at]
        return inset + sum(self.up.gaps[at + 1 :]), inset + sum(self.across.gaps[at + 1 :])

    @cached_property
    def motif_box(self) -> tuple[int, int, int, int]:
        """Top row, left column, rows and columns of the motif in the whole grid."""
        deep = sum(ring.depth for ring in self.rings)
        rows, cols = self._motif_cells.shape
        return deep + sum(self.up.gaps), deep + sum(self.across.gaps), rows, cols

    @cached_property
    def _motif_cells(self) -> CellArray:
        cells = self.motif
        if self.doubled and self.across.pad:
            cells = np.insert(cells, (cells.shape[1] - 1) // 2, cells[:, (cells.shape[1] - 1) // 2], axis=1)
        if self.doubled and self.up.pad:
            cells = np.insert(cells, (cells.shape[0] - 1) // 2, cells[(cells.shape[0] - 1) // 2], axis=0)
        return cells

    @cached_property
    def _drawn(self) -> tuple[CellArray, CellArray]:
        border = np.zeros(self.shape, dtype=np.bool_)
        own = np.zeros(self.shape, dtype=np.bool_)
        for at, ring in enumerate(self.rings):
            row, col = self.ring_corner(at)
            cells, pieces = ring.draw()
            border[row : row + cells.shape[0], col : col + cells.shape[1]] |= cells
            own[row : row + cells.shape[0], col : col + cells.shape[1]] |= pieces
        border.setflags(write=False)
        own.setflags(write=False)
        return border, own

    @property
    def border_cells(self) -> CellArray:
        """The borders alone on the whole grid, (rows, cols), bool, read-only."""
        return self._drawn[0]

    @property
    def own_pieces(self) -> CellArray:
        """Where corner and middle pieces stand that are not of the strip, (rows, cols), bool."""
        return self._drawn[1]

    @cached_property
    def cells(self) -> CellArray:
        """The whole composed grid, (rows, cols), bool, read-only: borders with the motif in place."""
        cells = self.border_cells.copy()
        row, col, rows, cols = self.motif_box
        cells[row : row + rows, col : col + cols] |= self._motif_cells
        cells.setflags(write=False)
        return cells

    @cached_property
    def border_lines(self) -> LineArray:
        """Backstitches of the borders alone, (K, 2, 2)."""
        lines = [NO_LINES]
        for at, ring in enumerate(self.rings):
            lines.append(ring.stitch_lines() + np.array(self.ring_corner(at), dtype=np.float64))
        return np.concatenate(lines)

    @cached_property
    def lines(self) -> LineArray:
        """All backstitches on the whole grid, (K, 2, 2), read-only: those of the motif, then the borders'."""
        row, col = self.motif_box[:2]
        lines = np.concatenate([self.motif_lines + np.array([row, col], dtype=np.float64), self.border_lines])
        lines.setflags(write=False)
        return lines

    @cached_property
    def symmetry(self) -> str:
        """Symmetry of the borders (not of the motif), tested stitch for stitch: ``D4``, ``D2``, ``C4``, ..."""
        return symmetry_name(self.border_cells, self.border_lines)

    @cached_property
    def deviations(self) -> tuple[str, ...]:
        """What differs from the wish, in plain words; empty if nothing does."""
        words = self._gap_words()
        words += self._pad_words()
        for at, ring in enumerate(self.rings):
            name = "" if len(self.rings) == 1 else f"border {at + 1}: "
            words += [name + text for text in ring.words()]
        return tuple(words)

    def _gap_words(self) -> list[str]:
        words = []
        for at, wish in enumerate(self.wanted):
            x, y = self.across.gaps[at], self.up.gaps[at]
            if x == y == wish:
                continue
            text = f"gap {x}" if x == y else f"gap {x} left and right, {y} above and below"
            if at == 0 and self.fixed:
                # Nobody asked for a gap here: it is what the outer size leaves.
                words.append(text)
                continue
            text += f"{',' if x != y else ''} in place of {wish}"
            words.append(text if at == 0 else f"before border {at + 1} {text}")
        return words

    def _pad_words(self) -> list[str]:
        column, row = self.across.pad, self.up.pad
        if self.doubled:
            what = [name for name, pad in (("column", column), ("row", row)) if pad]
            return [f"the middle {' and '.join(what)} of the motif doubled"] if what else []
        if column and row:
            return [
                "a blank column right of the motif and a blank row below it, so it stands half a stitch off the middle"
            ]
        if column:
            return ["a blank column right of the motif, so it stands half a stitch left of the middle"]
        if row:
            return ["a blank row below the motif, so it stands half a stitch above the middle"]
        return []

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What she should know that is no deviation."""
        notes = []
        for ring in self.rings:
            if isinstance(ring, FittedStrip) and ring.ring.profile.strip.upright:
                name = ring.ring.profile.strip.name
                notes.append(f"The {name} stand head outwards: they lie on their side left and right.")
            if isinstance(ring, FittedStrip) and 2 * ring.rows_left_out >= ring.depth + ring.rows_left_out:
                whole = ring.depth + ring.rows_left_out
                notes.append(
                    f"Only {ring.depth} of the {whole} rows of '{ring.ring.profile.strip.name}' have room: not much is "
                    "left of its shape. A shallower strip, a larger size or a smaller motif would look better."
                )
        return tuple(notes)

    @property
    def corners(self) -> str:
        """How the borders get round the corners, inside out."""
        words = [ring.corner_words() for ring in self.rings]
        return words[0] if len(set(words)) == 1 else "; ".join(words)

    @property
    def changes(self) -> str:
        """All that was changed, in one run of words."""
        if self.like:
            return f"as plan {self.like}, with another part of the repeat at the corners"
        return "; ".join(self.deviations) or "nothing had to be changed"

    def describe(self) -> str:
        """Return the plan in one line."""
        rows, cols = self.shape
        return f"{cols} x {rows} stitches, {self.corners}: {self.changes}."
