"""Moving a motif about."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.text_grids import grid
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from converter.compose import moves
from converter.compose.ring import symmetry_name
from converter.errors import RequestError, UsageError
from converter.model.chart import Chart
from converter.model.materials import Fabric

grids = st.tuples(st.integers(1, 7), st.integers(1, 7)).flatmap(lambda shape: arrays(np.bool_, shape))


def corner_lines(shape):
    """Backstitches of all kinds on a grid: along the edge, sloping, half."""
    rows, cols = shape
    return np.array([[[0, 0], [0, 1]], [[rows - 1, cols - 1], [rows, cols]], [[0, 0], [0.5, 0.5]]], dtype=float)


LEAF = Chart(grid("#..", "##.", ".##", "..#"), lines=np.array([[[0.0, 1.0], [1.0, 2.0]]]), title="Leaf",
             fabric=Fabric(16))  # fmt: skip


def test_crop_keeps_lines_that_lie_inside():
    part = moves.crop(LEAF, (0, 1, 2, 2))
    assert np.array_equal(part.cells, grid("..", "#."))
    assert part.lines.tolist() == [[[0, 0], [1, 1]]]
    assert part.title == "Leaf" and part.fabric == LEAF.fabric
    assert len(moves.crop(LEAF, (2, 0, 2, 3)).lines) == 0
    with pytest.raises(RequestError):
        moves.crop(LEAF, (3, 0, 2, 3))


def test_trim_goes_to_the_stitches():
    chart = Chart(np.pad(LEAF.cells, 3), lines=LEAF.lines + 3)
    assert moves.trim(chart).same_stitches(LEAF)
    blank = Chart(np.zeros((2, 2), dtype=bool))
    assert moves.trim(blank) is blank


def test_leave_out_by_box_and_by_marks():
    left = moves.leave_out(LEAF, (0, 0, 2, 3))
    assert np.array_equal(left.cells, grid("...", "...", ".##", "..#"))
    assert len(left.lines) == 0
    marks = np.zeros((4, 3), dtype=bool)
    marks[3] = True
    assert len(moves.leave_out(LEAF, marks).lines) == 1
    with pytest.raises(UsageError):
        moves.leave_out(LEAF, np.zeros((2, 2), dtype=bool))


@given(grids, st.sampled_from(["upright", "level", "both"]))
def test_flipping_twice_changes_nothing(cells, mirror):
    chart = Chart(cells, lines=corner_lines(cells.shape))
    assert moves.flipped(moves.flipped(chart, mirror), mirror).same_stitches(chart)


@given(grids, st.sampled_from(["upright", "level", "both"]), st.sampled_from(["start", "end"]))
def test_made_symmetric_in_cells_and_lines(cells, mirror, keep):
    chart = Chart(cells, lines=corner_lines(cells.shape))
    made = moves.make_symmetric(chart, mirror, keep)
    assert made.cells.shape == cells.shape
    name = symmetry_name(made.cells, made.lines)
    assert name in ({"D1", "D2", "D4"} if mirror != "both" else {"D2", "D4"})
    for axis in ("upright", "level"):
        if mirror in (axis, "both"):
            turned = moves.flipped(made, axis)
            assert np.array_equal(turned.cells, made.cells)
            sets = [{tuple(sorted(map(tuple, line))) for line in c.lines.tolist()} for c in (turned, made)]
            assert sets[0] == sets[1]
    # Once symmetric, it stays as it is.
    assert np.array_equal(moves.make_symmetric(made, mirror, keep).cells, made.cells)


def test_mirror_keeps_the_half_and_may_stand_anywhere():
    cells = grid("#.##", "##..")
    assert np.array_equal(moves.make_symmetric(Chart(cells), "upright").cells, grid("#..#", "####"))
    assert np.array_equal(moves.make_symmetric(Chart(cells), "upright", "end").cells, grid("####", "...."))
    assert np.array_equal(moves.make_symmetric(Chart(cells), "upright", axis=2.5).cells, grid("#.#.#", "##.##"))
    with pytest.raises(RequestError):
        moves.make_symmetric(Chart(cells), "upright", axis=9)
    with pytest.raises(UsageError):
        moves.make_symmetric(Chart(cells), "diagonal")


@given(st.integers(1, 6), st.integers(0, 5))
def test_row_is_evenly_spaced(count, spacing):
    made = moves.repeat_row(LEAF, count, spacing)
    assert made.columns == count * 3 + (count - 1) * spacing
    assert made.cells.sum() == count * LEAF.cells.sum()
    assert len(made.lines) == count
    for k in range(count):
        at = k * (3 + spacing)
        assert np.array_equal(made.cells[:, at : at + 3], LEAF.cells)


@given(st.integers(1, 5), st.integers(15, 40))
def test_row_fills_a_room_with_spaces_alike_to_a_stitch(count, room):
    square = Chart(np.ones((2, 3), dtype=bool))
    made = moves.repeat_row(square, count, None, room)
    assert made.columns == room
    if count > 1:
        bare = "".join("#" if cell else "." for cell in made.cells[0]).split("###")[1:-1]
        spaces = np.array([len(space) for space in bare])
        assert spaces.max() - spaces.min() <= 1
        assert len(spaces) == count - 1
        assert made.cells[0, 0] and made.cells[0, -1]
    with pytest.raises(RequestError):
        moves.repeat_row(square, 20, None, 30)


def test_column_grid_and_half_drop():
    column = moves.repeat_row(LEAF, 3, 1, upright=True)
    assert column.cells.shape == (14, 3)
    assert column.lines.tolist()[1] == [[5, 1], [6, 2]]
    square = Chart(np.ones((2, 2), dtype=bool))
    plain = moves.repeat_grid(square, 3, 2, (1, 4))
    assert plain.cells.shape == (8, 8)
    dropped = moves.repeat_grid(square, 3, 3, 2, half_drop=True)
    assert dropped.cells.sum() == 4 * 8
    assert symmetry_name(dropped.cells) in ("D2", "D4")


def test_ring_mirrored_is_symmetric():
    made = moves.repeat_ring(LEAF, 4, 6, 2, mirrored=True)
    assert symmetry_name(made.cells, made.lines) == "D2"
    assert made.cells.sum() == LEAF.cells.sum() * (2 * 4 + 2 * 4)
    middle = made.cells[6:-6, 5:-5]
    assert not middle.any()
    with pytest.raises(UsageError):
        moves.repeat_ring(LEAF, 1, 3)


@given(st.integers(4, 60), st.integers(3, 60), st.integers(0, 4), st.integers(0, 3))
def test_scattered_motifs_keep_their_distance(rows, cols, spacing, seed):
    square = Chart(np.ones((4, 3), dtype=bool))
    made = moves.scatter(square, rows, cols, spacing, seed)
    assert made.cells.shape == (rows, cols)
    assert made.cells.sum() >= 12
    assert made.cells.sum() % 12 == 0
    again = moves.scatter(square, rows, cols, spacing, seed)
    assert made.same_stitches(again)
    if spacing:
        from converter.compose.judge import pieces

        assert {piece.shape for _, piece in pieces(made.cells)} == {(4, 3)}


def test_scatter_in_too_little_room():
    with pytest.raises(RequestError):
        moves.scatter(LEAF, 3, 9)


@pytest.mark.parametrize(("align", "top"), [("start", 0), ("centre", 1), ("end", 2)])
def test_join_aligns(align, top):
    tall = Chart(np.ones((4, 1), dtype=bool))
    low = Chart(np.ones((2, 2), dtype=bool))
    made = moves.join([tall, low], 1, align)
    assert made.cells.shape == (4, 4)
    assert np.flatnonzero(made.cells[:, 2]).tolist() == [top, top + 1]
    below = moves.join([tall, low], 1, align, upright=True)
    assert below.cells.shape == (7, 2)


def test_join_keeps_shared_lines_once():
    edge = Chart(np.ones((1, 1), dtype=bool), lines=np.array([[[0.0, 1.0], [1.0, 1.0]]]))
    left = Chart(np.ones((1, 1), dtype=bool), lines=np.array([[[1.0, 0.0], [0.0, 0.0]]]))
    assert len(moves.join([edge, left], 0).lines) == 1


def test_wrong_joins():
    with pytest.raises(UsageError):
        moves.join([])
    with pytest.raises(UsageError):
        moves.join([LEAF], align="middle")
    with pytest.raises(UsageError):
        moves.join([LEAF], spacing=-1)
    with pytest.raises(RequestError):
        moves.repeat_row(LEAF, 900)
