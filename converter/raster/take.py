"""The picture at working size: coarse first for the box of the ink, then fine inside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from converter.errors import RequestError
from converter.model.arrays import GrayArray, MaskArray
from converter.model.phrase import Phrase, sentences
from converter.raster.axis import Axis, find_diagonals, find_straights
from converter.raster.deskew import find_tilt, turn_back
from converter.raster.edges import is_even
from converter.raster.grid import Bounds, Grid, find_phase, lay_plain
from converter.raster.kind import Kind, line_or_shape, tell_kind, toning
from converter.raster.light import SOFTNESS, Ink, find_ink
from converter.raster.midtone import MiddleTones, find_middle_tones
from converter.raster.mirror import Symmetry
from converter.raster.photo import cut_subject, tone_mask
from converter.raster.prepare import Prepared
from converter.raster.rims import find_rims
from converter.raster.silhouette import find_silhouette
from converter.raster.strokes import EVEN_WIDTHS, LEAN, SINGLE_WIDTHS
from converter.raster.threshold import threshold_otsu
from converter.settings import ChartSettings

PIXELS_A_STITCH = 12
MOST_PIXELS_A_STITCH = 30
COARSE = 700
COARSE_PHOTO = 400
"""Pixels of the copies on which drawings and photographs are looked at first."""
COARSE_PALE, PALE_PIXELS = 350, 4
"""Pixels of the copy on which pale parts are looked for, and at least so many to a stitch."""
LEAST_DEPTH = 0.3
"""Depth (see `light.Ink`) from which on a part of the coarse copy's ink is missed at working size."""
LIGHTER = 0.12
"""Of full brightness; see `_is_light_on_dark`."""
CLEARLY = 0.02
"""Stitches by which an edge must lie on the drawn side of where it would be lost."""
MOST_PIXELS_TURNED = 60_000_000
AS_ASKED = {
    "line": Phrase("Taken for a line drawing, as asked."),
    "shape": Phrase("Taken for solid shapes, as asked."),
    "photo": Phrase("Taken for a photograph, as asked."),
}
PALER = Phrase("Paler areas are bare; their edges are drawn as lines.")

BLANK = (
    "The picture is blank: it has no dark parts that could become stitches.",
    "Choose another picture or another crop.",
)

MOST_PIXELS_WORKED = 2_500_000
LEAST_LIGHT = 0.01
CLEARLY_TWO = 0.88
"""Share of light ink and its `kind.toning`, for a picture with a dark ground to be a drawing in light on dark."""
MOST_SOFTENED = 16.0
"""Edges of an enlarged picture are looked for as soft as the enlargement makes them, up to this many times."""


@dataclass(frozen=True, eq=False)
class Work:
    """The picture at working size: ink and where it lies."""

    depth: npt.NDArray[np.float32]
    """0 = paper, 1 = ink."""
    ink: MaskArray
    pixels: int
    """About so many to a stitch."""
    box: Bounds
    """Of the ink (or of the whole picture if nothing is to be trimmed), pixels of the working picture."""
    to_standing: npt.NDArray[np.float64]
    """(3, 3), working (row, col, 1) to standing picture."""
    kind: Kind
    keep: MaskArray | None = None
    """Marks on the working picture: kept in full detail."""
    inverted: bool = False
    """Light was drawn on dark, and is taken the other way round."""


@dataclass(frozen=True, eq=False)
class Look:
    """What the coarse copy tells."""

    kind: Kind
    scale: float
    """Pixels of the coarse copy to a pixel of the standing picture."""
    mask: MaskArray
    """(h, w) of the coarse copy: ink, or the tonal shapes of a photograph."""
    inside: MaskArray | None
    """(h, w): the subject of a photograph."""
    inverted: bool
    tilt: float
    """Degrees, see `deskew.find_tilt`; ``mask`` is straight already."""
    rims: MaskArray | None = None
    """(h, w) of the coarse copy: edges of pale areas."""
    softness: float = SOFTNESS[0]
    """The smoothing that the grain of the paper needs, see `light.Ink`."""
    limits: GrayArray | None = None
    """(h, w): how bright ink may be, see `midtone.MiddleTones`."""


