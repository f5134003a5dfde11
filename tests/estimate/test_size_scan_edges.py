"""The scan for the largest width: how few widths are charted, and what it says at the limit."""

from __future__ import annotations

import pytest

from converter.errors import RequestError, UsageError
from converter.estimate.budget import (
    HOURS_AGREEMENT,
    SIZE_SLACK,
    SKEINS_AGREEMENT,
    Budget,
    Limit,
    _exact_length,
    _exact_size,
    budget_words,
    figure_words,
    largest_within,
    make_limits,
)
from converter.estimate.making.limits import PieceLimit
from converter.estimate.size_scan import SLACK, SizeScan
from converter.settings import LimitSettings


def scan(measure=None, rough=None, limits=None, widths=range(4, 301)):
    def squares(width):
        return {"stitches": float(width * width)}

    return SizeScan(measure or squares, rough, limits or [Limit("x", "stitches", 10_000)], widths)


def test_a_limit_is_met_to_the_stitch():
    for most, width in ((10_000, 100), (9_999, 99), (10_001, 100), (16, 4), (90_000, 300)):
        found = largest_within(lambda w: {"stitches": float(w * w)}, [Limit("x", "stitches", most)], range(4, 301))
        assert found.columns == width
        assert found.next_columns == (width + 1 if width < 300 else None)
    with pytest.raises(RequestError, match="Even 4 stitches across is over x"):
        largest_within(lambda w: {"stitches": float(w * w)}, [Limit("x", "stitches", 15)], range(4, 301))
    one = largest_within(lambda w: {"stitches": 9.0}, [Limit("x", "stitches", 9)], [7])
    assert (one.columns, one.all_fit_below, one.next_columns, one.held_by) == (7, 7, None, ())


@pytest.mark.parametrize(("widths"), [[], [4, 4], [5, 4]])
def test_widths_must_rise(widths):
    with pytest.raises(UsageError):
        largest_within(lambda w: {"stitches": 1.0}, [Limit("x", "stitches", 9)], widths)


@pytest.mark.parametrize(
    ("power", "most", "start", "calls"),
    [(2.0, 10_000, None, 18), (2.0, 10_000, 100, 15), (1.0, 100, None, 28), (1.0, 100, 20, 28), (1.5, 1000, 290, 22),
     (2.0, 89_000, 4, 20)],
)  # fmt: skip
def test_few_widths_are_charted(power, most, start, calls):
    """Those that the slack of a tenth leaves unsure, two to either side, and a few to get there."""
    seen = []

    def measure(width):
        seen.append(width)
        return {"stitches": width**power}

    found = largest_within(measure, [Limit("x", "stitches", most)], range(4, 301), start=start)
    assert len(seen) == len(set(seen)) == len(found.measured) <= calls
    # The unsure ones among them are charted: every width whose stitches lie within a tenth of the limit.
    unsure = [w for w in range(4, 301) if 0.9 * most < w**power <= most / 0.9]
    assert set(unsure) <= set(seen)


def test_a_width_in_millimetres_needs_a_few_only():
    for start in (None, 4, 57, 300):
        seen = []

        def measure(width, seen=seen):
            seen.append(width)
            return {"width_mm": width * 1.8143}

        found = largest_within(measure, [Limit("x", "width_mm", 150.0, 0.0)], range(4, 301), start=start)
        assert found.columns == 82 and len(seen) <= 5


def test_what_one_width_proves():
    made = scan(limits=[Limit("x", "stitches", 10_000), Limit("y", "width_mm", 99.0, 0.0)],
                measure=lambda w: {"stitches": float(w * w), "width_mm": float(w)})  # fmt: skip
    # Index 0 is the width 4. Over 10,000 by more than a tenth, even less the slack; or over 99 mm at all.
    assert made.verdict(94) == 0 and made.verdict(95) == 0  # widths 98 and 99
    assert made.verdict(96) == 1 and made.verdict(102) == 1
    assert made.verdict(90) == -1  # 94 x 94 = 8836 is within 9000
    assert made.verdict(91) == 0  # 95 x 95 = 9025 is not
    assert made.broken(95) == () and [m.name for m in made.broken(96)] == ["y"]
    assert [m.name for m in made.broken(97)] == ["x", "y"]
    # A width that breaks an exact limit counts for two.
    assert made.witness(96) == 2 and made.witness(90) == 1
    alone = scan(limits=[Limit("y", "width_mm", 99.0, 0.0)], measure=lambda w: {"width_mm": float(w)})
    assert alone.witness(10) == 2
    loose = scan()
    assert loose.witness(105) == 1


