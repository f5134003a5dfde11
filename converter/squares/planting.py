"""The first few squares of a mesh, laid where a seed was seen."""

from __future__ import annotations

import numpy as np

from converter.squares.lattice import Seed
from converter.squares.mesh import Fit, measure, polynomial_step
from converter.squares.sides import Nodes, Sight, measure_sides

HALF = 4
"""Squares planted to each side of the seed."""


def seed_nodes(seed: Seed, half: int = HALF) -> Nodes:
    """Return the crossings of a seed, ``half`` squares to each side."""
    r, c = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float64)
    return np.asarray(np.array(seed.centre) + r[..., None] * np.array(seed.down) + c[..., None] * np.array(seed.right))


def _aligned(image: Sight, nodes: Nodes) -> Nodes:
    """Slide the crossings of a seed by parts of a square to where lines are darkest."""
    down = np.gradient(nodes, axis=0)
    right = np.gradient(nodes, axis=1)
    steps = np.arange(-2, 3) / 5
    for direction, turned in ((down, False), (right, True)):
        sums = []
        for step in steps:
            tried = nodes + step * direction
            sides = measure_sides(image, tried.transpose(1, 0, 2) if turned else tried, 3, 0.1)
            sums.append(float(np.minimum(sides.height, 0.5).sum()))
        nodes = nodes + steps[int(np.argmax(sums))] * direction
    return nodes


def _barest(image: Sight, seed: Seed) -> Seed:
    """Move a seed by whole squares, within its window, to where its lines show best: its middle may be all ink."""
    away = int(0.6 * seed.reach / max(seed.pitch, 1e-6))
    if away < HALF:
        return seed
    best, best_worth = seed, -1.0
    for r, c in ((0, 0), (-away, -away), (-away, away), (away, -away), (away, away)):
        at = np.array(seed.centre) + r * np.array(seed.down) + c * np.array(seed.right)
        if not (0 <= at[0] < image.lines.shape[0] and 0 <= at[1] < image.lines.shape[1]):
            continue
        moved = Seed((float(at[0]), float(at[1])), seed.down, seed.right, seed.score, seed.reach)
        fit = measure(image, seed_nodes(moved))
        shown = [s.inside & (s.height > 3 * s.noise) & (np.abs(s.offset) < 0.28) for s in (fit.level, fit.upright)]
        noise = max(fit.level.noise, fit.upright.noise, 0.002)
        worth = sum(
            float(np.minimum(s.height[k] / noise, 8).sum())
            for s, k in zip((fit.level, fit.upright), shown, strict=True)
        )
        if worth > 1.15 * best_worth:
            best, best_worth = moved, worth
    return best


def plant(image: Sight, seed: Seed) -> Fit:
    """Return the mesh of the first few squares round a seed."""
    nodes = _aligned(image, seed_nodes(_barest(image, seed)))
    for _ in range(3):
        nodes = polynomial_step(measure(image, nodes))
    return measure(image, nodes)
