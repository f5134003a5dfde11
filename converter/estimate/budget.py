"""The largest size within what she has: cloth, stitches, hours, skeins, piece."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from converter.errors import RequestError, UsageError
from converter.estimate.making.limits import PieceLimit
from converter.settings import LimitSettings
from converter.units import format_size

Figures = Mapping[str, float]
"""What a chart of one width takes, by name: ``stitches``, ``hours``, ``skein_share``, ``width_mm``, ..."""

SLACK: Final = 0.1
"""Share by which a wider chart may take less than a narrower one; see `largest_within`."""
SIZE_SLACK: Final = 0.02
"""The same for the height and the diagonal, which follow the width but for the rounding of rows."""
WITNESSES: Final = 2
"""Widths in a row that must be clear of the limit before the scan ends there."""
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

    @property
    def growth(self) -> float:
        """The power of the width that the figure is likely to follow; for a first guess only."""
        return 1.0 if self.figure.endswith("_mm") else _GROWTH


@dataclass(frozen=True)
class Budget:
    """The largest width within all limits, and what stopped it."""

    columns: int
    figures: Figures
    held_by: tuple[Limit, ...]
    """The limits that the next size up breaks; empty if the widest that may be asked for fits."""
    all_fit_below: int | None
    """Every width up to this one fits; smaller than ``columns`` where a narrower chart breaks a limit, None if even the
    narrowest does."""
    next_columns: int | None
    next_figures: Figures | None
    """What the next size up would take."""
    measured: tuple[int, ...] = ()
    """Widths that were worked out exactly."""
    slack: float = SLACK
    """Largest slack that was used."""


def make_limits(settings: LimitSettings, piece: PieceLimit | None = None) -> tuple[Limit, ...]:
    """Return the limits that she set, as checks on figures.

    Parameters
    ----------
    settings : LimitSettings
    piece : PieceLimit, optional
        Largest design of the kind of piece, from `converter.estimate.making.largest_design`.
    """
    limits = []
    if settings.fit_mm is not None:
        name = f"your size of {format_size(*settings.fit_mm)}"
        limits += [Limit(name, "width_mm", settings.fit_mm[0], 0.0)]
        limits += [Limit(name, "height_mm", settings.fit_mm[1], SIZE_SLACK)]
    if piece is not None and settings.piece is not None:
        name = f"what a {settings.piece} usually holds"
        limits += [Limit(name, "width_mm", piece.width_mm, 0.0)]
        limits += [Limit(name, "height_mm", piece.height_mm, SIZE_SLACK)]
        if piece.diagonal_mm is not None:
            limits += [Limit(name, "diagonal_mm", piece.diagonal_mm, SIZE_SLACK)]
    if settings.stitches is not None:
        limits += [Limit(f"your limit of {settings.stitches} stitches", "stitches", settings.stitches)]
    if settings.hours is not None:
        limits += [Limit(f"your limit of {settings.hours:g} hours", "hours", settings.hours)]
    if settings.skeins is not None:
        limits += [
            Limit(
                f"your limit of {settings.skeins} skein{'' if settings.skeins == 1 else 's'}",
                "skein_share",
                settings.skeins,
            )
        ]
    return tuple(limits)


@dataclass
class _Scan:
    """Widths worked out so far, and what follows from them."""

    measure_at: Callable[[int], Figures]
    limits: Sequence[Limit]
    widths: Sequence[int]
    known: dict[int, Figures] = field(default_factory=dict)
    """Index of the width to its figures."""
    widened: float = 0.0
    """Slack learned from the figures themselves."""

    def at(self, i: int) -> Figures:
        if i not in self.known:
            self.known[i] = self.measure_at(self.widths[i])
            self._learn()
        return self.known[i]

    def _learn(self) -> None:
        """Widen the slack to twice the deepest fall seen between any two widths."""
        for limit in self.limits:
            if limit.slack == 0:
                continue
            peak = 0.0
            for i in sorted(self.known):
                value = self.known[i][limit.figure]
                if value < peak:
                    self.widened = max(self.widened, min(2 * (1 - value / peak), 0.9))
                peak = max(peak, value)

    def slack(self, limit: Limit) -> float:
        return 0.0 if limit.slack == 0 else max(limit.slack, self.widened)

    def broken(self, i: int) -> tuple[Limit, ...]:
        figures = self.at(i)
        return tuple(limit for limit in self.limits if figures[limit.figure] > limit.most * (1 + 1e-9))

    def verdict(self, i: int) -> int:
        """Return 1 if this width and all wider ones are over, -1 if it and all narrower ones fit, 0 if unsure."""
        figures = self.at(i)
        if any(figures[m.figure] * (1 - self.slack(m)) > m.most * (1 + 1e-9) for m in self.limits):
            return 1
        return -1 if all(figures[m.figure] <= m.most * (1 - self.slack(m)) for m in self.limits) else 0

    def witness(self, i: int) -> int:
        """Return how many widths in a row this one counts for: all that are asked for if it proves its verdict."""
        figures = self.at(i)
        exact = [limit for limit in self.limits if limit.slack == 0]
        over = any(figures[limit.figure] > limit.most * (1 + 1e-9) for limit in exact)
        return WITNESSES if over or len(exact) == len(self.limits) else 1

    def load(self, i: int) -> float:
        """Return how full the tightest limit is: 1 at the limit."""
        figures = self.at(i)
        return max(max(figures[limit.figure], 1e-9) / limit.most for limit in self.limits)

    def reach(self, i: int) -> float:
        """Return the width at which the tightest limit is likely to be met, judged by one width alone."""
        figures = self.at(i)
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
        inside = range(low + 1, high)
        return min(inside, key=lambda i: abs(self.widths[i] - target))


def largest_within(
    measure_at: Callable[[int], Figures],
    limits: Sequence[Limit],
    widths: Sequence[int],
    *,
    start: int | None = None,
) -> Budget:
    """Return the largest width whose figures are within all limits.

    Parameters
    ----------
    measure_at : callable
        Gives the figures of the chart at a width. It is called once a width at most.
    limits : sequence of Limit
        At least one.
    widths : sequence of int
        Widths that may be chosen, rising.
    start : int, optional
        A width near the answer, to begin with.

    Returns
    -------
    budget : Budget

    Raises
    ------
    RequestError
        If not even the narrowest width is within the limits.

    Notes
    -----
    The answer is that of a full scan from the widest width down, not of a bisection: stitches do not
    quite rise with the width, so a width that is over may lie below one that fits. To spare most of the scan
    one thing is taken as given: a wider chart takes at least ``1 - slack`` of what a narrower one takes.
    Then a width over its limit by more than the slack proves all wider ones over; a width below it
    by more than the slack proves that all narrower ones fit; and every width between the two is worked
    out, with two widths in a row clear of the limit at either end. The slack is watched: if the figures
    ever fall by more than half of it, it is widened to twice that fall and the scan goes on. The width
    in mm rises strictly, so there a single value decides.
    """
    if not limits:
        raise UsageError("No limit was given.", "Give --fit, --stitches, --hours, --skeins or --piece.")
    if not widths or list(widths) != sorted(set(widths)):
        raise UsageError("The widths to choose from must rise.")
    scan = _Scan(measure_at, limits, widths)
    first, last = _bracket(scan, start)
    fitting = [i for i in range(first, last + 1) if not scan.broken(i)]
    if not fitting:
        raise _nothing_fits(scan)
    best = fitting[-1]
    gap = next((i for i in range(first, best) if scan.broken(i)), None)
    safe = best if gap is None else gap - 1
    above = best + 1 if best + 1 < len(widths) else None
    return Budget(
        columns=widths[best],
        figures=scan.at(best),
        held_by=scan.broken(above) if above is not None else (),
        all_fit_below=widths[safe] if safe >= 0 else None,
        next_columns=None if above is None else widths[above],
        next_figures=None if above is None else scan.at(above),
        measured=tuple(widths[i] for i in sorted(scan.known)),
        slack=max((scan.slack(limit) for limit in limits), default=0.0),
    )


def _bracket(scan: _Scan, start: int | None) -> tuple[int, int]:
    """Return (first, last): all narrower widths fit, all wider ones are over, all from first to last are worked out."""
    count = len(scan.widths)
    while True:
        slack = scan.widened
        middle = _near_the_limit(scan, start)
        last, run = middle, 0
        while last + 1 < count and run < WITNESSES:
            last += 1
            run = run + scan.witness(last) if scan.verdict(last) > 0 else 0
        first, run = middle + 1, 0
        while first > 0 and run < WITNESSES:
            first -= 1
            run = run + scan.witness(first) if scan.verdict(first) < 0 else 0
        if scan.widened == slack:
            return first, last


def _near_the_limit(scan: _Scan, start: int | None) -> int:
    """Return the index of a width that is neither clearly within nor clearly over, or of the last one within, or -1."""
    count = len(scan.widths)
    low, high = -1, count
    for i in scan.known:
        low, high = (max(low, i), high) if scan.verdict(i) < 0 else (low, high)
        high = min(high, i) if scan.verdict(i) > 0 else high
    side = 0
    while high - low > 1:
        if not scan.known and start is not None:
            i = min(range(count), key=lambda j: abs(scan.widths[j] - start))
        elif abs(side) >= 2 and low in scan.known and high in scan.known:
            # Twice on the same side: the guess creeps, so halve what is left.
            i, side = (low + high) // 2, 0
        else:
            i = scan.guess(low, high, abs(side))
        verdict = scan.verdict(i)
        if verdict > 0:
            high, side = i, max(side, 0) + 1
        elif verdict < 0:
            low, side = i, min(side, 0) - 1
        else:
            return i
    return low


def _nothing_fits(scan: _Scan) -> RequestError:
    figures, broken = scan.at(0), scan.broken(0)
    worst = ", ".join(f"{limit.name} ({figure_words(limit.figure, figures)})" for limit in broken)
    return RequestError(
        f"Even {scan.widths[0]} stitches across is over {worst}.", "Raise the limit, or take a finer cloth."
    )


def figure_words(name: str, figures: Figures) -> str:
    """Return one figure with its unit, as she reads it.

    Examples
    --------
    >>> figure_words("stitches", {"stitches": 3021.0}), figure_words("hours", {"hours": 8.04})
    ('3021 stitches', '8.0 hours')
    """
    value = figures[name]
    if name == "stitches":
        return f"{value:.0f} stitches"
    if name == "hours":
        return f"{value:.1f} hours"
    if name == "skein_share":
        return f"{value:.2f} skeins"
    if name.endswith("_mm"):
        return f"{value / 25.4:.2f} in ({value / 10:.1f} cm) {name.removesuffix('_mm')}"
    return f"{value:g} {name}"


def budget_words(budget: Budget, axis: str = "columns") -> tuple[str, ...]:
    """Return in plain words which size was taken, which limit held it, and what the next size up would take.

    ``axis`` says which side was varied: columns or rows.
    """
    way = "across" if axis == "columns" else "up"
    lines = []
    if budget.held_by and budget.next_figures is not None:
        held = {}
        for limit in budget.held_by:
            held[limit.name] = figure_words(limit.figure, budget.next_figures)
        reasons = " and ".join(f"{name} (it would be {value})" for name, value in held.items())
        lines.append(
            f"{budget.columns} stitches {way} is the largest size within your limits. One size up, "
            f"{budget.next_columns} {way}, goes over {reasons}."
        )
        shown = [figure_words(name, budget.next_figures) for name in ("stitches", "hours", "skein_share")
                 if name in budget.next_figures]  # fmt: skip
        if shown:
            lines.append(f"The next size up would take {', '.join(shown)}.")
    else:
        lines.append(f"{budget.columns} stitches {way} is the largest that may be asked for; it is within your limits.")
    if budget.all_fit_below != budget.columns:
        below = "no width" if budget.all_fit_below is None else f"every width up to {budget.all_fit_below}"
        lines.append(
            f"Stitches do not rise quite evenly with the width: {below} fits without a break, and {budget.columns} "
            "fits again although some widths below it do not."
        )
    return tuple(lines)
