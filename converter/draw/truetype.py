"""TrueType files: which glyph draws a character, how wide it is, and a smaller font of the glyphs in use.

References
----------
ISO/IEC 14496-22 (Open Font Format): tables cmap (formats 4 and 12), glyf, head, hhea, hmtx, loca, maxp, OS/2,
post. ISO 32000-1:2008, 9.9: the tables that a font embedded in a PDF must have (clauses from memory).
"""

from __future__ import annotations

import struct
from bisect import bisect_left
from collections.abc import Sequence
from typing import Final

_ARGS_ARE_WORDS: Final = 0x0001
_HAS_SCALE: Final = 0x0008
_MORE_COMPONENTS: Final = 0x0020
_HAS_TWO_SCALES: Final = 0x0040
_HAS_TWO_BY_TWO: Final = 0x0080
_HAS_INSTRUCTIONS: Final = 0x0100
_SHORT_LOCA_LIMIT: Final = 0x1FFFE


class FontFile:
    """A TrueType file, read where it is asked for.

    Parameters
    ----------
    data : bytes
        The whole file.
    """

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._tables: dict[bytes, tuple[int, int]] = {}
        (count,) = struct.unpack_from(">H", data, 4)
        for i in range(count):
            tag, _, offset, length = struct.unpack_from(">4sLLL", data, 12 + 16 * i)
            self._tables[tag] = (offset, length)
        head, hhea = self._at(b"head"), self._at(b"hhea")
        (self.em,) = struct.unpack_from(">H", data, head + 18)
        self.box: tuple[int, int, int, int] = struct.unpack_from(">4h", data, head + 36)
        """Smallest box round all glyphs: left, bottom, right, top."""
        self._long_loca = struct.unpack_from(">h", data, head + 50)[0] == 1
        self.ascent, self.descent = struct.unpack_from(">hh", data, hhea + 4)
        (self._long_metrics,) = struct.unpack_from(">H", data, hhea + 34)
        (version,) = struct.unpack_from(">H", data, self._at(b"OS/2"))
        self.cap_height = (
            struct.unpack_from(">h", data, self._at(b"OS/2") + 88)[0] if version >= 2 else 7 * self.em // 10
        )
        self.italic_deg = struct.unpack_from(">l", data, self._at(b"post") + 4)[0] / 65536
        self._glyphs: dict[int, int] = {}
        self._read_character_map()

    def _at(self, tag: bytes) -> int:
        return self._tables[tag][0]

    def _read_character_map(self) -> None:
        """Read the ranges of the best Unicode subtable."""
        data, table = self._data, self._at(b"cmap")
        (count,) = struct.unpack_from(">H", data, table + 2)
        best = (0, 0)
        for i in range(count):
            platform, _, offset = struct.unpack_from(">HHL", data, table + 4 + 8 * i)
            (kind,) = struct.unpack_from(">H", data, table + offset)
            if platform in (0, 3) and kind in (4, 12):
                best = max(best, (kind, table + offset))
        self._kind, start = best
        self._ends: tuple[int, ...] = ()
        if self._kind == 12:
            (groups,) = struct.unpack_from(">L", data, start + 12)
            numbers = struct.unpack_from(f">{3 * groups}L", data, start + 16)
            self._starts, self._ends, self._firsts = numbers[::3], numbers[1::3], numbers[2::3]
        elif self._kind == 4:
            size = struct.unpack_from(">H", data, start + 6)[0] // 2
            self._ends = struct.unpack_from(f">{size}H", data, start + 14)
            self._starts = struct.unpack_from(f">{size}H", data, start + 16 + 2 * size)
            self._firsts = struct.unpack_from(f">{size}h", data, start + 16 + 4 * size)
            self._offsets_at = start + 16 + 6 * size
            self._offsets = struct.unpack_from(f">{size}H", data, self._offsets_at)

    def glyph(self, code: int) -> int:
        """Return the glyph of a code point; 0 where the font has none."""
        found = self._glyphs.get(code)
        if found is None:
            found = self._glyphs[code] = self._look_up(code)
        return found

    def _look_up(self, code: int) -> int:
        i = bisect_left(self._ends, code)
        if i == len(self._ends) or self._starts[i] > code:
            return 0
        if self._kind == 12:
            return int(self._firsts[i]) + code - int(self._starts[i])
        if self._offsets[i] == 0:
            return (code + int(self._firsts[i])) & 0xFFFF
        place = self._offsets_at + 2 * i + self._offsets[i] + 2 * (code - self._starts[i])
        found: int = struct.unpack_from(">H", self._data, place)[0]
        return (found + int(self._firsts[i])) & 0xFFFF if found else 0

    def advance(self, glyph: int) -> int:
        """Return how far a glyph moves the pen, in units of the em."""
        number = min(glyph, self._long_metrics - 1)
        wide: int = struct.unpack_from(">H", self._data, self._at(b"hmtx") + 4 * number)[0]
        return wide

    def _bearing(self, glyph: int) -> int:
        table, extra = self._at(b"hmtx"), glyph - self._long_metrics
        at = table + 4 * glyph + 2 if extra < 0 else table + 4 * self._long_metrics + 2 * extra
        bearing: int = struct.unpack_from(">h", self._data, at)[0]
        return bearing

    def _outline(self, glyph: int) -> bytes:
        at = self._at(b"loca")
        if self._long_loca:
            start, stop = struct.unpack_from(">LL", self._data, at + 4 * glyph)
        else:
            start, stop = (2 * half for half in struct.unpack_from(">HH", self._data, at + 2 * glyph))
        glyf = self._at(b"glyf")
        return self._data[glyf + start : glyf + stop]

    def subset(self, glyphs: Sequence[int]) -> bytes:
        """Return a font file of some glyphs, numbered in this order; the first is to be 0, the missing glyph.

        Glyphs that others are made of are added behind. Hints for coarse screens are left out.
        """
        order = list(glyphs)
        numbers = {glyph: number for number, glyph in enumerate(order)}
        outlines: list[bytes] = []
        for glyph in order:  # grows while it is walked
            outlines.append(_without_hints(self._outline(glyph), order, numbers))
        places, at = [0], 0
        for outline in outlines:
            at += len(outline)
            places.append(at)
        short = at <= _SHORT_LOCA_LIMIT
        loca = (
            struct.pack(f">{len(places)}H", *(p // 2 for p in places))
            if short
            else struct.pack(f">{len(places)}L", *places)
        )
        head = bytearray(self._table(b"head"))
        struct.pack_into(">L", head, 8, 0)
        struct.pack_into(">h", head, 50, 0 if short else 1)
        hhea = bytearray(self._table(b"hhea"))
        struct.pack_into(">H", hhea, 34, len(order))
        maxp = bytearray(self._table(b"maxp"))
        struct.pack_into(">H", maxp, 4, len(order))
        # Storage, functions, instructions and stack belong to the hints.
        struct.pack_into(">HHHHHHH", maxp, 14, 1, 0, 0, 0, 0, 0, 0)
        hmtx = b"".join(struct.pack(">Hh", self.advance(glyph), self._bearing(glyph)) for glyph in order)
        return _font_file(
            {
                b"glyf": b"".join(outlines),
                b"head": bytes(head),
                b"hhea": bytes(hhea),
                b"hmtx": hmtx,
                b"loca": loca,
                b"maxp": bytes(maxp),
            }
        )

    def _table(self, tag: bytes) -> bytes:
        offset, length = self._tables[tag]
        return self._data[offset : offset + length]


def _without_hints(outline: bytes, order: list[int], numbers: dict[int, int]) -> bytes:
    """Return a glyph without its instructions, its parts by their new numbers, its length made a multiple of 4."""
    if not outline:
        return b""
    (contours,) = struct.unpack_from(">h", outline, 0)
    if contours >= 0:
        at = 10 + 2 * contours
        (hints,) = struct.unpack_from(">H", outline, at)
        plain = outline[:at] + b"\0\0" + outline[at + 2 + hints :]
    else:
        parts, at, more = bytearray(outline), 10, True
        while more:
            flags, glyph = struct.unpack_from(">HH", parts, at)
            if glyph not in numbers:
                numbers[glyph] = len(order)
                order.append(glyph)
            struct.pack_into(">HH", parts, at, flags & ~_HAS_INSTRUCTIONS, numbers[glyph])
            at += 8 if flags & _ARGS_ARE_WORDS else 6
            at += 2 if flags & _HAS_SCALE else 4 if flags & _HAS_TWO_SCALES else 8 if flags & _HAS_TWO_BY_TWO else 0
            more = bool(flags & _MORE_COMPONENTS)
        plain = bytes(parts[:at])
    return plain + b"\0" * (-len(plain) % 4)


def _checksum(data: bytes) -> int:
    padded = data + b"\0" * (-len(data) % 4)
    total: int = sum(struct.unpack(f">{len(padded) // 4}L", padded))
    return total & 0xFFFFFFFF


def _font_file(tables: dict[bytes, bytes]) -> bytes:
    """Return a font file of these tables, with its checksums."""
    count = len(tables)
    power = count.bit_length() - 1
    directory = struct.pack(">LHHHH", 0x00010000, count, 16 << power, power, 16 * count - (16 << power))
    at, body = len(directory) + 16 * count, b""
    head_at = 0
    for tag in sorted(tables):
        data = tables[tag]
        if tag == b"head":
            head_at = at
        directory += struct.pack(">4sLLL", tag, _checksum(data), at, len(data))
        padded = data + b"\0" * (-len(data) % 4)
        body += padded
        at += len(padded)
    whole = bytearray(directory + body)
    struct.pack_into(">L", whole, head_at + 8, (0xB1B0AFBA - _checksum(bytes(whole))) & 0xFFFFFFFF)
    return bytes(whole)
