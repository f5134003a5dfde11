"""Every default of the product, once: one frozen dataclass a stage.

``chart_from_image(image, columns=60, **settings)`` takes the fields of `PictureSettings`,
`ReductionSettings` and `LineSettings` as keyword arguments; the command's options bear the same names.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from numbers import Real
from typing import Any, Final

from converter.errors import UsageError, quoted
from converter.model.arrays import MaskArray

KINDS: Final = ("auto", "line", "shape", "photo")
LINE_MODES: Final = ("auto", "none", "edges", "strokes")
MIRRORS: Final = ("auto", "none", "upright", "level", "both")
TURNS: Final = (0, 90, 180, 270)
PIECES: Final = ("panel", "cushion", "sachet", "bookmark", "card", "frame", "hoop")
WAYS: Final[dict[str, tuple[str, ...]]] = {
    "panel": ("two", "wrap"),
    "cushion": ("two", "wrap"),
    "sachet": ("pillow", "bag"),
    "bookmark": ("fringed", "folded"),
}
"""Ways of making a piece up, the usual one first; pieces not named here have one way only."""
EDGES: Final = ("auto", "none", "whip", "blanket", "backstitch")

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in percent of the picture."""


def _choice(name: str, value: object, allowed: tuple[object, ...]) -> None:
    if isinstance(value, bool) or value not in allowed:
        raise UsageError(f"{name} is {quoted(value)}.", f"Choose one of {', '.join(str(a) for a in allowed)}.")


def _range(name: str, value: object, low: float, high: float) -> None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        raise UsageError(f"{name} is {quoted(value)}.", f"It goes from {low:g} to {high:g}.")


def _box(name: str, box: Box | None) -> None:
    if box is None:
        return
    if len(box) != 4 or not (0 <= box[0] < box[2] <= 100 and 0 <= box[1] < box[3] <= 100):
        raise UsageError(
            f"{name} is {','.join(f'{v:g}' for v in box)}.",
            "Give LEFT,TOP,RIGHT,BOTTOM in percent of the picture, with LEFT below RIGHT and TOP below BOTTOM.",
        )


@dataclass(frozen=True)
class PictureSettings:
    """How the picture is taken before anything is measured on it."""

    crop: Box | None = None
    """Part of the picture to use, percent; applied after turning."""
    turn: int = 0
    """Quarter turns clockwise, in degrees."""
    invert: bool = False
    """Light drawing on a dark ground: exchange dark and light."""
    trim: bool = True
    """Cut blank paper, and bars of a screen or scan, away first, so that the width asked for is the design's."""
    sheet: bool = True
    """Take only the sheet of paper that a photograph shows, and lay it flat."""
    rulings: bool = False
    """Draw the printed lines of ruled, squared or dotted paper too."""

    def __post_init__(self) -> None:
        """Check ranges."""
        _choice("--turn", self.turn, TURNS)
        _box("--crop", self.crop)


@dataclass(frozen=True)
class ReductionSettings:
    """How the picture becomes crosses."""

    columns: int | None = 60
    """Stitches across the design, 4 to 1000."""
    rows: int | None = None
    """Stitches up the design; with ``columns`` unset it sets the size alone."""
    kind: str = "auto"
    """What the picture is: line art, solid shapes or a photograph."""
    dark: float = 0
    """-100 only the darkest parts become stitches, 100 nearly everything does."""
    detail: float = 50
    """0 bold and simple, 100 every small part that the grid can hold."""
    tidy: float = 50
    """0 leave every stitch, 100 sweep small groups of stitches away."""
    mirror: str = "auto"
    """Make the chart mirror-symmetric: about the upright axis, the level axis or both."""
    deskew: bool = True
    """Straighten a drawing that the camera tilted by a few degrees."""
    subject: Box | None = None
    """Where the subject of a photograph is, percent."""
    keep: MaskArray | None = field(default=None, compare=False)
    """Marked areas (H, W) of the picture that are kept in full detail."""
    clear: MaskArray | None = field(default=None, compare=False)
    """Marked areas (H, W) of the picture that are left out."""

    def __post_init__(self) -> None:
        """Check ranges."""
        for name, key in (("--wide", "columns"), ("--high", "rows")):
            value = getattr(self, key)
            if value is None:
                continue
            if isinstance(value, bool) or not isinstance(value, Real) or float(value) % 1 != 0:
                raise UsageError(f"{name} is {quoted(value)}.", "It must be a whole number of stitches.")
            whole = int(float(value))
            _range(name, whole, 4, 1000)
            # A whole number may come as a float, from JSON say.
            object.__setattr__(self, key, whole)
        if self.columns is None and self.rows is None:
            raise UsageError("No width was given.", "Give --wide or --high in stitches.")
        _choice("--kind", self.kind, KINDS)
        _range("--dark", self.dark, -100, 100)
        _range("--detail", self.detail, 0, 100)
        _range("--tidy", self.tidy, 0, 100)
        _choice("--mirror", self.mirror, MIRRORS)
        _box("--subject", self.subject)


