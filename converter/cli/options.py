"""Options that several commands share: defined once, so that a name always means one thing.

No numpy here: the help must come at once.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

import click

from converter.errors import ConverterError
from converter.units import MM_PER_INCH, PAPER_SIZES_MM, parse_length_mm, parse_size_mm

F = TypeVar("F", bound=Callable[..., Any])

KINDS: Final = ("auto", "line", "shape", "photo")
LINE_MODES: Final = ("auto", "none", "edges", "strokes")
MIRRORS: Final = ("auto", "none", "upright", "level", "both")
PIECES: Final = ("panel", "cushion", "sachet", "bookmark", "card", "frame", "hoop")
"""The same choices as in settings, which imports numpy; a test holds them equal."""


class SizeType(click.ParamType[tuple[float, float]]):
    """A width and height such as ``4x4in``; gives (width_mm, height_mm)."""

    name = "size"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        try:
            return parse_size_mm(value)
        except ConverterError as error:
            self.fail(str(error), param, ctx)


class LengthType(click.ParamType[float]):
    """A length such as ``45cm``; gives millimetres."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Parse the text."""
        if isinstance(value, (int, float)):
            return float(value)
        try:
            return parse_length_mm(value)
        except ConverterError as error:
            self.fail(str(error), param, ctx)


_FABRIC = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*(/\s*10\s*cm)?\s*(?:/\s*([1-4]))?\s*$")


class FabricType(click.ParamType[tuple[float, int]]):
    """A fabric count: ``14``, ``28/2`` (over two threads) or ``55/10cm``; gives (count_per_inch, over)."""

    name = "count"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, int]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        found = _FABRIC.match(str(value))
        if found is None:
            self.fail(f"'{value}' is not a fabric count. Write 14, 28/2 (over two threads) or 55/10cm.", param, ctx)
        count = float(found[1].replace(",", "."))
        if found[2]:
            count = count * MM_PER_INCH / 100.0
        over = int(found[3] or 1)
        if not 5 <= count <= 60:
            self.fail(f"A count of {count:g} an inch is outside 5 to 60.", param, ctx)
        return count, over


class ColourType(click.ParamType[str]):
    """A colour, ``#rrggbb`` or a CSS name; gives ``#rrggbb``."""

    name = "colour"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Parse the text."""
        from PIL import ImageColor

        try:
            red, green, blue = ImageColor.getrgb(str(value).strip())[:3]
        except ValueError:
            self.fail(f"'{value}' is not a colour. Write #rrggbb or a CSS colour name such as crimson.", param, ctx)
        return f"#{red:02x}{green:02x}{blue:02x}"


class BoxType(click.ParamType[tuple[float, float, float, float]]):
    """LEFT,TOP,RIGHT,BOTTOM in percent; gives four floats."""

    name = "left,top,right,bottom"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float, float, float]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        try:
            left, top, right, bottom = (float(v.strip().rstrip("%")) for v in str(value).split(","))
        except ValueError:
            self.fail(f"'{value}' is not LEFT,TOP,RIGHT,BOTTOM in percent, such as 10,0,90,100.", param, ctx)
        if not (0 <= left < right <= 100 and 0 <= top < bottom <= 100):
            self.fail("LEFT must be below RIGHT and TOP below BOTTOM, all from 0 to 100.", param, ctx)
        return left, top, right, bottom


SIZE, LENGTH, FABRIC, COLOUR, BOX = SizeType(), LengthType(), FabricType(), ColourType(), BoxType()


def _stack(*options: Callable[[Any], Any]) -> Callable[[F], F]:
    def apply(function: F) -> F:
        for option in reversed(options):
            function = option(function)
        return function

    return apply


output_options = _stack(
    click.option(
        "--out", type=click.Path(path_type=Path), default=Path(), help="Folder for the results.  [this folder]"
    ),
    click.option("--name", metavar="TEXT", help="Name of the result files.  [the picture's name]"),
    click.option("--overwrite", is_flag=True, help="Replace result files that are there already."),
    click.option("--json", "as_json", is_flag=True, help="Print the machine report, and nothing else."),
)
"""--out, --name, --overwrite, --json: parameters out, name, overwrite, as_json."""


paper_option = click.option(
    "--paper",
    type=click.Choice(list(PAPER_SIZES_MM), case_sensitive=False),
    default="A4",
    show_default=True,
    help="Paper of the PDF.",
)

fabric_option = click.option(
    "--fabric", type=FABRIC, help="Fabric count: 14, 28/2 (over two threads) or 55/10cm.  [14, or the chart's own]"
)

material_options = _stack(
    fabric_option,
    click.option("--thread", "thread_colour", type=COLOUR, help="Thread colour.  [#b01e28, or the chart's own]"),
    click.option("--thread-name", metavar="TEXT", help="What the shop calls the thread."),
    click.option("--ground", type=COLOUR, help="Cloth colour.  [#ffffff, or the chart's own]"),
    click.option("--strands", type=click.IntRange(1, 6), help="Strands in the needle for crosses.  [by the count]"),
)
"""Parameters fabric (count, over), thread_colour, thread_name, ground, strands; None = the chart's own."""

