"""Where the grid ends.

The mesh reaches a little beyond the printed grid. The outermost row or column of squares is dropped, worst first,
as long as its outer line or the sides that lead to it are not seen on at least a third of the clean paper there.
Both are asked for: the edge of the sheet is a line, too, but no sides lead to it. Squares next to ink or outside
the picture are no evidence. Of rows and columns that the photo hardly shows the reader keeps those with marks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.mesh import Fit
from converter.squares.sides import Nodes, Sides

SUPPORT = 0.33
VISIBLE = 0.2
"""Share of a row that the photo must show; less will do where there are marks in it."""
STRIP = 0.12
"""Part of a square that the edge of the picture may cut off."""
_HARDLY = 0.1
"""Share of sides seen under which a row as light as paper is the margin, not marks that hide the lines."""
_BETWEEN = 0.25
"""Share of sides on clean paper from which a row lies on the sheet, however many marks are in it."""
_ALL_OVER = 0.65
"""Share of all sides of a row, on paper or not, that show a line where there is a printed row; a table shows fewer."""
_ALL_ALONG, _MOST_LEAD = 0.9, 0.55
"""The same of an outer line nearly all of which shows, and of the sides that lead to it."""
_CLEARLY = 0.7
"""Share of an outer line on clean paper from which it is there if paper goes on beyond it."""
_OFF_PAPER = 0.5
"""The same at the edge of the picture, where what lies beyond is not seen."""
_SURELY = 3
"""Sides on clean paper that lead to an outer line from which it is there, if nearly all show."""
_SOME, _MOSTLY = 0.1, 0.5
"""Share of a row's sides as light as paper: needed if the row is as the one before it, and enough by itself."""
_ON_SHEET, _ALL_LEAD = 0.35, 0.85
"""Share of the sides leading to a line that lie on clean paper, and of those the share that shows, from which the
squares are there even if no outer line is seen: it may be the edge of the sheet."""
_RATHER_LEAD = 0.6
"""The same share if the outer line lies on no paper."""
_NOWHERE = 0.1
"""Share of sides on clean paper, outer and leading ones, under which there is no row, whatever is written there."""
_FAINTLY = 0.2
"""The same from which the row is judged by both together if it lies on clean paper: faint lines show here and there."""
_CROOKED = 0.04
"""Part of a square by which lines seen at neighbouring sides are apart where they are none of the grid's."""
BoolArray = npt.NDArray[np.bool_]
Shares = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Extent:
    """Crossings kept: rows ``top`` to ``bottom`` and columns ``left`` to ``right``, both included."""

    top: int
    left: int
    bottom: int
    right: int
    unsure: tuple[str, ...] = ()
    """Edges beyond which the picture shows ink, a table, or lines that go on: there may be more squares."""

    @property
    def shape(self) -> tuple[int, int]:
        """Squares (rows, cols)."""
        return self.bottom - self.top, self.right - self.left


def squares_inside(fit: Fit, shape: tuple[int, int]) -> BoolArray:
    """Return (n, m) which squares lie in a picture of ``shape``, but for a thin strip at most."""
    return whole_squares(fit.nodes, shape, STRIP * fit.pitch)


def whole_squares(nodes: Nodes, shape: tuple[int, int], slack: float) -> BoolArray:
    """Return (n, m) which squares lie in a picture of ``shape``, but for ``slack`` pixels."""
    limit = np.array(shape) - 0.5 + slack
    inside = np.asarray(((nodes > -0.5 - slack) & (nodes < limit)).all(axis=2))
    return np.asarray(inside[:-1, :-1] & inside[1:, :-1] & inside[:-1, 1:] & inside[1:, 1:])


@dataclass
class _Edge:
    """One edge of the rectangle while it is drawn in."""

    name: str
    paper_outside: bool = False
    """The row dropped last showed clean paper: what comes next may be a row of ink."""
    seen_outside: bool = False
    """A dropped row was in the picture."""


