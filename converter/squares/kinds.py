"""The different marks of a motif.

1. Each marked square becomes a small patch of density above paper in three channels.
2. Kinds are heaps of patches: seeds are taken one after another where the most patches are near, those near are
   joined, small left-overs go to the nearest kind.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from converter.squares.density import FloatArray
from converter.squares.patches import FlatSheet

BoolArray = npt.NDArray[np.bool_]
GRID = 5
_RIM, _WIDE_RIM = 0.1, 0.2
"""Part of a square at each side that the printed line takes, and that a stroke along it spills into."""
_ALIKE, _INSIDE_ALIKE = 0.45, 0.35
"""Distance to other marks, as part of its own length, of what is like them; the same of the inner part of squares."""
_LOOSELY, _LOOSEST = 3.0, 0.65
"""Distance to other marks, in theirs from each other and as part of its own length, of what is loosely like them."""
POOL = 1200
"""Marks that heaps are made of; the others go to the nearest."""


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


def features(sheet: FlatSheet, paper: FloatArray, rim: float = _RIM) -> FloatArray:
    """Return (rows, cols, GRID * GRID * 3) density above paper, averaged over GRID x GRID fields of each square.

    ``rim`` is the part of a square left out at each side.
    """
    cut = max(1, round(sheet.side * rim))
    squares = sheet.squares[:, :, cut:-cut, cut:-cut]
    return (field_means(squares, GRID) - paper[:, :, None, None, :]).reshape(*squares.shape[:2], -1)


def field_means(squares: FloatArray, count: int) -> FloatArray:
    """Return the means (rows, cols, count, count, 3) over count x count fields of squares (rows, cols, n, n, 3)."""
    edges = np.linspace(0, squares.shape[2], count + 1).astype(int)
    sums = np.add.reduceat(np.add.reduceat(squares, edges[:-1], axis=2), edges[:-1], axis=3)
    widths = np.diff(edges).astype(np.float32)
    return np.asarray(sums / (widths[:, None] * widths)[..., None], dtype=np.float32)


def nearest(patches: FloatArray, rank: int = 3) -> npt.NDArray[np.float64]:
    """Return each patch's distance to its ``rank``-th nearest other, as part of the patch's own length."""
    n = len(patches)
    pool = patches if n <= 1500 else patches[np.linspace(0, n - 1, 1500).astype(int)]
    square = (patches**2).sum(axis=1)
    near = square[:, None] + (pool**2).sum(axis=1)[None] - 2 * patches @ pool.T
    near = np.sqrt(np.maximum(np.partition(near, min(rank, near.shape[1] - 1), axis=1)[:, : rank + 1].max(axis=1), 0))
    return np.asarray(near / np.sqrt(square + 1e-6), dtype=np.float64)


def some_of(rows: npt.NDArray[Any], most: int) -> npt.NDArray[Any]:
    """Return the rows, or so many of them at even distances."""
    return rows if len(rows) <= most else rows[np.linspace(0, len(rows) - 1, most).astype(int)]


def like_marks(
    sheet: FlatSheet,
    paper: FloatArray,
    marked: BoolArray,
    asked: BoolArray,
    *,
    loosely: bool = False,
    inside: bool = False,
) -> BoolArray:
    """Return which of the squares ``asked`` for look like at least three other marked ones.

    ``loosely``, up to three times less than those usually look like each other will do; ``inside``, only the inner
    part of the squares is looked at.
    """
    out = np.zeros_like(marked)
    others = marked & ~asked
    if not asked.any() or others.sum() < 3:
        return out
    patches = features(sheet, paper, _WIDE_RIM if inside else _RIM)
    pool, mine = patches[others], patches[asked]
    square = (mine**2).sum(axis=1)
    near = square[:, None] + (pool**2).sum(axis=1)[None] - 2 * mine @ pool.T
    third = np.sqrt(np.maximum(np.partition(near, 2, axis=1)[:, 2], 0))
    most = _INSIDE_ALIKE if inside else _ALIKE
    if loosely:
        most = min(_LOOSEST, _LOOSELY * float(np.median(nearest(pool))))
    out[asked] = third < most * np.sqrt(square + 1e-6)
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
    # shape, colour and darkness apart: faint and firm strokes of one kind belong together
    gray = patches.reshape(count, GRID, GRID, 3).mean(axis=3)
    hue = means / (np.linalg.norm(means, axis=1, keepdims=True) + 0.05)
    smooth = np.exp(-0.5 * ((np.arange(GRID)[:, None] - np.arange(GRID)) / 0.7) ** 2)
    smooth /= smooth.sum(axis=1, keepdims=True)
    soft = (smooth @ gray @ smooth.T).reshape(count, -1)
    shape = soft / (np.linalg.norm(soft, axis=1, keepdims=True) + 0.02)
    dark = np.log(np.maximum(means.mean(axis=1, keepdims=True), 0.01))
    points = np.hstack([1.3 * shape, 1.5 * hue, 0.35 * dark]).astype(np.float32)
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
        above_paper = np.maximum(squares[members] - papers[members][:, None, None], 0).reshape(-1, 3)
        tone = above_paper.mean(axis=1)
        dark = tone >= np.quantile(tone, 0.85)
        rgb = np.clip(255 * np.exp(-above_paper[dark].mean(axis=0)) + 0.5, 0, 255).astype(int)
        cover = float((tone > 0.5 * float(np.quantile(tone, 0.95))).mean())
        found.append(MarkKind(number, len(members), f"#{rgb[0]:02x}{rgb[1]:02x}{rgb[2]:02x}", round(cover, 3), sample))
    kinds[marked] = numbers
    return kinds, tuple(found)


def _heaps(points: FloatArray, most: int = 8) -> npt.NDArray[np.int32]:
    """Return a label for each point: heaps with clear gaps between them.

    Points belong together that are about as near to each other as their own next neighbours are; small heaps join the
    one that holds the nearest of their neighbours.
    """
    n = len(points)
    pool = points if n <= POOL else points[np.linspace(0, n - 1, POOL).astype(int)]
    apart = distances(pool, pool)
    rank = min(3, len(pool) - 1)
    own = np.partition(apart, rank, axis=1)[:, rank]
    near = apart < np.maximum(0.15, 1.3 * np.minimum(own[:, None], own[None, :]))
    label = np.full(len(pool), -1, np.int32)
    for start in range(len(pool)):
        if label[start] >= 0:
            continue
        member = near[start] & (label < 0)
        member[start] = True
        grown = True
        while grown:
            wider = near[member].any(axis=0) & (label < 0) | member
            grown = bool((wider != member).any())
            member = wider
        label[member] = start
    counts = np.bincount(label, minlength=len(pool))
    least = max(3, 0.02 * len(pool))
    large = [int(k) for k in np.argsort(-counts, kind="stable")[:most] if counts[k] >= least] or [int(counts.argmax())]
    kept = np.isin(label, large)
    return np.asarray(label[kept][distances(points, pool[kept]).argmin(axis=1)], dtype=np.int32)


def distances(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the distances (n, m) between the rows of two arrays."""
    square = (a**2).sum(axis=1)[:, None] + (b**2).sum(axis=1)[None] - 2 * a @ b.T
    return np.asarray(np.sqrt(np.maximum(square, 0)), dtype=np.float32)
