"""From a picture of squared paper to its squares: the stages in order.

1. `density`: light becomes an addend, ink a sum; the mix of channels in which the lines show best.
2. `lattice` and `finding`: candidates from the spectrum of windows, tried on the picture.
3. `mesh`: the grid grows from the seed and is fitted to lines, never to marks.
4. `extent`: where the printed grid ends.
5. `patches`: the sheet laid flat, every square the same size.
6. `marks`, `second_look`, `kinds`: bare or marked, doubtful squares once more, which mark, writing left out.
7. `strokes`: backstitches along the grid and across squares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from converter.errors import RequestError, UsageError, quoted
from converter.model.arrays import CellArray, LineArray, as_picture
from converter.model.phrase import Phrase
from converter.squares import (
    density,
    extent,
    filters,
    finding,
    kinds,
    marks,
    mesh,
    patches,
    rim,
    second_look,
    strokes,
    writing,
)
from converter.squares.kinds import MarkKind

FLAT_SIDE = 20
DOUBTFUL = 0.2
"""From this doubt on a square is pointed at."""
_RATHER_DOUBTFUL, _FEW_MORE, _POINTED = 0.05, 3, 0.22
"""Doubt from which so many more squares are pointed at, and the doubt they are given."""
_FURTHER, _MOST_FURTHER = 8, 4
"""Squares by which a mesh is made larger where the grid reaches its end, and how often at most."""
_LEAST_IN_VIEW = 0.5
"""Share of the squares of a size given by hand that the photo must show."""
_ABOUT_WORDS = 2
"""Squares round writing within which figures of strokes are letters of it."""
_MANY, _AMID = 6, 0.3
"""Strokes across squares of one direction, and share of them with others on three sides, from which they are marks."""
_ROUND = 6
"""Squares of the eight round one that are marked, from which a stroke across it by itself may be a mark, too."""
_WHOLE = 0.95
"""Share of a block of fine squares that is marked if it is one filled square; round shapes leave blocks with less."""
SURE = 0.5
"""Confidence from which a picture counts as squared paper."""


SMALLEST_PX = 9.0
"""Squares narrower than this in the picture are found but not read: a mark is hardly more than the lines round it."""
TOO_SMALL = 0.3
"""Confidence in them at most."""


@dataclass(frozen=True, eq=False)
class SquaresReading:
    """What was read from squared paper."""

    cells: CellArray
    """(rows, cols), True = marked and wanted."""
    confidence: float
    """0 to 1; under 0.5 it is no squared-paper chart."""
    doubt: npt.NDArray[np.float64]
    """(rows, cols), 0 to 1: how doubtful each square is; from `DOUBTFUL` on she should look at it."""
    lines: LineArray
    """(K, 2, 2): backstitches, two holes (row, col) each."""
    corners: npt.NDArray[np.float64]
    """(rows + 1, cols + 1, 2): picture (row, col) in pixels of each crossing."""
    kinds: npt.NDArray[np.int32]
    """(rows, cols): number of the mark in each square, 0 for bare."""
    marks: tuple[MarkKind, ...]
    """The different marks, commonest first; ``marks[k].number == k + 1``."""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Freeze the arrays."""
        for array in (self.cells, self.doubt, self.lines, self.corners, self.kinds):
            array.setflags(write=False)

    @property
    def doubtful(self) -> CellArray:
        """(rows, cols): squares to look at."""
        return np.asarray(self.doubt >= DOUBTFUL)

    def only(self, numbers: Sequence[int]) -> SquaresReading:
        """Return the reading with only some of the marks; see `read_squares`."""
        for number in numbers:
            if (
                isinstance(number, bool)
                or not isinstance(number, (int, np.integer))
                or not 1 <= number <= len(self.marks)
            ):
                raise UsageError(f"There is no mark {quoted(number)}.", f"Marks 1 to {len(self.marks)} were found.")
        wanted = np.isin(self.kinds, list(numbers))
        return replace(self, cells=wanted)


