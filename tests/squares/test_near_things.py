"""What lies near to something else and is easily taken for it: slashes, words, tables, coloured fills, bent strips."""

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))
sys.path.insert(0, str(Path(__file__).parent))

from bench_squares import score
from make_squared_paper import make_photo
from test_drawn_sheets import COLS, MARGIN, ROWS, SIDE, blank_sheet, dotted, draw_stroke, filled, hole, middle, soft

from converter.squares import marks, mesh, read_squares, reading, shade, strokes, writing
from converter.squares.patches import FlatSheet

FONT = cv2.FONT_HERSHEY_SIMPLEX


@pytest.fixture
def cells():
    found = np.zeros((ROWS, COLS), bool)
    found[3:12, 4:13] = np.random.default_rng(2).random((9, 9)) < 0.6
    return found


def test_scattered_slashes_that_end_before_the_corners_are_marks():
    """Where dark printed lines meet all is dark, whatever is drawn across the square."""
    photo = make_photo(
        11, "normal", pixels=15, squares=(22, 22), marks=["slash"], inks=["green"], lines=False, writing=0, frame=True
    )
    read = read_squares(photo.image)
    assert np.array_equal(read.cells, photo.cells)
    assert len(read.lines) == 0


def test_a_slash_in_a_corner_of_strokes_along_the_grid_is_a_mark(cells):
    """The strokes at both its ends spill into its square, so that it looks like no other slash but for its middle."""
    page = blank_sheet()
    cells[8, 14:16] = True
    for r, c in np.argwhere(cells):
        x, y = hole(r, c)
        cv2.line(page, (x + 3, y + SIDE - 3), (x + SIDE - 3, y + 3), (120, 120, 120), 2, cv2.LINE_AA)
    for a, b in (((9, 14), (9, 17)), ((8, 14), (9, 14)), ((8, 14), (8, 17))):
        draw_stroke(page, a, b, (190, 50, 70))
    read = read_squares(soft(page))
    assert np.array_equal(read.cells, cells)
    assert len(read.lines) == 7


def test_squares_beside_strokes_are_those_on_both_sides_of_them():
    lines = np.array([[[2, 1], [2, 2]], [[0, 3], [1, 3]], [[3, 0], [4, 1]], [[0, 0], [0, 1]]], float)
    beside = reading._beside_strokes(strokes.Strokes(lines, np.zeros((4, 4), bool)))
    assert np.argwhere(beside).tolist() == [[0, 0], [0, 2], [0, 3], [1, 1], [2, 1]]


def test_a_stroke_across_squares_that_goes_on_from_another_may_lie_a_little_beside(cells):
    page = blank_sheet()
    dotted(page, cells)
    draw_stroke(page, (2, 15), (8, 15), (190, 50, 50))
    x, y = hole(8, 15)
    cv2.line(page, (x + 1, y), (x + SIDE, y - SIDE + 2), (190, 50, 50), 3, cv2.LINE_AA)
    read = read_squares(soft(page))
    assert np.array_equal(read.cells, cells)
    assert [[8.0, 15.0], [7.0, 16.0]] in read.lines.tolist()


def test_a_word_just_below_the_grid_is_no_row():
    page = np.vstack([blank_sheet(), np.full((2 * SIDE, COLS * SIDE + 2 * MARGIN, 3), 245, np.uint8)])
    found = np.zeros((ROWS, COLS), bool)
    found[3:9, 4:10] = np.random.default_rng(5).random((6, 6)) < 0.6
    dotted(page, found)
    at = (MARGIN + 2 * SIDE, MARGIN + (ROWS + 1) * SIDE - 2)
    cv2.putText(page, "CENTRE HERE", at, FONT, 0.7, (70, 70, 70), 3, cv2.LINE_AA)
    assert np.array_equal(read_squares(soft(page)).cells, found)


def test_a_short_word_that_stays_within_a_row_of_squares_adds_none(cells):
    page = blank_sheet()
    dotted(page, cells)
    x, y = hole(15, 2)
    cv2.putText(page, "sachet", (x + 4, y - 5), FONT, 0.45, (60, 60, 60), 1, cv2.LINE_AA)
    assert np.array_equal(read_squares(soft(page)).cells, cells)


