"""What all making-up plans share: the stitched cloth, first and last steps, shopping, cautions."""

from __future__ import annotations

import colorsys
from dataclasses import dataclass

import numpy as np

from converter.estimate.fabric import Design, Extent, Margins, cut_cloth, stitched_extent, thread_mm, whole_threads
from converter.estimate.figures import Figures
from converter.estimate.making.edges import EdgeThread, edge_thread
from converter.estimate.making.words import colour_word, counted, length, metres, size, threads
from converter.estimate.needles import needle_words, needlework
from converter.estimate.skeins import whole_skeins
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread, rgb
from converter.model.phrase import Phrase, sentences
from converter.model.results import FabricCut, Guide, MakingPlan, Part, ThreadUse
from converter.settings import MakingSettings, ThreadSettings

Size = tuple[float, float]
"""Width and height in mm."""


@dataclass(frozen=True, eq=False)
class Work:
    """What every plan starts from."""

    design: Design
    fabric: Fabric
    thread: Thread
    settings: MakingSettings
    figures: Figures
    thread_settings: ThreadSettings
    stitch_thread: tuple[ThreadUse, ...] = ()
    """Thread of crosses and lines, where it is known."""

    @property
    def extent(self) -> Extent:
        """Where the stitches are on the chart."""
        return stitched_extent(self.design)

    @property
    def design_mm(self) -> Size:
        """Width and height of the stitches on the cloth."""
        extent = self.extent
        return self.fabric.width_mm(extent.columns), self.fabric.width_mm(extent.rows)

    @property
    def has_crosses(self) -> bool:
        """Whether the design has crosses; a design of which only the size is known has."""
        return bool(self.design.cells.any()) if isinstance(self.design, Chart) else True

    @property
    def has_lines(self) -> bool:
        """Whether the design has backstitches."""
        return isinstance(self.design, Chart) and len(self.design.lines) > 0

    @property
    def upright(self) -> bool:
        """Whether the design is at least as high as it is wide."""
        width, height = self.design_mm
        return height >= width

    @property
    def way(self) -> str:
        """How the piece is made up, ``auto`` resolved to the usual way."""
        from converter.settings import WAYS

        return WAYS[self.settings.piece][0] if self.settings.way == "auto" else self.settings.way

    def mm(self, name: str, section: str = "") -> float:
        """Return one of the piece's figures in mm."""
        return self.figures.mm(section or self.settings.piece, name)

    def whole_mm(self, length_mm: float, *, up: bool = False) -> float:
        """Return a length cut down (or up) to whole threads of the cloth."""
        return whole_threads(length_mm, self.fabric, up=up) * thread_mm(self.fabric)

    def radius_mm(self) -> float:
        """Return the distance from the middle of the design to its farthest stitch."""
        extent = self.extent
        corners = np.array([[extent.top, extent.left], [extent.bottom, extent.right]])
        if isinstance(self.design, Chart):
            rows, columns = np.nonzero(self.design.cells)
            ends = [np.stack([rows + i, columns + j], axis=1) for i in (0, 1) for j in (0, 1)]
            points = np.concatenate([*ends, self.design.lines.reshape(-1, 2)]).astype(np.float64)
            corners = points if len(points) else corners
        middle = np.array([(extent.top + extent.bottom) / 2, (extent.left + extent.right) / 2])
        return float(np.hypot(*(corners - middle).T).max()) * self.fabric.cell_mm


def grown(size_mm: Size, by_mm: float) -> Size:
    """Return a size with ``by_mm`` more on every side."""
    return size_mm[0] + 2 * by_mm, size_mm[1] + 2 * by_mm


def fits(inner_mm: Size, outer_mm: Size) -> bool:
    """Return True if one size lies inside another the same way round."""
    return inner_mm[0] <= outer_mm[0] + 1e-6 and inner_mm[1] <= outer_mm[1] + 1e-6


def turned(size_mm: Size, upright: bool) -> Size:
    """Return a size turned so that its long side stands upright, or lies level."""
    short, long = sorted(size_mm)
    return (short, long) if upright else (long, short)


