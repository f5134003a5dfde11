"""From an order of legs to cut lengths: which way each leg is worked, and where the thread ends.

Direction. A leg can be worked from either of its holes. For a fixed order the best directions follow from a two-state
dynamic programme along the order: exact, linear time.

Cutting. Given the moves, the cheapest cutting into lengths that hold is a dynamic programme over the place of the next
cut. A length that runs from leg i to leg j uses prefix sums only, and the legs that one length can hold form a window
that slides along the order, so a monotone queue gives each minimum in constant time: exact for the fixed moves, linear
time. Among equal plans the earlier lengths are the longer ones.
"""

from __future__ import annotations

from collections import deque

import numpy as np
import numpy.typing as npt

from converter.estimate.route_geometry import EPSILON, ROOT2, Crosses, FloatArray, IntArray, MoveRules


def move_table(crosses: Crosses, rules: MoveRules, legs: IntArray) -> FloatArray:
    """Return the back moves between neighbours of an order of legs.

    Returns
    -------
    ndarray of shape (m - 1, 2, 2), float64
        [i, a, b]: from leg i worked from its end a to leg i + 1 worked from its end b; infinite where not allowed.
    """
    holes = crosses.leg_holes(legs)
    leave = holes[:-1, ::-1]
    return rules.length(
        np.broadcast_to(leave[:, :, None], (legs.size - 1, 2, 2, 2)),
        np.broadcast_to(holes[1:, None, :], (legs.size - 1, 2, 2, 2)),
    )


def choose_directions(table: FloatArray, price: float) -> npt.NDArray[np.int8]:
    """Return for each leg the end it is worked from, so that the back moves are shortest in sum.

    Parameters
    ----------
    table : ndarray of shape (m - 1, 2, 2), float64
        See `move_table`. A cut between two legs is a block of zeros.
    price : float
        What a move that is not allowed, or longer than this, counts (a new start).
    """
    count = table.shape[0] + 1
    columns = [part.tolist() for part in np.minimum(table, price).reshape(-1, 4).T]
    best0, best1 = 0.0, 0.0
    came0 = bytearray(count)
    came1 = bytearray(count)
    for at, (w00, w01, w10, w11) in enumerate(zip(*columns, strict=True), 1):
        a, b = best0 + w00, best1 + w10
        c, d = best0 + w01, best1 + w11
        if a <= b:
            best0 = a
        else:
            best0 = b
            came0[at] = 1
        if c <= d:
            best1 = c
        else:
            best1 = d
            came1[at] = 1
    chosen = bytearray(count)
    state = 0 if best0 <= best1 else 1
    for at in range(count - 1, -1, -1):
        chosen[at] = state
        state = came1[at] if state else came0[at]
    return np.frombuffer(bytes(chosen), dtype=np.int8)


def taken_moves(table: FloatArray, ends: npt.NDArray[np.int8]) -> FloatArray:
    """Return the back moves (m - 1,) that the chosen directions make."""
    return table[np.arange(table.shape[0]), ends[:-1], ends[1:]]


def cut_lengths(moves: FloatArray, capacity: float, start_price: float) -> list[int]:
    """Return the first leg of each length of the cheapest cutting.

    Parameters
    ----------
    moves : ndarray of shape (m - 1,), float64
        Back moves between the legs; infinite = the thread must end there.
    capacity : float
        Thread of one length between its tails.
    start_price : float
        Thread that each length costs beside its moves: its two tails.

    Returns
    -------
    list of int
        Ascending, the first is 0.
    """
    count = moves.size + 1
    if count * ROOT2 + moves.sum() <= capacity + EPSILON and moves.max(initial=0.0) <= start_price:
        return [0]
    if moves.size and moves.min() == moves.max() == 1.0:
        return list(range(0, count, int((capacity + 1 + EPSILON) / (1 + ROOT2))))
    # Thread used up to leg i (its own front included) is used[i]; a length i..j takes used[j] - used[i] + ROOT2.
    finite = np.where(np.isfinite(moves), moves, 0.0)
    used = np.concatenate(([0.0], np.cumsum(finite + ROOT2))).tolist()
    forced = (~np.isfinite(moves)).tolist()
    total = [0.0] * (count + 1)
    follow = [count] * (count + 1)
    queue: deque[tuple[float, int]] = deque()
    for first in range(count - 1, -1, -1):
        # Candidate: the length ends with leg last = end - 1.
        end = first + 1
        if end - 1 < count - 1 and forced[end - 1]:
            queue.clear()
        key = total[end] + used[end - 1]
        while queue and queue[-1][0] > key + EPSILON:
            queue.pop()
        queue.append((key, end))
        limit = capacity + EPSILON + used[first] - ROOT2
        while used[queue[0][1] - 1] > limit:
            queue.popleft()
        key, end = queue[0]
        total[first] = key - used[first] + ROOT2 + start_price
        follow[first] = end
    starts = [0]
    while follow[starts[-1]] < count:
        starts.append(follow[starts[-1]])
    return starts
