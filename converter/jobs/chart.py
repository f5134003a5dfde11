"""The main job: a picture becomes a chart, its drawings, counts and plans."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from converter.files.picture import Picture
from converter.jobs.materials import Materials
from converter.model.arrays import PictureArray
from converter.model.chart import Chart
from converter.model.phrase import Phrase
from converter.pipeline import Reduction, chart_and_reduction
from converter.raster.reduction import READS_WELL
from converter.settings import ChartSettings


@dataclass(frozen=True, eq=False)
class MadeChart:
    """A chart and how it came about.

    Parameters
    ----------
    chart : Chart
    reduction : Reduction
    image : ndarray
        The picture as it was read.
    """

    chart: Chart
    reduction: Reduction
    image: PictureArray


def make_chart(
    picture: Picture,
    settings: ChartSettings,
    materials: Materials | None = None,
    *,
    title: str = "",
    source: str = "",
) -> MadeChart:
    """Make the chart of a picture.

    Parameters
    ----------
    picture : Picture
    settings : ChartSettings
    materials : Materials, optional
    title, source : str
        Kept in the chart file.

    Returns
    -------
    made : MadeChart
    """
    chart, reduction = chart_and_reduction(picture.pixels, settings)
    fabric, thread = (materials or Materials()).fresh()
    chart = chart.with_(
        title=title,
        source=source,
        fabric=fabric,
        thread=thread,
        settings=settings_record(settings, reduction),
        notes=(*picture.notes, *chart.notes, *_reading_notes(reduction)),
    )
    return MadeChart(chart, reduction, picture.pixels)


def _reading_notes(reduction: Reduction) -> tuple[str, ...]:
    """Return a warning where the chart is too small to be read well."""
    if reduction.readability >= READS_WELL:
        return ()
    return (
        Phrase(
            "At this size the picture does not read well ({readability} of 100): 'onecolour sizes' shows it at several "
            "widths.",
            readability=f"{reduction.readability:.0f}",
        ),
    )


def settings_record(settings: ChartSettings, reduction: Reduction) -> dict[str, Any]:
    """Return how a chart was made, for the chart file."""
    record: dict[str, Any] = {}
    for stage in (settings.picture, settings.reduction, settings.lines):
        for name in stage.__dataclass_fields__:
            value = getattr(stage, name)
            if isinstance(value, np.ndarray):
                value = True
            record[name] = list(value) if isinstance(value, tuple) else value
    record["found_kind"] = reduction.kind
    record["readability"] = round(float(reduction.readability), 1)
    return record
