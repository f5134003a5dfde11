"""What is seen at the sides of the squares of a mesh.

1. A printed line is unbroken along the side, a row of marks is not: along the side the lighter samples count, and
   neighbouring sides on the same line are averaged.
2. What counts is that the line is darker than *both* its sides, so that the edge of a shadow or of a filled square is
   not taken for a line.
3. Sides next to ink, or outside the picture, are no evidence either way.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.density import FloatArray, ink

Nodes = npt.NDArray[np.float64]
"""(n + 1, m + 1, 2): picture (row, col) of each crossing."""
BoolArray = npt.NDArray[np.bool_]

_ACROSS = np.linspace(-0.6, 0.6, 17, dtype=np.float32)
_ALONG = np.linspace(0.06, 0.94, 6, dtype=np.float32)
_SIDE = 4
"""Samples between the middle of a line and the paper beside it (0.3 of a square)."""

_DARKEST_SHADE = 1.2
"""Density by which paper in a shadow is darker than other paper at most: three tenths of the light."""
_INKY = 0.35
"""Density above paper from which there is ink, however dark the printed lines are."""
_CHUNK = 1000
"""Sides looked at together: what is sampled along them fits the processor's cache."""
_ENOUGH = 60000
"""Samples from which the usual grain is known."""
_CLOSE = 2
"""Samples to each side (0.15 of a square) within which a line lies close to the mesh."""
_BESIDE = np.array([3, 5, 11, 13])
"""Samples on the paper to both sides (0.4 and 0.25 of a square)."""


@dataclass(frozen=True, eq=False)
class Sight:
    """The picture as the mesh sees it: two density images of the same shape (H, W)."""

    lines: FloatArray
    """The mix of channels in which the printed lines show best."""
    tone: FloatArray
    """All channels together, to tell paper from ink of any colour."""

    @classmethod
    def of(cls, dense: FloatArray, weights: FloatArray) -> Sight:
        """Return the views of a density picture (H, W, 3)."""
        lines = cv2.transform(dense, weights.reshape(1, 3))
        return cls(np.ascontiguousarray(lines, dtype=np.float32).reshape(dense.shape[:2]), ink(dense))


@dataclass(frozen=True, eq=False)
class Sides:
    """What was measured at the sides of the squares along one family of lines.

    Arrays are (lines, sides) for both families: level lines (n + 1, m), upright lines (m + 1, n).
    """

    offset: npt.NDArray[np.float64]
    """Where the line is, as part of a square, positive down or right."""
    height: npt.NDArray[np.float64]
    """Density of the line above the paper on both sides."""
    ink: npt.NDArray[np.float64]
    """Density round the side, to tell paper from ink."""
    pale: npt.NDArray[np.float64]
    """Density of the lighter parts round the side: between marks that is paper, on a table it is not."""
    rough: npt.NDArray[np.float64]
    """How much density beside the side changes along it: little on paper and in fills, much among marks."""
    inside: BoolArray
    """The side lies in the picture."""
    noise: float
    close_by: FloatArray
    """(lines, sides, 2 * _CLOSE + 1): density above the paper on both sides, close to the mesh."""
    gap: npt.NDArray[np.float64]
    """How much lighter than both its sides a line is: between printed fills the paper shows along it."""
    gap_offset: npt.NDArray[np.float64]
    """Where that is, as part of a square."""

    @cached_property
    def peaked(self) -> npt.NDArray[np.float64]:
        """Where the line is if it lies close to the mesh; not a number where it is ever darker on the way out."""
        _height, place, at_end = _peak(self.close_by)
        return np.where(at_end, np.nan, place)


