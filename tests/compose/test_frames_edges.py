"""Frames and corner pieces, every backstitch written out."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.text_grids import grid, shown

from converter.compose import fit_borders
from converter.compose.frames import CornerBand, FrameBand, rectangle_lines


def level(row, *columns):
    return [((row, c), (row, c + 1)) for c in columns]


def upright(col, *rows):
    return [((r, col), (r + 1, col)) for r in rows]


def lines_of(lines):
    found = [tuple(sorted(map(tuple, line))) for line in np.asarray(lines).tolist()]
    assert len(set(found)) == len(found)
    return set(found)


def test_a_rectangle_goes_round_from_the_top_left():
    assert rectangle_lines(1, 2, 3, 5).tolist() == [
        [[1, 2], [1, 3]],
        [[1, 3], [1, 4]],
        [[1, 4], [1, 5]],
        [[1, 5], [2, 5]],
        [[2, 5], [3, 5]],
        [[3, 5], [3, 4]],
        [[3, 4], [3, 3]],
        [[3, 3], [3, 2]],
        [[3, 2], [2, 2]],
        [[2, 2], [1, 2]],
    ]


def test_one_line_takes_no_cells():
    band = FrameBand()
    assert band.depth == 0 and band.whole and band.words() == [] and band.drawn_check() == (False, 0)
    ring = band.best_ring(3, 2)
    cells, own = ring.draw()
    assert cells.shape == own.shape == (2, 3) and not cells.any() and not own.any()
    expected = {*level(0, 0, 1, 2), *level(2, 0, 1, 2), *upright(0, 0, 1), *upright(3, 0, 1)}
    assert lines_of(ring.stitch_lines()) == expected


def test_two_lines_stand_one_cell_apart():
    band = FrameBand(True)
    assert band.depth == 1
    ring = band.best_ring(2, 1)
    assert ring.draw()[0].shape == (3, 4)
    outer = {*level(0, 0, 1, 2, 3), *level(3, 0, 1, 2, 3), *upright(0, 0, 1, 2), *upright(4, 0, 1, 2)}
    inner = {*level(1, 1, 2), *level(2, 1, 2), *upright(1, 1), *upright(3, 1)}
    assert lines_of(ring.stitch_lines()) == outer | inner


def test_frames_cost_nothing_and_corner_pieces_need_three_cells_between_them():
    assert FrameBand().best_costs([1, 2, 3], [4, 5]).tolist() == [[0, 0], [0, 0], [0, 0]]
    costs = CornerBand(grid("#")).best_costs([2, 3, 4], [2, 3])
    assert costs.tolist() == [[np.inf, np.inf], [np.inf, 0], [np.inf, 0]]
    for band in (FrameBand(), CornerBand(grid("#"))):
        assert band.whole and band.cost == 0 and band.words() == [] and band.drawn_check() == (False, 0)


def test_corner_pieces_are_reflected_into_their_corners():
    ring = CornerBand(grid("##", "#.")).best_ring(3, 4)
    cells, own = ring.draw()
    assert shown(cells) == [
        "##...##",
        "#.....#",
        ".......",
        ".......",
        ".......",
        ".......",
        "#.....#",
        "##...##",
    ]
    assert shown(own) == ["##...##"] * 2 + ["......."] * 4 + ["##...##"] * 2
    standing = CornerBand(grid("##", "#."), upright=True).best_ring(3, 4)
    assert shown(standing.draw()[0])[-2:] == ["##...##", "#.....#"]


def test_lines_between_even_pieces_run_on_the_axis_a_cell_away_from_them():
    ring = CornerBand(grid("##", "##")).best_ring(5, 4)
    # 8 rows and 9 columns; axes at 1; pieces end at 2, so the lines begin at 3.
    expected = {*level(1, 3, 4, 5), *level(7, 3, 4, 5), *upright(1, 3, 4), *upright(8, 3, 4)}
    assert lines_of(ring.stitch_lines()) == expected


def test_odd_pieces_get_a_pair_of_lines():
    ring = CornerBand(grid("###", "###", "###")).best_ring(4, 3)
    # 9 rows and 10 columns; the middle cell lies between 1 and 2.
    rows = {*level(1, 4, 5), *level(2, 4, 5), *level(7, 4, 5), *level(8, 4, 5)}
    cols = {*upright(1, 4), *upright(2, 4), *upright(8, 4), *upright(9, 4)}
    assert lines_of(ring.stitch_lines()) == rows | cols


def test_pieces_alone_have_no_lines():
    ring = CornerBand(grid("##", "##"), lines=False).best_ring(5, 4)
    assert ring.stitch_lines().shape == (0, 2, 2)


@pytest.mark.parametrize(
    ("band", "words"),
    [
        (FrameBand(), "a line in backstitch"),
        (FrameBand(True), "two lines in backstitch"),
        (CornerBand(np.ones((4, 4), bool)), "corner pieces of 4 x 4 with a line in backstitch between them"),
        (CornerBand(np.ones((5, 5), bool)), "corner pieces of 5 x 5 with a pair of lines in backstitch between them"),
        (CornerBand(np.ones((4, 4), bool), lines=False), "corner pieces of 4 x 4"),
    ],
)
def test_what_it_is_called(band, words):
    assert band.corner_words() == words


def test_frames_by_name_round_a_motif():
    single, double = (fit_borders((5, 7), name, gap=2, count=1)[0] for name in ("line", " Double Line "))
    assert single.shape == (9, 11) and single.motif_box == (2, 2, 5, 7)
    assert double.shape == (11, 13) and double.motif_box == (3, 3, 5, 7)
    assert len(single.lines) == 2 * (9 + 11) and len(double.lines) == 2 * (11 + 13) + 2 * (9 + 11)
    assert single.corners == "a line in backstitch" and double.corners == "two lines in backstitch"
