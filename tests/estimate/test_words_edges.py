"""Lengths and colours in words, just at and just past where the word changes."""

from __future__ import annotations

import colorsys

import pytest

from converter.errors import ConverterError
from converter.estimate.figures import Figures, load_figures
from converter.estimate.making.words import (
    colour_word,
    counted,
    length,
    metres,
    part_length,
    part_size,
    size,
    threads,
)
from converter.model.materials import Fabric
from converter.model.results import Part

EIGHTH = 25.4 / 8


@pytest.mark.parametrize(
    ("mm", "words"),
    [
        (0.0, "0 mm"),
        (5.49, "5 mm"),
        (5.5, "1/4 in (6 mm)"),
        (9.49, "3/8 in (9 mm)"),
        (9.5, "3/8 in (1 cm)"),
        (10.5, "3/8 in (1.1 cm)"),
        (25.4, "1 in (2.5 cm)"),
        (25.4 * 1.5, "1 1/2 in (3.8 cm)"),
        (25.4 * 2.75, "2 3/4 in (7 cm)"),
        (100.0, "3 7/8 in (10 cm)"),
        # Half an eighth goes up.
        (8.5 * EIGHTH, "1 1/8 in (2.7 cm)"),
        (8.49 * EIGHTH, "1 in (2.7 cm)"),
        (254.0, "10 in (25.4 cm)"),
    ],
)
def test_to_the_nearest_eighth_and_millimetre(mm, words):
    assert length(mm) == words


@pytest.mark.parametrize(
    ("mm", "words"),
    [
        (25.4, "1 in (2.6 cm)"),
        (25.0, "1 in (2.5 cm)"),
        (25.5, "1 1/8 in (2.6 cm)"),
        (24.01, "1 in (2.5 cm)"),
        (5.01, "1/4 in (6 mm)"),
        (5.0, "5 mm"),
        (9.01, "3/8 in (1 cm)"),
        (9.0, "3/8 in (9 mm)"),
    ],
)
def test_rounded_up(mm, words):
    assert length(mm, up=True) == words


def test_sizes_are_rounded_up_unless_they_must_go_into_something():
    assert size((25.4, 51.0)) == "1 x 2 1/8 in (2.6 x 5.1 cm)"
    assert size((25.4, 51.0), up=False) == "1 x 2 in (2.5 x 5.1 cm)"
    for material, words in (
        ("card", "1 x 2 in"),
        ("board", "1 x 2 in"),
        ("cloth", "1 x 2 1/8 in"),
        ("felt", "1 x 2 in"),
    ):
        part = Part("x", 1, (25.4, 51.0), material=material)
        assert part_size(part).startswith(words)
        assert part_length(part, 0) == length(25.4, up=material not in ("card", "board", "felt"))
        assert part_length(part, 1) == length(51.0, up=material not in ("card", "board", "felt"))


@pytest.mark.parametrize(
    ("count", "fabric", "words"),
    [
        (1, Fabric(14), "1 square"),
        (2, Fabric(14), "2 squares"),
        (0, Fabric(14), "0 squares"),
        (3, Fabric(22), "3 squares"),
        (3, Fabric(22.5), "3 threads"),
        (1, Fabric(28, 2), "1 thread"),
        (3, Fabric(20, 2), "3 threads"),
    ],
)
def test_threads_and_squares(count, fabric, words):
    assert threads(count, fabric) == words


def test_counted_lengths_go_to_the_nearest_thread():
    two_mm = Fabric(12.7)
    for mm, words in ((2.0, "1 square, about 2 mm"), (2.9, "1 square, about 2 mm"), (3.1, "2 squares, about 4 mm"),
                      (20.0, "10 squares, about 3/4 in (2 cm)")):  # fmt: skip
        assert counted(mm, two_mm) == words


@pytest.mark.parametrize(
    ("metre", "words"),
    [(1.0, "1.0 m (1.1 yd)"), (1.01, "1.1 m (1.2 yd)"), (0.9144, "1.0 m (1.0 yd)"), (0.915, "1.0 m (1.1 yd)"),
     (9.144, "9.2 m (10.0 yd)"), (0.0, "0.0 m (0.0 yd)")],
)  # fmt: skip
def test_thread_is_rounded_up_to_a_tenth(metre, words):
    assert metres(metre) == words