def look_at(ready: Prepared, settings: ChartSettings) -> Look:
    """Tell the kind of picture and where its ink lies, on a copy of at most `COARSE` pixels."""
    wanted = settings.reduction
    scale = min(1.0, COARSE / max(ready.gray.shape))
    coarse = _resize(ready.gray, scale)
    stitches = max(ready.columns or 0, ready.rows or 0)
    pixels = max(6.0, min(12.0, COARSE / stitches))
    light_on_dark = False
    if wanted.kind == "auto":
        tiny = _resize_float(coarse, min(1.0, 400 / max(coarse.shape)))
        ink = find_ink(tiny, 8.0, mend_grain=False)
        if ink is None or not ink.mask.any():
            # A dot or a hairline may be too little to be seen on the small copy.
            tiny, ink = coarse, find_ink(coarse, pixels, mend_grain=False)
        kind = tell_kind(ink, tiny)
        if kind.name == "photo" and ink is not None and not settings.picture.invert and _is_dark_ground(ink.mask):
            light = find_ink(1 - tiny, 8.0, mend_grain=False)
            if light is not None and float(light.mask.mean()) > LEAST_LIGHT and toning(light)[0] < CLEARLY_TWO:
                kind, light_on_dark = line_or_shape(light.mask), True
    else:
        kind = Kind(wanted.kind, AS_ASKED[wanted.kind])
    if kind.name == "photo":
        for side in (COARSE_PHOTO, COARSE):
            found = _look_at_photo(ready, settings, kind, coarse, side)
            if found is not None:
                return found
        ink = find_ink(coarse, pixels, wanted.dark)
        if ink is None or not ink.mask.any() or wanted.kind != "auto":
            raise RequestError(*BLANK)
        return Look(line_or_shape(ink.mask), scale, ink.mask, None, False, 0.0)
    inverted = False
    ink = find_ink(coarse, pixels, wanted.dark)
    if light_on_dark or (ink is not None and not settings.picture.invert and _is_dark_ground(ink.mask)):
        inverted = True
        coarse = 1 - coarse
        ink = find_ink(coarse, pixels, wanted.dark)
        if wanted.kind == "auto" and ink is not None:
            kind = line_or_shape(ink.mask)
        kind = Kind(kind.name, sentences(kind.reason, Phrase("It is light on dark, so the light parts are stitched.")))
    limits = rims = None
    if ink is not None and not inverted and wanted.dark <= 0 and not ink.grainy:
        middle = _find_middle_tones(ready, coarse, ink, pixels)
        if middle is not None:
            limits, rims = middle.limits, middle.lines
            ink = replace(ink, mask=ink.mask & (coarse <= limits))
            if wanted.kind == "auto":
                kind = line_or_shape(ink.mask | rims)
    if ink is not None:
        drawn = ink if rims is None else replace(ink, mask=ink.mask | rims)
        pale = _find_pale(ready, coarse, drawn, inverted)
        rims = rims if pale is None else pale if rims is None else rims | pale
    tilt = 0.0
    if wanted.deskew and not ready.symmetries and ready.gray.size <= MOST_PIXELS_TURNED:
        tilt = find_tilt(coarse)
    if tilt != 0:
        straight = turn_back(coarse, tilt)[0]
        ink = find_ink(straight, pixels, wanted.dark, softness=ink.softness if ink else SOFTNESS[0])
        if ink is not None and limits is not None:
            limits = turn_back(limits, tilt)[0]
            ink = replace(ink, mask=ink.mask & (straight <= limits))
        askew = Phrase("It was {tilt} degrees askew and has been straightened.", tilt=f"{abs(tilt):.1f}")
        kind = Kind(kind.name, sentences(kind.reason, askew))
        rims = None if rims is None else _laid_on(rims, rims.shape, tilt)
    if ink is None:
        raise RequestError(*BLANK)
    if rims is not None:
        kind = Kind(kind.name, sentences(kind.reason, PALER))
        return Look(kind, scale, ink.mask | rims, None, inverted, tilt, rims, ink.softness, limits)
    return Look(kind, scale, ink.mask, None, inverted, tilt, None, ink.softness)


