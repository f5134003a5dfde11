"""The main job: a picture becomes a chart, its drawings, counts and plans."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from converter.errors import PictureError
from converter.files.chart_file import looks_like_chart
from converter.files.output import check_targets, make_folders, write_whole
from converter.files.picture import Picture, read_picture
from converter.jobs.materials import Materials
from converter.model.arrays import MaskArray, PictureArray
from converter.model.chart import Chart
from converter.model.phrase import Phrase
from converter.pipeline import Reduction, chart_from_reduction, reduce_picture
from converter.raster.reduction import READS_WELL
from converter.settings import ChartSettings

CHART_SUFFIXES: Final = (".chart.json", ".png", "-stitched.png", ".pdf", ".txt", ".report.json")
"""What `onecolour chart` writes, after the name."""


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


def open_picture(path: Path, columns: int | None) -> Picture:
    """Read a picture, and say so plainly when it is a chart file instead."""
    refuse_chart(path)
    return read_picture(path, columns)


def refuse_chart(path: Path) -> None:
    """Raise PictureError if a file is a chart, not a picture."""
    try:
        with path.open("rb") as stream:
            head = stream.read(64) if path.is_file() else b""
    except OSError:
        head = b""
    if looks_like_chart(head):
        raise PictureError(
            f"'{path}' is a chart, not a picture.", "Use 'onecolour count' or 'onecolour leaflet' for charts."
        )


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
    reduction = reduce_picture(picture.pixels, settings)
    chart = chart_from_reduction(picture.pixels, reduction, settings)
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


def read_mask(path: Path) -> MaskArray:
    """Read a mask picture: its dark areas are marked."""
    pixels = read_picture(path).pixels
    gray = pixels if pixels.ndim == 2 else pixels.min(axis=2)
    return np.asarray(gray < 128)


def planned_files(folder: Path, name: str, suffixes: tuple[str, ...] = CHART_SUFFIXES) -> list[Path]:
    """Return the files that a job will write."""
    return [folder / f"{name}{suffix}" for suffix in suffixes]


def write_outputs(outputs: Mapping[str, bytes], folder: Path, name: str, overwrite: bool) -> list[Path]:
    """Write results, each whole or not at all.

    Parameters
    ----------
    outputs : mapping of suffix to bytes
    """
    targets = planned_files(folder, name, tuple(outputs))
    check_targets(targets, overwrite)
    make_folders(targets)
    return [write_whole(folder / f"{name}{suffix}", data, overwrite) for suffix, data in outputs.items()]
