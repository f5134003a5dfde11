"""Finding, cutting and changing the repeat of a strip."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.text_grids import grid

from converter.compose.catalogue import strips
from converter.compose.frieze import primitive_tile
from converter.compose.repeat import best_cut, choose_rows, double_rows, find_repeat, link_counts, majority_tile
from converter.errors import RequestError


def same_strip(one, other):
    return any(np.array_equal(np.roll(one, k, axis=1), other) for k in range(one.shape[1]))


@pytest.mark.parametrize("name", strips())
def test_repeat_of_every_strip_at_two_and_a_half_with_two_percent_wrong(name):
    tile = strips()[name].tile
    rng = np.random.default_rng(len(name))
    p = tile.shape[1]
    for _ in range(5):
        start = int(rng.integers(p))
        shown = np.take(tile, np.arange(start, start + -(-5 * p // 2)) % p, axis=1).copy()
        at = rng.choice(shown.size, int(0.02 * shown.size), replace=False)
        shown.flat[at] = ~shown.flat[at]
        assert find_repeat(shown).tile.shape[1] == p


def test_whole_strip_comes_back_exactly():
    for strip in strips().values():
        found = find_repeat(np.tile(strip.tile, (1, 3)))
        assert found.wrong == 0
        assert same_strip(found.tile, strip.tile)


def test_strip_without_repeat_comes_back_whole():
    once = grid("#..#.##", "##.#...", "#.#..##")
    found = find_repeat(once)
    assert found.tile.shape == once.shape
    assert found.shown == 1


def test_blank_rows_round_the_strip_go():
    tile = grid("#..", ".#.")
    shown = np.pad(np.tile(tile, (1, 4)), ((2, 3), (0, 0)))
    assert same_strip(find_repeat(shown).tile, tile)


def test_no_stitch_is_refused():
    with pytest.raises(RequestError):
        find_repeat(np.zeros((3, 12), dtype=bool))


def test_majority_puts_a_wrong_square_right():
    tile = grid("#..", ".##")
    shown = np.tile(tile, (1, 3))
    shown[0, 1] = True
    found, wrong = majority_tile(shown, 3)
    assert wrong == 1
    assert np.array_equal(found, tile)


def test_cut_goes_between_pieces():
    hearts = np.roll(strips()["hearts"].tile, 3, axis=1)
    cut = best_cut(hearts)
    assert link_counts(hearts)[cut] == 0


def test_link_counts_by_hand():
    # Columns 0-1 touch by side once and by corner once, columns 1-0 (round the end) not at all.
    assert link_counts(grid("##.", "#..")).tolist() == [0, 2, 0]


def test_choose_and_double_rows():
    tile = grid("#...", ".#.#", "..#.")
    assert np.array_equal(choose_rows(tile, 2, 2), grid(".#"))
    assert np.array_equal(double_rows(tile, [1, 3]), tile[[0, 0, 1, 2, 2]])
    for first, last in ((0, 1), (2, 4), (3, 2)):
        with pytest.raises(RequestError):
            choose_rows(tile, first, last)
    with pytest.raises(RequestError):
        double_rows(tile, [4])
    with pytest.raises(RequestError):
        choose_rows(grid("#.", "..", "#."), 2, 2)


def test_chosen_rows_are_one_shortest_repeat():
    for strip in strips().values():
        kept = choose_rows(strip.tile, 1, 1) if strip.tile[0].any() else strip.tile
        assert primitive_tile(kept).shape == kept.shape
