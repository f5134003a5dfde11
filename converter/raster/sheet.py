"""The sheet of paper in a photograph: a drawing photographed where it lies, with the table round it.

On a small copy the edges from dark to bright are gathered along straight lines, those with the bright side to the
right, to the left, below and above apart. Four of them, or the picture's own side where the sheet runs out of the
picture, make a sheet if

- three sides or four are to be seen, and nearly all of each is such an edge; some way beyond it is dark too,
- the paper along the inside of the sides is bare, and something dark lies farther in,
- the dark beyond them does not end in paper all round, as a drawn frame does,
- and it is a photograph: paper or ground are not of one exact tone.

Of several the one is taken of whose sides most is seen, or a larger one if the paper goes on beyond one of its sides.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.raster.around import blur, square
from converter.raster.scaling import size_at
from converter.raster.slopes import count_by_slope
from converter.raster.tone import darkest_colour, is_painted

LEAST_PIXELS = 480
"""Longer side of the smallest photograph; emblems and playing cards are smaller."""
SEEN, NARROWEST = 400, 40
"""Pixels on the longer side of the copy that is looked at, and on the shorter one at least."""
LIFT = 8.0
"""Levels added before the logarithm, so that noise in the dark does not count."""
LEAST_STEP = 0.07
"""Logarithm by which paper is brighter than what lies beyond its edge."""
WAY = 0.6
"""Steepness along a side, as a share of that across it."""
STEEPEST = 0.36
"""Slope of a side against the picture's: some 20 degrees."""
NEAR_LINE = 1.5
"""Pixels of the copy that an edge may lie off its line."""
MOST_TRIED, MOST_LINES = 16, 5
"""Lines that are looked at for each side, and those with the longest runs that are tried."""
GAP = 3
"""Pixels of the copy that may be missing in a run."""
LEAST_EDGE, LEAST_EDGES = 0.65, 0.85
"""Share of a side, and of all sides on average, that must be seen as an edge: a thumb may lie on it."""
LEAST_TO_RIM = 0.9
"""The same of a side that runs out of the picture."""
MISSED = 3.0
"""How much more a part of a side counts that is not seen."""
LEAST_SEEN = 3
"""Sides that must be seen; the others may be the picture's."""
LEAST_SIDE, LEAST_AREA = 0.2, 0.1
"""Share of the picture's side that the sheet's must have, and of its area."""
MOST_BEYOND = 0.3
"""Share of the picture's side by which a corner may lie beyond it."""
LEAST_BEYOND = 0.04
"""Share of the picture that lies beside the sheet."""
INSET, INSETS, BAND = 0.012, (0.01, 0.02, 0.03), 0.012
"""Shares of the longer side: how far off its edge the ground begins, and strips along it of which one must be bare."""
MOST_MARKED = 0.05
"""Share of that strip that may be marked."""
MARK, ALIKE = 4, 0.06
"""Half the width of the broadest mark in the strip, and logarithm by which it is darker than the paper beside it."""
AROUND, LEAST_DARKER = (0.025, 0.07), 0.7
"""Shares of the longer side by which places beside the sheet lie off its edge, and of them that are darker than it."""
WAY_BACK, LEAST_ROOM, LEAST_BRIGHT, MOST_BACK = 0.5, 8, 0.7, 0.6
"""From the dark beside the sheet up to its paper: how much of the way is paper again, the pixels of the copy that must
be seen beyond a place on its edge, the share of them that is paper from there on to the rim, and of such places."""
RIM = 0.006
"""Share of the longer side by which the sheet's edge is left off."""
BROAD, DARK, LEAST_DRAWN = 41, 0.25, 0.002
"""Something is drawn if it is darker than the paper within so many pixels, and by how much; its least share."""
MOST_BRIGHT = 0.5
"""Share of the picture's rim beside the sheet that may be as bright as the paper."""
PAPER, LEAST_PAPER = 0.93, 0.5
"""Brightness, as a share of the paper's, from which on it goes on beyond an edge, and the share that must be so."""

