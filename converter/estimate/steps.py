r"""The working order of a length in words that can be followed at the table.

A cross is named by its row and square, both counted from 1 at the top left. In the closed order a length is a list of
crosses worked in turn; crosses in brackets are worked whole while the one before the bracket is half done::

    3/5  4/6 (3/6 4/7)  5/7

Below, a half cross that is left open stands with its leg: ``3/5/`` the lower leg, ``3/5\`` the upper one.
"""

from __future__ import annotations

from math import dist
from typing import Any

import numpy as np

from converter.estimate.route_geometry import EPSILON

Cell = tuple[int, int]


def cross_steps(route: Any) -> list[str]:
    """Return the crosses of one cut length in the order of the work.

    Parameters
    ----------
    route : array_like of shape (M, 2), int
        Holes of one length of `plan_thread`.

    Returns
    -------
    list of str
        One entry for each cross that is begun and finished in turn, with the crosses worked inside it in brackets;
        half crosses of the least order one by one; and an entry for each carry, such as ``carry 2.2``.

    Examples
    --------
    >>> cross_steps([[1, 0], [0, 1], [1, 1], [0, 2], [0, 1], [1, 2], [1, 1], [0, 0]])
    ['1/1 (1/2)']
    """
    holes = np.asarray(route, dtype=np.int64).reshape(-1, 2, 2)
    legs = _legs(holes)
    closes = {cell: at for at, (cell, top) in enumerate(legs) if top}
    steps: list[str] = []
    at = 0
    while at < len(legs):
        if at:
            steps += _carry(holes[at - 1, 1], holes[at, 0])
        cell, top = legs[at]
        inside = _whole(legs, at, closes.get(cell, -1)) if not top else None
        if inside is None:
            steps.append(_name(cell) + ("\\" if top else "/"))
            at += 1
            continue
        steps.append(_name(cell) + (f" ({' '.join(_name(c) for c in inside)})" if inside else ""))
        last = closes[cell]
        for k in range(at, last):
            steps += _carry(holes[k, 1], holes[k + 1, 0])
        at = last + 1
    return steps


def cross_numbers(route: Any) -> list[tuple[Cell, str]] | None:
    """Return the squares of one cut length with their numbers in the order of the work.

    Parameters
    ----------
    route : array_like of shape (M, 2), int
        Holes of one length of `plan_thread`.

    Returns
    -------
    list of (cell, str) or None
        Square (row, col) counted from 1, and its number: ``3`` for a cross worked in its turn, ``3a``, ``3b`` for those
        worked whole while cross 3 is half done. In the order of their lower legs. None if the crosses are not worked
        in such turns, as in the least order.

    Examples
    --------
    >>> cross_numbers([[1, 0], [0, 1], [1, 1], [0, 2], [0, 1], [1, 2], [1, 1], [0, 0]])
    [((1, 1), '1'), ((1, 2), '1a')]
    """
    legs = _legs(np.asarray(route, dtype=np.int64))
    closes = {cell: at for at, (cell, top) in enumerate(legs) if top}
    found: list[tuple[Cell, str]] = []
    at = turn = 0
    while at < len(legs):
        cell, top = legs[at]
        inside = None if top else _whole(legs, at, closes.get(cell, -1))
        if inside is None:
            return None
        turn += 1
        found.append((cell, str(turn)))
        found += [(child, f"{turn}{chr(97 + k)}") for k, child in enumerate(inside)]
        at = closes[cell] + 1
    return found


def _legs(holes: Any) -> list[tuple[Cell, bool]]:
    """Return the square of each leg, and whether it is an upper one."""
    return [
        ((min(up[0], down[0]) + 1, min(up[1], down[1]) + 1), (up[0] - down[0]) * (up[1] - down[1]) > 0)
        for up, down in holes.reshape(-1, 2, 2).tolist()
    ]


def _whole(legs: list[tuple[Cell, bool]], first: int, last: int) -> list[Cell] | None:
    """Return the crosses worked whole between the two legs of a cross, None if anything else lies between."""
    if last < first or (last - first) % 2 == 0:
        return None
    pairs = [(legs[k], legs[k + 1]) for k in range(first + 1, last, 2)]
    if any(a[0] != b[0] or a[1] or not b[1] for a, b in pairs):
        return None
    return [a[0] for a, _ in pairs]


def _carry(down: Any, up: Any) -> list[str]:
    span = dist(down, up)
    return [f"carry {span:.1f}"] if span > 1 + EPSILON else []


def _name(cell: Cell) -> str:
    return f"{cell[0]}/{cell[1]}"
