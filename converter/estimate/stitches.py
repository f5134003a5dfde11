"""Counts of a chart."""

from __future__ import annotations

import cv2
import numpy as np

from converter.model.arrays import CellArray
from converter.model.chart import Chart
from converter.model.results import StitchCount


def count_stitches(chart: Chart) -> StitchCount:
    """Count crosses, backstitches and the parts they form.

    Parameters
    ----------
    chart : Chart

    Returns
    -------
    count : StitchCount

    Examples
    --------
    >>> import numpy as np
    >>> ring = np.ones((3, 3), dtype=bool)
    >>> ring[1, 1] = False
    >>> count = count_stitches(Chart(cells=ring))
    >>> count.stitches, count.components, count.holes, count.isolated
    (8, 1, 1, 0)
    """
    cells = chart.cells
    lengths = np.hypot(*(chart.lines[:, 1] - chart.lines[:, 0]).T) if len(chart.lines) else np.zeros(0)
    return StitchCount(
        stitches=int(cells.sum()),
        backstitches=len(chart.lines),
        line_length_cells=round(float(lengths.sum()), 6),
        columns=chart.columns,
        rows=chart.rows,
        components=count_components(cells),
        holes=count_holes(cells),
        isolated=count_isolated(cells),
    )


def count_components(cells: CellArray) -> int:
    """Return the number of groups of crosses that touch by side or corner (8-connected)."""
    return int(cv2.connectedComponents(cells.astype(np.uint8), connectivity=8)[0]) - 1


def count_holes(cells: CellArray) -> int:
    """Return the number of 4-connected openings of bare cloth that do not reach the outside."""
    ground = np.pad(~cells, 1, constant_values=True).astype(np.uint8)
    return int(cv2.connectedComponents(ground, connectivity=4)[0]) - 2


def count_isolated(cells: CellArray) -> int:
    """Return the number of crosses with no cross at any side or corner."""
    padded = np.pad(cells, 1).astype(np.uint8)
    neighbours = sum(
        padded[1 + dr : padded.shape[0] - 1 + dr, 1 + dc : padded.shape[1] - 1 + dc]
        for dr in (-1, 0, 1)
        for dc in (-1, 0, 1)
        if (dr, dc) != (0, 0)
    )
    return int((cells & (np.asarray(neighbours) == 0)).sum())
