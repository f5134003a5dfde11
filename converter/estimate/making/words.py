"""Lengths, counts and colours in the words of the sewing table: inches in eighths and centimetres side by side."""

from __future__ import annotations

import colorsys
import math
from fractions import Fraction

from converter.estimate.fabric import thread_mm, whole_threads
from converter.model.materials import Fabric, rgb
from converter.model.phrase import Measure, Phrase
from converter.model.results import Part
from converter.units import MM_PER_INCH

_EIGHTH_MM = MM_PER_INCH / 8
_FITTED = ("card", "board", "felt")
"""Materials whose parts go into or onto something: cut to the nearest eighth, not above."""


def _eighths(count: int) -> str:
    whole, rest = divmod(count, 8)
    if rest == 0:
        return str(whole)
    part = Fraction(rest, 8)
    return f"{whole} {part}" if whole else str(part)


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def both(imperial: Phrase, metric: Phrase) -> Measure:
    """Return a measure in inches with its centimetres in brackets."""
    return Measure("{imperial} ({metric})", imperial=imperial, metric=metric)


def length(length_mm: float, *, up: bool = False) -> Phrase:
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
        return Phrase("{value} mm", value=millimetres)
    small = millimetres < 10
    metric = Phrase("{value} mm", value=millimetres) if small else Phrase("{value} cm", value=centimetres)
    return both(Phrase("{value} in", value=inches), metric)


def _rounded(length_mm: float, up: bool) -> tuple[str, str]:
    if up:
        return _eighths(math.ceil(length_mm / _EIGHTH_MM - 1e-6)), _number(math.ceil(length_mm - 1e-6) / 10)
    return _eighths(math.floor(length_mm / _EIGHTH_MM + 0.5)), _number(math.floor(length_mm + 0.5) / 10)


def whole_eighth(length_mm: float) -> float:
    """Return the next length of whole eighths of an inch, in mm.

    Examples
    --------
    >>> round(whole_eighth(305.08), 3)
    307.975
    """
    return math.ceil(length_mm / _EIGHTH_MM - 1e-6) * _EIGHTH_MM


def size(size_mm: tuple[float, float], *, up: bool = True) -> Phrase:
    """Return a size to cut in inches and centimetres, rounded up to the eighth and the millimetre.

    Examples
    --------
    >>> size((406.4, 355.6))
    '16 x 14 in (40.7 x 35.6 cm)'
    """
    across, down = (_rounded(side, up) for side in size_mm)
    return both(
        Phrase("{width} x {height} in", width=across[0], height=down[0]),
        Phrase("{width} x {height} cm", width=across[1], height=down[1]),
    )


def part_size(part: Part) -> Phrase:
    """Return the size to cut a part: cloth rounded up; card, board and felt to the nearest, as they must fit.

    Examples
    --------
    >>> part_size(Part("board", 1, (420.0, 582.4), material="board"))
    '16 1/2 x 22 7/8 in (42 x 58.2 cm)'
    """
    return size(part.cut_mm, up=part.material not in _FITTED)


def part_length(part: Part, axis: int) -> Phrase:
    """Return the width (axis 0) or the height (axis 1) to cut a part; see `part_size`."""
    return length(part.cut_mm[axis], up=part.material not in _FITTED)


def threads(count: int, fabric: Fabric) -> Phrase:
    """Return a number of fabric threads as she counts them.

    Examples
    --------
    >>> threads(7, Fabric(14)), threads(14, Fabric(28, over=2))
    ('7 squares', '14 threads')
    """
    if fabric.over > 1 or fabric.count_per_inch > 22:
        return Phrase("{number} thread", "{number} threads", number=count)
    return Phrase("{number} square", "{number} squares", number=count)


def counted(length_mm: float, fabric: Fabric) -> Phrase:
    """Return a length as whole fabric threads with its measure.

    Examples
    --------
    >>> counted(7 * 25.4 / 14, Fabric(14))
    '7 squares, about 1/2 in (1.3 cm)'
    """
    count = whole_threads(length_mm + thread_mm(fabric) / 2, fabric)
    return Phrase("{threads}, about {length}", threads=threads(count, fabric), length=length(count * thread_mm(fabric)))


def metres(length_m: float) -> Phrase:
    """Return thread in metres and yards, rounded up to a tenth.

    Examples
    --------
    >>> metres(1.32)
    '1.4 m (1.5 yd)'
    """
    value = math.ceil(length_m * 10 - 1e-6) / 10
    yards = math.ceil(length_m / 0.9144 * 10 - 1e-6) / 10
    return Measure(
        "{metric} ({imperial})",
        metric=Phrase("{value} m", value=f"{value:.1f}"),
        imperial=Phrase("{value} yd", value=f"{yards:.1f}"),
    )


_HUES = (
    (0.04, Phrase("red")),
    (0.11, Phrase("orange")),
    (0.18, Phrase("yellow")),
    (0.44, Phrase("green")),
    (0.7, Phrase("blue")),
    (0.8, Phrase("purple")),
    (0.93, Phrase("pink")),
)


def colour_word(colour: str) -> Phrase:
    """Return what she would call a colour.

    Examples
    --------
    >>> [colour_word(c) for c in ("#b01e28", "#ffffff", "#f7f1e3", "#1c2f6e", "#808080")]
    ['red', 'white', 'cream', 'dark blue', 'grey']
    """
    hue, lightness, _ = colorsys.rgb_to_hls(*(value / 255 for value in rgb(colour)))
    strength = (max(rgb(colour)) - min(rgb(colour))) / 255
    if lightness > 0.97:
        return Phrase("white")
    if strength < 0.12:
        warm = 0.05 < hue < 0.2 and strength > 0.02
        names = (
            (0.15, Phrase("black")),
            (0.35, Phrase("dark grey")),
            (0.65, Phrase("grey")),
            (0.85, Phrase("light grey")),
        )
        palest = Phrase("cream") if warm else Phrase("off-white")
        return next((name for most, name in names if lightness <= most), palest)
    name = next((name for most, name in _HUES if hue <= most), Phrase("red"))
    if name == "orange" and lightness < 0.42:
        return Phrase("brown")
    if name == "red" and lightness > 0.72:
        return Phrase("pink")
    if lightness < 0.3:
        return Phrase("dark {colour}", colour=name)
    return Phrase("light {colour}", colour=name) if lightness > 0.75 else name