Plane = npt.NDArray[np.float32]
Corners = npt.NDArray[np.float64]
Matrix = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Line:
    """A side: places on it, as (row, col), are ``at + slope * along`` across it and ``along``."""

    at: float
    slope: float
    upright: bool
    seen: bool
    """False for the picture's own side."""

    def meet(self, other: _Line) -> npt.NDArray[np.float64]:
        """Return the (row, col) where an upright line meets a level one."""
        level, upright = (other, self) if self.upright else (self, other)
        col = (upright.at + upright.slope * level.at) / (1 - upright.slope * level.slope)
        return np.array([level.at + level.slope * col, col])


_Sides = tuple[_Line, ...]


@dataclass(frozen=True, eq=False)
class Sheet:
    """A sheet of paper in a photograph, without its very edge."""

    corners: Corners
    """(4, 2): (row, col) in pixels, edge coordinates: top left, top right, bottom right, bottom left."""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the sheet laid flat."""
        top, right, bottom, left = np.hypot(*(np.roll(self.corners, -1, axis=0) - self.corners).T)
        return max(1, round((left + right) / 2)), max(1, round((top + bottom) / 2))

    def lay_flat(self, layer: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return the part of a picture, or of a mask of it, that lies on the sheet, as if seen from straight above.

        Where the sheet runs out of the picture its last pixels go on.
        """
        rows, cols = self.shape
        mask = layer.dtype == np.bool_
        there = self.corners[:, ::-1].astype(np.float32) - np.float32(0.5)
        here = np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], dtype=np.float32) - np.float32(0.5)
        flat = cv2.warpPerspective(
            layer.view(np.uint8) if mask else layer,
            cv2.getPerspectiveTransform(there, here),
            (cols, rows),
            flags=cv2.INTER_NEAREST if mask else cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return np.asarray(flat > 0 if mask else flat)

    def matrix(self) -> Matrix:
        """Return the (3, 3) map of (row, col, 1) on the flat sheet to the photograph, but for its foreshortening."""
        rows, cols = self.shape
        here = np.array([[0, 0, 1], [0, cols, 1], [rows, cols, 1], [rows, 0, 1]], dtype=np.float64)
        best = np.linalg.lstsq(here, self.corners, rcond=None)[0]
        return np.vstack([best.T, [0, 0, 1]])


def find_sheet(picture: npt.NDArray[Any]) -> Sheet | None:
    """Return the sheet of paper in a photograph.

    Parameters
    ----------
    picture : ndarray of shape (H, W) or (H, W, 3), uint8

    Returns
    -------
    sheet : Sheet or None
        None if the picture does not show a sheet with something else round it.
    """
    if max(picture.shape[:2]) < LEAST_PIXELS:
        return None
    scale = SEEN / max(picture.shape[:2])
    small = cv2.resize(picture, size_at(picture.shape[:2], scale, 1), interpolation=cv2.INTER_AREA)
    tone = darkest_colour(np.asarray(small, dtype=np.uint8))
    level = np.log(tone.astype(np.float32) + np.float32(LIFT))
    if min(level.shape) < NARROWEST or not _has_dark_rim(level):
        return None
    soft = blur(level, 1.0)
    # How much brighter it gets to the right, to the left, downwards and upwards; the latter two are laid upright.
    rises = right, left, down, up = [_rise(plane, sign) for plane in (soft, soft.T) for sign in (1, -1)]
    height, width = soft.shape
    lines = (
        _find_lines(right, down.T, upright=True, own=0),
        _find_lines(left, down.T, upright=True, own=width),
        _find_lines(down, right.T, upright=False, own=0),
        _find_lines(up, right.T, upright=False, own=height),
    )
    marks = cv2.morphologyEx(soft, cv2.MORPH_BLACKHAT, square(2 * MARK + 1)) > ALIKE
    found = []
    for sides in itertools.product(*lines):
        if sum(line.seen for line in sides) < LEAST_SEEN:
            continue
        corners = _corners(sides)
        worth = _worth(corners, sides, rises) if _has_size(corners, level.shape) else None
        if worth is not None:
            found.append((worth, sides))
    found.sort(key=lambda each: -each[0])
    for _, sides in found:
        corners = _corners(sides)
        if _is_sheet(corners, marks, tone) and _lies_on_darker(corners, soft) and not _is_framed(corners, soft):
            corners = _corners(_farther_out(sides, [each for _, each in found], tone, soft))
            within = _filled(_drawn_in(corners, (INSETS[-1] + BAND) * SEEN), level.shape)
            drawn = cv2.morphologyEx(soft, cv2.MORPH_BLACKHAT, square(BROAD)) > DARK
            if float(drawn[within].mean()) < LEAST_DRAWN:
                return None
            shrunk = np.array(level.shape) / np.array(picture.shape[:2])
            return Sheet(_drawn_in(corners, RIM * SEEN) / shrunk)
    return None


def _rise(level: Plane, sign: int) -> Plane:
    """Return by how much a plane gets brighter to the right (to the left with -1) over some three pixels."""
    step = np.array([-1, -1, 0, 1, 1], dtype=np.float32) / 2
    mean = np.ones(3, dtype=np.float32) / 3
    return np.asarray(cv2.sepFilter2D(np.ascontiguousarray(level), -1, sign * step, mean), dtype=np.float32)


def _has_dark_rim(level: Plane) -> bool:
    """Return whether a good part of the picture's rim is darker than its paper: else there is nothing to cut off."""
    rim = np.concatenate([level[1], level[-2], level[:, 1], level[:, -2]])
    paper = float(np.partition(level.ravel(), int(0.9 * level.size))[int(0.9 * level.size)])
    return float((rim < paper - LEAST_STEP).mean()) > 0.1


def _find_lines(rise: Plane, along: Plane, upright: bool, own: int) -> list[_Line]:
    """Return straight lines of edges that run down a plane, bright to the right, and the picture's own side."""
    height, width = rise.shape
    ridge = (rise > LEAST_STEP) & (np.abs(along) < WAY * rise)
    ridge[:, 1:] &= rise[:, 1:] >= rise[:, :-1]
    ridge[:, :-1] &= rise[:, :-1] > rise[:, 1:]
    row, col = np.nonzero(ridge)
    found: list[tuple[int, _Line]] = []
    side = _Line(float(own), 0.0, upright, False)
    if not len(row):
        return [side]
    counted = count_by_slope(col, row, (width, height), STEEPEST)
    heap, slopes, middle = counted.counts, counted.slopes, (height - 1) / 2
    heap[:, 1:-1] = heap[:, :-2] + heap[:, 1:-1] + heap[:, 2:]
    for _ in range(MOST_TRIED):
        which, where = np.unravel_index(int(heap.argmax()), heap.shape)
        if heap[which, where] < LEAST_SIDE * height:
            break
        near = np.abs(col - slopes[which] * (row - middle) - (where - counted.shift)) <= NEAR_LINE + 0.5
        found.append((_longest_run(row[near]), _through(row[near] + 0.5, col[near] + 0.5, upright)))
        # What is nearly the same line is not looked at again.
        first, last = max(0, int(which) - 12), int(which) + 13
        heap[first:last, max(0, int(where) - 6) : int(where) + 7] = 0
    # The edge of a sheet is whole; a row of tiles or boards has gaps.
    found.sort(key=lambda each: -each[0])
    return [*(line for _, line in found[:MOST_LINES]), side]


def _through(along: npt.NDArray[np.float64], across: npt.NDArray[np.float64], upright: bool) -> _Line:
    """Return the line nearest to some points: least squares across it."""
    off = along - along.mean()
    slope = float(off @ across) / max(float(off @ off), 1e-9)
    return _Line(float(across.mean() - slope * along.mean()), slope, upright, True)


def _longest_run(places: npt.NDArray[np.intp]) -> int:
    """Return the length of the longest run of places with no gap of more than `GAP`."""
    places = np.unique(places)
    breaks = np.flatnonzero(np.diff(places) > GAP)
    first, last = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [len(places) - 1]])
    return int((places[last] - places[first]).max())


