"""The pruning of centre lines by its definition: all is looked at anew after every change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from converter.outline.graph import LEAST_SINE, CurveNetwork, direction_at, join_pairs, lead_to, merged_length
from converter.outline.simplify import curve_length


def _by_node(curves):
    """Return the curves that start or end at each node, in their order."""
    there = {}
    for index, curve in enumerate(curves):
        if not curve.closed:
            for node in {curve.start, curve.end}:
                there.setdefault(node, []).append(index)
    return there


def _parting(curves, node, span):
    """Return the directions in which the ends of curves leave a node."""
    ways = []
    for curve in curves:
        ways += [direction_at(curve.points, span)] if curve.start == node else []
        ways += [direction_at(curve.points[::-1], span)] if curve.end == node else []
    return ways


def prune_spurs(network, limits, half_pen=0.0, depth=None):
    """Begin anew after each end that is taken away: shorter by most first."""

    def limit(spur, free, fixed, others):
        ways = _parting(others, fixed, 1.2 + 3 * half_pen)
        if not half_pen or len(ways) != 2 or spur.length > 2.5 * half_pen / LEAST_SINE:
            return limits[fixed]
        onward = direction_at(spur.points if spur.end == free else spur.points[::-1], spur.length)
        if max(float(way @ onward) for way in ways) > -0.6:
            return limits[fixed]
        merged = merged_length(ways[0], ways[1], half_pen)
        if depth is not None:
            # Where the sides are bent the ink itself tells how far they are one.
            points = spur.points if spur.end == free else spur.points[::-1]
            single = np.nonzero(depth(points) <= 1.1 * half_pen + 0.02)[0]
            merged = max(merged, curve_length(points[: single[0] + 1]) if len(single) else 0.0)
        # The centre line of the ink may reach up to half a pen beyond the tip of that of the strokes.
        return max(limits[fixed], merged + 1.25 * half_pen + 0.2)

    curves = list(network.curves)
    nodes = list(network.nodes)
    while True:
        degree = CurveNetwork(nodes, curves).degrees()
        there = _by_node(curves)
        worst, at = 0.0, -1
        for index, curve in enumerate(curves):
            if curve.closed or curve.start == curve.end:
                continue
            for free, fixed in ((curve.start, curve.end), (curve.end, curve.start)):
                if degree[free] == 1 and degree[fixed] >= 3:
                    others = tuple(curves[other] for other in there[fixed] if other != index)
                    excess = limit(curve, free, fixed, others) - curve.length
                    if excess > worst:
                        worst, at, node, tip = excess, index, fixed, free
        if at < 0:
            break
        spur = curves.pop(at)
        spur = spur if spur.start == node else spur.reversed()
        curves = _lead_to_tip(curves, node, nodes[tip], direction_at(spur.points, spur.length), nodes)
        curves = join_pairs(CurveNetwork(nodes, curves)).curves
    return CurveNetwork(nodes, curves)


def _lead_to_tip(curves, node, tip, onward, nodes):
    """Return the curves with those at a node led to a tip, if they form a sharp corner there."""
    there = [c.points for c in curves if c.start == node] + [c.points[::-1] for c in curves if c.end == node]
    if any(direction_at(points, 2.5) @ onward > -0.6 for points in there):
        return curves
    nodes[node] = tip
    changed = []
    for curve in curves:
        if node in (curve.start, curve.end):
            points = curve.points
            if curve.start == node:
                points = lead_to(points, tip)
            if curve.end == node:
                points = lead_to(points[::-1], tip)[::-1]
            curve = replace(curve, points=points)
        changed.append(curve)
    return changed


def contract_links(network, limit, half_pen):
    """Begin anew after each link that is merged: the shortest first."""

    def longest(link, at_start, at_end):
        if not half_pen or link.length > 5 * half_pen / LEAST_SINE:
            return limit
        together = 4.5 * half_pen + 0.5
        for node, points, others in (
            (link.start, link.points[::-1], at_start),
            (link.end, link.points, at_end),
        ):
            ways = _parting(others, node, 1.2 + 3 * half_pen)
            onward = direction_at(points, link.length)
            if len(ways) != 2 or min(float(way @ onward) for way in ways) < 0.4:
                return limit
            together += merged_length(ways[0], ways[1], half_pen)
        return max(limit, together)

    nodes = list(network.nodes)
    curves = list(network.curves)
    while True:
        degree = CurveNetwork(nodes, curves).degrees()
        there = _by_node(curves)
        links = []
        for index, curve in enumerate(curves):
            if curve.closed or curve.start == curve.end or min(degree[curve.start], degree[curve.end]) < 3:
                continue
            at_start, at_end = (
                tuple(curves[other] for other in there[node] if other != index) for node in (curve.start, curve.end)
            )
            if curve.length < longest(curve, at_start, at_end):
                links.append((curve.length, index))
        if not links:
            return CurveNetwork(nodes, curves)
        link = curves.pop(min(links)[1])
        middle = (nodes[link.start] + nodes[link.end]) / 2
        nodes.append(middle)
        name = len(nodes) - 1
        changed = []
        # Strokes that were one line for long have parted rightly at its ends: only the way from there is new.
        move = lead_to if link.length < limit else _lengthen_to
        for curve in curves:
            if not {curve.start, curve.end} & {link.start, link.end}:
                changed.append(curve)
                continue
            points, start, end = curve.points, curve.start, curve.end
            if start in (link.start, link.end) and start >= 0:
                points, start = move(points, middle), name
            if end in (link.start, link.end) and end >= 0:
                points, end = move(points[::-1], middle)[::-1], name
            changed.append(replace(curve, points=points, start=start, end=end))
        curves = [c for c in changed if c.start != c.end or c.closed or c.length >= 2 * limit]


def _lengthen_to(points, node):
    """Return the curve with a straight piece from a node to its first point put before it."""
    count = max(int(np.hypot(*(points[0] - node)) / 0.1), 1)
    return np.concatenate([node + np.linspace(0.0, 1.0, count + 1)[:-1, None] * (points[0] - node), points])
