"""Lengths, counts and colours in the words of the sewing table: inches in eighths and centimetres side by side."""

from __future__ import annotations

import colorsys
import math
import re
from dataclasses import replace
from fractions import Fraction

from converter.estimate.fabric import thread_mm, whole_threads
from converter.model.materials import Fabric, rgb
from converter.model.results import MakingPlan, Part
from converter.units import MM_PER_INCH

_EIGHTH_MM = MM_PER_INCH / 8
_FRACTIONS = r"\d+(?: \d/\d)?|\d/\d"
_BOTH = re.compile(rf"((?:{_FRACTIONS})(?: x (?:{_FRACTIONS}))? in) \(([\d.]+(?: x [\d.]+)? (?:cm|mm))\)")
_BOTH_THREAD = re.compile(r"([\d.]+ m) \(([\d.]+ yd)\)")
_STIFF = ("card", "board")


def _eighths(count: int) -> str:
    whole, rest = divmod(count, 8)
    if rest == 0:
        return str(whole)
    part = Fraction(rest, 8)
    return f"{whole} {part}" if whole else str(part)


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def length(length_mm: float, *, up: bool = False) -> str:
    """Return a length in inches and centimetres, to the nearest eighth and millimetre, or rounded up.

    Under 6 mm an eighth of an inch says too little: millimetres stand alone.

    Examples
    --------
    >>> length(31.75), length(16.0), length(15.5, up=True)
    ('1 1/4 in (3.2 cm)', '5/8 in (1.6 cm)', '5/8 in (1.6 cm)')
    >>> length(4.0), length(6.35)
    ('4 mm', '1/4 in (6 mm)')
    """
    inches, centimetres = _rounded(length_mm, up)
    millimetres = round(float(centimetres) * 10)
    if millimetres < 6:
        return f"{millimetres} mm"
    return f"{inches} in ({millimetres} mm)" if millimetres < 10 else f"{inches} in ({centimetres} cm)"


def _rounded(length_mm: float, up: bool) -> tuple[str, str]:
    if up:
        return _eighths(math.ceil(length_mm / _EIGHTH_MM - 1e-6)), _number(math.ceil(length_mm - 1e-6) / 10)
    return _eighths(math.floor(length_mm / _EIGHTH_MM + 0.5)), _number(math.floor(length_mm + 0.5) / 10)


def size(size_mm: tuple[float, float], *, up: bool = True) -> str:
    """Return a size to cut in inches and centimetres, rounded up to the eighth and the millimetre.

    Examples
    --------
    >>> size((406.4, 355.6))
    '16 x 14 in (40.7 x 35.6 cm)'
    """
    across, down = (_rounded(side, up) for side in size_mm)
    return f"{across[0]} x {down[0]} in ({across[1]} x {down[1]} cm)"


def in_units(text: str, units: str) -> str:
    """Return a text with its sizes in one system of units alone.

    Parameters
    ----------
    text : str
        Whose sizes are written as `length`, `size` and `metres` write them.
    units : str
        ``both``, ``cm`` or ``in``.

    Examples
    --------
    >>> in_units("Cut 16 x 14 1/2 in (40.7 x 36.9 cm), 1/4 in (6 mm) from the edge, with 1.4 m (1.5 yd).", "cm")
    'Cut 40.7 x 36.9 cm, 6 mm from the edge, with 1.4 m.'
    >>> in_units("Cut 16 x 14 1/2 in (40.7 x 36.9 cm), 4 mm from the edge, with 1.4 m (1.5 yd).", "in")
    'Cut 16 x 14 1/2 in, 4 mm from the edge, with 1.5 yd.'
    """
    if units == "both":
        return text
    kept = 2 if units == "cm" else 1
    text = _BOTH.sub(lambda found: found[kept], text)
    return _BOTH_THREAD.sub(lambda found: found[1 if units == "cm" else 2], text)


