"""Stitches that may be sewn from hole to hole, and long vectors as regular words of them.

A backstitch goes one step (1, 0), (1, 1), (2, 1) or (3, 1), or a mirror image of one. Of these
directions any two neighbours span the whole lattice between them (their determinant is 1), so
every lattice vector is a sum of steps of two neighbouring directions, in exactly one way. Put in
the order of a balanced word, in which the two kinds of step alternate as evenly as they can, the
steps look like one straight line. All cyclic shifts of a balanced word are balanced; they lead
from the same hole to the same hole through different holes between.

References
----------
M. Lothaire, Algebraic Combinatorics on Words, chapter 2 (balanced words); from memory.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

HoleArray = npt.NDArray[np.int64]
"""(K, 2), (row, col) of holes."""
Vector = tuple[int, int]

BASE_STEPS: Final[tuple[Vector, ...]] = ((1, 0), (3, 1), (2, 1), (1, 1))
"""Steps of the first eighth of the circle, in order of direction."""

STEPS: Final[frozenset[Vector]] = frozenset(
    (sign_a * x, sign_b * y)
    for a, b in BASE_STEPS
    for x, y in ((a, b), (b, a))
    for sign_a in (1, -1)
    for sign_b in (1, -1)
)
"""All legal backstitches as (rows, cols)."""


def split_vector(vector: Vector) -> tuple[tuple[Vector, int], tuple[Vector, int]]:
    """Return the two neighbouring steps that make up a lattice vector, and how many of each.

    Parameters
    ----------
    vector : tuple of int
        (rows, cols), not (0, 0).

    Returns
    -------
    first, second : tuple of (step, count)
        ``count_1 * step_1 + count_2 * step_2 == vector``; the second count may be 0.

    Examples
    --------
    >>> split_vector((7, 2))
    (((1, 0), 1), ((3, 1), 2))
    >>> split_vector((-1, 0))
    (((-1, 0), 1), ((-3, 0), 0))
    """
    rows, cols = vector
    if rows == 0 and cols == 0:
        raise ValueError("A vector from a hole to itself has no steps.")
    swap = abs(cols) > abs(rows)
    long, short = (abs(cols), abs(rows)) if swap else (abs(rows), abs(cols))
    if 3 * short <= long:
        one, other, n_one, n_other = (1, 0), (3, 1), long - 3 * short, short
    elif 2 * short <= long:
        one, other, n_one, n_other = (3, 1), (2, 1), long - 2 * short, 3 * short - long
    else:
        one, other, n_one, n_other = (2, 1), (1, 1), long - short, 2 * short - long

    def back(step: Vector) -> Vector:
        a, b = (step[1], step[0]) if swap else step
        return (a if rows > 0 else -a) if rows else 0, (b if cols > 0 else -b) if cols else 0

    return (back(one), n_one), (back(other), n_other)


def split_onto(vectors: HoleArray, guides: HoleArray) -> HoleArray:
    """Return how many of the two steps of each guide make up each vector.

    Parameters
    ----------
    vectors, guides : ndarray of shape (n, 2), int
        No guide is (0, 0). A vector that the two steps of its guide do not reach has a negative count.

    Returns
    -------
    counts : ndarray of shape (n, 2), int
        In the order of `split_vector`.

    Examples
    --------
    >>> split_onto(np.array([(7, 2), (4, 1), (0, 1)]), np.array([(7, 2)] * 3)).tolist()
    [[1, 2], [1, 1], [-3, 1]]
    """
    swap = np.abs(guides[:, 1]) > np.abs(guides[:, 0])
    sign = np.where(guides < 0, -1, 1)
    turned = vectors * sign
    long, short = np.where(swap, turned[:, 1], turned[:, 0]), np.where(swap, turned[:, 0], turned[:, 1])
    size = np.abs(guides)
    most, least = size.max(axis=1), size.min(axis=1)
    flat, middle = 3 * least <= most, 2 * least <= most
    one = np.where(flat, long - 3 * short, np.where(middle, long - 2 * short, long - short))
    other = np.where(flat, short, np.where(middle, 3 * short - long, 2 * short - long))
    return np.stack([one, other], axis=1)


@lru_cache(maxsize=4096)
def straight_words(vector: Vector) -> tuple[HoleArray, ...]:
    """Return all balanced ways to sew a lattice vector, as holes relative to the first.

    Returns
    -------
    words : tuple of ndarray of shape (n + 1, 2), int
        One array a cyclic shift of the word, each from (0, 0) to ``vector``. The first is
        the one that keeps nearest to the straight line. Read-only.
    """
    (one, n_one), (other, n_other) = split_vector(vector)
    count = n_one + n_other
    period = count // int(np.gcd(n_one, n_other)) if n_one and n_other else 1
    words = []
    places = np.arange(count + 1)
    norm = float(np.hypot(*vector))
    for shift in range(period):
        ordinal = (places * n_other + shift * int(np.gcd(n_one, n_other) or 1)) // count
        others = ordinal - ordinal[0]
        ones = places - others
        holes = ones[:, None] * np.array(one) + others[:, None] * np.array(other)
        away = float(np.abs(holes[:, 0] * vector[1] - holes[:, 1] * vector[0]).max()) / norm
        holes.setflags(write=False)
        words.append((round(away, 9), shift, holes))
    words.sort(key=lambda word: word[:2])
    return tuple(word[2] for word in words)


def is_balanced(steps: HoleArray) -> bool:
    """Return True if steps are one direction, or two neighbouring ones spread evenly.

    Parameters
    ----------
    steps : ndarray of shape (n, 2), int
        The single backstitches in order.

    Notes
    -----
    Even means balanced: in any two stretches of the same number of steps, the numbers of the
    rarer step differ by at most one. The steps may be any two vectors less than a right angle apart
    with determinant 1, so that the suggestions of other methods can be judged too.
    """
    kinds, which = np.unique(steps, axis=0, return_inverse=True)
    if len(kinds) <= 1:
        return True
    if len(kinds) > 2:
        return False
    if abs(int(kinds[0, 0] * kinds[1, 1] - kinds[0, 1] * kinds[1, 0])) != 1 or int(kinds[0] @ kinds[1]) <= 0:
        return False
    total = np.concatenate([[0], np.cumsum(which.ravel())])
    return all(np.ptp(total[size:] - total[:-size]) <= 1 for size in range(1, len(which) // 2 + 1))
