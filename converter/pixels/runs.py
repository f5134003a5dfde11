"""Labels run by run: a picture has far fewer runs of equal labels along its rows than pixels."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

from converter.model.arrays import LabelArray

Value = TypeVar("Value", bound=np.generic)


def count_pixels(labels: LabelArray, count: int) -> npt.NDArray[np.int64]:
    """Return the pixels of each of ``count`` labels, summed over runs of equal labels, which are far fewer.

    Examples
    --------
    >>> count_pixels(np.array([[0, 2, 2], [2, 1, 0]], dtype=np.int32), 4)
    array([2, 1, 3, 0])
    """
    last = run_ends(labels)
    return np.bincount(labels.ravel()[last], weights=np.diff(last, prepend=-1), minlength=count).astype(np.int64)


def run_ends(labels: LabelArray) -> npt.NDArray[np.intp]:
    """Return the flat places at which runs of equal labels end, ascending."""
    flat = labels.ravel()
    return np.append(np.flatnonzero(flat[1:] != flat[:-1]), flat.size - 1)


def spread(values: npt.NDArray[Value], labels: LabelArray) -> npt.NDArray[Value]:
    """Return ``values[labels]``, run by run.

    Examples
    --------
    >>> spread(np.array([5, 7, 9]), np.array([[0, 2, 2], [2, 1, 0]], dtype=np.int32))
    array([[5, 9, 9],
           [9, 7, 5]])
    """
    last = run_ends(labels)
    return np.repeat(values[labels.ravel()[last]], np.diff(last, prepend=-1)).reshape(labels.shape)
