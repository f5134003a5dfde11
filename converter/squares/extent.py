"""Where the grid ends.

The mesh reaches a little beyond the printed grid. From where most lines are seen a rectangle of squares grows row by
row to all sides, as far as the outer line of a row and the sides that lead to it are seen. Both are asked for: the edge
of the sheet is a line, too, but no sides lead to it. Two things are measured, the second only where there is too little
clean paper for the first:

1. How much of a printed line the sides on clean paper show together. Grain averages out along a whole row, while a
   line may be so faint that no single side shows it.
2. On how many of all sides there is something as dark as a printed line. Marks hide some, a table shows few.

Of rows and columns that the photo hardly shows the reader keeps those with marks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.mesh import Fit
from converter.squares.sides import Nodes, Sides

VISIBLE = 0.2
"""Share of a row that the photo must show; less will do where there are marks in it."""
STRIP = 0.12
"""Part of a square that the edge of the picture may cut off."""
_ENOUGH, _PART = 3, 0.12
"""Sides on clean paper, and share of all sides in the picture, from which a line is judged by them."""
_PIECES, _LONG_PIECE = 3, 8
"""Pieces of a long line that are judged apart, as the mesh may run beside it here and there, and sides in them."""
_BOUNDS = (-1.5, 2.0)
"""What a side shows of a printed line at least and at most: one of writing counts no more."""
_NONE, _THERE, _CERTAIN = 0.25, 0.35, 0.45
"""Part of a printed line that clean paper shows of a row: up to the first there is none, from the second there is one,
from the third whatever is seen before it."""
_NOTHING = 0.1
"""How much of a line ground that may be paper shows at most where there is none."""
_MOSTLY = 0.5
"""Share of the sides leading to an outer line that lie on clean paper, from which they alone make a row certain."""
_RATHER = 0.7
"""How much what leads to a row's outer line says by itself."""
_AS_DARK = (0.4, 1.9)
"""How dark a side is, as part of a printed line, that shows one."""
_EVENLY = 0.5
"""How much of a line even ground must show of a row."""
_FEWEST, _IN_VIEW = 6, 0.45
"""Sides in the picture, and their share of all, from which a line is judged by all of them."""
_MOST = 0.59
"""Share of all sides of a row that show something as dark as a printed line, from which there is a row."""
_ALL_ALONG = 0.85
"""The same of an outer line that is seen all along."""
_SURELY_BACK, _MOST_HIDDEN = 3, 4
"""Rows that show lines again after as many hidden ones at most, wherever those lie."""
_START, _MOST_ROUNDS = 3, 9
"""Squares to each side of where most lines are seen from which on the ends are looked for; rounds of that."""
_SHADE, _LIGHT = 0.06, 0.5
"""Density by which paper differs within a few squares, and share of sides between marks that are as light as it."""
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
    lined: tuple[str, ...] = ()
    """Edges at which the outermost row shows its lines all along, or wherever nothing hides them: it is no table."""

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


@dataclass(frozen=True, eq=False)
class _Family:
    """What the sides along one family of lines say; arrays are (lines, sides)."""

    share: Shares
    """How much of a printed line each side shows by itself, 0 to 1."""
    bumps: Shares
    """(lines, sides, K): how dark each side is across and close to the line, as part of a printed line near by."""
    paper: BoolArray
    """The side lies on clean paper."""
    smooth: BoolArray
    """The side lies on what is even and hardly darker than paper near by: that may be paper in falling light, too."""
    inside: BoolArray
    """The side lies in the picture."""
    even: BoolArray
    """All is alike round the side, in the picture: paper, in a shadow, too, fills, or a smooth table."""
    light: BoolArray
    """The lighter parts round the side are as light as paper near by: between marks they are, on a table hardly."""

    def printed(self, where: tuple[Any, Any]) -> float | None:
        """Return how much of a printed line some sides on clean paper show together; None if there are too few."""
        inside = self.inside[where]
        return self._together(self.bumps[where][self.paper[where] & inside], max(_ENOUGH, _PART * inside.sum()))

    def smoothly(self, where: tuple[Any, Any]) -> float | None:
        """Return the same of sides on anything that may be paper."""
        inside = self.inside[where]
        return self._together(self.bumps[where][self.smooth[where] & inside], max(_ENOUGH, _PART * inside.sum()))

    def evenly(self, where: tuple[Any, Any]) -> float | None:
        """Return the same of sides on anything even; None if those are few."""
        return self._together(self.bumps[where][self.even[where]], max(_FEWEST, _IN_VIEW * self.even[where].size))

    def _together(self, bumps: Shares, fewest: float) -> float | None:
        if len(bumps) < fewest:
            return None
        parts = np.array_split(bumps, _PIECES) if len(bumps) >= _PIECES * _LONG_PIECE else [bumps]
        # of each piece the place across where most is seen, but for outliers such as writing
        return sum(len(part) * float(_trimmed_mean(part).max()) for part in parts) / len(bumps)

    def as_dark(self, where: tuple[Any, Any]) -> float | None:
        """Return the share of some sides that are as dark as a printed line; None if there are too few."""
        inside = self.inside[where]
        if inside.sum() < max(_FEWEST, _IN_VIEW * inside.size):
            return None
        bumps = self.bumps[where][inside]
        return float(((bumps > _AS_DARK[0]) & (bumps < _AS_DARK[1])).mean(axis=0).max())

    @property
    def known(self) -> BoolArray:
        """Sides on clean paper, and those that show a line all the same."""
        return np.asarray(self.paper | (self.share > 0.6))


