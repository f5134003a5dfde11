"""The least order put together from its parts."""

from __future__ import annotations

from itertools import pairwise
from math import ceil

import numpy as np

from converter.estimate.route_anneal import LegOrder
from converter.estimate.route_bound import Bound
from converter.estimate.route_cut import choose_directions, cut_lengths, move_table, taken_moves
from converter.estimate.route_fold import folded_legs, split_walks
from converter.estimate.route_geometry import EPSILON, ROOT2, Crosses, FloatArray, IntArray
from converter.estimate.route_links import Links
from converter.estimate.route_pieces import joined_legs
from converter.estimate.route_search import SpareRule, Walk, share_of_tries
from converter.estimate.route_stops import stop_walks
from converter.estimate.route_tree import SideGraph, TreeWalk
from converter.estimate.route_visits import shorter_orders

_TRIES = 8
"""Exchanges tried for each link with an excess ..."""
_MOST_TRIES = 2500
"""... and at most."""
_HEATS = ((0.3, 500_000, 0.4, 10.0, 0.2), (0.1, 80_000, 0.1, 0.7, 0.1), (0.0, 200_000, 0.4, 0.25, 0.04))
"""Share of moves with an excess from which: tries for each of them, share of all tries at most, first and last heat.
With many starts the search has to get over the price of one; else only the carries are to be shortened."""
_HOT = 0.5
"""Share of moves with an excess up to which large charts, most of whose crosses carries join, are not searched hot."""
_FEW_LEG_TRIES = 1_500_000
_MOST_LEG_TRIES, _HIDDEN_LEG_TRIES = 150_000_000, 22_500_000
"""Changes tried leg by leg, at least and at most; fewer where carries are hidden, as weighing takes longer there."""
_COPIED = 4000
"""Legs up to which a chart is worked in copies side by side."""
_APART = 0.3
"""Share of moves with an excess from which groups are worked again."""
_GROUPS = (12, 24, 48, 96)
"""Crosses of groups that are worked again as a whole, of a like size together."""
_GROUP_TRIES = 1_700_000
_MOST_GROUP_TRIES, _FEWEST_GROUP_TRIES = 4000, 400
"""Changes tried in all, and for each leg at most; with fewer than the last none are tried."""
_GROUP_SIZE = 40
"""Crosses from which there are fewer tries, as each takes longer."""
_GROUP_HEATS = (5.0, 0.5)
_HIDDEN_SHARE = 0.15
"""Share of the tries for groups where carries are hidden, for the same reason."""
_FULL = 0.01
"""Share of moves with an excess from which lengths are filled leg by leg."""
_FILL_HEATS = (0.7, 0.06)
_FILL_TRIES, _FILL_SHARE = 13_000, 0.36
"""Tries for each leg at most when lengths are filled, and share of all tries at most."""
_EVEN = 5000
"""Legs up to which large charts are filled anew even where no fewer lengths will do."""
_BREAK = 300.0
"""Excess that a way no move can take counts while lengths are filled, and are put together for it: far more than a
start, as hardly any such way is found again once it is inside a length."""
_SLACK = (1.5, 5.0)
"""Thread that a full length is expected to have over: at best, and on large charts, where only one is tried."""
_SCATTERED = 14
"""Crosses to a piece under which a chart counts as scattered."""


class _PieceRule:
    """Which stops may go in the least order: all but the last of each piece."""

    def __init__(self, sides: SideGraph, stops: list[int]) -> None:
        self._piece: list[int] = sides.piece.tolist()
        self._left = [0] * sides.pieces
        for stop in stops:
            self._left[self._piece[stop]] += 1

    def spare(self, stop: int) -> bool:
        """Return whether another stop of the piece is left."""
        return self._left[self._piece[stop]] > 1

    def drop(self, stop: int) -> None:
        """Take a stop out."""
        self._left[self._piece[stop]] -= 1

    def restore(self, stop: int) -> None:
        """Put a stop back."""
        self._left[self._piece[stop]] += 1


def least_lengths(links: Links, sides: SideGraph, capacity: float, bound: Bound) -> tuple[IntArray, list[int]]:
    """Return the least order: all legs, and the place of the first leg of each length."""
    crosses = links.crosses
    group = bound.group[sides.piece]
    alone = np.bincount(bound.group)[group] == 1
    _, entries = np.unique(sides.piece, return_index=True)
    walk = TreeWalk(crosses, entries)
    legs = [leg for entry in entries.tolist() if alone[entry] for leg in walk.legs(entry, entry)]
    lengths = cut_order(links, np.asarray(legs, dtype=np.int64), capacity) if legs else []
    if not alone.all():
        lengths += _joined_lengths(links, np.flatnonzero(~alone), group[~alone], capacity)
    return np.concatenate(lengths), np.cumsum([0] + [part.size for part in lengths[:-1]]).tolist()


