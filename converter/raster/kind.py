"""What a picture is: line drawing, solid shapes or photograph, and by what it is told."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from converter.model.arrays import MaskArray
from converter.model.phrase import Phrase
from converter.raster.axis import ink_depth
from converter.raster.light import Ink

UNEVEN_INK = 0.27
UNEVEN_PAPER = 0.09
TONES = 1.05
BROAD_INK = 0.4
STROKES_ALLOW = 0.3
RESTLESS = 0.018
THICK_SHARE = 0.15
SLENDER = 0.3
"""Limits between drawings and photographs and between lines and solids; see `toning` and `tell_kind`."""


@dataclass(frozen=True)
class Kind:
    """line, shape or photo, and why."""

    name: str
    reason: str


def tell_kind(ink: Ink | None) -> Kind:
    """Return what a picture is.

    Parameters
    ----------
    ink : Ink or None
        Of a small copy, about 400 pixels on the longer side; None if none was found.

    Notes
    -----
    A drawing knows two tones, paper and ink; away from the edges all ink is about equally dark and all paper about
    equally bright once the light is taken out. A photograph has every tone: see `toning`; it is one from `TONES` on,
    if it is restless between the edges too. Of drawings, a line drawing has less than `THICK_SHARE` of its ink in
    parts thicker than a ninth of the drawing's narrower side.
    """
    if ink is None:
        return Kind("photo", Phrase("Taken for a photograph: it has soft tones and no clear ink."))
    tones, restless, broad = toning(ink)
    if tones > TONES + STROKES_ALLOW * max(0.0, 1 - broad / BROAD_INK) and restless > RESTLESS:
        return Kind("photo", Phrase("Taken for a photograph: its dark and light parts have many tones."))
    return line_or_shape(ink.mask)


def toning(ink: Ink) -> tuple[float, float, float]:
    """Return how many-toned a picture is, how restless between its edges, and how much of its ink is broad.

    Notes
    -----
    Standard deviations of the depth, in `UNEVEN_INK` of the contrast for the ink and `UNEVEN_PAPER` for the paper,
    added. Third comes the share of the ink that lies away from edges: where it is little the ink is drawn in strokes,
    and what its few broad places look like (a pressed pencil, a corner in the shade) says the less.
    """
    mask = ink.mask
    foot = np.ones((5, 5), np.uint8)
    plain = cv2.dilate(mask.view(np.uint8), foot) == cv2.erode(mask.view(np.uint8), foot)
    span = cv2.dilate(ink.depth, foot) - cv2.erode(ink.depth, foot)
    inner, bare = mask & plain, ~mask & plain
    uneven_ink = float(np.std(ink.depth[inner])) if inner.any() else 0.0
    uneven_paper = float(np.std(ink.depth[bare])) if bare.any() else 1.0
    restless = float(np.mean(span[plain])) if plain.any() else 1.0
    broad = float(inner.sum()) / max(1.0, float(mask.sum()))
    return uneven_ink / UNEVEN_INK + uneven_paper / UNEVEN_PAPER, restless, broad


def line_or_shape(mask: MaskArray) -> Kind:
    """Return whether the ink is drawn in lines or filled in."""
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if len(rows) == 0:
        return Kind("line", Phrase("Taken for a line drawing."))
    sides = sorted((int(rows[-1] - rows[0]) + 1, int(cols[-1] - cols[0]) + 1))
    # A stroke is thin against the narrower side: a tall key is no line drawing for being tall.
    size = max(sides[0], SLENDER * sides[1])
    thick = float((ink_depth(mask, 1) > 0.055 * size).sum()) / max(1.0, float(mask.sum()))
    if thick < THICK_SHARE:
        return Kind("line", Phrase("Taken for a line drawing: nearly all of its ink lies in strokes."))
    return Kind("shape", Phrase("Taken for solid shapes: much of its ink lies in broad areas."))
