"""Symmetry of a repeat strip: its shortest period, its mirror axes, its frieze group.

A strip is a tile ``S`` of ``d`` rows and ``p`` columns that goes on for ever to both sides. Four questions decide
which of the seven frieze groups it has:

1. upright mirror: is there an ``a`` with ``S[:, (a - x) mod p] == S[:, x]`` for all x? The axes stand at column
   ``a / 2`` and half a period further on.
2. lengthwise mirror: is the strip equal to itself turned upside down?
3. half-turn: is it equal to itself turned upside down and back to front, moved along by some amount?
4. glide: is it equal to itself turned upside down and moved along by half a period?

References
----------
J. H. Conway, H. Burgiel, C. Goodman-Strauss, The Symmetries of Things, 2008; B. Gruenbaum, G. C. Shephard,
Tilings and Patterns, 1987 (the seven groups and their tests; from memory).
"""

from __future__ import annotations

import numpy as np

from converter.model.arrays import CellArray, as_cells

FRIEZE_GROUPS = ("p1", "p11g", "p1m1", "p2", "p2mg", "p11m", "p2mm")


def shortest_period(tile: CellArray) -> int:
    """Return the smallest p that divides the length of the tile and after which its columns come again.

    Parameters
    ----------
    tile : ndarray of shape (d, n), bool

    Returns
    -------
    period : int

    Examples
    --------
    >>> shortest_period(np.array([[1, 0, 1, 0]], dtype=bool))
    2
    """
    n = int(tile.shape[1])
    for p in range(1, n):
        if n % p == 0 and np.array_equal(tile[:, p:], tile[:, : n - p]):
            return p
    return n


def primitive_tile(tile: CellArray) -> CellArray:
    """Return the tile cut down to one shortest period, as a fresh (d, p) array."""
    cells = as_cells(tile, "strip")
    return cells[:, : shortest_period(cells)].copy()


def _shifts(tile: CellArray, image: CellArray) -> list[int]:
    """Return every k in 0..p-1 with ``image[:, (x + k) mod p] == tile[:, x]``."""
    return [k for k in range(tile.shape[1]) if np.array_equal(np.roll(image, -k, axis=1), tile)]


def mirror_constant(tile: CellArray) -> int | None:
    """Return the smallest a with ``tile[:, (a - x) mod p] == tile[:, x]``, or None without an upright mirror.

    The tile must be one shortest period. Axes stand at column ``a / 2`` and ``(a + p) / 2``.

    Examples
    --------
    >>> mirror_constant(np.array([[1, 0, 0, 0], [0, 1, 0, 1], [0, 0, 1, 0]], dtype=bool))
    0
    """
    p = tile.shape[1]
    columns = np.arange(p)
    for a in range(p):
        if np.array_equal(tile[:, (a - columns) % p], tile):
            return a
    return None


def has_lengthwise_mirror(tile: CellArray) -> bool:
    """Return True if the tile is equal to itself upside down."""
    return np.array_equal(tile, tile[::-1])


def has_half_turn(tile: CellArray) -> bool:
    """Return True if the endless strip is equal to itself turned by 180 degrees about some point."""
    return bool(_shifts(tile, tile[::-1, ::-1]))


def has_glide(tile: CellArray) -> bool:
    """Return True if the endless strip is equal to itself upside down and moved along, but not without moving."""
    return bool(_shifts(tile, tile[::-1])) and not has_lengthwise_mirror(tile)


def frieze_group(tile: CellArray) -> str:
    """Name the frieze group of a strip.

    Parameters
    ----------
    tile : ndarray of shape (d, p), bool
        One or several repeats.

    Returns
    -------
    group : str
        ``p1``, ``p11g``, ``p1m1``, ``p2``, ``p2mg``, ``p11m`` or ``p2mm``.

    Notes
    -----
    Decision table of the two books named at the top: upright and lengthwise mirror p2mm; upright mirror and
    half-turn p2mg; upright mirror alone p1m1; lengthwise mirror alone p11m; half-turn alone p2; glide alone p11g;
    nothing p1. A blank strip counts as p2mm.

    Examples
    --------
    >>> frieze_group(np.array([[1, 1, 0, 0], [0, 0, 1, 1]], dtype=bool))
    'p2mg'
    """
    cells = primitive_tile(tile)
    upright = mirror_constant(cells) is not None
    if upright and has_lengthwise_mirror(cells):
        return "p2mm"
    turn = has_half_turn(cells)
    if upright:
        return "p2mg" if turn else "p1m1"
    if has_lengthwise_mirror(cells):
        return "p11m"
    if turn:
        return "p2"
    return "p11g" if has_glide(cells) else "p1"