def read_squares(
    image: npt.NDArray[np.uint8],
    *,
    size: tuple[int, int] | None = None,
    corners: Sequence[Sequence[float]] | npt.NDArray[np.float64] | None = None,
    only: Sequence[int] | None = None,
) -> SquaresReading:
    """Read a motif from a photo or scan of squared paper, square by square.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) RGB or (H, W, 4) RGBA, uint8
    size : tuple of int, optional
        (cols, rows) of the grid where finding its ends fails; 1 to 1000 each.
    corners : array of shape (4, 2), optional
        Picture (row, col) in pixels of the grid's top left, top right, bottom right and bottom left corner, where
        finding fails. Without ``size`` the squares between them are counted.
    only : sequence of int, optional
        Numbers of the marks to keep, as in ``marks``; all by default.

    Returns
    -------
    reading : SquaresReading
        A picture that is no squared paper gives a confidence under 0.5; with nothing like a grid in it the
        reading is one bare square as large as the picture.

    Raises
    ------
    UsageError
        If an argument is out of range.
    RequestError
        If corners are given without size and the squares between them cannot be counted.

    Notes
    -----
    All marks count as stitches: the piece has one colour. Squares outside the picture count as bare and are
    doubtful. Lines come in the order level, upright, falling, rising, each by row and column, one unit long.
    """
    rgb = density.as_rgb(as_picture(image))
    points = _check_corners(corners, (rgb.shape[0], rgb.shape[1]))
    shape = _check_size(size)
    found = _find(rgb, points, shape)
    if found is None:
        return _nothing(rgb)
    span, held, said = found
    reading = _read(rgb, held, span, hand=points is not None, trim=points is None and shape is None)
    reading = replace(reading, notes=(*reading.notes, *said))
    if shape is None:
        reading = _fold_blocks(reading)
    return reading if only is None else reading.only(only)


def reading_of(rgb: npt.NDArray[np.uint8], held: finding.Found) -> SquaresReading:
    """Return the reading of a picture (H, W, 3) whose mesh is found already."""
    span, held = _ends(rgb, held)
    return _read(rgb, held, span, hand=False, trim=True)


def _ends(rgb: npt.NDArray[np.uint8], held: finding.Found) -> tuple[extent.Extent, finding.Found]:
    """Return the squares that are printed and in the picture, and the mesh, made larger if they reach its end."""
    span = extent.find_extent(held.fit, held.single, held.shape)
    for _ in range(_MOST_FURTHER):
        cut = extent.cut_short(span, held.fit, held.shape)
        if not cut:
            break
        top, left, bottom, right = (_FURTHER * (name in cut) for name in ("top", "left", "bottom", "right"))
        held = finding.further(rgb, held, (top, left, bottom, right))
        span = extent.find_extent(held.fit, held.single, held.shape)
    return span, held


def _check_size(size: tuple[int, int] | None) -> tuple[int, int] | None:
    if size is None:
        return None
    if len(size) != 2 or any(isinstance(v, bool) or int(v) != v or not 1 <= v <= 1000 for v in size):
        raise UsageError(f"The grid cannot be {quoted(size)} squares.", "Give columns and rows, 1 to 1000 each.")
    return int(size[1]), int(size[0])


def _check_corners(corners: object, shape: tuple[int, int]) -> npt.NDArray[np.float64] | None:
    if corners is None:
        return None
    points = np.array(corners, dtype=np.float64)
    hint = "Give the top left, top right, bottom right and bottom left corner, in this order."
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise UsageError("Four corners of two numbers each are needed.", hint)
    if (points < -0.5 * max(shape)).any() or (points > 1.5 * max(shape)).any():
        raise UsageError("A corner lies far outside the picture.", hint)
    turns = []
    for k in range(4):
        a, b = points[(k + 1) % 4] - points[k], points[(k + 2) % 4] - points[(k + 1) % 4]
        turns.append(a[1] * b[0] - a[0] * b[1])
    if min(turns) <= 4.0:
        raise UsageError("The four corners do not go round the grid clockwise.", hint)
    return points


