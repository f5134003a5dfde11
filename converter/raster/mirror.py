"""Mirror symmetry: found, asked for, and kept to the last stitch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray
from converter.raster.axis import ink_depth
from converter.raster.frame import Orientation
from converter.raster.grid import Bounds

LEVEL = Orientation(flip_rows=True)
UPRIGHT = Orientation(flip_cols=True)
HALF_TURN = Orientation(flip_rows=True, flip_cols=True)
NEAR = 0.3
"""Stitches; the mirrored ink must come so near to the ink."""
FARTHEST = 0.7
"""Stitches; no part of the mirrored ink may lie farther from the ink."""
LEAST_MATCH = 0.985
"""Share of the ink that must be met so for a drawing to count as symmetric."""

Matches = dict[Orientation, tuple[float, int]]
"""Share of each mirror image that meets the ink, and how far its axis lies off the middle, half pixels."""


@dataclass(frozen=True)
class Symmetry:
    """Which images of the chart must equal the chart."""

    images: tuple[Orientation, ...] = ()
    """Closed under composition, without the identity."""
    exact: bool = True
    """False if the picture was told to be symmetric though it is not."""

    @property
    def centred_rows(self) -> bool:
        """Whether the grid must be centred on the ink from top to bottom."""
        return any(each.flip_rows or each.transpose for each in self.images)

    @property
    def centred_cols(self) -> bool:
        """Whether the grid must be centred on the ink from side to side."""
        return any(each.flip_cols or each.transpose for each in self.images)


def find_symmetry(
    ink: MaskArray, box: Bounds, pixels: float, wanted: str, given: tuple[Orientation, ...]
) -> tuple[Symmetry, Bounds]:
    """Return the symmetry to keep and the box of the ink, made even about its axis.

    Parameters
    ----------
    ink : ndarray of shape (H, W), bool
    box : top, left, bottom, right in pixels
    pixels : float
        Pixels a stitch.
    wanted : "auto", "none", "upright", "level" or "both"
        Axes, in the orientation of ``ink``.
    given : tuple of Orientation
        Images that leave the picture exactly unchanged; always kept.
    """
    if wanted in ("upright", "level", "both"):
        images = {"upright": (UPRIGHT,), "level": (LEVEL,), "both": (UPRIGHT, LEVEL, HALF_TURN)}[wanted]
        matches = _match_all(ink, box, pixels, images)
        exact = min(share for share, _ in matches.values()) >= LEAST_MATCH
        if given and not any(each.transpose for each in given):
            images = tuple(dict.fromkeys((*images, *given, *((HALF_TURN, LEVEL, UPRIGHT) if len(given) > 1 else ()))))
            if len(images) == 2:
                images = (UPRIGHT, LEVEL, HALF_TURN)
            added = tuple(each for each in images if each not in matches)
            matches |= _match_all(ink, box, pixels, added)
        return Symmetry(images, exact), _even_box(box, images, matches) if exact else box
    if given:
        return Symmetry(given), box
    if wanted == "none":
        return Symmetry(), box
    matches = _match_all(ink, box, pixels, (UPRIGHT, LEVEL))
    found = [each for each in (UPRIGHT, LEVEL) if matches[each][0] >= LEAST_MATCH]
    if not found:
        return Symmetry(), box
    images = (UPRIGHT, LEVEL, HALF_TURN) if len(found) == 2 else tuple(found)
    return Symmetry(images), _even_box(box, images, matches)


def _match_all(ink: MaskArray, box: Bounds, pixels: float, images: tuple[Orientation, ...]) -> Matches:
    """Return how well each mirror image of the ink in the box matches it."""
    top, left, bottom, right = (round(v) for v in box)
    part = ink[top:bottom, left:right]
    if not part.any():
        return dict.fromkeys(images, (0.0, 0))
    away = ink_depth(~part, 1)
    return {each: _match_at_best(part, away, pixels, each) for each in images}


def _match_at_best(
    part: MaskArray, away: npt.NDArray[np.float32], pixels: float, image: Orientation
) -> tuple[float, int]:
    """Return the best match of the ink with its mirror image and how far the axis lies off the middle, half pixels."""
    step = max(1, int(pixels // 6))
    near = away <= NEAR * pixels
    mirrored = part[::-1] if image.flip_rows else part
    mirrored = mirrored[:, ::-1] if image.flip_cols else mirrored
    total = np.count_nonzero(part)
    along = (0,) if image.flip_rows and image.flip_cols else None
    best = (0.0, 0)
    # In whole steps from the middle, so that the middle itself is tried, and first.
    reach = int(0.3 * pixels) // step * step
    for shift in sorted(range(-reach, reach + 1, step), key=abs):
        if along is not None and shift != 0:
            continue
        rows, cols = (shift, 0) if image.flip_rows else (0, shift)
        moved = np.roll(mirrored, (rows, cols), axis=(0, 1)) if shift else mirrored
        share = float(np.count_nonzero(near & moved) / total)
        if share >= LEAST_MATCH and float(away[moved].max()) > FARTHEST * pixels:
            # Nearly all alike, but for one part that is not: mirroring would drop or double it.
            share = LEAST_MATCH - 0.01
        if share > best[0] + 1e-9:
            best = (share, shift)
        if shift == 0 and share < 0.6:
            break
    return best


def _even_box(box: Bounds, images: tuple[Orientation, ...], matches: Matches) -> Bounds:
    top, left, bottom, right = box
    if UPRIGHT in images:
        middle = (left + right) / 2 + matches[UPRIGHT][1] / 2
        half = max(middle - left, right - middle)
        left, right = middle - half, middle + half
    if LEVEL in images:
        middle = (top + bottom) / 2 + matches[LEVEL][1] / 2
        half = max(middle - top, bottom - middle)
        top, bottom = middle - half, middle + half
    return top, left, bottom, right


def even_mask(mask: MaskArray, symmetry: Symmetry) -> MaskArray:
    """Return a laid mask that is exactly symmetric.

    The mean distance to the edge over all images decides; a picture that is not symmetric but is to be made so gives
    one half, mirrored.
    """
    usable = [each for each in symmetry.images if not each.transpose or mask.shape[0] == mask.shape[1]]
    if not usable:
        return mask
    if symmetry.exact:
        turned = [each.apply(mask) for each in usable]
        some, every = mask.copy(), mask.copy()
        for image in turned:
            some |= image
            every &= image
        # Where all images agree so does their mean.
        doubtful = np.flatnonzero(some & ~every)
        if not len(doubtful):
            return mask
        distance = ink_depth(mask, 1) - ink_depth(~mask, 1)
        total = distance.ravel()[doubtful].astype(np.float64)
        for each in usable:
            total += each.apply(distance).ravel()[doubtful]
        every.ravel()[doubtful] = total > 0
        return every
    first = first_of_orbit(mask.shape, symmetry)
    return np.asarray(mask.ravel()[first].reshape(mask.shape))


def first_of_orbit(shape: tuple[int, ...], symmetry: Symmetry, last: bool = False) -> npt.NDArray[np.intp]:
    """Return for each flat cell the first (or last) of the cells it is an image of."""
    index = np.arange(shape[0] * shape[1], dtype=np.intp).reshape(shape)
    pick = index.copy()
    for each in symmetry.images:
        if each.transpose and shape[0] != shape[1]:
            continue
        pick = (np.maximum if last else np.minimum)(pick, each.apply(index))
    return pick.ravel()


def orbits(shape: tuple[int, ...], symmetry: Symmetry) -> npt.NDArray[np.intp]:
    """Return (cells, images + 1): all flat cells that each cell must equal, itself first."""
    index = np.arange(shape[0] * shape[1], dtype=np.intp).reshape(shape)
    layers = [index.ravel()]
    for each in symmetry.images:
        if not each.transpose or shape[0] == shape[1]:
            layers.append(each.apply(index).ravel())
    return np.stack(layers, axis=1)
