"""The first few squares of a mesh, laid where a seed was seen."""

from __future__ import annotations

import numpy as np

from converter.squares.lattice import Seed
from converter.squares.mesh import Fit, measure, polynomial_step
from converter.squares.sides import Nodes, Sight, measure_sides

HALF = 4
"""Squares planted to each side of the seed."""
_PLACES = ((0, 0), (-1, -1), (-1, 1), (1, -1), (1, 1), (-1.5, 0), (1.5, 0), (0, -1.5), (0, 1.5))
"""Where a seed is tried, as parts of the way it can be moved."""
_INK = 0.1
"""Density above the lightest sides from which there is ink."""
_LIGHTER = 0.05
"""Density by which another place is tried for its lighter paper."""


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
            heights = np.minimum(sides.height, 0.5)
            # on paper, if there is any: marks in rows are dark lines as well
            above = np.maximum(sides.ink - np.quantile(sides.ink, 0.1), 0)
            sums.append(float((heights / (1 + (above / _INK) ** 2)).sum()))
        nodes = nodes + steps[int(np.argmax(sums))] * direction
    return nodes


def _best_places(image: Sight, seed: Seed) -> list[Seed]:
    """Return a seed moved by whole squares, within its window: where its lines show best, and on the lightest paper.

    Its middle may be all ink; and marks in rows may show better than the printed lines do, but only where they are.
    """
    away = int(0.6 * seed.reach / max(seed.pitch, 1e-6))
    if away < HALF:
        return [seed]
    places: list[tuple[float, float, Seed]] = []
    for r, c in _PLACES:
        at = np.array(seed.centre) + round(r * away) * np.array(seed.down) + round(c * away) * np.array(seed.right)
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
        inside = fit.level.inside
        ink = float(fit.level.ink[inside].mean()) if inside.mean() > 0.7 else np.inf
        places.append((worth, ink, moved))
    if not places:
        return [seed]
    best = places[0]
    for place in places[1:]:
        if place[0] > 1.15 * best[0]:
            best = place
    lightest = min(places, key=lambda p: p[1])
    return [best[2], lightest[2]] if lightest[1] < best[1] - _LIGHTER else [best[2]]


def plant(image: Sight, seed: Seed) -> Fit:
    """Return the mesh of the first few squares round a seed."""
    return _planted(image, _best_places(image, seed)[0])


def plants(image: Sight, seed: Seed) -> list[Fit]:
    """Return the meshes of the first few squares round the best one or two places near a seed."""
    return [_planted(image, place) for place in _best_places(image, seed)]


def _planted(image: Sight, seed: Seed) -> Fit:
    nodes = _aligned(image, seed_nodes(seed))
    for _ in range(3):
        nodes = polynomial_step(measure(image, nodes))
    return measure(image, nodes)