def _find(
    rgb: npt.NDArray[np.uint8], points: npt.NDArray[np.float64] | None, shape: tuple[int, int] | None
) -> tuple[extent.Extent, finding.Found, tuple[str, ...]] | None:
    """Return the squares wanted, the mesh they lie on, and what is to be said of them."""
    if points is not None and shape is not None:
        held = finding.mesh_from_corners(rgb, points, shape)
        return extent.Extent(0, 0, shape[0], shape[1]), held, ()
    held_or_none = finding.find_mesh(rgb)
    if held_or_none is None:
        if points is not None or shape is not None:
            raise RequestError(
                "No grid of squares was found in this picture.", "Give its four corners and its size in squares."
            )
        return None
    if points is not None:
        return _between_corners(held_or_none, points), held_or_none, ()
    span, held = _ends(rgb, held_or_none)
    if shape is None:
        return span, held, ()
    said: tuple[str, ...] = ()
    if span.shape[0] > shape[0] or span.shape[1] > shape[1]:
        said = (
            Phrase(
                "The photo shows {columns} x {rows} squares; with the size given the outer ones are left out.",
                columns=span.shape[1], rows=span.shape[0],
            ),
        )  # fmt: skip
    window, sized = _sized(held, span, shape)
    part = sized.fit.nodes[window.top : window.bottom + 1, window.left : window.right + 1]
    if extent.whole_squares(part, held.shape, extent.STRIP * held.fit.pitch).mean() < _LEAST_IN_VIEW:
        raise RequestError(
            Phrase("The photo does not show a grid of {columns} x {rows} squares.", columns=shape[1], rows=shape[0]),
            Phrase(
                "{columns} x {rows} squares are seen in it: check the size, or give the corners too.",
                columns=span.shape[1], rows=span.shape[0],
            ),
        )  # fmt: skip
    return window, sized, said


def _between_corners(held: finding.Found, points: npt.NDArray[np.float64]) -> extent.Extent:
    nodes = held.to_picture(held.fit.nodes)
    at = []
    for point in points:
        apart = ((nodes - point) ** 2).sum(axis=2)
        at.append(np.unravel_index(int(apart.argmin()), apart.shape))
        side = np.hypot(*(nodes[1, 0] - nodes[0, 0]))
        if float(apart.min()) > side**2:
            raise RequestError(
                "The squares between these corners could not be counted.", "Give the size in squares, too."
            )
    top, bottom = round((at[0][0] + at[1][0]) / 2), round((at[2][0] + at[3][0]) / 2)
    left, right = round((at[0][1] + at[3][1]) / 2), round((at[1][1] + at[2][1]) / 2)
    if bottom <= top or right <= left:
        raise RequestError("There is no square between these corners.", "Give the size in squares, too.")
    return extent.Extent(int(top), int(left), int(bottom), int(right))


def _sized(held: finding.Found, span: extent.Extent, shape: tuple[int, int]) -> tuple[extent.Extent, finding.Found]:
    """Return the window of a wanted size that shows most of the grid found; the mesh is extended where needed."""
    n, m = held.fit.nodes.shape[0] - 1, held.fit.nodes.shape[1] - 1
    pad_rows, pad_cols = max(0, shape[0] - n), max(0, shape[1] - m)
    nodes = mesh.extend(held.fit.nodes, (pad_rows, pad_cols, pad_rows, pad_cols))
    starts = []
    for low, high, pad, want, count in (
        (span.top, span.bottom, pad_rows, shape[0], n),
        (span.left, span.right, pad_cols, shape[1], m),
    ):
        middle = (low + high) / 2 + pad
        starts.append(int(np.clip(round(middle - want / 2), 0, count + 2 * pad - want)))
    window = extent.Extent(starts[0], starts[1], starts[0] + shape[0], starts[1] + shape[1])
    if pad_rows or pad_cols:
        # only the crossings matter from here on; the measured sides keep the old mesh's confidence
        part = nodes[window.top : window.bottom + 1, window.left : window.right + 1]
        return extent.Extent(0, 0, *shape), replace(held, fit=replace(held.fit, nodes=part))
    return window, held


