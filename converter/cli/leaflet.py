"""``onecolour leaflet``: the printable handout of a chart."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from converter.cli.options import (
    LENGTH,
    SIZE,
    material_options,
    output_options,
    paper_option,
    print_json,
    say,
    work_options,
)


@click.command("leaflet")
@click.argument("chart", metavar="CHART", type=click.Path(path_type=Path))
@click.option("--large", is_flag=True, help="For tired eyes: squares of 4.5 mm and more, stronger rules, larger type.")
@click.option(
    "--tens",
    "tens_from",
    type=click.Choice(["corner", "centre"]),
    default="corner",
    show_default=True,
    help="Where the heavy rules and the numbers are counted from.",
)
@click.option(
    "--units",
    type=click.Choice(["both", "cm", "in"]),
    default="both",
    show_default=True,
    help="Sizes in centimetres, inches or both.",
)
@click.option(
    "--order/--no-order", default=True, show_default=True, help="With the working order, length by length of thread."
)
@work_options
@click.option("--way", default="auto", show_default=True, help="How the piece is made: see 'onecolour finish --help'.")
@click.option("--margin", type=LENGTH, help="Bare cloth on every side of the design.  [by the piece]")
@click.option("--fringe", type=LENGTH, help="Depth of the fringe.  [1/2 in]")
@click.option("--size", type=SIZE, help="Your cushion pad, frame, card front or hoop: 16x16in.")
@material_options
@paper_option
@output_options
def command(chart: Path, **options: Any) -> None:
    """Print a leaflet to work from and to hand out.

    CHART is a chart file, PBM, text rows of # and . or a PNG with one pixel a stitch. The leaflet (NAME.pdf)
    shows the stitched look, size, level and what is needed, the chart, how to begin and how the stitches are
    made, the working order, and with --piece the cutting and making up.

    \b
    Examples:
      onecolour leaflet heron.chart.json --piece sachet --out charts
      onecolour leaflet heron.chart.json --large --tens centre --paper letter
      onecolour leaflet heron.chart.json --fabric 28/2 --no-order --name heron-class
    """  # noqa: D301
    from converter.jobs.leaflet import write_leaflet

    outcome = write_leaflet(chart, options)
    if options["as_json"]:
        print_json(dict(outcome.report, files=[str(f) for f in outcome.files]))
        return
    say("Written: " + ", ".join(str(f) for f in outcome.files))
