"""The largest design that a kind of piece usually holds."""

from __future__ import annotations

from dataclasses import dataclass

from converter.estimate.figures import Figures, load_figures
from converter.estimate.making.common import Size, Work, grown, turned
from converter.estimate.making.panel import panel_margins_mm
from converter.model.materials import Fabric, Thread
from converter.settings import MakingSettings, ThreadSettings


@dataclass(frozen=True)
class PieceLimit:
    """Largest finished design of a kind of piece."""

    width_mm: float
    height_mm: float
    diagonal_mm: float | None = None
    """For round pieces: largest diagonal of the design."""


def largest_design(
    piece: str,
    fabric: Fabric,
    *,
    upright: bool = True,
    settings: MakingSettings | None = None,
    figures: Figures | None = None,
) -> PieceLimit:
    """Return the largest finished design that a kind of piece holds.

    Parameters
    ----------
    piece : str
    fabric : Fabric
    upright : bool
        Whether the design is higher than wide: a card, sachet, bookmark or frame is turned to suit.
    settings : MakingSettings, optional
        With a size of her own the limit is hers; else the largest that the shops keep.
    figures : Figures, optional

    Examples
    --------
    A bookmark of 2 x 7.5 in holds less than 28 stitches of 14 count across (Bennington Museum store, bookmark kit):

    >>> limit = largest_design("bookmark", Fabric(14))
    >>> round(limit.width_mm / Fabric(14).cell_mm), round(limit.height_mm / Fabric(14).cell_mm)
    (24, 101)
    """
    table = figures or load_figures()
    wanted = settings if settings is not None and settings.piece == piece else MakingSettings(piece=piece)
    work = Work((1, 1), fabric, Thread(), wanted, table, ThreadSettings())
    size = _largest(work, upright)
    if piece == "hoop":
        return PieceLimit(size[0], size[1], size[0])
    return PieceLimit(*size)


def _offered(work: Work, section: str, name: str, upright: bool) -> Size:
    if work.settings.size_mm is not None:
        return work.settings.size_mm
    return turned(max(work.figures.pairs_mm(section, name), key=lambda pair: pair[0] * pair[1]), upright)


def _largest(work: Work, upright: bool) -> Size:
    piece, margin = work.settings.piece, work.settings.margin_mm
    if piece in ("panel", "cushion"):
        widest = max(work.figures.many_mm("cushion", "pads"))
        pad = work.settings.size_mm or (widest, widest)
        if piece == "panel":
            return grown(pad, -work.mm("round_panel") - panel_margins_mm(work)[0])
        return grown(pad, -(margin if margin is not None else work.mm("ground")))
    if piece == "sachet":
        return grown(_offered(work, "sachet", "largest", upright), -(margin or work.mm("pillow_ground")))
    if piece == "bookmark":
        ground = work.figures.number("bookmark", "ground") * work.fabric.cell_mm
        return grown(_offered(work, "bookmark", "largest", upright), -ground)
    if piece == "card":
        return grown(_offered(work, "card", "fronts", upright), -work.mm("rim") - (margin or work.mm("ground")))
    if piece == "frame":
        return grown(_offered(work, "frame", "frames", upright), -work.mm("mount") - work.mm("ground"))
    hoop = min(work.settings.size_mm) if work.settings.size_mm else max(work.figures.many_mm("hoop", "hoops"))
    return grown((hoop, hoop), -(margin if margin is not None else work.mm("ground")))
