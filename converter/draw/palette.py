"""Pictures of at most 256 colours: one byte a pixel instead of three, packed once for PNG and PDF alike."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from converter.model.arrays import PictureArray
from converter.units import MM_PER_INCH

if TYPE_CHECKING:
    import numpy.typing as npt

    Index = npt.NDArray[np.uint8]

COLOURS: Final = 256
_FLAT_LEVEL: Final = 6
_BUSY_LEVEL: Final = 4
"""Effort of the packer: beyond these a picture takes twice the time for a tenth less."""


@dataclass(frozen=True, eq=False)
class IndexedPicture:
    """A picture whose pixels name colours of a table.

    Parameters
    ----------
    index : ndarray of shape (H, W), uint8
    colours : ndarray of shape (N, 3), uint8
        N is 1 to 256.
    busy : bool
        Full of small shades, as the stitched look is, rather than flat.
    """

    index: Index
    colours: Index
    busy: bool = False

    @property
    def bits(self) -> int:
        """Bits a pixel needs: 1, 2, 4 or 8."""
        return next(bits for bits in (1, 2, 4, 8) if len(self.colours) <= 1 << bits)

    @property
    def pixels(self) -> PictureArray:
        """The picture in RGB, (H, W, 3)."""
        rgb: PictureArray = self.colours[self.index]
        return rgb

    @cached_property
    def packed(self) -> bytes:
        """The rows as PNG and PDF hold them: a filter byte 0 before each, packed by zlib.

        References
        ----------
        W3C PNG, third edition, 7.2 (samples smaller than a byte, the first in the high bits) and 9;
        ISO 32000-1:2008, 7.4.4.4, predictor 15 (clause from memory).
        """
        height, width = self.index.shape
        bits = self.bits
        if bits == 8:
            row_bytes = self.index
        else:
            each = 8 // bits
            whole = np.zeros((height, -(-width // each), each), dtype=np.uint8)
            whole.reshape(height, -1)[:, :width] = self.index
            row_bytes = np.zeros(whole.shape[:2], dtype=np.uint8)
            for place in range(each):
                row_bytes |= whole[:, :, place] << np.uint8(8 - bits * (place + 1))
        rows = np.zeros((height, row_bytes.shape[1] + 1), dtype=np.uint8)
        rows[:, 1:] = row_bytes
        packer = zlib.compressobj(_BUSY_LEVEL if self.busy else _FLAT_LEVEL, zlib.DEFLATED, 15, 9)
        return packer.compress(rows.data) + packer.flush()

    def png_bytes(self, dpi: float | None) -> bytes:
        """Return the picture as PNG; ``dpi`` is noted in its pHYs chunk in pixels a metre.

        References
        ----------
        W3C PNG, third edition, 5.3, 11.2 and 11.3.4.3.
        """
        height, width = self.index.shape
        chunks = [(b"IHDR", struct.pack(">IIBBBBB", width, height, self.bits, 3, 0, 0, 0))]
        if dpi is not None:
            metre = int(dpi / MM_PER_INCH * 1000 + 0.5)
            chunks.append((b"pHYs", struct.pack(">IIB", metre, metre, 1)))
        chunks += [(b"PLTE", self.colours.tobytes()), (b"IDAT", self.packed), (b"IEND", b"")]
        parts = [b"\x89PNG\r\n\x1a\n"]
        for kind, data in chunks:
            parts += [struct.pack(">I", len(data)), kind, data, struct.pack(">I", zlib.crc32(data, zlib.crc32(kind)))]
        return b"".join(parts)


def _coarse(pixels: PictureArray, bits: int) -> npt.NDArray[np.uint32]:
    """Return the pixels' leading bits of all three components in one number."""
    drop = np.uint8(8 - bits)
    packed = (pixels[..., 0] >> drop).astype(np.uint32)
    for channel in (1, 2):
        packed <<= np.uint32(bits)
        packed |= pixels[..., channel] >> drop
    return packed


def exact_palette(pixels: PictureArray) -> IndexedPicture | None:
    """Return a flat drawing in its own colours, or None if it has too many.

    Colours that share their five leading bits are taken together; the one that covers the longest run of
    pixels stands for them, so that flat areas keep theirs exactly.
    """
    height, width = pixels.shape[:2]
    # In a drawing most rows equal the row above: only the others are looked at.
    new = np.ones(height, dtype=np.bool_)
    joined = np.ascontiguousarray(pixels).reshape(height, -1)
    if width * 3 % 8 == 0:
        joined = joined.view(np.uint64)
    new[1:] = (joined[1:] != joined[:-1]).any(axis=1)
    part = pixels[new]
    coarse = _coarse(part, 5).ravel()
    used = np.flatnonzero(np.bincount(coarse, minlength=1 << 15))
    if len(used) > COLOURS:
        return None
    lookup = np.zeros(1 << 15, dtype=np.uint8)
    lookup[used] = np.arange(len(used))
    exact = _coarse(part, 8).ravel()
    starts = np.concatenate([[0], np.flatnonzero(exact[1:] != exact[:-1]) + 1])
    lengths = np.diff(np.append(starts, len(exact)))
    starts = starts[np.argsort(lengths, kind="stable")]
    colours = np.zeros((len(used), 3), dtype=np.uint8)
    colours[lookup[coarse[starts]]] = part.reshape(-1, 3)[starts]
    index = lookup[coarse].reshape(-1, width)
    return IndexedPicture(np.repeat(index, np.diff(np.append(np.flatnonzero(new), height)), axis=0), colours)


class ReducedColours:
    """At most 256 colours that stand for many shades, each shade by the nearest.

    Parameters
    ----------
    pixels : ndarray of shape (K, 3), uint8
    weights : ndarray of shape (K,), optional
        How often each occurs.
    """

    def __init__(self, pixels: PictureArray, weights: npt.NDArray[np.float64] | None = None) -> None:
        from PIL import Image

        coarse = _coarse(pixels, 6)
        counts = np.bincount(coarse, weights, minlength=1 << 18)
        used = np.flatnonzero(counts)
        shades = np.stack([(used >> shift) & 63 for shift in (12, 6, 0)], axis=1)
        shades = (shades * 4 + 2).astype(np.uint8)
        # Median cut on the shades, each as often as the root of its pixels, so that small parts keep their colours.
        often = np.ceil(np.sqrt(counts[used])).astype(np.int64)
        often = np.maximum(1, often * 30_000 // max(30_000, int(often.sum())))
        sample = np.repeat(shades, often, axis=0)[None]
        cut = Image.fromarray(sample).quantize(COLOURS, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
        self.colours: Index = np.array(cut.getpalette(), dtype=np.uint8).reshape(-1, 3)
        # Whole numbers below 2 ** 24, so exact in whatever order they are added.
        table = self.colours.astype(np.float32)
        far = (table**2).sum(axis=1) - 2 * (shades.astype(np.float32) @ table.T)
        self._lookup = np.zeros(1 << 18, dtype=np.uint8)
        self._lookup[used] = far.argmin(axis=1)

    def index(self, pixels: PictureArray) -> Index:
        """Return the colour of each of these pixels (..., 3), which were among those given."""
        found: Index = self._lookup[_coarse(pixels, 6)]
        return found


def reduced_palette(pixels: PictureArray) -> IndexedPicture:
    """Return a picture with many shades in 256 colours."""
    reduced = ReducedColours(pixels.reshape(-1, 3))
    return IndexedPicture(reduced.index(pixels), reduced.colours, busy=True)
