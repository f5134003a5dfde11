"""``onecolour chart``: pictures to charts."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from converter.cli.options import (
    ask_patience,
    limit_options,
    material_options,
    output_options,
    paper_option,
    picture_options,
    picture_settings,
    print_json,
    width_options,
    work_options,
)


@click.command("chart")
@click.argument("pictures", metavar="PICTURE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@width_options
@limit_options
@picture_options
@material_options
@work_options
@paper_option
@output_options
def command(pictures: tuple[Path, ...], **options: Any) -> None:
    """Turn pictures into charts.

    Each PICTURE gives NAME.chart.json, NAME.png (the chart), NAME-stitched.png (how it will look on
    cloth), NAME.pdf (the leaflet to print), NAME.txt and NAME.report.json (the counts).

    With --fit, --stitches, --hours, --skeins or --piece the chart is as wide as all of them allow.

    \b
    Examples:
      onecolour chart heron.png --wide 60 --out charts
      onecolour chart heron.png --fit 4x4in --fabric 28/2 --hours 12 --pace 80
    """  # noqa: D301
    from converter.jobs.batch import chart_pictures, result_names
    from converter.jobs.requests import chart_request
    from converter.settings import LimitSettings

    request = chart_request(options, picture_settings(options))
    names = result_names(pictures, options["name"], options["out"])
    work = chart_pictures(pictures, request, options["out"], names, options["overwrite"])
    outcomes = []
    quiet = options["as_json"] or len(pictures) == 1
    if request.limits != LimitSettings() and len(pictures) == 1:
        ask_patience("Trying one width after the other; this may take some seconds.", options["as_json"])
    with click.progressbar(
        work, length=len(pictures), label="Charting", file=sys.stderr, hidden=quiet or not sys.stderr.isatty()
    ) as bar:
        for outcome in bar:
            outcomes.append(outcome)
            if outcome.exit_code:
                click.echo(f"onecolour: {outcome.text}", err=True)
    done = [o for o in outcomes if not o.exit_code]
    if options["as_json"]:
        reports = [dict(o.report, files=[str(f) for f in o.files]) for o in done]
        if len(pictures) > 1:
            print_json(reports)
        elif reports:
            print_json(reports[0])
    else:
        for outcome in done:
            if len(pictures) == 1:
                click.echo(outcome.text)
            click.echo("Written: " + ", ".join(str(f) for f in outcome.files))
        if len(pictures) > 1:
            click.echo(f"{len(done)} of {len(pictures)} pictures charted.")
    failed = [o.exit_code for o in outcomes if o.exit_code]
    if failed:
        sys.exit(failed[0])
