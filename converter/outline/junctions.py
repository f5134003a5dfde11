"""Straight strokes stay straight where they meet others.

The middle of the ink leaves the middle of a stroke where another one joins it: it is drawn towards the joining
side, for a stretch that grows with the pen and with the sharpness of the angle. So where two straight curves at a
node lie on one line beyond that stretch, they are taken to run on along that line, and the node is where the other
strokes cut it. Where one straight curve goes on as an arc, its own line tells. An arc
that another stroke joins is led through the joint as a cubic.

Where straight strokes end together, as in the head of an arrow, the node is where all their lines meet.

Likewise the middle of the ink is round where two strokes meet in a corner, and leans over where the corner is sharp.
There both strokes are led straight on to where they cut each other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np

from converter.model.arrays import PointArray
from converter.outline.graph import Curve, CurveNetwork, direction_at, lead_to

STRAIGHT: Final = 0.05
"""Points of a straight stroke keep so near to a line, root mean square, in stitches."""
QUITE: Final = 0.025
"""The same if a nearer stretch that leans over a little is not to be taken for it."""
WINDOW: Final = 4.0
"""A stroke is looked at for so many stitches beyond the junction."""
LEAST: Final = 1.2
"""Less than so many stitches do not tell whether a stroke is straight."""
STUB: Final = 0.25
"""Of a short stroke so many stitches beyond the junction tell whether it goes on along the line of another."""
TURN: Final = 0.12
"""Two strokes whose directions differ by less, in radians, may be one."""
SLANT: Final = 0.3
"""Sine of the least angle at which two lines tell where they meet."""
BEND: Final = 0.6
"""A curve has a corner where it turns by so much, in radians, between one half stitch and the next."""
ONWARD: Final = 0.9
"""Cosine of the turn up to which an arc goes on from a straight stroke."""
BOW: Final = 0.75
"""Cosine of the turn up to which two strokes are one arc through a junction."""
SURE: Final = 2.5
"""A stretch so many stitches long tells a straight stroke from an arc."""
MEET: Final = 0.15
"""Lines that pass a point so near meet there, in stitches."""
OFF: Final = 0.15
"""Two lines that cut each other farther than so many stitches from a corner are not its sides."""


@dataclass(frozen=True, eq=False)
class _End:
    """A straight end of a curve, as seen from its node."""

    middle: PointArray
    way: PointArray
    """Unit direction away from the node."""
    window: PointArray
    first: int
    """Points of the curve before this one belong to the junction."""
    sure: bool
    """Quite straight for long enough to be no arc."""


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
    found = {
        (index, side): _straight_end(curves[index].points if side == 0 else curves[index].points[::-1], clear)
        for ends in at_node.values()
        for index, side in ends
    }
    known = {end: straight for end, straight in found.items() if straight is not None}
    known |= _links(curves, at_node, known, max(pen / 2, 0.25))
    for node, ends in sorted(at_node.items()):
        straight = {end: known[end] for end in ends if end in known}
        straight |= _stubs(curves, straight, [end for end in ends if end not in straight], nodes[node], clear)
        lines, paired = _through_lines(straight, nodes[node], 0.3 * pen + 0.15)
        if lines:
            others = [end for key, end in straight.items() if key not in paired]
            nodes[node] = _meeting(nodes[node], lines, others, clear)
        else:
            tip = _common_point([end for end in straight.values() if end.sure])
            if tip is None or np.hypot(*(tip - nodes[node])) > 0.6 * pen + 0.35:
                away = {
                    end: direction_at(curves[end[0]].points[:: 1 if end[1] == 0 else -1], clear + 1.0) for end in ends
                }
                bent = _bent_line(straight, away, nodes[node], 0.3 * pen + 0.15)
                if bent is None:
                    _bow(curves, nodes, node, ends, straight, clear)
                    continue
                straight = {end: line for end, line in straight.items() if line.sure}
                line = straight[bent]
                others = [end for key, end in straight.items() if key != bent]
                tip = _meeting(nodes[node], [(line.middle, line.way)], others, clear)
            nodes[node] = tip
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


def sharpen_corners(points: PointArray, closed: bool, pen: float) -> PointArray:
    """Return a curve whose corners between straight stretches are sharp.

    Parameters
    ----------
    points : ndarray of shape (n, 2)
        In stitches, evenly spaced; a closed curve repeats its first point.
    closed : bool
    pen : float
        Width of the strokes, in stitches.
    """
    ring = len(points) - 1
    corners = _corners(points, closed)
    if not corners:
        return points
    if closed:
        # Begin half way between two corners.
        shift = (corners[-1] + corners[0] + ring) // 2 % ring
        points = np.concatenate([points[shift:-1], points[: shift + 1]])
        corners = sorted((corner - shift) % ring for corner in corners)
    pieces, at = [], 0
    clear = 1.3 * pen + 0.2
    for corner, before, after in zip(corners, [0, *corners], [*corners[1:], ring], strict=False):
        back = _straight_end(points[before : corner + 1][::-1], clear, (3.0, 1.6, 1.0), 3.0)
        on = _straight_end(points[corner : after + 1], clear, (3.0, 1.6, 1.0), 3.0)
        if back is None or on is None:
            continue
        across = np.array([-back.way[1], back.way[0]])
        slant = float(on.way @ across)
        if abs(slant) < SLANT:
            continue
        tip = on.middle - ((on.middle - back.middle) @ across / slant) * on.way
        if np.hypot(*(tip - points[corner])) > OFF + 0.5 * pen:
            continue
        first, last = corner - back.first, corner + on.first
        for end, index in ((back, first), (on, last)):
            foot = end.middle + ((points[index] - end.middle) @ end.way) * end.way
            share = np.linspace(0.0, 1.0, end.first + 1)[1:, None]
            if end is back:
                pieces += [points[at:first], foot[None], foot + share * (tip - foot)]
            else:
                pieces.append(tip + share * (foot - tip))
        at = last + 1
    return np.concatenate([*pieces, points[at:]])


def _corners(points: PointArray, closed: bool) -> list[int]:
    """Return the indices of points where a curve turns most, by at least `BEND`."""
    reach = 5
    count = len(points) - 1 if closed else len(points)
    if count < 4 * reach:
        return []
    at = np.arange(count) if closed else np.arange(reach, count - reach)
    back, on = points[at] - points[(at - reach) % count], points[(at + reach) % count] - points[at]
    cross = back[:, 0] * on[:, 1] - back[:, 1] * on[:, 0]
    turn = np.round(np.abs(np.arctan2(cross, (back * on).sum(axis=1))), 6)
    corners: list[int] = []
    for k in np.nonzero(turn > BEND)[0].tolist():
        around = np.arange(k - reach, k + reach + 1)
        near = turn[around % count] if closed else turn[np.clip(around, 0, len(turn) - 1)]
        if turn[k] == near.max() and not (corners and at[k] - corners[-1] <= reach):
            corners.append(int(at[k]))
    return corners


def _straight_end(
    points: PointArray, clear: float, starts: tuple[float, ...] = (1.0, 1.6, 2.6), sure: float = 1.6
) -> _End | None:
    """Return the straight stretch of a curve beyond a junction at its first point, or None.

    The stretch begins at the first of ``starts``, in parts of ``clear``, from where the curve is quite straight, or
    else, up to ``sure``, fairly straight: what begins farther off tells less about the junction.
    """
    if len(points) < 2:
        return None
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    fair = None
    for part in starts:
        start = clear * part
        stop = min(start + WINDOW, float(along[-1]) - 0.5)
        for reach in (stop, (start + stop) / 2):
            # The other half of the curve is for its other end.
            if reach - start < LEAST or start > along[-1] / 2:
                continue
            first, last = np.searchsorted(along, (start, reach))
            window = points[first : last + 1]
            middle, way, rms = _fit_line(window)
            if rms <= (STRAIGHT if part <= sure and fair is None else QUITE):
                way = way if (window[-1] - window[0]) @ way > 0 else -way
                fair = _End(middle, way, window, int(first), rms <= QUITE and reach - start >= SURE)
                if rms <= QUITE:
                    return fair
    return fair


def _stubs(
    curves: list[Curve],
    straight: dict[tuple[int, int], _End],
    others: list[tuple[int, int]],
    node: PointArray,
    clear: float,
) -> dict[tuple[int, int], _End]:
    """Return the ends at a node too short to be straight themselves that go on along the line of a straight one."""
    stubs: dict[tuple[int, int], _End] = {}
    for index, side in others:
        points = curves[index].points if side == 0 else curves[index].points[::-1]
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        if along[-1] - 0.5 < clear + STUB:
            continue
        first, last = np.searchsorted(along, (clear, min(along[-1] - 0.5, clear + LEAST)))
        window = points[first : last + 1]
        found = []
        for key, end in sorted(straight.items()):
            if -float((window.mean(axis=0) - node) @ end.way) > ONWARD * np.hypot(*(window.mean(axis=0) - node)):
                middle, way, rms = _fit_line(np.concatenate([end.window, window]))
                if rms <= STRAIGHT:
                    found.append((rms, key, middle, way if way @ end.way < 0 else -way))
        if found:
            _, _, middle, way = min(found, key=lambda item: item[:2])
            stubs[index, side] = _End(middle, way, window, int(first), False)
    return stubs


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
    straight: dict[tuple[int, int], _End], node: PointArray, reach: float
) -> tuple[list[tuple[PointArray, PointArray]], set[tuple[int, int]]]:
    """Return the lines within reach of a node on which two ends lie, straightest first, and those ends."""
    keys = sorted(straight)
    found = []
    for k, a in enumerate(keys):
        for b in keys[k + 1 :]:
            turn = float(np.arccos(np.clip(-straight[a].way @ straight[b].way, -1.0, 1.0)))
            if turn < TURN:
                middle, way, rms = _fit_line(np.concatenate([straight[a].window, straight[b].window]))
                off = abs(float((node - middle) @ np.array([-way[1], way[0]])))
                if rms <= 1.2 * STRAIGHT and off <= reach:
                    found.append((rms, a, b, middle, way))
    lines: list[tuple[PointArray, PointArray]] = []
    paired: set[tuple[int, int]] = set()
    for _, a, b, middle, way in sorted(found, key=lambda item: item[:3]):
        if a not in paired and b not in paired:
            lines.append((middle, way))
            paired |= {a, b}
    return lines, paired


def _bow(
    curves: list[Curve],
    nodes: list[PointArray],
    node: int,
    ends: list[tuple[int, int]],
    straight: dict[tuple[int, int], _End],
    clear: float,
) -> None:
    """Lead an arc smoothly through a node where another stroke joins it, and the node onto it.

    Notes
    -----
    Between two points beyond the junction the arc is the cubic with their places and directions.
    """
    beyond = {}
    for index, side in ends:
        points = curves[index].points if side == 0 else curves[index].points[::-1]
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        if along[-1] >= 2 * clear + LEAST:
            first, middle, last = np.searchsorted(along, (clear, clear + LEAST / 2, clear + LEAST))
            # The direction at the first point, from those of the two halves beyond it.
            way = 1.5 * (points[middle] - points[first]) - 0.5 * (points[last] - points[middle])
            beyond[index, side] = (points, int(first), way / np.hypot(*way))
    pairs = [
        (round(float(beyond[a][2] @ beyond[b][2]), 6), a, b)
        for a, b in combinations(sorted(beyond), 2)
        if not (a in straight and b in straight and straight[a].sure and straight[b].sure)
    ]
    if not pairs or min(pairs)[0] > -BOW:
        return
    _, a, b = min(pairs)
    (one, first, way), (other, last, onward) = beyond[a], beyond[b]
    start, end = one[first], other[last]
    length = float(np.hypot(*(end - start)))
    t = np.linspace(0.0, 1.0, first + last + 1)[:, None]
    arc = (
        (2 * t**3 - 3 * t**2 + 1) * start
        - (t**3 - 2 * t**2 + t) * length * way
        + (3 * t**2 - 2 * t**3) * end
        + (t**3 - t**2) * length * onward
    )
    cutting = [straight[key] for key in sorted(straight) if key not in (a, b)]
    off = np.hypot(*(arc - nodes[node]).T)
    if cutting:
        across = np.array([-cutting[0].way[1], cutting[0].way[0]])
        off = np.abs((arc - cutting[0].middle) @ across) + 0.1 * off
    at = int(np.argmin(np.round(off[1:-1], 6))) + 1
    if np.hypot(*(arc[at] - nodes[node])) > clear / 2:
        return
    nodes[node] = arc[at]
    for index, side in ends:
        points = curves[index].points if side == 0 else curves[index].points[::-1]
        if (index, side) == a:
            points = np.concatenate([arc[at::-1], one[first + 1 :]])
        elif (index, side) == b:
            points = np.concatenate([arc[at:], other[last + 1 :]])
        else:
            points = lead_to(points, nodes[node])
        curves[index] = replace(curves[index], points=points if side == 0 else points[::-1])


def _bent_line(
    straight: dict[tuple[int, int], _End],
    away: dict[tuple[int, int], PointArray],
    node: PointArray,
    reach: float,
) -> tuple[int, int] | None:
    """Return the surely straight end within reach of a node that goes on there as an arc; None if there is none.

    Parameters
    ----------
    straight : dict
        The straight ends at the node.
    away : dict
        The direction in which each end leaves the node.
    node : ndarray of shape (2,)
    reach : float
    """
    for key in sorted(straight):
        end = straight[key]
        off = abs(float((node - end.middle) @ np.array([-end.way[1], end.way[0]])))
        onward = [other for other, way in away.items() if -float(way @ end.way) > ONWARD]
        onward = [other for other in onward if other not in straight or not straight[other].sure]
        if end.sure and off <= reach and onward:
            return key
    return None


def _common_point(ends: list[_End]) -> PointArray | None:
    """Return the point that the lines of straight ends all pass through; None if there is none.

    In the head of an arrow the middle of the ink parts below the tip.
    """
    if len(ends) < 2:
        return None
    across = np.array([(-end.way[1], end.way[0]) for end in ends])
    offset = np.array([float(end.middle @ normal) for end, normal in zip(ends, across, strict=True)])
    spread = np.linalg.eigvalsh(across.T @ across)
    if spread[0] < SLANT**2:
        return None
    point = np.linalg.lstsq(across, offset, rcond=None)[0]
    return np.asarray(point) if np.abs(across @ point - offset).max() <= MEET else None


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
