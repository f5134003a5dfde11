"""The largest size within what she has: cloth, stitches, hours, skeins, piece."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Final

from converter.errors import RequestError, UsageError
from converter.estimate.making.limits import PieceLimit
from converter.estimate.making.words import both
from converter.estimate.size_scan import SLACK, Figures, Limit, SizeScan
from converter.model.phrase import Phrase
from converter.settings import LimitSettings
from converter.units import mm_to_inches

SIZE_SLACK: Final = 0.02
"""Slack of the height and the diagonal, which follow the width but for the rounding of rows."""
HOURS_AGREEMENT: Final = 0.04
SKEINS_AGREEMENT: Final = 0.08
"""How well hours and skeins follow the number of stitches between neighbouring widths; skeins go by whole lengths."""


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
    """Widths that were charted."""
    slack: float = SLACK
    """Largest slack that was used."""


_HOLDS: Final = {
    "panel": Phrase("what a panel usually holds"),
    "cushion": Phrase("what a cushion usually holds"),
    "sachet": Phrase("what a sachet usually holds"),
    "bookmark": Phrase("what a bookmark usually holds"),
    "card": Phrase("what a card usually holds"),
    "frame": Phrase("what a frame usually holds"),
    "hoop": Phrase("what a hoop usually holds"),
}


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
        name = Phrase("your size of {size}", size=_exact_size(*settings.fit_mm))
        limits += [Limit(name, "width_mm", settings.fit_mm[0], 0.0)]
        limits += [Limit(name, "height_mm", settings.fit_mm[1], SIZE_SLACK)]
    if piece is not None and settings.piece is not None:
        name = _HOLDS[settings.piece]
        limits += [Limit(name, "width_mm", piece.width_mm, 0.0)]
        limits += [Limit(name, "height_mm", piece.height_mm, SIZE_SLACK)]
        if piece.diagonal_mm is not None:
            limits += [Limit(name, "diagonal_mm", piece.diagonal_mm, SIZE_SLACK)]
    if settings.stitches is not None:
        name = Phrase("your limit of {number} stitches", number=f"{settings.stitches:,}")
        limits += [Limit(name, "stitches", settings.stitches)]
    if settings.hours is not None:
        name = Phrase("your limit of {number} hours", number=f"{settings.hours:g}")
        limits += [Limit(name, "hours", settings.hours, agreement=HOURS_AGREEMENT)]
    if settings.skeins is not None:
        name = Phrase("your limit of {number} skein", "your limit of {number} skeins", number=settings.skeins)
        limits += [Limit(name, "skein_share", settings.skeins, agreement=SKEINS_AGREEMENT)]
    return tuple(limits)


def largest_within(
    measure_at: Callable[[int], Figures],
    limits: Sequence[Limit],
    widths: Sequence[int],
    *,
    start: int | None = None,
    rough_at: Callable[[int], Figures] | None = None,
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
    rough_at : callable, optional
        Gives the same figures with less work: those of limits with an ``agreement`` only in proportion.

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

    Hours and skeins need the working order, which takes longer than the chart. Between widths that are
    worked out they are foreseen in proportion to the stitches, and worked out wherever the foreseen
    value is closer to the limit than it may be wrong; that too is watched, and widened to twice the largest error.
    """
    if not limits:
        raise UsageError("No limit was given.", "Give --fit, --stitches, --hours, --skeins or --piece.")
    if not widths or list(widths) != sorted(set(widths)):
        raise UsageError("The widths to choose from must rise.")
    scan = SizeScan(measure_at, rough_at, limits, widths)
    first, last = scan.bracket(start)
    while True:
        fitting = [i for i in range(first, last + 1) if not scan.broken(i)]
        if not fitting:
            raise _nothing_fits(scan)
        best = fitting[-1]
        above = best + 1 if best + 1 < len(widths) else None
        gap = next((i for i in range(first, best) if scan.broken(i)), None)
        # The widths that the answer names are never left foreseen.
        learned, named = scan.learned, [i for i in (best, above, gap) if i is not None]
        for i in named:
            scan.work_out(i)
        if scan.learned != learned:
            first, last = scan.bracket(start)
            continue
        stands = not scan.broken(best) and (gap is None or scan.broken(gap))
        if stands and (above is None or above > last or scan.broken(above)):
            break
    safe = best if gap is None else gap - 1
    return Budget(
        columns=widths[best],
        figures=scan.work_out(best),
        held_by=scan.broken(above) if above is not None else (),
        all_fit_below=widths[safe] if safe >= 0 else None,
        next_columns=None if above is None else widths[above],
        next_figures=None if above is None else scan.work_out(above),
        measured=tuple(widths[i] for i in sorted(scan.known)),
        slack=max((scan.slack(limit) for limit in limits), default=0.0),
    )


