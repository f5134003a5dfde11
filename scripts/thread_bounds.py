"""Lower bounds that are sharper than those of the planner: scattered crosses, orders with few open, double running."""

from __future__ import annotations

import time
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import islice, product
from math import ceil, dist, hypot, inf

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from converter.estimate.line_figures import Hole, figure_gaps, line_figures
from converter.estimate.line_group import DoubleGroup
from converter.estimate.route_bound import thread_bound
from converter.estimate.route_geometry import EPSILON, ROOT2, Crosses, MoveRules
from converter.estimate.route_tree import SideGraph

LENGTH, TAIL, CARRY = 252.0, 25.0, 3.5
_ROUNDS = 40
"""Linear programmes for a group before the integer one."""


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
    likewise; of any set of legs some are entered from outside or by a new length, as moves make no rings; and no
    lengths may each have to wait for another (`_out_of_turn`). Such rows are added wherever the solution does not
    fulfil them, first of the linear and then of the integer programme (HiGHS). Where the time for a group runs out,
    its bound so far counts.
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

    def leg_cut(self, inside: np.ndarray) -> np.ndarray:
        """Return the row that says: some move from outside, or a length, begins a set of legs, shape (legs,)."""
        moves, ends = len(self.pairs), self.entered.shape[0]
        row = np.zeros(self.size)
        row[:moves] = inside[self.pairs[:, 1] >> 1] & ~inside[self.pairs[:, 0] >> 1]
        row[moves : moves + ends] = np.repeat(inside, 2)
        return row

    def equal(self) -> tuple[sparse.csr_matrix, np.ndarray]:
        """Return the rows, and their values, that say: each leg is entered once and left from its other end."""
        count, ends = self.each.shape
        rows = sparse.vstack([self.each @ self.entered, self.entered - self.left[np.arange(ends) ^ 1]]).tocsr()
        return rows, np.concatenate((np.ones(count), np.zeros(ends)))


class _Cuts:
    """Rows found to be needed, each with its least value."""

    def __init__(self, table: _Moves) -> None:
        self._table = table
        self._rows: list[sparse.csr_matrix] = []
        self._least: list[float] = []
        self._known: set[bytes] = set()

    def add(self, row: np.ndarray, least: float = 1.0) -> None:
        """Keep a row, once."""
        key = row.tobytes()
        if key not in self._known:
            self._known.add(key)
            self._rows.append(sparse.csr_matrix(row))
            self._least.append(least)

    def separate(self, taken: np.ndarray, legs: bool = True) -> None:
        """Add rows that a solution, whole or in fractions, does not fulfil; those for sets of legs if asked."""
        for bottom in (True, False):
            for inside in _weak_sets(self._table, taken, bottom):
                self._need(self._table.cut(bottom, inside), taken)
        for inside in _weak_legs(self._table, taken) if legs else ():
            self._need(self._table.leg_cut(inside), taken)

    def _need(self, row: np.ndarray, taken: np.ndarray) -> None:
        if row @ taken < 1 - 1e-3:
            self.add(row)

    def __len__(self) -> int:
        return len(self._rows)

    def limits(self) -> tuple[sparse.csr_matrix, np.ndarray]:
        """Return all rows and their least values."""
        return sparse.vstack(self._rows).tocsr(), np.array(self._least)


def _relaxed(table: _Moves, price: np.ndarray, cuts: _Cuts, rounds: int, enough: float, legs: bool = True) -> float:
    """Return the least price with fractions allowed, cuts being added for some rounds or while the gain is enough."""
    equal, right = table.equal()
    best = 0.0
    for number in range(rounds):
        less = {}
        if len(cuts):
            rows, least = cuts.limits()
            less = {"A_ub": -rows, "b_ub": -least}
        found = linprog(price, A_eq=equal, b_eq=right, bounds=(0, None), method="highs", **less)
        if found.status != 0:
            break
        gain, best = found.fun - best, max(best, float(found.fun))
        known = len(cuts)
        cuts.separate(found.x, legs)
        if len(cuts) == known or (number and gain < enough):
            break
    return best


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
    cuts = _Cuts(table)
    cuts.add(begun, ceil(count / legs))
    # The lengths hold all thread, in front and behind.
    cuts.add(room, ROOT2 * count - 1e-6)
    best = _relaxed(table, price, cuts, _ROUNDS, 0.01)
    equal, right = table.equal()
    while (rest := until - time.monotonic()) > 0.5:
        rows, least = cuts.limits()
        found = milp(
            price,
            constraints=[LinearConstraint(equal, right, right), LinearConstraint(rows, least, np.inf)],
            integrality=np.ones(table.size),
            bounds=Bounds(0, 1),
            options={"time_limit": rest, "mip_rel_gap": 1e-5},
        )
        best = max(best, found.mip_dual_bound or 0.0)
        if found.status != 0:
            break
        known = len(cuts)
        taken = found.x > 0.5
        cuts.separate(taken)
        if len(cuts) == known:
            for row, least_value in _out_of_turn(table, _paths(table, taken)):
                cuts.add(row, least_value)
        if len(cuts) == known:
            break
    return 2 * ROOT2 * crosses.count + count + best - 1e-6 * count


