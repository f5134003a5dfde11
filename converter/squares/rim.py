"""Outermost rows all of marks: no printed line is seen in them, but they look as the marks inside do.

Where the picture goes on beyond the grid with ink or a table, the next row of squares is laid flat as well. It belongs
to the grid if most of its squares hold what other squares hold, colour and all, while the row after it does not: a
table goes on.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from converter.squares import kinds, marks, patches
from converter.squares.sides import Nodes

BoolArray = npt.NDArray[np.bool_]
_LIKE: Final = 0.3
"""Distance to the third nearest mark, as part of a square's own density, up to which it holds such a mark."""
_FEWEST: Final = 3
_MOST: Final = 0.5
"""Share of the squares in view that must hold marks."""
_ALL: Final = 0.8
"""Share that must hold marks or be bare."""
_IN_VIEW: Final = 0.7
"""Share of the row that the picture must show."""
_ONE_AFTER: Final = 0.6
"""Share of marks from which the row after is as this one: neither is a row of squares then."""


def more_marks(
    rgb: npt.NDArray[np.uint8],
    nodes: Nodes,
    whole: BoolArray,
    window: tuple[int, int, int, int],
    sheet: patches.FlatSheet,
    marking: marks.Marking,
    edges: tuple[str, ...],
) -> tuple[int, int, int, int]:
    """Return the window with the rows and columns beyond some of its edges that are all of marks.

    Parameters
    ----------
    rgb : ndarray of shape (H, W, 3), uint8
    nodes : ndarray of shape (n + 1, m + 1, 2)
        Picture (row, col) of all crossings, those beyond the window too.
    whole : ndarray of shape (n, m), bool
        Squares that the picture shows.
    window : tuple of int
        Crossings at the top, left, bottom and right.
    sheet : FlatSheet
        The squares of the window.
    marking : Marking
    edges : tuple of str
        Of ``top``, ``left``, ``bottom`` and ``right``, those beyond which to look.
    """
    inked = kinds.features(sheet, marking.paper)[marking.marked]
    if len(inked) < _FEWEST:
        return window
    top, left, bottom, right = window
    found = list(window)
    for number, (edge, turned, first) in enumerate(
        (("top", False, top - 1), ("left", True, left - 1), ("bottom", False, bottom), ("right", True, right))
    ):
        if edge not in edges:
            continue
        net, seen = (nodes.transpose(1, 0, 2), whole.T) if turned else (nodes, whole)
        plain = marking.paper.transpose(1, 0, 2) if turned else marking.paper
        along = slice(top, bottom) if turned else slice(left, right)
        way = -1 if number < 2 else 1
        shares = []
        for row in (first, first + way):
            here = seen[row, along] if 0 <= row < seen.shape[0] else np.zeros(0, bool)
            if here.sum() < _FEWEST:
                shares.append((0.0, 0.0))
                continue
            strip = net[row : row + 2, along.start : along.stop + 1]
            shares.append(_shares(rgb, strip, here, plain[0 if number < 2 else -1], marking, inked, sheet.side, turned))
        (held, known), (after, _known) = shares
        if after >= _ONE_AFTER:
            return window  # a table as dark as the marks
        if held >= _MOST and known >= _ALL and seen[first, along].mean() >= _IN_VIEW:
            found[number] += way
    return found[0], found[1], found[2], found[3]


def _shares(
    rgb: npt.NDArray[np.uint8],
    strip: Nodes,
    seen: BoolArray,
    plain: npt.NDArray[np.float32],
    marking: marks.Marking,
    inked: npt.NDArray[np.float32],
    side: int,
    turned: bool,
) -> tuple[float, float]:
    """Return, of the squares in view of one row, the share with marks as elsewhere, and that of those or bare ones."""
    net = np.ascontiguousarray(strip.transpose(1, 0, 2) if turned else strip)
    flat = patches.lay_flat(rgb, net, side)
    paper = plain[:, None] if turned else plain[None]
    mine = kinds.features(flat, paper).reshape(len(seen), -1)
    strong = marks.strength(marks.inner(flat), paper).ravel()
    square = (mine**2).sum(axis=1)
    apart = square[:, None] + (inked**2).sum(axis=1)[None] - 2 * mine @ inked.T
    third = np.sqrt(np.maximum(np.partition(apart, 2, axis=1)[:, 2], 0))
    held = (strong > marking.border) & (third < _LIKE * np.sqrt(square + 1e-6))
    bare = (strong <= marking.border) & (strong > -marking.border)
    return float(held[seen].mean()), float((held | bare)[seen].mean())
