"""The different marks of a motif, and what is no mark at all but writing.

1. Each marked square becomes a small patch of density above paper in three channels.
2. Marks of one kind look alike, letters of a word do not: the distance to the nearest few other marked squares,
   measured on the patch, is small for marks. Writing also runs on over the sides of the squares, while marks are made
   inside of one. Connected groups that lie apart from the rest are judged as a whole.
3. Kinds are heaps of patches: seeds are taken one after another where the most patches are near, those near are
   joined, small left-overs go to the nearest kind.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.density import FloatArray, gray, ink
from converter.squares.patches import FlatSheet

BoolArray = npt.NDArray[np.bool_]
GRID = 5
MOST_WRITING = 60
"""Squares that one piece of writing covers at most."""
_ODD = 0.45
"""Distance of a patch to the third nearest other, as part of its own length, above which nothing is like it."""
_RATHER_ODD = 0.4
_QUITE_ODD = 0.55
"""The same, from which marks are odd though they overrun the lines no more than others do."""
_ODD_AT_RIM = 0.3
"""The same for marks beside which there is ink outside the grid."""
_VERY_ODD = 0.75
_UNLIKE_ALL = 3.0
"""How many times odder than most a mark must be to be looked at, whatever it hangs together with."""
_SAME = 0.2
"""Distance of a patch to the nearest one beside, as part of its own length, up to which both hold the same mark."""
_ODDER = 1.05
"""How many times odder than most marks that overrun the lines are words."""
_UNLIKE_MARKS = 2.0
"""How many times odder than most letters inside of a square each are."""
_FEWEST_OTHERS = 6
"""Marks elsewhere from which something can be unlike them."""
_A_LITTLE = 0.05
"""Ink over the sides of the squares, as part of the ink inside, more than that of other marks."""
_OVER_LINES = 0.5
"""Ink over the sides of the squares, as part of the ink inside, from which odd marks are writing."""
_WITHIN_LINES = 0.35
"""The same, up to which they are marks: those are made inside of a square each."""
_WITHIN_SQUARES = 0.2
"""The same, up to which nothing is writing, however strange."""
_NO_MORE_OVER, _RATHER_ALIKE = 0.25, 0.75
"""Ink over the sides more than that of other marks, up to which marks that are more like each other than others
usually are, by this factor, are no letters."""
_MOST_LOOKS = 3
"""Times that is looked for writing at most: what is found changes what is usual."""
_PAPER = 0.15
"""Density above that of the paper up to which there is paper."""
_ALIKE = 0.45
_LOOSELY, _LOOSEST = 3.0, 0.65
"""Distance to other marks, in theirs from each other and as part of its own length, of what is loosely like them."""
_POOL = 1200
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


def features(sheet: FlatSheet, paper: FloatArray) -> FloatArray:
    """Return (rows, cols, GRID * GRID * 3) density above paper, averaged over GRID x GRID fields of each square."""
    cut = max(1, round(sheet.side * 0.1))
    squares = sheet.squares[:, :, cut:-cut, cut:-cut]
    return (field_means(squares, GRID) - paper[:, :, None, None, :]).reshape(*squares.shape[:2], -1)


def field_means(squares: FloatArray, count: int) -> FloatArray:
    """Return the means (rows, cols, count, count, 3) over count x count fields of squares (rows, cols, n, n, 3)."""
    edges = np.linspace(0, squares.shape[2], count + 1).astype(int)
    sums = np.add.reduceat(np.add.reduceat(squares, edges[:-1], axis=2), edges[:-1], axis=3)
    widths = np.diff(edges).astype(np.float32)
    return np.asarray(sums / (widths[:, None] * widths)[..., None], dtype=np.float32)


def _nearest(patches: FloatArray, rank: int = 3) -> npt.NDArray[np.float64]:
    """Return each patch's distance to its ``rank``-th nearest other, as part of the patch's own length."""
    n = len(patches)
    pool = patches if n <= 1500 else patches[np.linspace(0, n - 1, 1500).astype(int)]
    square = (patches**2).sum(axis=1)
    near = square[:, None] + (pool**2).sum(axis=1)[None] - 2 * patches @ pool.T
    near = np.sqrt(np.maximum(np.partition(near, min(rank, near.shape[1] - 1), axis=1)[:, : rank + 1].max(axis=1), 0))
    return np.asarray(near / np.sqrt(square + 1e-6), dtype=np.float64)


def writing(
    sheet: FlatSheet,
    paper: FloatArray,
    marked: BoolArray,
    crossed: BoolArray | None = None,
    border: float = 0.2,
) -> tuple[BoolArray, BoolArray]:
    """Return the squares that hold writing, and the marked ones that may.

    ``crossed`` are squares crossed by a stroke: they are judged by what they hang together with. ``border`` is the
    strength from which there is ink.
    """
    out, maybe = np.zeros_like(marked), np.zeros_like(marked)
    for _ in range(_MOST_LOOKS):
        words, maybe = _writing_among(sheet, paper, marked & ~out, crossed, border)
        if not words.any():
            break
        out |= words
    return out, maybe


def _writing_among(
    sheet: FlatSheet, paper: FloatArray, marked: BoolArray, crossed: BoolArray | None, border: float
) -> tuple[BoolArray, BoolArray]:
    """Return what `writing` does, as against all that is marked."""
    out, maybe = np.zeros_like(marked), np.zeros_like(marked)
    count = int(marked.sum())
    if count < 6:
        return out, maybe
    patches = features(sheet, paper)[marked]
    strange = np.zeros(marked.shape)
    strange[marked] = _nearest(patches)
    inked = marked if crossed is None else marked | crossed
    # marks with a bare square between them belong together, with two they do not
    groups, number = filters.groups(cv2.dilate(inked.astype(np.uint8), np.ones((2, 2), np.uint8)) > 0)
    groups = np.where(inked, groups, 0)
    sizes = np.bincount(groups[marked], minlength=number + 1)[1:]
    odd = np.bincount(groups[marked], strange[marked], number + 1)[1:] / np.maximum(sizes, 1)
    crossing = _over_lines(sheet, paper, inked)[marked]
    over = np.bincount(groups[marked], crossing, number + 1)[1:] / np.maximum(sizes, 1)
    usual, usually_over = float(np.median(strange[marked])), float(np.median(crossing))
    maybe |= strange > max(_VERY_ODD, _UNLIKE_ALL * usual)
    beyond = _beyond_rim(sheet, paper, border)
    for k in range(number):
        goes_on = odd[k] > 1.6 * usual and bool((beyond & (groups == k + 1)).any())
        if sizes[k] == 0 or sizes[k] > MOST_WRITING or odd[k] <= (_ODD_AT_RIM if goes_on else _RATHER_ODD):
            continue
        here = groups[marked] == k + 1
        # what is usual is said by the others, so long as they are more
        few_of_all = sizes[k] <= 0.5 * count
        no_more_over = few_of_all and over[k] < usually_over + _NO_MORE_OVER
        if not goes_on and _like_each_other(patches[here], usual, no_more_over):
            # faint letters may look alike, but they overrun the lines, as only fills do besides
            if (not no_more_over and odd[k] > 1.6 * usual) or (
                few_of_all and over[k] > _WITHIN_SQUARES and _unlike_all(patches[here], patches[~here])
            ):
                maybe |= (groups == k + 1) & marked
            continue
        unlike = odd[k] > _ODD and few_of_all and odd[k] > 1.6 * usual
        # a few squares like nothing else that overrun the lines as other marks here do not
        few = sizes[k] <= 0.1 * count and odd[k] > max(_VERY_ODD, 2.5 * usual) and over[k] > usually_over + _A_LITTLE
        strange_to_all = few_of_all and _like_nothing(patches[here], patches[~here], usual)
        strange_to_all &= over[k] > _WITHIN_SQUARES
        overrun = over[k] > _OVER_LINES and (odd[k] > _ODDER * usual or not few_of_all)
        unlike &= over[k] > _WITHIN_LINES and (odd[k] > _QUITE_ODD or over[k] > usually_over + _A_LITTLE)
        if few or overrun or unlike or goes_on or strange_to_all:
            out |= groups == k + 1
        else:
            maybe |= (groups == k + 1) & marked
    return out, maybe


def _within(patches: FloatArray) -> npt.NDArray[np.float64]:
    """Return each patch's distance to the nearest other, as part of its own length."""
    apart = _distances(patches, patches) + np.diag(np.full(len(patches), np.inf, np.float32))
    return np.asarray(apart.min(axis=1) / np.sqrt((patches**2).sum(axis=1) + 1e-6), dtype=np.float64)


