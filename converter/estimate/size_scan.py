"""Widths worked out one by one on the way to the largest within limits; what each of them proves."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

Figures = Mapping[str, float]
"""What a chart of one width takes, by name: ``stitches``, ``hours``, ``skein_share``, ``width_mm``, ..."""

SLACK: Final = 0.1
"""Share by which a wider chart may take less than a narrower one; drawings of single lines fell by 0.06 at most."""
WITNESSES: Final = 2
"""Widths in a row that must be clear of the limit before the scan ends there."""
MOST_SLACK: Final = 0.9
NEAR: Final = 1.25
"""Figures are foreseen only from widths that differ by no more than this factor."""
_TOLERANCE: Final = 1e-9
_GROWTH: Final = 1.5
"""Stitches grow with a power of the width between 1 (lines) and 2 (solid shapes): used for a first guess only."""


@dataclass(frozen=True)
class Limit:
    """An upper limit on one figure."""

    name: str
    """In plain words, such as ``your limit of 3000 stitches``."""
    figure: str
    most: float
    slack: float = SLACK
    """Share by which the figure may fall as the chart gets wider."""
    agreement: float = 0.0
    """Share by which the figure may differ from a rough one brought to scale at a width near by; 0 = it is exact."""

    @property
    def growth(self) -> float:
        """The power of the width that the figure is likely to follow; for a first guess only."""
        return 1.0 if self.figure.endswith("_mm") else _GROWTH


@dataclass
class SizeScan:
    """Widths worked out so far. Widths are named by their index.

    Parameters
    ----------
    measure_at : callable
        Exact figures of a width.
    rough_at : callable or None
        The same figures from less work: those of limits with an ``agreement`` only in proportion.
    limits : sequence of Limit
    widths : sequence of int
    """

    measure_at: Callable[[int], Figures]
    rough_at: Callable[[int], Figures] | None
    limits: Sequence[Limit]
    widths: Sequence[int]
    exact: dict[int, Figures] = field(default_factory=dict)
    rough: dict[int, Figures] = field(default_factory=dict)
    widened: float = 0.0
    """Slack learned from the figures themselves."""
    apart: dict[str, float] = field(default_factory=dict)
    """Disagreement learned, by figure."""

    @property
    def known(self) -> set[int]:
        """Indices of the widths that were charted."""
        return set(self.exact) | set(self.rough)

    @property
    def learned(self) -> tuple[float, ...]:
        """What the figures taught; a verdict may change when this does."""
        return (self.widened, *(self.apart[name] for name in sorted(self.apart)))

    def work_out(self, i: int) -> Figures:
        """Return the exact figures of a width."""
        if i not in self.exact:
            foreseen = {m.figure: self._foresee(i, m) for m in self.limits if m.agreement and i in self.rough}
            self.exact[i] = self.measure_at(self.widths[i])
            for name, value in foreseen.items():
                if value is not None and value > 0:
                    error = abs(self.exact[i][name] / value - 1)
                    self.apart[name] = max(self.apart.get(name, 0.0), 2 * error)
            self._learn()
        return self.exact[i]

    def look(self, i: int) -> Figures:
        """Return the figures of a width, foreseen where that is less work."""
        if i in self.exact or self.rough_at is None:
            return self.work_out(i)
        if i not in self.rough:
            self.rough[i] = self.rough_at(self.widths[i])
            self._learn()
        figures = dict(self.rough[i])
        for limit in self.limits:
            if limit.agreement:
                value = self._foresee(i, limit)
                if value is None:
                    return self.work_out(i)
                figures[limit.figure] = value
        return figures

    def _foresee(self, i: int, limit: Limit) -> float | None:
        """Return a figure in proportion to its rough value, by the nearest widths worked out below and above."""
        name = limit.figure
        near = [j for j in self.exact if NEAR >= self.widths[j] / self.widths[i] >= 1 / NEAR and j in self.rough]
        scales = {j: self.exact[j][name] / self.rough[j][name] for j in near if self.rough[j][name] > 0}
        if not scales:
            return None
        below = max((j for j in scales if j <= i), default=None)
        above = min((j for j in scales if j >= i), default=None)
        if below is None or above is None or below == above:
            nearest = below if below is not None else above
            assert nearest is not None
            return self.rough[i][name] * scales[nearest]
        share = (self.widths[i] - self.widths[below]) / (self.widths[above] - self.widths[below])
        return self.rough[i][name] * (scales[below] * (1 - share) + scales[above] * share)

    def _learn(self) -> None:
        """Widen the slack to twice the deepest fall seen between any two widths."""
        for limit in self.limits:
            if limit.slack == 0:
                continue
            source = self.rough if limit.agreement or self.rough else self.exact
            peak = 0.0
            for i in sorted(source):
                value = source[i][limit.figure]
                if value < peak:
                    self.widened = max(self.widened, min(2 * (1 - value / peak), MOST_SLACK))
                peak = max(peak, value)

    def slack(self, limit: Limit) -> float:
        """Return the slack of a limit as it stands."""
        return 0.0 if limit.slack == 0 else max(limit.slack, self.widened)

    def broken(self, i: int) -> tuple[Limit, ...]:
        """Return the limits that a width breaks; what is too close to foresee is worked out."""
        figures = self.look(i)
        close = (
            m.agreement and abs(figures[m.figure] / m.most - 1) <= max(m.agreement, self.apart.get(m.figure, 0.0))
            for m in self.limits
        )
        if i not in self.exact and any(close):
            figures = self.work_out(i)
        return tuple(m for m in self.limits if figures[m.figure] > m.most * (1 + _TOLERANCE))

    def verdict(self, i: int) -> int:
        """Return 1 if this width and all wider ones are over, -1 if it and all narrower ones fit, 0 if unsure."""
        figures = self.look(i)
        if any(figures[m.figure] * (1 - self.slack(m)) > m.most * (1 + _TOLERANCE) for m in self.limits):
            return 1
        return -1 if all(figures[m.figure] <= m.most * (1 - self.slack(m)) for m in self.limits) else 0

    def witness(self, i: int) -> int:
        """Return how many widths in a row this one counts for: all that are asked for if it proves its verdict."""
        figures = self.look(i)
        strict = [limit for limit in self.limits if limit.slack == 0]
        over = any(figures[limit.figure] > limit.most * (1 + _TOLERANCE) for limit in strict)
        return WITNESSES if over or len(strict) == len(self.limits) else 1

    def load(self, i: int) -> float:
        """Return how full the tightest limit is: 1 at the limit."""
        figures = self.look(i)
        return max(max(figures[limit.figure], 1e-9) / limit.most for limit in self.limits)

    def reach(self, i: int) -> float:
        """Return the width at which the tightest limit is likely to be met, judged by one width alone."""
        figures = self.look(i)
        shares = ((m.most / max(figures[m.figure], 1e-9)) ** (1 / m.growth) for m in self.limits)
        return float(self.widths[i] * min(shares))

    def guess(self, low: int, high: int, steps: int) -> int:
        """Return an index strictly between two where the limit is likely to be met.

        ``steps`` in a row went the same way: they grow, so that a poor first guess is soon made good.
        """
        known = [i for i in (low, high) if i in self.known]
        if len(known) == 2:
            (w0, r0), (w1, r1) = ((self.widths[i], self.load(i)) for i in known)
            power = max(math.log(r1 / r0) / math.log(w1 / w0), 0.2) if r1 > r0 else _GROWTH
            target = w0 * r0 ** (-1 / power)
        elif known == [low]:
            target = max(self.reach(low), self.widths[low] * (1 + 0.06 * steps))
        elif known == [high]:
            target = min(self.reach(high), self.widths[high] / (1 + 0.06 * steps))
        else:
            target = (self.widths[max(low, 0)] * self.widths[min(high, len(self.widths) - 1)]) ** 0.5
        return min(range(low + 1, high), key=lambda i: abs(self.widths[i] - target))

    def bracket(self, start: int | None) -> tuple[int, int]:
        """Return (first, last): all narrower widths fit, all wider ones are over, all between them are charted.

        ``start`` is a width near the answer.
        """
        count = len(self.widths)
        while True:
            learned = self.learned
            middle = self._near_the_limit(start)
            last, run = middle, 0
            while last + 1 < count and run < WITNESSES:
                last += 1
                run = run + self.witness(last) if self.verdict(last) > 0 else 0
            first, run = middle + 1, 0
            while first > 0 and run < WITNESSES:
                first -= 1
                run = run + self.witness(first) if self.verdict(first) < 0 else 0
            for i in range(first, last + 1):
                self.broken(i)
            if self.learned == learned:
                return first, last

    def _near_the_limit(self, start: int | None) -> int:
        """Return the index of a width that is neither clearly within nor clearly over, or of the last within, or -1."""
        count = len(self.widths)
        low, high = -1, count
        for i in self.known:
            low, high = (max(low, i), high) if self.verdict(i) < 0 else (low, high)
            high = min(high, i) if self.verdict(i) > 0 else high
        side = 0
        while high - low > 1:
            if not self.known and start is not None:
                i = min(range(count), key=lambda j: abs(self.widths[j] - start))
            elif abs(side) >= 2 and low in self.known and high in self.known:
                # Twice on the same side: the guess creeps, so halve what is left.
                i, side = (low + high) // 2, 0
            else:
                i = self.guess(low, high, abs(side))
            verdict = self.verdict(i)
            if verdict > 0:
                high, side = i, max(side, 0) + 1
            elif verdict < 0:
                low, side = i, min(side, 0) - 1
            else:
                return i
        return low
