"""Charts are printed, rendered by another library and read back: every square and every backstitch must be right."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.chart_reader import TileReader, render_pages

from converter.draw import pdf_bytes
from converter.draw.pages import SheetLayout, plan_pages
from converter.draw.scene import ChartStyle
from converter.model.chart import Chart
from converter.model.materials import Thread

STEPS = ((0, 1), (1, 0), (1, 1), (1, -1))


def _random_chart(seed: int, rows: int, columns: int, share: float) -> Chart:
    rng = np.random.default_rng(seed)
    cells = rng.random((rows, columns)) < share
    lines = []
    for _ in range(int(rng.integers(0, 12))):
        down, across = STEPS[int(rng.integers(4))]
        row = int(rng.integers(0, rows - down + 1))
        column = int(rng.integers(1 if across < 0 else 0, columns - max(across, 0) + 1))
        line = [[row, column], [row + down, column + across]]
        if line not in lines:
            lines.append(line)
    colour = ("#b01e28", "#1d3a6b", "#2e6b3a", "#7a1f5c", "#b01e28")[seed % 5]
    return Chart(cells, lines, title=f"Chart {seed}", thread=Thread(colour))


def _sizes(seed: int) -> tuple[int, int]:
    rng = np.random.default_rng(900 + seed)
    if seed % 8 == 7:
        return int(rng.integers(60, 110)), int(rng.integers(70, 110))
    return int(rng.integers(1, 62)), int(rng.integers(1, 62))


def _check(chart: Chart, layout: SheetLayout, *, paper: str = "A4", large: bool = False) -> int:
    style = ChartStyle.large() if large else ChartStyle()
    plan = plan_pages(chart.columns, chart.rows, layout)
    images = render_pages(pdf_bytes(chart, paper=paper, large=large))
    assert len(images) == len(plan.tiles)
    drawn = {tuple(map(tuple, sorted(line.tolist()))) for line in chart.lines}
    wrong = 0
    for tile, image in zip(plan.tiles, images, strict=True):
        reader = TileReader(image, chart, plan, tile, layout)
        part = chart.cells[tile.first_row : tile.last_row, tile.first_column : tile.last_column]
        wrong += int((reader.cells() != part).sum())
        rng = np.random.default_rng(5)
        candidates = [line for line in drawn if _inside(line, tile)]
        for _ in range(60):
            down, across = STEPS[int(rng.integers(4))]
            row = int(rng.integers(tile.first_row, tile.last_row + 1))
            column = int(rng.integers(tile.first_column, tile.last_column + 1))
            line = tuple(map(tuple, sorted([[float(row), float(column)], [float(row + down), float(column + across)]])))
            if _inside(line, tile):
                candidates.append(line)
        for line in candidates:
            wrong += int(reader.has_line(line[0], line[1], style) != (line in drawn))
    return wrong


def _inside(line, tile) -> bool:
    return all(
        tile.first_row <= row <= tile.last_row and tile.first_column <= column <= tile.last_column
        for row, column in line
    )


@pytest.mark.parametrize("seed", range(50))
def test_every_square_and_backstitch_comes_back(seed: int) -> None:
    rows, columns = _sizes(seed)
    chart = _random_chart(seed, rows, columns, (0.15, 0.5, 0.85)[seed % 3])
    paper = ("A4", "letter")[seed % 2]
    assert _check(chart, SheetLayout(paper=paper), paper=paper) == 0


def test_large_print_comes_back() -> None:
    chart = _random_chart(77, 50, 45, 0.5)
    assert len(plan_pages(45, 50, SheetLayout.large()).tiles) > 1
    assert _check(chart, SheetLayout.large(), large=True) == 0


def test_reading_notices_a_wrong_square() -> None:
    """The comparison itself can fail."""
    chart = _random_chart(3, 20, 20, 0.5)
    layout = SheetLayout()
    plan = plan_pages(20, 20, layout)
    image = render_pages(pdf_bytes(chart))[0]
    reader = TileReader(image, chart, plan, plan.tiles[0], layout)
    cells = chart.cells.copy()
    cells[7, 9] = not cells[7, 9]
    assert int((reader.cells() != cells).sum()) == 1
