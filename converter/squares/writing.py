"""Words and figures written over squares, told from marks.

Marks of one kind look alike, letters of a word do not: the distance to the nearest few other marked squares, measured
on the patch of density that each square is, is small for marks. Writing also takes no notice of the squares: it runs on
over their sides, and its ink lies in no fixed place of them, while marks are made in the middle of one each. Groups of
marked squares that lie apart from the rest are judged as a whole.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.density import FloatArray, gray, ink
from converter.squares.kinds import GRID, POOL, distances, features, nearest, some_of
from converter.squares.patches import FlatSheet

BoolArray = npt.NDArray[np.bool_]
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
_HARDLY = 0.02
"""The same, up to which not even the thinnest letter lies beside the middle: it would touch a side."""
_NO_MORE_OVER, _RATHER_ALIKE = 0.25, 0.75
"""Ink over the sides more than that of other marks, up to which marks that are more like each other than others
usually are, by this factor, are no letters."""
_MOST_ALIKE = 0.4
"""Share of the marked squares, those most like others, that tell where in a square marks lie."""
_ASIDE, _ASIDE_ALONE = 0.06, 0.12
"""Distance of the ink from where marks lie, as part of the inside of a square, beyond the usual one, from which odd
squares hold letters; a square by itself may hold a mark of its own kind, which need not lie in the middle."""
_TIMES_ASIDE = 2.5
"""The same in usual distances."""
_MOST_LOOKS = 3
"""Times that is looked for writing at most: what is found changes what is usual."""
_PAPER = 0.15
"""Density above that of the paper up to which there is paper."""


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
    strange[marked] = nearest(patches)
    inked = marked if crossed is None else marked | crossed
    # marks with a bare square between them belong together, with two they do not
    groups, number = filters.groups(cv2.dilate(inked.astype(np.uint8), np.ones((2, 2), np.uint8)) > 0)
    groups = np.where(inked, groups, 0)
    sizes = np.bincount(groups[marked], minlength=number + 1)[1:]
    odd = np.bincount(groups[marked], strange[marked], number + 1)[1:] / np.maximum(sizes, 1)
    crossing = _over_lines(sheet, paper, inked)[marked]
    over = np.bincount(groups[marked], crossing, number + 1)[1:] / np.maximum(sizes, 1)
    usual, usually_over = float(np.median(strange[marked])), float(np.median(crossing))
    off, usually_off = _off_middle(patches, strange[marked])
    aside = np.bincount(groups[marked], off, number + 1)[1:] / np.maximum(sizes, 1)
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
        beyond_usual = aside[k] - usually_off > (_ASIDE if sizes[k] > 1 else _ASIDE_ALONE)
        off_middle = few_of_all and beyond_usual and aside[k] > _TIMES_ASIDE * usually_off
        off_middle &= odd[k] > 1.6 * min(usual, _ODD) and over[k] > (_WITHIN_SQUARES if odd[k] < _VERY_ODD else _HARDLY)
        alike = not (off_middle and not no_more_over) and _like_each_other(patches[here], usual, no_more_over)
        if not goes_on and alike:
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
        if few or overrun or unlike or goes_on or strange_to_all or off_middle:
            out |= groups == k + 1
        else:
            maybe |= (groups == k + 1) & marked
    return out, maybe


def _off_middle(patches: FloatArray, strange: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], float]:
    """Return how far the ink of each square lies from where marks have theirs, and how far it usually does.

    Both are parts of the inside of a square.
    ``strange`` tells how unlike others each is: where marks lie is told by those that are most alike.
    """
    tone = np.maximum(patches.reshape(len(patches), GRID, GRID, 3).mean(axis=3), 0.0)
    at = (np.arange(GRID) - (GRID - 1) / 2) / GRID
    weight = tone.sum(axis=(1, 2)) + 1e-6
    middles = np.stack([(tone.sum(axis=2) @ at) / weight, (tone.sum(axis=1) @ at) / weight], axis=1)
    alike = strange <= np.quantile(strange, _MOST_ALIKE)
    off = np.hypot(*(middles - np.median(middles[alike], axis=0)).T).astype(np.float64)
    return off, float(np.median(off[alike]))


def _within(patches: FloatArray) -> npt.NDArray[np.float64]:
    """Return each patch's distance to the nearest other, as part of its own length."""
    apart = distances(patches, patches) + np.diag(np.full(len(patches), np.inf, np.float32))
    return np.asarray(apart.min(axis=1) / np.sqrt((patches**2).sum(axis=1) + 1e-6), dtype=np.float64)


def _like_each_other(patches: FloatArray, usual: float, within_lines: bool) -> bool:
    """Return whether squares side by side hold the same mark: a rare kind, as no word is of one letter.

    ``usual`` is how unlike each other marks usually are; ``within_lines`` tells that these overrun the lines no more
    than others do.
    """
    if len(patches) < 2:
        return False
    apart = float(np.median(_within(patches)))
    # where most is writing, what is usual says nothing of marks
    return apart < _SAME or (within_lines and apart < _RATHER_ALIKE * min(usual, _ODD))


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
    apart = np.partition(distances(patches, some_of(others, POOL)), 2, axis=1)[:, 2]
    return np.asarray(apart / np.sqrt((patches**2).sum(axis=1) + 1e-6), dtype=np.float64)


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
