"""Making-up plans reckoned by hand on cloth whose squares are 2 mm, and the sizes at which a warning sets in.

12.7 squares to the inch make a square of exactly 2 mm, so that a design of 40 x 30 stitches is 80 x 60 mm.
"""

from __future__ import annotations

import numpy as np
import pytest

from converter.errors import RequestError
from converter.estimate.fabric import cut_cloth
from converter.estimate.figures import load_figures
from converter.estimate.making import largest_design, plan_making
from converter.estimate.making.common import (
    Work,
    box,
    centred,
    fits,
    fringe_strips,
    grown,
    is_red,
    is_strong,
    roll_length_mm,
    turned,
)
from converter.estimate.making.edges import edge_thread, stitch_length_mm
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread
from converter.model.results import Part, ThreadUse
from converter.settings import MakingSettings, ThreadSettings

INCH = 25.4
TWO_MM = Fabric(12.7)


def plan(columns=40, rows=30, piece="panel", fabric=TWO_MM, thread=None, stitch_thread=(), **options):
    settings = MakingSettings(piece=piece, **options)
    return plan_making((rows, columns), settings=settings, fabric=fabric, thread=thread, stitch_thread=stitch_thread)


def part(made, name):
    return next(each for each in made.parts if each.name == name)


def boxes(one, role):
    """Left, top, right and bottom of all guides of a role, rounded to a thousandth."""
    found = []
    for guide in one.guides:
        if guide.role == role:
            xs, ys = [p[0] for p in guide.points], [p[1] for p in guide.points]
            found.append(tuple(round(float(v), 3) for v in (min(xs), min(ys), max(xs), max(ys))))
    return sorted(found)


def sizes(made):
    return {each.name: (each.count, tuple(round(v, 3) for v in each.cut_mm)) for each in made.parts}


def told(made, words):
    return any(words in text for text in (*made.steps, *made.shopping))


def warned(made, words):
    return any(words in text for text in made.warnings)


# The pieces, one by one.


def test_panel_in_millimetres():
    """1 1/4 in hold 15 squares, 1/2 in of fringe 6: 80 x 60 mm and 30 on every side, the line 12 from the edge."""
    made = plan()
    panel = made.parts[0]
    assert sizes(made) == {
        "panel": (1, (140, 120)),
        "cushion front": (1, (330.2, 330.2)),
        # Half the pad and of 5/16 of it (the overlap), a seam and a double hem of half-inch folds.
        "cushion back": (2, (round((304.8 + 95.25) / 2 + 12.7 + 25.4, 3), 330.2)),
    }
    assert boxes(panel, "design") == [(30, 30, 110, 90)]
    assert boxes(panel, "centre") == [(0, 60, 140, 60), (70, 0, 70, 120)]
    assert boxes(panel, "stitch") == [(12, 12, 128, 108)]
    assert boxes(panel, "fringe-level") == [(0, 12, 12, 108), (128, 12, 140, 108)]
    assert boxes(panel, "fringe-upright") == [(12, 0, 128, 12), (12, 108, 128, 120)]
    front = made.parts[1]
    assert boxes(front, "place") == [(95.1, 105.1, 235.1, 225.1)]
    assert boxes(front, "stitch") == [(12.7, 12.7, 317.5, 317.5)]
    back = made.parts[2]
    assert boxes(back, "hem") == [(12.7, 0, 12.7, 330.2), (25.4, 0, 25.4, 330.2)]
    # Sewn on three sides; the hemmed one stays open.
    assert boxes(back, "stitch") == [
        (0, 12.7, 225.425, 12.7),
        (0, 317.5, 225.425, 317.5),
        (225.425, 12.7, 225.425, 317.5),
    ]
    assert made.cut.threads == (70, 60) and made.finished_mm == pytest.approx((304.8, 304.8))
    assert told(made, "15 squares, about 1 1/8 in (3 cm) beyond the outermost stitch")
    assert told(made, "6 squares, about 1/2 in (1.2 cm) in from the cut edge")
    assert told(made, "3 3/4 in (9.5 cm) at the left and just as much at the right, 4 1/8 in (10.5 cm) above")
    assert told(made, "overlap by 3 3/4 in (9.5 cm)")
    assert told(made, "cut it 2 in (5.1 cm) larger on every side")
    assert not made.warnings


def test_wrapped_cover_in_millimetres():
    """Twice round the pad, the overlap, and a double hem at each end; the pad between the folds."""
    strip = part(plan(way="wrap"), "cushion strip")
    assert strip.cut_mm == pytest.approx((2 * 304.8 + 95.25 + 50.8, 330.2))
    assert boxes(strip, "fold") == [(225.425, 0, 225.425, 330.2), (530.225, 0, 530.225, 330.2)]
    assert [b[0] for b in boxes(strip, "hem")] == [12.7, 25.4, 730.25, 742.95]
    assert boxes(strip, "stitch") == [(0, 12.7, 755.65, 12.7), (0, 317.5, 755.65, 317.5)]
    assert boxes(strip, "place") == [(307.825, 105.1, 447.825, 225.1)]
    # The ends, hemmed, are folded in at 7 7/8 in from their edges.
    assert told(plan(way="wrap"), "along lines 7 7/8 in (20 cm) from the hemmed ends")
    assert len(plan(way="wrap").parts) == 2


def test_cushion_in_millimetres():
    made = plan(piece="cushion")
    front = made.parts[0]
    assert sizes(made)["stitched cushion front"] == (1, (330.2, 330.2))
    assert boxes(front, "design") == [(125.1, 135.1, 205.1, 195.1)]
    assert boxes(front, "stitch") == [(12.7, 12.7, 317.5, 317.5)]
    assert made.cut.margins_mm == pytest.approx((125.1, 135.1, 125.1, 135.1))
    assert told(made, "Measure 4 7/8 in (12.5 cm) from the outermost stitch at the left and at the right, 5 3/8 in")
    wrap = plan(piece="cushion", way="wrap")
    assert sizes(wrap) == {"stitched cushion strip": (1, (755.65, 330.2))}
    assert boxes(wrap.parts[0], "design") == [(337.825, 135.1, 417.825, 195.1)]
    # Nothing is left to buy by the yard.
    assert not told(wrap, "plain cotton for the backs") and told(made, "plain cotton for the backs: 13 in (33.1 cm)")


