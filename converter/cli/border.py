"""``onecolour border``: borders, corner pieces and lettering round a motif."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from converter.cli.options import LENGTH, SIZE, material_options, output_options, print_json, yes_or_no


class NumbersType(click.ParamType[tuple[int, ...]]):
    """Whole numbers with commas between them."""

    def __init__(self, name: str, count: int | None = None) -> None:
        self.name = name
        self.count = count

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, ...]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        try:
            numbers = tuple(int(part) for part in str(value).split(","))
        except ValueError:
            self.fail(f"'{value}' is not {self.name}: whole numbers with commas between.", param, ctx)
        if self.count is not None and len(numbers) != self.count:
            self.fail(f"'{value}' is not {self.name}.", param, ctx)
        return numbers


class PartType(NumbersType):
    """A part of a chart as TOP,LEFT,BOTTOM,RIGHT, counted from 1, both ends included."""

    def __init__(self) -> None:
        super().__init__("top,left,bottom,right", 4)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, ...]:
        """Parse the text to (top, left, rows, columns) from 0."""
        if isinstance(value, tuple):
            return value
        top, left, bottom, right = super().convert(value, param, ctx)
        if not (1 <= top <= bottom and 1 <= left <= right):
            self.fail("Count from 1, TOP not below BOTTOM and LEFT not right of RIGHT.", param, ctx)
        return top - 1, left - 1, bottom - top + 1, right - left + 1


class StitchSizeType(click.ParamType[tuple[int, int]]):
    """Columns and rows such as ``56x84``."""

    name = "columnsxrows"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, int]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        found = re.fullmatch(r"\s*(\d{1,4})\s*[x×]\s*(\d{1,4})\s*", str(value))
        if found is None:
            self.fail(f"'{value}' is not COLUMNSxROWS in stitches, such as 56x84.", param, ctx)
        return int(found[1]), int(found[2])


class GapType(click.ParamType[Any]):
    """One gap, or one for each border from the inside out."""

    name = "n[,n...]"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Parse the text."""
        if isinstance(value, (int, tuple)):
            return value
        try:
            numbers = tuple(int(part) for part in str(value).split(","))
        except ValueError:
            self.fail(f"'{value}' is not a number of stitches, nor several with commas between.", param, ctx)
        return numbers[0] if len(numbers) == 1 else numbers


class RowsType(click.ParamType[tuple[int, int]]):
    """Rows of a strip such as ``1-4``."""

    name = "first-last"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, int]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        found = re.fullmatch(r"\s*(\d{1,4})(?:\s*-\s*(\d{1,4}))?\s*", str(value))
        if found is None:
            self.fail(f"'{value}' is not FIRST-LAST, such as 1-4.", param, ctx)
        return int(found[1]), int(found[2] or found[1])


class RepeatType(click.ParamType[tuple[str, int, int]]):
    """How the motif is repeated: ``row:3``, ``column:3``, ``ring:5x4``, ``grid:3x2`` or ``scatter:80x60``."""

    name = "pattern"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, int, int]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        found = re.fullmatch(r"\s*(row|column|ring|grid|scatter):(\d{1,4})(?:x(\d{1,4}))?\s*", str(value))
        if found is None or (found[1] in ("row", "column")) == (found[3] is not None):
            self.fail(f"'{value}' is none of row:N, column:N, ring:NxN, grid:NxN and scatter:NxN.", param, ctx)
        return found[1], int(found[2]), int(found[3] or 0)