@pytest.mark.parametrize(("word", "size", "right", "up"), [("red", 0.6, 2, 3), ("19", 0.6, 9, 3)])
def test_letters_within_the_height_of_a_square_lie_beside_the_middle_of_squares(cells, word, size, right, up):
    page = blank_sheet()
    filled(page, cells)
    x, y = hole(15, 2)
    cv2.putText(page, word, (x + right, y - up), FONT, size, (60, 60, 60), 2, cv2.LINE_AA)
    assert np.array_equal(read_squares(soft(page)).cells, cells)


def test_ink_off_the_middle_is_told_by_the_squares_that_are_alike():
    dot, corner = np.zeros((5, 5, 3)), np.zeros((5, 5, 3))
    dot[2, 2], corner[0, 4] = 1, 1
    patches = np.stack([dot] * 3 + [corner] * 4).reshape(7, 75).astype(np.float32)
    off, usual = writing._off_middle(patches, np.array([0.1] * 3 + [0.8] * 4))
    assert usual == pytest.approx(0, abs=1e-6)
    assert off == pytest.approx([0] * 3 + [0.4 * 2**0.5] * 4, abs=1e-5)


def test_two_marks_of_a_rare_kind_beside_the_middle_are_no_word(cells):
    page = blank_sheet()
    dotted(page, cells)
    cells[14, 3:5] = True
    for c in (3, 4):
        x, y = hole(14, c)
        cv2.polylines(page, [np.array([(x + 4, y + 4), (x + 4, y + 14), (x + 12, y + 14)])], False, (60, 60, 60), 2)
    assert np.array_equal(read_squares(soft(page)).cells, cells)


def test_two_marks_of_a_rare_kind_are_no_word(cells):
    page = blank_sheet()
    dotted(page, cells)
    cells[14, 3:5] = True
    for c in (3, 4):
        x, y = middle(14, c)
        cv2.rectangle(page, (x - 5, y - 5), (x + 5, y + 5), (60, 60, 60), 2)
    assert np.array_equal(read_squares(soft(page)).cells, cells)


def test_three_fills_of_a_rare_colour_are_no_word(cells):
    page = blank_sheet()
    dotted(page, cells)
    for r, c in ((14, 3), (14, 5), (15, 4)):
        cells[r, c] = True
        x, y = hole(r, c)
        page[y : y + SIDE, x : x + SIDE] = (205, 100, 120)
    assert np.array_equal(read_squares(soft(page)).cells, cells)


def test_letters_are_like_nothing_and_a_pair_of_marks_is_like_itself():
    random = np.random.default_rng(0)
    dots = np.tile(random.random(75), (20, 1)) + random.normal(0, 0.02, (20, 75))
    letters = random.random((4, 75))
    pair = np.tile(random.random(75), (2, 1)) + random.normal(0, 0.02, (2, 75))
    assert writing._like_nothing(letters.astype(np.float32), dots.astype(np.float32), 0.1)
    assert not writing._like_nothing(pair.astype(np.float32), dots.astype(np.float32), 0.1)
    assert not writing._like_nothing(letters[:1].astype(np.float32), dots.astype(np.float32), 0.1)
    assert not writing._like_nothing(dots[:3].astype(np.float32), dots[3:].astype(np.float32), 0.1)


@pytest.mark.parametrize("edge", ["top", "left", "bottom", "right"])
def test_two_columns_of_marks_before_a_table_are_read(cells, edge):
    """Turned to all four sides."""
    cells[:, -2:] = True
    cells[2, -1] = False
    page = blank_sheet()
    filled(page, cells)
    page[:, MARGIN + COLS * SIDE + 1 :] = (120, 90, 60)
    page = np.concatenate([page, page[:, -1:].repeat(50, axis=1)], axis=1)
    turns = {"right": 0, "top": 1, "left": 2, "bottom": 3}[edge]
    picture = np.ascontiguousarray(np.rot90(soft(page), turns))
    assert np.array_equal(read_squares(picture).cells, np.rot90(cells, turns))


