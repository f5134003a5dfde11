"""Where the grid ends.

The mesh reaches a little beyond the printed grid. The outermost row or column of squares is dropped, worst first,
as long as its outer line or the sides that lead to it are not seen on at least a third of the clean paper there.
Both are asked for: the edge of the sheet is a line, too, but no sides lead to it. Squares next to ink or outside
the picture are no evidence. Rows and columns of which the photo shows less than half are dropped.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.mesh import Fit
from converter.squares.sides import Nodes

SUPPORT = 0.33
VISIBLE = 0.2
STRIP = 0.12
"""Part of a square that the edge of the picture may cut off."""
_HARDLY = 0.1
"""Share of sides seen under which a row as light as paper is the margin, not marks that hide the lines."""
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

    offset: Shares
    """Where the line is seen, as part of a square."""

    def straight(self, where: tuple[Any, Any]) -> bool:
        """Return whether the lines seen at some sides lie where the mesh says; grain of a table lies anywhere."""
        offset = self.offset[where][self.share[where] > 0.6]
        return len(offset) < 4 or float(np.median(np.abs(np.diff(offset)))) < _CROOKED

    @property
    def known(self) -> BoolArray:
        """Sides on clean paper, and those that show a line all the same."""
        return np.asarray(self.paper | (self.share > 0.6))

    def at(self, where: tuple[Any, Any]) -> tuple[Shares, BoolArray]:
        """Return the shares of some sides and which of them count."""
        return self.share[where], self.known[where]


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
        out.append(_Family(share, np.asarray(fit.known[number] & fit.clear[number]), pale, seen.offset))
    return out[0], out[1]


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
            on_paper = _on_paper(side.pale, name, leads, on_line)
            scores[name] = _score(edges[name], line.at(outer), side.at(leads), visible[squares],
                                  on_paper)  # fmt: skip
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


def _score(
    edge: _Edge,
    outer: tuple[Shares, BoolArray],
    leading: tuple[Shares, BoolArray],
    visible: BoolArray,
    on_paper: bool,
) -> float:
    """Return how sure the outermost squares are: the weaker of line, sides that lead to it, and what is in view.

    Where hardly anything can be judged there is ink or a table. Ink has paper beyond it, or at least some of its sides
    show.
    """
    seen = float(visible.mean())
    if seen < VISIBLE:
        return min(seen, SUPPORT - 0.01)
    leads, known_leads = leading
    shares = []
    for shown, known in (outer, leading):
        judged = int(known.sum())
        if judged >= max(2, 0.12 * known.size):
            shares.append(float(shown[known].mean()))
        elif known is outer[1] and _lead_there(leads, known_leads, on_paper):
            shares.append(1.0)  # the grid is printed up to the edge of the sheet, or its last line lies on ink
        elif (edge.paper_outside and not (on_paper and float(leads.mean()) < _HARDLY)) or (
            not edge.seen_outside and float(shown.mean()) > 0.3
        ):
            shares.append(1.0)
        else:
            shares.append(0.9 * SUPPORT)
    return min(shares)


def _lead_there(leads: Shares, known: BoolArray, on_paper: bool) -> bool:
    """Return whether the sides that lead to an outer line are seen: nearly all, or a good part between marks.

    Between marks paper shows; grain of a table is seen here and there, too.
    """
    all_over = float(leads.mean())
    return all_over > 0.7 or (on_paper and all_over > 0.4 and float(leads[known].mean()) > 0.75)


def _on_paper(pale: Shares, name: str, outermost: tuple[slice, int], slack: float) -> bool:
    """Return whether the sides leading to an outer line lie on what those before them lie on."""
    lines, at = outermost
    inward = at + (1 if name in ("top", "left") else -1)
    apart = np.abs(pale[lines, at] - pale[lines, inward])
    seen = np.isfinite(apart)
    return bool(seen.any()) and float((apart[seen] < slack).mean()) > 0.7
