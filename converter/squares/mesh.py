"""The grid as a mesh of crossings, grown from a seed and fitted to the printed lines.

1. Lines are measured, not crossings: crossings hide under marks, while each side of each square gives one
   offset across the line.
2. A printed line is unbroken along the side, a row of marks is not: along the side the lighter half of the
   samples counts, and neighbouring sides on the same line are averaged.
3. What counts is that the line is darker than *both* its sides, so that the edge of a shadow or of a filled
   square is not taken for a line.
4. Offsets of level lines move crossings down or up, those of upright lines right or left; both are smooth
   functions over the sheet. While the mesh grows by a few squares at a time they are polynomials whose degree
   rises with the size; sides that disagree lose their weight. At the end local averages take up curl and folds.
5. Sides next to ink, or outside the picture, are no evidence either way when the ends of the grid are sought.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy import ndimage

from converter.squares.density import FloatArray, mix
from converter.squares.lattice import Seed

Nodes = npt.NDArray[np.float64]
"""(n + 1, m + 1, 2): picture (row, col) of each crossing."""

_ACROSS = np.linspace(-0.5, 0.5, 21)
_ALONG = np.linspace(0.12, 0.88, 7)
_SIDE = 4
"""Samples between the middle of a line and the paper beside it (0.2 of a square)."""


@dataclass(frozen=True)
class Sides:
    """What was measured at the sides of the squares along one family of lines.

    Arrays are (lines, sides) for both families: level lines (n + 1, m), upright lines (m + 1, n).
    """

    offset: npt.NDArray[np.float64]
    """Where the line is, as part of a square, positive down or right."""
    height: npt.NDArray[np.float64]
    """Density of the line above the paper on both sides."""
    ink: npt.NDArray[np.float64]
    """Mean density round the side, to tell paper from ink."""
    solid: npt.NDArray[np.float64]
    """Density of the lighter part round the side: high only where nearly all of it is inked."""
    inside: npt.NDArray[np.bool_]
    """The side lies in the picture."""
    noise: float


def _sample(image: FloatArray, rows: npt.NDArray[np.float64], cols: npt.NDArray[np.float64]) -> FloatArray:
    """Return bilinear samples at float positions of any shape (K, L); outside, the border is repeated."""
    out = np.empty(rows.shape, np.float32)
    for start in range(0, rows.shape[0], 16000):
        part = slice(start, start + 16000)
        out[part] = cv2.remap(
            image,
            cols[part].astype(np.float32),
            rows[part].astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
    return out


def measure_sides(image: FloatArray, nodes: Nodes, average: int = 3, reach: float = 0.3) -> Sides:
    """Measure the level lines of a mesh; for upright lines hand in ``nodes.transpose(1, 0, 2)``."""
    lines, sides = nodes.shape[0], nodes.shape[1] - 1
    across = np.gradient(nodes, axis=0)
    a, b = nodes[:, :-1], nodes[:, 1:]
    va, vb = across[:, :-1], across[:, 1:]
    t = _ALONG[:, None, None]
    s = _ACROSS[None, :, None]
    shape = (lines, sides, len(_ALONG), len(_ACROSS))
    where = (
        a[:, :, None, None] * (1 - t) + b[:, :, None, None] * t
        + (va[:, :, None, None] * (1 - t) + vb[:, :, None, None] * t) * s
    )  # fmt: skip
    flat = where.reshape(lines * sides, -1, 2)
    values = _sample(image, flat[..., 0], flat[..., 1]).reshape(shape)
    values.sort(axis=2)
    profile = values[:, :, 1:4].mean(axis=2)
    bump = np.zeros_like(profile)
    inner = slice(_SIDE, -_SIDE)
    bump[..., inner] = profile[..., inner] - np.maximum(
        0.5 * (profile[..., : -2 * _SIDE] + profile[..., 2 * _SIDE :]),
        np.maximum(profile[..., : -2 * _SIDE], profile[..., 2 * _SIDE :]) - 0.05,
    )
    if average > 1 and sides >= average:
        bump = ndimage.uniform_filter1d(bump, average, axis=1, mode="nearest")
    mid = len(_ACROSS) // 2
    window = max(1, round(reach / (_ACROSS[1] - _ACROSS[0])))
    window = min(window, mid - _SIDE)
    near = bump[..., mid - window : mid + window + 1]
    best = near.argmax(axis=2)
    grid = np.indices(best.shape)
    height = near[grid[0], grid[1], best].astype(np.float64)
    low = near[grid[0], grid[1], np.maximum(best - 1, 0)]
    high = near[grid[0], grid[1], np.minimum(best + 1, near.shape[2] - 1)]
    bend = low + high - 2 * height
    shift = np.where(bend < -1e-6, 0.5 * (low - high) / np.where(bend < -1e-6, bend, 1.0), 0.0)
    offset = (best - window + np.clip(shift, -0.5, 0.5)) * (_ACROSS[1] - _ACROSS[0])
    middle = (a + b) / 2
    limit = np.array(image.shape[:2]) - 1.5
    inside = ((middle > 0.5) & (middle < limit)).all(axis=2)
    noise = float(np.median(np.abs(bump[..., [_SIDE, -_SIDE - 1]]))) + 1e-4
    flat_values = values.reshape(lines, sides, -1)
    part = np.partition(flat_values, [flat_values.shape[2] // 4, flat_values.shape[2] * 4 // 5], axis=2)
    ink = part[..., flat_values.shape[2] * 4 // 5].astype(np.float64)
    solid = part[..., flat_values.shape[2] // 4].astype(np.float64)
    return Sides(offset, height, ink, solid, inside, noise)


def _terms(r: npt.NDArray[np.float64], c: npt.NDArray[np.float64], degree: int) -> npt.NDArray[np.float64]:
    return np.stack([r**p * c**q for p in range(degree + 1) for q in range(degree + 1 - p)], axis=-1)


def _robust_polynomial(
    r: npt.NDArray[np.float64],
    c: npt.NDArray[np.float64],
    value: npt.NDArray[np.float64],
    weight: npt.NDArray[np.float64],
    degree: int,
) -> npt.NDArray[np.float64]:
    """Fit by reweighting (Tukey's biweight on the residual's median)."""
    terms = _terms(r, c, degree)
    ridge = np.eye(terms.shape[1]) * 1e-3
    w = weight.copy()
    fitted = np.zeros(terms.shape[1])
    for _ in range(6):
        weighted = terms * w[:, None]
        fitted = np.linalg.solve(weighted.T @ terms + ridge, weighted.T @ value)
        miss = np.abs(value - terms @ fitted)
        scale = max(0.02, 3 * float(np.median(miss[weight > 0])) if (weight > 0).any() else 0.1)
        w = weight * np.maximum(0, 1 - (miss / (1.5 * scale)) ** 2) ** 2
    return np.asarray(fitted)


def _degree(squares: float) -> int:
    return 1 if squares < 9 else 2 if squares < 16 else 3 if squares < 28 else 4


def line_height(sides: Sides, part: float = 0.6) -> float:
    """Return the usual height of a true line among measured sides."""
    heights = sides.height[sides.inside]
    return float(np.quantile(heights, part)) if heights.size else 0.0


@dataclass(frozen=True)
class Fit:
    """A mesh with its measured sides. Row and column numbers start at ``first``."""

    nodes: Nodes
    level: Sides
    upright: Sides
    height: float
    first: tuple[int, int]

    def good(self) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
        """Return which sides show a line: level (n + 1, m), upright (m + 1, n).

        A side counts only where, round about, both families show: wood grain, ruled lines and the edge of the
        sheet have one direction only.
        """
        out = []
        for sides in (self.level, self.upright):
            out.append(
                sides.inside & (sides.height > max(0.4 * self.height, 3 * sides.noise)) & (np.abs(sides.offset) < 0.22)
            )
        shares = []
        for shown, sides in zip(out, (self.level, self.upright), strict=True):
            known = judged_sides(sides, self.height) | shown
            total = ndimage.uniform_filter(known.astype(np.float64), 5, mode="constant")
            share = ndimage.uniform_filter(shown.astype(np.float64), 5, mode="constant") / (total + 0.04)
            shares.append(np.pad(share, ((0, 0), (0, 1)), mode="edge"))
        both = np.minimum(shares[0], shares[1].T) > 0.3
        return out[0] & both[:, :-1], out[1] & both.T[:, :-1]


def measure(image: FloatArray, nodes: Nodes, first: tuple[int, int] = (0, 0), average: int = 3) -> Fit:
    """Measure both families of lines."""
    level = measure_sides(image, nodes, average)
    upright = measure_sides(image, nodes.transpose(1, 0, 2), average)
    height = float(np.median([line_height(level), line_height(upright)]))
    return Fit(nodes, level, upright, height, first)


def _moved(fit: Fit, down: npt.NDArray[np.float64], right: npt.NDArray[np.float64]) -> Nodes:
    return np.asarray(
        fit.nodes + down[..., None] * np.gradient(fit.nodes, axis=0) + right[..., None] * np.gradient(fit.nodes, axis=1)
    )


def polynomial_step(fit: Fit) -> Nodes:
    """Move the crossings by polynomial offsets fitted to the sides that show a line."""
    n, m = fit.nodes.shape[0] - 1, fit.nodes.shape[1] - 1
    good = fit.good()
    rr, cc = np.mgrid[0 : n + 1, 0 : m + 1].astype(np.float64)
    scale = max(n, m) / 2
    moved = []
    for number, sides in enumerate((fit.level, fit.upright)):
        line, side = np.nonzero(good[number])
        if len(line) < 8:
            moved.append(np.zeros((n + 1, m + 1)))
            continue
        along = side + 0.5
        r, c = (line.astype(float), along) if number == 0 else (along, line.astype(float))
        spread = min(np.ptp(r), np.ptp(c)) + 1
        r, c = (r - n / 2) / scale, (c - m / 2) / scale
        weight = np.minimum(sides.height[line, side] / max(fit.height, 1e-6), 1.5)
        degree = _degree(spread)
        fitted = _robust_polynomial(r, c, sides.offset[line, side], weight, degree)
        value = _terms((rr - n / 2) / scale, (cc - m / 2) / scale, degree) @ fitted
        moved.append(np.clip(value, -0.5, 0.5))
    return _moved(fit, moved[0], moved[1])


def local_step(fit: Fit, reach: float) -> Nodes:
    """Move the crossings by local averages of the offsets, over about ``reach`` squares."""
    n, m = fit.nodes.shape[0] - 1, fit.nodes.shape[1] - 1
    good = fit.good()
    moved = []
    for number, sides in enumerate((fit.level, fit.upright)):
        weight = good[number] * np.minimum(sides.height / max(fit.height, 1e-6), 1.5)
        offset = sides.offset.copy()
        for _ in range(2):
            total = ndimage.gaussian_filter(weight, reach, mode="constant")
            mean = ndimage.gaussian_filter(weight * offset, reach, mode="constant") / (total + 0.02)
            weight = weight * (np.abs(offset - mean) < 0.12)
        total = ndimage.gaussian_filter(weight, reach, mode="constant")
        mean = ndimage.gaussian_filter(weight * offset, reach, mode="constant") / (total + 0.02)
        # from the middles of sides to crossings
        at = np.pad(mean, ((0, 0), (1, 1)), mode="edge")
        value = 0.5 * (at[:, :-1] + at[:, 1:])
        moved.append(value if number == 0 else value.T)
    return _moved(fit, moved[0], moved[1])


def extend(nodes: Nodes, grow: tuple[int, int, int, int]) -> Nodes:
    """Add rows or columns of crossings outside: top, left, bottom, right; going on evenly."""
    n, m = nodes.shape[0], nodes.shape[1]
    top, left, bottom, right = grow
    if not any(grow):
        return nodes
    out = np.empty((n + top + bottom, m + left + right, 2))
    out[top : top + n, left : left + m] = nodes
    for axis, before, after in ((0, top, bottom), (1, left, right)):
        inner = out[:, left : left + m] if axis == 0 else out
        block = inner if axis == 0 else inner.transpose(1, 0, 2)
        old = block[before : block.shape[0] - after] if after else block[before:]
        reach = min(4, old.shape[0] - 1)
        for number in range(1, before + 1):
            block[before - number] = old[0] + (old[0] - old[reach]) / reach * number
        for number in range(1, after + 1):
            block[before + old.shape[0] - 1 + number] = old[-1] + (old[-1] - old[-1 - reach]) / reach * number
    return out


def seed_nodes(seed: Seed, half: int) -> Nodes:
    """Return the crossings of a seed, ``half`` squares to each side."""
    r, c = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float64)
    return (
        np.array(seed.centre)
        + r[..., None] * np.array(seed.down)
        + c[..., None] * np.array(seed.right)
    )  # fmt: skip


def side_support(fit: Fit, edge: str, depth: int = 2) -> tuple[float, float]:
    """Return (share of sides that show a line, share that could be judged) among the outermost squares of an edge."""
    level, upright = fit.good()
    known = [judged_sides(fit.level, fit.height), judged_sides(fit.upright, fit.height)]
    cut = {
        "top": (np.s_[:depth, :], np.s_[:, :depth]),
        "bottom": (np.s_[-depth:, :], np.s_[:, -depth:]),
        "left": (np.s_[:, :depth], np.s_[:depth, :]),
        "right": (np.s_[:, -depth:], np.s_[-depth:, :]),
    }[edge]
    shown = int(level[cut[0]].sum() + upright[cut[1]].sum())
    judged = int(known[0][cut[0]].sum() + known[1][cut[1]].sum())
    total = level[cut[0]].size + upright[cut[1]].size
    inside = int(fit.level.inside[cut[0]].sum() + fit.upright.inside[cut[1]].sum())
    return (shown / judged if judged else 1.0), inside / total


def judged_sides(sides: Sides, height: float) -> npt.NDArray[np.bool_]:
    """Return the sides on clean paper inside the picture."""
    if not sides.inside.any():
        return sides.inside
    paper = ndimage.minimum_filter(ndimage.uniform_filter(sides.ink, 3, mode="nearest"), 9, mode="nearest")
    return np.asarray(sides.inside & (sides.ink < paper + max(2.0 * height, 0.12)))


def _aligned(image: FloatArray, nodes: Nodes) -> Nodes:
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


def plant(image: FloatArray, seed: Seed) -> Fit:
    """Return the mesh of the first few squares round a seed."""
    half = 4
    nodes = _aligned(image, seed_nodes(seed, half))
    for _ in range(3):
        nodes = polynomial_step(measure(image, nodes))
    return measure(image, nodes, (-half, -half))


def grow(
    image: FloatArray, fit: Fit, most_steps: int = 80, most_side: int = 420, patience: int = 3, close: bool = False
) -> Fit:
    """Grow a mesh as far as lines are found.

    Returns
    -------
    fit : Fit
        It reaches a few squares beyond the last lines.
    """
    first = list(fit.first)
    misses = {"top": 0, "left": 0, "bottom": 0, "right": 0}
    for _ in range(most_steps):
        n, m = fit.nodes.shape[0] - 1, fit.nodes.shape[1] - 1
        step = 2 if min(n, m) < 14 else 3
        grow_by = []
        for edge in ("top", "left", "bottom", "right"):
            side = n if edge in ("top", "bottom") else m
            if misses[edge] < patience:
                support, seen = side_support(fit, edge, step)
                misses[edge] = patience if seen < 0.08 else misses[edge] + 1 if support < 0.3 else 0
            grow_by.append(step if misses[edge] < patience and side < most_side else 0)
        if not any(grow_by):
            break
        first[0] -= grow_by[0]
        first[1] -= grow_by[1]
        nodes = extend(fit.nodes, (grow_by[0], grow_by[1], grow_by[2], grow_by[3]))
        fit = measure(image, nodes, (first[0], first[1]))
        fit = measure(image, polynomial_step(fit), (first[0], first[1]))
        if close:
            fit = measure(image, local_step(fit, 3.0), (first[0], first[1]))
    return fit


def line_mix(dense: FloatArray, fit: Fit, scale: float) -> FloatArray:
    """Return the mix of channels in which this grid's own lines stand out most; ``scale`` is mesh to ``dense`` pixels."""
    nodes = (fit.nodes + 0.5) * scale - 0.5
    shown = fit.good()
    heights, spreads = [], []
    for channel in range(3):
        image = np.ascontiguousarray(dense[:, :, channel])
        level = measure_sides(image, nodes, 1, 0.05)
        upright = measure_sides(image, nodes.transpose(1, 0, 2), 1, 0.05)
        values = np.concatenate([level.height[shown[0]], upright.height[shown[1]]])
        heights.append(float(np.median(values)) if values.size else 0.0)
        spreads.append(0.5 * (level.noise + upright.noise) + 0.002)
    return mix(np.array(heights), np.array(spreads))


def settle(image: FloatArray, fit: Fit) -> Fit:
    """Fit the finished mesh closely: polynomial first, then ever more local averages."""
    nodes = polynomial_step(fit)
    for reach in (4.0, 3.0, 2.0, 2.0):
        nodes = local_step(measure(image, nodes, fit.first), reach)
    return measure(image, nodes, fit.first)


def quality(fit: Fit) -> float:
    """Return how well a mesh explains the picture: sides that show a line, times their share cubed."""
    level, upright = fit.good()
    known = judged_sides(fit.level, fit.height).sum() + judged_sides(fit.upright, fit.height).sum()
    shown = level.sum() + upright.sum()
    contrast = min(1.0, fit.height / max(fit.level.noise, fit.upright.noise, 1e-6) / 8)
    share = float(shown) / max(1.0, float(known))
    pitch = float(np.median(np.hypot(*np.diff(fit.nodes, axis=0).reshape(-1, 2).T)))
    return float(shown) * min(share, 1.0) ** 3 * contrast / pitch
