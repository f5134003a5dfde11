"""Pictures of at most 256 colours: one byte a pixel instead of three."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from converter.model.arrays import PictureArray

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
    dpi : float, optional
        Pixels an inch, noted in the PNG as pixels a metre (W3C PNG, third edition, 11.3.4.3).
    """

    index: Index
    colours: Index
    busy: bool = False
    dpi: float | None = None

    @property
    def pixels(self) -> PictureArray:
        """The picture in RGB, (H, W, 3)."""
        rgb: PictureArray = self.colours[self.index]
        return rgb

    @cached_property
    def png(self) -> bytes:
        """The picture as PNG."""
        from PIL import Image

        picture = Image.fromarray(self.index)
        picture.putpalette(self.colours.tobytes())
        buffer = io.BytesIO()
        options = {} if self.dpi is None else {"dpi": (self.dpi, self.dpi)}
        picture.save(buffer, "PNG", compress_level=_BUSY_LEVEL if self.busy else _FLAT_LEVEL, **options)
        return buffer.getvalue()

    @property
    def bits(self) -> int:
        """Bits a pixel has in the PNG."""
        return self.png[24]

    @property
    def packed(self) -> bytes:
        """The packed rows of the PNG, which a PDF takes as they are.

        References
        ----------
        W3C PNG, third edition, 5.3 (chunks: length, type, data, checksum) and 11.2.3 (IDAT).
        """
        data, at, rows = self.png, 8, []
        while at < len(data):
            (length,) = struct.unpack_from(">L", data, at)
            if data[at + 4 : at + 8] == b"IDAT":
                rows.append(data[at + 8 : at + 8 + length])
            at += 12 + length
        return b"".join(rows)


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