def colour(hue, lightness, strength):
    """A colour of a hue from 0 to 1 and a lightness, its strongest and weakest part so far apart."""
    saturation = strength / (1 - abs(2 * lightness - 1))
    return "#" + "".join(f"{round(v * 255):02x}" for v in colorsys.hls_to_rgb(hue, lightness, saturation))


@pytest.mark.parametrize(
    ("hue", "word"),
    [(0.0, "red"), (0.03, "red"), (0.05, "orange"), (0.1, "orange"), (0.12, "yellow"), (0.17, "yellow"),
     (0.19, "green"), (0.43, "green"), (0.45, "blue"), (0.69, "blue"), (0.71, "purple"), (0.79, "purple"),
     (0.82, "pink"), (0.92, "pink"), (0.94, "red"), (0.99, "red")],
)  # fmt: skip
def test_hues(hue, word):
    assert colour_word(colour(hue, 0.5, 0.8)) == word


@pytest.mark.parametrize(
    ("hue", "lightness", "word"),
    [
        (0.6, 0.31, "blue"),
        (0.6, 0.29, "dark blue"),
        (0.6, 0.74, "blue"),
        (0.6, 0.76, "light blue"),
        (0.08, 0.43, "orange"),
        (0.08, 0.41, "brown"),
        (0.01, 0.71, "red"),
        (0.01, 0.73, "pink"),
        (0.6, 0.96, "off-white"),
        (0.6, 0.98, "white"),
    ],
)
def test_light_and_dark(hue, lightness, word):
    strength = 0.4 if lightness < 0.9 else 0.02
    assert colour_word(colour(hue, lightness, strength)) == word


@pytest.mark.parametrize(
    ("level", "word"),
    [(0, "black"), (37, "black"), (40, "dark grey"), (88, "dark grey"), (91, "grey"), (164, "grey"),
     (167, "light grey"), (215, "light grey"), (219, "off-white"), (246, "off-white"), (249, "white"), (255, "white")],
)  # fmt: skip
def test_greys(level, word):
    assert colour_word(f"#{level:02x}{level:02x}{level:02x}") == word


def test_weak_colours_are_greys_and_warm_whites_are_cream():
    assert colour_word(colour(0.6, 0.5, 0.11)) == "grey" and colour_word(colour(0.6, 0.5, 0.13)) == "blue"
    assert colour_word(colour(0.1, 0.9, 0.05)) == "cream"
    assert colour_word(colour(0.1, 0.9, 0.01)) == "off-white"
    assert colour_word(colour(0.6, 0.9, 0.05)) == "off-white"
    assert colour_word(colour(0.03, 0.9, 0.06)) == "off-white" and colour_word(colour(0.22, 0.9, 0.06)) == "off-white"


# Figures of the trade.


def test_figures_by_their_units():
    table = Figures({"a": {"one": {"inch": 2, "source": "x"}, "many": {"mm": [1, 2, 3, 4]}, "n": {"threads": 3},
                           "s": {"share": 0.5}, "c": {"stitches": 7}}})  # fmt: skip
    assert table.mm("a", "one") == 50.8 and table.many_mm("a", "one") == (50.8,)
    assert table.mm("a", "many") == 1 and table.pairs_mm("a", "many") == ((1, 2), (3, 4))
    assert [table.number("a", name) for name in ("n", "s", "c")] == [3, 0.5, 7]
    assert table.source("a", "one") == "x"
    for wrong in (lambda: table.mm("a", "n"), lambda: table.number("a", "one"), lambda: table.mm("b", "one"),
                  lambda: table.mm("a", "none")):  # fmt: skip
        with pytest.raises(ConverterError):
            wrong()
    # Shipped ones: a skein of figures with their sources, one inch being 25.4 mm.
    assert load_figures().mm("margins", "plain") == pytest.approx(76.2)