def _trimmed_mean(values: Shares) -> Shares:
    """Return the mean down (n, K) values without the fifth at each end."""
    cut = len(values) // 5
    return np.asarray(np.sort(values, axis=0)[cut : len(values) - cut].mean(axis=0))


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
        local = np.maximum(local, 1e-6)
        share = np.where(good, np.clip(sides.height / local, 0.0, 1.0), 0.0)
        bumps = np.clip(sides.close_by / local[..., None], *_BOUNDS)
        seen = (fit.level, fit.upright)[number]
        paper = np.asarray(fit.known[number] & fit.clear[number])
        smooth = np.asarray(fit.known[number] & fit.even[number])
        light = np.abs(seen.pale - _sheet(seen, good & paper)) < _SHADE + fit.height
        out.append(_Family(share, bumps, paper, smooth, seen.inside, fit.even[number], np.asarray(light & seen.inside)))
    return out[0], out[1]


def _sheet(sides: Sides, shown: BoolArray) -> Shares:
    """Return the density of paper near each side, as seen where lines show on most sides round about."""
    dense = shown & (filters.box(shown, 5) > 0.5 * filters.box(sides.inside, 5))
    usual = float(np.median(sides.pale[dense])) if dense.any() else 0.0
    weight = filters.gaussian(dense, 4.0)
    return np.asarray((filters.gaussian(dense * sides.pale, 4.0) + 1e-5 * usual) / (weight + 1e-5))


@dataclass(frozen=True, eq=False)
class _Row:
    """One row or column of squares, with what says whether it is there."""

    name: str
    line: _Family
    """The family of its outer line."""
    side: _Family
    """The family of the sides that lead to that."""
    outer: tuple[Any, Any]
    leads: tuple[Any, Any]
    squares: tuple[Any, Any]

    def verdict(self, visible: BoolArray) -> _Verdict:
        """Return whether the row is there."""
        seen = visible[self.squares]
        outer, leading = self.line.printed(self.outer), self.side.printed(self.leads)
        if seen.mean() < VISIBLE and (seen.sum() < 2 or self.side.known[self.leads].sum() < 4):
            goes_on = leading is not None and leading > _CERTAIN and self.side.paper[self.leads].mean() > _MOSTLY
            return _Verdict(False, surely=goes_on, out=True)
        if leading is not None:
            shown = _RATHER * leading if outer is None else max(outer * leading, 0.0) ** 0.5
            both = outer is not None or self.side.paper[self.leads].mean() > _MOSTLY
            if shown < _NONE:
                return _Verdict(False, bare=True)
            return _Verdict(True if shown > _THERE else None, surely=bool(both and shown > _CERTAIN))
        outer, leading = self.line.smoothly(self.outer), self.side.smoothly(self.leads)
        light = bool(self.side.light[self.leads].mean() > _LIGHT)
        if outer is not None and leading is not None and light and min(outer, leading) > _EVENLY:
            return _Verdict(True, lined=True, light=light)
        if outer is not None and leading is not None and light and max(outer, leading) < _NOTHING:
            return _Verdict(False, bare=True)
        outer, leading = self.line.evenly(self.outer), self.side.evenly(self.leads)
        firm = leading is not None and min(leading, leading if outer is None else outer) > _EVENLY
        if firm and outer is not None:
            return _Verdict(True, lined=True, firm=True, light=light)
        dark, leading_dark = self.line.as_dark(self.outer), self.side.as_dark(self.leads)
        if leading_dark is None:
            return _Verdict(None, light=light)
        if dark is None and leading is not None and leading < _CERTAIN:
            return _Verdict(None, light=light)
        # grain along a table makes an outer line, too
        share = leading_dark if dark is None else (min(dark, leading_dark) + 2 * leading_dark) / 3
        lined = dark is not None and dark > _ALL_ALONG
        # no lines lead to the edge of a sheet
        led = leading is None or leading > _NOTHING
        there = True if share > _MOST or (lined and light and led) else None
        return _Verdict(there, lined=lined, firm=firm, light=light)


