"""The repeat of a strip: votes, links and words counted by hand."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.text_grids import grid, shown

from converter.compose.repeat import (
    LEAST_REPEATS,
    Repeat,
    best_cut,
    choose_rows,
    double_rows,
    find_repeat,
    link_counts,
    majority_tile,
    repeat_words,
)
from converter.errors import RequestError


def test_a_square_with_as_many_votes_for_as_against_takes_the_cross():
    tile, wrong = majority_tile(grid("#...", "##.."), 2)
    # First column: # and . in both rows; second: both bare, then # and bare.
    assert shown(tile) == ["#.", "##"] and wrong == 3
    tile, wrong = majority_tile(grid("#..#."), 3)
    assert shown(tile) == ["#.."] and wrong == 0
    tile, wrong = majority_tile(grid("#..#..."), 3)
    assert shown(tile) == ["#.."] and wrong == 1


@pytest.mark.parametrize(
    ("rows", "links"),
    [
        (("#.", "#."), [0, 0]),
        (("##", ".."), [1, 1]),
        (("#.", ".#"), [1, 1]),
        ((".#", "#."), [1, 1]),
        (("##", "##"), [4, 4]),
        (("#..", "...", "#.."), [0, 0, 0]),
        (("##.", "...", ".##"), [0, 1, 1]),
    ],
)
def test_links_across_the_line_before_each_column(rows, links):
    assert link_counts(grid(*rows)).tolist() == links


@pytest.mark.parametrize(
    ("rows", "cut"),
    [
        # Fewest links first.
        (("##.#",), 2),
        (("#.##",), 1),
        # Of three as good the one on an axis, in the middle of the bare columns.
        (("#..",), 2),
        ((".#..",), 0),
        ((".#...",), 4),
        # Of two as good the leftmost.
        ((".",), 0),
        # Without an axis the leftmost of the loosest.
        (("##.#", "#..#"), 2),
        (("#...", "##..", "###."), 0),
    ],
)
def test_where_the_repeat_is_cut(rows, cut):
    assert best_cut(grid(*rows)) == cut


def test_a_repeat_shown_one_and_a_half_times_is_believed_and_no_less():
    """The period is told with all its squares only from there on."""
    tile = np.random.default_rng(5).random((6, 8)) < 0.5
    enough = np.concatenate([tile, tile[:, :4]], axis=1)
    found = find_repeat(enough)
    assert found.tile.shape[1] == 8 and found.shown == LEAST_REPEATS == 1.5
    less = find_repeat(enough[:, :-1])
    assert less.tile.shape[1] == 11 and less.shown == 1


def test_votes_put_wrong_squares_right_and_count_them():
    tile = grid("#...", "##..", ".##.")
    strip = np.tile(tile, (1, 5))
    strip[0, 2] = strip[2, 9] = True
    strip[2, 9] = ~np.tile(tile, (1, 5))[2, 9]
    found = find_repeat(strip)
    assert found.wrong == 2 and found.shown == 5
    assert any(np.array_equal(np.roll(found.tile, k, axis=1), tile) for k in range(4))


def test_bare_rows_go_bare_columns_are_part_of_the_repeat():
    found = find_repeat(np.pad(np.tile(grid("#.."), (1, 4)), ((1, 2), (0, 0))))
    assert found.tile.shape == (1, 3) and found.wrong == 0 and found.shown == 4


@pytest.mark.parametrize(
    ("tile", "wrong", "shown_", "words"),
    [
        (("#..", ".#."), 0, 2.5, "Repeat found in 'mine': 3 x 2 stitches, shown 2.5 times."),
        (("#..", ".#."), 1, 4.0, "shown 4 times; 1 square that differed was put right."),
        (("#..", ".#."), 2, 10 / 3, "shown 3.33 times; 2 squares that differed were put right."),
        (("#..", ".#."), 0, 1.5, "Repeat found in 'mine'"),
        (("#..", ".#."), 0, 1.0, "No repeat was found in 'mine': the whole of it, 3 x 2 stitches, counts as one."),
        (("#.#", ".#."), 0, 1.49, "Leave a bare column at its end if the pieces shall not touch."),
    ],
)
def test_what_was_found_in_words(tile, wrong, shown_, words):
    told = repeat_words("mine", Repeat(grid(*tile), wrong, shown_))
    assert words in told
    assert ("Leave a bare column" in told) is (shown_ == 1.49)


def test_rows_are_counted_from_one_at_the_outside():
    tile = grid("#...", ".#..", "..##")
    assert shown(choose_rows(tile, 1, 1)) == ["#..."]
    assert shown(choose_rows(tile, 3, 3)) == ["..##"]
    assert shown(choose_rows(tile, 1, 3)) == shown(tile)
    assert shown(double_rows(tile, [1])) == ["#...", "#...", ".#..", "..##"]
    assert shown(double_rows(tile, [3, 2])) == ["#...", ".#..", ".#..", "..##", "..##"]
    assert shown(double_rows(tile, [])) == shown(tile)
    for first, last in ((0, 1), (1, 4), (3, 2)):
        with pytest.raises(RequestError):
            choose_rows(tile, first, last)
    for row in (0, 4):
        with pytest.raises(RequestError):
            double_rows(tile, [row])