@dataclass(frozen=True, eq=False)
class _Family:
    """What the sides along one family of lines say; arrays are (lines, sides)."""

    share: Shares
    """How much of a printed line each side shows by itself, 0 to 1."""
    paper: BoolArray
    """The side lies on clean paper."""
    pale: Shares
    """Density of the lighter parts round the side; not a number outside the picture."""

    sheet: Shares
    """Density of the paper near by, where lines show on most sides."""

    offset: Shares
    """Where the line is seen, as part of a square."""
    inside: BoolArray
    """The side lies in the picture."""

    def straight(self, where: tuple[Any, Any]) -> bool:
        """Return whether the lines seen at some sides lie where the mesh says; grain of a table lies anywhere."""
        offset = self.offset[where][self.share[where] > 0.6]
        return len(offset) < 4 or float(np.median(np.abs(np.diff(offset)))) < _CROOKED

    @property
    def known(self) -> BoolArray:
        """Sides on clean paper, and those that show a line all the same."""
        return np.asarray(self.paper | (self.share > 0.6))

    def at(self, where: tuple[Any, Any]) -> tuple[Shares, BoolArray, BoolArray]:
        """Return, of some sides as far as they lie in the picture, the shares, which of them count, which are paper."""
        inside = self.inside[where]
        return self.share[where][inside], self.known[where][inside], self.paper[where][inside]


def _families(fit: Fit, single: Fit) -> tuple[_Family, _Family]:
    """Return what level and upright sides say.

    A side averaged with its neighbours on the line would show a line one square too far, so ``single`` decides.
    """
    out = []
    for number, sides in enumerate((single.level, single.upright)):
        good = fit.good[number]
        usual = float(np.median(sides.height[good])) if good.any() else 1.0
        weight = filters.gaussian(good, 4.0)
        local = (filters.gaussian(np.where(good, np.minimum(sides.height, 2 * usual), 0.0), 4.0) + 0.003 * usual) / (
            weight + 0.003
        )
        share = np.where(good, np.clip(sides.height / np.maximum(local, 1e-6), 0.0, 1.0), 0.0)
        seen = (fit.level, fit.upright)[number]
        pale = np.where(seen.inside, seen.pale, np.nan)
        paper = np.asarray(fit.known[number] & fit.clear[number])
        out.append(_Family(share, paper, pale, _sheet(seen, good & paper), seen.offset, seen.inside))
    return out[0], out[1]


def _sheet(sides: Sides, shown: BoolArray) -> Shares:
    """Return the density of paper near each side, as seen where lines show on most sides round about."""
    dense = shown & (filters.box(shown, 5) > 0.5 * filters.box(sides.inside, 5))
    usual = float(np.median(sides.pale[dense])) if dense.any() else 0.0
    weight = filters.gaussian(dense, 4.0)
    return np.asarray((filters.gaussian(dense * sides.pale, 4.0) + 1e-5 * usual) / (weight + 1e-5))


