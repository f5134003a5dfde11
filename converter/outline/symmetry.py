"""Symmetric drawings give symmetric lines: one piece is worked out, the others are its images.

A drawing is taken as symmetric under a mirroring or turning of its grid if every bit of ink has ink near
its image. All symmetries of a drawing form a group. Its curves are cut along the edges of one piece of the
grid, a half, a quarter or an eighth, that the images of the group cover; only the curves in that piece are
fitted, and the chains are multiplied.

Where a curve crosses the edge of the piece its hole is given: the hole on the edge that is nearest the
crossing or, if the edge runs between two lines of holes, a short stitch straight across it. "Nearest" is
reckoned from the centre of the grid outwards, so that all images of a crossing agree. A stroke along
the edge is fitted whole, once; where the edge has no holes it lies to one side, as a double line would be worse.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray, PointArray
from converter.outline.fit import Onward
from converter.outline.graph import Curve, CurveNetwork, direction_at
from converter.outline.lattice import HoleArray
from converter.outline.near import find_nearest
from converter.outline.network import Chain

Turn = npt.NDArray[np.int64]
"""(2, 2): a mirroring or turning about the centre of the grid."""

ENDS_ALIKE: Final = 1.0
"""Free ends of curves may be so many stitches from where a symmetry puts them."""

_GRIDWISE: Final = 0.12
"""Sine of the angle, from a line of holes, up to which a curve runs along it."""

_STRAIGHT_ACROSS: Final = 0.995
"""Cosine of the angle up to which a curve runs straight across an edge."""

_LEVEL: Final = np.array([[1, 0], [0, -1]])
_UPRIGHT: Final = np.array([[-1, 0], [0, 1]])
_DIAGONAL: Final = np.array([[0, 1], [1, 0]])
_ANTI: Final = np.array([[0, -1], [-1, 0]])
_HALF: Final = np.array([[-1, 0], [0, -1]])
_QUARTER: Final = np.array([[0, 1], [-1, 0]])
_BACK: Final = np.array([[0, -1], [1, 0]])
_SAME: Final = np.array([[1, 0], [0, 1]])
_ALL: Final = (_LEVEL, _UPRIGHT, _DIAGONAL, _ANTI, _HALF, _QUARTER, _BACK)


@dataclass(frozen=True, eq=False)
class Symmetry:
    """The group of a drawing and one piece of the grid."""

    group: tuple[Turn, ...]
    """All elements, the identity first."""
    sides: tuple[tuple[int, int], ...]
    """The piece: points p, from the centre, with ``side @ p <= 0`` for each side."""


def find_symmetry(ink: MaskArray, scale: int, reach: float) -> Symmetry:
    """Return the symmetries of an ink mask that fills the grid.

    Parameters
    ----------
    ink : ndarray of shape (rows * scale, cols * scale), bool
    scale : int
        Pixels a stitch.
    reach : float
        How far, in stitches, ink may lie from the image of other ink.
    """
    size = 2 * max(round(reach * scale), 1) + 1
    grown = cv2.dilate(ink.astype(np.uint8), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))) > 0
    images = {
        0: ink[:, ::-1],
        1: ink[::-1],
        2: ink.T,
        3: ink[::-1, ::-1].T,
        4: ink[::-1, ::-1],
        5: ink.T[::-1],
        6: ink.T[:, ::-1],
    }
    found = [
        _ALL[k] for k, image in images.items() if image.shape == ink.shape and ink.any() and not (image & ~grown).any()
    ]
    return close_group(found)


def keep_ends(symmetry: Symmetry, network: CurveNetwork, shape: tuple[int, int]) -> Symmetry:
    """Return the symmetries under which every free end of a curve has another one near its image.

    Notes
    -----
    A small gap between two strokes is all that tells a drawing from one in which they meet.
    """
    if len(symmetry.group) < 2:
        return symmetry
    half = np.array(shape) / 2
    ends = np.array([node for node, count in zip(network.nodes, network.degrees(), strict=True) if count == 1])
    if not len(ends):
        return symmetry
    kept = [
        turn
        for turn in symmetry.group[1:]
        if np.isfinite(find_nearest(ends, (ends - half) @ turn.T + half, ENDS_ALIKE)[0]).all()
    ]
    return symmetry if len(kept) == len(symmetry.group) - 1 else close_group(kept)


def close_group(found: list[Turn]) -> Symmetry:
    """Return the symmetry of a set of mirrorings and turnings, left to those that form a group."""
    has = {key: any(np.array_equal(one, turn) for one in found) for key, turn in _NAMED.items()}
    mirrors = [key for key in ("level", "upright", "diagonal", "anti") if has[key]]
    straight = has["level"] and has["upright"]
    slanted = has["diagonal"] and has["anti"]
    if (straight and (has["diagonal"] or has["anti"])) or (slanted and (has["level"] or has["upright"])):
        return Symmetry((_SAME, *_ALL), ((1, 0), (-1, 1)))
    if straight:
        return Symmetry((_SAME, _LEVEL, _UPRIGHT, _HALF), ((1, 0), (0, 1)))
    if slanted:
        return Symmetry((_SAME, _DIAGONAL, _ANTI, _HALF), ((-1, 1), (1, 1)))
    if mirrors:
        sides = {"level": (0, 1), "upright": (1, 0), "diagonal": (-1, 1), "anti": (1, 1)}
        return Symmetry((_SAME, _NAMED[mirrors[0]]), (sides[mirrors[0]],))
    if has["quarter"] and has["half"]:
        return Symmetry((_SAME, _HALF, _QUARTER, _BACK), ((1, 0), (0, 1)))
    if has["half"]:
        return Symmetry((_SAME, _HALF), ((1, 0),))
    return Symmetry((_SAME,), ())


_NAMED: Final[dict[str, Turn]] = {
    "level": _LEVEL,
    "upright": _UPRIGHT,
    "diagonal": _DIAGONAL,
    "anti": _ANTI,
    "half": _HALF,
    "quarter": _QUARTER,
}


@dataclass(frozen=True, eq=False)
class Piece:
    """The curves of a piece, with what is fixed at its edge."""

    network: CurveNetwork
    pins: dict[int, tuple[int, int]]
    """Hole of a node at the edge."""
    bridges: list[Chain]
    """Stitches across the edge."""
    goes_on: dict[int, Onward]
    """Nodes where one curve meets its own image, or another's, straight across the edge."""


