"""Widths as they may come from Python or JSON."""

import numpy as np
import pytest

import converter
from converter.errors import UsageError

PICTURE = np.full((60, 60), 255, np.uint8)
PICTURE[15:45, 15:45] = 0


@pytest.mark.parametrize("columns", [20.0, np.int64(20), np.float32(20)])
def test_whole_numbers_of_any_type_are_widths(columns):
    chart = converter.chart_from_image(PICTURE, columns=columns)
    assert np.array_equal(chart.cells, converter.chart_from_image(PICTURE, columns=20).cells)


@pytest.mark.parametrize("columns", [20.5, float("nan"), float("inf"), "abc", "20", True, [20], 1j])
def test_other_widths_are_refused_in_words(columns):
    with pytest.raises(UsageError, match="whole number"):
        converter.chart_from_image(PICTURE, columns=columns)
