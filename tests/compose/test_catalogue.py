"""The collection of strips."""

from __future__ import annotations

import numpy as np
import pytest

from converter.compose.catalogue import border_strips, parse_grid, strip_named, strips
from converter.compose.frieze import FRIEZE_GROUPS, primitive_tile
from converter.compose.rosettes import corner_piece, middle_piece, middle_width
from converter.errors import UsageError


def test_enough_strips_of_all_groups_and_depths():
    known = strips()
    assert len(known) >= 24
    assert {strip.group for strip in known.values()} == set(FRIEZE_GROUPS)
    depths = {strip.depth for strip in known.values()}
    assert depths == set(range(1, 13))
    assert {"geometric", "plant"} <= {strip.kind for strip in known.values()}


def test_strips_are_one_shortest_repeat_without_bare_edges():
    for name, tile in border_strips().items():
        assert primitive_tile(tile).shape == tile.shape, name
        assert tile[0].any() and tile[-1].any(), name
        assert not tile.flags.writeable


def test_no_two_strips_are_alike():
    tiles = list(border_strips().values())
    for at, one in enumerate(tiles):
        for other in tiles[at + 1 :]:
            if one.shape == other.shape:
                forms = (one, one[::-1], one[:, ::-1], one[::-1, ::-1])
                assert not any(
                    np.array_equal(np.roll(form, k, axis=1), other) for form in forms for k in range(one.shape[1])
                )


def test_names_are_forgiving_and_a_wrong_one_lists_all():
    assert strip_named("Tulip-Vine").name == "tulip vine"
    with pytest.raises(UsageError) as caught:
        strip_named("roses")
    assert "zigzag" in caught.value.hint


@pytest.mark.parametrize("size", range(1, 20))
def test_corner_pieces_have_all_symmetries(size):
    piece = corner_piece(size)
    assert piece.shape == (size, size)
    assert np.array_equal(piece, piece.T)
    assert np.array_equal(piece, piece[::-1])
    assert piece[0].any()


@pytest.mark.parametrize("depth", range(1, 16))
def test_middle_pieces(depth):
    for odd in (False, True):
        width = middle_width(depth, odd)
        if depth <= 2:
            assert width is None
            continue
        assert width is not None
        assert width % 2 == int(odd)
        # The least width is about half the depth and two more, never under four.
        assert width >= max(4, depth // 2 + 2)
        piece = middle_piece(depth, width)
        assert piece.shape == (depth, width)
        assert np.array_equal(piece, piece[:, ::-1])
        assert np.array_equal(piece, piece[::-1])


def test_bad_grid_names_the_row():
    with pytest.raises(UsageError, match="Row 2"):
        parse_grid(["##", "#"])
    with pytest.raises(UsageError, match="Row 1"):
        parse_grid(["#x"])
