"""Moving a motif about: crop, leave out, mirror, repeat, scatter, join.

Every function takes charts and returns a new chart with the same title, cloth and thread. Boxes are
(top, left, rows, cols) in cells. Backstitches go along with the cells they lie on: on cropping and leaving out those
are kept that lie wholly inside what is kept; mirrored parts bring the mirror images of their lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from converter.compose.ring import NO_LINES
from converter.errors import RequestError, UsageError
from converter.model.arrays import CellArray, LineArray
from converter.model.chart import MAX_SIDE, Chart

_LOOSE: Final = 1
"""Least play of a scattered motif in its own room."""

Box = tuple[int, int, int, int]
"""Top row, left column, rows, columns."""

ALIGNMENTS: Final = ("start", "centre", "end")
MIRRORS: Final = ("upright", "level", "both")


def _checked(box: Box, chart: Chart) -> Box:
    top, left, rows, cols = (int(v) for v in box)
    if rows < 1 or cols < 1 or top < 0 or left < 0 or top + rows > chart.rows or left + cols > chart.columns:
        raise RequestError(
            f"Rows {top + 1} to {top + rows} and columns {left + 1} to {left + cols} are not all inside the chart "
            f"of {chart.rows} rows and {chart.columns} columns.",
            "Count from 1 at the top left corner.",
        )
    return top, left, rows, cols


def unique_lines(lines: LineArray) -> LineArray:
    """Return the backstitches without those that come twice, in either direction; the first one stays."""
    seen: set[tuple[tuple[float, ...], ...]] = set()
    kept = []
    for line in lines.tolist():
        key = tuple(sorted(tuple(end) for end in line))
        if key not in seen:
            seen.add(key)
            kept.append(line)
    return np.array(kept, dtype=np.float64).reshape(-1, 2, 2)


def _inside(lines: LineArray, box: Box) -> LineArray:
    top, left, rows, cols = box
    low = np.array([top, left], dtype=np.float64)
    high = low + np.array([rows, cols], dtype=np.float64)
    keep = ((lines >= low) & (lines <= high)).all(axis=(1, 2))
    return np.asarray(lines[keep])


def crop(chart: Chart, box: Box) -> Chart:
    """Return a part of a chart.

    Raises
    ------
    RequestError
        If the part is not inside the chart.
    """
    top, left, rows, cols = _checked(box, chart)
    lines = _inside(chart.lines, (top, left, rows, cols)) - np.array([top, left], dtype=np.float64)
    return chart.with_(cells=chart.cells[top : top + rows, left : left + cols], lines=lines, placement=None)


def trim(chart: Chart) -> Chart:
    """Return the chart without blank rows and columns at its edges; a blank chart comes back as it is."""
    rows, cols = np.nonzero(chart.cells)
    low, high = [], []
    if rows.size:
        low.append((int(rows.min()), int(cols.min())))
        high.append((int(rows.max()) + 1, int(cols.max()) + 1))
    if len(chart.lines):
        low.append(tuple(int(v) for v in np.floor(chart.lines.min(axis=(0, 1)))))  # type: ignore[arg-type]
        high.append(tuple(int(v) for v in np.ceil(chart.lines.max(axis=(0, 1)))))  # type: ignore[arg-type]
    if not low:
        return chart
    top, left = min(v[0] for v in low), min(v[1] for v in low)
    bottom, right = max(v[0] for v in high), max(v[1] for v in high)
    # A line alone takes a row or column of cells with it, on the lower and right edge those before it.
    top, left = min(top, chart.rows - 1), min(left, chart.columns - 1)
    return crop(chart, (top, left, max(1, bottom - top), max(1, right - left)))


def leave_out(chart: Chart, marked: CellArray | Box) -> Chart:
    """Return the chart with the marked cells bare, and without the backstitches that touch only marked cells.

    Parameters
    ----------
    chart : Chart
    marked : ndarray of shape (rows, cols), bool, or Box
    """
    mask = np.zeros(chart.cells.shape, dtype=np.bool_)
    if isinstance(marked, tuple):
        top, left, rows, cols = _checked(marked, chart)
        mask[top : top + rows, left : left + cols] = True
    else:
        if marked.shape != chart.cells.shape:
            raise UsageError(f"The marks have shape {marked.shape}, the chart {chart.cells.shape}.")
        mask |= marked.astype(np.bool_)
    keep = [not _only_marked(line, mask) for line in chart.lines]
    return chart.with_(cells=chart.cells & ~mask, lines=chart.lines[np.array(keep, dtype=np.bool_)])


def _only_marked(line: LineArray, mask: CellArray) -> bool:
    """Return True if every cell that touches the middle of a backstitch is marked."""
    row, col = line.mean(axis=0)
    rows = {int(np.floor(row - 1e-9)), int(np.floor(row + 1e-9))}
    cols = {int(np.floor(col - 1e-9)), int(np.floor(col + 1e-9))}
    inside = [(r, c) for r in rows for c in cols if 0 <= r < mask.shape[0] and 0 <= c < mask.shape[1]]
    return bool(inside) and all(mask[r, c] for r, c in inside)


def flipped(chart: Chart, mirror: str) -> Chart:
    """Return the chart reflected: ``upright`` left to right, ``level`` top to bottom, ``both`` turned by a half."""
    if mirror not in MIRRORS:
        raise UsageError(f"mirror is '{mirror}'.", f"Choose from {', '.join(MIRRORS)}.")
    cells, lines = chart.cells, chart.lines
    if mirror in ("upright", "both"):
        cells = cells[:, ::-1]
        lines = lines * np.array([1.0, -1.0]) + np.array([0.0, float(chart.columns)])
    if mirror in ("level", "both"):
        cells = cells[::-1]
        lines = lines * np.array([-1.0, 1.0]) + np.array([float(chart.rows), 0.0])
    return chart.with_(cells=cells, lines=lines, placement=None)


def make_symmetric(chart: Chart, mirror: str, keep: str = "start", axis: float | None = None) -> Chart:
    """Return a chart that is symmetric to the last stitch, made from one half of it.

    Parameters
    ----------
    chart : Chart
    mirror : str
        ``upright``: left and right alike; ``level``: top and bottom alike; ``both``.
    keep : str
        ``start`` keeps the left (top) half, ``end`` the right (bottom) one.
    axis : float, optional
        Column (row) line of the mirror counted in cells from the start, a whole or half number; the middle by
        default. ``2.5`` runs through the third column, which then stands once.

    Raises
    ------
    RequestError
        If the axis leaves nothing to mirror.
    """
    if mirror not in MIRRORS or keep not in ("start", "end"):
        raise UsageError(
            f"mirror '{mirror}' with keep '{keep}' is not known.", "Use upright, level or both; start or end."
        )
    if mirror == "both":
        return make_symmetric(make_symmetric(chart, "upright", keep), "level", keep)
    if mirror == "level":
        return _transposed(make_symmetric(_transposed(chart), "upright", keep, axis))
    if keep == "end":
        turned = None if axis is None else chart.columns - axis
        return flipped(make_symmetric(flipped(chart, "upright"), "upright", "start", turned), "upright")
    line = chart.columns / 2 if axis is None else float(axis)
    if (line * 2) % 1 or not 0.5 <= line <= chart.columns:
        raise RequestError(f"A mirror at {line:g} is not inside a chart {chart.columns} wide.")
    whole, through = int(line), bool(line % 1)
    half = chart.cells[:, : whole + through]
    cells = np.concatenate([half, half[:, ::-1][:, int(through) :]], axis=1)
    left = chart.lines[(chart.lines[:, :, 1] <= line).all(axis=1)] if len(chart.lines) else NO_LINES
    # A level stitch that crosses the axis evenly is its own image.
    crossing = np.array([_own_image(stitch, line) for stitch in chart.lines], dtype=np.bool_)
    own = chart.lines[crossing] if len(chart.lines) else NO_LINES
    image = left * np.array([1.0, -1.0]) + np.array([0.0, 2 * line])
    return chart.with_(cells=cells, lines=unique_lines(np.concatenate([left, own, image])), placement=None)


def _own_image(line: LineArray, axis: float) -> bool:
    image = line * np.array([1.0, -1.0]) + np.array([0.0, 2 * axis])
    return bool(np.array_equal(image[::-1], line))


def _transposed(chart: Chart) -> Chart:
    return chart.with_(cells=chart.cells.T, lines=chart.lines[:, :, ::-1], placement=None)


def compose(parts: Sequence[tuple[Chart, int, int]], rows: int, cols: int) -> Chart:
    """Put charts on one grid.

    Parameters
    ----------
    parts : sequence of (chart, top, left)
        The first one gives title, cloth and thread. Crosses add up.
    rows, cols : int
        Size of the grid.

    Raises
    ------
    RequestError
        If a part sticks out, or the grid is too large.
    """
    if max(rows, cols) > MAX_SIDE:
        raise RequestError(f"{cols} x {rows} stitches is over {MAX_SIDE} a side.", "Repeat less often or join less.")
    cells = np.zeros((rows, cols), dtype=np.bool_)
    lines = [NO_LINES]
    for chart, top, left in parts:
        if top < 0 or left < 0 or top + chart.rows > rows or left + chart.columns > cols:
            raise RequestError(f"A part of {chart.columns} x {chart.rows} does not fit into {cols} x {rows}.")
        cells[top : top + chart.rows, left : left + chart.columns] |= chart.cells
        lines.append(chart.lines + np.array([top, left], dtype=np.float64))
    return parts[0][0].with_(cells=cells, lines=unique_lines(np.concatenate(lines)), placement=None)


def _starts(size: int, count: int, spacing: int | None, room: int | None) -> tuple[list[int], int]:
    """Return where ``count`` parts of ``size`` begin, and the whole length, mirrored about the middle.

    With ``room`` the parts are spread so that the first begins at 0 and the last ends at ``room``; spaces that do
    not come out even are a stitch wider in the middle, alike on both sides as far as the sum allows.
    """
    if room is None:
        step = size + (2 if spacing is None else spacing)
        return [k * step for k in range(count)], (count - 1) * step + size
    bare = room - count * size
    if bare < 0:
        raise RequestError(f"{count} parts of {size} stitches do not fit into {room}.", "Repeat less often.")
    if count == 1:
        return [bare // 2], room
    each, rest = divmod(bare, count - 1)
    spaces = [each] * (count - 1)
    for k in _middle_first(count - 1)[:rest]:
        spaces[k] += 1
    starts = [0]
    for space in spaces:
        starts.append(starts[-1] + size + space)
    return starts, room


def _middle_first(count: int) -> list[int]:
    """Return indices from the middle outwards, left and right in turn; an odd count has its middle first."""
    return sorted(range(count), key=lambda k: (abs(2 * k - (count - 1)), k))


def repeat_row(
    chart: Chart, count: int, spacing: int | None = 2, room: int | None = None, upright: bool = False
) -> Chart:
    """Return the motif ``count`` times in a row (or in a column, with ``upright``), evenly spaced.

    Parameters
    ----------
    chart : Chart
    count : int
    spacing : int
        Blank cells between neighbours; not used with ``room``.
    room : int, optional
        Length to fill exactly.
    upright : bool
        One below the other.
    """
    if upright:
        return _transposed(repeat_row(_transposed(chart), count, spacing, room))
    _positive(count)
    starts, length = _starts(chart.columns, count, spacing, room)
    return compose([(chart, 0, at) for at in starts], chart.rows, length)


def repeat_grid(
    chart: Chart, rows: int, cols: int, spacing: int | tuple[int, int] = 2, half_drop: bool = False
) -> Chart:
    """Return the motif in ``rows`` by ``cols`` places.

    With ``half_drop`` every second column stands half a step lower, one place fewer in it, so that the whole stays
    symmetric.
    """
    _positive(rows)
    _positive(cols)
    down, along = (spacing, spacing) if isinstance(spacing, int) else spacing
    tops, height = _starts(chart.rows, rows, down, None)
    lefts, width = _starts(chart.columns, cols, along, None)
    parts = []
    for number, left in enumerate(lefts):
        if half_drop and number % 2:
            step = chart.rows + down
            parts += [(chart, top + step // 2, left) for top in tops[:-1]]
        else:
            parts += [(chart, top, left) for top in tops]
    return compose(parts, height, width)


def repeat_ring(chart: Chart, across: int, up: int, spacing: int = 2, mirrored: bool = False) -> Chart:
    """Return the motif along the four sides of a rectangle.

    Parameters
    ----------
    across, up : int
        Motifs along the top and along the left side, those in the corners counted in both; 2 and more.
    spacing : int
        Blank cells between neighbours.
    mirrored : bool
        The right half and the lower half are reflections, so that the ring is symmetric to the last stitch.
        Without it every motif stands as it is.
    """
    if across < 2 or up < 2:
        raise UsageError("A ring needs at least two motifs along each side.")
    tops, height = _starts(chart.rows, up, spacing, None)
    lefts, width = _starts(chart.columns, across, spacing, None)
    parts = []
    for i, top in enumerate(tops):
        for j, left in enumerate(lefts):
            if i not in (0, up - 1) and j not in (0, across - 1):
                continue
            part = chart
            if mirrored and 2 * j > across - 1:
                part = flipped(part, "upright")
            if mirrored and 2 * i > up - 1:
                part = flipped(part, "level")
            parts.append((part, top, left))
    return compose(parts, height, width)


def scatter(chart: Chart, rows: int, cols: int, spacing: int = 2, seed: int = 0) -> Chart:
    """Return the motif strewn over ``rows`` by ``cols`` cells, as many as fit with ``spacing`` between them.

    The places look free but are spread evenly: they stand in staggered rows, each moved a little at random within
    its own room, so that no two come nearer than ``spacing``. The same seed gives the same places.

    Raises
    ------
    RequestError
        If not even one fits.
    """
    places = scatter_places((chart.rows, chart.columns), rows, cols, spacing, seed)
    return compose([(chart, top, left) for top, left in places], rows, cols)


def scatter_places(size: tuple[int, int], rows: int, cols: int, spacing: int, seed: int) -> list[tuple[int, int]]:
    """Return the (top, left) cells at which `scatter` puts a motif of ``size`` rows and columns."""
    high, wide = size[0], size[1]
    if rows < high or cols < wide:
        raise RequestError(
            f"A motif of {wide} x {high} stitches does not fit into {cols} x {rows}.", "Take a larger field."
        )
    down = max(1, (rows + spacing) // (high + spacing + _LOOSE))
    most = max(1, (cols + spacing) // (wide + spacing + _LOOSE))
    rng = np.random.default_rng(seed)
    places = []
    for i in range(down):
        staggered = i % 2 == 1 and most > 1
        along = most - staggered
        # Every second row has one motif fewer, half a room further in.
        indent = (cols + spacing) // (2 * most) if staggered else 0
        length = cols + spacing - 2 * indent
        tops = (i * (rows + spacing) // down, (i + 1) * (rows + spacing) // down - spacing - high)
        for j in range(along):
            lefts = (indent + j * length // along, indent + (j + 1) * length // along - spacing - wide)
            top, left = int(rng.integers(tops[0], tops[1] + 1)), int(rng.integers(lefts[0], lefts[1] + 1))
            places.append((top, left))
    return places


def join(charts: Sequence[Chart], spacing: int = 2, align: str = "centre", upright: bool = False) -> Chart:
    """Return charts side by side, or one below the other with ``upright``.

    Parameters
    ----------
    charts : sequence of Chart
        The first one gives title, cloth and thread.
    spacing : int
        Blank cells between neighbours.
    align : str
        ``start`` top (left), ``centre``, ``end`` bottom (right). Parts that differ by an odd number of stitches
        stand half a stitch above (left of) the middle.
    """
    if not charts:
        raise UsageError("There is nothing to join.")
    if align not in ALIGNMENTS:
        raise UsageError(f"align is '{align}'.", f"Choose from {', '.join(ALIGNMENTS)}.")
    if spacing < 0:
        raise UsageError(f"A space of {spacing} stitches is under 0.")
    if upright:
        return _transposed(join([_transposed(c) for c in charts], spacing, align))
    height = max(c.rows for c in charts)
    parts, left = [], 0
    for chart in charts:
        bare = height - chart.rows
        top = {"start": 0, "centre": bare // 2, "end": bare}[align]
        parts.append((chart, top, left))
        left += chart.columns + spacing
    return compose(parts, height, left - spacing)


def _positive(count: int) -> None:
    if count < 1:
        raise UsageError(f"{count} times is not possible.", "Repeat a motif at least once.")
