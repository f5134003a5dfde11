"""What a border is made of, taken from the options: strips, corner pieces, the motif moved about, the outer size."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from converter.compose import moves
from converter.compose.catalogue import Strip, strip_named
from converter.compose.frames import FRAME_NAMES, CornerBand
from converter.compose.frieze import primitive_tile
from converter.compose.repeat import choose_rows, double_rows, find_repeat, repeat_words
from converter.errors import PictureError, RequestError, UsageError
from converter.files.chart_file import load_chart
from converter.files.output import name_from
from converter.model.arrays import CellArray
from converter.model.chart import Chart


def read_strip(name: str, high: int | None = None, notes: list[str] | None = None) -> Strip | str:
    """Return a built-in strip, a frame in backstitch by its name, or a strip from a file with its repeat found.

    Parameters
    ----------
    name : str
        Name of a built-in strip, ``line``, ``double line``, or the path of a chart, a text grid or a picture.
    high : int, optional
        The file is a picture of a strip: reduce it to so many rows.
    notes : list of str, optional
        Gets what was found in a file.
    """
    if name.strip().lower() in FRAME_NAMES:
        return name.strip().lower()
    path = Path(name)
    if not (path.suffix or "/" in name) and not path.exists():
        return strip_named(name)
    try:
        return strip_named(name)
    except UsageError:
        if not path.exists() and not path.suffix:
            raise
    if high is not None:
        from converter.files.picture import read_picture
        from converter.pipeline import chart_from_image

        cells = chart_from_image(read_picture(path).pixels, columns=None, rows=high, lines="none").cells
    else:
        try:
            cells = load_chart(path).cells
        except PictureError as error:
            if "tones" not in error.message:
                raise
            raise PictureError(
                error.message, "If it is a picture of a strip, say with --strip-high how many stitches deep to make it."
            ) from error
    found = find_repeat(cells)
    if notes is not None:
        notes.append(repeat_words(path.name, found))
    return Strip(name_from(path), found.tile)


def change_strip(
    strip: Strip, rows: tuple[int, int] | None, doubled: Sequence[int] = (), mirror: str = "none"
) -> Strip:
    """Return a strip with rows left out or doubled, turned over, or set against its own reflection.

    Parameters
    ----------
    rows : (first, last), optional
        Rows kept, from 1 at the outside.
    doubled : sequence of int
        Rows that stand twice, counted in the strip as it was.
    mirror : str
        ``upright`` back to front, ``level`` upside down, ``twin`` the strip and its upside down reflection.
    """
    tile: CellArray = strip.tile
    if doubled:
        tile = double_rows(tile, list(doubled))
    if rows is not None:
        shift = [sum(1 for d in doubled if d < r) for r in rows]
        last = rows[1] + shift[1] + (1 if rows[1] in doubled else 0)
        tile = choose_rows(tile, rows[0] + shift[0], last)
    if mirror == "upright":
        tile = tile[:, ::-1]
    elif mirror == "level":
        tile = tile[::-1]
    elif mirror == "twin":
        tile = np.concatenate([tile, tile[::-1]])
    elif mirror != "none":
        raise UsageError(f"The strip mirror '{mirror}' is not known.", "Choose none, upright, level or twin.")
    if tile is strip.tile:
        return strip
    return Strip(strip.name, primitive_tile(tile), strip.kind, strip.upright and mirror == "none")


def outer_stitches(chart: Chart, size_mm: tuple[float, float], margin_mm: float = 0.0) -> tuple[int, int]:
    """Return how many whole stitches (rows, cols) a cloth holds inside its margins.

    Raises
    ------
    RequestError
        If nothing is left.
    """
    width_mm, height_mm = size_mm
    cell = chart.fabric.cell_mm
    cols = int((width_mm - 2 * margin_mm) / cell + 1e-9)
    rows = int((height_mm - 2 * margin_mm) / cell + 1e-9)
    if rows < 1 or cols < 1:
        raise RequestError(
            f"Margins of {margin_mm:g} mm leave nothing of a cloth of {width_mm:g} x {height_mm:g} mm.",
            "Take a larger cloth or smaller margins.",
        )
    return rows, cols


def moved_motif(chart: Chart, options: Mapping[str, Any]) -> tuple[Chart, list[str]]:
    """Return the motif cropped, cleared, mirrored, joined and repeated as the options say, in that order, and notes."""
    notes: list[str] = []
    if options.get("part"):
        chart = moves.crop(chart, options["part"])
    for box in options.get("leave_out") or ():
        cleared = moves.leave_out(chart, box)
        if np.array_equal(cleared.cells, chart.cells) and len(cleared.lines) == len(chart.lines):
            top, left, rows, cols = box
            notes.append(
                f"Nothing was there to leave out: rows {top + 1} to {top + rows}, columns {left + 1} to {left + cols}."
            )
        chart = cleared
    mirror = options.get("mirror") or "none"
    if mirror != "none":
        chart = moves.make_symmetric(chart, mirror, options.get("keep_half") or "start")
    spacing = int(options.get("spacing", 2))
    joined = [load_chart(file) for file in options.get("join") or ()]
    if joined:
        below = options.get("join_side") == "below"
        chart = moves.join([chart, *joined], spacing, options.get("join_align") or "centre", upright=below)
    repeat = options.get("repeat")
    if repeat:
        kind, first, second = repeat
        if kind in ("row", "column"):
            chart = moves.repeat_row(chart, first, spacing, upright=kind == "column")
        elif kind == "ring":
            chart = moves.repeat_ring(chart, first, second, spacing, mirrored=bool(options.get("mirrored")))
        elif kind == "grid":
            chart = moves.repeat_grid(chart, second, first, spacing, half_drop=bool(options.get("staggered")))
        else:
            seed = int(options.get("seed") or 0)
            count = len(moves.scatter_places((chart.rows, chart.columns), second, first, spacing, seed))
            notes.append(f"The motif stands {count} time{'s' if count > 1 else ''} on {first} x {second} stitches.")
            chart = moves.scatter(chart, second, first, spacing, seed)
    return chart, notes


def chosen_bands(options: Mapping[str, Any], notes: list[str]) -> list[object]:
    """Return the bands that the options name, from the inside out; ``notes`` gets what was found in files."""
    bands: list[object] = []
    for name in options.get("strip") or ():
        strip = read_strip(str(name), options.get("strip_high"), notes)
        if isinstance(strip, Strip):
            strip = change_strip(
                strip, options.get("rows"), options.get("double_rows") or (), options.get("strip_mirror") or "none"
            )
        bands.append(strip)
    if options.get("corner_piece"):
        piece = load_chart(options["corner_piece"])
        if bands and isinstance(bands[-1], Strip):
            bands[-1] = with_corner(bands[-1], piece)
        else:
            lines, upright = options.get("corner_lines", "yes") == "yes", bool(options.get("corner_upright"))
            bands.append(corner_band(piece, lines=lines, upright=upright))
    return bands


def with_corner(strip: Strip, piece: Chart) -> Strip:
    """Return a strip that has a chart as the piece at its corners; a larger piece widens it by bare rows."""
    square = _square(piece)
    more = max(0, square.shape[0] - strip.depth)
    tile = np.pad(strip.tile, ((more // 2, more - more // 2), (0, 0)))
    return Strip(strip.name, tile, strip.kind, strip.upright, square)


def corner_band(chart: Chart, *, lines: bool = True, upright: bool = False) -> CornerBand:
    """Return corner pieces made of a chart, set into the middle of a square."""
    return CornerBand(_square(chart), lines, upright)


def _square(chart: Chart) -> CellArray:
    side = max(chart.rows, chart.columns)
    square = np.zeros((side, side), dtype=np.bool_)
    top, left = (side - chart.rows) // 2, (side - chart.columns) // 2
    square[top : top + chart.rows, left : left + chart.columns] = chart.cells
    return square


def wanted_corners(bands: Sequence[object], options: Mapping[str, Any]) -> str:
    """Return the kind of corner: a piece of her own stands at block corners."""
    wish = str(options.get("corners") or "auto")
    if not any(isinstance(band, Strip) and band.corner is not None for band in bands[-1:]):
        return wish
    if options.get("corner_piece") and wish not in ("auto", "block"):
        raise UsageError(f"A corner piece needs block corners, not {wish}.", "Leave --corners out.")
    return "block" if options.get("corner_piece") else wish


def wanted_gap(options: Mapping[str, Any]) -> int | tuple[int, ...]:
    """Return the gap, or one for each border."""
    gap: int | tuple[int, ...] | None = options.get("gap")
    return 3 if gap is None else gap


def outer_size(chart: Chart, options: Mapping[str, Any]) -> tuple[int, int] | None:
    """Return the outer size in (rows, cols) that the options fix, or None."""
    margin_mm = float(options.get("margin") or 0.0)
    given = [key for key in ("outer", "fit", "cloth") if options.get(key)]
    if len(given) > 1:
        raise UsageError(f"--{given[0]} and --{given[1]} both set the outer size.", "Give one of them.")
    if options.get("outer"):
        cols, rows = options["outer"]
        return rows, cols
    if options.get("fit"):
        return outer_stitches(chart, options["fit"])
    if options.get("cloth"):
        return outer_stitches(chart, options["cloth"], margin_mm)
    return None