def _nothing(rgb: npt.NDArray[np.uint8]) -> SquaresReading:
    high, wide = rgb.shape[:2]
    corners = np.array([[[0, 0], [0, wide]], [[high, 0], [high, wide]]], np.float64) - 0.5
    return SquaresReading(
        np.zeros((1, 1), bool), 0.0, np.ones((1, 1)), np.zeros((0, 2, 2)), corners, np.zeros((1, 1), np.int32), (),
        ("No grid of squares was found in this picture.",),
    )  # fmt: skip


def _read(
    rgb: npt.NDArray[np.uint8],
    held: finding.Found,
    span: extent.Extent,
    hand: bool,
    trim: bool,
    sure: tuple[str, ...] = (),
) -> SquaresReading:
    """Return the reading of the squares of an extent, whose ends are moved if need be but for ``sure`` ones."""
    nodes = held.fit.nodes[span.top : span.bottom + 1, span.left : span.right + 1]
    outside = ~extent.whole_squares(nodes, held.shape, extent.STRIP * held.fit.pitch)
    corners = held.to_picture(nodes)
    wanted = min(1.0, held.factor * FLAT_SIDE / finding.WORK_PITCH)
    small = density.shrink(rgb, wanted)
    flat_factor = small.shape[0] / rgb.shape[0]
    sheet = patches.lay_flat(small, (corners + 0.5) * flat_factor - 0.5, FLAT_SIDE)
    marking = marks.find_marks(sheet, outside)
    if trim and span.unsure:
        wider = _with_rims(small, held, flat_factor, span, sheet, marking)
        if wider is not span:
            return _read(rgb, held, wider, hand, trim, (*sure, *_gone(span.unsure, wider.unsure)))
    if trim:
        smaller = _moved(
            span, rim.without_table(held.fit, _window(span), sheet, marking, outside, (*sure, *span.lined))
        )
        if smaller is not span:
            return _read(rgb, held, smaller, hand, trim, sure)
        kept = extent.trimmed(span, outside, marking.marked)
        rows = slice(kept.top - span.top, kept.bottom - span.top)
        cols = slice(kept.left - span.left, kept.right - span.left)
        span, sheet, marking = kept, sheet.part(rows, cols), marking.part(rows, cols)
        outside = outside[rows, cols]
        corners = corners[rows.start : rows.stop + 1, cols.start : cols.stop + 1]
    marking = second_look.look_again(sheet, marking, outside)
    solid = marks.filled(sheet, marking)
    sorts, _found_kinds = kinds.sort_kinds(sheet, marking.paper, marking.marked & ~solid)
    found = strokes.find_strokes(sheet, marking.paper, marking.marked, solid, outside, sorts)
    like = kinds.like_marks(sheet, marking.paper, marking.marked, found.crossed)
    # strokes along the sides of a square spill into it
    spilt = found.crossed & _beside_strokes(found)
    like |= kinds.like_marks(sheet, marking.paper, marking.marked & ~(found.crossed & ~spilt), spilt, inside=True)
    single = _single_strokes(found)
    amid = single & _amid(marking.marked & ~found.crossed)
    like |= kinds.like_marks(sheet, marking.paper, marking.marked & ~found.crossed, amid, loosely=True)
    found = _without_slashes(found, like)
    marked = marking.marked & ~found.crossed
    words, maybe_words = writing.writing(sheet, marking.paper, marked, found.crossed, marking.border)
    marked &= ~words
    lines = _without_words(found.lines, words, marked)
    numbers, found_kinds = kinds.sort_kinds(sheet, marking.paper, marked)
    same = held.fit.nodes.shape[:2] == held.fit.level.height.shape[:1] + held.fit.upright.height.shape[:1]
    confidence = finding.grid_confidence(held.fit, span.top, span.left, span.bottom, span.right) if same else 0.6
    if same:
        confidence *= finding.print_confidence(held, span.top, span.left, span.bottom, span.right)
    confidence *= finding.marks_confidence(marked | found.crossed, marking.doubt)
    confidence *= finding.paper_confidence(*marks.paper_evenness(sheet, marking, outside))
    confidence *= finding.weave_confidence(marks.weave(sheet, marking, outside))
    side = held.fit.pitch / held.factor
    if side < SMALLEST_PX:
        confidence = min(confidence, TOO_SMALL)
    if hand:
        confidence = max(confidence, 0.6)
    doubt = np.maximum(marking.doubt, np.where(words, 0.6, 0.0))
    if same:
        astray = mesh.astray(held.fit)[span.top : span.bottom, span.left : span.right]
        doubt = np.where(astray, np.maximum(doubt, 0.3), doubt)
    doubt = np.where(maybe_words, np.maximum(doubt, 0.25), doubt)
    # a stroke across a square that has marks beside it may be one of them
    beside = found.crossed & _beside_marks(marked)
    doubt = np.where(single | beside, np.maximum(doubt, 0.3), doubt)
    near_words = filters.widened(words)
    doubt = np.where(near_words & marked, np.maximum(doubt, 0.4), doubt)
    every = slice(None)
    rims: dict[str, tuple[slice, slice]] = {
        "top": (slice(0, 1), every), "bottom": (slice(-1, None), every),
        "left": (every, slice(0, 1)), "right": (every, slice(-1, None)),
    }  # fmt: skip
    for edge in span.unsure:
        doubt[rims[edge]] = np.where(marked[rims[edge]], np.maximum(doubt[rims[edge]], 0.3), doubt[rims[edge]])
    doubt = _with_least_sure(np.asarray(doubt), outside)
    notes = _notes(held, span, marked, words, outside, doubt)
    return SquaresReading(marked, confidence, np.asarray(doubt), lines, corners, numbers, found_kinds, notes)


