"""Charts as rows of text, # for a stitch: answers written out where they are tested."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt


def grid(*rows: str) -> npt.NDArray[np.bool_]:
    """Return cells from rows of # and other letters."""
    return np.array([[c == "#" for c in row] for row in rows])


def shown(cells: npt.NDArray[np.bool_]) -> list[str]:
    """Return cells as rows of # and . to compare with."""
    return ["".join("#" if cell else "." for cell in row) for row in cells]
