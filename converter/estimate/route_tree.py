"""The least order inside one piece: half crosses out, the other halves on the way back.

A piece is a group of crosses joined by their sides. Take a spanning tree of the piece. Work the bottom leg of a cell
when the walk enters it, then everything that hangs below it, then its top leg. Every back move of such a walk can be
made exactly one side long, whatever the tree: the shared side of two neighbours joins a bottom-leg hole of one to a
bottom-leg hole of the other, and a top-leg hole to a top-leg hole; and of two neighbours of one cell, the top leg of
the first ends beside the bottom leg of the second. So a piece of n crosses needs 2 n - 1 back moves of one side, and
no order can do better.

The tree grows breadth first from the entry with columns tried before rows, so that a solid part is worked row after
row off one upright: the way half crosses are laid by hand.

A walk that has to come in at one cell and go out at another keeps the tree, but walks the branch between the two only
once: a finished cross leads to the bottom leg of the next but one, and the cell between them is worked as its child.
Where the branch is odd in length one move of the square root of 2 changes from one colour of the chequerboard to the
other; a count of holes shows that this cannot be avoided.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.sparse import csgraph

from converter.estimate.route_geometry import Crosses, IntArray


@dataclass(frozen=True, eq=False)
class SideGraph:
    """Which crosses touch by a side.

    Parameters
    ----------
    graph : sparse matrix of shape (n, n)
        Symmetric.
    piece : ndarray of shape (n,), int32
        Number of the piece each cross belongs to.
    pieces : int
    """

    graph: sparse.csr_matrix
    piece: npt.NDArray[np.int32]
    pieces: int

    @classmethod
    def of(cls, crosses: Crosses) -> SideGraph:
        """Join crosses that share a side."""
        first, second = [], []
        for step in ((0, 1), (1, 0)):
            other = crosses.neighbour(step)
            mine = np.flatnonzero(other >= 0)
            first.append(mine)
            second.append(other[mine])
        a, b = np.concatenate(first), np.concatenate(second)
        ones = np.ones(a.size, dtype=np.int8)
        graph = sparse.csr_matrix((ones, (a, b)), shape=(crosses.count, crosses.count))
        pieces, piece = csgraph.connected_components(graph, directed=False)
        return cls(graph, piece, int(pieces))


class TreeWalk:
    """Spanning trees of all pieces, each grown from its own entry, and the walks on them.

    Parameters
    ----------
    crosses : Crosses
    sides : SideGraph
    entries : ndarray of shape (pieces,), int
        The cross at which each piece is entered.
    """

    def __init__(self, crosses: Crosses, sides: SideGraph, entries: IntArray) -> None:
        count = crosses.count
        # Numbered column by column so that breadth-first search tries the next row before the next column.
        rank = np.empty(count, dtype=np.int64)
        by_column = np.lexsort((crosses.row, crosses.col))
        rank[by_column] = np.arange(count)
        half = sides.graph.tocoo()
        a = np.concatenate((rank[half.row], np.full(entries.size, count)))
        b = np.concatenate((rank[half.col], rank[entries]))
        graph = sparse.csr_matrix((np.ones(a.size, dtype=np.int8), (a, b)), shape=(count + 1, count + 1))
        order, before = csgraph.breadth_first_order(graph, count, directed=False, return_predecessors=True)
        parent = np.full(count, -1, dtype=np.int64)
        reached = by_column[order[1:]]
        above = before[order[1:]]
        parent[reached] = np.where(above == count, -1, by_column[np.minimum(above, count - 1)])
        self.parent: list[int] = parent.tolist()
        inner = reached[above != count]
        grouped = inner[np.argsort(parent[inner], kind="stable")]
        self._child: list[int] = grouped.tolist()
        self._first: list[int] = np.concatenate(([0], np.cumsum(np.bincount(parent[inner], minlength=count)))).tolist()

    def branch(self, entry: int, leave: int) -> list[int]:
        """Return the cells from the entry of a piece to one of its cells, along the tree."""
        path = [leave]
        while path[-1] != entry:
            path.append(self.parent[path[-1]])
        return path[::-1]

    def legs(self, entry: int, leave: int) -> list[int]:
        """Return the order of all legs of a piece that is entered at one cross and left at another.

        Returns
        -------
        list of int
            Leg numbers; the first is the bottom leg of ``entry``, the last the top leg of ``leave``.
        """
        if entry == leave:
            return self._hanging(entry, ())
        path = self.branch(entry, leave)
        legs: list[int] = []
        at = 0
        while at < len(path):
            # A stop of the walk takes the next cell of the branch with it, unless that cell is the exit.
            takes = at + 1 < len(path) - 1
            legs.append(2 * path[at])
            beyond = path[at + 1 : at + 2]
            for child in self._children(path[at]):
                if child not in beyond:
                    legs += self._hanging(child, ())
            if takes:
                legs += self._hanging(path[at + 1], path[at + 2 : at + 3])
            legs.append(2 * path[at] + 1)
            at += 2 if takes else 1
        return legs

    def _children(self, cell: int) -> list[int]:
        return self._child[self._first[cell] : self._first[cell + 1]]

    def _hanging(self, cell: int, without: list[int] | tuple[int, ...]) -> list[int]:
        child, first = self._child, self._first
        legs: list[int] = []
        stack = [cell]
        while stack:
            at = stack.pop()
            if at < 0:
                legs.append(1 - 2 * (at + 1))
                continue
            legs.append(2 * at)
            stack.append(-1 - at)
            low, high = first[at], first[at + 1]
            if high > low:
                below = child[low:high]
                if at == cell and without:
                    below = [c for c in below if c not in without]
                stack += below[::-1]
        return legs
