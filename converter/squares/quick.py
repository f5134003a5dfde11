"""A quick look whether a picture is squared paper at all."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from converter.model.arrays import as_picture
from converter.squares import density, extent, finding, mesh
from converter.squares.reading import SURE, read_squares

MOST_PIXELS = 3.0e6


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
    pixels = picture.shape[0] * picture.shape[1]
    picture = density.shrink(picture, (MOST_PIXELS / pixels) ** 0.5 if pixels > MOST_PIXELS else 1.0)
    dense = density.density(density.as_rgb(picture))
    whole = mesh.Sight.of(dense, density.channel_weights(dense))
    best = finding.trial(whole, most_windows=3, most_tried=2, most_steps=5)
    if best is None:
        return 0.0
    _, fit, factor = best
    shape = (round(dense.shape[0] * factor), round(dense.shape[1] * factor))
    span = extent.find_extent(fit, shape)
    confidence = finding.grid_confidence(fit, span.top, span.left, span.bottom, span.right)
    # Cloth and tiles have grids, too: what has one is read to see whether its squares are a motif.
    return min(confidence, read_squares(picture).confidence) if confidence >= SURE else confidence
