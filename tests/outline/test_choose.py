"""Which pieces of an edge get a line."""

from __future__ import annotations

import numpy as np
import pytest

from converter.outline.choose import _sweep
from converter.outline.network import Chain


def level_chain(length, solid):
    holes = np.stack([np.zeros(length + 1, dtype=int), np.arange(length + 1)], axis=1)
    return Chain(holes, np.arange(length + 1.0), holes.astype(float), solid)


@pytest.mark.parametrize(
    ("length", "piece", "kept"),
    [
        (60, 6, False),  # a tenth: one side of an arrow
        (60, 10, True),  # a sixth
        (300, 18, False),  # a sixteenth, however long
        (300, 28, True),  # less than a tenth, and long enough to be a line of its own
    ],
)
def test_an_edge_of_which_little_would_get_a_line_gets_none(length, piece, kept):
    wanted = np.zeros(length, dtype=bool)
    wanted[20 : 20 + piece] = True
    assert _sweep(wanted.copy(), level_chain(length, True), 4.0).sum() == (piece if kept else 0)
    # A stroke that no cross shows is drawn as far as it goes.
    assert _sweep(wanted.copy(), level_chain(length, False), 4.0).sum() == piece