work_options = _stack(
    click.option(
        "--pace", type=click.FloatRange(1, 2000), default=100.0, show_default=True, help="Your crosses an hour."
    ),
    click.option("--piece", type=click.Choice(PIECES), help="What it becomes: margins, limits and making up follow."),
    click.option(
        "--sample-crosses", type=click.IntRange(1, 10000), help="Crosses you made from one length, to measure by."
    ),
    click.option("--sample-length", type=LENGTH, help="That length, such as 45cm."),
)
"""Parameters pace, piece, sample_crosses, sample_length (mm)."""

limit_options = _stack(
    click.option("--fit", type=SIZE, help="Finished design at most this big: 4x4in or 10x10cm."),
    click.option("--stitches", type=click.IntRange(1, 4000000), help="At most so many crosses."),
    click.option("--hours", type=click.FloatRange(0.1, 100000), help="At most so many hours at your pace."),
    click.option("--skeins", type=click.IntRange(1, 1000), help="At most so many skeins."),
)
"""Upper limits: parameters fit (w_mm, h_mm), stitches, hours, skeins."""

width_options = _stack(
    click.option("--wide", type=click.IntRange(4, 1000), metavar="N", help="Stitches across the design.  [60]"),
    click.option("--high", type=click.IntRange(4, 1000), metavar="N", help="Stitches up the design."),
)


def yes_or_no(name: str, usual: str, text: str) -> Callable[[F], F]:
    """Return an option that is ``yes`` or ``no``."""
    return click.option(name, type=click.Choice(["yes", "no"]), default=usual, show_default=True, help=text)


picture_options = _stack(
    click.option("--kind", type=click.Choice(KINDS), default="auto", show_default=True, help="What the picture is."),
    click.option(
        "--dark", type=click.IntRange(-100, 100), default=0, show_default=True, help="More (+) or fewer (-) stitches."
    ),
    click.option(
        "--detail", type=click.IntRange(0, 100), default=50, show_default=True, help="Bold (0) or fine (100)."
    ),
    click.option(
        "--tidy", type=click.IntRange(0, 100), default=50, show_default=True, help="Sweep loose stitches away."
    ),
    click.option("--lines", type=click.Choice(LINE_MODES), default="auto", show_default=True, help="Backstitch lines."),
    click.option("--most-lines", type=click.IntRange(0, 100000), metavar="N", help="At most so many backstitches."),
    click.option("--half-points", is_flag=True, help="Let backstitches end halfway along a square too."),
    click.option(
        "--mirror", type=click.Choice(MIRRORS), default="auto", show_default=True, help="Keep or make symmetry."
    ),
    click.option("--crop", type=BOX, help="Part of the picture to use, in percent."),
    click.option(
        "--turn",
        type=click.Choice(["0", "90", "180", "270"]),
        default="0",
        show_default=True,
        help="Turn the picture clockwise first.",
    ),
    click.option("--invert", is_flag=True, help="Light drawing on a dark ground."),
    yes_or_no("--trim", "yes", "Cut blank paper, and bars of a screen or scan, away first."),
    yes_or_no("--sheet", "yes", "In a photo take only the sheet of paper."),
    yes_or_no("--rulings", "no", "Draw the printed lines of the paper too."),
    yes_or_no("--deskew", "yes", "Straighten a slightly tilted drawing."),
    click.option("--subject", type=BOX, help="Where the subject of a photo is, in percent."),
    click.option("--keep", type=click.Path(path_type=Path), help="Mask picture: dark areas keep full detail."),
    click.option("--clear", type=click.Path(path_type=Path), help="Mask picture: dark areas are left out."),
)
"""How the picture is read; the parameters bear the names of the settings, but for keep and clear (paths)."""

PICTURE_SETTINGS: Final = (
    "kind",
    "dark",
    "detail",
    "tidy",
    "lines",
    "most_lines",
    "half_points",
    "mirror",
    "crop",
    "turn",
    "invert",
    "trim",
    "sheet",
    "rulings",
    "deskew",
    "subject",
)


def picture_settings(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the flat settings that the picture options stand for."""
    flat = {name: values[name] for name in PICTURE_SETTINGS}
    flat["turn"] = int(flat["turn"])
    for name in ("trim", "sheet", "rulings", "deskew"):
        flat[name] = flat[name] == "yes"
    return flat


def print_json(report: Mapping[str, Any] | list[dict[str, Any]]) -> None:
    """Print the machine report on standard output."""
    click.echo(json.dumps(report, ensure_ascii=False, indent=1))


def ask_patience(why: str, quiet: bool = False) -> None:
    """Tell a person at a terminal that the next step takes a while; a file or another program is told nothing."""
    if not quiet and sys.stderr.isatty():
        click.echo(why, err=True)


def say(text: str, quiet: bool = False) -> None:
    """Print a line for her, unless the machine report alone is wanted."""
    if not quiet:
        click.echo(text)