def test_pillow_in_millimetres():
    """Half an inch of cloth is rounded up to 7 squares, 14 mm; the seam takes half an inch more."""
    made = plan(piece="sachet")
    assert sizes(made) == {"sachet front": (1, (160, 140)), "sachet back": (1, (133.4, 113.4))}
    assert made.finished_mm == (108, 88)
    assert boxes(made.parts[0], "trim") == [(13.3, 13.3, 146.7, 126.7)]
    assert boxes(made.parts[0], "stitch") == [(26, 26, 134, 114)]
    assert boxes(made.parts[1], "stitch") == [(12.7, 12.7, 120.7, 100.7)]
    assert boxes(made.parts[1], "centre") == [(0, 56.7, 133.4, 56.7), (66.7, 0, 66.7, 113.4)]
    assert told(made, "1 in (2.7 cm) beyond the outermost stitch")
    assert told(made, "an opening of 2 in (5.1 cm)")
    # A small one is opened by three fifths of its shorter side: (20 + 28) x 0.6 = 28.8 mm.
    assert told(plan(20, 10, "sachet"), "an opening of 1 1/8 in (2.9 cm)")
    # Her own margin, rounded up to whole squares.
    own = plan(piece="sachet", margin_mm=49.0)
    assert own.finished_mm == (180, 160)
    # 50, 12.7 and a quarter inch to trim are more than the usual 1 1/2 in.
    assert own.cut.margins_mm == (70,) * 4


def test_bag_in_millimetres():
    """Landscape (UK), 15 June 2016: 2.5 in each side, 5.5 above, 1 below; quarter-inch seams; top 0.25 and 1 in."""
    made = plan(piece="sachet", way="bag")
    bag = made.parts[0]
    assert bag.cut_mm == pytest.approx((80 + 127, 60 + 165.1))
    assert made.finished_mm == pytest.approx((207 / 2 - 6.35, 225.1 - 6.35 - 31.75))
    assert boxes(bag, "design") == [(63.5, 139.7, 143.5, 199.7)]
    assert boxes(bag, "fold") == [(54.925, 0, 54.925, 225.1), (152.075, 0, 152.075, 225.1)]
    assert boxes(bag, "stitch") == [(0, 218.75, 207, 218.75), (6.35, 0, 6.35, 225.1), (200.65, 0, 200.65, 225.1)]
    assert boxes(bag, "hem") == [(0, 6.35, 207, 6.35), (0, 31.75, 207, 31.75)]
    # 97 mm of front hold 80 of design: 8.6 mm to each fold.
    assert told(made, "3/8 in (9 mm) from each fold")
    # It stands 98 x 187 mm: no larger than the usual 100 x 190, whichever way the design lies.
    assert not warned(made, "larger than a usual sachet")
    # A wide design keeps a quarter of an inch to each fold: (width + 4 x 6.35 + 2 x 6.35) / 2 at each side.
    wide = plan(60, 30, "sachet", way="bag")
    assert wide.cut.margins_mm[0] == pytest.approx((120 + 38.1) / 2)
    assert wide.finished_mm[0] == pytest.approx(120 + 12.7)
    own = plan(60, 30, "sachet", way="bag", margin_mm=10.0)
    assert own.finished_mm[0] == pytest.approx(120 + 20)


def test_fringed_bookmark_in_millimetres():
    """Two squares of ground and 6 of fringe, cut out of the 20 squares that 1 1/2 in are rounded up to."""
    made = plan(20, 80, "bookmark")
    assert sizes(made) == {"bookmark": (1, (120, 240)), "backing": (1, (48, 168))}
    mark = made.parts[0]
    assert boxes(mark, "trim") == [(24, 24, 96, 216)] and boxes(mark, "stitch") == [(36, 36, 84, 204)]
    assert boxes(mark, "fringe-level") == [(24, 36, 36, 204), (84, 36, 96, 204)]
    assert boxes(mark, "fringe-upright") == [(36, 24, 84, 36), (36, 204, 84, 216)]
    assert made.finished_mm == (72, 192)
    # Back stitch two squares long round 2 x (48 + 168) mm.
    assert told(made, "2 squares, about 4 mm outside the design") and told(made, "about 108 stitches 4 mm apart")
    own = plan(20, 80, "bookmark", margin_mm=50.0, fringe_mm=20.0)
    # A quarter inch more, in whole squares, is left to trim.
    assert own.finished_mm == (140, 260) and own.cut.margins_mm == (58,) * 4
    assert own.parts[1].cut_mm == (100, 220)


def test_folded_bookmark_in_millimetres():
    """Five squares at the sides, three of them folded under; seven at the ends, five of them fringe."""
    made = plan(20, 80, "bookmark", way="folded")
    mark = made.parts[0]
    assert boxes(mark, "trim") == [(30, 26, 90, 214)] and boxes(mark, "stitch") == [(38, 38, 82, 202)]
    assert boxes(mark, "fold") == [(36, 26, 36, 214), (84, 26, 84, 214)]
    assert boxes(mark, "fringe-upright") == [(36, 26, 84, 36), (36, 204, 84, 214)] and not boxes(mark, "fringe-level")
    assert made.finished_mm == (48, 188)
    # One square from the design, 2 x (20 + 80 + 4) squares round, stitches of two.
    assert told(made, "about 104 stitches 4 mm apart")
    lying = plan(80, 20, "bookmark", way="folded").parts[0]
    assert boxes(lying, "trim") == [(26, 30, 214, 90)]
    assert boxes(lying, "fold") == [(26, 36, 214, 36), (26, 84, 214, 84)]
    assert boxes(lying, "fringe-level") == [(26, 36, 36, 84), (204, 36, 214, 84)]
    assert not boxes(lying, "fringe-upright")
    # A square design counts as upright.
    assert boxes(plan(20, 20, "bookmark", way="folded").parts[0], "fringe-upright")