def _nothing_fits(scan: SizeScan) -> RequestError:
    figures, broken = scan.work_out(0), scan.broken(0)
    worst = ", ".join(f"{limit.name} ({figure_words(limit.figure, figures)})" for limit in broken)
    return RequestError(
        f"Even {scan.widths[0]} stitches across is over {worst}.", "Raise the limit, or take a finer cloth."
    )


def _exact_size(width_mm: float, height_mm: float) -> Phrase:
    return both(
        Phrase("{width} x {height} in", width=f"{mm_to_inches(width_mm):.2f}", height=f"{mm_to_inches(height_mm):.2f}"),
        Phrase("{width} x {height} cm", width=f"{width_mm / 10:.1f}", height=f"{height_mm / 10:.1f}"),
    )


def _exact_length(length_mm: float) -> Phrase:
    return both(
        Phrase("{value} in", value=f"{mm_to_inches(length_mm):.2f}"),
        Phrase("{value} cm", value=f"{length_mm / 10:.1f}"),
    )


def figure_words(name: str, figures: Figures) -> str:
    """Return one figure with its unit, as she reads it.

    Examples
    --------
    >>> figure_words("stitches", {"stitches": 3021.0}), figure_words("hours", {"hours": 8.04})
    ('3,021 stitches', '8.04 hours')
    """
    value = figures[name]
    if name == "stitches":
        return Phrase("{value} stitches", value=f"{value:,.0f}")
    if name == "hours":
        return Phrase("{value} hours", value=f"{value:.2f}")
    if name == "skein_share":
        return Phrase("{value} skeins", value=f"{value:.2f}")
    if name == "width_mm":
        return Phrase("{length} width", length=_exact_length(value))
    if name == "height_mm":
        return Phrase("{length} height", length=_exact_length(value))
    if name == "diagonal_mm":
        return Phrase("{length} diagonal", length=_exact_length(value))
    return f"{value:g} {name}"


def budget_words(budget: Budget, axis: str = "columns") -> tuple[str, ...]:
    """Return in plain words which size was taken, which limit held it, and what the next size up would take.

    ``axis`` says which side was varied: columns or rows.
    """
    way = Phrase("across") if axis == "columns" else Phrase("up")
    lines: list[str] = []
    if budget.held_by and budget.next_figures is not None:
        held = {}
        for limit in budget.held_by:
            held[limit.name] = figure_words(limit.figure, budget.next_figures)
        reasons = [Phrase("{limit} (it would be {value})", limit=name, value=value) for name, value in held.items()]
        lines.append(
            Phrase(
                "{number} stitches {way} is the largest size within your limits. One size up, {next} {way}, goes over "
                "{reasons}.",
                number=budget.columns,
                way=way,
                next=budget.next_columns,
                reasons=reduce(
                    lambda first, second: Phrase("{first} and {second}", first=first, second=second), reasons
                ),
            )
        )
        shown = [figure_words(name, budget.next_figures) for name in ("stitches", "hours", "skein_share")
                 if name in budget.next_figures]  # fmt: skip
        if shown:
            takes = reduce(lambda first, second: Phrase("{first}, {second}", first=first, second=second), shown)
            lines.append(Phrase("The next size up would take {takes}.", takes=takes))
    else:
        lines.append(
            Phrase(
                "{number} stitches {way} is the largest that may be asked for; it is within your limits.",
                number=budget.columns,
                way=way,
            )
        )
    if budget.all_fit_below != budget.columns:
        below = (
            Phrase("no width")
            if budget.all_fit_below is None
            else Phrase("every width up to {width}", width=budget.all_fit_below)
        )
        lines.append(
            Phrase(
                "Stitches do not rise quite evenly with the width: {below} fits without a break, and {number} fits "
                "again although some widths below it do not.",
                below=below,
                number=budget.columns,
            )
        )
    return tuple(lines)
