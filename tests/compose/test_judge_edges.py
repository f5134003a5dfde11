"""Features, shapes and verdicts against slow definitions and published counts."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from helpers.text_grids import grid

from converter.compose.catalogue import strips
from converter.compose.judge import (
    _SAME_FORM,
    StripMeasure,
    _form_numbers,
    _labelled,
    line_features,
    pieces,
    shape_key,
)

ROUND = ((-1, -1), (-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1))


def slow_features(cells):
    """Lone, end, fork (three and more separate arms round it) and solid, from the words of the definition."""
    wide = np.pad(cells, 1)
    out = np.zeros((*cells.shape, 4), dtype=bool)
    for r, c in np.argwhere(cells).tolist():
        ring = [bool(wide[1 + r + dr, 1 + c + dc]) for dr, dc in ROUND]
        arms = sum(ring[k] and not ring[k - 1] for k in range(8))
        square = wide[r + 1 : r + 3, c + 1 : c + 3].all()
        out[r, c] = (not any(ring), sum(ring) == 1, arms >= 3, square)
    return out


def test_features_equal_their_definition():
    rng = np.random.default_rng(11)
    for share in (0.2, 0.4, 0.6, 0.9):
        cells = rng.random((17, 23)) < share
        assert np.array_equal(line_features(cells), slow_features(cells))


def all_squares():
    for bits in itertools.product((False, True), repeat=9):
        yield np.array(bits).reshape(3, 3)


def test_as_many_forms_of_three_by_three_as_are_known():
    """Binary 3 x 3 squares up to turning and mirroring: 102 (OEIS A054247; from memory)."""
    keys = {shape_key(np.ascontiguousarray(square)) for square in all_squares()}
    assert len(keys) == 102
    codes = set()
    for square in all_squares():
        code = sum(int(square[1 + dr, 1 + dc]) << bit for bit, (dr, dc) in enumerate(ROUND)) + 256 * int(square[1, 1])
        codes.add(int(_SAME_FORM[code]))
    assert len(codes) == 102


def test_surrounds_of_all_eight_forms_are_the_same():
    rng = np.random.default_rng(3)
    for _ in range(60):
        square = rng.random((3, 3)) < 0.5
        forms = [np.rot90(each, k) for each in (square, square.T) for k in range(4)]
        codes = {
            int(
                _SAME_FORM[
                    sum(int(f[1 + dr, 1 + dc]) << bit for bit, (dr, dc) in enumerate(ROUND)) + 256 * int(f[1, 1])
                ]
            )
            for f in forms
        }
        assert len(codes) == 1


def test_shapes_of_another_size_have_another_key():
    for one, other in (((1, 8), (2, 4)), ((2, 3), (1, 6)), ((1, 3), (1, 4))):
        assert shape_key(np.ones(one, dtype=bool)) != shape_key(np.ones(other, dtype=bool))
    assert shape_key(np.ones((2, 3), dtype=bool)) == shape_key(np.ones((3, 2), dtype=bool))


def test_pieces_come_from_the_top_then_from_the_left():
    found = pieces(grid("...#.", "#....", "##.##", "......"[:5]))
    assert [(box[0].start, box[1].start, box[0].stop, box[1].stop) for box, _ in found] == [
        (0, 3, 1, 4),
        (1, 0, 3, 2),
        (2, 3, 3, 5),
    ]
    # Another piece that lies in the box of the first is no part of it.
    ring = pieces(grid("###", "#.#", "###"))
    assert len(ring) == 1
    inside = pieces(grid("#####", "#...#", "#.#.#", "#...#", "#####"))
    assert [int(piece.sum()) for _, piece in inside] == [16, 1]


def test_equal_pieces_have_equal_numbers_wherever_they_lie():
    rng = np.random.default_rng(9)
    sheet = np.zeros((300, 400), dtype=bool)
    shapes = [rng.random((4, 5)) < 0.6 for _ in range(6)]
    placed = {}
    for k in range(30):
        sheet[10 * k % 290 : 10 * k % 290 + 4, (13 * k) % 390 : (13 * k) % 390 + 5] = shapes[k % 6]
    labels, stats = _labelled(sheet)
    numbers = _form_numbers(labels, stats)
    for at in range(1, len(stats)):
        left, top, width, height, _ = stats[at].tolist()
        key = (height, width, (labels[top : top + height, left : left + width] == at).tobytes())
        placed.setdefault(key, set()).add(float(numbers[at]))
    assert all(len(values) == 1 for values in placed.values())
    assert len({min(values) for values in placed.values()}) == len(placed) > 3


def test_what_a_strip_is_made_of():
    dots = StripMeasure(grid("#."))
    assert (dots.smallest, dots.widest, dots.running, dots.has.tolist()) == (1, 1, False, [True, False, False, False])
    bar = StripMeasure(grid("#"))
    # One repeat of an endless bar is one cross.
    assert (bar.smallest, bar.widest, bar.running, bar.has.tolist()) == (1, 0, True, [False] * 4)
    both = StripMeasure(grid("##", "..", "#."))
    assert (both.smallest, both.widest, both.running) == (1, 1, True)
    dashes = StripMeasure(grid("###."))
    assert (dashes.smallest, dashes.widest, dashes.has.tolist()) == (3, 3, [False, True, False, False])
    blocks = StripMeasure(grid("##..", "##.."))
    assert (blocks.smallest, blocks.widest, blocks.has.tolist()) == (4, 2, [False, False, False, True])
    trees = StripMeasure(grid("#.#.", ".#..", ".#.."))
    assert trees.has.tolist() == [False, True, True, False]


@pytest.mark.parametrize("name", ["zigzag", "ladder", "rope", "tulip vine", "key"])
def test_a_running_line_counts_by_the_repeat(name):
    tile = strips()[name].tile
    measure = StripMeasure(tile)
    assert measure.running and measure.smallest == tile.sum()


def judged(tile, cells, edges=None, count=None):
    found = StripMeasure(tile).judge(cells, np.zeros_like(cells) if edges is None else edges, count)
    return found.clash, found.broken, found.foreign, found.novelty


def test_a_piece_as_small_as_the_smallest_is_whole_one_cross_less_is_broken():
    tile = grid("###.", "###.")
    assert judged(tile, np.pad(grid("###", "###"), 1))[1:3] == (False, 0)
    clash, broken, foreign, _ = judged(tile, np.pad(grid("###", "##."), 1))
    assert (clash, broken, foreign) == (0, True, 1)
    # As many crosses, another shape: foreign, but not broken.
    assert judged(tile, np.pad(grid("######"), 1))[1:3] == (False, 1)
    # Turned by a quarter it is the same piece.
    assert judged(tile, np.pad(grid("##", "##", "##"), 1))[1:3] == (False, 0)


def test_a_middle_column_may_be_doubled_no_other():
    tile = grid("..#..", ".###.", "..#..")
    assert judged(tile, np.pad(grid(".##.", "####", ".##."), 1))[1:3] == (False, 0)
    assert judged(tile, np.pad(grid("..#", "###", "..#"), 1))[2] == 1
    assert judged(tile, np.pad(grid(".#..", "####", ".#.."), 1))[2] == 1
    assert judged(tile, np.pad(grid(".###.", "#####", ".###."), 1))[2] == 1


def test_two_pieces_grown_together_are_foreign_and_each_counts():
    tile = grid("##.", "##.")
    assert judged(tile, grid("......", ".####.", ".####.", "......"))[2] == 1
    assert judged(tile, grid("...........", ".####.####.", ".####.####.", "..........."))[2] == 2
    assert judged(tile, grid("....", ".##.", ".##.", "...."))[2] == 0


def test_what_reaches_an_open_edge_is_not_judged_nor_crosses_beside_it():
    tile = grid("##.", "##.")
    cells = grid("#.....", "..#...", "......")
    open_left, none = np.zeros_like(cells), np.zeros_like(cells)
    open_left[:, 0] = True
    assert judged(tile, cells, none)[:3] == (2, True, 2)
    # The left cross lies at the edge; the other is two columns from it and is judged.
    assert judged(tile, cells, open_left)[:3] == (1, True, 1)
    open_left[:, 1] = True
    # Now it lies beside the edge: its shape is told, its surround is not.
    assert judged(tile, cells, open_left)[:3] == (0, True, 1)


def test_clash_is_counted_where_asked_and_once_for_each_kind():
    tile = grid("###")
    cells = grid("#....", "..##.", "..##.", ".....")
    none = np.zeros_like(cells)
    # A lone cross and a solid square; a line knows neither.
    assert judged(tile, cells)[0] == 2
    right = np.zeros_like(cells)
    right[:, 2:] = True
    assert judged(tile, cells, none, right)[0] == 1
    assert judged(tile, cells, none, ~right)[0] == 1
    # A corner on the diagonal is the end of a line that is solid as well: three squares of a 2 x 3 block are two.
    assert judged(tile, np.pad(grid("###", "###"), 1))[0] == 2


def test_novelty_counts_crosses_with_a_surround_the_strip_has_not():
    tile = grid("...", "###", "...")
    row = grid(".....", "#####", ".....")
    edges = np.zeros_like(row)
    edges[:, [0, -1]] = True
    assert judged(tile, row, edges)[3] == 0
    # The same line upright is no novelty, a slanting one is.
    assert judged(tile, np.ascontiguousarray(row.T), np.ascontiguousarray(edges.T))[3] == 0
    slant = np.eye(7, dtype=bool)
    edges = np.zeros_like(slant)
    edges[0] = edges[-1] = edges[:, 0] = edges[:, -1] = True
    assert judged(tile, slant, edges)[3] == 3
