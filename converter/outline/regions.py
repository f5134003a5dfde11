"""The few boundaries of a photograph that matter: regions grown together until their outline fits a budget.

1. Colours in CIELAB, lightness counting more than hue, since the piece is sewn in one colour; smoothed
   by a bilateral filter, which keeps edges.
2. Watershed from the local minima of the gradient: many small regions whose boundaries lie on edges.
3. The two neighbours that are cheapest to join are joined, again and again. A join costs

       n1 n2 / (n1 + n2) * distance^2 / length * (mean gradient on the boundary)^2

   with n the pixels and the distance in colour of the two regions. The first factor is the error the
   join adds (J. Ward's criterion); dividing by the length asks what each stitch of the boundary says; the
   gradient lets soft shading go before true edges.
4. It ends when the boundaries are no longer than the budget. What is left is traced between the
   pixels, with nodes where three regions meet, and smoothed.
5. Curves are ranked by contrast times the square root of their length, and parts by the sum of it.

References
----------
J. H. Ward, Hierarchical grouping to optimize an objective function, 1963; Koepfler, Lopez, Morel,
A multiscale algorithm for image segmentation by variational method, 1994 (both from memory).
"""

from __future__ import annotations

import heapq
from dataclasses import replace
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy import ndimage
from skimage.segmentation import watershed

from converter.model.arrays import LabelArray
from converter.outline.fit import SPACING, curve_turns
from converter.outline.graph import Curve, CurveNetwork
from converter.outline.simplify import resample_curve, smooth_curve

HUE_WEIGHT = 0.5
"""What a difference in hue counts beside one in lightness."""
MIN_LENGTH = 2.5
"""Shorter boundaries are left out, in stitches."""


def region_scale(shape: tuple[int, int]) -> int:
    """Return the pixels a stitch at which regions are sought."""
    return int(np.clip(round(240 / max(shape)), 2, 5))


def photo_network(rgb: npt.NDArray[np.float32], scale: int, budget: float) -> CurveNetwork:
    """Return the boundaries of a photograph that say most.

    Parameters
    ----------
    rgb : ndarray of shape (rows * scale, cols * scale, 3), float32
    scale : int
        Pixels a stitch.
    budget : float
        Length of all boundaries together, in stitches.
    """
    lab = smooth_colours(rgb)
    gradient = colour_gradient(lab)
    labels = grow_regions(lab, gradient, budget * scale)
    return boundary_network(labels, lab, scale, budget / 6)