@dataclass(frozen=True)
class _Verdict:
    """Whether a row of squares is there by itself; None if that is hardly seen."""

    there: bool | None
    surely: bool = False
    """It is there whatever was seen before it, or goes on there beyond the picture."""
    lined: bool = False
    """Its outer line is seen all along, or wherever nothing hides it."""
    bare: bool = False
    """Clean paper is seen in it instead."""
    firm: bool = False
    """Even ground shows it, as far as the picture goes."""
    out: bool = False
    """The picture hardly shows it."""
    light: bool = False
    """Between marks it is as light as paper near by."""


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
    families = _families(fit, single)
    visible = squares_inside(fit, shape)
    good = filters.gaussian(fit.good[0], 4.0)[:-1] * filters.gaussian(fit.good[1], 4.0)[:-1].T
    row, col = (int(k) for k in np.unravel_index(int(good.argmax()), good.shape))
    last = {"top": 0, "left": 0, "bottom": fit.squares[0], "right": fit.squares[1]}
    start = {"top": row, "left": col, "bottom": row + 1, "right": col + 1}
    window = {"top": max(0, row - _START), "left": max(0, col - _START)}
    window |= {"bottom": min(last["bottom"], row + _START + 1), "right": min(last["right"], col + _START + 1)}
    before: dict[str, int] = {}
    for _ in range(_MOST_ROUNDS):
        if window == before:
            break
        before = dict(window)
        for name, first in start.items():
            outward = -1 if name in ("top", "left") else 1
            ends = range(first, last[name], outward)
            rows = [_row(families, {**window, name: end}, name).verdict(visible) for end in ends]
            window[name] = first + outward * _rows_there(rows)
    shown = whole_squares(fit.nodes, shape, 0.5 * fit.pitch)
    beyond = [_row(families, window, name) for name in window if window[name] != last[name]]
    unsure = tuple(
        row.name
        for row in beyond
        if shown[row.squares].mean() > 0.3
        and (row.side.known[row.leads].mean() < 0.3 or row.side.share[row.leads].mean() > 0.15)
    )
    outermost = {
        name: _row(families, {**window, name: end + (1 if name in ("top", "left") else -1)}, name).verdict(visible)
        for name, end in window.items()
    }
    lined = tuple(name for name, row in outermost.items() if row.there and row.lined)
    return Extent(window["top"], window["left"], window["bottom"], window["right"], unsure, lined)


def cut_short(span: Extent, fit: Fit, shape: tuple[int, int]) -> tuple[str, ...]:
    """Return the edges at which the squares end only because the mesh does, while a picture of ``shape`` goes on."""
    ends = {"top": 0, "left": 0, "bottom": fit.squares[0], "right": fit.squares[1]}
    shown = whole_squares(fit.nodes, shape, 0.0)
    rims = {"top": shown[0], "left": shown[:, 0], "bottom": shown[-1], "right": shown[:, -1]}
    return tuple(name for name, end in ends.items() if getattr(span, name) == end and rims[name].mean() > VISIBLE)


def _row(families: tuple[_Family, _Family], window: dict[str, int], name: str) -> _Row:
    """Return the first row of squares beyond an edge of a rectangle."""
    level, inward = name in ("top", "bottom"), name in ("top", "left")
    first, last = (window["left"], window["right"]) if level else (window["top"], window["bottom"])
    row = window[name] - 1 if inward else window[name]
    along = slice(first, last)
    line, side = families if level else families[::-1]
    squares = (row, along) if level else (along, row)
    return _Row(name, line, side, (row if inward else row + 1, along), (slice(first, last + 1), row), squares)


def _rows_there(rows: list[_Verdict]) -> int:
    """Return how many rows, from the inside out, are there.

    Lines that surely come back do so behind marks, whatever was seen before them. Of rows that are hardly seen those
    close to where most is seen are there, those that lines come back after, and one whose outer line is seen all along
    with bare paper beyond: that is no edge of a sheet.
    """
    count = max((k - row.out for k, row in enumerate(rows, 1) if row.surely), default=0)
    for k, row in enumerate(rows[count:], count):
        if row.there is False:
            return k
        before_paper = row.lined and k + 1 < len(rows) and rows[k + 1].bare
        if not (row.there or k < _START or before_paper or _come_back(rows[k:])):
            return k
    return len(rows)


def _come_back(rows: list[_Verdict]) -> bool:
    """Return whether lines come back after a row that is hardly seen.

    They do if the next row shows them, or two do after more hidden rows on paper, or `_SURELY_BACK` after a few others;
    a table hardly shows them in so many. Where the picture ends before, even ground must show them.
    """
    hidden = next((k for k, row in enumerate(rows) if row.there is not None), len(rows))
    light = all(row.light for row in rows[:hidden])
    needed = 1 if hidden == 1 else 2 if light else _SURELY_BACK
    if hidden > _MOST_HIDDEN and not light:
        return False
    back = rows[hidden : hidden + needed]
    if [row.there for row in back] == [True] * needed:
        return True
    shown = [row for row in back if not row.out]
    return 0 < len(shown) < needed and all(row.there and row.firm for row in shown)


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
