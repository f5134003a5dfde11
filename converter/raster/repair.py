"""Mending: flip the cheapest cells until the chart has the parts and holes of the picture."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray
from converter.raster.grid import MARGIN
from converter.raster.structure import Faults, Structure, condense, find_faults

SINGLES = 40
PAIRS = 12
"""Cheapest cells near a fault that are tried alone and in pairs."""
MOST_TRIALS = 400
"""Changes tried in all; a drawing with more faults than that is too fine for the grid anyway."""
TOO_MANY = 15
"""Faults from which on only a quarter of that is tried."""


def mend(
    cells: CellArray,
    wants: tuple[Structure, ...],
    flip_cost: npt.NDArray[np.float32],
    orbits: npt.NDArray[np.intp] | None = None,
    most_trials: int = MOST_TRIALS,
) -> CellArray:
    """Return the chart with as few structural faults as small local changes can bring.

    Parameters
    ----------
    cells : ndarray of shape (rows, cols), bool
        Margin included.
    wants : tuple of Structure
        The most important first; a later one is only met where the earlier are not harmed.
    flip_cost : ndarray of shape (rows, cols), float32
        What it costs to change each cell of ``cells``.
    orbits : ndarray of shape (cells, images), optional
        From `mirror.orbits`: cells that are always flipped together.
    most_trials : int
        Changes tried at most.

    Notes
    -----
    Each round takes the first fault that something can be done about: all single flips near it are tried, then pairs;
    the change with the lowest rest of faults wins, the cheapest among equals. The order of trial is fixed.
    """
    now = cells.copy()
    start = cells
    faults = tuple(find_faults(now, want) for want in wants)
    hopeless: set[tuple[str, int]] = set()
    tried = 0
    if sum(f.count for f in faults) > TOO_MANY:
        most_trials //= 4
    if any(f.count for f in faults):
        wants = tuple(condense(want) for want in wants)
    while tried < most_trials and any(f.count for f in faults):
        done = False
        for level, fault in enumerate(faults):
            for kind, place in fault.places:
                key = (kind, int(place.sum()) * 31 + len(place) + level)
                if key in hopeless:
                    continue
                better, trials = _try_here(now, start, wants, faults, place, flip_cost, orbits)
                tried += trials
                if better is not None:
                    now, faults = better
                    done = True
                    break
                hopeless.add(key)
                if tried >= most_trials:
                    return now
            if done:
                break
        if not done:
            break
    return now


def _total(faults: tuple[Faults, ...]) -> tuple[float, ...]:
    return tuple(round(f.score, 4) for f in faults)


def _try_here(
    now: CellArray,
    start: CellArray,
    wants: tuple[Structure, ...],
    faults: tuple[Faults, ...],
    place: npt.NDArray[np.intp],
    flip_cost: npt.NDArray[np.float32],
    orbits: npt.NDArray[np.intp] | None,
) -> tuple[tuple[CellArray, tuple[Faults, ...]] | None, int]:
    shape = now.shape
    spot = np.zeros(shape, dtype=bool)
    spot.ravel()[place] = True
    near = _grow(_grow(spot) if len(place) < 8 else spot)
    near[:MARGIN] = near[-MARGIN:] = False
    near[:, :MARGIN] = near[:, -MARGIN:] = False
    index = np.flatnonzero(near.ravel())
    changed = (now != start).ravel()[index]
    cost = np.where(changed, -flip_cost.ravel()[index], flip_cost.ravel()[index])
    order = np.argsort(cost, kind="stable")[:SINGLES]
    index, cost = index[order], cost[order]
    before = _total(faults)
    best: tuple[tuple[float, ...], tuple[int, ...]] | None = None
    trials = 0
    for group in _groups(index, cost):
        if len(group) > 1 and best is not None:
            break
        picked = tuple(i for i, _ in group)
        trials += 1
        trial = _flip(now, picked, orbits)
        first = find_faults(trial, wants[0])
        if round(first.score, 4) > before[0]:
            continue
        value = _total((first, *(find_faults(trial, want) for want in wants[1:])))
        if value >= before:
            continue
        # The changes come cheapest first: of equal ones the first is taken, and the first that does away with a whole
        # fault at once.
        if best is None or value < best[0]:
            best = (value, picked)
        if sum(value) < sum(before) - 0.99:
            break
    if best is None:
        return None, trials
    trial = _flip(now, best[1], orbits)
    return (trial, tuple(find_faults(trial, want) for want in wants)), trials


def _flip(now: CellArray, picked: tuple[int, ...], orbits: npt.NDArray[np.intp] | None) -> CellArray:
    trial = now.copy()
    cells = list(picked) if orbits is None else np.unique(orbits[list(picked)])
    trial.ravel()[cells] ^= True
    return trial


def _groups(index: npt.NDArray[np.intp], cost: npt.NDArray[np.float32]) -> list[tuple[tuple[int, float], ...]]:
    ones: list[tuple[tuple[int, float], ...]] = [((int(i), float(c)),) for i, c in zip(index, cost, strict=True)]
    pairs: list[tuple[tuple[int, float], ...]] = [a + b for a, b in combinations(ones[:PAIRS], 2)]
    pairs.sort(key=lambda pair: pair[0][1] + pair[1][1])
    return ones + pairs


def _grow(spot: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    out = spot.copy()
    out[1:] |= spot[:-1]
    out[:-1] |= spot[1:]
    sides = out.copy()
    out[:, 1:] |= sides[:, :-1]
    out[:, :-1] |= sides[:, 1:]
    return out
