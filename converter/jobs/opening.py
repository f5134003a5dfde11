"""Opening her pictures: charts are told apart, masks are read as marks."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from converter.errors import PictureError
from converter.files.chart_file import looks_like_chart
from converter.files.picture import Picture, read_picture
from converter.model.arrays import MaskArray


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


def read_mask(path: Path) -> MaskArray:
    """Read a mask picture: its dark areas are marked."""
    pixels = read_picture(path).pixels
    gray = pixels if pixels.ndim == 2 else pixels.min(axis=2)
    return np.asarray(gray < 128)
