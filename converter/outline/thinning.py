"""Thinning of narrow parts to lines, by the parallel rule of Guo and Hall.

Only the pixels still on the border are looked at in each pass, and there are only as many passes as
the widest part of interest needs: what is thicker stays an area. (The better known rule of Zhang and
Suen takes away slanting lines of an even width altogether.)

References
----------
Z. Guo, R. W. Hall, Parallel thinning with two-subiteration algorithms, 1989, doi:10.1145/62065.62074.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray


def _deletable() -> npt.NDArray[np.bool_]:
    """Return for both passes and each of the 256 neighbourhoods whether the pixel goes.

    Bit k is the neighbour k eighths of a turn clockwise from the one above.
    """
    code = np.arange(256)
    above, ne, right, se, below, sw, left, nw = ((code >> k & 1).astype(bool) for k in range(8))
    runs = (
        (~above & (ne | right)).astype(int) + (~right & (se | below)) + (~below & (sw | left)) + (~left & (nw | above))
    )
    one = (nw | above).astype(int) + (ne | right) + (se | below) + (sw | left)
    two = (above | ne).astype(int) + (right | se) + (below | sw) + (left | nw)
    count = np.minimum(one, two)
    goes = (runs == 1) & (count >= 2) & (count <= 3)
    return np.stack([goes & ~((above | ne | ~se) & right), goes & ~((below | sw | ~nw) & left)])


_TABLE = _deletable()


def thin_to_lines(mask: MaskArray, passes: int) -> MaskArray:
    """Return a mask thinned from its border inwards.

    Parameters
    ----------
    mask : ndarray of shape (H, W), bool
    passes : int
        Parts wider than about twice as many pixels are left with an area in the middle.

    Notes
    -----
    Connected parts and holes stay as they are (parts 8-connected, holes 4-connected).
    """
    height, width = mask.shape
    wide = width + 2
    flat = np.zeros((height + 2) * wide, dtype=np.uint8)
    flat.reshape(height + 2, wide)[1:-1, 1:-1] = mask
    around = np.array([-wide, 1 - wide, 1, wide + 1, wide, wide - 1, -1, -wide - 1])
    inner = flat.copy()
    for offset in around:
        inner &= np.roll(flat, -offset)
    active = np.flatnonzero(flat & ~inner)
    quiet = 0
    for step in range(2 * passes):
        code = np.zeros(len(active), dtype=np.uint8)
        for bit, offset in enumerate(around):
            code |= flat[active + offset] << np.uint8(bit)
        goes = _TABLE[step % 2][code]
        gone = active[goes]
        quiet = quiet + 1 if len(gone) == 0 else 0
        if quiet == 2:
            break
        flat[gone] = 0
        # Pixels come to the border when a neighbour goes.
        laid_bare = (gone[:, None] + around).ravel()
        active = np.unique(np.concatenate([active[~goes], laid_bare[flat[laid_bare] == 1]]))
    return np.asarray(flat.reshape(height + 2, wide)[1:-1, 1:-1].astype(np.bool_))
