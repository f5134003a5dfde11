"""Moving motifs about: results written out as pictures, and the limits at which a request is refused."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.text_grids import grid

from converter.compose import moves
from converter.errors import RequestError, UsageError
from converter.model.chart import MAX_SIDE, Chart


def chart(*rows, lines=()):
    return Chart(grid(*rows), lines=np.array(lines, dtype=float).reshape(-1, 2, 2))


def shown(made):
    return ["".join("#" if cell else "." for cell in row) for row in made.cells]


def lines_of(made):
    return {tuple(sorted(map(tuple, line))) for line in made.lines.tolist()}


FLAG = chart("##.", "#..", "#..", "#..")


# Boxes: the whole chart is a part of it, one stitch more in any direction is not.


@pytest.mark.parametrize("box", [(0, 0, 4, 3), (0, 0, 1, 1), (3, 2, 1, 1), (1, 0, 3, 3)])
def test_boxes_up_to_the_edge_are_inside(box):
    top, left, rows, cols = box
    assert np.array_equal(moves.crop(FLAG, box).cells, FLAG.cells[top : top + rows, left : left + cols])


@pytest.mark.parametrize(
    "box",
    [(-1, 0, 2, 2), (0, -1, 2, 2), (0, 0, 5, 3), (0, 0, 4, 4), (3, 0, 2, 1), (0, 2, 1, 2), (0, 0, 0, 1), (0, 0, 1, 0)],
)
def test_boxes_beyond_the_edge_and_empty_ones_are_refused(box):
    with pytest.raises(RequestError):
        moves.crop(FLAG, box)
    with pytest.raises(RequestError):
        moves.leave_out(FLAG, box)


def test_lines_on_the_edge_of_the_cut_stay_those_that_lead_out_go():
    lines = [
        [[1, 1], [1, 3]],  # along the upper edge of the cut
        [[3, 1], [1, 1]],  # along its left edge
        [[3, 3], [1, 3]],  # right
        [[3, 1], [3, 3]],  # lower
        [[0.5, 1], [1, 1]],  # sticks out at the top
        [[1, 0.5], [1, 1]],  # left
        [[3, 3], [3, 3.5]],  # right
        [[3, 3], [3.5, 3]],  # below
    ]
    made = moves.crop(chart("....", "....", "....", "....", lines=lines), (1, 1, 2, 2))
    assert lines_of(made) == {((0, 0), (0, 2)), ((0, 0), (2, 0)), ((0, 2), (2, 2)), ((2, 0), (2, 2))}


def test_the_same_backstitch_both_ways_is_one_and_the_first_stays():
    lines = np.array([[[0, 1], [0, 0]], [[1, 1], [2, 2]], [[0, 0], [0, 1]], [[1, 1], [2, 2]]], dtype=float)
    assert moves.unique_lines(lines).tolist() == [[[0, 1], [0, 0]], [[1, 1], [2, 2]]]
    assert moves.unique_lines(np.zeros((0, 2, 2))).shape == (0, 2, 2)


# Trimming.


def test_trim_goes_to_the_lines_too_rounded_outwards():
    made = moves.trim(chart("......", "......", "..#...", "......", "......", lines=[[[2.5, 1.5], [3.5, 4.5]]]))
    # Rows 2 to 4 and columns 1 to 5 hold the cross and the whole line.
    assert shown(made) == [".#..", "...."]
    assert made.lines.tolist() == [[[0.5, 0.5], [1.5, 3.5]]]


@pytest.mark.parametrize(
    ("line", "shape", "moved"),
    [
        ([[0, 0], [0, 2]], (1, 2), [[0, 0], [0, 2]]),
        ([[2, 1], [2, 3]], (1, 2), [[0, 0], [0, 2]]),
        ([[5, 1], [5, 3]], (1, 2), [[1, 0], [1, 2]]),
        ([[1, 6], [4, 6]], (3, 1), [[0, 1], [3, 1]]),
        ([[1, 0], [4, 0]], (3, 1), [[0, 0], [3, 0]]),
    ],
)
def test_a_line_alone_keeps_one_row_or_column_of_cells(line, shape, moved):
    """On the lower and right edge of the chart these are the cells before it: there are none after it."""
    made = moves.trim(Chart(np.zeros((5, 6), dtype=bool), lines=np.array([line], dtype=float)))
    assert made.cells.shape == shape
    assert made.lines.tolist() == [moved]


# Leaving out.


@pytest.mark.parametrize(
    ("line", "stays"),
    [
        ([[1, 1], [1, 2]], True),  # between a marked cell and a bare one above
        ([[2, 1], [2, 2]], False),  # between two marked cells
        ([[1, 1], [2, 2]], False),  # across a marked cell
        ([[0, 1], [1, 2]], True),  # across a cell that is not marked
        ([[3, 1], [3, 2]], False),  # on the lower edge of the chart, under a marked cell
        ([[1, 3], [2, 3]], False),  # on its right edge, beside a marked cell
        ([[0, 0], [0, 1]], True),  # on its upper edge, over a cell that is not marked
        ([[2, 1], [3, 1]], True),  # between a marked cell and one that is not
    ],
)
def test_lines_go_if_they_touch_marked_cells_only(line, stays):
    marks = grid("...", ".##", ".##")
    made = moves.leave_out(chart("###", "###", "###", lines=[line]), marks)
    assert shown(made) == ["###", "#..", "#.."]
    assert bool(len(made.lines)) is stays
    assert bool(len(moves.leave_out(made.with_(lines=np.array([line])), (1, 1, 2, 2)).lines)) is stays


# Mirrors.


def test_flipped_by_hand():
    flag = chart("##.", "#..", lines=[[[0, 0], [1, 2]]])
    assert shown(moves.flipped(flag, "upright")) == [".##", "..#"]
    assert moves.flipped(flag, "upright").lines.tolist() == [[[0, 3], [1, 1]]]
    assert shown(moves.flipped(flag, "level")) == ["#..", "##."]
    assert moves.flipped(flag, "level").lines.tolist() == [[[2, 0], [1, 2]]]
    assert shown(moves.flipped(flag, "both")) == ["..#", ".##"]
    assert moves.flipped(flag, "both").lines.tolist() == [[[2, 3], [1, 1]]]


@pytest.mark.parametrize(
    ("axis", "keep", "expected"),
    [
        (0.5, "start", ["#", "#"]),
        (1, "start", ["##", "##"]),
        (1.5, "start", ["#.#", "###"]),
        (4, "start", ["#.####.#", "##....##"]),
        (3, "end", ["##", ".."]),
        (2.5, "end", ["###", "..."]),
        (0, "end", ["##.##.##", "..####.."]),
        (3.5, "end", ["#", "."]),
    ],
)
def test_the_mirror_stands_where_it_is_put(axis, keep, expected):
    assert shown(moves.make_symmetric(chart("#.##", "##.."), "upright", keep, axis)) == expected


def test_the_level_mirror_stands_where_it_is_put():
    assert shown(moves.make_symmetric(chart("##", "#.", ".#"), "level", "start", 1.5)) == ["##", "#.", "##"]
    assert shown(moves.make_symmetric(chart("##", "#.", ".#"), "level", "end", 2)) == [".#", ".#"]


@pytest.mark.parametrize(("axis", "keep"), [(0, "start"), (4.5, "start"), (1.25, "start"), (4, "end"), (-0.5, "end")])
def test_a_mirror_beside_the_chart_is_refused(axis, keep):
    with pytest.raises(RequestError):
        moves.make_symmetric(chart("#.##", "##.."), "upright", keep, axis)
    with pytest.raises(UsageError):
        moves.make_symmetric(FLAG, "upright", "middle")


def test_lines_are_mirrored_with_their_half():
    lines = [
        [[0, 0], [0, 1]],  # in the half that stays
        [[1, 0.5], [1, 3.5]],  # across the axis, its own image
        [[2, 1], [2, 3.5]],  # across the axis unevenly: goes
        [[0, 1], [1, 3]],  # slanting across: goes
        [[2, 2], [1, 2]],  # on the axis: stays once
        [[2, 3], [2, 4]],  # in the half that goes
    ]
    made = moves.make_symmetric(chart("....", "....", lines=lines), "upright")
    assert lines_of(made) == {((0, 0), (0, 1)), ((0, 3), (0, 4)), ((1, 0.5), (1, 3.5)), ((1, 2), (2, 2))}
    assert len(made.lines) == 4


# Composing.


def test_parts_add_up_and_may_touch_every_edge():
    made = moves.compose([(chart("##"), 0, 0), (chart("#", "#"), 0, 1), (chart("#"), 2, 2)], 3, 3)
    assert shown(made) == ["##.", ".#.", "..#"]


@pytest.mark.parametrize(("top", "left"), [(-1, 0), (0, -1), (3, 0), (0, 3)])
def test_a_part_that_sticks_out_by_one_is_refused(top, left):
    with pytest.raises(RequestError):
        moves.compose([(chart("##", "##"), top, left)], 4, 4)


def test_the_largest_grid_is_made_and_one_more_is_not():
    assert moves.compose([(FLAG, 0, 0)], MAX_SIDE, 3).rows == MAX_SIDE
    for rows, cols in ((MAX_SIDE + 1, 3), (4, MAX_SIDE + 1)):
        with pytest.raises(RequestError):
            moves.compose([(FLAG, 0, 0)], rows, cols)


# Rows, grids and rings.


def test_two_blank_cells_stand_between_neighbours_unless_she_says_otherwise():
    assert shown(moves.repeat_row(chart("#"), 3)) == ["#..#..#"]
    assert shown(moves.repeat_row(chart("#"), 2, None)) == ["#..#"]
    assert shown(moves.repeat_row(chart("#"), 2, 0)) == ["##"]
    assert shown(moves.repeat_grid(chart("#"), 2, 2)) == ["#..#", "....", "....", "#..#"]
    assert shown(moves.join([chart("#"), chart("#")])) == ["#..#"]
    assert shown(moves.repeat_ring(chart("#"), 2, 2)) == ["#..#", "....", "....", "#..#"]


@pytest.mark.parametrize(
    ("count", "room", "expected"),
    [
        (1, 4, ".#.."),
        (1, 5, "..#.."),
        (2, 2, "##"),
        (3, 5, "#.#.#"),
        (4, 8, "#.#..#.#"),  # one more: in the middle
        (4, 9, "#..#..#.#"),  # two more: the middle and one beside it
        (3, 6, "#..#.#"),
        (5, 11, "#.#..#..#.#"),
    ],
)
def test_a_row_fills_its_room_from_edge_to_edge(count, room, expected):
    assert shown(moves.repeat_row(chart("#"), count, None, room)) == [expected]
    column = moves.repeat_row(chart("#"), count, None, room, upright=True)
    assert "".join(shown(column)) == expected


def test_a_room_one_stitch_too_small_is_refused():
    assert moves.repeat_row(chart("##"), 3, None, 6).columns == 6
    with pytest.raises(RequestError):
        moves.repeat_row(chart("##"), 3, None, 5)


@pytest.mark.parametrize("made", [lambda: moves.repeat_row(FLAG, 0), lambda: moves.repeat_grid(FLAG, 0, 2),
                                  lambda: moves.repeat_grid(FLAG, 2, 0), lambda: moves.repeat_ring(FLAG, 2, 1),
                                  lambda: moves.repeat_ring(FLAG, 1, 2)])  # fmt: skip
def test_no_times_is_refused(made):
    with pytest.raises(UsageError):
        made()


def test_once_is_the_motif_itself():
    assert moves.repeat_row(FLAG, 1).same_stitches(FLAG)
    assert moves.repeat_grid(FLAG, 1, 1).same_stitches(FLAG)


def test_half_drop_by_hand():
    made = moves.repeat_grid(chart("##", "##"), 3, 3, (2, 1), half_drop=True)
    assert shown(made) == [
        "##....##",
        "##....##",
        "...##...",
        "...##...",
        "##....##",
        "##....##",
        "...##...",
        "...##...",
        "##....##",
        "##....##",
    ]
    # An odd step: half of it, rounded down.
    assert shown(moves.repeat_grid(chart("#"), 2, 2, (2, 0), half_drop=True)) == ["#.", ".#", "..", "#."]
    assert shown(moves.repeat_grid(chart("#"), 1, 2, 0, half_drop=True)) == ["#."]


def test_ring_by_hand():
    flag = chart("##", "#.")
    assert shown(moves.repeat_ring(flag, 3, 3, 1)) == [
        "##.##.##",
        "#..#..#.",
        "........",
        "##....##",
        "#.....#.",
        "........",
        "##.##.##",
        "#..#..#.",
    ]
    # The middle one of three stands as it is, the last one is a reflection.
    assert shown(moves.repeat_ring(flag, 3, 3, 1, mirrored=True)) == [
        "##.##.##",
        "#..#...#",
        "........",
        "##....##",
        "#......#",
        "........",
        "#..#...#",
        "##.##.##",
    ]
    # Of two the second is a reflection.
    assert shown(moves.repeat_ring(flag, 2, 2, 0, mirrored=True)) == ["####", "#..#", "#..#", "####"]


@pytest.mark.parametrize(
    ("align", "across", "down"),
    [
        ("start", ["#.#", "#.#", "#.."], ["###", "...", "##."]),
        ("centre", ["#.#", "#.#", "#.."], ["###", "...", "##."]),
        ("end", ["#..", "#.#", "#.#"], ["###", "...", ".##"]),
    ],
)
def test_joined_by_hand(align, across, down):
    """Parts that differ by one stitch stand above, and left of, the middle."""
    assert shown(moves.join([chart("#", "#", "#"), chart("#", "#")], 1, align)) == across
    assert shown(moves.join([chart("###"), chart("##")], 1, align, upright=True)) == down


def test_joined_without_a_space():
    assert shown(moves.join([chart("#"), chart("#.#")], 0)) == ["##.#"]


# Strewn motifs.


def test_a_field_as_large_as_the_motif_holds_it_once():
    for seed in range(3):
        assert moves.scatter_places((4, 3), 4, 3, 2, seed) == [(0, 0)]
    for rows, cols in ((3, 3), (4, 2)):
        with pytest.raises(RequestError):
            moves.scatter_places((4, 3), rows, cols, 2, 0)


def test_strewn_motifs_stand_in_staggered_rows():
    """40 x 40 cells, motifs of 4 x 3 with 2 between and at least 1 of play: 42 // 7 rows, 42 // 6 and one fewer."""
    for seed in range(5):
        places = moves.scatter_places((4, 3), 40, 40, 2, seed)
        assert len(places) == 7 + 6 + 7 + 6 + 7 + 6
        rows = [places[:7], places[7:13], places[13:20], places[20:26], places[26:33], places[33:]]
        for number, row in enumerate(rows):
            assert all(7 * number <= top <= 7 * number + 1 for top, _ in row)
            indent = 3 if number % 2 else 0
            for k, (_, left) in enumerate(row):
                assert indent + 6 * k <= left <= indent + 6 * k + 1


def test_strewn_motifs_reach_every_edge_and_keep_their_distance():
    tops, lefts = set(), set()
    for seed in range(60):
        places = moves.scatter_places((4, 3), 23, 19, 2, seed)
        tops.update(top for top, _ in places)
        lefts.update(left for _, left in places)
        for at, (top, left) in enumerate(places):
            for other_top, other_left in places[at + 1 :]:
                assert abs(top - other_top) >= 4 + 2 or abs(left - other_left) >= 3 + 2
    assert (min(tops), max(tops), min(lefts), max(lefts)) == (0, 23 - 4, 0, 19 - 3)


def test_one_column_of_strewn_motifs_is_not_staggered():
    places = moves.scatter_places((2, 2), 20, 4, 1, 3)
    assert len(places) == 21 // 4
    assert all(0 <= left <= 2 for _, left in places)
