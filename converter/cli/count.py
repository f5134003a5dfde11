"""``onecolour count``: the figures of a chart, and its working order."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from converter.cli.options import (
    LENGTH,
    material_options,
    output_options,
    paper_option,
    print_json,
    work_options,
)


@click.command("count")
@click.argument("chart", metavar="CHART", type=click.Path(path_type=Path))
@material_options
@work_options
@click.option(
    "--order",
    type=click.Choice(["closed", "least"]),
    default="closed",
    show_default=True,
    help="Working order: few crosses open at a time, or the least thread.",
)
@click.option("--needleful", type=LENGTH, default="45cm", show_default=True, help="Length you cut.")
@click.option("--tail", type=LENGTH, default="4cm", show_default=True, help="Thread left at each end of a length.")
@click.option(
    "--carry",
    type=click.FloatRange(1, 20),
    default=3.5,
    show_default=True,
    help="Longest carry over bare cloth, in stitches.",
)
@click.option("--hidden", is_flag=True, help="Carry only behind stitches, so that nothing shows.")
@click.option(
    "--line-method",
    type=click.Choice(["double", "back"]),
    default="double",
    show_default=True,
    help="Double running or back stitch for the lines.",
)
@click.option(
    "--allowance", type=click.FloatRange(0, 100), metavar="PERCENT", help="Thread added for thick cloth.  [15]"
)
@click.option("--sheet", is_flag=True, help="Write the report and the working order (PDF, PNG, text) into --out.")
@paper_option
@output_options
def command(chart: Path, **options: Any) -> None:
    """Count a chart: stitches, thread, cloth and hours.

    CHART is a chart file, PBM, text rows of # and . or a PNG with one pixel a stitch. With --sheet the
    working order is drawn too: every length of thread, where it starts, how it runs and where it ends.

    \b
    Examples:
      onecolour count heron.chart.json --fabric 16 --pace 80
      onecolour count heron.chart.json --sheet --out charts
      onecolour count heron.chart.json --sample-crosses 36 --sample-length 45cm
    """  # noqa: D301
    from converter.jobs.count import count_chart

    outcome = count_chart(chart, options)
    if options["as_json"]:
        print_json(dict(outcome.report, files=[str(f) for f in outcome.files]))
        return
    click.echo(outcome.text)
    if outcome.files:
        click.echo("Written: " + ", ".join(str(f) for f in outcome.files))
