"""Which squares carry a mark, and how sure that is.

1. The paper's own density is followed over the sheet square by square (light and shadow first, see `shade`, then the
   lower envelope, smoothed), and taken off.
2. Each square gives one number: the density of the darker part of its inside, away from the printed lines. A thin
   cross, a dot, a hatch and a full fill all have it, bare paper has only its grain.
3. Bare squares lie close together on this number, marks lie well above; see `mark_threshold`.
4. The doubt of a square is how near it lies to that border, on the scale of the two heaps' own spreads, more where
   the grid itself is unsure.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from converter.pixels.blocks import to_blocks
from converter.squares import filters
from converter.squares.density import FloatArray, gray, ink
from converter.squares.mark_threshold import faint_border, find_border, maybe_faint, scale
from converter.squares.patches import FlatSheet
from converter.squares.shade import darkest_near, light_surface, uneven

CellFloats = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
INSET = 0.18
_MIDDLE = 0.32
"""Part of a square left out at each side of its middle."""
_FAR = 1e-3
"""Weight of what wider surroundings say of the paper, against the share of paper near by."""
_WIDE = 21
"""Squares a side of the first wide window that paper is looked for in."""
_THIN = 0.4
"""Strength of what is thin in a mark, as part of the mark's own, unless the marks elsewhere have less."""
_EVEN = 0.2
"""Strength of what is thin, as part of its own, up to which a mark is a fill."""
_FEWEST_FILLS, _FEW_FILLS = 3, 0.02
"""Fills, and share of all marks, from which there are fills on the sheet."""
_LIKE_FILLS = 0.4
"""Strength of a fill in the edge of a shadow, as part of that of pale fills elsewhere."""
_NO_SHADE = 1.5
"""Strength, as part of the border, from which there is ink in the edge of a shadow that is not as deep."""
_BARE = 0.6
"""Strength, as part of the border, that a square in the edge of a shadow without ink is given at most."""
_COLOUR = 0.1
"""Density of one channel above the others, beyond that of usual paper, from which it is ink."""
_OUTER = 0.38
"""Part of a square that something darker beside it may darken."""
_DARKER_BESIDE = 2.0
"""How many times darker that is."""
_WEAK, _BARE_INSIDE = 2.0, 0.5
"""Strength up to which such a square may be bare, and that of its inner part up to which it is, in borders."""


@dataclass(frozen=True)
class Marking:
    """Squares with their marks."""

    marked: BoolArray
    doubt: CellFloats
    strength: CellFloats
    """Density of the darker part of the inside above the paper."""
    border: float
    paper: FloatArray
    """(rows, cols, 3) density of bare paper."""
    edge: BoolArray
    """Near the edge of a shadow."""
    rise: FloatArray
    """How much darker the shade gets beside each square, in density; above nothing only where its edge may cross it."""

    def part(self, rows: slice, cols: slice) -> Marking:
        """Return some rows and columns."""
        here = np.s_[rows, cols]
        return Marking(
            self.marked[here], self.doubt[here], self.strength[here], self.border, self.paper[here], self.edge[here],
            self.rise[here],
        )  # fmt: skip


def inner(sheet: FlatSheet, inset: float = INSET) -> FloatArray:
    """Return the insides of the squares (rows, cols, n, n, 3)."""
    return _without_rim(sheet.squares, inset)


def _without_rim(squares: FloatArray, inset: float) -> FloatArray:
    cut = max(1, round(squares.shape[2] * inset))
    return squares[:, :, cut:-cut, cut:-cut]


