"""Thread for hand-sewn edges, by perimeter: whip, blanket and back stitch."""

from __future__ import annotations

import math
from dataclasses import dataclass

from converter.errors import UsageError
from converter.estimate.figures import Figures, load_figures
from converter.settings import ThreadSettings


@dataclass(frozen=True)
class EdgeThread:
    """A hand-sewn edge and what it takes."""

    kind: str
    perimeter_mm: float
    stitches: int
    pitch_mm: float
    """Distance of the stitches along the edge."""
    length_m: float
    """Working thread, with tails and allowance."""
    starts: int


def stitch_length_mm(kind: str, pitch_mm: float, depth_mm: float, thickness_mm: float) -> float:
    """Return the thread in one stitch of an edge, without tails and allowance.

    Parameters
    ----------
    kind : str
        whip, blanket or backstitch.
    pitch_mm, depth_mm, thickness_mm : float
        Distance along the edge, bite into the cloth, and thickness of the layers.

    Notes
    -----
    Plain geometry. Whip: once through the cloth, then a slanting loop over the edge. Blanket: once along
    the edge, once up the front, through, once down the back. Back stitch: one pitch in front and two
    behind, so n stitches take 3n - 2 pitches with the first and last back move left out.

    Examples
    --------
    >>> stitch_length_mm("blanket", 5.0, 5.0, 1.0), stitch_length_mm("backstitch", 2.0, 0.0, 0.0)
    (16.0, 6.0)
    """
    if kind == "whip":
        return thickness_mm + math.hypot(2 * depth_mm + thickness_mm, pitch_mm)
    if kind == "blanket":
        return pitch_mm + 2 * depth_mm + thickness_mm
    if kind == "backstitch":
        return 3 * pitch_mm
    raise UsageError(f"There is no edge '{kind}'.", "Choose whip, blanket or backstitch.")


def edge_thread(
    kind: str,
    perimeter_mm: float,
    *,
    pitch_mm: float | None = None,
    settings: ThreadSettings | None = None,
    figures: Figures | None = None,
) -> EdgeThread:
    """Return the thread that an edge takes.

    Parameters
    ----------
    kind : str
        whip, blanket or backstitch.
    perimeter_mm : float
        Length of the edge.
    pitch_mm : float, optional
        Distance of the stitches; for back stitch the length of one stitch, which must be given.
    settings : ThreadSettings, optional
        Working length, tails and allowance.
    figures : Figures, optional

    Returns
    -------
    thread : EdgeThread
    """
    table = figures or load_figures()
    use = settings or ThreadSettings()
    if pitch_mm is None:
        if kind == "backstitch":
            raise UsageError("A back stitch needs its length.", "Give pitch_mm, two squares of the cloth for instance.")
        pitch_mm = table.mm("edges", f"{kind}_pitch")
    depth = table.mm("edges", f"{kind}_depth") if kind in ("whip", "blanket") else 0.0
    stitches = max(1, round(perimeter_mm / pitch_mm))
    bare = stitches * stitch_length_mm(kind, pitch_mm, depth, table.mm("edges", "thickness"))
    if kind == "backstitch":
        bare -= 2 * pitch_mm
    worked = bare * (1 + use.allowance)
    usable = max(use.working_length_mm - 2 * use.tail_mm, 1.0)
    starts = max(1, math.ceil(worked / usable - 1e-9))
    return EdgeThread(kind, perimeter_mm, stitches, pitch_mm, (worked + 2 * use.tail_mm * starts) / 1000, starts)
