"""Connected figures of backstitch lines, and how far they lie apart."""

from __future__ import annotations

from math import dist

import numpy as np

from converter.estimate.route_geometry import EPSILON, FloatArray, IntArray
from converter.estimate.route_graph import spanning_forest
from converter.model.arrays import LineArray

Hole = tuple[float, float]
Figure = list[tuple[Hole, Hole]]
Neighbours = dict[Hole, list[tuple[Hole, int]]]
"""For each hole the holes that lines lead to, and the numbers of these lines."""

_AT_ONCE = 1 << 20
"""Distances worked out at once, to bound the memory."""


def line_figures(lines: LineArray | Figure) -> list[Figure]:
    """Return the lines grouped into connected figures, without doubles, in reading order."""
    pairs: Figure = sorted({_ordered(a, b) for a, b in np.asarray(lines).tolist()})
    holes = sorted({hole for pair in pairs for hole in pair})
    number = {hole: k for k, hole in enumerate(holes)}
    ends = np.asarray([[number[a], number[b]] for a, b in pairs], dtype=np.int64).reshape(-1, 2)
    _, part = spanning_forest(len(holes), ends[:, 0], ends[:, 1], np.zeros(len(pairs)))
    figures: dict[int, Figure] = {}
    for pair, label in zip(pairs, part[ends[:, 0]].tolist(), strict=True):
        figures.setdefault(label, []).append(pair)
    return list(figures.values())


def _ordered(a: list[float], b: list[float]) -> tuple[Hole, Hole]:
    one, two = (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))
    return (one, two) if one <= two else (two, one)


def figure_holes(figure: Figure) -> FloatArray:
    """Return the holes of a figure, each once, in reading order, shape (n, 2)."""
    return np.asarray(sorted({hole for pair in figure for hole in pair}), dtype=np.float64)


def neighbours(figure: Figure) -> Neighbours:
    """Return for each hole of a figure the holes that lines lead to, and the numbers of these lines."""
    near: Neighbours = {}
    for k, (a, b) in enumerate(figure):
        near.setdefault(a, []).append((b, k))
        near.setdefault(b, []).append((a, k))
    return near


def straightest(before: Hole | None, at: Hole, choices: list[tuple[Hole, int]]) -> list[tuple[Hole, int]]:
    """Return the ways on from a hole, the straightest first."""

    def turn(choice: tuple[Hole, int]) -> tuple[float, Hole]:
        to = choice[0]
        if before is None:
            return (0.0, to)
        ahead = (at[0] - before[0], at[1] - before[1])
        step = (to[0] - at[0], to[1] - at[1])
        cosine = (ahead[0] * step[0] + ahead[1] * step[1]) / (dist(before, at) * dist(at, to))
        return (-round(cosine, 9), to)

    return sorted(choices, key=turn)


def nearest(points: FloatArray, others: FloatArray) -> FloatArray:
    """Return the distance from each point to the nearest of the others.

    Examples
    --------
    >>> import numpy as np
    >>> nearest(np.array([[0.0, 0.0], [5.0, 1.0]]), np.array([[0.0, 2.0], [2.0, 5.0]])).tolist()
    [2.0, 5.0]
    """
    found = np.empty(len(points))
    step = max(1, _AT_ONCE // len(others))
    for low in range(0, len(points), step):
        part = points[low : low + step]
        square = (part[:, None, 0] - others[None, :, 0]) ** 2 + (part[:, None, 1] - others[None, :, 1]) ** 2
        found[low : low + step] = square.min(axis=1)
    return np.sqrt(found)


def close_pairs(points: FloatArray, reach: float) -> tuple[IntArray, IntArray, FloatArray]:
    """Return all pairs of points at most ``reach`` apart, each once, and their distances."""
    order = np.lexsort((points[:, 1], points[:, 0]))
    row, col = points[order].T
    until = np.searchsorted(row, row + reach + EPSILON, side="right")
    ahead = until - np.arange(order.size) - 1
    one = np.repeat(np.arange(order.size), ahead)
    two = np.arange(one.size) - np.repeat(np.cumsum(ahead) - ahead, ahead) + one + 1
    span = np.hypot(row[two] - row[one], col[two] - col[one])
    keep = span <= reach + EPSILON
    return order[one[keep]], order[two[keep]], span[keep]


def in_turn(figures: list[Figure], number: int = 0) -> list[Figure]:
    """Return the figures from one of them on, each the nearest to the one before."""
    holes = [figure_holes(figure) for figure in figures]
    first = np.cumsum([0] + [len(part) for part in holes[:-1]])
    cloud = np.concatenate(holes)
    left = np.ones(len(figures), dtype=np.bool_)
    left[number] = False
    order = [number]
    for _ in figures[1:]:
        gaps = np.minimum.reduceat(nearest(cloud, holes[order[-1]]), first)
        gaps[~left] = np.inf
        order.append(int(gaps.argmin()))
        left[order[-1]] = False
    return [figures[k] for k in order]


def figure_gaps(figures: list[Figure], carry: float) -> tuple[list[list[int]], list[list[float]]]:
    """Return groups of figures that carries can join, and for each group the gaps of its cheapest spanning tree."""
    holes = [figure_holes(figure) for figure in figures]
    owner = np.repeat(np.arange(len(figures)), [len(part) for part in holes])
    one, two, span = close_pairs(np.concatenate(holes), carry)
    apart = owner[one] != owner[two]
    first, second, span = owner[one[apart]], owner[two[apart]], span[apart]
    edges, part = spanning_forest(len(figures), first, second, span)
    groups: list[list[int]] = [[] for _ in range(int(part.max()) + 1)]
    for k, group in enumerate(part.tolist()):
        groups[group].append(k)
    gaps: list[list[float]] = [[] for _ in groups]
    for group, value in zip(part[first[edges]].tolist(), span[edges].tolist(), strict=True):
        gaps[group].append(value)
    return groups, [sorted(part) for part in gaps]