def find_extent(fit: Fit, single: Fit, shape: tuple[int, int]) -> Extent:
    """Return the rectangle of squares that are printed on the sheet and shown in the picture.

    Parameters
    ----------
    fit : Fit
    single : Fit
        The same mesh with each side measured by itself.
    shape : tuple of int
        Of the picture the mesh lies on.
    """
    level, upright = _families(fit, single)
    on_line = 0.06 + fit.height
    visible = squares_inside(fit, shape)
    top, left, bottom, right = 0, 0, fit.nodes.shape[0] - 1, fit.nodes.shape[1] - 1
    edges = {name: _Edge(name) for name in ("top", "left", "bottom", "right")}
    while bottom - top > 2 and right - left > 2:
        rows, cols = slice(top, bottom), slice(left, right)
        row_lines, col_lines = slice(top, bottom + 1), slice(left, right + 1)
        where = {
            "top": ((top, cols), (col_lines, top), (top, cols)),
            "bottom": ((bottom, cols), (col_lines, bottom - 1), (bottom - 1, cols)),
            "left": ((left, rows), (row_lines, left), (rows, left)),
            "right": ((right, rows), (row_lines, right - 1), (rows, right - 1)),
        }
        scores = {}
        for name, (outer, leads, squares) in where.items():
            line, side = (level, upright) if name in ("top", "bottom") else (upright, level)
            on_paper = _on_paper(side, name, leads, on_line)
            scores[name] = _score(edges[name], line.at(outer), side.at(leads), visible[squares], on_paper)
            if not side.straight(leads):
                scores[name] = min(scores[name], 0.9 * SUPPORT)
        worst = min(scores, key=lambda k: scores[k])
        if scores[worst] >= SUPPORT:
            break
        leads = where[worst][1]
        known = (upright if worst in ("top", "bottom") else level).known[leads]
        edges[worst].seen_outside |= float(visible[where[worst][2]].mean()) > VISIBLE
        edges[worst].paper_outside = float(known.mean()) > 0.6
        top += worst == "top"
        bottom -= worst == "bottom"
        left += worst == "left"
        right -= worst == "right"
    rows, cols = slice(top, bottom), slice(left, right)
    beyond = {
        "top": (top - 1, (top - 1, cols), (slice(left, right + 1), top - 1), upright),
        "bottom": (fit.squares[0] - bottom - 1, (bottom, cols), (slice(left, right + 1), bottom), upright),
        "left": (left - 1, (rows, left - 1), (slice(top, bottom + 1), left - 1), level),
        "right": (fit.squares[1] - right - 1, (rows, right), (slice(top, bottom + 1), right), level),
    }
    shown = whole_squares(fit.nodes, shape, 0.5 * fit.pitch)
    unsure = tuple(
        name
        for name, (room, squares, leads, side) in beyond.items()
        if room >= 0
        and shown[squares].mean() > 0.3
        and (side.known[leads].mean() < 0.3 or side.share[leads].mean() > 0.15)
    )
    return Extent(top, left, bottom, right, unsure)


def trimmed(span: Extent, outside: BoolArray, inked: BoolArray) -> Extent:
    """Return the extent without outer rows and columns that the photo hardly shows and that hold no mark.

    Parameters
    ----------
    span : Extent
    outside : ndarray of shape (rows, cols), bool
        Squares not wholly in the picture.
    inked : ndarray of shape (rows, cols), bool
        Squares with a mark or a stroke.
    """
    top, left, bottom, right = 0, 0, *inked.shape
    while bottom - top > 2 and right - left > 2:
        rims = {
            "top": np.s_[top, left:right], "bottom": np.s_[bottom - 1, left:right],
            "left": np.s_[top:bottom, left], "right": np.s_[top:bottom, right - 1],
        }  # fmt: skip
        bare = [k for k, rim in rims.items() if not inked[rim].any() and 1 - outside[rim].mean() < VISIBLE]
        if not bare:
            break
        top += "top" in bare
        left += "left" in bare
        bottom -= "bottom" in bare
        right -= "right" in bare
    return Extent(span.top + top, span.left + left, span.top + bottom, span.left + right, span.unsure)


