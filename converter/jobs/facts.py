"""All figures of a chart, gathered once for report, leaflet and page."""

from __future__ import annotations

from collections.abc import Iterable

from converter.estimate.duration import work_time
from converter.estimate.fabric import cut_cloth
from converter.estimate.needles import needle_words
from converter.estimate.skeins import skeins_together
from converter.estimate.stitches import count_stitches
from converter.estimate.thread import plan_chart, slow_notes, thread_use
from converter.model.chart import Chart
from converter.report.facts import Facts
from converter.settings import ThreadSettings, TimeSettings


def gather_facts(
    chart: Chart,
    *,
    thread: ThreadSettings | None = None,
    time: TimeSettings | None = None,
    piece: str | None = None,
    notes: Iterable[str] = (),
) -> Facts:
    """Count a chart and estimate thread, cloth and hours.

    Parameters
    ----------
    chart : Chart
    thread : ThreadSettings, optional
    time : TimeSettings, optional
    piece : str, optional
        Kind of piece, for the margins.
    notes : iterable of str
        What else she should know; the chart's own notes come first.

    Returns
    -------
    facts : Facts
    """
    thread = thread or ThreadSettings()
    time = time or TimeSettings()
    count = count_stitches(chart)
    plans = plan_chart(chart, thread)
    crosses, lines = thread_use(chart, thread, plans)
    share, skeins = crosses.skein_share + lines.skein_share, skeins_together(crosses, lines)
    readability = chart.settings.get("readability")
    return Facts(
        chart=chart,
        count=count,
        thread=crosses,
        line_thread=lines,
        skeins=skeins,
        skeins_left_m=(skeins - share) * thread.skein_m,
        cut=cut_cloth(chart, piece),
        time=work_time(count.stitches, count.backstitches, crosses.starts + lines.starts, time),
        needle=needle_words(chart.fabric, bool(chart.cells.any()), count.backstitches > 0),
        readability=float(readability) if isinstance(readability, (int, float)) else None,
        piece=piece,
        notes=tuple(n for n in (*chart.notes, *notes, *slow_notes(chart, thread, time, plans)) if n),
        plans=plans,
    )
