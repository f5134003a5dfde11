"""From a picture of squared paper to its squares: the stages in order.

Density, channel mix, seeds (`lattice`), growth and fit (`mesh`), ends (`extent`), the sheet laid flat (`patches`),
marks (`marks`), lines (`strokes`).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from converter.errors import RequestError
from converter.model.arrays import CellArray, LineArray, as_picture
from converter.squares import density, extent, lattice, marks, mesh, patches
from converter.squares.density import FloatArray

WORK_PITCH = 18.0
FLAT_SIDE = 20


@dataclass(frozen=True, eq=False)
class SquaresReading:
    """What was read from squared paper."""

    cells: CellArray
    """(rows, cols), True = marked."""
    confidence: float
    """0 to 1; under 0.5 it is no squared-paper chart."""
    doubt: npt.NDArray[np.float64]
    """(rows, cols), 0 to 1: chance that the square is read wrongly."""
    lines: LineArray
    corners: npt.NDArray[np.float64]
    """(rows + 1, cols + 1, 2): picture (row, col) in pixels of each crossing."""
    notes: tuple[str, ...] = field(default=())


def _find_mesh(rgb: npt.NDArray[np.uint8]) -> tuple[mesh.Fit, float] | None:
    dense = density.density(rgb)
    gray = np.asarray(dense @ density.channel_weights(dense), dtype=np.float32)
    planted: list[tuple[float, mesh.Fit, FloatArray]] = []
    works: dict[int, FloatArray] = {}
    for seed in lattice.find_seeds(gray):
        scale = min(1.0, WORK_PITCH / seed.pitch)
        key = round(gray.shape[0] * scale)
        work = works.setdefault(key, density.shrink(gray, scale))
        fit = mesh.plant(work, lattice.scaled(seed, work.shape[0] / gray.shape[0]))
        planted.append((mesh.quality(fit) * work.shape[0] / gray.shape[0] * seed.pitch, fit, work))
    planted.sort(key=lambda p: -p[0])
    best: tuple[float, mesh.Fit, float] | None = None
    for _, start, work in planted[:5]:
        fit = mesh.grow(work, start, most_steps=5)
        worth = mesh.quality(fit) * work.shape[0] / gray.shape[0]
        if best is None or worth > best[0]:
            best = (worth, fit, work.shape[0] / gray.shape[0])
    if best is None or best[0] <= 0:
        return None
    _, fit, factor = best
    small = density.shrink(dense, factor)
    work = np.asarray(small @ mesh.line_mix(small, fit, 1.0), dtype=np.float32)
    fit = mesh.grow(work, mesh.measure(work, fit.nodes, fit.first), close=True)
    return mesh.settle(work, fit), factor


def read_squares(image: npt.NDArray[np.uint8]) -> SquaresReading:
    """Read a motif from a photo or scan of squared paper, square by square."""
    rgb = density.as_rgb(as_picture(image))
    found = _find_mesh(rgb)
    if found is None:
        raise RequestError("No grid of squares was found in this picture.", "Give its corners and size by hand.")
    fit, factor = found
    shape = (round(rgb.shape[0] * factor), round(rgb.shape[1] * factor))
    span = extent.find_extent(fit, shape)
    nodes = fit.nodes[span.top : span.bottom + 1, span.left : span.right + 1]
    visible = extent.squares_inside(fit, shape)[span.top : span.bottom, span.left : span.right]
    corners = (nodes + 0.5) / factor - 0.5
    small = density.shrink(rgb, min(1.0, factor * FLAT_SIDE / WORK_PITCH))
    flat_factor = small.shape[0] / rgb.shape[0]
    sheet = patches.lay_flat(small, (corners + 0.5) * flat_factor - 0.5, FLAT_SIDE)
    marking = marks.find_marks(sheet, ~visible)
    return SquaresReading(marking.marked, 1.0, marking.doubt, np.zeros((0, 2, 2)), corners)