def smooth_colours(rgb: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return CIELAB colours smoothed without blurring edges, hue weighed down."""
    lab: npt.NDArray[Any] = np.asarray(cv2.cvtColor(np.clip(rgb, 0, 1), cv2.COLOR_RGB2LAB), dtype=np.float32)
    lab[:, :, 1:] *= HUE_WEIGHT
    # Contrast is brought to a common measure, so that a paler print of the photograph gives the same lines.
    spread = float(np.quantile(lab[:, :, 0], 0.95) - np.quantile(lab[:, :, 0], 0.05))
    lab = lab * np.float32(60.0 / max(spread, 15.0))
    lab = cv2.GaussianBlur(lab, (0, 0), 0.8)
    for _ in range(3):
        lab = cv2.bilateralFilter(lab, 9, 9.0, 3.0)
    return np.asarray(lab, dtype=np.float32)


def colour_gradient(lab: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """Return the length of the colour gradient, per pixel."""
    down = np.abs(cv2.Sobel(lab, cv2.CV_32F, 0, 1, ksize=3)) / 8
    across = np.abs(cv2.Sobel(lab, cv2.CV_32F, 1, 0, ksize=3)) / 8
    return np.asarray(np.sqrt((down**2 + across**2).sum(axis=2)), dtype=np.float64)


def grow_regions(lab: npt.NDArray[np.float32], gradient: npt.NDArray[np.float64], max_length: float) -> LabelArray:
    """Return regions whose boundaries together are at most ``max_length`` pixel sides long."""
    flat = cv2.GaussianBlur(gradient, (0, 0), 1.0)
    minima, _ = ndimage.label(flat <= ndimage.minimum_filter(flat, size=5), structure=np.ones((3, 3)))
    labels = np.asarray(watershed(flat, minima), dtype=np.int64) - 1  # type: ignore[no-untyped-call]
    count = int(labels.max()) + 1
    size = np.bincount(labels.ravel(), minlength=count).astype(np.float64)
    mean = np.stack([np.bincount(labels.ravel(), lab[:, :, k].ravel(), count) / size for k in range(3)], axis=1)
    pairs: dict[tuple[int, int], list[float]] = {}
    total = 0.0
    for one, other, strength in (
        (labels[:-1], labels[1:], np.maximum(gradient[:-1], gradient[1:])),
        (labels[:, :-1], labels[:, 1:], np.maximum(gradient[:, :-1], gradient[:, 1:])),
    ):
        differ = one != other
        low, high = np.minimum(one, other)[differ], np.maximum(one, other)[differ]
        key, which = np.unique(low * count + high, return_inverse=True)
        length = np.bincount(which)
        strengths = np.bincount(which, strength[differ])
        total += float(length.sum())
        for k, sides, amount in zip(key.tolist(), length.tolist(), strengths.tolist(), strict=True):
            entry = pairs.setdefault(divmod(k, count), [0.0, 0.0])
            entry[0] += sides
            entry[1] += amount
    parent = _join_cheapest(size, mean, pairs, total, max_length)
    return np.asarray(parent[labels], dtype=np.int32)


def _join_cheapest(
    size: npt.NDArray[np.float64],
    mean: npt.NDArray[np.float64],
    pairs: dict[tuple[int, int], list[float]],
    total: float,
    max_length: float,
) -> npt.NDArray[np.int64]:
    """Return for each region the one it has become part of."""
    count = len(size)
    sizes, means = size.tolist(), mean.tolist()
    beside: list[dict[int, list[float]]] = [{} for _ in range(count)]
    for (low, high), entry in pairs.items():
        beside[low][high] = entry
        beside[high][low] = entry
    version = [0] * count
    parent = list(range(count))

    def price(a: int, b: int) -> float:
        sides, amount = beside[a][b]
        apart = sum((x - y) ** 2 for x, y in zip(means[a], means[b], strict=True))
        return float(sizes[a] * sizes[b] / (sizes[a] + sizes[b]) * apart / sides * (amount / sides) ** 2)

    heap = [(price(a, b), a, b, 0, 0) for a, b in sorted(pairs)]
    heapq.heapify(heap)
    # The last two regions stay apart: a boundary too long for the budget is better than none.
    left = count
    while heap and total > max_length and left > 2:
        _, a, b, va, vb = heapq.heappop(heap)
        if version[a] != va or version[b] != vb or parent[a] != a or parent[b] != b:
            continue
        total -= beside[a][b][0]
        left -= 1
        whole = sizes[a] + sizes[b]
        means[a] = [(x * sizes[a] + y * sizes[b]) / whole for x, y in zip(means[a], means[b], strict=True)]
        sizes[a] = whole
        parent[b] = a
        version[a] += 1
        del beside[a][b]
        for other, entry in beside[b].items():
            if other == a:
                continue
            del beside[other][b]
            if other in beside[a]:
                old = beside[a][other]
                entry = [old[0] + entry[0], old[1] + entry[1]]
            beside[a][other] = entry
            beside[other][a] = entry
        beside[b] = {}
        for other in beside[a]:
            low, high = min(a, other), max(a, other)
            heapq.heappush(heap, (price(low, high), low, high, version[low], version[high]))
    result = np.array(parent)
    while True:
        further = result[result]
        if np.array_equal(further, result):
            return result
        result = further


def boundary_network(labels: LabelArray, lab: npt.NDArray[np.float32], scale: int, max_length: float) -> CurveNetwork:
    """Return the boundaries between regions as curves, nodes where regions meet in threes or at the picture's edge.

    Notes
    -----
    The weight of a curve is its contrast times the square root of its length; contrast is the mean
    difference in colour one stitch apart across the curve.
    """
    sides: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for cut, step in ((labels[:-1] != labels[1:], (0, 1)), (labels[:, :-1] != labels[:, 1:], (1, 0))):
        for r, c in np.argwhere(cut).tolist():
            a = (r + 1, c) if step == (0, 1) else (r, c + 1)
            b = (a[0] + step[0], a[1] + step[1])
            sides.setdefault(a, []).append(b)
            sides.setdefault(b, []).append(a)
    network = CurveNetwork()
    names: dict[tuple[int, int], int] = {}

    def node(corner: tuple[int, int]) -> int:
        if corner not in names:
            names[corner] = len(network.nodes)
            network.nodes.append(np.array(corner, dtype=np.float64) / scale)
        return names[corner]

    used: set[tuple[tuple[int, int], tuple[int, int]]] = set()

    def walk(first: tuple[int, int], second: tuple[int, int]) -> list[tuple[int, int]]:
        path = [first, second]
        used.update(((first, second), (second, first)))
        while len(sides[path[-1]]) == 2 and path[-1] != first:
            at, came = path[-1], path[-2]
            onward = sides[at][0] if sides[at][0] != came else sides[at][1]
            used.update(((at, onward), (onward, at)))
            path.append(onward)
        return path

    corners = sorted(sides)
    for corner in [c for c in corners if len(sides[c]) != 2] + [c for c in corners if len(sides[c]) == 2]:
        for neighbour in sorted(sides[corner]):
            if (corner, neighbour) in used:
                continue
            path = walk(corner, neighbour)
            points = np.array(path, dtype=np.float64) / scale
            loop = len(sides[corner]) == 2
            points = smooth_curve(resample_curve(points, 0.1), 6, loop)
            points = smooth_curve(points, 4, loop)
            ends = (-1, -1) if loop else (node(path[0]), node(path[-1]))
            network.curves.append(Curve(points, *ends, solid=True))
    curves = [piece for curve in network.curves for piece in cut_long(curve, network, max_length)]
    height, width = np.array(labels.shape) / scale
    weighed = []
    for curve in curves:
        weight = _contrast(curve.points, lab, scale) * float(np.sqrt(curve.length))
        # What lies at the rim of the picture is seldom the subject.
        away = np.abs(curve.points - (height / 2, width / 2)) / (height / 2, width / 2)
        weighed.append(replace(curve, weight=weight * float(np.clip(1.35 - away.max(axis=1).mean(), 0.35, 1.0))))
    network.curves = weighed
    return network


def _contrast(points: npt.NDArray[np.float64], lab: npt.NDArray[np.float32], scale: int) -> float:
    """Return the mean colour difference between points half a stitch to either side of a curve."""
    tangent = np.gradient(points, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    across = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) * 0.6
    limit = np.array(lab.shape[:2]) - 1
    one, other = (np.clip(((points + side * across) * scale).astype(int), 0, limit) for side in (1, -1))
    apart = lab[one[:, 0], one[:, 1]] - lab[other[:, 0], other[:, 1]]
    return float(np.sqrt((apart**2).sum(axis=1)).mean())


def keep_best(network: CurveNetwork, max_length: float, max_parts: int) -> CurveNetwork:
    """Return the curves of most weight: at most so long together, in at most so many connected parts.

    Notes
    -----
    A curve that is too long for what is left of the length is passed over; if nothing has been taken
    yet it is cut to its first piece of that length.
    """
    kept: list[Curve] = []
    left = max_length
    for curve in sorted(network.curves, key=lambda curve: -curve.weight):
        if curve.length < MIN_LENGTH:
            continue
        if curve.length <= left:
            kept.append(curve)
            left -= curve.length
        elif not kept and not curve.closed:
            kept.append(curve)
            left = 0.0
    result = CurveNetwork(network.nodes, kept)
    parts = result.parts()
    worth: dict[int, float] = {}
    for part, curve in zip(parts, kept, strict=True):
        worth[part] = worth.get(part, 0.0) + curve.weight
    best = set(sorted(worth, key=lambda part: (-worth[part], part))[:max_parts])
    return CurveNetwork(network.nodes, [c for part, c in zip(parts, kept, strict=True) if part in best])


def cut_long(curve: Curve, network: CurveNetwork, max_length: float) -> list[Curve]:
    """Return a curve in pieces of at most ``max_length``, new nodes between them, cut where it bends most."""
    points = curve.points
    count = int(np.ceil(curve.length / max_length))
    if count <= 1:
        return [curve]
    bends = np.abs(curve_turns(resample_curve(points, SPACING), curve.closed, 1.5))
    points = resample_curve(points, SPACING)
    size = len(points) - 1
    slack = max(size // (4 * count), 1)
    cuts = [0]
    for k in range(1, count):
        middle = round(k * size / count)
        window = bends[max(middle - slack, 1) : middle + slack + 1]
        cuts.append(max(middle - slack, 1) + int(np.argmax(np.round(window, 6))))
    cuts.append(size)
    names = []
    for k, at in enumerate(cuts):
        if k in (0, len(cuts) - 1) and not curve.closed:
            names.append(curve.start if k == 0 else curve.end)
        elif k == len(cuts) - 1:
            names.append(names[0])
        else:
            names.append(len(network.nodes))
            network.nodes.append(points[at])
    return [
        replace(curve, points=points[a : b + 1], start=one, end=other)
        for (a, one), (b, other) in pairwise(zip(cuts, names, strict=True))
    ]
