"""Curves as a network: nodes where they meet or end, edges between them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property

import numpy as np
import numpy.typing as npt

from converter.model.arrays import PointArray
from converter.outline.simplify import curve_length

_LEAST_SINE = 0.15
"""Strokes at a smaller half angle than this sine are taken for one that forks."""


@dataclass(frozen=True, eq=False)
class Curve:
    """A curve between two nodes, or a closed one without any."""

    points: PointArray
    """(n, 2), (row, col) in stitches; a closed curve repeats its first point."""
    start: int = -1
    """Node at the first point; -1 if the curve is closed and touches no other."""
    end: int = -1
    weight: float = 1.0
    """How much the curve matters, for choosing within a budget."""
    solid: bool = False
    """Edge of an area, not the centre line of a stroke."""
    on_axis: bool = False
    """Runs along an axis of symmetry."""

    @property
    def closed(self) -> bool:
        """Return True if the curve is a loop of its own."""
        return self.start < 0

    @cached_property
    def length(self) -> float:
        """Length in stitches."""
        return curve_length(self.points)

    def reversed(self) -> Curve:
        """Return the curve run the other way."""
        return replace(self, points=self.points[::-1], start=self.end, end=self.start)


@dataclass(eq=False)
class CurveNetwork:
    """Curves and the nodes that they share."""

    nodes: list[PointArray] = field(default_factory=list)
    """(2,) each."""
    curves: list[Curve] = field(default_factory=list)

    def degrees(self) -> list[int]:
        """Return the number of curve ends at each node."""
        count = [0] * len(self.nodes)
        for curve in self.curves:
            if not curve.closed:
                count[curve.start] += 1
                count[curve.end] += 1
        return count

    def extend(self, other: CurveNetwork) -> None:
        """Add the curves of another network as separate parts."""
        base = len(self.nodes)
        self.nodes += other.nodes
        for curve in other.curves:
            self.curves.append(
                curve if curve.closed else replace(curve, start=curve.start + base, end=curve.end + base)
            )

    def scaled(self, factor: float) -> CurveNetwork:
        """Return the network with all coordinates multiplied."""
        if factor == 1:
            return self
        curves = [replace(curve, points=curve.points * factor) for curve in self.curves]
        return CurveNetwork([node * factor for node in self.nodes], curves)

    def parts(self) -> list[int]:
        """Return for each curve the number of the connected part that it belongs to."""
        root = list(range(len(self.nodes)))

        def find(node: int) -> int:
            while root[node] != node:
                root[node] = root[root[node]]
                node = root[node]
            return node

        for curve in self.curves:
            if not curve.closed:
                root[find(curve.start)] = find(curve.end)
        names: dict[int, int] = {}
        result = []
        for index, curve in enumerate(self.curves):
            key = -1 - index if curve.closed else find(curve.start)
            result.append(names.setdefault(key, len(names)))
        return result


def merged_length(one: PointArray, other: PointArray, half_pen: float) -> float:
    """Return how long the centre lines of two strokes are one line before they part at a sharp angle.

    Parameters
    ----------
    one, other : ndarray of shape (2,)
        Unit directions in which they part.
    half_pen : float
        Half the width of the strokes.

    Notes
    -----
    A disc that touches both outer sides and the notch between the strokes is as far from the tip as
    ``half_pen * (1 - s) / (s * (1 + s))``, with ``s`` the sine of half the angle.
    """
    sine = max(float(np.hypot(*(one - other))) / 2, _LEAST_SINE)
    return half_pen * (1.0 - sine) / (sine * (1.0 + sine))


def _by_node(curves: list[Curve]) -> dict[int, list[int]]:
    """Return the curves that start or end at each node, in their order."""
    there: dict[int, list[int]] = {}
    for index, curve in enumerate(curves):
        if not curve.closed:
            for node in {curve.start, curve.end}:
                there.setdefault(node, []).append(index)
    return there


def _parting(curves: Sequence[Curve], node: int, span: float) -> list[PointArray]:
    """Return the directions in which the ends of curves leave a node."""
    ways = []
    for curve in curves:
        ways += [direction_at(curve.points, span)] if curve.start == node else []
        ways += [direction_at(curve.points[::-1], span)] if curve.end == node else []
    return ways


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

    @cache
    def limit(spur: Curve, free: int, fixed: int, others: tuple[Curve, ...]) -> float:
        ways = _parting(others, fixed, 1.2 + 3 * half_pen)
        if not half_pen or len(ways) != 2 or spur.length > 2.5 * half_pen / _LEAST_SINE:
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


def _lead_to_tip(
    curves: list[Curve], node: int, tip: PointArray, onward: PointArray, nodes: list[PointArray]
) -> list[Curve]:
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


def join_pairs(network: CurveNetwork) -> CurveNetwork:
    """Return the network with curves joined wherever exactly two ends meet."""
    curves: list[Curve | None] = list(network.curves)
    ends: dict[int, list[int]] = {}
    for index, curve in enumerate(network.curves):
        if not curve.closed:
            ends.setdefault(curve.start, []).append(index)
            ends.setdefault(curve.end, []).append(index)
    for node in sorted(ends):
        if len(ends[node]) != 2:
            continue
        one, other = ends[node]
        first, second = curves[one], curves[other]
        if first is None or second is None:
            continue
        if one == other:
            curves[one] = replace(first, start=-1, end=-1)
            continue
        if first.end != node:
            first = first.reversed()
        if second.start != node:
            second = second.reversed()
        joined = replace(
            first,
            points=np.concatenate([first.points, second.points[1:]]),
            end=second.end,
            weight=max(first.weight, second.weight),
        )
        curves[one], curves[other] = joined, None
        ends[second.end] = [one if index == other else index for index in ends[second.end]]
        ends[node] = []
    return CurveNetwork(network.nodes, [curve for curve in curves if curve is not None])


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
    A link is a curve between two nodes where at least three ends meet, as where two strokes cross at a small
    angle: the smaller it is, the longer are they one line. The other curves are led to the middle.
    """

    @cache
    def longest(link: Curve, at_start: tuple[Curve, ...], at_end: tuple[Curve, ...]) -> float:
        if not half_pen or link.length > 5 * half_pen / _LEAST_SINE:
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


