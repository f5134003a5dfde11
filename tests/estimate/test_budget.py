"""The largest size within limits equals a full scan."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from converter.errors import RequestError, UsageError
from converter.estimate.budget import Limit, budget_words, largest_within, make_limits
from converter.estimate.making.limits import PieceLimit
from converter.settings import LimitSettings


def by_full_scan(measure_at, limits, widths):
    """Every width worked out: the largest that fits, and the largest up to which all fit."""
    fits = [all(measure_at(w)[m.figure] <= m.most for m in limits) for w in widths]
    if not any(fits):
        return None
    best = max(w for w, ok in zip(widths, fits, strict=True) if ok)
    first_bad = next((i for i, ok in enumerate(fits) if not ok), len(widths))
    return best, (widths[first_bad - 1] if first_bad else None)


def wobbling(power, scale, falls):
    """Stitches that rise with a power of the width, but fall back a little here and there."""

    def measure(width):
        return {"stitches": scale * width**power * (1 - falls[width % len(falls)])}

    return measure


@settings(max_examples=300, deadline=None)
@given(
    st.floats(0.9, 2.1),
    st.floats(0.3, 3.0),
    st.lists(st.floats(0, 0.055), min_size=1, max_size=40),
    st.floats(1, 60000),
    st.one_of(st.none(), st.integers(4, 400)),
)
@example(1.0, 1.0, [0.0, 0.05], 100.0, None)
@example(2.0, 1.0, [0.0], 16.0, 4)
def test_equals_the_full_scan(power, scale, falls, most, start):
    """For figures that fall by less than the slack between any two widths, as charts do."""
    measure = wobbling(power, scale, falls)
    limits = [Limit("--stitches", "stitches", most)]
    widths = range(4, 401)
    expected = by_full_scan(measure, limits, widths)
    if expected is None:
        with pytest.raises(RequestError, match="Even 4 stitches across"):
            largest_within(measure, limits, widths, start=start)
        return
    found = largest_within(measure, limits, widths, start=start)
    assert (found.columns, found.all_fit_below) == expected


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.floats(0, 0.05), min_size=5, max_size=30),
    st.floats(10, 300),
    st.floats(10, 300),
    st.floats(100, 20000),
    st.floats(1, 100),
    st.floats(0.3, 3),
)
def test_equals_the_full_scan_with_several_limits(falls, most_width, most_height, most, hours, aspect):
    def measure(width):
        stitches = width**1.7 * (1 - falls[width % len(falls)])
        return {
            "width_mm": width * 1.8143,
            "height_mm": round(aspect * width) * 1.8143,
            "stitches": stitches,
            "hours": stitches / 100 + 0.025 * math.ceil(stitches / 40),
        }

    limits = [
        Limit("--fit", "width_mm", most_width, 0.0),
        Limit("--fit", "height_mm", most_height, 0.02),
        Limit("--stitches", "stitches", most),
        Limit("--hours", "hours", hours),
    ]
    widths = range(4, 301)
    expected = by_full_scan(measure, limits, widths)
    if expected is None:
        with pytest.raises(RequestError):
            largest_within(measure, limits, widths)
        return
    found = largest_within(measure, limits, widths)
    assert (found.columns, found.all_fit_below) == expected
    for limit in found.held_by:
        assert measure(found.next_columns)[limit.figure] > limit.most


@settings(max_examples=200, deadline=None)
@given(
    st.floats(1.0, 2.0),
    st.lists(st.floats(0, 0.05), min_size=1, max_size=30),
    st.lists(st.floats(-0.015, 0.015), min_size=1, max_size=30),
    st.floats(0.5, 80),
    st.integers(4, 300),
)
def test_foreseen_hours_lead_to_the_full_scan_too(power, falls, noise, most, start):
    """Starts come on top of the stitches and do not quite follow them."""
    worked_out = []

    def stitches(width):
        return 0.5 * width**power * (1 - falls[width % len(falls)])

    def exact(width):
        worked_out.append(width)
        return {"hours": stitches(width) / 100 * (1.1 + 2 / width) * (1 + noise[width % len(noise)])}

    def rough(width):
        return {"hours": stitches(width)}

    limits = [Limit("your limit", "hours", most, agreement=0.04)]
    widths = range(4, 301)
    expected = by_full_scan(exact, limits, widths)
    worked_out.clear()
    if expected is None:
        with pytest.raises(RequestError):
            largest_within(exact, limits, widths, start=start, rough_at=rough)
        return
    found = largest_within(exact, limits, widths, start=start, rough_at=rough)
    assert (found.columns, found.all_fit_below) == expected
    assert len(worked_out) == len(set(worked_out))
    assert found.figures == exact(found.columns)


def test_few_working_orders_are_planned():
    planned = []

    def exact(width):
        planned.append(width)
        return {"hours": 0.004 * width**1.6 * 1.13}

    limits = [Limit("your limit of 8 hours", "hours", 8.0, agreement=0.04)]
    found = largest_within(exact, limits, range(4, 301), start=60, rough_at=lambda w: {"hours": 0.4 * w**1.6})
    assert found.figures["hours"] <= 8.0 < found.next_figures["hours"]
    assert len(planned) <= 10 < len(found.measured)


def test_foreseen_values_that_were_wrong_widen_the_agreement():
    """The scale jumps by a tenth at one width: it is seen, and more is worked out."""

    def exact(width):
        return {"hours": 0.1 * width * (1.1 if width >= 98 else 1.0)}

    limits = [Limit("your limit of 10 hours", "hours", 10.0, agreement=0.04)]
    found = largest_within(exact, limits, range(4, 301), start=60, rough_at=lambda w: {"hours": float(w)})
    assert (found.columns, found.all_fit_below) == by_full_scan(exact, limits, range(4, 301)) == (97, 97)


def test_bisection_would_be_wrong_here():
    """61 and 62 are over, 63 fits again: the scan finds 63 and says that only 60 is without a break."""
    odd = {61: 3010.0, 62: 3020.0, 63: 2995.0}

    def measure(width):
        return {"stitches": odd.get(width, 50.0 * width - (10 if width < 61 else -10))}

    found = largest_within(measure, [Limit("your limit of 3000 stitches", "stitches", 3000)], range(4, 201))
    assert (found.columns, found.all_fit_below, found.next_columns) == (63, 60, 64)
    words = budget_words(found)
    assert "goes over your limit of 3000 stitches (it would be 3,210 stitches)" in words[0]
    assert "63 stitches across" in words[0]
    assert "every width up to 60" in words[-1]


def test_deep_falls_that_are_seen_widen_the_slack():
    """Figures that keep falling back by a tenth are noticed, and the whole unsure stretch is worked out."""

    def measure(width):
        return {"stitches": 40.0 * width * (0.9 if width % 4 == 0 else 1.0)}

    limits = [Limit("--stitches", "stitches", 4000)]
    found = largest_within(measure, limits, range(4, 301))
    assert (found.columns, found.all_fit_below) == by_full_scan(measure, limits, range(4, 301))
    assert (found.columns, found.all_fit_below) == (108, 100)
    assert found.slack > 0.1


def test_few_widths_are_worked_out():
    calls = []

    def measure(width):
        calls.append(width)
        return {"stitches": 0.4 * width**1.6}

    found = largest_within(measure, [Limit("--stitches", "stitches", 500)], range(4, 1001), start=60)
    assert len(calls) == len(set(calls)) == len(found.measured)
    assert len(calls) <= 0.15 * found.columns + 8
    assert max(calls) <= 3 * found.columns


def test_a_width_alone_needs_no_scan():
    calls = []

    def measure(width):
        calls.append(width)
        return {"width_mm": width * 1.8143}

    found = largest_within(measure, [Limit("--fit", "width_mm", 101.6, 0.0)], range(4, 1001), start=56)
    assert found.columns == 55  # 56 x 1.8143 = 101.6008
    assert len(calls) <= 4


def test_widest_offered_may_fit():
    found = largest_within(lambda w: {"stitches": w}, [Limit("--stitches", "stitches", 5000)], range(4, 101))
    assert found.columns == found.all_fit_below == 100
    assert found.held_by == ()
    assert found.next_figures is None
    assert "largest that may be asked for" in budget_words(found)[0]
    assert "100 stitches up" in budget_words(found, "rows")[0]


def test_narrowest_over_but_wider_fits():
    def measure(width):
        return {"stitches": 100.0 if width != 4 else 104.0}

    found = largest_within(measure, [Limit("--stitches", "stitches", 102)], range(4, 10))
    assert found.columns == 9
    assert found.all_fit_below is None
    assert "no width" in budget_words(found)[-1]


def test_limits_are_made_from_what_she_asks():
    asked = LimitSettings(fit_mm=(101.6, 101.6), stitches=3000, hours=8, skeins=1, piece="hoop")
    limits = make_limits(asked, PieceLimit(250.0, 250.0, 250.0))
    assert [(m.figure, m.most) for m in limits] == [
        ("width_mm", 101.6),
        ("height_mm", 101.6),
        ("width_mm", 250.0),
        ("height_mm", 250.0),
        ("diagonal_mm", 250.0),
        ("stitches", 3000),
        ("hours", 8),
        ("skein_share", 1),
    ]
    assert make_limits(LimitSettings()) == ()


def test_without_limits_or_widths_it_is_refused():
    with pytest.raises(UsageError, match="No limit"):
        largest_within(lambda w: {}, [], range(4, 10))
    with pytest.raises(UsageError, match="must rise"):
        largest_within(lambda w: {"stitches": w}, [Limit("x", "stitches", 1)], [5, 4])
    with pytest.raises(UsageError, match="above 0"):
        LimitSettings(hours=0)
