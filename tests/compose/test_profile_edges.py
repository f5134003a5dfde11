"""Every place where a strip may turn, fold, be cut or widened, against drawing it out cell by cell.

The tables are worked out in narrow windows, all places at once; here each place is drawn alone and far wider.
"""

from __future__ import annotations

import numpy as np
import pytest
from helpers.text_grids import grid

from converter.compose.catalogue import Strip, strips
from converter.compose.judge import Verdicts
from converter.compose.profile import MOST_CLASH, Spots, profile_of
from converter.compose.rosettes import corner_piece

SEPARATE = ["hearts", "four petals", "ducks", "arrows", "dashes"]
RUNNING = ["zigzag", "key", "scallops", "tulip vine", "windows", "breakers"]


def far(profile):
    return 2 * profile.depth + 3 * profile.period + profile.measure.widest + 5


def verdict(profile, cells, edges, count=None):
    found = profile.measure.judge(cells, edges, count)
    bad = found.broken or found.clash > MOST_CLASH or (profile.separate and found.foreign > 0)
    return not bad, 0 if bad else found.clash


def told(spots):
    return [(spot.usable, spot.clash) for spot in spots]


def run(profile, columns):
    return profile.tile[:, [c % profile.period for c in columns]]


@pytest.mark.parametrize("name", SEPARATE + RUNNING)
def test_mitres_are_those_that_look_right_when_drawn(name):
    profile = profile_of(strips()[name])
    d, n = profile.depth, far(profile)
    expected = []
    for phi in range(profile.period):
        cells = np.zeros((n, n), dtype=bool)
        for row in range(n):
            for col in range(n):
                depth, along = min(row, col), max(row, col)
                cells[row, col] = depth < d and profile.tile[depth, (phi + along) % profile.period]
        edges = np.zeros_like(cells)
        edges[:d, -1] = edges[-1, :d] = True
        expected.append(verdict(profile, cells, edges))
    assert told(profile.mitres) == expected


