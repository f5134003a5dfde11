"""Small pictures of one square of cloth and one cross of thread, lit from the upper left.

Each is computed on a fine grid from simple shapes (a thread is a bundle of cylinders that rises out of one
hole and dives into the opposite one) and averaged down to the size wanted. Light and colour are kept apart: a
tile is three fields, how much of the cloth's colour, of the thread's colour and of white light each pixel
sends to the eye.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from converter.draw.contrast import linear_component
from converter.model.materials import rgb

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float32]

STRAND_MM: Final = 0.40
"""Width at which one strand of six-strand cotton lies on the cloth (common practice)."""
LIGHT: Final = (-0.4262, -0.5209, 0.7397)
"""Unit vector towards the light: x right, y down, z to the eye."""
HALF: Final = (-0.2285, -0.2793, 0.9326)
"""Unit vector half-way between the light and the eye."""
GATHER: Final = 0.9
"""How fast a stitch widens from its hole: half its width for each unit along it."""
FINE_PX: Final = 72
"""Least side of the fine grid."""
_DIAGONAL: Final = 0.5**0.5
RISING: Final = (_DIAGONAL, -_DIAGONAL)
FALLING: Final = (_DIAGONAL, _DIAGONAL)


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


def linear_colour(colour: str) -> FloatArray:
    """Return the linear light of ``#rrggbb``, shape (3,)."""
    return np.array([linear_component(value) for value in rgb(colour)], dtype=np.float32)


def to_srgb(linear: npt.NDArray[np.floating]) -> npt.NDArray[np.uint8]:
    """Return 8-bit sRGB of linear light (IEC 61966-2-1)."""
    clipped = np.clip(linear, 0.0, 1.0)
    coded = np.where(clipped <= 0.0031308, 12.92 * clipped, 1.055 * clipped ** (1 / 2.4) - 0.055)
    result: npt.NDArray[np.uint8] = np.round(255 * coded).astype(np.uint8)
    return result


def scatter(seed: int, *shape: int) -> FloatArray:
    """Return numbers between 0 and 1 without a pattern to the eye, the same for the same seed.

    Notes
    -----
    Each number's place is mixed by multiplying and folding its bits, as hash functions do. Nothing here has to
    be random in a stricter sense, and it needs no generator to be loaded.
    """
    place = np.arange(int(np.prod(shape)), dtype=np.uint32) + np.uint32((seed * 0x9E3779B9) & 0xFFFFFFFF)
    for factor in (0x7FEB352D, 0x846CA68B):
        place ^= place >> np.uint32(16)
        place *= np.uint32(factor)
        place ^= place >> np.uint32(15)
    return ((place >> np.uint32(8)).astype(np.float32) * np.float32(2**-24)).reshape(shape)


def scatter_round(seed: int, *shape: int) -> FloatArray:
    """Return numbers that lie about 0 in a bell curve of spread 1 (the sum of four even ones)."""
    four = scatter(seed, 4, *shape)
    bell: FloatArray = (four.sum(axis=0) - np.float32(2)) * np.float32(3**0.5)
    return bell


def shrink(fine: FloatArray, side: int) -> FloatArray:
    """Average (..., N, N) down to (..., side, side); N is a multiple of ``side``."""
    *stack, count, _ = fine.shape
    step = count // side
    rows = fine.reshape(*stack, side, step, count).sum(axis=-2)
    blocks: FloatArray = rows.reshape(*stack, side, side, step).sum(axis=-1)
    return blocks * np.float32(1 / step**2)


