"""Outermost rows in which hardly any line is seen on clean paper: they are all of marks, or a table.

Where the picture goes on beyond the grid with ink or a table, the next row of squares is laid flat as well. It belongs
to the grid if most of its squares hold what other squares hold, colour and all, while the row after it does not: a
table goes on. The other way round, a row that the grain of a table was taken for lines in is left out again if most of
its squares hold what no others do.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from converter.squares import kinds, marks, patches
from converter.squares.mesh import Fit
from converter.squares.sides import Nodes

BoolArray = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float32]
_EDGES: Final = ("top", "left", "bottom", "right")
_LIKE: Final = 0.3
"""Distance to the third nearest mark, as part of a square's own density, up to which it holds such a mark."""
_MOST_LIKE: Final = 0.5
"""The same at most, where marks are usually farther from each other."""
_UNLIKE: Final = 0.45
"""The same, from which it holds no such mark."""
_CLEAN: Final = 0.15
"""Share of squares with a side on clean paper up to which a row may be a table."""
_STRANGE: Final = 0.6
"""Share of squares unlike others or without a line from which it is one."""
_POOL: Final = 1000
"""Marks compared with each other to know how unlike each other they are."""
_HARDLY: Final = 0.1
"""Share of outer sides with a line under which none is seen."""
_AS_USUAL: Final = 1.3
"""How many times farther from other marks than usual a mark may be there."""
_FEWEST: Final = 3
_MOST: Final = 0.5
"""Share of the squares in view that must hold marks."""
_ALL: Final = 0.9
"""Share that must hold marks or be bare."""
_SOME: Final = 0.3
"""Share that must hold marks where all others are bare."""
_IN_VIEW: Final = 0.7
"""Share of the row that the picture must show."""
_CLOSE: Final = 1.5
"""How many times farther than usual from other marks those of a row may be, and a table, as dark as they, must be."""
_MUCH_FARTHER: Final = 3.0
"""How many times farther from other marks than those of a row a table is surely, however alike the marks are."""
_ALIKE: Final = 0.05
"""Distance of marks that are as good as the same."""
_AS_THIN: Final = 0.6
_THINNEST: Final = 0.1
"""Strength of what is thin in a mark at least, as part of that in the tenth of the marks with the least."""
_ONE_AFTER: Final = 0.6
"""Share of marks from which the row after is as this one."""
_MOST_ROWS: Final = 3
"""Rows one after the other that are all of marks at most; a table goes on."""


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
    some = inked[:: max(1, len(inked) // _POOL)]
    usual = float(np.median(_third_nearest(some, some, 3)))
    like = float(np.clip(usual, _LIKE, _MOST_LIKE))
    strong = marking.strength[marking.marked]
    least = _AS_THIN * float(np.quantile(marks.thin_strength(sheet)[marking.marked] / strong, _THINNEST))
    for number, (edge, turned, first) in enumerate(
        zip(_EDGES, (False, True, False, True), (top - 1, left - 1, bottom, right), strict=True)
    ):
        if edge not in edges:
            continue
        net, seen = (nodes.transpose(1, 0, 2), whole.T) if turned else (nodes, whole)
        plain = marking.paper.transpose(1, 0, 2) if turned else marking.paper
        along = slice(top, bottom) if turned else slice(left, right)
        way = -1 if number < 2 else 1
        shares: list[tuple[float, float, float]] = []
        for row in range(first, first + way * (_MOST_ROWS + 1), way):
            here = seen[row, along] if 0 <= row < seen.shape[0] else np.zeros(0, bool)
            if here.sum() < _FEWEST:
                break
            strip = net[row : row + 2, along.start : along.stop + 1]
            outer = plain[0 if number < 2 else -1]
            shares.append(_shares(rgb, strip, here, outer, marking, inked, least, like, sheet.side, turned))
            if len(shares) > 1 and shares[-1][0] < _ONE_AFTER:
                break
        count = _rows_of_marks(shares, usual)
        if count is None:
            return window
        for row, (held, known, _apart) in zip(range(first, first + way * count, way), shares, strict=False):
            if held < (_SOME if known == 1.0 else _MOST) or known < _ALL or seen[row, along].mean() < _IN_VIEW:
                break
            found[number] += way
    return found[0], found[1], found[2], found[3]


def _rows_of_marks(shares: list[tuple[float, float, float]], usual: float) -> int | None:
    """Return how many rows one after the other may be of marks; None for a table as dark as the marks.

    ``shares`` are as `_shares` returns them, from the first row beyond the window as far as they are alike and in the
    picture. What goes on for long, or for two rows up to the edge of the picture, is no motif; a single row there is
    one if its marks are as like others as those usually are (``usual``) to each other.
    """
    apart = 0.0
    for count, (held, _known, this) in enumerate(shares):
        near = apart < _CLOSE * usual and this > _CLOSE * apart
        if count and (held < _ONE_AFTER or near or this > _MUCH_FARTHER * max(apart, _ALIKE)):
            return count
        apart = max(apart, this)
    return int(apart <= _CLOSE * max(usual, _ALIKE)) if len(shares) < 2 else None


def without_table(
    fit: Fit,
    window: tuple[int, int, int, int],
    sheet: patches.FlatSheet,
    marking: marks.Marking,
    outside: BoolArray,
    sure: tuple[str, ...] = (),
) -> tuple[int, int, int, int]:
    """Return the window without outermost rows and columns that lie on a table.

    Parameters
    ----------
    fit : Fit
        The mesh.
    window : tuple of int
        Its crossings at the top, left, bottom and right of the sheet.
    sheet : FlatSheet
    marking : Marking
    outside : ndarray of shape (rows, cols), bool
        Squares of the sheet not in the picture.
    sure : tuple of str
        Of ``top``, ``left``, ``bottom`` and ``right``, those at which there is no table.
    """
    top, left, bottom, right = window
    here = np.s_[top:bottom, left:right]
    clean_sides = [known & clear for known, clear in zip(fit.known, fit.clear, strict=True)]
    clean = _beside(clean_sides[0], clean_sides[1])[here]
    led = ((fit.good[1][:-1] | fit.good[1][1:]).T[here], (fit.good[0][:-1] | fit.good[0][1:])[here])
    low, first, high, last = 0, 0, sheet.rows, sheet.cols
    patch = None
    while high - low > _FEWEST and last - first > _FEWEST:
        rows, cols = slice(low, high), slice(first, last)
        rims: tuple[tuple[tuple[slice | int, slice | int], int, tuple[slice | int, slice | int]], ...] = (
            ((low, cols), 0, (top + low, slice(left + first, left + last))),
            ((rows, first), 1, (left + first, slice(top + low, top + high))),
            ((high - 1, cols), 0, (top + high, slice(left + first, left + last))),
            ((rows, last - 1), 1, (left + last, slice(top + low, top + high))),
        )
        worst, where = 0.0, -1
        for number, (squares, family, outer) in enumerate(rims):
            seen = ~outside[squares]
            if _EDGES[number] in sure or seen.sum() < 2 or clean[squares][seen].mean() > _CLEAN:
                continue
            if patch is None:
                patch = kinds.features(sheet, marking.paper)
            inside = (fit.level, fit.upright)[family].inside[outer]
            lined = fit.good[family][outer]
            unseen = float(lined[seen & inside].mean()) < _HARDLY if (seen & inside).any() else False
            # at the edge of the sheet there is no outer line, but lines lead to it
            shown = lined | ~inside | led[family][squares]
            share = float(_strange(patch, marking, squares, (rows, cols), shown, unseen)[seen].mean())
            if share > worst:
                worst, where = share, number
        if worst < _STRANGE:
            break
        low, first = low + (where == 0), first + (where == 1)
        high, last = high - (where == 2), last - (where == 3)
    return top + low, left + first, top + high, left + last


def _beside(level: BoolArray, upright: BoolArray) -> BoolArray:
    """Return (n, m) the squares with any side, level (n + 1, m) or upright (m + 1, n), among these."""
    return np.asarray(level[:-1] | level[1:] | upright[:-1].T | upright[1:].T)


def _strange(
    patch: npt.NDArray[np.float32],
    marking: marks.Marking,
    squares: tuple[slice | int, slice | int],
    window: tuple[slice, slice],
    lined: BoolArray,
    unseen: bool,
) -> BoolArray:
    """Return which squares of an outermost row hold what no others do, or are bare without a line (``lined``).

    Where the outer line is ``unseen``, marks must be as like others as those are to each other.
    """
    others = np.zeros_like(marking.marked)
    others[window] = marking.marked[window]
    others[squares] = False
    strong, mine = marking.strength[squares], patch[squares]
    bare = (strong <= marking.border) & (strong > -marking.border)
    if others.sum() < _FEWEST:
        return np.asarray(~(bare & lined))
    pool = patch[others]
    most = _UNLIKE
    if unseen:
        some = pool[:: max(1, len(pool) // _POOL)]
        most = min(most, _AS_USUAL * float(np.median(_third_nearest(some, some, 3))))
    unlike = _third_nearest(mine, pool) > most
    return np.asarray(np.where(bare, ~lined, unlike | (strong <= -marking.border)))


def _shares(
    rgb: npt.NDArray[np.uint8],
    strip: Nodes,
    seen: BoolArray,
    plain: npt.NDArray[np.float32],
    marking: marks.Marking,
    inked: npt.NDArray[np.float32],
    thin: float,
    like: float,
    side: int,
    turned: bool,
) -> tuple[float, float, float]:
    """Return, of the squares in view of one row, how many are as elsewhere.

    These are the share with marks as elsewhere, that of those or bare ones, and how unlike others the marks
    usually are. Marks have something thin in them, ``thin`` of their strength at least, and are no farther
    than ``like`` from the third nearest elsewhere; a table is even.
    """
    net = np.ascontiguousarray(strip.transpose(1, 0, 2) if turned else strip)
    flat = patches.lay_flat(rgb, net, side)
    paper = plain[:, None] if turned else plain[None]
    mine = kinds.features(flat, paper).reshape(len(seen), -1)
    strong = marks.strength(marks.inner(flat), paper).ravel()
    third = _third_nearest(mine, inked)
    held = (strong > marking.border) & (third < like) & (marks.thin_strength(flat).ravel() > thin * strong)
    bare = (strong <= marking.border) & (strong > -marking.border)
    usual = float(np.median(third[held & seen])) if (held & seen).any() else np.inf
    return float(held[seen].mean()), float((held | bare)[seen].mean()), usual


def _third_nearest(patches_: Floats, pool: Floats, rank: int = 2) -> Floats:
    """Return each patch's distance to its third nearest in a pool, as part of its own length."""
    square = (patches_**2).sum(axis=1)
    apart = square[:, None] + (pool**2).sum(axis=1)[None] - 2 * patches_ @ pool.T
    rank = min(rank, len(pool) - 1)
    near = np.sqrt(np.maximum(np.partition(apart, rank, axis=1)[:, rank], 0)) / np.sqrt(square + 1e-6)
    return np.asarray(near, dtype=np.float32)