def _joined_lengths(links: Links, numbers: IntArray, group: IntArray, capacity: float) -> list[IntArray]:
    """Return the lengths of groups of several pieces."""
    cells = np.zeros_like(links.crosses.cells)
    cells[links.crosses.row[numbers], links.crosses.col[numbers]] = True
    crosses = Crosses.of(cells, links.crosses.pad)
    part = Links(crosses, links.rules, links.price)
    sides = SideGraph.of(crosses)
    if crosses.count < _SCATTERED * sides.pieces:
        legs = np.asarray(_scattered_legs(part, sides), dtype=np.int64)
    else:
        legs = np.asarray(joined_legs(part, sides, _TRIES, _most_tries(crosses.count)), dtype=np.int64)
    ends, moves = _worked(part, legs)
    faulty = int((moves > 1 + EPSILON).sum())
    all_tries = _HIDDEN_LEG_TRIES if links.rules.hidden else _MOST_LEG_TRIES
    most = int(all_tries * share_of_tries(crosses.count))
    if faulty and most > legs.size:
        copies = 1 if links.rules.hidden else max(1, _COPIED // legs.size)
        order = LegOrder(part, [legs], ends, links.price, copies)
        size = share_of_tries(crosses.count)
        few = int(_FEW_LEG_TRIES * size)
        _, each, part_of_all, hot, cold = _heats(legs.size, group, faulty)
        order.anneal(max(few, int(min(part_of_all * most, each * size * faulty))), hot, cold)
        legs = _shorter_by_group(part, legs, order.best(group), group)
        if faulty >= _APART * legs.size:
            legs = _regrouped(part, order, legs, group)
    lengths = cut_order(part, legs, capacity)
    if most > legs.size and faulty >= _FULL * legs.size:
        lengths = _filled(part, lengths, capacity, min(int(_FILL_SHARE * most), _FILL_TRIES * legs.size))
    return [numbers[length >> 1] * 2 + (length & 1) for length in lengths]


def _heats(legs: int, group: IntArray, faulty: int) -> tuple[float, int, float, float, float]:
    """Return the row of `_HEATS` for an order of so many legs, so many of whose moves have an excess."""
    joined = 2 * int(np.bincount(group).max()) > group.size
    rows = _HEATS[1:] if joined and legs > _COPIED // 2 and faulty < _HOT * legs else _HEATS
    return next(row for row in rows if faulty >= row[0] * legs)


def _shorter_by_group(links: Links, one: IntArray, two: IntArray, group: IntArray) -> IntArray:
    """Return an order with the legs of each group in the shorter of two orders; the first if they are even."""
    orders, costs = [], []
    for legs in (one, two):
        legs = legs[np.argsort(group[legs >> 1], kind="stable")]
        belongs = group[legs >> 1]
        _, moves = _worked(links, legs)
        excess = np.where(np.diff(belongs) == 0, np.minimum(moves - 1, links.price), 0.0)
        orders.append(legs)
        costs.append(np.bincount(belongs[1:], excess, minlength=int(group.max()) + 1))
    later = costs[1] < costs[0] - EPSILON
    size = 2 * np.bincount(group)
    return np.where(np.repeat(later, size), orders[1], orders[0])


def _regrouped(links: Links, order: LegOrder, legs: IntArray, group: IntArray) -> IntArray:
    """Return an order with shorter orders of those groups of some dozens of crosses that take several lengths."""
    belongs = group[legs >> 1]
    _, moves = _worked(links, legs)
    apart = np.bincount(belongs[1:], (moves > links.price) & (np.diff(belongs) == 0), minlength=int(group.max()) + 1)
    size = np.bincount(group)
    holes = order.leg_holes()
    several = (size >= _GROUPS[0]) & (size < _GROUPS[-1]) & (apart > 0)
    all_tries = _GROUP_TRIES * share_of_tries(links.crosses.count) * (_HIDDEN_SHARE if links.rules.hidden else 1.0)
    tries = min(_MOST_GROUP_TRIES, all_tries / max(1, 2 * int(size[several].sum())))
    if tries < _FEWEST_GROUP_TRIES:
        return legs
    for least, most in pairwise(_GROUPS):
        numbers = np.flatnonzero(several & (size >= least) & (size < most)).tolist()
        if not numbers:
            continue
        places = [np.flatnonzero(belongs == number) for number in numbers]
        members = [np.flatnonzero(group == number) for number in numbers]
        mine = [np.stack((2 * part, 2 * part + 1), axis=1).ravel() for part in members]
        orders = [np.searchsorted(of, legs[at]) for of, at in zip(mine, places, strict=True)]
        each = int(tries * min(1.0, _GROUP_SIZE / size[numbers].max()))
        found = shorter_orders(orders, [holes[of] for of in mine], order.excess, links.price, each, _GROUP_HEATS)
        for of, at, better in zip(mine, places, found, strict=True):
            legs[at] = of[better]
    return legs


def _worked(links: Links, legs: IntArray) -> tuple[IntArray, FloatArray]:
    """Return the best end of each leg of an order, by leg, and the back moves along it."""
    table = move_table(links.crosses, links.rules, legs)
    chosen = choose_directions(table, links.price + 1.0)
    ends = np.zeros(2 * links.crosses.count, dtype=np.int64)
    ends[legs] = chosen
    return ends, taken_moves(table, chosen)


def _filled(links: Links, lengths: list[IntArray], capacity: float, tries: int) -> list[IntArray]:
    """Return lengths that take less thread, if fewer will do or legs between them are better shared out; else the same.

    The shortest neighbours are put together until there are as few as can hold the thread, and legs moved between
    them until none holds too much.
    """
    legs = np.concatenate(lengths)
    ends, moves = _worked(links, legs)
    link = np.append(np.minimum(moves - 1, links.price), links.price)
    first = np.cumsum([0] + [part.size for part in lengths[:-1]])
    load = [
        (1 + ROOT2) * part.size + float(link[at : at + part.size - 1].sum())
        for at, part in zip(first.tolist(), lengths, strict=True)
    ]
    broken = (link[first[1:] - 1] >= links.price).tolist()
    slack = _SLACK[0] if legs.size <= _COPIED // 2 else _SLACK[1]
    if 2 * sum(broken) > len(broken):
        return lengths
    least, most = max(1, ceil(sum(load) / (capacity + 1 - slack))), len(lengths) - 1
    if _COPIED // 2 < legs.size <= _EVEN:
        most += 1
        least = min(least, most)
    for fewest in range(least, most + 1):
        order = LegOrder(links, _merged(lengths, load, broken, fewest), ends, _BREAK)
        order.anneal(tries, *_FILL_HEATS, capacity)
        found = [part for length in order.lengths() if length.size for part in cut_order(links, length, capacity)]
        if _cost(links, found) < _cost(links, lengths) - EPSILON:
            return found
        if legs.size > _COPIED // 2:
            break
    return lengths


def _merged(lengths: list[IntArray], load: list[float], broken: list[bool], fewest: int) -> list[IntArray]:
    """Return as few lengths, the shortest neighbours put together, those that no move joins last."""
    merged, load, broken = list(lengths), list(load), list(broken)
    while len(merged) > fewest:
        sums = [a + b + _BREAK * gap for a, b, gap in zip(load, load[1:], broken, strict=False)]
        k = sums.index(min(sums))
        merged[k : k + 2] = [np.concatenate(merged[k : k + 2])]
        load[k : k + 2] = [load[k] + load[k + 1]]
        del broken[k]
    return merged


def _cost(links: Links, lengths: list[IntArray]) -> float:
    """Return the excess of lengths, their starts included."""
    return sum(float(_worked(links, part)[1].sum()) - part.size for part in lengths) + (links.price + 1) * len(lengths)


def _scattered_legs(links: Links, sides: SideGraph) -> list[int]:
    """Return an order for charts of many small pieces: a walk over stops, what is left over hung on it."""
    stops = [stop for walk in stop_walks(links, 0) for stop in walk]
    walk = Walk(links, stops)
    _shorten(walk, _PieceRule(sides, stops))
    return folded_legs(links, sides, split_walks(links, walk.stops))


def _shorten(walk: Walk, rule: SpareRule) -> None:
    """Improve a walk until nothing helps."""
    walk.settle(walk.faulty()[::-1])
    walk.drop_spare(rule)
    walk.settle(walk.faulty()[::-1])
    tries = min(_most_tries(len(walk.links.flat)), _TRIES * len(walk.faulty()))
    if tries:
        walk.search(tries)
        walk.drop_spare(rule)
        walk.settle(walk.faulty()[::-1])


def _most_tries(crosses: int) -> int:
    """Return the most exchanges for a chart."""
    return int(_MOST_TRIES * share_of_tries(crosses))


def cut_order(links: Links, legs: IntArray, capacity: float) -> list[IntArray]:
    """Return the lengths of the cheapest cutting of an order of legs."""
    _, moves = _worked(links, legs)
    return np.split(legs, cut_lengths(moves, capacity, links.price + 1.0)[1:])
