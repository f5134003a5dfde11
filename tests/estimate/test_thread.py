"""Thread, skeins and warnings, against published measurements."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from converter.errors import UsageError
from converter.estimate.needles import needlework
from converter.estimate.skeins import skeins_together
from converter.estimate.thread import plan_chart, sample_allowance, slow_notes, thread_use
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread
from converter.settings import ThreadSettings


def solid(side, count=14.0, lines=()):
    return Chart(
        np.ones((side, side), dtype=bool), np.array(lines, dtype=float).reshape(-1, 2, 2), fabric=Fabric(count)
    )


def test_published_measurement_of_36_crosses():
    # Tiny Modernist, How much thread do I need: 14 count, 2 strands, an 18 in length makes 36 crosses with about 3 in
    # over, so 17 lengths of six strands (3 pairs each) from 8 m are about 1836 crosses a skein.
    settings = ThreadSettings(working_length_mm=457.2)
    plan = plan_chart(solid(60), settings).crosses
    fullest = max(len(route) // 4 for route in plan.lengths)
    assert 34 <= fullest <= 40
    crosses, _ = thread_use(solid(60), settings)
    assert 1600 <= 3600 / crosses.skein_share <= 2000


@pytest.mark.parametrize(("count", "most"), [(11, 2153), (14, 2740), (16, 3131), (18, 3522)])
def test_no_more_crosses_a_skein_than_the_bare_path_allows(count, most):
    # Dillmont fig. 253 and an 8 m skein (ehow.com/how_5793036), two of six strands, no tails: derived upper limits.
    for order in ("closed", "least"):
        crosses, _ = thread_use(solid(70, count), ThreadSettings(order=order, allowance=0.0, tail_mm=0.0))
        assert 4900 / crosses.skein_share <= most
        # Each length saves the move that would lead to the next: one side in some 100.
        assert 4900 * 8 * 3 / crosses.length_m <= most * 1.006
        default, _ = thread_use(solid(70, count), ThreadSettings(order=order))
        assert 4900 / default.skein_share < 0.9 * most


def test_the_parts_add_up():
    chart = solid(30, lines=[[[0, 0], [0, 1]], [[0, 1], [1, 1]]])
    crosses, lines = thread_use(chart)
    for use in (crosses, lines):
        assert use.length_m == pytest.approx((use.front_m + use.back_m) * (1 + use.allowance) + use.tails_m)
        assert use.skeins >= use.skein_share > 0
        assert use.left_over_m >= 0
    assert crosses.method == "closed" and lines.method == "double"
    assert skeins_together(crosses, lines) == 1 and crosses.skeins + lines.skeins == 2


def test_more_strands_take_more_skeins():
    few = thread_use(solid(60))[0]
    many = thread_use(solid(60).with_(thread=Thread(strands=6)))[0]
    assert many.skein_share == pytest.approx(3 * few.skein_share)
    assert many.length_m == pytest.approx(few.length_m)


def test_short_lengths_come_from_one_needleful():
    cells = np.zeros((41, 41), dtype=bool)
    cells[::10, ::10] = True
    crosses, _ = thread_use(Chart(cells))
    assert crosses.starts == 25
    # 25 single crosses with two tails of 40 mm: about 88 mm each, five from 450 mm.
    assert crosses.skein_share == pytest.approx(5 * 2 / (17 * 6))


def test_a_stitched_sample_sets_the_allowance():
    # The measurement above: 36 crosses took 15 in.
    settings = ThreadSettings(tail_mm=25.4, sample_crosses=36, sample_length_mm=15 * 25.4)
    shown, _ = thread_use(solid(40), settings)
    assert 0.03 < shown.allowance < 0.08
    assert sample_allowance(36, 18 * 25.4 - 20, 25.4 / 14, 40.0) > 0.1
    with pytest.raises(UsageError, match="do not fit"):
        sample_allowance(100, 100.0, 25.4 / 14, 40.0)
    with pytest.raises(UsageError, match="together"):
        ThreadSettings(sample_crosses=10)


def test_scattered_charts_are_called_slow_with_what_tidying_saves():
    cells = np.zeros((60, 60), dtype=bool)
    cells[20:40, 20:40] = True
    assert slow_notes(Chart(cells)) == ()
    cells[5::9, 2::9] = True
    chart = Chart(cells)
    note = slow_notes(chart)[0]
    loose = int(note.split()[0])
    before = plan_chart(chart).crosses.starts
    saved = int(note.split("there are ")[1].split()[0])
    assert loose >= 30 and saved >= 20
    solid_only = np.zeros((60, 60), dtype=bool)
    solid_only[20:40, 20:40] = True
    assert before - saved <= plan_chart(Chart(solid_only)).crosses.starts + 2


@pytest.mark.parametrize(("count", "strands", "needles"), [(14, {2, 3}, {24}), (16, {2}, {26}), (18, {1, 2}, {26, 28})])
def test_strands_and_needles(count, strands, needles):
    # Golden Circle Designs, Let's talk about needles, part 3, December 2012.
    chosen = needlework(Fabric(count))
    assert chosen.usual_strands in strands and set(chosen.strands) <= strands
    assert chosen.needle in needles
    assert chosen.line_strands == 1


def test_finer_cloth_never_gets_a_thicker_needle_or_more_strands():
    chosen = [needlework(Fabric(count)) for count in range(6, 50)]
    for a, b in pairwise(chosen):
        assert b.needle >= a.needle and b.line_needle >= a.line_needle
        assert b.usual_strands <= a.usual_strands and b.line_strands <= a.line_strands