def _corners(lines: tuple[_Line, ...]) -> Corners:
    left, right, top, bottom = lines
    return np.stack([left.meet(top), right.meet(top), right.meet(bottom), left.meet(bottom)])


def _has_size(corners: Corners, shape: tuple[int, ...]) -> bool:
    """Return whether a quadrilateral is large enough for a sheet and lies in the picture, or nearly."""
    sides = np.array(shape)
    if (corners < -MOST_BEYOND * sides).any() or (corners > (1 + MOST_BEYOND) * sides).any():
        return False
    height = min(corners[3, 0] - corners[0, 0], corners[2, 0] - corners[1, 0])
    width = min(corners[1, 1] - corners[0, 1], corners[2, 1] - corners[3, 1])
    return bool(min(height / sides[0], width / sides[1]) >= LEAST_SIDE and height * width >= LEAST_AREA * sides.prod())


def _worth(corners: Corners, lines: tuple[_Line, ...], edges: Sequence[Plane]) -> float | None:
    """Return the length of the sides that is seen less `MISSED` times what is not, or None if too little is seen."""
    seen = length = 0.0
    ends = ((0, 3), (1, 2), (0, 1), (3, 2))
    for k, (line, edge, (first, last)) in enumerate(zip(lines, edges, ends, strict=True)):
        if not line.seen:
            continue
        on, size = _seen_along(line, edge, corners[first], corners[last])
        whole = all(other.seen for other in (lines[2:] if k < 2 else lines[:2]))
        if on < (LEAST_EDGE if whole else LEAST_TO_RIM) * size or size < LEAST_SIDE * edge.shape[0]:
            return None
        seen, length = seen + on, length + size
    return None if seen < LEAST_EDGES * length else seen - MISSED * (length - seen)