def fine_side(side: int) -> int:
    """Return the side of the fine grid for a sprite: a multiple of the sprite's."""
    return side * max(2, -(-FINE_PX // side))


def thread_light(
    across: FloatArray, along: FloatArray, direction: tuple[float, float], strands: int, twist: FloatArray | np.float32
) -> tuple[FloatArray, FloatArray]:
    """Return the light a thread throws back: its own colour (about 1 where it faces the eye) and white sheen.

    Parameters
    ----------
    across : ndarray
        Place across the bundle, -1 to 1.
    along : ndarray
        Place along the stitch, 0 to 1, from hole to hole.
    direction : (x, y)
        Unit vector of the stitch.
    strands : int
    twist : number or ndarray
        Where the twist of the thread starts, 0 to 1; of a shape that goes with the others.
    """
    dx, dy = direction
    aside_x, aside_y = -dy, dx
    single = ((across + 1) * (strands / 2)) % 1.0 * 2 - 1
    lean = 0.45 * across + 0.62 * single
    rise = 1.1 * (1 - 2 * along) ** 3
    ply = np.sin(np.float32(2 * np.pi) * (along * 5.5 + 0.55 * across + twist))
    tilt = rise - 0.10 * ply
    normal_z = np.sqrt(np.clip(1 - 0.5 * lean**2, 0.05, 1))
    length = np.sqrt(lean**2 + tilt**2 + normal_z**2)
    facing = lean * (aside_x * LIGHT[0] + aside_y * LIGHT[1]) - tilt * (dx * LIGHT[0] + dy * LIGHT[1])
    diffuse = np.clip((facing + LIGHT[2] * normal_z) / length, 0, 1)
    fibre_x, fibre_y = dx + 0.22 * aside_x, dy + 0.22 * aside_y
    along_half = (fibre_x * HALF[0] + fibre_y * HALF[1] + HALF[2] * rise) ** 2 / (fibre_x**2 + fibre_y**2 + rise**2)
    glint = np.clip(1 - along_half, 0, 1)
    sheen = glint * ((glint**2) ** 2) ** 2
    edge = np.clip(1.35 - 0.75 * np.abs(across) ** 3, 0, 1)
    return (0.36 + 0.78 * diffuse + 0.05 * ply) * edge, sheen * np.clip(normal_z / length, 0, 1) ** 3


def cloth_light(look: StitchLook, side: int, variants: int) -> FloatArray:
    """Return the light of bare cloth, (variants, 2, 2, N, N): two by two squares each, on the fine grid."""
    count = fine_side(side)
    axis = (np.arange(2 * count, dtype=np.float32) + np.float32(0.5)) / np.float32(count)
    per_square = look.over if look.linen else 4 * look.over
    place = axis * per_square
    number = np.floor(place).astype(np.intp)
    inside = 2 * (place % 1) - 1
    in_u, in_v = inside[None, :], inside[:, None]
    upright_on_top = (number[None, :] + number[:, None]) % 2 == 0
    thick = 0.86 if look.linen else 0.98
    tone = scatter_round(1, variants, 2, 2 * per_square + 1) * np.float32(0.035 if look.linen else 0.015)
    light = np.where(
        upright_on_top,
        (0.80 + 0.24 * (1 - (in_u / thick) ** 2) - 0.10 * in_v**2 - 0.07 * in_u) + tone[:, 0][:, None, number],
        (0.80 + 0.24 * (1 - (in_v / thick) ** 2) - 0.10 * in_u**2 - 0.09 * in_v) + tone[:, 1][:, number, None],
    )
    if look.linen:
        gap = (np.abs(in_u) > thick) & (np.abs(in_v) > thick)
        slack = np.clip((np.abs(in_u) - 0.72) / 0.28, 0, 1) * np.clip((np.abs(in_v) - 0.72) / 0.28, 0, 1)
        light = np.where(gap, np.float32(0.30), light * (1 - 0.72 * slack))
    else:
        square = np.abs(2 * ((axis * look.over) % 1) - 1)
        dome = 0.10 * np.maximum(square[None, :], square[:, None]) ** 6
        from_hole = np.hypot(1 - square[None, :], 1 - square[:, None])
        hole = 1 / (1 + np.exp((from_hole - 0.25) * 26))
        light = (0.62 * light + (0.38 * 0.95 - dome)) * (1 - 0.74 * hole)
    grain = scatter_round(2, *light.shape) * np.float32(0.012)
    light = np.clip(light * np.float32(1 / 0.985) + grain, 0.03, 1.06).astype(np.float32)
    squares: FloatArray = light.reshape(variants, 2, count, 2, count).transpose(0, 1, 3, 2, 4)
    return squares


def _leg(
    x: FloatArray, y: FloatArray, direction: tuple[float, float], half: FloatArray, bend: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return place across (-1 to 1), place along (0 to 1) and distance outside a leg's edge."""
    dx, dy = direction
    cx, cy = x - np.float32(0.5), y - np.float32(0.5)
    along = (cx * dx + cy * dy) * _DIAGONAL + 0.5
    off = cy * dx - cx * dy - bend * np.sin(np.float32(np.pi) * np.clip(along, 0, 1))
    # Towards the holes at both ends the strands draw together.
    to_hole = 2**0.5 * np.clip(0.5 - np.abs(along - 0.5), 0.0, 0.5)
    width = np.maximum(half * np.tanh(to_hole * (GATHER / half)), 1e-3)
    outside: FloatArray = np.abs(off) - width
    return np.asarray(off / width, dtype=np.float32), np.asarray(along, dtype=np.float32), outside


@lru_cache(maxsize=64)
def covered_share(strands: int, cell_mm: float) -> float:
    """Return the share of a square that the two legs of a cross cover, 0 to 1."""
    axis = (np.arange(160, dtype=np.float32) + np.float32(0.5)) / np.float32(160)
    half, straight = np.float32(strands * STRAND_MM / cell_mm / 2), np.float32(0)
    legs = [
        _leg(axis[None, :], axis[:, None], down, half, straight)[2] <= 0  # type: ignore[arg-type]
        for down in (RISING, FALLING)
    ]
    return float((legs[0] | legs[1]).mean())


def cross_light(look: StitchLook, side: int, variants: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return crosses on the fine grid: cloth that shows (0 where thread lies), thread light, and white sheen.

    Returns
    -------
    fields : three ndarrays of shape (variants, N, N)

    Notes
    -----
    The leg that rises to the right lies below, the one that falls to the right on top, everywhere alike
    (Grace Christie, Embroidery and Tapestry Weaving, fig. 79: all top arms one way).
    """
    count = fine_side(side)
    axis = (np.arange(count, dtype=np.float32) + np.float32(0.5)) / np.float32(count)
    x, y = axis[None, None, :], axis[None, :, None]
    half = look.strands * STRAND_MM / look.cell_mm / 2
    strongest = float(max(0.006, linear_colour(look.thread).max()))
    white = 0.06 + 0.10 * strongest
    cloth = np.ones((variants, count, count), dtype=np.float32)
    thread, sheen = np.zeros_like(cloth), np.zeros_like(cloth)
    for seed, direction, deep in ((3, RISING, 0.50), (7, FALLING, 0.42)):
        bend = scatter_round(seed, variants)[:, None, None] * np.float32(0.012)
        width = (1 + scatter_round(seed + 1, variants)[:, None, None] * np.float32(0.03)) * np.float32(half)
        twist = scatter(seed + 2, variants)[:, None, None]
        tone = 1 + scatter_round(seed + 3, variants)[:, None, None] * np.float32(0.02)
        across, along, outside = _leg(x, y, direction, width, bend)
        # The shade the leg throws on what lies below it, a little away from the light.
        _, _, shade_outside = _leg(x - np.float32(0.035), y - np.float32(0.045), direction, width, bend)
        shade = np.clip(1 - shade_outside * 10, 0, 1)
        left = 1 - deep * (shade * np.sqrt(shade))
        inside = outside <= 0
        lit, shine = thread_light(np.clip(across, -1, 1), np.clip(along, 0, 1), direction, look.strands, twist)
        cloth = np.where(inside, np.float32(0), cloth * left)
        thread = np.where(inside, lit * tone, thread * left)
        sheen = np.where(inside, shine * np.float32(white), sheen * left)
    return cloth, thread, sheen
