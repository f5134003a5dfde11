"""Thread, time, needles and counts reckoned by hand, and the limits at which a word changes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers.text_grids import grid

from converter.errors import UsageError
from converter.estimate.duration import work_time
from converter.estimate.fabric import cut_cloth, stitched_extent, whole_threads
from converter.estimate.needles import needlework
from converter.estimate.route import ThreadPlan
from converter.estimate.skeins import skeins_together
from converter.estimate.steps import cross_numbers, cross_steps
from converter.estimate.stitches import count_components, count_holes, count_isolated, count_stitches
from converter.estimate.thread import (
    ChartPlans,
    _solid_total,
    length_mm,
    needlefuls,
    plan_chart,
    sample_allowance,
    slow_notes,
    thread_use,
)
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread
from converter.settings import ThreadSettings, TimeSettings

ROOT2 = math.sqrt(2)
TWO_MM = Fabric(12.7)


# Counts.


@pytest.mark.parametrize(
    ("rows", "parts", "holes", "lone"),
    [
        (("#",), 1, 0, 1),
        ((".",), 0, 0, 0),
        (("##",), 1, 0, 0),
        (("#.", ".#"), 1, 0, 0),
        ((".#", "#."), 1, 0, 0),
        (("#.#",), 2, 0, 2),
        (("#", ".", "#"), 2, 0, 2),
        (("###", "#.#", "###"), 1, 1, 0),
        ((".#.", "#.#", ".#."), 1, 1, 0),
        # Bare cloth that touches by a corner alone is two holes.
        (("####", "#.##", "##.#", "####"), 1, 2, 0),
        (("##.##", "#...#", "##.##"), 2, 0, 0),
        (("#..", "...", "..#"), 2, 0, 2),
        (("###", "#.#", "#.#"), 1, 0, 0),
    ],
)
def test_parts_holes_and_lone_crosses(rows, parts, holes, lone):
    cells = grid(*rows)
    assert (count_components(cells), count_holes(cells), count_isolated(cells)) == (parts, holes, lone)


def test_what_a_chart_counts():
    count = count_stitches(Chart(grid("##.", "..."), lines=[[[0, 0], [1, 1]], [[0, 1], [2, 1]], [[0, 0], [0, 0.5]]]))
    assert (count.stitches, count.backstitches, count.columns, count.rows) == (2, 3, 3, 2)
    assert count.line_length_cells == pytest.approx(ROOT2 + 2 + 0.5, abs=1e-6)
    assert count_stitches(Chart(grid("#"))).line_length_cells == 0


# Time.


def test_a_good_and_a_slow_evening():
    """A quarter faster or slower; starts half as long less or more. A backstitch is half a cross."""
    time = work_time(1000, 200, 40, TimeSettings(pace=110.0, start_minutes=3.0))
    assert time.likely == pytest.approx(1100 / 110 + 2)
    assert time.low == pytest.approx(1100 / 137.5 + 1)
    assert time.high == pytest.approx(1100 / 82.5 + 3)
    assert work_time(0).likely == 0
    for wrong in ((-1, 0, 0), (0, -1, 0), (0, 0, -1)):
        with pytest.raises(UsageError):
            work_time(*wrong)


# Needles.


@pytest.mark.parametrize(
    ("count", "strands", "usual", "line", "needle", "line_needle"),
    [
        (6, (3, 4), 3, 2, 22, 24),
        (10.5, (3, 4), 3, 2, 22, 24),
        (10.6, (2, 4), 3, 2, 24, 26),
        (11, (2, 4), 3, 2, 24, 26),
        (12.5, (2, 4), 3, 2, 24, 26),
        (14, (2, 3), 2, 1, 24, 26),
        (15, (2, 3), 2, 1, 24, 26),
        (16, (2, 2), 2, 1, 26, 28),
        (17, (2, 2), 2, 1, 26, 28),
        (18, (1, 2), 2, 1, 26, 28),
        (20, (1, 2), 2, 1, 26, 28),
        (22, (1, 2), 1, 1, 26, 28),
        (25, (1, 2), 1, 1, 26, 28),
        (25.1, (1, 1), 1, 1, 28, 28),
        (32, (1, 1), 1, 1, 28, 28),
        (60, (1, 1), 1, 1, 28, 28),
    ],
)
def test_needles_and_strands(count, strands, usual, line, needle, line_needle):
    """Golden Circle Designs (14: 2-3 and 24; 16: 2 and 26; 18: 1-2 and 26-28); dreamwidth.org entry 66847 (11-14: 24,
    16-22: 26, 32 and over: 28, one size finer for lines); coarser cloth: common practice."""
    found = needlework(Fabric(count))
    assert (found.strands, found.usual_strands, found.line_strands, found.needle, found.line_needle) == (
        strands, usual, line, needle, line_needle,
    )  # fmt: skip


# Cloth.


def test_where_the_stitches_are():
    cells = np.zeros((9, 8), dtype=bool)
    cells[2, 3] = cells[5, 4] = True
    extent = stitched_extent(Chart(cells))
    assert (extent.left, extent.top, extent.right, extent.bottom, extent.columns, extent.rows) == (3, 2, 5, 6, 2, 4)
    lined = stitched_extent(Chart(cells, lines=[[[1.5, 3], [2, 6.5]], [[7.5, 0.5], [7, 1]]]))
    assert (lined.left, lined.top, lined.right, lined.bottom) == (0, 1, 7, 8)
    only = stitched_extent(Chart(np.zeros((9, 8), dtype=bool), lines=[[[4, 2], [4, 5]]]))
    assert (only.left, only.top, only.columns, only.rows) == (2, 4, 3, 0)
    bare = stitched_extent((3, 7))
    assert (bare.left, bare.top, bare.columns, bare.rows) == (0, 0, 7, 3)
    assert stitched_extent((1, 1)).rows == 1
    for wrong in ((0, 5), (5, 0)):
        with pytest.raises(UsageError):
            stitched_extent(wrong)


def test_whole_threads_at_the_limit():
    for mm, down, up in (
        (10.0, 5, 5),
        (9.99, 4, 5),
        (10.01, 5, 6),
        (0.0, 0, 0),
        (10.0 - 1e-9, 5, 5),
        (10 + 1e-9, 5, 5),
    ):
        assert (whole_threads(mm, TWO_MM), whole_threads(mm, TWO_MM, up=True)) == (down, up)


def test_margins_of_her_own_on_every_side():
    cut = cut_cloth((30, 40), fabric=TWO_MM, margin_mm=(10.0, 20.0, 30.0, 40.0))
    assert cut.finished_mm == (80, 60) and cut.cut_mm == (120, 120)
    assert cut.margin_mm == 10 and cut.margins_mm == (10, 20, 30, 40)
    assert cut.threads == (40 + 5 + 15, 30 + 10 + 20)
    over = cut_cloth((30, 40), fabric=Fabric(25.4, 2), margin_mm=(10.0, 20.0, 30.0, 40.0))
    assert over.finished_mm == (80, 60) and over.threads == (80 + 40, 60 + 60)
    # One that is no whole number of squares spoils the counting.
    for at in range(4):
        margins = [10.0] * 4
        margins[at] = 11.0
        assert cut_cloth((30, 40), fabric=TWO_MM, margin_mm=tuple(margins)).threads is None
    assert cut_cloth((30, 40), fabric=TWO_MM, margin_mm=0.0).cut_mm == (80, 60)
    assert cut_cloth((30, 40), fabric=TWO_MM, margin_mm=100_000.0).margin_mm == 100_000
    for wrong in (-0.1, 100_001.0, (10.0, 10.0, 10.0, -1.0)):
        with pytest.raises(UsageError):
            cut_cloth((30, 40), fabric=TWO_MM, margin_mm=wrong)
    # Her margin rules, whatever the piece.
    assert cut_cloth((30, 40), "hoop", fabric=TWO_MM, margin_mm=10.0).cut_mm == (100, 80)


# Thread.


def plans(*lengths, cell=2.0, allowance=0.1, tail=40.0, working=450.0, front=0.0, tails=0.0):
    routes = tuple(np.array([[0, 0], [0, cells]]) for cells in lengths)
    plan = ThreadPlan(routes, 0.0, 0.0, front, 0.0, tails, len(routes), 0, "closed")
    return ChartPlans(plan, plan, cell, allowance, tail, working)


def test_thread_of_one_length():
    """Path (1, 1) and (0, 2): root 2 and 2 sides of 2 mm, a tenth more, and two tails."""
    made = plans()
    route = np.array([[0, 0], [1, 1], [1, 3]])
    assert length_mm(route, made) == pytest.approx((ROOT2 + 2) * 2 * 1.1 + 80)


@pytest.mark.parametrize(
    ("lengths", "count"),
    [((), 0), ((10,), 1), ((10, 10, 10, 10), 1), ((10,) * 5, 2), ((100, 10), 1), ((100, 40), 2), ((150, 10), 2),
     ((168, 1), 2), ((10, 100), 1), ((100, 10, 100), 2), ((10, 160, 10), 3)],
)  # fmt: skip
def test_short_lengths_come_from_one_needleful_as_long_as_it_lasts(lengths, count):
    """On 2 mm with a tenth more each side takes 2.2 mm, a start 80: 10 sides 102 mm, 100 sides 300."""
    made = plans(*lengths)
    assert needlefuls(made.crosses, made) == count


def test_a_needleful_used_up_to_the_millimetre():
    made = plans(20, 20, allowance=0.0, tail=40.0, working=240.0)
    # Twice 40 and 80 mm.
    assert needlefuls(made.crosses, made) == 1
    assert needlefuls(plans(20, 20, allowance=0.0, working=239.0).crosses, plans(allowance=0.0, working=239.0)) == 2


def test_skeins_of_a_chart_by_hand():
    """8 m hold 17 whole lengths of 450 mm, six strands: 102 strands of a needleful."""
    chart = Chart(np.ones((10, 10), dtype=bool), fabric=Fabric(14), thread=Thread(strands=3))
    crosses, lines = thread_use(chart)
    made = plan_chart(chart)
    count = needlefuls(made.crosses, made)
    assert crosses.skein_share == pytest.approx(count * 3 / 102)
    assert crosses.skeins == 1 and crosses.left_over_m == pytest.approx(8 - count * 3 * 0.45 / 6)
    assert crosses.front_m == pytest.approx(200 * ROOT2 * 25.4 / 14 / 1000)
    assert crosses.tails_m == pytest.approx(2 * 0.04 * crosses.starts)
    assert (lines.length_m, lines.skeins, lines.skein_share, lines.left_over_m) == (0, 0, 0, 0)
    # A skein cut into lengths that just go in: 8 m in sixteen of half a metre.
    halves = thread_use(chart, ThreadSettings(working_length_mm=500.0))[0]
    made = plan_chart(chart, ThreadSettings(working_length_mm=500.0))
    assert halves.skein_share == pytest.approx(needlefuls(made.crosses, made) * 3 / 96)
    sample = ThreadSettings(sample_crosses=36, sample_length_mm=450.0)
    assert plan_chart(chart, sample).allowance == pytest.approx(sample_allowance(36, 450.0, 25.4 / 14, 40.0))
    assert plan_chart(chart).allowance == 0.15 and plan_chart(chart).cell_mm == pytest.approx(25.4 / 14)


def test_the_longest_length_uses_the_whole_needleful():
    """The route may use the needleful less tails and allowance: no length is longer, the fullest nearly as long."""
    chart = Chart(np.ones((30, 30), dtype=bool), fabric=Fabric(14))
    for settings in (ThreadSettings(), ThreadSettings(allowance=0.0, tail_mm=25.0), ThreadSettings(allowance=0.5)):
        made = plan_chart(chart, settings)
        longest = max(length_mm(route, made) for route in made.crosses.lengths)
        assert 450 - 13 < longest <= 450 + 1e-6


def test_stitched_samples_at_their_limits():
    """One cross of 2 mm: 2 root 2 + 1 sides of path; a tenth less than that is still read as none."""
    path = (2 * ROOT2 + 1) * 2
    assert sample_allowance(1, path + 80, 2.0, 40.0) == pytest.approx(0.0)
    assert sample_allowance(1, 1.2 * path + 80, 2.0, 40.0) == pytest.approx(0.2)
    assert sample_allowance(1, 0.91 * path + 80, 2.0, 40.0) == 0
    assert sample_allowance(1, 1.99 * path + 80, 2.0, 40.0) == pytest.approx(0.99)
    for share in (0.89, 2.01):
        with pytest.raises(UsageError, match="do not fit"):
            sample_allowance(1, share * path + 80, 2.0, 40.0)
    ten = ((2 * ROOT2 + 2) * 10 - 1) * 2
    assert sample_allowance(10, 1.3 * ten + 80, 2.0, 40.0) == pytest.approx(0.3)


def use(share):
    from converter.model.results import ThreadUse

    return ThreadUse(1.0, 0.5, 0.3, 0.2, 3, 0, 1, "closed", 0.15, skein_share=share)


def test_skeins_of_all_parts_are_bought_together():
    for shares, skeins in (((0.4, 0.6), 1), ((0.5, 0.51), 2), ((0.0,), 0), ((2.0,), 2), ((1e-12,), 0), ((), 0)):
        assert skeins_together(*(use(share) for share in shares)) == skeins


# Slow charts.


def block_and_dots(dots, side=40):
    """A solid 20 x 20 and single crosses well away from it and from one another."""
    cells = np.zeros((side + 40, side + 40), dtype=bool)
    cells[:20, :20] = True
    for k in range(dots):
        cells[26 + 9 * (k // 8), 9 * (k % 8)] = True
    return cells


def test_natural_pace_and_slow_work():
    assert slow_notes(Chart(np.zeros((5, 5), dtype=bool))) == ()
    assert slow_notes(Chart(block_and_dots(0))) == ()
    # A few loose crosses, under a twentieth of all, are let pass unless they stretch the work by a quarter.
    assert slow_notes(Chart(block_and_dots(2))) == ()
    note = slow_notes(Chart(block_and_dots(24)))[0]
    assert note.startswith("24 of 424 crosses stand alone or in pairs") and "24 fewer starts" in note
    made = plan_chart(Chart(block_and_dots(24)))
    tidy = plan_chart(Chart(block_and_dots(0)))
    assert made.crosses.starts - tidy.crosses.starts == 24
    saved = (made.crosses.total - tidy.crosses.total) * made.cell_mm / 1000
    hours = 24 / 100 + 24 * 1.5 / 60
    assert f"about {hours:.1f} hours and {saved:.1f} m of thread less" in note
    assert slow_notes(Chart(block_and_dots(24)), plans=made) == (note,)
    # Pairs are loose as well, by side or by corner; three in a row are not.
    dots = block_and_dots(12)
    dots[:26] = False
    beside, below = np.roll(dots, 1, axis=1), np.roll(dots, (1, 1), axis=(0, 1))
    for twin in (beside, below):
        assert slow_notes(Chart(block_and_dots(12) | twin))[0].startswith("24 of 424")
    assert slow_notes(Chart(block_and_dots(12) | beside | np.roll(dots, 2, axis=1))) == ()


def test_all_crosses_loose():
    cells = np.zeros((30, 30), dtype=bool)
    cells[::9, ::9] = True
    plan = plan_chart(Chart(cells)).crosses
    assert slow_notes(Chart(cells)) == (
        f"All crosses stand alone or in pairs: the work takes {plan.starts} starts and {plan.carries} carries, and "
        "goes slowly.",
    )


def test_what_a_solid_piece_would_take():
    """370 mm on 2 mm with a quarter more are 148 sides: (148 + 1) / (1 + root 2) = 61 legs, so 100 crosses in 4."""
    made = plans(1, allowance=0.25, front=282.8, tails=40.0)
    assert _solid_total(made, 100) == pytest.approx(282.8 + 200 + 4 * 40)
    assert _solid_total(made, 30) == pytest.approx(282.8 + 60 + 40)
    assert _solid_total(made, 31) == pytest.approx(282.8 + 62 + 2 * 40)
    two = plans(1, 1, allowance=0.25, front=282.8, tails=80.0)
    assert _solid_total(two, 100) == pytest.approx(282.8 + 200 + 4 * 40)
    # So short a thread holds a leg at least.
    short = plans(1, allowance=0.0, working=81.0, tails=40.0)
    assert _solid_total(short, 3) == pytest.approx(6 + 6 * 40)


# Steps.


def leg(cell, top):
    """Holes of one leg of a cross at (row, col), from its upper or its left end."""
    r, c = cell
    return [[r, c], [r + 1, c + 1]] if top else [[r + 1, c], [r, c + 1]]


def route(*legs):
    return [hole for cell, top in legs for hole in leg(cell, top)]


A, B, C, D = (0, 0), (0, 1), (0, 2), (4, 7)


@pytest.mark.parametrize(
    ("legs", "steps", "numbers"),
    [
        ([(A, False), (A, True)], ["1/1"], ["1"]),
        ([(D, False), (D, True)], ["5/8"], ["1"]),
        ([(A, False), (B, False), (B, True), (A, True)], ["1/1 (1/2)"], ["1", "1a"]),
        (
            [(A, False), (B, False), (B, True), (C, False), (C, True), (A, True)],
            ["1/1 (1/2 1/3)"],
            ["1", "1a", "1b"],
        ),
        # Half crosses out and back: a cross held open over others that are not whole inside it.
        ([(A, False), (B, False), (A, True), (B, True)], ["1/1/", "1/2/", "1/1\\", "1/2\\"], None),
        ([(A, False), (B, False), (C, False), (C, True), (B, True), (A, True)], ["1/1/", "1/2 (1/3)", "1/1\\"], None),
        # A length that begins with an upper leg finishes what another one began.
        ([(A, True)], ["1/1\\"], None),
        ([(A, False)], ["1/1/"], None),
    ],
)
def test_crosses_in_turn(legs, steps, numbers):
    made = [step for step in cross_steps(route(*legs)) if not step.startswith("carry")]
    assert made == steps
    found = cross_numbers(route(*legs))
    assert (None if found is None else [name for _, name in found]) == numbers


def test_carries_stand_where_they_are_made():
    # From hole (1, 1) of the first cross to the second one's (5, 7): 4 down and 6 across.
    there = route((A, False), (A, True), (D, False), (D, True))
    assert cross_steps(there) == ["1/1", "carry 7.2", "5/8"]
    # A move of one side is no carry, half a side more is.
    assert cross_steps([[1, 0], [0, 1], [0, 0], [1, 1]]) == ["1/1"]
    assert cross_steps([[1, 0], [0, 1], [1, 1], [0, 0]]) == ["1/1"]
    # Inside a cross that is held open the carries follow it.
    wide = route((A, False), (D, False), (D, True), (A, True))
    assert cross_steps(wide)[0] == "1/1 (5/8)" and [s for s in cross_steps(wide) if s.startswith("carry")] == [
        "carry 7.8",
        "carry 9.4",
    ]
    assert cross_numbers(there) == [((1, 1), "1"), ((5, 8), "2")]
