"""The paper that a drawing was made on, and how much darker than it each pixel is: a look on a small copy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray, PictureArray
from converter.raster.around import square
from converter.raster.scaling import size_at
from converter.raster.tone import darkest_colour

SEEN = 700
"""Pixels on the longer side of the copy that is looked at."""
LIFT = 8.0
"""Levels added before the logarithm, so that noise in the dark does not count."""
GROUND, STEP = 124, 4
"""Pixels of the copy: so broad an area may be and is still told from the paper, which is looked for on each fourth."""
LEAST_INK = 0.6
"""Logarithm of the darkness of the ink; of a paler drawing its own soft parts cannot be told from the paper's."""
PALE = 0.4
"""Share of the ink's darkness up to which marks may be the paper's own."""
FAINT = 0.03
"""Logarithm of darkness from which on a mark is seen."""
ALIKE, LEAST_BARE = 0.06, 0.4
"""Logarithm by which bare paper wavers, and the share of the picture that must be bare."""

Plane = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class PaperLook:
    """A drawing on paper, on a small copy."""

    small: PictureArray
    """(h, w) or (h, w, 3): the copy."""
    dark: Plane
    """(h, w): logarithm of how much darker than bare paper each pixel is."""
    ink: float
    """The usual darkness of what is drawn."""

    @property
    def drawn(self) -> MaskArray:
        """(h, w): what is too dark to be the paper's own."""
        return np.asarray(self.dark > PALE * self.ink)

    def wipe(self, picture: PictureArray) -> PictureArray:
        """Return a picture with bare paper for all that is no ink."""
        small = _bare_paper(self.small)
        paper = np.asarray(cv2.resize(small, picture.shape[1::-1], interpolation=cv2.INTER_LINEAR), dtype=np.uint8)
        darkest = (PALE + 0.05) * self.ink
        least = (darkest_colour(paper).astype(np.float32) + np.float32(LIFT)) * np.float32(np.exp(-darkest))
        bare = darkest_colour(picture) + np.float32(LIFT) > least
        out = picture.copy()
        out[bare] = paper[bare]
        return np.asarray(out, dtype=np.uint8)


def look_at_paper(picture: npt.NDArray[Any]) -> PaperLook | None:
    """Return a look at the paper of a drawing.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8

    Returns
    -------
    look : PaperLook or None
        None if the picture shows no bare paper with something far darker on it.
    """
    scale = min(1.0, SEEN / max(picture.shape[:2]))
    size = size_at(picture.shape[:2], scale, 1)
    small = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    if min(small.shape[:2]) < GROUND:
        return None
    tone = darkest_colour(small)
    dark = np.log((_bare_paper(tone) + np.float32(LIFT)) / (tone + np.float32(LIFT)))
    if float((np.abs(dark) < ALIKE).mean()) < LEAST_BARE:
        return None
    strongest = 0.5 * float(np.partition(dark.ravel(), -len(dark))[-len(dark)])
    usual = float(np.median(dark[dark > strongest])) if strongest > FAINT else 0.0
    return PaperLook(small, dark, usual) if usual >= LEAST_INK else None


def _bare_paper(small: npt.NDArray[Any]) -> npt.NDArray[np.uint8]:
    """Return the paper without what is drawn or printed on it."""
    bright = np.ascontiguousarray(cv2.dilate(small, square(2 * STEP + 1))[::STEP, ::STEP])
    closed = cv2.morphologyEx(bright, cv2.MORPH_CLOSE, square(GROUND // STEP | 1))
    return np.asarray(
        cv2.resize(cv2.blur(closed, (5, 5)), small.shape[1::-1], interpolation=cv2.INTER_LINEAR), np.uint8
    )
