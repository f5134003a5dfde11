"""Letters: marks and spaces counted out on small pictures, and against a slow reckoning of every pair."""

from __future__ import annotations

import string

import numpy as np
import pytest
from helpers.text_grids import grid, shown

from converter.compose.letters import Glyph, _nearest, _with_mark, glyph, lines_from_cells, text_cells
from converter.errors import UsageError


def lines(*rows):
    return [tuple(map(tuple, line)) for line in lines_from_cells(grid(*rows)).tolist()]


# Marks: centred, one blank row above the letter; below it they touch.


@pytest.mark.parametrize(
    ("letter", "mark", "expected"),
    [
        (("###", "#.#"), ("#",), [".#.", "...", "###", "#.#"]),
        (("##", "##"), ("#",), ["#.", "..", "##", "##"]),
        (("#",), ("#.#", ".#."), ["#.#", ".#.", "...", ".#."]),
        (("#",), ("##",), ["##", "..", "#."]),
        ((".##", "..#"), ("#",), [".#.", "...", ".##", "..#"]),
    ],
)
def test_marks_above(letter, mark, expected):
    cells = grid(*letter)
    made = _with_mark(Glyph(cells, len(letter)), grid(*mark), True)
    assert shown(made.cells) == expected
    assert made.rise == len(expected)


def test_marks_above_stand_one_row_over_the_highest_stitch():
    made = _with_mark(Glyph(grid("...", "###", "#.#", "#.."), 3), grid("#"), True)
    assert shown(made.cells) == [".#.", "...", "###", "#.#", "#.."]
    # Two rows of the letter stand on the base line, one hangs below.
    assert made.rise == 4


@pytest.mark.parametrize(
    ("letter", "rise", "mark", "expected"),
    [
        (("###", "#.#"), 2, ("#",), ["###", "#.#", ".#."]),
        (("#",), 1, ("##.", ".##"), [".#.", "##.", ".##"]),
        (("##", "#.", "#."), 2, ("##",), ["##", "#.", "#.", "##"]),
    ],
)
def test_marks_below(letter, rise, mark, expected):
    made = _with_mark(Glyph(grid(*letter), rise), grid(*mark), False)
    assert shown(made.cells) == expected
    assert made.rise == rise


def inked(letter, alphabet):
    """Rows with stitches, the first and the last, counted from the base line."""
    found = glyph(letter, alphabet)
    rows = np.flatnonzero(found.cells.any(axis=1))
    return found.cells[rows[0] : rows[-1] + 1], int(rows[0]) - found.rise, int(rows[-1]) - found.rise


@pytest.mark.parametrize("alphabet", ["small", "large"])
@pytest.mark.parametrize("letter", "îïíìĵ")
def test_i_and_j_lose_their_dot_under_a_mark(letter, alphabet):
    dotted, _, low = inked("j" if letter == "ĵ" else "ı", alphabet)
    gap = np.flatnonzero(~dotted.any(axis=1))
    stem = dotted[gap[-1] + 1 :] if gap.size else dotted
    made, _, made_low = inked(letter, alphabet)
    left = (made.shape[1] - stem.shape[1]) // 2
    assert np.array_equal(made[-len(stem) :, left : left + stem.shape[1]], stem)
    # One bare row, then the mark; what hangs below the base line hangs there still.
    assert not made[-len(stem) - 1].any() and made[-len(stem) - 2].any()
    assert made_low == low


def test_letters_with_marks_above_and_below():
    _, top, low = inked("o", "small")
    single, single_top, single_low = inked("ǫ", "small")
    both, both_top, both_low = inked("ǫ́", "small")
    assert single_top == top and single_low == low + 2
    assert both_top == top - 3 and both_low == single_low
    assert np.array_equal(both[-len(single) :, : single.shape[1]], single)


@pytest.mark.parametrize("letter", ["Ж", "Ħ", "a\u0331", "\u0301"])
def test_letters_and_marks_that_are_not_there_are_refused(letter):
    with pytest.raises(UsageError):
        glyph(letter, "small")


def test_signs_that_look_alike_are_set_as_the_one_there_is():
    for sign, other in (("´", "’"), ("`", "‘"), ("−", "-"), ("…", "..."), ("ﬁ", "fi"), ("ĳ", "ij"), ("„", "“")):
        assert np.array_equal(text_cells(f"a{sign}b").cells, text_cells(f"a{other}b").cells)


# Spaces.


