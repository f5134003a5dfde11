"""The chart model refuses what cannot be stitched, and cannot be changed behind our back."""

import numpy as np
import pytest

from converter.errors import UsageError
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread


def test_arrays_are_copied_and_read_only():
    cells = np.array([[True, False]])
    chart = Chart(cells=cells)
    cells[0, 0] = False
    assert chart.cells[0, 0]
    with pytest.raises(ValueError, match="read-only"):
        chart.cells[0, 0] = False


@pytest.mark.parametrize(
    "line",
    [[[0, 0], [0, 0]], [[0, 0], [3, 0]], [[-1, 0], [0, 0]], [[0, 0], [0.25, 1]], [[0, 0], [float("nan"), 1]]],
)
def test_backstitch_that_cannot_be_sewn_is_refused(line):
    with pytest.raises(UsageError, match="Backstitch 1"):
        Chart(cells=np.ones((2, 2), dtype=bool), lines=[line])


def test_halves_and_the_outer_holes_are_welcome():
    chart = Chart(cells=np.ones((2, 3), dtype=bool), lines=[[[2, 3], [0.5, 2.5]]])
    assert chart.lines.shape == (1, 2, 2)


@pytest.mark.parametrize("cells", [[], [[]], [1, 0], [[2]], np.zeros((2001, 1), dtype=bool)])
def test_grid_that_is_no_chart_is_refused(cells):
    with pytest.raises(UsageError):
        Chart(cells=cells)


@pytest.mark.parametrize(
    ("fabric", "stitches", "inches"),
    [
        (Fabric(14), 140, 10.0),  # The Cross Stitch Guild, Cross Stitch FAQs
        (Fabric(14), 105, 7.5),  # The Strawberry Sampler, FAQ
        (Fabric(32, over=2), 140, 8.75),  # same page: 32 count over two is 16 an inch
        (Fabric(32, over=2), 105, 6.5625),  # same page, unrounded
        (Fabric(14), 98, 7.0),  # Once in a Blue Moon, What 14 count means
        (Fabric(18), 156, 8.6667),  # Lovely Stitchers, cross stitch fabrics
        (Fabric(11), 100, 9.0909),  # Magic Hour, It's the count that counts
        (Fabric(11), 44, 4.0),
    ],
)
def test_finished_width(fabric, stitches, inches):
    assert fabric.width_mm(stitches) / 25.4 == pytest.approx(inches, abs=5e-5)


def test_cell_sides():
    """Derived from the inch of 25.4 mm: 11, 14, 16 and 18 count."""
    assert [round(Fabric(c).cell_mm, 4) for c in (11, 14, 16, 18)] == [2.3091, 1.8143, 1.5875, 1.4111]


@pytest.mark.parametrize(
    "kind",
    [
        lambda: Fabric(4),
        lambda: Fabric(14, over=0),
        lambda: Fabric(14, colour="red"),
        lambda: Thread(strands=7),
        lambda: Thread(colour="#12345"),
        lambda: Fabric("14"),
    ],
)
def test_materials_out_of_range_are_refused(kind):
    with pytest.raises(UsageError):
        kind()