def box(role: str, label: str, left: float, top: float, size_mm: Size) -> Guide:
    """Return an upright rectangle as a guide."""
    right, bottom = left + size_mm[0], top + size_mm[1]
    return Guide(role, label, ((left, top), (right, top), (right, bottom), (left, bottom)))


def centred(role: str, label: str, inner_mm: Size, outer_mm: Size) -> Guide:
    """Return a rectangle in the middle of a part."""
    return box(role, label, (outer_mm[0] - inner_mm[0]) / 2, (outer_mm[1] - inner_mm[1]) / 2, inner_mm)


def fringe_strips(outer: Guide, inner: Guide) -> tuple[Guide, ...]:
    """Return the four strips of a fringe between two rectangles; the corners hold no thread and stay empty."""
    (x0, y0), (x1, y1) = outer.points[0], outer.points[2]
    (u0, v0), (u1, v1) = inner.points[0], inner.points[2]
    strips = (
        box("fringe-level", "", x0, v0, (u0 - x0, v1 - v0)),
        box("fringe-level", "", u1, v0, (x1 - u1, v1 - v0)),
        box("fringe-upright", "", u0, y0, (u1 - u0, v0 - y0)),
        box("fringe-upright", "", u0, v1, (u1 - u0, y1 - v1)),
    )
    return tuple(strip for strip in strips if _area(strip) > 1e-6)


def _area(rectangle: Guide) -> float:
    (x0, y0), (x1, y1) = rectangle.points[0], rectangle.points[2]
    return (x1 - x0) * (y1 - y0)


def upright_line(role: str, label: str, x: float, height: float) -> Guide:
    """Return a line from top to bottom of a part."""
    return Guide(role, label, ((x, 0.0), (x, height)))


def level_line(role: str, label: str, y: float, width: float) -> Guide:
    """Return a line across a part."""
    return Guide(role, label, ((0.0, y), (width, y)))


def centre_lines(size_mm: Size) -> tuple[Guide, Guide]:
    """Return the two centre lines of a part."""
    width, height = size_mm
    name = Phrase("centre")
    return upright_line("centre", name, width / 2, height), level_line("centre", name, height / 2, width)


def stitched_part(
    work: Work, name: str, margins: Margins, guides: tuple[Guide, ...] = (), note: str = ""
) -> tuple[Part, FabricCut]:
    """Return the cloth that carries the design, with its centre lines through the middle of the design."""
    cut = cut_cloth(work.design, fabric=work.fabric, margin_mm=margins)
    left, top = cut.margins_mm[:2]
    width, height = cut.finished_mm
    own = (
        box("design", Phrase("the design: {margins}", margins=_margin_words(work, cut)), left, top, cut.finished_mm),
        upright_line("centre", Phrase("centre"), left + width / 2, cut.cut_mm[1]),
        level_line("centre", Phrase("centre"), top + height / 2, cut.cut_mm[0]),
    )
    return Part(name, 1, cut.cut_mm, note, "stitched", own + guides), cut


def is_strong(colour: str) -> bool:
    """Return True if a thread of this colour may run: red, dark or strong in colour."""
    red, green, blue = (value / 255 for value in rgb(colour))
    _, lightness, _ = colorsys.rgb_to_hls(red, green, blue)
    return lightness < 0.4 or max(red, green, blue) - min(red, green, blue) > 0.35


def is_red(colour: str) -> bool:
    """Return True if she would call the colour red."""
    hue, _, saturation = colorsys.rgb_to_hls(*(value / 255 for value in rgb(colour)))
    return saturation > 0.3 and (hue < 0.05 or hue > 0.92)


def trimmed_margin(work: Work, kept_mm: float) -> float:
    """Return the margin to cut in mm, where the cloth is trimmed to ``kept_mm`` outside the design after stitching.

    The usual margin of small pieces, or what is kept and enough to cut the cloth true; a whole number of threads.
    """
    usual = work.whole_mm(work.mm("small", "margins"), up=True)
    return max(usual, work.whole_mm(kept_mm + work.mm("trim", "margins"), up=True))


