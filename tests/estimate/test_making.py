"""Making-up plans: published worked examples, symmetry, warnings."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from converter.errors import RequestError, UsageError
from converter.estimate.fabric import thread_mm
from converter.estimate.figures import load_figures
from converter.estimate.making import largest_design, plan_making
from converter.estimate.making.cover import back_cut_mm, overlap_mm, wrap_cut_mm
from converter.estimate.making.edges import edge_thread, stitch_length_mm
from converter.estimate.making.words import part_size
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread
from converter.model.results import ThreadUse
from converter.settings import EDGES, PIECES, WAYS, MakingSettings, ThreadSettings

INCH = 25.4
KINDS = [(piece, way) for piece in PIECES for way in WAYS.get(piece, ("auto",))]


def inch(*values):
    return tuple(value * INCH for value in values)


def plan(rows=60, columns=60, piece="panel", fabric=None, **options):
    return plan_making((rows, columns), settings=MakingSettings(piece=piece, **options), fabric=fabric or Fabric(14))


def part(made, name):
    return next(p for p in made.parts if p.name == name)


# Published worked examples -----------------------------------------------------------------------


def test_wrap_for_a_14_inch_pad():
    """Twisted Stitches blog, 11 July 2013: 15 x 34 in, half-inch double hems, overlap 4, half-inch seams."""
    assert wrap_cut_mm((14, 14), 0.5, 0.5, 4) == (34, 15)


def test_wrap_for_a_16_inch_pad():
    """Owl and Sewing Cat, 16 Jan 2011: 40 x 16.5 in, folds 12 in from each end, half-inch double hems."""
    assert wrap_cut_mm((16, 16), 0.25, 0.5, 6) == (40, 16.5)
    assert (40 - 16) / 2 == 12
    # Hemmed, each end reaches 11 in over the pad: 2 x 11 - 16 in overlap.
    assert overlap_mm((12, 12), 1, 16) == 6


def test_front_for_a_16_inch_pad():
    """ofdroppedstitches.blogspot.com, 12 July 2011: front 17 x 17 in; overlap a quarter to a third of the pad."""
    made = plan(100, 100, "panel", size_mm=inch(16, 16))
    assert part(made, "cushion front").cut_mm == pytest.approx(inch(17, 17))
    back = part(made, "cushion back").cut_mm
    lap = overlap_mm((back[0], back[0]), INCH, 17 * INCH)
    assert 16 * INCH / 4 <= lap <= 16 * INCH / 3


def test_back_by_the_quilt_guild_rule():
    """bnmqg.org: each back is half the pad and 4 in, 16 x 12 for a 16 in pad (before its height's seams)."""
    assert back_cut_mm((16, 16), 0.5, 0.5, 5)[0] == 16 / 2 + 4


def test_unequal_backs_overlap():
    """Nature's Threads, 9 May 2014: front 17.25 in, backs 16 and 12 in, 1 in taken up by each hem."""
    assert overlap_mm((16, 12), 1, 17.25) == 8.75


@pytest.mark.parametrize(("columns", "rows"), [(28, 42), (42, 42), (49, 30)])
def test_bag_from_one_piece(columns, rows):
    """Landscape (UK), 15 June 2016: cut (w + 5) x (h + 6.5) in, flat (w + 4.5) / 2 x (h + 5) in."""
    w, h = columns / 14, rows / 14
    made = plan(rows, columns, "sachet", way="bag")
    assert made.parts[0].cut_mm == pytest.approx(inch(w + 5, h + 6.5))
    assert made.finished_mm == pytest.approx(inch((w + 4.5) / 2, h + 5))


def test_bag_grows_where_the_design_would_reach_round_the_fold():
    made = plan(60, 90, "sachet", way="bag")
    assert made.finished_mm[0] > 90 / 14 * INCH


def test_bookmark_limit_from_the_kit():
    """Bennington Museum store, bookmark kit: 2 x 7.5 in on 14 count, so at most 28 x 105 stitches."""
    limit = largest_design("bookmark", Fabric(14))
    assert limit.width_mm / Fabric(14).cell_mm <= 28
    assert limit.height_mm / Fabric(14).cell_mm <= 105
    assert not [w for w in plan(100, 24, "bookmark").warnings if "usual bookmark" in w]
    assert [w for w in plan(106, 29, "bookmark").warnings if "usual bookmark" in w]


def test_bookmark_on_16_count():
    """structables.private.coffee, Cross Stitch Bookmark: 150 x 40 mm of 16 count hold 94 x 25 cells."""
    cell = Fabric(16).cell_mm
    assert (math.floor(150 / cell), math.floor(40 / cell)) == (94, 25)


def test_folded_bookmark_by_cells():
    """A Stitch of Blissfulness, 4 Oct 2022: 5 cells at the sides, 7 at the ends, 3 folded under."""
    made = plan(80, 20, "bookmark", way="folded")
    cell = Fabric(14).cell_mm
    trim = next(g for g in made.parts[0].guides if g.role == "trim")
    xs, ys = [p[0] for p in trim.points], [p[1] for p in trim.points]
    assert max(xs) - min(xs) == pytest.approx((20 + 10) * cell)
    assert max(ys) - min(ys) == pytest.approx((80 + 14) * cell)
    assert made.finished_mm == pytest.approx(((20 + 10 - 6) * cell, (80 + 14) * cell))
    # Lying on its side it is the same bookmark, turned.
    assert plan(20, 80, "bookmark", way="folded").finished_mm == pytest.approx(made.finished_mm[::-1])


@pytest.mark.parametrize("count", [11, 14, 16, 18, 22])
def test_bookmark_fringe_is_about_half_an_inch(count):
    """ourveggiegarden.com, thistle bookmark: fringe about 1/2 in (12 to 13 mm)."""
    fabric = Fabric(count)
    made = plan(80, 20, "bookmark", fabric)
    body = made.parts[1].cut_mm
    fringe = (made.finished_mm[0] - body[0]) / 2
    assert 0.5 * INCH - thread_mm(fabric) < fringe <= 0.5 * INCH + 1e-9


def test_fringed_mat():
    """Purdue Extension, Newton County 4-H: cut 12 x 18 in, line 1/2 in in, so 11 x 17 in inside it."""
    # 14 count, 133 x 217 stitches with 17.5 squares a side would be 12 x 18 in; in whole squares 134 x 218 do.
    made = plan(218, 134, "panel", size_mm=inch(30, 30))
    assert made.parts[0].cut_mm == pytest.approx(inch(12, 18))
    line = next(g for g in made.parts[0].guides if g.role == "stitch")
    xs, ys = [p[0] for p in line.points], [p[1] for p in line.points]
    assert (max(xs) - min(xs), max(ys) - min(ys)) == pytest.approx(inch(11, 17))


# Symmetry ----------------------------------------------------------------------------------------


def places(made_part, move):
    """Return the guides of a part as sorted rows, each point moved first."""
    rows = []
    for guide in made_part.guides:
        points = sorted((round(x, 2), round(y, 2)) for x, y in (move(*point) for point in guide.points))
        rows.append((guide.role, points))
    return sorted(rows)


def same_places(one, two):
    """Within a hundredth of a millimetre, which is far below what scissors can do."""
    return len(one) == len(two) and all(
        a[0] == b[0] and np.allclose(a[1], b[1], atol=0.011) for a, b in zip(one, two, strict=True)
    )


@pytest.mark.parametrize(("piece", "way"), KINDS)
@pytest.mark.parametrize("size", [(60, 60), (31, 58), (90, 41)])
def test_parts_are_symmetrical(piece, way, size):
    """Left and right alike; above and below too, but for the bag, whose top is longer."""
    made = plan(*size, piece, way=way)
    for one in made.parts:
        width, height = one.cut_mm
        have = places(one, lambda x, y: (x, y))
        if one.name in ("cushion back", "card"):
            # Hemmed on one side only; folded with the window on the right.
            assert same_places(have, places(one, lambda x, y, height=height: (x, height - y)))
            continue
        assert same_places(have, places(one, lambda x, y, width=width: (width - x, y)))
        if way != "bag":
            assert same_places(have, places(one, lambda x, y, height=height: (x, height - y)))
        else:
            assert not same_places(have, places(one, lambda x, y, height=height: (x, height - y)))


@pytest.mark.parametrize("size", [(60, 60), (31, 58), (90, 41)])
def test_window_lies_in_the_middle_of_the_card_front(size):
    made = plan(*size, "card")
    card = part(made, "card")
    window = next(g for g in card.guides if g.role == "window")
    xs, ys = [p[0] for p in window.points], [p[1] for p in window.points]
    front = card.cut_mm[0] / 2
    assert min(xs) - front == pytest.approx(card.cut_mm[0] - max(xs))
    assert min(ys) == pytest.approx(card.cut_mm[1] - max(ys))


@settings(max_examples=40, deadline=None)
@given(
    st.integers(5, 150),
    st.integers(5, 150),
    st.sampled_from(KINDS),
    st.sampled_from([Fabric(11), Fabric(14), Fabric(18), Fabric(28, 2), Fabric(55 * 0.254), Fabric(5, 4), Fabric(60)]),
)
def test_every_plan_holds_its_design(rows, columns, kind, fabric):
    piece, way = kind
    made = plan_making((rows, columns), settings=MakingSettings(piece=piece, way=way), fabric=fabric)
    left, top, right, bottom = made.cut.margins_mm
    assert min(made.cut.margins_mm) > 0
    assert left == pytest.approx(right)
    if way != "bag":
        assert top == pytest.approx(bottom)
    assert made.parts[0].cut_mm == made.cut.cut_mm
    design = next(g for g in made.parts[0].guides if g.role == "design")
    xs, ys = [p[0] for p in design.points], [p[1] for p in design.points]
    assert (max(xs) - min(xs), max(ys) - min(ys)) == pytest.approx((fabric.width_mm(columns), fabric.width_mm(rows)))
    for one in made.parts:
        assert one.count >= 1
        assert min(one.cut_mm) > 0
        for guide in one.guides:
            for x, y in guide.points:
                assert -1e-6 <= x <= one.cut_mm[0] + 1e-6
                assert -1e-6 <= y <= one.cut_mm[1] + 1e-6
    assert len(made.steps) >= 6
    assert made.shopping
    assert all(text.strip() for text in (*made.steps, *made.shopping, *made.cautions))


@settings(max_examples=30, deadline=None)
@given(st.integers(10, 80), st.integers(10, 80), st.sampled_from([Fabric(11), Fabric(14), Fabric(16), Fabric(28, 2)]))
def test_panel_margins_and_fringe_are_whole_threads_on_all_sides(rows, columns, fabric):
    made = plan_making((rows, columns), "panel", fabric=fabric)
    one = thread_mm(fabric)
    for margin in made.cut.margins_mm:
        assert margin / one == pytest.approx(round(margin / one))
        assert INCH - 1e-6 <= margin <= 1.25 * INCH + 1e-6
    line = next(g for g in made.parts[0].guides if g.role == "stitch")
    fringe = line.points[0][0]
    assert fringe / one == pytest.approx(round(fringe / one))
    # The stitch line keeps clear of the design.
    assert fringe + 3 * fabric.cell_mm <= made.cut.margins_mm[0] + 1e-6


# What she asks for -------------------------------------------------------------------------------


def test_own_margin_and_fringe_are_taken():
    made = plan(42, 42, "panel", margin_mm=2 * INCH, fringe_mm=INCH)
    assert made.cut.cut_mm == pytest.approx(inch(7, 7))
    assert next(g for g in made.parts[0].guides if g.role == "stitch").points[0] == pytest.approx(inch(1, 1))


def test_fringe_deeper_than_the_margin_is_refused():
    with pytest.raises(RequestError, match="does not hold a fringe"):
        plan(42, 42, "panel", margin_mm=INCH, fringe_mm=INCH)
    with pytest.raises(RequestError, match="less than one thread"):
        plan(42, 42, "panel", fringe_mm=0.5)
    with pytest.raises(RequestError, match="at least"):
        plan(42, 42, "bookmark", margin_mm=10.0, fringe_mm=13.0)


def warned(made, text):
    return any(text in line for line in made.warnings)


def test_panel_warns_about_pad_and_cloth():
    assert warned(plan(20, 20, "panel", size_mm=inch(16, 16)), "small for a pad")
    assert warned(plan(300, 300, "panel", size_mm=inch(16, 16)), "larger than the cushion front")
    assert warned(plan(180, 180, "panel", size_mm=inch(16, 16)), "shows round the panel")
    assert not plan(120, 120, "panel", size_mm=inch(16, 16)).warnings
    assert warned(plan(120, 120, "panel", cloth_mm=inch(8, 8)), "Your cloth")
    # It may be turned: 10 x 11.6 in of cloth for a panel of 11.0 x 9.6 in.
    assert not warned(plan(100, 120, "panel", cloth_mm=inch(10, 11.6)), "Your cloth")


def test_pieces_warn_where_the_size_she_has_is_too_small():
    assert warned(plan(100, 100, "hoop", size_mm=inch(6, 6)), "too small")
    assert warned(plan(100, 100, "card", size_mm=(105, 148)), "too little card")
    assert warned(plan(100, 100, "frame", size_mm=inch(8, 8)), "too little mount")
    assert warned(plan(300, 300, "cushion", size_mm=inch(16, 16)), "larger than the pad")
    assert warned(plan(400, 400, "hoop"), "largest hoop")
    assert warned(plan(400, 400, "panel"), "made to measure")


def test_pads_are_chosen_to_suit():
    """The smallest pad in the shops that leaves an inch of the front round the panel."""
    for stitches in (60, 120, 160, 200):
        made = plan(stitches, stitches, "panel")
        pad = made.finished_mm[0]
        assert pad in [pytest.approx(p) for p in load_figures().many_mm("cushion", "pads")]
        panel = made.parts[0].cut_mm[0]
        assert panel + 2 * INCH <= pad + 1e-6
        assert pad == 12 * INCH or panel + 2 * INCH > pad - 2 * INCH


def test_hoop_is_measured_to_the_farthest_stitch_not_to_the_corner():
    rows, columns = np.mgrid[0:71, 0:71]
    disc = np.hypot(rows - 35, columns - 35) <= 35
    round_chart, square = Chart(disc, fabric=Fabric(14)), Chart(np.ones((71, 71), bool), fabric=Fabric(14))
    small, large = plan_making(round_chart, "hoop").finished_mm[0], plan_making(square, "hoop").finished_mm[0]
    assert small == pytest.approx(6 * INCH)
    assert large == pytest.approx(8 * INCH)


def test_empty_rim_is_told():
    cells = np.zeros((20, 20), bool)
    cells[4:10, 4:10] = True
    assert warned(plan_making(Chart(cells), "panel"), "left 4, above 4, right 10, below 10")


@pytest.mark.parametrize("edge", EDGES)
@pytest.mark.parametrize("piece", PIECES)
def test_edges_are_reckoned_or_refused(piece, edge):
    if piece in ("card", "frame") and edge not in ("auto", "none"):
        with pytest.raises(RequestError, match="no sewn edge"):
            plan(40, 40, piece, edge=edge)
        return
    made = plan(40, 40, piece, edge=edge)
    words = {"whip": "whip stitch", "blanket": "blanket stitch", "backstitch": "in back stitch, about"}
    if edge in words:
        assert any(words[edge] in step for step in made.steps)


def test_unknown_choices_are_refused():
    for wrong in ({"piece": "tent"}, {"way": "bag"}, {"edge": "lace"}, {"margin_mm": -1}, {"size_mm": (1, 1)}):
        with pytest.raises(UsageError):
            MakingSettings(**wrong)


def test_skeins_on_the_list_hold_stitches_and_edge():
    use = ThreadUse(40.0, 20, 15, 5, 100, 10, 2, "closed", 0.15, skein_share=1.99)
    chart = Chart(np.ones((80, 20), bool))
    made = plan_making(chart, "bookmark", stitch_thread=(use,))
    assert any("3 skeins" in line for line in made.shopping)
    bare = plan_making(chart, settings=MakingSettings(piece="bookmark", edge="none"), stitch_thread=(use,))
    assert any("2 skeins" in line for line in bare.shopping)


def test_strong_colours_are_tested_before_the_first_stitch():
    """Annie's, Getting Started; Dillmont, To wash coloured cottons: cold water, no vinegar as a cure."""
    red = plan_making((40, 40), "panel", thread=Thread("#b01e28"))
    assert red.steps[0].startswith("Test the thread")
    assert "Red cotton" in red.steps[0]
    assert "cold water" in red.steps[0]
    text = " ".join((*red.steps, *red.cautions)).lower()
    assert "vinegar" not in text
    assert "hot water" not in text
    pale = plan_making((40, 40), "panel", thread=Thread("#d8d8d0"))
    assert not pale.steps[0].startswith("Test the thread")


def test_needles_are_those_of_the_published_table():
    """Golden Circle Designs, Let's talk about needles, part 3: 24 for 14 count, 26 for 16."""
    for count, needle in ((14, 24), (16, 26)):
        made = plan(40, 40, "panel", Fabric(count))
        assert any(f"tapestry needle no. {needle}" in line for line in made.shopping)
        assert any(f"tapestry needle no. {needle}" in step for step in made.steps)


def test_backstitch_lines_are_worked_after_the_crosses():
    chart = Chart(np.ones((20, 20), bool), lines=[[[0, 0], [1, 1]]])
    step = next(step for step in plan_making(chart, "panel").steps if step.startswith("Stitch the design"))
    assert "backstitch lines with 1 strand" in step
    bare = plan_making(Chart(np.ones((20, 20), bool)), "panel").steps
    assert not any("backstitch lines" in step for step in bare)


@pytest.mark.parametrize(("piece", "way"), KINDS)
def test_cautions_are_printed(piece, way):
    text = " ".join(plan(40, 40, piece, way=way).cautions)
    for word in ("Scissors", "Iron", "sell", "protected"):
        assert word in text
    if piece in ("panel", "cushion", "sachet"):
        assert "Filling" in text
    if piece in ("sachet", "bookmark"):
        assert "swallowed" in text


# Edges by perimeter ------------------------------------------------------------------------------


def test_back_stitch_line_of_ten():
    """A straight line of ten unit stitches takes 3 x 10 - 2 = 28 units in back stitch (plane geometry)."""
    bare = ThreadSettings(tail_mm=0, allowance=0)
    assert edge_thread("backstitch", 10.0, pitch_mm=1.0, settings=bare).length_m * 1000 == pytest.approx(28)


def test_blanket_and_whip_by_geometry():
    assert stitch_length_mm("blanket", 5, 4, 0) == 13
    assert stitch_length_mm("whip", 3, 2, 0) == 5


@given(st.floats(20, 3000), st.sampled_from(["whip", "blanket"]))
def test_edge_thread_grows_with_the_perimeter_and_covers_it(perimeter, kind):
    one, two = edge_thread(kind, perimeter), edge_thread(kind, 2 * perimeter)
    assert two.length_m > one.length_m > perimeter / 1000
    assert one.starts >= math.ceil(one.length_m * 1000 / 450 - 1e-9)


def test_back_stitch_edge_needs_its_stitch_length():
    with pytest.raises(UsageError, match="needs its length"):
        edge_thread("backstitch", 100.0)
    with pytest.raises(UsageError, match="no edge"):
        stitch_length_mm("lace", 1, 1, 1)


# Words -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("piece", ["hoop", "card", "bookmark"])
@pytest.mark.parametrize("own", [None, 315.0, 203.0])
def test_a_length_reads_the_same_wherever_it_stands(piece, own):
    """A hoop of 31.5 cm was 12 3/8 in in the steps and 12 1/2 in on the shopping list."""
    for rows, columns in ((30, 30), (24, 90), (47, 47)):
        size = None if own is None or piece == "bookmark" else (own, own)
        made = plan(rows, columns, piece, size_mm=size)
        said = [*made.steps, *made.shopping, *made.warnings, *(part_size(p) for p in made.parts)]
        said += [guide.label for p in made.parts for guide in p.guides]
        inches: dict[str, set[str]] = {}
        for text in map(str, said):
            for across, down, *metric in re.findall(r"([\d/ ]+?) x ([\d/ ]+?) in \(([\d.]+) x ([\d.]+) cm\)", text):
                for value, centimetres in zip((across, down), metric, strict=True):
                    inches.setdefault(centimetres, set()).add(value.strip())
            for value, centimetres in re.findall(r"([\d/ ]+?) in \(([\d.]+) cm\)", text):
                inches.setdefault(centimetres, set()).add(value.strip())
        assert len(inches) > 3
        assert not {cm: values for cm, values in inches.items() if len(values) > 1}