def test_strokes_wholly_about_a_word_are_its_letters():
    words = np.zeros((8, 12), bool)
    words[3, 2:5] = True
    letter = [[[2, 6], [3, 6]], [[3, 6], [3, 7]]]
    outline = [[[6, 7], [6, 8]], [[6, 8], [5, 8]], [[5, 8], [5, 7]], [[5, 7], [5, 6]]]
    beside = [[[4, 3], [4, 4]]]
    lines = np.array(letter + outline + beside, float)
    assert reading._joined(lines).tolist() == [0, 0, 1, 1, 1, 1, 2]
    kept = reading._without_words(lines, words, ~words)
    assert kept.tolist() == outline


@pytest.mark.parametrize("offset", [(0, 0), (1, 0), (0, 1)])
def test_two_slanting_lines_side_by_side_are_lines_and_a_field_of_strokes_is_marks(offset):
    def found(across):
        lines = np.array([[[r + 1, c], [r, c + 1]] for r, c in np.argwhere(across)], float)
        return reading._without_slashes(strokes.Strokes(lines, across), np.zeros_like(across))

    pair = np.zeros((12, 12), bool)
    for k in range(7):
        pair[9 - k + offset[0] - 1, k + offset[1]] = pair[9 - k + offset[0], k + offset[1]] = True
    assert len(found(pair).lines) == pair.sum()
    field = np.zeros((12, 12), bool)
    field[2:8, 3:9] = True
    assert len(found(field).lines) == 0


