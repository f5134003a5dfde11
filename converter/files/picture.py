"""Opening pictures: any usual format, turned upright, on white paper, at no more than the needed size.

The size is known from the header before anything is decoded. JPEG is decoded at a reduced size by
its own transform when the wanted width allows; all else is decoded whole and its areas averaged,
since skipping pixels would lose thin lines.
"""

from __future__ import annotations

import contextlib
import io
import os
import struct
import sys
import threading
import warnings
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from converter.errors import PictureError
from converter.files.chart_file import PNG_SIGNATURE, check_ordinary
from converter.model.arrays import PictureArray
from converter.model.phrase import Phrase
from converter.pixels.clear import put_on_white, seen_on_white

if TYPE_CHECKING:
    from PIL import Image as PillowImage

MAX_PIXELS: Final = 120_000_000
"""Larger pictures are refused from their header."""
MAX_SIDE: Final = 60_000
_MAX_BYTES: Final = 500_000_000
_ACCEPTED: Final = "Accepted are JPEG, PNG, TIFF, WebP, BMP, GIF and HEIC pictures."
_FORMATS: Final[tuple[str, ...]] = ("JPEG", "PNG", "TIFF", "WEBP", "BMP", "GIF")
_ORIENTATION: Final = 0x0112

LEAST_WIDTH_PX: Final = 1400
"""A reduced picture keeps at least this much on its longer side, whatever the width asked for."""
_LARGE_PIXELS: Final = 32_000_000
_STRIP: Final = 256
_STRIPPED: Final = ("1", "P", "CMYK", "YCbCr", "LAB")
_BLOCK_BYTES: Final = 1 << 21
PIXELS_PER_STITCH: Final = 14
"""A reduced picture keeps this many pixels a stitch: below 12 thin lines begin to suffer."""


@dataclass(frozen=True)
class Picture:
    """A decoded picture.

    Parameters
    ----------
    pixels : ndarray of shape (H, W) or (H, W, 3), uint8
        Gray or RGB, upright, clear parts white.
    full_size : tuple of int
        Width and height in the file, upright.
    notes : tuple of str
        What she should know, such as that only the first of several frames was taken.
    """

    pixels: PictureArray
    full_size: tuple[int, int]
    notes: tuple[str, ...] = ()

    @property
    def reduction(self) -> float:
        """Pixels of the file along one side of a decoded pixel; 1 = decoded at full size."""
        return max(self.full_size) / int(max(self.pixels.shape[:2]))


def load_picture(path: Path | str, columns: int | None = None) -> PictureArray:
    """Read a picture, upright and on white.

    Parameters
    ----------
    path : path
        JPEG, PNG, TIFF, WebP, BMP, GIF, or HEIC where pillow-heif is installed.
    columns : int, optional
        Stitches wanted across; a larger picture comes reduced to what they need.

    Returns
    -------
    pixels : ndarray of shape (H, W) or (H, W, 3), uint8
        Gray or RGB.

    Raises
    ------
    PictureError
        If it cannot be read whole, is too large, or is no picture.

    References
    ----------
    Orientation: CIPA DC-008 (Exif), tag 0x0112.
    """
    return read_picture(path, columns).pixels


def prepare_reader() -> None:
    """Import the decoders of the usual formats, so that reading runs well beside other imports."""
    from PIL import Image

    Image.preinit()


def read_picture(path: Path | str, columns: int | None = None) -> Picture:
    """Read a picture with its notes; see `load_picture`."""
    path = Path(path)
    check_ordinary(path, _MAX_BYTES)
    try:
        with path.open("rb") as stream:
            return _read(stream, path.name, columns)
    except OSError as error:
        reason = error.strerror or "reading failed"
        raise PictureError(f"'{path}' cannot be read: {reason.lower()}.", "Check its permissions.") from None


def picture_from_bytes(data: bytes, name: str = "the picture", columns: int | None = None) -> Picture:
    """Read a picture from the bytes of a file; see `load_picture`."""
    if len(data) > _MAX_BYTES:
        raise PictureError(f"'{name}' has {len(data) / 1e6:.0f} MB.", f"At most {_MAX_BYTES / 1e6:.0f} MB are read.")
    return _read(io.BytesIO(data), name, columns)


