"""Photos such as one in a hundred is: lines hidden nearly everywhere, the sheet's own edges, strokes along lines."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from bench_squares import offset_of, score
from make_squared_paper import make_other, make_photo

from converter.squares import looks_squared, mark_threshold, read_squares, rim


@pytest.mark.parametrize(
    ("seed", "level"),
    [
        pytest.param(8371, "normal", id="fills all over but for strips of paper"),
        pytest.param(9033, "scan", id="many rows of pale marks with few bare columns"),
        pytest.param(9204, "normal", id="the edge of the sheet beside its bare margin"),
        pytest.param(9011, "normal", id="a column all of marks at the edge of the sheet"),
        pytest.param(9182, "normal", id="a row of table as dark as the marks"),
        pytest.param(9103, "normal", id="one row with marks before the edge of the photo"),
        pytest.param(8444, "normal", id="one row all of printed marks before the edge of the photo"),
        pytest.param(8509, "scan", id="every second line of a field of crosses, proven on bare paper"),
        pytest.param(9139, "normal", id="uneven paper between dark marks"),
    ],
)
def test_every_square_is_read(seed, level):
    photo = make_photo(seed, level)
    found = score(photo, read_squares(photo.image), 0.0)
    assert found.grid
    assert found.wrong == 0, found.note


def test_a_slanting_stroke_is_none_of_the_marks_where_it_goes_on_from_one_along_a_whole_line():
    photo = make_photo(8403, "scan")
    found = score(photo, read_squares(photo.image), 0.0)
    assert found.wrong == 0, found.note
    assert found.lines_right == found.lines_found == found.lines_true


def test_bold_lines_that_are_seen_between_fills_only_are_no_strokes():
    photo = make_photo(9160, "normal")
    found = score(photo, read_squares(photo.image), 0.0)
    assert found.lines_found - found.lines_right < 0.2 * photo.cells.shape[1]


def test_the_edge_of_the_sheet_does_not_draw_the_last_lines_to_it():
    photo = make_photo(9081, "normal")
    reading = read_squares(photo.image)
    (top, left), agree = offset_of(photo, reading.corners)
    assert agree
    rows, cols = reading.corners.shape[:2]
    apart = (reading.corners - photo.corners[top : top + rows, left : left + cols]) / photo.facts["pixels"]
    # colours may lie a little beside each other all over the photo
    apart -= np.median(apart, axis=(0, 1))
    assert np.abs(apart).max() < 0.12


def test_a_row_of_marks_ends_where_a_table_is_much_less_like_them():
    marks, table = (0.9, 1.0, 0.06), (1.0, 1.0, 0.26)
    assert rim._rows_of_marks([marks, table, table], 0.03) == 1
    assert rim._rows_of_marks([table, table, table], 0.03) is None
    assert rim._rows_of_marks([marks], 0.03) == 1
    assert rim._rows_of_marks([table], 0.03) == 0


def test_hardly_any_ink_is_no_faint_mark():
    rng = np.random.default_rng(3)
    bare, dark = rng.normal(0.012, 0.002, 800), rng.normal(0.6, 0.05, 200)
    thin = np.concatenate([np.zeros(800), np.full(200, 0.3), np.full(12, 0.3)])
    for strength, lowered in ((0.045, False), (0.09, True)):
        values = np.concatenate([bare, dark, np.full(12, strength)])
        border, _bare = mark_threshold.find_border(values)
        maybe = (values > 0.03) & (values < border)
        assert maybe.sum() == 12
        now = mark_threshold.faint_border(values, thin, maybe, border)
        assert (now < strength) == lowered


@pytest.mark.parametrize("seed", [8450, 8451, 8542])
def test_joints_between_tiles_are_no_printed_lines(seed):
    assert looks_squared(make_other(seed, "tiles")) < 0.1