def test_what_reaches_over_the_rim_is_no_mark(cells):
    """A table that reaches over the last line by a quarter of a square, where the lines stop."""
    page = blank_sheet()
    dotted(page, cells)
    end = MARGIN + ROWS * SIDE
    page[end - SIDE // 4 :, MARGIN : MARGIN + 3 * SIDE] = (120, 110, 100)
    assert np.array_equal(read_squares(soft(page)).cells, cells)


def test_what_is_of_a_colour_is_ink_and_no_shadow():
    """Fills amid crosses, which say little of the light, are told from shade by their colour."""
    page = blank_sheet()
    found = np.zeros((ROWS, COLS), bool)
    found[3:13, 3:14] = True
    for r, c in np.argwhere(found):
        x, y = hole(r, c)
        if 6 <= r < 9 and 6 <= c < 10:
            page[y + 1 : y + SIDE - 1, x + 1 : x + SIDE - 1] = (150, 215, 160)
        else:
            for way in (0, 1):
                ends = (x + 3, y + (SIDE - 3 if way else 3)), (x + SIDE - 3, y + (3 if way else SIDE - 3))
                cv2.line(page, *ends, (60, 60, 60), 2, cv2.LINE_AA)
    assert np.array_equal(read_squares(soft(page)).cells, found)


def test_the_narrow_end_of_a_shadow_stays():
    light = np.zeros((8, 8))
    light[2:5, :5] = 0.5
    light[3, 5:7] = 0.5
    island = np.zeros((8, 8))
    island[3, 3:5] = 0.5
    assert np.array_equal(shade._without_islands(light) > 0.25, light > 0.25)
    assert not shade._without_islands(island).any()


@pytest.mark.parametrize("width", [8.0, 14.0])
def test_the_soft_edge_of_a_shadow_adds_no_squares(width):
    """Light that rises evenly over two or three squares is light in each of them."""
    page = blank_sheet()
    found = np.zeros((ROWS, COLS), bool)
    found[4:12, 5:13] = np.random.default_rng(3).random((8, 8)) < 0.4
    for r, c in np.argwhere(found):
        x, y = middle(r, c)
        cv2.line(page, (x - 5, y - 5), (x + 5, y + 5), (60, 110, 70), 2, cv2.LINE_AA)
        cv2.line(page, (x - 5, y + 5), (x + 5, y - 5), (60, 110, 70), 2, cv2.LINE_AA)
    y, x = np.mgrid[: page.shape[0], : page.shape[1]]
    dark = 1 / (1 + np.exp(-(x + 0.7 * y - 300) / width))
    page = np.clip(page * (1 - 0.3 * dark[..., None]), 0, 255)
    assert np.array_equal(read_squares(soft(page)).cells, found)


def test_an_even_slope_is_taken_off_and_nothing_else():
    squares = np.random.default_rng(1).random((3, 4, 12, 12)).astype(np.float32)
    y, x = np.mgrid[:12, :12] - 5.5
    sloping = (squares + 0.03 * y - 0.05 * x).astype(np.float32)
    assert np.allclose(marks._without_slope(sloping), marks._without_slope(squares), atol=1e-5)
    level = marks._without_slope(squares)
    assert np.allclose((level * x).sum(axis=(2, 3)), 0, atol=1e-3)
    assert np.allclose(level.mean(axis=(2, 3)), squares.mean(axis=(2, 3)), atol=1e-5)


def test_a_long_strip_is_fitted_along_its_bend():
    rows, cols = np.mgrid[0:6, 0:50].astype(float)
    r, c = rows.ravel() / 25, (cols.ravel() - 25) / 25
    bend = 0.4 * c**3 - 0.3 * c**2 + 0.1 * r
    degrees = mesh._degrees(6, 50)
    terms = mesh._terms(r, c, degrees)
    fitted = np.linalg.lstsq(terms, bend, rcond=None)[0]
    assert np.abs(terms @ fitted - bend).max() < 1e-9
    assert mesh._degrees(50, 6) == degrees[::-1]
    assert mesh._degrees(30, 31) == (4, 4)


def test_a_fill_over_a_dark_printed_line_is_no_stroke():
    """Fills that reach over dark lines on two sides make those sides as dark as a line and a fill together."""
    page = blank_sheet()
    lines = page[..., 0] == 170
    page[lines] = 110
    found = np.zeros((ROWS, COLS), bool)
    found[4:12, 4:13] = np.random.default_rng(8).random((8, 9)) < 0.5
    for r, c in np.argwhere(found):
        x, y = hole(r, c)
        part = page[y + 2 : y + SIDE + 2, x + 2 : x + SIDE + 2]
        part[:] = part * 0.45
    read = read_squares(soft(page))
    assert np.array_equal(read.cells, found)
    assert len(read.lines) == 0


def test_words_of_letters_like_each_other_but_no_mark_are_pointed_at():
    photo = make_photo(6087, "hard")
    found = score(photo, read_squares(photo.image), 0.0)
    assert found.pointed or found.wrong == 0


def test_a_shadow_whose_edge_runs_along_the_lines_is_none_where_all_ink_is_coloured():
    """All in it is darker from one line on, as fills are, but has no colour."""
    light = np.full((14, 16), 0.0, np.float32)
    light[:6, 9:] = 0.3
    light[6:, 7:] = 0.3
    red = np.zeros((14, 16), bool)
    red[3:11, 2:14] = np.random.default_rng(4).random((8, 12)) < 0.5
    level = light[..., None] + red[..., None] * np.array([0.1, 0.7, 0.6], np.float32)
    dense = np.pad(level.repeat(20, axis=0).repeat(20, axis=1), ((10, 10), (10, 10), (0, 0)), mode="edge")
    grain = np.random.default_rng(5).normal(0, 0.01, dense.shape)
    sheet = FlatSheet((dense + grain).astype(np.float32), 20, 14, 16)
    marking = marks.find_marks(sheet)
    assert np.array_equal(marking.marked, red)


def test_the_least_sure_of_the_squares_not_pointed_at_are():
    doubt = np.array([[0.0, 0.06, 0.3, 0.04], [0.19, 0.1, 0.06, 0.06]])
    outside = np.zeros(doubt.shape, bool)
    outside[1, 1] = True
    more = reading._with_least_sure(doubt, outside)
    assert np.argwhere(more >= reading.DOUBTFUL).tolist() == [[0, 1], [0, 2], [1, 0], [1, 2]]
    assert np.array_equal(more[doubt != more], np.full(3, more.min(initial=1, where=doubt != more)))
    assert np.array_equal(reading._with_least_sure(np.full((2, 2), 0.01), outside[:, :2]), np.full((2, 2), 0.01))


def test_a_stroke_across_a_square_beside_a_mark_is_pointed_at():
    page = blank_sheet()
    cells = np.zeros((ROWS, COLS), bool)
    cells[3:9, 4:12] = np.random.default_rng(2).random((6, 8)) < 0.6
    cells[5, 13] = cells[5, 14] = False
    cells[4, 13] = True
    dotted(page, cells)
    for a, b in (((6, 13), (5, 14)), ((5, 14), (5, 16)), ((6, 13), (8, 13))):
        draw_stroke(page, a, b, (190, 50, 50))
    read = read_squares(soft(page))
    assert np.array_equal(read.cells, cells)
    assert read.doubtful[5, 13]
