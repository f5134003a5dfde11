"""A plan's geometry and words, built from parts whose place is known."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.text_grids import grid

from converter.compose.bands import CornerBand, FittedStrip, FrameBand
from converter.compose.catalogue import strips
from converter.compose.plan import BorderPlan, Gaps
from converter.compose.profile import profile_of
from converter.compose.ring import NO_LINES, Ring
from converter.compose.sides import Corner, Move, Side

LINE = (FrameBand(),)


def plan(across, up, wanted, rings=LINE, motif=("##", "##"), lines=NO_LINES, **more):
    return BorderPlan(grid(*motif), lines, tuple(rings), Gaps(*across), Gaps(*up), wanted, 0.0, **more)


def nested():
    """A motif 2 x 3; a gap of 2 (3 up), a corner piece ring 4 deep, a gap of 1, two lines 1 deep."""
    inner = CornerBand(np.ones((4, 4), dtype=bool)).best_ring(3 + 4, 2 + 6)
    outer = FrameBand(True).best_ring(7 + 8 + 2, 8 + 8 + 2)
    line = np.array([[[0.0, 0.0], [1.0, 1.0]]])
    return plan(((2, 1),), ((3, 1),), (2, 1), (inner, outer), ("###", "#.#"), line)


def test_every_ring_stands_in_its_place():
    made = nested()
    assert made.shape == (2 + 6 + 8 + 2 + 2, 3 + 4 + 8 + 2 + 2)
    # One deep and a gap of one lie outside the inner ring.
    assert made.ring_corner(1) == (0, 0) and made.ring_corner(0) == (2, 2)
    assert made.motif_box == (1 + 1 + 4 + 3, 1 + 1 + 4 + 2, 2, 3)
    assert made.cells.shape == made.shape
    expected = np.zeros(made.shape, dtype=bool)
    for rows in (slice(2, 6), slice(-6, -2)):
        for cols in (slice(2, 6), slice(-6, -2)):
            expected[rows, cols] = True
    assert np.array_equal(made.border_cells, expected) and np.array_equal(made.own_pieces, expected)
    expected[9:11, 8:11] = grid("###", "#.#")
    assert np.array_equal(made.cells, expected)
    assert made.lines[0].tolist() == [[9, 8], [10, 9]]
    rest = {tuple(sorted(map(tuple, line))) for line in made.lines[1:].tolist()}
    assert ((0, 0), (0, 1)) in rest and ((1, 1), (1, 2)) in rest and ((4, 7), (4, 8)) in rest
    assert made.border_lines.shape[0] == len(made.lines) - 1
    assert made.symmetry == "D2" and made.whole


def test_nothing_of_a_plan_can_be_changed():
    made = nested()
    for array in (made.cells, made.border_cells, made.own_pieces, made.lines):
        assert not array.flags.writeable


def test_a_gap_that_differs_between_the_axes_moves_rows_and_columns_apart():
    inner, outer = FrameBand().best_ring(2 + 2, 2 + 4), FrameBand().best_ring(4 + 6, 6 + 8)
    made = plan(((1, 3),), ((2, 4),), (1, 3), (inner, outer))
    assert made.shape == (2 + 4 + 8, 2 + 2 + 6)
    assert made.ring_corner(0) == (4, 3) and made.motif_box == (6, 4, 2, 2)


@pytest.mark.parametrize(
    ("across", "up", "fixed", "words"),
    [
        ((3,), (3,), False, ()),
        ((2,), (2,), False, ("gap 2 in place of 3",)),
        ((2,), (3,), False, ("gap 2 left and right, 3 above and below, in place of 3",)),
        ((3,), (4,), False, ("gap 3 left and right, 4 above and below, in place of 3",)),
        ((7,), (7,), True, ("gap 7",)),
        ((7,), (5,), True, ("gap 7 left and right, 5 above and below",)),
    ],
)
def test_gaps_in_words(across, up, fixed, words):
    assert plan((across,), (up,), (3,), fixed=fixed).deviations == words


def test_later_gaps_in_words():
    rings = (FrameBand(), FrameBand())
    assert plan(((3, 1),), ((3, 1),), (3, 2), rings).deviations == ("before border 2 gap 1 in place of 2",)
    made = plan(((3, 1),), ((3, 2),), (3, 2), rings, fixed=True)
    assert made.deviations == ("before border 2 gap 1 left and right, 2 above and below, in place of 2",)


@pytest.mark.parametrize(
    ("column", "row", "words"),
    [
        (0, 0, ()),
        (1, 0, ("a blank column right of the motif, so it stands half a stitch left of the middle",)),
        (0, 1, ("a blank row below the motif, so it stands half a stitch above the middle",)),
        (
            1,
            1,
            ("a blank column right of the motif and a blank row below it, so it stands half a stitch off the middle",),
        ),
    ],
)
def test_pad_rows_in_words_and_on_the_grid(column, row, words):
    made = plan(((3,), column), ((3,), row), (3,), (FrameBand().best_ring(8 + column, 8 + row),))
    assert made.deviations == words
    assert made.shape == (8 + row, 8 + column)
    assert made.motif_box == (3, 3, 2, 2)


@pytest.mark.parametrize(
    ("column", "row", "motif", "words"),
    [
        (1, 0, ["#.##.#"[:3] + "#"[:0], "###"], "the middle column of the motif doubled"),
        (0, 1, ["###", "#.#"], "the middle row of the motif doubled"),
        (1, 1, ["###", "#.#"], "the middle column and row of the motif doubled"),
    ],
)
def test_a_doubled_middle_in_words_and_on_the_grid(column, row, motif, words):
    rows = ("#.#", "###", "#.#")
    made = plan(((0,), column), ((0,), row), (0,), (FrameBand().best_ring(3 + column, 3 + row),), rows, doubled=True)
    assert made.deviations == (words,)
    cells = grid(*rows)
    if column:
        cells = cells[:, [0, 1, 1, 2]]
    if row:
        cells = cells[[0, 1, 1, 2]]
    assert np.array_equal(made.cells, cells)
    # Of an even motif one of the two middle columns, which are alike.
    even = plan(((0,), 1), ((0,), 0), (0,), (FrameBand().best_ring(5, 1),), ("#..#",), doubled=True)
    assert np.array_equal(even.cells, grid("#...#"))
    assert plan(((0,),), ((0,),), (0,), doubled=True).deviations == ()


def strip_ring(name, depth_left_out=0, move=Move.PLAIN):
    profile = profile_of(strips()[name])
    side = Side(length=40, phi=0, move=move, cost=0.0, clash=0)
    return FittedStrip(Ring(profile, Corner.BLOCK, side, side, (40, 40), 0.0), "", depth_left_out)


def test_notes_of_what_stands_and_of_what_is_left_of_it():
    assert plan(((3,),), ((3,),), (3,), (strip_ring("zigzag"),)).notes == ()
    hearts = plan(((3,),), ((3,),), (3,), (strip_ring("hearts"),)).notes
    assert hearts == ("The hearts stand head outwards: they lie on their side left and right.",)
    # Three of six rows are half of it; of seven rows three left out are less.
    assert "Only 3 of the 6 rows of 'zigzag' have room" in plan(
        ((3,),), ((3,),), (3,), (strip_ring("zigzag", 3),)
    ).notes[0]  # fmt: skip
    assert plan(((3,),), ((3,),), (3,), (strip_ring("zigzag", 2),)).notes == ()


def test_the_line_that_describes_a_plan():
    rings = (FrameBand(), FrameBand(True))
    made = plan(((3, 1),), ((3, 1),), (3, 1), (FrameBand().best_ring(8, 8), FrameBand(True).best_ring(10, 10)))
    assert made.corners == "a line in backstitch; two lines in backstitch"
    assert made.describe() == (
        "12 x 12 stitches, a line in backstitch; two lines in backstitch: nothing had to be changed."
    )
    alike = plan(((3, 1),), ((3, 1),), (3, 1), (rings[0], rings[0]))
    assert alike.corners == "a line in backstitch"
    told = plan(((3,),), ((2,),), (3,), like=4)
    assert told.changes == "as plan 4, with another part of the repeat at the corners"
    assert "2 above" in plan(((3,),), ((2,),), (3,)).changes
    both = plan(((2,), 1), ((2,),), (3,))
    assert both.changes.count("; ") == 1


def test_words_of_several_borders_name_the_border():
    rings = (strip_ring("zigzag", move=Move.REVERSAL), strip_ring("zigzag", move=Move.BARE))
    made = plan(((3, 1),), ((3, 1),), (3, 1), rings)
    assert made.deviations == (
        "border 1: the strip turns back on itself in the middle of each side",
        "border 2: every side is too short for the strip and stays bare",
    )
    assert not made.whole