@dataclass(frozen=True)
class LineSettings:
    """Which backstitches are suggested."""

    lines: str = "auto"
    """auto, none, edges or strokes."""
    most_lines: int | None = None
    """At most so many backstitches; None leaves it to the picture."""
    half_points: bool = False
    """Allow ends in the middle of a square's side or centre."""

    def __post_init__(self) -> None:
        """Check ranges."""
        _choice("--lines", self.lines, LINE_MODES)
        if self.most_lines is not None:
            _range("--most-lines", self.most_lines, 0, 100000)


@dataclass(frozen=True)
class ThreadSettings:
    """How thread is used up. Lengths in mm; the route is worked out in stitch sides."""

    working_length_mm: float = 450.0
    """One needleful; 45 cm or 18 in is usual (common practice; eHow, How to calculate embroidery floss needed)."""
    tail_mm: float = 40.0
    """Left at each end of a length; at least 25 mm (Stitchxonomy, lesson 4: 1 in, held under the first stitches)."""
    carry_cells: float = 3.5
    """Longest back move over bare cloth, in stitches (The Art of Stitch, Carrying threads over: 3 to 4 squares)."""
    hidden: bool = False
    """Carry only behind stitched squares."""
    order: str = "closed"
    """closed: at most two crosses open at a time; least: least thread."""
    effort: float = 0.03
    """Share of the full search for a shorter closed order: all of it saves up to 0.3 % for some fifty times the
    time."""
    line_method: str = "double"
    """double running or back stitch for the lines."""
    allowance: float = 0.15
    """Share added for the thickness of the cloth and small waste: 10 to 20 % (Tiny Modernist, How much
    thread do I need, against the plane path)."""
    sample_crosses: int | None = None
    """Crosses made from one measured length; with ``sample_length_mm`` it gives the allowance."""
    sample_length_mm: float | None = None
    """Thread the sample took from end to end, its two tails included."""
    skein_m: float = 8.0
    """Length of one skein (eHow, How to calculate embroidery floss needed)."""
    skein_strands: int = 6
    """Strands in it (same source)."""

    def __post_init__(self) -> None:
        """Check ranges."""
        _range("The working length", self.working_length_mm, 100, 2000)
        _range("The tail", self.tail_mm, 0, 200)
        _range("The longest carry", self.carry_cells, 1, 20)
        _choice("The working order", self.order, ("closed", "least"))
        _range("The effort", self.effort, 0, 1)
        _choice("The line method", self.line_method, ("double", "back"))
        _range("The allowance", self.allowance, 0, 1)
        if (self.sample_crosses is None) != (self.sample_length_mm is None):
            raise UsageError(
                "A stitched sample needs both its number of crosses and its length.",
                "Give --sample-crosses and --sample-length together.",
            )
        if self.sample_crosses is not None and self.sample_length_mm is not None:
            _range("--sample-crosses", self.sample_crosses, 1, 10000)
            _range("--sample-length in mm", self.sample_length_mm, 10, 20000)


