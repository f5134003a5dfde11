"""Cloth and thread as the chart file states them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from converter.errors import UsageError, quoted
from converter.model.phrase import Phrase
from converter.units import MM_PER_INCH

_COLOUR = re.compile(r"^#[0-9a-f]{6}$")


def check_colour(value: str, name: str) -> str:
    """Return the colour in lower case, or raise UsageError if it is not ``#rrggbb``."""
    if not isinstance(value, str) or _COLOUR.match(value.lower()) is None:
        raise UsageError(f"{name} must be a colour like #b01e28, not {quoted(value)}.")
    return value.lower()


def rgb(colour: str) -> tuple[int, int, int]:
    """Return the three 8-bit components of ``#rrggbb``."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


@dataclass(frozen=True)
class Fabric:
    """Evenly woven cloth.

    Parameters
    ----------
    count_per_inch : float
        Squares of Aida, or threads of linen, in an inch; 5 to 60.
    over : int
        Threads (or squares) that one stitch spans: 1 or 2, at most 4.
    colour : str
        ``#rrggbb``.
    """

    count_per_inch: float = 14.0
    over: int = 1
    colour: str = "#ffffff"

    def __post_init__(self) -> None:
        """Refuse cloth that nobody weaves."""
        if isinstance(self.count_per_inch, bool) or not isinstance(self.count_per_inch, (int, float)):
            raise UsageError("The fabric count must be a number.")
        if not 5 <= self.count_per_inch <= 60:
            raise UsageError(f"A fabric count of {self.count_per_inch:g} is outside 5 to 60 an inch.")
        if isinstance(self.over, bool) or not isinstance(self.over, int) or not 1 <= self.over <= 4:
            raise UsageError(f"Stitches go over 1 to 4 threads, not {quoted(self.over)}.")
        object.__setattr__(self, "count_per_inch", float(self.count_per_inch))
        object.__setattr__(self, "colour", check_colour(self.colour, "The cloth colour"))

    @property
    def stitches_per_inch(self) -> float:
        """Stitches in an inch: the count divided by the threads a stitch spans."""
        return self.count_per_inch / self.over

    @property
    def cell_mm(self) -> float:
        """Side of one stitch in millimetres."""
        return MM_PER_INCH / self.stitches_per_inch

    def width_mm(self, stitches: float) -> float:
        """Width of a number of stitches in millimetres."""
        return stitches * self.cell_mm

    def describe(self) -> Phrase:
        """Return the cloth in the words of the shop, such as ``28 count over 2``."""
        if self.over == 1:
            return Phrase("{count} count", count=f"{self.count_per_inch:g}")
        return Phrase("{count} count over {over}", count=f"{self.count_per_inch:g}", over=self.over)


@dataclass(frozen=True)
class Thread:
    """Six-strand cotton in one colour.

    Parameters
    ----------
    colour : str
        ``#rrggbb``.
    name : str
        The shop's name or number for it, free text.
    strands, line_strands : int
        Strands in the needle for crosses and for backstitch; 1 to 6.
    """

    colour: str = "#b01e28"
    name: str = ""
    strands: int = 2
    line_strands: int = 1

    def __post_init__(self) -> None:
        """Refuse strand numbers that a six-strand thread cannot give."""
        for value in (self.strands, self.line_strands):
            if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 6:
                raise UsageError(f"Strands must be a whole number from 1 to 6, not {quoted(value)}.")
        if not isinstance(self.name, str):
            raise UsageError("The thread name must be text.")
        object.__setattr__(self, "colour", check_colour(self.colour, "The thread colour"))
