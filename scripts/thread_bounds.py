"""Lower bounds for scattered crosses that are sharper than the one of the planner, and take minutes."""

from __future__ import annotations

import time
from math import ceil, hypot

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from converter.estimate.route_bound import thread_bound
from converter.estimate.route_geometry import EPSILON, ROOT2, Crosses, MoveRules
from converter.estimate.route_tree import SideGraph

LENGTH, TAIL, CARRY = 252.0, 25.0, 3.5


def leg_bound(cells: np.ndarray, rounds: int = 300) -> float:
    """Return a lower bound that also lets every end of a leg be used once only.

    The plan is a forest over the legs in which each leg end has at most one move, and the ends left over are the ends
    of the lengths. The condition on the ends is taken into the cost with a multiplier for each end (Held and Karp 1970,
    from memory); for any multipliers the cheapest forest is a bound. They are improved along the averaged violation.
    """
    crosses, rules = Crosses.of(cells), MoveRules(cells, CARRY, False)
    plain = thread_bound(crosses, SideGraph.of(crosses), rules, LENGTH, TAIL)
    count = 2 * crosses.count
    holes = crosses.leg_holes(np.arange(count)).reshape(-1, 2)
    pairs = cKDTree(holes).query_pairs(CARRY + EPSILON, output_type="ndarray")
    span = np.linalg.norm((holes[pairs[:, 0]] - holes[pairs[:, 1]]).astype(float), axis=1)
    keep = (span > 0) & (pairs[:, 0] >> 1 != pairs[:, 1] >> 1)
    ends, span = pairs[keep], span[keep]
    low, high = np.minimum(ends[:, 0] >> 1, ends[:, 1] >> 1), np.maximum(ends[:, 0] >> 1, ends[:, 1] >> 1)
    order = np.lexsort((high, low))
    ends, span, low, high = ends[order], span[order], low[order], high[order]
    new = np.flatnonzero(np.r_[True, (low[1:] != low[:-1]) | (high[1:] != high[:-1])])
    group = np.repeat(np.arange(new.size), np.diff(np.append(new, low.size)))
    number = sparse.csr_matrix((np.arange(1, new.size + 1), (low[new], high[new])), shape=(count, count))
    rng = np.random.default_rng(0)
    multiplier, average = np.zeros(2 * count), np.zeros(2 * count)
    best, pace = plain.total, 0.01
    price = 2 * TAIL
    for turn in range(rounds):
        weight = span + multiplier[ends[:, 0]] + multiplier[ends[:, 1]] + 1e-7 * rng.random(span.size)
        shift = 1.0 - min(weight.min(), 0.0)
        least = np.minimum.reduceat(weight, new)
        arg = np.full(new.size, -1)
        hit = np.flatnonzero(weight <= least[group])
        arg[group[hit]] = hit
        graph = sparse.csr_matrix((least + shift, (low[new], high[new])), shape=(count, count))
        tree = csgraph.minimum_spanning_tree(graph).tocoo()
        cost = tree.data - shift
        rank = np.argsort(cost, kind="stable")
        loose = np.argsort(multiplier, kind="stable")
        edges = np.arange(0, min(rank.size, count - plain.starts) + 1)
        paid = np.r_[0.0, np.cumsum(cost[rank])][edges] + price * (count - edges)
        paid += np.r_[0.0, np.cumsum(multiplier[loose])][2 * (count - edges)]
        k = int(paid.argmin())
        value = float(paid[k] - multiplier.sum() + ROOT2 * count - 1e-7 * count)
        taken = arg[np.asarray(number[tree.row[rank[:k]], tree.col[rank[:k]]]).ravel() - 1]
        used = np.bincount(ends[taken].ravel(), minlength=2 * count)
        used[loose[: 2 * (count - k)]] += 1
        average = used - 1.0 if turn == 0 else 0.9 * average + 0.1 * (used - 1.0)
        pace *= 1.1 if value > best else 0.97
        best = max(best, value)
        multiplier += pace * (1.03 * best - value) / max(float((average**2).sum()), 1.0) * average
    return best