def _seen_along(
    line: _Line, edge: Plane, first: npt.NDArray[np.float64], last: npt.NDArray[np.float64]
) -> tuple[int, int]:
    """Return along how many pixels of a side there is an edge, and how many it has in the picture."""
    low, high = (first[0], last[0]) if line.upright else (first[1], last[1])
    at = np.arange(max(0, int(low) + 2), min(edge.shape[0], int(high) - 1))
    where = line.at + line.slope * (at + 0.5)
    within = (where > 0) & (where < edge.shape[1])
    at, where = at[within], where[within]
    col = np.rint(where - 0.5).astype(int)[:, None] + np.arange(-2, 3)
    held = (col >= 0) & (col < edge.shape[1])
    value = np.where(held, edge[at[:, None], np.clip(col, 0, edge.shape[1] - 1)], 0).max(axis=1)
    return int((value > LEAST_STEP).sum()), len(at)


def _is_sheet(corners: Corners, marks: npt.NDArray[np.bool_], tone: npt.NDArray[np.uint8]) -> bool:
    """Return whether a quadrilateral is bare along its sides, has something round it, and is photographed."""
    size = max(marks.shape)
    beyond = ~_filled(_drawn_in(corners, -INSET * size), marks.shape)
    if float(beyond.mean()) < LEAST_BEYOND:
        return False
    rim = np.zeros(marks.shape, dtype=np.bool_)
    rim[1], rim[-2], rim[:, 1], rim[:, -2] = True, True, True, True
    rim &= beyond
    for inset in INSETS:
        outer, inner = (_drawn_in(corners, share * size) for share in (inset, inset + BAND))
        strip = _filled(outer, marks.shape) & ~_filled(inner, marks.shape)
        if strip.any() and float(marks[strip].mean()) <= MOST_MARKED:
            paper = float(np.median(tone[strip]))
            bright = float((tone[rim] > 0.95 * paper).mean()) if rim.any() else 0.0
            return bright < MOST_BRIGHT and not (is_painted(tone, strip) and is_painted(tone, beyond))
    return False


def _lies_on_darker(corners: Corners, soft: Plane) -> bool:
    """Return whether the ground is darker than the sheet some way off its sides too: beyond a drawn frame is paper."""
    return all(_share_darker(corners, soft, by * max(soft.shape)) > LEAST_DARKER for by in AROUND)


