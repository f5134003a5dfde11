"""Edges between colours of a drawing that are about equally dark, which crosses of one colour cannot show.

Only hue counts here: what differs in lightness is ink or paper and has its lines already. Regions of even hue are
grown together as in a photograph, until only boundaries are left that the eye takes for an edge. Where one of them
runs along a line that is there already, as the dark outline of a coloured field, it is left out.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray
from converter.outline.graph import Curve, CurveNetwork
from converter.outline.near import find_nearest
from converter.outline.regions import boundary_network, colour_gradient, grow_regions, region_scale
from converter.outline.simplify import curve_length

COLOURFUL: Final = 16.0
"""Spread of hue, CIELAB units, below which a drawing has no colours but those of light and paper."""
EDGE: Final = 2.5
"""Gradient of hue, CIELAB units a pixel, that makes an edge: a step of about a dozen units."""
APART: Final = 0.9
"""A colour edge nearer to another line than so many stitches would only double it."""
SHORT: Final = 3.0
"""Shorter colour edges are left out, in stitches."""


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
    lab = np.asarray(cv2.GaussianBlur(lab, (0, 0), 0.8), dtype=np.float32)
    for _ in range(2):
        lab = np.asarray(cv2.bilateralFilter(lab, 7, 9.0, 2.0), dtype=np.float32)
    gradient = colour_gradient(lab)
    labels = grow_regions(gradient, np.inf, 2.0 * scale**2, EDGE)
    found = boundary_network(labels, gradient, scale, float(sum(shape)) * 4)
    known = np.concatenate([np.zeros((0, 2)), *[curve.points for curve in others.curves]])
    network = CurveNetwork(found.nodes, [])
    for curve in found.curves:
        network.curves += _parts_apart(replace(curve, solid=False), known, network)
    return network


def _parts_apart(curve: Curve, known: npt.NDArray[np.float64], network: CurveNetwork) -> list[Curve]:
    """Return the parts of a curve that keep away from known lines."""
    apart = ~np.isfinite(find_nearest(known, curve.points, APART)[0])
    if apart.all():
        return [curve] if curve.length >= SHORT else []
    if curve.closed:
        # Begin beside another line, so that no part runs over the seam.
        first = int(np.argmin(apart))
        ring = np.roll(curve.points[:-1], -first, axis=0)
        curve = replace(curve, points=np.concatenate([ring, ring[:1]]))
        apart = np.roll(apart[:-1], -first)
        apart = np.append(apart, apart[0])
    change = np.diff(np.concatenate([[0], apart.astype(int), [0]]))
    parts = []
    for low, high in zip(np.nonzero(change == 1)[0].tolist(), np.nonzero(change == -1)[0].tolist(), strict=True):
        points = curve.points[low:high]
        if len(points) < 2 or curve_length(points) < SHORT:
            continue
        ends = []
        for at, own, place in ((low, curve.start, points[0]), (high, curve.end, points[-1])):
            if own >= 0 and at in (0, len(curve.points)):
                ends.append(own)
            else:
                ends.append(len(network.nodes))
                network.nodes.append(place)
        parts.append(replace(curve, points=points, start=ends[0], end=ends[1]))
    return parts


def mark_curves(network: CurveNetwork, shape: tuple[int, int], scale: int) -> MaskArray:
    """Return the curves of a network drawn one pixel wide, (rows * scale, cols * scale)."""
    mask = np.zeros((shape[0] * scale, shape[1] * scale), dtype=np.uint8)
    for curve in network.curves:
        cv2.polylines(mask, [np.rint(curve.points[:, ::-1] * scale).astype(np.int32)], False, 1)
    return mask > 0