def test_card_in_millimetres():
    """6 mm of ground, 18 of card, 12 held behind: the window of 92 x 72 needs an A5 front (ISO 216)."""
    made = plan(piece="card")
    assert sizes(made) == {
        "stitched cloth": (1, (160, 140)),
        "card": (1, (296, 210)),
        "lining": (1, (146, 208)),
        "wadding": (1, (88, 68)),
    }
    assert boxes(made.parts[0], "trim") == [(22, 22, 138, 118)]
    assert boxes(made.parts[0], "window") == [(34, 34, 126, 106)]
    assert boxes(made.parts[1], "window") == [(176, 69, 268, 141)]
    assert boxes(made.parts[1], "fold") == [(148, 0, 148, 210)]
    assert told(made, "1 1/8 in (2.8 cm) from the fold and from the edge, 2 3/4 in (6.9 cm) from the top")
    # 105 x 148 hold a window of 69 x 112 with its rim: 57 x 100 mm of design.
    assert plan(28, 50, "card").finished_mm == (105, 148)
    assert plan(29, 50, "card").finished_mm == (148, 210)
    assert plan(50, 28, "card").finished_mm == (148, 105)
    assert plan(10, 10, "card").finished_mm == (105, 148)


def test_frame_in_millimetres():
    """Half an inch of ground and an inch of mount: 105.4 x 85.4 with 25.4 all round go into 10 x 8 in, lying.

    Upright it would do as well, but with nearly twice the mount above and below that there is beside the design.
    """
    made = plan(piece="frame")
    assert made.finished_mm == pytest.approx((254.0, 203.2))
    assert sizes(made) == {
        "stitched cloth": (1, (327.2, 276.4)),
        "board": (1, (251.0, 200.2)),
        "mount": (1, (254.0, 203.2)),
    }
    assert boxes(made.parts[0], "fold") == [(38.1, 38.1, 289.1, 238.3)]
    assert boxes(made.parts[0], "window") == [(110.9, 95.5, 216.3, 180.9)]
    assert boxes(made.parts[2], "window") == [(74.3, 58.9, 179.7, 144.3)]
    assert told(made, "2 7/8 in (7.4 cm) of mount at the left and right, 2 3/8 in (5.9 cm) above and below")


def test_hoop_in_millimetres():
    """Half the diagonal of 80 x 60 is 50; with 3/8 in of ground 119.05 mm are needed: a hoop of 5 in."""
    made = plan(piece="hoop")
    assert made.finished_mm == (127, 127)
    assert sizes(made) == {"stitched cloth": (1, (228.6, 228.6)), "felt back": (1, (127, 127))}
    cloth = made.parts[0]
    assert boxes(cloth, "design") == [(74.3, 84.3, 154.3, 144.3)]
    assert boxes(cloth, "edge") == [(50.8, 50.8, 177.8, 177.8)] and boxes(cloth, "trim") == [(25.4, 25.4, 203.2, 203.2)]
    for guide in cloth.guides:
        if guide.role == "edge":
            assert all(np.hypot(x - 114.3, y - 114.3) == pytest.approx(63.5) for x, y in guide.points)
    # Whip stitches 4 mm apart round 127 x pi mm.
    assert told(made, "about 100 stitches 4 mm apart")
    assert part(made, "felt back").round and not cloth.round
    # A design larger than its hoop still gets two inches of cloth round it.
    assert plan(100, 10, "hoop", size_mm=(127.0, 150.0)).cut.cut_mm == pytest.approx((200 + 101.6,) * 2)


def labels(one, role):
    return [str(guide.label) for guide in one.guides if guide.role == role]


def test_what_must_go_into_something_is_told_to_the_nearest_and_what_is_cut_of_cloth_rounded_up():
    """5.2 mm of ground make a window of 90.4 x 70.4 mm: 90 x 70, not 91 x 71; trimmed cloth of 114.4 is 115."""
    made = plan(piece="card", margin_mm=5.2, size_mm=(148.4, 210.4))
    window = "3 1/2 x 2 3/4 in (9 x 7 cm)"
    assert labels(part(made, "card"), "window") == [f"window {window}"]
    assert labels(made.parts[0], "trim") == ["trim to 4 5/8 x 3 3/4 in (11.5 x 9.5 cm)"]
    assert told(made, "Cut the card 11 5/8 x 8 1/4 in (29.7 x 21 cm)") and told(made, f"Cut the window {window}")
    assert told(made, "card 11 5/8 x 8 1/4 in (29.7 x 21 cm) and thin card or paper 5 3/4 x 8 1/4 in (14.6 x 20.8 cm)")
    # Wadding is cut: rounded up. The envelope is for the card as it reads elsewhere.
    assert told(made, "thin wadding 3 1/2 x 2 5/8 in (8.7 x 6.7 cm)")
    assert told(made, "envelope for 5 7/8 x 8 1/4 in (14.8 x 21 cm)")
    framed = plan(piece="frame", size_mm=(203.4, 254.4))
    # The board is 3 mm smaller than the frame: 200.4 x 251.4.
    assert told(framed, "Cut the board 7 7/8 x 9 7/8 in (20 x 25.1 cm)")
    assert told(framed, "acid-free board 7 7/8 x 9 7/8 in (20 x 25.1 cm)")
    assert told(framed, "frame for pictures of 8 x 10 in (20.3 x 25.4 cm), with mount")
    assert told(framed, "Cut the window of the mount 4 1/8 x 3 3/8 in (10.5 x 8.5 cm)")
    small = plan(38, 50, "card", size_mm=(105.4, 148.4))
    assert warned(small, "on a front of 4 1/8 x 5 7/8 in (10.5 x 14.8 cm)")
    assert warned(plan(75, 20, "frame", size_mm=(200.4, 200.4)), "in a frame of 7 7/8 x 7 7/8 in (20 x 20 cm)")
    assert warned(plan(cloth_mm=(100.4, 100.4)), "Your cloth of 4 x 4 in (10 x 10 cm)")
    pad = plan(121, 40, size_mm=(300.4, 300.4))
    assert warned(pad, "the cushion front of 11 7/8 x 11 7/8 in (30 x 30 cm)")
    assert told(pad, "cushion pad 11 7/8 x 11 7/8 in (30 x 30 cm)")
    assert warned(plan(151, 40, "cushion", size_mm=(300.4, 300.4)), "than the pad of 11 7/8 x 11 7/8 in (30 x 30 cm)")
    # 2 x (143.01 + 9.525) = 305.08 mm, made 97 eighths of an inch.
    large = plan(143, 2, "hoop")
    assert warned(large, "this needs 12 1/8 in (30.8 cm)")
    assert told(large, "wooden hoop 12 1/8 in (30.8 cm) across") and told(
        large, "felt 12 1/8 x 12 1/8 in (30.8 x 30.8 cm)"
    )