def cut_piece(network: CurveNetwork, symmetry: Symmetry, shape: tuple[int, int]) -> Piece:
    """Return the part of a network that lies in the piece of a symmetry."""
    centre = np.array(shape) / 2
    curves = list(network.curves)
    nodes = list(network.nodes)
    crossings: dict[int, tuple[int, int]] = {}
    for side in symmetry.sides:
        curves = [part for curve in curves for part in _cut_curve(curve, nodes, side, centre, crossings)]
    pins: dict[int, tuple[int, int]] = {}
    bridges: list[Chain] = []
    goes_on: dict[int, Onward] = {}
    mirrored = any(int(turn[0, 0] * turn[1, 1] - turn[0, 1] * turn[1, 0]) < 0 for turn in symmetry.group)
    crossed = [curve for curve in curves if not curve.closed and not curve.on_axis]
    used = {node for curve in crossed for node in (curve.start, curve.end)}
    places = {node: nodes[node] - centre for node in sorted(used)}
    sides = {
        node: [s for s in symmetry.sides if abs(np.dot(s, point)) / np.hypot(*s) < 0.3]
        for node, point in places.items()
    }
    places = _agree_on_places({node: places[node] for node in places if node in crossings or sides[node]}, symmetry)
    for node, point in places.items():
        on = sides[node]
        if node in crossings or on:
            side = crossings.get(node, on[0] if on else symmetry.sides[0])
            if len(on) > 1:
                side = on[0]
            with_axis = any(curve.on_axis and node in (curve.start, curve.end) for curve in curves)
            # A level or upright line meets its image about a diagonal on it.
            with_axis |= any(float(np.abs(way).min()) < _GRIDWISE for way in _ways(node, crossed))
            pin, bridge = _pin(point, side, shape, len(on) > 1, with_axis, _inward(node, crossed, nodes))
            pins[node] = pin
            ways = _ways(node, crossed)
            across = np.array(side) / np.hypot(*side)
            if len(on) < 2 and len(ways) == 1 and abs(float(ways[0] @ across)) > _STRAIGHT_ACROSS:
                # Its own image turns the other way; what a turned drawing puts there goes straight on.
                goes_on[node] = Onward((float(across[0]), float(across[1])), 2 if bridge is None and mirrored else 1)
            if bridge is not None:
                solid = all(curve.solid for curve in crossed if node in (curve.start, curve.end))
                bridges.append(Chain(bridge, np.array([0.0, 1.0]), bridge.astype(np.float64), solid))
    return Piece(CurveNetwork(nodes, curves), pins, bridges, goes_on)


