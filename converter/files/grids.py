"""Exact grids: PBM, text rows, PNG with one pixel a stitch."""

from __future__ import annotations

import io
import re
import warnings
from typing import Final

import numpy as np

from converter.errors import PictureError
from converter.model.arrays import CellArray
from converter.model.chart import MAX_SIDE

_MARKS: Final = {"#": True, ".": False}


def _check_size(columns: int, rows: int, name: str) -> None:
    if not (1 <= columns <= MAX_SIDE and 1 <= rows <= MAX_SIDE):
        raise PictureError(
            f"'{name}' is {columns} x {rows}; a chart has 1 to {MAX_SIDE} stitches a side.",
            "To chart a picture use 'onecolour chart'.",
        )


def cells_from_text(text: str, name: str = "the chart") -> CellArray:
    """Read text rows of ``#`` and ``.``; blank lines before and after are left out.

    Raises
    ------
    PictureError
        Naming the row and place of the first fault.
    """
    lines = [line.rstrip("\r") for line in text.split("\n")]
    first = next((i for i, line in enumerate(lines) if line.strip()), len(lines))
    while lines and not lines[-1].strip():
        lines.pop()
    rows = [line.rstrip() for line in lines[first:]]
    for number, row in enumerate(rows, first + 1):
        for place, mark in enumerate(row, 1):
            if mark not in _MARKS:
                raise PictureError(
                    f"'{name}', row {number}: {mark!r} at place {place} is neither # nor . .",
                    "Give a chart file, or rows of # and . only.",
                )
        if len(row) != len(rows[0]):
            raise PictureError(
                f"'{name}', row {number} has {len(row)} places where the first has {len(rows[0])}.",
                "Make all rows the same length.",
            )
    _check_size(len(rows[0]) if rows else 0, len(rows), name)
    return np.array([[_MARKS[mark] for mark in row] for row in rows], dtype=np.bool_)


def text_from_cells(cells: CellArray) -> str:
    """Return one line of ``#`` and ``.`` a row."""
    return "\n".join("".join("#" if cell else "." for cell in row) for row in cells.tolist()) + "\n"


_TOKEN = re.compile(rb"(?:\s|#[^\r\n]*[\r\n])*(\d+)")


def cells_from_pbm(data: bytes, name: str = "the chart") -> CellArray:
    """Read a PBM picture, text (P1) or packed (P4); 1 = stitch.

    References
    ----------
    Netpbm, pbm(5): ``#`` starts a comment in the header, rows are padded to whole bytes with the
    highest bit first.
    """
    at = 2
    size = []
    for what in ("width", "height"):
        found = _TOKEN.match(data, at)
        if found is None or len(found[1]) > 9:
            raise PictureError(f"'{name}' has no readable {what} in its PBM header.", "Write the file again.")
        size.append(int(found[1]))
        at = found.end()
    columns, rows = size
    _check_size(columns, rows, name)
    if data[:2] == b"P4":
        # pbm(5): exactly one white-space character between the header and the raster.
        row_bytes = (columns + 7) // 8
        body = data[at + 1 : at + 1 + row_bytes * rows]
        if len(body) < row_bytes * rows:
            raise PictureError(f"'{name}' ends after row {len(body) // row_bytes} of {rows}.", "Write it again.")
        bits = np.unpackbits(np.frombuffer(body, dtype=np.uint8).reshape(rows, row_bytes), axis=1)
        return bits[:, :columns].astype(np.bool_)
    body = re.sub(rb"#[^\r\n]*", b"", data[at:])
    marks = np.frombuffer(body, dtype=np.uint8)
    marks = marks[~np.isin(marks, np.frombuffer(b" \t\r\n\v\f", dtype=np.uint8))]
    wrong = (marks != ord("0")) & (marks != ord("1"))
    count = rows * columns
    if wrong[:count].any():
        place = int(np.argmax(wrong))
        raise PictureError(
            f"'{name}', row {place // columns + 1}: {chr(marks[place])!r} is neither 0 nor 1.", "Correct the file."
        )
    if marks.size < count:
        raise PictureError(f"'{name}' ends in row {marks.size // columns + 1} of {rows}.", "Write it again.")
    return np.asarray(marks[:count] == ord("1")).reshape(rows, columns)


def pbm_from_cells(cells: CellArray, packed: bool = True) -> bytes:
    """Return the bytes of a PBM picture, packed (P4) or text (P1)."""
    rows, columns = cells.shape
    if packed:
        return f"P4\n{columns} {rows}\n".encode() + np.packbits(cells, axis=1).tobytes()
    # pbm(5): no line of a plain file should be longer than 70 characters.
    lines = []
    for row in cells.astype(int).tolist():
        text = "".join(str(v) for v in row)
        lines += [text[i : i + 70] for i in range(0, len(text), 70)]
    return (f"P1\n{columns} {rows}\n" + "\n".join(lines) + "\n").encode()


def cells_from_png(data: bytes, name: str = "the chart") -> CellArray:
    """Read a PNG with one pixel a stitch: two tones, the darker one stitched; clear = bare cloth."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=("PNG",)) as image:
                _check_size(image.width, image.height, name)
                rgba = np.asarray(image.convert("RGBA"), dtype=np.float64)
    except PictureError:
        raise
    except Exception as error:  # a decoder can raise anything on broken bytes
        raise PictureError(f"'{name}' is a broken PNG picture ({error}).", "Write it again.") from None
    alpha = rgba[:, :, 3:] / 255.0
    tone = ((rgba[:, :, :3] * alpha + 255.0 * (1.0 - alpha)) @ (0.299, 0.587, 0.114)).round(3)
    tones = np.unique(tone)
    if tones.size > 2:
        raise PictureError(
            f"'{name}' has {tones.size} tones; a chart with one pixel a stitch has two.",
            "To chart a picture use 'onecolour chart'.",
        )
    if tones.size == 2:
        return np.asarray(tone == tones[0])
    return np.asarray(tone < 128)


def png_from_cells(cells: CellArray) -> bytes:
    """Return a one-bit PNG with one pixel a stitch, stitches black."""
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(np.where(cells, np.uint8(0), np.uint8(255))).convert("1", dither=Image.Dither.NONE).save(
        stream, format="PNG", optimize=False
    )
    return stream.getvalue()
