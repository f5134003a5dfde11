"""The first look at a picture, on a coarse copy: its kind, its tilt and where its ink lies."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.errors import RequestError
from converter.model.arrays import GrayArray, MaskArray
from converter.model.phrase import Phrase, sentences
from converter.raster.around import grow, shrink
from converter.raster.deskew import find_tilt, turn_back
from converter.raster.edges import is_even
from converter.raster.gaps import find_gaps
from converter.raster.kind import Kind, line_or_shape, tell_kind, toning
from converter.raster.light import SOFTNESS, Ink, find_ink
from converter.raster.midtone import MiddleTones, find_middle_tones
from converter.raster.photo import cut_subject, tone_mask
from converter.raster.prepare import Prepared
from converter.raster.rims import find_rims
from converter.raster.scaling import laid_on, resize, resize_float, size_at
from converter.raster.silhouette import find_body, find_silhouette
from converter.settings import ChartSettings

COARSE = 700
COARSE_PHOTO = 400
"""Pixels of the copies on which drawings and photographs are looked at first."""
TINY = 400
"""Pixels of the copy on which the kind is told."""
COARSE_PALE, PALE_PIXELS = 350, 4
"""Pixels of the copy on which pale parts are looked for, and at least so many to a stitch."""
TONES, MANY_TONED = (0.1, 0.9), 0.12
"""Shares of a thing's pixels, and of full brightness that lies between them, for it to have light and dark parts."""
LIGHTER = 0.12
"""Of full brightness; see `_is_light_on_dark`."""
NO_LIGHTER = 0.02
"""Of full brightness; see `_lies_on_dark`."""
MOST_PIXELS_TURNED = 60_000_000
LEAST_LIGHT = 0.01
CLEARLY_TWO = 0.88
"""Share of light ink and its `kind.toning`, for a picture with a dark ground to be a drawing in light on dark."""
AS_ASKED = {
    "line": Phrase("Taken for a line drawing, as asked."),
    "shape": Phrase("Taken for solid shapes, as asked."),
    "photo": Phrase("Taken for a photograph, as asked."),
}
PALER = Phrase("Paler areas are bare; their edges are drawn as lines.")
PARTED = Phrase("Areas of different colours are parted by a bare line.")

BLANK = (
    "The picture is blank: it has no dark parts that could become stitches.",
    "Choose another picture or another crop.",
)


@dataclass(frozen=True, eq=False)
class Look:
    """What the coarse copy tells."""

    kind: Kind
    scale: float
    """Pixels of the coarse copy to a pixel of the standing picture."""
    mask: MaskArray
    """(h, w) of the coarse copy: ink, or the tonal shapes of a photograph."""
    inside: MaskArray | None = None
    """(h, w): the subject of a photograph."""
    inverted: bool = False
    tilt: float = 0.0
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
    coarse = resize(ready.gray, scale)
    stitches = ready.stitches
    pixels = max(6.0, min(12.0, COARSE / stitches))
    light_on_dark = False
    if wanted.kind == "auto":
        tiny = resize_float(coarse, TINY / max(coarse.shape))
        ink = find_ink(tiny, 8.0, mend_grain=False)
        if ink is None or not ink.mask.any():
            # A dot or a hairline may be too little to be seen on the small copy.
            tiny, ink = coarse, find_ink(coarse, pixels, mend_grain=False)
        kind = tell_kind(ink, tiny)
        if kind.name == "photo" and ink is not None and not settings.picture.invert and _lies_on_dark(ink.mask, tiny):
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
        return Look(line_or_shape(ink.mask), scale, ink.mask)
    inverted = False
    ink = find_ink(coarse, pixels, wanted.dark)
    if light_on_dark or (ink is not None and not settings.picture.invert and _lies_on_dark(ink.mask, coarse)):
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
    gaps = None
    if ink is not None and kind.name == "shape" and not inverted and wanted.dark <= 0 and not ink.grainy:
        gaps = _find_gaps(ready, coarse, ink, pixels)
        if gaps is not None:
            ink = replace(ink, mask=ink.mask | gaps)
            limits = np.where(gaps, np.float32(0), np.float32(1) if limits is None else limits)
            kind = Kind(kind.name, sentences(kind.reason, PARTED))
    if ink is not None:
        drawn = ink if rims is None else replace(ink, mask=ink.mask | rims)
        pale = _find_pale(ready, coarse, drawn, inverted)
        rims = rims if pale is None else pale if rims is None else rims | pale
        if gaps is not None:
            ink = replace(ink, mask=ink.mask & ~gaps)
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
        rims = None if rims is None else laid_on(rims, rims.shape, tilt)
    if ink is None:
        raise RequestError(*BLANK)
    if rims is not None:
        kind = Kind(kind.name, sentences(kind.reason, PALER))
        return Look(kind, scale, ink.mask | rims, None, inverted, tilt, rims, ink.softness, limits)
    return Look(kind, scale, ink.mask, None, inverted, tilt, None, ink.softness, limits)


