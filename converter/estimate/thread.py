"""Thread for a chart, measured on its working order.

The route gives the path in the plane of the cloth. Cloth and thread have thickness, so real stitches take some 10 to
20 % more: one published measurement, 36 crosses on 14 count from an 18 in length with 3 in over (Tiny Modernist, How
much thread do I need), is 1.11 to 1.21 times the plane path. The allowance is added to every stitch and move, not to
the tails, before the route is cut into lengths.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import cv2
import numpy as np

from converter.errors import UsageError
from converter.estimate.duration import work_time
from converter.estimate.line_route import plan_line_thread
from converter.estimate.route import ThreadPlan, plan_thread
from converter.estimate.route_geometry import EPSILON, ROOT2
from converter.estimate.skeins import whole_skeins
from converter.model.chart import Chart
from converter.model.phrase import Phrase
from converter.model.results import ThreadUse
from converter.settings import ThreadSettings, TimeSettings

_SMALL_GROUP = 2
"""Groups of so few crosses are what tidying would take away."""
_SLOW = 1.25
"""A chart is called slow when its loose stitches and extra starts stretch the work by this factor."""


@dataclass(frozen=True, eq=False)
class ChartPlans:
    """The working orders of a chart and what turns their sides into millimetres."""

    crosses: ThreadPlan
    lines: ThreadPlan
    cell_mm: float
    allowance: float
    tail_mm: float
    working_length_mm: float


def sample_allowance(crosses: int, length_mm: float, cell_mm: float, tail_mm: float) -> float:
    """Return the allowance that a stitched sample shows.

    Parameters
    ----------
    crosses : int
        Crosses made, each beside the last, from one length.
    length_mm : float
        The thread they took, its two tails included.
    cell_mm : float
        Side of a stitch.
    tail_mm : float
        Tail left at each end.

    Returns
    -------
    float
        Share by which the thread exceeds the plane path, 0 if it is shorter by a hair.

    Raises
    ------
    UsageError
        If the sample cannot be right.

    Examples
    --------
    >>> round(sample_allowance(42, 445.0, 25.4 / 14, 40.0), 2)
    0.0
    >>> round(sample_allowance(36, 450.0, 25.4 / 14, 40.0), 2)
    0.18
    """
    path_mm = ((2 * ROOT2 + 2) * crosses - 1) * cell_mm
    allowance = (length_mm - 2 * tail_mm) / path_mm - 1
    if not -0.1 <= allowance <= 1:
        raise UsageError(
            f"{crosses} crosses from {length_mm:g} mm with tails of {tail_mm:g} mm do not fit this cloth: the path of "
            f"the thread alone is {path_mm:.0f} mm.",
            "Measure the thread of the sample from end to end, and give the cloth it was worked on.",
        )
    return max(allowance, 0.0)


def plan_chart(chart: Chart, settings: ThreadSettings | None = None) -> ChartPlans:
    """Plan the working order of all crosses and lines of a chart on its cloth.

    Raises
    ------
    UsageError, RequestError
        If the settings leave no thread for a stitch.
    """
    chosen = settings or ThreadSettings()
    cell = chart.fabric.cell_mm
    allowance = chosen.allowance
    if chosen.sample_crosses is not None and chosen.sample_length_mm is not None:
        allowance = sample_allowance(chosen.sample_crosses, chosen.sample_length_mm, cell, chosen.tail_mm)
    tail = chosen.tail_mm / cell
    length = (chosen.working_length_mm - 2 * chosen.tail_mm) / (cell * (1 + allowance)) + 2 * tail
    crosses = plan_thread(chart.cells, length, tail, chosen.carry_cells, chosen.hidden, chosen.order, chosen.effort)
    lines = plan_line_thread(chart.lines, chosen.line_method, length, tail, chosen.carry_cells, chosen.effort)
    return ChartPlans(crosses, lines, cell, allowance, chosen.tail_mm, chosen.working_length_mm)


def thread_use(
    chart: Chart, settings: ThreadSettings | None = None, plans: ChartPlans | None = None
) -> tuple[ThreadUse, ThreadUse]:
    """Return the thread that the crosses and the lines of a chart take.

    Parameters
    ----------
    chart : Chart
    settings : ThreadSettings, optional
    plans : ChartPlans, optional
        The plans of `plan_chart` for the same chart and settings, if they are at hand.

    Returns
    -------
    crosses, lines : ThreadUse
        Metres of working thread. ``front_m`` and ``back_m`` are the path in the plane; ``length_m`` is that path with
        the allowance, and the tails. Skeins are counted in whole needlefuls: what is left of one that the next start
        does not fit on is waste.
    """
    chosen = settings or ThreadSettings()
    made = plans or plan_chart(chart, chosen)
    return (
        _use(made.crosses, made, chosen, chart.thread.strands),
        _use(made.lines, made, chosen, chart.thread.line_strands),
    )


def length_mm(route: np.ndarray, plans: ChartPlans) -> float:
    """Return the thread of one cut length with its allowance and both tails."""
    steps = np.diff(np.asarray(route, dtype=np.float64), axis=0)
    path = float(np.hypot(steps[:, 0], steps[:, 1]).sum())
    return path * plans.cell_mm * (1 + plans.allowance) + 2 * plans.tail_mm


def needlefuls(plan: ThreadPlan, plans: ChartPlans) -> int:
    """Return how many working lengths of thread are cut, short lengths in turn from one as long as it lasts."""
    count, left = 0, 0.0
    for route in plan.lengths:
        needed = length_mm(route, plans)
        if needed > left + EPSILON:
            count, left = count + 1, plans.working_length_mm
        left -= needed
    return count


def _use(plan: ThreadPlan, plans: ChartPlans, settings: ThreadSettings, strands: int) -> ThreadUse:
    metre = plans.cell_mm / 1000
    front, back, tails = plan.front * metre, plan.back * metre, plan.tails * metre
    per_skein = int(settings.skein_m * 1000 / plans.working_length_mm + EPSILON) * settings.skein_strands
    count = needlefuls(plan, plans)
    share = count * strands / per_skein
    skeins = whole_skeins(share)
    used = count * strands * plans.working_length_mm / 1000 / settings.skein_strands
    return ThreadUse(
        length_m=(front + back) * (1 + plans.allowance) + tails,
        front_m=front,
        back_m=back,
        tails_m=tails,
        starts=plan.starts,
        carries=plan.carries,
        skeins=skeins,
        method=plan.method,
        allowance=plans.allowance,
        skein_share=share,
        left_over_m=skeins * settings.skein_m - used,
    )


def slow_notes(
    chart: Chart,
    settings: ThreadSettings | None = None,
    time: TimeSettings | None = None,
    plans: ChartPlans | None = None,
) -> tuple[str, ...]:
    """Return warnings when loose stitches and extra starts make a chart slow, with what tidying would save.

    Returns
    -------
    tuple of str
        Empty if the chart is worked at its natural pace.
    """
    chosen = settings or ThreadSettings()
    made = plans or plan_chart(chart, chosen)
    total = int(chart.cells.sum())
    _, label = cv2.connectedComponents(chart.cells.astype(np.uint8), connectivity=8)
    size = np.bincount(label.ravel())
    loose = (size[label] <= _SMALL_GROUP) & chart.cells
    count = int(loose.sum())
    if not count:
        return ()
    if count == total:
        return (_all_loose(made.crosses),)
    solid = _solid_total(made, total)
    if made.crosses.total < _SLOW * solid and count < 0.05 * total:
        return ()
    tidy = plan_chart(chart.with_(cells=chart.cells & ~loose), chosen).crosses
    hours = [
        work_time(stitches, 0, plan.starts, time).likely
        for stitches, plan in ((total, made.crosses), (total - count, tidy))
    ]
    saved_m = (made.crosses.total - tidy.total) * made.cell_mm / 1000
    if made.crosses.starts <= tidy.starts or hours[0] - hours[1] < 0.05:
        return ()
    return (
        Phrase(
            "{count} of {total} crosses stand alone or in pairs. Without them there are {starts} fewer starts, about "
            "{hours} hours and {length} m of thread less.",
            count=count,
            total=total,
            starts=made.crosses.starts - tidy.starts,
            hours=f"{hours[0] - hours[1]:.1f}",
            length=f"{saved_m:.1f}",
        ),
    )


def _solid_total(plans: ChartPlans, crosses: int) -> float:
    """Return the thread, in stitch sides, that as many crosses in one solid piece would take, tails included."""
    capacity = (plans.working_length_mm - 2 * plans.tail_mm) / (plans.cell_mm * (1 + plans.allowance))
    legs = max(1, int((capacity + 1) / (1 + ROOT2)))
    starts = ceil(2 * crosses / legs)
    return plans.crosses.front + 2 * crosses + starts * plans.crosses.tails / max(1, plans.crosses.starts)


def _all_loose(plan: ThreadPlan) -> Phrase:
    return Phrase(
        "All crosses stand alone or in pairs: the work takes {starts} starts and {carries} carries, and goes slowly.",
        starts=plan.starts,
        carries=plan.carries,
    )
