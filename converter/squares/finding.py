"""Find the grid in a picture: seeds, trial growth of the most promising, the final mesh.

Every seed is planted as a mesh of eight squares a side and judged on the picture. The most promising few with
different directions or pitch are grown; the area on which their lines are seen decides, as a false lattice (dense
crosses make one at 45 degrees) ends where the marks end. The winner is brought to the pitch that the lines bear out,
measured again in the mix of channels in which its own lines show best, and grown and fitted to the end.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from converter.squares import density, lattice, mesh

WORK_PITCH = 18.0
"""Pixels a square of the picture that the mesh is fitted on."""


@dataclass(frozen=True)
class Found:
    """A mesh on a reduced picture."""

    fit: mesh.Fit
    factor: float
    """Mesh pixels for one picture pixel."""
    shape: tuple[int, int]
    """Of the reduced picture."""

    def to_picture(self, nodes: mesh.Nodes) -> mesh.Nodes:
        """Return crossings in pixels of the picture."""
        return (nodes + 0.5) / self.factor - 0.5


def _same_lattice(a: lattice.Seed, b: lattice.Seed) -> bool:
    """Return whether two seeds have about the same steps, perhaps turned by a quarter."""
    down_a, right_a = np.array(a.down), np.array(a.right)
    down_b, right_b = np.array(b.down), np.array(b.right)
    turns = ((down_b, right_b), (right_b, -down_b), (-right_b, down_b))
    apart = min(float(np.hypot(*(down_a - d)) + np.hypot(*(right_a - r))) for d, r in turns)
    return apart < 0.3 * min(a.pitch, b.pitch)


def trial(
    whole: mesh.Sight, most_windows: int = 4, most_tried: int = 4, most_steps: int = 12
) -> tuple[float, mesh.Fit, float] | None:
    """Return (worth in picture pixels, mesh, factor) of the best lattice, or None."""
    gray = whole.lines
    works: dict[int, mesh.Sight] = {}
    planted: list[tuple[float, lattice.Seed, mesh.Fit, mesh.Sight]] = []
    for seed in lattice.find_seeds(gray, most_windows):
        scale = min(1.0, WORK_PITCH / seed.pitch)
        key = round(gray.shape[0] * scale)
        if key not in works:
            works[key] = mesh.Sight(density.shrink(gray, scale), density.shrink(whole.tone, scale))
        work = works[key]
        fit = mesh.plant(work, lattice.scaled(seed, work.lines.shape[0] / gray.shape[0]))
        planted.append((mesh.quality(fit) * fit.pitch**-2, seed, fit, work))
    planted.sort(key=lambda p: -p[0])
    tried: list[lattice.Seed] = []
    best: tuple[float, mesh.Fit, float] | None = None
    for worth, seed, start, work in planted:
        if len(tried) >= most_tried:
            break
        if any(_same_lattice(seed, other) for other in tried):
            continue
        tried.append(seed)
        factor = work.lines.shape[0] / gray.shape[0]
        fit = mesh.right_pitch(work, mesh.grow(work, start, most_steps=most_steps, patience=2), whole)
        # a lattice that skips lines explains as large an area: the finer one is preferred
        worth = mesh.quality(fit) / factor**2 * min(1.0, 12.0 * factor / fit.pitch)
        if best is None or worth > best[0]:
            best = (worth, fit, factor)
        if mesh.share_shown(fit) > 0.85 and worth > 0.25 * gray.size:
            break
    return best if best is not None and best[0] > 0 else None


def find_mesh(rgb: npt.NDArray[np.uint8]) -> Found | None:
    """Return the fitted mesh of a picture (H, W, 3), or None if nothing in it is like a grid."""
    dense = density.density(rgb)
    whole = mesh.Sight.of(dense, density.channel_weights(dense))
    best = trial(whole)
    if best is None:
        return None
    _, fit, factor = best
    small = density.shrink(dense, min(1.0, factor * WORK_PITCH / fit.pitch))
    wanted = small.shape[0] / dense.shape[0]
    fit = replace(fit, nodes=(fit.nodes + 0.5) * (wanted / factor) - 0.5)
    work = mesh.Sight.of(small, mesh.line_mix(small, fit, 1.0))
    fit = mesh.grow(work, mesh.measure(work, fit.nodes, fit.first), close=True)
    return Found(mesh.settle(work, fit), wanted, (small.shape[0], small.shape[1]))


def mesh_from_corners(rgb: npt.NDArray[np.uint8], corners: npt.NDArray[np.float64], size: tuple[int, int]) -> Found:
    """Return the mesh between four corners given by hand, drawn to the lines that are seen near it.

    Parameters
    ----------
    rgb : ndarray of shape (H, W, 3), uint8
    corners : ndarray of shape (4, 2)
        Picture (row, col) of the top left, top right, bottom right and bottom left corner of the grid.
    size : tuple of int
        (rows, cols).
    """
    rows, cols = size
    source = np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], np.float64)
    matrix = _homography(source, corners[:, ::-1])
    r, c = np.mgrid[0 : rows + 1, 0 : cols + 1].astype(np.float64)
    point = np.stack([c, r, np.ones_like(r)], axis=-1) @ matrix.T
    nodes = (point[..., :2] / point[..., 2:])[..., ::-1]
    sides = np.concatenate([np.hypot(*np.diff(nodes, axis=k).reshape(-1, 2).T) for k in (0, 1)])
    factor = min(1.0, WORK_PITCH / max(1.0, float(np.median(sides))))
    dense = density.shrink(density.density(rgb), factor)
    factor = dense.shape[0] / rgb.shape[0]
    work = mesh.Sight.of(dense, density.channel_weights(dense))
    fit = mesh.measure(work, (nodes + 0.5) * factor - 0.5)
    for reach in (3.0, 2.0, 2.0):
        fit = mesh.measure(work, mesh.local_step(fit, reach))
    return Found(fit, factor, (dense.shape[0], dense.shape[1]))


def _homography(source: npt.NDArray[np.float64], target: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    rows = []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y, -u])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y, -v])
    return np.asarray(np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3))


def grid_confidence(fit: mesh.Fit, top: int, left: int, bottom: int, right: int) -> float:
    """Return 0 to 1: how surely the squares between the given crossings are a printed grid.

    Several things together: most sides on clean paper show a line; there are at least some squares; the lines lie
    where an even mesh says (woven cloth, knitting and tiles laid by hand do not); and they stand out from the grain.
    """
    rows, cols = bottom - top, right - left
    if rows < 3 or cols < 3:
        return 0.0
    shown = fit.good()
    shares, misses, inked = [], [], []
    for number, sides in enumerate((fit.level, fit.upright)):
        part = np.s_[top : bottom + 1, left:right] if number == 0 else np.s_[left : right + 1, top:bottom]
        good = shown[number][part]
        known = (mesh.judged_sides(sides, fit.height) | shown[number])[part]
        shares.append(good.sum() / max(1.0, float(known.sum())))
        inked.append(known.mean())
        if good.any():
            misses.append(float(np.sqrt(np.mean(sides.offset[part][good] ** 2))))
    share = float(min(shares))
    miss = max(misses) if misses else 1.0
    contrast = fit.height / max(fit.level.noise, fit.upright.noise)
    size = min(rows, cols)
    parts = (
        _step(share, 0.78, 0.06),
        _step(-miss, -0.043, 0.006),
        _step(size, 8.4, 0.6),
        _step(contrast, 3.0, 0.7),
        _step(float(min(inked)), 0.06, 0.02),
    )
    return float(np.prod(parts))


def _step(value: float, middle: float, width: float) -> float:
    return float(1 / (1 + np.exp(-np.clip((value - middle) / width * 2, -40, 40))))


def marks_confidence(marked: npt.NDArray[np.bool_], doubt: npt.NDArray[np.float64]) -> float:
    """Return 0 to 1: how surely the squares are a motif; paper without marks, or all shades of doubt, is none."""
    if not marked.any():
        return 0.4
    return max(0.05, _step(-float(doubt.mean()), -0.32, 0.08))
