"""Marks fainter than the grain of paper and camera, told by their shape.

Grain hides a faint stroke in the darkest part of a square, but it has no shape. So the fields of each bare square are
weighed by how much a cross, a plus, a stroke, a dot or a ring would darken them: grain adds up to little, a mark of the
shape to many times as much (a matched filter). One square proves nothing; several far above all others are marks.

Source: G. L. Turin, "An introduction to matched filters", IRE Transactions on Information Theory 6, 1960.
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

BoolArray = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]

_FEWEST_BARE = 60
_FAR, _FEWEST, _FEW = 4.0, 5, 0.01
"""Usual deviations of bare squares from which one may be a mark; as many such squares, and that share, prove some."""
_GAP = (2.8, 4.5)
"""Deviations between which marks and bare squares are parted, at the widest gap."""
_GRAIN = 0.01
"""Density by which a field of bare paper varies at least: what strokes beside a clean square spill into it is less."""
_FINE = 10
"""Pixels a field that shapes are drawn with."""


def overlooked(fields: Floats, side: int) -> BoolArray:
    """Return which bare squares hold marks of one shape.

    Parameters
    ----------
    fields : ndarray of shape (n, side * side)
        Density of the fields of each bare square.
    side : int
        Fields a side.

    Returns
    -------
    marks : ndarray of shape (n,), bool
        None at all, unless there are several.
    """
    best = np.zeros(len(fields), bool)
    if len(fields) < _FEWEST_BARE:
        return best
    from_usual = fields - np.median(fields, axis=0)
    for shape in _shapes(side):
        sums = from_usual @ shape
        sums -= np.median(sums)
        far = sums / max(1.48 * float(np.median(np.abs(sums))), _GRAIN * float(np.sqrt(shape @ shape)))
        if (far > _FAR).sum() < max(_FEWEST, _FEW * len(far)):
            continue
        steps = np.concatenate([[_GAP[0]], np.sort(far[(far > _GAP[0]) & (far < _GAP[1])]), [_GAP[1]]])
        found = far > steps[int(np.diff(steps).argmax())] + 1e-9
        best = found if found.sum() > best.sum() else best
    return best


@cache
def _shapes(side: int) -> tuple[Floats, ...]:
    """Return the shapes of marks (side * side,), each less its mean: how dark the whole square is says nothing."""
    size = side * _FINE
    low, middle, high, wide = size * 17 // 100, size // 2, size - size * 17 // 100, size * 13 // 100
    falling, rising = ((low, low), (high, high)), ((high, low), (low, high))
    level, upright = ((low, middle), (high, middle)), ((middle, low), (middle, high))
    pages = []
    for strokes in ((falling, rising), (level, upright), (falling,), (rising,)):
        page = np.zeros((size, size), np.float32)
        for start, end in strokes:
            cv2.line(page, start, end, 1.0, wide)
        pages.append(page)
    for radius, thick in ((size * 23 // 100, -1), (size * 30 // 100, wide)):
        page = np.zeros((size, size), np.float32)
        cv2.circle(page, (middle, middle), radius, 1.0, thick)
        pages.append(page)
    out = []
    for page in pages:
        soft = cv2.GaussianBlur(page, (0, 0), 0.7 * _FINE).astype(np.float64)
        shape = soft.reshape(side, _FINE, side, _FINE).mean(axis=(1, 3)).ravel()
        out.append(shape - shape.mean())
    return tuple(out)
