"""``onecolour page``: the local page."""

from __future__ import annotations

import importlib
from pathlib import Path

import click


@click.command("page")
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Where your pieces are kept.  [onecolour pieces, in your home folder]",
)
@click.option("--port", type=click.IntRange(0, 65535), default=4180, show_default=True, help="0 takes any free one.")
@click.option("--no-browser", is_flag=True, help="Only print the address.")
def command(folder: Path | None, port: int, no_browser: bool) -> None:
    """Open the page in the browser: everything without commands.

    It is served by this computer to this computer alone, and works without a connection. Your pieces are kept
    in a folder of yours from the moment you drop a picture. Stop it with Ctrl-C.

    \b
    Example:
      onecolour page
    """  # noqa: D301
    # The page is a front of its own beside the command: it is loaded by name, as the commands are.
    importlib.import_module("converter.page.run").serve(folder, port, open_browser=not no_browser, say=click.echo)
