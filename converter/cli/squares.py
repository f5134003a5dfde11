"""``onecolour squares``: a photo of squared paper to a chart."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from converter.cli.options import output_options, print_json, say, yes_or_no

if TYPE_CHECKING:
    from converter.model.chart import Chart
    from converter.squares import SquaresReading


class GridSizeType(click.ParamType[tuple[int, int]]):
    """Columns and rows of the grid such as ``40x52``."""

    name = "WxH"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, int]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        found = re.fullmatch(r"\s*(\d{1,4})\s*[x×]\s*(\d{1,4})\s*", str(value))
        if found is None or not (1 <= int(found[1]) <= 1000 and 1 <= int(found[2]) <= 1000):
            self.fail(f"'{value}' is not a size in squares. Write columns x rows, such as 40x52.", param, ctx)
        return int(found[1]), int(found[2])


class CornersType(click.ParamType[tuple[tuple[float, float], ...]]):
    """Four corners ``X,Y X,Y X,Y X,Y`` in pixels of the photo; gives four (row, col)."""

    name = "X,Y X,Y X,Y X,Y"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[tuple[float, float], ...]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        numbers = re.findall(r"-?\d+(?:\.\d+)?", str(value))
        if len(numbers) != 8 or re.search(r"[^\d\s.,;-]", str(value)):
            self.fail(
                f"'{value}' is not four corners. Write X,Y of the top left, top right, bottom right and bottom left "
                "corner in pixels, such as '120,80 1490,95 1502,1910 108,1893'.",
                param,
                ctx,
            )
        values = [float(n) for n in numbers]
        return tuple((values[k + 1], values[k]) for k in range(0, 8, 2))


class MarksType(click.ParamType[tuple[int, ...]]):
    """Numbers of marks such as ``1,3``."""

    name = "N,N..."

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, ...]:
        """Parse the text."""
        if isinstance(value, tuple):
            return value
        if re.fullmatch(r"\s*\d{1,2}(\s*,\s*\d{1,2})*\s*", str(value)) is None:
            self.fail(f"'{value}' is not a list of marks. Write their numbers, such as 1,3.", param, ctx)
        return tuple(int(n) for n in str(value).split(","))


@click.command("squares")
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@click.option("--squares", "size", type=GridSizeType(), help="Columns x rows of the grid, if they are found wrongly.")
@click.option(
    "--corners",
    type=CornersType(),
    help="Outer corners of the grid in pixels: top left, top right, bottom right, bottom left.",
)
@click.option("--only", type=MarksType(), help="Keep only these marks; the list is printed.  [all]")
@yes_or_no("--trim", "yes", "Cut empty squares round the motif away.")
@output_options
def command(photo: Path, **options: Any) -> None:
    """Read a motif from a photo or scan of squared paper.

    Writes NAME.chart.json, NAME.png (the chart), NAME-overlay.png (the photo with the grid found, a green
    dot in each square taken as a stitch and an orange frame round each doubtful one) and, if there are
    several marks, NAME-marks.png (a sample of each, in the order of their numbers).

    All marks count as stitches; lines along the grid or across squares become backstitches; writing
    beside the motif is left out.

    \b
    Examples:
      onecolour squares heron-photo.jpg --out charts
      onecolour squares heron-photo.jpg --only 1,3 --name heron
      onecolour squares dark.jpg --squares 40x52 --corners "120,80 1490,95 1502,1910 108,1893"
    """  # noqa: D301
    from converter.errors import OutputError, RequestError
    from converter.files.output import check_name, check_targets, make_folders, name_from, write_whole
    from converter.files.picture import load_picture
    from converter.squares import SURE, draw_overlay, read_squares

    name = check_name(options["name"]) if options["name"] is not None else name_from(photo)
    targets = {s: options["out"] / f"{name}{s}" for s in (".chart.json", ".png", "-overlay.png", "-marks.png")}
    if any(p.resolve() == photo.resolve() for p in targets.values()):
        raise OutputError(f"'{photo}' is the photo itself and is never replaced.", "Give another --name or --out.")
    check_targets([p for s, p in targets.items() if s != "-marks.png"], options["overwrite"])
    image = load_picture(photo)
    reading = read_squares(image, size=options["size"], corners=options["corners"], only=options["only"])
    if reading.confidence < SURE and options["corners"] is None and options["size"] is None:
        small = next((note for note in reading.notes if "too small to be read" in note), None)
        raise RequestError(
            f"'{photo.name}' does not look like squared paper (confidence {reading.confidence:.2f}).",
            small or "Photograph it flatter and closer, or give --corners and --squares.",
        )
    if not reading.cells.any() and not len(reading.lines):
        raise RequestError(
            "A grid was found, but no square in it is marked.", "Choose other marks with --only, or another photo."
        )
    chart = _chart(reading, photo.name, name, options)
    from converter.draw.drawings import png_bytes
    from converter.files.chart_file import chart_bytes

    outputs = {
        ".chart.json": chart_bytes(chart),
        ".png": png_bytes(chart),
        "-overlay.png": _encoded(draw_overlay(image, reading)),
    }
    if len(reading.marks) > 1:
        check_targets([targets["-marks.png"]], options["overwrite"])
        from converter.draw.marks import marks_drawing

        outputs["-marks.png"] = marks_drawing(name, [(m.count, m.colour, m.sample) for m in reading.marks]).png_bytes()
    make_folders(targets[s] for s in outputs)
    files = [write_whole(targets[s], data, options["overwrite"]) for s, data in outputs.items()]
    report = _report(reading, chart)
    if options["as_json"]:
        print_json(dict(report, files=[str(f) for f in files]))
        return
    say(f"{report['stitches']} stitches and {report['backstitches']} backstitches, {chart.columns} x {chart.rows}.")
    for note in report["notes"]:
        say(note)
    if len(reading.marks) > 1:
        say("Marks:")
        for mark in reading.marks:
            say(f"  {mark.number}: {mark.count} squares, ink {mark.colour}, covers {100 * mark.coverage:.0f} %")
    say("Written: " + ", ".join(str(f) for f in files))


def _encoded(pixels: Any) -> bytes:
    from converter.draw.png import encode_png

    return encode_png(pixels, None)


def _window(reading: SquaresReading, trim: bool) -> tuple[int, int, int, int]:
    """Return top, left, bottom, right of the squares that the chart takes over."""
    import numpy as np

    rows, cols = reading.cells.shape
    if not trim:
        return 0, 0, rows, cols
    points = [np.argwhere(reading.cells), np.argwhere(reading.cells) + 1]
    points += [np.floor(reading.lines.reshape(-1, 2)).astype(int), np.ceil(reading.lines.reshape(-1, 2)).astype(int)]
    corners = np.concatenate(points)
    top, left = corners.min(axis=0)
    bottom, right = corners.max(axis=0)
    # a motif of lines along one edge only still needs a square to lie in
    return int(min(top, rows - 1)), int(min(left, cols - 1)), int(max(bottom, top + 1)), int(max(right, left + 1))


def _chart(reading: SquaresReading, source: str, title: str, options: dict[str, Any]) -> Chart:
    import numpy as np

    from converter.model.chart import Chart

    trim = options["trim"] == "yes" and options["size"] is None
    top, left, bottom, right = _window(reading, trim)
    settings: dict[str, Any] = {
        "squares": {
            "grid": [reading.cells.shape[1], reading.cells.shape[0]],
            "left_top": [left, top],
            "confidence": round(reading.confidence, 3),
        }
    }
    if options["only"] is not None:
        settings["squares"]["only"] = list(options["only"])
    return Chart(
        cells=reading.cells[top:bottom, left:right],
        lines=np.asarray(reading.lines) - [top, left],
        title=title,
        source=source,
        settings=settings,
    )


def _report(reading: SquaresReading, chart: Chart) -> dict[str, Any]:
    import numpy as np

    from converter.squares import DOUBTFUL

    rows, cols = reading.cells.shape
    notes = list(reading.notes)
    if (chart.rows, chart.columns) != (rows, cols):
        notes.append(f"The motif is {chart.columns} x {chart.rows} squares; the empty ones round it were cut away.")
    return {
        "stitches": int(chart.cells.sum()),
        "backstitches": len(chart.lines),
        "columns": chart.columns,
        "rows": chart.rows,
        "grid": [cols, rows],
        "confidence": round(reading.confidence, 3),
        "doubtful": [[int(r), int(c)] for r, c in np.argwhere(reading.doubt >= DOUBTFUL)],
        "marks": [
            {"number": m.number, "count": m.count, "colour": m.colour, "coverage": m.coverage} for m in reading.marks
        ],
        "notes": notes,
    }
