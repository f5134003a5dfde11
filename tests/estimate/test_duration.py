"""Hours of stitching, against published figures."""

from __future__ import annotations

import pytest

from converter.errors import UsageError
from converter.estimate.duration import work_time
from converter.settings import TimeSettings


def test_published_hours():
    # Stitch Bitch, Cinnamon Hours, 20 June 2016: 168 x 100 at 100 an hour. Stitching Secrets: 1600 at 200 an hour.
    assert work_time(168 * 100).likely == 168
    assert work_time(1600, settings=TimeSettings(pace=200)).likely == 8


def test_starts_and_lines_take_time():
    plain, more = work_time(1000), work_time(1000, backstitches=100, starts=40)
    assert more.likely == pytest.approx(plain.likely + 0.5 + 1.0)
    for time in (plain, more):
        assert time.low < time.likely < time.high


def test_negative_numbers_are_refused():
    with pytest.raises(UsageError, match="negative"):
        work_time(-1)
