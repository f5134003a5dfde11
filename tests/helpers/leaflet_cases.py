"""Charts and figures for the leaflet's tests: drawn here by rule, none of them a fixture."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from converter.estimate.fabric import cut_cloth
from converter.estimate.making import plan_making
from converter.estimate.stitches import count_stitches
from converter.model.chart import Chart
from converter.model.leaflet import LeafletContent
from converter.model.materials import Fabric, Thread
from converter.model.results import ThreadUse, WorkTime


def _waves(rows: int, columns: int, wide: float, share: float = 0.3) -> npt.NDArray[np.bool_]:
    y, x = np.mgrid[:rows, :columns]
    field = np.sin(x / wide) + np.sin(y / (1.3 * wide)) + np.sin((x + 2 * y) / (2.1 * wide))
    return field > share


def _framed(side: int) -> npt.NDArray[np.bool_]:
    y, x = np.mgrid[:side, :side]
    edge = np.minimum.reduce([x, y, side - 1 - x, side - 1 - y])
    border = (edge < 3) & ((x // 3 + y // 3) % 2 == 0) | (edge == 6)
    return border | ((edge > 12) & _waves(side, side, 5.0))


def _steps() -> list[list[list[float]]]:
    lines = []
    for row in range(4, 52, 8):
        for column in range(4, 52, 8):
            lines += [
                [[row, column], [row + 4, column]],
                [[row + 4, column], [row + 4, column + 4]],
                [[row, column], [row + 4, column + 4]],
            ]
    return lines


CASES: dict[str, tuple[Chart, str | None]] = {
    "bookmark": (
        Chart(_waves(100, 30, 3.5), [[[0, 0], [3, 3]], [[50, 10], [50, 20]]], title="Bookmark with reeds"),
        "bookmark",
    ),
    "sachet": (Chart(_framed(60), [[[20, 20], [24, 20]]], title="Lavender sachet"), "sachet"),
    "cushion": (
        Chart(_framed(100), title="Cushion panel", fabric=Fabric(28, 2, "#f2ead8"), thread=Thread("#1d3a6b")),
        "panel",
    ),
    "large": (
        Chart(
            _waves(280, 200, 14.0),
            [[[10 * i, 10], [10 * i + 3, 13]] for i in range(20)],
            title="The mill by the weir at the end of a long summer",
            thread=Thread("#e7c94a", "Corn"),
        ),
        "frame",
    ),
    "lines": (Chart(np.zeros((60, 60), dtype=bool), _steps(), title="Ruță și λουλούδι"), None),
    "mixed": (Chart(_waves(24, 30, 3.0), [[[2, 2], [8, 8]], [[8, 8], [8, 14]]], title="Cup"), "card"),
}


def content_of(chart: Chart, piece: str | None) -> LeafletContent:
    """Return plausible figures for a chart."""
    count = count_stitches(chart)

    def use(length_m: float, strands: int) -> ThreadUse:
        share = length_m * strands / 48
        return ThreadUse(length_m, 0.6 * length_m, 0.3 * length_m, 0.1 * length_m, int(length_m / 0.37) + 1, 0,
                         max(1, int(np.ceil(share))), "closed", 0.15, share)  # fmt: skip

    crosses, lines = use(count.stitches * 0.0125, chart.thread.strands), use(count.line_length_cells * 0.005, 1)
    hours = count.stitches / 100 + count.backstitches / 120
    making = None if piece is None else plan_making(chart, piece, stitch_thread=(crosses, lines))
    cut = making.cut if making is not None and making.cut is not None else cut_cloth(chart, piece)
    return LeafletContent(
        count=count,
        thread=crosses,
        line_thread=lines,
        skeins=max(1, int(np.ceil(crosses.skein_share + lines.skein_share))),
        cut=cut,
        time=WorkTime(0.8 * hours, hours, 1.5 * hours),
        needle="tapestry needle no. 24",
        thread_words="red",
        cloth_words="white",
        making=making,
        notes=chart.notes,
    )
