"""The picture at working size: the first look tells the box of the ink, then it is found anew inside."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.errors import RequestError
from converter.model.arrays import GrayArray, MaskArray
from converter.raster.around import majority, shrink
from converter.raster.axis import MANY, THIN, Axis, find_diagonals, find_straights
from converter.raster.grid import Bounds, Grid, find_phase, lay_plain
from converter.raster.kind import Kind
from converter.raster.light import Ink, find_ink
from converter.raster.look import Look, look_at
from converter.raster.mirror import Symmetry
from converter.raster.morphology import disc
from converter.raster.photo import tone_mask
from converter.raster.prepare import Prepared
from converter.raster.scaling import laid_on
from converter.raster.strokes import EVEN_WIDTHS, LEAN, SINGLE_WIDTHS
from converter.raster.threshold import threshold_otsu
from converter.raster.window import Window, open_window
from converter.settings import ChartSettings, ReductionSettings

KNOWN, BARE_BROAD = 0.3, 1.2
"""Stitches round the coarse copy's ink that are as good as it, and half the width of a broad area beyond."""
LEAST_DEPTH = 0.3
"""Depth (see `light.Ink`) from which on a part of the coarse copy's ink is missed at working size."""
CLEARLY = 0.02
"""Stitches by which an edge must lie on the drawn side of where it would be lost."""
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


def take_up(ready: Prepared, settings: ChartSettings) -> Work:
    """Find the ink at a size that suits the width: coarse first for the box, then fine inside it."""
    trim = settings.picture.trim
    look = look_at(ready, settings)
    window = open_window(ready, look, _find_inked(ready, look) if trim else _all_of(ready.gray), trim)
    keep = None if ready.keep is None else window.bring(ready.keep)
    if look.kind.name == "photo":
        ink, depth = _find_tones(ready, look, window, keep, settings.reduction)
    else:
        ink, depth = _find_drawing(look, window, settings.reduction.dark)
    if look.limits is not None:
        ink = ink & (window.gray <= window.bring_levels(look.limits))
    if look.rims is not None:
        rims = window.bring_smoothly(look.rims)
        ink = ink | rims
        if look.kind.name == "photo":
            # It is judged by its tones, and the lines are part of what is to be seen.
            depth = np.where(rims, np.float32(1), depth)
    if ready.clear is not None:
        ink = ink & ~window.bring(ready.clear)
    box: Bounds = find_box(ink) if trim else _all_of(ink)
    return Work(depth, ink, window.pixels, box, window.to_standing, look.kind, keep, look.inverted)


def _find_inked(ready: Prepared, look: Look) -> Bounds:
    """Return the box of the coarse copy's ink on the standing picture."""
    shown = look.mask
    if ready.clear is not None:
        shown = shown & ~laid_on(ready.clear, look.mask.shape, look.tilt)
    top, left, bottom, right = (v / look.scale for v in find_box(shown))
    return top, left, bottom, right


def _all_of(plane: npt.NDArray[Any]) -> Bounds:
    return 0.0, 0.0, float(plane.shape[0]), float(plane.shape[1])


def _find_tones(
    ready: Prepared, look: Look, window: Window, keep: MaskArray | None, wanted: ReductionSettings
) -> tuple[MaskArray, GrayArray]:
    """Return the tonal shapes of a photograph, and how dark it is."""
    gray, inside = window.gray, None
    if look.inside is not None:
        size = ready.gray.shape[::-1]
        inside = window.bring(cv2.resize(look.inside.view(np.uint8), size, interpolation=cv2.INTER_LINEAR) > 0)
    ink = tone_mask(gray, window.pixels, wanted.dark, wanted.detail, wanted.tidy, inside)
    if keep is not None:
        ink = np.where(keep, tone_mask(gray, window.pixels, wanted.dark, 100.0, 0.0, None), ink)
    return ink, 1 - gray if inside is None else np.where(inside, 1 - gray, np.float32(0))


