"""The command ``onecolour``: a group that loads a subcommand only when it is used."""

from __future__ import annotations

import importlib
import os
import sys
from typing import Any, Final

import click

from converter.errors import ConverterError, ExitCode

COMMANDS: Final[dict[str, str]] = {
    "chart": "Turn pictures into charts: the main job.",
    "sizes": "Show one picture at several widths, to choose from.",
    "border": "Fit borders, corners and letters round a motif.",
    "count": "Count a chart: stitches, thread, cloth, hours, working order.",
    "finish": "Plan the cutting and making up of a piece.",
    "leaflet": "Make the printable handout of a chart.",
    "squares": "Read a motif from a photo of squared paper.",
    "page": "Open the page in the browser: everything without commands.",
}
"""Each command's line in the help; kept here so that the help loads nothing else."""


class LazyGroup(click.Group):
    """A group whose commands are imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"converter.cli.{cmd_name}")
        command = module.command
        if not isinstance(command, click.Command):
            raise TypeError(f"converter.cli.{cmd_name} has no command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; our own errors become one message and an exit code."""
        try:
            return super().invoke(ctx)
        except ConverterError as error:
            raise Failure(error) from error


class Failure(click.ClickException):
    """An error of ours on its way to the terminal."""

    def __init__(self, error: ConverterError) -> None:
        super().__init__(str(error))
        self.exit_code = int(error.exit_code)  # type: ignore[misc]

    def show(self, file: Any = None) -> None:
        """Print the message on standard error, and nothing else."""
        click.echo(f"onecolour: {self.format_message()}", err=True)


@click.command(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Each command explains itself: onecolour COMMAND --help",
)
@click.version_option(package_name="onecolour", prog_name="onecolour")
def group() -> None:
    """Turn a picture into a one-colour counted cross-stitch chart.

    Charts, counts, thread, cloth and hours, borders, a printable leaflet and a making-up plan.

    \b
    Example:
      onecolour chart heron.png --wide 60 --out charts
    """  # noqa: D301


def run() -> None:
    """Run the command and leave with its exit code."""
    # NumPy's linear algebra would start a thread for each core; our matrices have a few rows.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        group.main(prog_name="onecolour", standalone_mode=True)
    except BrokenPipeError:
        # The reader of our output has gone (a pager closed early).
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(int(ExitCode.DONE))
    except MemoryError:
        click.echo("onecolour: There is not enough memory for this. Use a smaller picture or chart.", err=True)
        sys.exit(int(ExitCode.REQUEST))
    except Exception:
        if os.environ.get("ONECOLOUR_TRACE"):
            import traceback

            traceback.print_exc()
        kind, value = sys.exc_info()[:2]
        name = kind.__name__ if kind else "error"
        click.echo(
            f"onecolour: This is a fault of the program, not yours ({name}: {value}). "
            "Nothing of yours was changed; set ONECOLOUR_TRACE=1 to see where.",
            err=True,
        )
        sys.exit(int(ExitCode.OWN_FAULT))
