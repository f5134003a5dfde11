"""What it costs to go from one finished cross to the next.

The excess of a link is its back move less one side, so that the excess of a plan is what it uses above its bound.
A link that no back move may make counts as a new start.
"""

from __future__ import annotations

from converter.estimate.route_geometry import EPSILON, Crosses, MoveRules, link_steps

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
        steps = link_steps(rules.carry)
        self.offsets = [(dr * self.width + dc, length - 1.0) for (dr, dc), length in steps]
        """Flat steps on ``crosses.index`` and the excess of each, cheapest first."""
        self.excess_of = dict(self.offsets)
        self.flat: list[int] = ((crosses.row + crosses.pad) * self.width + crosses.col + crosses.pad).tolist()
        """Place of each cross on the flat ``crosses.index``."""
        self.at: list[int] = crosses.index.ravel().tolist()
        """Number of the cross on each flat place, -1 = none."""
        self._seen: dict[int, float] = {}

    def excess(self, first: int, second: int) -> float:
        """Return the excess of the link between two different crosses, the price of a start if there is none."""
        step = self.flat[second] - self.flat[first]
        plain = self.excess_of.get(step)
        if plain is None:
            return self.price
        if not self.rules.hidden:
            return plain
        key = (first << 32) + second if first < second else (second << 32) + first
        known = self._seen.get(key)
        if known is None:
            known = self._seen[key] = max(self._hidden(first, second), self._hidden(second, first))
        return known

    def near(self, cross: int, most: float) -> list[tuple[int, float]]:
        """Return the crosses that a link of at most ``most`` excess reaches, cheapest first."""
        base, found = self.flat[cross], []
        for step, plain in self.offsets:
            if plain > most + EPSILON:
                break
            other = self.at[base + step]
            if other >= 0:
                true = self.excess(cross, other) if self.rules.hidden else plain
                if true <= most + EPSILON:
                    found.append((other, true))
        if self.rules.hidden:
            found.sort(key=lambda pair: pair[1])
        return found

    def _hidden(self, first: int, second: int) -> float:
        row, col = self.crosses.row, self.crosses.col
        r, c = int(row[first]), int(col[first])
        dr, dc = int(row[second]) - r, int(col[second]) - c
        best = self.price
        for lr, lc in _LEAVE:
            for er, ec in _ENTER:
                step = (dr + er - lr, dc + ec - lc)
                length = (step[0] * step[0] + step[1] * step[1]) ** 0.5
                fits = 0 < length <= self.rules.carry + EPSILON and length - 1 < best
                if fits and self.rules.behind(step)[r + lr, c + lc]:
                    best = length - 1
        return best