def _agree_on_places(places: dict[int, PointArray], symmetry: Symmetry) -> dict[int, PointArray]:
    """Return crossings moved half way to the image of the crossing that a turn makes of them, from the centre.

    Notes
    -----
    A mirroring leaves its own edge where it is. A turn brings one crossing to another, or to another edge, and
    both have to round to the same side however little the picture differs from its image.
    """
    if len(symmetry.group) < 2 or any(
        int(turn[0, 0] * turn[1, 1] - turn[0, 1] * turn[1, 0]) < 0 for turn in symmetry.group
    ):
        return places
    agreed = {}
    for node, point in places.items():
        near = [
            (float(np.hypot(*(turn @ other - point))), k, turn @ other)
            for turn in symmetry.group[1:]
            for k, other in places.items()
            if len(symmetry.sides) == 1 or k != node
        ]
        best = min(near, key=lambda found: found[:2]) if near else None
        agreed[node] = (point + best[2]) / 2 if best is not None and best[0] < 0.6 else point
    return agreed


def _pin(
    point: PointArray, side: tuple[int, int], shape: tuple[int, int], corner: bool, with_axis: bool, inward: PointArray
) -> tuple[tuple[int, int], HoleArray | None]:
    """Return the hole of a crossing and the stitch across the edge, if the edge has no holes there."""
    half = np.array(shape) / 2
    odd = np.array(shape) % 2
    if abs(side[0]) + abs(side[1]) == 1:
        axis = 0 if side[0] else 1
        other = 1 - axis
        place = np.zeros(2)
        place[other] = _round_out(float(point[other]), int(odd[other]))
        if corner:
            place[other] = -0.5 if odd[other] else 0.0
        elif odd[other] and abs(point[other]) < 0.5 and abs(inward[other]) > 0.3:
            # A stroke through the very centre goes on to its own image.
            place[other] = 0.5 * np.sign(inward[other])
            corner = True
        if not odd[axis]:
            return _hole(place + half), None
        place[axis] = -0.5 * side[axis]
        far = place.copy()
        far[axis] = -place[axis]
        if corner and odd[other]:
            far = -place
    else:
        # Along a diagonal: either a hole on it or a stitch across it, whichever is nearer.
        sign = -side[0] * side[1]
        along = float(point[0] + sign * point[1]) / 2
        on = _round_out(along, int(odd[0]))
        between = _round_out(along, 1 - int(odd[0]))
        if corner or with_axis or abs(along - on) <= abs(along - between):
            place = np.array([on, sign * on])
            return _hole(place + half), None
        middle = np.array([between, sign * between])
        step = np.array(side) / 2
        place, far = middle - step, middle + step
    return _hole(place + half), np.array([_hole(place + half), _hole(far + half)])


def _inward(node: int, curves: list[Curve], nodes: list[PointArray]) -> PointArray:
    """Return the mean direction in which the curves at a node leave it."""
    ways = _ways(node, curves)
    return np.asarray(np.mean(ways, axis=0)) if ways else np.zeros(2)


def _ways(node: int, curves: list[Curve]) -> list[PointArray]:
    """Return the directions in which curves leave a node, over some stitches."""
    ways = [direction_at(curve.points, 3.0) for curve in curves if curve.start == node]
    return ways + [direction_at(curve.points[::-1], 3.0) for curve in curves if curve.end == node]


