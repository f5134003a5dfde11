"""Pieces for corners and side middles: one drawn for each depth, larger ones made of rings."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np

from converter.compose.catalogue import parse_grid, parse_sections
from converter.model.arrays import CellArray

LEAST_PIECE_WIDTH = 4
"""A middle piece narrower than this looks like a mistake."""


@lru_cache(maxsize=1)
def _drawn() -> dict[int, CellArray]:
    text = files("converter").joinpath("data/borders/pieces.txt").read_text(encoding="utf-8")
    grids = {}
    for section in parse_sections(text):
        grid = section["grid"]
        assert isinstance(grid, list)
        cells = parse_grid(grid, f"piece {section['name']}")
        grids[cells.shape[0]] = cells
    return grids


@lru_cache(maxsize=64)
def corner_piece(size: int) -> CellArray:
    """Return a piece that is equal to all its turned and mirrored forms.

    Parameters
    ----------
    size : int
        Rows and columns, 1 and more.

    Returns
    -------
    piece : ndarray of shape (size, size), bool, read-only
        Drawn up to 12; beyond that rings of one stitch with one or two rows of cloth between them.
    """
    drawn = _drawn()
    if size in drawn:
        piece = drawn[size].copy()
    else:
        half = (size - 1) / 2
        offsets = np.abs(np.arange(size) - half)
        distance = np.hypot(offsets[:, None], offsets[None, :])
        piece = (distance <= size / 2) & (np.floor(size / 2 - distance) % 3 < 1)
        piece |= distance < 1.6
    piece.setflags(write=False)
    return piece


def middle_width(depth: int, odd: bool) -> int | None:
    """Return the width of a middle piece for a strip, or None if the strip is too shallow to carry one.

    Parameters
    ----------
    depth : int
        Rows of the strip; 2 and less carry none.
    odd : bool
        Whether the side has an odd number of columns, so that the piece must have one too.
    """
    if depth <= 2:
        return None
    width = max(LEAST_PIECE_WIDTH, depth, depth // 2 + 2)
    return width if width % 2 == int(odd) else width + 1


@lru_cache(maxsize=128)
def middle_piece(depth: int, width: int) -> CellArray:
    """Return a piece ``depth`` rows by ``width`` columns for the middle of a side, mirrored both ways.

    It is the corner piece of that depth, widened by doubling its middle.
    """
    piece = corner_piece(depth)
    if width > depth:
        left = (depth + 1) // 2
        extra = width - depth
        order = [*range(left), *([left - 1] * extra), *range(left, depth)]
        piece = piece[:, order]
        # The order is mirrored if the doubled column is the middle one, or one of two equal middle ones.
    else:
        piece = piece.copy()
    piece.setflags(write=False)
    return piece
