"""Doubtful squares, looked at again with what the sure ones have shown of the marks on this sheet.

Strength is one number for every kind of mark on every kind of paper. The sure squares tell more: what a mark looks like
here, and how paper varies. Of all fields of a square together the weighted sum is taken that parts the two best for how
much they vary (Fisher's linear discriminant); it is 0 for the usual bare square and 1 for the usual mark of a kind, and
the border lies where fewest squares do. In the edge of a shadow all that a soft edge as high as that one may do to a
square counts as variation of paper, so that it says nothing.

A square changes sides only if it also looks like what it is to be: what neither paper nor mark explains stays.

Source: R. A. Fisher, "The use of multiple measurements in taxonomic problems", Annals of Eugenics 7, 1936.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import numpy.typing as npt

from converter.squares import filters, kinds
from converter.squares.density import FloatArray
from converter.squares.marks import Marking
from converter.squares.overlooked import overlooked
from converter.squares.patches import FlatSheet

BoolArray = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]

ASKED = 0.2
"""Doubt from which a square is looked at again."""
_FIELDS, _HUES = 7, 2
"""Fields a side of a square, and numbers for its mean colour."""
_RIM = 0.08
"""Part of a square at each side that the printed line takes."""
_SURE_BARE, _SURE_MARK = 0.25, 0.6
"""Doubt under which bare squares and marks teach."""
_OVERLOOKED = 0.5
"""Doubt of marks that their shape alone tells."""
_FEWEST_BARE, _FEWEST_MARKS, _FEWEST_OF_KIND = 30, 6, 5
_POOL = 500
"""Squares of a sort that teach at most."""
_USUAL_PAPER = 0.97
"""Share of the bare squares that say how paper varies: the farthest may hold something."""
_RIDGE = 0.05
"""Variation that every field has besides, as part of the usual."""
_OF_MARKS = 0.3
"""Weight of how marks vary against how paper does."""
_HEIGHTS = (0.05, 0.1, 0.2, 0.4)
"""Heights of the edge of a shadow, in density, that are told apart."""
_HIGHER = 1.4
"""How many times higher the edge may be inside of a square than from it to the next."""
_EDGE_WEIGHT = 2.0
"""Weight of what the edge does against what paper does."""
_APART = 3.0
"""Spreads of paper that the border must lie above it at least."""
_BORDER_AT_MOST, _MIDDLE_AT_MOST = 0.7, 0.45
"""Highest border, and up to where the one nearest to paper may have to lie."""
_CLEARLY = 0.2
"""Part of the way from the border to the usual square that a square must lie beyond it to change sides."""
_AS_UNLIKE = 1.3
"""How many times more unlike the usual one than those that teach a square may be."""
_MUCH_PALER = 0.5
"""Strength, as part of that of the palest marks of its kind, up to which the edge of a shadow may be taken for one."""


@dataclass(frozen=True, eq=False)
class _Verdict:
    """What a kind of mark says of some squares."""

    beyond: Floats
    """How far beyond the border, as part of the way to the usual mark or, below 0, to the usual bare square."""
    as_mark: BoolArray
    """It looks like a mark of the kind, apart from how strong it is."""
    as_paper: BoolArray


def look_again(sheet: FlatSheet, marking: Marking, outside: BoolArray) -> Marking:
    """Return the marking with doubtful squares decided by what sure ones look like, and marks that were overlooked.

    The former stay as doubtful as they were, the latter are doubtful.

    Parameters
    ----------
    sheet : FlatSheet
    marking : Marking
        As strength alone tells.
    outside : ndarray of shape (rows, cols), bool
        Squares not in the picture.
    """
    fields = _fields(sheet, marking.paper)
    asked = ~outside & (marking.doubt >= ASKED)
    bare = ~outside & ~marking.marked & ~marking.edge
    faint = np.zeros_like(bare)
    faint[bare] = overlooked(fields[bare][:, : _FIELDS**2], _FIELDS)
    if faint.any():
        marking = replace(
            marking, marked=marking.marked | faint, doubt=np.where(faint, _OVERLOOKED, marking.doubt)
        )  # fmt: skip
        asked |= bare
    bare &= ~faint & (marking.doubt < _SURE_BARE)
    sure = ~outside & marking.marked & (marking.doubt < _SURE_MARK)
    if not asked.any() or bare.sum() < _FEWEST_BARE or sure.sum() < _FEWEST_MARKS:
        return marking
    height = _height_class(marking)
    sorts, _found = kinds.sort_kinds(sheet, marking.paper, sure)
    numbers = [k for k in range(1, int(sorts.max()) + 1) if (sorts == k).sum() >= _FEWEST_OF_KIND]
    marks_of = [sorts == k for k in numbers] or [sure]
    paper = kinds.some_of(fields[bare], _POOL)
    usual = np.median(paper, axis=0)
    spread = _variation(paper - usual)
    best = np.full(marking.marked.shape, -np.inf)
    as_mark, as_paper, pale = np.zeros_like(asked), np.zeros_like(asked), np.zeros(asked.shape)
    for members in marks_of:
        typical = kinds.some_of(fields[members], _POOL) - usual
        palest = float(np.quantile(marking.strength[members], 0.1))
        for step in np.unique(height[asked]):
            # of others only those in the same edge of a shadow say something, and unsure ones
            here = (height == step) & ~outside & (asked | (marking.doubt >= _SURE_BARE) | (step > 0))
            verdict = _verdict(
                fields[here] - usual, paper - usual, typical, spread, float(step),
                marking.marked[here], marking.doubt[here] >= _SURE_BARE,
            )  # fmt: skip
            if verdict is None:
                continue
            more = verdict.beyond > best[here]
            for whole, part in (
                (best, verdict.beyond), (as_mark, verdict.as_mark), (as_paper, verdict.as_paper),
                (pale, np.full(len(more), palest)),
            ):  # fmt: skip
                whole[here] = np.where(more, part, whole[here])
    up = asked & ~marking.marked & (best > _CLEARLY) & as_mark
    down = asked & marking.marked & np.isfinite(best) & (best < -_CLEARLY) & as_paper
    down &= ~marking.edge | (marking.strength < _MUCH_PALER * pale)
    return replace(marking, marked=(marking.marked | up) & ~down)


def _fields(sheet: FlatSheet, paper: FloatArray) -> Floats:
    """Return (rows, cols, fields) density above paper of the fields of each square, and its mean colour."""
    cut = max(1, round(sheet.side * _RIM))
    inside = sheet.squares[:, :, cut:-cut, cut:-cut]
    above = kinds.field_means(inside, _FIELDS) - paper[:, :, None, None, :]
    tone = above.mean(axis=-1)
    hue = (above - tone[..., None]).mean(axis=(2, 3))[..., :_HUES]
    return np.concatenate([tone.reshape(*tone.shape[:2], -1), hue], axis=-1).astype(np.float64)


def _height_class(marking: Marking) -> Floats:
    """Return (rows, cols) how high the edge of a shadow may be in each square, 0 where there is none."""
    rise = _HIGHER * filters.highest(marking.rise, 3)
    steps = np.array(_HEIGHTS)
    nearest = steps[np.abs(np.log(np.maximum(rise, 1e-6))[..., None] - np.log(steps)).argmin(axis=-1)]
    return np.where(marking.edge, nearest, 0.0)


def _variation(apart: Floats) -> Floats:
    """Return the (fields, fields) covariance of (n, fields) differences from the usual one, outliers left out."""
    far = (apart**2).sum(axis=1)
    kept = apart[far <= np.quantile(far, _USUAL_PAPER)]
    own = kept.T @ kept / len(kept)
    return np.asarray(own + np.eye(len(own)) * (_RIDGE * np.trace(own) / len(own) + 1e-7))


@cache
def _soft_edges() -> Floats:
    """Return the (fields, fields) second moments of what a soft edge of height 1 does, however it crosses a square."""
    at = (np.arange(_FIELDS) - (_FIELDS - 1) / 2) / _FIELDS
    down, right = np.meshgrid(at, at, indexing="ij")
    way = np.linspace(0, 2 * np.pi, 24, endpoint=False)[:, None, None, None, None]
    off = np.linspace(-0.8, 0.8, 9)[:, None, None, None]
    softness = np.array([0.04, 0.12, 0.3])[:, None, None]
    place = right * np.cos(way) + down * np.sin(way) - off
    edges = (0.5 + 0.5 * np.tanh(place / softness)).reshape(-1, _FIELDS**2)
    return np.pad(edges.T @ edges / len(edges), (0, _HUES))


def _verdict(
    asked: Floats,
    paper: Floats,
    typical: Floats,
    spread: Floats,
    height: float,
    marked: BoolArray,
    unsure: BoolArray,
) -> _Verdict | None:
    """Return what a kind of mark says of some squares; None if it cannot be told from paper there.

    Parameters
    ----------
    asked, paper, typical : ndarray of shape (n, fields), (p, fields) and (q, fields)
        Squares in question, bare ones and marks of the kind, less the usual bare square.
    spread : ndarray of shape (fields, fields)
        How paper varies.
    height : float
        Of the edge of a shadow that may cross the squares in question; 0 for none.
    marked, unsure : ndarray of shape (n,), bool
        What strength alone says of those.
    """
    mark = np.median(typical, axis=0)
    own = typical - typical.mean(axis=0)
    varied = spread + _OF_MARKS * (own.T @ own / len(own))
    edge = _EDGE_WEIGHT * height**2 * _soft_edges()
    whitened = np.linalg.cholesky(np.linalg.inv(varied + edge))
    goal = mark @ whitened
    goal /= goal @ goal
    (here, unlike), (of_paper, paper_unlike), (of_marks, mark_unlike) = (
        _along(np.einsum("ij,jk->ik", rows, whitened), goal) for rows in (asked, paper, typical)
    )
    grain, mark_spread = _usual_miss(of_paper) + 0.01, _usual_miss(of_marks) + 0.03
    if height:
        beside = here[~marked & (here < 0.5)]
        weights = whitened @ goal
        by_edge = float(np.sqrt(grain**2 + 0.25 * weights @ edge @ weights))
        grain = max(grain, _usual_miss(beside)) if len(beside) >= 15 else by_edge
        middle = grain / (grain + mark_spread)
        border = float(np.clip(middle, min(_APART * grain, 0.5), 0.6))
    else:
        border = _emptiest(np.concatenate([of_paper, of_marks, here[unsure]]), grain)
    if border < _APART * grain:
        return None
    beyond = (here - border) / np.where(here > border, 1 - border, border)
    # what no mark explains of bare squares in the edge of a shadow is left over of marks there as well
    rest = float(np.median(unlike[~marked])) if height and not marked.all() else 0.0
    as_mark = unlike < np.hypot(_AS_UNLIKE * np.quantile(mark_unlike, 0.9), rest)
    as_paper = unlike < _AS_UNLIKE * np.quantile(paper_unlike, 0.98)
    return _Verdict(beyond, np.asarray(as_mark), np.asarray(as_paper))


def _along(rows: Floats, goal: Floats) -> tuple[Floats, Floats]:
    """Return how far each of (n, fields) goes along the way to the usual mark, and how far it lies off that way."""
    part = rows @ goal
    length = 1 / float(goal @ goal)
    return part, np.sqrt(np.maximum((rows**2).sum(axis=1) - part**2 * length, 0.0))


def _usual_miss(values: Floats) -> float:
    """Return the spread of values about their middle, as a standard deviation."""
    return 1.48 * float(np.median(np.abs(values - np.median(values)))) if len(values) else 0.0


def _emptiest(values: Floats, grain: float) -> float:
    """Return the place between paper, 0, and the usual mark, 1, where fewest of some squares lie."""
    places = np.linspace(0.0, 1.0, 81)
    near = (places[:, None] - np.clip(values, -1.0, 2.0)) / max(0.05, grain)
    crowd = np.exp(-0.5 * near**2).sum(axis=1)
    fair = (places >= min(_APART * grain, _MIDDLE_AT_MOST)) & (places <= _BORDER_AT_MOST)
    return float(places[fair & (crowd <= crowd[fair].min() + 0.3)].mean())
