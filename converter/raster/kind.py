"""What a picture is: line drawing, solid shapes or photograph, and by what it is told."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from converter.model.arrays import GrayArray, MaskArray
from converter.model.phrase import Phrase
from converter.raster.around import blur, grow, shrink, square
from converter.raster.axis import ink_depth
from converter.raster.light import Ink

UNEVEN_INK = 0.27
UNEVEN_PAPER = 0.09
"""Shares of the contrast: standard deviations of the depth of a shaded drawing's ink and paper, see `toning`."""
TONES = 0.75
"""Least toning of a photograph."""
RESTLESS = 0.018
"""Share of the contrast by which neighbouring pixels differ in a photograph between its edges, at least."""
ELSEWHERE = 0.092
"""Toning times the share of edges that are none of the ink's, from which on a picture is a photograph."""
FEW_EDGES = 0.02
"""Added to that share, so that a picture of very many tones may do with few edges."""
FAINT = 0.03
"""Share of the span from dark to bright, for each pixel, below which a slope is no edge."""
THICK_SHARE = 0.15
"""Share of the ink in broad parts from which on a drawing is one of solid shapes."""
THICK = 0.055
"""Half the width of a broad part, as a share of the drawing's narrower side."""
SLENDER = 0.3
"""Share of the longer side that the narrower one counts as at least: a tall key is no line drawing for being tall."""


@dataclass(frozen=True)
class Kind:
    """line, shape or photo, and why."""

    name: str
    reason: str


def tell_kind(ink: Ink | None, gray: GrayArray) -> Kind:
    """Return what a picture is.

    Parameters
    ----------
    ink : Ink or None
        Of a small copy, about 400 pixels on the longer side; None if none was found.
    gray : ndarray of shape (H, W), float32, 0 to 1
        The copy.

    Notes
    -----
    A drawing knows two tones, paper and ink; away from the edges all ink is about equally dark and all paper about
    equally bright once the light is taken out, and what edges it has are those of its ink. A photograph has every
    tone, see `toning`, and edges everywhere, see `edges_elsewhere`; either alone may be a drawing shaded or coloured
    in, on ruled paper, under a lamp. It is a photograph if the product of both is over `ELSEWHERE`, if it has more
    than `TONES` and is restless between the edges too. Of drawings, a line drawing has less than `THICK_SHARE` of its
    ink in parts thicker than a ninth of the drawing's narrower side.
    """
    if ink is None:
        return Kind("photo", Phrase("Taken for a photograph: it has soft tones and no clear ink."))
    tones, restless = toning(ink)
    if tones > TONES and restless > RESTLESS and tones * (edges_elsewhere(ink, gray) + FEW_EDGES) > ELSEWHERE:
        return Kind("photo", Phrase("Taken for a photograph: its dark and light parts have many tones."))
    return line_or_shape(ink.mask)


def toning(ink: Ink) -> tuple[float, float]:
    """Return how many-toned a picture is and how restless between its edges.

    Notes
    -----
    Standard deviations of the depth, in `UNEVEN_INK` of the contrast for the ink and `UNEVEN_PAPER` for the paper,
    added.
    """
    mask = ink.mask
    plain = grow(mask, 5) == shrink(mask, 5)
    span = cv2.dilate(ink.depth, square(5)) - cv2.erode(ink.depth, square(5))
    inner, bare = mask & plain, ~mask & plain
    uneven_ink = float(np.std(ink.depth[inner])) if inner.any() else 0.0
    uneven_paper = float(np.std(ink.depth[bare])) if bare.any() else 1.0
    restless = float(np.mean(span[plain])) if plain.any() else 1.0
    return uneven_ink / UNEVEN_INK + uneven_paper / UNEVEN_PAPER, restless


def edges_elsewhere(ink: Ink, gray: GrayArray) -> float:
    """Return the share of a picture's edges, 0 to 1, that are no edges of its ink; strong edges count by far the most.

    Notes
    -----
    The square of the gradient (H. Scharr, Optimale Operatoren in der Digitalen Bildverarbeitung, 2000;
    `cv2.Scharr`) is added up within four pixels of the ink's edge and elsewhere.
    """
    calm = blur(gray, 1.0)
    down, across = (cv2.Scharr(calm, cv2.CV_32F, *way) / np.float32(32) for way in ((0, 1), (1, 0)))
    steep = down * down + across * across
    ends = [gray.size // 100, gray.size - 1 - gray.size // 100]
    dark, bright = np.partition(gray.ravel(), ends)[ends]
    steep[steep < (FAINT * (bright - dark)) ** 2] = 0
    away = grow(ink.mask, 9) == shrink(ink.mask, 9)
    total = float(steep.sum())
    return float(steep[away].sum()) / total if total > 0 else 0.0


def line_or_shape(mask: MaskArray) -> Kind:
    """Return whether the ink is drawn in lines or filled in."""
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not len(rows):
        return Kind("line", Phrase("Taken for a line drawing."))
    sides = sorted((int(rows[-1] - rows[0]) + 1, int(cols[-1] - cols[0]) + 1))
    size = max(sides[0], SLENDER * sides[1])
    thick = float((ink_depth(mask, 1) > THICK * size).sum()) / float(mask.sum())
    if thick < THICK_SHARE:
        return Kind("line", Phrase("Taken for a line drawing: nearly all of its ink lies in strokes."))
    return Kind("shape", Phrase("Taken for solid shapes: much of its ink lies in broad areas."))
