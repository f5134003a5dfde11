"""Cloth and thread: what she said, filled up with what is usual."""

from __future__ import annotations

from dataclasses import dataclass, replace

from converter.estimate.needles import needlework
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread


@dataclass(frozen=True)
class Materials:
    """What she said of her cloth and thread; None = not said.

    Parameters
    ----------
    fabric : tuple of (count_per_inch, over), optional
    ground : str, optional
        Cloth colour, ``#rrggbb``.
    thread_colour, thread_name : str, optional
    strands : int, optional
        Strands for crosses; unsaid, what suits the count.
    """

    fabric: tuple[float, int] | None = None
    ground: str | None = None
    thread_colour: str | None = None
    thread_name: str | None = None
    strands: int | None = None

    def apply(self, chart: Chart) -> Chart:
        """Return the chart on this cloth in this thread; what was not said stays as the chart has it."""
        fabric = chart.fabric
        if self.fabric is not None:
            fabric = replace(fabric, count_per_inch=self.fabric[0], over=self.fabric[1])
        if self.ground is not None:
            fabric = replace(fabric, colour=self.ground)
        thread = chart.thread
        if self.thread_colour is not None:
            thread = replace(thread, colour=self.thread_colour)
        if self.thread_name is not None:
            thread = replace(thread, name=self.thread_name)
        if self.strands is not None:
            thread = replace(thread, strands=self.strands)
        elif self.fabric is not None:
            thread = replace(thread, strands=usual_strands(fabric), line_strands=needlework(fabric).line_strands)
        if fabric == chart.fabric and thread == chart.thread:
            return chart
        return chart.with_(fabric=fabric, thread=thread)

    def fresh(self) -> tuple[Fabric, Thread]:
        """Return cloth and thread of a new chart."""
        import numpy as np

        blank = Chart(cells=np.zeros((1, 1), dtype=np.bool_))
        chart = self.apply(blank)
        return chart.fabric, chart.thread


def usual_strands(fabric: Fabric) -> int:
    """Return the strands for crosses that suit a cloth.

    Examples
    --------
    >>> usual_strands(Fabric(11)), usual_strands(Fabric(14)), usual_strands(Fabric(36, over=1))
    (3, 2, 1)
    """
    return needlework(fabric).usual_strands
