"""One curve to one chain of holes: a dynamic programme over lattice vectors.

States are pairs of a hole near the curve and the place of the curve nearest to it, in order along
the curve. A move goes from one state to a later one along a straight lattice vector, short or
long: as far as the curve stays straight. What a move costs is worked out in constant time from
prefix sums of the curve's points. With ``n`` the unit vector across the move and ``d`` the offset
of the curve from it:

- parallel shift, the mean of ``d`` squared, at a low weight: a line that lies half a stitch beside
  the true one, but straight, reads well;
- slope and shape, the variance of ``d``, at a high weight;
- drift along the curve.

A vertex between two moves costs a charge of its own where the curve is straight, the more the longer
the straight piece is, next to nothing where the curve itself turns, and more the farther its turn is
outside the range of the curve's turns near by; this last part is capped so that sharp tips survive. As a
charge depends on two moves, the programme runs over moves, not states.

A long vector stands for the balanced word of short steps that makes it up (`lattice`), so a
straight line of any slope comes out regular.

References
----------
P. Selinger, Potrace: a polygon-based tracing algorithm, 2003 (optimal polygons by prefix sums).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from converter.model.arrays import PointArray
from converter.outline.lattice import HoleArray, split_onto, straight_words

SPACING = 0.2
"""Distance of the curve's points, in stitches."""
LONG_WAYS = tuple(9 * 1.05**k for k in range(1, 55))
"""Lengths of straight moves that are tried, in stitches: close together, so that no side of a frame needs two."""
FAR = 0.55
"""A line farther than this from the curve begins to look misplaced."""
_STRAIGHT_BACK = np.pi - 0.05
_PAIRS = 20_000
"""Pairs of moves whose vertex is priced at once."""
_WINDOWS = 4000
"""Windows that are looked at at once."""
CORNER_REACH = 6
"""Vertices so many points from a square corner belong to it."""


@dataclass(frozen=True)
class FitWeights:
    """What the dynamic programme charges; lengths in stitches."""

    reach: float = 0.71
    """Holes farther than this from the curve are not used; some hole is always within 0.7072."""
    far: float = 40.0
    """Squared distance by which a hole where moves meet is more than `FAR` from the curve."""
    shift: float = 1.0
    shape: float = 5.0
    drift: float = 0.3
    end: float = 0.4
    """Squared distance of an open end from the curve's end."""
    vertex: float = 0.7
    """A vertex where the curve is straight."""
    turn: float = 0.6
    """Squared difference, in radians, of the turn and the curve's own turn."""
    turn_cap: float = 0.9
    back: float = 1.5
    """A vertex where the chain turns straight back: what is sewn twice reads as one line with a loose end."""
    corner: float = 1.0
    """Squared difference, in radians, of a vertex's turn and most of the turn of a square corner that it lies at."""
    occupied: float = 6.0
    """A hole that belongs to another chain."""
    bend_reach: float = 0.8
    """The chain may turn as much as the curve does anywhere within this distance along it, or less."""
    bend_span: float = 1.5
    """The curve's own turn is measured between pieces of this length."""
    straight_rms: float = 0.12
    """A move may be longer than nine stitches where the curve's points keep this near a line."""
    line_rms: float = 0.05
    """A piece of curve whose points keep this near a line is straight."""
    line_charge: float = 0.3
    """What a vertex costs more, in parts of ``vertex``, for each stitch by which the straight piece is over four."""


@dataclass(frozen=True)
class Onward:
    """How a chain goes on beyond its end: as its own image in an axis of symmetry."""

    across: tuple[float, float]
    """Direction across the axis, (row, col), either way."""
    turns: int
    """The turn at the end is so many times the angle to that direction: 1 if a stitch across follows, else 2."""


@dataclass(frozen=True)
class Stop:
    """A place on a curve where the chain must pass through one of some holes."""

    at: int
    """Index of the curve's point."""
    holes: tuple[tuple[int, int], ...]
    costs: tuple[float, ...] = ()
    """What each hole costs; nothing if empty."""
    onward: Onward | None = None
    miss: float = np.inf
    """What it costs to pass between the holes."""