def test_labels_of_lines_name_their_measure():
    assert labels(plan().parts[0], "stitch") == ["stitch line, 1/2 in (1.2 cm) from the edge"]
    assert labels(plan(piece="sachet").parts[0], "trim") == ["trim to 5 3/8 x 4 1/2 in (13.4 x 11.4 cm)"]
    assert labels(plan(piece="sachet").parts[0], "stitch") == ["seam 1/2 in (1.3 cm)"]
    assert labels(plan(20, 80, "bookmark").parts[0], "stitch") == ["sewn line, 1/2 in (1.2 cm) inside the trimmed edge"]
    assert labels(plan(piece="sachet", way="bag").parts[0], "hem")[0] == "turn 1/4 in (6 mm), then 1 in (2.5 cm)"
    assert labels(plan(piece="hoop").parts[0], "trim") == ["trim 1 in (2.5 cm) outside the hoop"]
    assert labels(plan(way="wrap").parts[1], "hem")[0] == "double hem 1/2 in (1.3 cm)"
    design = labels(plan(piece="sachet", way="bag").parts[0], "design")[0]
    assert "5 1/2 in (14 cm) above, 1 in (2.5 cm) below it" in design


# Where a size no longer does.


def test_hoops_just_large_enough():
    """2 x (r + 9.525): 5 in hold a half diagonal of 53.975 mm."""
    assert plan(53, 2, "hoop").finished_mm[0] == 127  # 53.04
    assert plan(54, 2, "hoop").finished_mm[0] == pytest.approx(152.4)  # 54.04
    # What she has is taken, the shorter side of it; then she is told how well it does.
    snug = plan(53, 2, "hoop", size_mm=(127.0, 300.0))
    assert snug.finished_mm == (127, 127) and not snug.warnings
    assert warned(plan(54, 2, "hoop", size_mm=(127.0, 127.0)), "would be better")
    assert warned(plan(63, 2, "hoop", size_mm=(127.0, 127.0)), "would be better")  # 63.03
    assert warned(plan(64, 2, "hoop", size_mm=(127.0, 127.0)), "too small")  # 64.03 > 63.5
    # The largest in the shops is 12 in: 152.4 - 9.525 = 142.875 mm.
    assert not plan(142, 2, "hoop").warnings
    assert warned(plan(143, 2, "hoop"), "largest hoop")
    # 305.08 mm, and on to a whole eighth of an inch.
    assert plan(143, 2, "hoop").finished_mm[0] == pytest.approx(97 * 25.4 / 8)


def test_panels_on_pads_just_large_enough():
    """A pad holds the panel and an inch round it: 304.8 - 50.8 - 60 = 194 mm of design on 12 in."""
    assert plan(97, 40).finished_mm[0] == pytest.approx(304.8)
    assert plan(98, 40).finished_mm[0] == pytest.approx(355.6)
    assert plan(40, 98).finished_mm[0] == pytest.approx(355.6)
    pad = (300.0, 300.0)
    # Half an inch of front is the least that shows: 300 - 25.4 - 60 = 214.6.
    assert not plan(107, 107, size_mm=pad).warnings
    assert warned(plan(108, 40, size_mm=pad), "shows round the panel")
    assert warned(plan(40, 120, size_mm=pad), "shows round the panel")
    assert warned(plan(121, 40, size_mm=pad), "larger than the cushion front")
    # Two fifths of the pad are the least that looks like something: 120 - 60 = 60 mm.
    assert not plan(30, 10, size_mm=pad).warnings and not plan(10, 30, size_mm=pad).warnings
    assert warned(plan(29, 29, size_mm=pad), "small for a pad")
    assert warned(plan(29, 29, size_mm=pad), "under 40%")
    # An inch less one square is no narrower than usual.
    assert not warned(plan(margin_mm=24.0), "narrower") and warned(plan(margin_mm=22.0), "narrower")


