"""The small angle by which a camera has tilted a drawing.

Straight pieces of the curves are gathered by their angle to the nearer axis or diagonal of the grid. If most
of their length agrees on one small angle, and next to none lies along an axis as it is, the drawing is tilted
by it.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from converter.outline.graph import CurveNetwork
from converter.outline.simplify import resample_curve, simplify_curve

SMALLEST: Final = 0.5
"""Degrees; a smaller tilt moves no line to another hole within forty stitches or so."""
LARGEST: Final = 6.0
"""Degrees; a larger tilt is meant."""
SHARE: Final = 0.5
"""Of the straight length must agree."""
_STRAIGHT: Final = 4.0


def find_tilt(network: CurveNetwork) -> float:
    """Return the tilt in degrees, from the row axis towards the column axis; 0 if there is none.

    Parameters
    ----------
    network : CurveNetwork
        In stitches.
    """
    angles, weights = [], []
    for curve in network.curves:
        points = resample_curve(curve.points, 0.2)
        corners = simplify_curve(points, 0.12)
        for a, b in pairwise(corners):
            length = float(np.hypot(*(b - a)))
            if length < _STRAIGHT:
                continue
            low, high = (int(np.argmin(np.hypot(*(points - end).T))) for end in (a, b))
            piece = points[min(low, high) : max(low, high) + 1]
            angles.append(_direction(piece[2:-2] if len(piece) > 8 else piece))
            weights.append(length**2)
    if not angles:
        return 0.0
    # Diagonals lend weight to the axes, but there must be axes.
    angle = (np.array(angles) + 22.5) % 45 - 22.5
    axis = np.abs((np.array(angles) + 45) % 90 - 45) < 22.5
    weight = np.array(weights)
    near = np.abs(angle) <= LARGEST
    best, share = 0.0, 0.0
    for centre in angle[near & axis]:
        agree = np.abs(angle - centre) <= 0.6
        if weight[agree].sum() > share + 1e-9:
            share = float(weight[agree].sum())
            best = float((angle[agree] * weight[agree]).sum() / share)
    # Lines that lie along an axis already tell that the others are meant to slant.
    level = float(weight[np.abs(angle) <= 0.3].sum())
    if share < SHARE * weight.sum() or abs(best) < SMALLEST or level > 0.1 * weight.sum():
        return 0.0
    return best


def _direction(points: npt.NDArray[np.float64]) -> float:
    """Return the angle of the line through points, in degrees."""
    offset = points - points.mean(axis=0)
    rr, cc, rc = (offset[:, 0] ** 2).sum(), (offset[:, 1] ** 2).sum(), (offset[:, 0] * offset[:, 1]).sum()
    return float(np.degrees(0.5 * np.arctan2(2 * rc, rr - cc)))


def turn_placement(
    placement: npt.NDArray[np.float64], shape: tuple[int, int], degrees: float
) -> npt.NDArray[np.float64]:
    """Return the placement of a grid turned about its centre so that a tilt of the picture disappears."""
    radians = np.radians(degrees)
    turn = np.array([[np.cos(radians), -np.sin(radians)], [np.sin(radians), np.cos(radians)]])
    centre = np.array(shape) / 2
    linear = placement[:, :2] @ turn
    return np.concatenate([linear, (placement[:, 2] + (placement[:, :2] - linear) @ centre)[:, None]], axis=1)