def _score(
    edge: _Edge,
    outer: tuple[Shares, BoolArray, BoolArray],
    leading: tuple[Shares, BoolArray, BoolArray],
    visible: BoolArray,
    on_paper: bool,
) -> float:
    """Return how sure the outermost squares are: the weaker of line, sides that lead to it, and what is in view.

    Where hardly anything can be judged there is ink or a table. Ink has paper beyond it, or at least some of its sides
    show.
    """
    seen = float(visible.mean())
    leads, known_leads, paper_leads = leading
    if seen < VISIBLE and (visible.sum() < 2 or known_leads.sum() < 4):
        return min(seen, SUPPORT - 0.01)
    all_over = min(_mean(outer[0]), _mean(leads))
    if all_over > _ALL_OVER:
        return all_over
    if _mean(outer[0]) > _ALL_ALONG and _mean(leads) > _MOST_LEAD:
        return _mean(leads)
    on_clean = [(_mean(shown[paper]), _mean(paper)) for shown, _known, paper in (outer, leading)]
    if on_clean[1][1] > _ON_SHEET and on_clean[1][0] > _ALL_LEAD and paper_leads.sum() >= _SURELY:
        return on_clean[1][0]
    if on_clean[1][1] > _ON_SHEET and on_clean[1][0] > _RATHER_LEAD and on_clean[0][1] < _HARDLY:
        return on_clean[1][0]
    if all(part > 0.12 and share < _NOWHERE for share, part in on_clean) and outer[2].sum() >= _SURELY:
        return on_clean[1][0]
    (outer_share, outer_part), (lead_share, _lead_part) = on_clean
    if edge.paper_outside and outer_part > _MOSTLY and outer_share > _CLEARLY and lead_share > _NOWHERE:
        return 0.5 * outer_share  # with paper beyond it, the line is not the edge of the sheet
    if all(part > _MOSTLY and share > _FAINTLY for share, part in on_clean):
        return 0.5 * (on_clean[0][0] + on_clean[1][0])
    shares = []
    for shown, known, paper in (outer, leading):
        # off the paper, grain of a table shows lines as well
        known = known if on_paper else paper
        judged = int(known.sum())
        # between marks only what shows counts, which must not be a few sides of many
        fair = int(paper.sum()) > 0.5 * judged or _mean(shown) > 0.3
        if fair and judged >= max(2, 0.12 * known.size):
            shares.append(float(shown[known].mean()))
        elif shown is outer[0] and _lead_there(leads, known_leads, paper_leads, on_paper):
            shares.append(1.0)  # the grid is printed up to the edge of the sheet, or its last line lies on ink
        elif (edge.paper_outside and not (on_paper and _mean(leads) < _HARDLY)) or (
            not edge.seen_outside and _mean(shown) > 0.3 and _mean(outer[0]) + _mean(leads) > 2 * _OFF_PAPER
        ):
            shares.append(1.0)
        else:
            shares.append(0.9 * SUPPORT)
    return min(shares)


def _lead_there(leads: Shares, known: BoolArray, paper: BoolArray, on_paper: bool) -> bool:
    """Return whether the sides that lead to an outer line are seen: nearly all, or a good part between marks.

    Between marks paper shows; grain of a table is seen here and there, too.
    """
    if paper.sum() >= max(_SURELY, _HARDLY * paper.size) and _mean(leads[paper]) > 0.9:
        return True
    if not on_paper and _mean(paper) < _BETWEEN:
        return False
    all_over = _mean(leads)
    return all_over > 0.7 or (all_over > 0.35 and _mean(leads[known if on_paper else paper]) > 0.75)


def _mean(values: npt.NDArray[Any]) -> float:
    return float(values.mean()) if values.size else 0.0


def _on_paper(side: _Family, name: str, outermost: tuple[slice, int], slack: float) -> bool:
    """Return whether the sides leading to an outer line lie on paper, or on what those before them lie on as well.

    A row of marks is as the one before it. So is a table, but hardly anything there is as light as the paper near by.
    """
    lines, at = outermost
    inward = 1 if name in ("top", "left") else -1
    here = side.pale[lines, at]
    seen = np.isfinite(here)
    if not seen.any():
        return False
    light = float((np.abs(here - side.sheet[lines, at])[seen] < slack).mean())
    if light > _MOSTLY:
        return True
    apart = np.abs(here - side.pale[lines, at + inward])
    alike = float((apart[np.isfinite(apart)] < slack).mean()) if np.isfinite(apart).any() else 0.0
    return alike > 0.7 and light > _SOME
