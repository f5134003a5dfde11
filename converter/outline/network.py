"""All curves to chains: which is fitted first, and which hole curves share where they meet.

1. Curves that run straight on through nodes are one run (`graph.straight_runs`). A run through a
   node comes before the runs that end there, long ones before short ones.
2. The first run at a node is free there. Its holes nearest the node are what later runs may choose
   from, the farther the dearer; once a second run has chosen, the hole is fixed.
3. For a node where runs only end the hole is chosen jointly: of all holes near it the one for which the
   first few stitches of all its runs together cost least.
4. Holes of other parts of the network are dear, so that separate parts stay separate.

A closed curve is fitted once from its sharpest bend, then again from a vertex of the first fit that
lies elsewhere, so that the place of the start leaves no trace.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from converter.model.arrays import LineArray, PointArray
from converter.outline.fit import (
    FAR,
    SPACING,
    Course,
    Fit,
    FitWeights,
    Onward,
    Stop,
    curve_turns,
    end_stop,
    fit_curve,
    measure_course,
)
from converter.outline.graph import CurveNetwork, Run, straight_runs
from converter.outline.lattice import HoleArray, straight_words
from converter.outline.simplify import resample_curve

_BRANCH = 25
"""Points of a run, from a node, that help to choose its hole: five stitches."""
_PASSED = 1.0
"""A curve that runs through a node pays at most so much for where it lets others join it."""
_AT_NODE = 1.3
"""A hole may stand for a node so many stitches off."""
_UNMET = 1000.0
"""Charge for a word that does not meet a hole where the curve crosses another."""


@dataclass(eq=False)
class _Board:
    """What has been placed so far."""

    shape: tuple[int, int]
    weights: FitWeights
    owner: npt.NDArray[np.int64]
    node_holes: dict[int, dict[tuple[int, int], float]] = field(default_factory=dict)
    """Holes that a node may use, with costs."""
    free: frozenset[int] = frozenset()
    """Nodes where a single curve ends."""
    joins: dict[int, dict[tuple[int, int], float]] = field(default_factory=dict)
    """Holes of a node on a curve that suit the others that join it there, with costs."""
    goes_on: Mapping[int, Onward] = field(default_factory=dict)
    """Nodes where a curve goes on as its own image."""

    def occupied(self, part: int) -> npt.NDArray[np.bool_]:
        return np.asarray((self.owner >= 0) & (self.owner != part))


@dataclass(frozen=True, eq=False)
class Chain:
    """Backstitches one after another, and the curve that they follow."""

    holes: npt.NDArray[Any]
    """(K, 2), one backstitch apart; whole numbers, or halves where half points are allowed."""
    places: npt.NDArray[np.float64]
    """(K,): index of the curve's point at each hole."""
    points: PointArray
    """(n, 2): the curve, `SPACING` apart."""
    solid: bool
    """The edge of an area, not the centre line of a stroke."""
    on_axis: bool = False
    """Runs along an axis of symmetry."""


def fit_network(
    network: CurveNetwork,
    shape: tuple[int, int],
    weights: FitWeights,
    pins: Mapping[int, tuple[int, int]] | None = None,
    goes_on: Mapping[int, Onward] | None = None,
) -> list[Chain]:
    """Return the chains of a network.

    Parameters
    ----------
    network : CurveNetwork
        In stitches.
    shape : tuple of int
        Rows and columns of the grid.
    weights : FitWeights
    pins : mapping, optional
        Nodes whose hole is given.
    goes_on : mapping, optional
        Nodes where a curve goes on as its own mirror image.

    Returns
    -------
    chains : list of Chain
        In the order in which they were placed.
    """
    runs = [run for run in straight_runs(network) if run.length > 0.3]
    free = frozenset(node for node, count in enumerate(network.degrees()) if count == 1)
    board = _Board(shape, weights, np.full((shape[0] + 1, shape[1] + 1), -1), free=free, goes_on=goes_on or {})
    board.node_holes.update({node: {hole: 0.0} for node, hole in (pins or {}).items()})
    through: dict[int, list[int]] = {}
    for index, run in enumerate(runs):
        for node in run.nodes if run.closed else run.nodes[1:-1]:
            through.setdefault(node, []).append(index)
    order = _order_runs(runs, through)
    _choose_junctions(runs, through, network, board)
    _suit_crossings([runs[index] for index in order], network, board)
    chains = []
    for index in order:
        chain = _fit_run(runs[index], network, board)
        if chain is not None and len(chain.holes) > 1:
            chains.append(chain)
            board.owner[chain.holes[:, 0], chain.holes[:, 1]] = runs[index].part
    return chains