def test_panel_margin_and_fringe_at_their_limits():
    """Three plain squares stay between line and design."""
    assert plan(margin_mm=26.0, fringe_mm=20.0).cut.margins_mm == (26,) * 4
    with pytest.raises(RequestError, match="does not hold"):
        plan(margin_mm=25.9, fringe_mm=20.0)
    assert boxes(plan(margin_mm=40.0, fringe_mm=2.0).parts[0], "stitch") == [(2, 2, 158, 138)]
    with pytest.raises(RequestError, match="less than one thread"):
        plan(margin_mm=40.0, fringe_mm=1.9)
    # Very coarse stitches, over four threads of 5 to the inch: the usual margin grows to hold 2 threads of fringe and
    # three stitches.
    coarse = plan_making((10, 10), "panel", fabric=Fabric(5, 4))
    assert coarse.cut.margins_mm[0] == pytest.approx((2 + 3 * 4) * INCH / 5)
    # Over two threads the three squares are six threads: 12.7 mm of fringe are 14 of 28 to the inch.
    over = plan_making((30, 40), settings=MakingSettings(margin_mm=20 * INCH / 28, fringe_mm=14 * INCH / 28),
                       fabric=Fabric(28, 2))  # fmt: skip
    assert over.cut.threads == (120, 100)
    with pytest.raises(RequestError, match="does not hold"):
        plan_making((30, 40), settings=MakingSettings(margin_mm=19.5 * INCH / 28, fringe_mm=14 * INCH / 28),
                    fabric=Fabric(28, 2))  # fmt: skip


def test_cushions_at_their_limits():
    """An inch of ground: 304.8 - 50.8 = 254 mm of design on a pad of 12 in."""
    assert plan(127, 40, "cushion").finished_mm[0] == pytest.approx(304.8)
    assert plan(128, 40, "cushion").finished_mm[0] == pytest.approx(355.6)
    pad = (300.0, 300.0)
    assert not plan(124, 40, "cushion", size_mm=pad).warnings
    assert warned(plan(125, 40, "cushion", size_mm=pad), "between the design and the seam")
    assert warned(plan(150, 40, "cushion", size_mm=pad), "between the design and the seam")
    assert warned(plan(151, 40, "cushion", size_mm=pad), "larger than the pad")
    # A quarter of the pad.
    assert not warned(plan(38, 10, "cushion", size_mm=pad), "small for a pad")
    assert not warned(plan(10, 38, "cushion", size_mm=pad), "small for a pad")
    assert warned(plan(37, 37, "cushion", size_mm=pad), "under 25%")
    # A design wider than the front leaves no margin, not less than none.
    assert plan(200, 40, "cushion", size_mm=pad).cut.margins_mm[0] == 0
    # The largest pad in the shops is 24 in.
    assert not plan(279, 40, "cushion").warnings and plan(279, 40, "cushion").finished_mm[0] == pytest.approx(609.6)
    assert warned(plan(280, 40, "cushion"), "made to measure")
    assert plan(280, 40, "cushion").finished_mm[0] == pytest.approx(560 + 50.8)


def test_bookmarks_at_their_limits():
    """A usual one is 2 x 7 1/2 in, 50.8 x 190.5 mm, without its fringe; ground takes 8 of it."""
    assert not plan(21, 91, "bookmark").warnings
    assert warned(plan(22, 91, "bookmark"), "usual bookmark") and warned(plan(21, 92, "bookmark"), "usual bookmark")
    assert not plan(91, 21, "bookmark").warnings
    # Margin and fringe: one plain square at least.
    assert plan(20, 80, "bookmark", margin_mm=22.0, fringe_mm=20.0).finished_mm == (84, 204)
    for wrong in ({"margin_mm": 21.9, "fringe_mm": 20.0}, {"margin_mm": 22.0, "fringe_mm": 1.9}, {"fringe_mm": 0.0}):
        with pytest.raises(RequestError, match="at least"):
            plan(20, 80, "bookmark", **wrong)


def test_sachets_at_their_limits():
    """A usual one is 100 x 190 mm; the pillow is 28 mm larger than its design."""
    assert not plan(36, 81, "sachet").warnings and not plan(81, 36, "sachet").warnings
    assert warned(plan(37, 81, "sachet"), "larger than a usual sachet")
    assert warned(plan(36, 82, "sachet"), "larger than a usual sachet")


def test_cards_and_frames_at_their_limits():
    # Half the rim, 9 mm, is the least card round the window: 105 - 18 - 12 = 75 mm of design.
    have = (105.0, 148.0)
    assert not plan(37, 50, "card", size_mm=have).warnings
    assert warned(plan(38, 50, "card", size_mm=have), "too little card")
    assert warned(plan(30, 60, "card", size_mm=have), "too little card")
    # The largest front in the shops holds 148 - 36 - 12 = 100 and 210 - 48 = 162 mm.
    assert not plan(50, 81, "card").warnings and warned(plan(51, 81, "card"), "made to measure")
    assert not plan(81, 50, "card").warnings and warned(plan(50, 82, "card"), "made to measure")
    assert plan(51, 81, "card").finished_mm == (150, 210)
    # Half the mount: 200 - 25.4 - 25.4 = 149.2 mm.
    have = (200.0, 200.0)
    assert not plan(74, 74, "frame", size_mm=have).warnings
    assert warned(plan(75, 20, "frame", size_mm=have), "too little mount")
    # 16 x 20 in hold 406.4 - 76.2 = 330.2 by 431.8 mm.
    assert not plan(165, 215, "frame").warnings and warned(plan(166, 215, "frame"), "made to measure")
    assert not plan(215, 165, "frame").warnings and warned(plan(165, 216, "frame"), "made to measure")
    # Card under which nothing would be held: two millimetres inside the rim at most.
    narrow = plan(piece="card", size_mm=(100.0, 80.0))
    assert boxes(narrow.parts[0], "trim") == [(22, 22, 138, 118)]
    for piece in ("card", "frame"):
        with pytest.raises(RequestError, match="no sewn edge"):
            plan(piece=piece, edge="whip")
        assert plan(piece=piece, edge="none").parts


def test_cloth_she_has():
    """The panel is cut 140 x 120 mm; the cloth may be turned."""
    enough = {(140.0, 120.0): True, (120.0, 140.0): True, (139.0, 300.0): True, (139.0, 139.0): False,
              (300.0, 119.0): False}  # fmt: skip
    for have, holds in enough.items():
        assert warned(plan(cloth_mm=have), "Your cloth") is not holds


