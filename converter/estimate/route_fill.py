"""The closed order, second half: stops and their children into cut lengths with no cross left open.

The stops are taken in order, each with those of its free side neighbours that still fit. A neighbour that no later
stop touches has to come along; any other one can be left for later, and is, when that lets the length end exactly
full. A length ends where the thread for the next whole cross does not reach, or where no back move leads on.
"""

from __future__ import annotations

import numpy as np

from converter.estimate.route_geometry import EPSILON, ROOT2
from converter.estimate.route_links import Links

Block = tuple[int, list[int]]
"""A stop and the children worked while it is open."""


class Filler:
    """Fills lengths along an order of stops.

    Parameters
    ----------
    links : Links
    capacity : float
        Thread of one length between its tails.
    """

    def __init__(self, links: Links, capacity: float) -> None:
        self.links = links
        self.capacity = capacity
        self.most = self.fitting(0.0)
        """Crosses that one length without any excess holds."""

    def fitting(self, excess: float) -> int:
        """Return how many crosses a length holds whose back moves are ``excess`` longer than one side each."""
        return int((self.capacity + 1 - excess + EPSILON) / (2 * ROOT2 + 2))

    def fewest(self, stops: list[int]) -> int:
        """Return a number of lengths that no filling along these stops, from whichever of them, goes below.

        The links that are not gone, one between any two lengths and round about one more, are taken to be the dearest.
        """
        count, each = self.links.crosses.count, 2 * ROOT2 + 2
        costs = sorted(self.links.along([*stops, stops[0]]), reverse=True)
        left, lengths = sum(costs), 0
        while True:
            left -= costs[lengths] if lengths < len(costs) else 0.0
            lengths += 1
            holds = (lengths * (self.capacity + 1) - max(left, 0.0) + EPSILON * count) / each
            if count <= min(lengths * self.most, holds):
                return lengths

    def fill(self, stops: list[int]) -> tuple[list[list[Block]], float]:
        """Return the lengths, each a list of blocks, and the sum of their excess.

        Parameters
        ----------
        stops : list of int
            Every cross must be a stop or have a side neighbour that is one.
        """
        last, free = self._children(stops)
        flat, at, width, excess = self.links.flat, self.links.at, self.links.width, self.links.excess
        lengths: list[list[Block]] = []
        blocks: list[Block] = []
        count, used, total, most = 0, 0.0, 0.0, self.most
        waiting = list(range(len(stops) - 1, -1, -1))
        extra: list[int] = []
        before = -1
        while waiting or extra:
            number = len(stops) if extra else waiting[-1]
            stop = extra[-1] if extra else stops[number]
            step = excess(before, stop) if blocks else 0.0
            place = flat[stop]
            # Off the crosses the number is -1, and the last entry of ``free`` is False.
            sides = () if extra else (at[place + 1], at[place + width], at[place - 1], at[place - width])
            here = [c for c in sides if free[c]]
            if step <= EPSILON and not extra and len(here) < most - count:
                for child in here:
                    free[child] = False
                waiting.pop()
                blocks.append((stop, here))
                count += 1 + len(here)
                before = stop
                continue
            due = [c for c in here if last[c] <= number]
            room = self.fitting(used + step) - count if step < self.links.price else 0
            short = 1 + len(due) - room
            if short > 0 and blocks and not (room > 0 and _put_back(blocks, free, last, number, short)):
                lengths.append(blocks)
                total += used
                blocks, count, used, most = [], 0, 0.0, self.most
                continue
            if short > 0 and blocks:
                count -= short
                room += short
            elif short > 0:
                # A stop with more children than a whole length holds: the rest of them stand alone.
                extra_due = due[room - 1 :] if room > 0 else due
                due = due[: room - 1]
            else:
                extra_due = []
            if short > 0 and blocks:
                extra_due = []
            if extra:
                extra.pop()
            else:
                waiting.pop()
            chosen = due + [c for c in here if last[c] > number][: max(room - 1 - len(due), 0)]
            for child in chosen + extra_due:
                free[child] = False
            extra += extra_due[::-1]
            blocks.append((stop, [c for c in here if c in chosen]))
            count += 1 + len(chosen)
            used += step
            most = self.fitting(used)
            before = stop
        if blocks:
            lengths.append(blocks)
            total += used
        return lengths, total

    def _children(self, stops: list[int]) -> tuple[list[int], list[bool]]:
        """Return for each cross the last stop beside it, and whether it is no stop; False at the end of that list."""
        links = self.links
        order = np.asarray(stops, dtype=np.int64)
        free = np.ones(links.crosses.count + 1, dtype=np.bool_)
        free[order] = False
        free[-1] = False
        last = np.full(links.crosses.count + 1, -1, dtype=np.int64)
        index = links.crosses.index.ravel()
        for step in (1, links.width, -1, -links.width):
            beside = index[links.place[order] + step]
            np.maximum.at(last, beside, np.arange(order.size))
        return last.tolist(), free.tolist()


def _put_back(blocks: list[Block], free: list[bool], last: list[int], number: int, short: int) -> bool:
    """Leave ``short`` children of a length for stops after ``number``; False, and nothing changed, if too few can."""
    found: list[tuple[int, int]] = []
    for at in range(len(blocks) - 1, -1, -1):
        found += [(at, child) for child in blocks[at][1] if last[child] > number]
        if len(found) >= short:
            break
    if len(found) < short:
        return False
    for at, child in found[:short]:
        blocks[at][1].remove(child)
        free[child] = True
    return True


def block_legs(blocks: list[Block]) -> list[int]:
    """Return the order of legs in which the blocks of one length are worked."""
    legs: list[int] = []
    for stop, children in blocks:
        legs.append(2 * stop)
        for child in children:
            legs.append(2 * child)
            legs.append(2 * child + 1)
        legs.append(2 * stop + 1)
    return legs
