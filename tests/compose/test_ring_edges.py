"""Rings put together from sides, drawn out; symmetries of small grids."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.text_grids import grid, shown

from converter.compose.catalogue import Strip, strips
from converter.compose.frieze import primitive_tile
from converter.compose.profile import profile_of
from converter.compose.ring import Ring, _blocked, _mitred, symmetry_name
from converter.compose.sides import Corner, Move, Side, draw_side


def side(length, phi=0, move=Move.PLAIN, clash=0, **more):
    return Side(length=length, phi=phi, move=move, cost=0.0, clash=clash, **more)


def test_mitred_sides_meet_on_the_diagonal():
    top, left = grid("#.##.#", ".####."), grid("#.#.#", ".###.")
    assert shown(_mitred((5, 6), top, left)) == [
        "#.##.#",
        ".####.",
        "##..##",
        ".####.",
        "#.##.#",
    ]


def test_block_corners_and_runs_in_the_middle_of_their_sides():
    piece = grid("##", "#.")
    made = _blocked((8, 9), piece, grid("#.#", "###"), grid("##", "#."))
    assert shown(made) == [
        "##.#.#.##",
        "#..###..#",
        ".........",
        "##.....##",
        "#.......#",
        ".........",
        "#..###..#",
        "##.#.#.##",
    ]


def strip(*rows, name="mine"):
    return profile_of(Strip(name, primitive_tile(grid(*rows))))


def test_a_ring_whose_sides_run_one_way_round():
    """Separate pieces: every side is the one before it turned by a quarter, and owns the corner it begins at."""
    profile = strip("##.", "#..")
    ring = Ring(profile, Corner.TURNED, side(5), side(4), (3, 4), 0.0)
    assert ring.depth == 2
    cells, own = ring.draw()
    assert not own.any()
    assert shown(cells) == [
        "##.##.##",
        "#..#...#",
        "........",
        "##....##",
        "........",
        "#...#..#",
        "##.##.##",
    ]
    # Down the right side from the top, read from outside, runs the side as it is drawn.
    assert np.array_equal(np.rot90(cells, 1)[:2, :4], draw_side(profile, ring.upright, Corner.TURNED)[0])


def test_a_running_line_turned_is_cut_along_the_diagonals():
    profile = strip("####", "#...")
    ring = Ring(profile, Corner.TURNED, side(9), side(9), (5, 5), 0.0)
    cells = ring.draw()[0]
    assert cells[0, :-1].all() and cells[:-1, -1].all() and cells[-1].all() and cells[:, 0].all()
    assert symmetry_name(cells) in ("C4", "D4")
    # Row 1 of the top side runs from the second column to the last but two.
    assert np.flatnonzero(cells[1, 1:-1]).tolist()[0] == 3


def test_a_ring_is_whole_if_both_its_sides_are():
    profile = strip("##.")
    for level, upright, whole in ((Move.PLAIN, Move.PLAIN, True), (Move.PLAIN, Move.MIDDLE, False),
                                  (Move.WIDEN, Move.PLAIN, False)):  # fmt: skip
        ring = Ring(profile, Corner.MITRE, side(7, move=level), side(7, move=upright), (5, 5), 0.0)
        assert ring.whole is whole


def test_clash_of_a_ring_is_that_of_its_sides_and_of_a_mitred_corner():
    profile = profile_of(strips()["scallops"])
    dirty = next(phi for phi, spot in enumerate(profile.mitres) if spot.clash)
    sides = side(20, dirty, clash=1), side(20, dirty, clash=2)
    assert Ring(profile, Corner.MITRE, *sides, (10, 10), 0.0).clash == 3 + profile.mitres[dirty].clash
    assert Ring(profile, Corner.BLOCK, *sides, (10, 10), 0.0).clash == 3


def test_nothing_of_a_drawn_ring_can_be_changed():
    ring = Ring(strip("##."), Corner.MITRE, side(7), side(7), (5, 5), 0.0)
    for array in ring.draw():
        assert not array.flags.writeable
    assert ring.draw() is ring.draw()


# The group of each small grid, told by eye.
@pytest.mark.parametrize(
    ("rows", "name"),
    [
        (("#",), "D4"),
        (("##",), "D2"),
        (("#.#", "...", "#.#"), "D4"),
        (("#.", "..", "#."), "D1"),
        (("##", ".."), "D1"),
        (("#.", "#."), "D1"),
        (("##", "#."), "D1"),
        (("##.", "#..", "..."), "D1"),
        ((".##", "..#", "..."), "D1"),
        (("##.", "#.#", ".##"), "D2d"),
        (("#..", ".#.", "..#"), "D2d"),
        (("#..", "...", "..#"), "D2d"),
        ((".#.#", "....", "....", "#.#."), "C2"),
        (("#..", "..#"), "C2"),
        (("##..", "...#", "#...", "..##"), "C2"),
        ((".#..", "...#", "#...", "..#."), "C4"),
        (("##.", "...", "..."), "C1"),
        (("#..", "..."), "C1"),
    ],
)
def test_symmetry_of_small_grids(rows, name):
    assert symmetry_name(grid(*rows)) == name


@pytest.mark.parametrize(
    ("lines", "name"),
    [
        ([], "D4"),
        ([[[0, 1], [1, 1]]], "D1"),
        ([[[1, 0], [1, 2]], [[0, 1], [2, 1]]], "D4"),
        ([[[1, 0], [1, 2]]], "D2"),
        ([[[0, 0], [2, 2]]], "D2d"),
        ([[[0, 2], [2, 0]]], "D2d"),
        ([[[0, 0], [1, 1]]], "D1"),
        ([[[0, 2], [1, 1]]], "D1"),
        ([[[0, 0], [0, 1]], [[2, 1], [2, 2]]], "C2"),
        ([[[0, 0], [0, 1]], [[0, 2], [1, 2]], [[2, 2], [2, 1]], [[2, 0], [1, 0]]], "C4"),
        ([[[0, 0], [0, 1]]], "C1"),
        ([[[0, 1], [1, 0]], [[0, 1], [1, 2]]], "D1"),
    ],
)
def test_lines_break_the_symmetry_of_a_square(lines, name):
    assert symmetry_name(np.ones((2, 2), dtype=bool), np.array(lines, dtype=float).reshape(-1, 2, 2)) == name


@pytest.mark.parametrize(
    ("lines", "name"),
    [
        ([[[0, 1], [0, 2]]], "D1"),
        ([[[0, 1], [1, 1]], [[0, 2], [1, 2]]], "D2"),
        ([[[0, 0], [0, 1]], [[1, 2], [1, 3]]], "C2"),
        ([[[0, 0], [1, 0]]], "D1"),
    ],
)
def test_lines_on_an_oblong(lines, name):
    assert symmetry_name(np.ones((1, 3), dtype=bool), np.array(lines, dtype=float)) == name
