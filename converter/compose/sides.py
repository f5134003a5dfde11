"""One side of a ring: how the strip fills exactly ``n`` columns, and what that costs.

Except in a turned border a side is built as one half and its reflection, so that it is symmetric to the last
stitch whatever its length. The half begins at the corner with column ``phi`` of the repeat and runs to the fold in
the middle. The fold stands at half column ``f = 2 phi + n - 1``. If that is a mirror axis of the strip (``f = a``
modulo the period) the fold cannot be seen and the side is *plain*. If not, one of these moves makes it fit:

- *middle*: the fold stands half a column off an axis, so one column more or less stands in the middle; between
  separate pieces the space in the middle may differ by more;
- *reversal*: the strip turns back on itself somewhere else; the only way for strips without an upright mirror;
- *widen*: ``r`` columns in each half are doubled, or blank columns set in between separate pieces, evenly spread;
- *centre*: a piece of its own covers the middle.

A side of a *turned* border is not folded: it runs from corner to corner and each side is the last one turned by a
quarter.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from converter.compose.profile import MOST_CLASH, Profile, Spot
from converter.compose.rosettes import middle_piece, middle_width
from converter.model.arrays import CellArray

REVERSAL_COST = 3.0
MIDDLE_COST = 2.0
CENTRE_COST = 3.5
MOST_PER_PLACE = 3
"""Blank columns set in at one place between pieces."""
BLANKS = (1, 2, 3)
"""Blank columns allowed between a corner piece or middle piece and the run."""
DEEP = 10
"""From this depth on a fourth blank column still looks right at a corner piece."""
MORE_BLANKS = (4, 5, 6)
"""Where the side is too short for anything else."""


class Corner(IntEnum):
    """How the strip gets round a corner."""

    MITRE = 0
    BLOCK = 1
    TURNED = 2


class Move(IntEnum):
    """What makes a side come out even."""

    PLAIN = 0
    MIDDLE = 1
    REVERSAL = 2
    WIDEN = 3
    CENTRE = 4


@dataclass(frozen=True)
class Side:
    """One side of a ring, ready to be drawn.

    Parameters
    ----------
    length : int
        Columns of the side, blank columns at its ends not counted.
    phi : int
        Column of the repeat at its beginning.
    move : Move
    extra : int
        Columns put in: in each half of a folded side, in the whole of a turned one.
    piece, space : int
        Width of the middle piece, and blank columns on each side of it.
    blanks : int
        Block corners: blank columns between corner piece and run. Turned corners of separate pieces: blank columns
        after the run.
    shift : int
        Columns more (+) or fewer (-) in the middle than at an axis of the strip.
    cost : float
    clash : int
        Foreign stitches in the half (in the whole of a turned side).
    """

    length: int
    phi: int
    move: Move
    cost: float
    clash: int
    extra: int = 0
    piece: int = 0
    space: int = 0
    blanks: int = 0
    shift: int = 0


def _slots(profile: Profile, phi: int, low: int, high: int) -> tuple[int, int]:
    """Return the first place from ``low`` on where the run can be widened, and how many there are below ``high``."""
    widening = profile.widening
    if widening is None:
        return 0, 0
    first = low + (widening.column - phi - low) % profile.period
    return first, max(0, -(-(high - first) // profile.period))


def _spread(extra: int, first: int, count: int, period: int) -> list[int]:
    """Return ``extra`` places, evenly spread over ``count`` places a period apart, in rising order."""
    each, rest = divmod(extra, count)
    chosen = {((2 * k + 1) * count) // (2 * rest) for k in range(rest)} if rest else set()
    return [first + period * i for i in range(count) for _ in range(each + (i in chosen))]


def _low(profile: Profile, corner: Corner) -> int:
    """First column after the corner that may be widened."""
    return 1 if corner is Corner.BLOCK or (profile.separate and corner is Corner.TURNED) else profile.depth + 1


def _widened(profile: Profile, phi: int, count: int, extra: int, low: int, high: int) -> CellArray:
    """Return ``count`` columns from ``phi`` with ``extra`` columns put in between places ``low`` and ``high``."""
    p = profile.period
    order = (np.arange(phi, phi + count) % p).tolist()
    if extra:
        widening = profile.widening
        assert widening is not None
        first, places = _slots(profile, phi, low, high)
        for at in reversed(_spread(extra, first, places, p)):
            order.insert(at, p if widening.blank else order[at])
    source = np.concatenate([profile.tile, np.zeros((profile.depth, 1), dtype=np.bool_)], axis=1)
    return np.ascontiguousarray(source[:, order])


def draw_side(profile: Profile, side: Side, corner: Corner) -> tuple[CellArray, CellArray]:
    """Return the side as (d, length) cells, and where a middle piece of its own stands.

    Raises
    ------
    AssertionError
        If the parts do not add up to the length, which would be a fault of the search.
    """
    d, n = profile.depth, side.length
    own = np.zeros((d, n), dtype=np.bool_)
    low = _low(profile, corner)
    if corner is Corner.TURNED:
        count = n - side.extra
        cells = _widened(profile, side.phi, count, side.extra, low, count - low)
    elif side.move is Move.CENTRE:
        run = (n - side.piece) // 2 - side.space
        half = profile.columns(side.phi, run)
        blank = np.zeros((d, side.space), dtype=np.bool_)
        piece = middle_piece(d, side.piece)
        cells = np.concatenate([half, blank, piece, blank, half[:, ::-1]], axis=1)
        own[:, run + side.space : run + side.space + side.piece] = True
    else:
        m = (n + 1) // 2 - side.extra
        half = _widened(profile, side.phi, m, side.extra, low, m - 1)
        cells = np.concatenate([half, half[:, ::-1][:, n % 2 :]], axis=1)
    assert cells.shape == (d, n)
    return cells, own


def folded_sides(profile: Profile, corner: Corner, n: int, phi: int) -> dict[Move, Side]:
    """Return the cheapest side of each move for a folded run of ``n`` columns from column ``phi``.

    Only moves whose fold, cut and widening look right are in it (`profile`).
    """
    found: dict[Move, Side] = {}
    p, a = profile.period, profile.axis
    m = (n + 1) // 2
    low = _low(profile, corner)
    if m <= low:
        return found
    f = 2 * phi + n - 1
    fold = profile.folds[f % (2 * p)]
    if fold.usable:
        if a is None:
            found[Move.REVERSAL] = Side(n, phi, Move.REVERSAL, REVERSAL_COST + fold.cost, fold.clash)
        else:
            shift = _shift(profile, f)
            if shift == 0:
                found[Move.PLAIN] = Side(n, phi, Move.PLAIN, fold.cost, fold.clash)
            elif shift is not None:
                cost = _middle_cost(shift) + fold.cost
                found[Move.MIDDLE] = Side(n, phi, Move.MIDDLE, cost, fold.clash, shift=shift)
            else:
                found[Move.REVERSAL] = Side(n, phi, Move.REVERSAL, REVERSAL_COST + fold.cost, fold.clash)
    wide = _widened_side(profile, n, phi, low)
    if wide is not None:
        found[Move.WIDEN] = wide
    centre = _centre_side(profile, n, phi, low)
    if centre is not None:
        found[Move.CENTRE] = centre
    return found


def _shift(profile: Profile, f: int) -> int | None:
    """Return how many columns more (+) or fewer (-) than at the nearest axis stand in the middle, or None.

    A running strip may be off by one column. Between separate pieces the space in the middle may be as wide or as
    narrow as still looks right, which the table of folds has settled.
    """
    assert profile.axis is not None
    p = profile.period
    off = (f - profile.axis + p // 2) % p - p // 2
    return off if profile.separate or abs(off) <= 1 else None


def _middle_cost(shift: int) -> float:
    return MIDDLE_COST + 0.75 * (abs(shift) - 1) if shift else 0.0


def _widen_cost(profile: Profile, extra: int) -> tuple[float, int]:
    widening = profile.widening
    assert widening is not None
    if widening.blank:
        return 1.0 + 0.75 * extra, 0
    return 2.0 + extra * (1.0 + widening.spot.cost), extra * widening.spot.clash


def _widened_side(profile: Profile, n: int, phi: int, low: int) -> Side | None:
    widening = profile.widening
    if widening is None:
        return None
    p, a = profile.period, profile.axis
    best: Side | None = None
    for extra in range(1, p + 1):
        m = (n + 1) // 2 - extra
        if m <= low:
            break
        places = _slots(profile, phi, low, m - 1)[1]
        if extra > places * (MOST_PER_PLACE if widening.blank else 1):
            break
        f = 2 * phi + n - 2 * extra - 1
        fold = profile.folds[f % (2 * p)]
        shift = 0 if a is None else _shift(profile, f)
        if not fold.usable or shift is None:
            continue
        cost, clash = _widen_cost(profile, extra)
        cost += fold.cost + (REVERSAL_COST if a is None else _middle_cost(shift))
        clash += fold.clash
        if clash <= MOST_CLASH and (best is None or cost < best.cost):
            best = Side(n, phi, Move.WIDEN, cost, clash, extra=extra, shift=shift)
        if best is not None and a is not None and best.shift == 0:
            break
    return best


def _centre_side(profile: Profile, n: int, phi: int, low: int) -> Side | None:
    width = middle_width(profile.depth, n % 2 == 1)
    if width is None:
        return None
    best: Side | None = None
    for space in BLANKS:
        run = (n - width) // 2 - space
        if run <= low:
            break
        last = (phi + run - 1) % profile.period
        cut = profile.end_cuts[last]
        bare = space + profile.trail[last]
        if not cut.usable or bare > BLANKS[-1]:
            continue
        cost = CENTRE_COST + cut.cost + 0.3 * (bare - 1)
        if best is None or cost < best.cost:
            best = Side(n, phi, Move.CENTRE, cost, cut.clash, piece=width, space=space)
    return best


def block_sides(profile: Profile, w: int, phi: int) -> dict[Move, Side]:
    """Return the cheapest side of each move between two corner pieces ``w`` columns apart.

    One to three blank columns stand between each corner piece and the run, four beside a deep strip; the strip's own
    spacing is preferred. A side too short for any run of whole pieces gets more.
    """
    start = profile.cuts[phi]
    found: dict[Move, Side] = {}
    if not start.usable:
        return found
    usual = min(BLANKS[-1], max(BLANKS[0], profile.trail[phi - 1]))
    usable = BLANKS[-1] + (profile.depth >= DEEP)
    for blanks in (*BLANKS, *MORE_BLANKS):
        if blanks > usable and found:
            break
        for move, side in folded_sides(profile, Corner.BLOCK, w - 2 * blanks, phi).items():
            cost = side.cost + start.cost + 0.4 * abs(blanks - usual) + max(0, blanks - usable)
            if move not in found or cost < found[move].cost:
                found[move] = Side(
                    side.length, phi, move, cost, side.clash + start.clash, side.extra, side.piece, side.space,
                    blanks, side.shift,
                )  # fmt: skip
    return found


def turned_sides(profile: Profile, w: int, phi: int) -> dict[Move, Side]:
    """Return the cheapest plain and widened side that runs through one corner.

    Separate pieces: the side begins at the outer edge, goes through its first corner and stops one to three blank
    columns before the next side. Running lines: both sides are cut along the diagonal of the corner.
    """
    found: dict[Move, Side] = {}
    d, p = profile.depth, profile.period
    widening = profile.widening
    low = _low(profile, Corner.TURNED)
    if profile.separate and not profile.cuts[phi].usable:
        return found
    for blanks in BLANKS if profile.separate else (0,):
        n = w + d - blanks if profile.separate else w + 2 * d
        for extra in range(0, p + 1):
            count = n - extra
            if count <= 2 * low:
                break
            if extra:
                if widening is None:
                    break
                places = _slots(profile, phi, low, count - low)[1]
                if extra > places * (MOST_PER_PLACE if widening.blank else 1):
                    break
            last = (phi + count - 1) % p
            spot = _turned_spot(profile, phi, last)
            if not spot.usable:
                continue
            cost, clash = _widen_cost(profile, extra) if extra else (0.0, 0)
            cost += spot.cost + 0.4 * max(0, blanks - 1)
            clash += spot.clash
            move = Move.WIDEN if extra else Move.PLAIN
            if clash <= MOST_CLASH and (move not in found or cost < found[move].cost):
                found[move] = Side(n, phi, move, cost, clash, extra=extra, blanks=blanks)
            if extra:
                break
    return found


def _turned_spot(profile: Profile, start: int, last: int) -> Spot:
    if not profile.separate:
        return profile.turned_corner(start, last)
    end = profile.end_cuts[last]
    begin = profile.cuts[start]
    if not end.usable or profile.trail[last] > 0:
        return Spot(False, 0, 0.0)
    return Spot(True, begin.clash + end.clash, begin.cost + end.cost)
