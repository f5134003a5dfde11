"""The least thread that any plan can use: proven, not searched for.

Let a group be all crosses that back moves of at most the limit can join, and a piece a part of it whose crosses touch
by their sides. A group of n crosses in s lengths has 2 n legs of the square root of 2 on the front and exactly 2 n - s
back moves, each at least one side long. Its lengths are s chains; with p pieces they need at least p - s moves from
piece to piece, no two of them closing a ring, so the moves between pieces together exceed one side each by no less
than the p - s cheapest edges of the shortest spanning tree over the gaps between pieces (Kruskal's greedy rule). And
s lengths have to hold all of it, which gives the smallest s:

    2 sqrt(2) n + 2 n - s + gaps(p - s) <= s * (length - 2 tail).

For one piece this is s = ceil(2 n / f) with f = floor((length - 2 tail + 1) / (1 + sqrt(2))) legs to a length, up to
what is left over in each. A row of ten with one thread: 28.284 in front, 19 behind.

Starts are counted first: the bound holds for plans with the fewest starts, and for all plans as soon as the two tails
of a length are longer than the longest carry.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, hypot

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from converter.estimate.route_geometry import EPSILON, ROOT2, Crosses, FloatArray, IntArray, MoveRules
from converter.estimate.route_tree import SideGraph


@dataclass(frozen=True)
class Bound:
    """Lower bounds of a plan, in stitch sides."""

    starts: int
    front: float
    back: float
    tails: float

    @property
    def total(self) -> float:
        """Least thread in all."""
        return self.front + self.back + self.tails


def thread_bound(crosses: Crosses, sides: SideGraph, rules: MoveRules, length: float, tail: float) -> Bound:
    """Return the proven lower bound of the thread that the crosses take."""
    capacity = length - 2 * tail
    group, gaps = _gaps(crosses, sides, rules)
    counts = np.bincount(group[sides.piece], minlength=int(group.max(initial=-1)) + 1)
    pieces = np.bincount(group)
    starts, back = 0, 0.0
    for count, parts, gap in zip(counts.tolist(), pieces.tolist(), gaps, strict=True):
        s, excess = _fewest(count, parts, gap, capacity)
        starts += s
        back += 2 * count - s + excess
    return Bound(starts, 2 * ROOT2 * crosses.count, back, 2 * tail * starts)


def _fewest(count: int, parts: int, gap: FloatArray, capacity: float) -> tuple[int, float]:
    """Return the fewest lengths of one group and the excess of its moves between pieces."""
    legs = int((capacity + 1 + EPSILON) / (1 + ROOT2))
    s = max(1, ceil(2 * count / legs))
    while True:
        excess = float(gap[: max(parts - s, 0)].sum())
        if 2 * ROOT2 * count + 2 * count - s + excess <= s * capacity + EPSILON * count:
            return s, excess
        s += 1


def _gaps(crosses: Crosses, sides: SideGraph, rules: MoveRules) -> tuple[IntArray, list[FloatArray]]:
    """Return the group of each piece, and for each group the excess of its spanning tree, ascending."""
    first, second, length = piece_gaps(crosses, sides, rules)
    shape = (sides.pieces, sides.pieces)
    graph = sparse.csr_matrix((length, (first, second)), shape=shape)
    groups, group = csgraph.connected_components(graph, directed=False)
    tree = csgraph.minimum_spanning_tree(graph).tocoo()
    order = np.lexsort((tree.data, group[tree.row]))
    excess = tree.data[order] - 1.0
    ends = np.cumsum(np.bincount(group[tree.row], minlength=groups))[:-1]
    return group.astype(np.int64), np.split(excess, ends)


def piece_gaps(crosses: Crosses, sides: SideGraph, rules: MoveRules) -> tuple[IntArray, IntArray, FloatArray]:
    """Return all pairs of pieces that one back move can join, each with its shortest such move (at least 1)."""
    rows, cols = crosses.cells.shape
    # A hole lies on at most two pieces: one of the cells above it, one of the cells below it.
    holds = np.full((2, rows + 1, cols + 1), -1, dtype=np.int64)
    for dr in (0, 1):
        for dc in (0, 1):
            holds[1 - dr, crosses.row + dr, crosses.col + dc] = sides.piece
    reach = int(rules.carry)
    found_a, found_b, found_length = [], [], []
    for dr in range(0, reach + 1):
        for dc in range(-reach, reach + 1):
            length = hypot(dr, dc)
            if (dr == 0 and dc < 0) or length > rules.carry + EPSILON:
                continue
            here = (slice(0, rows + 1 - dr), slice(max(0, -dc), cols + 1 - max(0, dc)))
            there = (slice(dr, rows + 1), slice(max(0, dc), cols + 1 + min(0, dc)))
            if here[0].stop <= here[0].start or here[1].stop <= here[1].start:
                continue
            seen = rules.behind((dr, dc))[here] if rules.hidden and length > 0 else None
            for i in (0, 1):
                for j in (0, 1):
                    a, b = holds[i][here], holds[j][there]
                    pair = (a >= 0) & (b >= 0) & (a != b)
                    if seen is not None:
                        pair &= seen
                    if pair.any():
                        found_a.append(np.minimum(a[pair], b[pair]))
                        found_b.append(np.maximum(a[pair], b[pair]))
                        found_length.append(np.full(int(pair.sum()), max(length, 1.0)))
    if not found_a:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0)
    a, b, all_lengths = np.concatenate(found_a), np.concatenate(found_b), np.concatenate(found_length)
    order = np.lexsort((all_lengths, b, a))
    a, b, all_lengths = a[order], b[order], all_lengths[order]
    keep = np.concatenate(([True], (a[1:] != a[:-1]) | (b[1:] != b[:-1])))
    return a[keep], b[keep], all_lengths[keep]
