"""From areas to the lines in their middle: thinning by the parallel rule of Guo and Hall.

Only pixels still on the border are looked at in each pass, and there are only as many passes as the widest stroke of
interest needs: what is thicker stays an area. (The better known rule of Zhang and Suen takes away slanting lines of
an even width altogether.)

References
----------
Z. Guo, R. W. Hall, Parallel thinning with two-subiteration algorithms, Comm. ACM 32(3), 1989, 359-373,
doi:10.1145/62065.62074.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray


@cache
def _goes() -> npt.NDArray[np.bool_]:
    """Return for both half-passes and each of the 256 neighbourhoods whether the pixel goes.

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
    framed = np.zeros((height + 2, wide), dtype=np.uint8)
    framed[1:-1, 1:-1] = mask
    inner = framed[1:-1, 1:-1] & framed[:-2, 1:-1] & framed[2:, 1:-1] & framed[1:-1, :-2] & framed[1:-1, 2:]
    inner &= framed[:-2, :-2] & framed[:-2, 2:] & framed[2:, :-2] & framed[2:, 2:]
    rim = framed.copy()
    rim[1:-1, 1:-1] ^= inner
    around = np.array([-wide, 1 - wide, 1, wide + 1, wide, wide - 1, -1, -wide - 1])
    flat = framed.ravel()
    # 1 where a pixel is among those to be looked at.
    listed = rim.ravel()
    active = np.flatnonzero(listed)
    goes = _goes()
    quiet = 0
    for step in range(2 * passes):
        code = flat[active - wide]
        for bit in range(1, 8):
            code |= flat[active + around[bit]] << np.uint8(bit)
        leave = goes[step % 2][code]
        gone = active[leave]
        quiet = quiet + 1 if len(gone) == 0 else 0
        if quiet == 2:
            break
        flat[gone] = 0
        fresh = [active[~leave]]
        for offset in around:
            # Pixels come to the border when a neighbour goes.
            near = gone + offset
            near = near[(flat[near] & ~listed[near]) > 0]
            listed[near] = 1
            fresh.append(near)
        active = np.concatenate(fresh)
    return np.asarray(framed[1:-1, 1:-1].astype(np.bool_))
