"""Nearest points in the plane, by sorting them into unit squares."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from converter.model.arrays import PointArray


def find_nearest(
    points: PointArray, queries: PointArray, max_distance: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """Return how far the nearest point is from each query, and which it is.

    Parameters
    ----------
    points : ndarray of shape (n, 2)
    queries : ndarray of shape (m, 2)
    max_distance : float
        Points farther off are not looked for.

    Returns
    -------
    distance : ndarray of shape (m,), float64
        Infinite where no point is near enough.
    index : ndarray of shape (m,), int64
        0 there; of equally near points the first.

    Examples
    --------
    >>> find_nearest(np.array([[0.0, 0.0], [0.0, 3.0]]), np.array([[0.0, 2.5], [9.0, 9.0]]), 1.0)
    (array([0.5, inf]), array([1, 0]))
    """
    distance = np.full(len(queries), np.inf)
    index = np.zeros(len(queries), dtype=np.int64)
    if len(points) == 0 or len(queries) == 0:
        return distance, index
    low = np.minimum(points.min(axis=0), queries.min(axis=0))
    square = np.floor((points - low) / max_distance).astype(np.int64) + 1
    wanted = np.floor((queries - low) / max_distance).astype(np.int64) + 1
    width = int(max(square[:, 1].max(), wanted[:, 1].max())) + 2
    key = square[:, 0] * width + square[:, 1]
    order = np.argsort(key, kind="stable")
    key = key[order]
    for down in (-1, 0, 1):
        # The three squares side by side are one stretch of the sorted points.
        middle = (wanted[:, 0] + down) * width + wanted[:, 1]
        first = np.searchsorted(key, middle - 1, side="left")
        count = np.searchsorted(key, middle + 1, side="right") - first
        some = np.flatnonzero(count)
        if not len(some):
            continue
        size = count[some]
        begins = np.cumsum(size) - size
        which = order[np.repeat(first[some] - begins, size) + np.arange(size.sum())]
        away = np.hypot(*(points[which] - np.repeat(queries[some], size, axis=0)).T)
        least = np.minimum.reduceat(away, begins)
        earliest = np.minimum.reduceat(np.where(away == np.repeat(least, size), which, len(points)), begins)
        nearer = (least <= max_distance) & (
            (least < distance[some]) | ((least == distance[some]) & (earliest < index[some]))
        )
        distance[some[nearer]], index[some[nearer]] = least[nearer], earliest[nearer]
    return distance, index