def test_how_full_the_tightest_limit_is():
    made = scan(limits=[Limit("x", "stitches", 10_000), Limit("y", "width_mm", 200.0, 0.0)],
                measure=lambda w: {"stitches": float(w * w), "width_mm": float(w)})  # fmt: skip
    assert made.load(96) == pytest.approx(1.0) and made.load(46) == pytest.approx(0.25)
    # The stitches likely grow with the power 1.5, millimetres with the first.
    assert made.reach(46) == pytest.approx(50 * (10_000 / 2500) ** (1 / 1.5))
    assert made.limits[0].growth == 1.5 and made.limits[1].growth == 1.0
    wide = scan(limits=[Limit("y", "width_mm", 60.0, 0.0)], measure=lambda w: {"width_mm": float(w)})
    assert wide.reach(46) == pytest.approx(60)


def test_slack_is_learned_from_the_deepest_fall():
    values = {4: 100.0, 5: 120.0, 6: 90.0, 7: 130.0, 8: 125.0}
    made = scan(lambda w: {"stitches": values[w]}, widths=range(4, 9))
    assert made.slack(made.limits[0]) == SLACK == 0.1
    for i in range(2):
        made.work_out(i)
    assert made.learned == (0.0,)
    made.work_out(2)
    # From 120 to 90 is a fall of a quarter.
    assert made.widened == pytest.approx(0.5) and made.slack(made.limits[0]) == pytest.approx(0.5)
    made.work_out(4)
    assert made.widened == pytest.approx(0.5)
    deep = scan(lambda w: {"stitches": 100.0 if w == 4 else 1.0}, widths=range(4, 9))
    deep.work_out(0)
    deep.work_out(1)
    assert deep.widened == 0.9
    exact = scan(lambda w: {"width_mm": 10.0 - w}, limits=[Limit("y", "width_mm", 9.0, 0.0)], widths=range(4, 9))
    exact.work_out(0)
    exact.work_out(1)
    assert exact.widened == 0 and exact.slack(exact.limits[0]) == 0


def test_hours_are_foreseen_in_proportion_between_the_nearest_widths():
    """10 at width 40 and 24 at 48, of 100 and 200 stitches: 0.1 and 0.12 an hour; half way 0.11."""
    exact = {40: 10.0, 48: 24.0}
    rough = {40: 100.0, 44: 150.0, 48: 200.0, 52: 300.0, 36: 80.0, 70: 500.0}
    widths = sorted(rough)
    limit = Limit("h", "hours", 99.0, agreement=0.04)
    made = scan(lambda w: {"hours": exact[w]}, lambda w: {"hours": rough[w]}, [limit], widths)
    assert widths == [36, 40, 44, 48, 52, 70]
    for i in range(6):
        made.rough[i] = {"hours": rough[widths[i]]}
    assert made._foresee(2, made.limits[0]) is None
    made.exact[1] = {"hours": 10.0}
    assert made._foresee(2, made.limits[0]) == pytest.approx(15.0)
    made.exact[3] = {"hours": 24.0}
    assert made._foresee(2, made.limits[0]) == pytest.approx(150 * 0.11)
    assert made._foresee(4, made.limits[0]) == pytest.approx(300 * 0.12)
    assert made._foresee(0, made.limits[0]) == pytest.approx(80 * 0.1)
    # 70 is more than a quarter wider than 48.
    assert made._foresee(5, made.limits[0]) is None
    assert made.look(2) == {"hours": pytest.approx(16.5)}