def turn_bound(cells: np.ndarray, seconds: float = 12.0) -> float:
    """Return a lower bound that also knows that every bottom leg comes before its top leg.

    Each group of crosses that carries can join is bounded by itself. Every leg is entered once and left once, by a
    move or at an end of a length, and every end of a leg is used once. Of any set of crosses the one begun first has
    its bottom leg entered from outside the set or by a new length, and the one finished last is left from its top leg
    likewise: such rows are added wherever the solution of the integer programme (HiGHS) does not fulfil them. Where
    the time for a group runs out, its bound so far counts.
    """
    crosses, rules = Crosses.of(cells), MoveRules(cells, CARRY, False)
    sides = SideGraph.of(crosses)
    group = thread_bound(crosses, sides, rules, LENGTH, TAIL).group[sides.piece]
    total = 0.0
    for number in range(int(group.max()) + 1):
        mine = np.flatnonzero(group == number)
        part = np.zeros_like(cells)
        part[crosses.row[mine], crosses.col[mine]] = True
        alone = Crosses.of(part)
        plain = thread_bound(alone, SideGraph.of(alone), MoveRules(part, CARRY, False), LENGTH, TAIL).total
        total += max(plain, _group_bound(alone, seconds) if mine.size > 1 else 0.0)
    return total


def _group_bound(crosses: Crosses, seconds: float) -> float:
    until = time.monotonic() + seconds
    count = 2 * crosses.count
    holes = crosses.leg_holes(np.arange(count)).reshape(-1, 2)
    pairs = cKDTree(holes).query_pairs(CARRY + EPSILON, output_type="ndarray")
    pairs = np.concatenate([pairs, pairs[:, ::-1]])
    span = np.array([hypot(*step) for step in holes[pairs[:, 0]] - holes[pairs[:, 1]]])
    out, into = pairs[:, 0] >> 1, pairs[:, 1] >> 1
    keep = (span > 0) & (out != into) & ~((out % 2 == 1) & (into == out - 1))
    pairs, span, out, into = pairs[keep], span[keep], out[keep], into[keep]
    moves, ends = len(pairs), 2 * count
    # Columns: moves from one end to another, lengths that begin at an end, lengths that end at one.
    price = np.concatenate((span - 1, np.full(ends, 2 * TAIL - 1), np.zeros(ends)))
    size = price.size

    def uses(side: int, first: int) -> sparse.csr_matrix:
        row = np.concatenate((pairs[:, side], np.arange(ends)))
        col = np.concatenate((np.arange(moves), first + np.arange(ends)))
        return sparse.csr_matrix((np.ones(row.size), (row, col)), shape=(ends, size))

    entered, left = uses(1, moves), uses(0, moves + ends)
    each = sparse.csr_matrix((np.ones(ends), (np.arange(ends) // 2, np.arange(ends))), shape=(count, ends))
    begun = np.zeros(size)
    begun[moves : moves + ends] = 1
    legs = int((LENGTH - 2 * TAIL + 1 + EPSILON) / (1 + ROOT2))
    rows = [
        LinearConstraint(each @ entered, 1, 1),
        LinearConstraint(entered - left[np.arange(ends) ^ 1], 0, 0),
        LinearConstraint(sparse.csr_matrix(begun), ceil(count / legs), np.inf),
    ]
    cuts: list[np.ndarray] = []
    best = 0.0
    while (rest := until - time.monotonic()) > 0.5:
        extra = [LinearConstraint(sparse.csr_matrix(np.array(cuts)), 1, np.inf)] if cuts else []
        found = milp(
            price,
            constraints=rows + extra,
            integrality=np.ones(size),
            bounds=Bounds(0, 1),
            options={"time_limit": rest},
        )
        best = max(best, found.mip_dual_bound or 0.0)
        if found.status != 0:
            break
        taken = np.flatnonzero(found.x[:moves] > 0.5)
        known = len(cuts)
        for bottom in (True, False):
            leg, other = (into, out) if bottom else (out, into)
            rim = taken[leg[taken] % 2 == (0 if bottom else 1)]
            ahead = dict(zip((leg[rim] >> 1).tolist(), (other[rim] >> 1).tolist(), strict=True))
            for ring in _rings(ahead):
                inside = np.isin(np.arange(crosses.count), ring)
                cut = np.zeros(size)
                cut[:moves] = (leg % 2 == (0 if bottom else 1)) & inside[leg >> 1] & ~inside[other >> 1]
                first = moves if bottom else moves + ends
                for cross in ring:
                    at = first + 2 * (2 * cross + (0 if bottom else 1))
                    cut[at : at + 2] = 1
                cuts.append(cut)
        if len(cuts) == known:
            break
    return 2 * ROOT2 * crosses.count + count + best


def _rings(ahead: dict[int, int]) -> list[list[int]]:
    """Return the rings of a map from each cross to one other."""
    seen: dict[int, int] = {}
    rings = []
    for start in ahead:
        path, at = [], start
        while at in ahead and at not in seen:
            seen[at] = start
            path.append(at)
            at = ahead[at]
        if seen.get(at) == start and at in path:
            rings.append(path[path.index(at) :])
    return rings