def _order_runs(runs: list[Run], through: Mapping[int, list[int]]) -> list[int]:
    """Return the runs in the order of fitting: those that pass a node before those that end there, long ones first.

    Notes
    -----
    Where runs end on each other in a ring, the longest of all that are left goes first.
    """
    awaited = {
        index: {
            other
            for node in ((run.nodes[0], run.nodes[-1]) if run.nodes and not run.closed else ())
            for other in through.get(node, ())
            if other != index
        }
        for index, run in enumerate(runs)
    }
    waiting: dict[int, list[int]] = {}
    for index, others in awaited.items():
        for other in others:
            waiting.setdefault(other, []).append(index)
    every = [(-round(run.length, 3), index) for index, run in enumerate(runs)]
    heapq.heapify(every)
    ready = [item for item in every if not awaited[item[1]]]
    heapq.heapify(ready)
    order: list[int] = []
    while awaited:
        chosen = heapq.heappop(ready or every)[1]
        if chosen not in awaited:
            continue
        order.append(chosen)
        del awaited[chosen]
        for index in waiting.get(chosen, ()):
            if index in awaited:
                awaited[index].discard(chosen)
                if not awaited[index]:
                    heapq.heappush(ready, (-round(runs[index].length, 3), index))
    return order


def _choose_junctions(runs: list[Run], through: Container[int], network: CurveNetwork, board: _Board) -> None:
    """Fix the hole of each node where at least two runs end and none passes; note what holes suit those that join."""
    leaving: dict[int, list[PointArray]] = {}
    for run in runs:
        if run.closed:
            continue
        # From a few stitches off towards the node, so that one fit gives the cost of every hole.
        points = resample_curve(run.points, SPACING)
        leaving.setdefault(run.nodes[0], []).append(points[:_BRANCH][::-1])
        leaving.setdefault(run.nodes[-1], []).append(points[-_BRANCH:])
    for node, branches in sorted(leaving.items()):
        if node in board.node_holes or (node not in through and len(branches) < 2):
            continue
        sums: dict[tuple[int, int], float] = {}
        for branch in branches:
            if len(branch) < 4:
                continue
            far = end_stop(branch, 0, board.shape, board.weights)
            start = Stop(0, far.holes, (0.0,) * len(far.holes))
            last = len(branch) - 1
            near = end_stop(np.concatenate([branch[:-1], network.nodes[node][None]]), last, board.shape, board.weights)
            fit = fit_curve(measure_course(branch, board.weights), board.shape, board.weights, [start, near])
            for hole, cost in (fit.end_costs if fit else {}).items():
                sums[hole] = sums.get(hole, 0.0) + cost
            for hole in near.holes:
                sums[hole] = sums.get(hole, 0.0) + (0.0 if fit and hole in fit.end_costs else _UNMET)
        if sums and node in through:
            least = min(sums.values())
            board.joins[node] = {hole: cost - least for hole, cost in sums.items() if cost - least < _PASSED}
        elif sums:
            best = min(sums, key=lambda hole: (round(sums[hole], 6), hole))
            board.node_holes[node] = {best: 0.0}


def _suit_crossings(runs: list[Run], network: CurveNetwork, board: _Board) -> None:
    """Note for each node that several runs pass what holes suit those that are fitted later; runs in their order."""
    passing: dict[int, list[PointArray]] = {}
    for run in runs:
        for node in run.nodes if run.closed else run.nodes[1:-1]:
            passing.setdefault(node, []).append(run.points)
    for node, curves in sorted(passing.items()):
        if len(curves) < 2 or node in board.node_holes or node in board.joins:
            continue
        base = np.floor(network.nodes[node]).astype(int)
        costs = {}
        for hole in itertools.product(range(base[0] - 1, base[0] + 3), range(base[1] - 1, base[1] + 3)):
            if not 0 <= hole[0] <= board.shape[0] or not 0 <= hole[1] <= board.shape[1]:
                continue
            away = np.array([np.hypot(*(points - hole).T).min() for points in curves[1:]])
            if np.hypot(*(network.nodes[node] - hole)) <= _AT_NODE and away.max() <= FAR:
                costs[hole] = float(board.weights.end * (away**2).sum())
        if costs:
            least = min(costs.values())
            board.joins[node] = {hole: cost - least for hole, cost in costs.items()}


