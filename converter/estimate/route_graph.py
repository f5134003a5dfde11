"""Connected parts and cheapest spanning forests of graphs given by their edges.

A few rounds over whole arrays, so that a chart of many pieces costs no loop over its links, and the small graphs of a
usual chart cost next to nothing.
"""

from __future__ import annotations

import numpy as np

from converter.estimate.route_geometry import FloatArray, IntArray


def spanning_forest(count: int, first: IntArray, second: IntArray, weight: FloatArray) -> tuple[IntArray, IntArray]:
    """Return the edges of a cheapest spanning forest and the part that each node belongs to.

    Parameters
    ----------
    count : int
        Number of nodes.
    first, second : ndarray of shape (m,), int
        The two nodes of each edge.
    weight : ndarray of shape (m,), float64

    Returns
    -------
    edges : ndarray of shape (k,), int
        Numbers of the edges taken, ascending. Of two edges of one weight the one named first is preferred.
    part : ndarray of shape (count,), int
        Numbered in the order of their first nodes.

    Notes
    -----
    Every part takes its cheapest edge outward until none is left (O. Boruvka, 1926; from memory).

    Examples
    --------
    >>> import numpy as np
    >>> first, second = np.array([0, 1, 0, 3]), np.array([1, 2, 2, 4])
    >>> edges, part = spanning_forest(6, first, second, np.array([1.0, 3.0, 2.0, 9.0]))
    >>> edges.tolist(), part.tolist()
    ([0, 2, 3], [0, 0, 0, 1, 1, 2])
    """
    part = np.arange(count, dtype=np.int64)
    by_weight = np.argsort(weight, kind="stable")
    rank = np.empty(by_weight.size, dtype=np.int64)
    rank[by_weight] = np.arange(by_weight.size)
    live = by_weight[first[by_weight] != second[by_weight]]
    taken = [np.zeros(0, dtype=np.int64)]
    while live.size:
        one, two = part[first[live]], part[second[live]]
        cheapest = np.full(count, by_weight.size, dtype=np.int64)
        np.minimum.at(cheapest, one, rank[live])
        np.minimum.at(cheapest, two, rank[live])
        mine = np.flatnonzero(cheapest < by_weight.size)
        edge = by_weight[cheapest[mine]]
        ends = part[first[edge]], part[second[edge]]
        ahead = np.arange(count, dtype=np.int64)
        ahead[mine] = np.where(ends[0] == mine, ends[1], ends[0])
        # Two parts that chose each other: the lower stays.
        ahead = np.where((ahead[ahead] == np.arange(count)) & (np.arange(count) < ahead), np.arange(count), ahead)
        while (ahead[ahead] != ahead).any():
            ahead = ahead[ahead]
        part = ahead[part]
        taken.append(np.unique(edge))
        live = live[part[first[live]] != part[second[live]]]
    _, at, number = np.unique(part, return_index=True, return_inverse=True)
    order = np.empty(at.size, dtype=np.int64)
    order[np.argsort(at)] = np.arange(at.size)
    return np.sort(np.concatenate(taken)), order[number.reshape(-1)]
