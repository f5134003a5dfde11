"""Text that just fits and text that just does not, and where it stands to the stitch."""

from __future__ import annotations

import numpy as np
import pytest

from converter.compose import fit_borders
from converter.compose.bands import CornerBand
from converter.compose.judge import pieces
from converter.compose.lettering import block_parts, fit_text, letter_border, place_text, text_chart
from converter.compose.letters import text_cells
from converter.compose.rosettes import corner_piece
from converter.errors import RequestError, UsageError
from converter.model.chart import Chart

LARGE, SMALL = text_cells("Anna", "large"), text_cells("Anna", "small")


def bare(rows, cols):
    return Chart(np.zeros((rows, cols), dtype=bool))


def test_the_large_letters_are_taken_down_to_the_very_width():
    assert fit_text("Anna", LARGE.width).block.alphabet == "large"
    assert fit_text("Anna", LARGE.width - 1).block.alphabet == "small"
    assert fit_text("Anna", SMALL.width).note == ""
    assert fit_text("Anna", SMALL.width - 1).block.text != "Anna"


def test_the_large_letters_are_taken_down_to_the_very_height():
    assert fit_text("Anna", 99, height=LARGE.height).block.alphabet == "large"
    assert fit_text("Anna", 99, height=LARGE.height - 1).block.alphabet == "small"
    assert fit_text("Anna", 99, height=SMALL.height).block.alphabet == "small"
    with pytest.raises(RequestError, match="high"):
        fit_text("Anna", 99, height=SMALL.height - 1)
    # Letters of her choice are kept to.
    assert fit_text("Anna", 99, "small").block.alphabet == "small"
    with pytest.raises(RequestError, match="high"):
        fit_text("Anna", 99, "large", height=LARGE.height - 1)


def test_a_text_is_evened_only_if_there_is_room_for_one_stitch_more():
    plain = text_cells("to Jo", "small")
    other = plain.width + 21
    assert fit_text("to Jo", plain.width, "small", even_to=other).block.width == plain.width
    assert fit_text("to Jo", plain.width + 1, "small", even_to=other).block.width == plain.width + 1
    assert fit_text("to Jo", plain.width + 9, "small", even_to=other + 1).block.width == plain.width
    assert fit_text("to Jo", plain.width + 9, "small").block.width == plain.width
    # A word alone is never pulled apart.
    assert fit_text("Jo", 40, "small", even_to=text_cells("Jo").width + 1).block.width == text_cells("Jo").width
    # What is left of a text that is too long is evened too.
    cut = fit_text("to Jo Margaret", plain.width + 4, "small", even_to=plain.width + 5)
    assert (cut.block.text, cut.block.width) == ("to Jo", plain.width + 1)


@pytest.mark.parametrize(
    ("text", "kept"),
    [("Eva & Emil", "Eva"), ("Eva, Emil", "Eva"), ("Eva (Emil)", "Eva"), ("Eva – Emil", "Eva"), ("a b c", "a b")],
)
def test_as_many_whole_words_as_fit(text, kept):
    """The longest beginning of whole words, without what makes no sense at its end."""
    width = text_cells(text).width - 1
    assert fit_text(text, width, "small").block.text == kept
    assert fit_text(text, text_cells(kept).width, "small").block.text == kept


def test_letters_where_no_word_fits():
    for count in range(1, 4):
        assert fit_text("Emil", text_cells("Emil"[:count]).width, "small").block.text == "Emil"[:count]
    with pytest.raises(RequestError):
        fit_text("Emil", text_cells("E").width - 1, "small")


def test_the_note_says_what_would_help():
    for short, words in ((1, "1 stitch wider"), (2, "2 stitches wider")):
        note = fit_text("Emil Eva", text_cells("Emil Eva").width - short, "small").note
        assert f"a place {words} would hold all of it" in note and "only 'Emil'" in note
    wide, small = text_cells("Emil", "large").width, text_cells("Emil", "small").width
    assert f"in small letters ({small}) it would fit" in fit_text("Emil", small, "large").note
    less = fit_text("Emil", small - 1, "large").note
    assert f"a place {wide - small + 1} stitches wider" in less


