"""Figures that carries can join, and the least thread that double running over them takes."""

from __future__ import annotations

from math import dist

import numpy as np

from converter.estimate.line_cut import Row
from converter.estimate.line_figures import Figure, Hole, close_pairs, figure_holes, neighbours
from converter.estimate.line_through import cheapest_chains, through_walk
from converter.estimate.route_geometry import EPSILON
from converter.estimate.route_graph import spanning_forest

_SMALL = 100
"""Lines of a figure that is passed through, at most."""


class DoubleGroup:
    """Figures that carries can join.

    Parameters
    ----------
    figures : list of Figure
    carry : float
        Longest carry, in stitch sides.
    """

    def __init__(self, figures: list[Figure], carry: float) -> None:
        self.figures = figures
        self.near = [neighbours(figure) for figure in figures]
        holes = [figure_holes(figure) for figure in figures]
        owner = np.repeat(np.arange(len(figures)), [len(part) for part in holes])
        cloud = np.concatenate(holes)
        one, two, span = close_pairs(cloud, carry)
        apart = owner[one] != owner[two]
        one, two, span = one[apart], two[apart], span[apart]
        one, two = np.concatenate((one, two)), np.concatenate((two, one))
        order = np.lexsort((two, one, np.round(np.tile(span, 2), 9)))
        at: list[Hole] = [(row, col) for row, col in cloud.tolist()]
        self.close: list[list[tuple[float, Hole, int, Hole]]] = [[] for _ in figures]
        """For each figure, nearest first: distance, its hole, another figure, the hole of that."""
        for a, b in zip(one[order].tolist(), two[order].tolist(), strict=True):
            self.close[owner[a]].append((dist(at[a], at[b]), at[a], int(owner[b]), at[b]))
        self.carry = carry
        spans = [[dist(*pair) for pair in figure] for figure in figures]
        self._both = 2 * sum(sum(span) for span in spans)
        longest = np.asarray(
            [max(dist(hole, to) for to, _ in near[hole]) for near in self.near for hole in sorted(near)]
        )
        # A carry takes the place of a pass behind that begins or ends at one of its two holes.
        extra = np.tile(span, 2) - np.maximum(longest[one], longest[two])
        first, second = owner[one], owner[two]
        tree, _ = spanning_forest(len(figures), first, second, extra)
        self._links: list[float] = np.sort(extra[tree]).tolist()
        gains = np.zeros(len(figures))
        np.minimum.at(gains, first, extra)
        self._gain = float(gains.sum() - gains.max())
        self._chains: dict[tuple[int, Hole], dict[Hole, tuple[float, list[Hole]]]] = {}
        self._walks: dict[tuple[int, Hole, Hole], Row | None] = {}

    def least(self, capacity: float, starts: int = 1) -> tuple[int, float]:
        """Return the fewest starts, from a number on, that can hold a group, and its least thread with so many.

        Both passes of every line; for every figure that is put in with a carry to it and one from it, each with the
        pass behind it takes the place of: one of the two counts in a cheapest spanning forest (fewer by one for each
        further start), the other counts only if it saves thread.
        """
        while True:
            links = self._links[: max(len(self.figures) - starts, 0)]
            thread = self._both + sum(links) + self._gain
            if thread <= starts * capacity + EPSILON:
                return starts, thread
            starts += 1

    def through(self, figure: int, start: Hole, end: Hole) -> tuple[float, Row] | None:
        """Return how a small figure is passed from a hole to another one, and what its moves behind take more."""
        if len(self.figures[figure]) > _SMALL:
            return None
        near = self.near[figure]
        if (figure, start) not in self._chains:
            self._chains[figure, start] = cheapest_chains(near, start, self.carry)
        found = self._chains[figure, start].get(end)
        if found is None:
            return None
        if (figure, start, end) not in self._walks:
            self._walks[figure, start, end] = through_walk(near, found[1])
        walk = self._walks[figure, start, end]
        return None if walk is None else (found[0], walk)

    def starts(self) -> list[tuple[int, Hole]]:
        """Return the figures and holes that a walk may begin with, loose ends first, the largest figure first."""
        order = sorted(range(len(self.figures)), key=lambda k: (-len(self.figures[k]), k))
        return [(k, hole) for k in order for hole in sorted(self.near[k], key=lambda h: (self._even(k, h), h))]

    def _even(self, figure: int, hole: Hole) -> bool:
        return len(self.near[figure][hole]) % 2 == 0
