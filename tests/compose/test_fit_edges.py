"""Fitting: what is asked for at its limits, which plans are listed, and what is given up last."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from converter.compose import border_strips, fit_borders
from converter.compose.bands import FrameBand
from converter.compose.fit import MOST_ALIKE, MOST_BORDERS, MOST_TURNED, MOVES, _narrow, _with_turned
from converter.compose.sides import Corner, Move
from converter.errors import RequestError, UsageError
from converter.model.chart import MAX_SIDE, Chart


def fitted(motif=(10, 10), strip="zigzag", **more):
    return fit_borders(motif, strip, count=more.pop("count", 1), **more)


# Arguments.


@pytest.mark.parametrize("gap", [0, 200, (0,), (200,), np.int64(3)])
def test_gaps_up_to_the_limit(gap):
    wish = gap[0] if isinstance(gap, tuple) else int(gap)
    assert abs(fitted(gap=gap)[0].across.gaps[0] - wish) <= 2


@pytest.mark.parametrize("gap", [-1, 201, (3, 3), (), (-1,), (201,), True, (True,)])
def test_gaps_beyond_the_limit_are_refused(gap):
    with pytest.raises(UsageError):
        fitted(gap=gap)


@pytest.mark.parametrize("slack", [0, 1, 2])
def test_gaps_differ_by_the_slack_at_most(slack):
    seen = set()
    for size in ((23, 30), (31, 31), (40, 27)):
        for plan in fitted(size, "tulip vine", slack=slack, count=60, moves=("gap", "pad", "unequal", "reversal")):
            seen |= {abs(plan.across.gaps[0] - 3), abs(plan.up.gaps[0] - 3)}
    assert seen == set(range(slack + 1))


@pytest.mark.parametrize("wrong", [{"slack": -1}, {"slack": 3}, {"slack": True}, {"count": 0}, {"count": True},
                                   {"count": 1.5}, {"moves": ("gap", "luck")}, {"corners": ("mitre", "bent")},
                                   {"outer": (30, 30, 30)}, {"outer": (30, 0)}, {"outer": (30.5, 30)},
                                   {"outer": (True, 30)}])  # fmt: skip
def test_what_cannot_be_meant_is_refused(wrong):
    with pytest.raises(UsageError):
        fit_borders((10, 10), "zigzag", **wrong)


def test_a_list_is_as_long_as_asked_for_and_no_longer():
    for count in (1, 2, 7):
        assert len(fitted(strip="lozenges", count=count)) == count
    assert len(fit_borders((15, 15), "lozenges")) == 20


def test_twelve_borders_are_put_in_one_another():
    plan = fitted((5, 5), ["line"] * MOST_BORDERS, gap=1)[0]
    assert len(plan.rings) == 12 and plan.shape == (5 + 24, 5 + 24)
    for strips in (["line"] * 13, []):
        with pytest.raises(UsageError):
            fitted(strip=strips)


def test_what_stands_in_the_middle():
    chart = Chart(np.ones((4, 6), dtype=bool), lines=np.array([[[0.0, 0.0], [1.0, 1.0]]]))
    for motif, stitches, lines in (
        (chart, 24, 1),
        (chart.cells, 24, 0),
        ((4, 6), 0, 0),
        ([4, 6], 0, 0),
        (np.array([4, 6]), 0, 0),
    ):
        plan = fitted(motif, "line")[0]
        row, col, rows, cols = plan.motif_box
        assert (rows, cols) == (4, 6) and plan.shape == (4 + 6, 6 + 6)
        assert plan.cells[row : row + rows, col : col + cols].sum() == stitches
        assert len(plan.motif_lines) == lines
    for motif in ((0, 6), (4, 0), None):
        with pytest.raises(UsageError):
            fitted(motif, "line")
    assert fitted((1, 1), "line")[0].shape == (7, 7)


def test_the_largest_piece():
    assert fitted((MAX_SIDE - 6, 20), "line")[0].shape[0] == MAX_SIDE
    with pytest.raises(RequestError):
        fitted((MAX_SIDE - 5, 20), "line")
    assert fitted((20, 20), "line", outer=(MAX_SIDE, 30))[0].shape == (MAX_SIDE, 30)
    with pytest.raises(RequestError):
        fitted((20, 20), "line", outer=(30, MAX_SIDE + 1))


# Given sizes.


@pytest.mark.parametrize(("outer", "fits"), [((14, 30), True), ((30, 14), True), ((13, 30), False), ((30, 13), False)])
def test_the_smallest_size_a_strip_goes_into(outer, fits):
    """Ten stitches, and on either side one bare and, with rows left out, one deep."""
    if fits:
        plan = fitted(outer=outer)[0]
        assert plan.shape == outer and any("left out" in words for words in plan.deviations)
    else:
        with pytest.raises(RequestError):
            fitted(outer=outer)


def test_without_a_motif_borders_lie_just_inside_the_size():
    for outer in ((40, 56), (56, 40)):
        plan = fit_borders(None, "windows", outer=outer, gap=2, count=1)[0]
        assert plan.shape == outer and not plan.border_cells[7:-7, 7:-7].any()
        assert plan.across.gaps[0] >= 1 and plan.up.gaps[0] >= 1
    tiny = fit_borders(None, "line", outer=(3, 3), gap=1, count=1)[0]
    assert tiny.shape == (3, 3) and tiny.motif_box == (1, 1, 1, 1)


def test_rows_are_left_out_as_few_as_possible():
    """Hearts are six deep. Two stitches less a side: one row; four: two; from the inside first."""
    full = fitted(strip="hearts", outer=(24, 24), gap=1)[0]
    assert full.rings[0].depth == 6 and not any("left out" in words for words in full.deviations)
    for side, drop, words in ((22, 1, "1 row left out on the inside, so that the strip is 5 deep"),
                              (20, 2, "2 rows left out on the inside, so that the strip is 4 deep")):  # fmt: skip
        plan = fitted(strip="hearts", outer=(side, side), gap=1)[0]
        assert plan.rings[0].depth == 6 - drop and words in plan.deviations
        assert plan.rings[0].rows_left_out == drop and not plan.whole
        # A row left out costs 4.
        assert plan.cost >= 4 * drop
    with pytest.raises(RequestError):
        fitted(strip="hearts", outer=(22, 22), gap=1, moves=tuple(m for m in MOVES if m != "depth"))


def test_rows_of_the_deepest_strip_go_first():
    plan = fitted(strip=["dots", "hearts", "zigzag"], outer=(34, 34), gap=1)[0]
    assert [ring.depth for ring in plan.rings] == [1, 5, 3]
    assert any("border 2: 1 row left out" in words for words in plan.deviations)
    frames = [FrameBand(True)] * 4
    with pytest.raises(RequestError):
        fitted(strip=frames, outer=(24, 24), gap=1)
    assert fitted(strip=frames, outer=(26, 26), gap=1)[0].shape == (26, 26)


# What may be changed.


def test_without_a_move_it_is_not_made():
    for size in ((22, 31), (30, 37), (41, 26)):
        for name in ("zigzag", "hearts", "rope"):
            for left in MOVES[:7]:
                try:
                    plans = fitted(size, name, moves=tuple(m for m in MOVES if m != left), count=30)
                except RequestError:
                    continue
                for plan in plans:
                    ring = plan.rings[0].ring
                    made = {ring.level.move.name.lower(), ring.upright.move.name.lower()}
                    made |= {"pad"} if plan.across.pad or plan.up.pad else set()
                    made |= {"gap"} if {plan.across.gaps[0], plan.up.gaps[0]} != {3} else set()
                    made |= {"unequal"} if plan.across.gaps != plan.up.gaps else set()
                    assert left not in made


def test_only_strict_fits_without_any_move():
    for rows, cols in ((15, 15), (16, 16), (19, 15), (15, 19)):
        try:
            plan = fitted((rows, cols), "zigzag", moves=(), corners="mitre")[0]
        except RequestError:
            assert (rows - 15) % 4 or (cols - 15) % 4
            continue
        assert plan.whole and plan.deviations == () and plan.cost < 1


def test_plans_are_cut_only_where_nothing_else_is_left():
    """A strip of one lone figure with every cut through it."""
    tile = np.ones((3, 5), dtype=bool)
    tile[1, 2] = False
    plan = fitted((20, 23), tile)[0]
    assert not any("cut" in words for words in plan.deviations)


# The list.


def entries(*kinds):
    """Candidates (cost, search, structure, pair, move) of the searches 0: mitre, 1: turned."""
    return [(float(at), search, at, pair, move) for at, (search, pair, move) in enumerate(kinds)]


SEARCHES = [SimpleNamespace(corner=Corner.MITRE), SimpleNamespace(corner=Corner.TURNED)]


def test_the_best_turned_corners_come_into_every_list():
    found = entries(*[(0, k, 0) for k in range(9)], *[(1, k, 0) for k in range(5)])
    for count in (1, 4, 6, 20):
        listed = _with_turned(found[::-1], SEARCHES, count)
        assert sorted(listed) == found
        before = max(count - 3, 1)
        kinds = [entry[1] for entry in listed]
        assert kinds == [0] * min(before, 9) + [1] * 5 + [0] * (9 - min(before, 9))
    assert (MOST_TURNED, MOST_ALIKE) == (3, 2)
    # Few turned ones leave more room.
    one = entries(*[(0, k, 0) for k in range(9)], (1, 0, 0))
    assert [entry[1] for entry in _with_turned(one, SEARCHES, 6)] == [0] * 5 + [1] + [0] * 4
    none = entries(*[(0, k, 0) for k in range(4)])
    assert _with_turned(none, SEARCHES, 2) == none


def test_plans_that_differ_by_the_column_at_the_corner_alone_are_listed_twice_at_most():
    found = entries((0, 0, 0), (0, 0, 0), (0, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, 0), (1, 0, 0))
    assert [entry[0] for entry in _with_turned(found, SEARCHES, 20)] == [0, 1, 3, 4, 6]


def test_listed_plans_are_told_apart_and_numbered():
    plans = fit_borders((30, 37), "ladder", count=12)
    seen = {}
    for number, plan in enumerate(plans, 1):
        key = (plan.shape, plan.corners, plan.deviations)
        assert plan.like == seen.get(key, 0)
        seen.setdefault(key, number)


# Narrow places are drawn again.


def test_narrow_sides():
    """Corner and middle overlap on sides shorter than twice the corner, three more each, and a repeat."""
    plan = fitted((60, 60), "zigzag", corners="mitre")[0]
    ring = plan.rings[0]
    assert not _narrow(ring)
    least = 2 * (3 + 3) + 4
    for length, narrow in ((least, False), (least - 1, True)):
        side = SimpleNamespace(move=Move.PLAIN, length=length, piece=0, space=0)
        for level, upright in ((side, ring.ring.level), (ring.ring.level, side)):
            assert _narrow(_like(ring, level, upright)) is narrow
    # A middle piece leaves half of it: corner, three and a repeat.
    for length, narrow in ((2 * 10 + 5 + 4, False), (2 * 10 + 5 + 3, True), (2 * 10 + 5 + 2, True)):
        side = SimpleNamespace(move=Move.CENTRE, length=length, piece=5, space=2)
        assert _narrow(_like(ring, side, ring.ring.upright)) is narrow
    assert not _narrow(FrameBand().best_ring(5, 5))


def _like(ring, level, upright):
    from dataclasses import replace

    return replace(ring, ring=replace(ring.ring, level=level, upright=upright))


def test_strips_of_several_small_pieces_are_always_drawn_again():
    tile = np.zeros((3, 12), dtype=bool)
    tile[:, 0:3] = tile[1, 5:7] = tile[1, 8:10] = True
    ring = fitted((90, 90), tile)[0].rings[0]
    assert 2 * ring.ring.profile.measure.widest < ring.ring.profile.period
    assert _narrow(ring)
    # Taken as it comes, nothing is judged.
    assert not _narrow(_like_lenient(ring))


def _like_lenient(ring):
    from dataclasses import replace

    from converter.compose.profile import profile_of

    profile = profile_of(ring.ring.profile.strip, lenient=True)
    return replace(ring, ring=replace(ring.ring, profile=profile))


def test_a_symmetric_motif_alone_is_doubled():
    """Both mirrors and no line of its own: else a blank row stands beside it."""
    square = np.ones((10, 10), dtype=bool)
    lopsided = square.copy()
    lopsided[0, 0] = False
    halves = square.copy()
    halves[0] = False
    lined = Chart(square, lines=np.array([[[0.0, 0.0], [0.0, 1.0]]]))
    for motif, doubled in ((square, True), (lopsided, False), (halves, False), (halves.T, False), (lined, False)):
        plans = fit_borders(motif, "zigzag", double_middle=True, count=30)
        padded = [plan for plan in plans if plan.across.pad or plan.up.pad]
        assert padded and all(plan.doubled is doubled for plan in padded)
        assert any("doubled" in w for w in padded[0].deviations if "motif" in w) is doubled
    assert not any(plan.doubled for plan in fit_borders(square, "zigzag", count=30))


def test_every_strip_by_name_and_as_a_grid_is_the_same():
    for name in list(border_strips())[::5]:
        by_name, by_grid = fitted((30, 33), name)[0], fitted((30, 33), border_strips()[name])[0]
        assert np.array_equal(by_name.cells, by_grid.cells)