def _like_each_other(patches: FloatArray, usual: float, within_lines: bool) -> bool:
    """Return whether squares side by side hold the same mark: a rare kind, as no word is of one letter.

    ``usual`` is how unlike each other marks usually are; ``within_lines`` tells that these overrun the lines no more
    than others do.
    """
    if len(patches) < 2:
        return False
    apart = float(np.median(_within(patches)))
    return apart < _SAME or (within_lines and apart < _RATHER_ALIKE * usual)


def _like_nothing(patches: FloatArray, others: FloatArray, usual: float) -> bool:
    """Return whether none of some squares side by side is like marks elsewhere, nor most like each other: letters.

    Marks of a rare kind are like each other. ``usual`` is how unlike each other marks usually are.
    """
    if len(patches) < 2 or len(others) < _FEWEST_OTHERS:
        return False
    apart = _from_others(patches, others)
    least = max(_ODD, _UNLIKE_MARKS * usual)
    return bool(apart.min() > _ODD and np.median(apart) > least and np.median(_within(patches)) > _ODD)


def _unlike_all(patches: FloatArray, others: FloatArray) -> bool:
    """Return whether none of some squares side by side is like marks elsewhere, however like each other they are."""
    return len(others) >= _FEWEST_OTHERS and bool(_from_others(patches, others).min() > _ODD)


