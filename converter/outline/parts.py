"""Ink told apart into strokes and areas, and both into curves.

A part of the ink is an area where a disc of `THIN` stitches fits into it, and a stroke elsewhere. In a drawing
of areas a disc of `THIN_LIMB` will do, lest the limbs that go with them be lines. Two things are not taken at
their word: where strokes cross, a larger disc fits than into the strokes, and the corner of an area is thin.
So a thick core counts only if it is long or much thicker than the limit, and a thin part only if it reaches
out farther than it is wide. Narrow gaps between areas are handled in the same way, with the roles of ink and
ground exchanged.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import LabelArray, MaskArray, PointArray
from converter.outline.contour import trace_contours
from converter.outline.graph import Curve, CurveNetwork, join_pairs
from converter.outline.junctions import sharpen_corners, straighten_junctions
from converter.outline.near import find_nearest
from converter.outline.pruning import contract_links, prune_spurs
from converter.outline.simplify import resample_curve, smooth_curve
from converter.outline.skeleton import trace_skeleton
from converter.pixels.runs import spread
from converter.pixels.thinning import thin_to_lines

THIN = 1.75
"""Ink thinner than so many stitches is a stroke with a centre line; thicker ink has an outline."""
THIN_LIMB = 1.5
"""The same where a good part of the ink is areas: there a thin limb is a shape as they are."""
MOSTLY_AREAS = 0.3
"""So much of the ink is a good part of it."""
WIDE_STROKE = 3.0
"""The same where only strokes are asked for."""
DOT = 1.3
"""A dot at least so many stitches across has an outline; a smaller one is left to the crosses."""
COMPACT = 2.6
"""A dot that tapers may be so many times as long as it is thick."""
JUNCTION = 2.0
"""Where strokes meet the ink may be so many times as thick as the pen."""
LONG = 2.5
"""A thin part that reaches out so many times the limit is a stroke whatever it is like in places."""
NARROW = 0.9
"""Two areas with a gap narrower than so many stitches between them share one line."""
SHORT_LINK = 0.5
"""A link shorter than so many stitches between two junctions is none."""
FINE = 0.1
"""Spacing of the points of a curve before it is fitted, in stitches."""


def distance_inside(mask: MaskArray, scale: int) -> npt.NDArray[np.float64]:
    """Return how far each pixel of a mask lies from what is outside it, in stitches; beyond the picture is outside."""
    padded = np.pad(mask, 1).astype(np.uint8)
    away = np.asarray(cv2.distanceTransform(padded, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)[1:-1, 1:-1], dtype=np.float64)
    # To the edge between the pixels, not to the middle of the first pixel outside.
    return np.maximum(away - 0.5, 0.0) / scale


@dataclass(frozen=True, eq=False)
class Thickness:
    """How thick a mask is in each place, in stitches."""

    mask: MaskArray
    """(H, W)"""
    scale: int
    """Pixels a stitch."""
    inside: npt.NDArray[np.float64]
    """(H, W): see `distance_inside`."""
    half_width: npt.NDArray[np.float64]
    """(H, W): see `_half_width`."""


def measure_thickness(mask: MaskArray, scale: int) -> Thickness:
    """Return how thick a mask is in each place."""
    inside = distance_inside(mask, scale)
    return Thickness(mask, scale, inside, _half_width(inside, scale))


def _half_width(inside: npt.NDArray[np.float64], scale: int) -> npt.NDArray[np.float64]:
    """Return distances whose ridges tell half the width of a stroke, whether an odd or an even number of pixels.

    Across an even number none lies in the middle: the two beside it are half a pixel short.
    """
    edge = 0.25 / scale
    padded = np.pad(inside, 2)
    flat, result = padded.ravel(), padded.copy()
    at = np.flatnonzero(flat)
    first = flat[at]
    for step in (padded.shape[1], 1):
        second = flat[at + step]
        near = np.flatnonzero(np.abs(first - second) < edge)
        here, one, two = at[near], first[near], second[near]
        pair = (flat[here - step] < one - edge) & (flat[here + 2 * step] < two - edge)
        here = here[pair]
        result.ravel()[here] = one[pair] + 0.5 / scale
        result.ravel()[here + step] = two[pair] + 0.5 / scale
    return result[2:-2, 2:-2]


def _label(mask: MaskArray) -> tuple[int, LabelArray]:
    """Return the number of 8-connected groups and their labels; 0 is none."""
    count, label = cv2.connectedComponents(mask.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    return count, np.asarray(label, dtype=np.int32)


def _groups(mask: MaskArray) -> tuple[int, LabelArray, npt.NDArray[np.int64]]:
    """Return the number of 8-connected groups, their labels (0 is none) and the longer side of each one's box."""
    count, label, stats, _ = cv2.connectedComponentsWithStats(mask.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    side = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    return count, np.asarray(label, dtype=np.int32), np.asarray(side, dtype=np.int64)


def _greatest(owner: LabelArray, count: int, value: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the greatest value of each owner, at least 0."""
    best = np.zeros(count)
    np.maximum.at(best, owner, value)
    return best


def split_by_thickness(whole: Thickness, skeleton: MaskArray, limit: float) -> tuple[MaskArray, MaskArray]:
    """Return the thin parts and the thick parts of a mask.

    Parameters
    ----------
    whole : Thickness
        Of the mask.
    skeleton : ndarray of shape (H, W), bool
    limit : float
        Parts thinner than so many stitches are thin.

    Notes
    -----
    Where strokes cross or meet at a point the ink is up to `JUNCTION` times as thick as the pen. The pen
    is the upper end of the thickness along the thin part of the skeleton, for each group of ink.
    """
    mask, scale, inside, half_width = whole.mask, whole.scale, whole.inside, whole.half_width
    core = half_width * 2 > limit
    if not core.any():
        return mask, np.zeros_like(mask)
    count, label, side = _groups(core)
    thickest = 2 * _greatest(label[core], count, inside[core])
    outer_count, outer = _label(mask)
    pen = _pen_widths(outer_count, outer, skeleton, half_width, limit)[_first_in(label, count, outer)]
    meeting = (thickest <= JUNCTION * pen) & (side / scale <= 2 * JUNCTION * pen)
    real = ((side / scale >= 1.4 * limit) | (thickest >= 1.5 * limit)) & ~meeting
    real[0] = False
    core = spread(real, label)
    if not core.any():
        return mask, np.zeros_like(mask)
    away = (
        np.asarray(cv2.distanceTransform((~core).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE), dtype=np.float64)
        / scale
    )
    thick = mask & (away <= limit / 2 + 0.75 / scale)
    # Thin parts that do not reach out are corners of the areas.
    thin = mask & ~thick
    count, label = _label(thin)
    at = np.flatnonzero(label)
    owner, far, deep = label.ravel()[at], away.ravel()[at], inside.ravel()[at]
    reach = _greatest(owner, count, far) - limit / 2
    outside = far > limit / 2 + 0.3
    width = 2 * _greatest(owner, count, deep * outside)
    touches = np.zeros(count, dtype=bool)
    touches[np.unique(label[cv2.dilate(thick.view(np.uint8), np.ones((3, 3), np.uint8)) > 0])] = True
    # So is a sharp corner, which tapers; a stroke is about as wide at its tip as at its root.
    tip = 2 * _greatest(owner, count, deep * (far > limit / 2 + 0.6 * np.maximum(reach, 0.0)[owner]))
    taper = (tip < 0.6 * width) & (reach < 3.0)
    stout = (reach < 1.25) | (reach < 1.5 * width) | (width > 0.9 * limit) | taper
    # A long stroke is known by most of its length, though it is thicker where it meets itself in corners.
    along = outside & skeleton.ravel()[at]
    long = (reach >= LONG * limit) & (2 * _upper_quartile(owner[along], count, deep[along]) <= limit)
    keep = ~touches | ~stout | long
    keep[0] = False
    thin = spread(keep, label)
    return thin, mask & ~thin


def _upper_quartile(owner: LabelArray, count: int, value: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the upper quartile of the values of each owner; infinite where there are fewer than four."""
    order = np.lexsort((value, owner))
    first = np.searchsorted(owner[order], np.arange(count), side="left")
    size = np.searchsorted(owner[order], np.arange(count), side="right") - first
    result = np.full(count, np.inf)
    some = size > 3
    result[some] = value[order][(first + 0.75 * (size - 1)).astype(int)[some]]
    return result


def _pen_widths(
    count: int, label: LabelArray, skeleton: MaskArray, half_width: npt.NDArray[np.float64], limit: float
) -> npt.NDArray[np.float64]:
    """Return the pen width of each group of ink; 0 where most of it is not thin."""
    along = skeleton & (half_width * 2 <= limit)
    owner, width = label[along], 2 * half_width[along]
    order = np.lexsort((width, owner))
    owner, width = owner[order], width[order]
    last = np.searchsorted(owner, np.arange(count), side="right")
    first = np.searchsorted(owner, np.arange(count), side="left")
    pens = np.zeros(count)
    # A pen is what most of the group is drawn with.
    whole = np.bincount(label[skeleton], minlength=count)
    some = (last > first) & (2 * (last - first) >= whole)
    pens[some] = width[(first + 0.9 * (last - 1 - first)).astype(int)[some]]
    return pens


def _first_in(label: LabelArray, count: int, outer: LabelArray) -> npt.NDArray[np.int64]:
    """Return for each group of a core the group of ink that it lies in."""
    owner = np.zeros(count, dtype=np.int64)
    chosen = label > 0
    owner[label[chosen]] = outer[chosen]
    return owner


def take_dots(strokes: MaskArray, skeleton: MaskArray, scale: int) -> tuple[MaskArray, MaskArray]:
    """Return the strokes without dots, and the dots that are large enough for an outline.

    Notes
    -----
    A dot is hardly longer than thick. Below `DOT` it is left to the crosses. A small triangle is one too: up to
    `COMPACT` times as long as thick, and from the middle it tapers all round as no stroke does.
    """
    if not strokes.any():
        return strokes, strokes
    count, label, side = _groups(strokes)
    inside = distance_inside(strokes, scale)
    thickest = 2 * _greatest(label[strokes], count, inside[strokes])
    dot = side / scale < 1.6 * thickest + 1.0 / scale
    dot |= (thickest >= DOT) & (side / scale < COMPACT * thickest) & _tapers(label, count, inside, skeleton & strokes)
    dot[0] = False
    large = dot & (thickest >= DOT)
    return strokes & ~spread(dot, label), spread(large, label)


def _tapers(
    label: LabelArray, count: int, inside: npt.NDArray[np.float64], skeleton: MaskArray
) -> npt.NDArray[np.bool_]:
    """Return for each group whether the lower quartile of its thickness along the skeleton is under half the upper."""
    owner, width = label[skeleton], inside[skeleton]
    order = np.lexsort((width, owner))
    owner, width = owner[order], width[order]
    first = np.searchsorted(owner, np.arange(count), side="left")
    size = np.searchsorted(owner, np.arange(count), side="right") - first
    result = np.zeros(count, dtype=bool)
    some = size > 3
    low, high = (width[(first + share * (size - 1)).astype(int)[some]] for share in (0.25, 0.75))
    result[some] = low < 0.5 * high
    return result


def stroke_network(
    strokes: MaskArray, inside: npt.NDArray[np.float64], skeleton: MaskArray, scale: int
) -> CurveNetwork:
    """Return the centre lines of thin strokes as a network.

    Parameters
    ----------
    strokes : ndarray of shape (H, W), bool
    inside : ndarray of shape (H, W)
        From `distance_inside`, of the strokes and the areas they spring from.
    skeleton : ndarray of shape (H, W), bool
        Of the whole.
    scale : int
    """
    if not strokes.any():
        return CurveNetwork()
    network = join_pairs(trace_skeleton(skeleton & strokes, scale))
    pen = 2 * float(np.median(inside[skeleton & strokes]))

    def depth(points: PointArray) -> npt.NDArray[np.float64]:
        at = np.clip((points * scale).astype(int), 0, np.array(inside.shape) - 1)
        return np.asarray(inside[at[:, 0], at[:, 1]])

    network = prune_spurs(network, _spur_lengths(network, inside, scale), pen / 2, depth)
    network = contract_links(network, max(0.6, 1.1 * pen), pen / 2)
    network = prune_spurs(network, _spur_lengths(network, inside, scale), pen / 2, depth)
    network = join_pairs(network)
    curves = []
    for curve in network.curves:
        points = smooth_curve(resample_curve(curve.points, FINE), 2, curve.closed)
        curves.append(replace(curve, points=sharpen_corners(points, curve.closed, pen)))
    network = straighten_junctions(CurveNetwork(network.nodes, curves), pen)
    # Two strokes that cross at a small angle now do so at one place.
    return contract_links(network, SHORT_LINK)


def _spur_lengths(network: CurveNetwork, inside: npt.NDArray[np.float64], scale: int) -> list[float]:
    """Return for each node the length up to which a free end there is only the thickness of the stroke."""
    limits = []
    for row, col in network.nodes:
        r, c = int(row * scale), int(col * scale)
        near = inside[max(r - 2, 0) : r + 3, max(c - 2, 0) : c + 3]
        limits.append(1.4 * float(near.max(initial=0.0)) + 0.15)
    return limits


def area_network(field: npt.NDArray[np.floating[Any]], scale: int) -> CurveNetwork:
    """Return the contours of areas, where the field is 0, as closed curves."""
    network = CurveNetwork()
    for loop in trace_contours(field, 0.0):
        points = resample_curve(loop / scale, FINE)
        if len(points) * FINE > 2.0:
            network.curves.append(Curve(smooth_curve(points, 2, True), solid=True))
    return network


def attach_strokes(
    strokes: CurveNetwork, areas: CurveNetwork, solid: MaskArray, scale: int, reach: float
) -> CurveNetwork:
    """Return strokes and contours as one network, free ends of strokes at an area led to its contour.

    Parameters
    ----------
    strokes, areas : CurveNetwork
    solid : ndarray of shape (H, W), bool
        The areas.
    scale : int
    reach : float
        Ends farther than so many stitches from every contour stay free.
    """
    degree = strokes.degrees()
    near = cv2.dilate(solid.astype(np.uint8), np.ones((2 * (scale // 3) + 1,) * 2, np.uint8)) > 0
    network = CurveNetwork(list(strokes.nodes), list(strokes.curves))
    loops = [curve.points for curve in areas.curves]
    cuts: dict[int, list[tuple[int, int]]] = {}
    if loops:
        owner = np.repeat(np.arange(len(loops)), [len(loop) - 1 for loop in loops])
        first = np.concatenate([[0], np.cumsum([len(loop) - 1 for loop in loops])])
        rims = np.concatenate([loop[:-1] for loop in loops])
        for node, point in enumerate(strokes.nodes):
            if degree[node] != 1:
                continue
            r, c = np.clip((point * scale).astype(int), 0, np.array(solid.shape) - 1)
            if not near[r, c]:
                continue
            away, nearest = find_nearest(rims, point[None], reach)
            if np.isfinite(away[0]):
                index = int(nearest[0])
                loop = int(owner[index])
                cuts.setdefault(loop, []).append((int(index - first[loop]), node))
                _extend_to(network, node, loops[loop][index - first[loop]])
    for index, curve in enumerate(areas.curves):
        here = sorted(cuts.get(index, []))
        if not here:
            network.curves.append(curve)
            continue
        ring = curve.points[:-1]
        for k, (at, node) in enumerate(here):
            upto, other = here[(k + 1) % len(here)]
            if upto == at and len(here) > 1 and k + 1 < len(here):
                upto = at + 1
            span = (upto - at) % len(ring) or len(ring)
            points = ring[(at + np.arange(span + 1)) % len(ring)].copy()
            points[0], points[-1] = network.nodes[node], network.nodes[other]
            network.curves.append(replace(curve, points=points, start=node, end=other))
    return network


def _extend_to(network: CurveNetwork, node: int, point: PointArray) -> None:
    """Lead the one curve that ends at a node on to a point, and move the node there."""
    network.nodes[node] = point
    for index, curve in enumerate(network.curves):
        if curve.closed or node not in (curve.start, curve.end):
            continue
        points = curve.points if curve.end == node else curve.points[::-1]
        count = max(int(np.hypot(*(point - points[-1])) / FINE), 1)
        bridge = points[-1] + np.linspace(0, 1, count + 1)[1:, None] * (point - points[-1])
        points = np.concatenate([points, bridge])
        network.curves[index] = replace(curve, points=points if curve.end == node else points[::-1])


def drawing_network(field: npt.NDArray[np.float32], ink: MaskArray, scale: int, areas: bool = True) -> CurveNetwork:
    """Return the curves of a drawing: centre lines of strokes and gaps, outlines of areas.

    Parameters
    ----------
    field : ndarray of shape (H, W), float32
        Above 0 in ink.
    ink : ndarray of shape (H, W), bool
    scale : int
        Pixels a stitch.
    areas : bool
        False leaves the areas out, and takes wider strokes for strokes.
    """
    limit = THIN if areas else WIDE_STROKE
    skeleton = thin_to_lines(ink, round(JUNCTION * limit * scale / 2) + 2)
    whole = measure_thickness(ink, scale)
    strokes, solid = split_by_thickness(whole, skeleton, limit)
    if areas and solid.sum() > MOSTLY_AREAS * ink.sum():
        strokes, solid = split_by_thickness(whole, skeleton, THIN_LIMB)
    strokes, dots = take_dots(strokes, skeleton, scale)
    solid = solid | dots
    network = stroke_network(strokes, whole.inside, skeleton, scale)
    del whole
    if not areas or not solid.any():
        return network
    field = np.where(strokes, -np.abs(field), field)
    ground = ~solid
    margin = 2 * scale
    inner = np.s_[margin:-margin, margin:-margin]
    around = np.pad(ground, margin, constant_values=True)
    # Only ground near the areas can be a gap between them.
    near = cv2.dilate(np.pad(solid, margin).astype(np.uint8), np.ones((3 * scale // 2,) * 2, np.uint8)) > 0
    lines = thin_to_lines(around & near, round(JUNCTION * NARROW * scale / 2) + 2)
    gaps = split_by_thickness(measure_thickness(around, scale), lines, NARROW)[0][inner] & ~strokes
    if gaps.any():
        seams = stroke_network(gaps, distance_inside(ground, scale), lines[inner], scale)
        network.extend(seams)
        field = np.where(gaps, np.abs(field) + 1e-4, field)
        solid = solid | gaps
    return attach_strokes(network, area_network(field, scale), solid, scale, THIN)
