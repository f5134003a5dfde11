"""Contrast figures against WCAG 2.2 (W3C; repository w3c/wcag) and IEC 61966-2-1:1999."""

import colorsys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.draw.contrast import (
    GRAPHIC_CONTRAST,
    LINE_CONTRAST,
    TEXT_CONTRAST,
    contrast_ratio,
    linear_component,
    print_colour,
    relative_luminance,
    tint,
)
from converter.draw.furniture import QUIET
from converter.draw.scene import HEAVY_COLOUR, RULE_COLOUR, ChartStyle, line_colour, mark_colour
from converter.model.chart import Chart
from converter.model.materials import Thread, rgb

COLOURS = st.tuples(*[st.integers(0, 255)] * 3).map(lambda c: "#{:02x}{:02x}{:02x}".format(*c))


@pytest.mark.parametrize(("value", "linear"), [(10, 0.003035), (64, 0.051269), (128, 0.215861), (188, 0.502886)])
def test_srgb_curve(value: int, linear: float) -> None:
    """IEC 61966-2-1:1999."""
    assert linear_component(value) == pytest.approx(linear, abs=5e-7)


@pytest.mark.parametrize(
    ("first", "second", "ratio", "digits"),
    [
        ("#000000", "#ffffff", 21.0, 3),
        ("#ff0000", "#ffffff", 3.998, 3),
        ("#0000ff", "#ffffff", 8.59, 2),
        ("#0000ff", "#ff0000", 2.15, 2),
        ("#767676", "#ffffff", 4.542, 3),
        ("#777777", "#ffffff", 4.478, 3),
        ("#949494", "#ffffff", 3.03, 2),
        ("#959595", "#ffffff", 2.995, 3),
        ("#595959", "#ffffff", 7.005, 3),
    ],
)
def test_published_ratios(first: str, second: str, ratio: float, digits: int) -> None:
    """WCAG 2.2, terms; blue on white and on red also in Manning, Math for Web Design, 7.4.1."""
    assert round(contrast_ratio(first, second), digits) == ratio
    assert contrast_ratio(first, second) == contrast_ratio(second, first)


@given(COLOURS)
def test_print_colour_can_be_read_and_keeps_its_hue(colour: str) -> None:
    printed = print_colour(colour)
    assert contrast_ratio(printed) >= TEXT_CONTRAST
    if contrast_ratio(colour) >= TEXT_CONTRAST:
        assert printed == colour
        return
    red, green, blue = (value / 255 for value in rgb(colour))
    hue, _, strength = colorsys.rgb_to_hls(red, green, blue)
    if strength > 0.3 and max(red, green, blue) - min(red, green, blue) > 0.2:
        dark = colorsys.rgb_to_hls(*(value / 255 for value in rgb(printed)))[0]
        assert min(abs(dark - hue), 1 - abs(dark - hue)) < 0.05


@given(COLOURS)
def test_marks_lines_and_rules_are_told_apart_without_colour(colour: str) -> None:
    """SC 1.4.11 asks 3 for graphics; the backstitch is clearly darker than the marks or both are nearly black."""
    chart = Chart([[True]], thread=Thread(colour))
    assert contrast_ratio(mark_colour(chart, ChartStyle())) >= TEXT_CONTRAST
    assert contrast_ratio(line_colour(chart)) >= LINE_CONTRAST
    assert relative_luminance(line_colour(chart)) <= relative_luminance(mark_colour(chart, ChartStyle()))


def test_rules_and_small_text_reach_the_limits() -> None:
    assert contrast_ratio(RULE_COLOUR) >= GRAPHIC_CONTRAST
    assert contrast_ratio(HEAVY_COLOUR) >= 7
    assert contrast_ratio(QUIET) >= 7


def test_tint_goes_from_white_to_the_colour() -> None:
    assert tint("#102030", 0) == "#ffffff"
    assert tint("#102030", 1) == "#102030"
    assert relative_luminance(tint("#b01e28", 0.28)) > 0.4