def first_steps(work: Work, cut: FabricCut, *, trimmed: bool = True, fringed: bool = False) -> list[str]:
    """Return the steps up to the finished stitching.

    ``trimmed``: the cloth is cut again after stitching; ``fringed``: its edges stay raw.

    References
    ----------
    Annie's, Getting Started (hold red cotton under running water until it is clear); Th. de Dillmont,
    Encyclopedia of Needlework, "To wash coloured cottons" (rinse until colourless; vinegar makes no difference).
    """
    colour = Phrase("Red cotton") if is_red(work.thread.colour) else Phrase("Strongly coloured cotton")
    steps: list[str] = []
    if is_strong(work.thread.colour):
        steps.append(
            Phrase(
                "Test the thread before the first stitch. {colour} can run: lay a wetted end between two layers "
                "of white cloth and press. If it leaves colour, rinse the skein in changes of cold water until "
                "the water stays clear, and let it dry in the air.",
                colour=colour,
            )
        )
    top, bottom = cut.margins_mm[1], cut.margins_mm[3]
    cutting = Phrase(
        "Cut the {cloth} cloth {size}, straight along a thread. That leaves {margins}.",
        cloth=work.fabric.describe(),
        size=size(cut.cut_mm),
        margins=_margin_words(work, cut),
    )
    counts = ""
    if cut.threads is not None and cut.threads[0] <= 2000:
        across, down = cut.threads
        counts = Phrase("Counted: {across} by {down}.", across=across, down=threads(down, work.fabric))
    edges = Phrase("Overcast or zigzag the edges so that they do not fray.")
    if fringed:
        edges = Phrase(
            "If you stitch in a hoop, cut it {larger} larger on every side and cut it down to this size "
            "when the stitching is done.",
            larger=length(work.figures.mm("margins", "hoop_grip")),
        )
    steps.append(sentences(cutting, counts, edges))
    if abs(top - bottom) < 0.01:
        steps.append(
            Phrase(
                "Find the middle: fold the cloth in half both ways, crease it lightly and run a light tacking "
                "thread along each crease. Where they cross lies the middle of the chart."
            )
        )
    else:
        steps.append(
            Phrase(
                "Find the middle of the design: fold the cloth in half from left to right, crease it lightly and "
                "run a light tacking thread along the crease. Run a second one across it {below} below the top "
                "edge. Where they cross lies the middle of the chart.",
                below=length(top + cut.finished_mm[1] / 2),
            )
        )
    steps.append(sentences(*_stitching(work), Phrase("Take the tacking threads out.")))
    steps.append(
        Phrase(
            "Wash the piece by itself in cold water with a mild detergent, without bleach; if colour comes, "
            "keep rinsing in cold water until it is clear. Roll it in a towel, and press it damp and face "
            "down between towels with a warm iron."
        )
    )
    if trimmed:
        steps.append(
            Phrase(
                "Check the margins: count from the outermost stitch to the edge on all four sides at two places "
                "each. Put marks where the cut will be before you cut anything away."
            )
        )
    return steps


def _stitching(work: Work) -> list[Phrase]:
    """Return how crosses and backstitches are worked, as far as the design has them."""
    needles = needlework(work.fabric)
    crosses = {"strands": _strands(work.thread.strands), "needle": needles.needle}
    lines = {"strands": _strands(work.thread.line_strands), "needle": needles.line_needle}
    if not work.has_crosses:
        return [
            Phrase(
                "Work the lines from the middle outwards with {strands} and a tapestry needle no. {needle}.", **lines
            )
        ]
    told = [
        Phrase(
            "Stitch the design from the middle outwards with {strands} and a tapestry needle no. {needle}; all top "
            "stitches run the same way.",
            **crosses,
        )
    ]
    if work.has_lines:
        told.append(Phrase("Then work the backstitch lines with {strands} and needle no. {needle}.", **lines))
    return told


def _needles(work: Work) -> Phrase:
    """Return the needles to buy: for the stitches, and for sewing."""
    needles = needle_words(work.fabric, work.has_crosses, work.has_lines)
    return Phrase("{needles}; sewing needle, pins", needles=needles)