def _read(stream: Any, name: str, columns: int | None) -> Picture:
    head = stream.read(4096)
    _check_head(head, name)
    stream.seek(0)
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        # Pillow scrambles some turned TIFFs: they are decoded unturned, then turned here.
        data, orientation = _untwist_tiff(stream.read())
        if _has_deep_planes(data):
            raise PictureError(
                f"'{name}' keeps each colour in a plane of its own with more than 8 bits, which cannot be read.",
                "Open it in a picture program and save it again as PNG.",
            )
        with _quiet_library():
            return _read_known(io.BytesIO(data), head, name, columns, orientation)
    return _read_known(stream, head, name, columns, None)


def _read_known(stream: Any, head: bytes, name: str, columns: int | None, orientation: int | None) -> Picture:
    try:
        with _quiet_pillow(head) as pillow, _open(pillow, stream, head, name) as image:
            return _decode(pillow, image, name, columns, orientation)
    except PictureError:
        raise
    except MemoryError:
        raise PictureError(f"'{name}' does not fit into memory.", "Make the picture smaller first.") from None
    except Exception as error:  # decoders raise anything on broken bytes
        return _decode_otherwise(stream, name, columns, orientation, error)


_error_stream = threading.Lock()


@contextlib.contextmanager
def _quiet_library() -> Iterator[None]:
    """Keep libtiff's own grumbling off the terminal: it writes to the error stream past Python."""
    with _error_stream:
        try:
            saved = os.dup(2)
        except OSError:  # no error stream at all
            yield
            return
        try:
            sys.stderr.flush()
            with Path(os.devnull).open("wb") as nothing:
                os.dup2(nothing.fileno(), 2)
            yield
        finally:
            os.dup2(saved, 2)
            os.close(saved)


@contextlib.contextmanager
def _quiet_pillow(head: bytes) -> Iterator[Any]:
    """Lend Pillow with its own size alarm off, as ours comes first, and its grumbling silenced.

    A frame of a GIF may be far larger than its header says, and is allotted while the file is opened: there the alarm
    stays on. It goes off at twice the limit.
    """
    from PIL import Image

    limit = Image.MAX_IMAGE_PIXELS
    Image.MAX_IMAGE_PIXELS = MAX_PIXELS // 2 if head[:4] == b"GIF8" else None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield Image
    finally:
        Image.MAX_IMAGE_PIXELS = limit


def _open(pillow: Any, stream: Any, head: bytes, name: str) -> PillowImage.Image:
    formats = _FORMATS
    if _is_heic(head):
        try:
            import pillow_heif
        except ImportError:
            raise PictureError(
                f"'{name}' is a HEIC picture, and the part that reads those is not installed.",
                "Install pillow-heif, or save the picture as JPEG.",
            ) from None
        pillow_heif.register_heif_opener()
        formats = ("HEIF",)
    from PIL import UnidentifiedImageError

    try:
        image: PillowImage.Image = pillow.open(stream, formats=formats)
    except UnidentifiedImageError as error:
        raise _Unidentified(str(error)) from None
    check_size(image.width, image.height, name)
    return image


class _Unidentified(Exception):
    """Pillow does not know the file; OpenCV may."""


def check_size(width: int, height: int, name: str) -> None:
    """Raise PictureError if a picture of this size is not to be decoded."""
    if width < 1 or height < 1:
        raise PictureError(f"'{name}' is {width} x {height} pixels.", "Give a picture with something on it.")
    if width * height > MAX_PIXELS or max(width, height) > MAX_SIDE:
        raise PictureError(
            f"'{name}' is {width} x {height} pixels; "
            f"at most {MAX_PIXELS // 1_000_000} million in all and {MAX_SIDE} on a side are read.",
            "Make the picture smaller first.",
        )


def _is_heic(head: bytes) -> bool:
    return head[4:8] == b"ftyp" and any(b in head[8:64] for b in (b"heic", b"heix", b"mif1", b"msf1", b"hevc", b"heif"))