@dataclass(frozen=True)
class Fit:
    """A chain found for a curve."""

    vertices: HoleArray
    """Holes where the moves meet."""
    places: npt.NDArray[np.int64]
    """Index of the curve's point at each vertex."""
    cost: float
    end_costs: Mapping[tuple[int, int], float]
    """What the cheapest chain costs for each hole that it may end in."""


@dataclass(frozen=True)
class _Sums:
    points: PointArray
    first: npt.NDArray[np.float64]
    second: npt.NDArray[np.float64]
    turn: npt.NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True, eq=False)
class _Bends:
    """What a vertex at each of the curve's points costs by the turn there."""

    turns: npt.NDArray[np.float64]
    """(2, n): the least and the greatest turn near each point, see `_turn_range`."""
    breaks: npt.NDArray[np.float64]
    """(n,): see `_break_charges`."""
    corners: npt.NDArray[np.float64]
    """(n,): see `_find_corners`."""


@dataclass(frozen=True, eq=False)
class Course:
    """A curve, and what of the cost of chains along it depends on the curve alone."""

    points: PointArray
    """(n, 2), in stitches, `SPACING` apart."""
    sums: _Sums
    bends: _Bends
    reach: npt.NDArray[np.int64]
    """(n,): how many points on a move from each may go."""


@dataclass(frozen=True, eq=False)
class _States:
    """Pairs of a hole and a place on the curve, in order along the curve."""

    holes: HoleArray
    where: npt.NDArray[np.int64]
    """(k,): index of the curve's point."""
    own: npt.NDArray[np.float64]
    """(k,): cost of the state itself."""
    number: npt.NDArray[np.int64]
    """(k,): the stop that it belongs to, or -1."""


@dataclass(frozen=True, eq=False)
class _Moves:
    """Straight moves from one state to a later one, sorted by where they start."""

    states: _States
    starts: npt.NDArray[np.int64]
    """(m,): index of a state."""
    ends: npt.NDArray[np.int64]

    @cached_property
    def vector(self) -> HoleArray:
        """(m, 2): from hole to hole."""
        return np.asarray(self.states.holes[self.ends] - self.states.holes[self.starts])

    def chosen(self, which: npt.NDArray[np.bool_]) -> _Moves:
        """Return some of the moves."""
        return _Moves(self.states, self.starts[which], self.ends[which])


def _prefix_sums(points: PointArray) -> _Sums:
    zero = np.zeros((1, 2))
    first = np.concatenate([zero, np.cumsum(points, axis=0)])
    products = np.stack([points[:, 0] ** 2, points[:, 1] ** 2, points[:, 0] * points[:, 1]], axis=1)
    second = np.concatenate([np.zeros((1, 3)), np.cumsum(products, axis=0)])
    return _Sums(points, first, second)


