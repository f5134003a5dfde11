"""Sizes: the largest within her limits, and one picture at several widths on one sheet."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from converter.estimate.budget import Budget, budget_words, largest_within, make_limits
from converter.estimate.making import largest_design
from converter.estimate.stitches import count_stitches
from converter.jobs.materials import Materials
from converter.model.arrays import PictureArray
from converter.model.chart import MAX_SIDE, Chart
from converter.model.materials import Fabric, Thread
from converter.pipeline import Reduction, lines_for_reduction, reduce_picture
from converter.settings import ChartSettings, ThreadSettings, TimeSettings

if TYPE_CHECKING:
    from converter.jobs.batch import Request

LEAST_WIDTH: Final = 4
WIDEST: Final = 1000
"""Widths that may be asked for, as `ReductionSettings` has them."""


@dataclass
class SizeMeasure:
    """The charts of one picture at any width, each made once.

    Parameters
    ----------
    pixels : ndarray
        The picture.
    settings : ChartSettings
        All but the width; a height asked for alone is varied instead of the width.
    materials : Materials
    thread, time : ThreadSettings, TimeSettings
    """

    pixels: PictureArray
    settings: ChartSettings
    materials: Materials = field(default_factory=Materials)
    thread: ThreadSettings = field(default_factory=ThreadSettings)
    time: TimeSettings = field(default_factory=TimeSettings)
    _reductions: dict[int, Reduction] = field(default_factory=dict, repr=False)
    _charts: dict[int, Chart] = field(default_factory=dict, repr=False)

    @property
    def axis(self) -> str:
        """The side that is varied: ``columns``, or ``rows`` where only a height was asked for."""
        return "columns" if self.settings.reduction.columns is not None else "rows"

    @property
    def cloth(self) -> tuple[Fabric, Thread]:
        """Cloth and thread of the chart."""
        return self.materials.fresh()

    def settings_at(self, stitches: int) -> ChartSettings:
        """Return the settings with another number of stitches on the side that is varied."""
        size: dict[str, Any] = {self.axis: int(stitches)}
        if self.axis == "columns":
            size["rows"] = None
        return replace(self.settings, reduction=replace(self.settings.reduction, **size))

    def reduction_at(self, stitches: int) -> Reduction:
        """Return the reduction at a width."""
        if stitches not in self._reductions:
            self._reductions[stitches] = reduce_picture(self.pixels, self.settings_at(stitches))
        return self._reductions[stitches]

    def chart_at(self, stitches: int) -> Chart:
        """Return the chart at a width, with its backstitches."""
        if stitches not in self._charts:
            reduction = self.reduction_at(stitches)
            fabric, thread = self.cloth
            lines = lines_for_reduction(self.pixels, reduction, self.settings_at(stitches))
            self._charts[stitches] = Chart(cells=reduction.cells, lines=lines, fabric=fabric, thread=thread)
        return self._charts[stitches]

    def figures_at(self, stitches: int, *, work: bool = True) -> dict[str, float]:
        """Return the figures of a width by name.

        ``work`` adds hours and thread, which need the backstitches and the working order.
        """
        cells = self.reduction_at(stitches).cells
        fabric, _ = self.cloth
        width, height = fabric.width_mm(cells.shape[1]), fabric.width_mm(cells.shape[0])
        figures = {
            "columns": float(cells.shape[1]),
            "rows": float(cells.shape[0]),
            "width_mm": width,
            "height_mm": height,
            "diagonal_mm": float(np.hypot(width, height)),
            "stitches": float(np.count_nonzero(cells)),
        }
        if work:
            figures |= work_figures(self.chart_at(stitches), self.thread, self.time)
        return figures


def work_figures(chart: Chart, thread: ThreadSettings, time: TimeSettings) -> dict[str, float]:
    """Return thread and hours of a chart: ``thread_m``, ``skein_share``, ``hours_low``, ``hours``, ``hours_high``."""
    from converter.estimate.duration import work_time
    from converter.estimate.thread import thread_use

    crosses, lines = thread_use(chart, thread)
    hours = work_time(count_stitches(chart), crosses, lines, time)
    return {
        "thread_m": crosses.length_m + lines.length_m,
        "skein_share": crosses.skein_share + lines.skein_share,
        "hours_low": hours.low,
        "hours": hours.likely,
        "hours_high": hours.high,
    }


def fit_width(pixels: PictureArray, settings: ChartSettings, request: Request) -> tuple[ChartSettings, tuple[str, ...]]:
    """Return the settings with the largest size within the limits of a request, and what to say about it.

    A width of her own is the widest that is tried. A kind of piece alone makes the usual width smaller where
    it must, never larger.

    Parameters
    ----------
    pixels : ndarray
        The picture.
    settings : ChartSettings
    request : Request

    Raises
    ------
    RequestError
        If not even the narrowest chart is within the limits.
    """
    budget = largest_size(SizeMeasure(pixels, settings, request.materials, request.thread, request.time), request)
    if budget is None:
        return settings, ()
    measure_settings = SizeMeasure(pixels, settings).settings_at(budget.columns)
    return measure_settings, budget_words(budget, SizeMeasure(pixels, settings).axis)


def largest_size(measure: SizeMeasure, request: Request) -> Budget | None:
    """Return the largest size within the limits of a request, or None where no limit bears on it.

    Parameters
    ----------
    measure : SizeMeasure
    request : Request
    """
    asked = request.limits
    own = getattr(measure.settings.reduction, measure.axis)
    only_piece = asked.piece is not None and not any((asked.fit_mm, asked.stitches, asked.hours, asked.skeins))
    capped = request.wide_given or only_piece
    fabric, _ = measure.cloth
    if not (only_piece or any((asked.fit_mm, asked.stitches, asked.hours, asked.skeins))):
        return None
    shape = measure.reduction_at(own).cells.shape
    piece = None if asked.piece is None else largest_design(asked.piece, fabric, upright=shape[0] >= shape[1])
    limits = make_limits(asked, piece)
    across = measure.axis == "columns"
    other = (shape[0] / shape[1]) if across else (shape[1] / shape[0])
    # The side that is varied is exactly proportional to its own length, so there one value decides.
    exact = "width_mm" if across else "height_mm"
    limits = tuple(replace(m, slack=0.0 if m.figure == exact else max(m.slack, 0.02)) for m in limits)
    widest = own if capped else min(WIDEST, int(MAX_SIDE / max(other, 1e-9)))
    longest = min((m.most for m in limits if m.figure == exact), default=None)
    start = own
    if longest is not None:
        start = max(LEAST_WIDTH, int(longest / fabric.cell_mm))
        widest = min(widest, start + 1)
    free = min((m.most for m in limits if m.figure == ("height_mm" if across else "width_mm")), default=None)
    if free is not None:
        start = min(start, max(LEAST_WIDTH, int(free / fabric.cell_mm / other)))
    widths = range(LEAST_WIDTH, max(widest, LEAST_WIDTH) + 1)
    work = any(limit.figure in ("hours", "skein_share") for limit in limits)
    budget = largest_within(
        lambda stitches: measure.figures_at(stitches, work=work), limits, widths, start=min(start, widths[-1])
    )
    if capped and budget.columns == own and not budget.held_by:
        return None
    return _with_work(measure, budget)


def _with_work(measure: SizeMeasure, budget: Budget) -> Budget:
    """Return the budget with hours and thread of the chosen size and of the next."""
    return replace(
        budget,
        figures=measure.figures_at(budget.columns),
        next_figures=None if budget.next_columns is None else measure.figures_at(budget.next_columns),
    )
