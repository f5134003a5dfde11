"""Small pictures of one square of cloth and one cross of thread, lit from the upper left.

Each picture is computed on a fine grid from simple shapes (a thread is a bundle of cylinders that rises out
of one hole and dives into the opposite one) and averaged down to the size wanted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from converter.draw.contrast import linear_component
from converter.model.materials import rgb

FloatArray = npt.NDArray[np.float64]

STRAND_MM: Final = 0.40
"""Width at which one strand of six-strand cotton lies on the cloth (common practice)."""
LIGHT: Final = np.array([-0.4262, -0.5209, 0.7397])
"""Unit vector towards the light: x right, y down, z to the eye."""
HALF: Final = np.array([-0.2285, -0.2793, 0.9326])
"""Unit vector half-way between the light and the eye."""
GATHER: Final = 0.9
"""How fast a stitch widens from its hole: half its width for each unit along it."""
FINE_PX: Final = 72
"""Least side of the fine grid."""


@dataclass(frozen=True)
class StitchLook:
    """What one square of the stitched look depends on."""

    cell_mm: float
    strands: int
    thread: str
    cloth: str
    linen: bool
    """Single threads of linen rather than blocks of Aida."""
    over: int
    """Threads of linen, or squares of Aida, that a stitch spans."""


def _linear(colour: str) -> FloatArray:
    return np.array([linear_component(value) for value in rgb(colour)])


def to_srgb(linear: FloatArray) -> npt.NDArray[np.uint8]:
    """Return 8-bit sRGB of linear light (IEC 61966-2-1)."""
    clipped = np.clip(linear, 0.0, 1.0)
    coded = np.where(clipped <= 0.0031308, 12.92 * clipped, 1.055 * clipped ** (1 / 2.4) - 0.055)
    result: npt.NDArray[np.uint8] = np.round(255 * coded).astype(np.uint8)
    return result


def shrink(fine: FloatArray, side: int) -> FloatArray:
    """Average (N, N, ...) down to (side, side, ...); N is a multiple of ``side``."""
    step = fine.shape[0] // side
    blocks: FloatArray = fine.reshape(side, step, side, step, *fine.shape[2:]).mean(axis=(1, 3))
    return blocks


def fine_side(side: int) -> int:
    """Return the side of the fine grid for a sprite: a multiple of the sprite's."""
    return side * max(2, -(-FINE_PX // side))


def thread_light(
    across: FloatArray, along: FloatArray, direction: FloatArray, strands: int, twist: float
) -> tuple[FloatArray, FloatArray]:
    """Return the light a thread throws back: its own colour (about 1 where it faces the eye) and white sheen.

    Parameters
    ----------
    across : ndarray
        Place across the bundle, -1 to 1.
    along : ndarray
        Place along the stitch, 0 to 1, from hole to hole.
    direction : ndarray of shape (2,)
        Unit vector of the stitch, x and y.
    strands : int
    twist : float
        Where the twist of the thread starts, 0 to 1.
    """
    aside = np.array([-direction[1], direction[0]])
    single = ((across + 1) * strands / 2) % 1.0 * 2 - 1
    lean = 0.45 * across + 0.62 * single
    rise = 1.1 * (1 - 2 * along) ** 3
    ply = np.sin(2 * np.pi * (along * 5.5 + 0.55 * across + twist))
    normal = np.stack(
        [
            aside[0] * lean - direction[0] * rise + 0.10 * ply * direction[0],
            aside[1] * lean - direction[1] * rise + 0.10 * ply * direction[1],
            np.sqrt(np.clip(1 - 0.5 * lean**2, 0.05, 1)),
        ],
        axis=-1,
    )
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    diffuse = np.clip(normal @ LIGHT, 0, 1)
    fibre = np.stack(
        [
            np.broadcast_to(direction[0] + 0.22 * aside[0], rise.shape),
            np.broadcast_to(direction[1] + 0.22 * aside[1], rise.shape),
            rise,
        ],
        axis=-1,
    )
    fibre /= np.linalg.norm(fibre, axis=-1, keepdims=True)
    sheen = np.clip(1 - (fibre @ HALF) ** 2, 0, 1) ** 9
    edge = np.clip(1.35 - 0.75 * np.abs(across) ** 3, 0, 1)
    return (0.36 + 0.78 * diffuse + 0.05 * ply) * edge, sheen * np.clip(normal[..., 2], 0, 1) ** 3


def cloth_block(look: StitchLook, side: int, seed: int) -> FloatArray:
    """Return two by two squares of bare cloth, linear light of shape (2 N, 2 N, 3) on the fine grid."""
    count = fine_side(side)
    rng = np.random.default_rng(1000 + seed)
    axis = (np.arange(2 * count) + 0.5) / count
    x, y = np.meshgrid(axis, axis)
    per_square = look.over if look.linen else 4 * look.over
    u, v = x * per_square, y * per_square
    column, row = np.floor(u).astype(int), np.floor(v).astype(int)
    in_u, in_v = 2 * (u % 1) - 1, 2 * (v % 1) - 1
    upright_on_top = (column + row) % 2 == 0
    thick = 0.86 if look.linen else 0.98
    tone = rng.normal(0, 0.035 if look.linen else 0.015, size=(2, 2 * per_square + 1))
    light = np.where(
        upright_on_top,
        0.80 + 0.24 * (1 - (in_u / thick) ** 2) - 0.10 * in_v**2 - 0.07 * in_u + tone[0][column],
        0.80 + 0.24 * (1 - (in_v / thick) ** 2) - 0.10 * in_u**2 - 0.09 * in_v + tone[1][row],
    )
    if look.linen:
        gap = (np.abs(in_u) > thick) & (np.abs(in_v) > thick)
        slack = np.clip((np.abs(in_u) - 0.72) / 0.28, 0, 1) * np.clip((np.abs(in_v) - 0.72) / 0.28, 0, 1)
        light = light * (1 - 0.72 * slack)
        light = np.where(gap, 0.30, light)
    else:
        square_u, square_v = 2 * ((x * look.over) % 1) - 1, 2 * ((y * look.over) % 1) - 1
        dome = 0.10 * np.maximum(np.abs(square_u), np.abs(square_v)) ** 6
        from_hole = np.hypot(1 - np.abs(square_u), 1 - np.abs(square_v))
        hole = 1 / (1 + np.exp((from_hole - 0.25) * 26))
        light = (0.62 * light + 0.38 * 0.95 - dome) * (1 - 0.74 * hole)
    light = light / 0.985
    grain = rng.normal(0, 0.012, size=light.shape)
    tinted: FloatArray = np.clip(light + grain, 0.03, 1.06)[:, :, None] * _linear(look.cloth)
    return tinted


def _leg(
    x: FloatArray, y: FloatArray, direction: FloatArray, half: float, bend: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return place across (-1 to 1), place along (0 to 1) and distance outside a leg's edge."""
    cx, cy = x - 0.5, y - 0.5
    along = (cx * direction[0] + cy * direction[1]) / np.sqrt(2) + 0.5
    off = -cx * direction[1] + cy * direction[0] - bend * np.sin(np.pi * np.clip(along, 0, 1))
    # Towards the holes at both ends the strands draw together.
    to_hole = np.sqrt(2) * np.clip(0.5 - np.abs(along - 0.5), 0.0, 0.5)
    width = np.maximum(half * np.tanh(GATHER * to_hole / half), 1e-3)
    return off / width, along, np.abs(off) - width


def covered_share(strands: int, cell_mm: float) -> float:
    """Return the share of a square that the two legs of a cross cover, 0 to 1."""
    axis = (np.arange(160) + 0.5) / 160
    x, y = np.meshgrid(axis, axis)
    half = strands * STRAND_MM / cell_mm / 2
    legs = [_leg(x, y, np.array([1.0, down]) / np.sqrt(2), half, 0.0)[2] <= 0 for down in (-1.0, 1.0)]
    return float((legs[0] | legs[1]).mean())


def cross_block(look: StitchLook, ground: FloatArray, seed: int) -> FloatArray:
    """Return a cross on a square of cloth, linear light of shape (N, N, 3) on the fine grid.

    The leg that rises to the right lies below, the one that falls to the right on top, everywhere alike
    (Grace Christie, Embroidery and Tapestry Weaving, fig. 79: all top arms one way).
    """
    rng = np.random.default_rng(seed)
    count = ground.shape[0]
    axis = (np.arange(count) + 0.5) / count
    x, y = np.meshgrid(axis, axis)
    half = look.strands * STRAND_MM / look.cell_mm / 2
    colour = _linear(look.thread)
    colour = np.maximum(colour, 0.006)
    picture = ground.copy()
    rising = np.array([1.0, -1.0]) / np.sqrt(2)
    falling = np.array([1.0, 1.0]) / np.sqrt(2)
    for direction, deep in ((rising, 0.50), (falling, 0.42)):
        bend = float(rng.normal(0, 0.012))
        width = half * float(rng.normal(1.0, 0.03))
        across, along, outside = _leg(x, y, direction, width, bend)
        # The shade the leg throws on what lies below it, a little away from the light.
        _, _, shade_outside = _leg(x - 0.035, y - 0.045, direction, width, bend)
        shade = np.clip(1 - shade_outside / 0.10, 0, 1) ** 1.5
        picture = picture * (1 - deep * shade)[:, :, None]
        inside = outside <= 0
        lit, sheen = thread_light(np.clip(across, -1, 1), np.clip(along, 0, 1), direction, look.strands, rng.random())
        tone = 1 + float(rng.normal(0, 0.02))
        white = 0.06 + 0.10 * float(colour.max())
        thread = (lit * tone)[:, :, None] * colour + (white * sheen)[:, :, None]
        picture = np.where(inside[:, :, None], thread, picture)
    return picture
