"""Putting text into a piece or into its border.

A place has a width. The text is tried in the large letters, then in the small ones; if neither fits, as many whole
words as fit are taken, then as many letters as fit, and a note says what was left out and what would help. A text
of several words whose width differs from the place by an odd number of stitches gets a word space one stitch wider,
so that it stands exactly in the middle; a single word stands half a stitch left of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from converter.compose.letters import ALPHABETS, TextBlock, lines_from_cells, text_cells
from converter.compose.moves import Box, unique_lines
from converter.compose.plan import BorderPlan
from converter.compose.ring import NO_LINES
from converter.errors import RequestError, UsageError
from converter.model.arrays import CellArray, LineArray
from converter.model.chart import Chart

ALIGNMENTS: Final = ("left", "centre", "right")
SIDES: Final = ("top", "bottom")
_DANGLING: Final = " &+-–—,;:/("
"""What makes no sense at the end of a text that was cut short."""
BORDER_SPACE: Final = 2
"""Blank columns between the strip and a text in the border."""


@dataclass(frozen=True, eq=False)
class FittedText:
    """A text that fits, and what had to be said about it."""

    block: TextBlock
    note: str = ""


def _longest(text: str, width: int, alphabet: str) -> str:
    """Return the longest beginning of a text that fits: whole words if one fits, otherwise letters."""
    words = text.split()
    for count in range(len(words) - 1, 0, -1):
        part = " ".join(words[:count]).rstrip(_DANGLING)
        if part and text_cells(part, alphabet).width <= width:
            return part
    for count in range(len(text) - 1, 0, -1):
        part = text[:count].strip()
        if part and text_cells(part, alphabet).width <= width:
            return part
    return ""


def fit_text(
    text: str, width: int, alphabet: str = "auto", height: int | None = None, even_to: int | None = None
) -> FittedText:
    """Set a text so that it fits into a width.

    Parameters
    ----------
    text : str
    width : int
        Columns of the place.
    alphabet : str
        ``large``, ``small``, or ``auto``: large if all of it fits, otherwise small.
    height : int, optional
        Rows of the place.
    even_to : int, optional
        Width of the place in whose middle the text will stand; the text is made even or odd with it.

    Returns
    -------
    fitted : FittedText
        The longest part that fits; the note is empty if that is all of it.

    Raises
    ------
    RequestError
        If not even the first letter fits.
    UsageError
        If the text is empty or holds an unknown letter.
    """
    if alphabet not in (*ALPHABETS, "auto"):
        raise UsageError(f"There is no alphabet '{alphabet}'.", f"Choose {', '.join(ALPHABETS)} or auto.")
    kinds = ("large", "small") if alphabet == "auto" else (alphabet,)
    last = kinds[-1]
    whole: TextBlock | None = None
    for kind in kinds:
        block = text_cells(text, kind)
        if block.width <= width and (height is None or block.height <= height):
            whole = block
            break
    if whole is None:
        block = text_cells(text, last)
        if height is not None and block.height > height:
            raise RequestError(
                f"'{block.text}' is {block.height} stitches high, the place only {height}.",
                "Take the small letters or a higher place.",
            )
        part = _longest(block.text, width, last)
        if not part:
            raise RequestError(
                f"Not even one letter of '{block.text}' fits into {width} stitches.", "Take a wider place."
            )
        more = block.width - width
        help_ = f"; a place {more} stitch{'es' if more > 1 else ''} wider would hold all of it"
        if last == "large":
            small = text_cells(text, "small").width
            if small <= width:
                help_ = f"; in small letters ({small}) it would fit"
        note = f"'{block.text}' is {block.width} stitches wide, the place {width}: only '{part}' was put in{help_}."
        whole = text_cells(part, last)
        return FittedText(_evened(whole, even_to, width), note)
    return FittedText(_evened(whole, even_to, width))


def _evened(block: TextBlock, even_to: int | None, width: int) -> TextBlock:
    if even_to is None or (even_to - block.width) % 2 == 0 or block.width + 1 > width:
        return block
    wider = text_cells(block.text, block.alphabet, wider=1)
    return wider if (even_to - wider.width) % 2 == 0 else block


def block_parts(block: TextBlock, method: str) -> tuple[CellArray, LineArray]:
    """Return a text as (cells, lines): in crosses, or in backstitch (small letters only).

    Raises
    ------
    UsageError
        If the large letters are wanted in backstitch: their stems are two stitches wide.
    """
    if method == "crosses":
        return block.cells, NO_LINES
    if method != "lines":
        raise UsageError(f"The text method '{method}' is not known.", "Choose crosses or lines.")
    if block.alphabet != "small":
        raise UsageError("Only the small letters can be worked in backstitch.", "Take the small letters.")
    # The holes of the text lie on the corners of cells, so it takes the same room as in crosses.
    return np.zeros_like(block.cells), lines_from_cells(block.cells)


def text_chart(chart: Chart, fitted: FittedText, method: str = "crosses") -> Chart:
    """Return a text as a chart of its own, with the cloth and thread of another."""
    cells, lines = block_parts(fitted.block, method)
    return chart.with_(cells=cells, lines=lines, placement=None)


def place_text(
    chart: Chart,
    text: str,
    place: Box,
    *,
    alphabet: str = "auto",
    align: str = "centre",
    from_top: bool = False,
    method: str = "crosses",
) -> tuple[Chart, str]:
    """Put a line of text into a bare place of a chart.

    Parameters
    ----------
    chart : Chart
    text : str
    place : Box
        Top row, left column, rows and columns of the place.
    align : str
        ``left``, ``centre`` or ``right``.
    from_top : bool
        The text hangs from the top of the place instead of standing in the middle of its height.
    method : str
        ``crosses``, or ``lines`` for backstitch.

    Returns
    -------
    chart : Chart
    note : str
        Empty, or what did not fit.

    Raises
    ------
    RequestError
        If the place is not inside the chart, is stitched already, or is too small for one letter.
    """
    if align not in ALIGNMENTS:
        raise UsageError(f"align is '{align}'.", f"Choose from {', '.join(ALIGNMENTS)}.")
    top, left, rows, cols = place
    if top < 0 or left < 0 or rows < 1 or cols < 1 or top + rows > chart.rows or left + cols > chart.columns:
        raise RequestError(f"The place of the text is not inside the chart of {chart.columns} x {chart.rows}.")
    if method == "lines" and alphabet == "auto":
        alphabet = "small"
    fitted = fit_text(text, cols, alphabet, rows, cols if align == "centre" else None)
    cells, lines = block_parts(fitted.block, method)
    free = cols - fitted.block.width
    at_col = left + {"left": 0, "centre": free // 2, "right": free}[align]
    at_row = top + (0 if from_top else (rows - fitted.block.height) // 2)
    grid = chart.cells.copy()
    spot = grid[at_row : at_row + cells.shape[0], at_col : at_col + cells.shape[1]]
    if spot.any():
        raise RequestError(
            f"The text would stand on {int(spot.sum())} stitches that are there already.", "Choose a bare place."
        )
    spot |= cells
    moved = lines + np.array([at_row, at_col], dtype=np.float64)
    return chart.with_(cells=grid, lines=unique_lines(np.concatenate([chart.lines, moved]))), fitted.note


@dataclass(frozen=True, eq=False)
class LetteredBorder:
    """Borders with a text in the outermost strip."""

    cells: CellArray
    """The whole composed grid."""
    lines: LineArray
    note: str
    bare: tuple[int, int]
    """First and last column of the place made bare for the text."""


def letter_border(
    plan: BorderPlan,
    text: str,
    *,
    side: str = "bottom",
    alphabet: str = "auto",
    method: str = "crosses",
    band: int | None = None,
) -> LetteredBorder:
    """Put a text into the middle of one side of a border.

    The strip is interrupted evenly to both sides of the text, where no piece of it is cut.

    Parameters
    ----------
    plan : BorderPlan
    text : str
    side : str
        ``top`` or ``bottom``.
    band : int
        Which border, counted inside out from 0; None takes the outermost that is deep enough.

    Raises
    ------
    RequestError
        If the strip is too shallow for the letters or the side too short for one of them.
    """
    if side not in SIDES:
        raise UsageError(f"side is '{side}'.", f"Choose from {', '.join(SIDES)}.")
    high = text_cells("I", "small").height
    if band is None:
        deep_enough = [at for at, ring in enumerate(plan.rings) if ring.depth >= high]
        band = deep_enough[-1] if deep_enough else len(plan.rings) - 1
    if not -len(plan.rings) <= band < len(plan.rings):
        raise UsageError(f"There is no border {band + 1}.", f"The plan has {len(plan.rings)}.")
    ring = plan.rings[band]
    row, col = plan.ring_corner(band % len(plan.rings))
    ring_cells, _ = ring.draw()
    d, wide = ring.depth, ring_cells.shape[1]
    if d < high:
        raise RequestError(
            f"The border is {d} stitches deep, the small letters are {high} high."
            if d
            else "A border of backstitch alone has no room for letters.",
            "Take a deeper strip, or put the text inside the border.",
        )
    room = wide - 2 * (d + BORDER_SPACE)
    if method == "lines" and alphabet == "auto":
        alphabet = "small"
    if room < 1:
        raise RequestError(f"A side of {wide} stitches has no room for a text.", "Put the text inside the border.")
    fitted = fit_text(text, room, alphabet, d, wide)
    cells, lines = block_parts(fitted.block, method)
    start = (wide - fitted.block.width) // 2
    upper = ring_cells[:d]
    clear = _clear_evenly(plan, band, upper, start - BORDER_SPACE, start + fitted.block.width + BORDER_SPACE)
    whole = plan.cells.copy()
    out = whole[row : row + ring_cells.shape[0], col : col + wide]
    strip = out[:d] if side == "top" else out[-d:]
    strip[:, clear[0] : clear[1]] = False
    at_row = (d - fitted.block.height) // 2
    strip[at_row : at_row + fitted.block.height, start : start + fitted.block.width] |= cells
    base = row + (0 if side == "top" else ring_cells.shape[0] - d) + at_row
    moved = lines + np.array([base, col + start], dtype=np.float64)
    return LetteredBorder(whole, np.concatenate([plan.lines, moved]), fitted.note, (clear[0], clear[1] - 1))


def _clear_evenly(plan: BorderPlan, band: int, upper: CellArray, low: int, high: int) -> tuple[int, int]:
    """Widen a bare stretch of columns to both sides until it cuts no piece of the strip, as far as the corners."""
    from converter.compose.bands import FittedStrip

    ring = plan.rings[band]
    if not isinstance(ring, FittedStrip):
        return low, high
    measure = ring.ring.profile.measure
    d, wide = upper.shape
    best: tuple[float, int] | None = None
    most = min(low - d, ring.ring.profile.period + measure.widest)
    for extra in range(max(0, most) + 1):
        trial = upper.copy()
        trial[:, low - extra : high + extra] = False
        # Only the left half is judged up to the middle: the right half may be its reflection or not.
        open_edges = np.zeros_like(trial)
        open_edges[:, :d] = True
        open_edges[:, wide - d :] = True
        verdict = measure.judge(trial, open_edges)
        bad = verdict.clash + 20 * verdict.broken + (10 * verdict.foreign if ring.ring.profile.separate else 0)
        if best is None or bad + 0.2 * extra < best[0]:
            best = (bad + 0.2 * extra, extra)
        if bad == 0:
            break
    assert best is not None
    return low - best[1], high + best[1]
