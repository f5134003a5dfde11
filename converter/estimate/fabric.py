"""Size of a design on its cloth and of the cloth to cut: even margins, counted in threads."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from converter.errors import UsageError
from converter.estimate.figures import Figures, load_figures
from converter.model.chart import Chart
from converter.model.materials import Fabric
from converter.model.results import FabricCut
from converter.units import MM_PER_INCH

_EPSILON = 1e-6
MOST_MARGIN_MM = 100_000.0
"""Beyond any roll of cloth: a slip in a unit."""

Design = Chart | tuple[int, int]
"""A chart, or only its size as (rows, columns)."""
Margins = tuple[float, float, float, float]
"""Left, top, right, bottom."""


@dataclass(frozen=True)
class Extent:
    """The part of the chart that carries stitches, in stitches from the top left hole."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def columns(self) -> float:
        """Width in stitches."""
        return self.right - self.left

    @property
    def rows(self) -> float:
        """Height in stitches."""
        return self.bottom - self.top


def stitched_extent(design: Design) -> Extent:
    """Return where the stitches of a design are.

    Empty rows and columns at the rim of a chart do not count, so that margins are even about what is
    seen. A chart without any stitch counts whole.

    Parameters
    ----------
    design : Chart or (rows, columns)

    Returns
    -------
    extent : Extent
        Whole stitches: a backstitch that ends between holes is rounded outwards.
    """
    if not isinstance(design, Chart):
        rows, columns = design
        if rows < 1 or columns < 1:
            raise UsageError(f"A design of {columns} x {rows} stitches has no size.")
        return Extent(0, 0, columns, rows)
    at_row, at_column = np.nonzero(design.cells)
    row_ends = [at_row, at_row + 1, np.floor(design.lines[:, :, 0]).ravel(), np.ceil(design.lines[:, :, 0]).ravel()]
    column_ends = [
        at_column,
        at_column + 1,
        np.floor(design.lines[:, :, 1]).ravel(),
        np.ceil(design.lines[:, :, 1]).ravel(),
    ]
    down, across = np.concatenate(row_ends), np.concatenate(column_ends)
    if down.size == 0:
        return Extent(0, 0, design.columns, design.rows)
    return Extent(float(across.min()), float(down.min()), float(across.max()), float(down.max()))


def thread_mm(fabric: Fabric) -> float:
    """Return the width of one fabric thread, or of one square of Aida, in mm."""
    return MM_PER_INCH / fabric.count_per_inch


def whole_threads(length_mm: float, fabric: Fabric, *, up: bool = False) -> int:
    """Return how many whole fabric threads a length holds, or needs with ``up``.

    Examples
    --------
    >>> whole_threads(1.25 * 25.4, Fabric(14)), whole_threads(1.25 * 25.4, Fabric(14), up=True)
    (17, 18)
    """
    exact = length_mm / thread_mm(fabric)
    return math.ceil(exact - _EPSILON) if up else math.floor(exact + _EPSILON)


def cut_cloth(
    design: Design,
    piece: str | None = None,
    *,
    fabric: Fabric | None = None,
    margin_mm: float | Margins | None = None,
    figures: Figures | None = None,
) -> FabricCut:
    """Return the size of the design on its cloth and of the cloth to cut.

    Parameters
    ----------
    design : Chart or (rows, columns)
    piece : str, optional
        Kind of piece: the cloth is that of its making-up plan, see `converter.estimate.making.plan_making`. Without
        one, and without a margin, 3 in a side as for framing.
    fabric : Fabric, optional
        The chart's own cloth if not given; 14 count for a bare size.
    margin_mm : float or (left, top, right, bottom), optional
        Margins of her own, in place of the piece's.
    figures : Figures, optional
        Figures of the trade, in place of those that ship with the package.

    Returns
    -------
    cut : FabricCut
        ``threads`` is given where the margins come out in whole fabric threads, so that the cloth can be
        counted off instead of measured.

    Raises
    ------
    UsageError
        If a margin is negative or not a number, or the piece is unknown.

    Notes
    -----
    Nothing is rounded: 140 stitches over two threads of 32 count are 8.75 in, 105 are 6.5625 in.

    References
    ----------
    The Cross Stitch Guild, Cross Stitch FAQs (stitches divided by count; margin in all against a side);
    The Strawberry Sampler, FAQ (over two threads halves the count).

    Examples
    --------
    140 x 112 stitches on 14 count with 3 in a side need 16 x 14 in:

    >>> cut = cut_cloth((112, 140), fabric=Fabric(14), margin_mm=3 * 25.4)
    >>> [round(side / 25.4, 4) for side in cut.cut_mm]
    [16.0, 14.0]
    """
    if fabric is None:
        fabric = design.fabric if isinstance(design, Chart) else Fabric()
    if piece is not None and margin_mm is None:
        # Imported here: the plans are built on this module.
        from converter.estimate.making import plan_making

        planned = plan_making(design, piece, fabric=fabric, figures=figures).cut
        assert planned is not None
        return planned
    extent = stitched_extent(design)
    if margin_mm is None:
        side = (figures or load_figures()).mm("margins", "plain")
        margins: Margins = (side, side, side, side)
    elif isinstance(margin_mm, tuple):
        margins = margin_mm
    else:
        margins = (margin_mm, margin_mm, margin_mm, margin_mm)
    for side in margins:
        if not 0 <= side <= MOST_MARGIN_MM:
            raise UsageError(f"A margin of {side:g} mm is not possible.", f"Give 0 to {MOST_MARGIN_MM:g} mm.")
    width, height = fabric.width_mm(extent.columns), fabric.width_mm(extent.rows)
    left, top, right, bottom = margins
    cut = (width + left + right, height + top + bottom)
    counts = [side / thread_mm(fabric) for side in margins]
    threads = None
    if all(abs(count - round(count)) < _EPSILON for count in counts):
        whole = [round(count) for count in counts]
        threads = (
            round(extent.columns * fabric.over) + whole[0] + whole[2],
            round(extent.rows * fabric.over) + whole[1] + whole[3],
        )
    return FabricCut((width, height), cut, min(margins), margins, threads)
