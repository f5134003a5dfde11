"""Strands and needle for a cloth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from converter.model.materials import Fabric
from converter.model.phrase import Phrase


@dataclass(frozen=True)
class Needlework:
    """What to thread for a cloth."""

    strands: tuple[int, int]
    """Fewest and most strands of six-strand cotton that suit crosses."""
    usual_strands: int
    line_strands: int
    """Strands for backstitch lines."""
    needle: int
    """Tapestry needle for crosses; a higher number is a finer needle."""
    line_needle: int
    """Needle for lines, one size finer."""


_TABLE: Final[tuple[tuple[float, Needlework], ...]] = (
    (10.5, Needlework((3, 4), 3, 2, 22, 24)),
    (12.5, Needlework((2, 4), 3, 2, 24, 26)),
    (15.0, Needlework((2, 3), 2, 1, 24, 26)),
    (17.0, Needlework((2, 2), 2, 1, 26, 28)),
    (20.0, Needlework((1, 2), 2, 1, 26, 28)),
    (25.0, Needlework((1, 2), 1, 1, 26, 28)),
    (float("inf"), Needlework((1, 1), 1, 1, 28, 28)),
)
"""Upper end of the stitches an inch, and what suits up to there.

14, 16 and 18: Golden Circle Designs, Let's talk about needles, part 3 (December 2012): 2-3 strands and needle 24,
2 and 26, 1-2 and 26 to 28. The groups 11-14, 16-22 and 32 and over, and the finer needle for lines: cross-stitch
community, dreamwidth.org entry 66847 (2020). One strand for lines on 14: quoted on patchesofpink.com. Coarser than 11:
common practice.
"""


def needlework(fabric: Fabric) -> Needlework:
    """Return strands and needle for a cloth, by its stitches an inch.

    Examples
    --------
    >>> needlework(Fabric(14)).usual_strands, needlework(Fabric(28, over=2)).needle
    (2, 24)
    """
    for upper, choice in _TABLE:
        if fabric.stitches_per_inch <= upper:
            return choice
    return _TABLE[-1][1]


def needle_words(fabric: Fabric, crosses: bool = True, lines: bool = False) -> Phrase:
    """Return in words the needle for crosses, and the one for backstitch lines where it is another.

    Examples
    --------
    >>> str(needle_words(Fabric(14), lines=True)), str(needle_words(Fabric(14), crosses=False, lines=True))
    ('tapestry needle no. 24, no. 26 for backstitch', 'tapestry needle no. 26')
    """
    needles = needlework(fabric)
    first = needles.needle if crosses or not lines else needles.line_needle
    words = Phrase("tapestry needle no. {needle}", needle=first)
    if not lines or first == needles.line_needle:
        return words
    return Phrase("{words}, no. {finer} for backstitch", words=words, finer=needles.line_needle)
