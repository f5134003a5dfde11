"""Which pieces of an edge get a line."""

from __future__ import annotations

import numpy as np
import pytest

from converter.outline.choose import _closes_lane, _is_stroke, _sweep
from converter.outline.network import Chain


def level_chain(length, solid):
    holes = np.stack([np.zeros(length + 1, dtype=int), np.arange(length + 1)], axis=1)
    return Chain(holes, np.arange(length + 1.0), holes.astype(float), solid)


@pytest.mark.parametrize(
    ("length", "piece", "kept"),
    [
        (60, 6, False),  # a tenth: one side of an arrow
        (60, 10, True),  # a sixth
        (300, 18, False),  # a sixteenth, however long
        (300, 28, True),  # less than a tenth, and long enough to be a line of its own
    ],
)
def test_an_edge_of_which_little_would_get_a_line_gets_none(length, piece, kept):
    wanted = np.zeros(length, dtype=bool)
    wanted[20 : 20 + piece] = True
    assert _sweep(wanted.copy(), level_chain(length, True), 4.0).sum() == (piece if kept else 0)
    # A stroke that no cross shows is drawn as far as it goes.
    assert _sweep(wanted.copy(), level_chain(length, False), 4.0).sum() == piece


def two_fields(gap):
    """Fields of crosses above and below bare rows, the first of which is row 8."""
    cells = np.ones((24, 40), dtype=bool)
    cells[8 : 8 + gap] = False
    return cells


def along(row, solid):
    """A chain along a level of holes."""
    chain = level_chain(40, solid)
    shift = np.array([row, 0])
    return Chain(chain.holes + shift, chain.places, chain.points + shift, solid)


@pytest.mark.parametrize("solid", [True, False])
@pytest.mark.parametrize(("gap", "closes"), [(2, True), (3, True), (6, False)])
def test_a_line_along_the_middle_of_a_narrow_bare_line_closes_it(gap, closes, solid):
    found = _closes_lane(along(8 + gap // 2, solid), two_fields(gap))
    assert found.all() if closes else not found.any()


def test_the_edge_of_an_area_may_run_along_the_side_of_a_bare_line():
    assert not _closes_lane(along(8, True), two_fields(2)).any()
    assert _closes_lane(along(8, False), two_fields(2)).all()


def test_beside_single_strokes_of_crosses_nothing_is_parted():
    cells = np.zeros((24, 40), dtype=bool)
    cells[[7, 10]] = True
    assert not _closes_lane(along(9, False), cells).any()


@pytest.mark.parametrize("thin", [True, False])
def test_thin_ink_between_two_areas_keeps_its_line(thin):
    """An edge between two colours of one broad area does not: the bare line is there to part them."""
    scale, cells = 8, two_fields(3)
    ink = cells.repeat(scale, 0).repeat(scale, 1)
    ink[9 * scale + 2 : 9 * scale + 7] = True
    chain = along(9.5, False)
    chain = Chain(along(9, False).holes, chain.places, chain.points, False)
    if not thin:
        ink[:] = True
    assert _is_stroke(chain, ink, scale) is thin
