"""Parts and holes against published counts."""

import numpy as np
import pytest
from helpers.text_grids import grid
from skimage.measure import euler_number

from converter.raster.components import label_ink, label_parts

# S. B. Gray 1971 (as restated by Yao et al., SpringerPlus 4:735, 2015): Euler numbers, 4- and 8-connected.
GRAY = {
    "single cell": (grid("#"), 1, 1),
    "two diagonal cells": (grid("#.", ".#"), 2, 1),
    "ring of eight": (grid("###", "#.#", "###"), 0, 0),
    "plus of five": (grid(".#.", "###", ".#."), 1, 1),
    "diamond of four": (grid(".#.", "#.#", ".#."), 4, 0),
}


def holes_of(cells):
    """Grounds but for the one outside; a rim of bare cloth is put round."""
    return len(label_parts(np.pad(~cells, 1, constant_values=True), 4)[1]) - 2


@pytest.mark.parametrize("name", GRAY)
def test_euler_numbers(name):
    cells, four, eight = GRAY[name]
    parts, _ = label_ink(cells)
    holes = holes_of(cells)
    assert parts - holes == eight == euler_number(cells, connectivity=2)
    assert euler_number(cells, connectivity=1) == four


def test_feep():
    """The 24 x 7 example of Netpbm's pbm(5): 48 black cells, 4 components, one hole."""
    rows = (
        "000000000000000000000000",
        "011110011110011110011110",
        "010000010000010000010010",
        "011100011100011100011110",
        "010000010000010000010000",
        "010000011110011110010000",
        "000000000000000000000000",
    )
    cells = np.array([[c == "1" for c in row] for row in rows])
    assert cells.sum() == 48
    assert label_ink(cells)[0] == 4
    assert holes_of(cells) == 1
