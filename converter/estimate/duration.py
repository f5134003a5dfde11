"""Hours of stitching."""

from __future__ import annotations

from typing import Final

from converter.errors import UsageError
from converter.model.results import WorkTime
from converter.settings import TimeSettings

PASSES_OF_CROSS: Final = 4
PASSES_OF_LINE: Final = 2
"""The needle goes through the cloth four times for a cross and twice for a backstitch, so a backstitch counts half."""
PACE_SPREAD: Final = 0.25
"""Pace of a good and of a slow evening against the usual one (common practice)."""


def work_time(stitches: int, backstitches: int = 0, starts: int = 0, settings: TimeSettings | None = None) -> WorkTime:
    """Return the hours that a piece takes, counting and making up left out.

    Parameters
    ----------
    stitches, backstitches : int
        Full crosses, and backstitches of any length.
    starts : int
        Lengths of thread to cut, thread, fasten on and off.
    settings : TimeSettings, optional
        Pace in crosses an hour, minutes a start takes.

    Returns
    -------
    WorkTime
        ``likely`` at the given pace; ``low`` and ``high`` at a pace a quarter faster and slower, with starts that
        take half as long less and half as long more.

    Raises
    ------
    UsageError
        If a number is negative.

    Notes
    -----
    16,800 crosses at 100 an hour are 168 hours (Stitch Bitch, Cinnamon Hours, 20 June 2016); 1600 at 200 are 8
    (Stitching Secrets, stitchingsecrets.com/?p=1423). Both without starts.

    Examples
    --------
    >>> work_time(16800).likely
    168.0
    """
    if min(stitches, backstitches, starts) < 0:
        raise UsageError("Numbers of stitches and starts cannot be negative.")
    chosen = settings or TimeSettings()
    crosses = stitches + backstitches * PASSES_OF_LINE / PASSES_OF_CROSS
    fastening = starts * chosen.start_minutes / 60
    return WorkTime(
        low=crosses / (chosen.pace * (1 + PACE_SPREAD)) + 0.5 * fastening,
        likely=crosses / chosen.pace + fastening,
        high=crosses / (chosen.pace * (1 - PACE_SPREAD)) + 1.5 * fastening,
    )