_FOUND: Final = (
    (b"%PDF", "a PDF document"),
    (b"<svg", "an SVG drawing"),
    (b"<?xml", "an XML document"),
    (b"PK\x03\x04", "a ZIP archive or office document"),
    (b"{", "a text file"),
    (b"P1", "a PBM grid"),
    (b"P4", "a PBM grid"),
    (b"\x1f\x8b", "a compressed archive"),
    (b"RIFF", "a sound or film"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"ID3", "a sound"),
)


def _check_head(head: bytes, name: str) -> None:
    """Say what a file is when it can be seen at once that it is no picture."""
    if not head:
        raise PictureError(f"'{name}' is empty.", _ACCEPTED)
    if head[:3] == b"\xff\xd8\xff" or head[:8] == PNG_SIGNATURE or head[8:12] == b"WEBP":
        return
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    for mark, what in _FOUND:
        if start.startswith(mark):
            if mark == b"<?xml" and b"<svg" in head:
                what = "an SVG drawing"
            hint = "Export it as PNG first." if what in ("a PDF document", "an SVG drawing") else _ACCEPTED
            raise PictureError(f"'{name}' is {what}, not a picture.", hint)
    if not any(c < 9 or 13 < c < 32 for c in head) and head[:2] not in (b"BM",) and head[:4] != b"GIF8":
        raise PictureError(f"'{name}' is a text file, not a picture.", _ACCEPTED)


def _decode(pillow: Any, image: Any, name: str, columns: int | None, orientation: int | None) -> Picture:
    notes = []
    if image.format in ("GIF", "WEBP", "PNG", "TIFF") and getattr(image, "is_animated", False):
        notes.append(Phrase("The file holds several pictures; the first one is used."))
    large = _large_png(pillow, image, columns)
    if large is not None:
        gray, orientation = large
        full_size = (image.height, image.width) if orientation >= 5 else (image.width, image.height)
        return Picture(orient(gray, orientation), full_size, tuple(notes))
    if orientation is None:
        orientation = _valid_orientation(image.getexif().get(_ORIENTATION))
    turned = orientation >= 5
    full_size = (image.height, image.width) if turned else (image.width, image.height)
    least = _least_side(columns, full_size)
    if image.format in ("JPEG", "MPO") and least is not None:
        ratio = least / max(full_size)
        size = (max(1, round(image.width * ratio)), max(1, round(image.height * ratio)))
        image.draft(None, size)
        # Between blocks the decoder asks for the interpreter, which other threads may hold.
        image.decodermaxblock = _BLOCK_BYTES
    image.load()
    pixels = _reduced(pillow, image, least)
    return Picture(orient(pixels, orientation), full_size, tuple(notes))


def _valid_orientation(value: Any) -> int:
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _large_png(pillow: Any, image: Any, columns: int | None) -> tuple[PictureArray, int] | None:
    """Return a very large PNG scan in gray, reduced, and its orientation; None where it is read in the usual way.

    OpenCV decodes PNG to gray row by row, in a quarter of the memory. Not every version of it says when a file is
    cut short, so the chunks are walked first.
    """
    if image.format != "PNG" or columns is None or image.width * image.height < _LARGE_PIXELS:
        return None
    if image.mode not in ("1", "L", "RGB", "I;16") or "transparency" in image.info:
        return None
    stream = image.fp
    place = stream.tell()
    exif = pillow.Exif()
    exif.load(check_png_chunks(stream))
    orientation = _valid_orientation(exif.get(_ORIENTATION))
    size = (image.height, image.width) if orientation >= 5 else (image.width, image.height)
    import cv2

    flags = cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION
    name = getattr(stream, "name", None)
    with _quiet_library():
        if isinstance(name, str) and name.isascii():
            gray = cv2.imread(name, flags)
        else:
            stream.seek(0)
            gray = cv2.imdecode(np.frombuffer(stream.read(), dtype=np.uint8), flags)
    stream.seek(place)
    return (
        None if gray is None else (_reduce(np.asarray(gray, dtype=np.uint8), _least_side(columns, size)), orientation)
    )


