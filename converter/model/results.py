"""What is counted and estimated: the records that reports and drawings read."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class StitchCount:
    """Counts of a chart."""

    stitches: int
    """Full crosses."""
    backstitches: int
    line_length_cells: float
    """Sum of the backstitch lengths, in stitch sides."""
    columns: int
    rows: int
    components: int
    """Groups of crosses that touch by side or corner (8-connected)."""
    holes: int
    """Openings of bare cloth closed in by crosses (4-connected ground)."""
    isolated: int
    """Crosses without any neighbour."""


@dataclass(frozen=True)
class ThreadUse:
    """Thread that one kind of stitch takes."""

    length_m: float
    """Working thread as it goes through the needle, all strands together; tails and allowance included."""
    front_m: float
    back_m: float
    tails_m: float
    starts: int
    carries: int
    skeins: int
    """Whole skeins to buy for this part alone, rounded up."""
    method: str
    allowance: float
    skein_share: float = 0.0
    """Skeins exactly, before rounding up."""
    left_over_m: float = 0.0
    """Six-strand thread left of the skeins bought."""


@dataclass(frozen=True)
class FabricCut:
    """Size of the design on its cloth and of the cloth to cut."""

    finished_mm: tuple[float, float]
    cut_mm: tuple[float, float]
    margin_mm: float
    """Bare cloth on every side; the smallest of the four where they differ."""
    margins_mm: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    """Bare cloth at the left, top, right and bottom, from the outermost stitch to the edge."""
    threads: tuple[int, int] | None = None
    """Fabric threads (squares of Aida) across and down the cut cloth, where the margins are whole threads."""


@dataclass(frozen=True)
class WorkTime:
    """Hours of stitching."""

    low: float
    likely: float
    high: float


@dataclass(frozen=True)
class Guide:
    """A closed line on a part of the cutting diagram."""

    role: str
    """``design``, ``centre``, ``stitch``, ``trim``, ``fold``, ``hem``, ``window``, ``place``, ``edge``, or the strip of
    a fringe whose threads lie ``fringe-level`` or stand ``fringe-upright``."""
    label: str
    points: tuple[tuple[float, float], ...]
    """Corners (x, y) in mm from the top left of the cut part, y down; two points are an open line."""


@dataclass(frozen=True)
class Part:
    """A piece of cloth, card or board to cut."""

    name: str
    count: int
    cut_mm: tuple[float, float]
    note: str = ""
    material: str = "cloth"
    """``stitched`` (the cloth that carries the design), ``cloth``, ``felt``, ``card``, ``board`` or ``wadding``."""
    guides: tuple[Guide, ...] = ()
    round: bool = False
    """Cut as a circle (or oval) that touches the four sides of ``cut_mm``."""


@dataclass(frozen=True)
class MakingPlan:
    """How the stitched cloth becomes a piece."""

    kind: str
    parts: tuple[Part, ...]
    steps: tuple[str, ...]
    shopping: tuple[str, ...]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    finished_mm: tuple[float, float] = (0.0, 0.0)
    """Size of the made-up piece."""
    cut: FabricCut | None = None
    """The stitched cloth."""
    guides: tuple[tuple[str, tuple[tuple[float, float], ...]], ...] = field(default=())
    """Lines of the cutting diagram on the stitched cloth: what each is, and its corners (x, y) in mm from the top left
    of the cut cloth."""
