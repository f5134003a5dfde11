"""All figures of a chart in one record: what the text, the JSON, the leaflet and the page read."""

from __future__ import annotations

from dataclasses import dataclass

from converter.estimate.thread import ChartPlans
from converter.model.chart import Chart
from converter.model.results import FabricCut, StitchCount, ThreadUse, WorkTime


@dataclass(frozen=True, eq=False)
class Facts:
    """What is known of a chart.

    Parameters
    ----------
    chart : Chart
    count : StitchCount
    thread, line_thread : ThreadUse
        For the crosses and for the backstitches.
    skeins : int
        Skeins to buy for both together.
    skeins_left_m : float
        Six-strand thread left of them.
    cut : FabricCut
    time : WorkTime
    needle : str
        Needle in words.
    readability : float or None
        0 to 100; None where no picture is known.
    piece : str or None
    notes : tuple of str
    plans : ChartPlans, optional
        The working orders that thread and hours were measured on.
    """

    chart: Chart
    count: StitchCount
    thread: ThreadUse
    line_thread: ThreadUse
    skeins: int
    skeins_left_m: float
    cut: FabricCut
    time: WorkTime
    needle: str = ""
    readability: float | None = None
    piece: str | None = None
    notes: tuple[str, ...] = ()
    plans: ChartPlans | None = None
