"""The stitched look: crosses of thread on woven cloth, at true proportions.

Squares are laid like tiles from a few pre-drawn variants; which one stands where follows a fixed
pseudo-random pattern, so equal charts give equal pictures.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from converter.draw.palette import IndexedPicture, ReducedColours
from converter.draw.sprites import (
    STRAND_MM,
    StitchLook,
    cloth_light,
    covered_share,
    cross_light,
    linear_colour,
    scatter,
    shrink,
    thread_light,
    to_srgb,
)
from converter.errors import RequestError, UsageError
from converter.model.arrays import PictureArray
from converter.model.chart import Chart
from converter.model.materials import rgb
from converter.units import MM_PER_INCH

if TYPE_CHECKING:
    from converter.draw.sprites import FloatArray

VARIANTS: Final = 6
MOST_PX: Final = 120_000_000
LONGEST_PX: Final = 1800
_TWISTS: Final = 8
_MOST_KEPT_PX: Final = 10_000
"""Backstitches on a larger box are drawn anew each time."""
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
    """Return the side of a stitch in pixels that keeps the picture to a size for screens and print, 6 to 40."""
    longest = max(chart.columns, chart.rows)
    return int(max(6, min(40, LONGEST_PX // (longest * 1.2))))


def stitched_dpi(chart: Chart, stitch_px: int | None = None) -> float:
    """Return the pixels an inch at which the stitched look has its true size on the cloth."""
    side = best_stitch_px(chart) if stitch_px is None else stitch_px
    return side * MM_PER_INCH / chart.fabric.cell_mm


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
    edge = _checked_rim(chart, stitch_px, rim)
    tiles = _tiles(stitch_look(chart), stitch_px)
    whole = _lay(tiles, _pattern(chart, edge))
    _draw_backstitches(whole, chart, stitch_px, edge)
    return whole


def stitched_picture(chart: Chart, *, stitch_px: int | None = None, rim: int | None = None) -> IndexedPicture:
    """Return the chart as it will look on the cloth, in 256 colours; parameters of `stitched_pixels`.

    The colours are chosen on the few tiles of which the picture is laid, so it is laid in one byte a pixel.
    """
    side = best_stitch_px(chart) if stitch_px is None else stitch_px
    edge = _checked_rim(chart, side, rim)
    tiles = _tiles(stitch_look(chart), side)
    pattern = _pattern(chart, edge)
    often = np.repeat(np.bincount(pattern.ravel(), minlength=len(tiles)).astype(np.float64), side * side)
    shades = tiles.reshape(-1, 3)
    if len(chart.lines) == 0:
        reduced = ReducedColours(shades, often)
        return IndexedPicture(_lay(reduced.index(tiles), pattern), reduced.colours, True, stitched_dpi(chart, side))
    whole = _lay(tiles, pattern)
    touched = _draw_backstitches(whole, chart, side, edge)
    drawn = whole[touched]
    reduced = ReducedColours(np.concatenate([shades, drawn]), np.append(often, np.ones(len(drawn))))
    index = _lay(reduced.index(tiles), pattern)
    index[touched] = reduced.index(drawn)
    return IndexedPicture(index, reduced.colours, True, stitched_dpi(chart, side))


def _checked_rim(chart: Chart, stitch_px: int, rim: int | None) -> int:
    if not 3 <= stitch_px <= 80:
        raise UsageError(f"Stitches of {stitch_px} pixels cannot be drawn.", "Choose 3 to 80.")
    edge = default_rim(chart) if rim is None else rim
    if edge < 0:
        raise UsageError("The rim of bare cloth cannot be negative.")
    rows, columns = chart.rows + 2 * edge, chart.columns + 2 * edge
    if rows * columns * stitch_px**2 > MOST_PX:
        raise RequestError("The stitched picture would be over 120 million pixels.", "Choose a smaller stitch.")
    return edge


def _pattern(chart: Chart, edge: int) -> npt.NDArray[np.intp]:
    """Return which tile lies on each square, with the rim."""
    rows, columns = chart.rows + 2 * edge, chart.columns + 2 * edge
    pattern = (scatter(20, rows, columns) * VARIANTS).astype(np.intp) * 4
    pattern += (np.arange(rows) % 2 * 2)[:, None] + (np.arange(columns) % 2)[None, :]
    pattern[edge : edge + chart.rows, edge : edge + chart.columns] += 4 * VARIANTS * chart.cells
    return pattern


def _lay(tiles: npt.NDArray[np.uint8], pattern: npt.NDArray[np.intp]) -> npt.NDArray[np.uint8]:
    """Return the picture laid of tiles (K, side, side) or (K, side, side, 3)."""
    side = tiles.shape[1]
    rows, columns = pattern.shape
    whole = np.empty((rows, side, columns, *tiles.shape[2:]), dtype=np.uint8)
    for row, numbers in enumerate(pattern):
        whole[row] = tiles[numbers].swapaxes(0, 1)
    return whole.reshape(rows * side, columns * side, *tiles.shape[3:])


@lru_cache(maxsize=8)
def _tiles(look: StitchLook, side: int) -> npt.NDArray[np.uint8]:
    """Return the tiles (2 * VARIANTS * 4, side, side, 3): bare squares, then crossed ones.

    Of each variant there are four, for even and odd rows and columns, which together are one piece of cloth.
    """
    ground = cloth_light(look, side, VARIANTS)
    seen, thread, sheen = cross_light(look, side, VARIANTS)
    bare = shrink(ground, side)
    between = shrink(ground * seen[:, None, None], side)
    own = np.stack([shrink(thread, side), shrink(sheen, side)])[:, :, None, None]
    cloth_colour, thread_colour = linear_colour(look.cloth), np.maximum(linear_colour(look.thread), np.float32(0.006))
    crossed = between[..., None] * cloth_colour + own[0][..., None] * thread_colour + own[1][..., None]
    tiles = to_srgb(np.stack([bare[..., None] * cloth_colour, crossed])).reshape(-1, side, side, 3)
    tiles.setflags(write=False)
    return tiles


@dataclass(frozen=True, eq=False)
class _ThreadSprite:
    """One backstitch on a box of pixels, for all places where it falls on the pixels alike."""

    left: int
    top: int
    """Of the box, from the pixel in which the stitch starts."""
    keep: FloatArray
    """(H, W, 1): share of what lies below that is left by cover and shade."""
    add: FloatArray
    """(H, W, 3): the thread's own light, 0 to 255."""


