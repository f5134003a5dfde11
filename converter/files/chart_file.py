"""The chart file, and the plain grid formats beside it.

``*.chart.json`` is JSON in UTF-8, one row of the chart a line, made to be read and edited by hand.
Exact grids are also read and written as PBM (Netpbm, 1 = stitch), as text rows of ``#`` and ``.``,
and as PNG with one pixel a stitch (dark = stitch).
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np

from converter.errors import ConverterError, PictureError, UsageError
from converter.files.output import write_whole
from converter.model.arrays import CellArray, LineArray
from converter.model.chart import MAX_SIDE, Chart
from converter.model.materials import Fabric, Thread

FORMAT: Final = "onecolour chart"
VERSION: Final = 1
_MAX_BYTES: Final = 64 * 1024 * 1024
_KNOWN: Final = ("format", "version", "title", "source", "rows", "lines", "fabric", "thread", "settings")
_FABRIC_KEYS: Final = ("count_per_inch", "over", "colour")
_THREAD_KEYS: Final = ("colour", "name", "strands", "line_strands")
PNG_SIGNATURE: Final = b"\x89PNG\r\n\x1a\n"
"""W3C PNG, third edition, 5.2."""


def load_chart(path: Path | str) -> Chart:
    """Read a chart.

    Parameters
    ----------
    path : path
        A ``*.chart.json``, PBM, text or one-pixel PNG file; what it is is seen from its content.

    Returns
    -------
    chart : Chart

    Raises
    ------
    PictureError
        If it cannot be read; the message names the key and the row.
    """
    path = Path(path)
    data = read_bytes(path, _MAX_BYTES)
    return chart_from_bytes(data, path.name)


def chart_from_bytes(data: bytes, name: str = "the chart") -> Chart:
    """Read a chart from the bytes of a file; see `load_chart`."""
    from converter.files import grids

    if not data.strip():
        raise PictureError(f"'{name}' is empty.", "Give a chart file.")
    if data.startswith(PNG_SIGNATURE):
        return Chart(cells=grids.cells_from_png(data, name))
    if data[:2] in (b"P1", b"P4") and (len(data) < 3 or data[2:3].isspace() or data[2:3] == b"#"):
        return Chart(cells=grids.cells_from_pbm(data, name))
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise PictureError(
            f"'{name}' is not a chart file: byte {error.start} is not UTF-8 text.",
            "Give a .chart.json, .pbm, .txt or one-pixel .png file.",
        ) from None
    if text.lstrip()[:1] in "{[":
        return chart_from_text(text, name)
    return Chart(cells=grids.cells_from_text(text, name))


def looks_like_chart(data: bytes) -> bool:
    """Return True if the first bytes of a file can only be a chart file, not a picture."""
    head = data[:64].lstrip(b"\xef\xbb\xbf \t\r\n")
    return head.startswith(b"{") or data[:2] in (b"P1", b"P4")


def chart_from_text(text: str, name: str = "the chart") -> Chart:
    """Read the text of a ``*.chart.json`` file; see `load_chart`."""
    try:
        raw = parse_json(text)
    except json.JSONDecodeError as error:
        raise PictureError(
            f"'{name}' is not valid JSON: {error.msg} at line {error.lineno}, column {error.colno}.",
            "Look for a missing comma, quote or bracket there.",
        ) from None
    except RecursionError:
        raise PictureError(f"'{name}' is nested too deeply to be a chart.", "Give a chart file.") from None
    except ValueError as error:
        raise PictureError(f"'{name}' holds a number that cannot be read: {error}.", "Correct it.") from None
    if not isinstance(raw, dict):
        raise PictureError(f"'{name}' holds a {_kind(raw)}, not a chart.", "Give a chart file.")
    try:
        return _chart_from_mapping(raw)
    except ConverterError as error:
        raise PictureError(f"'{name}': {error.message}", error.hint or "Correct the file.") from None


def parse_json(text: str) -> Any:
    """Return what a JSON text holds; ValueError if it holds a number that could not be written again."""
    return json.loads(text, parse_constant=_refuse_constant, parse_float=_finite)


def _finite(digits: str) -> float:
    """Return a number of a file; one too large for any use could not be written again."""
    number = float(digits)
    if math.isinf(number):
        raise ValueError(f"{digits[:20]} is too large")
    return number


def _refuse_constant(constant: str) -> Any:
    raise ValueError(constant)


def _kind(value: object) -> str:
    names = {
        dict: "group {...}",
        list: "list [...]",
        str: "text",
        bool: "true or false",
        int: "number",
        float: "number",
    }
    return "nothing (null)" if value is None else names.get(type(value), type(value).__name__)


def _wrong(key: str, what: str, hint: str = "") -> PictureError:
    return PictureError(f"{key} {what}", hint or "Correct the file.")


def _chart_from_mapping(raw: dict[str, Any]) -> Chart:
    if raw.get("format") != FORMAT:
        raise _wrong("'format'", f'must be "{FORMAT}".', "This is not a chart file of ours.")
    version = raw.get("version")
    if isinstance(version, bool) or not isinstance(version, int):
        raise _wrong("'version'", f"must be the whole number {VERSION}, not {_kind(version)}.")
    if version != VERSION:
        raise _wrong("'version'", f"is {str(version)[:20]}; this program reads {VERSION}.", "Use a newer program.")
    for key in ("title", "source"):
        if not isinstance(raw.get(key, ""), str):
            raise _wrong(f"'{key}'", f"must be text, not {_kind(raw[key])}.")
    settings = raw.get("settings", {})
    if not isinstance(settings, dict):
        raise _wrong("'settings'", f"must be a group, not {_kind(settings)}.")
    cells = _cells(raw.get("rows"))
    extra: dict[str, Any] = {k: v for k, v in raw.items() if k not in _KNOWN}
    fabric = _group(raw, "fabric", _FABRIC_KEYS, extra)
    thread = _group(raw, "thread", _THREAD_KEYS, extra)
    return Chart(
        cells=cells,
        lines=_lines(raw.get("lines", []), cells.shape),
        title=raw.get("title", ""),
        source=raw.get("source", ""),
        fabric=_build(Fabric, "fabric", fabric),
        thread=_build(Thread, "thread", thread),
        settings=settings,
        extra=extra,
    )


def _group(raw: dict[str, Any], key: str, known: tuple[str, ...], extra: dict[str, Any]) -> dict[str, Any]:
    group = raw.get(key, {})
    if not isinstance(group, dict):
        raise _wrong(f"'{key}'", f"must be a group, not {_kind(group)}.")
    unknown = {k: v for k, v in group.items() if k not in known}
    if unknown:
        extra[key] = unknown
    return {k: v for k, v in group.items() if k in known}


_Material = TypeVar("_Material", Fabric, Thread)


def _build(kind: type[_Material], key: str, group: dict[str, Any]) -> _Material:
    try:
        return kind(**group)
    except UsageError as error:
        raise _wrong(f"'{key}':", error.message, error.hint) from None


def _cells(rows: object) -> CellArray:
    if not isinstance(rows, list) or not rows:
        raise _wrong("'rows'", f"must be a list of rows, not {_kind(rows) if rows != [] else 'empty'}.")
    if len(rows) > MAX_SIDE:
        raise _wrong("'rows'", f"has {len(rows)} rows; at most {MAX_SIDE} are read.")
    width = -1
    for number, row in enumerate(rows, 1):
        if not isinstance(row, str):
            raise _wrong(f"'rows', row {number}:", f"must be text of # and ., not {_kind(row)}.")
        stray = row.replace("#", "").replace(".", "")
        if stray:
            at = row.index(stray[0]) + 1
            raise _wrong(f"'rows', row {number}:", f"{stray[0]!r} at place {at} is neither # nor . .")
        if width < 0:
            width = len(row)
            if not 1 <= width <= MAX_SIDE:
                raise _wrong("'rows', row 1:", f"has {width} places; 1 to {MAX_SIDE} are read.")
        elif len(row) != width:
            raise _wrong(f"'rows', row {number}:", f"has {len(row)} places where the first has {width}.")
    flat = np.frombuffer("".join(rows).encode("ascii"), dtype=np.uint8)
    return np.asarray(flat == ord("#")).reshape(len(rows), width)


def _lines(lines: object, shape: tuple[int, ...]) -> LineArray:
    if not isinstance(lines, list):
        raise _wrong("'lines'", f"must be a list, not {_kind(lines)}.")
    for number, line in enumerate(lines, 1):
        if not isinstance(line, list) or len(line) != 2:
            raise _wrong(f"'lines', line {number}:", "must be two holes [[row, col], [row, col]].")
        for hole in line:
            if not isinstance(hole, list) or len(hole) != 2:
                raise _wrong(f"'lines', line {number}:", f"{_short(hole)} is not a hole [row, col].")
            for value, limit in zip(hole, shape[:2], strict=True):
                if isinstance(value, bool) or not isinstance(value, (int, float)):
                    raise _wrong(f"'lines', line {number}:", f"{_short(value)} is not a number.")
                if not 0 <= value <= limit:
                    raise _wrong(f"'lines', line {number}:", f"{_short(hole)} is outside the chart.")
                if value * 2 != int(value * 2):
                    raise _wrong(f"'lines', line {number}:", f"{_short(value)} is not a hole or half.")
        if line[0] == line[1]:
            raise _wrong(f"'lines', line {number}:", "starts and ends in the same hole.")
    return np.array(lines, dtype=np.float64).reshape(-1, 2, 2)


def _short(value: object) -> str:
    text = json.dumps(value)
    return text if len(text) <= 40 else text[:37] + "..."


def chart_text(chart: Chart) -> str:
    """Return the text of a ``*.chart.json`` file: one chart row and one backstitch a line."""
    extra = dict(chart.extra)
    fabric: dict[str, Any] = {
        "count_per_inch": chart.fabric.count_per_inch,
        "over": chart.fabric.over,
        "colour": chart.fabric.colour,
        **_rest(extra, "fabric"),
    }
    thread: dict[str, Any] = {
        "colour": chart.thread.colour,
        "name": chart.thread.name,
        "strands": chart.thread.strands,
        "line_strands": chart.thread.line_strands,
        **_rest(extra, "thread"),
    }
    rows = ["".join("#" if cell else "." for cell in row) for row in chart.cells.tolist()]
    lines = [[[_plain(v) for v in hole] for hole in line] for line in chart.lines.tolist()]
    entries = [
        ("format", _dump(FORMAT)),
        ("version", _dump(VERSION)),
        ("title", _dump(chart.title)),
        ("source", _dump(chart.source)),
        ("rows", _listing(rows)),
        ("lines", _listing(lines)),
        ("fabric", _dump(fabric)),
        ("thread", _dump(thread)),
        ("settings", _dump(dict(chart.settings))),
        *((key, _dump(value)) for key, value in extra.items()),
    ]
    return "{\n" + ",\n".join(f" {_dump(key)}: {value}" for key, value in entries) + "\n}\n"


def _rest(extra: dict[str, Any], key: str) -> Mapping[str, Any]:
    rest = extra.pop(key, {})
    return rest if isinstance(rest, dict) else {}


_SURROGATE = re.compile("[\ud800-\udfff]")


def _dump(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    return _SURROGATE.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def _listing(items: list[Any]) -> str:
    if not items:
        return "[]"
    return "[\n" + ",\n".join(f"  {_dump(item)}" for item in items) + "\n ]"


def _plain(value: float) -> int | float:
    return int(value) if value == int(value) else value


def save_chart(chart: Chart, path: Path | str, overwrite: bool = True) -> Path:
    """Write a chart; the ending of the name says how.

    Parameters
    ----------
    chart : Chart
    path : path
        ``.json`` the chart file, ``.pbm`` packed PBM, ``.txt`` text rows, ``.png`` one pixel a stitch.
        All but the first hold the crosses alone.
    overwrite : bool
        Replace a file that is there.

    Returns
    -------
    path : Path

    Raises
    ------
    UsageError
        If the ending is none of these.
    OutputError
        If it cannot be written.
    """
    path = Path(path)
    return write_whole(path, chart_bytes(chart, path.suffix), overwrite)


def chart_bytes(chart: Chart, suffix: str = ".json") -> bytes:
    """Return the bytes that `save_chart` writes for an ending."""
    from converter.files import grids

    kind = suffix.lower()
    if kind == ".json":
        return chart_text(chart).encode("utf-8")
    if kind == ".pbm":
        return grids.pbm_from_cells(chart.cells)
    if kind == ".txt":
        return grids.text_from_cells(chart.cells).encode("ascii")
    if kind == ".png":
        return grids.png_from_cells(chart.cells)
    raise UsageError(f"A chart cannot be written as '{suffix}'.", "Use .chart.json, .pbm, .txt or .png.")


def read_bytes(path: Path, limit: int) -> bytes:
    """Read a whole ordinary file of at most ``limit`` bytes.

    Raises
    ------
    PictureError
        If it is missing, not an ordinary file, too large, or may not be read.
    """
    check_ordinary(path, limit)
    try:
        return path.read_bytes()
    except OSError as error:
        raise PictureError(
            f"'{path}' cannot be read: {_reason(error)}.", "Check the file and its permissions."
        ) from None


def check_ordinary(path: Path, limit: int) -> None:
    """Raise PictureError unless the path is an ordinary file of at most ``limit`` bytes."""
    try:
        status = path.stat()
    except FileNotFoundError:
        raise PictureError(f"There is no file '{path}'.", "Check the name and the folder.") from None
    except (OSError, ValueError) as error:
        reason = _reason(error) if isinstance(error, OSError) else "the name is not valid"
        raise PictureError(f"'{path}' cannot be read: {reason}.", "Check the name and the folder.") from None
    if path.is_dir():
        raise PictureError(f"'{path}' is a folder.", "Give a file in it.")
    if not path.is_file():
        raise PictureError(f"'{path}' is not an ordinary file.", "Save it to a file first.")
    if status.st_size > limit:
        raise PictureError(
            f"'{path}' has {status.st_size / 1e6:.0f} MB; at most {limit / 1e6:.0f} MB are read.",
            "Make it smaller first.",
        )


def _reason(error: OSError) -> str:
    text = error.strerror or "reading failed"
    return text[0].lower() + text[1:]
