"""Lower bounds for scattered crosses that are sharper than the one of the planner, and take minutes."""

from __future__ import annotations

import time
from dataclasses import dataclass
from math import ceil

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
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


@dataclass(frozen=True, eq=False)
class _Moves:
    """All back moves that are allowed between the legs of a set of crosses."""

    pairs: np.ndarray
    """End of a leg that is left and end that is entered, numbered 2 leg + end, shape (m, 2)."""
    span: np.ndarray
    entered: sparse.csr_matrix
    """Rows: ends of legs. Columns: moves, lengths that begin at an end, lengths that end at one."""
    left: sparse.csr_matrix
    each: sparse.csr_matrix
    """Sums the two ends of each leg."""

    @classmethod
    def of(cls, crosses: Crosses) -> _Moves:
        count = 2 * crosses.count
        holes = crosses.leg_holes(np.arange(count)).reshape(-1, 2)
        pairs = cKDTree(holes).query_pairs(CARRY + EPSILON, output_type="ndarray").reshape(-1, 2)
        pairs = np.concatenate([pairs, pairs[:, ::-1]])
        span = np.linalg.norm((holes[pairs[:, 0]] - holes[pairs[:, 1]]).astype(float), axis=1)
        out, into = pairs[:, 0] >> 1, pairs[:, 1] >> 1
        keep = (span > 0) & (out != into) & ~((out % 2 == 1) & (into == out - 1))
        pairs, span = pairs[keep], span[keep]
        moves, ends = len(pairs), 2 * count

        def uses(side: int, first: int) -> sparse.csr_matrix:
            row = np.concatenate((pairs[:, side], np.arange(ends)))
            col = np.concatenate((np.arange(moves), first + np.arange(ends)))
            return sparse.csr_matrix((np.ones(row.size), (row, col)), shape=(ends, moves + 2 * ends))

        each = sparse.csr_matrix((np.ones(ends), (np.arange(ends) // 2, np.arange(ends))), shape=(count, ends))
        return cls(pairs, span, uses(1, moves), uses(0, moves + ends), each)

    @property
    def size(self) -> int:
        """Number of columns."""
        return int(self.entered.shape[1])

    def cut(self, bottom: bool, inside: np.ndarray) -> np.ndarray:
        """Return the row that says: some move or length begins a set of crosses, or ends it.

        Parameters
        ----------
        bottom : bool
            Of all crosses in the set the one begun first has its bottom leg entered from outside the set or by a new
            length; or else: the one finished last is left from its top leg for outside or for good.
        inside : ndarray of shape (n,), bool
            The set.
        """
        moves, ends = len(self.pairs), self.entered.shape[0]
        leg, other = (self.pairs[:, 1], self.pairs[:, 0]) if bottom else (self.pairs[:, 0], self.pairs[:, 1])
        side = 0 if bottom else 1
        row = np.zeros(self.size)
        row[:moves] = ((leg >> 1) % 2 == side) & inside[leg >> 2] & ~inside[other >> 2]
        first = moves if bottom else moves + ends
        at = np.arange(ends)
        row[first : first + ends] = inside[at >> 2] & ((at >> 1) % 2 == side)
        return row


def _group_bound(crosses: Crosses, seconds: float) -> float:
    until = time.monotonic() + seconds
    count = 2 * crosses.count
    table = _Moves.of(crosses)
    moves, ends = len(table.pairs), 2 * count
    price = np.concatenate((table.span - 1, np.full(ends, 2 * TAIL - 1), np.zeros(ends)))
    begun = np.zeros(table.size)
    begun[moves : moves + ends] = 1
    room = (LENGTH - 2 * TAIL) * begun
    room[:moves] = -table.span
    legs = int((LENGTH - 2 * TAIL + 1 + EPSILON) / (1 + ROOT2))
    rows = [
        LinearConstraint(table.each @ table.entered, 1, 1),
        LinearConstraint(table.entered - table.left[np.arange(ends) ^ 1], 0, 0),
        LinearConstraint(sparse.csr_matrix(begun), ceil(count / legs), np.inf),
        # The lengths hold all thread, in front and behind.
        LinearConstraint(sparse.csr_matrix(room), ROOT2 * count - 1e-6, np.inf),
    ]
    cuts: list[np.ndarray] = []
    best = 0.0
    while (rest := until - time.monotonic()) > 0.5:
        extra = [LinearConstraint(sparse.csr_matrix(np.array(cuts)), 1, np.inf)] if cuts else []
        found = milp(
            price,
            constraints=rows + extra,
            integrality=np.ones(table.size),
            bounds=Bounds(0, 1),
            options={"time_limit": rest},
        )
        best = max(best, found.mip_dual_bound or 0.0)
        if found.status != 0:
            break
        known = len(cuts)
        out, into = table.pairs[found.x[:moves] > 0.5].T >> 1
        for bottom in (True, False):
            leg, other = (into, out) if bottom else (out, into)
            rim = leg % 2 == (0 if bottom else 1)
            ahead = dict(zip((leg[rim] >> 1).tolist(), (other[rim] >> 1).tolist(), strict=True))
            for ring in _rings(ahead):
                cuts.append(table.cut(bottom, np.isin(np.arange(crosses.count), ring)))
        if len(cuts) == known:
            break
    return 2 * ROOT2 * crosses.count + count + best


def tile_bound(cells: np.ndarray, side: int = 34, price: float = 2.5, rounds: int = 8) -> float:
    """Return a lower bound as `turn_bound` does, for charts too large for it: by linear programmes over square tiles.

    A plan of s lengths takes 2 sqrt(2) n + 2 n + (2 tails - 1) s and the excess of its moves. At least as many lengths
    as `thread_bound` says are needed; of their price all but ``price`` counts at once. The rest is shared out, half to
    the leg where a length begins and half to the one where it ends, and the excess of a move from tile to tile half to
    either side. So each tile can be bounded by itself: legs and ends of legs as in `turn_bound`, fractions allowed,
    and every end can be entered from outside or left for good at its cheapest share.
    """
    crosses, rules = Crosses.of(cells), MoveRules(cells, CARRY, False)
    plain = thread_bound(crosses, SideGraph.of(crosses), rules, LENGTH, TAIL)
    tiles = [-(-extent // -(-extent // side)) for extent in cells.shape]
    total = 2 * ROOT2 * crosses.count + 2 * crosses.count + (2 * TAIL - 1 - price) * plain.starts
    holes = crosses.leg_holes(np.arange(2 * crosses.count)).reshape(-1, 2)
    tree = cKDTree(holes)
    tile = (crosses.row // tiles[0]) * cells.shape[1] + crosses.col // tiles[1]
    for number in np.unique(tile):
        inside = np.repeat(tile == number, 4)
        outward = np.full(int(inside.sum()), price / 2)
        for k, end in enumerate(np.flatnonzero(inside)):
            near = np.array(tree.query_ball_point(holes[end], CARRY + EPSILON))
            near = near[~inside[near]]
            span = np.linalg.norm((holes[near] - holes[end]).astype(float), axis=1)
            outward[k] = min(outward[k], ((span[span > 0] - 1) / 2).min(initial=np.inf))
        part = np.zeros_like(cells)
        part[crosses.row[tile == number], crosses.col[tile == number]] = True
        total += _tile_least(Crosses.of(part), outward, rounds)
    return max(total, plain.total)


def _tile_least(crosses: Crosses, outward: np.ndarray, rounds: int) -> float:
    """Return the least excess of one tile, what lies outside at the price ``outward`` for each end of a leg."""
    table = _Moves.of(crosses)
    count, ends = 2 * crosses.count, 4 * crosses.count
    price = np.concatenate((table.span - 1, outward, outward))
    equal = sparse.vstack([table.each @ table.entered, table.entered - table.left[np.arange(ends) ^ 1]]).tocsr()
    right = np.concatenate((np.ones(count), np.zeros(ends)))
    cuts: list[sparse.csr_matrix] = []
    known: set[tuple[bool, bytes]] = set()
    best = 0.0
    for _ in range(rounds):
        less = {"A_ub": -sparse.vstack(cuts).tocsr(), "b_ub": -np.ones(len(cuts))} if cuts else {}
        found = linprog(price, A_eq=equal, b_eq=right, bounds=(0, None), method="highs", **less)
        if found.status != 0:
            break
        gain, best = found.fun - best, max(best, float(found.fun))
        if cuts and gain < 0.02:
            break
        new = 0
        for bottom in (True, False):
            for inside in _weak_sets(table, found.x, bottom, crosses.count):
                row = table.cut(bottom, inside)
                key = (bottom, inside.tobytes())
                if key not in known and row @ found.x < 1 - 1e-3:
                    known.add(key)
                    cuts.append(sparse.csr_matrix(row))
                    new += 1
        if not new:
            break
    return best - 1e-6 * count


def _weak_sets(table: _Moves, taken: np.ndarray, bottom: bool, count: int) -> list[np.ndarray]:
    """Return sets of crosses that hang together by the moves taken, and may be entered too little from outside."""
    leg, other = (table.pairs[:, 1], table.pairs[:, 0]) if bottom else (table.pairs[:, 0], table.pairs[:, 1])
    counts = (leg >> 1) % 2 == (0 if bottom else 1)
    share = taken[: len(table.pairs)]
    sets = []
    for least in (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9):
        used = counts & (share > least + 1e-9)
        graph = sparse.csr_matrix((np.ones(int(used.sum())), (other[used] >> 2, leg[used] >> 2)), shape=(count, count))
        for connection in ("weak", "strong"):
            number, label = csgraph.connected_components(graph, directed=True, connection=connection)
            sets += [label == k for k in np.flatnonzero(np.bincount(label, minlength=number) <= count // 2)]
    return sets


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