def plan_in_units(plan: MakingPlan, units: str) -> MakingPlan:
    """Return a making-up plan whose texts have one system of units; see `in_units`."""
    if units == "both":
        return plan

    def all_in(texts: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(in_units(text, units) for text in texts)

    parts = tuple(
        replace(
            part,
            note=in_units(part.note, units),
            guides=tuple(replace(guide, label=in_units(guide.label, units)) for guide in part.guides),
        )
        for part in plan.parts
    )
    return replace(
        plan,
        parts=parts,
        steps=all_in(plan.steps),
        shopping=all_in(plan.shopping),
        cautions=all_in(plan.cautions),
        warnings=all_in(plan.warnings),
    )


def part_size(part: Part) -> str:
    """Return the size to cut a part: cloth rounded up, card and board to the nearest, as they must go into something.

    Examples
    --------
    >>> part_size(Part("board", 1, (420.0, 582.4), material="board"))
    '16 1/2 x 22 7/8 in (42 x 58.2 cm)'
    """
    return size(part.cut_mm, up=part.material not in _STIFF)


def part_length(part: Part, axis: int) -> str:
    """Return the width (axis 0) or the height (axis 1) to cut a part; see `part_size`."""
    return length(part.cut_mm[axis], up=part.material not in _STIFF)


def threads(count: int, fabric: Fabric) -> str:
    """Return a number of fabric threads as she counts them.

    Examples
    --------
    >>> threads(7, Fabric(14)), threads(14, Fabric(28, over=2))
    ('7 squares', '14 threads')
    """
    noun = "thread" if fabric.over > 1 or fabric.count_per_inch > 22 else "square"
    return f"{count} {noun}{'' if count == 1 else 's'}"


def counted(length_mm: float, fabric: Fabric) -> str:
    """Return a length as whole fabric threads with its measure.

    Examples
    --------
    >>> counted(7 * 25.4 / 14, Fabric(14))
    '7 squares, about 1/2 in (1.3 cm)'
    """
    count = whole_threads(length_mm + thread_mm(fabric) / 2, fabric)
    return f"{threads(count, fabric)}, about {length(count * thread_mm(fabric))}"


def metres(length_m: float) -> str:
    """Return thread in metres and yards, rounded up to a tenth.

    Examples
    --------
    >>> metres(1.32)
    '1.4 m (1.5 yd)'
    """
    up = math.ceil(length_m * 10 - 1e-6) / 10
    return f"{up:.1f} m ({math.ceil(length_m / 0.9144 * 10 - 1e-6) / 10:.1f} yd)"


_HUES = (
    (0.04, "red"),
    (0.11, "orange"),
    (0.18, "yellow"),
    (0.44, "green"),
    (0.7, "blue"),
    (0.8, "purple"),
    (0.93, "pink"),
)


def colour_word(colour: str) -> str:
    """Return what she would call a colour.

    Examples
    --------
    >>> [colour_word(c) for c in ("#b01e28", "#ffffff", "#f7f1e3", "#1c2f6e", "#808080")]
    ['red', 'white', 'cream', 'dark blue', 'grey']
    """
    hue, lightness, _ = colorsys.rgb_to_hls(*(value / 255 for value in rgb(colour)))
    strength = (max(rgb(colour)) - min(rgb(colour))) / 255
    if lightness > 0.97:
        return "white"
    if strength < 0.12:
        warm = 0.05 < hue < 0.2 and strength > 0.02
        names = ((0.15, "black"), (0.35, "dark grey"), (0.65, "grey"), (0.85, "light grey"))
        return next((name for most, name in names if lightness <= most), "cream" if warm else "off-white")
    name = next((name for most, name in _HUES if hue <= most), "red")
    if name == "orange" and lightness < 0.42:
        return "brown"
    if name == "red" and lightness > 0.72:
        return "pink"
    return f"{'dark ' if lightness < 0.3 else 'light ' if lightness > 0.75 else ''}{name}"
