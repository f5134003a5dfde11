"""A walk over the stops for lines one cross wide: rows of stops with as few links with an excess as can be.

Where lines cross, small rounds (`route_stops`) cannot be merged at no cost, though there is a way without any excess:
from an arm to the side arms, each only begun at its end, and on along another arm. So here stops of one colour of a
chequerboard are linked to two others each wherever a back move of one side leads there, which makes rows and rings.

1. Greedily, along the rows of the chart or along its columns first, never to a ring.
2. A stop with fewer than two links takes one from another stop, which takes one from the next, until one is reached
   that has a link to spare: an augmenting path, looked for breadth first (J. Petersen 1891 and C. Berge 1957, from
   memory). Odd rings of such steps are not looked into, so a few links may be missing.
3. Rings are joined to what lies beside them by exchanging links along a closed trail, taken out and put in in turn.
4. Rows and rings that are left are merged in the order of what that costs (`route_stops`).

Both colours and both directions are tried; what has the fewest rows and rings is taken.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from converter.estimate.route_geometry import EPSILON, IntArray
from converter.estimate.route_groups import find_root
from converter.estimate.route_links import Links
from converter.estimate.route_rings import Joining, Near, Pairs, linked_parts, pair_of, trail_to
from converter.estimate.route_stops import Rounds, merge_dear

_DEEP, _MOST = 8, 400
"""Exchanges in a row, and stops looked at, in search of a link for a stop."""


class Cover:
    """Rows and rings of stops without an excess.

    Parameters
    ----------
    links : Links
    stops : list of int
    along : int
        0 = links along rows of the chart are made first, 1 = along columns.
    """

    def __init__(self, links: Links, stops: list[int], along: int) -> None:
        self._stops = stops
        others = _free_links(links, stops)
        count = len(links.flat)
        self._near: Near = [[] for _ in range(count)]
        for stop, found in zip(self._stops, others.tolist(), strict=True):
            self._near[stop] = [other for other in found if other >= 0]
        self._mates: Near = [[] for _ in range(count)]
        self._link_greedily(others, (0, 1, 2, 3) if along == 0 else (3, 1, 2, 0))
        for stop in self._stops:
            while len(self._mates[stop]) < 2 and self._augment(stop):
                pass
        self.rows, self.rings = linked_parts(self._stops, self._mates)

    @property
    def parts(self) -> int:
        """Number of rows and rings."""
        return len(self.rows) + len(self.rings)

    def order(self) -> tuple[int, int]:
        """Return what is to be low: rings can be joined to others, rows as a rule not."""
        return len(self.rows), self.parts

    def _link_greedily(self, others: IntArray, order: tuple[int, ...]) -> None:
        mates = self._mates
        root = list(range(len(mates)))

        stops = np.asarray(self._stops, dtype=np.int64)
        for step in order:
            there = others[:, step] >= 0
            for a, b in zip(stops[there].tolist(), others[there, step].tolist(), strict=True):
                if len(mates[a]) < 2 and len(mates[b]) < 2:
                    one, two = find_root(root, a), find_root(root, b)
                    if one != two:
                        root[one] = two
                        mates[a].append(b)
                        mates[b].append(a)

    def _exchange(self, gone: Pairs, new: Pairs) -> None:
        mates = self._mates
        for a, b in gone:
            mates[a].remove(b)
            mates[b].remove(a)
        for a, b in new:
            mates[a].append(b)
            mates[b].append(a)

    def _augment(self, stop: int) -> bool:
        """Find one more link for a stop; return whether there was one."""
        near, mates = self._near, self._mates
        came: dict[int, tuple[int, int, int]] = {stop: (0, -1, -1)}
        queue = deque([stop])
        for _ in range(_MOST):
            if not queue:
                return False
            at = queue.popleft()
            deep = came[at][0]
            last = -1
            for other in near[at]:
                if other in mates[at]:
                    continue
                # The stop itself can end the trail too if both its links are missing.
                if len(mates[other]) < 2 and (other != stop or (deep and not mates[stop])):
                    last = other
                    break
                if deep < _DEEP:
                    for beyond in mates[other]:
                        if beyond not in came:
                            came[beyond] = deep + 1, at, other
                            queue.append(beyond)
            if last >= 0:
                gone, new = trail_to(at, came)
                new.append(pair_of(at, last))
                if len(set(new)) < len(new) or len(set(gone)) < len(gone):
                    return False
                self._exchange(gone, new)
                return True
        return False

    def join_rings(self) -> None:
        """Join rings to other parts by exchanging links, first of two stops beside each other, then along trails."""
        if self.rings and self.parts > 1:
            self._join_beside()
        if self.rings and self.parts > 1:
            Joining(self._near, self._mates, self.rows, self.rings, self._exchange).join()
            self.rows, self.rings = linked_parts(self._stops, self._mates)

    def _join_beside(self) -> None:
        near, mates = self._near, self._mates
        root = list(range(len(near)))
        for part in self.rows + self.rings:
            for stop in part:
                root[stop] = part[0]

        def join(stop: int, other: int) -> bool:
            if len(mates[other]) < 2:
                self._exchange([(stop, mates[stop][0])], [(stop, other)])
                return True
            for one in mates[stop]:
                for two in mates[other]:
                    if two in near[one]:
                        self._exchange([(stop, one), (other, two)], [(stop, other), (one, two)])
                        return True
            return False

        for ring in sorted(self.rings, key=len):
            for stop in ring:
                other = next(
                    (b for b in near[stop] if find_root(root, b) != find_root(root, stop) and join(stop, b)), -1
                )
                if other >= 0:
                    root[find_root(root, stop)] = find_root(root, other)
                    break
        self.rows, self.rings = linked_parts(self._stops, self._mates)


def _free_links(links: Links, stops: list[int]) -> IntArray:
    """Return the other stops that each stop reaches at no excess.

    Returns
    -------
    ndarray of shape (stops, 8), int
        Two to the right, one down and right, one down and left, two down, and the same backwards; -1 = none.
    """
    at = np.asarray(stops, dtype=np.int64)
    is_stop = np.zeros(links.crosses.count + 1, dtype=np.bool_)
    is_stop[at] = True
    index, width = links.crosses.index.ravel(), links.width
    steps = np.array([2, width + 1, width - 1, 2 * width])
    others: IntArray = index[links.place[at, None] + np.concatenate((steps, -steps))].astype(np.int64)
    others[~is_stop[others]] = -1
    if links.rules.hidden:
        for number, step in enumerate(np.concatenate((steps, -steps)).tolist()):
            others[links.excesses(step)[at] > EPSILON, number] = -1
    return others


def stops_of(links: Links, colour: int) -> list[int]:
    """Return the crosses of one colour of a chequerboard, 0 or 1, and those that have no other at their sides."""
    row, col = links.crosses.row, links.crosses.col
    alone = np.ones(row.size, dtype=np.bool_)
    for side in ((0, 1), (1, 0), (0, -1), (-1, 0)):
        alone &= links.crosses.neighbour(side) < 0
    stops: list[int] = np.flatnonzero(((row + col) % 2 == colour) | alone).tolist()
    return stops


def cover_walk(links: Links, most: int) -> list[int]:
    """Return a walk along as few rows and rings without an excess as are found, nothing if more than ``most``."""
    covers = [Cover(links, stops_of(links, colour), 0) for colour in (0, 1)]
    best = min(covers, key=Cover.order)
    if len(best.rows) > most:
        return []
    if best.parts > 1:
        best = min(best, Cover(links, stops_of(links, covers.index(best)), 1), key=Cover.order)
        best.join_rings()
    if best.parts > most:
        return []
    rounds = Rounds(links)
    rounds.link(best.rows + best.rings)
    merge_dear(rounds)
    return [stop for walk in rounds.walks() for stop in walk]
