"""``onecolour finish``: how the stitched cloth is cut and made up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from converter.cli.options import (
    LENGTH,
    PIECES,
    SIZE,
    material_options,
    output_options,
    paper_option,
    print_json,
    say,
)


@click.command("finish")
@click.argument("chart", metavar="CHART", type=click.Path(path_type=Path))
@click.option(
    "--piece",
    type=click.Choice(PIECES),
    default="panel",
    show_default=True,
    help="What it becomes; panel = fringed panel sewn on a cushion front.",
)
@click.option(
    "--way",
    type=click.Choice(["auto", "two", "wrap", "pillow", "bag", "fringed", "folded"]),
    default="auto",
    show_default=True,
    help="Covers: two backs or one strip that wraps. Sachet: pillow or bag. Bookmark: fringed or folded sides.",
)
@click.option("--margin", type=LENGTH, help="Bare cloth on every side of the design.  [by the piece]")
@click.option("--fringe", type=LENGTH, help="Depth of the fringe.  [1/2 in]")
@click.option(
    "--size", type=SIZE, help="Your cushion pad, frame, card front or hoop: 16x16in.  [the smallest that suits]"
)
@click.option("--cloth", type=SIZE, help="The piece of stitching cloth that you have: 12x12in.")
@click.option(
    "--edge",
    type=click.Choice(["auto", "none", "whip", "blanket", "backstitch"]),
    default="auto",
    show_default=True,
    help="Edge sewn by hand, whose thread is reckoned.",
)
@material_options
@paper_option
@output_options
def command(chart: Path, **options: Any) -> None:
    """Plan the cutting and making up of a piece.

    CHART is a chart file, PBM, text rows of # and . or a PNG with one pixel a stitch. Writes a sheet with
    the parts to scale (PDF), the same as text, and a machine record: NAME-finish.pdf, .txt and .json.

    \b
    Examples:
      onecolour finish heron.chart.json --piece panel --size 16x16in --out charts
      onecolour finish heron.chart.json --piece bookmark --fringe 12mm
      onecolour finish heron.chart.json --piece cushion --way wrap --fabric 28/2
    """  # noqa: D301
    from converter.jobs.finish import finish_chart

    outcome = finish_chart(chart, options)
    if options["as_json"]:
        print_json(dict(outcome.report, files=[str(f) for f in outcome.files]))
        return
    for warning in outcome.report["warnings"]:
        say(f"Look first: {warning}")
    say("Written: " + ", ".join(str(f) for f in outcome.files))
