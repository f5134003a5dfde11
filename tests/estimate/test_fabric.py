"""Size of the design and of the cloth, against published arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.errors import UsageError
from converter.estimate.fabric import cut_cloth, stitched_extent, thread_mm, whole_threads
from converter.estimate.figures import load_figures
from converter.estimate.making import plan_making
from converter.model.chart import Chart
from converter.model.materials import Fabric
from converter.settings import PIECES

INCH = 25.4


def inches(size_mm):
    return [side / INCH for side in size_mm]


@pytest.mark.parametrize(
    ("columns", "rows", "fabric", "expected"),
    [
        # The Cross Stitch Guild, Cross Stitch FAQs: 140 stitches on 14 count are 10 in.
        (140, 105, Fabric(14), (10.0, 7.5)),
        # The Strawberry Sampler, FAQ: the same over two threads of 32 count; the page prints 6.5 for 6.5625.
        (140, 105, Fabric(32, over=2), (8.75, 6.5625)),
        # Lovely Stitchers, cross stitch fabrics: 156 x 312 at 18 count, printed 8.7 x 17.33.
        (156, 312, Fabric(18), (8.6667, 17.3333)),
        # Magic Hour, It's the count that counts: 100 stitches at 11 and at 18.
        (100, 100, Fabric(11), (9.0909, 9.0909)),
        (100, 100, Fabric(18), (5.5556, 5.5556)),
        # Once in a Blue Moon, 14 count explained: 50 stitches are 3.57 in.
        (50, 50, Fabric(14), (3.5714, 3.5714)),
        # perkyhobby.com and bkkquilt.com question pages: 42 at 14 are 3 in, 44 at 11 are 4 in.
        (42, 42, Fabric(14), (3.0, 3.0)),
        (44, 44, Fabric(11), (4.0, 4.0)),
    ],
)
def test_finished_size_as_published(columns, rows, fabric, expected):
    assert inches(cut_cloth((rows, columns), fabric=fabric).finished_mm) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(
    ("columns", "rows", "margin", "expected"),
    [
        # best-tex.com, Cross stitch lessons, page 3.
        (140, 112, 3.0, (16.0, 14.0)),
        # Annie's, Getting Started: 6 x 8 in with 3 in a side.
        (84, 112, 3.0, (12.0, 14.0)),
        # Once in a Blue Moon: 98 x 140 with 2 in a side.
        (98, 140, 2.0, (11.0, 14.0)),
        # The Cross Stitch Guild: 5 in in all added to each dimension, which is 2.5 in a side.
        (140, 112, 2.5, (15.0, 13.0)),
    ],
)
def test_cut_size_as_published(columns, rows, margin, expected):
    cut = cut_cloth((rows, columns), fabric=Fabric(14), margin_mm=margin * INCH)
    assert inches(cut.cut_mm) == pytest.approx(expected, abs=1e-9)
    assert cut.margins_mm == pytest.approx((margin * INCH,) * 4)


def test_cloth_without_a_purpose_takes_the_framing_margin():
    assert cut_cloth((112, 140), fabric=Fabric(14)).cut_mm == pytest.approx((16 * INCH, 14 * INCH))


@pytest.mark.parametrize("count", [11, 14, 16, 18])
def test_square_inch_holds_the_count_squared(count):
    """Magic Hour, It's the count that counts: 121, 196, 256 and 324 stitches."""
    width, height = cut_cloth((count, count), fabric=Fabric(count)).finished_mm
    assert (width, height) == pytest.approx((INCH, INCH))


@pytest.mark.parametrize("fabric", [Fabric(11), Fabric(14), Fabric(16), Fabric(18), Fabric(28, 2), Fabric(32, 2)])
def test_panel_margin_is_whole_threads_within_one_to_one_and_a_quarter_inch(fabric):
    """Common practice for fringed small pieces: 1 to 1.25 in."""
    margins = cut_cloth((60, 60), "panel", fabric=fabric).margins_mm
    assert margins == pytest.approx((margins[0],) * 4)
    assert INCH <= margins[0] <= 1.25 * INCH + 1e-9
    threads = margins[0] / thread_mm(fabric)
    assert threads == pytest.approx(round(threads))