def test_bare_rows_at_the_rim():
    cells = np.zeros((10, 12), dtype=bool)
    cells[0:7, 2:12] = True
    note = next(w for w in plan_making(Chart(cells), "hoop").warnings if "rim" in w)
    assert "left 2, above 0, right 0, below 3" in note
    assert not any("rim" in w for w in plan_making(Chart(np.ones((5, 5), bool)), "hoop").warnings)


def test_the_farthest_stitch_of_a_chart():
    """Two crosses in opposite corners of 20 x 10, a line beyond them, and what a bare design counts."""

    def radius(design, fabric=TWO_MM):
        return Work(
            design, fabric, Thread(), MakingSettings(piece="hoop"), load_figures(), ThreadSettings()
        ).radius_mm()

    assert radius((10, 20)) == pytest.approx(2 * np.hypot(10, 5))
    cells = np.zeros((10, 20), dtype=bool)
    cells[0, 10] = cells[9, 9] = cells[4, 0] = cells[5, 19] = True
    # From the middle (5, 10) the far corners of the cells are (0, 11), (4, 0) and (6, 20).
    assert radius(Chart(cells)) == pytest.approx(2 * np.hypot(10, 1))
    # A lone block high up and a line below: the farthest is the upper left corner of the block.
    tall = np.zeros((30, 12), dtype=bool)
    tall[0, 0:12] = True
    assert radius(Chart(tall, lines=[[[29, 5], [30, 5]]])) == pytest.approx(2 * np.hypot(15, 6))
    assert radius(Chart(tall[::-1], lines=[[[0, 5], [1, 5]]])) == pytest.approx(2 * np.hypot(15, 6))
    assert radius(Chart(tall, lines=[[[0, 5], [1, 5]]])) == pytest.approx(2 * np.hypot(0.5, 6))
    assert radius(Chart(np.zeros((10, 20), dtype=bool))) == pytest.approx(2 * np.hypot(10, 5))
    line = Chart(np.zeros((10, 20), dtype=bool), lines=[[[2, 4], [2, 10]]])
    assert radius(line) == pytest.approx(2 * 3)
    # By all four corners of every cross, whichever way the chart is turned.
    rng = np.random.default_rng(1)
    for _ in range(20):
        some = rng.random((5, 7)) < 0.15
        if not some.any():
            continue
        at = np.argwhere(some)
        corners = np.concatenate([at + step for step in ((0, 0), (0, 1), (1, 0), (1, 1))])
        middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
        farthest = 2 * np.hypot(*(corners - middle).T).max()
        for image in (some, some[::-1], some[:, ::-1], some.T):
            assert radius(Chart(image)) == pytest.approx(farthest)


# Largest designs.


@pytest.mark.parametrize(
    ("piece", "options", "expected"),
    [
        # 24 in less an inch round the panel and a margin of 15 squares.
        ("panel", {}, (609.6 - 50.8 - 60,) * 2),
        ("panel", {"size_mm": (400.0, 300.0)}, (400 - 50.8 - 60, 300 - 50.8 - 60)),
        ("cushion", {}, (609.6 - 50.8,) * 2),
        ("cushion", {"margin_mm": 10.0, "size_mm": (400.0, 300.0)}, (380, 280)),
        ("cushion", {"margin_mm": 0.0, "size_mm": (400.0, 300.0)}, (400, 300)),
        ("sachet", {}, (100 - 25.4, 190 - 25.4)),
        ("sachet", {"margin_mm": 20.0}, (60, 150)),
        ("bookmark", {}, (50.8 - 8, 190.5 - 8)),
        ("card", {}, (148 - 48, 210 - 48)),
        ("card", {"margin_mm": 10.0}, (148 - 56, 210 - 56)),
        ("frame", {}, (406.4 - 76.2, 508 - 76.2)),
        ("hoop", {}, (304.8 - 19.05,) * 2),
        ("hoop", {"size_mm": (127.0, 150.0)}, (127 - 19.05,) * 2),
        ("hoop", {"margin_mm": 0.0}, (304.8,) * 2),
    ],
)
def test_largest_design_of_a_piece(piece, options, expected):
    limit = largest_design(piece, TWO_MM, settings=MakingSettings(piece=piece, **options))
    assert (limit.width_mm, limit.height_mm) == pytest.approx(expected)
    assert limit.diagonal_mm == (limit.width_mm if piece == "hoop" else None)
    if "size_mm" not in options:
        lying = largest_design(piece, TWO_MM, upright=False, settings=MakingSettings(piece=piece, **options))
        assert (lying.width_mm, lying.height_mm) == pytest.approx(expected[::-1])
    # Settings of another piece do not count.
    other = largest_design(piece, TWO_MM, settings=MakingSettings(piece="hoop" if piece != "hoop" else "card",
                                                                  margin_mm=33.0))  # fmt: skip
    assert other == largest_design(piece, TWO_MM)


@pytest.mark.parametrize("piece", ["panel", "cushion", "sachet", "bookmark", "card", "frame", "hoop"])
def test_a_design_of_the_largest_size_is_not_warned_about(piece):
    limit = largest_design(piece, TWO_MM)
    columns, rows = int(limit.width_mm / 2), int(limit.height_mm / 2)
    if piece == "hoop":
        columns, rows = int(limit.diagonal_mm / 2 * 0.8), int(limit.diagonal_mm / 2 * 0.6)
    if piece == "sachet":
        # The ground is rounded up to whole squares.
        columns, rows = columns - 1, rows - 1
    assert not plan(columns, rows, piece).warnings
    assert plan(columns + 2, rows + 2, piece).warnings


# Small parts of the reckoning.