def _find_middle_tones(ready: Prepared, coarse: GrayArray, ink: Ink, pixels: float) -> MiddleTones | None:
    """Return the areas of middle tone of a coarse copy on which something darker is drawn."""
    scale = _pale_scale(ready, ink.mask)
    small = _resize_float(coarse, scale)
    picture = ready.gray if ready.colour is None else ready.colour
    picture = np.asarray(cv2.resize(picture, small.shape[::-1], interpolation=cv2.INTER_AREA), dtype=np.uint8)
    if not is_even(picture):
        return None
    found = find_middle_tones(picture, small, _laid_on(ink.mask, small.shape, 0.0), pixels * scale)
    if found is None:
        return None
    limits = cv2.resize(found.limits, coarse.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return MiddleTones(np.asarray(limits, dtype=np.float32), _laid_on(found.lines, coarse.shape, 0.0))


def _look_at_photo(ready: Prepared, settings: ChartSettings, kind: Kind, coarse: GrayArray, side: int) -> Look | None:
    """Return where the tones of a photograph lie, or None if it has none."""
    wanted = settings.reduction
    less = min(1.0, side / max(coarse.shape))
    small = _resize_float(coarse, less)
    scale = min(1.0, side / max(ready.gray.shape))
    colour = ready.gray if ready.colour is None else ready.colour
    inside = cut_subject(colour, (small.shape[0], small.shape[1]), ready.subject)
    pixels = max(3.0, side / max(ready.columns or 0, ready.rows or 0))

    def tones(gray: GrayArray) -> MaskArray:
        return tone_mask(gray, pixels, wanted.dark, wanted.detail, wanted.tidy, inside)

    mask, inverted = tones(small), False
    if inside is None and not settings.picture.invert and _is_dark_ground(mask, 0.7):
        inverted = True
        mask = tones(1 - small)
        kind = Kind(kind.name, sentences(kind.reason, Phrase("Its ground is dark, so the light parts are stitched.")))
    if inside is not None and not settings.picture.invert and _is_light_on_dark(small, inside):
        inverted = True
        mask = tones(1 - small)
        light = Phrase("The subject is lighter than what lies round it, so its light parts are stitched.")
        kind = Kind(kind.name, sentences(kind.reason, light))
    if float(np.ptp(coarse)) < 0.04 or not mask.any():
        return None
    outline = None if inverted else _find_outline(ready, mask)
    if outline is None:
        return Look(kind, scale, mask, inside, inverted, 0.0)
    kind = Kind(kind.name, sentences(kind.reason, PALER))
    return Look(kind, scale, mask | outline, inside, inverted, 0.0, outline)


def _find_pale(ready: Prepared, coarse: GrayArray, ink: Ink, inverted: bool) -> MaskArray | None:
    """Return the edges of what is too pale for ink, on the coarse copy, or None if there are none."""
    rims = find_rims(coarse, ink)
    outline = None if inverted else _find_outline(ready, ink.mask, not ink.grainy)
    return rims if outline is None else outline if rims is None else rims | outline


def _find_outline(ready: Prepared, mask: MaskArray, fields: bool = False) -> MaskArray | None:
    """Return the outline of what is drawn where the mask of a coarse copy does not show it, see `find_silhouette`."""
    picture = ready.gray if ready.colour is None else ready.colour
    scale = _pale_scale(ready, mask)
    size = (max(1, round(mask.shape[1] * scale)), max(1, round(mask.shape[0] * scale)))
    small = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    outline = find_silhouette(small, _laid_on(mask, size[::-1], 0.0), max(ready.columns or 0, ready.rows or 0), fields)
    return None if outline is None else _laid_on(outline, mask.shape, 0.0)


def _pale_scale(ready: Prepared, mask: MaskArray) -> float:
    """Return the size of the copy on which pale parts are looked for, as a share of the coarse copy's."""
    return float(min(1.0, max(COARSE_PALE, PALE_PIXELS * max(ready.columns or 0, ready.rows or 0)) / max(mask.shape)))


def _is_light_on_dark(gray: GrayArray, inside: MaskArray) -> bool:
    """Return whether a subject would lose its outline if its dark parts were stitched: it is far lighter than its rim.

    Both sides are taken a few pixels from the edge, where neither has a part of the other.
    """
    reach = max(3, min(gray.shape) // 20) | 1
    foot = np.ones((reach, reach), np.uint8)
    body = inside.view(np.uint8)
    core, wide = cv2.erode(body, np.ones((3, 3), np.uint8)), cv2.dilate(body, np.ones((3, 3), np.uint8))
    within = (core > 0) & (cv2.erode(body, foot) == 0)
    beyond = (wide == 0) & (cv2.dilate(body, foot) > 0)
    if not within.any() or not beyond.any():
        return False
    return float(gray[within].mean()) > float(gray[beyond].mean()) + LIGHTER


def _is_dark_ground(mask: MaskArray, rim_share: float = 0.9) -> bool:
    """Return whether the picture's rim is ink nearly all round and most of the picture is ink."""
    in_row, in_col = min(2, (mask.shape[0] - 1) // 2), min(2, (mask.shape[1] - 1) // 2)
    rim = np.concatenate([mask[in_row], mask[-1 - in_row], mask[:, in_col], mask[:, -1 - in_col]])
    return float(rim.mean()) > rim_share and float(mask.mean()) > 0.55


def take_up(ready: Prepared, settings: ChartSettings) -> Work:
    """Find the ink at a size that suits the width: coarse first for the box, then fine inside it."""
    height, width = ready.gray.shape
    trim = settings.picture.trim
    wanted = settings.reduction
    look = look_at(ready, settings)
    if trim:
        shown = look.mask
        if ready.clear is not None:
            shown = shown & ~_laid_on(ready.clear, look.mask.shape, look.tilt)
        top, left, bottom, right = (v / look.scale for v in find_box(shown))
    else:
        top, left, bottom, right = 0.0, 0.0, float(height), float(width)
    plain = lay_plain((top, left, bottom, right), ready.columns, ready.rows)
    longest = max(plain.rows, plain.columns)
    pixels = pixels_for(longest)
    if look.kind.name == "photo":
        pixels = 8
    scale = pixels / plain.cell
    rim = 2 * plain.cell + 2 / look.scale if trim else 0.0
    first_row, first_col = max(0, int(top - rim)), max(0, int(left - rim))
    last_row, last_col = min(height, int(np.ceil(bottom + rim))), min(width, int(np.ceil(right + rim)))
    if (last_row - first_row) * (last_col - first_col) * scale**2 > MOST_PIXELS_WORKED:
        # A few picture pixels spread over many stitches: fewer working pixels a stitch lose nothing.
        pixels = min(pixels, 8)
        while (
            pixels > 4
            and (last_row - first_row) * (last_col - first_col) * (pixels / plain.cell) ** 2 > MOST_PIXELS_WORKED * 4
        ):
            pixels -= 2
        scale = pixels / plain.cell
        if (last_row - first_row) * (last_col - first_col) * scale**2 > MOST_PIXELS_TURNED:
            raise RequestError(
                f"The drawing is only {right - left:.0f} x {bottom - top:.0f} pixels, too few for so many stitches.",
                "Use a larger picture, or ask for fewer stitches.",
            )
    place = (slice(first_row, last_row), slice(first_col, last_col))

    coarse_place = tuple(
        slice(int(first * look.scale), max(1, int(last * look.scale)))
        for first, last in ((first_row, last_row), (first_col, last_col))
    )

    def bring(mask: MaskArray | None, shape: tuple[int, ...]) -> MaskArray | None:
        """Return marks on the standing picture as marks on the working picture."""
        if mask is None:
            return None
        if look.tilt == 0:
            return _laid_on(mask[place], shape, 0.0)
        whole = _laid_on(mask, turned.shape, look.tilt)
        return whole[cut]

    coarse_ink = look.mask if look.rims is None else look.mask & ~look.rims

    def bring_coarse() -> MaskArray:
        """Return the middles of the ink of the coarse copy as marks on the working picture."""
        body = cv2.erode(coarse_ink.view(np.uint8), np.ones((5, 5), np.uint8))
        return _laid_on(body[coarse_place] > 0, gray.shape, 0.0)

    def bring_coarse_smoothly() -> MaskArray:
        shares = coarse_ink[coarse_place].astype(np.float32)
        return np.asarray(cv2.resize(shares, gray.shape[::-1], interpolation=cv2.INTER_LINEAR) >= 0.5)

    if look.tilt == 0:
        gray = _resize(ready.gray[place], scale)
        to_standing = np.array([[1 / scale, 0, first_row], [0, 1 / scale, first_col], [0, 0, 1.0]])
    else:
        turned, back = turn_back(_resize(ready.gray, scale), look.tilt)
        cut = (
            slice(int(first_row * scale), int(np.ceil(last_row * scale))),
            slice(int(first_col * scale), int(np.ceil(last_col * scale))),
        )
        gray = np.ascontiguousarray(turned[cut])
        shift = np.array([[1.0, 0, cut[0].start], [0, 1, cut[1].start], [0, 0, 1]])
        to_standing = np.diag([1 / scale, 1 / scale, 1.0]) @ back @ shift
    if look.inverted:
        gray = 1 - gray
    keep = bring(ready.keep, gray.shape)
    if look.kind.name == "photo":
        inside = None
        if look.inside is not None:
            whole = cv2.resize(look.inside.view(np.uint8), (width, height), interpolation=cv2.INTER_LINEAR)
            inside = bring(np.asarray(whole > 0), gray.shape)
        ink = tone_mask(gray, pixels, wanted.dark, wanted.detail, wanted.tidy, inside)
        if keep is not None:
            ink = np.where(keep, tone_mask(gray, pixels, wanted.dark, 100.0, 0.0, None), ink)
        depth = 1 - gray if inside is None else np.where(inside, 1 - gray, np.float32(0))
    else:
        judge = scale < 1 or look.scale < 1
        enlarged = min(scale, MOST_SOFTENED)
        found = find_ink(gray, pixels, wanted.dark, enlarged, softness=look.softness, judge_grain=judge)
        for coarser in (2.0, 4.0):
            if found is not None and _keeps_body(found.mask, bring_coarse()):
                break
            found = find_ink(gray, pixels, wanted.dark, min(max(1.0, scale), MOST_SOFTENED) * coarser)
        if found is None:
            # The coarse copy had ink: too fine a pattern to tell from noise here.
            levels = np.rint(gray * 255).astype(np.uint8)
            ink, depth = levels <= threshold_otsu(levels), 1 - gray
        else:
            ink, depth = _with_lost_parts(found, bring_coarse(), bring_coarse_smoothly), found.depth
    if look.limits is not None:
        limits = cv2.resize(look.limits[coarse_place], gray.shape[::-1], interpolation=cv2.INTER_NEAREST)
        ink = ink & (gray <= limits)
    if look.rims is not None:
        shares = cv2.resize(
            look.rims[coarse_place].astype(np.float32), gray.shape[::-1], interpolation=cv2.INTER_LINEAR
        )
        rims = shares >= 0.5
        ink = ink | rims
        if look.kind.name == "photo":
            # It is judged by its tones, and the lines are part of what is to be seen.
            depth = np.where(rims, np.float32(1), depth)
    clear = bring(ready.clear, gray.shape)
    if clear is not None:
        ink = ink & ~clear
    box: Bounds = find_box(ink) if trim else (0.0, 0.0, float(ink.shape[0]), float(ink.shape[1]))
    return Work(depth, ink, pixels, box, to_standing, look.kind, keep, look.inverted)


def _keeps_body(ink: MaskArray, body: MaskArray) -> bool:
    """Return whether ink that the coarse copy is sure of is ink at working size too."""
    total = int(body.sum())
    return total < 50 or int((body & ink).sum()) > 0.7 * total


def _with_lost_parts(found: Ink, body: MaskArray, whole: Callable[[], MaskArray]) -> MaskArray:
    """Return ink with those parts of the coarse copy's ink of whose middle most is missing.

    Parameters
    ----------
    found : Ink
        At working size.
    body : ndarray of shape (H, W), bool
        The middles of the coarse copy's ink.
    whole : callable
        Gives all of the coarse copy's ink at working size; asked for only if something is missing.
    """
    if _keeps_body(found.mask, body):
        return found.mask
    _, labels = cv2.connectedComponents(whole().view(np.uint8), connectivity=8)
    size = int(labels.max()) + 1
    missing = labels[body & ~found.mask]
    count = np.bincount(missing, minlength=size)
    # What is as bright as paper was taken for ink by mistake.
    dark = np.bincount(missing, found.depth[body & ~found.mask], size) > LEAST_DEPTH * count
    lost = dark & (2 * count > np.bincount(labels[body], minlength=size))
    lost[0] = False
    return np.asarray(found.mask | lost[labels])


def pixels_for(longest: int) -> int:
    """Return the pixels a stitch to work at, an even number, for so many stitches on the longer side."""
    if longest <= 80:
        return int(np.clip(2 * round(240 / longest), PIXELS_A_STITCH, MOST_PIXELS_A_STITCH))
    return 10 if longest <= 100 else 8


def _laid_on(mask: MaskArray, shape: tuple[int, ...], tilt: float) -> MaskArray:
    """Return marks resampled to a shape, and straightened."""
    small = cv2.resize(mask.view(np.uint8), (shape[1], shape[0]), interpolation=cv2.INTER_NEAREST)
    if tilt == 0:
        return np.asarray(small > 0)
    return np.asarray(turn_back(np.asarray(small, dtype=np.float32), tilt)[0] > 0.5)


def _resize(gray: npt.NDArray[np.uint8], scale: float) -> GrayArray:
    """Return the picture at exactly ``scale``, so that cells stay square whatever the rounded size."""
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    if min(gray.shape) * scale < 1:
        scale = 1 / min(gray.shape)
    out = cv2.resize(gray, None, fx=scale, fy=scale, interpolation=how)
    return np.asarray(out / np.float32(255), dtype=np.float32)


def _resize_float(gray: GrayArray, scale: float) -> GrayArray:
    if scale >= 1:
        return gray
    return np.asarray(cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), dtype=np.float32)


def find_grid(
    ink: MaskArray,
    box: Bounds,
    ready: Prepared,
    settings: ChartSettings,
    symmetry: Symmetry,
    axis: Axis,
    pixels: int,
) -> Grid:
    """Lay the grid over the ink."""
    plain = lay_plain(box, ready.columns, ready.rows)
    if not settings.picture.trim or (ready.columns is not None and ready.rows is not None):
        return plain
    diagonals = find_diagonals(axis, (ink.shape[0], ink.shape[1]), pixels)
    straights = find_straights(axis, (ink.shape[0], ink.shape[1]), pixels)
    some = sum(len(each) for each in (*diagonals, *straights))
    thin = int((axis.radius < 0.8).sum())
    return find_phase(
        ink,
        box,
        plain,
        "columns" if ready.columns is not None else "rows",
        centred_rows=symmetry.centred_rows,
        centred_cols=symmetry.centred_cols,
        diagonals=diagonals,
        diagonal_weight=max(1, thin // 1200) / pixels if some else 0.0,
        straights=straights,
        most_bare=_most_bare(axis, box, ready.columns is not None, pixels),
    )


def _most_bare(axis: Axis, box: Bounds, across: bool, pixels: int) -> tuple[float, float]:
    """Return how far from the first and the last line of the grid, in stitches, the ink may end.

    A thin stroke is drawn where its axis lies; one of a broader pen, and any other edge, where half of a cell is
    covered, once the pen is brought to whole stitches. What touches a side is told by the strokes that end there.
    """
    along = 1 if across else 0
    at, radius = axis.points[:, along], axis.radius
    first, last = box[along::2]
    sides = (at - first / pixels, last / pixels - at)
    found = []
    for depth, lean in zip(sides, (LEAN, -LEAN), strict=True):
        touching = radius[np.abs(depth - radius) < 0.25]
        if len(touching) == 0:
            found.append(0.5 - CLEARLY)
            continue
        half = float(np.percentile(touching, 75))
        thin, pen = 1 - half - CLEARLY, 0.5 - CLEARLY
        if SINGLE_WIDTHS[0] / 2 < half < EVEN_WIDTHS[1] / 2:
            pen -= max(0.0, half - max(2.0, np.floor(2 * half + 0.5)) / 2) + lean
        least = thin if 2 * half < SINGLE_WIDTHS[0] else pen if 2 * half > SINGLE_WIDTHS[1] else min(thin, pen)
        found.append(max(0.0, least))
    return found[0], found[1]


def find_box(ink: MaskArray) -> tuple[int, int, int, int]:
    """Return top, left, bottom, right of the ink in pixels; single specks do not count."""
    if not ink.any():
        raise RequestError(
            "No part of the picture is dark enough to become a stitch.", "Raise --dark or choose another crop."
        )
    kept = cv2.medianBlur(ink.view(np.uint8), 3).astype(bool)
    ink = kept if kept.any() else ink
    down, across = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    return int(down[0]), int(across[0]), int(down[-1]) + 1, int(across[-1]) + 1
