"""Places told in words, counted from the middle of the chart, where a stitcher begins."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from converter.draw.words import Words


def from_middle(away: npt.NDArray[np.float64], words: Words, *, of_square: bool = False) -> str:
    """Return where a place lies, such as '3 squares above and 1 square to the left of the middle'.

    Parameters
    ----------
    away : ndarray of shape (2,)
        Rows below and columns to the right of the middle, in squares.
    words : Words
    of_square : bool
        The place is the middle of a square, not a hole: half a square away is then the first square, one away
        from the middle of a square the next.
    """
    squares = [float(np.floor(abs(part) + 0.5)) if of_square else float(abs(part)) for part in away]
    if (np.abs(away) < 0.25).all():
        return words("at the middle mark itself")
    down, across = "", ""
    if away[0]:
        side = words("below") if away[0] > 0 else words("above")
        down = words.many("{number} square {side}", "{number} squares {side}", squares[0], side=side)
    if away[1]:
        side = words("to the right") if away[1] > 0 else words("to the left")
        across = words.many("{number} square {side}", "{number} squares {side}", squares[1], side=side)
    if down and across:
        return words("{down} and {across} of the middle", down=down, across=across)
    if down:
        return words("{down} the middle", down=down)
    return words("{across} of the middle", across=across)
