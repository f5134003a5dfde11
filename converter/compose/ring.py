"""A ring of border: four sides and four corners on one grid, symmetric bit for bit.

Mitre: the top side fills the trapezium above the two diagonals, the left side the one left of them, and each is
reflected to the other side of the ring. As both begin with the same column, the corner equals its own transpose
(a border corner is the reflection of the strip in the 45-degree line: Th. de Dillmont, Encyclopedia of Needlework,
fig. 885).

Block: a corner piece of ``d`` by ``d`` cells, then one to three blank columns, then the run.

Turned: every side is the one before it turned by a quarter (opposite sides by a half), so that the strip keeps its
direction all the way round.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from converter.compose.profile import Profile
from converter.compose.sides import Corner, Move, Side, draw_side
from converter.model.arrays import CellArray, LineArray

NO_LINES: LineArray = np.zeros((0, 2, 2), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Ring:
    """A fitted ring round an opening.

    Parameters
    ----------
    profile : Profile
    corner : Corner
    level, upright : Side
        Sides along the top and bottom, and along the left and right.
    opening : tuple of int
        Rows and columns inside.
    cost : float
    """

    profile: Profile
    corner: Corner
    level: Side
    upright: Side
    opening: tuple[int, int]
    cost: float

    @property
    def depth(self) -> int:
        """Rows of the border."""
        return self.profile.depth

    @property
    def whole(self) -> bool:
        """Whether every side is an unbroken run of the repeat."""
        return self.level.move is Move.PLAIN and self.upright.move is Move.PLAIN

    @property
    def clash(self) -> int:
        """Foreign stitches in a quarter of the ring, as the search counted them."""
        corner = self.profile.mitres[self.level.phi].clash if self.corner is Corner.MITRE else 0
        return corner + self.level.clash + self.upright.clash

    def draw(self) -> tuple[CellArray, CellArray]:
        """Return the ring on a grid of its outer size, and where pieces of their own stand.

        Returns
        -------
        cells, own : ndarray of shape (rows + 2 d, cols + 2 d), bool, read-only
        """
        return self._drawn

    @cached_property
    def _drawn(self) -> tuple[CellArray, CellArray]:
        cells, own = self._draw()
        cells.setflags(write=False)
        own.setflags(write=False)
        return cells, own

    def _draw(self) -> tuple[CellArray, CellArray]:
        d = self.depth
        shape = (self.opening[0] + 2 * d, self.opening[1] + 2 * d)
        top, top_own = draw_side(self.profile, self.level, self.corner)
        left, left_own = draw_side(self.profile, self.upright, self.corner)
        if self.corner is Corner.TURNED:
            return self._turned(shape, top, left), np.zeros(shape, dtype=np.bool_)
        if self.corner is Corner.MITRE:
            return _mitred(shape, top, left), _mitred(shape, top_own, left_own)
        piece = self.profile.corner_piece
        cells = _blocked(shape, piece, top, left)
        return cells, _blocked(shape, np.ones_like(piece), top_own, left_own)

    def _turned(self, shape: tuple[int, int], top: CellArray, left: CellArray) -> CellArray:
        d = self.depth
        cells = np.zeros(shape, dtype=np.bool_)
        # The sides in order round the ring: top, right, bottom, left; left and right are the same side.
        for turn, run in enumerate((top, left, top, left)):
            view = np.rot90(cells, turn)
            if self.profile.separate:
                view[:d, : run.shape[1]] = run
            else:
                for r in range(d):
                    view[r, r : view.shape[1] - 1 - r] = run[r, r : view.shape[1] - 1 - r]
        return cells


def _reflect(cells: CellArray, d: int) -> None:
    """Copy the top band to the bottom and the left band to the right."""
    cells[-d:, :] |= cells[:d, :][::-1]
    cells[:, -d:] |= cells[:, :d][:, ::-1]


def _mitred(shape: tuple[int, int], top: CellArray, left: CellArray) -> CellArray:
    d = top.shape[0]
    cells = np.zeros(shape, dtype=np.bool_)
    for r in range(d):
        cells[r, r : shape[1] - r] = top[r, r : shape[1] - r]
        cells[r + 1 : shape[0] - r - 1, r] = left[r, r + 1 : shape[0] - r - 1]
    _reflect(cells, d)
    return cells


def _blocked(shape: tuple[int, int], piece: CellArray, top: CellArray, left: CellArray) -> CellArray:
    d = piece.shape[0]
    rows, cols = shape
    cells = np.zeros(shape, dtype=np.bool_)
    cells[:d, :d] = piece
    cells[:d, -d:] = piece[:, ::-1]
    cells[-d:, :d] = piece[::-1]
    start = (cols - top.shape[1]) // 2
    cells[:d, start : start + top.shape[1]] = top
    start = (rows - left.shape[1]) // 2
    cells[start : start + left.shape[1], :d] = left.T
    _reflect(cells, d)
    return cells


def symmetry_name(cells: CellArray, lines: LineArray = NO_LINES) -> str:
    """Name the symmetry of a grid and its backstitches, tested stitch for stitch.

    Returns
    -------
    name : str
        ``D4`` square with all its mirrors and turns, ``D2`` both mirrors, ``D2d`` both diagonal mirrors, ``D1``
        one mirror, ``C4`` quarter turns, ``C2`` half-turn, ``C1`` none.

    Examples
    --------
    >>> symmetry_name(np.array([[1, 0], [0, 1]], dtype=bool))
    'D2d'
    """
    square = cells.shape[0] == cells.shape[1]
    rows, cols = cells.shape
    drawn = _line_set(lines)

    def same(grid: CellArray, moved: LineArray) -> bool:
        return np.array_equal(grid, cells) and _line_set(moved) == drawn

    flip = np.array([1.0, -1.0])
    upright = same(cells[:, ::-1], lines * flip + np.array([0.0, float(cols)]))
    level = same(cells[::-1], lines * -flip + np.array([float(rows), 0.0]))
    half = same(cells[::-1, ::-1], np.array([float(rows), float(cols)]) - lines)
    main = square and same(cells.T, lines[:, :, ::-1])
    other = square and same(cells.T[::-1, ::-1], float(rows) - lines[:, :, ::-1])
    turned = np.stack([float(cols) - lines[:, :, 1], lines[:, :, 0]], axis=-1) if lines.size else lines
    quarter = square and same(np.rot90(cells), turned)
    if upright and level:
        return "D4" if quarter else "D2"
    if main and other:
        return "D2d"
    if quarter:
        return "C4"
    if upright or level or main or other:
        return "D1"
    return "C2" if half else "C1"


def _line_set(lines: LineArray) -> set[tuple[tuple[float, ...], ...]]:
    return {tuple(sorted(tuple(end) for end in line)) for line in lines.tolist()}
