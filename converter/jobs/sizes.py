"""Sizes: the largest within her limits, and one picture at several widths on one sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from converter.draw.sizes import SizeEntry, figures, sizes_drawing
from converter.errors import UsageError
from converter.estimate.budget import Budget, budget_words, largest_within, make_limits
from converter.estimate.making import largest_design
from converter.estimate.skeins import whole_skeins
from converter.estimate.stitches import count_stitches
from converter.files.output import check_targets, planned_files, write_outputs
from converter.files.picture import LEAST_WIDTH_PX, PIXELS_PER_STITCH
from converter.jobs.materials import Materials
from converter.model.arrays import PictureArray
from converter.model.chart import MAX_SIDE, Chart
from converter.model.materials import Fabric, Thread
from converter.model.results import WorkTime
from converter.pipeline import Reduction, chart_and_reduction, lines_for_reduction, reduce_picture
from converter.raster.reduction import READS_WELL
from converter.settings import ChartSettings, ThreadSettings, TimeSettings

if TYPE_CHECKING:
    from converter.jobs.batch import Outcome, Request

SIZES_SUFFIXES: Final = ("-sizes.png", "-sizes.pdf")
"""What `onecolour sizes` writes, after the name."""
SPREAD: Final = (30, 40, 50, 60, 80, 100)
"""Usual sizes of small pieces: root of width times height, so that tall and wide pictures compare."""
PICTURE_DPI: Final = 200.0
MOST_WIDTHS: Final = 24
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
    read : callable, optional
        Gives the picture as it is read for a number of stitches across: a reduced copy suits small charts only.
    """

    pixels: PictureArray
    settings: ChartSettings
    materials: Materials = field(default_factory=Materials)
    thread: ThreadSettings = field(default_factory=ThreadSettings)
    time: TimeSettings = field(default_factory=TimeSettings)
    read: Callable[[int], PictureArray] | None = None
    _pictures: dict[int, PictureArray] = field(default_factory=dict, repr=False)
    _reductions: dict[int, Reduction] = field(default_factory=dict, repr=False)
    _charts: dict[int, Chart] = field(default_factory=dict, repr=False)
    _work: dict[int, dict[str, float]] = field(default_factory=dict, repr=False)

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

    def picture_at(self, stitches: int) -> PictureArray:
        """Return the picture in the size in which the chart of this width is made from it."""
        if self.read is None:
            return self.pixels
        height, width = self.pixels.shape[:2]
        least = max(LEAST_WIDTH_PX, round(PIXELS_PER_STITCH * stitches * max(1.0, height / width)))
        if least not in self._pictures:
            self._pictures[least] = self.read(stitches)
        return self._pictures[least]

    def reduction_at(self, stitches: int) -> Reduction:
        """Return the reduction at a width."""
        if stitches not in self._reductions:
            self._reductions[stitches] = reduce_picture(self.picture_at(stitches), self.settings_at(stitches))
        return self._reductions[stitches]

    def chart_at(self, stitches: int) -> Chart:
        """Return the chart at a width, with its backstitches."""
        if stitches not in self._charts:
            picture, settings = self.picture_at(stitches), self.settings_at(stitches)
            if stitches in self._reductions:
                cells = self._reductions[stitches].cells
                lines = lines_for_reduction(picture, self._reductions[stitches], settings)
            else:
                chart, self._reductions[stitches] = chart_and_reduction(picture, settings)
                cells, lines = chart.cells, chart.lines
            fabric, thread = self.cloth
            self._charts[stitches] = Chart(cells=cells, lines=lines, fabric=fabric, thread=thread)
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
            figures |= self.work_at(stitches)
        return figures

    def work_at(self, stitches: int) -> dict[str, float]:
        """Return thread and hours of a width; see `work_figures`."""
        if stitches not in self._work:
            self._work[stitches] = work_figures(self.chart_at(stitches), self.thread, self.time)
        return self._work[stitches]

    def rough_at(self, stitches: int) -> dict[str, float]:
        """Return the figures of a width with hours and skeins only in proportion to the stitches."""
        work = self.figures_at(stitches, work=False)["stitches"] + 0.5 * len(self.chart_at(stitches).lines)
        return {**self.figures_at(stitches, work=False), "hours": work, "skein_share": work}