def _find_drawing(look: Look, window: Window, dark: float) -> tuple[MaskArray, GrayArray]:
    """Return the ink of a drawing, and how dark it is; nothing that the coarse copy is sure of is lost."""
    gray, pixels, scale = window.gray, window.pixels, window.scale
    coarse = look.mask if look.rims is None else look.mask & ~look.rims
    body = window.bring_coarse(shrink(coarse, 5))
    judge = scale < 1 or look.scale < 1
    softened = min(scale, MOST_SOFTENED)
    found = find_ink(gray, pixels, dark, softened, softness=look.softness, judge_grain=judge, fading=True)
    for coarser in (2.0, 4.0):
        if found is not None and _keeps_body(found.mask, body):
            break
        found = find_ink(gray, pixels, dark, min(max(1.0, scale), MOST_SOFTENED) * coarser, fading=True)
    if found is None:
        # The coarse copy had ink: too fine a pattern to tell from noise here.
        levels = np.rint(gray * 255).astype(np.uint8)
        return levels <= threshold_otsu(levels), 1 - gray
    ink = _with_lost_parts(found, body, lambda: window.bring_smoothly(coarse))
    if look.rims is not None:
        ink = _without_bare_parts(ink, window.bring_smoothly(coarse), pixels)
    return ink, found.depth


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


def _without_bare_parts(ink: MaskArray, coarse: MaskArray, pixels: int) -> MaskArray:
    """Return ink without broad areas that the coarse copy shows bare: it has lines along their edges instead."""
    known = cv2.dilate(coarse.view(np.uint8), disc(KNOWN * pixels))
    more = np.asarray(ink & (known == 0))
    broad = cv2.morphologyEx(more.view(np.uint8), cv2.MORPH_OPEN, disc(BARE_BROAD * pixels))
    if not broad.any():
        return ink
    _, labels = cv2.connectedComponents(more.view(np.uint8), connectivity=8)
    whole = np.zeros(int(labels.max()) + 1, dtype=np.bool_)
    whole[labels[broad > 0]] = True
    whole[0] = False
    # Beside the known ink, up to the middle of its edge.
    beside = cv2.dilate(whole[labels].view(np.uint8), disc(KNOWN * pixels + 1)) > 0
    return np.asarray(ink & ~(beside & ~coarse))


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
    diagonals = find_diagonals(axis, ink.shape, pixels)
    straights = find_straights(axis, ink.shape, pixels)
    some = sum(len(each) for each in (*diagonals, *straights))
    thin = int((axis.radius < THIN).sum())
    return find_phase(
        ink,
        box,
        plain,
        "columns" if ready.columns is not None else "rows",
        centred_rows=symmetry.centred_rows,
        centred_cols=symmetry.centred_cols,
        diagonals=diagonals,
        diagonal_weight=max(1, thin // MANY) / pixels if some else 0.0,
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
        if not len(touching):
            found.append(0.5 - CLEARLY)
            continue
        half = float(np.percentile(touching, 75))
        thin, pen = 1 - half - CLEARLY, 0.5 - CLEARLY
        if SINGLE_WIDTHS[0] / 2 < half < EVEN_WIDTHS[1] / 2:
            pen -= max(0.0, half - max(2.0, np.floor(2 * half + 0.5)) / 2) + lean
        # Where it may be drawn either way the thin stroke needs more of it.
        least = pen if 2 * half > SINGLE_WIDTHS[1] else thin
        found.append(max(0.0, least))
    return found[0], found[1]


def find_box(ink: MaskArray) -> tuple[int, int, int, int]:
    """Return top, left, bottom, right of the ink in pixels; single specks do not count."""
    if not ink.any():
        raise RequestError(
            "No part of the picture is dark enough to become a stitch.", "Raise --dark or choose another crop."
        )
    kept = majority(ink, 3)
    ink = kept if kept.any() else ink
    down, across = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    return int(down[0]), int(across[0]), int(down[-1]) + 1, int(across[-1]) + 1