def test_what_is_worked_in_crosses_and_in_lines():
    small, large = text_cells("Jo", "small"), text_cells("Jo", "large")
    cells, lines = block_parts(small, "crosses")
    assert np.array_equal(cells, small.cells) and len(lines) == 0
    cells, lines = block_parts(small, "lines")
    assert cells.shape == small.cells.shape and not cells.any() and len(lines)
    assert np.array_equal(block_parts(large, "crosses")[0], large.cells)
    for block, method in ((large, "lines"), (small, "satin")):
        with pytest.raises(UsageError):
            block_parts(block, method)
    own = text_chart(bare(3, 3), fit_text("Jo", 40, "small"))
    assert np.array_equal(own.cells, small.cells)


# Places.


@pytest.mark.parametrize(("align", "left"), [("left", 5), ("centre", 5 + 6), ("right", 5 + 13)])
@pytest.mark.parametrize(("from_top", "top"), [(True, 2), (False, 2 + 3)])
def test_a_text_stands_in_its_place_to_the_stitch(align, left, from_top, top):
    """13 columns and 7 rows to spare: half of them, rounded down, stand left and above in the middle."""
    block = text_cells("Jo", "small")
    place = (2, 5, block.height + 7, block.width + 13)
    chart, note = place_text(bare(30, 60), "Jo", place, alphabet="small", align=align, from_top=from_top)
    expected = np.zeros((30, 60), dtype=bool)
    expected[top : top + block.height, left : left + block.width] = block.cells
    assert np.array_equal(chart.cells, expected) and note == ""
    sewn, _ = place_text(bare(30, 60), "Jo", place, align=align, from_top=from_top, method="lines")
    alone = block_parts(block, "lines")[1]
    assert np.array_equal(sewn.lines, alone + np.array([top, left])) and not sewn.cells.any()


def test_only_a_text_in_the_middle_is_evened():
    block = text_cells("to Jo", "small")
    for align in ("left", "centre", "right"):
        chart, _ = place_text(bare(9, block.width + 3), "to Jo", (0, 0, 9, block.width + 3), alphabet="small",
                              align=align)  # fmt: skip
        inked = np.flatnonzero(chart.cells.any(axis=0))
        assert inked[-1] - inked[0] + 1 == block.width + (align == "centre")


def test_places_up_to_the_edge_and_beyond():
    block = text_cells("Jo", "small")
    chart, _ = place_text(bare(*block.cells.shape), "Jo", (0, 0, *block.cells.shape), alphabet="small")
    assert np.array_equal(chart.cells, block.cells)
    for place in ((-1, 0, 9, 30), (0, -1, 9, 30), (2, 0, 9, 30), (0, 2, 9, 30), (0, 0, 0, 30), (0, 0, 9, 0)):
        with pytest.raises(RequestError, match="inside"):
            place_text(bare(10, 31), "Jo", place)
    with pytest.raises(UsageError):
        place_text(bare(10, 31), "Jo", (0, 0, 9, 30), align="middle")


def test_stitches_beside_the_text_stay_and_lines_are_added():
    block = text_cells("Jo", "small")
    cells = np.zeros((block.height, block.width + 2), dtype=bool)
    cells[:, [0, -1]] = True
    chart = Chart(cells, lines=np.array([[[0.0, 0.0], [1.0, 0.0]]]))
    made, _ = place_text(chart, "Jo", (0, 1, block.height, block.width), alphabet="small")
    assert np.array_equal(made.cells[:, 1:-1], block.cells) and made.cells[:, [0, -1]].all()
    sewn, _ = place_text(chart, "Jo", (0, 1, block.height, block.width), method="lines")
    assert sewn.lines[0].tolist() == [[0, 0], [1, 0]] and len(sewn.lines) == 1 + len(block_parts(block, "lines")[1])


# In the border.


