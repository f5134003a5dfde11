"""The centre line of ink: where strokes run and how wide they are."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray
from converter.pixels.thinning import thin_to_lines
from converter.raster.around import count_round, grow, shrink, square

TAPER_SLOPE = 0.46
"""Rise of the half-width along the axis from which on a narrow end is a tip or a corner and no stroke."""
BLUNT_SLOPE, RISING_SLOPE = 0.35, 0.15
"""The same from which on an end is a blunt tip, drawn only where it covers something of a stitch, and from which on a
stitch that the ink covers is drawn for it, as in a broad part."""
TIP_SLOPES = 0.1, 0.36
"""Rise of the half-width along the axis between which an end is a fine tip, shown as far as it goes."""
TIP_WIDTH, LONGEST_TIP = 0.8, 0.6
"""Stitches: how wide the ink is at most where thinning ends in a fine tip, and how far the tip goes on at most."""
STRAIGHT = 0.06
"""Stitches: where the mean of the line within two thirds of a stitch lies farther off than that, it bends."""
BROAD = 2.4
"""Stitches: what is more than twice as wide is no stroke; it has points all over its middle instead of a line."""


@dataclass(frozen=True, eq=False)
class Axis:
    """Points of the centre line, in stitches of the laid grid."""

    points: npt.NDArray[np.float64]
    """(P, 2), (row, col)."""
    radius: npt.NDArray[np.float64]
    """(P,), half the width of the ink there, in stitches."""
    pixel: npt.NDArray[np.intp]
    """(P, 2), the pixel of the mask each point is the centre of."""
    straight: npt.NDArray[np.bool_]
    """(P,), whether the line runs on either way there. At corners, crossings and ends it is less surely known."""
    rising: npt.NDArray[np.bool_]
    """(P,), whether the point lies in a tip, where the ink gets broader."""
    blunt: npt.NDArray[np.bool_]
    """(P,), whether that tip is blunt."""

    def take(self, which: npt.NDArray[np.bool_]) -> Axis:
        """Return some of the points."""
        return Axis(*(getattr(self, each.name)[which] for each in fields(self)))


def move_axis(axis: Axis, pixels: int, top: float, left: float, cell: float, margin: int, laid_pixels: int) -> Axis:
    """Return an axis found on the working picture in the coordinates of the grid laid over it.

    Parameters
    ----------
    axis : Axis
        On the working picture, ``pixels`` a unit.
    top, left, cell : float
        Of the grid, in pixels of the working picture.
    margin : int
        Bare cells round the grid.
    laid_pixels : int
        Pixels a cell of the laid mask.
    """
    points = (axis.points * pixels - [top, left]) / cell + margin
    middle = ((axis.pixel + 0.5) - [top, left]) / cell + margin
    pixel = np.floor(middle * laid_pixels).astype(np.intp)
    return replace(axis, points=points, radius=axis.radius * pixels / cell, pixel=pixel)


THIN = 0.8
"""Stitches: half the width below which a stroke has a say in where the grid lies."""
MANY = 1200
"""Points of thin strokes; of more only every so many are taken."""


def find_diagonals(axis: Axis, shape: tuple[int, ...], pixels: int) -> tuple[npt.NDArray[np.float64], ...]:
    """Return row - col and row + col, in pixels, of the points on thin strokes that run at 45 degrees."""
    thin = _some_thin(axis)
    on = _run_on(axis, thin, shape, pixels, ((1, 1), (1, -1)))
    falling, rising = (axis.pixel[thin[each]] + 0.5 for each in on)
    return falling[:, 0] - falling[:, 1], rising[:, 0] + rising[:, 1]


def find_straights(axis: Axis, shape: tuple[int, ...], pixels: int) -> tuple[npt.NDArray[np.float64], ...]:
    """Return the row, in pixels, of points on thin strokes that run level, and the col of those that run upright."""
    thin = _some_thin(axis)
    level, upright = _run_on(axis, thin, shape, pixels, ((0, 1), (1, 0)))
    return axis.points[thin[level], 0] * pixels, axis.points[thin[upright], 1] * pixels


def _some_thin(axis: Axis) -> npt.NDArray[np.intp]:
    thin = np.flatnonzero(axis.radius < THIN)
    return thin[:: max(1, len(thin) // MANY)]


def _run_on(
    axis: Axis,
    some: npt.NDArray[np.intp],
    shape: tuple[int, ...],
    pixels: int,
    ways: tuple[tuple[int, int], tuple[int, int]],
) -> list[npt.NDArray[np.bool_]]:
    """Return for both ways which points have the line, to a pixel, one and two stitches before and behind them."""
    rim = 2 * pixels
    line = grow(_marked(axis.pixel + rim, (shape[0] + 2 * rim, shape[1] + 2 * rim)))
    found = []
    for way in ways:
        steps = (axis.pixel[some] + rim + k * pixels * np.array(way) for k in (-2, -1, 1, 2))
        found.append(np.asarray(np.all([line[each[:, 0], each[:, 1]] for each in steps], axis=0)))
    return found


def _marked(at: npt.NDArray[np.intp], shape: tuple[int, ...]) -> MaskArray:
    """Return the mask of some pixels."""
    mask = np.zeros(shape, dtype=np.bool_)
    mask[at[:, 0], at[:, 1]] = True
    return mask


def places(mask: MaskArray) -> npt.NDArray[np.intp]:
    """Return (row, col) of the set pixels, (P, 2), in reading order: faster than `numpy.argwhere`, which is general."""
    return np.stack(np.divmod(np.flatnonzero(mask), mask.shape[1]), axis=1)


def ink_depth(ink: MaskArray, pixels: int) -> npt.NDArray[np.float32]:
    """Return how far inside the mask each pixel lies, in stitches; 0 outside."""
    depth = np.asarray(cv2.distanceTransform(ink.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5), dtype=np.float32)
    if pixels != 1:
        depth /= np.float32(pixels)
    return depth


def find_axis(ink: MaskArray, depth: npt.NDArray[np.float32], pixels: int, narrow: float = 0.75) -> Axis:
    """Return the centre line of the ink without the spurs that run into corners and tips.

    Parameters
    ----------
    ink : ndarray of shape (H, W), bool
    depth : ndarray of shape (H, W)
        From `ink_depth`.
    pixels : int
        Pixels a stitch.
    narrow : float
        Points whose half-width (stitches) is larger are never taken for a spur.

    Notes
    -----
    Parts wider than twice `BROAD` have points round their middle and scattered over it.
    """
    line = thin_to_lines(ink, int(np.ceil(BROAD * pixels)))
    middle = shrink(line)
    line &= ~middle
    line = _lengthen_ends(line, depth, pixels)
    step = pixels // 2
    line[::step, ::step] |= middle[::step, ::step]
    at = places(line)
    radius = depth[at[:, 0], at[:, 1]].astype(np.float64)
    tips = _tapers(at, radius, ink.shape, pixels, narrow, (TAPER_SLOPE, BLUNT_SLOPE, RISING_SLOPE))
    at, radius, (_, blunt, rising) = at[~tips[0]], radius[~tips[0]], tips[:, ~tips[0]]
    points, straight = _smooth(at, ink.shape, pixels)
    points = _out_to_tips(points / pixels, radius, at, ink.shape, pixels)
    return Axis(points, radius, at, straight, rising, blunt)


def _out_to_tips(
    points: npt.NDArray[np.float64],
    radius: npt.NDArray[np.float64],
    at: npt.NDArray[np.intp],
    shape: tuple[int, ...],
    pixels: int,
) -> npt.NDArray[np.float64]:
    """Return the points, in stitches, with the ends of fine tips moved out to where the ink runs to nothing.

    Thinning stops short of a fine tip, and its last part is thinner than a pixel.
    """
    around = count_round(_marked(at, shape))
    out = points.copy()
    for end in np.flatnonzero((around[at[:, 0], at[:, 1]] <= 2) & (radius < TIP_WIDTH / 2)):
        # The points come in reading order.
        first, last = np.searchsorted(at[:, 0], [at[end, 0] - 2 * pixels, at[end, 0] + 2 * pixels])
        off, width = points[first:last] - points[end], radius[first:last]
        far = np.hypot(off[:, 0], off[:, 1])
        # In a crossing, or on the middle of a broad part, many points lie about.
        if np.count_nonzero(far <= 1.0) > 1.7 * pixels:
            continue
        near, back = (far > 0.3) & (far <= 0.6), (far > 0.9) & (far <= 1.4)
        if near.sum() < 2 or back.sum() < 2:
            continue
        thin, thick = float(width[near].mean()), float(width[back].mean())
        slope = (thick - thin) / float(far[back].mean() - far[near].mean())
        here = thin - slope * float(far[near].mean())
        # The half-width must fall evenly, and by more than pixels make it waver.
        even = abs(here - radius[end]) < 0.1 and thin < 0.8 * thick
        if not (even and TIP_SLOPES[0] < slope < TIP_SLOPES[1]):
            continue
        way = -off[back].mean(axis=0)
        out[end] += way / np.hypot(*way) * min(LONGEST_TIP, (radius[end] - 0.25 / pixels) / slope)
    return out


def _tapers(
    at: npt.NDArray[np.intp],
    radius: npt.NDArray[np.float64],
    shape: tuple[int, ...],
    pixels: int,
    narrow: float,
    slopes: tuple[float, ...],
) -> npt.NDArray[np.bool_]:
    """Return (S, P), for each slope which points lie where the ink runs to a tip: close by it is wider by more."""
    found = np.zeros((len(slopes), len(at)), dtype=np.bool_)
    some = np.flatnonzero(radius < narrow + 0.3)
    if not len(some):
        return found
    row, col = at[some, 0], at[some, 1]
    here = radius[some].astype(np.float32)
    widest = np.zeros(shape, dtype=np.float32)
    widest[row, col] = here
    cross = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    steeper = np.zeros((len(slopes), len(some)), dtype=np.bool_)
    for k in range(1, int(0.8 * pixels) + 1):
        # Crosses and squares in turn grow an octagon, near enough a disc of k pixels.
        widest = np.asarray(cv2.dilate(widest, cross if k % 2 else square(3)), dtype=np.float32)
        rise = widest[row, col] - here
        for each, slope in zip(steeper, slopes, strict=True):
            each |= rise > max(0.1, slope * k / pixels)
    found[:, some] = steeper & (here < narrow)
    return np.asarray(found & np.array([_ends_free(at, each, shape) for each in found]))


def _ends_free(at: npt.NDArray[np.intp], some: npt.NDArray[np.bool_], shape: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    """Return which points lie in a run of ``some`` that has an end of the line and meets the rest of it but once.

    The arms of a crossing have no end, and a narrow place in a rough stroke goes on at both sides.
    """
    line, marked = _marked(at, shape), _marked(at[some], shape)
    around = count_round(line)
    count, runs = cv2.connectedComponents(marked.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    run = runs[at[:, 0], at[:, 1]]
    free = np.zeros(count, dtype=np.bool_)
    free[run[around[at[:, 0], at[:, 1]] <= 2]] = True
    beside = np.asarray(cv2.dilate(runs.astype(np.float32), square(3)))
    touch = line & ~marked & (beside > 0)
    touches, where = cv2.connectedComponents(touch.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    of_touch = np.zeros(touches, dtype=np.intp)
    of_touch[where[touch]] = beside[touch].astype(np.intp)
    free &= np.bincount(of_touch[1:], minlength=count) < 2
    free[0] = False
    return np.asarray(free[run])


def _smooth(
    at: npt.NDArray[np.intp], shape: tuple[int, ...], pixels: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
    """Return the points, in pixels, without the steps that a slanting line of pixels has, and where it runs straight.

    Each becomes the mean of the line within a third of a stitch; ends, where that would draw it in, stay.
    """
    points = at + 0.5
    row, col = at[:, 0], at[:, 1]
    line = np.zeros(shape, dtype=np.uint8)
    line[row, col] = 1
    # How many points of the line lie above and left of each place.
    table = np.asarray(cv2.integral(line), dtype=np.int32)

    def mean_within(reach: int) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
        steps = np.arange(-reach, reach + 1)
        down = np.clip(row + np.arange(-reach, reach + 2)[:, None], 0, shape[0])
        across = np.clip(col + np.arange(-reach, reach + 2)[:, None], 0, shape[1])
        # The points in each row and in each column of the window.
        in_row = np.diff(table[down, across[-1]] - table[down, across[0]], axis=0)
        in_col = np.diff(table[down[-1], across] - table[down[0], across], axis=0)
        number = in_row.sum(axis=0)
        rows, cols = number * row + steps @ in_row, number * col + steps @ in_col
        mean = np.stack([rows, cols], axis=1) / np.maximum(number, 1)[:, None] + 0.5
        return mean, (number >= 2 * reach + 1) & (number <= 2 * reach + 2)

    mean, whole = mean_within(pixels // 3)
    near = np.abs(mean - points).max(axis=1) < 0.8
    wider, through = mean_within(2 * pixels // 3)
    straight = through & (np.abs(wider - points).max(axis=1) < max(0.8, STRAIGHT * pixels))
    return np.where((whole & near)[:, None], mean, points), straight


def _lengthen_ends(skeleton: MaskArray, depth: npt.NDArray[np.float32], pixels: int) -> MaskArray:
    """Continue each end of the skeleton while the stroke stays about as wide, or runs out slowly to a tip.

    Thinning eats the ends of strokes.
    """
    ends = places(skeleton & (count_round(skeleton) <= 2))
    if not len(ends):
        return skeleton
    out = skeleton.copy()
    height, width = skeleton.shape
    reach = max(4.0, 0.6 * pixels)
    around_it = int(reach)
    for end in ends:
        r, c = int(end[0]), int(end[1])
        first_row, first_col = max(0, r - around_it), max(0, c - around_it)
        group = np.argwhere(skeleton[first_row : r + around_it + 1, first_col : c + around_it + 1])
        group += [first_row, first_col]
        group = group[((group - end) ** 2).sum(axis=1) <= reach**2]
        wide = float(depth[max(0, r - 1) : r + 2, max(0, c - 1) : c + 2].max())
        ways = [] if len(group) < 5 else [end - group.mean(axis=0)]
        if not ways:
            ways = _long_way(depth, r, c, int(np.ceil(2.5 * wide * pixels)) + 2)
        for way in ways:
            length = float(np.hypot(*way))
            if length < 1e-6:
                continue
            step = way / length
            for k in range(1, 2 * pixels):
                nr, nc = round(r + k * step[0]), round(c + k * step[1])
                if not (0 <= nr < height and 0 <= nc < width):
                    break
                # No narrower than a stroke's rounded end, or than a tip that runs out.
                if depth[nr, nc] < min(0.7 * wide, max(0.5 / pixels, wide - TAPER_SLOPE * k / pixels)):
                    break
                out[nr, nc] = True
    return out


def _long_way(depth: npt.NDArray[np.float32], r: int, c: int, reach: int) -> list[npt.NDArray[np.float64]]:
    """Return both senses of the longer axis of the ink round a lone point."""
    window = depth[max(0, r - reach) : r + reach + 1, max(0, c - reach) : c + reach + 1] > 0
    at = np.argwhere(window).astype(np.float64)
    at -= at.mean(axis=0)
    spread, ways = np.linalg.eigh(at.T @ at / len(at))
    if spread[1] < 1.3 * max(spread[0], 1e-9):
        return []
    return [ways[:, 1], -ways[:, 1]]
