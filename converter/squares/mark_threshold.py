"""The strength from which a square holds a mark.

Strength is the density of the darker part of a square's inside above the paper. Bare squares lie close together on it
(their spread is the grain of paper and camera), marks lie well above. The border is the emptiest place between the two
heaps, never nearer to the bare ones than their spread allows.

Pencil may be so faint, and so few squares drawn with it, that beside many bare squares and much darker marks it makes
no heap to speak of. Paper, though, is alike all over the sheet: what is well above it, in the middle of the square too
and with something thin in it, is drawn.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from converter.squares import filters

Floats = npt.NDArray[np.float64]
_GRAIN = 0.03
_SPILT = 0.1
"""Strength that strokes along a square's sides give it at most."""
_FAINT = 0.07
"""Heaps under this strength are grain and shade, not marks of their own."""
_LEAST_SPREAD = 0.12
"""Usual spread of bare squares at least, on the scale."""
_APART = 4.0
"""Usual spreads above the usual bare square from which one may hold a faint mark."""
_LEAST_FAINT = 0.055
"""Strength of a faint mark at least: between dark marks the paper is known no better."""
_FEWEST_FAINT, _FEW_FAINT = 6, 0.005
"""Such squares, and share of all, from which there are faint marks."""
_IN_MIDDLE, _THIN = 0.6, 0.1
"""Strength of a faint mark's middle, and of what is thin in it, as part of its own: spilt ink is not in the middle of
a square, and a shadow is not thin."""
_STEPS = 60
"""Steps of the scale between no strength and the border before."""
_AS_EMPTY = 0.05
"""Squares a step by which two places between the heaps are as empty as each other."""


def scale(value: npt.NDArray[Any]) -> Floats:
    """Return strengths on the scale the heaps are told apart on: a logarithm that is flat below the grain."""
    return np.asarray(np.log(np.maximum(value, 0.0) + _GRAIN), dtype=np.float64)


def unscaled(value: float) -> float:
    """Return the strength at a place of the scale."""
    return float(np.exp(value) - _GRAIN)


def find_border(values: Floats) -> tuple[float, float]:
    """Return (border, middle of the bare heap) of strengths.

    The bare heap is the lowest that holds a fair share of the squares. The border is the emptiest place between it
    and the next heap; without a second heap it lies well above the bare one.
    """
    if values.size == 0:
        return 0.2, 0.0
    scaled = scale(values.ravel())
    edges = np.linspace(np.log(_GRAIN), np.log(5.0), 181)
    step = edges[1] - edges[0]
    centres = 0.5 * (edges[1:] + edges[:-1])
    counts, _ = np.histogram(scaled, edges)
    dense = filters.smooth_line(counts, 0.1 / step)
    up = np.r_[True, dense[1:] >= dense[:-1]]
    down = np.r_[dense[:-1] > dense[1:], True]
    tops = np.flatnonzero(up & down & (dense > 0))
    fair = [int(t) for t in tops if dense[t] > 0.08 * dense.max()] or [int(dense.argmax())]
    faint = [t for t in fair if centres[t] < np.log(_FAINT + _GRAIN)]
    bare = max(faint, key=lambda t: dense[t]) if faint else fair[0]
    below = scaled[scaled <= centres[bare]]
    spread = max(_LEAST_SPREAD, 1.48 * float(np.median(centres[bare] - below)) if below.size else 0.0)
    start = min(bare + max(2, round(2.0 * spread / step)), len(dense) - 2)
    least = max(0.02 * dense.max(), 0.4)
    later = [t for t in tops if t > start and dense[t] >= least]
    # a small faint heap before a large firm one is what strokes along the lines spill into the squares beside them
    firm = max((dense[t] for t in later if centres[t] > np.log(_SPILT + _GRAIN)), default=0.0)
    later = [t for t in later if centres[t] > np.log(_SPILT + _GRAIN) or dense[t] > 0.25 * firm]
    if not later:
        lowest_border = centres[bare] + max(6 * spread, 1.0)
        return unscaled(lowest_border), unscaled(centres[bare])
    # the deepest valley before the first heap that a valley parts from the bare one
    best = start
    for top in later:
        valley = dense[start : top + 1]
        if valley.min() < 0.5 * dense[top]:
            low = np.flatnonzero(valley <= valley.min() + 0.02 * dense[top])
            best = start + round(float(low.mean()))
            break
    return unscaled(centres[best]), unscaled(centres[bare])


def maybe_faint(values: Floats, middles: Floats, border: float) -> npt.NDArray[np.bool_]:
    """Return which squares (n,) may hold a faint mark: under the border, but well above bare ones, in the middle, too.

    Parameters
    ----------
    values, middles : ndarray of shape (n,)
        Strengths, and those of the middles of the squares.
    border : float
        As `find_border` returns it.
    """
    scaled = scale(values)
    low = scaled[values <= border]
    if not low.size:
        return np.zeros(values.shape, bool)
    usual = float(np.median(low))
    spread = max(_LEAST_SPREAD, 1.48 * float(np.median(usual - low[low <= usual])))
    return np.asarray((scaled > usual + _APART * spread) & (values <= border) & (middles > _IN_MIDDLE * values))


def faint_border(values: Floats, thin: Floats, maybe: npt.NDArray[np.bool_], border: float) -> float:
    """Return the border lowered to the emptiest place under the faint marks, if there are any.

    Parameters
    ----------
    values, thin : ndarray of shape (n,)
        Strengths, and those of what is thin in each square.
    maybe : ndarray of shape (n,), bool
        As `maybe_faint` returns it.
    border : float
    """
    faint = maybe & (thin > _THIN * values) & (values > _LEAST_FAINT)
    if faint.sum() < max(_FEWEST_FAINT, _FEW_FAINT * values.size):
        return border
    low = scale(values[values <= border])
    edges = np.linspace(scale(np.zeros(1))[0], scale(np.array([border]))[0], _STEPS + 1)
    counts, _ = np.histogram(low, edges)
    dense = filters.smooth_line(counts, 0.1 / float(edges[1] - edges[0]))
    centres = 0.5 * (edges[1:] + edges[:-1])
    between = (centres > np.median(low)) & (centres < np.median(scale(values[faint])))
    least = float(dense[between].min(initial=np.inf))
    empty = between & (dense <= least + _AS_EMPTY)
    return unscaled(float(centres[empty].mean())) if empty.any() else border
