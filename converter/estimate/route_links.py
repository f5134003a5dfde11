"""What it costs to go from one finished cross to the next.

The excess of a link is its back move less one side, so that the excess of a plan is what it uses above its bound.
A link that no back move may make counts as a new start.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from converter.estimate.route_geometry import EPSILON, Crosses, FloatArray, MoveRules, link_steps

_LEAVE = ((0, 0), (1, 1))
_ENTER = ((1, 0), (0, 1))


class Links:
    """Excess of the link between any two crosses.

    Parameters
    ----------
    crosses : Crosses
        With a rim at least as wide as the longest link reaches.
    rules : MoveRules
    price : float
        Excess that a new start counts.
    """

    def __init__(self, crosses: Crosses, rules: MoveRules, price: float) -> None:
        self.crosses = crosses
        self.rules = rules
        self.price = price
        self.width = int(crosses.index.shape[1])
        self.steps = {dr * self.width + dc: (dr, dc) for (dr, dc), _ in link_steps(rules.carry)}
        """Steps (rows, cols) by their flat steps on ``crosses.index``, those of the shortest links first."""
        plain = [min(length - 1.0, price) for _, length in link_steps(rules.carry)]
        self.excess_of: dict[int, float] = dict(zip(self.steps, plain, strict=True))
        """Excess of each flat step where nothing has to be hidden, cheapest first."""
        self.place = (crosses.row + crosses.pad) * self.width + crosses.col + crosses.pad
        """Place of each cross on the flat ``crosses.index``, and the same as a list."""
        self.flat: list[int] = self.place.tolist()
        self.at: list[int] = crosses.index.ravel().tolist()
        """Number of the cross on each flat place, -1 = none."""
        self._sides: dict[int, list[int]] = {}
        self._hidden: dict[int, list[float]] = {}
        self.excess = self._excess_hidden() if rules.hidden else self._excess_plain()
        """Excess of the link between two different crosses, the price of a start if there is none."""

    def sides(self, cross: int) -> list[int]:
        """Return the side neighbours of a cross: right, below, left, above."""
        found = self._sides.get(cross)
        if found is None:
            at, place, width = self.at, self.flat[cross], self.width
            around = (at[place + 1], at[place + width], at[place - 1], at[place - width])
            found = self._sides[cross] = [other for other in around if other >= 0]
        return found

    def _excess_plain(self) -> Callable[[int, int], float]:
        flat, get, price = self.flat, self.excess_of.get, self.price

        def excess(first: int, second: int) -> float:
            return get(flat[second] - flat[first], price)

        return excess

    def _excess_hidden(self) -> Callable[[int, int], float]:
        flat, known, steps, price = self.flat, self._hidden, self.steps, self.price

        def excess(first: int, second: int) -> float:
            step = flat[second] - flat[first]
            found = known.get(step)
            if found is None:
                if step not in steps:
                    return price
                found = known[step] = self.excesses(step).tolist()
            return found[first]

        return excess

    def excesses(self, step: int) -> FloatArray:
        """Return for each cross the excess of the link to the cross one flat step on, if there is one.

        Hidden links count the longer of the two ways, so that a walk may be gone from either end.
        """
        count = self.crosses.count
        if not self.rules.hidden:
            return np.full(count, self.excess_of[step])
        dr, dc = self.steps[step]
        row, col = self.crosses.row, self.crosses.col
        rows, cols = self.crosses.cells.shape
        ways = []
        for way in (1, -1):
            best = np.full(count, self.price)
            for lr, lc in _LEAVE:
                for er, ec in _ENTER:
                    move = (way * dr + er - lr, way * dc + ec - lc)
                    excess = (move[0] ** 2 + move[1] ** 2) ** 0.5 - 1.0
                    if not -1 < excess <= self.rules.carry - 1 + EPSILON:
                        continue
                    up = np.clip(row + lr + (dr if way < 0 else 0), 0, rows)
                    left = np.clip(col + lc + (dc if way < 0 else 0), 0, cols)
                    best = np.where(self.rules.behind(move)[up, left], np.minimum(best, excess), best)
            ways.append(best)
        longer: FloatArray = np.maximum(ways[0], ways[1])
        return longer

    def along(self, stops: list[int]) -> list[float]:
        """Return the excess of each link of a walk."""
        if self.rules.hidden:
            return [self.excess(a, b) for a, b in pairwise(stops)]
        steps = np.diff(self.place[stops])
        known = np.asarray(sorted(self.excess_of), dtype=np.int64)
        costs = np.asarray([self.excess_of[step] for step in known.tolist()])
        at = np.searchsorted(known[:-1], steps)
        found: list[float] = np.where(known[at] == steps, costs[at], self.price).tolist()
        return found

    def near(
        self, cross: int, most: float, place: list[int] | None = None, count: int = 1 << 30
    ) -> list[tuple[int, float]]:
        """Return the crosses that a link of at most ``most`` excess reaches, cheapest first.

        With ``place`` only those whose place is not negative, and no more than the first ``count``.
        """
        base, at, hidden = self.flat[cross], self.at, self.rules.hidden
        found: list[tuple[int, float]] = []
        for step, plain in self.excess_of.items():
            if plain > most + EPSILON:
                break
            other = at[base + step]
            if other < 0 or (place is not None and place[other] < 0):
                continue
            if hidden:
                plain = self.excess(cross, other)
                if plain > most + EPSILON:
                    continue
            found.append((other, plain))
            if not hidden and len(found) == count:
                break
        if hidden:
            found.sort(key=lambda pair: pair[1])
            del found[count:]
        return found