def _draw_backstitches(picture: PictureArray, chart: Chart, side: int, edge: int) -> npt.NDArray[np.bool_]:
    """Lay the backstitches over the crosses, each a thread from hole to hole; return which pixels they touch."""
    touched = np.zeros(picture.shape[:2], dtype=np.bool_)
    look = stitch_look(chart)
    half = max(0.6, chart.thread.line_strands * STRAND_MM / look.cell_mm * side / 2)
    colour = np.maximum(np.array([c / 255 for c in rgb(chart.thread.colour)], dtype=np.float32), np.float32(0.02))
    starts = (chart.lines[:, 0, ::-1] + edge) * side
    runs = ((chart.lines[:, 1, ::-1] - chart.lines[:, 0, ::-1]) * side).tolist()
    whole = np.floor(starts).astype(np.int64)
    rests = (starts - whole).tolist()
    kept: dict[tuple[object, ...], _ThreadSprite] = {}
    for number, (corner, rest, run) in enumerate(zip(whole.tolist(), rests, runs, strict=True)):
        twist = number % _TWISTS
        key = (*rest, *run, twist)
        sprite = kept.get(key)
        if sprite is None:
            sprite = _thread_sprite(rest, run, half, colour, chart.thread.line_strands, twist * 0.37 % 1)
            if sprite.keep.size <= _MOST_KEPT_PX:
                kept[key] = sprite
        left, top = corner[0] + sprite.left, corner[1] + sprite.top
        height, width = sprite.keep.shape[:2]
        a, b = max(0, left), max(0, top)
        c, d = min(picture.shape[1], left + width), min(picture.shape[0], top + height)
        inside = (slice(b - top, d - top), slice(a - left, c - left))
        under = picture[b:d, a:c]
        under[:] = under * sprite.keep[inside] + sprite.add[inside]
        touched[b:d, a:c] = True
    return touched


def _thread_sprite(
    start: tuple[float, float],
    run: tuple[float, float],
    half: float,
    colour: FloatArray,
    strands: int,
    twist: float,
) -> _ThreadSprite:
    length = float(np.hypot(*run))
    dx, dy = run[0] / length, run[1] / length
    stop = start[0] + run[0], start[1] + run[1]
    reach = half + 3
    left, top = (int(np.floor(min(start[i], stop[i]) - reach)) for i in range(2))
    right, bottom = (int(np.ceil(max(start[i], stop[i]) + reach)) for i in range(2))
    x = np.arange(left, right, dtype=np.float32)[None, :] + np.float32(0.5 - start[0])
    y = np.arange(top, bottom, dtype=np.float32)[:, None] + np.float32(0.5 - start[1])
    along = x * dx + y * dy
    off = y * dx - x * dy
    beyond = np.maximum(np.maximum(-along, along - length), 0)
    cover = np.clip(half - np.hypot(off, beyond) + 0.5, 0, 1)[:, :, None]
    shaded = np.hypot(off - 0.25 * half * (dx - dy), beyond)
    shade = 0.45 * np.clip(1.3 - shaded / (half + 1.5), 0, 1)[:, :, None]
    lit, sheen = thread_light(
        np.clip(off / half, -1, 1), np.clip(along / length, 0.06, 0.94), (dx, dy), strands, np.float32(twist)
    )
    thread = np.clip(np.clip(np.sqrt(lit), 0, 1.2)[:, :, None] * colour + (0.22 * sheen)[:, :, None], 0, 1)
    # Half a step more, as pixels are cut to whole numbers.
    add = np.asarray(255 * thread * cover + 0.5, dtype=np.float32)
    return _ThreadSprite(left, top, np.asarray((1 - shade) * (1 - cover), dtype=np.float32), add)