def test_sizes_and_rectangles():
    assert grown((10, 20), 3) == (16, 26) and grown((10, 20), -3) == (4, 14)
    assert turned((5, 3), True) == (3, 5) and turned((3, 5), False) == (5, 3)
    assert fits((3, 4), (3, 4)) and not fits((3.1, 4), (3, 4)) and not fits((3, 4.1), (3, 4)) and fits((2, 3), (3, 4))
    assert box("x", "", 1, 2, (3, 4)).points == ((1, 2), (4, 2), (4, 6), (1, 6))
    assert centred("x", "", (4, 2), (10, 8)).points == ((3, 3), (7, 3), (7, 5), (3, 5))
    strips = fringe_strips(box("e", "", 0, 0, (10, 8)), box("s", "", 0, 2, (10, 4)))
    # Nothing is left at the sides: two strips only.
    assert [s.points for s in strips] == [((0, 0), (10, 0), (10, 2), (0, 2)), ((0, 6), (10, 6), (10, 8), (0, 8))]
    assert [s.role for s in strips] == ["fringe-upright"] * 2


def test_parts_off_a_roll():
    """The highest first, each in the first row that still has room; a row that is full to the millimetre holds it."""

    def length(*cut, roll=100.0):
        return roll_length_mm([Part("x", count, size) for count, size in cut], roll)

    assert length((1, (60, 30))) == 30
    assert length((1, (60, 30)), (1, (40, 20))) == 30
    assert length((1, (60, 30)), (1, (41, 20))) == 50
    assert length((3, (50, 30))) == 60
    assert length((1, (60, 30)), (1, (60, 20)), (1, (40, 20)), (1, (40, 10))) == 50
    assert length((1, (40, 20)), (1, (60, 30)), (1, (30, 25))) == 50


def test_colours_that_may_run():
    """Red, dark or strong in colour."""
    for colour in ("#b01e28", "#1c2f6e", "#000000", "#e7c94a", "#650000"):
        assert is_strong(colour), colour
    for colour in ("#ffffff", "#d8d8d0", "#c0c0c0", "#a0c0a0", "#676767"):
        assert not is_strong(colour), colour
    # At the limit: lightness 0.4 is 102 of 255; 0.35 of difference is 89.25.
    assert is_strong("#656565") and not is_strong("#666666")
    assert is_strong("#d8d87e") and not is_strong("#d8d880")
    for colour, red in (("#b01e28", True), ("#ff0000", True), ("#c8102e", True), ("#d0206f", True), ("#d02078", False),
                        ("#d05420", True), ("#d05620", False),
                        ("#8a7f7f", False), ("#b0506f", True), ("#1c2f6e", False)):  # fmt: skip
        assert is_red(colour) is red, colour


# Edges and thread.


def test_edge_thread_by_hand():
    """Whip 4 mm apart and 3 deep through 1 mm: 1 + sqrt(7^2 + 4^2); blanket 5 apart and 5 deep: 5 + 10 + 1."""
    assert stitch_length_mm("whip", 4, 3, 1) == pytest.approx(1 + np.sqrt(65))
    assert stitch_length_mm("blanket", 5, 5, 1) == 16
    plain = ThreadSettings(allowance=0.0, tail_mm=0.0, working_length_mm=450.0)
    whip = edge_thread("whip", 400.0, settings=plain)
    assert (whip.stitches, whip.pitch_mm, whip.starts) == (100, 4, 3)
    assert whip.length_m == pytest.approx(0.1 * (1 + np.sqrt(65)))
    blanket = edge_thread("blanket", 402.0, settings=plain)
    assert (blanket.stitches, blanket.length_m) == (80, pytest.approx(1.28))
    back = edge_thread("backstitch", 400.0, pitch_mm=4.0, settings=plain)
    assert back.length_m == pytest.approx((3 * 100 - 2) * 4 / 1000)
    # A hem a needle's breadth long is one stitch.
    assert edge_thread("whip", 1.0, settings=plain).stitches == 1
    # Tails are left at each start; the allowance goes on the stitches alone.
    tails = edge_thread(
        "blanket", 400.0, settings=ThreadSettings(allowance=0.25, tail_mm=25.0, working_length_mm=450.0)
    )
    assert tails.starts == 4 and tails.length_m == pytest.approx((1280 * 1.25 + 2 * 25 * 4) / 1000)
    use_ = ThreadSettings(allowance=0.0, tail_mm=25.0, working_length_mm=370.0)
    exact = edge_thread("blanket", 400.0, settings=use_)
    assert exact.starts == 4
    # Tails as long as the thread leave a millimetre to sew with.
    none = edge_thread("blanket", 5.0, settings=ThreadSettings(allowance=0.0, tail_mm=50.0, working_length_mm=100.0))
    assert none.starts == 16


def test_one_length_is_no_lengths():
    """A short hem of back stitch: 20 stitches of 4 mm."""
    made = plan(2, 2, "bookmark", way="folded")
    step = next(s for s in made.steps if "of thread in" in s)
    assert "in 1 length" in step and "in 1 lengths" not in step
    assert told(plan(20, 80, "bookmark", way="folded"), "in 4 lengths")


def use(share):
    return ThreadUse(1.0, 0.5, 0.3, 0.2, 3, 0, 1, "closed", 0.15, skein_share=share)


@pytest.mark.parametrize(
    ("shares", "words"),
    [((0.4,), "1 skein of 8 m (0.40 used)"), ((1.0,), "1 skein of"), ((1.001,), "2 skeins of"),
     ((0.6, 0.4), "1 skein of"),
     ((0.6, 0.5), "2 skeins of 8 m (1.10 used)"), ((0.0,), "1 skein of")],
)  # fmt: skip
def test_whole_skeins_are_bought(shares, words):
    assert told(plan(stitch_thread=tuple(use(share) for share in shares)), words)


def test_thread_is_called_by_its_name_or_by_its_colour():
    assert told(plan(thread=Thread(name="poppy 12"), stitch_thread=(use(0.4),)), "six-strand cotton poppy 12: 1 skein")
    assert told(plan(thread=Thread(colour="#b01e28"), stitch_thread=(use(0.4),)), "red (#b01e28): 1 skein")


