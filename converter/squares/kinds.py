"""The different marks of a motif, and what is no mark at all but writing.

1. Each marked square becomes a small patch of density above paper in three channels.
2. Marks of one kind look alike, letters of a word do not: the distance to the nearest few other marked squares,
   measured on the patch, is small for marks. Connected groups that lie apart from the rest are judged as a whole.
3. Kinds are heaps of patches: seeds are taken one after another where the most patches are near, those near are
   joined, small left-overs go to the nearest kind.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.density import FloatArray
from converter.squares.patches import FlatSheet

BoolArray = npt.NDArray[np.bool_]
GRID = 5
MOST_WRITING = 60
"""Squares that one piece of writing covers at most."""
_ODD = 0.45
"""Distance of a patch to the third nearest other, as part of its own length, above which nothing is like it."""
_ALIKE = 0.45


@dataclass(frozen=True, eq=False)
class MarkKind:
    """One kind of mark."""

    number: int
    """1 is the commonest."""
    count: int
    colour: str
    """Mean colour of the ink as ``#rrggbb``."""
    coverage: float
    """Share of the square that it covers, 0 to 1."""
    sample: npt.NDArray[np.uint8]
    """(side, side, 3) RGB: the typical square, on white."""


def features(sheet: FlatSheet, paper: FloatArray) -> FloatArray:
    """Return (rows, cols, GRID * GRID * 3) density above paper, averaged over GRID x GRID fields of each square."""
    cut = max(1, round(sheet.side * 0.1))
    squares = sheet.squares[:, :, cut:-cut, cut:-cut]
    side = squares.shape[2]
    edges = np.linspace(0, side, GRID + 1).astype(int)
    rows, cols = squares.shape[:2]
    out = np.empty((rows, cols, GRID, GRID, 3), np.float32)
    for i in range(GRID):
        for j in range(GRID):
            out[:, :, i, j] = squares[:, :, edges[i] : edges[i + 1], edges[j] : edges[j + 1]].mean(axis=(2, 3))
    out -= paper[:, :, None, None, :]
    return out.reshape(rows, cols, -1)


def _nearest(patches: FloatArray, rank: int = 3) -> npt.NDArray[np.float64]:
    """Return each patch's distance to its ``rank``-th nearest other, as part of the patch's own length."""
    n = len(patches)
    pool = patches if n <= 1500 else patches[np.linspace(0, n - 1, 1500).astype(int)]
    square = (patches**2).sum(axis=1)
    near = square[:, None] + (pool**2).sum(axis=1)[None] - 2 * patches @ pool.T
    near = np.sqrt(np.maximum(np.partition(near, min(rank, near.shape[1] - 1), axis=1)[:, : rank + 1].max(axis=1), 0))
    return np.asarray(near / np.sqrt(square + 1e-6), dtype=np.float64)


def writing(sheet: FlatSheet, paper: FloatArray, marked: BoolArray) -> BoolArray:
    """Return the marked squares that hold writing."""
    out = np.zeros_like(marked)
    count = int(marked.sum())
    if count < 6:
        return out
    patches = features(sheet, paper)[marked]
    strange = np.zeros(marked.shape)
    strange[marked] = _nearest(patches)
    groups, number = filters.groups(filters.widened(marked))
    groups = np.where(marked, groups, 0)
    sizes = np.bincount(groups[marked], minlength=number + 1)[1:]
    odd = np.bincount(groups[marked], strange[marked], number + 1)[1:] / sizes
    usual = float(np.median(strange[marked]))
    for k in range(number):
        if sizes[k] <= min(MOST_WRITING, 0.5 * count) and odd[k] > max(_ODD, 1.6 * usual):
            out |= groups == k + 1
    return out


def like_marks(sheet: FlatSheet, paper: FloatArray, marked: BoolArray, asked: BoolArray) -> BoolArray:
    """Return which of the squares ``asked`` for look like at least three other marked ones."""
    out = np.zeros_like(marked)
    others = marked & ~asked
    if not asked.any() or others.sum() < 3:
        return out
    patches = features(sheet, paper)
    pool, mine = patches[others], patches[asked]
    square = (mine**2).sum(axis=1)
    near = square[:, None] + (pool**2).sum(axis=1)[None] - 2 * mine @ pool.T
    third = np.sqrt(np.maximum(np.partition(near, 2, axis=1)[:, 2], 0))
    out[asked] = third < _ALIKE * np.sqrt(square + 1e-6)
    return out


