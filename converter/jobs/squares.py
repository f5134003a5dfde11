"""Squared paper: the chart of a reading."""

from __future__ import annotations

from converter.model.chart import Chart
from converter.squares import SquaresReading


def chart_of_reading(reading: SquaresReading, *, title: str = "", source: str = "") -> Chart:
    """Return the chart of a reading."""
    settings = {"read_as": "squares", "confidence": round(float(reading.confidence), 3)}
    return Chart(
        cells=reading.cells, lines=reading.lines, title=title, source=source, settings=settings, notes=reading.notes
    )
