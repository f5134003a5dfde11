"""Fitted strips in words, and the largest strip that is taken."""

from __future__ import annotations

import numpy as np
import pytest

from converter.compose.bands import (
    MOST_DEPTH,
    MOST_PERIOD,
    FittedStrip,
    FrameBand,
    StripBand,
    as_band,
    as_corners,
    as_strip,
    check_drawn,
)
from converter.compose.catalogue import strips
from converter.compose.profile import profile_of
from converter.compose.ring import Ring
from converter.compose.sides import Corner, Move, Side
from converter.errors import RequestError, UsageError


def side(move=Move.PLAIN, **more):
    values = {"length": 40, "phi": 0, "cost": 0.0, "clash": 0, **more}
    return Side(move=move, **values)


def told(level, upright=None, name="tulips", corner=Corner.MITRE, dropped=""):
    ring = Ring(profile_of(strips()[name]), corner, level, upright or level, (40, 40), 1.5)
    return FittedStrip(ring, dropped)


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (side(), []),
        (side(Move.MIDDLE, shift=1), ["one column more in the middle of each side"]),
        (side(Move.MIDDLE, shift=-1), ["one column fewer in the middle of each side"]),
        (side(Move.MIDDLE, shift=2), ["2 columns more in the middle of each side"]),
        (side(Move.MIDDLE, shift=-3), ["3 columns fewer in the middle of each side"]),
        (side(Move.REVERSAL), ["the strip turns back on itself in the middle of each side"]),
        (side(Move.CENTRE, piece=9), ["a piece 9 stitches wide covers the middle of each side"]),
        (side(Move.BARE), ["every side is too short for the strip and stays bare"]),
        (side(Move.WIDEN, extra=1), ["one blank column set into each half of each side"]),
        (side(Move.WIDEN, extra=3), ["3 blank columns set into each half of each side"]),
        (
            side(Move.WIDEN, extra=2, shift=-1),
            ["2 blank columns set into each half of each side, and one column fewer in the middle"],
        ),
    ],
)
def test_what_was_changed_on_all_sides(one, words):
    assert told(one).words() == words


def test_doubled_columns_of_a_running_strip():
    assert told(side(Move.WIDEN, extra=1), name="zigzag").words() == [
        "one doubled column set into each half of each side"
    ]
    # Without a mirror the strip turns back as well.
    assert told(side(Move.WIDEN, extra=2), name="rope").words() == [
        "2 doubled columns set into each half of each side, and the strip turns back on itself in the middle"
    ]
    assert told(side(Move.WIDEN, extra=2), name="rope", corner=Corner.TURNED).words() == [
        "2 doubled columns set into each side"
    ]


def test_sides_that_differ_are_told_apart():
    assert told(side(Move.MIDDLE, shift=1), side()).words() == ["one column more in the middle of top and bottom"]
    assert told(side(), side(Move.MIDDLE, shift=1)).words() == ["one column more in the middle of left and right"]
    assert told(side(Move.BARE), side()).words() == ["top and bottom are too short for the strip and stay bare"]
    assert told(side(Move.WIDEN, extra=1), side(), corner=Corner.TURNED, name="ducks").words() == [
        "one blank column set into top and bottom"
    ]
    for one, other in (
        (side(Move.WIDEN, extra=1), side(Move.WIDEN, extra=2)),
        (side(Move.MIDDLE, shift=1), side(Move.MIDDLE, shift=-1)),
        (side(Move.CENTRE, piece=8), side(Move.CENTRE, piece=9)),
    ):
        assert len(told(one, other).words()) == 2


def test_other_parts_of_the_repeat_at_block_corners_and_dropped_rows_are_told():
    apart = "top and bottom begin with another part of the repeat than left and right"
    assert told(side(phi=1), side(phi=2), corner=Corner.BLOCK).words() == [apart]
    assert told(side(phi=1), side(phi=1), corner=Corner.BLOCK).words() == []
    assert told(side(phi=1), side(phi=2), corner=Corner.MITRE).words() == []
    gone = told(side(Move.REVERSAL), dropped="two rows left out")
    assert gone.words()[0] == "two rows left out" and len(gone.words()) == 2
    assert not gone.whole and told(side()).whole and not told(side(), dropped="x").whole


def test_what_a_fitted_strip_is():
    strip = told(side())
    assert (strip.cost, strip.depth) == (1.5, strips()["tulips"].depth)
    assert strip.stitch_lines().shape == (0, 2, 2)
    assert strip.corner_words() == "mitred corners"
    assert told(side(), corner=Corner.BLOCK).corner_words() == "corner pieces of 8 x 8"
    assert told(side(), corner=Corner.TURNED).corner_words() == "turned corners, the strip runs one way round"


