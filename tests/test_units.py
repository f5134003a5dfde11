"""Lengths, sizes and paper."""

import pytest

from converter.errors import UsageError
from converter.units import PAPER_SIZES_MM, format_size, mm_to_points, parse_length_mm, parse_size_mm


@pytest.mark.parametrize(
    ("text", "length_mm"),
    [("45cm", 450), ("18in", 457.2), ('1.5"', 38.1), ("30 mm", 30), ("2,5cm", 25), ("0.5 IN", 12.7), ("1m", 1000)],
)
def test_length_is_read_in_any_unit(text, length_mm):
    assert parse_length_mm(text) == pytest.approx(length_mm)


@pytest.mark.parametrize(
    "text", ["", "45", "cm", "-3cm", "0cm", "nancm", "1e9in", "4 x 4in", "3ft", "101m", "9" * 400 + "cm"]
)
def test_wrong_length_is_refused_with_a_way_out(text):
    with pytest.raises(UsageError) as caught:
        parse_length_mm(text)
    assert caught.value.hint


@pytest.mark.parametrize(
    ("text", "size"),
    [("4x4in", (101.6, 101.6)), ("10x15cm", (100, 150)), ("4in x 10cm", (101.6, 100)), ("2×7.5in", (50.8, 190.5))],
)
def test_size_is_read(text, size):
    assert parse_size_mm(text) == pytest.approx(size)


@pytest.mark.parametrize("text", ["4x4", "x4in", "0x4in", "4in", "axbcm", "4x200m", "9" * 400 + "x4cm"])
def test_wrong_size_is_refused(text):
    with pytest.raises(UsageError):
        parse_size_mm(text)


def test_paper_in_points():
    """ISO 216: A4 is 210 x 297 mm; ANSI/ASME Y14.1: letter is 612 x 792 points; ISO 32000-1: 72 units an inch."""
    assert [round(mm_to_points(v), 3) for v in PAPER_SIZES_MM["A4"]] == [595.276, 841.890]
    assert [mm_to_points(v) for v in PAPER_SIZES_MM["letter"]] == pytest.approx([612, 792], abs=1e-9)


def test_ruler_in_points():
    """ISO 32000-1: a 50 mm ruler is 141.732 user units, an inch 72."""
    assert round(mm_to_points(50), 3) == 141.732
    assert mm_to_points(25.4) == pytest.approx(72)


def test_sizes_are_told_in_both_units():
    assert format_size(254.0, 190.5) == "10.00 x 7.50 in (25.4 x 19.1 cm)"
