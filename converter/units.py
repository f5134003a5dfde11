"""Lengths, stitch counts and paper sizes: parsing and arithmetic of units."""

from __future__ import annotations

import re
from typing import Final

from converter.errors import UsageError

MM_PER_INCH: Final = 25.4
POINTS_PER_INCH: Final = 72.0
"""PDF default user unit (ISO 32000-1:2008, 8.3.2.3; clause from memory)."""

PAPER_SIZES_MM: Final[dict[str, tuple[float, float]]] = {
    "A4": (210.0, 297.0),
    "letter": (8.5 * MM_PER_INCH, 11.0 * MM_PER_INCH),
}
"""Width and height of upright sheets: ISO 216 and ANSI/ASME Y14.1 size A."""

MOST_LENGTH_MM: Final = 100_000.0
"""The longest length that is read: a bolt of cloth or a cone of thread holds less."""

_NUMBER = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
_UNIT_MM: Final[dict[str, float]] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": MM_PER_INCH, '"': MM_PER_INCH}
_LENGTH = re.compile(rf'^\s*{_NUMBER}\s*(mm|cm|m|in|")\s*$', re.IGNORECASE)
_SIZE = re.compile(rf'^\s*{_NUMBER}\s*(mm|cm|m|in|")?\s*[x×]\s*{_NUMBER}\s*(mm|cm|m|in|")\s*$', re.IGNORECASE)


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def mm_to_points(length_mm: float) -> float:
    """Return a length in PDF points."""
    return length_mm * POINTS_PER_INCH / MM_PER_INCH


def mm_to_inches(length_mm: float) -> float:
    """Return a length in inches."""
    return length_mm / MM_PER_INCH


def parse_length_mm(text: str) -> float:
    """Read a length such as ``45cm``, ``1.5in`` or ``30 mm``.

    Parameters
    ----------
    text : str
        A positive number followed by ``mm``, ``cm``, ``m`` or ``in``.

    Returns
    -------
    length_mm : float

    Raises
    ------
    UsageError
        If the text is not a positive length with a unit, or over 100 m.

    Examples
    --------
    >>> parse_length_mm("2.5cm")
    25.0
    """
    found = _LENGTH.match(text)
    if found is None or _number(found[1]) <= 0:
        raise UsageError(f"'{text}' is not a length.", "Write a number with mm, cm, m or in, such as 45cm or 1.5in.")
    return _within_reach(text, _number(found[1]) * _UNIT_MM[found[2].lower()])


def parse_size_mm(text: str) -> tuple[float, float]:
    """Read a width and height such as ``4x4in`` or ``10x15cm``.

    Parameters
    ----------
    text : str
        Two positive numbers joined by ``x``, with one unit at the end (or one each).

    Returns
    -------
    width_mm, height_mm : float

    Raises
    ------
    UsageError
        If the text is not a size, or a side is over 100 m.

    Examples
    --------
    >>> parse_size_mm("10x15cm")
    (100.0, 150.0)
    """
    found = _SIZE.match(text)
    if found is None or _number(found[1]) <= 0 or _number(found[3]) <= 0:
        raise UsageError(f"'{text}' is not a size.", "Write width x height with a unit, such as 4x4in or 10x15cm.")
    last = _UNIT_MM[found[4].lower()]
    first = _UNIT_MM[found[2].lower()] if found[2] else last
    return _within_reach(text, _number(found[1]) * first), _within_reach(text, _number(found[3]) * last)


def _within_reach(text: str, length_mm: float) -> float:
    if length_mm > MOST_LENGTH_MM:
        raise UsageError(f"'{text[:40]}' is too long.", f"Lengths up to {MOST_LENGTH_MM / 1000:g} m are read.")
    return length_mm


def format_size(width_mm: float, height_mm: float) -> str:
    """Return a size in inches and centimetres, as printed on the leaflet.

    Examples
    --------
    >>> format_size(254.0, 190.5)
    '10.00 x 7.50 in (25.4 x 19.1 cm)'
    """
    inches = f"{mm_to_inches(width_mm):.2f} x {mm_to_inches(height_mm):.2f} in"
    return f"{inches} ({width_mm / 10:.1f} x {height_mm / 10:.1f} cm)"
