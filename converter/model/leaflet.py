"""What the leaflet says of a piece besides its chart."""

from __future__ import annotations

from dataclasses import dataclass

from converter.model.results import FabricCut, MakingPlan, StitchCount, ThreadUse, WorkTime


@dataclass(frozen=True)
class LeafletContent:
    """Figures and words of the leaflet; the drawing only sets them.

    Parameters
    ----------
    count : StitchCount
    thread, line_thread : ThreadUse
        For the crosses and for the backstitches.
    skeins : int
        Skeins to buy for both together.
    cut : FabricCut
        Cloth to cut; that of ``making`` where there is one.
    time : WorkTime
    """

    count: StitchCount
    thread: ThreadUse
    line_thread: ThreadUse
    skeins: int
    cut: FabricCut
    time: WorkTime
    skeins_left_m: float = 0.0
    """Six-strand thread left of the skeins bought."""
    skein_m: float = 8.0
    pace: float | None = None
    """Crosses an hour that the hours assume; None leaves it unsaid."""
    needle: str = ""
    """Needle in words; empty for none."""
    thread_words: str = ""
    """Thread colour in words, such as ``dark red``."""
    cloth_words: str = ""
    """Cloth colour in words, such as ``white``."""
    hoop: str = ""
    """Working hoop in words; empty takes what suits the cloth."""
    working_length_mm: float = 450.0
    tail_mm: float = 40.0
    carry_cells: float = 3.5
    """Longest carry over bare cloth, in stitches."""
    making: MakingPlan | None = None
    """How it is made up; None for the stitched cloth alone."""
    cautions: tuple[str, ...] = ()
    """Beside those of ``making``; empty takes the usual ones."""
    notes: tuple[str, ...] = ()
    """What she should know of this chart."""