def test_foreseen_values_close_to_the_limit_are_worked_out():
    worked = []

    def exact(width):
        worked.append(width)
        return {"hours": 0.1 * width}

    made = scan(exact, lambda w: {"hours": float(w)}, [Limit("h", "hours", 10.0, agreement=0.04)], range(80, 121))
    made.work_out(0)
    made.rough[0] = {"hours": 80.0}
    worked.clear()
    for width, close in ((95, False), (97, True), (100, True), (103, True), (105, False)):
        made.broken(width - 80)
        assert (width in worked) is close
    # An error of a twentieth teaches a tenth.
    off = scan(lambda w: {"hours": 0.1 * w * (1.05 if w == 90 else 1)}, lambda w: {"hours": float(w)},
               [Limit("h", "hours", 10.0, agreement=0.04)], range(80, 121))  # fmt: skip
    off.work_out(0)
    off.rough[0] = {"hours": 80.0}
    off.look(10)
    off.work_out(10)
    assert off.apart == {"hours": pytest.approx(0.1)}


def test_limits_and_their_slack():
    limits = make_limits(
        LimitSettings(fit_mm=(100.0, 80.0), stitches=3000, hours=8.5, skeins=2, piece="card"),
        PieceLimit(90.0, 70.0),
    )
    assert [(m.figure, m.most, m.slack, m.agreement) for m in limits] == [
        ("width_mm", 100, 0, 0),
        ("height_mm", 80, SIZE_SLACK, 0),
        ("width_mm", 90, 0, 0),
        ("height_mm", 70, SIZE_SLACK, 0),
        ("stitches", 3000, SLACK, 0),
        ("hours", 8.5, SLACK, HOURS_AGREEMENT),
        ("skein_share", 2, SLACK, SKEINS_AGREEMENT),
    ]
    assert [m.name for m in limits][4:] == [
        "your limit of 3,000 stitches",
        "your limit of 8.5 hours",
        "your limit of 2 skeins",
    ]
    assert make_limits(LimitSettings(skeins=1))[0].name == "your limit of 1 skein"
    assert make_limits(LimitSettings(piece="card")) == ()


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("stitches", 3020.6, "3,021 stitches"),
        ("hours", 8.046, "8.05 hours"),
        ("skein_share", 1.005, "1.00 skeins"),
        ("width_mm", 101.6, "4.00 in (10.2 cm) width"),
        ("diagonal_mm", 254.0, "10.00 in (25.4 cm) diagonal"),
        ("lengths", 3.5, "3.5 lengths"),
    ],
)
def test_figures_in_words(name, value, words):
    assert figure_words(name, {name: value}) == words


def test_what_is_said_of_a_size():
    held = (Limit("your limit of 100 stitches", "stitches", 100),)
    figures = {"stitches": 120.0, "hours": 1.5, "skein_share": 0.25}
    lines = budget_words(Budget(10, {"stitches": 90.0}, held, 10, 11, figures))
    assert lines == (
        "10 stitches across is the largest size within your limits. One size up, 11 across, goes over your limit of "
        "100 stitches (it would be 120 stitches).",
        "The next size up would take 120 stitches, 1.50 hours, 0.25 skeins.",
    )
    narrow = budget_words(Budget(10, {"stitches": 90.0}, (), None, None, None), "rows")
    assert narrow[0] == "10 stitches up is the largest that may be asked for; it is within your limits."
    assert "no width fits without a break, and 10 fits again" in narrow[1]
    broken = budget_words(Budget(10, {"stitches": 90.0}, held, 7, 11, {"width_mm": 30.0, "stitches": 120.0}))
    assert "every width up to 7 fits without a break" in broken[-1] and len(broken) == 3


def test_exact_lengths_in_inches_and_centimetres():
    """An inch is 25.4 mm (international yard and pound agreement, 1959)."""
    assert "10.00 in" in str(_exact_length(254.0)) and "25.4 cm" in str(_exact_length(254.0))
    assert "10.00 x 5.00 in" in str(_exact_size(254.0, 127.0)) and "25.4 x 12.7 cm" in str(_exact_size(254.0, 127.0))