def work_figures(chart: Chart, thread: ThreadSettings, time: TimeSettings) -> dict[str, float]:
    """Return thread and hours of a chart: ``thread_m``, ``skein_share``, ``hours_low``, ``hours``, ``hours_high``."""
    from converter.estimate.duration import work_time
    from converter.estimate.thread import thread_use

    crosses, lines = thread_use(chart, thread)
    count = count_stitches(chart)
    hours = work_time(count.stitches, count.backstitches, crosses.starts + lines.starts, time)
    return {
        "thread_m": crosses.length_m + lines.length_m,
        "skein_share": crosses.skein_share + lines.skein_share,
        "hours_low": hours.low,
        "hours": hours.likely,
        "hours_high": hours.high,
    }


def fit_width(
    pixels: PictureArray,
    settings: ChartSettings,
    request: Request,
    read: Callable[[int], PictureArray] | None = None,
) -> tuple[ChartSettings, tuple[str, ...]]:
    """Return the settings with the largest size within the limits of a request, and what to say about it.

    A width of her own is the widest that is tried. A kind of piece alone makes the usual width smaller where
    it must, never larger.

    Parameters
    ----------
    pixels : ndarray
        The picture.
    settings : ChartSettings
    request : Request
    read : callable, optional
        Gives the picture as it is read for a number of stitches; see `SizeMeasure`.

    Raises
    ------
    RequestError
        If not even the narrowest chart is within the limits.
    """
    measure = SizeMeasure(pixels, settings, request.materials, request.thread, request.time, read)
    budget = largest_size(measure, request)
    if budget is None:
        return settings, ()
    return measure.settings_at(budget.columns), budget_words(budget, measure.axis)


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
    work = any(limit.agreement for limit in limits)
    budget = largest_within(
        lambda stitches: measure.figures_at(stitches, work=work),
        limits,
        widths,
        start=min(start, widths[-1]),
        rough_at=measure.rough_at if work else None,
    )
    if capped and budget.columns == own and not budget.held_by:
        return None
    if budget.next_columns is None:
        return budget
    return replace(budget, next_figures=measure.figures_at(budget.next_columns))


def spread_widths(aspect: float, most: int | None = None) -> tuple[int, ...]:
    """Return the usual widths for a picture, the largest allowed one last.

    Parameters
    ----------
    aspect : float
        Height of the design over its width.
    most : int, optional
        Largest width within her limits.

    Examples
    --------
    >>> spread_widths(1.0), spread_widths(4.0)
    ((30, 40, 50, 60, 80, 100), (15, 20, 25, 30, 40, 50))
    >>> spread_widths(1.0, most=55), spread_widths(1.0, most=24)
    ((30, 40, 50, 55), (12, 15, 19, 24))
    """
    widths = [max(LEAST_WIDTH, round(size / aspect**0.5)) for size in SPREAD]
    if most is not None:
        widths = [width for width in widths if width <= 0.95 * most] + [most]
        if len(widths) < 3:
            widths = [max(LEAST_WIDTH, round(most * share)) for share in (0.5, 0.63, 0.8, 1.0)]
    return tuple(sorted(set(widths)))


def size_entries(measure: SizeMeasure, widths: Sequence[int]) -> list[SizeEntry]:
    """Return the charts of a picture at several widths, the smallest good one marked."""
    entries = [_entry(measure, width) for width in widths]
    for i, entry in enumerate(entries):
        if entry.good:
            entries[i] = replace(entry, chosen=True)
            break
    return entries


def _entry(measure: SizeMeasure, width: int) -> SizeEntry:
    reduction, chart = measure.reduction_at(width), measure.chart_at(width)
    figures = measure.work_at(width)
    share = figures["skein_share"]
    return SizeEntry(
        chart=chart,
        count=count_stitches(chart),
        thread_m=figures["thread_m"],
        skein_share=share,
        skeins=whole_skeins(share),
        hours=WorkTime(figures["hours_low"], figures["hours"], figures["hours_high"]),
        readability=float(reduction.readability),
        losses=tuple(reduction.losses),
        good=reduction.readability >= READS_WELL,
    )


