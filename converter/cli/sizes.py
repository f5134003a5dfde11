"""``onecolour sizes``: one picture at several widths, to choose from."""

from __future__ import annotations

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


class WidthsType(click.ParamType[tuple[int, ...]]):
    """Widths such as ``30,40,60``; gives whole numbers."""

    name = "n,n,..."

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, ...]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        try:
            return tuple(int(part) for part in str(value).split(","))
        except ValueError:
            self.fail(f"'{value}' is not a list of widths. Write 30,40,60.", param, ctx)


@click.command("sizes")
@click.argument("picture", metavar="PICTURE", type=click.Path(path_type=Path))
@click.option("--widths", type=WidthsType(), help="Widths in stitches: 30,40,60.  [a usual spread within your limits]")
@width_options
@limit_options
@picture_options
@material_options
@work_options
@paper_option
@output_options
def command(picture: Path, widths: tuple[int, ...] | None, **options: Any) -> None:
    """Show one picture at several widths, to choose from.

    Writes NAME-sizes.png and NAME-sizes.pdf: for each width a small chart, its stitches, finished size on
    your cloth, thread, hours, readability, and what is lost. The smallest good one is pointed out.
    --wide, --fit, --stitches, --hours, --skeins and --piece cut the spread off.

    \b
    Examples:
      onecolour sizes heron.png --fabric 16 --out charts
      onecolour sizes heron.png --widths 24,36,48 --pace 60
      onecolour sizes heron.png --piece card --hours 10
    """  # noqa: D301
    from converter.files.output import check_name, name_from
    from converter.jobs.requests import chart_request
    from converter.jobs.sizes import sizes_picture

    request = chart_request(options, picture_settings(options))
    name = check_name(options["name"]) if options["name"] else name_from(picture)
    ask_patience("Charting one width after the other; this may take some seconds.", options["as_json"])
    outcome = sizes_picture(picture, request, widths or (), options["out"], name, options["overwrite"])
    if options["as_json"]:
        print_json(dict(outcome.report, files=[str(f) for f in outcome.files]))
        return
    click.echo(outcome.text)
    click.echo("Written: " + ", ".join(str(f) for f in outcome.files))
