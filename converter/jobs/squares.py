"""Squared paper: the photo, the reading, and what is written of it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np

from converter.draw import drawings
from converter.draw.marks import marks_drawing
from converter.draw.png import encode_png
from converter.errors import RequestError, UsageError
from converter.files.chart_file import chart_bytes
from converter.files.output import check_name, check_targets
from converter.jobs.batch import Outcome, default_name, refuse_own_picture, title_from
from converter.jobs.chart import open_picture, planned_files, refuse_chart, write_outputs
from converter.jobs.requests import materials_from
from converter.model.chart import Chart
from converter.squares import SURE, SquaresReading, draw_overlay, read_squares

SQUARES_SUFFIXES: Final = (".chart.json", ".png", "-overlay.png", "-marks.png")
"""What `onecolour squares` writes, after the name."""


def parse_marks(text: str) -> tuple[int, ...]:
    """Return the numbers in ``1,3``.

    Examples
    --------
    >>> parse_marks("1, 3")
    (1, 3)
    """
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError:
        raise UsageError(f"--only is '{text}'.", "Give the numbers of marks, such as 1,3.") from None


def read_paper(path: Path, options: Mapping[str, Any]) -> Outcome:
    """Read a photo of squared paper and write chart, overlay and the list of marks.

    Parameters
    ----------
    path : Path
    options : mapping
        The options of ``onecolour squares`` by parameter name.

    Raises
    ------
    RequestError
        If it is no squared paper.
    ConverterError
    """
    folder, overwrite = Path(options.get("out") or "."), bool(options.get("overwrite"))
    name = check_name(options["name"]) if options.get("name") else default_name(path, folder, SQUARES_SUFFIXES)
    only = parse_marks(options["only"]) if options.get("only") else None
    refuse_chart(path)
    targets = planned_files(folder, name, SQUARES_SUFFIXES)
    refuse_own_picture(path, targets)
    check_targets(targets, overwrite)
    pixels = open_picture(path, None).pixels
    corners = None
    if options.get("corners"):
        height, width = pixels.shape[:2]
        corners = np.array([[down * height / 100, across * width / 100] for across, down in options["corners"]])
    reading = read_squares(pixels, size=options.get("squares"), corners=corners, only=only)
    by_hand = corners is not None or options.get("squares") is not None
    if reading.confidence < SURE and not by_hand:
        raise RequestError(
            f"'{path.name}' does not look like a motif on squared paper (confidence {reading.confidence:.2f}).",
            "If it is, give --squares and --corners; to chart it as a picture use 'onecolour chart'.",
        )
    chart = chart_of_reading(reading, title=title_from(name, path), source=path.name)
    chart = materials_from(options).apply(chart)
    outputs = {
        ".chart.json": chart_bytes(chart),
        ".png": drawings.png_bytes(chart),
        "-overlay.png": encode_png(draw_overlay(pixels, reading), None),
        "-marks.png": marks_drawing(
            title_from(name), [(m.count, m.colour, m.sample) for m in reading.marks]
        ).png_bytes(),
    }
    files = write_outputs(outputs, folder, name, overwrite)
    return Outcome(path, tuple(files), reading_record(reading, chart), reading_text(reading, chart))


def chart_of_reading(reading: SquaresReading, *, title: str = "", source: str = "") -> Chart:
    """Return the chart of a reading."""
    settings = {"read_as": "squares", "confidence": round(float(reading.confidence), 3)}
    return Chart(
        cells=reading.cells, lines=reading.lines, title=title, source=source, settings=settings, notes=reading.notes
    )


def reading_record(reading: SquaresReading, chart: Chart) -> dict[str, Any]:
    """Return the machine record of a reading."""
    doubtful = np.argwhere(reading.doubtful)
    return {
        "title": chart.title,
        "columns": chart.columns,
        "rows": chart.rows,
        "stitches": int(reading.cells.sum()),
        "backstitches": len(chart.lines),
        "confidence": round(float(reading.confidence), 3),
        "doubtful": [[int(r) + 1, int(c) + 1] for r, c in doubtful],
        "marks": [{"number": m.number, "count": m.count, "colour": m.colour} for m in reading.marks],
        "notes": list(reading.notes),
    }


def reading_text(reading: SquaresReading, chart: Chart) -> str:
    """Return what was read, in words."""
    lines = [
        chart.title,
        "=" * len(chart.title),
        "",
        f"{chart.columns} wide x {chart.rows} high, "
        f"{int(reading.cells.sum())} stitches, {len(chart.lines)} backstitches",
        f"Confidence {reading.confidence:.2f} of 1",
        "",
        "Marks found:",
    ]
    lines += [f"  {m.number}. {m.count} squares, colour {m.colour}" for m in reading.marks] or ["  none"]
    doubtful = np.argwhere(reading.doubtful)
    if len(doubtful):
        shown = ", ".join(f"row {r + 1} column {c + 1}" for r, c in doubtful[:12])
        more = f" and {len(doubtful) - 12} more" if len(doubtful) > 12 else ""
        lines += ["", f"Look at these on the overlay: {shown}{more}."]
    lines += ["", *reading.notes] if reading.notes else []
    return "\n".join(lines) + "\n"