def lead_to(points: PointArray, node: PointArray) -> PointArray:
    """Return the curve with its first point moved to a node, the next points after it."""
    shift = node - points[0]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    fade = np.clip(1.0 - along / max(2.5 * float(np.hypot(*shift)), 1e-9), 0.0, 1.0)
    return np.asarray(points + fade[:, None] * shift)


def _lengthen_to(points: PointArray, node: PointArray) -> PointArray:
    """Return the curve with a straight piece from a node to its first point put before it."""
    count = max(int(np.hypot(*(points[0] - node)) / 0.1), 1)
    return np.concatenate([node + np.linspace(0.0, 1.0, count + 1)[:-1, None] * (points[0] - node), points])


def direction_at(points: PointArray, span: float = 1.5) -> PointArray:
    """Return the unit direction in which a curve leaves its first point, over its first stitches."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    near = points[np.searchsorted(along, 0.3 * span)] if along[-1] > span else points[0]
    far = points[min(int(np.searchsorted(along, span)), len(points) - 1)]
    chord = far - near
    norm = float(np.hypot(*chord))
    return np.asarray(chord / norm if norm > 0 else np.array([1.0, 0.0]))


@dataclass(frozen=True, eq=False)
class Run:
    """Curves that run straight on through nodes, as one curve."""

    points: PointArray
    nodes: tuple[int, ...]
    """Nodes in order along the run; empty for a loop that touches no other curve."""
    places: tuple[float, ...]
    """Distance along the run of each node."""
    members: tuple[int, ...]
    part: int = 0
    closed: bool = False
    """Runs back into itself; its first point is its last, and no node is an end of it."""

    @cached_property
    def length(self) -> float:
        """Length in stitches."""
        return curve_length(self.points)


def straight_runs(network: CurveNetwork, max_turn: float = 0.6) -> list[Run]:
    """Return runs of curves, pairing at each node the ends that go straight on.

    Parameters
    ----------
    network : CurveNetwork
    max_turn : float
        Greatest turn, in radians, of a pair.
    """
    directions: dict[tuple[int, int], PointArray] = {}
    at_node: dict[int, list[tuple[int, int]]] = {}
    for index, curve in enumerate(network.curves):
        if curve.closed:
            continue
        for side, node in ((0, curve.start), (1, curve.end)):
            directions[index, side] = direction_at(curve.points if side == 0 else curve.points[::-1])
            at_node.setdefault(node, []).append((index, side))
    partner: dict[tuple[int, int], tuple[int, int]] = {}
    for node in sorted(at_node):
        ends = at_node[node]
        pairs = sorted(
            (float(np.arccos(np.clip(-directions[a] @ directions[b], -1, 1))), a, b)
            for k, a in enumerate(ends)
            for b in ends[k + 1 :]
        )
        for turn, a, b in pairs:
            if turn <= max_turn and a not in partner and b not in partner:
                partner[a], partner[b] = b, a
    parts = network.parts()
    used = [False] * len(network.curves)
    runs = []
    for index, curve in enumerate(network.curves):
        if used[index]:
            continue
        if curve.closed:
            used[index] = True
            runs.append(Run(curve.points, (), (), (index,), parts[index], True))
            continue
        # Walk back to the beginning of the run.
        at = (index, 0)
        while at in partner:
            before = partner[at]
            at = (before[0], 1 - before[1])
            if at[0] == index:
                break
        order, flips = [], []
        while True:
            order.append(at[0])
            flips.append(at[1] == 1)
            used[at[0]] = True
            far = (at[0], 1 - at[1])
            if far not in partner or used[partner[far][0]]:
                break
            at = partner[far]
        pieces = [
            network.curves[k].reversed() if flip else network.curves[k] for k, flip in zip(order, flips, strict=True)
        ]
        points = np.concatenate([pieces[0].points, *[piece.points[1:] for piece in pieces[1:]]])
        places = np.concatenate([[0.0], np.cumsum([piece.length for piece in pieces])])
        nodes = (pieces[0].start, *[piece.end for piece in pieces])
        closed = partner.get(far) == (order[0], int(flips[0]))
        if closed:
            nodes, places = nodes[:-1], places[:-1]
        runs.append(Run(points, nodes, tuple(places.tolist()), tuple(order), parts[index], closed))
    return runs