def sizes_picture(
    path: Path, request: Request, widths: Sequence[int], folder: Path, name: str, overwrite: bool
) -> Outcome:
    """Show one picture at several widths on one sheet, and write it.

    Parameters
    ----------
    path : Path
    request : Request
        Settings, limits and materials; its width is not used unless it is the largest.
    widths : sequence of int
        Widths of her own; empty for the usual spread within her limits.

    Raises
    ------
    ConverterError
    """
    from converter.jobs.batch import Outcome, title_from
    from converter.jobs.opening import open_picture, read_mask

    own = tuple(sorted(set(widths)))
    _check_widths(own)
    check_targets(planned_files(folder, name, SIZES_SUFFIXES), overwrite)
    picture = open_picture(path, max(own, default=max(SPREAD)))
    masks: dict[str, Any] = {
        key: read_mask(mask) for key, mask in (("keep", request.keep), ("clear", request.clear)) if mask is not None
    }
    settings = replace(request.settings, reduction=replace(request.settings.reduction, **masks))
    measure = SizeMeasure(
        picture.pixels,
        settings,
        request.materials,
        request.thread,
        request.time,
        read=lambda stitches: open_picture(path, stitches).pixels,
    )
    chosen = own or _usual_widths(measure, request)
    entries = size_entries(measure, chosen)
    if measure.axis == "rows":
        entries.sort(key=lambda entry: entry.chart.columns)
    pace, paper, title = request.time.pace, request.paper, title_from(name)
    outputs = {
        "-sizes.png": sizes_drawing(entries, title=title, pace=pace, paper=paper, tall=True).png_bytes(dpi=PICTURE_DPI),
        "-sizes.pdf": sizes_drawing(entries, title=title, pace=pace, paper=paper).pdf_bytes(),
    }
    files = write_outputs(outputs, folder, name, overwrite)
    return Outcome(path, tuple(files), sizes_record(entries, title), sizes_text(entries, title))


def _check_widths(widths: Sequence[int]) -> None:
    if len(widths) > MOST_WIDTHS:
        raise UsageError(f"{len(widths)} widths are too many for one sheet.", f"Give at most {MOST_WIDTHS}.")
    for width in widths:
        if not LEAST_WIDTH <= width <= WIDEST:
            raise UsageError(f"A width of {width} is outside {LEAST_WIDTH} to {WIDEST} stitches.")


def _usual_widths(measure: SizeMeasure, request: Request) -> tuple[int, ...]:
    """Return the usual spread, cut off at her own width or at the largest within her limits."""
    budget = largest_size(measure, request)
    own: int = getattr(measure.settings.reduction, measure.axis)
    most = budget.columns if budget is not None else own if request.wide_given else None
    shape = measure.reduction_at(most if most is not None else own).cells.shape
    aspect = shape[0] / shape[1] if measure.axis == "columns" else shape[1] / shape[0]
    return spread_widths(aspect, most)


def sizes_record(entries: Sequence[SizeEntry], name: str) -> dict[str, Any]:
    """Return the machine record of a sheet of sizes."""
    chosen = next((entry.chart.columns for entry in entries if entry.chosen), None)
    return {
        "title": name,
        "smallest_good": chosen,
        "sizes": [
            {
                "columns": entry.chart.columns,
                "rows": entry.chart.rows,
                "stitches": entry.count.stitches,
                "backstitches": entry.count.backstitches,
                "finished_mm": [round(side, 2) for side in entry.chart.finished_mm],
                "finished_in": [round(side / 25.4, 3) for side in entry.chart.finished_mm],
                "thread_m": round(entry.thread_m, 2),
                "skeins": entry.skeins,
                "skein_share": round(entry.skein_share, 3),
                "hours": {
                    "low": round(entry.hours.low, 2),
                    "likely": round(entry.hours.likely, 2),
                    "high": round(entry.hours.high, 2),
                },
                "readability": round(entry.readability, 1),
                "lost": list(entry.losses),
                "good": entry.good,
            }
            for entry in entries
        ],
    }


def sizes_text(entries: Sequence[SizeEntry], name: str) -> str:
    """Return the sheet of sizes as text."""
    lines = [f"{name}: sizes", ""]
    for entry in entries:
        mark = "  <- smallest good one" if entry.chosen else ""
        lines.append(f"{entry.chart.columns} wide, {entry.chart.rows} high{mark}")
        lines += [f"  {text}" for text in figures(entry)]
        lines += [f"  {text}" for text in entry.losses]
    if not any(entry.chosen for entry in entries):
        lines += ["", "None of these keeps the picture well readable: try a wider one, or a simpler picture."]
    return "\n".join(lines)