@pytest.mark.parametrize("piece", PIECES)
def test_margins_are_never_under_what_the_guild_asks_unless_the_piece_is_fringed(piece):
    """The Cross Stitch Guild: 1.5 in a side for small projects, 2.5 in for pictures."""
    least = {"frame": 2.5, "panel": 1.0}.get(piece, 1.5)
    assert min(cut_cloth((40, 30), piece, fabric=Fabric(14)).margins_mm) >= least * INCH - 1e-9


@pytest.mark.parametrize("piece", PIECES)
def test_cloth_of_a_piece_is_that_of_its_plan(piece):
    chart = Chart(np.ones((50, 30), dtype=bool), fabric=Fabric(16))
    assert cut_cloth(chart, piece) == plan_making(chart, piece).cut


def test_unknown_piece_and_impossible_margins_are_refused():
    with pytest.raises(UsageError, match="tent"):
        cut_cloth((10, 10), "tent")
    for margin in (-1.0, float("nan"), 200_000.0):
        with pytest.raises(UsageError, match="margin"):
            cut_cloth((10, 10), margin_mm=margin)
    with pytest.raises(UsageError, match="no size"):
        cut_cloth((0, 10))


def test_margins_are_counted_from_the_outermost_stitch():
    cells = np.zeros((12, 10), dtype=bool)
    cells[3:8, 2:6] = True
    chart = Chart(cells, lines=[[[2.5, 4], [3, 4]]], fabric=Fabric(14))
    extent = stitched_extent(chart)
    assert (extent.left, extent.top, extent.right, extent.bottom) == (2, 2, 6, 8)
    assert cut_cloth(chart, margin_mm=INCH).finished_mm == pytest.approx((4 * INCH / 14, 6 * INCH / 14))


def test_empty_chart_counts_whole():
    assert stitched_extent(Chart(np.zeros((4, 7), dtype=bool))).columns == 7


def test_threads_are_given_only_where_they_come_out_whole():
    assert cut_cloth((60, 60), "panel", fabric=Fabric(14)).threads == (94, 94)
    assert cut_cloth((60, 60), "panel", fabric=Fabric(28, 2)).threads == (190, 190)
    assert cut_cloth((60, 60), margin_mm=20.0, fabric=Fabric(14)).threads is None


counts = st.floats(5, 60)
sides = st.integers(1, 400)


@given(sides, sides, counts, st.integers(1, 4), st.floats(0, 200))
def test_margins_are_even_and_add_up(rows, columns, count, over, margin):
    fabric = Fabric(count, over)
    cut = cut_cloth((rows, columns), fabric=fabric, margin_mm=margin)
    assert cut.cut_mm[0] - cut.finished_mm[0] == pytest.approx(2 * margin, abs=1e-6)
    assert cut.cut_mm[1] - cut.finished_mm[1] == pytest.approx(2 * margin, abs=1e-6)
    turned = cut_cloth((columns, rows), fabric=fabric, margin_mm=margin)
    assert turned.cut_mm == pytest.approx(cut.cut_mm[::-1])


@given(st.floats(0, 500), counts)
def test_whole_threads_bracket_the_length(length, count):
    fabric = Fabric(count)
    down, up = whole_threads(length, fabric), whole_threads(length, fabric, up=True)
    assert down * thread_mm(fabric) <= length + 1e-4
    assert up * thread_mm(fabric) >= length - 1e-4
    assert 0 <= up - down <= 1


def test_every_figure_has_its_source():
    tables = load_figures().tables
    for section, entries in tables.items():
        for entry in entries.values():
            assert entry["source"].strip(), section
