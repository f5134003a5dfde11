"""The working order of the crosses: a route that a hand can follow, and the thread measured on it.

Two orders. ``closed``, the default, never has more than two crosses open and none at the end of a length
(`route_stops`, `route_cover`, `route_search`, `route_slide`, `route_fill`, `route_full`). ``least`` works half crosses
out and the other halves back along spanning trees (`route_tree`): on one piece it uses exactly the proven minimum
(`route_bound`), and so shows how close the closed order comes. In both the directions of the legs are the best for
their order (`route_cut`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from converter.errors import RequestError, UsageError, quoted
from converter.estimate.route_bound import thread_bound
from converter.estimate.route_cut import choose_directions, move_table, taken_moves
from converter.estimate.route_geometry import EPSILON, ROOT2, Crosses, IntArray, MoveRules
from converter.estimate.route_links import Links
from converter.estimate.route_tree import SideGraph
from converter.estimate.route_work import closed_lengths
from converter.model.arrays import as_cells

ORDERS = ("closed", "least")
LEAST_START = 40.0
"""A new start never counts less than this many stitch sides, however short the tails: it takes a minute or two."""


@dataclass(frozen=True, eq=False)
class ThreadPlan:
    """A working order, cut into lengths. All lengths in stitch sides.

    Parameters
    ----------
    lengths : tuple of ndarray of shape (M, 2)
        Holes (row, col) of one cut length: up, down (a stitch in front), up, down, and so on; the moves between are
        behind the cloth. Crosses have whole holes (int64), lines may have halves (float64).
    bound : float
        Proven lower bound of ``total`` among all plans with at most as many starts.
    total : float
        Thread in all: front, back and tails.
    front, back, tails : float
        Thread in front, behind, and left at the ends.
    starts : int
        Number of lengths.
    carries : int
        Back moves longer than one side (for lines: that are not under a line).
    method : str
        What the plan is: closed, least, double or back.
    """

    lengths: tuple[Any, ...]
    bound: float
    total: float
    front: float
    back: float
    tails: float
    starts: int
    carries: int
    method: str


def check_lengths(length: float, tail: float, carry: float) -> None:
    """Raise UsageError unless working length, tail and carry are usable numbers."""
    for name, value, least in (("length", length, 0.0), ("tail", tail, 0.0), ("carry", carry, 1.0)):
        if isinstance(value, bool) or not isinstance(value, (int, float, np.integer, np.floating)):
            raise UsageError(f"{name} must be a number, not {quoted(value)}.")
        if not np.isfinite(value) or value < least:
            raise UsageError(f"{name} is {value}.", f"It must be at least {least:g} stitch sides.")


def plan_thread(
    cells: Any,
    length: float = 252.0,
    tail: float = 25.0,
    carry: float = 3.5,
    hidden: bool = False,
    order: str = "closed",
    effort: float = 1.0,
) -> ThreadPlan:
    r"""Plan the order in which all crosses of a chart are worked, and cut it into lengths of thread.

    Parameters
    ----------
    cells : array_like of shape (rows, cols), bool
        True = full cross.
    length : float
        Longest working length, in stitch sides; 252 is 18 in on 14 count.
    tail : float
        Thread left at each end of a length, in stitch sides.
    carry : float
        Longest back move, in stitch sides, at least 1.
    hidden : bool
        Let carries run only behind worked squares.
    order : {"closed", "least"}
        At most two crosses open and none at the end of a length, or least thread.
    effort : float
        Share of the usual search for a shorter closed order, 0 to 1.

    Returns
    -------
    ThreadPlan
        Every cross is worked once, bottom leg ``/`` before top leg ``\``.

    Raises
    ------
    UsageError
        If an argument is out of range.
    RequestError
        If a length is too short for a single stitch.

    Notes
    -----
    The path of the thread over a cross and along a row: Th. de Dillmont, Encyclopedia of Needlework, fig. 253.
    The same plan comes out for the same input.

    Examples
    --------
    >>> import numpy as np
    >>> plan = plan_thread(np.ones((1, 10), dtype=bool), tail=0, order="least")
    >>> round(plan.total, 3), plan.starts
    (47.284, 1)
    """
    grid = as_cells(cells)
    check_lengths(length, tail, carry)
    if order not in ORDERS:
        raise UsageError(f"order is {quoted(order)}.", "Choose closed or least.")
    if not grid.any():
        return ThreadPlan((), 0.0, 0.0, 0.0, 0.0, 0.0, 0, 0, order)
    capacity = float(length) - 2 * float(tail)
    needed = 2 * ROOT2 + 1 if order == "closed" else ROOT2
    if capacity + EPSILON < needed:
        raise RequestError(
            f"A working length of {length:g} stitches with tails of {tail:g} leaves no thread for a cross.",
            "Take a longer working length or shorter tails.",
        )
    crosses = Crosses.of(grid, pad=int(carry) + 4)
    rules = MoveRules(grid, float(carry), bool(hidden))
    sides = SideGraph.of(crosses)
    price = max(2 * float(tail), LEAST_START) - 1.0
    links = Links(crosses, rules, price)
    bound = thread_bound(crosses, sides, rules, float(length), float(tail))
    if order == "closed":
        legs, starts = closed_lengths(links, capacity, bound.starts, effort)
    else:
        from converter.estimate.route_least import least_lengths

        legs, starts = least_lengths(links, sides, capacity, bound)
    return _finished(crosses, rules, legs, starts, float(tail), bound.total, order)


def _finished(
    crosses: Crosses, rules: MoveRules, legs: IntArray, starts: list[int], tail: float, bound: float, order: str
) -> ThreadPlan:
    """Choose the directions of the legs, the cuts being given, and add up."""
    table = move_table(crosses, rules, legs)
    cuts = np.asarray(starts[1:], dtype=np.int64) - 1
    table[cuts] = 0.0
    ends = choose_directions(table, 1e9)
    moves = taken_moves(table, ends)
    holes = crosses.leg_holes(legs)
    at = np.arange(legs.size)
    route = np.stack((holes[at, ends], holes[at, 1 - ends]), axis=1).reshape(-1, 2)
    lengths = tuple(np.split(route, 2 * np.asarray(starts[1:], dtype=np.int64)))
    front, back, tails = ROOT2 * legs.size, float(moves.sum()), 2 * tail * len(starts)
    carries = int((moves > 1 + EPSILON).sum())
    # With tails under half a side an extra start would save thread.
    bound = min(bound, front + legs.size - len(starts) + tails)
    return ThreadPlan(lengths, bound, front + back + tails, front, back, tails, len(starts), carries, order)
