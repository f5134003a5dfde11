"""Pictures of at most 256 colours: one byte a pixel instead of three."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from PIL import Image

from converter.model.arrays import PictureArray

Index = npt.NDArray[np.uint8]
COLOURS: Final = 256


def _coarse(pixels: PictureArray, bits: int) -> npt.NDArray[np.uint32]:
    """Return the pixels' leading bits of all three components in one number."""
    drop = np.uint8(8 - bits)
    packed = (pixels[:, :, 0] >> drop).astype(np.uint32)
    for channel in (1, 2):
        packed <<= np.uint32(bits)
        packed |= pixels[:, :, channel] >> drop
    return packed


def exact_palette(pixels: PictureArray) -> tuple[Index, Index] | None:
    """Return (indices, colours) of a flat drawing, or None if it has too many colours.

    Colours that share their five leading bits are taken together; the one that covers the longest run of
    pixels stands for them, so that flat areas keep theirs exactly.
    """
    height, width = pixels.shape[:2]
    # In a drawing most rows equal the row above: only the others are looked at.
    new = np.ones(height, dtype=np.bool_)
    joined = np.ascontiguousarray(pixels).reshape(height, -1)
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
    return np.repeat(index, np.diff(np.append(np.flatnonzero(new), height)), axis=0), colours


def reduced_palette(pixels: PictureArray) -> tuple[Index, Index]:
    """Return (indices, colours) of a picture with many shades, each pixel by the nearest of 256 colours."""
    coarse = _coarse(pixels, 6).ravel()
    counts = np.bincount(coarse, minlength=1 << 18)
    used = np.flatnonzero(counts)
    shades = np.stack([(used >> shift) & 63 for shift in (12, 6, 0)], axis=1)
    shades = (shades * 4 + 2).astype(np.uint8)
    # Median cut on the shades, each as often as the root of its pixels, so that small parts keep their colours.
    weights = np.ceil(np.sqrt(counts[used])).astype(np.int64)
    weights = np.maximum(1, weights * 60_000 // max(60_000, int(weights.sum())))
    sample = np.repeat(shades, weights, axis=0)[None]
    cut = Image.fromarray(sample).quantize(COLOURS, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    colours = np.array(cut.getpalette(), dtype=np.uint8).reshape(-1, 3)
    far = ((shades[:, None].astype(np.int32) - colours[None].astype(np.int32)) ** 2).sum(axis=2)
    lookup = np.zeros(1 << 18, dtype=np.uint8)
    lookup[used] = far.argmin(axis=1)
    return lookup[coarse].reshape(pixels.shape[:2]), colours
