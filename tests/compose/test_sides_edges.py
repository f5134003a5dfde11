"""Sides of a ring: places counted one by one, limits at the stitch, costs as they were settled."""

from __future__ import annotations

import numpy as np
import pytest

from converter.compose.catalogue import strips
from converter.compose.profile import MOST_CLASH, profile_of
from converter.compose.search import (
    MIXED_COST,
    ONE_AXIS_COST,
    TWO_PHASES_COST,
    CornerSearch,
    _pairing,
    searches,
)
from converter.compose.sides import (
    BARE_COST,
    Corner,
    Move,
    Side,
    SideTable,
    _low,
    _middle_cost,
    _slots,
    _spread,
    _widen_costs,
    block_sides,
    draw_side,
    folded_sides,
    turned_sides,
)

ALL = list(strips())


@pytest.mark.parametrize("name", ["zigzag", "hearts", "windows", "rope", "ducks", "dots"])
def test_places_to_widen_are_counted_one_by_one(name):
    """A place is a column of the run, from ``low`` up to ``high`` and not it, that shows the column to widen at."""
    profile = profile_of(strips()[name])
    for phi in range(profile.period):
        for low in (1, profile.depth + 1):
            for high in range(0, 3 * profile.period + 2):
                places = [x for x in range(low, high) if (phi + x) % profile.period == profile.widening.column]
                first, count = _slots(profile, np.array(phi), low, np.array(high))
                assert int(count) == len(places)
                if places:
                    assert int(first) == places[0]


@pytest.mark.parametrize("period", [1, 4])
@pytest.mark.parametrize("count", [1, 2, 3, 5, 8])
@pytest.mark.parametrize("extra", range(1, 12))
def test_columns_put_in_are_evenly_spread(extra, count, period):
    chosen = _spread(extra, 3, count, period)
    assert len(chosen) == extra and chosen == sorted(chosen)
    places = [3 + period * i for i in range(count)]
    times = [chosen.count(place) for place in places]
    assert sum(times) == extra and max(times) - min(times) <= 1


@pytest.mark.parametrize(
    ("extra", "count", "places"),
    [
        (1, 3, [1]),
        (1, 5, [2]),
        (2, 4, [1, 3]),
        (2, 6, [1, 4]),
        (3, 6, [1, 3, 5]),
        (4, 3, [0, 1, 1, 2]),
        (3, 3, [0, 1, 2]),
    ],
)
def test_the_rest_goes_in_the_middle_of_equal_stretches(extra, count, places):
    assert _spread(extra, 0, count, 1) == places


def test_first_column_that_may_be_widened():
    running, separate = profile_of(strips()["zigzag"]), profile_of(strips()["hearts"])
    for profile in (running, separate):
        assert _low(profile, Corner.BLOCK) == 1
        # A mitred corner takes as many columns as the strip is deep.
        assert _low(profile, Corner.MITRE) == profile.depth + 1
    assert _low(separate, Corner.TURNED) == 1 and _low(running, Corner.TURNED) == running.depth + 1


def test_settled_costs_of_the_moves():
    """As preferred when plans were looked at side by side: middle column doubled 2, reversal 3, r columns widened
    2 + r, the two axes treated differently 3, two phases at block corners 1.5."""
    assert _middle_cost(np.array([0, 1, -1])).tolist() == [0, 2, 2]
    more = _middle_cost(np.array([1, 2, 3, 4]))
    assert (np.diff(more) > 0).all() and _middle_cost(np.array([-3]))[0] == more[2]
    running = profile_of(strips()["lozenges"])
    assert not running.widening.blank
    cost, clash = _widen_costs(running, np.array([1, 2, 3]))
    each = running.widening.spot
    assert cost == pytest.approx([2 + r * (1 + each.cost) for r in (1, 2, 3)])
    assert clash.tolist() == [r * each.clash for r in (1, 2, 3)]
    blank, clash = _widen_costs(profile_of(strips()["hearts"]), np.array([1, 2, 3]))
    assert (blank < cost).all() and (np.diff(blank) > 0).all() and not clash.any()
    table = _pairing()
    for one in Move:
        for other in Move:
            differing = ONE_AXIS_COST if Move.CENTRE in (one, other) else MIXED_COST
            expected = 0.0 if one is other else differing
            assert table[one, other] == expected
    assert MIXED_COST == 3 and TWO_PHASES_COST == 1.5 and ONE_AXIS_COST > MIXED_COST