@dataclass(frozen=True)
class TimeSettings:
    """Working time."""

    pace: float = 100.0
    """Crosses an hour; about 100 for a good stitcher, 25 to 100 for a beginner (Stitch Bitch, Cinnamon
    Hours, 20 June 2016; Stitching Secrets)."""
    start_minutes: float = 1.5
    """Cutting, threading, fastening on and off, for each length (common practice)."""

    def __post_init__(self) -> None:
        """Check ranges."""
        _range("--pace", self.pace, 1, 2000)
        _range("The time a start takes", self.start_minutes, 0, 30)


@dataclass(frozen=True)
class MakingSettings:
    """What the stitched cloth becomes, and what she has for it. Lengths in mm; None leaves it to the piece."""

    piece: str = "panel"
    """Kind of piece; panel = fringed panel sewn on a cushion front."""
    way: str = "auto"
    """How it is made: two backs or a wrap for covers, pillow or bag for a sachet, fringed or folded for a bookmark."""
    margin_mm: float | None = None
    """Bare cloth on every side of the design."""
    fringe_mm: float | None = None
    """Depth of the fringe."""
    size_mm: tuple[float, float] | None = None
    """Width and height of the cushion pad, frame, card front or hoop that she has."""
    cloth_mm: tuple[float, float] | None = None
    """Piece of stitching cloth that she has."""
    edge: str = "auto"
    """Hand-sewn edge whose thread is reckoned: none, whip, blanket or backstitch."""

    def __post_init__(self) -> None:
        """Check choices and ranges."""
        _choice("--piece", self.piece, PIECES)
        _choice("--way", self.way, ("auto", *WAYS.get(self.piece, ())))
        _choice("--edge", self.edge, EDGES)
        for name, value in (("--margin", self.margin_mm), ("--fringe", self.fringe_mm)):
            if value is not None:
                _range(f"{name} in mm", value, 0, 500)
        for name, size in (("--size", self.size_mm), ("--cloth", self.cloth_mm)):
            for value in size or ():
                _range(f"{name} in mm", value, 20, 5000)


@dataclass(frozen=True)
class LimitSettings:
    """Upper limits; the largest size within all of them is taken."""

    fit_mm: tuple[float, float] | None = None
    """Width and height that the finished design may have."""
    stitches: int | None = None
    hours: float | None = None
    """Likely hours at her pace."""
    skeins: int | None = None
    """Skeins for crosses and lines together."""
    piece: str | None = None
    """Kind of piece whose largest usual size is a limit too."""

    def __post_init__(self) -> None:
        """Check ranges."""
        for value in self.fit_mm or ():
            _range("--fit in mm", value, 1, 5000)
        for name, number in (("--stitches", self.stitches), ("--hours", self.hours), ("--skeins", self.skeins)):
            if number is not None and (isinstance(number, bool) or not 0 < number <= 4_000_000):
                raise UsageError(f"{name} is {quoted(number)}.", "It must be above 0.")
        if self.piece is not None:
            _choice("--piece", self.piece, PIECES)


@dataclass(frozen=True)
class ChartSettings:
    """All that turns a picture into a chart."""

    picture: PictureSettings = field(default_factory=PictureSettings)
    reduction: ReductionSettings = field(default_factory=ReductionSettings)
    lines: LineSettings = field(default_factory=LineSettings)

    @classmethod
    def from_options(cls, **options: Any) -> ChartSettings:
        """Sort flat options into their stages.

        Raises
        ------
        UsageError
            If a name is unknown or a value is out of range.
        """
        rest = dict(options)
        if rest.get("rows") is not None and "columns" not in rest:
            rest["columns"] = None
        stages = {}
        for name, kind in (("picture", PictureSettings), ("reduction", ReductionSettings), ("lines", LineSettings)):
            known = {f.name for f in fields(kind)}
            stages[name] = kind(**{k: rest.pop(k) for k in list(rest) if k in known})
        if rest:
            raise UsageError(f"Unknown setting {quoted(sorted(rest)[0])}.")
        return cls(**stages)  # type: ignore[arg-type]
