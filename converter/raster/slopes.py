"""Points counted along straight lines of many slopes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, eq=False)
class SlopeCounts:
    """How many points lie on each line."""

    slopes: npt.NDArray[np.float64]
    """(S,): across to along."""
    counts: npt.NDArray[np.float32]
    """(S, N): of the lines at each slope, one pixel apart."""
    shift: int
    """Line k crosses the middle of the plane at ``k - shift``."""


def count_by_slope(
    across: npt.NDArray[Any], along: npt.NDArray[Any], shape: tuple[int, int], steepest: float, finer: int = 1
) -> SlopeCounts:
    """Count points on lines that run about along one axis.

    Parameters
    ----------
    across, along : ndarray of shape (P,), int
        Where the points lie, in pixels.
    shape : tuple of int
        Pixels of the plane across and along.
    steepest : float
        Slopes go up to this both ways, in steps by which the ends of a line move half a pixel across.
    finer : int
        So many steps for each of those.
    """
    width, length = shape
    reach = int(np.ceil(steepest * length / 2))
    slopes = np.linspace(-steepest, steepest, 2 * finer * max(1, reach) + 1)
    shift = reach + 2
    # Seen from the middle, so that a slope does not move a line.
    at = np.rint(across - slopes[:, None] * (along - (length - 1) / 2)).astype(np.int64) + shift
    size = width + 2 * shift
    heap = np.bincount((at + size * np.arange(len(slopes))[:, None]).ravel(), minlength=size * len(slopes))
    return SlopeCounts(slopes, heap.reshape(len(slopes), size).astype(np.float32), shift)