@pytest.mark.parametrize(
    ("left", "right", "blank"),
    [
        ((("#",), 1), (("#",), 1), 0),
        ((("#.",), 1), ((".#",), 1), 2),
        ((("##", "#."), 2), (("##", ".#"), 2), 0),
        # Two rows apart, as little as this is, they do not meet.
        ((("##", "#.", "#."), 3), ((".#", ".#", "##"), 3), 1),
        # One row up or down counts as meeting.
        ((("##", "#."), 2), ((".#", "##"), 2), 0),
        # On their base lines: the low one stands beside the foot of the high one.
        ((("###", "#..", "#.."), 3), (("#",), 1), 2),
        ((("###", "#..", "#.."), 3), (("#", "#"), 2), 0),
        ((("#..", "###"), 1), (("#",), 1), 0),
        ((("#..", "#..", "###"), 1), (("#",), 1), 2),
        # A row without a stitch does not count, whatever the box says.
        ((("##", "..", "#.", "#."), 4), (("#",), 1), 1),
    ],
)
def test_nearest_stitches_of_two_letters(left, right, blank):
    one, two = (Glyph(grid(*rows), rise) for rows, rise in (left, right))
    assert _nearest(one, two) == blank


def slow_gap(one, two):
    """Blank columns between the nearest stitches of two boxes side by side, one row up or down, base line on line."""
    return min(
        one.cells.shape[1] - 1 - c0 + c1
        for r0, c0 in np.argwhere(one.cells).tolist()
        for r1, c1 in np.argwhere(two.cells).tolist()
        if abs((r0 - one.rise) - (r1 - two.rise)) <= 1
    )


@pytest.mark.parametrize(("alphabet", "space", "closer"), [("small", 1, 1), ("large", 2, 2)])
def test_every_pair_of_letters_stands_the_letter_space_apart(alphabet, space, closer):
    for first in string.ascii_letters[::3] + "LTAVjf'.,-":
        for second in string.ascii_letters[1::4] + "AVTogj'.,-":
            one, two = glyph(first, alphabet), glyph(second, alphabet)
            try:
                gap = slow_gap(one, two)
            except ValueError:
                gap = closer
            expected = one.cells.shape[1] + two.cells.shape[1] + space - min(closer, gap)
            assert text_cells(first + second, alphabet).width == expected, first + second


@pytest.mark.parametrize(("alphabet", "word"), [("small", 3), ("large", 5)])
def test_word_spaces(alphabet, word):
    wide = text_cells("H", alphabet).width
    assert text_cells("H H", alphabet).width == 2 * wide + word
    assert text_cells("H  H", alphabet).width == 2 * wide + 2 * word
    assert text_cells("  H\nH  ", alphabet).width == 2 * wide + word
    spread = text_cells("H H H", alphabet, wider=1).cells.any(axis=0)
    blanks = [len(part) for part in "".join("#" if c else "." for c in spread).split("#") if len(part) > 2]
    assert blanks == [word + 1, word]
    assert text_cells("H", alphabet, wider=1).width == wide


@pytest.mark.parametrize(("alphabet", "high"), [("small", 5), ("large", 9)])
def test_letters_stand_on_one_base_line(alphabet, high):
    block = text_cells("Hp", alphabet)
    tail = glyph("p", alphabet).cells.shape[0] - glyph("p", alphabet).rise
    assert tail > 0 and (block.rise, block.height) == (high, high + tail)
    wide = text_cells("H", alphabet).width
    assert np.array_equal(block.cells[:high, :wide], glyph("H", alphabet).cells)
    assert np.array_equal(block.cells[high - glyph("p", alphabet).rise :, -glyph("p", alphabet).cells.shape[1] :],
                          glyph("p", alphabet).cells)  # fmt: skip
    assert text_cells("-", alphabet).height == np.count_nonzero(glyph("-", alphabet).cells.any(axis=1))
    # A comma hangs: the block of a lone one begins where its ink does.
    comma = text_cells(",", alphabet)
    assert comma.cells[0].any() and comma.cells[-1].any()
    assert comma.height - comma.rise == glyph(",", alphabet).cells.shape[0] - glyph(",", alphabet).rise


# Backstitch.


def test_neighbours_by_side_are_joined_by_corner_only_where_no_side_leads_round():
    assert lines("#.#", ".#.") == [((0, 0), (1, 1)), ((0, 2), (1, 1))]
    assert lines(".#", "#.") == [((0, 1), (1, 0))]
    assert lines("##", "##") == [((0, 0), (0, 1)), ((0, 0), (1, 0)), ((0, 1), (1, 1)), ((1, 0), (1, 1))]
    assert lines("#.", "##") == [((0, 0), (1, 0)), ((1, 0), (1, 1))]
    assert lines(".#", "##") == [((0, 1), (1, 1)), ((1, 0), (1, 1))]
    assert lines("##", "#.") == [((0, 0), (0, 1)), ((0, 0), (1, 0))]
    assert lines("#..", "..#") == [((0, 0), (1, 0)), ((0, 2), (1, 2))]


def test_a_dot_is_one_backstitch_upwards_in_the_top_row_downwards():
    assert lines("#.#", "...", "..#") == [((0, 0), (1, 0)), ((0, 2), (1, 2)), ((1, 2), (2, 2))]
    assert lines("...") == []
