"""The few boundaries of a photograph that matter: regions grown together until their outline fits a budget.

1. Colours in CIELAB, averaged over half a stitch or so, then smoothed by a bilateral filter, which keeps edges.
2. Hollows of the gradient: many small regions whose boundaries lie on edges (a watershed).
3. The two neighbours that are cheapest to join are joined, again and again. A join costs

       (n1 n2 / (n1 + n2)) ^ 0.6 * (mean gradient on the boundary) ^ 1.5 / length ^ 0.5

   with n the pixels of the two regions: a boundary is worth what it stands out by, more if it parts large regions,
   and dividing by the length asks what each stitch of it says. The colours of whole regions do not count: a head of
   dark hair and light skin may be as bright on the whole as the wall behind it.
   A gradient that points along a boundary instead of across it counts for less, or not at all: a soft edge falls apart
   into hollows side by side, and where these meet is no edge.
4. It ends when the boundaries are no longer than the budget. Then those go that are faint beside the strong ones.
   What is left is traced between the pixels, with nodes where three regions meet, and smoothed.
5. Curves are ranked by their gradient times the square root of their length, and parts by the sum of it.

References
----------
Related: L. Vincent, P. Soille, Watersheds in digital spaces, 1991; Koepfler, Lopez, Morel, A multiscale algorithm for
image segmentation by variational method, 1994 (both from memory).
"""

from __future__ import annotations

import heapq
from dataclasses import replace
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import LabelArray
from converter.outline.fit import SPACING, curve_turns
from converter.outline.graph import Curve, CurveNetwork
from converter.outline.simplify import resample_curve, smooth_curve

SIZE_WEIGHT, STRENGTH_WEIGHT, LENGTH_WEIGHT = 0.6, 1.5, 0.5
"""Powers of the size of two regions, of the gradient between them and of the length of their boundary."""
SMOOTHING = 0.6
"""Colours are averaged over so many stitches, one standard deviation: finer edges come and go with the noise."""
HUE_WEIGHT = 1.0
"""What a difference in hue counts beside one in lightness: lines carry the edges that crosses of one colour cannot."""
TOGETHER = 0.3
"""What a curve weighs more for each of its ends that meets another."""
FAINT = 0.25
"""Boundaries weaker than this share of the strong ones are left out."""
NO_EDGE = 0.3
"""A gradient weaker than this, in units of CIELAB a pixel, parts nothing."""
ALONG, ACROSS = 0.15, 0.4
"""Shares of the gradient on a boundary that point across it: with less than the first it is no edge, with the second
it counts fully."""
LEAST_AREA = 2.0
"""Smaller regions join a neighbour, in square stitches."""
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
    lab = smooth_colours(rgb, SMOOTHING * scale)
    gradient = colour_gradient(lab)
    labels = grow_regions(gradient, budget * scale, LEAST_AREA * scale**2, slopes=colour_slopes(lab))
    return boundary_network(labels, gradient, scale, budget / 6)


def smooth_colours(rgb: npt.NDArray[np.float32], spread_pixels: float) -> npt.NDArray[np.float32]:
    """Return CIELAB colours averaged over a spread, then smoothed without blurring edges, hue weighed."""
    lab: npt.NDArray[Any] = np.asarray(cv2.cvtColor(np.clip(rgb, 0, 1), cv2.COLOR_RGB2LAB), dtype=np.float32)
    lab[:, :, 1:] *= HUE_WEIGHT
    # Contrast is brought to a common measure, so that a paler print of the photograph gives the same lines.
    spread = float(np.quantile(lab[:, :, 0], 0.95) - np.quantile(lab[:, :, 0], 0.05))
    lab = lab * np.float32(60.0 / max(spread, 15.0))
    lab = cv2.GaussianBlur(lab, (0, 0), spread_pixels)
    for _ in range(3):
        lab = cv2.bilateralFilter(lab, 9, 9.0, 3.0)
    return np.asarray(lab, dtype=np.float32)


