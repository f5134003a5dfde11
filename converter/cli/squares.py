"""``onecolour squares``: a motif on squared paper, read square by square."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from converter.cli.options import material_options, output_options, print_json


class GridSize(click.ParamType[tuple[int, int]]):
    """Squares across and down, such as ``42x30``."""

    name = "WxH"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, int]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        try:
            across, down = (int(v) for v in str(value).lower().replace("×", "x").split("x"))
        except ValueError:
            self.fail(f"'{value}' is not a number of squares. Write across x down, such as 42x30.", param, ctx)
        if not (2 <= across <= 1000 and 2 <= down <= 1000):
            self.fail("There must be 2 to 1000 squares each way.", param, ctx)
        return across, down


class CornerPoints(click.ParamType[tuple[tuple[float, float], ...]]):
    """Four points in percent of the picture, clockwise from the top left: ``5,4 95,6 96,97 4,95``."""

    name = "points"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[tuple[float, float], ...]:
        """Parse the text into (across, down) pairs in percent."""
        if isinstance(value, tuple):
            return value
        try:
            points = tuple(tuple(float(v) for v in pair.split(",")) for pair in str(value).split())
        except ValueError:
            points = ()
        if len(points) != 4 or any(len(p) != 2 or not all(-20 <= v <= 120 for v in p) for p in points):
            self.fail(
                "Give four points in percent, clockwise from the top left, such as '5,4 95,6 96,97 4,95'.", param, ctx
            )
        return tuple((p[0], p[1]) for p in points)


@click.command("squares")
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@click.option("--squares", type=GridSize(), help="Squares across x down, where the grid is not found or is wrong.")
@click.option("--corners", type=CornerPoints(), help="The grid's corners in percent, clockwise from the top left.")
@click.option("--only", metavar="MARKS", help="Keep only these marks of the list, such as 1,3.  [all]")
@material_options
@output_options
def command(photo: Path, **options: Any) -> None:
    r"""Read a motif from a photo or scan of squared paper.

    Every marked square becomes a stitch, lines become backstitches. Writes NAME.chart.json, NAME.png (the
    chart) and NAME-overlay.png: your photo with the grid that was found and the doubtful squares marked, to
    compare by eye. Correct the chart file or use the page; nothing is guessed silently.

    \b
    Examples:
      onecolour squares paper.jpg --out charts
      onecolour squares paper.jpg --squares 42x30 --corners "5,4 95,6 96,97 4,95"
      onecolour squares paper.jpg --only 1,3
    """
    from converter.jobs.squares import read_paper

    outcome = read_paper(photo, options)
    if options["as_json"]:
        print_json(dict(outcome.report, files=[str(f) for f in outcome.files]))
        return
    click.echo(outcome.text)
    click.echo("Written: " + ", ".join(str(f) for f in outcome.files))
