"""The file around the pages: numbered objects, packed streams, and the table of where they stand.

References
----------
ISO 32000-1:2008, 7.3 (objects), 7.5.7 (object streams), 7.5.8 (cross-reference streams), 14.3.3 (document
information), 14.4 (file identifiers); clauses from memory.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from typing import Final

_HEAD: Final = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"
_PACKED_TOGETHER: Final = 400
"""Objects in one stream: a reader unpacks all of them to find one."""


def reference(number: int) -> str:
    """Return what stands for an object elsewhere."""
    return f"{number} 0 R"


def pdf_string(text: str) -> str:
    """Return a text string: plain ASCII in brackets, all else in UTF-16 as hexadecimal digits."""
    if text.isascii() and text.isprintable():
        return "(" + text.replace("\\", "\\\\").replace("(", "\\(").replace(")", "\\)") + ")"
    return "<FEFF" + text.encode("utf-16-be", "replace").hex().upper() + ">"


def array(parts: Sequence[str]) -> str:
    """Return an array of written objects."""
    return "[" + " ".join(parts) + "]"


class PdfFile:
    """Collects the objects of a document and writes them once, in the order of their numbers.

    Equal calls give equal bytes: there is no date, and the file's identifier comes from its content.
    """

    def __init__(self) -> None:
        self._plain: dict[int, str] = {}
        self._streams: dict[int, bytes] = {}
        self._last = 0

    def reserve(self) -> int:
        """Return the number of an object that is written later."""
        self._last += 1
        return self._last

    def add(self, text: str, number: int | None = None) -> int:
        """Take an object as it is written, and return its number."""
        number = self.reserve() if number is None else number
        self._plain[number] = text
        return number

    def add_stream(self, data: bytes, entries: str = "", *, packed: bool = False, number: int | None = None) -> int:
        """Take a stream; it is packed by zlib unless its ``entries`` already say how it is.

        Parameters
        ----------
        data : bytes
        entries : str
            Of its dictionary, besides the length.
        packed : bool
            The data is packed already.
        """
        number = self.reserve() if number is None else number
        if not packed:
            data = zlib.compress(data, 9)
            entries += "/Filter/FlateDecode"
        head = f"<<{entries}/Length {len(data)}>>stream\n".encode("ascii")
        self._streams[number] = head + data + b"\nendstream"
        return number

    def write(self, root: int, info: int) -> bytes:
        """Return the file.

        Parameters
        ----------
        root, info : int
            Numbers of the catalog and of the document's information.
        """
        inside: dict[int, tuple[int, int]] = {}
        waiting = sorted(self._plain)
        for start in range(0, len(waiting), _PACKED_TOGETHER):
            numbers = waiting[start : start + _PACKED_TOGETHER]
            holder = self.reserve()
            places, at = [], 0
            for position, number in enumerate(numbers):
                places.append(f"{number} {at}")
                at += len(self._plain[number].encode("latin-1")) + 1
                inside[number] = (holder, position)
            head = " ".join(places) + "\n"
            body = head + "\n".join(self._plain[number] for number in numbers)
            entries = f"/Type/ObjStm/N {len(numbers)}/First {len(head)}"
            self.add_stream(body.encode("latin-1"), entries, number=holder)
        parts, at = [_HEAD], len(_HEAD)
        offsets: dict[int, int] = {}
        for number in sorted(self._streams):
            text = b"%d 0 obj\n" % number + self._streams[number] + b"\nendobj\n"
            offsets[number] = at
            parts.append(text)
            at += len(text)
        table = self.reserve()
        offsets[table] = at
        rows = [struct.pack(">BLH", 0, 0, 65535)]
        for number in range(1, table + 1):
            if number in inside:
                rows.append(struct.pack(">BLH", 2, *inside[number]))
            else:
                rows.append(struct.pack(">BLH", 1, offsets[number], 0))
        identity = _identity(parts)
        entries = (
            f"/Type/XRef/Size {table + 1}/W[1 4 2]/Root {reference(root)}/Info {reference(info)}"
            f"/ID[<{identity}><{identity}>]"
        )
        self.add_stream(b"".join(rows), entries, number=table)
        parts.append(b"%d 0 obj\n" % table + self._streams[table] + b"\nendobj\n")
        parts.append(b"startxref\n%d\n%%%%EOF\n" % at)
        return b"".join(parts)


def _identity(parts: Sequence[bytes]) -> str:
    """Return 16 bytes that tell the file from others, as hexadecimal digits, from what is in it."""
    sums = [0, 0x5BD1E995, 0x27D4EB2F, 0x165667B1]
    for part in parts:
        sums = [zlib.crc32(part, value) for value in sums]
    return "".join(f"{value:08X}" for value in sums)
