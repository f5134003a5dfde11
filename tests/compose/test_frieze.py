"""Symmetry of strips, against trying every movement cell by cell."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.text_grids import grid
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from converter.compose.frieze import (
    FRIEZE_GROUPS,
    frieze_group,
    mirror_constant,
    primitive_tile,
    shortest_period,
)

tiles = st.tuples(st.integers(1, 5), st.integers(1, 7)).flatmap(lambda shape: arrays(np.bool_, shape))


# One strip for each group, after the decision tables of J. H. Conway, H. Burgiel, C. Goodman-Strauss, The Symmetries
# of Things (2008) and B. Gruenbaum, G. C. Shephard, Tilings and Patterns (1987); the tables from memory).
TABLE = {
    "p2mm": grid(".#.", "###", ".#."),
    "p2mg": grid("##..", "..##"),
    "p1m1": grid("#.#.", "###.", ".#.."),
    "p11m": grid("#..", ".#.", "#.."),
    "p2": grid("##...", ".#...", ".##.."),
    "p1": grid("#...", "##..", "###."),
}


def moved_group(tile):
    """Name the group by trying all movements on the cells of one repeat."""
    d, p = tile.shape

    def keeps(move):
        return all(tile[r, c] == tile[move(r, c)[0], move(r, c)[1] % p] for r in range(d) for c in range(p))

    upright = any(keeps(lambda r, c, k=k: (r, k - c)) for k in range(p))
    level = keeps(lambda r, c: (d - 1 - r, c))
    turn = any(keeps(lambda r, c, k=k: (d - 1 - r, k - c)) for k in range(p))
    glide = any(keeps(lambda r, c, k=k: (d - 1 - r, c + k)) for k in range(p))
    if upright:
        return "p2mm" if level else ("p2mg" if turn else "p1m1")
    if level:
        return "p11m"
    return "p2" if turn else ("p11g" if glide else "p1")


@pytest.mark.parametrize("group", TABLE)
def test_published_table(group):
    assert frieze_group(TABLE[group]) == group


def test_glide_alone():
    steps = grid("##....", "#.....")
    walk = np.concatenate([steps, np.zeros_like(steps)], axis=0)
    walk = walk | np.roll(walk[::-1], 3, axis=1)
    assert frieze_group(walk) == "p11g"


@given(tiles)
def test_group_equals_brute_force(tile):
    assert frieze_group(tile) == moved_group(tile)


@given(tiles, st.integers(0, 6), st.integers(1, 3))
def test_group_does_not_depend_on_cut_or_count(tile, shift, times):
    assert frieze_group(np.tile(np.roll(tile, shift, axis=1), (1, times))) == frieze_group(tile)


@given(tiles)
def test_mirror_constant_is_a_mirror(tile):
    cells = primitive_tile(tile)
    p = cells.shape[1]
    a = mirror_constant(cells)
    mirrored = [k for k in range(p) if np.array_equal(cells[:, (k - np.arange(p)) % p], cells)]
    assert mirrored == ([] if a is None else [a])


@given(tiles, st.integers(1, 4))
def test_shortest_period(tile, times):
    p = shortest_period(np.tile(tile, (1, times)))
    assert tile.shape[1] % p == 0
    assert np.array_equal(np.tile(tile[:, :p], (1, tile.shape[1] // p)), tile)


def test_all_groups_are_named():
    assert len(set(FRIEZE_GROUPS)) == 7