def colour_gradient(lab: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """Return the length of the colour gradient, per pixel."""
    down, across = colour_slopes(lab)
    return np.asarray(np.sqrt((down**2 + across**2).sum(axis=2)), dtype=np.float64)


def colour_slopes(lab: npt.NDArray[np.float32]) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Return the change of colour per pixel, downwards and to the right, (H, W, 3) each."""
    down, across = (cv2.Sobel(lab, cv2.CV_32F, *order, ksize=3) / 8 for order in ((0, 1), (1, 0)))
    return np.asarray(down, dtype=np.float32), np.asarray(across, dtype=np.float32)


def grow_regions(
    gradient: npt.NDArray[np.float64],
    max_length: float,
    least_size: float,
    no_edge: float = NO_EDGE,
    slopes: tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]] | None = None,
) -> LabelArray:
    """Return regions of at least so many pixels whose boundaries are at most ``max_length`` pixel sides long.

    Notes
    -----
    A gradient weaker than ``no_edge`` on the boundary parts nothing. With ``slopes`` a boundary counts less where the
    colour changes along it rather than across, as between two parts of one soft edge.
    """
    labels = find_basins(np.asarray(cv2.GaussianBlur(gradient, (0, 0), 1.0), dtype=np.float64))
    count = int(labels.max()) + 1
    size = np.bincount(labels.ravel(), minlength=count).astype(np.float64)
    # Means are taken of square roots: a boundary that ends at a strong one has a few strong pixels of it.
    keys, strengths, changes = [], [], []
    for axis, (first, second) in enumerate(
        ((np.s_[:-1, :], np.s_[1:, :]), (np.s_[:, :-1], np.s_[:, 1:])),
    ):
        one, other = labels[first], labels[second]
        differ = one != other
        low, high = one[differ], other[differ]
        keys.append(np.minimum(low, high) * count + np.maximum(low, high))
        strengths.append(np.maximum(gradient[first], gradient[second])[differ])
        if slopes is not None:
            change = (slopes[axis][first][differ] + slopes[axis][second][differ]) / 2
            changes.append(np.where(low < high, 1.0, -1.0)[:, None] * change)
    names, which = np.unique(np.concatenate(keys), return_inverse=True)
    strength = np.concatenate(strengths)
    sums = [np.bincount(which), np.bincount(which, np.sqrt(strength)), np.bincount(which, strength)]
    sums += (
        [np.bincount(which, column) for change in [np.concatenate(changes)] for column in change.T] if changes else []
    )
    pairs = np.stack([names // count, names % count], axis=1)
    sides = np.stack(sums, axis=1).astype(np.float64)
    parent = _join_cheapest(size, pairs, sides, max_length, least_size, no_edge)
    return np.asarray(parent[labels], dtype=np.int32)


def find_basins(height: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    """Return for each pixel the number of the hollow into which a drop of water would run.

    Parameters
    ----------
    height : ndarray of shape (H, W)

    Notes
    -----
    A drop runs to the lowest of the nine pixels round it, the first in reading order of equal ones. Hollows are
    numbered in reading order of their lowest pixels.
    """
    rows, cols = height.shape
    edge = np.pad(height, 1, constant_values=np.inf)
    lowest = height.copy()
    target = np.arange(rows * cols).reshape(rows, cols)
    own = target.copy()
    for down in range(-1, 2):
        for right in range(-1, 2):
            other = edge[1 + down : 1 + down + rows, 1 + right : 1 + right + cols]
            name = own + down * cols + right
            nearer = (other < lowest) | ((other == lowest) & (name < target))
            lowest = np.where(nearer, other, lowest)
            target = np.where(nearer, name, target)
    root = target.ravel()
    while True:
        further = root[root]
        if np.array_equal(further, root):
            break
        root = further
    return np.asarray(np.unique(root, return_inverse=True)[1].reshape(rows, cols), dtype=np.int64)


def _join_cheapest(
    size: npt.NDArray[np.float64],
    pairs: npt.NDArray[np.int64],
    sides: npt.NDArray[np.float64],
    max_length: float,
    least_size: float,
    no_edge: float,
) -> npt.NDArray[np.int64]:
    """Return for each region the one it has become part of.

    Parameters
    ----------
    size : ndarray of shape (n,)
        Pixels of each region.
    pairs : ndarray of shape (K, 2)
        Neighbours, the smaller number first.
    sides : ndarray of shape (K, 3) or (K, 6)
        For each pair the number of pixel sides between them, the sum of the square roots of the gradient there, the
        sum of the gradient and, if known, the sum of the change of colour from the first to the second, (L, a, b).
    max_length, least_size, no_edge : float
        See `grow_regions`.
    """
    count = len(size)
    sizes = size.tolist()
    total = float(sides[:, 0].sum())
    beside: list[dict[int, tuple[float, ...]]] = [{} for _ in range(count)]
    for (low, high), entry in zip(pairs.tolist(), sides.tolist(), strict=True):
        beside[low][high] = tuple(entry)
        beside[high][low] = (*entry[:3], *(-value for value in entry[3:]))
    version = [0] * count
    parent = list(range(count))
    # The last two regions stay apart: a boundary too long for the budget is better than none.
    left, least_left = count, 2 if np.isfinite(max_length) else 1

    def mean_root(entry: tuple[float, ...]) -> float:
        mean = entry[1] / entry[0]
        if len(entry) == 3:
            return mean
        across = (entry[3] ** 2 + entry[4] ** 2 + entry[5] ** 2) ** 0.5
        return float(mean * share_across(across / max(entry[2], 1e-9)) ** 0.5)

    def price(a: int, b: int) -> float:
        entry = beside[a][b]
        worth = mean_root(entry) ** (2 * STRENGTH_WEIGHT) / entry[0] ** LENGTH_WEIGHT
        return float((sizes[a] * sizes[b] / (sizes[a] + sizes[b])) ** SIZE_WEIGHT * worth)

    def join(a: int, b: int) -> None:
        nonlocal total, left
        total -= beside[a][b][0]
        left -= 1
        del beside[a][b]
        sizes[a] += sizes[b]
        parent[b] = a
        version[a] += 1
        for other, entry in beside[b].items():
            if other == a:
                continue
            del beside[other][b]
            if other in beside[a]:
                entry = tuple(one + more for one, more in zip(beside[a][other], entry, strict=True))
            beside[a][other] = entry
            beside[other][a] = (*entry[:3], *(-value for value in entry[3:]))
        beside[b] = {}

    heap = [(price(a, b), a, b, 0, 0) for a, b in pairs.tolist()]
    heapq.heapify(heap)
    while heap and left > least_left:
        _, a, b, va, vb = heapq.heappop(heap)
        if version[a] != va or version[b] != vb or parent[a] != a or parent[b] != b:
            continue
        between = beside[a][b]
        if total <= max_length and min(sizes[a], sizes[b]) >= least_size and mean_root(between) > no_edge**0.5:
            continue
        join(a, b)
        for other in beside[a]:
            low, high = min(a, other), max(a, other)
            heapq.heappush(heap, (price(low, high), low, high, version[low], version[high]))
    while sides.shape[1] > 3 and left > least_left:
        # What is faint beside the strong edges of the same picture parts nothing either.
        found = [(mean_root(entry) ** 2, a, b) for a in range(count) for b, entry in beside[a].items() if a < b]
        strong = float(np.quantile([strength for strength, _, _ in found], 0.9))
        strength, a, b = min(found)
        if strength >= FAINT * strong:
            break
        join(a, b)
    result = np.array(parent)
    while True:
        further = result[result]
        if np.array_equal(further, result):
            return result
        result = further


def share_across(share: float) -> float:
    """Return what a boundary counts, 0 to 1, given the share of the gradient that points across it."""
    return min(max((share - ALONG) / (ACROSS - ALONG), 0.0), 1.0)


def boundary_network(
    labels: LabelArray, gradient: npt.NDArray[np.float64], scale: int, max_length: float
) -> CurveNetwork:
    """Return the boundaries between regions as curves, nodes where regions meet in threes or at the picture's edge.

    Notes
    -----
    The weight of a curve is the mean gradient on it times the square root of its length.
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
    strengths = [_mean_along(curve.points, gradient, scale) for curve in curves]
    faintest = FAINT * float(np.quantile(strengths, 0.9)) if strengths else 0.0
    for curve, strength in zip(curves, strengths, strict=True):
        if strength < faintest:
            continue
        weight = strength * float(np.sqrt(curve.length))
        # What lies at the rim of the picture is seldom the subject.
        away = np.abs(curve.points - (height / 2, width / 2)) / (height / 2, width / 2)
        weighed.append(replace(curve, weight=weight * float(np.clip(1.35 - away.max(axis=1).mean(), 0.35, 1.0))))
    network.curves = weighed
    return network


def _mean_along(points: npt.NDArray[np.float64], values: npt.NDArray[np.float64], scale: int) -> float:
    """Return the mean of a picture's values along a curve between its pixels."""
    at = np.clip((points * scale + 1e-6).astype(int), 0, np.array(values.shape) - 1)
    before = np.maximum(at - 1, 0)
    around = (values[at[:, 0], at[:, 1]], values[before[:, 0], before[:, 1]])
    return float(np.maximum(*around).mean())


def keep_best(network: CurveNetwork, max_length: float, max_parts: int) -> CurveNetwork:
    """Return the curves of most weight: at most so long together, in at most so many connected parts.

    Notes
    -----
    A curve that begins or ends where another one does weighs more. One that is too long for what is left of the
    length is passed over.
    """
    kept: list[Curve] = []
    left = max_length
    met: set[int] = set()
    waiting = [curve for curve in network.curves if curve.length >= MIN_LENGTH]
    while waiting:
        worth_now = [curve.weight * (1 + TOGETHER * len({curve.start, curve.end} & met)) for curve in waiting]
        curve = waiting.pop(int(np.argmax(worth_now)))
        if curve.length <= left or (not kept and not curve.closed):
            kept.append(curve)
            left -= curve.length
            met |= {curve.start, curve.end} - {-1}
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
