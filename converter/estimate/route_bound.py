r"""The least thread that any plan can use: proven, not searched for.

Let a piece be crosses that touch by their sides, and a group all pieces that back moves of at most the limit can join.
A group of n crosses in s lengths has 2 n legs of the square root of 2 on the front and exactly 2 n - s back moves, each
at least one side long. For one piece nothing else is needed: s = ceil(2 n / f) with f = floor((length - 2 tail + 1) /
(1 + sqrt(2))) legs to a length, total 2 sqrt(2) n + 2 n - s + 2 tail s. A row of ten with one thread: 28.284 in front,
19 behind.

With p pieces some moves go from piece to piece. A piece is first entered either by a new length or by a move that leads
to a bottom leg ``/`` from a piece entered before; so the moves that end on a bottom leg contain a forest of at most s
trees that spans all pieces. In the same way, counted from the end, a piece is left for good by a move that starts on a
top leg ``\``, so these moves contain such a forest too. Either is at least as long as the shortest such forest: the
p - s cheapest edges of a minimum spanning tree (Kruskal's rule). A move from a top to a bottom leg may serve in both;
giving half of its length to each, the two shortest forests together are a bound as well. The largest of the three
counts.

If either kind of move leaves more than s pieces unjoined, s is too small; and s lengths have to hold it all:

    2 sqrt(2) n + 2 n - s + excess(s) <= s (length - 2 tail).

Starts are counted first: the bound holds for plans with the fewest starts, and for all plans as soon as the two tails
of a length are longer than the longest carry.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from math import ceil, hypot

import cv2
import numpy as np
import numpy.typing as npt

from converter.estimate.route_geometry import EPSILON, LEG_ENDS, ROOT2, Crosses, FloatArray, IntArray, MoveRules
from converter.estimate.route_graph import spanning_forest
from converter.estimate.route_tree import SideGraph


@dataclass(frozen=True, eq=False)
class Bound:
    """Lower bounds of a plan, in stitch sides."""

    starts: int
    front: float
    back: float
    tails: float
    group: IntArray
    """Group of each piece: pieces that carries can join."""

    @property
    def total(self) -> float:
        """Least thread in all."""
        return self.front + self.back + self.tails


def thread_bound(crosses: Crosses, sides: SideGraph, rules: MoveRules, length: float, tail: float) -> Bound:
    """Return the proven lower bound of the thread that the crosses take."""
    capacity = length - 2 * tail
    group, forests = _forests(sides.pieces, piece_gaps(crosses, sides, rules))
    counts = np.bincount(group[sides.piece], minlength=len(forests))
    starts, back = 0, 0.0
    for count, forest in zip(counts.tolist(), forests, strict=True):
        s, excess = _fewest(count, forest, capacity)
        starts += s
        back += 2 * count - s + excess
    return Bound(starts, 2 * ROOT2 * crosses.count, back, 2 * tail * starts, group)


@dataclass(frozen=True, eq=False)
class _Forest:
    """Sums of the cheapest edges of the spanning forests of one group."""

    pieces: int
    parts: int
    """Most pieces that stay unjoined under one kind of move alone."""
    sums: tuple[FloatArray, ...]
    """For each forest: excess of its k cheapest edges, k = 0, 1, and so on."""

    def excess(self, starts: int) -> float:
        """Return the least excess of all moves between pieces."""
        edges = max(self.pieces - starts, 0)
        into, out, into_half, out_half = (float(part[min(edges, part.size - 1)]) for part in self.sums)
        return max(into, out, into_half + out_half)


def _fewest(count: int, forest: _Forest, capacity: float) -> tuple[int, float]:
    """Return the fewest lengths of one group and the excess of its moves between pieces."""
    legs = int((capacity + 1 + EPSILON) / (1 + ROOT2))
    s = max(1, forest.parts, ceil(2 * count / legs))
    while True:
        excess = forest.excess(s)
        if 2 * ROOT2 * count + 2 * count - s + excess <= s * capacity + EPSILON * count:
            return s, excess
        s += 1


Gaps = tuple[IntArray, IntArray, FloatArray]
"""Pairs of pieces, each once, and the shortest move between the two."""
_KINDS = ("bottom", "top", "cross")


def _forests(pieces: int, gaps: dict[str, Gaps]) -> tuple[IntArray, list[_Forest]]:
    """Return the group of each piece, and the forests of each group."""

    def edges(kinds: tuple[tuple[str, float], ...]) -> Gaps:
        first = np.concatenate([gaps[kind][0] for kind, _ in kinds])
        second = np.concatenate([gaps[kind][1] for kind, _ in kinds])
        excess = np.concatenate([share * (gaps[kind][2] - 1) for kind, share in kinds])
        return _shortest(first, second, excess)

    _, group = spanning_forest(pieces, *edges((("cross", 1.0), ("bottom", 1.0), ("top", 1.0))))
    members = np.bincount(group)
    count = int(members.size)
    parts = np.ones(count, dtype=np.int64)
    sums: list[list[FloatArray]] = []
    for kinds in (
        (("cross", 1.0), ("bottom", 1.0)),
        (("cross", 1.0), ("top", 1.0)),
        (("cross", 0.5), ("bottom", 1.0)),
        (("cross", 0.5), ("top", 1.0)),
    ):
        first, second, excess = edges(kinds)
        taken, _ = spanning_forest(pieces, first, second, excess)
        owner = group[first[taken]]
        order = np.lexsort((excess[taken], owner))
        joints = np.bincount(owner, minlength=count)
        parts = np.maximum(parts, members - joints)
        split = np.split(excess[taken][order], np.cumsum(joints)[:-1])
        sums.append([np.concatenate(([0.0], np.cumsum(part))) for part in split])
    return group, [_Forest(int(members[k]), int(parts[k]), tuple(part[k] for part in sums)) for k in range(count)]


def piece_gaps(crosses: Crosses, sides: SideGraph, rules: MoveRules) -> dict[str, Gaps]:
    """Return all pairs of pieces that one back move can join, each with its shortest such move.

    Returns
    -------
    dict
        ``bottom``: moves between two bottom legs; ``top``: between two top legs; ``cross``: between a top and a bottom
        leg.
    """
    rows, cols = crosses.cells.shape
    nothing = (np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0))
    if sides.pieces < 2:
        return dict.fromkeys(_KINDS, nothing)
    reach = int(rules.carry)
    # A hole ends a bottom leg of the cells right above and left below it, a top leg of the other two. The rim has none.
    holds = np.full((2, 2, rows + 1 + 2 * reach, cols + 1 + 2 * reach), -1, dtype=np.int32)
    for leg, end in product((0, 1), repeat=2):
        dr, dc = LEG_ENDS[leg, end] + reach
        holds[leg, end, crosses.row + dr, crosses.col + dc] = sides.piece
    near = np.flatnonzero(_between(holds, reach))
    flat, width = holds.reshape(4, -1), holds.shape[3]
    mine = flat[:, near]
    found: dict[str, list[Gaps]] = {kind: [nothing] for kind in _KINDS}
    for dr, dc in product(range(reach + 1), range(-reach, reach + 1)):
        length = hypot(dr, dc)
        if (dr, dc) <= (0, 0) or length > rules.carry + EPSILON:
            continue
        theirs = flat[:, near + dr * width + dc]
        pair = (mine[:, None] >= 0) & (theirs >= 0) & (mine[:, None] != theirs)
        if rules.hidden:
            seen = np.zeros(holds.shape[2:], dtype=np.bool_)
            seen[reach : reach + rows + 1, reach : reach + cols + 1] = rules.behind((dr, dc))
            pair &= seen.ravel()[near]
        one, two, at = np.nonzero(pair)
        low, high = (pick(mine[one, at], theirs[two, at]).astype(np.int64) for pick in (np.minimum, np.maximum))
        for kind, of in zip(
            _KINDS, ((one < 2) & (two < 2), (one > 1) & (two > 1), (one < 2) != (two < 2)), strict=True
        ):
            found[kind].append((low[of], high[of], np.full(int(of.sum()), length)))
    return {
        kind: _shortest(*(np.concatenate(part) for part in zip(*parts, strict=True))) for kind, parts in found.items()
    }


def _between(holds: npt.NDArray[np.int32], reach: int) -> npt.NDArray[np.bool_]:
    """Return the holes of one piece that have a hole of another one within reach, rows and columns each counted."""
    most = holds.max(axis=(0, 1))
    least = np.where(holds < 0, most.max() + 1, holds).min(axis=(0, 1))
    square = np.ones((2 * reach + 1, 2 * reach + 1), dtype=np.uint8)
    # Whole numbers up to 2 ** 53 are exact in this type.
    most = cv2.dilate(most.astype(np.float64), square)
    least = cv2.erode(least.astype(np.float64), square)
    found: npt.NDArray[np.bool_] = (holds.max(axis=(0, 1)) >= 0) & (most > least)
    return found


def _shortest(first: IntArray, second: IntArray, length: FloatArray) -> Gaps:
    """Keep the shortest move of each pair."""
    order = np.lexsort((length, second, first))
    a, b = first[order], second[order]
    keep = np.ones(order.size, dtype=np.bool_)
    keep[1:] = (a[1:] != a[:-1]) | (b[1:] != b[:-1])
    return a[keep], b[keep], length[order][keep]
