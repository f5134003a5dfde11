"""Cutting and making-up plan for a kind of piece: parts, lines, steps, shopping list, cautions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from converter.estimate.fabric import Design
from converter.estimate.figures import Figures, load_figures
from converter.estimate.making.common import Work
from converter.estimate.making.limits import PieceLimit, largest_design
from converter.estimate.making.mounted import plan_card, plan_frame, plan_hoop
from converter.estimate.making.panel import plan_cushion, plan_panel
from converter.estimate.making.small import plan_bookmark, plan_sachet
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread
from converter.model.results import MakingPlan, ThreadUse
from converter.settings import MakingSettings, ThreadSettings

PLANS: Final[dict[str, Callable[[Work], MakingPlan]]] = {
    "panel": plan_panel,
    "cushion": plan_cushion,
    "sachet": plan_sachet,
    "bookmark": plan_bookmark,
    "card": plan_card,
    "frame": plan_frame,
    "hoop": plan_hoop,
}


def plan_making(
    design: Design,
    piece: str | None = None,
    *,
    settings: MakingSettings | None = None,
    fabric: Fabric | None = None,
    thread: Thread | None = None,
    stitch_thread: tuple[ThreadUse, ...] = (),
    thread_settings: ThreadSettings | None = None,
    figures: Figures | None = None,
) -> MakingPlan:
    """Return how a stitched design is cut and made up into a piece.

    Parameters
    ----------
    design : Chart or (rows, columns)
    piece : str, optional
        Kind of piece, in place of the one in ``settings``.
    settings : MakingSettings, optional
        Way, margin, fringe, size of the pad or frame, cloth at hand, hand-sewn edge.
    fabric, thread : optional
        In place of the chart's own.
    stitch_thread : tuple of ThreadUse
        Thread of crosses and lines, so that the shopping list can name skeins.
    thread_settings : ThreadSettings, optional
        Working length, tails and allowance for hand-sewn edges.
    figures : Figures, optional
        Figures of the trade, in place of those that ship with the package.

    Returns
    -------
    plan : MakingPlan
        ``parts[0]`` is the stitched cloth. Cut sizes are exact in mm; the words round them up to an eighth of an
        inch and a millimetre.

    Raises
    ------
    UsageError
        If the piece or way is unknown.
    RequestError
        If margin and fringe cannot be had together.

    Examples
    --------
    >>> plan = plan_making((60, 60), "panel", fabric=Fabric(14))
    >>> [(part.name, part.count) for part in plan.parts]
    [('panel', 1), ('cushion front', 1), ('cushion back', 2)]
    >>> plan.cut.threads
    (94, 94)
    """
    wanted = settings or MakingSettings(piece=piece or "panel")
    if piece is not None and wanted.piece != piece:
        wanted = replace(wanted, piece=piece)
    own = design if isinstance(design, Chart) else None
    work = Work(
        design=design,
        fabric=fabric or (own.fabric if own else Fabric()),
        thread=thread or (own.thread if own else Thread()),
        settings=wanted,
        figures=figures or load_figures(),
        thread_settings=thread_settings or ThreadSettings(),
        stitch_thread=stitch_thread,
    )
    return PLANS[wanted.piece](work)


__all__ = ["PLANS", "PieceLimit", "largest_design", "plan_making"]