def _find_middle_tones(ready: Prepared, coarse: GrayArray, ink: Ink, pixels: float) -> MiddleTones | None:
    """Return the areas of middle tone of a coarse copy on which something darker is drawn."""
    scale = _pale_scale(ready, ink.mask)
    small = resize_float(coarse, scale)
    picture = _colours(ready, small.shape)
    if not is_even(picture):
        return None
    found = find_middle_tones(picture, small, laid_on(ink.mask, small.shape), pixels * scale)
    if found is None:
        return None
    limits = cv2.resize(found.limits, coarse.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return MiddleTones(np.asarray(limits, dtype=np.float32), laid_on(found.lines, coarse.shape))


def _find_gaps(ready: Prepared, coarse: GrayArray, ink: Ink, pixels: float) -> MaskArray | None:
    """Return the lines of a coarse copy to be left bare between areas of colour."""
    picture = _colours(ready, coarse.shape)
    return find_gaps(picture, ink.mask, pixels) if is_even(picture) else None


def _look_at_photo(ready: Prepared, settings: ChartSettings, kind: Kind, coarse: GrayArray, side: int) -> Look | None:
    """Return where the tones of a photograph lie, or None if it has none."""
    wanted = settings.reduction
    small = resize_float(coarse, side / max(coarse.shape))
    scale = min(1.0, side / max(ready.gray.shape))
    stitches = ready.stitches
    inside = _find_subject(ready, small, stitches)
    pixels = max(3.0, side / stitches)

    def tones(gray: GrayArray) -> MaskArray:
        return tone_mask(gray, pixels, wanted.dark, wanted.detail, wanted.tidy, inside)

    mask, inverted = tones(small), False
    if ready.subject is None and inside is not None and not mask.any():
        inside = None
        mask = tones(small)
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
        return Look(kind, scale, mask, inside, inverted)
    kind = Kind(kind.name, sentences(kind.reason, PALER))
    return Look(kind, scale, mask | outline, inside, inverted, rims=outline)


def _find_subject(ready: Prepared, gray: GrayArray, stitches: int) -> MaskArray | None:
    """Return the subject of a photograph on a small copy: what lies on plain paper, what she shows, or what stands out.

    Light and dark are told inside it; beside the paper all of it would be dark. What has no light and dark of its own
    is told from the paper.
    """
    if ready.subject is None:
        body = find_body(_colours(ready, gray.shape), stitches)
        if body is not None and body.any() and float(np.ptp(np.quantile(gray[body], TONES))) > MANY_TONED:
            return body
    return cut_subject(ready.gray if ready.colour is None else ready.colour, gray.shape, ready.subject)


def _find_pale(ready: Prepared, coarse: GrayArray, ink: Ink, inverted: bool) -> MaskArray | None:
    """Return the edges of what is too pale for ink, on the coarse copy, or None if there are none."""
    rims = find_rims(coarse, ink)
    outline = None if inverted else _find_outline(ready, ink.mask, not ink.grainy)
    return rims if outline is None else outline if rims is None else rims | outline


def _find_outline(ready: Prepared, mask: MaskArray, fields: bool = False) -> MaskArray | None:
    """Return the outline of what is drawn where the mask of a coarse copy does not show it, see `find_silhouette`."""
    scale = _pale_scale(ready, mask)
    small = _colours(ready, size_at(mask.shape, scale, 1)[::-1])
    stitches = ready.stitches
    outline = find_silhouette(small, laid_on(mask, small.shape[:2]), stitches, fields)
    return None if outline is None else laid_on(outline, mask.shape)


def _colours(ready: Prepared, shape: tuple[int, ...]) -> npt.NDArray[np.uint8]:
    """Return a copy of the picture in colour, or gray if it has none, of so many rows and columns."""
    picture = ready.gray if ready.colour is None else ready.colour
    return np.asarray(cv2.resize(picture, (shape[1], shape[0]), interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _pale_scale(ready: Prepared, mask: MaskArray) -> float:
    """Return the size of the copy on which pale parts are looked for, as a share of the coarse copy's."""
    return float(min(1.0, max(COARSE_PALE, PALE_PIXELS * ready.stitches) / max(mask.shape)))


def _is_light_on_dark(gray: GrayArray, inside: MaskArray) -> bool:
    """Return whether a subject would lose its outline if its dark parts were stitched: it is far lighter than its rim.

    Both sides are taken a few pixels from the edge, where neither has a part of the other.
    """
    reach = max(3, min(gray.shape) // 20) | 1
    within = shrink(inside) & ~shrink(inside, reach)
    beyond = grow(inside, reach) & ~grow(inside)
    if not within.any() or not beyond.any():
        return False
    return float(gray[within].mean()) > float(gray[beyond].mean()) + LIGHTER


def _lies_on_dark(mask: MaskArray, gray: GrayArray) -> bool:
    """Return whether ink is a dark ground: see `_is_dark_ground`, and what is not ink is lighter than the rim.

    White paper may pass for ink if light and dark meet within what is drawn on it alone, as in the eyes of a face.
    """
    if not _is_dark_ground(mask):
        return False
    light = float(gray.max() if mask.all() else np.median(gray[~mask])) - NO_LIGHTER
    return float((_rim_of(gray) >= light).mean()) < 0.5


def _is_dark_ground(mask: MaskArray, rim_share: float = 0.9) -> bool:
    """Return whether the picture's rim is ink nearly all round and most of the picture is ink."""
    return float(_rim_of(mask).mean()) > rim_share and float(mask.mean()) > 0.55


def _rim_of(plane: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return the pixels along the rim, two in from the picture's sides."""
    in_row, in_col = min(2, (plane.shape[0] - 1) // 2), min(2, (plane.shape[1] - 1) // 2)
    return np.concatenate([plane[in_row], plane[-1 - in_row], plane[:, in_col], plane[:, -1 - in_col]])