def phases_of(profile):
    return np.arange(profile.period)


@pytest.mark.parametrize("name", ["zigzag", "lozenges", "hearts", "battlement"])
def test_a_plain_side_is_a_run_that_equals_its_reflection(name):
    """Told by drawing the run, without the formula for the fold."""
    profile = profile_of(strips()[name])
    lengths = np.arange(30, 30 + profile.period)
    table = folded_sides(profile, Corner.MITRE, lengths, phases_of(profile))
    for row, n in enumerate(lengths.tolist()):
        for phi in range(profile.period):
            run = profile.columns(phi, n)
            plain = np.isfinite(table.cost[row, phi, Move.PLAIN])
            assert plain == np.array_equal(run, run[:, ::-1])
            if plain:
                assert table.cost[row, phi, Move.PLAIN] == 0 and table.clash[row, phi, Move.PLAIN] == 0
            middle = table.details["shift"][row, phi, Move.MIDDLE]
            if np.isfinite(table.cost[row, phi, Move.MIDDLE]):
                # With so many columns more or fewer it would be plain.
                straight = profile.columns(phi, n - int(middle))
                assert np.array_equal(straight, straight[:, ::-1]) and middle != 0


@pytest.mark.parametrize("name", ["zigzag", "hearts", "rope", "ducks", "tulips", "windows"])
@pytest.mark.parametrize("corner", [Corner.MITRE, Corner.BLOCK])
def test_every_side_in_the_tables_is_drawn_as_promised(name, corner):
    profile = profile_of(strips()[name])
    lengths = np.array([*range(2, 42, 3), 53])
    table = folded_sides(profile, corner, lengths, phases_of(profile))
    for row, n in enumerate(lengths.tolist()):
        for phi in range(profile.period):
            for move in Move:
                if not np.isfinite(table.cost[row, phi, move]):
                    continue
                side = table.side(row, phi, move)
                assert (side.length, side.phi, side.move) == (n, phi, move) and side.clash <= MOST_CLASH
                cells, own = draw_side(profile, side, corner)
                assert cells.shape == own.shape == (profile.depth, n)
                assert np.array_equal(cells, cells[:, ::-1]) and np.array_equal(own, own[:, ::-1])
                # The half is longer than a corner.
                assert (n + 1) // 2 > (profile.depth + 1 if corner is Corner.MITRE else 1)
                assert own.any() == (move is Move.CENTRE)
                if move is Move.CENTRE:
                    at = np.flatnonzero(own[0])
                    assert len(at) == side.piece and at[-1] - at[0] + 1 == side.piece and side.space in (1, 2, 3)
                    beside = cells[:, : at[0]].any(axis=0)
                    # One to three bare columns, the strip's own included.
                    assert 1 <= at[0] - 1 - np.flatnonzero(beside)[-1] <= 3
                if move is Move.WIDEN:
                    count = (n + 1) // 2 - side.extra
                    half = cells[:, : (n + 1) // 2]
                    kept = profile.columns(phi, count)
                    if profile.widening.blank:
                        assert half.sum() == kept.sum()
                    start = profile.depth + 1 if corner is Corner.MITRE else 1
                    places = sum((phi + x) % profile.period == profile.widening.column for x in range(start, count - 1))
                    # A column is doubled once; up to three blank ones stand between two pieces.
                    assert side.extra <= places * (3 if profile.widening.blank else 1)
                    assert np.array_equal(half[:, :start], kept[:, :start])


@pytest.mark.parametrize("name", ALL)
def test_bare_columns_beside_a_block_corner(name):
    """One to three, four beside a strip ten and more deep; more only where no other side fits at all."""
    profile = profile_of(strips()[name])
    search = CornerSearch(profile, Corner.BLOCK)
    if not search.phases:
        return
    openings = np.array([*range(1, 60)])
    table = block_sides(profile, openings, np.array(search.phases))
    usual = 4 if profile.depth >= 10 else 3
    blanks = table.details["blanks"]
    finite = np.isfinite(table.cost)
    finite[..., Move.BARE] = False
    assert set(np.unique(blanks[finite]).tolist()) <= set(range(1, 7))
    for row in range(len(openings)):
        for first in range(len(search.phases)):
            found = blanks[row, first][finite[row, first]]
            assert not ((found > usual).any() and (found <= usual).any())
    lengths = openings[:, None, None] - 2 * blanks
    assert (table.details["length"] == lengths)[finite].all()


@pytest.mark.parametrize("name", ["hearts", "zigzag", "rope", "star flowers", "tulip vine"])
def test_a_side_may_stay_bare_up_to_a_repeat_and_two_columns(name):
    """A strip that turns back in the middle needs two repeats; none longer than two corners and six stays bare."""
    profile = profile_of(strips()[name])
    repeats = 2 if profile.axis is None else 1
    longest = min(repeats * profile.period + 2, 2 * profile.depth + 6)
    search = CornerSearch(profile, Corner.BLOCK)
    table = block_sides(profile, np.array([1, longest, longest + 1]), np.array(search.phases))
    bare = table.cost[..., Move.BARE]
    assert (bare[:2] == BARE_COST).all() and np.isinf(bare[2]).all()
    cells, own = draw_side(profile, table.side(1, 0, Move.BARE), Corner.BLOCK)
    assert not cells.any() and not own.any()


@pytest.mark.parametrize("name", ["ducks", "key", "breakers", "reeds", "esses"])
def test_sides_that_run_one_way_are_the_run_with_columns_put_in(name):
    profile = profile_of(strips()[name])
    openings = np.array([*range(20, 44, 3)])
    phases = np.array(CornerSearch(profile, Corner.TURNED).phases)
    table = turned_sides(profile, openings, phases)
    some = 0
    for row, w in enumerate(openings.tolist()):
        for first, phi in enumerate(phases.tolist()):
            for move in (Move.PLAIN, Move.WIDEN):
                if not np.isfinite(table.cost[row, first, move]):
                    continue
                side = table.side(row, first, move)
                some += 1
                # Separate pieces stop one to three columns before the next side; a line goes round both corners.
                if profile.separate:
                    assert side.length == w + profile.depth - side.blanks and side.blanks in (1, 2, 3)
                else:
                    assert side.length == w + 2 * profile.depth
                assert (side.extra == 0) is (move is Move.PLAIN)
                cells = draw_side(profile, side, Corner.TURNED)[0]
                assert cells.shape == (profile.depth, side.length)
                plain = profile.columns(phi, side.length - side.extra)
                if move is Move.PLAIN:
                    assert np.array_equal(cells, plain)
                low = _low(profile, Corner.TURNED)
                assert np.array_equal(cells[:, :low], plain[:, :low])
                assert np.array_equal(cells[:, -low:], plain[:, -low:])
                if profile.separate:
                    # Whole pieces only: the run begins and ends with one.
                    assert cells[:, 0].any() and cells[:, -1].any()
    assert some


def test_the_cheaper_side_of_a_move_is_kept():
    table = SideTable.empty(1, np.array([3]))
    assert np.isinf(table.cost).all() and table.cost.shape == (1, 1, len(Move))
    yes, no = np.array([[True]]), np.array([[False]])
    table.put(Move.MIDDLE, yes, np.array([[2.0]]), np.array([[1]]), length=np.array([[9]]), shift=-1)
    table.put(Move.MIDDLE, no, np.array([[1.0]]), np.array([[7]]), length=np.array([[5]]))
    assert table.side(0, 0, Move.MIDDLE) == Side(9, 3, Move.MIDDLE, 2.0, 1, shift=-1)
    assert np.isinf(table.cost[0, 0, Move.PLAIN])


# Search.


@pytest.mark.parametrize("name", ["zigzag", "hearts", "four petals", "rope", "ducks"])
def test_first_columns_worth_looking_at(name):
    profile = profile_of(strips()[name])
    mitre, block, turned = (CornerSearch(profile, corner) for corner in Corner)
    assert all(profile.mitres[phi].usable for phi in mitre.phases)
    assert mitre.phases == sorted(mitre.phases) and block.phases == sorted(block.phases)
    assert all(profile.cuts[phi].usable and profile.lead[phi] == 0 for phi in block.phases)
    dearest = max((profile.mitres[phi].cost for phi in mitre.phases), default=0)
    assert all(
        spot.cost >= dearest for phi, spot in enumerate(profile.mitres) if spot.usable and phi not in mitre.phases
    )
    # Sides that run one way round give the mirrors up: only strips that have none are turned.
    assert bool(turned.phases) is (profile.axis is None)
    if turned.phases and profile.separate:
        assert all(profile.lead[phi] == 0 for phi in turned.phases)
    assert len(mitre.phases) <= 16 and len(block.phases) <= 4 and len(turned.phases) <= 8
    assert [s.corner for s in searches(profile, tuple(Corner))] == [
        s.corner for s in (mitre, block, turned) if s.phases
    ]  # fmt: skip


def test_corner_costs_in_their_order():
    """Mitred corners before corner pieces, and turned corners after all that keep the mirrors."""
    for name in ("zigzag", "hearts"):
        profile = profile_of(strips()[name])
        mitre, block, turned = (CornerSearch(profile, corner).base_cost for corner in Corner)
        assert mitre == 0 < block < turned
        assert turned >= 20
    assert CornerSearch(profile_of(strips()["hearts"]), Corner.BLOCK).base_cost < CornerSearch(
        profile_of(strips()["zigzag"]), Corner.BLOCK
    ).base_cost  # fmt: skip


@pytest.mark.parametrize("name", ["scallops", "zigzag", "rope", "hearts", "ducks"])
@pytest.mark.parametrize("corner", list(Corner))
def test_a_ring_costs_the_sum_of_its_parts(name, corner):
    profile = profile_of(strips()[name])
    search = CornerSearch(profile, corner)
    if not search.phases:
        return
    widths, heights = [20, 31], [26, 31, 45]
    total = search.costs(widths, heights)
    count = len(search.phases)
    assert total.shape == (2, 3, count, count if corner is Corner.BLOCK else 1, len(Move), len(Move))
    rng = np.random.default_rng(4)
    for _ in range(400):
        i, j, x, u, v = (int(rng.integers(k)) for k in (2, 3, count, len(Move), len(Move)))
        y = int(rng.integers(count)) if corner is Corner.BLOCK else x
        (across, row), (up, column) = search.tables([widths[i], heights[j]])
        expected = across.cost[row, x, u] + up.cost[column, y, v] + search.base_cost
        clash = across.clash[row, x, u] + up.clash[column, y, v]
        if u != v:
            expected += ONE_AXIS_COST if Move.CENTRE in (u, v) else MIXED_COST
        if x != y:
            expected += TWO_PHASES_COST
        if corner is Corner.MITRE:
            expected += profile.mitres[search.phases[x]].cost
            clash += profile.mitres[search.phases[x]].clash
        if clash > MOST_CLASH:
            expected = np.inf
        at = (i, j, x, y if corner is Corner.BLOCK else 0, u, v)
        assert total[at] == pytest.approx(expected)
        if np.isfinite(total[at]):
            ring = search.ring(widths[i], heights[j], (x, at[3], u, v), 7.0)
            assert (ring.opening, ring.cost, ring.corner) == ((heights[j], widths[i]), 7.0, corner)
            assert (ring.level.phi, ring.upright.phi) == (search.phases[x], search.phases[y])
            assert (ring.level.move, ring.upright.move) == (Move(u), Move(v))