def _sample(image: FloatArray, rows: FloatArray, cols: FloatArray) -> FloatArray:
    """Return bilinear samples at float positions of shape (A, lines, sides, K); outside, the border is repeated."""
    flat = (-1, rows.shape[2] * rows.shape[3])
    values = cv2.remap(image, cols.reshape(flat), rows.reshape(flat), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(values, dtype=np.float32).reshape(rows.shape)


def _run(values: FloatArray, size: int) -> FloatArray:
    """Return running sums of (lines, sides, K) over ``size`` (odd) sides; beyond the ends the last one goes on."""
    half = size // 2
    padded = np.concatenate([values[:, :1]] * half + [values] + [values[:, -1:]] * half, axis=1)
    total = padded[:, : values.shape[1]].copy()
    for k in range(1, size):
        total += padded[:, k : k + values.shape[1]]
    return total


def _look_along(
    image: Sight, nodes: FloatArray, across: FloatArray
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return, of some level lines, how dark they are above both their sides across, and `Sides`' rough, pale and ink.

    ``across`` are the steps to the next line. The first is (lines, sides, samples across), the second how much lighter
    than both sides.
    """
    t = _ALONG[:, None, None, None]
    maps = []
    for axis in (0, 1):
        a, step = nodes[None, :, :-1, axis, None], np.diff(nodes[..., axis], axis=1)[None, :, :, None]
        va, turn = across[None, :, :-1, axis, None], np.diff(across[..., axis], axis=1)[None, :, :, None]
        maps.append((a + step * t) + (va + turn * t) * _ACROSS)
    values = _sample(image.lines, maps[0], maps[1])
    # the two lightest of the samples along the side
    first, second = np.minimum(values[0], values[1]), np.maximum(values[0], values[1])
    for layer in values[2:]:
        np.minimum(second, np.maximum(first, layer), out=second)
        np.minimum(first, layer, out=first)
    profile = 0.5 * (first + second)
    bump = np.zeros_like(profile)
    before, after = profile[..., : -2 * _SIDE], profile[..., 2 * _SIDE :]
    bump[..., _SIDE:-_SIDE] = profile[..., _SIDE:-_SIDE] - np.maximum(
        0.5 * (before + after), np.maximum(before, after) - 0.05
    )
    light = np.minimum(before, after) - profile[..., _SIDE:-_SIDE]
    # the ends of a side lie close to the lines across it
    few = [np.ascontiguousarray(m[1:-1][..., _BESIDE]) for m in maps]
    beside = _sample(image.tone, few[0], few[1])
    rough = np.ptp(beside, axis=0).mean(axis=2).astype(np.float64)
    around = beside.transpose(1, 2, 0, 3).reshape(*profile.shape[:2], -1)
    low, at = around.shape[2] // 5, around.shape[2] * 4 // 5
    parted = np.sort(around, axis=2)  # much quicker than a partition at two places
    return bump, light, rough, parted[..., low].astype(np.float64), parted[..., at].astype(np.float64)


def measure_sides(image: Sight, nodes: Nodes, average: int = 3, reach: float = 0.3) -> Sides:
    """Measure the level lines of a mesh; for upright lines hand in ``nodes.transpose(1, 0, 2)``."""
    sides = nodes.shape[1] - 1
    flat32 = nodes.astype(np.float32)
    across = np.gradient(flat32, axis=0)
    every = max(1, _CHUNK // max(sides, 1))
    parts = [_look_along(image, flat32[k : k + every], across[k : k + every]) for k in range(0, nodes.shape[0], every)]
    bump, light, rough, pale, ink = (np.concatenate(part) for part in zip(*parts, strict=True))
    inner = slice(_SIDE, -_SIDE)
    if average > 1 and sides >= average:
        # sides next to ink would spoil their neighbours
        bare = filters.lowest(ink, 9)
        weight = (1 / (1 + (np.maximum(ink - bare, 0) / 0.15) ** 2) ** 2 + 0.02).astype(np.float32)[..., None]
        total = _run(weight, average)
        bump = _run(bump * weight, average) / total
        light = _run(light * weight, average) / total
    mid = len(_ACROSS) // 2
    pace = float(_ACROSS[1] - _ACROSS[0])
    window = min(max(1, round(reach / pace)), mid - _SIDE)
    near = bump[..., mid - window : mid + window + 1]
    height, offset, _at_end = _peak(near)
    gap, gap_offset, _at_end = _peak(light)
    middle = (nodes[:, :-1] + nodes[:, 1:]) / 2
    limit = np.array(image.lines.shape[:2]) - 1.5
    inside = np.asarray(((middle > 0.5) & (middle < limit)).all(axis=2))
    apart = min(average, sides - 1)
    some = bump[:: max(1, bump.size // _ENOUGH), :, inner]
    changes = np.abs(some[:, apart:] - some[:, : sides - apart]) if apart > 0 else some
    return Sides(
        offset,
        height,
        ink,
        pale,
        rough,
        inside,
        0.7 * float(np.median(changes)) + 1e-4,
        bump[..., mid - _CLOSE : mid + _CLOSE + 1],
        gap,
        gap_offset,
    )


def _peak(
    near: FloatArray,
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], BoolArray]:
    """Return height and place of the highest of (lines, sides, K) samples, and whether it is at an end."""
    best = near.argmax(axis=2)[..., None]
    last = near.shape[2] - 1
    height = np.take_along_axis(near, best, 2)[..., 0].astype(np.float64)
    before = np.take_along_axis(near, np.maximum(best - 1, 0), 2)[..., 0]
    after = np.take_along_axis(near, np.minimum(best + 1, last), 2)[..., 0]
    bend = before + after - 2 * height
    bent = bend < -1e-6
    shift = np.where(bent, 0.5 * (before - after) / np.where(bent, bend, 1.0), 0.0)
    offset = (best[..., 0] - last // 2 + np.clip(shift, -0.5, 0.5)) * float(_ACROSS[1] - _ACROSS[0])
    at_end = (best[..., 0] == 0) | (best[..., 0] == last)
    return height, np.asarray(offset, dtype=np.float64), np.asarray(at_end)


def line_height(sides: Sides, part: float = 0.6) -> float:
    """Return the usual height of a true line, from the lighter half of the sides: marks have heights of their own."""
    if not sides.inside.any():
        return 0.0
    light = sides.inside & (sides.ink <= np.median(sides.ink[sides.inside]))
    return float(np.quantile(sides.height[light], part))


def clear_sides(sides: Sides, height: float) -> BoolArray:
    """Return the sides with no ink near them, as against the lightest ones round about."""
    paper = filters.lowest(filters.median3(sides.ink), 9)
    return np.asarray(sides.inside & (sides.ink < paper + max(0.7 * height, 0.05)))


def coherent(fair: BoolArray, clear: BoolArray, offset: npt.NDArray[np.float64]) -> BoolArray:
    """Return where neighbouring sides agree on where the line is; grain and strokes put it anywhere.

    What ``clear`` sides say counts ten times as much.
    """
    weight = fair * np.where(clear, 1.0, 0.1)
    total = filters.gaussian(weight, 1.5) + 1e-4
    mean = filters.gaussian(weight * offset, 1.5) / total
    spread = filters.gaussian(weight * offset**2, 1.5) / total - mean**2
    return np.asarray((spread < 0.085**2) & (np.abs(offset - mean) < 0.2))


def judged_sides(sides: Sides, height: float) -> BoolArray:
    """Return the sides on clean paper inside the picture.

    Paper is what lies beside lines that show; a table, a shadow without lines or a row of marks is not paper.
    """
    if not sides.inside.any():
        return sides.inside
    shown = sides.inside & (sides.height > max(0.5 * height, 3 * sides.noise)) & (np.abs(sides.offset) < 0.15)
    shown &= sides.gap < sides.height
    if shown.sum() < 8:
        return sides.inside
    # through ink, too, a bold line may show: paper is where most do
    trust = shown & (filters.box(shown, 5) > 0.4 * filters.box(sides.inside, 5))
    trust &= sides.ink < np.quantile(sides.ink[shown], 0.1) + _DARKEST_SHADE
    if not trust.any():
        trust = shown
    weight = filters.gaussian(trust, 3.0)
    level = filters.gaussian(trust * sides.ink, 3.0)
    usual = float(np.median(sides.ink[trust]))
    paper = (level + 0.002 * usual) / (weight + 0.002)
    return np.asarray(sides.inside & (sides.ink < paper + float(np.clip(2.0 * height, 0.12, _INKY))))
