"""Splitting a chart over sheets."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.draw.chart_sheets import with_stitches
from converter.draw.pages import ChartPages, SheetLayout, plan_pages
from converter.errors import RequestError, UsageError
from converter.model.chart import Chart

LAYOUTS = st.sampled_from(
    [SheetLayout(), SheetLayout("letter"), SheetLayout.large(), SheetLayout.large("letter"), SheetLayout(overlap=0)]
)


@given(st.integers(1, 420), st.integers(1, 420), LAYOUTS)
def test_every_square_is_new_on_exactly_one_tile(columns: int, rows: int, layout: SheetLayout) -> None:
    pages = plan_pages(columns, rows, layout)
    new = np.zeros((rows, columns), dtype=int)
    for tile in pages.tiles:
        new[
            tile.first_row + tile.repeated_rows : tile.last_row,
            tile.first_column + tile.repeated_columns : tile.last_column,
        ] += 1
        assert tile.repeated_rows == (0 if tile.down == 0 else layout.overlap)
        assert tile.repeated_columns == (0 if tile.across == 0 else layout.overlap)
    assert (new == 1).all()


@given(st.integers(1, 420), st.integers(1, 420), LAYOUTS)
def test_tiles_fit_the_paper_at_the_stated_square(columns: int, rows: int, layout: SheetLayout) -> None:
    pages = plan_pages(columns, rows, layout)
    width, height = layout.area_mm(pages.landscape, pages.beside)
    assert layout.least_cell_mm <= pages.cell_mm <= layout.most_cell_mm
    for tile in pages.tiles:
        assert (tile.last_column - tile.first_column) * pages.cell_mm <= width + 1e-6
        assert (tile.last_row - tile.first_row) * pages.cell_mm <= height + 1e-6
    assert pages.cell_mm * 10 == pytest.approx(round(pages.cell_mm * 10))


@given(st.integers(1, 420), st.integers(1, 420), LAYOUTS)
def test_one_page_wherever_the_least_square_fits(columns: int, rows: int, layout: SheetLayout) -> None:
    pages = plan_pages(columns, rows, layout)
    fits = any(
        columns * layout.least_cell_mm <= width + 1e-9 and rows * layout.least_cell_mm <= height + 1e-9
        for width, height in (layout.area_mm(side, beside) for side in (False, True) for beside in (False, True))
    )
    assert pages.single == fits


def test_breaks_between_tiles_lie_on_tens() -> None:
    pages = plan_pages(400, 300)
    for tile in pages.tiles:
        assert (tile.first_row + tile.repeated_rows) % 10 == 0
        assert (tile.first_column + tile.repeated_columns) % 10 == 0


def _pages(columns: int, rows: int) -> ChartPages:
    return plan_pages(columns, rows)


def test_a_usual_bookmark_and_a_small_motif_take_one_sheet() -> None:
    """28 by 105 stitches: the largest bookmark of 2 by 7.5 in on 14 count (Bennington Museum store, bookmark kit)."""
    assert _pages(28, 105).single
    assert _pages(60, 60).single


def test_bad_requests_say_what_is_wrong() -> None:
    with pytest.raises(UsageError, match="paper"):
        SheetLayout("A2")
    with pytest.raises(UsageError, match="overlap"):
        SheetLayout(overlap=11)
    with pytest.raises(UsageError, match="0 x 5"):
        plan_pages(0, 5)
    with pytest.raises(RequestError, match="too large"):
        plan_pages(100, 100, SheetLayout(least_cell_mm=30, most_cell_mm=30))


def test_a_tall_motif_of_87_rows_takes_one_letter_sheet() -> None:
    assert plan_pages(60, 87, SheetLayout(paper="letter")).single


def test_sheets_without_stitches_are_left_out() -> None:
    cells = np.zeros((200, 200), dtype=bool)
    cells[195, 3] = True
    lines = [[[3, 190], [3, 192]]]
    pages = plan_pages(200, 200)
    kept = with_stitches(Chart(cells, lines=lines), pages)
    corners = [(tile.first_row, tile.first_column) for tile in kept.tiles]
    assert len(kept.tiles) == 2
    assert [(row > 100, column > 100) for row, column in corners] == [(False, True), (True, False)]
    assert set(kept.tiles) | set(kept.bare) == set(pages.tiles)
    assert len(with_stitches(Chart(cells, lines=lines), pages, lines_only=True).tiles) == 1
    assert len(with_stitches(Chart(np.zeros((200, 200), dtype=bool)), pages).tiles) == 1


@given(st.integers(0, 2**32 - 1), st.integers(1, 12))
def test_every_stitch_is_on_a_sheet_that_is_printed(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    cells = np.zeros((150, 220), dtype=bool)
    cells[rng.integers(0, 150, count), rng.integers(0, 220, count)] = True
    holes = np.column_stack([rng.integers(0, 150, count), rng.integers(0, 220, count)])
    lines = np.stack([holes, holes + 1], axis=1)
    seen = np.zeros_like(cells)
    tiles = with_stitches(Chart(cells, lines=lines), plan_pages(220, 150)).tiles
    for tile in tiles:
        seen[tile.first_row : tile.last_row, tile.first_column : tile.last_column] = True
    assert seen[cells].all()
    for row, column in holes.tolist():
        assert seen[row, column]


@given(st.integers(1, 420), st.integers(1, 420), LAYOUTS)
def test_tiles_are_of_like_size(columns: int, rows: int, layout: SheetLayout) -> None:
    tiles = plan_pages(columns, rows, layout).tiles
    for own in (
        {tile.last_row - tile.first_row - tile.repeated_rows for tile in tiles},
        {tile.last_column - tile.first_column - tile.repeated_columns for tile in tiles},
    ):
        assert max(own) - min(own) < 20