def _node_stop(node: int, at: int, points: PointArray, board: _Board, inner: bool) -> Stop:
    known = board.node_holes.get(node)
    if known:
        return Stop(at, tuple(known), tuple(known.values()), board.goes_on.get(node))
    if inner and node in board.joins:
        joins = board.joins[node]
        return Stop(at, tuple(joins), tuple(joins.values()), miss=_PASSED)
    return end_stop(points, at, board.shape, board.weights, node in board.free)


def _fit_run(run: Run, network: CurveNetwork, board: _Board) -> Chain | None:
    points = resample_curve(run.points, SPACING)
    last = len(points) - 1
    if last < 2:
        return None
    occupied = board.occupied(run.part)
    solid = _is_edge(run, network)
    spacing = run.length / last
    places = [round(place / spacing) for place in run.places]
    if run.closed:
        met = [
            _node_stop(node, at, points, board, True)
            for node, at in zip(run.nodes, places, strict=True)
            if node in board.node_holes or node in board.joins
        ]
        loop = _fit_loop(points, board, occupied, solid, met)
        if loop is not None:
            for node in run.nodes:
                _settle_node(node, run, network, loop.holes, board)
        return loop
    stops = []
    for rank, (node, at) in enumerate(zip(run.nodes, places, strict=True)):
        inner = 0 < rank < len(run.nodes) - 1
        if inner and (not (node in board.node_holes or node in board.joins) or not 2 < at < last - 2):
            continue
        stops.append(_node_stop(node, 0 if rank == 0 else (at if inner else last), points, board, inner))
    stops = [stop for k, stop in enumerate(stops) if k in (0, len(stops) - 1) or stops[k - 1].at < stop.at < last]
    fit, stops = _fit_meeting_itself(run, places, stops, measure_course(points, board.weights), board, occupied)
    if fit is None:
        return None
    chain, where = sew_fit(fit, points, stops[1:-1])
    for node in run.nodes:
        _settle_node(node, run, network, chain, board)
    on_axis = all(network.curves[member].on_axis for member in run.members)
    return Chain(chain, where, points, solid, on_axis)


def _is_edge(run: Run, network: CurveNetwork) -> bool:
    """Return True if more of a run is the edge of an area than the centre line of a stroke."""
    members = [network.curves[member] for member in run.members]
    return 2 * sum(curve.length for curve in members if curve.solid) > sum(curve.length for curve in members)


def _fit_meeting_itself(
    run: Run, places: list[int], stops: list[Stop], course: Course, board: _Board, occupied: npt.NDArray[np.bool_]
) -> tuple[Fit | None, list[Stop]]:
    """Return the fit of a run with one and the same hole wherever an end of it meets the run itself, and its stops."""
    last = len(course.points) - 1
    best: Fit | None = None
    for node in dict.fromkeys((run.nodes[0], run.nodes[-1])):
        where = {
            0 if k == 0 else last if k == len(places) - 1 else at for k, at in enumerate(places) if run.nodes[k] == node
        }
        where = {at for at in where if at in (0, last) or 2 < at < last - 2}
        if len(where) < 2:
            continue
        end = stops[0] if 0 in where else stops[-1]
        costs = end.costs or (0.0,) * len(end.holes)
        best, options = None, stops
        for hole, cost in zip(end.holes, costs, strict=True):
            shared = [Stop(at, (hole,), (cost,)) for at in where]
            tried = sorted([stop for stop in stops if stop.at not in where] + shared, key=lambda stop: stop.at)
            fit = fit_curve(course, board.shape, board.weights, tried, occupied)
            if fit is not None and (best is None or fit.cost < best.cost):
                best, options = fit, tried
        stops = options
    return best or fit_curve(course, board.shape, board.weights, stops, occupied), stops