@click.command("border")
@click.argument("chart", metavar="CHART", required=False, type=click.Path(path_type=Path))
@click.option(
    "--strip",
    multiple=True,
    metavar="NAME|FILE",
    help="Strip of the border; again for further borders, inside out. A name of the collection, line or "
    "double line (backstitch), none, or a file that shows a strip.  [all are tried]",
)
@click.option("--collection", is_flag=True, help="Only draw all strips of the collection on one sheet.")
@click.option("--gap", type=GapType(), default=3, show_default=True, help="Bare stitches before each border.")
@click.option("--slack", type=click.IntRange(0, 2), default=2, show_default=True, help="How far a gap may give way.")
@click.option(
    "--corners",
    type=click.Choice(["auto", "mitre", "block", "turned"]),
    default="auto",
    show_default=True,
    help="How the strip gets round the corners.",
)
@click.option("--outer", type=StitchSizeType(), help="Fill exactly so many stitches, such as 56x84.")
@click.option("--fit", type=SIZE, help="Fill a finished design of this size: 4x4in or 10x10cm.")
@click.option("--cloth", type=SIZE, help="Fill a piece of cloth of this size, less the margins.")
@click.option("--margin", type=LENGTH, help="Bare cloth on every side, with --cloth.")
@click.option("--plan", type=click.IntRange(1, 200), default=1, show_default=True, help="Which plan to make.")
@click.option("--plans", type=click.IntRange(1, 60), default=12, show_default=True, help="How many to list.")
@click.option("--rows", type=RowsType(), help="Use only these rows of the strip; 1 is outside.")
@click.option("--double-rows", type=NumbersType("n[,n...]"), help="Rows of the strip that stand twice.")
@click.option(
    "--strip-mirror",
    type=click.Choice(["none", "upright", "level", "twin"]),
    default="none",
    show_default=True,
    help="Strip back to front, upside down, or set against its reflection.",
)
@click.option("--strip-high", type=click.IntRange(1, 60), help="FILE is a picture of a strip: make it so many rows.")
@click.option(
    "--corner-piece",
    type=click.Path(path_type=Path),
    help="Chart of a piece for the corners: of the last strip, or with lines between.",
)
@yes_or_no("--corner-lines", "yes", "Backstitch lines from piece to piece.")
@click.option("--corner-upright", is_flag=True, help="Corner pieces keep standing; else all four are reflected.")
@click.option(
    "--double-middle", is_flag=True, help="Double a symmetric motif's middle instead of a blank row beside it."
)
@click.option("--text", metavar="TEXT", help="Letters, a name, a date.")
@click.option(
    "--text-place",
    metavar="PLACE",
    default="below",
    show_default=True,
    help="below or above the motif, border, border-top, ROW,COLUMN of its first stitch, or ROW (centred).",
)
@click.option(
    "--letters",
    type=click.Choice(["auto", "large", "small"]),
    default="auto",
    show_default=True,
    help="Capitals 9 or 5 stitches high.",
)
@click.option(
    "--text-method",
    type=click.Choice(["crosses", "lines"]),
    default="crosses",
    show_default=True,
    help="Crosses, or backstitch (small letters).",
)
@click.option("--text-wide", type=click.IntRange(1, 2000), metavar="N", help="Most stitches a text may be wide.")
@click.option("--part", type=PartType(), help="Use only this part of the motif, in stitches from 1.")
@click.option("--leave-out", type=PartType(), multiple=True, help="Leave this part bare; may be given again.")
@click.option(
    "--mirror",
    type=click.Choice(["none", "upright", "level", "both"]),
    default="none",
    show_default=True,
    help="Make the motif symmetric from its left or upper half.",
)
@click.option(
    "--keep-half",
    type=click.Choice(["start", "end"]),
    default="start",
    show_default=True,
    help="Half that --mirror keeps: left and upper, or right and lower.",
)
@click.option(
    "--join", type=click.Path(path_type=Path), multiple=True, metavar="FILE", help="Further charts beside it."
)
@click.option("--join-side", type=click.Choice(["right", "below"]), default="right", show_default=True, help="Where.")
@click.option(
    "--join-align",
    type=click.Choice(["start", "centre", "end"]),
    default="centre",
    show_default=True,
    help="Joined charts flush at the top (left), centred, or at the bottom (right).",
)
@click.option("--repeat", type=RepeatType(), help="row:N, column:N, ring:NxN, grid:NxN, or scatter:NxN (stitches).")
@click.option("--mirrored", is_flag=True, help="In a ring the right and lower motifs are reflected.")
@click.option("--staggered", is_flag=True, help="In a grid every second column stands half a step lower.")
@click.option("--spacing", type=click.IntRange(0, 500), default=2, show_default=True, help="Stitches between motifs.")
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True, help="Another number, another scatter.")
@material_options
@output_options
def command(chart: Path | None, **options: Any) -> None:
    """Fit borders, corner pieces and letters round a motif.

    CHART is a chart file, PBM, text rows of # and . or a PNG with one pixel a stitch. The best plans are listed
    with what each had to change, drawn side by side on one sheet, and the chosen one is written as a new chart.

    \b
    Examples:
      onecolour border heron.chart.json --strip zigzag --out charts
      onecolour border heron.chart.json --strip hearts --strip line --gap 3,1 --plan 2
      onecolour border heron.chart.json --strip tulips --cloth 20x24cm --margin 4cm --fabric 14
      onecolour border heron.chart.json --strip key --text "Anna 1984" --text-place below
      onecolour border --collection
    """  # noqa: D301
    from converter.jobs.border import border_chart, write_collection

    if options["collection"]:
        file = write_collection(options)
        if options["as_json"]:
            print_json({"files": [str(file)]})
        else:
            click.echo(f"Written: {file}")
        return
    if chart is None:
        raise click.UsageError("Name a chart, or ask for --collection.")
    outcome = border_chart(chart, options)
    if options["as_json"]:
        print_json(outcome.report())
        return
    click.echo(outcome.text())
    click.echo("Written: " + ", ".join(str(file) for file in outcome.files))
