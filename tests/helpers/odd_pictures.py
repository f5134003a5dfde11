"""Broken and odd pictures, each made from a few lines, with what it gets: read, or refused in these words."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from PIL import Image, ImageCms

NOISE = np.random.default_rng(3).integers(0, 255, (60, 80, 3), dtype=np.uint8)


def drawing() -> np.ndarray:
    gray = np.full((60, 80), 240, dtype=np.uint8)
    gray[10:50, 20:30] = 10
    gray[40:50, 20:60] = 10
    return gray


def save(image: Image.Image | np.ndarray, kind: str, **options: Any) -> bytes:
    if isinstance(image, np.ndarray):
        image = Image.fromarray(image)
    stream = io.BytesIO()
    image.save(stream, format=kind, **options)
    return stream.getvalue()


def colour() -> np.ndarray:
    return np.stack([drawing()] * 3, axis=2)


def png(width: int, height: int, depth: int = 8, kind: int = 0, body: bytes | None = None) -> bytes:
    """A PNG with any header and a given (or short) body."""
    header = struct.pack(">IIBBBBB", width, height, depth, kind, 0, 0, 0)
    chunks = [(b"IHDR", header), (b"IDAT", zlib.compress(b"\0" * 1000) if body is None else body), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data)) for name, data in chunks
    )


def tiff(width: int, height: int) -> bytes:
    """A TIFF that is nothing but a directory."""
    entries = [(256, 4, width), (257, 4, height), (258, 3, 8), (259, 3, 1), (262, 3, 1), (273, 4, 8), (277, 3, 1),
               (278, 4, height), (279, 4, 1)]  # fmt: skip
    body = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in entries)
    return b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(entries)) + body + struct.pack("<I", 0)


def bmp(width: int, height: int) -> bytes:
    return (
        b"BM"
        + struct.pack("<IHHI", 54, 0, 0, 54)
        + struct.pack("<IiiHHIIiiII", 40, width, height, 1, 24, 0, 0, 0, 0, 0, 0)
    )


def gif(width: int, height: int) -> bytes:
    return b"GIF89a" + struct.pack("<HHBBB", width, height, 0, 0, 0) + b","


def gif_with_large_frame() -> bytes:
    """Return a small GIF whose only frame lies far outside of it."""
    frame = struct.pack("<HHHHB", 60_000, 60_000, 40_000, 9_000, 0)
    return b"GIF89a" + struct.pack("<HHBBB", 16, 16, 0, 0, 0) + b"," + frame + b"\x02\x02\x4c\x01\x00;"


@dataclass(frozen=True)
class Odd:
    """One odd file.

    ``words`` is None where the picture is read (and shows the drawing), else a part of the message.
    """

    name: str
    make: Callable[[], bytes]
    words: str | None


def _lab() -> bytes:
    lab = ImageCms.profileToProfile(
        Image.fromarray(colour()), ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB"), outputMode="LAB"
    )
    return save(lab, "TIFF")


def _float(scale: float, hole: float | None = None) -> bytes:
    values = (drawing() * scale).astype(np.float32)
    if hole is not None:
        values[0, 0] = hole
    return save(values, "TIFF")


def _alpha(kind: str) -> bytes:
    ink = np.where(drawing() < 128, 255, 0).astype(np.uint8)
    return save(
        np.dstack([np.zeros((60, 80, 3), dtype=np.uint8), ink]), kind, **({"lossless": True} if kind == "WEBP" else {})
    )


def _frames(kind: str) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(drawing()).save(
        stream, format=kind, save_all=True, append_images=[Image.fromarray(255 - drawing())]
    )
    return stream.getvalue()


def _planes(kind: type) -> bytes:
    """Colours one after another (TIFF 6.0, PlanarConfiguration 2), written by hand: one strip a colour."""
    planes = np.stack([drawing()] * 3).astype(kind) * (1 if kind is np.uint8 else 257)
    _, high, wide = planes.shape
    size = planes[0].nbytes
    first = 8 + 2 + 11 * 12 + 4
    entries = [(256, 3, 1, wide), (257, 3, 1, high), (258, 3, 3, first), (259, 3, 1, 1), (262, 3, 1, 2)]
    data = first + 6 + 12 + 12
    entries += [(273, 4, 3, first + 6), (277, 3, 1, 3), (278, 3, 1, high), (279, 4, 3, first + 18), (284, 3, 1, 2)]
    entries += [(339, 3, 1, 1)]
    head = b"II*\0" + struct.pack("<IH", 8, len(entries)) + b"".join(struct.pack("<HHII", *e) for e in entries)
    head += struct.pack("<I", 0) + struct.pack("<3H", *[planes.itemsize * 8] * 3)
    head += struct.pack("<3I", *(data + size * k for k in range(3))) + struct.pack("<3I", *[size] * 3)
    return head + planes.astype(f"<u{planes.itemsize}").tobytes()


def _palette_clear() -> bytes:
    image = Image.new("P", (80, 60), 0)
    image.putpalette([0, 0, 0, 0, 0, 0])
    image.paste(1, (20, 10, 60, 50))
    return save(image, "PNG", transparency=0)


def _cut(kind: str, share: float) -> Callable[[], bytes]:
    def make() -> bytes:
        data = save(NOISE, kind)
        return data[: int(len(data) * share)]

    return make


def _exif(value: Any) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = value
    return save(colour(), "JPEG", exif=exif.tobytes())


READ: list[Odd] = [
    Odd(f"{kind} as usual", lambda kind=kind: save(colour(), kind), None)
    for kind in ("JPEG", "PNG", "TIFF", "WEBP", "BMP", "GIF")
] + [
    Odd("gray JPEG", lambda: save(drawing(), "JPEG"), None),
    Odd("progressive JPEG", lambda: save(colour(), "JPEG", progressive=True), None),
    Odd("CMYK JPEG", lambda: save(Image.fromarray(colour()).convert("CMYK"), "JPEG"), None),
    Odd("CMYK TIFF", lambda: save(Image.fromarray(colour()).convert("CMYK"), "TIFF"), None),
    Odd("YCbCr TIFF", lambda: save(Image.fromarray(colour()).convert("YCbCr"), "TIFF"), None),
    Odd("LAB TIFF", _lab, None),
    Odd("one-bit PNG", lambda: save(Image.fromarray(drawing()).convert("1"), "PNG"), None),
    Odd(
        "one-bit TIFF, fax coded",
        lambda: save(Image.fromarray(drawing()).convert("1"), "TIFF", compression="group4"),
        None,
    ),
    Odd("palette PNG", lambda: save(Image.fromarray(colour()).convert("P"), "PNG"), None),
    Odd("palette PNG with a clear colour", _palette_clear, None),
    Odd("black drawing on clear ground, PNG", lambda: _alpha("PNG"), None),
    Odd("black drawing on clear ground, WebP", lambda: _alpha("WEBP"), None),
    Odd("16-bit gray PNG", lambda: save(drawing().astype(np.uint16) * 257, "PNG"), None),
    Odd("16-bit gray TIFF", lambda: save(drawing().astype(np.uint16) * 257, "TIFF"), None),
    Odd("TIFF with each colour in a plane of its own", lambda: _planes(np.uint8), None),
    Odd("32-bit whole number TIFF", lambda: save(drawing().astype(np.int32), "TIFF"), None),
    Odd("float TIFF, 0 to 1", lambda: _float(1 / 255), None),
    Odd("float TIFF, 0 to 255", lambda: _float(1), None),
    Odd("float TIFF with missing values (NaN)", lambda: _float(1 / 255, np.nan), None),
    Odd("animated GIF", lambda: _frames("GIF"), None),
    Odd("TIFF of several pages", lambda: _frames("TIFF"), None),
    Odd("animated WebP", lambda: _frames("WEBP"), None),
    Odd("animated PNG", lambda: _frames("PNG"), None),
    Odd("a colour profile that is none", lambda: save(colour(), "PNG", icc_profile=b"nonsense"), None),
    Odd("Exif orientation 0", lambda: _exif(0), None),
    Odd("Exif orientation 99", lambda: _exif(99), None),
    Odd("PNG with bytes after its end", lambda: save(drawing(), "PNG") + b"more", None),
    Odd("JPEG with bytes after its end", lambda: save(colour(), "JPEG") + bytes(100), None),
]
CUT: list[Odd] = [
    Odd(f"JPEG cut at {share:.0%}", _cut("JPEG", share), "odd") for share in np.linspace(0.03, 0.98, 20)
] + [
    Odd(f"{kind} cut at {share:.0%}", _cut(kind, share), "odd")
    for kind in ("PNG", "TIFF", "WEBP", "BMP", "GIF")
    for share in (0.3, 0.8)
]
WRONG: list[Odd] = [
    Odd("TIFF with each colour of 16 bits in a plane of its own", lambda: _planes(np.uint16), "in a plane of its own"),
    Odd("nothing at all", lambda: b"", "empty"),
    Odd("a text", lambda: b"Dear diary, today I stitched.", "text file"),
    Odd("a text with accents", lambda: "Häkelstube\n".encode(), "text file"),
    Odd("a PDF", lambda: b"%PDF-1.7\n...", "PDF document"),
    Odd("an SVG", lambda: b'<svg xmlns="http://www.w3.org/2000/svg"/>', "SVG drawing"),
    Odd("an SVG with an XML head", lambda: b'<?xml version="1.0"?>\n<svg/>', "SVG drawing"),
    Odd("a ZIP archive", lambda: b"PK\x03\x04" + bytes(50), "ZIP archive"),
    Odd("a chart file", lambda: b'{"format": "onecolour chart"}', "not a picture"),
    Odd("a film", lambda: b"RIFF\0\0\0\0AVI ", "sound or film"),
    Odd("a program", lambda: b"\x7fELF" + bytes(60), "program"),
    Odd("zeros", lambda: bytes(1000), "not a picture that can be read"),
    Odd("random bytes", lambda: NOISE.tobytes()[:2000], "not a picture that can be read"),
    Odd("only the signature of a PNG", lambda: b"\x89PNG\r\n\x1a\n", "not a picture that can be read"),
    Odd("only the signature of a JPEG", lambda: b"\xff\xd8\xff", "not a picture that can be read"),
    Odd("PNG of 30,000 x 30,000 in one bit", lambda: png(30_000, 30_000, 1), "at most 120 million"),
    Odd("PNG of 2,000,000,000 pixels a side", lambda: png(2_000_000_000, 2_000_000_000), "odd"),
    Odd("PNG of 100,000 x 10", lambda: png(100_000, 10), "at most 120 million"),
    Odd("PNG of 0 x 0", lambda: png(0, 0), "odd"),
    Odd("PNG with a wrong checksum", lambda: png(80, 60)[:30] + b"xx" + png(80, 60)[32:], "odd"),
    Odd("PNG with too little inside", lambda: png(80, 60), "odd"),
    Odd("PNG with nonsense inside", lambda: png(80, 60, body=b"nonsense"), "odd"),
    Odd("TIFF of 4,000,000,000 pixels a side", lambda: tiff(4_000_000_000, 4_000_000_000), "odd"),
    Odd("TIFF of 60,000 x 60,000", lambda: tiff(60_000, 60_000), "odd"),
    Odd("TIFF without a picture in it", lambda: tiff(80, 60), "odd"),
    Odd("TIFF whose directory is nowhere", lambda: b"II*\0\xff\xff\xff\xff", "odd"),
    Odd("BMP of 100,000 x 100,000", lambda: bmp(100_000, 100_000), "at most 120 million"),
    Odd("BMP with nothing inside", lambda: bmp(80, 60), "odd"),
    Odd("GIF of 65,535 x 65,535", lambda: gif(65_535, 65_535), "odd"),
    Odd("GIF with a frame far larger than it", gif_with_large_frame, "over 120 million"),
    Odd("WebP of one byte", lambda: b"RIFF\x01\0\0\0WEBPV", "odd"),
]  # fmt: skip
ALL = READ + CUT + WRONG
