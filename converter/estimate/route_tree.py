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

import cv2
import numpy as np

from converter.estimate.route_geometry import Crosses, IntArray


@dataclass(frozen=True, eq=False)
class SideGraph:
    """Which crosses hang together by their sides.

    Parameters
    ----------
    piece : ndarray of shape (n,), int
        Number of the piece each cross belongs to, in the order of their first crosses.
    pieces : int
    """

    piece: IntArray
    pieces: int

    @classmethod
    def of(cls, crosses: Crosses) -> SideGraph:
        """Join crosses that share a side."""
        _, label = cv2.connectedComponents(crosses.cells.view(np.uint8), connectivity=4, ltype=cv2.CV_32S)
        _, first, number = np.unique(label[crosses.row, crosses.col], return_index=True, return_inverse=True)
        rank = np.empty(first.size, dtype=np.int64)
        rank[np.argsort(first)] = np.arange(first.size)
        return cls(rank[number.reshape(-1)], int(first.size))


class TreeWalk:
    """Spanning trees of all pieces, each grown from its own entry, and the walks on them.

    Parameters
    ----------
    crosses : Crosses
    entries : ndarray of shape (pieces,), int
        The cross at which each piece is entered.
    """

    def __init__(self, crosses: Crosses, entries: IntArray) -> None:
        width = int(crosses.index.shape[1])
        place: list[int] = ((crosses.row + crosses.pad) * width + crosses.col + crosses.pad).tolist()
        at: list[int] = crosses.index.ravel().tolist()
        self.parent = [-2] * crosses.count
        """The cross above each in its tree, -1 for an entry."""
        reached = entries[np.lexsort((crosses.row[entries], crosses.col[entries]))].tolist()
        for entry in reached:
            self.parent[entry] = -1
        self._child: list[int] = reached
        self._first = [0] * crosses.count
        self._last = [0] * crosses.count
        parent, first, last = self.parent, self._first, self._last
        # What hangs below a cross is found in one go, and so stands together in the order found.
        for cross in reached:
            first[cross] = len(reached)
            here = place[cross]
            for step in (-1, -width, width, 1):
                other = at[here + step]
                if other >= 0 and parent[other] == -2:
                    parent[other] = cross
                    reached.append(other)
            last[cross] = len(reached)

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
        return self._child[self._first[cell] : self._last[cell]]

    def _hanging(self, cell: int, without: list[int] | tuple[int, ...]) -> list[int]:
        child, first, last = self._child, self._first, self._last
        legs: list[int] = []
        stack = [cell]
        while stack:
            at = stack.pop()
            if at < 0:
                legs.append(1 - 2 * (at + 1))
                continue
            legs.append(2 * at)
            stack.append(-1 - at)
            low, high = first[at], last[at]
            if high > low:
                below = child[low:high]
                if at == cell and without:
                    below = [c for c in below if c not in without]
                stack += below[::-1]
        return legs
