"""Planes whose every value becomes a square block."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

T = TypeVar("T", bound=np.generic)


def to_blocks(plane: npt.NDArray[T], side: int) -> npt.NDArray[T]:
    """Return a plane (rows, cols, ...) with each value in ``side`` rows and columns; itself at a side of 1.

    Examples
    --------
    >>> to_blocks(np.array([[1, 2]]), 2).tolist()
    [[1, 1, 2, 2], [1, 1, 2, 2]]
    """
    return plane if side == 1 else np.repeat(np.repeat(plane, side, axis=0), side, axis=1)
