"""The two working orders put together from their parts."""

from __future__ import annotations

import numpy as np

from converter.estimate.route_cut import choose_directions, cut_lengths, move_table, taken_moves
from converter.estimate.route_fill import Block, Filler, block_legs
from converter.estimate.route_geometry import IntArray
from converter.estimate.route_links import Links
from converter.estimate.route_stops import stop_walks
from converter.estimate.route_tree import SideGraph, TreeWalk


def closed_lengths(links: Links, capacity: float, fewest: int) -> tuple[IntArray, list[int]]:
    """Return the closed order: all legs, and the place of the first leg of each length.

    Parameters
    ----------
    links : Links
    capacity : float
        Thread of one length between its tails.
    fewest : int
        Proven least number of lengths.
    """
    filler = Filler(links, capacity)
    best: tuple[float, list[list[Block]]] | None = None
    for colour in (0, 1):
        walks = stop_walks(links, colour)
        lengths, excess = filler.fill([stop for walk in walks for stop in walk])
        cost = excess + links.price * len(lengths)
        if best is None or cost < best[0] - 1e-9:
            best = cost, lengths
        if excess == 0 and len(lengths) == fewest:
            break
    assert best is not None
    orders = [block_legs(blocks) for blocks in best[1]]
    starts = np.cumsum([0] + [len(legs) for legs in orders[:-1]]).tolist()
    return np.concatenate([np.asarray(legs, dtype=np.int64) for legs in orders]), starts


def least_lengths(links: Links, sides: SideGraph, capacity: float, fewest: int) -> tuple[IntArray, list[int]]:
    """Return the least order: all legs, and the place of the first leg of each length."""
    crosses = links.crosses
    _, entries = np.unique(sides.piece, return_index=True)
    walk = TreeWalk(crosses, sides, entries.astype(np.int64))
    legs = np.asarray([leg for entry in entries.tolist() for leg in walk.legs(entry, entry)], dtype=np.int64)
    return cut_order(links, legs, capacity)


def cut_order(links: Links, legs: IntArray, capacity: float) -> tuple[IntArray, list[int]]:
    """Return an order of legs with the first leg of each length of its cheapest cutting."""
    table = move_table(links.crosses, links.rules, legs)
    moves = taken_moves(table, choose_directions(table, links.price))
    return legs, cut_lengths(moves, capacity, links.price + 1.0)
