"""Edges between colours of a drawing that are about equally dark, which crosses of one colour cannot show.

Only hue counts here: what differs in lightness is ink or paper and has its lines already. Regions of even hue are
grown together as in a photograph, until only boundaries are left that the eye takes for an edge. Where one of them
runs along a line that is there already, as the dark outline of a coloured field, it is left out, and so is one that
only cuts through colours that run into each other.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray
from converter.outline.graph import CurveNetwork
from converter.outline.near import find_nearest
from converter.outline.regions import boundary_network, colour_gradient, grow_regions, region_scale
from converter.outline.seen import is_step, keep_parts

COLOURFUL: Final = 16.0
"""Spread of hue, CIELAB units, below which a drawing has no colours but those of light and paper."""
EDGE: Final = 2.5
"""Gradient of hue, CIELAB units a pixel, that makes an edge: a step of about a dozen units."""
APART: Final = 0.9
"""A colour edge nearer to another line than so many stitches would only double it."""


def colour_network(rgb: npt.NDArray[np.float32], shape: tuple[int, int], others: CurveNetwork) -> CurveNetwork:
    """Return the colour edges of a drawing.

    Parameters
    ----------
    rgb : ndarray of shape (H, W, 3), float32
        The picture under the grid.
    shape : tuple of int
        Rows and columns of the grid.
    others : CurveNetwork
        Lines that are there already.
    """
    scale = region_scale(shape)
    size = (shape[1] * scale, shape[0] * scale)
    small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    lab: npt.NDArray[Any] = np.asarray(cv2.cvtColor(np.clip(small, 0, 1), cv2.COLOR_RGB2LAB), dtype=np.float32)
    hue = lab[:, :, 1:]
    spread = np.quantile(hue.reshape(-1, 2), 0.98, axis=0) - np.quantile(hue.reshape(-1, 2), 0.02, axis=0)
    if float(spread.max()) < COLOURFUL:
        return CurveNetwork()
    lab[:, :, 0] = 0
    plain = np.ascontiguousarray(hue)
    lab = np.asarray(cv2.GaussianBlur(lab, (0, 0), 0.8), dtype=np.float32)
    for _ in range(2):
        lab = np.asarray(cv2.bilateralFilter(lab, 7, 9.0, 2.0), dtype=np.float32)
    gradient = colour_gradient(lab)
    labels = grow_regions(gradient, np.inf, 2.0 * scale**2, EDGE)
    found = boundary_network(labels, gradient, scale, float(sum(shape)) * 4)
    known = np.concatenate([np.zeros((0, 2)), *[curve.points for curve in others.curves]])
    network = CurveNetwork(found.nodes, [])
    for curve in found.curves:
        kept = is_step(curve, plain, scale) & ~np.isfinite(find_nearest(known, curve.points, APART)[0])
        network.curves += keep_parts(replace(curve, solid=False), kept, network)
    return network


def mark_curves(network: CurveNetwork, shape: tuple[int, int], scale: int) -> MaskArray:
    """Return the curves of a network drawn one pixel wide, (rows * scale, cols * scale)."""
    mask = np.zeros((shape[0] * scale, shape[1] * scale), dtype=np.uint8)
    for curve in network.curves:
        cv2.polylines(mask, [np.rint(curve.points[:, ::-1] * scale).astype(np.int32)], False, 1)
    return mask > 0
