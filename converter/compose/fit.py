"""Fitting borders: which openings are possible, what they cost, and the best plans in order.

1. Each axis on its own has *chains*: a pad row or none, and a gap before every band. A chain fixes the opening of
   every band along that axis. With a given outer size the first gap takes up what the others leave.
2. The cost of a plan is the cost of the two chains, a surcharge if the gaps of the two axes differ, and the cost of
   the best ring for every band (`search`), which depends on its opening alone.
3. All pairs of chains are added up at once and sorted. One band gives a list of different plans (kind of corner,
   column at the corner, move), each with its cheapest gaps; several bands give the cheapest pairs of chains.
4. A plan in a narrow place, where corner and middle come near each other, is drawn and judged again as a whole
   before it is handed out; one that fails is left out.
5. Where nothing is clean for the size, middle pieces may stand on two sides only; failing that, the strip is fitted
   as it comes, and the plan says so; if a fixed outer size leaves too little room, rows of the strip are left out.

A row left out costs 4; the other costs stand in `chains`, `sides`, `search` and `profile`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice

import numpy as np

from converter.compose.bands import Band, FittedBand, FittedStrip, StripBand, as_band, as_corners
from converter.compose.catalogue import Strip
from converter.compose.chains import Chain, chain_costs, fixed_chains, free_chains
from converter.compose.frieze import primitive_tile
from converter.compose.plan import BorderPlan
from converter.compose.profile import MOST_CLASH, profile_of
from converter.compose.ring import NO_LINES
from converter.compose.search import CornerSearch, Costs
from converter.compose.sides import Corner, Move
from converter.errors import RequestError, UsageError, quoted
from converter.model.arrays import CellArray, LineArray, as_cells
from converter.model.chart import MAX_SIDE, Chart

DROPPED_ROW_COST = 4.0
NO_CLEAN_PLACE_COST = 10.0

MOST_BORDERS = 12
MOST_ALIKE = 2
"""Plans that differ by the column at the corner alone."""
MOST_TURNED = 3
"""Plans with turned corners that a list is kept open for."""

MOVES = ("gap", "unequal", "pad", "middle", "reversal", "widen", "centre", "bare", "cut", "depth")
"""What may be changed to make a border fit; ``gap``: by one or two stitches, ``unequal``: differently across and up;
``bare``: nothing between the corner pieces of a side too short for a run; ``cut``: pieces of a strip that has no clean
corner or middle for the size; ``depth``: rows of the strip left out."""


@dataclass(frozen=True, eq=False)
class _Middle:
    cells: CellArray
    lines: LineArray
    given: bool


def _as_middle(motif: object) -> _Middle:
    if isinstance(motif, Chart):
        return _Middle(motif.cells, motif.lines, True)
    size = motif.tolist() if isinstance(motif, np.ndarray) and motif.ndim == 1 else motif
    if isinstance(size, (tuple, list)) and len(size) == 2 and all(isinstance(v, (int, np.integer)) for v in size):
        rows, cols = int(size[0]), int(size[1])
        if rows < 1 or cols < 1:
            raise UsageError(f"A motif of {cols} x {rows} stitches is none.", "Give rows and columns of 1 and more.")
        return _Middle(np.zeros((rows, cols), dtype=np.bool_), NO_LINES, True)
    if motif is None:
        return _Middle(np.zeros((1, 1), dtype=np.bool_), NO_LINES, False)
    return _Middle(as_cells(motif, "motif"), NO_LINES, True)


def _as_gaps(gap: int | Sequence[int], count: int) -> tuple[int, ...]:
    gaps = (gap,) * count if isinstance(gap, (int, np.integer)) else tuple(gap)
    if len(gaps) != count:
        raise UsageError(f"{len(gaps)} gaps were given for {count} borders.", "Give one gap, or one for each border.")
    if any(isinstance(g, bool) or not 0 <= g <= 200 for g in gaps):
        raise UsageError(f"A gap of {max(gaps, key=abs)} stitches is outside 0 to 200.")
    return tuple(int(g) for g in gaps)


def _narrow(ring: FittedBand) -> bool:
    """Return whether corner and middle of a ring are so near each other that their places in the tables overlap."""
    if not isinstance(ring, FittedStrip) or ring.ring.profile.lenient:
        return False
    profile = ring.ring.profile
    if profile.separate and 2 * profile.measure.widest < profile.period:
        # A repeat of several small pieces: what is cut at one place may only show beyond the window of the table.
        return True
    repeat = max(profile.period, profile.measure.widest)
    for side in (ring.ring.level, ring.ring.upright):
        if side.move is Move.CENTRE and (side.length - side.piece) // 2 - side.space < profile.depth + 3 + repeat:
            return True
        if side.length < 2 * (profile.depth + 3) + repeat:
            return True
    return False


def _sound(rings: tuple[FittedBand, ...]) -> bool:
    for ring in rings:
        if _narrow(ring):
            broken, clash = ring.drawn_check()
            if broken or clash > MOST_CLASH:
                return False
    return True


def _with_turned(
    found: list[tuple[float, int, int, int, int]], searches: Sequence[CornerSearch], count: int
) -> list[tuple[float, int, int, int, int]]:
    """Sort candidates and see to it that the best turned ones, dear as they are, come among the first ``count``."""
    seen: dict[tuple[int, ...], int] = {}
    varied = []
    for entry in sorted(found):
        # Beyond a few, plans that differ by the column at the corner alone say nothing new.
        alike = (entry[1], entry[4], entry[3])
        seen[alike] = seen.get(alike, 0) + 1
        if seen[alike] <= MOST_ALIKE:
            varied.append(entry)
    found = varied
    turned = [f for f in found if searches[f[1]].corner is Corner.TURNED]
    others = [f for f in found if searches[f[1]].corner is not Corner.TURNED]
    room = max(count - min(MOST_TURNED, len(turned)), 1)
    return [*others[:room], *turned, *others[room:]]


_Candidate = tuple[float, int, int, tuple[FittedBand, ...]]


def _single(band: StripBand, across: list[Chain], up: list[Chain], pairs: Costs, count: int) -> Iterator[_Candidate]:
    """Yield candidates for one strip, cheapest first: one for every kind of corner, first column and move."""
    widths = [c.openings[0] for c in across]
    heights = [c.openings[0] for c in up]
    found: list[tuple[float, int, int, int, int]] = []
    shapes = []
    for number, search in enumerate(band.searches):
        costs = band.costs(search, widths, heights)
        costs += pairs[:, :, None, None, None, None]
        flat = costs.reshape(len(across) * len(up), -1)
        where = flat.argmin(axis=0)
        best = flat[where, np.arange(flat.shape[1])]
        shapes.append(costs.shape[2:])
        good = np.flatnonzero(np.isfinite(best))
        pairs_of_moves = len(Move) ** 2
        values = (np.round(best[good], 9).tolist(), good.tolist(), where[good].tolist())
        found += [(cost, number, g, pair, g % pairs_of_moves) for cost, g, pair in zip(*values, strict=True)]
    for cost, number, structure, pair, _ in _with_turned(found, band.searches, count):
        i, j = divmod(pair, len(up))
        first_x, first_y, move_x, move_y = (int(v) for v in np.unravel_index(structure, shapes[number]))
        ring = band.searches[number].ring(widths[i], heights[j], (first_x, first_y, move_x, move_y), cost)
        fitted: FittedBand = FittedStrip(ring, band.dropped, band.rows_left_out)
        yield cost + band.extra_cost, i, j, (fitted,)


def _several(bands: list[Band], across: list[Chain], up: list[Chain], pairs: Costs) -> Iterator[_Candidate]:
    """Yield candidates for several bands, cheapest first."""
    total = pairs.copy()
    for at, band in enumerate(bands):
        widths = sorted({c.openings[at] for c in across})
        heights = sorted({c.openings[at] for c in up})
        costs = band.best_costs(widths, heights)
        x = np.searchsorted(widths, [c.openings[at] for c in across])
        y = np.searchsorted(heights, [c.openings[at] for c in up])
        total += costs[x[:, None], y[None, :]]
    order = np.argsort(total, axis=None, kind="stable")
    for flat in order.tolist():
        i, j = divmod(flat, len(up))
        if not np.isfinite(total[i, j]):
            return
        rings = tuple(band.best_ring(across[i].openings[at], up[j].openings[at]) for at, band in enumerate(bands))
        yield float(total[i, j]), i, j, rings


def _candidates(
    bands: list[Band], across: list[Chain], up: list[Chain], moves: frozenset[str], fixed: bool, count: int
) -> Iterator[_Candidate]:
    if not across or not up:
        return iter(())
    pairs = chain_costs(across, up, moves, fixed)
    if len(bands) == 1 and isinstance(bands[0], StripBand):
        return _single(bands[0], across, up, pairs, count)
    return _several(bands, across, up, pairs)


def _one_axis(bands: list[Band]) -> Iterator[list[Band]]:
    """Yield the bands with middle pieces allowed on two of the four sides."""
    yield [replace(band, one_axis=True) if isinstance(band, StripBand) else band for band in bands]


def _as_they_come(bands: list[Band]) -> Iterator[list[Band]]:
    """Yield the bands with every corner and fold allowed, however it looks, and words that say so."""
    relaxed: list[Band] = []
    for band in bands:
        if isinstance(band, StripBand):
            band = StripBand(
                profile_of(band.profile.strip, lenient=True),
                band.corners,
                "this strip has no clean corner or middle for this size: some of its pieces are cut",
                NO_CLEAN_PLACE_COST,
                barred=band.barred,
            )
        relaxed.append(band)
    yield relaxed


def _shallower(bands: list[Band]) -> Iterator[list[Band]]:
    """Yield the bands with rows of the deepest strip left out, as few as possible, from the inside first."""
    strips = [(band.depth, -at) for at, band in enumerate(bands) if isinstance(band, StripBand)]
    if not strips:
        return
    depth, at = max(strips)
    at = -at
    band = bands[at]
    assert isinstance(band, StripBand)
    for drop in range(1, depth):
        for first in (0, drop):
            tile = band.profile.tile[first : first + depth - drop]
            if not tile.any():
                continue
            strip = Strip(band.profile.strip.name, primitive_tile(tile), band.profile.strip.kind)
            gone = f"{drop} row{'s' if drop > 1 else ''} left out on the {'outside' if first else 'inside'}"
            thin = StripBand(
                profile_of(strip),
                band.corners,
                f"{gone}, so that the strip is {depth - drop} deep",
                DROPPED_ROW_COST * drop,
                drop,
                band.barred,
            )
            yield [*bands[:at], thin, *bands[at + 1 :]]


def _is_mirrored(cells: CellArray) -> bool:
    return np.array_equal(cells, cells[:, ::-1]) and np.array_equal(cells, cells[::-1])


def fit_borders(
    motif: object,
    strip: object,
    gap: int | Sequence[int] = 3,
    outer: tuple[int, int] | None = None,
    count: int = 20,
    *,
    corners: Sequence[str] | str | None = None,
    slack: int = 2,
    moves: Sequence[str] = MOVES,
    double_middle: bool = False,
) -> list[BorderPlan]:
    """Fit one or several borders round a motif, so that the repeats come out even and the corners look right.

    Parameters
    ----------
    motif : ndarray of shape (rows, cols), bool, or (rows, cols), or Chart, or None
        What stands in the middle. With a size alone the middle stays bare. None needs ``outer``: the borders are
        then put just inside it.
    strip : ndarray of shape (d, p), bool, or str, or list of these
        A repeat with row 0 outside, the name of a built-in strip, ``line`` or ``double line`` for a frame in
        backstitch, or a list of them from the inside out.
    gap : int or sequence of int
        Blank cells between motif and border, and before each further border.
    outer : (rows, cols), optional
        Size that must be filled to the stitch; the first gap then takes what is left.
    count : int
        Longest list wanted.
    corners : str or sequence of str, optional
        Kinds of corner allowed: ``mitre``, ``block``, ``turned``; all by default.
    slack : int
        How far a gap may differ from the wish, 0 to 2.
    moves : sequence of str
        What may be changed, out of `MOVES`.
    double_middle : bool
        A motif with both mirrors gets its middle column or row doubled instead of a blank one beside it.

    Returns
    -------
    plans : list of BorderPlan
        Best first; ties in the order mitre, block, turned, then by column of the repeat. ``plan.cells`` is the
        whole composed grid with the motif in place, ``plan.border_cells`` the borders alone on the same grid.

    Raises
    ------
    RequestError
        If the outer size leaves no room.
    UsageError
        If an argument is wrong.

    Examples
    --------
    >>> plan = fit_borders((15, 15), "zigzag")[0]
    >>> plan.symmetry, plan.deviations
    ('D4', ())
    """
    middle = _as_middle(motif)
    _check(slack, count, moves)
    values = list(strip) if isinstance(strip, (list, tuple)) else [strip]
    if not values:
        raise UsageError("No strip was given.", "Name one, or give a grid.")
    if len(values) > MOST_BORDERS:
        raise UsageError(f"{len(values)} borders are too many.", f"Up to {MOST_BORDERS} can be put round a motif.")
    allowed = frozenset(moves)
    barred = frozenset(m for m in Move if m is not Move.PLAIN and m.name.lower() not in allowed)
    bands: list[Band] = [as_band(value, as_corners(corners), barred) for value in values]
    wanted = _as_gaps(gap, len(bands))
    if outer is not None:
        outer = _checked_outer(outer, middle, bands, wanted)
    elif not middle.given:
        raise UsageError("Neither a motif nor an outer size was given.")
    pads = (0, 1) if "pad" in allowed else (0,)
    doubled = double_middle and _is_mirrored(middle.cells) and not len(middle.lines)

    shallower = _shallower(bands) if outer is not None and "depth" in allowed else iter(())
    uncut = _one_axis(bands) if "centre" in allowed else iter(())
    for chosen in chain([bands], uncut, _as_they_come(bands) if "cut" in allowed else iter(()), shallower):
        depths = [band.depth for band in chosen]
        cells = middle.cells
        if outer is not None and not middle.given:
            cells = _bare_middle(outer, depths, wanted)
        rows, cols = cells.shape
        if outer is None:
            across = free_chains(cols, depths, wanted, slack if "gap" in allowed else 0, pads)
            up = free_chains(rows, depths, wanted, slack if "gap" in allowed else 0, pads)
        else:
            across = fixed_chains(cols, depths, wanted, slack, (0, 1), outer[1])
            up = fixed_chains(rows, depths, wanted, slack, (0, 1), outer[0])
        sound = (c for c in _candidates(chosen, across, up, allowed, outer is not None, count) if _sound(c[3]))
        offered = (
            BorderPlan(
                motif=cells,
                motif_lines=middle.lines,
                rings=rings,
                across=across[i].gaps,
                up=up[j].gaps,
                wanted=wanted,
                cost=round(cost, 6),
                fixed=outer is not None,
                doubled=doubled,
            )
            for cost, i, j, rings in sound
        )
        plans = _told_apart(islice(_different(offered), count))
        if plans:
            break
    if not plans:
        raise _no_plan(middle, bands, wanted, outer)
    if max(plans[0].shape) > MAX_SIDE:
        raise RequestError(f"With its borders the piece is over {MAX_SIDE} stitches a side.")
    return plans


def _different(plans: Iterator[BorderPlan]) -> Iterator[BorderPlan]:
    """Leave out plans that come to the same stitches as an earlier one by other means."""
    seen: set[tuple[tuple[int, int], bytes]] = set()
    for plan in plans:
        key = (plan.shape, plan.border_cells.tobytes())
        if key not in seen or plan.border_lines.size:
            seen.add(key)
            yield plan


def _told_apart(plans: Iterable[BorderPlan]) -> list[BorderPlan]:
    """Let a plan with the same words as an earlier one say so."""
    told: list[BorderPlan] = []
    first: dict[str, int] = {}
    for number, plan in enumerate(plans, 1):
        like = first.setdefault(plan.describe(), number)
        told.append(plan if like == number else replace(plan, like=like))
    return told


def _bare_middle(outer: tuple[int, int], depths: Sequence[int], wanted: Sequence[int]) -> CellArray:
    deep = 2 * sum(depths) + 2 * sum(wanted)
    return np.zeros((max(1, outer[0] - deep), max(1, outer[1] - deep)), dtype=np.bool_)


def _check(slack: int, count: int, moves: Sequence[str]) -> None:
    if isinstance(slack, bool) or slack not in (0, 1, 2):
        raise UsageError(f"slack is {quoted(slack)}.", "It goes from 0 to 2 stitches.")
    if isinstance(count, bool) or not isinstance(count, (int, np.integer)) or count < 1:
        raise UsageError(f"count is {quoted(count)}.", "Ask for at least one plan.")
    for move in moves:
        if move not in MOVES:
            raise UsageError(f"moves holds '{move}'.", f"Choose from {', '.join(MOVES)}.")


def _checked_outer(
    outer: tuple[int, int], middle: _Middle, bands: Sequence[Band], wanted: Sequence[int]
) -> tuple[int, int]:
    if len(outer) != 2 or any(isinstance(v, bool) or int(v) != v or v < 1 for v in outer):
        raise UsageError(f"outer is {quoted(outer)}.", "Give rows and columns.")
    size = (int(outer[0]), int(outer[1]))
    if max(size) > MAX_SIDE:
        raise RequestError(f"{size[1]} x {size[0]} stitches is over {MAX_SIDE} a side.")
    least = 2 * sum(min(g, 1) for g in wanted)
    rows, cols = middle.cells.shape
    deep = 2 * sum(max(1, band.depth) if isinstance(band, StripBand) else band.depth for band in bands)
    for across, have, need in (("across", size[1], cols), ("up and down", size[0], rows)):
        if have < need + least + 2 * len(bands) and have < need + least + deep:
            raise RequestError(
                f"There is room for {have} stitches {across}; the motif and its border need {need + least + deep}.",
                "Take a larger size or smaller margins, a smaller motif or a shallower strip.",
            )
    return size


def _no_plan(
    middle: _Middle, bands: Sequence[Band], wanted: Sequence[int], outer: tuple[int, int] | None
) -> RequestError:
    rows, cols = middle.cells.shape
    deep = sum(band.depth for band in bands)
    if outer is not None:
        return RequestError(
            f"No border {deep} deep fits between a motif of {cols} x {rows} and {outer[1]} x {outer[0]} stitches.",
            "Take a larger outer size, a smaller motif or a shallower strip.",
        )
    return RequestError(
        f"No border {deep} deep comes out even round a motif of {cols} x {rows} with gap {wanted[0]}.",
        "Allow more moves, another gap or other corners.",
    )