def curve_turns(points: PointArray, closed: bool, span: float) -> npt.NDArray[np.float64]:
    """Return the turn of a curve at each of its points, in radians, signed.

    Notes
    -----
    The angle between the chord of the last ``span`` stitches and that of the next. Near open ends
    both chords shrink together; the last stitch itself, where a skeleton may hook, counts as its inner neighbour.
    """
    count = len(points)
    curve = points
    step = max(round(span / SPACING), 1)
    at = np.arange(count)
    if closed:
        ring = count - 1
        step = min(step, max(ring // 4, 1))
        before, after = points[(at - step) % ring], points[(at + step) % ring]
    else:
        margin = min(round(1.0 / SPACING), (count - 1) // 2)
        at = np.clip(at, margin, count - 1 - margin)
        points = points[at]
        reach = np.minimum(step, np.minimum(at, count - 1 - at))
        before, after = curve[at - reach], curve[at + reach]
    back, on = points - before, after - points
    cross = back[:, 0] * on[:, 1] - back[:, 1] * on[:, 0]
    turns = np.arctan2(cross, (back * on).sum(axis=1))
    return np.asarray(np.where((np.abs(back).sum(axis=1) > 0) & (np.abs(on).sum(axis=1) > 0), turns, 0.0))


def _turn_range(turns: npt.NDArray[np.float64], reach: float) -> npt.NDArray[np.float64]:
    """Return the least turn (at most 0) and the greatest (at least 0) near each point, shape (2, n)."""
    size = 2 * round(reach / SPACING) + 1
    around = np.lib.stride_tricks.sliding_window_view(np.pad(turns, size // 2, mode="edge"), size)
    low, high = around.min(axis=1), around.max(axis=1)
    return np.stack([np.minimum(low, 0.0), np.maximum(high, 0.0)])


def _find_corners(points: PointArray, closed: bool) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
    """Return the signed turn of the square corner within `CORNER_REACH` points, or 0, and where any corner is near.

    Notes
    -----
    A corner is square if the curve turns by about a right angle within less than a stitch, and no farther over a
    longer way as an arc does.
    """
    count = len(points)
    corners = np.zeros(count)
    near = np.zeros(count, dtype=bool)
    if count < 20:
        return corners, near
    at = np.arange(count)
    ring = count - 1

    def turn_between(first: int, last: int) -> npt.NDArray[np.float64]:
        places = (at - last, at - first, at + first, at + last)
        a, b, c, d = (points[k % ring] if closed else points[np.clip(k, 0, ring)] for k in places)
        back, on = b - a, d - c
        return np.asarray(np.arctan2(back[:, 0] * on[:, 1] - back[:, 1] * on[:, 0], (back * on).sum(axis=1)))

    short, long = turn_between(1, 5), turn_between(2, 9)
    size = np.abs(short)
    square = (size > 1.2) & (size < 2.0) & (np.abs(np.abs(long) - size) < 0.25)
    sharp = size > 0.9
    if not closed:
        sharp &= (at >= 9) & (at <= count - 10)
    nearest = np.full(count, CORNER_REACH + 1)
    reach = np.arange(-CORNER_REACH, CORNER_REACH + 1)
    for k in np.nonzero(sharp)[0].tolist():
        around = (k + reach) % ring if closed else np.clip(k + reach, 0, ring)
        if size[k] < size[around[2:-2]].max() - 1e-9:
            continue
        near[around[3:-3]] = True
        if square[k]:
            closer = np.abs(reach) < nearest[around]
            corners[around[closer]], nearest[around[closer]] = short[k], np.abs(reach)[closer]
    if closed:
        corners[ring], near[ring] = corners[0], near[0]
    return corners, near


def _straight_windows(
    sums: _Sums, lengths: tuple[float, ...], max_rms: float, beyond: bool
) -> Iterator[tuple[int, npt.NDArray[np.bool_]]]:
    """Yield for each length, in points, where a straight window of it begins; ``beyond`` lets it run past the end."""
    count = len(sums.points)
    at = np.arange(count)
    some = max(1, _WINDOWS // count)
    for first in range(0, len(lengths), some):
        steps = [int(length / SPACING) for length in lengths[first : first + some]]
        last = np.minimum(at + np.array(steps)[:, None], count - 1)
        size = (last - at + 1).astype(np.float64)[:, :, None]
        mean = (sums.first[last + 1] - sums.first[at]) / size
        square = (sums.second[last + 1] - sums.second[at]) / size
        rr, cc = square[:, :, 0] - mean[:, :, 0] ** 2, square[:, :, 1] - mean[:, :, 1] ** 2
        rc = square[:, :, 2] - mean[:, :, 0] * mean[:, :, 1]
        least = 0.5 * (rr + cc - np.hypot(rr - cc, 2 * rc))
        straight = least < max_rms**2
        for step, each in zip(steps, straight, strict=True):
            yield step, each if beyond else each & (at + step < count)


def _straight_reach(sums: _Sums, weights: FitWeights) -> npt.NDArray[np.int64]:
    """Return for each point how many points on a move may go."""
    count = len(sums.points)
    reach = np.full(count, min(int(9 / SPACING), count - 1))
    alive = np.ones(count, dtype=bool)
    for step, straight in _straight_windows(sums, LONG_WAYS, weights.straight_rms, True):
        alive &= straight
        if not alive.any():
            break
        if step >= count - 1:
            # Longer windows are the same: all of them run past the end.
            reach[alive] = int(LONG_WAYS[-1] / SPACING)
            break
        reach[alive] = step
    return reach


def _break_charges(
    sums: _Sums, turns: npt.NDArray[np.float64], weights: FitWeights, sharp: npt.NDArray[np.bool_], closed: bool
) -> npt.NDArray[np.float64]:
    """Return what a vertex costs at each point: nothing in a bend, much in the middle of a long straight piece.

    Notes
    -----
    A straight piece ends somewhere about where an arc begins, but exactly at a sharp corner or at an open end.
    """
    count = len(sums.points)
    runs = np.zeros((2, count))
    for step, straight in _straight_windows(sums, (6, 9, 13, 19, 28, 42, 63), weights.line_rms, False):
        if not straight.any():
            break
        starts = np.nonzero(straight)[0]
        length = step * SPACING
        for run, margin in zip(runs, (0.8, min(0.8 + 0.04 * (length - 6), 2.4)), strict=True):
            inset = int(margin / SPACING)
            cover = np.zeros(count + 1)
            np.add.at(cover, np.where((starts == 0) & (not closed), 0, starts + inset), 1)
            last = starts + step
            np.add.at(cover, np.where((last == count - 1) & (not closed), count, last + 1 - inset), -1)
            run[np.cumsum(cover[:-1]) > 0] = length
    by_corner = np.convolve(sharp, np.ones(2 * int(2.5 / SPACING) + 1), mode="same")[:count] > 0
    bend = np.maximum(-turns[0], turns[1])
    run = np.where(by_corner, runs[0], runs[1])
    charge = np.clip(1.0 - bend / 0.5, 0.0, 1.0) + weights.line_charge * np.maximum(run - 4.0, 0.0)
    return np.asarray(np.where(sharp, 0.0, weights.vertex * charge))


def _corner_middles(corners: npt.NDArray[np.float64]) -> list[int]:
    """Return the middle of each stretch of equal turns."""
    change = np.nonzero(np.diff(corners, prepend=0.0, append=0.0))[0]
    return [int((low + high - 1) // 2) for low, high in itertools.pairwise(change.tolist()) if corners[low]]


def _find_states(
    points: PointArray,
    shape: tuple[int, int],
    weights: FitWeights,
    stops: Sequence[Stop],
    corners: npt.NDArray[np.float64],
) -> _States:
    """Return the holes near the curve at their places, and those of the stops."""
    count = len(points)
    base = np.floor(points).astype(np.int64)
    holes = (base[:, None, :] + np.array([(0, 0), (0, 1), (1, 0), (1, 1)])).reshape(-1, 2)
    where = np.repeat(np.arange(count), 4)
    away = np.hypot(*(holes - points[where]).T)
    near = (away <= weights.reach) & (holes >= 0).all(axis=1) & (holes <= shape).all(axis=1)
    holes, where, away = holes[near], where[near], away[near]
    key = holes[:, 0] * (shape[1] + 1) + holes[:, 1]
    order = np.lexsort((where, key))
    holes, where, away, key = holes[order], where[order], away[order], key[order]
    gap = int(1.0 / SPACING)
    new = np.ones(len(key), dtype=bool)
    new[1:] = (key[1:] != key[:-1]) | (np.diff(where) > gap)
    group = np.cumsum(new) - 1
    best = np.lexsort((where, np.round(away, 9), group))
    chosen = best[np.concatenate([[True], np.diff(group[best]) > 0])] if len(best) else best
    holes, where = holes[chosen], where[chosen]
    cost = weights.far * np.maximum(away[chosen] - FAR, 0.0) ** 2
    number = np.full(len(holes), -1)
    for middle in _corner_middles(corners):
        # The holes nearest to a square corner stand for the corner, not for a place on one of its sides.
        off = np.hypot(*(holes - points[middle]).T)
        by = np.abs(where - middle) <= CORNER_REACH
        if by.any():
            where[by & (off <= off[by].min() + 0.05)] = middle
    for index, stop in enumerate(stops):
        size = len(stop.holes)
        # Holes of the stop take the place of all others at the same spot.
        keep = (where != stop.at) | (number >= 0)
        holes = np.concatenate([holes[keep], np.array(stop.holes, dtype=np.int64).reshape(-1, 2)])
        where = np.concatenate([where[keep], np.full(size, stop.at)])
        cost = np.concatenate([cost[keep], np.array(stop.costs or (0.0,) * size)])
        number = np.concatenate([number[keep], np.full(size, index)])
    order = np.lexsort((holes[:, 1], holes[:, 0], where))
    return _States(holes[order], where[order], cost[order], number[order])


def measure_course(points: PointArray, weights: FitWeights, closed: bool = False) -> Course:
    """Return a curve with all that chains along it are judged by.

    Parameters
    ----------
    points : ndarray of shape (n, 2)
        The curve in stitches, resampled at about `SPACING`; a closed curve repeats its first point.
    weights : FitWeights
    closed : bool
        Only for measuring turns; the two ends are still those of the stops.
    """
    sums = _prefix_sums(points)
    turns = _turn_range(curve_turns(points, closed, weights.bend_span), weights.bend_reach)
    corners, near_corner = _find_corners(points, closed)
    breaks = _break_charges(sums, turns, weights, near_corner, closed)
    if not weights.corner:
        corners[:] = 0
    return Course(points, sums, _Bends(turns, breaks, corners), _straight_reach(sums, weights))


def fit_curve(
    course: Course,
    shape: tuple[int, int],
    weights: FitWeights,
    stops: Sequence[Stop],
    occupied: npt.NDArray[np.bool_] | None = None,
) -> Fit | None:
    """Return the cheapest chain along a curve.

    Parameters
    ----------
    course : Course
        Measured with the same weights.
    shape : tuple of int
        Rows and columns of the grid; holes go from 0 to rows and 0 to columns.
    weights : FitWeights
    stops : sequence of Stop
        In order along the curve. The first must be at point 0 and the last at point n - 1.
    occupied : ndarray of shape (rows + 1, cols + 1), bool, optional
        Holes that other chains use and this one should keep off.

    Returns
    -------
    fit : Fit or None
        None if no chain leads through the stops.
    """
    sums, bends = course.sums, course.bends
    states = _find_states(course.points, shape, weights, stops, bends.corners)
    moves = _all_moves(states, course.reach)
    if len(moves.starts) == 0:
        return None
    cost = _move_costs(sums, moves, weights)
    if occupied is not None and occupied.any():
        cost = cost + weights.occupied * _occupied_on_way(occupied, moves)
    cost = cost + _stops_on_way(stops[1:-1], moves)
    number = states.number
    # A move between two holes of the same stop would leave it twice.
    fine = np.isfinite(cost) & ~((number[moves.starts] >= 0) & (number[moves.starts] == number[moves.ends]))
    moves = moves.chosen(fine)
    cost = cost[fine] + states.own[moves.ends] + _turns_at_axis(stops, moves, bends, weights)
    result = _cheapest_path(moves, cost, bends, weights, len(stops) - 1)
    if result is None:
        return None
    path, total, last = result
    holes = states.holes
    end_costs = {(int(holes[state, 0]), int(holes[state, 1])): value for state, value in last.items()}
    return Fit(holes[path], states.where[path], total, end_costs)


def _all_moves(states: _States, reach: npt.NDArray[np.int64]) -> _Moves:
    """Return the moves between states that are at most as many points apart as ``reach`` tells for the first."""
    size = len(states.where)
    at = np.arange(size)
    upto = np.searchsorted(states.where, states.where + reach[states.where], side="right")
    count = np.maximum(upto - at - 1, 0)
    starts = np.repeat(at, count)
    offset = np.arange(len(starts)) - np.repeat(np.cumsum(count) - count, count)
    return _Moves(states, starts, starts + 1 + offset)


def _move_costs(sums: _Sums, moves: _Moves, weights: FitWeights) -> npt.NDArray[np.float64]:
    """Return what each move costs by its shift, slope, shape and drift."""
    states, vector = moves.states, moves.vector
    norm = np.hypot(vector[:, 0], vector[:, 1])
    safe = np.where(norm > 0, norm, 1.0)
    across = np.stack([-vector[:, 1], vector[:, 0]], axis=1) / safe[:, None]
    low, high = states.where[moves.starts], states.where[moves.ends]
    size = (high - low + 1).astype(np.float64)
    mean = (sums.first[high + 1] - sums.first[low]) / size[:, None]
    square = (sums.second[high + 1] - sums.second[low]) / size[:, None]
    rr, cc, rc = square[:, 0] - mean[:, 0] ** 2, square[:, 1] - mean[:, 1] ** 2, square[:, 2] - mean[:, 0] * mean[:, 1]
    variance = np.maximum(across[:, 0] ** 2 * rr + across[:, 1] ** 2 * cc + 2 * across[:, 0] * across[:, 1] * rc, 0.0)
    shift = ((mean - states.holes[moves.starts]) * across).sum(axis=1)
    chord = sums.points[high] - sums.points[low]
    along = (chord * vector).sum(axis=1) / safe
    arc = (high - low) * SPACING
    length = np.maximum(norm, arc)
    drift = np.abs(norm - along) + np.maximum(arc - norm - 0.7, 0.0)
    cost = length * (weights.shift * shift**2 + weights.shape * variance) + weights.drift * drift**2
    cost[(norm == 0) | (along <= 0) & (arc > 0.8) | (variance > 0.45**2)] = np.inf
    return np.asarray(cost)


def _stops_on_way(stops: Sequence[Stop], moves: _Moves) -> npt.NDArray[np.float64]:
    """Return what the stops cost that each move passes between its ends, whether one word of it meets them or not.

    Notes
    -----
    A straight stroke that crosses others stays one regular line in this way. The words of a vector are the shifts
    of one balanced word; those that meet a hole are a stretch of them, and the stretches of all stops must overlap.
    """
    states, vector = moves.states, moves.vector
    low_place, high_place = states.where[moves.starts], states.where[moves.ends]
    extra = np.zeros(len(vector))
    over = np.zeros(len(vector), dtype=bool)
    for stop in stops:
        over |= (low_place < stop.at) & (high_place > stop.at)
    index = np.nonzero(over & vector.any(axis=1))[0]
    if len(index) == 0:
        return extra
    split = split_onto(vector[index], vector[index])
    count = split.sum(axis=1)
    common = np.gcd(split[:, 0], split[:, 1])
    low, high = np.zeros(len(index), dtype=np.int64), count // common - 1
    first = states.holes[moves.starts[index]]
    for stop in stops:
        asked = np.nonzero((low_place[index] < stop.at) & (high_place[index] > stop.at))[0]
        some, step = split[asked], common[asked]
        best = np.full(len(asked), stop.miss)
        best_low, best_high = low[asked], high[asked]
        for hole, price in zip(stop.holes, stop.costs or (0.0,) * len(stop.holes), strict=True):
            part = split_onto(np.array(hole) - first[asked], vector[index[asked]])
            behind = part.sum(axis=1) * some[:, 1]
            size = count[asked]
            least = np.maximum(low[asked], -((behind - part[:, 1] * size) // step))
            most = np.minimum(high[asked], -((behind - (part[:, 1] + 1) * size) // step) - 1)
            better = (part >= 0).all(axis=1) & (part <= some).all(axis=1) & (least <= most) & (price < best)
            best[better], best_low[better], best_high[better] = price, least[better], most[better]
        extra[index[asked]] += best
        low[asked], high[asked] = best_low, best_high
    return extra


def _turns_at_axis(stops: Sequence[Stop], moves: _Moves, bends: _Bends, weights: FitWeights) -> npt.NDArray[np.float64]:
    """Return what the vertex costs at which each move that begins or ends the chain meets its own image.

    Notes
    -----
    A straight piece is twice as long as the half of it that is fitted.
    """
    number, where, vector = moves.states.number, moves.states.where, moves.vector
    extra = np.zeros(len(vector))
    for index, ends, sign in ((0, moves.starts, 1), (len(stops) - 1, moves.ends, -1)):
        onward = stops[index].onward
        if onward is None:
            continue
        here = np.nonzero(number[ends] == index)[0]
        across = np.array(onward.across)
        way = vector[here] * np.where(vector[here] @ across < 0, -1.0, 1.0)[:, None]
        off = np.arctan2(across[0] * way[:, 1] - across[1] * way[:, 0], way @ across)
        turn = sign * onward.turns * off
        at = where[ends[here]]
        miss = np.maximum(np.maximum(bends.turns[0, at] - turn, turn - bends.turns[1, at]), 0.0)
        charge = np.minimum(weights.turn * miss**2, weights.turn_cap) + 2 * bends.breaks[at]
        extra[here] += np.where(np.abs(off) < 1e-9, 0.0, charge)
    return extra


def _occupied_on_way(occupied: npt.NDArray[np.bool_], moves: _Moves) -> npt.NDArray[np.float64]:
    """Return how many holes of each move, its start left out, are occupied."""
    states, vector = moves.states, moves.vector
    hits = np.zeros(len(vector))
    first, last = states.holes[moves.starts], states.holes[moves.ends]
    low, high = np.minimum(first, last), np.maximum(first, last) + 1
    table = np.zeros((occupied.shape[0] + 1, occupied.shape[1] + 1), dtype=np.int64)
    np.cumsum(np.cumsum(occupied, axis=0), axis=1, out=table[1:, 1:])
    within = table[high[:, 0], high[:, 1]] - table[low[:, 0], high[:, 1]]
    within += table[low[:, 0], low[:, 1]] - table[high[:, 0], low[:, 1]]
    # Few moves have an occupied hole between their ends at all.
    some = np.flatnonzero((within > 0) & vector.any(axis=1))
    wide = 2 * occupied.shape[1] + 1
    kinds, which = np.unique(vector[some] @ np.array([wide, 1]), return_inverse=True)
    some = some[np.argsort(which, kind="stable")]
    for here in np.split(some, np.cumsum(np.bincount(which, minlength=len(kinds)))[:-1]):
        if not len(here):
            continue
        word = straight_words((int(vector[here[0], 0]), int(vector[here[0], 1])))[0][1:]
        at = first[here][:, None, :] + word[None, :, :]
        taken = occupied[at[:, :, 0], at[:, :, 1]]
        # Ends at a stop are wanted there.
        taken[:, -1] &= states.number[moves.ends[here]] < 0
        hits[here] = taken.sum(axis=1)
    return hits


def _cheapest_path(
    moves: _Moves, cost: npt.NDArray[np.float64], bends: _Bends, weights: FitWeights, last_stop: int
) -> tuple[list[int], float, dict[int, float]] | None:
    """Return the states of the cheapest path from the first stop to the last, its cost, and the cost by last state."""
    states, vector, starts, ends = moves.states, moves.vector, moves.starts, moves.ends
    size = len(states.where)
    angle = np.arctan2(vector[:, 1].astype(np.float64), vector[:, 0].astype(np.float64))
    total = np.full(len(starts), np.inf)
    before = np.full(len(starts), -1)
    first_out = np.searchsorted(starts, np.arange(size + 1))
    by_end = np.argsort(ends, kind="stable")
    first_in = np.searchsorted(ends[by_end], np.arange(size + 1))
    many = np.diff(first_out)
    begun = np.flatnonzero(states.number[starts] == 0)
    total[begun] = cost[begun] + states.own[starts[begun]]
    pairs = np.concatenate([[0], np.cumsum(np.diff(first_in) * many)])
    # What two moves cost together is worked out for many states at once: each has but a few.
    cuts = np.searchsorted(pairs, np.arange(_PAIRS, int(pairs[-1]), _PAIRS)).tolist()
    for low, high in itertools.pairwise(dict.fromkeys([0, *cuts, size])):
        came = by_end[first_in[low] : first_in[high]]
        state = ends[came]
        row = np.cumsum(many[state]) - many[state]
        went = np.arange(int(pairs[high] - pairs[low])) + np.repeat(first_out[state] - row, many[state])
        turn = angle[went] - np.repeat(angle[came], many[state])
        charges = _turn_charges(turn, np.repeat(states.where[state], many[state]), bends, weights)
        for here in range(low, high):
            first, last = first_in[here], first_in[here + 1]
            if first == last or not many[here] or states.number[here] == 0:
                continue
            incoming = by_end[first:last]
            onward = slice(first_out[here], first_out[here + 1])
            charge = charges[pairs[here] - pairs[low] : pairs[here + 1] - pairs[low]].reshape(len(incoming), -1)
            sums = total[incoming][:, None] + charge
            pick = sums.argmin(axis=0)
            total[onward] = sums[pick, np.arange(len(pick))] + cost[onward]
            before[onward] = incoming[pick]
    final = np.nonzero(states.number[ends] == last_stop)[0]
    if len(final) == 0:
        return None
    best = int(final[np.argmin(total[final])])
    if not np.isfinite(total[best]):
        return None
    path = [int(ends[best]), int(starts[best])]
    at = int(before[best])
    while at >= 0:
        path.append(int(starts[at]))
        at = int(before[at])
    by_state: dict[int, float] = {}
    for move in final.tolist():
        value = float(total[move])
        if np.isfinite(value):
            by_state[int(ends[move])] = min(value, by_state.get(int(ends[move]), np.inf))
    return path[::-1], float(total[best]), by_state


def _turn_charges(
    turn: npt.NDArray[np.float64], place: npt.NDArray[np.int64], bends: _Bends, weights: FitWeights
) -> npt.NDArray[np.float64]:
    """Return what vertices cost at some of the curve's points, by the difference of their moves' angles."""
    turn = turn - 2 * np.pi * np.rint(turn / (2 * np.pi))
    least, most = bends.turns[:, place]
    miss = np.maximum(least - turn, turn - most)
    np.maximum(miss, 0.0, out=miss)
    charge = weights.turn * miss * miss
    square = bends.corners[place]
    if square.any():
        short = np.maximum(0.95 * np.abs(square) - turn * np.sign(square), 0.0)
        charge += np.where(square != 0, weights.corner * short**2, 0.0)
    np.minimum(charge, weights.turn_cap, out=charge)
    charge += weights.back * (np.abs(turn) > _STRAIGHT_BACK)
    charge += bends.breaks[place]
    return np.asarray(charge)


def end_stop(points: PointArray, at: int, shape: tuple[int, int], weights: FitWeights, free: bool = False) -> Stop:
    """Return a stop at a point of the curve with all holes near it, dearer the farther off they are.

    Notes
    -----
    A chain must not run past a ``free`` end. Where curves meet, the middle of their strokes is less sure.
    """
    centre = points[at]
    base = np.floor(centre).astype(int)
    options = [
        (row, col)
        for row in range(base[0] - 1, base[0] + 3)
        for col in range(base[1] - 1, base[1] + 3)
        if 0 <= row <= shape[0] and 0 <= col <= shape[1]
    ]
    away = [float(np.hypot(row - centre[0], col - centre[1])) for row, col in options]
    reach, far = (0.75, weights.far) if free else (0.95, 0.0)
    near = [index for index, distance in enumerate(away) if distance <= max(reach, min(away) + 1e-9)]
    costs = tuple(weights.end * away[k] ** 2 + far * max(away[k] - FAR, 0.0) ** 2 for k in near)
    return Stop(at, tuple(options[k] for k in near), costs)