@pytest.mark.parametrize("name", SEPARATE + RUNNING)
def test_folds_are_those_that_look_right_when_drawn(name):
    """Half column 2c lies on column c, half column 2c + 1 after it. Clash is counted in the left half."""
    profile = profile_of(strips()[name])
    n, p = far(profile), profile.period
    expected = []
    for half in range(2 * p):
        left = list(range(half // 2 - n, half // 2 + 1))
        cells = run(profile, [*left, *left[::-1][1 - half % 2 :]])
        edges, count = np.zeros_like(cells), np.zeros_like(cells)
        edges[:, [0, -1]] = True
        count[:, : len(left)] = True
        expected.append(verdict(profile, cells, edges, count))
    assert told(profile.folds) == expected
    if profile.axis is not None:
        # On a mirror axis nothing is to be seen.
        assert expected[profile.axis] == (True, 0) and profile.folds[profile.axis].cost == 0


@pytest.mark.parametrize("name", SEPARATE + RUNNING)
def test_cuts_are_those_that_look_right_when_drawn(name):
    profile = profile_of(strips()[name])
    n, p = far(profile), profile.period
    for spots, ahead in ((profile.cuts, True), (profile.end_cuts, False)):
        expected = []
        for x in range(p):
            cells = run(profile, range(x, x + n) if ahead else range(x - n + 1, x + 1))
            cells = np.pad(cells, ((0, 0), (2, 0) if ahead else (0, 2)))
            edges = np.zeros_like(cells)
            edges[:, -1 if ahead else 0] = True
            expected.append(verdict(profile, cells, edges))
        assert told(spots) == expected


@pytest.mark.parametrize("name", ["key", "rope", "breakers", "fir twig", "laurel"])
def test_turned_corners_are_those_that_look_right_when_drawn(name):
    profile = profile_of(strips()[name])
    d, n, p = profile.depth, far(profile), profile.period
    pairs = [(start, end) for start in range(p) for end in range(0, p, 2)]
    expected = []
    for start, end in pairs:
        cells = np.zeros((n, n), dtype=bool)
        for row in range(n):
            for col in range(n):
                from_right = n - 1 - col
                if row < d and row < from_right:
                    cells[row, col] = profile.tile[row, (end - from_right) % p]
                elif from_right < d:
                    cells[row, col] = row >= from_right and profile.tile[from_right, (start + row) % p]
        edges = np.zeros_like(cells)
        edges[:d, 0] = edges[-1, n - d :] = True
        expected.append(verdict(profile, cells, edges))
    assert told(profile.turned_corners(pairs)) == expected
    # Asked again, and in another order, they are the same.
    assert told(profile.turned_corners(pairs[::-1])) == expected[::-1]


@pytest.mark.parametrize("name", list(strips()))
def test_the_strip_is_made_longer_where_it_is_seen_least(name):
    profile = profile_of(strips()[name])
    found = profile.widening
    assert found is not None and found.spot.usable
    n = far(profile)
    left, right = (
        run(profile, range(found.column - n, found.column)),
        run(profile, range(found.column, found.column + n)),
    )
    extra = np.zeros((profile.depth, 1), dtype=bool) if found.blank else run(profile, [found.column])
    cells = np.concatenate([left, extra, right], axis=1)
    edges = np.zeros_like(cells)
    edges[:, [0, -1]] = True
    assert verdict(profile, cells, edges) == (True, found.spot.clash)
    if found.blank:
        # Between two pieces, or where none is linked to the next.
        before = run(profile, [found.column - 1])
        touching = before & run(profile, [found.column])
        assert not touching.any()
    else:
        assert not profile.separate


def test_shifts_count_the_columns_more_or_fewer_in_the_middle():
    """Hearts: eight columns, of which the last is bare; axes on the middle of a heart and in the gap."""
    profile = profile_of(strips()["hearts"])
    a, p = profile.axis, profile.period
    off, near = profile.shifts
    assert len(off) == 2 * p and near.all()
    for half in range(2 * p):
        # One half column further, one column more in the middle.
        assert off[half] == (half - a + p // 2) % p - p // 2
        assert -p // 2 <= off[half] < p // 2
    assert [int(off[(a + k) % (2 * p)]) for k in (-1, 0, 1, 2)] == [-1, 0, 1, 2]
    running = profile_of(strips()["zigzag"])
    off, near = running.shifts
    assert near.tolist() == [abs(int(v)) <= 1 for v in off]
    none = profile_of(strips()["rope"]).shifts
    assert not none[0].any() and none[1].all() and len(none[0]) == 2 * 4


def test_bare_columns_at_the_ends_of_a_run():
    profile = profile_of(Strip("mine", grid("..#...#.", "..#.....")))
    assert profile.lead == (2, 1, 0, 3, 2, 1, 0, 3)
    assert profile.trail == (2, 3, 0, 1, 2, 3, 0, 1)
    full = profile_of(Strip("full", grid("###")))
    assert full.lead == (0,) * 3 and full.trail == (0,) * 3


def test_crosses_parted_by_a_cut():
    profile = profile_of(Strip("mine", grid("##.#", "##..", ".#..")))
    assert profile._parted.tolist() == [1, 2, 0, 0]


def spots_of(profile, clash=0, broken=False, foreign=0, novelty=0, corner=False):
    found = Verdicts(np.array([clash]), np.array([broken]), np.array([foreign]), np.array([novelty]))
    return profile._spots(found, corner)[0]


def test_which_places_may_be_used():
    running, separate = profile_of(strips()["zigzag"]), profile_of(strips()["hearts"])
    for profile in (running, separate):
        assert spots_of(profile).usable and spots_of(profile).cost == 0
        assert spots_of(profile, clash=4).usable and not spots_of(profile, clash=5).usable
        assert spots_of(profile, clash=4).clash == 4
        assert not spots_of(profile, broken=True).usable
        # What may not be used counts nothing.
        assert (spots_of(profile, clash=9).clash, spots_of(profile, clash=9).cost) == (0, 0)
    assert spots_of(running, foreign=1).usable and not spots_of(separate, foreign=1).usable
    lenient = profile_of(strips()["hearts"], lenient=True)
    worst = spots_of(lenient, clash=9, broken=True, foreign=2)
    assert worst.usable and worst.clash == 0 and worst.cost > spots_of(lenient, foreign=2).cost > 0
    assert profile_of(strips()["hearts"], lenient=True) is lenient is not separate


def test_what_catches_the_eye_costs_more():
    profile = profile_of(strips()["zigzag"])
    for what in ("clash", "foreign", "novelty"):
        costs = [spots_of(profile, **{what: k}).cost for k in range(5)]
        assert costs == sorted(costs) and costs[1] > costs[0]
    # A shape that the strip has not costs more than a stitch that it has not, and that more than a new surround.
    assert spots_of(profile, foreign=1).cost > spots_of(profile, clash=1).cost > spots_of(profile, novelty=1).cost
    # New surrounds alone never outweigh a foreign shape; in a corner, where some must be, they cost less.
    assert spots_of(profile, novelty=999).cost < spots_of(profile, foreign=1).cost
    assert 0 < spots_of(profile, novelty=1, corner=True).cost < spots_of(profile, novelty=1).cost


def test_a_bare_corner_costs_more():
    """A corner with less than 0.3 of the strip's own crosses looks empty; a strip one row deep has no such corner."""
    tile = np.zeros((4, 12), dtype=bool)
    tile[:, 4:] = True
    profile = profile_of(Strip("blocks", tile), lenient=True)
    share = [profile.columns(x, 4)[:, :4].sum() for x in range(12)]
    costs = profile.mitres.cost
    # The corner of the first column is wholly bare, that of the fifth wholly filled.
    assert share[0] == 0 and costs[0] >= 1.5
    dots = profile_of(strips()["dots"])
    assert dots.mitres[1].cost < 1.5


def test_corner_piece_of_a_block_ring():
    # The strip's own, in the middle of the square.
    given = Strip("mine", grid("#.#.", "#...", "#.#."), corner=grid("#"))
    assert np.array_equal(profile_of(given).corner_piece, grid("...", ".#.", "..."))
    two = Strip("mine", grid("#.#.", "#...", "#.#."), corner=grid("##", "##"))
    assert np.array_equal(profile_of(two).corner_piece, grid("...", ".##", ".##"))
    fitting = Strip("mine", grid("#.", "#."), corner=grid("##", "#."))
    assert np.array_equal(profile_of(fitting).corner_piece, grid("##", "#."))
    large = Strip("mine", grid("#.", "#."), corner=grid("###", "###", "###"))
    assert np.array_equal(profile_of(large).corner_piece, corner_piece(2))
    # A closed piece as deep as the strip, alike in all its forms; not one that is not, nor one less deep.
    assert np.array_equal(profile_of(Strip("x", grid("#.#.", ".#..", "#.#."))).corner_piece, grid("#.#", ".#.", "#.#"))
    for rows in (("##..", "#...", "#.#."), ("##..", "....", "##.."), ("#.#.", "#.#.", "###.")):
        assert np.array_equal(profile_of(Strip("x", grid(*rows))).corner_piece, corner_piece(3))
    assert np.array_equal(profile_of(Strip("x", grid("#."))).corner_piece, corner_piece(1))


def test_equal_strips_share_one_profile():
    one, other = (Strip("mine", grid("##.", "#.."), "own", False, grid("##", "#.")) for _ in range(2))
    assert profile_of(one) is profile_of(other)
    assert np.array_equal(profile_of(one).strip.corner, grid("##", "#."))
    assert profile_of(Strip("mine", grid("##.", "#.."))) is not profile_of(one)
    assert profile_of(Strip("mine", grid("##.", "#.."))).strip.corner is None
    assert not profile_of(one).tile.flags.writeable


def test_spots_are_read_one_by_one():
    spots = Spots(np.array([True, False]), np.array([2, 0]), np.array([1.5, 0.0]))
    assert len(spots) == 2 and [s.usable for s in spots] == [True, False]
    assert (spots[0].clash, spots[0].cost) == (2, 1.5)


def test_a_run_is_dear_to_end_or_begin_where_the_line_is_thick():
    """A line two crosses thick over two columns: parted there, it costs more on either side than anywhere else."""
    profile = profile_of(Strip("mine", grid("####", "##..")))
    assert profile._parted.tolist() == [1, 2, 1, 1]
    assert int(np.argmax(profile.cuts.cost)) == 1
    # A run that ends with the first column is cut before the second.
    assert int(np.argmax(profile.end_cuts.cost)) == 0