def _paths(table: _Moves, taken: np.ndarray) -> list[list[int]]:
    """Return the legs of each length that whole moves without rings make."""
    out, into = table.pairs[taken[: len(table.pairs)]].T >> 1
    ahead = dict(zip(out.tolist(), into.tolist(), strict=True))
    paths = []
    for leg in sorted(set(range(table.each.shape[0])) - set(ahead.values())):
        paths.append([leg])
        while paths[-1][-1] in ahead:
            paths[-1].append(ahead[paths[-1][-1]])
    return paths


def _out_of_turn(table: _Moves, paths: list[list[int]]) -> list[tuple[np.ndarray, float]]:
    """Return rows against paths that cannot be worked in any order with each bottom leg before its top leg.

    A stretch that leads from the top leg of a cross to its bottom leg may not be worked in this order. And where a
    stretch of each of several paths holds a bottom leg whose top leg is in the stretch of the next one, round about,
    not all the stretches may hang together: as parts of one length or of several, each would have to come before the
    next. A set of k legs hangs together if it has k - 1 moves inside.
    """
    out, into = table.pairs.T >> 1
    where = {leg: (number, at) for number, path in enumerate(paths) for at, leg in enumerate(path)}
    waits: dict[int, dict[int, list[int]]] = {}
    rows = []
    for cross in range(len(where) // 2):
        (first, at), (second, to) = where[2 * cross], where[2 * cross + 1]
        if first != second:
            waits.setdefault(first, {}).setdefault(second, []).append(cross)
        elif to < at:
            place = np.full(table.each.shape[0], -1)
            place[paths[first][to : at + 1]] = np.arange(at - to + 1)
            row = np.zeros(table.size)
            row[: out.size] = (place[out] >= 0) & (place[into] > place[out])
            rows.append((-row, -float(at - to - 1)))
    for circle in _circles({one: list(two) for one, two in waits.items()}):
        steps = list(zip(circle, circle[1:] + circle[:1], strict=True))
        best: tuple[int, list[list[int]]] | None = None
        for chosen in islice(product(*(waits[one][two] for one, two in steps)), 400):
            stretches = []
            for number, top, bottom in zip(circle, (chosen[-1], *chosen[:-1]), chosen, strict=True):
                ends = sorted((where[2 * top + 1][1], where[2 * bottom][1]))
                stretches.append(paths[number][ends[0] : ends[1] + 1])
            size = sum(len(stretch) - 1 for stretch in stretches)
            if best is None or size < best[0]:
                best = size, stretches
        if best is not None:
            row = np.zeros(table.size)
            for stretch in best[1]:
                inside = np.isin(np.arange(table.each.shape[0]), stretch)
                row[: out.size] += inside[out] & inside[into]
            rows.append((-row, 1.0 - best[0]))
    return rows


def _circles(ahead: dict[int, list[int]], longest: int = 5, most: int = 6) -> list[list[int]]:
    """Return the shortest ways round in a graph, each from its lowest node."""
    ways = [[node] for node in sorted(ahead)]
    for _ in range(longest):
        found = [way for way in ways if len(way) > 1 and way[0] in ahead.get(way[-1], ())]
        if found:
            return found[:most]
        ways = [[*way, to] for way in ways for to in ahead.get(way[-1], ()) if to > way[0] and to not in way]
    return []


def tile_bound(cells: np.ndarray, side: int = 34, price: float = 2.5, rounds: int = 4) -> float:
    """Return a lower bound as `turn_bound` does, for charts too large for it: by linear programmes over square tiles.

    A plan of s lengths takes 2 sqrt(2) n + 2 n + (2 tails - 1) s and the excess of its moves. At least as many lengths
    as `thread_bound` says are needed; of their price all but ``price`` counts at once. The rest is shared out, half to
    the leg where a length begins and half to the one where it ends, and the excess of a move from tile to tile half to
    either side. So each tile can be bounded by itself: legs and ends of legs as in `turn_bound`, fractions allowed,
    and every end can be entered from outside or left for good at its cheapest share.

    The tiles together say that the excess of s lengths is at least some sum less ``price`` times s. As the lengths have
    to hold that excess too, s may have to be larger than `thread_bound` says.
    """
    crosses, rules = Crosses.of(cells), MoveRules(cells, CARRY, False)
    plain = thread_bound(crosses, SideGraph.of(crosses), rules, LENGTH, TAIL)
    tiles = [-(-extent // -(-extent // side)) for extent in cells.shape]
    total = 2 * ROOT2 * crosses.count + 2 * crosses.count
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
    starts = max(plain.starts, ceil(total / (LENGTH - 2 * TAIL + 1 + price) - EPSILON))
    return max(total + (2 * TAIL - 1 - price) * starts, plain.total)


def _tile_least(crosses: Crosses, outward: np.ndarray, rounds: int) -> float:
    """Return the least excess of one tile, what lies outside at the price ``outward`` for each end of a leg."""
    table = _Moves.of(crosses)
    price = np.concatenate((table.span - 1, outward, outward))
    # Rows for sets of legs would make these programmes several times as long.
    return _relaxed(table, price, _Cuts(table), rounds, 0.02, legs=False) - 2e-6 * crosses.count


def _weak_sets(table: _Moves, taken: np.ndarray, bottom: bool) -> list[np.ndarray]:
    """Return sets of crosses that hang together by the moves taken, and may be entered too little from outside."""
    leg, other = (table.pairs[:, 1], table.pairs[:, 0]) if bottom else (table.pairs[:, 0], table.pairs[:, 1])
    counts = (leg >> 1) % 2 == (0 if bottom else 1)
    return _linked(other >> 2, leg >> 2, taken, counts, table.each.shape[0] // 2)


def _weak_legs(table: _Moves, taken: np.ndarray) -> list[np.ndarray]:
    """Return sets of two legs or more that hang together by the moves taken."""
    parts = _linked(table.pairs[:, 0] >> 1, table.pairs[:, 1] >> 1, taken, np.True_, table.each.shape[0])
    return [part for part in parts if part.sum() > 1]


def _linked(one: np.ndarray, two: np.ndarray, taken: np.ndarray, counts: np.ndarray, count: int) -> list[np.ndarray]:
    share = taken[: one.size].astype(float)
    sets = []
    for least in (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9):
        used = counts & (share > least + 1e-9)
        graph = sparse.csr_matrix((np.ones(int(used.sum())), (one[used], two[used])), shape=(count, count))
        for connection in ("weak", "strong"):
            number, label = csgraph.connected_components(graph, directed=True, connection=connection)
            sets += [label == k for k in range(number)]
        if share.max(initial=0.0) > 0.99 and share.sum() == (share > 0.99).sum():
            break
    return sets


def closed_bound(cells: np.ndarray, length: float = LENGTH, tail: float = TAIL) -> tuple[int, float]:
    """Return lower bounds of the starts and of the thread of any order with at most two crosses open.

    The plain bound counts no detours. But an arm one cross wide of more than three crosses that is worked in passing,
    neither begun nor ended in, takes a detour of the square root of 2 less one: the thread goes out on every other
    cross and comes back on those between; the last two come free. Let a *region* be some crosses round a dead end.
    What is worked of it in a plan are some visits of one length or of several. Take of every move inside the region
    its excess, of every move in or out of it half of that: then what regions without common crosses take adds up to no
    more than the excess of the plan. `_passing` finds by search the least that a region can take if no length begins
    or ends in it. A length has two ends, so all but ``2 s`` of the regions take their share, the cheapest at least.

    Any excess is at least the square root of 2 less one. Where a length that is filled with crosses has not that much
    room, one with an excess holds a cross less, and two sqrt(2) + 2 sides of excess more for each cross less.
    """
    crosses, rules = Crosses.of(cells), MoveRules(cells, CARRY, False)
    plain = thread_bound(crosses, SideGraph.of(crosses), rules, length, tail)
    shares = sorted(dead_ends(cells))
    each, room = 2 * ROOT2 + 2, length - 2 * tail + 1
    most = int((room + EPSILON) / each)
    over = room - most * each

    def excess(starts: int) -> float:
        return sum(shares[: max(len(shares) - 2 * starts, 0)])

    def holds(starts: int) -> float:
        if over < ROOT2 - 1 - EPSILON:
            fewer = ceil(excess(starts) / (over + each) - EPSILON)
        else:
            fewer = ceil((excess(starts) - starts * over) / each - EPSILON)
        return most * starts - max(fewer, 0)

    starts = plain.starts
    while holds(starts) < crosses.count:
        starts += 1
    every = range(starts, starts + len(shares) // 2 + 2)
    least = min((2 * tail - 1) * s + excess(s) for s in every)
    return starts, max(plain.total, each * crosses.count + least)


def dead_ends(cells: np.ndarray, sizes: tuple[int, ...] = (4, 5)) -> list[float]:
    """Return what regions round dead ends take in passing, no two of them with a cross in common."""
    rim = int(CARRY) + 2
    wide = np.pad(cells, rim)
    taken = np.zeros_like(wide)
    known: dict[bytes, float] = {}
    shares = []
    for row, col in np.argwhere(wide).tolist():
        if sum(wide[r, c] for r, c in _beside(row, col)) != 1:
            continue
        region, best = [(row, col)], 0.0
        for size in range(2, max(sizes) + 1):
            ahead = [at for cell in region for at in _beside(*cell) if wide[at] and at not in region]
            if not ahead or any(taken[at] for at in region):
                break
            region.append(ahead[0])
            if size not in sizes or taken[ahead[0]]:
                continue
            top, left = (min(part) - rim for part in zip(*region, strict=True))
            low, right = (max(part) + rim + 1 for part in zip(*region, strict=True))
            window = wide[max(top, 0) : low, max(left, 0) : right].astype(np.int8)
            for r, c in region:
                window[r - max(top, 0), c - max(left, 0)] = 2
            key = repr(window.shape).encode() + window.tobytes()
            if key not in known:
                known[key] = _passing(window)
            best = known[key]
            if best > EPSILON:
                for at in region:
                    taken[at] = True
                shares.append(best)
                break
    return shares


def _beside(row: int, col: int) -> list[tuple[int, int]]:
    return [(row, col + 1), (row + 1, col), (row, col - 1), (row - 1, col)]


def _passing(window: np.ndarray) -> float:
    """Return the least share of excess of a region (2) among other crosses (1) in which no length begins or ends.

    Shortest path over the legs worked and the hole where the thread stands, or that it is elsewhere. Of what happens
    elsewhere only this is asked: a move leads to a leg of another cross and one back from a leg of another cross, and
    no leg can be worked there while two crosses of the region are open. That may be less than any plan takes, never
    more.
    """
    legs = (((1, 0), (0, 1)), ((0, 0), (1, 1)))
    mine = [tuple(at) for at in np.argwhere(window == 2).tolist()]
    outside = {
        (r + dr, c + dc) for r, c in np.argwhere(window == 1).tolist() for ends in legs for dr, dc in ends
    }  # fmt: skip
    holes = [[[(r + dr, c + dc) for dr, dc in ends] for ends in legs] for r, c in mine]

    def excess(a: tuple[int, int], b: tuple[int, int]) -> float:
        span = hypot(a[0] - b[0], a[1] - b[1])
        return span - 1 if 0 < span <= CARRY + EPSILON else inf

    every = {hole for cross in holes for ends in cross for hole in ends}
    over = {hole: min((excess(hole, other) for other in outside), default=inf) / 2 for hole in every}
    away, full = (-1, -1), 3 ** len(mine) - 1
    best = {(0, away): 0.0}
    queue = [(0.0, 0, away)]
    while queue:
        cost, state, at = heappop(queue)
        if (state, at) == (full, away):
            return cost
        if cost > best[state, at] + EPSILON:
            continue
        done = [state // 3**k % 3 for k in range(len(mine))]
        steps = [(over[at], state, away)] if at != away and done.count(1) < 2 else []
        for k, worked in enumerate(done):
            if worked == 2 or (worked == 0 and done.count(1) > 1):
                continue
            for up, down in (holes[k][worked], holes[k][worked][::-1]):
                steps.append((over[up] if at == away else excess(at, up), state + 3**k, down))
        for extra, ahead, hole in steps:
            total = cost + extra
            if total < best.get((ahead, hole), inf) - EPSILON:
                best[ahead, hole] = total
                heappush(queue, (total, ahead, hole))
    return inf


def double_bound(
    lines: np.ndarray, length: float = LENGTH, tail: float = TAIL, carry: float = CARRY
) -> tuple[int, float]:
    """Return lower bounds of the starts and of the thread of double running, for figures of unit lines.

    Every line in front is followed by a move behind: a line's own pass, each at most once, or in place of one a carry.
    So a length takes two sides for each line and what its carries are longer than one, and holds a whole number of
    lines: with any such *extra* often one line less. A length leads from figure to figure, each time by a carry that
    is at least as long as they lie apart. It can save what it takes to come back only where it begins or ends.

    In passing a figure it takes more than the two carries. At every hole as many threads come up as go down, so there
    lines without a pass behind and carries meet in equal numbers, but for begins and ends of lengths. Where no length
    begins or ends in a figure and one comes by once, a chain leads from hole to hole between its two carries: a
    line without a pass behind, a carry inside, such a line and so on, a line first and last (`_Passing`).

    All ways of a length with little extra are listed by the figures they come to, and an integer programme (HiGHS)
    tells whether so many lengths can hold all lines. Ways with more extra than that count as coming to all figures.
    """
    figures = line_figures(lines)
    starts, thread = 0, 0.0
    for members in figure_gaps(figures, carry)[0]:
        group = DoubleGroup([figures[k] for k in members], carry)
        few, least = group.least(length - 2 * tail)
        while not all(_can_hold(_joined(group, closely), length - 2 * tail, few) for closely in (False, True)):
            few, least = group.least(length - 2 * tail, few + 1)
        starts += few
        thread += least
    return starts, thread + 2 * tail * starts


def _joined(group: DoubleGroup, closely: bool) -> DoubleGroup:
    """Return a group with figures taken for one where a carry from one to the other is at no extra.

    With ``closely`` only where one back beside it is so too.
    """
    label = list(range(len(group.figures)))
    for figure, near in enumerate(group.near):
        beside = {(hole, other, theirs) for span, hole, other, theirs in group.close[figure] if span <= 1 + EPSILON}
        for hole, other, theirs in sorted(beside):
            back = ((h, other, t) in beside for h, _ in near[hole] for t, _ in group.near[other][theirs])
            if label[figure] != label[other] and (not closely or any(back)):
                label = [label[figure] if mark == label[other] else mark for mark in label]
    joined = [
        [pair for k, figure in enumerate(group.figures) if label[k] == mark for pair in figure]
        for mark in sorted(set(label))
    ]
    return DoubleGroup(joined, group.carry)


_MOST_LOST, _MOST_WAYS = 5, 100_000
"""Bounds are sharpened where at most so many lines more would fit; and the ways looked at."""


def _can_hold(group: DoubleGroup, capacity: float, starts: int) -> bool:
    """Return whether so many lengths may hold a group; False is proven."""
    lines = [len(figure) for figure in group.figures]
    spare = int(capacity / 2 + EPSILON) * starts - sum(lines)
    if spare < 0:
        return False
    if spare > _MOST_LOST or len(lines) == 1:
        return True
    for lost in range(1, max(spare, 1) + 1):
        ways = _Passing(group, capacity, lost).ways()
        if ways is None:
            return True
        if not _fits(lines, capacity, starts, ways, lost):
            return False
    return True


_Way = tuple[tuple[int, ...], frozenset[int]]
"""How often a length comes by each figure, 2 for twice or more; figures that it passes once, at no more than the two
carries: another length has to come by there too."""


class _Passing:
    """Ways of a length from figure to figure.

    Parameters
    ----------
    group : DoubleGroup
    capacity : float
        Thread of one length between its tails.
    lost : int
        Ways are looked at as long as their extra takes the room of at most so many lines.
    """

    def __init__(self, group: DoubleGroup, capacity: float, lost: int) -> None:
        self._group = group
        self._holds = int(capacity / 2 + EPSILON)
        self._spare = capacity - 2 * self._holds
        self._most = 2 * lost + self._spare + EPSILON
        self._small = [len(figure) <= self._holds for figure in group.figures]
        self._inside: dict[tuple[int, Hole], dict[Hole, float]] = {}

    def _chains(self, figure: int, start: Hole) -> dict[Hole, float]:
        """Return the least extra of a chain inside a figure from a hole to each other one."""
        if (figure, start) not in self._inside:
            near = self._group.near[figure]
            best = {(start, False): 0.0}
            queue = [(0.0, start, False)]
            while queue:
                cost, at, after_line = heappop(queue)
                if cost > best[at, after_line]:
                    continue
                beside = {to for to, _ in near[at]}
                carries = [to for to in near if to != at and to not in beside] if after_line else []
                for to in carries or ([] if after_line else beside):
                    span = dist(at, to) if after_line else 1.0
                    more = cost + span - 1
                    if span <= self._group.carry + EPSILON and more < min(
                        best.get((to, not after_line), inf), self._most
                    ):
                        best[to, not after_line] = more
                        heappush(queue, (more, to, not after_line))
            self._inside[figure, start] = {hole: cost for (hole, after_line), cost in best.items() if after_line}
        return self._inside[figure, start]

    def ways(self) -> dict[_Way, int] | None:
        """Return the lines for which each way leaves no room; None if there are too many ways."""
        count = len(self._group.figures)
        found: dict[_Way, float] = {}
        seen: dict[tuple[tuple[int, ...], frozenset[int], int, Hole | None], float] = {}
        # Figures come by, those passed freely; where it is, and by which hole it came if that is to count.
        stack: list[tuple[tuple[int, ...], frozenset[int], int, Hole | None, float]] = []
        for figure in range(count):
            stack.append((tuple(int(k == figure) for k in range(count)), frozenset(), figure, None, 0.0))
        while stack:
            visits, free, at, hole, extra = stack.pop()
            if seen.get((visits, free, at, hole), inf) <= extra:
                continue
            seen[visits, free, at, hole] = extra
            if len(seen) > _MOST_WAYS:
                return None
            inside = None if hole is None else self._chains(at, hole)
            if inside is None:
                way = visits, frozenset(k for k in free - {at} if visits[k] == 1 and self._small[k])
                found[way] = min(found.get(way, inf), extra)
                if sum(visits) > 1:
                    free = free | {at}
            onward: dict[tuple[int, Hole | None], float] = {}
            for span, mine, other, theirs in self._group.close[at]:
                more = span - 1 + (0.0 if inside is None else inside.get(mine, inf))
                for key in ((other, None), (other, theirs)):
                    onward[key] = min(onward.get(key, inf), extra + more)
            for (other, enter), cost in onward.items():
                if cost <= self._most and (enter is None or (self._small[other] and not visits[other])):
                    once = tuple(min(2, v + (k == other)) for k, v in enumerate(visits))
                    stack.append((once, free, other, enter, cost))
        return {way: max(0, ceil((extra - self._spare) / 2 - EPSILON)) for way, extra in found.items()}


def _fits(lines: list[int], capacity: float, starts: int, ways: dict[_Way, int], lost: int) -> bool:
    """Return whether so many lengths along some of the ways may hold all lines of the figures."""
    count = len(lines)
    ways = {**ways, ((2,) * count, frozenset()): lost + 1}
    kept: list[tuple[_Way, int]] = []
    for (visits, free), less in sorted(ways.items(), key=lambda way: (way[1], -sum(way[0][0]), len(way[0][1]))):
        if not any(
            lost <= less and f <= free and all(a <= b for a, b in zip(visits, v, strict=True)) for (v, f), lost in kept
        ):
            kept.append(((visits, free), less))
    # Columns: lengths along each way, whether there is any, lines of each figure in them.
    n = len(kept)
    share = [(k, figure) for k, ((visits, _), _) in enumerate(kept) for figure in range(count) if visits[figure]]
    matrix, low, high = [], [], []

    def row(entries: dict[int, float], least: float, most: float) -> None:
        line = np.zeros(2 * n + len(share))
        for column, value in entries.items():
            line[column] = value
        matrix.append(line)
        low.append(least)
        high.append(most)

    row(dict.fromkeys(range(n), 1.0), 0, starts)
    for figure, size in enumerate(lines):
        row({2 * n + k: 1.0 for k, (_, f) in enumerate(share) if f == figure}, size, size)
    for k, ((_, free), less) in enumerate(kept):
        inside = {2 * n + i: 1.0 for i, (way, _) in enumerate(share) if way == k}
        row({**inside, k: less - int(capacity / 2 + EPSILON)}, -inf, 0)
        row({k: 1.0, n + k: -starts}, -inf, 0)
        for figure in free:
            row({**{j: float(kept[j][0][0][figure]) for j in range(n)}, n + k: -2.0}, 0, inf)
    found = milp(
        np.zeros(2 * n + len(share)),
        constraints=[LinearConstraint(sparse.csr_matrix(np.array(matrix)), low, high)],
        integrality=np.r_[np.ones(2 * n), np.zeros(len(share))],
        bounds=Bounds(0, np.r_[np.full(n, starts), np.ones(n), np.full(len(share), inf)]),
        options={"time_limit": 60},
    )
    # Status 2: proven that there is none.
    return bool(found.status != 2)