def test_the_top_left_quarter_of_a_drawn_ring_is_counted():
    """A lone cross in each quarter, and on the middle column and row of an odd ring, which belong to it."""
    profile = profile_of(strips()["zigzag"])
    for place, clash in (((1, 1), 1), ((1, 9), 0), ((9, 1), 0), ((5, 5), 1), ((5, 6), 0), ((6, 5), 0)):
        cells = np.zeros((11, 11), dtype=bool)
        cells[place] = True
        broken, found = check_drawn(profile, cells)
        assert broken and found == clash, place
    assert check_drawn(profile, np.zeros((9, 9), dtype=bool)) == (False, 0)
    # In a strip of closed pieces a foreign piece breaks the ring, however large it is.
    big = np.pad(np.ones((6, 9), dtype=bool), 3)
    assert check_drawn(profile_of(strips()["hearts"]), big)[0]
    assert not check_drawn(profile, big)[0]


def test_strips_up_to_the_limit_are_taken():
    rng = np.random.default_rng(1)
    assert (MOST_DEPTH, MOST_PERIOD) == (60, 240)
    largest = rng.random((MOST_DEPTH, MOST_PERIOD)) < 0.5
    assert as_strip(largest).tile.shape == (60, 240)
    for rows, cols in ((61, 10), (4, 241)):
        with pytest.raises(RequestError, match="is the most"):
            as_strip(rng.random((rows, cols)) < 0.5)
    # A strip of many repeats is as long as one of them.
    assert as_strip(np.tile([[True, False]], (1, 300))).period == 2
    with pytest.raises(RequestError, match="no stitch"):
        as_strip(np.zeros((2, 2), dtype=bool))


def test_corners_and_bands_by_name():
    assert as_corners(None) == as_corners("auto") == (Corner.MITRE, Corner.BLOCK, Corner.TURNED)
    assert as_corners("block") == (Corner.BLOCK,)
    assert as_corners(["turned", "mitre"]) == (Corner.TURNED, Corner.MITRE)
    with pytest.raises(UsageError):
        as_corners(["mitre", "round"])
    own = FrameBand(True)
    assert as_band(own, ()) is own
    assert as_band("Line", ()).depth == 0 and as_band("double line ", ()).depth == 1
    strip = as_band(strips()["hearts"], (Corner.BLOCK,))
    assert isinstance(strip, StripBand) and strip.depth == 6


@pytest.mark.parametrize("name", ["zigzag", "hearts", "rope", "ducks"])
def test_the_best_ring_has_the_best_cost(name):
    band = StripBand(profile_of(strips()[name]), tuple(Corner), extra_cost=5.0)
    openings = [21, 34, 40]
    costs = band.best_costs(openings, [28, 33])
    for i, w in enumerate(openings):
        for j, h in enumerate([28, 33]):
            if not np.isfinite(costs[i, j]):
                with pytest.raises(RequestError):
                    band.best_ring(w, h)
                continue
            ring = band.best_ring(w, h)
            assert ring.cost == pytest.approx(costs[i, j])
            assert ring.draw()[0].shape == (h + 2 * band.depth, w + 2 * band.depth)
    plain = StripBand(profile_of(strips()[name]), tuple(Corner))
    assert costs == pytest.approx(plain.best_costs(openings, [28, 33]) + 5)


def test_barred_moves_are_never_made():
    every = StripBand(profile_of(strips()["zigzag"]), (Corner.MITRE,))
    used = set()
    for w in range(20, 40):
        ring = every.best_ring(w, 27).ring
        used |= {ring.level.move, ring.upright.move}
    for move in used - {Move.PLAIN}:
        band = StripBand(profile_of(strips()["zigzag"]), (Corner.MITRE,), barred=frozenset({move}))
        for w in range(20, 40):
            try:
                ring = band.best_ring(w, 27).ring
            except RequestError:
                continue
            assert move not in (ring.level.move, ring.upright.move)
    assert used - {Move.PLAIN}


def test_middle_pieces_stand_on_all_sides_or_on_two_if_asked():
    profile = profile_of(strips()["ducks"])
    for one_axis in (False, True):
        band = StripBand(profile, (Corner.BLOCK,), one_axis=one_axis)
        costs = band.costs(band.searches[0], list(range(30, 50)), list(range(30, 50)))
        alone = np.isfinite(costs[..., Move.CENTRE, :]).any(axis=(0, 1, 2, 3))
        assert alone[Move.CENTRE]
        assert any(alone[move] for move in Move if move is not Move.CENTRE) is one_axis
