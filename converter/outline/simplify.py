"""Polylines: length, even resampling, smoothing, simplifying."""

from __future__ import annotations

import numpy as np

from converter.model.arrays import PointArray


def curve_length(points: PointArray) -> float:
    """Return the length of a polyline, in the unit of its points."""
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def resample_curve(points: PointArray, spacing: float) -> PointArray:
    """Return points at even distances along a polyline, its ends among them.

    Parameters
    ----------
    points : ndarray of shape (K, 2)
        At least one point.
    spacing : float
        Wished distance; the real one divides the length evenly.

    Returns
    -------
    points : ndarray of shape (n, 2)
        At least two points, equal if the curve has no length.
    """
    steps = np.hypot(*np.diff(points, axis=0).T) if len(points) > 1 else np.zeros(0)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    count = max(int(np.ceil(along[-1] / spacing - 1e-9)), 1)
    places = np.linspace(0.0, along[-1], count + 1)
    return np.stack([np.interp(places, along, points[:, axis]) for axis in (0, 1)], axis=1)


def smooth_curve(points: PointArray, radius: int, closed: bool) -> PointArray:
    """Return a polyline averaged over ``2 * radius + 1`` evenly spaced points; open ends stay.

    Notes
    -----
    Near an open end the window shrinks so that it stays symmetric; the end points do not move.
    The first point of a closed curve equals its last, before and after.
    """
    if radius < 1 or len(points) < 4:
        return points
    if closed:
        ring = points[:-1]
        radius = min(radius, (len(ring) - 1) // 2)
        around = np.concatenate([ring[-radius:], ring, ring[:radius]]) if radius else ring
        total = np.concatenate([np.zeros((1, 2)), np.cumsum(around, axis=0)])
        size = 2 * radius + 1
        smooth = (total[size:] - total[:-size]) / size
        return np.concatenate([smooth, smooth[:1]])
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(points, axis=0)])
    at = np.arange(len(points))
    reach = np.minimum(radius, np.minimum(at, len(points) - 1 - at))
    return np.asarray((total[at + reach + 1] - total[at - reach]) / (2 * reach + 1)[:, None])


def simplify_curve(points: PointArray, tolerance: float) -> PointArray:
    """Return the polyline with points left out, none farther than ``tolerance`` from the rest.

    Parameters
    ----------
    points : ndarray of shape (K, 2)
    tolerance : float
        Greatest distance of a left-out point from the chord that replaces it.

    References
    ----------
    D. H. Douglas, T. K. Peucker, Algorithms for the reduction of the number of points required to
    represent a digitized line or its caricature, 1973.

    Examples
    --------
    >>> simplify_curve(np.array([(0.0, 0.0), (1.0, 0.1), (2.0, 0.0), (2.0, 3.0)]), 0.5).tolist()
    [[0.0, 0.0], [2.0, 0.0], [2.0, 3.0]]
    """
    keep = np.zeros(len(points), dtype=bool)
    keep[[0, -1]] = True
    stack = [(0, len(points) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        chord = points[last] - points[first]
        offset = points[first + 1 : last] - points[first]
        norm = float(np.hypot(*chord))
        across = np.abs(offset[:, 0] * chord[1] - offset[:, 1] * chord[0])
        away = across / norm if norm > 0 else np.hypot(*offset.T)
        worst = int(np.argmax(away))
        if away[worst] > tolerance:
            middle = first + 1 + worst
            keep[middle] = True
            stack += [(first, middle), (middle, last)]
    return points[keep]