def _settle_node(node: int, run: Run, network: CurveNetwork, chain: HoleArray, board: _Board) -> None:
    """Note which holes of a placed chain later runs may use at a node."""
    centre = network.nodes[node]
    if not run.closed and node in (run.nodes[0], run.nodes[-1]):
        end = chain[0] if node == run.nodes[0] else chain[-1]
        board.node_holes[node] = {(int(end[0]), int(end[1])): 0.0}
        return
    known = board.node_holes.get(node)
    if known is not None:
        on = [hole for hole in known if (chain == hole).all(axis=1).any()]
        if on:
            board.node_holes[node] = {on[0]: 0.0}
            return
    away = np.hypot(*(chain - centre).T)
    near = np.argsort(away, kind="stable")[:6]
    near = near[away[near] <= max(_AT_NODE, float(away[near[0]]) + 1e-9)]
    board.node_holes[node] = {
        (int(chain[k, 0]), int(chain[k, 1])): board.weights.end * float(away[k]) ** 2 for k in near
    }


def _fit_loop(
    points: PointArray, board: _Board, occupied: npt.NDArray[np.bool_], solid: bool, stops: Sequence[Stop] = ()
) -> Chain | None:
    weights, shape = board.weights, board.shape
    ring = len(points) - 1
    turns = np.abs(curve_turns(points, True, weights.bend_span))[:ring]
    # A loop begins where it meets no other curve, if there is such a place.
    clear = np.ones(ring, dtype=bool)
    for stop in stops:
        clear[(stop.at + np.arange(-4, 5)) % ring] = False
    if not clear.any():
        clear[:] = True
    first = int(np.argmax(np.where(clear, np.round(turns, 6), -1.0)))

    def fit_from(start: int, ends: Stop) -> tuple[Fit | None, PointArray, list[Stop]]:
        around = _roll_ring(points, start)
        inner = sorted((replace(stop, at=(stop.at - start) % ring) for stop in stops), key=lambda stop: stop.at)
        inner = [stop for stop in inner if 2 < stop.at < ring - 2]
        inner = [stop for k, stop in enumerate(inner) if k == 0 or stop.at > inner[k - 1].at]
        both = [ends, *inner, replace(ends, at=ring)]
        return fit_curve(measure_course(around, weights, True), shape, weights, both, occupied), around, inner

    start = end_stop(_roll_ring(points, first), 0, shape, weights)
    fit, around, met = fit_from(first, start)
    if fit is None:
        return None
    best = None
    inner = [
        k
        for k in range(1, len(fit.vertices) - 1)
        if 0.12 * ring <= fit.places[k] <= 0.88 * ring and clear[(first + int(fit.places[k])) % ring]
    ]
    if inner:
        bends = np.abs(np.roll(turns, -first))
        anchor = max(
            inner, key=lambda k: (round(float(bends[fit.places[k] % ring]), 6), -abs(int(fit.places[k]) - ring / 2), k)
        )
        hole = (int(fit.vertices[anchor][0]), int(fit.vertices[anchor][1]))
        best, around, met = fit_from((first + int(fit.places[anchor])) % ring, Stop(0, (hole,)))
    if best is None:
        tries = [
            fit_from(first, Stop(0, (hole,), (cost,))) for hole, cost in zip(start.holes, start.costs, strict=True)
        ]
        good = [(fit.cost, k) for k, (fit, _, _) in enumerate(tries) if fit is not None]
        if good:
            best, around, met = tries[min(good)[1]]
    if best is None:
        return None
    holes, where = sew_fit(best, around, met)
    return Chain(*(_drop_spikes(holes, where) if solid and not stops else (holes, where)), around, solid)


def _drop_spikes(holes: HoleArray, where: npt.NDArray[np.float64]) -> tuple[HoleArray, npt.NDArray[np.float64]]:
    """Return the closed chain of an area without stitches that go out and straight back, as into a sharp notch.

    Notes
    -----
    The edge of an area encloses something; a single stitch that stands out of it would read as a stroke.
    """
    kept: list[int] = []
    for k, hole in enumerate(holes):
        if len(kept) > 1 and (holes[kept[-2]] == hole).all():
            kept.pop()
        else:
            kept.append(k)
    while len(kept) > 4 and (holes[kept[1]] == holes[kept[-2]]).all():
        kept = kept[1:-1]
    if len(kept) < 4:
        return holes, where
    return holes[kept], where[kept]


def _roll_ring(points: PointArray, first: int) -> PointArray:
    ring = np.roll(points[:-1], -first, axis=0)
    return np.concatenate([ring, ring[:1]])


