"""The closed order, second half: stops and their children into cut lengths with no cross left open.

The stops are taken in order, each with those of its free side neighbours that still fit. A neighbour that no later
stop touches has to come along; any other one can be left for later, and is, when that lets the length end exactly
full. A length ends where the thread for the next whole cross does not reach, or where no back move leads on.
"""

from __future__ import annotations

from converter.estimate.route_geometry import EPSILON, ROOT2
from converter.estimate.route_links import Links
from converter.estimate.route_waiting import Block, Rows, Waiting


class Filler:
    """Fills lengths along an order of stops.

    Parameters
    ----------
    links : Links
    capacity : float
        Thread of one length between its tails.
    even : bool
        Fill lengths as if an excess took no room: those that have one hold too much.
    by_rows : bool
        Let lengths end where a row of stops without an excess ends: children that a later row reaches too are left
        for it, as many as make the row fill whole lengths.
    """

    def __init__(self, links: Links, capacity: float, even: bool = False, by_rows: bool = False) -> None:
        self.links = links
        self.capacity = capacity
        self._even = even
        self._by_rows = by_rows
        self.most = self.fitting(0.0)
        """Crosses that one length without any excess holds."""

    def fitting(self, excess: float) -> int:
        """Return how many crosses a length is filled with whose back moves are ``excess`` longer than one side each."""
        excess = 0.0 if self._even else excess
        return int((self.capacity + 1 - excess + EPSILON) / (2 * ROOT2 + 2))

    def fewest(self, stops: list[int]) -> int:
        """Return a number of lengths that no filling along these stops, from whichever of them, goes below.

        The links that are not gone, one between any two lengths and round about one more, are taken to be the dearest.
        """
        count, each = self.links.crosses.count, 2 * ROOT2 + 2
        costs = sorted(self.links.along([*stops, stops[0]]), reverse=True)
        left, lengths = 0.0 if self._even else sum(costs), 0
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
        links, waiting = self.links, Waiting(self.links, stops)
        children, last = waiting.children, waiting.last
        costs = [0.0, *links.along(stops)]
        lengths: list[list[Block]] = []
        blocks: list[Block] = []
        count, used, total, most = 0, 0.0, 0.0, self.most
        number, end = 0, len(stops)
        extra: list[int] = []
        before = -1
        rows = Rows(waiting, costs) if self._by_rows else None
        placed = 0
        while number < end or extra:
            if rows is not None and not extra and (not blocks or costs[number] > EPSILON):
                room = self.fitting(used + costs[number] * bool(blocks)) - count
                rows.plan(number, placed + count, room if room > 0 else self.most, self.most)
            if not extra and before < 0:
                # The usual case: no excess, and room for all children.
                here = children[number]
                if (costs[number] <= EPSILON or not blocks) and len(here) < most - count:
                    blocks.append((stops[number], here))
                    count += 1 + len(here)
                    number += 1
                    continue
            stop = extra[-1] if extra else stops[number]
            here = [] if extra else children[number]
            step = 0.0
            if blocks:
                step = costs[number] if before < 0 else links.excess(before, stop)
            due = [c for c in here if last[c] <= number]
            room = self.fitting(used + step) - count if step < links.price else 0
            short = 1 + len(due) - room
            surplus: list[int] = []
            if short > 0 and blocks:
                if rows is not None and room >= 1 and not extra and rows.release(number, short):
                    continue
                if room <= 0 or not waiting.put_back(blocks, number, short):
                    lengths.append(blocks)
                    placed += count
                    total += used
                    blocks, count, used, most = [], 0, 0.0, self.most
                    continue
                count -= short
                room += short
            elif short > 0:
                # A stop with more children than a whole length holds: the rest of them stand alone.
                surplus = due[max(room - 1, 0) :]
                due = due[: room - 1]
            chosen = due + [c for c in here if last[c] > number][: max(room - 1 - len(due), 0)]
            if extra:
                extra.pop()
            else:
                for child in here:
                    if child not in chosen and child not in surplus:
                        waiting.leave(child, number)
                number += 1
            # Off the walk a link is not known beforehand.
            before = stop if extra or surplus or before >= 0 else -1
            extra += surplus[::-1]
            blocks.append((stop, [c for c in here if c in chosen]))
            count += 1 + len(chosen)
            used += step
            most = self.fitting(used)
        if blocks:
            lengths.append(blocks)
            total += used
        return lengths, total


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
