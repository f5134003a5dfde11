"""Suggest backstitches for a picture: the stages in order."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
from skimage.morphology import skeletonize

from converter.model.arrays import CellArray, LineArray, MaskArray, PictureArray
from converter.outline.contour import trace_contours
from converter.outline.fit import FitWeights
from converter.outline.frame import find_ink, to_frame, to_gray, working_scale
from converter.outline.graph import Curve, CurveNetwork, contract_links, join_pairs, prune_spurs
from converter.outline.lattice import HoleArray
from converter.outline.network import chain_stitches, fit_network
from converter.outline.simplify import resample_curve, smooth_curve
from converter.outline.skeleton import trace_skeleton
from converter.settings import LineSettings

THIN = 1.75
"""Ink thinner than so many stitches is a stroke with a centre line; thicker ink has an outline."""


def suggest(
    picture: PictureArray,
    placement: npt.NDArray[np.float64],
    shape: tuple[int, int],
    cells: CellArray | None = None,
    kind: str = "line",
    settings: LineSettings | None = None,
) -> LineArray:
    """Return the backstitches that follow a picture's strokes and edges."""
    return chain_stitches(suggest_chains(picture, placement, shape, cells, kind, settings))


def suggest_chains(
    picture: PictureArray,
    placement: npt.NDArray[np.float64],
    shape: tuple[int, int],
    cells: CellArray | None = None,
    kind: str = "line",
    settings: LineSettings | None = None,
) -> list[HoleArray]:
    """Return the same as chains of holes, each one backstitch apart."""
    settings = settings or LineSettings()
    frame = to_frame(picture, placement, shape, working_scale(shape[1], shape[0]))
    network = drawing_network(frame.rgb, frame.scale)
    return fit_network(network, shape, FitWeights())


def drawing_network(rgb: npt.NDArray[np.float32], scale: int) -> CurveNetwork:
    """Return the curves of a drawing: centre lines of strokes, outlines of areas."""
    field, ink = find_ink(to_gray(rgb), scale)
    strokes, _ = split_by_thickness(ink, scale)
    network = stroke_network(strokes, scale)
    for loop in trace_contours(np.where(strokes, -np.abs(field), field), 0.0):
        points = resample_curve(loop / scale, 0.1)
        if len(points) > 12:
            network.curves.append(Curve(smooth_curve(points, 2, True), solid=True))
    return network


def split_by_thickness(ink: MaskArray, scale: int) -> tuple[MaskArray, MaskArray]:
    """Return the strokes and the solid areas of an ink mask."""
    inside = cv2.distanceTransform(np.pad(ink, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    count, label = cv2.connectedComponents(ink.astype(np.uint8), connectivity=8)
    thick = np.zeros(count)
    np.maximum.at(thick, np.asarray(label, dtype=np.int64).ravel(), np.asarray(inside, dtype=np.float64).ravel())
    solid = thick[label] * 2 > THIN * scale
    return ink & ~solid, ink & solid


def _thin(mask: MaskArray) -> MaskArray:
    return np.asarray(skeletonize(mask), dtype=np.bool_)  # type: ignore[no-untyped-call]


def stroke_network(strokes: MaskArray, scale: int) -> CurveNetwork:
    """Return the centre lines of thin strokes as a network."""
    if not strokes.any():
        return CurveNetwork()
    inside = cv2.distanceTransform(np.pad(strokes, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1] / scale
    network = join_pairs(trace_skeleton(_thin(strokes), scale))
    limits = []
    for row, col in network.nodes:
        r, c = int(row * scale), int(col * scale)
        near = inside[max(r - 2, 0) : r + 3, max(c - 2, 0) : c + 3]
        limits.append(1.4 * float(near.max()) + 0.15)
    network = prune_spurs(network, limits)
    network = contract_links(network, 0.8)
    network = join_pairs(network)
    curves = []
    for curve in network.curves:
        points = smooth_curve(resample_curve(curve.points, 0.1), 4, curve.closed)
        curves.append(Curve(points, curve.start, curve.end))
    return CurveNetwork(network.nodes, curves)