def test_a_sewn_edge_takes_of_the_same_thread():
    """Blanket stitch round the pillow: length times strands, of 8 m with six strands."""
    thread = Thread(strands=3)
    plain = plan(piece="sachet", edge="blanket", thread=thread)
    edge = edge_thread("blanket", 2 * (108 + 88.0))
    with_edge = plan(piece="sachet", edge="blanket", thread=thread, stitch_thread=(use(0.5),))
    assert told(with_edge, f"({0.5 + edge.length_m * 3 / 48:.2f} used)")
    assert told(plain, "of that for the hand-sewn edge") and told(plain, "with 3 strands")
    assert told(plan(piece="sachet", edge="whip", thread=Thread(strands=1)), "with 1 strand\n"[:-1])
    assert not told(plan(piece="sachet"), "hand-sewn")
    # Back stitch: two squares of the cloth, or one stitch over two threads.
    assert told(plan(piece="cushion", edge="backstitch"), "4 mm apart")
    assert told(plan(piece="cushion", edge="backstitch", fabric=Fabric(25.4, 2)), "2 mm apart")


def test_steps_name_the_thread_and_the_cloth():
    chart = Chart(np.ones((20, 20), bool), lines=[[[0, 0], [1, 1]]], fabric=Fabric(14), thread=Thread(strands=2))
    step = next(s for s in plan_making(chart, "panel").steps if s.startswith("Stitch the design"))
    assert "with 2 strands and a tapestry needle no. 24" in step and "with 1 strand and needle no. 26" in step
    # Cloth counted off is told up to 2000 threads a side.
    assert told(plan(940, 10), "Counted: 970 by 40 squares")
    assert any("Counted" in s for s in plan(1970, 10).steps) and not any("Counted" in s for s in plan(1971, 10).steps)


def test_margins_in_words():
    def words(left, top, right, bottom):
        from converter.estimate.making.common import _margin_words

        work = Work((30, 40), TWO_MM, Thread(), MakingSettings(), load_figures(), ThreadSettings())
        return _margin_words(work, cut_cloth((30, 40), fabric=TWO_MM, margin_mm=(left, top, right, bottom)))

    four = "5 squares, about 3/8 in (1 cm)"
    assert words(10.0, 10.0, 10.0, 10.0) == f"{four} of bare cloth on all four sides"
    assert words(10.0, 10.005, 10.0, 10.0) == f"{four} of bare cloth on all four sides"
    assert words(10.0, 20.0, 10.0, 20.0) == (
        f"{four} at the left and at the right, 10 squares, about 3/4 in (2 cm) above and below it"
    )
    assert words(10.0, 20.0, 10.0, 11.0) == (
        f"{four} at the left and at the right, 10 squares, about 3/4 in (2 cm) above, 3/8 in (1.1 cm) below it"
    )
    assert words(10.0, 20.0, 14.0, 20.0).startswith(
        f"{four} at the left, 7 squares, about 1/2 in (1.4 cm) at the right"
    )


def test_the_middle_of_a_lopsided_cloth_is_measured():
    """The bag has 5 1/2 in above its design of 60 mm: the middle lies 139.7 + 30 mm below the top."""
    assert told(plan(piece="sachet", way="bag"), "6 5/8 in (17 cm) below the top edge")
    assert told(plan(), "fold the cloth in half both ways")


def test_needles_strands_and_cautions_only_where_they_belong():
    pale = plan(thread=Thread("#d8d8d0"))
    assert len(pale.cautions) == len(plan().cautions) - 1 and "Colour" not in pale.cautions[0]
    assert told(plan(thread=Thread("#1c2f6e")), "Strongly coloured cotton can run")
    assert any("Craft knife" in c for c in plan(piece="card").cautions)
    assert not any("Craft knife" in c for c in plan(piece="hoop").cautions)


@pytest.mark.parametrize("margin_mm", [None, 12.7, 25.4, 60.0])
@pytest.mark.parametrize(
    ("piece", "way"), [("sachet", "pillow"), ("bookmark", "fringed"), ("bookmark", "folded"), ("card", "auto")]
)
def test_what_is_trimmed_after_stitching_has_cloth_to_cut_away(piece, way, margin_mm):
    if (piece, margin_mm) == ("bookmark", 12.7):
        margin_mm = 20.0  # it holds the fringe too
    made = plan(piece=piece, way=way, margin_mm=margin_mm)
    stitched = next(each for each in made.parts if each.material == "stitched")
    [(left, top, right, bottom)] = boxes(stitched, "trim")
    spare = [left, top, stitched.cut_mm[0] - right, stitched.cut_mm[1] - bottom]
    assert min(spare) >= INCH / 4 - 1e-3
    assert spare[0] == pytest.approx(spare[2], abs=1e-3) and spare[1] == pytest.approx(spare[3], abs=1e-3)


LINES = [[[0, 0], [0, 3]], [[0, 3], [4, 3]]]


@pytest.mark.parametrize(
    ("crosses", "lines", "stitching", "needles"),
    [
        (True, [], "2 strands and a tapestry needle no. 24; all top stitches", "tapestry needle no. 24; sewing"),
        (
            True,
            LINES,
            "Then work the backstitch lines with 1 strand and needle no. 26.",
            "no. 24, no. 26 for backstitch;",
        ),
        (False, LINES, "Work the lines from the middle outwards with 1 strand", "tapestry needle no. 26; sewing"),
    ],
)
def test_needles_and_strands_follow_what_the_design_has(crosses, lines, stitching, needles):
    """14 count: 2 strands and needle 24 (Golden Circle Designs, December 2012); a finer needle for lines."""
    design = Chart(np.full((20, 20), crosses), lines=lines, fabric=Fabric(14))
    made = plan_making(design, settings=MakingSettings(piece="hoop"))
    assert told(made, stitching)
    assert any(needles in line for line in made.shopping)
    assert told(made, "top stitches") == crosses