@pytest.mark.parametrize("side", ["top", "bottom"])
@pytest.mark.parametrize("method", ["crosses", "lines"])
def test_text_in_a_ring_of_corner_pieces_stands_in_the_middle_of_its_side(side, method):
    plan = fit_borders((20, 41), [CornerBand(corner_piece(8))], gap=2, count=1)[0]
    made = letter_border(plan, "Jo 26", side=side, method=method, alphabet="small")
    block = fit_text("Jo 26", 99, "small", 8, plan.shape[1]).block
    start = (plan.shape[1] - block.width) // 2
    top = (8 - block.height) // 2 + (0 if side == "top" else plan.shape[0] - 8)
    cells, lines = block_parts(block, method)
    expected = plan.cells.copy()
    expected[top : top + block.height, start : start + block.width] |= cells
    assert np.array_equal(made.cells, expected)
    # Nothing stands there that would have to be cut: two columns are kept bare beside the text.
    assert made.bare == (start - 2, start + block.width + 1)
    assert np.array_equal(made.lines[: len(plan.lines)], plan.lines)
    assert np.array_equal(made.lines[len(plan.lines) :], lines + np.array([top, start]))


def test_a_side_holds_a_text_up_to_two_columns_from_its_corners():
    block = text_cells("Jo", "small")
    for spare, fits in ((4, True), (3, False)):
        plan = fit_borders((20, block.width + spare - 2), [CornerBand(corner_piece(8), lines=False)], gap=1,
                           count=1)[0]  # fmt: skip
        made = letter_border(plan, "Jo", alphabet="small")
        assert (made.note == "") is fits
    narrow = fit_borders((20, 3), [CornerBand(corner_piece(8), lines=False)], gap=0, count=1)[0]
    with pytest.raises(RequestError, match="room for a text"):
        letter_border(narrow, "Jo")


def test_a_strip_just_deep_enough_for_the_small_letters():
    high = text_cells("I", "small").height
    for depth, fits in ((high, True), (high - 1, False)):
        plan = fit_borders((20, 50), [CornerBand(corner_piece(depth))], count=1)[0]
        if fits:
            assert letter_border(plan, "I").note == ""
        else:
            with pytest.raises(RequestError, match="deep"):
                letter_border(plan, "I")
    with pytest.raises(RequestError, match="backstitch alone"):
        letter_border(fit_borders((20, 50), "line", count=1)[0], "I")


def test_the_outermost_border_that_is_deep_enough_takes_the_text():
    bands = [CornerBand(corner_piece(6)), CornerBand(corner_piece(8)), CornerBand(corner_piece(3))]
    plan = fit_borders((20, 50), bands, gap=2, count=1)[0]
    rows = [np.flatnonzero((letter_border(plan, "Jo", side="top", alphabet="small", band=band).cells & ~plan.cells)
                           .any(axis=1)) for band in (None, 1, -2, 0)]  # fmt: skip
    tops = [int(found[0]) for found in rows]
    # 3 deep and 2 blank outside the second; 8 and 2 more outside the first.
    assert tops[0] == tops[1] == tops[2] and 5 <= tops[0] < 5 + 8
    assert 15 <= tops[3] < 15 + 6
    for band in (3, -4):
        with pytest.raises(UsageError, match="no border"):
            letter_border(plan, "Jo", band=band)
    with pytest.raises(RequestError, match="deep"):
        letter_border(plan, "Jo", band=2)
    with pytest.raises(UsageError):
        letter_border(plan, "Jo", side="left")


@pytest.mark.parametrize("name", ["hearts", "tulips", "firs"])
@pytest.mark.parametrize("width", [44, 60, 71])
def test_no_more_of_the_strip_is_taken_out_than_has_to_be(name, width):
    """Of closed pieces none is cut, and with one column less bare on both sides one would be."""
    plan = fit_borders((40, width), name, corners="block", moves=("gap", "pad", "middle", "unequal"), count=1)[0]
    made = letter_border(plan, "Jo", side="top", alphabet="small")
    d = plan.rings[0].depth
    upper = plan.border_cells[:d, d:-d]
    low, high = made.bare[0] - d, made.bare[1] - d
    block = text_cells("Jo", "small").width

    def cut(first, last):
        return any(
            (first <= box[1].start <= last) != (first <= box[1].stop - 1 <= last)
            or (box[1].start < first and box[1].stop - 1 > last)
            for box, _ in pieces(upper)
        )

    assert not cut(low, high)
    text = fit_text("Jo", 99, "small", d, plan.shape[1]).block.width
    assert high - low + 1 >= text + 4 >= block + 4
    if high - low + 1 > text + 4:
        assert cut(low + 1, high - 1)