def _from_others(patches: FloatArray, others: FloatArray) -> npt.NDArray[np.float64]:
    """Return each patch's distance to the third nearest of others, as part of its own length."""
    apart = np.partition(_distances(patches, some_of(others, _POOL)), 2, axis=1)[:, 2]
    return np.asarray(apart / np.sqrt((patches**2).sum(axis=1) + 1e-6), dtype=np.float64)


def some_of(rows: npt.NDArray[Any], most: int) -> npt.NDArray[Any]:
    """Return the rows, or so many of them at even distances."""
    return rows if len(rows) <= most else rows[np.linspace(0, len(rows) - 1, most).astype(int)]


def _over_lines(sheet: FlatSheet, paper: FloatArray, inked: BoolArray) -> FloatArray:
    """Return (rows, cols) how much of each square's ink goes on over its sides, as part of the ink inside.

    Writing takes no notice of the squares; a mark is made inside of one.
    """
    side, half = sheet.side, sheet.side // 2
    rows, cols = sheet.rows, sheet.cols
    tone, plain_tone = sheet.gray, gray(paper)
    cut = max(1, side // 6)
    sums = np.zeros((rows, cols))
    for turned in (False, True):
        image, plain, full = (tone.T, plain_tone.T, inked.T) if turned else (tone, plain_tone, inked)
        n, m = plain.shape
        at = half + np.arange(n + 1) * side
        line = (image[at - 1] + image[at])[:, half : half + m * side].reshape(n + 1, m, side)[..., cut:-cut] / 2
        outer = np.pad(plain, ((1, 1), (0, 0)), mode="edge")
        above = line.mean(axis=2) - 0.5 * (outer[:-1] + outer[1:])
        ends = np.pad(full, ((1, 1), (0, 0)))
        bare = ~(ends[:-1] | ends[1:])
        printed = np.array([np.median(v[b]) if b.sum() >= 3 else np.nan for v, b in zip(above, bare, strict=True)])
        overall = float(np.nanmedian(printed)) if np.isfinite(printed).any() else 0.0
        over = np.maximum(above - np.where(np.isfinite(printed), printed, overall)[:, None], 0.0)
        both = 0.5 * (over[:-1] + over[1:])
        sums += 0.5 * (both.T if turned else both)
    core = sheet.gray_squares[:, :, cut:-cut, cut:-cut].mean(axis=(2, 3)) - plain_tone
    return np.asarray(sums / np.maximum(core, 0.02), dtype=np.float32)


def _beyond_rim(sheet: FlatSheet, paper: FloatArray, border: float) -> BoolArray:
    """Return (rows, cols) the outermost squares beside which there is ink on the paper beyond the grid.

    There are no marks, but words that begin in the margin go on into the squares.
    """
    side, half = sheet.side, sheet.side // 2
    rows, cols = sheet.rows, sheet.cols
    cut, off = round(side * 0.15), max(1, round(side * 0.12))
    out = np.zeros((rows, cols), bool)
    for turned in (False, True):
        image = sheet.dense.transpose(1, 0, 2) if turned else sheet.dense
        plain, found = (paper.transpose(1, 0, 2), out.T) if turned else (paper, out)
        m = plain.shape[1]
        for line, strip in ((0, image[: half - off]), (-1, image[off - half :])):
            part = strip[:, half : half + m * side].reshape(strip.shape[0], m, side, 3)[:, :, cut:-cut]
            above = part - plain[line][None, :, None]
            dark = ink(above).transpose(1, 0, 2).reshape(m, -1)
            low, high = np.quantile(dark, (0.2, 0.9), axis=1)
            # on a table all is dark
            found[line] |= (high > border) & (low < _PAPER)
    return out


def like_marks(
    sheet: FlatSheet, paper: FloatArray, marked: BoolArray, asked: BoolArray, loosely: bool = False
) -> BoolArray:
    """Return which of the squares ``asked`` for look like at least three other marked ones.

    ``loosely``, up to three times less than those usually look like each other will do.
    """
    out = np.zeros_like(marked)
    others = marked & ~asked
    if not asked.any() or others.sum() < 3:
        return out
    patches = features(sheet, paper)
    pool, mine = patches[others], patches[asked]
    square = (mine**2).sum(axis=1)
    near = square[:, None] + (pool**2).sum(axis=1)[None] - 2 * mine @ pool.T
    third = np.sqrt(np.maximum(np.partition(near, 2, axis=1)[:, 2], 0))
    most = min(_LOOSEST, _LOOSELY * float(np.median(_nearest(pool)))) if loosely else _ALIKE
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
    pool = points if n <= _POOL else points[np.linspace(0, n - 1, _POOL).astype(int)]
    apart = _distances(pool, pool)
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
    return np.asarray(label[kept][_distances(points, pool[kept]).argmin(axis=1)], dtype=np.int32)


def _distances(a: FloatArray, b: FloatArray) -> FloatArray:
    square = (a**2).sum(axis=1)[:, None] + (b**2).sum(axis=1)[None] - 2 * a @ b.T
    return np.asarray(np.sqrt(np.maximum(square, 0)), dtype=np.float32)
