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
from converter.outline.graph import Curve, CurveNetwork
from converter.outline.near import find_nearest
from converter.outline.regions import boundary_network, colour_gradient, grow_regions, region_scale
from converter.outline.simplify import curve_length, smooth_curve

COLOURFUL: Final = 16.0
"""Spread of hue, CIELAB units, below which a drawing has no colours but those of light and paper."""
EDGE: Final = 2.5
"""Gradient of hue, CIELAB units a pixel, that makes an edge: a step of about a dozen units."""
APART: Final = 0.9
"""A colour edge nearer to another line than so many stitches would only double it."""
SHORT: Final = 3.0
"""Shorter colour edges are left out, in stitches."""
BESIDE: Final = 0.8
"""The two sides of an edge are compared so many stitches from it,"""
FARTHER: Final = 2.4
"""and again so many stitches from it."""
SUDDEN: Final = 0.55
"""Share of the farther change of hue that an edge makes near by. A third is an even run, 1 a step."""
SPACING: Final = 0.1
"""Points of a boundary are so many stitches apart."""
EVEN_OUT: Final = 1.0
"""Changes of hue are averaged along an edge over so many stitches to both sides."""


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
        kept = _is_sudden(curve, plain, scale) & ~np.isfinite(find_nearest(known, curve.points, APART)[0])
        network.curves += _parts_kept(replace(curve, solid=False), kept, network)
    return network


def _is_sudden(curve: Curve, hue: npt.NDArray[np.float32], scale: int) -> npt.NDArray[np.bool_]:
    """Return for each point of a curve whether the hue steps there, rather than running from one to the other."""
    along = np.gradient(smooth_curve(curve.points, 5, curve.closed), axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    across = along[:, ::-1] * (1, -1)
    changes = []
    for reach in (BESIDE, FARTHER):
        sides = []
        for sign in (-1, 1):
            at = ((curve.points + sign * reach * across) * scale - 0.5).astype(np.float32)
            rows, cols = np.ascontiguousarray(at[:, :1]), np.ascontiguousarray(at[:, 1:])
            sides.append(cv2.remap(hue, cols, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[:, 0])
        change = np.hypot(*(sides[1] - sides[0]).T)
        size = 2 * round(EVEN_OUT / SPACING) + 1
        changes.append(np.convolve(np.pad(change, size // 2, mode="edge"), np.full(size, 1 / size), "valid"))
    return np.asarray(changes[0] >= SUDDEN * changes[1])


def _parts_kept(curve: Curve, kept: npt.NDArray[np.bool_], network: CurveNetwork) -> list[Curve]:
    """Return the parts of a curve whose points are kept."""
    if kept.all():
        return [curve] if curve.length >= SHORT else []
    if curve.closed:
        # Begin where nothing is kept, so that no part runs over the seam.
        first = int(np.argmin(kept))
        ring = np.roll(curve.points[:-1], -first, axis=0)
        curve = replace(curve, points=np.concatenate([ring, ring[:1]]))
        kept = np.roll(kept[:-1], -first)
        kept = np.append(kept, kept[0])
    change = np.diff(np.concatenate([[0], kept.astype(int), [0]]))
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
