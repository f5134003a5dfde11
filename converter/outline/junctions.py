"""Straight strokes stay straight where they meet others.

The middle of the ink leaves the middle of a stroke where another one joins it: it is drawn towards the joining
side, for a stretch that grows with the pen and with the sharpness of the angle. So where two straight curves at a
node lie on one line beyond that stretch, they are taken to run on along that line, and the node is where the other
strokes cut it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from converter.model.arrays import PointArray
from converter.outline.graph import Curve, CurveNetwork, lead_to

STRAIGHT: Final = 0.05
"""Points of a straight stroke keep so near to a line, root mean square, in stitches."""
WINDOW: Final = 4.0
"""A stroke is looked at for so many stitches beyond the junction."""
LEAST: Final = 1.2
"""Less than so many stitches do not tell whether a stroke is straight."""
TURN: Final = 0.12
"""Two strokes whose directions differ by less, in radians, may be one."""
SLANT: Final = 0.3
"""Sine of the least angle at which two lines tell where they meet."""


@dataclass(frozen=True, eq=False)
class _End:
    """A straight end of a curve, as seen from its node."""

    middle: PointArray
    way: PointArray
    """Unit direction away from the node."""
    window: PointArray
    first: int
    """Points of the curve before this one belong to the junction."""


def straighten_junctions(network: CurveNetwork, pen: float) -> CurveNetwork:
    """Return the network with strokes that run straight through a junction straight in it.

    Parameters
    ----------
    network : CurveNetwork
        In stitches, the points of its curves evenly spaced.
    pen : float
        Width of the strokes, in stitches.
    """
    nodes, curves = list(network.nodes), list(network.curves)
    at_node: dict[int, list[tuple[int, int]]] = {}
    for index, curve in enumerate(curves):
        if not curve.closed:
            at_node.setdefault(curve.start, []).append((index, 0))
            at_node.setdefault(curve.end, []).append((index, 1))
    at_node = {node: ends for node, ends in at_node.items() if len(ends) > 2}
    clear = 1.3 * pen + 0.2
    found = {end: _straight_end(curves[end[0]], end[1], clear) for ends in at_node.values() for end in ends}
    known = {end: straight for end, straight in found.items() if straight is not None}
    known |= _links(curves, at_node, known, max(pen / 2, 0.25))
    for node, ends in sorted(at_node.items()):
        straight = {end: known[end] for end in ends if end in known}
        lines, paired = _through_lines(straight)
        if not lines:
            continue
        others = [end for key, end in straight.items() if key not in paired]
        nodes[node] = _meeting(nodes[node], lines, others, clear)
        for index, side in ends:
            points = curves[index].points if side == 0 else curves[index].points[::-1]
            end = straight.get((index, side))
            if end is None:
                points = lead_to(points, nodes[node])
            else:
                share = np.linspace(0.0, 1.0, end.first + 1)[:, None]
                target = end.middle + ((points[end.first] - end.middle) @ end.way) * end.way
                inner = nodes[node] + share * (target - nodes[node])
                points = np.concatenate([inner, points[end.first + 1 :]])
            curves[index] = replace(curves[index], points=points if side == 0 else points[::-1])
    return CurveNetwork(nodes, curves)


def _straight_end(curve: Curve, side: int, clear: float) -> _End | None:
    """Return the straight stretch of a curve beyond a junction, or None."""
    points = curve.points if side == 0 else curve.points[::-1]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    for start in (clear, 1.6 * clear):
        stop = min(start + WINDOW, float(along[-1]) - 0.5)
        for reach in (stop, (start + stop) / 2):
            if reach - start < LEAST:
                continue
            first, last = np.searchsorted(along, (start, reach))
            window = points[first : last + 1]
            middle, way, rms = _fit_line(window)
            if rms <= STRAIGHT:
                way = way if (window[-1] - window[0]) @ way > 0 else -way
                return _End(middle, way, window, int(first))
    return None


def _links(
    curves: list[Curve], at_node: dict[int, list[tuple[int, int]]], known: dict[tuple[int, int], _End], reach: float
) -> dict[tuple[int, int], _End]:
    """Return the ends of curves too short to be straight themselves that lie on a line which goes on at both nodes."""
    links: dict[tuple[int, int], _End] = {}
    for index, curve in enumerate(curves):
        if curve.closed or curve.start not in at_node or curve.end not in at_node or curve.start == curve.end:
            continue
        if (index, 0) in known or (index, 1) in known:
            continue
        found = []
        for a in at_node[curve.start]:
            for b in at_node[curve.end]:
                if a not in known or b not in known or a[0] == b[0]:
                    continue
                if np.arccos(np.clip(-known[a].way @ known[b].way, -1.0, 1.0)) < TURN:
                    middle, way, rms = _fit_line(np.concatenate([known[a].window, known[b].window]))
                    off = np.abs((curve.points - middle) @ np.array([-way[1], way[0]])).max()
                    if rms <= 1.2 * STRAIGHT and off <= reach:
                        found.append((rms, a, b))
        if found:
            _, a, b = min(found)
            half = len(curve.points) // 2
            # As seen from either node it is the curve beyond the other.
            links[index, 0] = replace(known[b], first=half)
            links[index, 1] = replace(known[a], first=len(curve.points) - 1 - half)
    return links


def _fit_line(points: PointArray) -> tuple[PointArray, PointArray, float]:
    """Return the mean of points, the unit direction in which they spread, and how far they are from that line."""
    middle = points.mean(axis=0)
    values, vectors = np.linalg.eigh(np.cov((points - middle).T, bias=True))
    return middle, vectors[:, 1], float(np.sqrt(max(values[0], 0.0)))


def _through_lines(
    straight: dict[tuple[int, int], _End],
) -> tuple[list[tuple[PointArray, PointArray]], set[tuple[int, int]]]:
    """Return the lines on which two ends lie, straightest first, and those ends."""
    keys = sorted(straight)
    found = []
    for k, a in enumerate(keys):
        for b in keys[k + 1 :]:
            turn = float(np.arccos(np.clip(-straight[a].way @ straight[b].way, -1.0, 1.0)))
            if turn < TURN:
                middle, way, rms = _fit_line(np.concatenate([straight[a].window, straight[b].window]))
                if rms <= 1.2 * STRAIGHT:
                    found.append((rms, a, b, middle, way))
    lines: list[tuple[PointArray, PointArray]] = []
    paired: set[tuple[int, int]] = set()
    for _, a, b, middle, way in sorted(found, key=lambda item: item[:3]):
        if a not in paired and b not in paired:
            lines.append((middle, way))
            paired |= {a, b}
    return lines, paired


def _meeting(
    node: PointArray, lines: list[tuple[PointArray, PointArray]], others: list[_End], clear: float
) -> PointArray:
    """Return where the other strokes cut the first line, near the node; else the point of the line nearest to it."""
    middle, way = lines[0]
    across = np.array([-way[1], way[0]])
    on_line = middle + ((node - middle) @ way) * way
    cuts = []
    for point, course in [*lines[1:], *((end.middle, end.way) for end in others)]:
        slant = float(course @ across)
        if abs(slant) >= SLANT:
            cut = point - ((point - middle) @ across / slant) * course
            if np.hypot(*(cut - on_line)) <= clear:
                cuts.append(cut)
    return np.asarray(np.mean(cuts, axis=0) if cuts else on_line, dtype=np.float64)
