"""The stitched look: crosses of thread on woven cloth, at true proportions.

Squares are laid like tiles from a few pre-drawn variants; which one stands where follows a fixed
pseudo-random pattern, so equal charts give equal pictures.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from converter.draw.sprites import (
    STRAND_MM,
    FloatArray,
    StitchLook,
    cloth_block,
    covered_share,
    cross_block,
    fine_side,
    shrink,
    thread_light,
    to_srgb,
)
from converter.errors import RequestError, UsageError
from converter.model.arrays import PictureArray
from converter.model.chart import Chart
from converter.model.materials import rgb

VARIANTS: Final = 6
MOST_PX: Final = 120_000_000
LONGEST_PX: Final = 1800
AIDA_UP_TO: Final = 20
"""Counts above this, and any count worked over two threads or more, are drawn as linen."""


def stitch_look(chart: Chart) -> StitchLook:
    """Return what the look of one square depends on."""
    fabric, thread = chart.fabric, chart.thread
    linen = fabric.over > 1 or fabric.count_per_inch > AIDA_UP_TO
    return StitchLook(fabric.cell_mm, thread.strands, thread.colour, fabric.colour, linen, fabric.over)


def coverage(chart: Chart) -> float:
    """Return the share of a stitched square that thread covers, 0 to 1, as the look draws it.

    Examples
    --------
    >>> round(coverage(Chart(np.ones((1, 1), dtype=bool))), 2)
    0.76
    """
    return covered_share(chart.thread.strands, chart.fabric.cell_mm)


def best_stitch_px(chart: Chart) -> int:
    """Return the side of a stitch in pixels that keeps the picture to a size for screens, 6 to 32."""
    longest = max(chart.columns, chart.rows)
    return int(max(6, min(32, LONGEST_PX // (longest * 1.2))))


def default_rim(chart: Chart) -> int:
    """Return the bare squares shown round the design."""
    return max(4, round(0.09 * max(chart.columns, chart.rows)))


def stitched_pixels(chart: Chart, *, stitch_px: int, rim: int | None = None) -> PictureArray:
    """Return the chart as it will look on the cloth.

    Parameters
    ----------
    chart : Chart
        Cloth count and colour, thread colour and strands are taken from it.
    stitch_px : int
        Side of a stitch in pixels, 3 to 80.
    rim : int, optional
        Bare squares round the design; by default about a tenth of its longer side.

    Returns
    -------
    pixels : ndarray of shape (H, W, 3), uint8
        ``H = (rows + 2 rim) * stitch_px``, likewise W.
    """
    if not 3 <= stitch_px <= 80:
        raise UsageError(f"Stitches of {stitch_px} pixels cannot be drawn.", "Choose 3 to 80.")
    edge = default_rim(chart) if rim is None else rim
    if edge < 0:
        raise UsageError("The rim of bare cloth cannot be negative.")
    rows, columns = chart.rows + 2 * edge, chart.columns + 2 * edge
    if rows * columns * stitch_px**2 > MOST_PX:
        raise RequestError("The stitched picture would be over 120 million pixels.", "Choose a smaller stitch.")
    look = stitch_look(chart)
    bare, crossed = _tiles(look, stitch_px)
    pattern = np.random.default_rng(20).integers(0, VARIANTS, size=(rows, columns))
    odd_rows, odd_columns = np.arange(rows) % 2, np.arange(columns) % 2
    picture = np.empty((rows, columns, stitch_px, stitch_px, 3), dtype=np.uint8)
    picture[:] = bare[pattern, odd_rows[:, None], odd_columns[None, :]]
    at_rows, at_columns = np.nonzero(chart.cells)
    at_rows, at_columns = at_rows + edge, at_columns + edge
    picture[at_rows, at_columns] = crossed[pattern[at_rows, at_columns], at_rows % 2, at_columns % 2]
    whole = np.ascontiguousarray(picture.transpose(0, 2, 1, 3, 4)).reshape(rows * stitch_px, columns * stitch_px, 3)
    _draw_backstitches(whole, chart, stitch_px, edge)
    return whole


@lru_cache(maxsize=8)
def _tiles(look: StitchLook, side: int) -> tuple[PictureArray, PictureArray]:
    """Return bare and crossed squares, each (VARIANTS, 2, 2, side, side, 3)."""
    bare = np.empty((VARIANTS, 2, 2, side, side, 3), dtype=np.uint8)
    crossed = np.empty_like(bare)
    count = fine_side(side)
    for variant in range(VARIANTS):
        block = cloth_block(look, side, variant)
        for odd_row in range(2):
            for odd_column in range(2):
                ground = block[odd_row * count : (odd_row + 1) * count, odd_column * count : (odd_column + 1) * count]
                bare[variant, odd_row, odd_column] = to_srgb(shrink(ground, side))
                cross = cross_block(look, ground, 10 * variant + 4 * odd_row + odd_column)
                crossed[variant, odd_row, odd_column] = to_srgb(shrink(cross, side))
    bare.setflags(write=False)
    crossed.setflags(write=False)
    return bare, crossed


def _draw_backstitches(picture: PictureArray, chart: Chart, side: int, edge: int) -> None:
    """Lay the backstitches over the crosses, each a thread from hole to hole."""
    look = stitch_look(chart)
    half = max(0.6, chart.thread.line_strands * STRAND_MM / look.cell_mm * side / 2)
    colour = np.maximum(np.array([c / 255 for c in rgb(chart.thread.colour)]), 0.02)
    for number, (start, stop) in enumerate(chart.lines):
        ends = (np.array([start[1], start[0]]) + edge) * side, (np.array([stop[1], stop[0]]) + edge) * side
        _draw_thread(picture, ends, half, colour, chart.thread.line_strands, (number * 0.37) % 1)


def _draw_thread(
    picture: PictureArray,
    ends: tuple[FloatArray, FloatArray],
    half: float,
    colour: npt.NDArray[np.float64],
    strands: int,
    twist: float,
) -> None:
    start, stop = ends
    length = float(np.hypot(*(stop - start)))
    direction = (stop - start) / length
    reach = half + 3
    left, top = np.floor(np.minimum(start, stop) - reach).astype(int)
    right, bottom = np.ceil(np.maximum(start, stop) + reach).astype(int)
    left, top = max(0, left), max(0, top)
    right, bottom = min(picture.shape[1], right), min(picture.shape[0], bottom)
    x, y = np.meshgrid(np.arange(left, right) + 0.5 - start[0], np.arange(top, bottom) + 0.5 - start[1])
    along = x * direction[0] + y * direction[1]
    off = -x * direction[1] + y * direction[0]
    beyond = np.maximum(np.maximum(-along, along - length), 0)
    distance = np.hypot(off, beyond)
    cover = np.clip(half - distance + 0.5, 0, 1)
    shaded = np.hypot(off - 0.25 * half * (direction[0] - direction[1]), beyond)
    shade = 0.45 * np.clip(1.3 - shaded / (half + 1.5), 0, 1)
    lit, sheen = thread_light(
        np.clip(off / half, -1, 1), np.clip(along / length, 0.06, 0.94), direction, strands, twist
    )
    thread = np.clip(lit**0.5, 0, 1.2)[:, :, None] * colour + (0.22 * sheen)[:, :, None]
    under = picture[top:bottom, left:right].astype(np.float64) / 255
    under = under * (1 - shade)[:, :, None]
    mixed = under + (np.clip(thread, 0, 1) - under) * cover[:, :, None]
    picture[top:bottom, left:right] = np.round(255 * np.clip(mixed, 0, 1)).astype(np.uint8)
