"""Light and shadow over the sheet, told apart from ink.

From one square to the next the density of the paper changes because the light does, or because one of them is filled.
Ink changes at the printed line, the edge of a shadow anywhere. So:

1. Each pair of neighbouring squares, and of squares with one between, gives a difference of density between their
   lighter parts. Squares with strokes in them say little.
2. If most of it happens close to the line between them, or if it is of a colour, it is put down to ink, and the light
   is taken to be the same on both sides, with little weight; all other differences are put down to the light. If nearly
   all ink is of a colour, so is all that has none.
3. The light is the surface that fits these differences best (least absolute misfit, by reweighted least squares), as
   differences round any loop must add up to nothing.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.density import FloatArray, gray
from converter.squares.patches import FlatSheet

MOST_SQUARES = 40000
_SMALL = 0.035
"""Differences of density below this are light, wherever they happen."""
_ALIGNED = 0.62
_COLOURED, _RATHER_COLOURED = 0.04, 0.3
"""Difference of density in one channel against the others, by itself and as part of the difference, that is ink."""
_FEWEST_HUED, _NEARLY_ALL = 20, 0.7
"""Coloured differences, and their share of all that are put down to ink, from which all ink is coloured."""
_SMALLEST = 4
"""Squares up to which what is darker than all round it is no shadow."""
_INK_WEIGHT = 0.2
_TEXTURED_WEIGHT = 0.01
_ROUNDS = 8
_SETTLED = 0.002
"""Change of density from one round to the next from which there is no further."""


def _steps(tone: FloatArray, side: int, rows: int, cols: int) -> npt.NDArray[np.float64]:
    """Return the change of density close to each level line between two squares, (rows - 1, cols)."""
    half = side // 2
    strips = tone[side + half - half : rows * side + half - half, half : half + cols * side]
    strips = strips.reshape(rows - 1, side, cols, side)
    cut = max(1, side // 8)
    profile = np.partition(strips[..., cut:-cut], (side - 2 * cut) // 3, axis=3)[..., : (side - 2 * cut) // 3 + 1].mean(
        axis=3
    )
    near, far = max(1, round(side * 0.13)), max(2, round(side * 0.28))
    above = profile[:, half - far : half - near].mean(axis=1)
    below = profile[:, half + near : half + far].mean(axis=1)
    return np.asarray(below - above, dtype=np.float64)


def light_surface(sheet: FlatSheet, level: FloatArray, flat: npt.NDArray[np.bool_]) -> FloatArray:
    """Return how the light changes the paper's density over the squares.

    Parameters
    ----------
    sheet : FlatSheet
    level : ndarray of shape (rows, cols, 3), float32
        Density of the lighter part of each square.
    flat : ndarray of shape (rows, cols), bool
        Squares of one density throughout: bare or filled, not crossed by strokes or the edge of a shadow.

    Returns
    -------
    light : ndarray of shape (rows, cols), float32
        Up to a constant.
    """
    from scipy import sparse
    from scipy.sparse.linalg import spsolve

    rows, cols = level.shape[:2]
    plain = gray(level)
    if rows < 3 or cols < 3 or rows * cols > MOST_SQUARES:
        return np.zeros_like(plain)
    hue = level - plain[..., None]
    tone = sheet.gray
    number = np.arange(rows * cols).reshape(rows, cols)
    starts, ends, changes, strokes, hues, lined = [], [], [], [], [], []
    for turned in (False, True):
        values, index, even = (plain.T, number.T, flat.T) if turned else (plain, number, flat)
        colour = hue.transpose(1, 0, 2) if turned else hue
        image = np.ascontiguousarray(tone.T) if turned else tone
        step = _steps(image, sheet.side, values.shape[0], values.shape[1])
        for reach in (1, 2):
            change = (values[reach:] - values[:-reach]).astype(np.float64)
            way = np.sign(change)
            if reach == 1:
                inky = step * way
            else:
                before, after = step[:-1] * way, step[1:] * way
                inky = np.maximum(np.maximum(before, after), before + after)
            large = np.abs(change) > _SMALL
            textured = ~(even[reach:] & even[:-reach])
            apart = np.abs(colour[reach:] - colour[:-reach]).max(axis=2)
            coloured = apart > np.maximum(_COLOURED, _RATHER_COLOURED * np.abs(change))
            starts.append(index[:-reach].ravel())
            ends.append(index[reach:].ravel())
            changes.append(change.ravel())
            strokes.append((large & textured).ravel())
            hues.append((large & coloured).ravel())
            lined.append((large & (inky > _ALIGNED * np.abs(change))).ravel())
    a, b = np.concatenate(starts), np.concatenate(ends)
    stroke, hued, at_lines = np.concatenate(strokes), np.concatenate(hues), np.concatenate(lined)
    by_hue, by_place = int((hued & ~stroke).sum()), int((at_lines & ~hued & ~stroke).sum())
    # where nearly all ink has a colour, what has none is a shadow, though its edge runs along the lines
    all_hued = by_hue >= _FEWEST_HUED and by_hue > _NEARLY_ALL * (by_hue + by_place)
    inked = stroke | hued | (at_lines & (not all_hued))
    target = np.where(inked, 0.0, np.concatenate(changes))
    base = np.where(stroke, _TEXTURED_WEIGHT, np.where(inked, _INK_WEIGHT, 1.0))
    count = len(a)
    pairs = np.arange(count)
    matrix = sparse.csr_matrix(
        (np.r_[np.ones(count), -np.ones(count)], (np.r_[pairs, pairs], np.r_[b, a])), shape=(count, rows * cols)
    )
    weight = base.copy()
    light = np.zeros(rows * cols)
    for _ in range(_ROUNDS):
        before = light
        scaled = sparse.diags(weight) @ matrix
        normal = (matrix.T @ scaled + sparse.identity(rows * cols) * 1e-6).tocsc()
        light = np.asarray(spsolve(normal, scaled.T @ target, permc_spec="MMD_AT_PLUS_A"))
        if float(np.abs(light - before).max()) < _SETTLED:
            break
        weight = base / (np.abs(target - matrix @ light) + 0.01)
    return _without_islands(light.reshape(rows, cols)).astype(np.float32)


def _without_islands(light: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the light without few squares darker, or single ones lighter, than all round: no shadow is that small."""
    padded = np.pad(light, 1, mode="reflect")
    around = np.stack([
        padded[1 + i : 1 + i + light.shape[0], 1 + j : 1 + j + light.shape[1]]
        for i in (-1, 0, 1) for j in (-1, 0, 1) if i or j
    ])  # fmt: skip
    alone = (light > around.max(axis=0) + _SMALL) | (light < around.min(axis=0) - _SMALL)
    light = np.where(alone, np.median(around, axis=0), light)
    wide = filters.highest(filters.lowest(light, 3), 3)
    parts, count = filters.groups(light > wide + _SMALL)
    sizes = np.bincount(parts.ravel(), minlength=count + 1)
    out = light.copy()
    for number in np.flatnonzero(sizes <= _SMALLEST):
        here = parts == number
        # the narrow end of a shadow has the rest of it beside it
        if number and light[filters.widened(here) & ~here].max() < light[here].min() - _SMALL:
            out[here] = wide[here]
    return out


def darkest_near(light: FloatArray, least: float = 0.04) -> FloatArray:
    """Return how much darker the light gets within a square of each: there an edge of shadow may cross the square."""
    rise = filters.highest(light, 3) - light
    return np.asarray(np.where(rise > least, rise, 0.0), dtype=np.float32)


def uneven(light: FloatArray, least: float = 0.1) -> npt.NDArray[np.bool_]:
    """Return the squares round which the light changes so much that there is an edge of shadow."""
    return np.asarray(filters.highest(light, 3) - filters.lowest(light, 3) > least)
