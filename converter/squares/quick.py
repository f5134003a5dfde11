"""A quick look whether a picture is squared paper at all."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import as_picture

LEAST_BUSY = 0.45
_FIELDS = 20
_FAINTEST = 0.04
_CHEQUERED, _ALIKE = 8.0, 0.3
"""Levels by which neighbouring squares of a chequered ground differ at least, and the share of it by which the next but
one may: so a program shows that a picture is clear."""
_GROUND = 0.5
"""Brightness of such a ground, as a share of the brightest, and its share of the picture."""


def busy_share(gray: npt.NDArray[np.uint8]) -> float:
    """Return the share of fields of a picture, 20 along its longer side, that anything like a line runs through.

    Printed squares leave hardly a field blank, however faint they are; a drawing on clean paper leaves most.
    """
    scale = min(1.0, 1000 / max(gray.shape))
    small = cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else gray
    level = cv2.LUT(small, np.log(np.arange(256, dtype=np.float32) + 16))
    step = cv2.dilate(level, np.ones((3, 3))) - cv2.erode(level, np.ones((3, 3)))
    side = max(4, round(max(small.shape) / _FIELDS))
    rows, cols = small.shape[0] // side, small.shape[1] // side
    if rows < 1 or cols < 1:
        return 1.0
    fields = step[: rows * side, : cols * side].reshape(rows, side, cols, side).swapaxes(1, 2).reshape(rows, cols, -1)
    # As much as that the tenth part with the strongest steps is above the faintest.
    lined = np.count_nonzero(fields > _FAINTEST, axis=2) >= fields.shape[2] - int(fields.shape[2] * 0.9)
    return float(lined.mean())


def looks_squared(image: npt.NDArray[np.uint8]) -> float:
    """Return how surely a picture is squared paper, without reading it.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) RGB or (H, W, 4) RGBA, uint8

    Returns
    -------
    confidence : float
        0 to 1; from 0.5 on it is worth offering `read_squares`. Only a picture with something like a grid in it takes
        more than a moment.
    """
    picture = as_picture(image)
    gray = picture if picture.ndim == 2 else cv2.cvtColor(np.ascontiguousarray(picture[..., :3]), cv2.COLOR_RGB2GRAY)
    if busy_share(np.asarray(gray, dtype=np.uint8)) < LEAST_BUSY:
        return 0.0
    # The reader is loaded only for what passes the glance.
    from converter.squares import density, finding
    from converter.squares.reading import SMALLEST_PX, TOO_SMALL, reading_of

    rgb = density.as_rgb(picture)
    best, scale = finding.look(rgb, glance=True)
    if best is None or not finding.promising(best):
        return 0.0
    pitch = best.fit.pitch / (best.factor * scale)
    if pitch < SMALLEST_PX:
        return TOO_SMALL
    # The corners of its squares are a grid too, one that stands on its tip.
    if any(is_chequered(np.asarray(gray, dtype=np.uint8), side) for side in (pitch, pitch / np.sqrt(2))):
        return 0.0
    # Cloth and tiles have grids, too: what has one is read to see whether its squares are a motif.
    return reading_of(rgb, finding.fitted(rgb, best, scale)).confidence


def is_chequered(gray: npt.NDArray[np.uint8], pitch: float) -> bool:
    """Return whether the squares of a picture's ground are light and less light by turns, as on a chessboard.

    Parameters
    ----------
    gray : ndarray of shape (H, W), uint8
    pitch : float
        Pixels from square to square.
    """
    step = max(1, round(pitch))
    if min(gray.shape) <= 2 * step:
        return False
    here, *others = (
        part.astype(np.int16)
        for part in (gray[:-step, :-step], gray[:-step, step:], gray[step:, :-step], gray[step:, step:])
    )
    # Filled squares of a motif are far darker than that.
    ground = np.minimum.reduce([here, *others]) > _GROUND * np.percentile(here, 90)
    if float(ground.mean()) < _GROUND:
        return False
    across, down, both = (float(np.median(np.abs(other - here)[ground])) for other in others)
    return min(across, down) >= _CHEQUERED and both <= _ALIKE * min(across, down)
