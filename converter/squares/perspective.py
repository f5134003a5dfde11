"""The crossings of a flat sheet seen by a camera: a homography of rows and columns."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from converter.squares.sides import Nodes

_NEAREST = 0.2
"""Distance of the sheet from the camera, as part of that at its middle, at least."""
_ROUNDS = 12
_CLOSEST = 0.15
"""Part of a square by which a crossing may miss the flat sheet at least."""


def flat_sheet(nodes: Nodes, weight: npt.NDArray[np.float64], robust: bool = False) -> Nodes:
    """Return the crossings of the flat sheet in perspective that lies closest to those of a mesh.

    Parameters
    ----------
    nodes : ndarray of shape (n, m, 2)
    weight : ndarray of shape (n, m)
        How much each crossing counts; those that count nothing may lie anywhere.
    robust : bool
        Crossings that lie far off the others' sheet lose their weight.
    """
    n, m = nodes.shape[:2]
    used = weight > 0
    scale = max(n, m) / 2
    rr, cc = ((k - (s - 1) / 2) / scale for k, s in zip(np.indices((n, m)), (n, m), strict=True))
    r, c, points = rr[used], cc[used], nodes[used]
    middle = points.mean(axis=0)
    size = float(np.abs(points - middle).max())
    y, x = ((points - middle) / size).T
    one, none = np.ones_like(r), np.zeros_like(r)
    terms = np.vstack([
        np.stack([r, c, one, none, none, none, -r * y, -c * y], axis=1),
        np.stack([none, none, none, r, c, one, -r * x, -c * x], axis=1),
    ])  # fmt: skip
    base = weight[used]
    now = base
    side = _side(nodes) if robust else 1.0
    for _ in range(_ROUNDS if robust else 1):
        both = np.concatenate([now, now])
        fitted = np.linalg.lstsq(terms * both[:, None], np.concatenate([y, x]) * both, rcond=None)[0]
        if robust:
            miss = np.hypot(*(points - _laid(fitted, r, c) * size - middle).T) / side
            reach = max(_CLOSEST, 3.0 * float(np.median(miss)))
            now = base * np.maximum(0, 1 - (miss / reach) ** 2) ** 2
    return np.asarray(_laid(fitted, rr, cc) * size + middle)


def _laid(
    fitted: npt.NDArray[np.float64], r: npt.NDArray[np.float64], c: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    below = np.maximum(1 + fitted[6] * r + fitted[7] * c, _NEAREST)
    flat = np.stack([fitted[k] * r + fitted[k + 1] * c + fitted[k + 2] for k in (0, 3)], axis=-1)
    return np.asarray(flat / below[..., None])


def _side(nodes: Nodes) -> float:
    return float(np.median(np.hypot(*np.diff(nodes, axis=0).reshape(-1, 2).T)))