def _with_rims(
    small: npt.NDArray[np.uint8],
    held: finding.Found,
    factor: float,
    span: extent.Extent,
    sheet: patches.FlatSheet,
    marking: marks.Marking,
) -> extent.Extent:
    """Return the extent with outermost rows that are all of marks; ``factor`` is pixels of ``small`` for one."""
    nodes = (held.to_picture(held.fit.nodes) + 0.5) * factor - 0.5
    whole = extent.whole_squares(held.fit.nodes, held.shape, 0.5 * held.fit.pitch)
    return _moved(span, rim.more_marks(small, nodes, whole, _window(span), sheet, marking, span.unsure))


def _gone(before: tuple[str, ...], after: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(name for name in before if name not in after)


def _window(span: extent.Extent) -> tuple[int, int, int, int]:
    return span.top, span.left, span.bottom, span.right


def _moved(span: extent.Extent, window: tuple[int, int, int, int]) -> extent.Extent:
    """Return the extent with other ends; those that were moved are sure. Unless any was, it is ``span`` itself."""
    if window == _window(span):
        return span
    pairs = zip(("top", "left", "bottom", "right"), _window(span), window, strict=True)
    return extent.Extent(*window, tuple(name for name, old, new in pairs if old == new and name in span.unsure))


def _single_strokes(found: strokes.Strokes) -> npt.NDArray[np.bool_]:
    """Return the squares crossed by a stroke that no other one goes on from: it may be a mark drawn in a hurry."""
    ends = found.lines.reshape(-1, 2)
    out = np.zeros_like(found.crossed)
    if not len(ends):
        return out
    _holes, which, counts = np.unique(ends, axis=0, return_inverse=True, return_counts=True)
    alone = (counts[which.reshape(-1, 2)] == 1).all(axis=1)
    slanting = (found.lines[:, 0, 0] != found.lines[:, 1, 0]) & (found.lines[:, 0, 1] != found.lines[:, 1, 1])
    at = found.lines.min(axis=1)[alone & slanting].astype(int)
    out[at[:, 0], at[:, 1]] = True
    return out


def _beside_strokes(found: strokes.Strokes) -> npt.NDArray[np.bool_]:
    """Return the squares that a stroke runs along a side of."""
    rows, cols = found.crossed.shape
    out = np.zeros((rows + 2, cols + 2), bool)
    low, high = found.lines.min(axis=1).astype(int), found.lines.max(axis=1).astype(int)
    for along in (0, 1):
        at = low[high[:, along] == low[:, along]]
        for off in (0, 1):
            out[at[:, 0] + (1 if along else off), at[:, 1] + (off if along else 1)] = True
    return out[1:-1, 1:-1]


def _amid(marked: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Return (rows, cols) the squares with marks nearly all round."""
    return np.asarray(filters.box(marked, 3) * 9 - marked > _ROUND - 0.5)


def _beside_marks(marked: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Return (rows, cols) the squares with a mark on one of their four sides."""
    around = np.pad(marked, 1)
    return np.asarray(around[:-2, 1:-1] | around[2:, 1:-1] | around[1:-1, :-2] | around[1:-1, 2:])


def _with_least_sure(doubt: npt.NDArray[np.float64], outside: npt.NDArray[np.bool_]) -> npt.NDArray[np.float64]:
    """Return the doubt with a few squares more that are to be looked at: the least sure of those that are not yet.

    However sure the sheet is as a whole, its mistakes lie among these. Of equal ones the first in reading order counts.
    """
    order = np.argsort(-doubt, axis=None, kind="stable")
    asked = (doubt >= _RATHER_DOUBTFUL) & (doubt < DOUBTFUL) & ~outside
    few = order[asked.ravel()[order]][:_FEW_MORE]
    out = doubt.copy()
    out.flat[few] = _POINTED
    return out


def _without_slashes(found: strokes.Strokes, slashes: npt.NDArray[np.bool_]) -> strokes.Strokes:
    """Take strokes across squares for marks where they look like the other marks, or stand side by side."""
    rows, cols = slashes.shape
    lines = found.lines
    slanting = (lines[:, 0, 0] != lines[:, 1, 0]) & (lines[:, 0, 1] != lines[:, 1, 1])
    at = np.floor(lines.min(axis=1)).astype(int)
    for rising in (False, True):
        same = slanting & ((lines[:, 0, 0] > lines[:, 1, 0]) == rising)
        grid = np.zeros((rows + 2, cols + 2), bool)
        grid[at[same, 0] + 1, at[same, 1] + 1] = True
        count = grid.astype(int)
        beside = count[:-2, 1:-1] + count[2:, 1:-1] + count[1:-1, :-2] + count[1:-1, 2:]
        here = grid[1:-1, 1:-1]
        # of two lines that run side by side each stroke has the other line on two sides
        if here.sum() >= _MANY and (here & (beside > 2)).sum() > _AMID * here.sum():
            slashes = slashes | here
    gone = slanting & slashes[np.minimum(at[:, 0], rows - 1), np.minimum(at[:, 1], cols - 1)]
    return strokes.Strokes(np.asarray(lines[~gone]), found.crossed & ~slashes)


def _without_words(lines: LineArray, words: npt.NDArray[np.bool_], marked: npt.NDArray[np.bool_]) -> LineArray:
    """Drop strokes that belong to writing: a square of it lies beside them, or round about all that they join."""
    if not len(lines) or not words.any():
        return lines
    rows, cols = words.shape
    middle = lines.mean(axis=1)
    r = np.clip(middle[:, 0].astype(int), 0, rows - 1)
    c = np.clip(middle[:, 1].astype(int), 0, cols - 1)
    group = _joined(lines)
    count = np.bincount(group)
    about = np.bincount(group, filters.widened(words, _ABOUT_WORDS)[r, c]) >= count
    return np.asarray(lines[~(filters.widened(words)[r, c] | about[group])])


def _joined(lines: LineArray) -> npt.NDArray[np.int64]:
    """Return (K,) the number of the figure each stroke belongs to: those that share a hole are of one."""
    _holes, which = np.unique(lines.reshape(-1, 2), axis=0, return_inverse=True)
    ends = which.reshape(-1, 2)
    label = np.arange(len(lines))
    while True:
        least = np.full(int(ends.max()) + 1, len(lines))
        for side in (0, 1):
            np.minimum.at(least, ends[:, side], label)
        smaller = np.minimum(least[ends[:, 0]], least[ends[:, 1]])
        if (smaller == label).all():
            return np.asarray(np.unique(label, return_inverse=True)[1], dtype=np.int64)
        label = smaller


def _notes(
    held: finding.Found,
    span: extent.Extent,
    marked: npt.NDArray[np.bool_],
    words: npt.NDArray[np.bool_],
    outside: npt.NDArray[np.bool_],
    doubt: npt.NDArray[np.float64],
) -> tuple[str, ...]:
    rows, cols = span.shape
    notes = [Phrase("A grid of {columns} x {rows} squares was found.", columns=cols, rows=rows)]
    side = held.fit.pitch / held.factor
    if side < SMALLEST_PX:
        notes.append(
            Phrase(
                "The squares are only {side} pixels wide in the picture, too small to be read. On millimetre paper "
                "give the corners and the number of the larger squares; otherwise photograph it closer.",
                side=f"{side:.0f}",
            )
        )
    elif side < 11:
        notes.append(
            Phrase(
                "The squares are only {side} pixels wide in the picture; a closer photo would be read more surely.",
                side=f"{side:.0f}",
            )
        )
    if words.any():
        notes.append(Phrase("{number} squares hold writing and were left out.", number=int(words.sum())))
    if outside.any():
        cut = int(outside.sum())
        notes.append(Phrase("{number} squares of the grid are cut off by the edge of the photo.", number=cut))
    if not marked.any():
        notes.append(Phrase("No square is marked."))
    count = int((doubt >= DOUBTFUL).sum())
    if count:
        notes.append(Phrase("{number} squares are doubtful: look at them in the overlay.", number=count))
    return tuple(notes)


def _fold_blocks(reading: SquaresReading) -> SquaresReading:
    """Read millimetre paper by its larger squares if whole blocks of 5 or 10 squares a side are marked."""
    for block in (10, 5):
        folded = _folded(reading, block)
        if folded is not None:
            return folded
    return reading


def _folded(reading: SquaresReading, block: int) -> SquaresReading | None:
    rows, cols = reading.cells.shape
    if min(rows, cols) < 2 * block or reading.cells.sum() < 3 * block * block:
        return None
    best: tuple[float, int, int] = (0.0, 0, 0)
    for top in range(block):
        for left in range(block):
            n, m = (rows - top) // block, (cols - left) // block
            if n < 1 or m < 1:
                continue
            part = reading.cells[top : top + n * block, left : left + m * block]
            share = part.reshape(n, block, m, block).mean(axis=(1, 3))
            even = (
                float(part.sum())
                / float(reading.cells.sum())
                * float((share[share > 0] > _WHOLE).mean() if (share > 0).any() else 0)
            )
            if even > best[0]:
                best = (even, top, left)
    even, top, left = best
    if even < 0.9:
        return None
    n, m = (rows - top) // block, (cols - left) // block
    window = np.s_[top : top + n * block, left : left + m * block]

    def blocks(array: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.asarray(array[window].reshape(n, block, m, block).mean(axis=(1, 3)))

    cells = blocks(reading.cells.astype(np.float64)) > 0.5
    if cells[np.ix_(cells.any(axis=1), cells.any(axis=0))].all():
        return None  # one filled rectangle says nothing of blocks
    middle = reading.kinds[window][block // 2 :: block, block // 2 :: block]
    lines = (reading.lines - [top, left]) / block
    keep = ((lines % 1 == 0).all(axis=(1, 2)) & (lines >= 0).all(axis=(1, 2))) if len(lines) else np.zeros(0, bool)
    corners = reading.corners[top : top + n * block + 1 : block, left : left + m * block + 1 : block]
    doubt = np.maximum(
        blocks(np.asarray(reading.doubt)), 1 - 2 * np.abs(blocks(reading.cells.astype(np.float64)) - 0.5)
    )
    note = Phrase(
        "The marks fill blocks of {block} x {block} fine squares; each block was read as one square "
        "({columns} x {rows}).",
        block=block,
        columns=m,
        rows=n,
    )
    kinds_now = np.where(cells, np.maximum(middle, 1), 0).astype(np.int32)
    return replace(
        reading, cells=cells, doubt=doubt, lines=lines[keep], corners=np.ascontiguousarray(corners), kinds=kinds_now,
        notes=(*reading.notes, note),
    )  # fmt: skip