def _round_out(value: float, odd: int) -> float:
    """Return the nearest whole (or half, if odd) number, the same for a value and its negative."""
    size = abs(value)
    near = float(np.floor(size)) + 0.5 if odd else float(np.floor(size + 0.5 - 1e-9))
    return -near if value < 0 else near


def _hole(place: PointArray) -> tuple[int, int]:
    return round(float(place[0])), round(float(place[1]))


def _cut_curve(
    curve: Curve,
    nodes: list[PointArray],
    side: tuple[int, int],
    centre: PointArray,
    crossings: dict[int, tuple[int, int]],
) -> list[Curve]:
    """Return the pieces of a curve on the inner side of an edge."""
    unit = np.array(side) / np.hypot(*side)
    points = curve.points.copy()
    out = (points - centre) @ unit
    flat = np.abs(out) < 0.3
    if flat.mean() > 0.8:
        # Along the edge: the whole curve, straightened onto it.
        return [replace(curve, points=points - out[:, None] * unit, on_axis=True)]
    inside = out <= 0
    if inside.all():
        return [curve]
    if not inside.any():
        return []
    if curve.closed:
        # Begin outside, so that no inner piece runs over the seam.
        first = int(np.argmax(~inside[:-1]))
        ring = np.roll(points[:-1], -first, axis=0)
        points = np.concatenate([ring, ring[:1]])
        out = (points - centre) @ unit
        inside = out <= 0
    change = np.nonzero(inside[1:] != inside[:-1])[0]
    pieces = []
    starts = ([0] if inside[0] else []) + [int(k) + 1 for k in change if not inside[k]]
    ends = [int(k) for k in change if inside[k]] + ([len(points) - 1] if inside[-1] else [])
    for low, high in zip(starts, ends, strict=True):
        part = points[low : high + 1]
        head, tail = curve.start, curve.end
        own = (curve.start, curve.end)
        if low > 0:
            head, part = _edge_node(points, low - 1, out, nodes, own, side, crossings, part, True)
        if high < len(points) - 1:
            tail, part = _edge_node(points, high, out, nodes, own, side, crossings, part, False)
        piece = replace(curve, points=part, start=head, end=tail)
        if len(part) > 2 and piece.length > 0.4:
            pieces.append(piece)
    return pieces


def _edge_node(
    points: PointArray,
    at: int,
    out: npt.NDArray[np.float64],
    nodes: list[PointArray],
    own: tuple[int, int],
    side: tuple[int, int],
    crossings: dict[int, tuple[int, int]],
    part: PointArray,
    first: bool,
) -> tuple[int, PointArray]:
    """Return the node where the curve crosses the edge after point ``at``, and the piece led to it."""
    share = out[at] / (out[at] - out[at + 1])
    crossing = points[at] + share * (points[at + 1] - points[at])
    near = [k for k in own if k >= 0 and np.hypot(*(nodes[k] - crossing)) < 0.6]
    near += [k for k in crossings if crossings[k] == side and np.hypot(*(nodes[k] - crossing)) < 0.35]
    if near:
        node = near[0]
        crossings.setdefault(node, side)
    else:
        nodes.append(crossing)
        node = len(nodes) - 1
        crossings[node] = side
    joined = np.concatenate([crossing[None], part] if first else [part, crossing[None]])
    return node, joined


def multiply(chains: list[Chain], symmetry: Symmetry, shape: tuple[int, int]) -> list[Chain]:
    """Return the images of chains under all elements of a group, those of the identity first.

    Notes
    -----
    Where an axis lies between two lines of holes, all images of a chain along it are put on the side of the
    smaller numbers.
    """
    half = np.array(shape) / 2
    images: list[Chain] = []
    for turn in symmetry.group:
        for chain in chains:
            away = (chain.holes - half) @ turn.T
            if chain.on_axis:
                away -= (away == 0.5).all(axis=0)
            holes = np.rint(away + half).astype(np.int64)
            images.append(replace(chain, holes=holes, points=(chain.points - half) @ turn.T + half))
    return images