def _margin_words(work: Work, cut: FabricCut) -> Phrase:
    left, top, right, bottom = cut.margins_mm
    if max(cut.margins_mm) - min(cut.margins_mm) < 0.01:
        return Phrase("{left} of bare cloth on all four sides", left=_margin(work, left))
    sides = Phrase("{left} at the left and at the right", left=_margin(work, left))
    if abs(left - right) > 0.01:
        sides = Phrase("{left} at the left, {right} at the right", left=_margin(work, left), right=_margin(work, right))
    if abs(top - bottom) > 0.01:
        return Phrase(
            "{sides}, {top} above, {bottom} below it", sides=sides, top=_margin(work, top), bottom=_margin(work, bottom)
        )
    return Phrase("{sides}, {top} above and below it", sides=sides, top=_margin(work, top))


def _margin(work: Work, margin_mm: float) -> Phrase:
    exact = margin_mm / thread_mm(work.fabric)
    if abs(exact - round(exact)) < 1e-6:
        return counted(margin_mm, work.fabric)
    return length(margin_mm)


def _strands(number: int) -> Phrase:
    return Phrase("{number} strand", "{number} strands", number=number)


def thread_shopping(work: Work, *edges: EdgeThread) -> list[str]:
    """Return the lines of the shopping list for thread and needles."""
    thread = work.thread
    name = thread.name or Phrase("{colour} ({code})", colour=colour_word(thread.colour), code=thread.colour)
    stitched = sum(use.skein_share for use in work.stitch_thread)
    edge_m = sum(edge.length_m for edge in edges)
    lines: list[str] = []
    if work.stitch_thread:
        share = stitched + edge_m * thread.strands / (work.thread_settings.skein_m * work.thread_settings.skein_strands)
        lines.append(
            Phrase(
                "six-strand cotton {name}: {skeins} of {length} m ({share} used); buy all at once, lots "
                "differ in shade",
                name=name,
                skeins=Phrase("{number} skein", "{number} skeins", number=max(1, whole_skeins(share))),
                length=f"{work.thread_settings.skein_m:g}",
                share=f"{share:.2f}",
            )
        )
    else:
        lines.append(Phrase("six-strand cotton {name}; buy all at once, lots differ in shade", name=name))
    if edges:
        lines.append(
            Phrase(
                "of that for the hand-sewn edge: {length} with {strands}",
                length=metres(edge_m),
                strands=_strands(thread.strands),
            )
        )
    lines.append(_needles(work))
    return lines


def cloth_shopping(work: Work, cut: FabricCut) -> Phrase:
    """Return the line for the stitching cloth."""
    return Phrase(
        "{colour} {cloth} cloth: {size}",
        colour=colour_word(work.fabric.colour),
        cloth=work.fabric.describe(),
        size=size(cut.cut_mm),
    )


def cautions(work: Work, *, filled: bool = False, small: bool = False, cutter: bool = False) -> tuple[str, ...]:
    """Return the usual cautions for a piece."""
    lines = []
    if is_strong(work.thread.colour):
        lines.append(
            Phrase(
                "Colour: red and dark threads can run. Test the thread before stitching and wash the finished "
                "piece alone, in cold water."
            )
        )
    lines.append(
        Phrase(
            "Scissors, pins and needles: count the needles and pins when you pack up; children use them only "
            "beside a grown-up."
        )
    )
    lines.append(Phrase("Iron: it stays hot for a while after use; keep it and its cord out of children's reach."))
    if cutter:
        lines.append(Phrase("Craft knife: cut on a mat along a metal ruler, away from the fingers."))
    if filled:
        lines.append(
            Phrase(
                "Filling: not for a baby's cot and not a toy. A seam that opens lets filling out that a small "
                "child can swallow; sew seams twice."
            )
        )
    if small:
        lines.append(
            Phrase(
                "Small parts: loose threads, ribbons and beads can be swallowed; keep the piece from small children."
            )
        )
    lines.append(
        Phrase(
            "If you sell or give away pieces, follow the rules of your country for filled articles, toys, "
            "labels and flammability; they come before this plan."
        )
    )
    lines.append(
        Phrase("A picture by someone else may be protected: ask before you sell pieces or pass on charts made from it.")
    )
    return tuple(lines)


