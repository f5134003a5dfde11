"""Lines along the grid and across squares: backstitches.

1. Along a side the printed line is there already. What counts is what lies on the side beyond it: the density near the
   side, less the density a little way off, in the lightest quarter of the samples along the side, as a stitch runs
   through unbroken. Each half of the side is judged against the square it lies in; next to a filled square the other
   half decides, between two filled squares only a line darker than the fill shows.
2. The usual value along each printed line is taken off, so that bold tenth lines are not strokes.
3. Across a square a stroke joins two opposite corners unbroken, right into both, and leaves the rest of the square
   bare; a dot between lines is as dark towards the other two corners. A slash kept inside its square is a mark.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import LineArray
from converter.pixels.blocks import to_blocks
from converter.squares import filters
from converter.squares.density import FloatArray, ink
from converter.squares.patches import FlatSheet

CellFloats = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
LEAST = 0.09
_SPILL = 0.72
"""A stroke beside a fill is at least this part as dark as the fill."""
_OUTSIDE = 0.15
"""Density above paper beyond the grid's last line up to which there may be a stroke on that line."""
_GOING_ON = 0.5
"""Part of what is asked for otherwise that will do where a stroke goes on from another."""
_GOING_ON_BESIDE = 0.85
"""The same beside a fill."""
_PART = 0.4
"""What a stroke adds to a fill, as part of what strokes add to paper."""
_UNUSUAL = 0.25
"""What it adds at least where there are no strokes on paper."""
_FEW = 8
"""Sides of one sort from which their usual value says something."""
_DARKER, _NOT_DARKER = 0.2, 0.1
"""Density by which a stroke at the rim of a fill is darker than the fill, surely and at least."""
_A_LITTLE = 0.04
"""Density by which it is darker than a printed line and a fill one on the other."""
_GOES_OVER = 0.5
"""What a stroke at the rim of a fill adds to the bare square, at least, as part of what the fill itself has."""
_BRIDGE = 0.055
"""Density that will do between two strokes."""
_LONGEST_FAINT = 3
"""Sides in a row that may be faint."""
_ACROSS, _FAINT_ACROSS = 0.12, 0.06
"""Density of a stroke across a square at least, and where it goes on from another."""
_NARROW = 0.08
"""Part of a square about the other diagonal in which there is less of a stroke that is not drawn quite straight."""
_SLACK = 0.05
"""Part of a square that a stroke may lie beside the line."""
_SOFT = 1.3
"""How much darker than what is narrow in it a stroke is at most."""
_GRAIN = 0.12
"""Density by which the sides of a printed line differ at most."""
_ALONE = 1.6
"""How many times darker than needed a stroke must be that no other goes on from."""


@dataclass(frozen=True)
class Strokes:
    """Backstitches found, and the squares that hold nothing but one."""

    lines: LineArray
    crossed: BoolArray
    """(rows, cols): a stroke runs across the square, which is otherwise bare."""


def _ink(sheet: FlatSheet, paper: FloatArray) -> FloatArray:
    """Return the sheet's density above paper, in one number a pixel; the border is kept."""
    half = sheet.side // 2
    plane = to_blocks(paper, sheet.side)
    plane = np.pad(plane, ((half, half), (half, half), (0, 0)), mode="edge")
    above = sheet.dense - plane
    return ink(above)


@dataclass(frozen=True)
class _Level:
    """What lies on the level sides of a flat sheet; arrays are (rows + 1, cols)."""

    value: CellFloats
    """Density beyond what the squares beside have."""
    spill: CellFloats
    """What a fill beside the side may spill there."""
    fair: BoolArray
    """The side can be judged by both squares, which are bare."""
    known: BoolArray
    """The side can be judged at all."""
    fills: npt.NDArray[np.int64]
    """How many of the two squares are filled."""
    peak: CellFloats
    """How much darker than the darker of the two squares the side is."""


