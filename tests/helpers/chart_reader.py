"""Reads a printed chart back from its rendered pages, by looking at the pixels alone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pypdfium2

from converter.draw.chart_sheets import grid_origin_mm
from converter.draw.pages import ChartPages, SheetLayout, Tile
from converter.draw.scene import ChartStyle
from converter.model.chart import Chart

DPI = 200.0


def render_pages(pdf: bytes, dpi: float = DPI) -> list[npt.NDArray[np.uint8]]:
    """Return every page as gray pixels (H, W)."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        pages = [page.render(scale=dpi / 72, grayscale=True).to_numpy() for page in document]
        return [np.array(pixels).reshape(pixels.shape[:2]) for pixels in pages]
    finally:
        document.close()


class TileReader:
    """Finds marks and backstitches of one tile in a rendered page."""

    def __init__(
        self,
        page: npt.NDArray[np.uint8],
        chart: Chart,
        pages: ChartPages,
        tile: Tile,
        layout: SheetLayout,
        dpi: float = DPI,
    ) -> None:
        self.gray, self.tile = page, tile
        self.left, self.top = (v * dpi / 25.4 for v in grid_origin_mm(chart, pages, layout))
        self.cell = pages.cell_mm * dpi / 25.4

    def _tone(self, rows: npt.ArrayLike, columns: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return the gray value at places given in squares of the chart, between pixels bilinearly."""
        y = self.top + (np.asarray(rows, dtype=np.float64) - self.tile.first_row) * self.cell - 0.5
        x = self.left + (np.asarray(columns, dtype=np.float64) - self.tile.first_column) * self.cell - 0.5
        up, left = y.astype(int), x.astype(int)
        down, right = y - up, x - left
        above = self.gray[up, left] * (1 - right) + self.gray[up, left + 1] * right
        below = self.gray[up + 1, left] * (1 - right) + self.gray[up + 1, left + 1] * right
        result: npt.NDArray[np.float64] = above * (1 - down) + below * down
        return result

    def cells(self) -> npt.NDArray[np.bool_]:
        """Return which squares of the tile carry a mark, by tone alone, as in a photocopy.

        A mark is dark at four places round its middle; a backstitch across the square hides two of them at
        most and is dark itself.
        """
        tile = self.tile
        rows = np.arange(tile.first_row, tile.last_row)[:, None]
        columns = np.arange(tile.first_column, tile.last_column)[None, :]
        tones = [self._tone(rows + a, columns + b) for a in (0.28, 0.72) for b in (0.28, 0.72)]
        return np.asarray(np.max(tones, axis=0) < 190)

    def has_line(self, start: tuple[float, float], stop: tuple[float, float], style: ChartStyle) -> bool:
        """Return whether a backstitch runs between two holes, by its tone and width alone, as in a photocopy.

        A backstitch is dark across its width and has bare paper on both sides; a rule is too thin, a mark
        has no paper beside its middle.
        """
        ends = np.array([start, stop])
        along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
        aside = np.array([along[1], -along[0]])
        edge = style.line / 2 + style.casing / 2
        shares = np.array([0.3, 0.36, 0.64, 0.7])
        middle = ends[0] + (ends[1] - ends[0]) * shares[:, None]
        dark = [self._tone(*(middle + aside * off).T) for off in (-0.09, 0.0, 0.09)]
        light = [self._tone(*(middle + aside * off).T) for off in (-edge, edge)]
        hits = (np.max(dark, axis=0) < 110) & (np.min(light, axis=0) > 165)
        return int(hits.sum()) >= 2