def paper_level(sheet: FlatSheet, insides: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return the density of bare paper at each square, (rows, cols, 3), how much darker part of it may be, and where.

    The second number is above nothing only where the edge of a shadow may cross a square; the third tells squares near
    such an edge.
    """
    rows, cols = insides.shape[:2]
    flat = insides.reshape(rows, cols, -1, 3)
    at = round(0.2 * flat.shape[2])
    low = np.partition(flat, at, axis=2)[:, :, at].astype(np.float32)
    tone = gray(insides)
    flat_squares = _flat(tone)
    # light may rise evenly over a square
    light = light_surface(sheet, low, flat_squares | _flat(_without_slope(tone)))
    low = low - light[..., None]
    tones = gray(low)
    size = 9
    envelope = filters.quantile_near(tones, 0.15, size)
    envelope = np.minimum(envelope, _wide_envelope(tones))
    near = np.exp(-((np.maximum(tones - envelope, 0) / 0.04) ** 2))
    paper = np.empty_like(low)
    for channel in range(3):
        # far inside a fill there is no paper near by: what is known farther off holds
        value = np.full(tones.shape, float((near * low[..., channel]).sum() / near.sum()))
        for reach in (24.0, 8.0, 3.0, 1.2):
            known = filters.gaussian(near, reach, edge=True) + _FAR
            value = (filters.gaussian(near * low[..., channel], reach, edge=True) + _FAR * value) / known
        paper[..., channel] = value
    rise = np.where(flat_squares, 0.0, darkest_near(light))
    levels = np.asarray(paper + (light + rise)[..., None], dtype=np.float32)
    return levels, np.asarray(rise, dtype=np.float32), (rise > 0) | uneven(light)


def _flat(insides: FloatArray) -> BoolArray:
    """Return which of the squares (rows, cols, n, n) are of one density throughout, but for grain."""
    tone = np.sort(insides.reshape(*insides.shape[:2], -1), axis=2)
    spread = tone[:, :, tone.shape[2] * 4 // 5] - tone[:, :, tone.shape[2] // 5]
    return np.asarray(spread < 2.5 * float(np.quantile(spread, 0.3)) + 0.01)


def _without_slope(insides: FloatArray) -> FloatArray:
    """Return (rows, cols, n, n) less the slope of the plane through each."""
    at = np.arange(insides.shape[2], dtype=np.float32) - (insides.shape[2] - 1) / 2
    scale = float((at**2).sum())
    down = insides.mean(axis=3) @ at / scale
    right = insides.mean(axis=2) @ at / scale
    return np.asarray(insides - down[..., None, None] * at[:, None] - right[..., None, None] * at, dtype=np.float32)


def _wide_envelope(gray: FloatArray) -> FloatArray:
    """Return how dark paper can be at each square, judged by ever wider surroundings.

    A filled area may be wider than any window, so the windows double until they cover the sheet. Once the light is
    taken off, paper changes little over the sheet; the wider the window, the more it may.
    """
    least: FloatArray = filters.quantile_near(gray, 0.08, _WIDE) + np.float32(0.05)
    every, slack = 2, 0.08
    while max(gray.shape) > _WIDE * every // 2:
        coarse = filters.quantile_near(np.ascontiguousarray(gray[::every, ::every]), 0.08, _WIDE)
        spread = to_blocks(coarse, every)[: gray.shape[0], : gray.shape[1]]
        least = np.minimum(least, spread + np.float32(slack))
        every, slack = every * 2, slack + 0.03
    return least


def strength(insides: FloatArray, paper: FloatArray) -> CellFloats:
    """Return the density above paper of the darker part of each square's inside."""
    return _darker_part(ink(insides - paper[:, :, None, None, :]))


def _darker_part(insides: FloatArray) -> CellFloats:
    """Return the mean (rows, cols) of the darker part of (rows, cols, n, n)."""
    flat = insides.reshape(*insides.shape[:2], -1)
    count = flat.shape[2]
    top = max(1, round(count * 0.22))
    part = np.partition(flat, count - top, axis=2)[:, :, count - top :]
    return np.asarray(part.mean(axis=2), dtype=np.float64)


def thin_strength(sheet: FlatSheet) -> CellFloats:
    """Return the strength of what is thin in each square: its density above that of its surroundings on both sides."""
    tone = cv2.GaussianBlur(ink(sheet.dense), (0, 0), 0.06 * sheet.side)
    kernel = np.ones((2 * round(sheet.side * 0.17) + 1,) * 2, np.uint8)
    thin = tone - cv2.morphologyEx(tone, cv2.MORPH_OPEN, kernel)
    return _darker_part(_without_rim(sheet.cut(thin), INSET + 0.04))


def _spilt_into(sheet: FlatSheet, paper: FloatArray, value: CellFloats, border: float) -> BoolArray:
    """Return the weakly marked squares that are dark only beside something darker: they hold no mark.

    A table beyond the edge of the sheet, or a stroke along it, darkens the outer part of a square, and a fill beside
    where the grid lies a little off; a mark is made in the middle.
    """
    out = np.zeros(value.shape, bool)
    near, far = max(1, round(sheet.side * INSET)), round(sheet.side * _OUTER)
    every, low, high = slice(near, -near), slice(far, -near), slice(near, -far)
    weak = (value > border) & (value < _WEAK * border)
    around = np.pad(value, 1, constant_values=np.inf)
    for beside, part in (
        (around[:-2, 1:-1], (low, every)), (around[2:, 1:-1], (high, every)),
        (around[1:-1, :-2], (every, low)), (around[1:-1, 2:], (every, high)),
    ):  # fmt: skip
        here = weak & (beside > _DARKER_BESIDE * value)
        if here.any():
            rest = sheet.squares[here][None, :, part[0], part[1]]
            out[here] |= strength(rest, paper[here][None])[0] < _BARE_INSIDE * border
    return out


def _thin_above(sheet: FlatSheet, value: CellFloats) -> CellFloats:
    """Return the strength of what is thin in each square above that in the usual bare one."""
    thin = thin_strength(sheet)
    return np.asarray(thin - float(np.median(thin[value <= np.median(value)])))


def _near_shadow(value: CellFloats, thin: CellFloats, known: BoolArray, border: float, rise: FloatArray) -> CellFloats:
    """Return strengths that an edge of shadow has no part in.

    What is ``thin`` in a square is ink, whatever the shade. Without anything thin it is a fill, if there are fills
    elsewhere and it is about as dark as they are, or bare. ``rise`` is how much darker the shade gets beside each
    square: what is darker still by as much again, no shade makes.
    """
    marks = known & (value > border)
    part = _THIN
    if marks.sum() >= _FEWEST_FILLS:
        part = float(np.clip(np.quantile(thin[marks] / value[marks], 0.25), _EVEN, _THIN))
    even = marks & (thin < _EVEN * value)
    by_itself = np.minimum(value, _BARE * border)
    if even.sum() >= max(_FEWEST_FILLS, _FEW_FILLS * marks.sum()):
        by_itself = np.where(value > _LIKE_FILLS * float(np.quantile(value[even], 0.1)), value, by_itself)
    by_itself = np.where(value > np.maximum(_NO_SHADE * border, filters.highest(rise, 5)), value, by_itself)
    return np.asarray(np.maximum(by_itself, thin / part))


def _coloured(insides: FloatArray, paper: FloatArray, value: CellFloats) -> CellFloats:
    """Return the strength of the ink that each square has at least, by its colour: a shadow has none."""
    above = insides - paper[:, :, None, None, :]
    hue = _darker_part(ink(above - above.min(axis=-1, keepdims=True)))
    hue = hue - float(np.median(hue[value <= np.median(value)]))
    return np.asarray(np.where(hue > _COLOUR, hue, -np.inf))


def find_marks(sheet: FlatSheet, outside: BoolArray | None = None) -> Marking:
    """Return which squares are marked; ``outside`` are squares not in the picture."""
    insides = inner(sheet)
    paper, rise, edge = paper_level(sheet, insides)
    value = strength(insides, paper)
    known = ~edge if outside is None else ~edge & ~outside
    if not known.any():
        known = np.ones_like(known)
    border, bare = find_border(value[known])
    maybe = maybe_faint(value[known], strength(inner(sheet, _MIDDLE), paper)[known], border)
    if maybe.any():
        border = faint_border(value[known], _thin_above(sheet, value)[known], maybe, border)
    if edge.any():
        by_shade = _near_shadow(value, _thin_above(sheet, value), known, border, rise)
        shaded = np.maximum(by_shade, _coloured(insides, paper, value))
        value = np.where(edge, shaded, value)
    spilt = _spilt_into(sheet, paper, value, border)
    value = np.where(spilt, np.minimum(value, _BARE * border), value)
    marked = value > border
    above = scale(value) - scale(np.array(border))
    high = max(0.2, float(np.median(above[marked]))) if marked.any() else 1.0
    low = max(0.2, float(scale(np.array(border)) - scale(np.array(bare))))
    part = np.where(above >= 0, above / high, -above / low)
    doubt = np.exp(-((np.maximum(part, 0) / 0.35) ** 1.5))
    # what would be a mark but for a shadow
    doubt = np.where(~marked & edge & (strength(insides, paper - rise[..., None]) > border),
                     np.maximum(doubt, 0.25), doubt)  # fmt: skip
    doubt = np.where(spilt, np.maximum(doubt, 0.25), doubt)
    if outside is not None:
        marked = marked & ~outside
        # a square cut off by the picture's edge matters where the motif comes near it
        doubt = np.where(outside, np.where(filters.widened(marked), 0.5, 0.1), doubt)
    return Marking(marked, np.asarray(np.clip(doubt, 0, 1)), value, border, paper, edge, rise)


def filled(sheet: FlatSheet, marking: Marking) -> BoolArray:
    """Return the marked squares whose ink reaches their sides all along: full fills."""
    cut = max(1, round(sheet.side * 0.12))
    insides = sheet.squares[:, :, cut:-cut, cut:-cut]
    above = gray(insides - marking.paper[:, :, None, None, :])
    low = np.quantile(above.reshape(*above.shape[:2], -1), 0.15, axis=2)
    return np.asarray(marking.marked & (low > 0.35 * np.maximum(marking.strength, 1e-6)) & (low > 0.05))


def paper_evenness(sheet: FlatSheet, marking: Marking, outside: BoolArray) -> tuple[float, float, float]:
    """Return how unlike paper the bare squares are, three times.

    The first number is how much the usual bare square varies over its inside, as part of the printed line's height:
    threads and bricks bulge, paper does not. The second is how much the colour of the bare squares varies over the
    sheet, in density of one channel against the others: paper has one colour, whatever the light. The third is the
    usual step in density from a bare square to the next: light changes slowly over paper, each tile has its own tone.
    """
    bare = ~marking.marked & ~outside
    if bare.sum() < 6:
        return 0.0, 0.0, 0.0
    tone = sheet.gray_squares
    side = sheet.side
    mean = np.median(tone[bare] - np.median(tone[bare], axis=(1, 2), keepdims=True), axis=0)
    cut = round(side * 0.25)
    inside = mean[cut:-cut, cut:-cut]
    rim = np.concatenate([mean[[0, -1]].ravel(), mean[:, [0, -1]].ravel()])
    height = max(float(np.median(rim) - np.median(inside)), 0.01)
    swing = float(inside.mean(axis=0).max() - inside.mean(axis=0).min())
    swing = max(swing, float(inside.mean(axis=1).max() - inside.mean(axis=1).min()))
    levels = np.median(sheet.squares[:, :, cut:-cut, cut:-cut], axis=(2, 3))
    hue = levels[bare] - levels[bare].mean(axis=1, keepdims=True)
    spread = np.quantile(hue, 0.95, axis=0) - np.quantile(hue, 0.05, axis=0)
    tones = np.where(bare, levels.mean(axis=2), np.nan)
    steps = np.abs(np.concatenate([np.diff(tones, axis=0).ravel(), np.diff(tones, axis=1).ravel()]))
    steps = steps[np.isfinite(steps)]
    return swing / height, float(spread.max()), float(np.median(steps)) if len(steps) else 0.0


def weave(sheet: FlatSheet, marking: Marking, outside: BoolArray) -> float:
    """Return how much the bare squares alternate as those of a plain weave do; 0 for paper, above 1 for cloth.

    In a plain weave the upright thread lies on top in every other square and bulges across, the level thread in those
    between. So the rim beside the middle is darker at the sides in the one and above and below in the other. The mean
    of that over the squares of either colour of a draughts board differs, by as much of its standard deviation as
    returned; printed lines know no draughts board.
    """
    bare = ~marking.marked & ~outside
    tone = sheet.gray_squares
    low, high = round(0.15 * sheet.side), round(0.35 * sheet.side)
    middle = slice(high, sheet.side - high)
    beside = tone[:, :, middle, low:high].mean(axis=(2, 3)) + tone[:, :, middle, -high:-low].mean(axis=(2, 3))
    above = tone[:, :, low:high, middle].mean(axis=(2, 3)) + tone[:, :, -high:-low, middle].mean(axis=(2, 3))
    lean = beside - above
    even = (np.add.outer(np.arange(sheet.rows), np.arange(sheet.cols)) % 2 == 0) & bare
    odd = bare & ~even
    if min(int(even.sum()), int(odd.sum())) < 12:
        return 0.0
    apart = abs(float(np.median(lean[even])) - float(np.median(lean[odd])))
    return apart / max(1e-6, float(lean[even].std() + lean[odd].std()) / 2)