def sort_kinds(
    sheet: FlatSheet, paper: FloatArray, marked: BoolArray
) -> tuple[npt.NDArray[np.int32], tuple[MarkKind, ...]]:
    """Return (rows, cols) the number of each square's kind, 0 for bare, and the kinds, commonest first."""
    kinds = np.zeros(marked.shape, np.int32)
    count = int(marked.sum())
    if count == 0:
        return kinds, ()
    patches = features(sheet, paper)[marked]
    means = patches.reshape(count, GRID * GRID, 3).mean(axis=1)
    # shape in gray and colour as such: strokes shift a little from square to square, so that shape counts less
    gray = patches.reshape(count, GRID, GRID, 3).mean(axis=3)
    smooth = np.exp(-0.5 * ((np.arange(GRID)[:, None] - np.arange(GRID)) / 0.7) ** 2)
    smooth /= smooth.sum(axis=1, keepdims=True)
    soft = (smooth @ gray @ smooth.T).reshape(count, -1)
    hue = means / (np.linalg.norm(means, axis=1, keepdims=True) + 0.05)
    points = np.hstack([soft, 2.5 * means, 3.0 * hue]).astype(np.float32)
    label = _heaps(points)
    order = sorted(set(label.tolist()), key=lambda k: (-int((label == k).sum()), k))
    numbers = np.zeros(count, np.int32)
    found = []
    squares = sheet.squares[marked]
    papers = paper[marked]
    for number, k in enumerate(order, 1):
        members = np.flatnonzero(label == k)
        numbers[members] = number
        middle = np.median(points[members], axis=0)
        typical = members[int(np.argmin(((points[members] - middle) ** 2).sum(axis=1)))]
        above = squares[typical] - papers[typical]
        sample = np.clip(255 * np.exp(-np.maximum(above, 0)) + 0.5, 0, 255).astype(np.uint8)
        ink = np.maximum(squares[members] - papers[members][:, None, None], 0).reshape(-1, 3)
        tone = ink.mean(axis=1)
        dark = tone >= np.quantile(tone, 0.85)
        rgb = np.clip(255 * np.exp(-ink[dark].mean(axis=0)) + 0.5, 0, 255).astype(int)
        cover = float((tone > 0.5 * float(np.quantile(tone, 0.95))).mean())
        found.append(MarkKind(number, len(members), f"#{rgb[0]:02x}{rgb[1]:02x}{rgb[2]:02x}", round(cover, 3), sample))
    kinds[marked] = numbers
    return kinds, tuple(found)


def _heaps(points: FloatArray, most: int = 8) -> npt.NDArray[np.int32]:
    """Return a label for each point: heaps with clear gaps between them."""
    n = len(points)
    label = np.full(n, -1, np.int32)
    pool = points if n <= 1200 else points[np.linspace(0, n - 1, 1200).astype(int)]
    apart = np.sqrt(np.maximum((pool**2).sum(1)[:, None] + (pool**2).sum(1)[None] - 2 * pool @ pool.T, 0))
    reach = max(
        0.45, 2.5 * float(np.median(np.partition(apart, min(4, len(pool) - 1), axis=1)[:, min(4, len(pool) - 1)]))
    )
    free = np.ones(len(pool), bool)
    centres: list[FloatArray] = []
    while free.any() and len(centres) < most:
        near = (apart < reach) & free[None, :] & free[:, None]
        counts = near.sum(axis=1)
        at = int(counts.argmax())
        if centres and counts[at] < max(3, 0.02 * len(pool)):
            break
        member = near[at].copy()
        for _ in range(6):  # let the heap spread along its own slope
            centre = pool[member].mean(axis=0)
            member = free & (np.sqrt(((pool - centre) ** 2).sum(axis=1)) < 1.35 * reach)
            if not member.any():
                member = near[at]
                break
        centres.append(pool[member].mean(axis=0))
        free &= ~member
    table = np.stack(centres)
    distance = (points**2).sum(1)[:, None] + (table**2).sum(1)[None] - 2 * points @ table.T
    label[:] = distance.argmin(axis=1)
    return label
