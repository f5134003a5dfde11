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

from converter.squares.density import FloatArray, mix, shrink
from converter.squares.lattice import Seed

Nodes = npt.NDArray[np.float64]
"""(n + 1, m + 1, 2): picture (row, col) of each crossing."""

_ACROSS = np.linspace(-0.6, 0.6, 17, dtype=np.float32)
_ALONG = np.linspace(0.06, 0.94, 6, dtype=np.float32)
_SIDE = 4
"""Samples between the middle of a line and the paper beside it (0.3 of a square)."""

_BESIDE = np.array([3, 5, 11, 13])
"""Samples on the paper to both sides (0.4 and 0.25 of a square)."""


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


def _sample(image: FloatArray, rows: FloatArray, cols: FloatArray) -> FloatArray:
    """Return bilinear samples at float positions of any shape (K, L); outside, the border is repeated."""
    out = np.empty(rows.shape, np.float32)
    for start in range(0, rows.shape[0], 16000):
        part = slice(start, start + 16000)
        out[part] = cv2.remap(
            image,
            cols[part],
            rows[part],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
    return out


@dataclass(frozen=True)
class Sight:
    """The picture as the mesh sees it: two density images of the same shape (H, W)."""

    lines: FloatArray
    """The mix of channels in which the printed lines show best."""
    tone: FloatArray
    """All channels together, to tell paper from ink of any colour."""

    @classmethod
    def of(cls, dense: FloatArray, weights: FloatArray) -> Sight:
        """Return the views of a density picture (H, W, 3)."""
        tone = 0.5 * dense.mean(axis=2) + 0.5 * dense.max(axis=2)
        return cls(np.ascontiguousarray(dense @ weights, dtype=np.float32), np.asarray(tone, dtype=np.float32))


def measure_sides(image: Sight, nodes: Nodes, average: int = 3, reach: float = 0.3) -> Sides:
    """Measure the level lines of a mesh; for upright lines hand in ``nodes.transpose(1, 0, 2)``."""
    lines, sides = nodes.shape[0], nodes.shape[1] - 1
    flat32 = nodes.astype(np.float32)
    across = np.gradient(flat32, axis=0)
    t = _ALONG[:, None]
    maps = []
    for axis in (0, 1):
        a, b = flat32[:, :-1, axis, None, None], flat32[:, 1:, axis, None, None]
        va, vb = across[:, :-1, axis, None, None], across[:, 1:, axis, None, None]
        maps.append(((a + (b - a) * t) + (va + (vb - va) * t) * _ACROSS).reshape(lines * sides, -1))
    values = _sample(image.lines, maps[0], maps[1]).reshape(lines, sides, len(_ALONG), len(_ACROSS))
    profile = np.partition(values, 1, axis=2)[:, :, :2].mean(axis=2)
    bump = np.zeros_like(profile)
    inner = slice(_SIDE, -_SIDE)
    bump[..., inner] = profile[..., inner] - np.maximum(
        0.5 * (profile[..., : -2 * _SIDE] + profile[..., 2 * _SIDE :]),
        np.maximum(profile[..., : -2 * _SIDE], profile[..., 2 * _SIDE :]) - 0.05,
    )
    few = (np.arange(1, len(_ALONG) - 1)[:, None] * len(_ACROSS) + _BESIDE).ravel()
    around = np.sort(_sample(image.tone, maps[0][:, few], maps[1][:, few]), axis=1).reshape(lines, sides, -1)
    ink = around[..., around.shape[2] * 4 // 5].astype(np.float64)
    solid = around[..., around.shape[2] // 4].astype(np.float64)
    if average > 1 and sides >= average:
        # sides next to ink would spoil their neighbours
        bare = ndimage.minimum_filter(ink, size=9, mode="nearest")
        weight = (1 / (1 + (np.maximum(ink - bare, 0) / 0.15) ** 2) ** 2 + 0.02).astype(np.float32)[..., None]
        total = ndimage.uniform_filter1d(weight, average, axis=1, mode="nearest")
        bump = ndimage.uniform_filter1d(bump * weight, average, axis=1, mode="nearest") / total
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
    middle = (nodes[:, :-1] + nodes[:, 1:]) / 2
    limit = np.array(image.lines.shape[:2]) - 1.5
    inside = np.asarray(((middle > 0.5) & (middle < limit)).all(axis=2))
    apart = min(average, sides - 1)
    changes = np.abs(bump[:, apart:, inner] - bump[:, : sides - apart, inner]) if apart > 0 else bump[..., inner]
    noise = 0.7 * float(np.median(changes)) + 1e-4
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
    fitted: npt.NDArray[np.float64] = np.zeros(terms.shape[1])
    for _ in range(6):
        weighted = terms * w[:, None]
        fitted = np.asarray(np.linalg.solve(weighted.T @ terms + ridge, weighted.T @ value), dtype=np.float64)
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


def _coherent(fair: npt.NDArray[np.bool_], offset: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    """Return where neighbouring sides agree on where the line is; grain and strokes put it anywhere."""
    weight = fair.astype(np.float64)
    total = ndimage.gaussian_filter(weight, 1.5, mode="constant") + 1e-3
    mean = ndimage.gaussian_filter(weight * offset, 1.5, mode="constant") / total
    spread = ndimage.gaussian_filter(weight * offset**2, 1.5, mode="constant") / total - mean**2
    return np.asarray((spread < 0.085**2) & (np.abs(offset - mean) < 0.2))


@dataclass(frozen=True)
class Fit:
    """A mesh with its measured sides. Row and column numbers start at ``first``."""

    nodes: Nodes
    level: Sides
    upright: Sides
    height: float
    first: tuple[int, int]

    @property
    def pitch(self) -> float:
        """Usual side of a square, pixels."""
        down = np.diff(self.nodes, axis=0).reshape(-1, 2)
        right = np.diff(self.nodes, axis=1).reshape(-1, 2)
        return float(np.median(np.hypot(*down.T)) + np.median(np.hypot(*right.T))) / 2

    def good(self) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
        """Return which sides show a line: level (n + 1, m), upright (m + 1, n).

        A side counts only where, round about, both families show: wood grain, ruled lines and the edge of the
        sheet have one direction only.
        """
        out = []
        for sides in (self.level, self.upright):
            fair = sides.inside & (sides.height > max(0.4 * self.height, 3 * sides.noise))
            fair &= np.abs(sides.offset) < 0.28
            out.append(fair & _coherent(fair, sides.offset))
        shares = []
        for shown, sides in zip(out, (self.level, self.upright), strict=True):
            known = judged_sides(sides, self.height) | shown
            total = ndimage.uniform_filter(known.astype(np.float64), 5, mode="constant")
            share = ndimage.uniform_filter(shown.astype(np.float64), 5, mode="constant") / (total + 0.04)
            shares.append(np.pad(share, ((0, 0), (0, 1)), mode="edge"))
        both = np.minimum(shares[0], shares[1].T) > 0.3
        return out[0] & both[:, :-1], out[1] & both.T[:, :-1]


def measure(image: Sight, nodes: Nodes, first: tuple[int, int] = (0, 0), average: int = 3) -> Fit:
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
    return np.asarray(np.array(seed.centre) + r[..., None] * np.array(seed.down) + c[..., None] * np.array(seed.right))


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
    """Return the sides on clean paper inside the picture.

    Paper is what lies beside lines that show; a table, a shadow without lines or a row of marks is not paper.
    """
    if not sides.inside.any():
        return sides.inside
    shown = sides.inside & (sides.height > max(0.5 * height, 3 * sides.noise)) & (np.abs(sides.offset) < 0.15)
    if shown.sum() < 8:
        return sides.inside
    weight = ndimage.gaussian_filter(shown.astype(np.float64), 3.0, mode="constant")
    level = ndimage.gaussian_filter(np.where(shown, sides.ink, 0.0), 3.0, mode="constant")
    usual = float(np.median(sides.ink[shown]))
    paper = (level + 0.002 * usual) / (weight + 0.002)
    return np.asarray(sides.inside & (sides.ink < paper + max(2.0 * height, 0.12)))


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


def _barest(image: Sight, seed: Seed, half: int) -> Seed:
    """Move a seed by whole squares, within its window, to where its lines show best: its middle may be all ink."""
    away = int(0.6 * seed.reach / max(seed.pitch, 1e-6))
    if away < half:
        return seed
    best, best_worth = seed, -1.0
    for r, c in ((0, 0), (-away, -away), (-away, away), (away, -away), (away, away)):
        at = np.array(seed.centre) + r * np.array(seed.down) + c * np.array(seed.right)
        if not (0 <= at[0] < image.lines.shape[0] and 0 <= at[1] < image.lines.shape[1]):
            continue
        moved = Seed((float(at[0]), float(at[1])), seed.down, seed.right, seed.score, seed.reach)
        fit = measure(image, seed_nodes(moved, half))
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
    half = 4
    nodes = _aligned(image, seed_nodes(_barest(image, seed, half), half))
    for _ in range(3):
        nodes = polynomial_step(measure(image, nodes))
    return measure(image, nodes, (-half, -half))


def grow(
    image: Sight, fit: Fit, most_steps: int = 80, most_side: int = 420, patience: int = 3, close: bool = False
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
        nodes = local_step(fit, 3.0) if close else polynomial_step(fit)
        nodes = extend(nodes, (grow_by[0], grow_by[1], grow_by[2], grow_by[3]))
        fit = measure(image, nodes, (first[0], first[1]))
    return fit


def line_mix(dense: FloatArray, fit: Fit, scale: float) -> FloatArray:
    """Return the mix of channels in which this grid's own lines stand out most.

    ``scale`` is pixels of ``dense`` for one of the mesh.
    """
    nodes = (fit.nodes + 0.5) * scale - 0.5
    shown = fit.good()
    heights, spreads = [], []
    for channel in range(3):
        image = np.ascontiguousarray(dense[:, :, channel])
        sight = Sight(image, image)
        level = measure_sides(sight, nodes, 1, 0.05)
        upright = measure_sides(sight, nodes.transpose(1, 0, 2), 1, 0.05)
        values = np.concatenate([level.height[shown[0]], upright.height[shown[1]]])
        heights.append(float(np.median(values)) if values.size else 0.0)
        spreads.append(0.5 * (level.noise + upright.noise) + 0.002)
    return mix(np.array(heights), np.array(spreads))


def settle(image: Sight, fit: Fit) -> Fit:
    """Fit the finished mesh closely: polynomial first, then ever more local averages."""
    nodes = polynomial_step(fit)
    for reach in (3.0, 2.0, 2.0):
        nodes = local_step(measure(image, nodes, fit.first), reach)
    return measure(image, nodes, fit.first)


def quality(fit: Fit) -> float:
    """Return how well a mesh explains the picture, to choose between candidates.

    It is the area on which lines are seen, in pixels of the mesh's picture, times the cube of the share of sides that
    show one, times the contrast (capped).
    """
    level, upright = fit.good()
    shown = level.sum() + upright.sum()
    contrast = min(1.0, fit.height / max(fit.level.noise, fit.upright.noise, 1e-6) / 8)
    share = share_shown(fit)
    return float(shown) * share**3 * contrast * fit.pitch**2


def split(nodes: Nodes, parts: int) -> Nodes:
    """Return the mesh with each square cut into ``parts`` by ``parts``."""
    n, m = nodes.shape[0] - 1, nodes.shape[1] - 1

    def between(count: int) -> npt.NDArray[np.float64]:
        at = np.arange(count * parts + 1) / parts
        low = np.minimum(at.astype(int), count - 1)
        matrix = np.zeros((len(at), count + 1))
        matrix[np.arange(len(at)), low] += 1 - (at - low)
        matrix[np.arange(len(at)), low + 1] += at - low
        return matrix

    down, right = between(n), between(m)
    return np.stack([down @ nodes[..., axis] @ right.T for axis in (0, 1)], axis=-1)


def _bare_squares(fit: Fit) -> npt.NDArray[np.bool_]:
    """Return (n, m) which squares are paper on all four sides."""
    ink = np.stack([fit.level.ink[:-1], fit.level.ink[1:], fit.upright.ink[:-1].T, fit.upright.ink[1:].T])
    inside = fit.level.inside[:-1] & fit.level.inside[1:] & fit.upright.inside[:-1].T & fit.upright.inside[1:].T
    most = ink.max(axis=0)
    paper = ndimage.minimum_filter(ndimage.median_filter(most, 3, mode="nearest"), 7, mode="nearest")
    return np.asarray(inside & (most < paper + max(0.5 * fit.height, 0.04)))


def _between_shown(image: Sight, whole: Sight | None, fit: Fit, parts: int) -> tuple[float, float]:
    """Return the share of sides shown on the lines of a mesh, and on lines between them, of bare squares only.

    Between means where lines would be if each square were cut into ``parts``; of several such lines that seen least
    counts. Too few bare squares give (0, 1).
    """
    finer, zoom = _finer(image, whole, parts, fit.pitch)
    if fit.pitch * zoom / parts < 6.0:
        return 1.0, 0.0
    bare = _bare_squares(fit)
    fine = measure(finer, (split(fit.nodes, parts) + 0.5) * zoom - 0.5, (0, 0))
    height = float(np.median([line_height(s, 0.8) for s in (fine.level, fine.upright)]))
    mains: list[float] = []
    betweens: list[float] = []
    for sides, paper in ((fine.level, bare), (fine.upright, bare.T)):
        shown = sides.inside & (sides.height > max(0.35 * height, 3 * sides.noise)) & (np.abs(sides.offset) < 0.28)
        wide = np.repeat(paper, parts, axis=1)
        for rest in range(parts):
            lines = shown[rest::parts][: paper.shape[0]]
            # a main line needs paper on both its sides
            clear = wide & np.vstack([wide[:1], wide[:-1]]) if rest == 0 else wide
            if clear.sum() < 12:
                return 0.0, 1.0
            share = float(lines[clear].mean())
            (mains if rest == 0 else betweens).append(share)
    return min(mains), min(betweens)


def right_pitch(image: Sight, fit: Fit, whole: Sight | None = None) -> Fit:
    """Return the mesh with the finest lattice that the lines bear out.

    Every second line of a grid is a lattice, too, and so is every line with one between that is not there (rows of
    marks can look like one). On bare squares only, lines are looked for between the present ones, and it is looked at
    whether every second of the present ones is missing; both again until nothing changes, as two and a half squares
    make a lattice, too.
    """
    for _ in range(4):
        finer = next((p for p in (5, 3, 2) if _splits(image, whole, fit, p)), 0)
        changed = measure(image, split(fit.nodes, finer), (0, 0)) if finer else _thinned(image, whole, fit)
        if changed is None:
            break
        fit = changed
    return fit


def _thinned(image: Sight, whole: Sight | None, fit: Fit) -> Fit | None:
    """Return the mesh with every second line left out, if those are not there on the sheet; else None."""
    n, m = fit.nodes.shape[:2]
    if n < 9 or m < 9:
        return None
    best: tuple[float, Fit] | None = None
    for row in (0, 1):
        for col in (0, 1):
            coarse = measure(image, fit.nodes[row::2, col::2], (0, 0))
            main, between = _between_shown(image, whole, coarse, 2)
            if between < 0.35 * main and (best is None or main > best[0]):
                best = (main, coarse)
    return best[1] if best is not None and best[0] > 0.5 else None


def _splits(image: Sight, whole: Sight | None, fit: Fit, parts: int) -> bool:
    main, between = _between_shown(image, whole, fit, parts)
    return main > 0.3 and between > 0.6 * main


def _finer(image: Sight, whole: Sight | None, parts: int, pitch: float) -> tuple[Sight, float]:
    """Return the picture large enough for squares cut into ``parts``, and how much larger it is."""
    if whole is None:
        return image, 1.0
    scale = min(1.0, image.lines.shape[0] / whole.lines.shape[0] * 16.0 * parts / pitch)
    if scale <= image.lines.shape[0] / whole.lines.shape[0]:
        return image, 1.0
    finer = Sight(shrink(whole.lines, scale), shrink(whole.tone, scale))
    return finer, finer.lines.shape[0] / image.lines.shape[0]


def share_shown(fit: Fit) -> float:
    """Return the share of sides on clean paper that show a line, where lines are shown at all round about.

    The margin of the sheet does not count; a line missing between two that are there does.
    """
    total = shown_total = 0.0
    for shown, sides in zip(fit.good(), (fit.level, fit.upright), strict=True):
        known = judged_sides(sides, fit.height) | shown
        near = ndimage.uniform_filter(shown.astype(np.float64), 5, mode="constant")
        around = ndimage.uniform_filter(known.astype(np.float64), 5, mode="constant")
        region = near > 0.25 * around
        total += float((known & region).sum())
        shown_total += float((shown & region).sum())
    return shown_total / max(1.0, total)