def _thin(ink: FloatArray, side: int) -> FloatArray:
    """Return what of the ink is narrower than half a square: strokes and printed lines, not the edge of a shadow."""
    soft = cv2.GaussianBlur(ink, (0, 0), 0.04 * side)
    kernel = np.ones((2 * round(side * 0.22) + 1,) * 2, np.uint8)
    return np.asarray(soft - cv2.morphologyEx(soft, cv2.MORPH_OPEN, kernel), dtype=np.float32)


def _profile(ink: FloatArray, side: int, rows: int, cols: int) -> FloatArray:
    """Return (rows + 1, side, cols) the lighter samples along each level side, half a square above to half below."""
    half = side // 2
    strips = ink[:, half : half + cols * side].reshape(rows + 1, side, cols, side)
    cut = max(1, side // 10)
    along = np.sort(strips[..., cut:-cut], axis=3)
    return np.asarray(along[..., : max(2, along.shape[3] // 3)].mean(axis=3))


def _level_sides(
    ink: FloatArray, thin: FloatArray, side: int, rows: int, cols: int, solid: BoolArray, marked: BoolArray
) -> _Level:
    """Return what lies on level sides; ``marked`` are squares with anything in them, ``solid`` those filled."""
    half = side // 2
    profile, thin_profile = _profile(ink, side, rows, cols), _profile(thin, side, rows, cols)
    near = max(2, round(side * 0.13))
    far, thick = max(2, round(side * 0.2)), max(1, round(side * 0.07))
    base_above, base_below = np.median(profile[:, :far], axis=1), np.median(profile[:, -far:], axis=1)
    shifted, narrow, peaks = [], [], []
    slack = max(1, round(side * _SLACK))
    for step in range(-slack, slack + 1):
        middle = half + step
        above = profile[:, middle - near : middle].mean(axis=1) - base_above
        below = profile[:, middle : middle + near].mean(axis=1) - base_below
        least, most = np.minimum(above, below), np.maximum(above, below)
        # the edge of a shadow or of a mark rises on one side only
        shifted.append(np.where(least > 0.25 * most, 0.5 * (above + below), np.minimum(least, 0.0)))
        peaks.append(profile[:, middle - thick : middle + thick].mean(axis=1))
        narrow.append(thin_profile[:, middle - near : middle + near].mean(axis=1))
    both = np.max(shifted, axis=0)
    above = profile[:, half - near : half].mean(axis=1) - base_above
    below = profile[:, half : half + near].mean(axis=1) - base_below
    up, down = (part for part in _beside(marked))
    full_up, full_down = (part for part in _beside(solid))
    value = np.where(up & ~down, below, np.where(down & ~up, above, both))
    # a stroke is narrow, the edge of a shadow is not
    value = np.minimum(value, _SOFT * np.max(narrow, axis=0) + 0.02)
    peak = np.max(peaks, axis=0) - np.maximum(base_above, base_below)
    # a bar of a mark lies beside the line
    thin_marks = (up | down) & ~(full_up | full_down)
    value = np.where(thin_marks, np.minimum(value, np.maximum(peak, 0.0)), value)
    value = np.where(full_up & ~full_down, below, np.where(full_down & ~full_up, above, value))
    known = np.ones(value.shape, bool)
    # beyond the grid there may be a table, whose edge is no stroke
    known[0], known[-1] = np.abs(base_above[0]) < _OUTSIDE, np.abs(base_below[-1]) < _OUTSIDE
    value[0], value[-1] = np.minimum(value[0], below[0]), np.minimum(value[-1], above[-1])
    value = np.where(known, value, 0.0)
    # the edge of a fill is soft and may lie a little beyond the line
    spill = _SPILL * np.where(full_up & ~full_down, base_above, np.where(full_down & ~full_up, base_below, 0.0))
    fair, fills = np.asarray(~(up | down) & known), full_up.astype(np.int64) + full_down
    wide = [np.asarray(a, dtype=np.float64) for a in (value, spill, peak)]
    return _Level(wide[0], wide[1], fair, known, fills, wide[2])


def _beside(squares: BoolArray) -> tuple[BoolArray, BoolArray]:
    """Return for each level side, (rows + 1, cols), whether the square above and the one below are among these."""
    full = np.pad(squares, ((1, 1), (0, 0)))
    return full[:-1], full[1:]


def _beyond_print(level: _Level) -> CellFloats:
    """Take the usual value along each line off, which is the printed line's own; marks beside it hide that."""
    value, bare, usual = level.value, level.fair, _usual(level)
    smooth = filters.running_median(np.where(bare, value, usual[:, None]), 15)
    beyond = value - np.minimum(np.maximum(usual, 0)[:, None], np.maximum(smooth, 0) + 0.02)
    return np.asarray(np.where(level.known, beyond, 0.0))


def _without_bars(level: _Level, numbers: npt.NDArray[np.int32]) -> _Level:
    """Take off what is usual between two marks of the same kinds: a bar of the mark near the line, no stroke."""
    inner = level.known[1:-1] & (level.fills[1:-1] == 0) & (numbers[:-1] > 0) & (numbers[1:] > 0)
    value = level.value.copy()
    most = int(numbers.max(initial=0)) + 1
    pairs = np.where(inner, numbers[:-1] * most + numbers[1:], 0)
    overall = float(np.median(level.value[level.fair])) if level.fair.any() else 0.0
    for pair in np.unique(pairs[inner]):
        here = np.vstack([np.zeros((1, pairs.shape[1]), bool), pairs == pair, np.zeros((1, pairs.shape[1]), bool)])
        if here.sum() >= _FEW:
            value[here] -= max(0.0, float(np.median(value[here])) - max(overall, 0.0))
    return replace(level, value=value)


def _usual(level: _Level) -> CellFloats:
    """Return (rows + 1,) the printed lines' own values, between marks as the lighter sides have them."""
    known = level.value[level.fair]
    overall = float(np.median(known)) if known.size else float(np.median(level.value))
    out = np.full(level.value.shape[0], overall)
    bolder = _bolder_on_fills(level)
    for line, (value, bare) in enumerate(zip(level.value, level.fair, strict=True)):
        open_sides = level.known[line] & (level.fills[line] == 0)
        if bare.sum() >= 3:
            out[line] = _printed(value[bare], overall)
        elif open_sides.sum() >= _FEW:
            out[line] = max(overall, float(np.quantile(value[open_sides], 0.3)))
        else:
            out[line] = overall + bolder[line]
    # the cut of the sheet may leave little of the outermost lines here and there
    out[[0, -1]] = np.maximum(out[[0, -1]], overall)
    return out


def _printed(values: npt.NDArray[np.float64], overall: float) -> float:
    """Return the printed line's own value from those of its bare sides, of which a stroke may cover more than half.

    Sides with hardly anything, as printed lines have ``overall``, are crossed by the edge of a shadow, or the line lies
    a little beside: what is seen elsewhere on it is the line.
    """
    middle = float(np.median(values))
    seen = np.sort(values[values > 0.5 * overall])
    if seen.size < 3:
        return middle
    low = float(seen[max(2, seen.size // 8)])
    if middle < 0.5 * overall:
        return min(low, overall)
    return low if middle - low > _GRAIN else middle


def _valley(values: npt.NDArray[np.float64], usual: float | None = None) -> float:
    """Return the border between printed lines and strokes; ``usual`` strokes elsewhere on the sheet."""
    grain = 1.48 * float(np.median(np.abs(values - np.median(values)))) if values.size else 0.0
    low = max(LEAST, 5 * grain)
    if usual is not None:
        return max(LEAST, min(low, 0.4 * usual), 0.25 * usual)
    high = values[values > low]
    if high.size < 3:
        return low
    return max(low, 0.45 * float(np.median(high)))


def find_strokes(
    sheet: FlatSheet,
    paper: FloatArray,
    marked: BoolArray,
    solid: BoolArray,
    outside: BoolArray,
    numbers: npt.NDArray[np.int32] | None = None,
) -> Strokes:
    """Return the backstitches of a flat sheet.

    Parameters
    ----------
    sheet : FlatSheet
    paper : ndarray of shape (rows, cols, 3)
        Density of bare paper.
    marked : ndarray of shape (rows, cols), bool
        Squares with a mark.
    solid : ndarray of shape (rows, cols), bool
        Squares filled up to their sides.
    outside : ndarray of shape (rows, cols), bool
        Squares not in the picture.
    numbers : ndarray of shape (rows, cols), int, optional
        Which kind of mark is in each square, 0 for none.

    Returns
    -------
    strokes : Strokes
        Lines in the order level, upright, falling, rising, each by row and column.
    """
    ink = _ink(sheet, paper)
    rows, cols, side = sheet.rows, sheet.cols, sheet.side
    inked = marked | outside
    # the light may change from square to square in ``paper``, not in the picture
    thin = _thin(_ink(sheet, np.broadcast_to(np.median(paper, axis=(0, 1)), paper.shape)), side)
    level = _level_sides(ink, thin, side, rows, cols, solid, inked)
    upright = _level_sides(
        np.ascontiguousarray(ink.T), np.ascontiguousarray(thin.T), side, cols, rows, solid.T, inked.T
    )
    if numbers is not None:
        level, upright = _without_bars(level, numbers), _without_bars(upright, numbers.T)
    level_over, level_border, upright_over, upright_border, border, usual = _borders(level, upright, outside)
    beside = _beside_fills(level, upright, _UNUSUAL if usual is None else _PART * usual)
    families = ((level_over, level_border, level), (upright_over, upright_border, upright))
    rims = [_at_rims(over, sides) for over, _needed, sides in families]
    shown = (
        (((level_over > level_border) | beside[0]) & ~rims[0][2]) | rims[0][0],
        (((upright_over > upright_border) | beside[1]) & ~rims[1][2]) | rims[1][0],
    )
    printed = _printed_squares(sheet, ink, ~inked, shown)
    slanting, crossed = _across(sheet, ink, border, outside, shown, printed)
    faint = [
        (((over > np.maximum(LEAST, _GOING_ON * needed)) & (over > _GOING_ON_BESIDE * sides.spill)) | rim[1]) & ~rim[2]
        for (over, needed, sides), rim in zip(families, rims, strict=True)
    ]
    on_level, on_upright = _going_on(shown, (faint[0], faint[1]), slanting)
    bridges = [
        (over > np.maximum(_BRIDGE, _GOING_ON_BESIDE * sides.spill)) & ~rim[2]
        for (over, _needed, sides), rim in zip(families, rims, strict=True)
    ]
    on_level, on_upright = _bridged((on_level, on_upright), (bridges[0], bridges[1]), slanting)
    lines = [[[i, j], [i, j + 1]] for i, j in np.argwhere(on_level)]
    lines += [[[i, j], [i + 1, j]] for j, i in np.argwhere(on_upright)]
    weak = [(level_over if r0 == r1 else upright_over.T)[r0, c0] < _ALONE * border for (r0, c0), (r1, c1) in lines]
    spills = [np.where(rim[0], 0.0, sides.spill) for (_over, _needed, sides), rim in zip(families, rims, strict=True)]
    lines = _without_spills(lines, weak, spills[0], spills[1]) + slanting
    return Strokes(np.array(lines, np.float64).reshape(-1, 2, 2), crossed)


def _across(
    sheet: FlatSheet,
    ink: FloatArray,
    border: float,
    outside: BoolArray,
    shown: tuple[BoolArray, BoolArray],
    printed: FloatArray,
) -> tuple[list[list[list[int]]], BoolArray]:
    """Return the strokes across squares, and the squares with one.

    These are the plain ones, and less plain ones that go on from another stroke, such as level and upright ones
    ``shown``.
    """
    clear, likely = [], []
    for falling in (True, False):
        sure, maybe = _diagonals(sheet, ink, falling, border, printed)
        clear.append(sure & ~outside)
        likely.append(maybe & ~outside)
    for _ in range(_LONGEST_FAINT):
        holes = _holes(*shown, _ends(clear))
        clear = [
            clear[0] | (likely[0] & ~clear[1] & (holes[:-1, :-1] | holes[1:, 1:])),
            clear[1] | (likely[1] & ~clear[0] & (holes[1:, :-1] | holes[:-1, 1:])),
        ]
    return _ends(clear), np.asarray(clear[0] | clear[1])


def _ends(across: list[BoolArray]) -> list[list[list[int]]]:
    """Return the holes at the ends of strokes across squares, falling and rising."""
    falling = [[[i, j], [i + 1, j + 1]] for i, j in np.argwhere(across[0]).tolist()]
    return falling + [[[i + 1, j], [i, j + 1]] for i, j in np.argwhere(across[1]).tolist()]


def _going_on(
    shown: tuple[BoolArray, BoolArray], faint: tuple[BoolArray, BoolArray], slanting: list[list[list[int]]]
) -> tuple[BoolArray, BoolArray]:
    """Return level and upright sides with a stroke: those shown, and faint ones that go on from a stroke.

    Marks on both sides hide much of a stroke; that it goes on from hole to hole speaks for it.
    """
    on_level, on_upright = shown
    for _ in range(_LONGEST_FAINT):
        holes = _holes(on_level, on_upright, slanting)
        on_level = on_level | (faint[0] & (holes[:, :-1] | holes[:, 1:]))
        on_upright = on_upright | (faint[1] & (holes[:-1] | holes[1:]).T)
    return on_level, on_upright


def _bridged(
    shown: tuple[BoolArray, BoolArray], faint: tuple[BoolArray, BoolArray], slanting: list[list[list[int]]]
) -> tuple[BoolArray, BoolArray]:
    """Return level and upright sides with a stroke: those shown, and very faint ones with strokes at both ends."""
    holes = _holes(*shown, slanting)
    return shown[0] | (faint[0] & holes[:, :-1] & holes[:, 1:]), shown[1] | (faint[1] & (holes[:-1] & holes[1:]).T)


def _holes(on_level: BoolArray, on_upright: BoolArray, slanting: list[list[list[int]]]) -> BoolArray:
    """Return (rows + 1, cols + 1) the holes at which a stroke ends."""
    holes = np.zeros((on_level.shape[0], on_upright.shape[0]), bool)
    for part in (holes[:, :-1], holes[:, 1:]):
        part |= on_level
    for part in (holes[:-1], holes[1:]):
        part |= on_upright.T
    for ends in slanting:
        for r, c in ends:
            holes[r, c] = True
    return holes


def _borders(
    level: _Level, upright: _Level, outside: BoolArray
) -> tuple[CellFloats, CellFloats, CellFloats, CellFloats, float, float | None]:
    """Return density beyond print and its border, level and upright, and border and usual stroke on bare paper."""
    over, borders = [], []
    for lines, cut in ((level, outside), (upright, outside.T)):
        gone_above, gone_below = _beside(cut)
        gone = gone_above | gone_below
        over.append(np.where(gone, 0.0, _beyond_print(lines)))
    bare = np.concatenate([o[lines.fair] for o, lines in zip(over, (level, upright), strict=True)])
    border = _valley(bare)
    strokes = bare[bare > border]
    usual = float(np.median(strokes)) if strokes.size >= 3 else None
    needed = [np.where(lines.fair, border, 0.0) for lines in (level, upright)]
    # thin marks, a fill on one side, and fills on both sides each have a grain of their own
    for number in range(3):
        here = [lines.known & ~lines.fair & (lines.fills == number) for lines in (level, upright)]
        values = np.concatenate([o[h] for o, h in zip(over, here, strict=True)])
        least = _class_border(values, border, usual, shifted=number > 0)
        for need, h in zip(needed, here, strict=True):
            need[h] = least
    for lines, need in zip((level, upright), needed, strict=True):
        borders.append(np.maximum(need, lines.spill))
    return over[0], borders[0], over[1], borders[1], border, usual


def _beside_fills(level: _Level, upright: _Level, least: float) -> tuple[BoolArray, BoolArray]:
    """Return the level and upright sides beside fills that are darker than the fill, ``least`` more than is usual."""
    out = [np.zeros(lines.value.shape, bool) for lines in (level, upright)]
    # bold printed lines show through ink as well
    peaks = [lines.peak - _bolder(lines)[:, None] for lines in (level, upright)]
    for number in (1, 2):
        here = [lines.known & (lines.fills == number) for lines in (level, upright)]
        values = np.concatenate([peak[h] for peak, h in zip(peaks, here, strict=True)])
        if values.size < _FEW:
            continue
        border = max(LEAST, _clearly_above(values, least))
        for found, peak, h in zip(out, peaks, here, strict=True):
            found |= h & (peak > border)
    return out[0], out[1]


def _at_rims(over: CellFloats, lines: _Level) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Return the sides at the rim of one fill that surely have a stroke, that may have one, and that surely have none.

    A stroke on a fill is darker than the fill and goes on into the bare square; a fill that runs over the line is no
    darker there than elsewhere, but for the printed line that shows through it and stays on the line.
    """
    rim = lines.known & (lines.fills == 1)
    peak = lines.peak - _bolder(lines)[:, None]
    printed = float(np.median(lines.peak[lines.fair])) if lines.fair.any() else 0.0
    likely = rim & (peak > _DARKER) & (over > np.maximum(LEAST, _GOES_OVER * lines.spill))
    return np.asarray(likely & (peak > printed + _A_LITTLE)), likely, np.asarray(rim & (peak < _NOT_DARKER))


def _bolder(lines: _Level) -> CellFloats:
    """Return (rows + 1,) how much darker each printed line is than most, on paper or between fills."""
    usual = _usual(lines)
    return np.asarray(np.maximum(np.maximum(usual - np.median(usual), 0.0), _bolder_on_fills(lines)))


def _bolder_on_fills(lines: _Level) -> CellFloats:
    """Return (rows + 1,) how much darker each printed line is than most between fills, where there are some."""
    full = lines.known & (lines.fills == 2)
    overall = float(np.median(lines.peak[full])) if full.any() else 0.0
    out = np.zeros(lines.value.shape[0])
    for line, here in enumerate(full):
        if here.sum() >= 4:
            out[line] = max(0.0, float(np.median(lines.peak[line, here])) - overall)
    return out


def _clearly_above(values: npt.NDArray[np.float64], least: float = LEAST) -> float:
    """Return what none of the usual values reaches, at least ``least`` above the middle one."""
    middle = float(np.median(values))
    return middle + max(least, 4 * 1.48 * float(np.median(np.abs(values - middle))))


def _class_border(values: npt.NDArray[np.float64], border: float, usual: float | None, shifted: bool) -> float:
    """Return the border for sides beside marks; with ``shifted`` what most of them have is no stroke but the fill."""
    if not shifted or values.size < _FEW:
        return max(border, _valley(values)) if usual is None else _valley(values, usual)
    return max(LEAST, _clearly_above(values, _UNUSUAL if usual is None else _PART * usual))


def _without_spills(
    lines: list[list[list[int]]], weak: list[bool], level_spill: CellFloats, upright_spill: CellFloats
) -> list[list[list[int]]]:
    """Drop single strokes that no other goes on from, if they are weak or lie beside a fill."""
    ends: dict[tuple[int, int], int] = {}
    for line in lines:
        for r, c in line:
            ends[(int(r), int(c))] = ends.get((int(r), int(c)), 0) + 1
    kept = []
    for ((r0, c0), (r1, c1)), faint in zip(lines, weak, strict=True):
        spill = level_spill[r0, c0] if r0 == r1 else upright_spill[c0, r0]
        if (spill == 0 and not faint) or ends[(int(r0), int(c0))] > 1 or ends[(int(r1), int(c1))] > 1:
            kept.append([[r0, c0], [r1, c1]])
    return kept


def _printed_squares(
    sheet: FlatSheet, ink: FloatArray, bare: BoolArray, strokes: tuple[BoolArray, BoolArray]
) -> FloatArray:
    """Return (rows, cols, side, side) the printed lines' own share in each square.

    It is as bare squares have it, where no level or upright ``strokes`` cover the line.
    """
    side, half = sheet.side, sheet.side // 2
    families = []
    for image, free, covered in ((ink, bare, strokes[0]), (ink.T, bare.T, strokes[1])):
        rows, cols = free.shape
        profile = _profile(np.ascontiguousarray(image), side, rows, cols)
        above, below = _beside(free)
        fair = above & below & ~covered
        overall = np.median(profile.transpose(0, 2, 1)[fair], axis=0) if fair.any() else np.zeros(side)
        lines = np.empty((rows + 1, side), np.float32)
        for line in range(rows + 1):
            lines[line] = np.median(profile[line][:, fair[line]], axis=1) if fair[line].sum() >= _FEW else overall
        families.append(np.maximum(lines, 0.0))
    level, upright = families
    # half a square to both sides of each line
    rows_of = np.concatenate([level[:-1, half:], level[1:, :half]], axis=1)
    cols_of = np.concatenate([upright[:-1, half:], upright[1:, :half]], axis=1)
    return np.asarray(np.maximum(rows_of[:, None, :, None], cols_of[None, :, None, :]), dtype=np.float32)


def _diagonals(
    sheet: FlatSheet, ink: FloatArray, falling: bool, border: float, printed: FloatArray
) -> tuple[BoolArray, BoolArray]:
    """Return the squares that a stroke plainly crosses from corner to corner, and those where one may go on."""
    side, half = sheet.side, sheet.side // 2
    core = ink[half : half + sheet.rows * side, half : half + sheet.cols * side]
    squares = core.reshape(sheet.rows, side, sheet.cols, side).transpose(0, 2, 1, 3)
    by_hand = squares - printed
    if not falling:
        squares, by_hand = squares[:, :, :, ::-1], by_hand[:, :, :, ::-1]
    at = np.arange(side)
    apart = (at[None, :] - at[:, None]) / side  # distance across the diagonal, in squares (times sqrt 2)
    inside = (
        (at[:, None] > 0.16 * side) & (at[:, None] < 0.84 * side) & (at[None] > 0.16 * side) & (at[None] < 0.84 * side)
    )
    # in shade paper may be other than thought
    base = np.median(squares[:, :, inside & (np.abs(apart) > 0.34)], axis=2)
    squares, by_hand = squares - base[:, :, None, None], by_hand - base[:, :, None, None]
    width = 0.16
    band = np.where(np.abs(apart) <= width, squares, -1.0).max(axis=3)  # darkest of the band in each row of pixels
    other, near_other = (
        np.where(np.abs(apart) <= part, squares[:, :, :, ::-1], -1.0).max(axis=3) for part in (width, _NARROW)
    )
    between = np.abs(np.abs(at - (side - 1) / 2) / side - 0.22) < 0.08  # half way from the middle to the corners
    usual = 0.5 * np.median(band[:, :, between], axis=2)
    one_sided, rather = (np.median(part[:, :, between], axis=2) < usual for part in (other, near_other))
    ordered = np.sort(band, axis=2)
    unbroken = ordered[:, :, : max(2, side // 7)].mean(axis=2)
    # where the printed lines meet all is dark
    inked = np.where(np.abs(apart) <= width, by_hand, -1.0).max(axis=3)
    ends = np.minimum(inked[:, :, 1 : 2 + side // 10].min(axis=2), inked[:, :, -2 - side // 10 : -1].min(axis=2))
    rest = squares[:, :, inside & (np.abs(apart) > 0.34)]
    dark = np.quantile(rest, 0.9, axis=2)
    body = np.median(band, axis=2)
    through = (ends > 0.5 * body) & (unbroken > 0.5 * body)
    sure = through & one_sided & (unbroken > max(border, _ACROSS)) & (dark < 0.35 * body)
    maybe = through & rather & (unbroken > _FAINT_ACROSS) & (dark < 0.5 * body)
    return np.asarray(sure), np.asarray(maybe)
