"""Fitted borders: all sizes, exact symmetry, whole corners, the moves and their words."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from converter.compose import border_strips, fit_borders
from converter.compose.bands import CornerBand, FittedStrip
from converter.compose.catalogue import strips
from converter.compose.fit import MOVES
from converter.compose.frieze import mirror_constant, primitive_tile
from converter.compose.plan import BorderPlan
from converter.compose.profile import MOST_CLASH, profile_of
from converter.compose.ring import symmetry_name
from converter.compose.rosettes import corner_piece
from converter.compose.sides import Corner, Move
from converter.errors import ConverterError, RequestError, UsageError
from converter.model.chart import Chart

NAMES = list(border_strips())
MIRRORED = [name for name in NAMES if mirror_constant(border_strips()[name]) is not None]
names = st.sampled_from(NAMES)
sides = st.integers(15, 90)


def sound(plan: BorderPlan) -> bool:
    for ring in plan.rings:
        broken, clash = ring.drawn_check()
        if broken or clash > MOST_CLASH:
            return False
    return True


def mirrored(cells) -> bool:
    return np.array_equal(cells, cells[::-1]) and np.array_equal(cells, cells[:, ::-1])


@pytest.mark.parametrize("name", NAMES)
def test_every_strip_fits_round_every_kind_of_size(name):
    rng = np.random.default_rng(len(name))
    for rows, cols in [(15, 15), (90, 90), (15, 90), *rng.integers(15, 91, (12, 2)).tolist()]:
        plan = fit_borders((rows, cols), name, count=1)[0]
        assert mirrored(plan.border_cells), (rows, cols)
        assert sound(plan), (rows, cols)
        d = border_strips()[name].shape[0]
        assert abs(plan.shape[0] - rows - 2 * d - 6) <= 5
        assert plan.cells.shape == plan.shape


@pytest.mark.parametrize("size", [(n, n) for n in range(40, 141, 25)] + [(84, 56), (70, 98), (47, 61)])
def test_outer_size_is_filled_to_the_stitch(size):
    for name in NAMES:
        plan = fit_borders((15, 15), name, outer=size, count=1)[0]
        cells = plan.border_cells
        assert cells.shape == plan.cells.shape == size
        assert cells[0].any() and cells[-1].any() and cells[:, 0].any() and cells[:, -1].any()
        assert mirrored(cells)
        assert sound(plan)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_cut_round_small_motifs(name):
    for small, gap in itertools.product((1, 3, 7, 10), (0, 2)):
        for size in ((small, small), (small, 13), (93, small)):
            for plan in fit_borders(size, name, gap=gap, count=3):
                assert sound(plan), (size, gap, plan.describe())
                assert not any("cut" in words for words in plan.deviations)


def test_a_side_too_short_for_the_strip_stays_bare():
    plan = fit_borders((2, 60), "star flowers", gap=1, count=1)[0]
    d = border_strips()["star flowers"].shape[0]
    assert any("left and right are too short" in words for words in plan.deviations)
    cells = plan.border_cells
    assert not cells[d:-d, :d].any()
    assert cells[:d, :d].any() and cells[:d, d:-d].any()
    assert mirrored(cells)
    assert not plan.whole


def test_nothing_is_cut_in_a_given_size_that_suits_no_side_alike():
    for name, size in (("ducks", (51, 44)), ("snow stars", (74, 38))):
        for plan in fit_borders((10, 10), name, outer=size, count=3):
            assert plan.cells.shape == size
            assert sound(plan)
            # The middle piece stands on two sides only, which is said.
            assert any("covers the middle of top and bottom" in w or "covers the middle of left" in w
                       for w in plan.deviations)  # fmt: skip


def test_outer_size_without_a_motif():
    plan = fit_borders(None, "windows", outer=(56, 56))[0]
    assert plan.cells.shape == (56, 56)
    assert np.array_equal(plan.cells, plan.border_cells)


@given(names, sides, sides, st.integers(0, 6), st.integers(0, 19))
def test_all_plans_keep_their_promises(name, rows, cols, gap, at):
    plans = fit_borders((rows, cols), name, gap=gap)
    plan = plans[min(at, len(plans) - 1)]
    assert sound(plan)
    ring = plan.rings[0]
    assert isinstance(ring, FittedStrip)
    if ring.ring.corner is Corner.TURNED:
        assert plan.symmetry in ("C4", "C2", "D4", "D2", "D2d")
    else:
        assert plan.symmetry in ("D4", "D2")
        # The tables of the search agree with what is drawn.
        assert ring.ring.clash == ring.drawn_check()[1]
    if plan.whole:
        assert ring.ring.level.move is ring.ring.upright.move is Move.PLAIN


def test_list_is_sorted_and_the_same_every_time():
    for name in NAMES[::4]:
        plans = fit_borders((33, 47), name, count=60)
        mirrored_plans = [p.cost for p in plans if p.rings[0].ring.corner is not Corner.TURNED]
        assert mirrored_plans == sorted(mirrored_plans)
        again = fit_borders((33, 47), name, count=60)
        assert [p.deviations for p in plans] == [p.deviations for p in again]
        assert all(np.array_equal(a.cells, b.cells) for a, b in zip(plans, again, strict=True))


def closed_form(tile, w, h, phases):
    """A mitred side has no seam if n = a + 1 - 2 phi (mod p); all corners are alike with one phi for both sides."""
    d, p = tile.shape
    a = mirror_constant(tile)
    return any(all((n + 2 * d - a - 1 + 2 * phi) % p == 0 for n in (w, h)) for phi in phases)


@pytest.mark.parametrize("name", MIRRORED)
def test_strict_fits_equal_the_closed_form(name):
    profile = profile_of(strips()[name])
    phases = [phi for phi, spot in enumerate(profile.mitres) if spot.usable]
    rng = np.random.default_rng(1)
    for rows, cols in rng.integers(15, 91, (25, 2)).tolist():
        formula = any(closed_form(profile.tile, cols + 2 * g, rows + 2 * g, phases) for g in (2, 3, 4))
        try:
            plan = fit_borders((rows, cols), name, moves=("gap",), slack=1, corners="mitre", count=1)[0]
        except RequestError:
            assert not formula
            continue
        assert formula
        assert plan.whole


@pytest.mark.parametrize("name", MIRRORED)
def test_closed_form_equals_drawing_the_strip(name):
    """The run from phi is equal to its reverse exactly where the closed form says so."""
    tile = border_strips()[name]
    p, a = tile.shape[1], mirror_constant(tile)
    for n, phi in itertools.product(range(1, 2 * p + 2), range(p)):
        run = np.take(tile, np.arange(phi, phi + n) % p, axis=1)
        if (n - a - 1 + 2 * phi) % p == 0:
            assert np.array_equal(run, run[:, ::-1])
        elif n > p:
            assert not np.array_equal(run, run[:, ::-1])


def test_whole_repeats_with_pad_rows_and_small_gaps():
    rng = np.random.default_rng(2)
    near = wide = total = 0
    for rows, cols in rng.integers(15, 91, (25, 2)).tolist():
        for name in MIRRORED:
            total += 1
            for slack in (1, 2):
                try:
                    plan = fit_borders((rows, cols), name, moves=("gap", "unequal", "pad"), slack=slack, count=1)[0]
                except RequestError:
                    continue
                assert plan.whole
                near, wide = (near + 1, wide) if slack == 1 else (near, wide + 1)
    assert near >= 0.97 * total
    assert wide == total


def test_mitred_corner_is_its_own_transpose():
    """A corner is the reflection of the strip in the 45-degree line: Th. de Dillmont, Encyclopedia of Needlework,
    fig. 885; a square is two such mirrors meeting."""
    for name in NAMES:
        for plan in fit_borders((41, 41), name, count=40):
            ring = plan.rings[0].ring
            if ring.corner is not Corner.MITRE:
                continue
            d = ring.depth
            corner = plan.border_cells[:d, :d]
            assert np.array_equal(corner, corner.T)
            if plan.symmetry == "D4":
                assert np.array_equal(plan.border_cells, plan.border_cells.T)


def test_mitred_top_is_the_strip_itself():
    tile = border_strips()["zigzag"]
    plan = fit_borders((20, 20), "zigzag")[0]
    top = plan.border_cells[:3, 3:-3]
    assert any(np.array_equal(top, np.take(tile, np.arange(k, k + top.shape[1]) % 4, axis=1)) for k in range(4))


def test_turned_border_is_offered_where_no_mirror_is():
    plans = fit_borders((40, 40), "ducks", corners="turned")
    assert plans[0].symmetry == "C4"
    assert "one way round" in plans[0].corners
    assert any("one way round" in plan.corners for plan in fit_borders((40, 40), "ducks"))


@given(names, names, sides, sides)
def test_two_nested_borders_always_fit(inner, outer, rows, cols):
    plan = fit_borders((rows, cols), [inner, outer], gap=(3, 2), count=2)[0]
    assert len(plan.rings) == 2
    assert mirrored(plan.border_cells)
    assert sound(plan)


def test_nested_borders_in_a_fixed_size():
    plans = fit_borders((30, 30), ["dots", "line", "hearts"], gap=(2, 1, 2), outer=(64, 70))
    assert all(plan.cells.shape == (64, 70) for plan in plans)
    assert all(mirrored(plan.border_cells) for plan in plans)


def test_many_borders_in_one_another():
    names = ["zigzag", "line", "hearts", "key", "dots", "windows", "lozenges", "double line"]
    plan = fit_borders((23, 30), names, gap=2, count=2)[0]
    assert len(plan.rings) == 8
    assert mirrored(plan.border_cells)
    assert sound(plan)
    # Borders far out keep their gaps, so that the choices stay few.
    assert plan.across.gaps[4:] == plan.up.gaps[4:] == (2,) * 4
    with pytest.raises(UsageError, match="13 borders"):
        fit_borders((23, 30), ["dots"] * 13)


def test_motif_stands_where_the_plan_says():
    rng = np.random.default_rng(0)
    motif = rng.random((23, 31)) < 0.4
    for plan in fit_borders(motif, "battlement"):
        row, col, rows, cols = plan.motif_box
        assert np.array_equal(plan.cells[row : row + rows, col : col + cols], motif)
        rest = plan.cells.copy()
        rest[row : row + rows, col : col + cols] = False
        assert np.array_equal(rest, plan.border_cells)
        left, right = col, plan.shape[1] - col - cols
        assert right - left == plan.across.pad
        assert bool(plan.across.pad) == any("a blank column right of the motif" in words for words in plan.deviations)


def test_lines_of_a_chart_go_with_the_motif():
    chart = Chart(np.ones((5, 6), dtype=bool), lines=np.array([[[0, 0], [0, 1]], [[2, 3], [3, 4]]]))
    plan = fit_borders(chart, "zigzag")[0]
    row, col = plan.motif_box[:2]
    assert np.array_equal(plan.lines, chart.lines + np.array([row, col]))


def test_a_symmetric_motif_may_double_its_middle():
    motif = np.pad(np.ones((2, 2), dtype=bool), 9)
    plans = fit_borders(motif, "zigzag", double_middle=True, count=40)
    padded = [plan for plan in plans if plan.across.pad and plan.up.pad]
    assert padded
    assert symmetry_name(padded[0].cells) == "D4"
    assert any("doubled" in words for words in padded[0].deviations)


def test_best_plan_without_deviation_says_nothing():
    plan = fit_borders((15, 15), "zigzag")[0]
    assert plan.deviations == ()
    assert plan.whole
    assert plan.cost == 0
    assert "nothing had to be changed" in plan.describe()


@given(names, sides, sides)
def test_cost_is_free_only_for_whole_plans_at_the_wished_gap(name, rows, cols):
    plan = fit_borders((rows, cols), name, count=1)[0]
    if plan.cost < 1:
        assert plan.deviations == () or plan.cost > 0
        assert set(plan.across.gaps + plan.up.gaps) == {3}


def test_each_move_is_said():
    said = set()
    for name, (rows, cols) in itertools.product(NAMES, [(30, 37), (41, 56), (22, 22)]):
        for plan in fit_borders((rows, cols), name, count=60):
            said |= {word for word in ("in place of", "a blank", "turns back", "covers the middle", "set into") if
                     any(word in text for text in plan.deviations)}  # fmt: skip
            fitted = plan.rings[0].ring
            if fitted.level.move is not Move.PLAIN:
                assert any("middle" in text or "set into" in text for text in plan.deviations)
    assert said == {"in place of", "a blank", "turns back", "covers the middle", "set into"}


def test_moves_can_be_forbidden():
    for plan in fit_borders((40, 40), "key", moves=("gap", "unequal", "pad", "reversal")):
        assert {plan.rings[0].ring.level.move, plan.rings[0].ring.upright.move} <= {Move.PLAIN, Move.REVERSAL}
    with pytest.raises(RequestError):
        fit_borders((40, 40), "key", moves=("gap",), corners="mitre")
    nested = fit_borders((40, 40), ["zigzag", "windows"], moves=("gap", "unequal", "pad"))
    assert nested and all(plan.whole for plan in nested)
    with pytest.raises(RequestError):
        fit_borders((40, 40), ["zigzag", "key"], moves=("gap",), corners="mitre")


def test_rows_are_left_out_only_when_nothing_else_helps():
    plan = fit_borders((30, 30), "flower pots", outer=(48, 48))[0]
    assert plan.cells.shape == (48, 48)
    assert any("left out" in words for words in plan.deviations)
    assert not plan.whole
    assert mirrored(plan.border_cells)


def test_no_room_is_a_request_error_with_a_way_out():
    with pytest.raises(RequestError) as caught:
        fit_borders((30, 30), "zigzag", outer=(31, 31))
    assert "31 stitches across" in caught.value.message
    assert caught.value.hint


@pytest.mark.parametrize(
    "arguments",
    [
        {"strip": "roses"},
        {"strip": np.zeros((2, 3), dtype=bool)},
        {"strip": np.zeros(3, dtype=bool)},
        {"strip": []},
        {"strip": np.eye(70, dtype=bool)},
        {"strip": "zigzag", "gap": -1},
        {"strip": "zigzag", "gap": (1, 2)},
        {"strip": "zigzag", "count": 0},
        {"strip": "zigzag", "slack": 3},
        {"strip": "zigzag", "corners": "round"},
        {"strip": "zigzag", "moves": ("luck",)},
        {"strip": "zigzag", "outer": (0, 5)},
        {"strip": "zigzag", "outer": (3000, 3000)},
        {"strip": "zigzag", "motif": (0, 5)},
        {"strip": "zigzag", "motif": None},
        {"strip": "zigzag", "motif": (1999, 1999)},
    ],
)
def test_wrong_arguments_are_explained(arguments):
    arguments = {"motif": (20, 20), **arguments}
    with pytest.raises(ConverterError) as caught:
        fit_borders(**arguments)
    assert isinstance(caught.value, (UsageError, RequestError))
    assert caught.value.message


@given(st.integers(1, 8), st.integers(1, 12), st.integers(0, 2**32 - 1), sides, sides)
def test_any_strip_of_hers_fits_and_is_symmetric(d, p, seed, rows, cols):
    rng = np.random.default_rng(seed)
    tile = rng.random((d, p)) < 0.45
    tile[0, 0] = True
    plan = fit_borders((rows, cols), tile, count=1)[0]
    assert mirrored(plan.border_cells)
    lenient = any("no clean corner" in words for words in plan.deviations)
    assert lenient or sound(plan)


def test_a_strip_of_several_repeats_is_the_same_strip():
    tile = border_strips()["lozenges"]
    one = fit_borders((33, 40), tile)
    many = fit_borders((33, 40), np.tile(tile, (1, 3)))
    assert [p.cost for p in one] == [p.cost for p in many]
    assert primitive_tile(np.tile(tile, (1, 3))).shape == tile.shape


@pytest.mark.parametrize("band", ["line", "double line"])
@settings(max_examples=30)
@given(rows=sides, cols=sides)
def test_frames_are_symmetric_and_on_holes(band, rows, cols):
    plan = fit_borders((rows, cols), band, count=1)[0]
    check_lines(plan)
    assert not plan.border_cells.any()


@settings(max_examples=40)
@given(st.integers(1, 14), sides, sides)
def test_corner_pieces_and_their_lines(side, rows, cols):
    plan = fit_borders((rows, cols), [CornerBand(corner_piece(side))], count=1)[0]
    check_lines(plan)
    # A line on the axis needs an even piece; an odd one gets a pair.
    level = {line[0][0] for line in plan.lines.tolist() if line[0][0] == line[1][0]}
    assert len(level) == (2 if side % 2 == 0 else 4)
    assert len(plan.lines) and np.array_equal(plan.border_cells[:side, :side], corner_piece(side))


def check_lines(plan):
    lines = plan.lines
    assert np.array_equal(lines, np.round(lines))
    assert (lines >= 0).all()
    assert (lines[:, :, 0] <= plan.shape[0]).all()
    assert (lines[:, :, 1] <= plan.shape[1]).all()
    assert np.array_equal(np.abs(lines[:, 0] - lines[:, 1]).sum(axis=1), np.ones(len(lines)))
    assert len({tuple(sorted(map(tuple, line))) for line in lines.tolist()}) == len(lines)
    assert plan.symmetry in ("D4", "D2")
    Chart(plan.cells, lines=lines)


def test_upright_corner_pieces_are_mirrored_from_side_to_side_only():
    piece = np.array([[0, 1, 0], [1, 1, 0], [0, 1, 1]], dtype=bool)
    plan = fit_borders((20, 20), [CornerBand(piece, upright=True)], count=1)[0]
    assert np.array_equal(plan.border_cells[-3:, :3], piece)
    assert plan.symmetry == "D1"


@pytest.mark.parametrize(
    ("cells", "name"),
    [
        (np.ones((3, 3)), "D4"),
        (np.ones((3, 4)), "D2"),
        ([[1, 0], [0, 1]], "D2d"),
        ([[1, 1], [0, 0]], "D1"),
        ([[1, 0, 0], [0, 0, 1]], "C2"),
        ([[1, 0], [0, 0], [0, 0]], "C1"),
        ([[1, 1, 0, 1], [0, 0, 0, 1], [1, 0, 0, 0], [1, 0, 1, 1]], "C4"),
    ],
)
def test_symmetry_names(cells, name):
    assert symmetry_name(np.array(cells, dtype=bool)) == name


def test_symmetry_counts_the_lines():
    cells = np.ones((2, 2), dtype=bool)
    assert symmetry_name(cells, np.array([[[0.0, 0.0], [0.0, 1.0]]])) == "C1"
    assert symmetry_name(cells, np.array([[[0.0, 2.0], [0.0, 0.0]]])) == "D1"


def test_no_plan_is_listed_twice_nor_two_with_the_same_words():
    like = 0
    for name, size in itertools.product(["dots", "crosses", "ladder", "rope", "checks"], [(47, 81), (30, 37)]):
        plans = fit_borders(size, name, count=40)
        stitches = [(plan.shape, plan.border_cells.tobytes()) for plan in plans]
        assert len(set(stitches)) == len(stitches)
        assert len({plan.describe() for plan in plans if not plan.like}) == sum(not plan.like for plan in plans)
        for at, plan in enumerate(plans):
            if plan.like:
                like += 1
                first = plans[plan.like - 1]
                assert plan.like - 1 < at and not first.like
                assert (plan.shape, plan.corners, plan.deviations) == (first.shape, first.corners, first.deviations)
                assert f"as plan {plan.like}" in plan.describe()
    assert like


def test_moves_are_all_known():
    assert set(MOVES) >= {move.name.lower() for move in Move if move is not Move.PLAIN}