def cloth_warnings(work: Work, cut: FabricCut) -> list[str]:
    """Return a warning if the cloth she has does not hold the piece."""
    have = work.settings.cloth_mm
    if have is None:
        return []
    need = cut.cut_mm
    if fits(need, have) or fits(need, (have[1], have[0])):
        return []
    return [
        Phrase(
            "Your cloth of {have} is too small: the plan needs {need}. Make the design smaller, use a finer "
            "cloth, or take a narrower margin.",
            have=size(have, up=False),
            need=size(need),
        )
    ]


def rim_note(work: Work) -> list[str]:
    """Return a note if the chart has empty rows or columns at its rim."""
    if not isinstance(work.design, Chart):
        return []
    extent, chart = work.extent, work.design
    empty = [extent.left, extent.top, chart.columns - extent.right, chart.rows - extent.bottom]
    if not any(empty):
        return []
    left, top, right, bottom = (int(value) for value in empty)
    return [
        Phrase(
            "The chart has empty squares at its rim (left {left}, above {top}, right {right}, below "
            "{bottom}). Margins are counted from the outermost stitch, not from the edge of the chart.",
            left=left,
            top=top,
            right=right,
            bottom=bottom,
        )
    ]


def hand_edge(work: Work, perimeter_mm: float, usual: str = "none", pitch_mm: float | None = None) -> EdgeThread | None:
    """Return the hand-sewn edge she asked for, or the usual one."""
    kind = usual if work.settings.edge == "auto" else work.settings.edge
    if kind == "none":
        return None
    if kind == "backstitch" and pitch_mm is None:
        pitch_mm = 2 * thread_mm(work.fabric) if work.fabric.over == 1 else work.fabric.cell_mm
    return edge_thread(
        kind,
        perimeter_mm,
        pitch_mm=pitch_mm if kind == "backstitch" else None,
        settings=work.thread_settings,
        figures=work.figures,
    )


def edge_words(edge: EdgeThread) -> Phrase:
    """Return how an edge is sewn, with its count and thread."""
    names = {
        "whip": Phrase("whip stitch"),
        "blanket": Phrase("blanket stitch"),
        "backstitch": Phrase("back stitch"),
    }
    return Phrase(
        "in {name}, about {stitches} stitches {pitch} apart: {thread} of thread in {lengths}",
        name=names[edge.kind],
        stitches=edge.stitches,
        pitch=length(edge.pitch_mm),
        thread=metres(edge.length_m),
        lengths=Phrase("{number} length", "{number} lengths", number=edge.starts),
    )


def roll_length_mm(parts: list[Part], roll_mm: float) -> float:
    """Return the length of cloth off a roll that holds the parts, laid in rows without turning.

    Examples
    --------
    >>> roll_length_mm([Part("front", 1, (400, 430)), Part("back", 2, (300, 430))], 1100)
    430.0
    """
    pieces = sorted((part.cut_mm for part in parts for _ in range(part.count)), key=lambda p: (-p[1], -p[0]))
    rows: list[list[float]] = []
    for width, height in pieces:
        row = next((row for row in rows if row[0] + width <= roll_mm + 1e-6), None)
        if row is None:
            rows.append([width, height])
        else:
            row[0] += width
    return float(sum(height for _, height in rows))


def finish_plan(
    work: Work,
    parts: list[Part],
    cut: FabricCut,
    steps: list[str],
    shopping: list[str],
    warnings: list[str],
    finished_mm: Size,
    dangers: tuple[str, ...],
) -> MakingPlan:
    """Put a plan together."""
    guides = tuple((guide.role, guide.points) for guide in parts[0].guides)
    return MakingPlan(
        kind=work.settings.piece,
        parts=tuple(parts),
        steps=tuple(steps),
        shopping=tuple(shopping),
        cautions=dangers,
        warnings=tuple([*warnings, *cloth_warnings(work, cut), *rim_note(work)]),
        finished_mm=finished_mm,
        cut=cut,
        guides=guides,
    )