def sew_fit(fit: Fit, points: PointArray, through: Sequence[Stop] = ()) -> tuple[HoleArray, npt.NDArray[np.float64]]:
    """Return the holes of a chain, each move sewn as the balanced word that keeps nearest to the curve.

    Parameters
    ----------
    fit : Fit
    points : ndarray of shape (n, 2)
        The curve.
    through : sequence of Stop, optional
        Places of the curve where words that meet one of the holes, a cheap one, are preferred.

    Returns
    -------
    chain : ndarray of shape (K, 2), int
    where : ndarray of shape (K,), float
        Index of the curve's point at each hole, interpolated.
    """
    options = [_priced_words(fit, k, points, through) for k in range(len(fit.vertices) - 1)]
    chosen = [_least(words) for words in options]
    for k in range(len(options) - 1):
        if (chosen[k][-1] - chosen[k][-2] == -chosen[k + 1][1]).all():
            # What is sewn there and straight back looks like a loose end.
            pairs = [
                (price + more, np.stack([one[-1] - one[-2], -other[1]]), one, other)
                for price, one in options[k]
                for more, other in options[k + 1]
            ]
            apart = [(price, one, other) for price, (came, back), one, other in pairs if (came != back).any()]
            if apart:
                _, chosen[k], chosen[k + 1] = min(apart, key=lambda pair: round(pair[0], 6))
    chain = [fit.vertices[:1]]
    where = [fit.places[:1].astype(np.float64)]
    for k, word in enumerate(chosen):
        chain.append(fit.vertices[k] + word[1:])
        where.append(np.linspace(fit.places[k], fit.places[k + 1], len(word))[1:])
    return np.concatenate(chain), np.concatenate(where)


def _priced_words(fit: Fit, index: int, points: PointArray, through: Sequence[Stop]) -> list[tuple[float, HoleArray]]:
    """Return the ways to sew one move of a fit, with the sum of squared distances to the curve and the prices met."""
    start, end = fit.vertices[index], fit.vertices[index + 1]
    low, high = int(fit.places[index]), int(fit.places[index + 1])
    words = straight_words((int(end[0] - start[0]), int(end[1] - start[1])))
    if len(words) == 1:
        return [(0.0, words[0])]
    length = float(np.hypot(*(end - start)))
    unit = (end - start) / length
    across = np.array([-unit[1], unit[0]])
    piece = points[low : high + 1]
    along = (piece - start) @ unit
    order = np.argsort(along, kind="stable")
    beside = (piece - start) @ across
    near = [stop for stop in through if low - 4 <= stop.at <= high + 4]
    priced = []
    for word in words:
        target = np.interp(word[1:-1] @ unit, along[order], beside[order])
        miss = float(((word[1:-1] @ across - target) ** 2).sum())
        passed = {(int(row), int(col)) for row, col in start + word}
        priced.append((miss + sum(_price(stop, passed) for stop in near), word))
    return priced


def _least(words: list[tuple[float, HoleArray]]) -> HoleArray:
    """Return the cheapest word, the first of nearly equal ones."""
    least, word = words[0]
    for price, option in words[1:]:
        if price < least - 1e-6:
            least, word = price, option
    return word


def _price(stop: Stop, passed: set[tuple[int, int]]) -> float:
    """Return what the cheapest hole of a stop costs that is passed."""
    costs = stop.costs or (0.0,) * len(stop.holes)
    return min((cost for hole, cost in zip(stop.holes, costs, strict=True) if hole in passed), default=_UNMET)


def halve_chain(chain: Chain) -> Chain:
    """Return a chain of a grid twice as fine on the stitch grid, its ends at halves of a stitch.

    Notes
    -----
    Two equal steps that follow each other make one backstitch, where that is legal.
    """
    keep = [0]
    steps = np.diff(chain.holes, axis=0)
    at = 0
    while at < len(steps):
        pair = at + 1 < len(steps) and (steps[at] == steps[at + 1]).all() and np.abs(steps[at]).max() <= 1
        at += 2 if pair else 1
        keep.append(at)
    return replace(chain, holes=chain.holes[keep] / 2, places=chain.places[keep], points=chain.points / 2)


def chain_stitches(chains: Sequence[npt.NDArray[Any]]) -> LineArray:
    """Return the single backstitches of chains, each once, in the order of the chains."""
    seen: dict[tuple[float, float, float, float], None] = {}
    for chain in chains:
        for (a, b), (c, d) in zip(chain[:-1].tolist(), chain[1:].tolist(), strict=True):
            if (c, d, a, b) not in seen and (a, b) != (c, d):
                seen.setdefault((a, b, c, d))
    return np.array(list(seen), dtype=np.float64).reshape(-1, 2, 2)
