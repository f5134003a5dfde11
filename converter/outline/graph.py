"""Curves as a network: nodes where they meet or end, edges between them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from converter.model.arrays import PointArray
from converter.outline.simplify import curve_length

LEAST_SINE = 0.15
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
    sine = max(float(np.hypot(*(one - other))) / 2, LEAST_SINE)
    return half_pen * (1.0 - sine) / (sine * (1.0 + sine))


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
        joined = join(first, second, node)
        curves[one], curves[other] = joined, None
        ends[joined.end] = [one if index == other else index for index in ends[joined.end]]
        ends[node] = []
    return CurveNetwork(network.nodes, [curve for curve in curves if curve is not None])


def join(first: Curve, second: Curve, node: int) -> Curve:
    """Return two curves that meet at a node as one, in the direction that leads from the first to the second."""
    if first.end != node:
        first = first.reversed()
    if second.start != node:
        second = second.reversed()
    points = np.concatenate([first.points, second.points[1:]])
    return replace(first, points=points, end=second.end, weight=max(first.weight, second.weight))


def lead_to(points: PointArray, node: PointArray) -> PointArray:
    """Return the curve with its first point moved to a node, the next points after it."""
    shift = node - points[0]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    fade = np.clip(1.0 - along / max(2.5 * float(np.hypot(*shift)), 1e-9), 0.0, 1.0)
    return np.asarray(points + fade[:, None] * shift)


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
