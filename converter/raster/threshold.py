"""Thresholds: gray to ink."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt


def threshold_otsu(levels: npt.NDArray[np.uint8]) -> int:
    """Return the level that best parts dark from light.

    Parameters
    ----------
    levels : ndarray of any shape, uint8

    Returns
    -------
    int
        Ink is ``levels <= result``. Of several best levels the lowest.

    References
    ----------
    N. Otsu, A threshold selection method from gray-level histograms, IEEE Trans. SMC 9(1), 1979, 62-66.

    Examples
    --------
    >>> import numpy as np
    >>> threshold_otsu(np.array([[0, 0, 9], [9, 0, 9], [9, 9, 0]], dtype=np.uint8))
    0
    """
    counts = np.bincount(levels.ravel(), minlength=256).astype(np.float64)
    dark = np.cumsum(counts)
    light = dark[-1] - dark
    first = np.cumsum(counts * np.arange(256))
    both = np.maximum(dark * light, 1e-300)
    between = (first * light - (first[-1] - first) * dark) ** 2 / both
    between[(dark == 0) | (light == 0)] = -1
    return int(np.argmax(between))