def check_png_chunks(stream: Any) -> bytes:
    """Walk the chunks of a PNG file and raise OSError if one is cut short; return its Exif data.

    The picture's own data are stepped over: who decodes them holds them against their checksums.

    References
    ----------
    W3C PNG, third edition, 5.3: length, type, data, CRC of type and data; IEND comes last.
    """
    stream.seek(len(PNG_SIGNATURE))
    exif = b""
    while True:
        head = stream.read(8)
        if len(head) < 8:
            raise OSError("image file is truncated")
        length, kind = struct.unpack(">I4s", head)
        if kind == b"IDAT":
            stream.seek(length, os.SEEK_CUR)
            tail = stream.read(4)
        else:
            body = stream.read(length)
            tail = stream.read(4)
            if len(tail) == 4 and struct.unpack(">I", tail)[0] != zlib.crc32(body, zlib.crc32(kind)):
                raise OSError(f"checksum of {kind.decode('latin-1')} is wrong")
            if kind == b"eXIf":
                exif += body
        if len(tail) < 4:
            raise OSError("image file is truncated")
        if kind == b"IEND":
            return exif


def _least_side(columns: int | None, full_size: tuple[int, int]) -> int | None:
    """Pixels that the longer side must keep, or None for all."""
    if columns is None:
        return None
    width, height = full_size
    return max(LEAST_WIDTH_PX, round(PIXELS_PER_STITCH * columns * max(1.0, height / width)))


