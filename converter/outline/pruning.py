"""Ends and links of centre lines that no stroke has: they come of the strokes' thickness where these end and meet."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from converter.model.arrays import PointArray
from converter.outline.graph import (
    LEAST_SINE,
    Curve,
    CurveNetwork,
    direction_at,
    join,
    join_pairs,
    lead_to,
    merged_length,
)
from converter.outline.simplify import curve_length
from converter.outline.web import Least, Web

_AT_START, _AT_END = 0, 1


def prune_spurs(
    network: CurveNetwork,
    limits: list[float],
    half_pen: float = 0.0,
    depth: Callable[[PointArray], npt.NDArray[np.float64]] | None = None,
) -> CurveNetwork:
    """Return the network without free ends that are shorter than the stroke is thick.

    Parameters
    ----------
    network : CurveNetwork
    limits : list of float
        For each node, the length below which a free end that starts there is no stroke of its own.
    half_pen : float
        Half the width of the strokes; 0 if unknown.
    depth : callable, optional
        How far points in the ink are from its edge.

    Notes
    -----
    The shortest goes first, and a node that two curves are left at is no longer a node, so that
    the end of a stroke keeps one of two spurs. Where strokes meet in a sharp corner their centre lines
    run together before the tip, the longer the sharper it is: if all other curves leave the node on the side
    away from the spur, they are led to its tip.
    """

    def limit(spur: Curve, points: PointArray, fixed: int, others: Sequence[Curve]) -> float:
        """Return below which length a free end, from its node on, is no stroke."""
        if not half_pen or spur.length > 2.5 * half_pen / LEAST_SINE:
            return limits[fixed]
        ways = _parting(others, fixed, 1.2 + 3 * half_pen)
        if ways is None:
            return limits[fixed]
        onward = direction_at(points, spur.length)
        if max(float(way @ onward) for way in ways) > -0.6:
            return limits[fixed]
        merged = merged_length(ways[0], ways[1], half_pen)
        if depth is not None:
            # Where the sides are bent the ink itself tells how far they are one.
            single = np.nonzero(depth(points) <= 1.1 * half_pen + 0.02)[0]
            merged = max(merged, curve_length(points[: single[0] + 1]) if len(single) else 0.0)
        # The centre line of the ink may reach up to half a pen beyond the tip of that of the strokes.
        return max(limits[fixed], merged + 1.25 * half_pen + 0.2)

    def excess(number: int) -> tuple[float, int] | None:
        """Return by how much an end is too short, below 0, and at which end of the curve it is free."""
        curve = web[number]
        if curve.closed or curve.start == curve.end:
            return None
        best = (0.0, _AT_START)
        for side, free, fixed in ((_AT_START, curve.start, curve.end), (_AT_END, curve.end, curve.start)):
            if web.degree(free) == 1 and web.degree(fixed) >= 3:
                others = [web[other] for other in web.at(fixed) if other != number]
                points = curve.points if side == _AT_END else curve.points[::-1]
                best = min(best, (curve.length - limit(curve, points, fixed, others), side))
        return best if best[0] < 0 else None

    web, spurs = Web(network), Least()
    _weigh(web, web, excess, spurs)
    joined = False
    while (found := spurs.pop(web)) is not None:
        number, side = found
        spur = web.take(number)
        spur = spur if side == _AT_END else spur.reversed()
        node = spur.start
        changed = _lead_to_tip(web, node, web.nodes[spur.end], direction_at(spur.points, spur.length))
        if not joined:
            # Before anything is pruned there may be pairs all over.
            joined = True
            web, spurs = Web(join_pairs(web.network())), Least()
            _weigh(web, web, excess, spurs)
            continue
        joined_here = _join_at(web, node)
        _weigh(web, web.around([*changed, *joined_here], [node]), excess, spurs)
    return web.network()


def contract_links(network: CurveNetwork, limit: float, half_pen: float = 0.0) -> CurveNetwork:
    """Return the network with nodes merged that only a short link keeps apart.

    Parameters
    ----------
    network : CurveNetwork
    limit : float
        Links shorter than this are none.
    half_pen : float
        Half the width of the strokes; 0 if unknown.

    Notes
    -----
    A link is a curve between two nodes where at least three ends meet, as where two strokes cross at a
    small angle: the smaller it is, the longer are they one line. The other curves are led to the middle.
    """

    def longest(link: Curve, at_start: Sequence[Curve], at_end: Sequence[Curve]) -> float:
        # Shorter than the limit it is too short anyway.
        if not half_pen or not limit <= link.length <= 5 * half_pen / LEAST_SINE:
            return limit
        together = 4.5 * half_pen + 0.5
        for node, points, others in (
            (link.start, link.points[::-1], at_start),
            (link.end, link.points, at_end),
        ):
            ways = _parting(others, node, 1.2 + 3 * half_pen)
            if ways is None:
                return limit
            onward = direction_at(points, link.length)
            if min(float(way @ onward) for way in ways) < 0.4:
                return limit
            together += merged_length(ways[0], ways[1], half_pen)
        return max(limit, together)

    def length(number: int) -> tuple[float, int] | None:
        """Return the length of a curve that is a link too short to be one."""
        curve = web[number]
        if curve.closed or curve.start == curve.end or min(web.degree(curve.start), web.degree(curve.end)) < 3:
            return None
        at_start, at_end = (
            [web[other] for other in web.at(node) if other != number] for node in (curve.start, curve.end)
        )
        return (curve.length, 0) if curve.length < longest(curve, at_start, at_end) else None

    def is_knot(curve: Curve) -> bool:
        return curve.start == curve.end and not curve.closed and curve.length < 2 * limit

    web, links = Web(network), Least()
    _weigh(web, web, length, links)
    first = True
    while (found := links.pop(web)) is not None:
        link = web.take(found[0])
        web.nodes.append((web.nodes[link.start] + web.nodes[link.end]) / 2)
        name = len(web.nodes) - 1
        # Strokes that were one line for long have parted rightly at its ends: only the way from there is new.
        move = lead_to if link.length < limit else _lengthen_to
        changed = web.around(nodes=(link.start, link.end))
        for number in changed:
            curve = web[number]
            points, start, end = curve.points, curve.start, curve.end
            if start in (link.start, link.end):
                points, start = move(points, web.nodes[name]), name
            if end in (link.start, link.end):
                points, end = move(points[::-1], web.nodes[name])[::-1], name
            web.put(number, replace(curve, points=points, start=start, end=end))
        # There may be knots all over before anything is merged.
        knots = [number for number in (web if first else changed) if is_knot(web[number])]
        freed = [web.take(number).start for number in knots]
        first = False
        _weigh(web, web.around(changed, [name, *freed]), length, links)
    return web.network()


def _weigh(web: Web, numbers: Iterable[int], value: Callable[[int], tuple[float, int] | None], values: Least) -> None:
    for number in numbers:
        values.put(number, value(number))


def _join_at(web: Web, node: int) -> list[int]:
    """Join the curves at a node if exactly two ends meet there, and return those that have become another."""
    there = web.at(node)
    if web.degree(node) != 2:
        return []
    if len(there) == 1:
        web.put(there[0], replace(web[there[0]], start=-1, end=-1))
    else:
        web.put(there[0], join(web[there[0]], web.take(there[1]), node))
    return there[:1]


def _lead_to_tip(web: Web, node: int, tip: PointArray, onward: PointArray) -> list[int]:
    """Lead the curves at a node to a tip, if they form a sharp corner there, and return which."""
    numbers = web.at(node)
    there = [web[k].points for k in numbers if web[k].start == node]
    there += [web[k].points[::-1] for k in numbers if web[k].end == node]
    if any(direction_at(points, 2.5) @ onward > -0.6 for points in there):
        return []
    web.nodes[node] = tip
    for number in numbers:
        curve = web[number]
        points = curve.points
        if curve.start == node:
            points = lead_to(points, tip)
        if curve.end == node:
            points = lead_to(points[::-1], tip)[::-1]
        web.put(number, replace(curve, points=points))
    return numbers


def _parting(curves: Sequence[Curve], node: int, span: float) -> tuple[PointArray, PointArray] | None:
    """Return the directions in which the ends of curves leave a node, if there are two."""
    if len(curves) > 2:
        return None
    ways = []
    for curve in curves:
        ways += [curve.points] if curve.start == node else []
        ways += [curve.points[::-1]] if curve.end == node else []
    return (direction_at(ways[0], span), direction_at(ways[1], span)) if len(ways) == 2 else None


def _lengthen_to(points: PointArray, node: PointArray) -> PointArray:
    """Return the curve with a straight piece from a node to its first point put before it."""
    count = max(int(np.hypot(*(points[0] - node)) / 0.1), 1)
    return np.concatenate([node + np.linspace(0.0, 1.0, count + 1)[:-1, None] * (points[0] - node), points])