def _share_darker(corners: Corners, soft: Plane, by: float) -> float:
    """Return the share of places along the sides where it is darker so many pixels outside than just inside."""
    shares = np.linspace(0.1, 0.9, 33)[:, None]
    inner, outer = _drawn_in(corners, AROUND[0] * max(soft.shape)), _drawn_in(corners, -by)
    seen: list[npt.NDArray[np.bool_]] = []
    for k in range(4):
        within, beyond = (each[k] * (1 - shares) + each[(k + 1) % 4] * shares for each in (inner, outer))
        held = np.all([(each > 0) & (each < soft.shape) for each in (within, beyond)], axis=(0, 2))
        one, other = (soft[each[held, 0].astype(int), each[held, 1].astype(int)] for each in (within, beyond))
        seen.append(one - other > LEAST_STEP)
    pairs = np.concatenate(seen)
    return float(pairs.mean()) if len(pairs) else 1.0


def _is_framed(corners: Corners, soft: Plane) -> bool:
    """Return whether the dark beside a quadrilateral ends in paper all round: what is dark there is drawn.

    Each place on its edge is followed outwards to the picture's rim. Shadows lie on both sides of a drawn frame, so
    what counts as paper is reckoned from the place just inside.
    """
    size = max(soft.shape)
    shares = np.linspace(0.05, 0.95, 31)[:, None]
    ways: list[tuple[Any, Any]] = []
    for by in (-AROUND[0] * size, *range(1, size, 2)):
        moved = _drawn_in(corners, -by)
        places = np.concatenate([moved[k] * (1 - shares) + moved[(k + 1) % 4] * shares for k in range(4)])
        within = np.asarray(((places > 0) & (places < soft.shape)).all(axis=1))
        if not within.any():
            break
        row, col = np.where(within[:, None], places, 0).astype(int).T
        ways.append((within, soft[row, col]))
    held, level = np.array([way[0] for way in ways]), np.array([way[1] for way in ways])
    paper, beyond, seen = level[0], level[1:], held[0] & held[1:]
    dark = np.minimum.accumulate(np.where(seen, beyond, paper), axis=0)
    back = seen & (paper - dark > LEAST_STEP) & (beyond - dark > WAY_BACK * (paper - dark))
    rest = seen & np.logical_or.accumulate(back, axis=0)
    framed = back.any(axis=0) & (back.sum(axis=0) > LEAST_BRIGHT * rest.sum(axis=0))
    roomy = seen.sum(axis=0) * 2 >= LEAST_ROOM
    return bool(roomy.any()) and float(framed[roomy].mean()) > MOST_BACK


def _farther_out(sides: _Sides, others: Sequence[_Sides], tone: npt.NDArray[np.uint8], soft: Plane) -> _Sides:
    """Return the sides of a sheet, or those of the largest on which the paper goes on beyond one of them.

    The edge of something broad that is drawn, a hull or a roof, may look like that of the sheet.
    """
    within = _filled(_corners(sides), tone.shape)
    paper = float(np.median(tone[within])) * PAPER
    best, size = sides, int(within.sum())
    for other in others:
        if sum(one is not each for one, each in zip(sides, other, strict=True)) != 1:
            continue
        corners = _corners(other)
        larger = _filled(corners, tone.shape)
        added = larger & ~within
        if int(larger.sum()) <= size or not added.any() or (within & ~larger).sum() > 0.01 * within.sum():
            continue
        on = float((tone[added] > paper).mean()) > LEAST_PAPER
        if on and _lies_on_darker(corners, soft):
            best, size = other, int(larger.sum())
    return best


def _drawn_in(corners: Corners, by: float) -> Corners:
    """Return the corners of a quadrilateral whose sides lie so many pixels farther in."""
    moved = []
    for k in range(4):
        before, here, after = corners[k - 1], corners[k], corners[(k + 1) % 4]
        back, on = (before - here) / np.hypot(*(before - here)), (after - here) / np.hypot(*(after - here))
        sine = abs(back[0] * on[1] - back[1] * on[0])
        moved.append(here + (back + on) * by / max(sine, 0.1))
    return np.array(moved)


def _filled(corners: Corners, shape: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    mask = np.zeros(shape, dtype=np.uint8)
    cv2.fillConvexPoly(mask, np.rint(corners[:, ::-1] * 16 - 8).astype(np.int32), 1, shift=4)
    return mask > 0
