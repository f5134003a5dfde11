"""Centre lines made by hand."""

from __future__ import annotations

import numpy as np

from converter.raster.axis import Axis


def plain_axis(points, radius, pixel, straight):
    """Return a centre line that runs into no tip."""
    none = np.zeros(len(points), dtype=bool)
    return Axis(points, radius, pixel, straight, none, none)