def _reduce(pixels: PictureArray, least: int | None) -> PictureArray:
    """Average areas by the largest whole factor that leaves ``least`` pixels on the longer side."""
    if least is None:
        return pixels
    factor = max(pixels.shape[:2]) // least
    if factor < 2:
        return pixels
    height, width = (max(1, side // factor) * factor for side in pixels.shape[:2])
    return _average(pixels[:height, :width], factor)


def _reduced(pillow: Any, image: Any, least: int | None) -> PictureArray:
    """Return the pixels of a loaded picture as gray or RGB, averaged down to what is needed.

    A large one whose colours have to be looked up or mixed is taken strip by strip: as RGB it may be many times as
    large as it was.
    """
    factor = 1 if least is None else max(1, max(image.size) // least)
    width, height = (side // factor * factor for side in image.size)
    if factor > 1 and width and height and "transparency" not in image.info:
        if image.mode in ("L", "RGB"):
            # Pillow averages areas in its own memory; a copy at full size would double it.
            return _pixels_of(image.reduce(factor, (0, 0, width, height)))
        if image.mode in _STRIPPED:
            rows = max(1, _STRIP // factor) * factor
            strips = (image.crop((0, top, width, min(height, top + rows))) for top in range(0, height, rows))
            return np.concatenate([_average(_to_uint8(pillow, strip), factor) for strip in strips])
    return _reduce(_to_uint8(pillow, image), least)


def _average(pixels: PictureArray, factor: int) -> PictureArray:
    """Return the means of squares of ``factor`` pixels, of which a picture is made up, or of what there is of one."""
    import cv2

    size = (max(1, pixels.shape[1] // factor), max(1, pixels.shape[0] // factor))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _to_uint8(pillow: Any, image: Any) -> PictureArray:
    """Return gray or RGB pixels of a loaded picture of any mode, clear parts white."""
    mode = image.mode
    if mode in ("L", "RGB"):
        if "transparency" in image.info:
            return _on_white(pillow, image)
        return _pixels_of(image)
    if mode == "1":
        return np.asarray(image.convert("L"))
    if mode in ("LA", "La", "PA", "RGBA", "RGBa") or (mode == "P" and "transparency" in image.info):
        return _on_white(pillow, image)
    if mode.startswith(("I", "F")):
        return scale_to_uint8(np.asarray(image))
    if mode == "LAB":
        from PIL import ImageCms

        image = ImageCms.profileToProfile(
            image, ImageCms.createProfile("LAB"), ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    return np.asarray(image.convert("RGB"))


def _pixels_of(image: Any) -> PictureArray:
    """Return the pixels of a gray or RGB picture, copied strip by strip: in one piece they would be copied twice."""
    width, height = image.size
    pixels = np.empty((height, width) if image.mode == "L" else (height, width, 3), dtype=np.uint8)
    for top in range(0, height, _STRIP):
        pixels[top : top + _STRIP] = np.asarray(image.crop((0, top, width, min(height, top + _STRIP))))
    return pixels


def _on_white(pillow: Any, image: Any) -> PictureArray:
    gray = image.mode in ("LA", "La")
    rgba = image if image.mode in ("LA", "RGBA") else image.convert("LA" if gray else "RGBA")
    alpha = rgba.getchannel("A")
    if alpha.getextrema() == (255, 255):
        return np.asarray(rgba.convert("L" if gray else "RGB"))
    kind = "L" if gray else "RGB"
    white = pillow.new(kind, rgba.size, "white")
    white.paste(rgba.convert(kind), mask=alpha)
    return seen_on_white(np.asarray(white), np.asarray(alpha))


def scale_to_uint8(values: Any) -> PictureArray:
    """Return 8-bit pixels of a deeper picture.

    Parameters
    ----------
    values : ndarray of shape (H, W) or (H, W, C)
        Whole numbers: 0 to 65535 when that holds them, else their own range. Floats: 0 to 1 when
        that holds them, else 0 to 255, else their own range. Missing values (NaN) become white.
    """
    if values.dtype == np.uint8:
        return np.asarray(values)
    if values.dtype == np.uint16:
        return np.asarray((values.astype(np.uint32) * 255 + 32767) // 65535, dtype=np.uint8)
    scaled = values.astype(np.float64)
    finite = scaled[np.isfinite(scaled)]
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 1.0)
    if np.issubdtype(values.dtype, np.integer) and low >= 0 and high <= 65535:
        low, high = 0.0, 255.0 if high <= 255 else 65535.0
    elif low >= 0 and high <= 1:
        low, high = 0.0, 1.0
    elif low >= 0 and high <= 255:
        low, high = 0.0, 255.0
    span = high - low if high > low else 1.0
    scaled = np.nan_to_num((scaled - low) / span, nan=1.0, posinf=1.0, neginf=0.0)
    return np.asarray(np.rint(np.clip(scaled, 0.0, 1.0) * 255.0), dtype=np.uint8)


def orient(pixels: PictureArray, orientation: int) -> PictureArray:
    """Turn stored pixels upright.

    Parameters
    ----------
    pixels : ndarray of shape (H, W) or (H, W, C)
    orientation : int
        1 to 8 as in CIPA DC-008 (Exif), tag 0x0112.

    Examples
    --------
    >>> orient(np.array([[0, 1, 2], [3, 4, 5]], dtype=np.uint8), 6).tolist()
    [[3, 0], [4, 1], [5, 2]]
    """
    if orientation >= 5:
        pixels = np.swapaxes(pixels, 0, 1)
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    return np.ascontiguousarray(pixels)


def _untwist_tiff(data: bytes) -> tuple[bytes, int]:
    """Return a TIFF with its orientation set to 1, and the orientation it had."""
    with contextlib.suppress(struct.error):
        for tag, kind, _, place in _tiff_entries(data):
            if tag == _ORIENTATION and kind == 3:
                order = "<" if data[:2] == b"II" else ">"
                (orientation,) = struct.unpack_from(order + "H", data, place)
                patched = bytearray(data)
                struct.pack_into(order + "H", patched, place, 1)
                return bytes(patched), orientation if 1 <= orientation <= 8 else 1
    return data, 1


def _decode_otherwise(
    stream: Any, name: str, columns: int | None, orientation: int | None, error: Exception
) -> Picture:
    """Try OpenCV on whole TIFFs that Pillow does not know (16-bit colour, float colour), or say what is wrong."""
    if orientation is not None:
        stream.seek(0)
        pixels = _decode_tiff(stream.read(), name)
        if pixels is not None:
            size = (pixels.shape[1], pixels.shape[0]) if orientation < 5 else (pixels.shape[0], pixels.shape[1])
            return Picture(orient(_reduce(pixels, _least_side(columns, size)), orientation), size)
    if type(error).__name__ == "DecompressionBombError":
        raise PictureError(
            f"'{name}' unfolds to over {MAX_PIXELS // 1_000_000} million pixels.", "Make the picture smaller first."
        ) from None
    if isinstance(error, _Unidentified):
        raise PictureError(f"'{name}' is not a picture that can be read.", _ACCEPTED) from None
    text = str(error).strip().rstrip(".") or type(error).__name__
    if "truncated" in text or "Truncated" in text or isinstance(error, EOFError):
        raise PictureError(
            f"'{name}' is cut short: the file ends too early.", "Copy it again from where it came from."
        ) from None
    raise PictureError(
        f"'{name}' is broken ({text[:80]}).", "Open it in a picture program and save it again."
    ) from None


def _decode_tiff(data: bytes, name: str) -> PictureArray | None:
    size = _tiff_size(data)
    if size is None:
        return None
    check_size(*size, name)
    import cv2

    level = cv2.utils.logging.getLogLevel()
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    try:
        values = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error:
        return None
    finally:
        cv2.utils.logging.setLogLevel(level)
    if values is None:
        return None
    pixels = scale_to_uint8(values)
    if pixels.ndim == 3 and pixels.shape[2] >= 3:
        colour = pixels[:, :, 2::-1]
        if pixels.shape[2] == 4:
            colour = put_on_white(np.dstack([colour, pixels[:, :, 3]]))
        return np.ascontiguousarray(colour)
    return pixels if pixels.ndim == 2 else np.ascontiguousarray(pixels[:, :, 0])


def _tiff_size(data: bytes) -> tuple[int, int] | None:
    """Width and height from the first directory of a plain TIFF, or None."""
    if data[2:4] not in (b"*\0", b"\0*"):
        return None
    found = _tiff_numbers(data)
    return (found[256], found[257]) if 256 in found and 257 in found else None


def _has_deep_planes(data: bytes) -> bool:
    """Whether a TIFF keeps colours of more than 8 bits in separate planes.

    Pillow reads such planes wrongly, and OpenCV leaves parts of the picture as it finds the memory.
    """
    found = _tiff_numbers(data)
    return found.get(284) == 2 and found.get(277, 1) > 1 and found.get(258, 1) > 8


def _tiff_numbers(data: bytes) -> dict[int, int]:
    """Return the first whole number of each tag of the first directory."""
    order = "<" if data[:2] == b"II" else ">"
    formats = {3: "H", 4: "I", 16: "Q"}
    found: dict[int, int] = {}
    with contextlib.suppress(struct.error, OverflowError):
        for tag, kind, many, place in _tiff_entries(data):
            if kind not in formats or many == 0:
                continue
            offset = "Q" if _is_big_tiff(data) else "I"
            if many * struct.calcsize(formats[kind]) > struct.calcsize(offset):
                (place,) = struct.unpack_from(order + offset, data, place)
            (found[tag],) = struct.unpack_from(order + formats[kind], data, place)
    return found


def _is_big_tiff(data: bytes) -> bool:
    return data[2:4] in (b"+\0", b"\0+")


def _tiff_entries(data: bytes) -> Iterator[tuple[int, int, int, int]]:
    """Yield tag, kind, number of values and place of the value (or of its offset) in the first image file directory.

    TIFF 6.0, section 2; BigTIFF with 8-byte offsets. A broken directory ends where it breaks.
    """
    order = "<" if data[:2] == b"II" else ">"
    offset, count, start = ("Q", "Q", 8) if _is_big_tiff(data) else ("I", "H", 4)
    head = f"{order}HH{offset}"
    try:
        (at,) = struct.unpack_from(order + offset, data, start)
        (entries,) = struct.unpack_from(order + count, data, at)
        at += struct.calcsize(count)
        for index in range(min(entries, 4096)):
            place = at + index * (struct.calcsize(head) + struct.calcsize(offset))
            tag, kind, many = struct.unpack_from(head, data, place)
            yield tag, kind, many, place + struct.calcsize(head)
    except (struct.error, OverflowError):
        return
