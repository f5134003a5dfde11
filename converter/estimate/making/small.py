"""Sachets and bookmarks."""

from __future__ import annotations

from converter.errors import RequestError
from converter.estimate.fabric import Margins, thread_mm
from converter.estimate.making.common import (
    Work,
    box,
    cautions,
    centre_lines,
    centred,
    cloth_shopping,
    edge_words,
    finish_plan,
    first_steps,
    fits,
    fringe_strips,
    grown,
    hand_edge,
    level_line,
    stitched_part,
    thread_shopping,
    trimmed_margin,
    turned,
    upright_line,
)
from converter.estimate.making.words import both, counted, length, size
from converter.model.phrase import Phrase
from converter.model.results import Guide, MakingPlan, Part


def plan_sachet(work: Work) -> MakingPlan:
    """Return the plan of a sachet: a flat filled pillow, or a bag tied at the top."""
    return _plan_bag(work) if work.way == "bag" else _plan_pillow(work)


def _plan_pillow(work: Work) -> MakingPlan:
    seam = work.mm("pillow_seam")
    ground = work.settings.margin_mm if work.settings.margin_mm is not None else work.mm("pillow_ground")
    ground = work.whole_mm(ground, up=True)
    margin = trimmed_margin(work, ground + seam)
    finished = grown(work.design_mm, ground)
    trimmed = grown(finished, seam)
    off, line = margin - ground - seam, margin - ground
    guides = (
        box("trim", Phrase("trim to {size}", size=size(trimmed)), off, off, trimmed),
        box("stitch", Phrase("seam {seam}", seam=length(seam)), line, line, finished),
    )
    front, cut = stitched_part(
        work, Phrase("sachet front"), (margin, margin, margin, margin), guides, Phrase("trimmed after stitching")
    )
    back_lines = (
        centred("stitch", Phrase("seam {seam}", seam=length(seam)), finished, trimmed),
        *centre_lines(trimmed),
    )
    parts = [
        front,
        Part(Phrase("sachet back"), 1, trimmed, Phrase("the same size as the trimmed front"), "cloth", back_lines),
    ]
    edge = hand_edge(work, 2 * (finished[0] + finished[1]))
    gap = min(work.mm("pillow_gap"), 0.6 * min(finished))
    steps = first_steps(work, cut)
    steps += [
        Phrase(
            "Trim the front to {size}: {beyond} beyond the outermost stitch on all four sides. Cut the back "
            "to the same size from cotton.",
            size=size(trimmed),
            beyond=length(ground + seam),
        ),
        Phrase(
            "Lay front and back right sides together and pin. Sew all round {seam} from the edge, two rows; "
            "leave an opening of {gap} in the middle of the lower side.",
            seam=length(seam),
            gap=length(gap),
        ),
        Phrase(
            "Snip the corners off close to the seam, zigzag the edges, turn right side out and push the "
            "corners square. Press with the seam allowance of the opening turned in."
        ),
        Phrase(
            "Fill with dried lavender, or with wadding and a little lavender in the middle; not too tight. "
            "Close the opening by hand with small stitches."
        ),
    ]
    if edge:
        steps.append(Phrase("Sew round the finished edge {edge}.", edge=edge_words(edge)))
    shopping = [
        cloth_shopping(work, cut),
        *thread_shopping(work, *([edge] if edge else [])),
        Phrase("cotton for the back: {size}", size=size(trimmed)),
        Phrase("dried lavender or wadding, ribbon for a hanger if you like"),
        Phrase("sewing thread in the colour of the cloth"),
    ]
    steps.append(Phrase("It cannot be washed once it is filled: take the filling out first, or shake and air it."))
    return finish_plan(
        work, parts, cut, steps, shopping, _sachet_warnings(work, finished), finished,
        cautions(work, filled=True, small=True),
    )  # fmt: skip


def _sachet_warnings(work: Work, finished: tuple[float, float]) -> list[str]:
    # A bag stands, whichever way the design on it lies.
    largest = turned(work.figures.pairs_mm("sachet", "largest")[0], finished[1] >= finished[0])
    if fits(finished, largest):
        return []
    return [
        Phrase(
            "At {finished} it is larger than a usual sachet ({largest}); it needs much filling.",
            finished=size(finished, up=False),
            largest=size(largest, up=False),
        )
    ]


def _plan_bag(work: Work) -> MakingPlan:
    """Plan a bag sewn from one piece, seam at the middle of the back.

    References
    ----------
    Landscape (UK), 15 June 2016: margins 1 in below, 2.5 in each side, 5.5 in above; quarter-inch seams; top
    turned 0.25 and 1 in. Flat width (w + 4.5) / 2 in, height h + 5 in.
    """
    seam, fold, turn = work.mm("seam"), work.mm("bag_fold"), work.mm("bag_turn")
    width, height = work.design_mm
    least = work.settings.margin_mm if work.settings.margin_mm is not None else work.mm("pillow_ground") / 2
    # The front is half of the tube: it must hold the design and a little cloth at both sides of it.
    side = max(work.mm("bag_side"), (width + 4 * least + 2 * seam) / 2)
    margins: Margins = (side, work.mm("bag_above"), side, work.mm("bag_below"))
    cut_mm = (width + 2 * side, height + margins[1] + margins[3])
    finished = (cut_mm[0] / 2 - seam, cut_mm[1] - seam - fold - turn)
    guides = (
        upright_line("fold", Phrase("fold"), (cut_mm[0] - finished[0]) / 2, cut_mm[1]),
        upright_line("fold", Phrase("fold"), (cut_mm[0] + finished[0]) / 2, cut_mm[1]),
        upright_line("stitch", Phrase("seam {seam}", seam=length(seam)), seam, cut_mm[1]),
        upright_line("stitch", "", cut_mm[0] - seam, cut_mm[1]),
        level_line("stitch", "", cut_mm[1] - seam, cut_mm[0]),
        level_line(
            "hem", Phrase("turn {fold}, then {turn}", fold=length(fold), turn=length(turn)), fold + turn, cut_mm[0]
        ),
        level_line("hem", "", fold, cut_mm[0]),
    )
    bag, cut = stitched_part(
        work, Phrase("sachet bag"), margins, guides, Phrase("one piece, seam at the middle of the back")
    )
    edge = hand_edge(work, 2 * finished[0])
    steps = first_steps(work, cut, trimmed=False)
    steps += [
        Phrase(
            "Fold the piece in half, right sides together, side edges matched. Sew them {seam} from the edge "
            "and press the seam open.",
            seam=length(seam),
        ),
        Phrase(
            "Turn the tube so that the seam lies in the middle of the back: the design is then {away} from "
            "each fold. Sew the lower edge {seam} from the edge, twice.",
            away=length((finished[0] - width) / 2),
            seam=length(seam),
        ),
        Phrase(
            "Turn the top {fold} under, then {turn}; press and sew close to the fold. Turn the bag right side out.",
            fold=length(fold),
            turn=length(turn),
        ),
        Phrase(
            "Fill to the top of the design and tie a ribbon round, above it. Flat it measures {finished}.",
            finished=size(finished, up=False),
        ),
    ]
    if edge:
        steps.append(Phrase("Sew round the top {edge}.", edge=edge_words(edge)))
    shopping = [
        cloth_shopping(work, cut),
        *thread_shopping(work, *([edge] if edge else [])),
        Phrase(
            "dried lavender, ribbon {length}",
            length=both(Phrase("{value} in", value=20), Phrase("{value} cm", value=50)),
        ),
        Phrase("sewing thread in the colour of the cloth"),
    ]
    return finish_plan(
        work, [bag], cut, steps, shopping, _sachet_warnings(work, finished), finished,
        cautions(work, filled=True, small=True),
    )  # fmt: skip


def plan_bookmark(work: Work) -> MakingPlan:
    """Return the plan of a bookmark: fringed on four sides, or sides folded under and ends fringed."""
    return _plan_folded(work) if work.way == "folded" else _plan_fringed(work)


def _bookmark_warnings(work: Work, body: tuple[float, float]) -> list[str]:
    largest = turned(work.figures.pairs_mm("bookmark", "largest")[0], work.upright)
    if fits(body, largest):
        return []
    return [
        Phrase(
            "Without its fringe it measures {size}, more than a usual bookmark of {largest}. Make the design "
            "narrower or use a finer cloth.",
            size=size(body, up=False),
            largest=size(largest, up=False),
        )
    ]


def _plan_fringed(work: Work) -> MakingPlan:
    fringe = work.whole_mm(work.settings.fringe_mm if work.settings.fringe_mm is not None else work.mm("fringe"))
    ground = work.figures.number("bookmark", "ground") * work.fabric.cell_mm
    if work.settings.margin_mm is not None:
        ground = work.whole_mm(work.settings.margin_mm) - fringe
    if fringe <= 0 or ground < thread_mm(work.fabric) - 1e-6:
        raise RequestError(
            "The margin must hold the fringe and at least one thread of plain cloth inside it, and the fringe at least "
            "one thread.",
            "Give a wider margin with --margin or another fringe with --fringe.",
        )
    edge_margin = fringe + ground
    margin = trimmed_margin(work, edge_margin)
    body, finished = grown(work.design_mm, ground), grown(work.design_mm, edge_margin)
    off, line = margin - edge_margin, margin - ground
    trim = box("trim", Phrase("trim to {finished}", finished=size(finished, up=False)), off, off, finished)
    sewn_line = box(
        "stitch", Phrase("sewn line, {fringe} inside the trimmed edge", fringe=length(fringe)), line, line, body
    )
    guides = (trim, sewn_line, *fringe_strips(trim, sewn_line))
    cloth, cut = stitched_part(
        work, Phrase("bookmark"), (margin, margin, margin, margin), guides, Phrase("fringed on four sides")
    )
    backing = Part(Phrase("backing"), 1, body, Phrase("hides the threads on the back"), "felt", centre_lines(body))
    edge = hand_edge(work, 2 * (body[0] + body[1]), usual="backstitch")
    sewn = edge_words(edge) if edge else Phrase("by machine with a short straight stitch")
    fringe_words = counted(fringe, work.fabric)
    steps = first_steps(work, cut)
    steps += [
        Phrase(
            "Sew the line that stops the fringe {ground} outside the design, all round, {sewn}.",
            ground=counted(ground, work.fabric),
            sewn=sewn,
        ),
        Phrase(
            "Trim the cloth {fringe} outside the sewn line on all four sides, along a thread. The bookmark "
            "measures {finished}.",
            fringe=fringe_words,
            finished=size(finished, up=False),
        ),
        Phrase(
            "Cut the backing {size} from thin felt and sew it behind with small hem stitches just inside the "
            "sewn line, without going through to the front; or use iron-on backing, with a cloth under the "
            "iron.",
            size=size(body, up=False),
        ),
        Phrase(
            "Draw out the threads outside the sewn line one by one, from the edge inwards, on all four "
            "sides, over {fringe}. Comb the fringe with the needle, press it under a cloth and trim it even.",
            fringe=fringe_words,
        ),
    ]
    shopping = [
        cloth_shopping(work, cut),
        *thread_shopping(work, *([edge] if edge else [])),
        Phrase("thin felt or iron-on backing: {size}", size=size(body, up=False)),
        Phrase("sewing thread in the colour of the cloth"),
    ]
    return finish_plan(
        work, [cloth, backing], cut, steps, shopping, _bookmark_warnings(work, body), finished,
        cautions(work, small=True),
    )  # fmt: skip


def _plan_folded(work: Work) -> MakingPlan:
    """Plan a bookmark by cells.

    References
    ----------
    A Stitch of Blissfulness, 4 Oct 2022: 5 cells at the sides, 7 at the ends, 3 folded under, sewn one row from
    the design, fringe of 5 cells at the ends.
    """
    cell = work.fabric.cell_mm
    names = ("folded_side", "folded_end", "folded_under", "folded_fringe", "folded_line")
    side, end, under, fringe, line = (work.figures.number("bookmark", name) * cell for name in names)
    margin = trimmed_margin(work, end)
    width, height = work.design_mm
    # The fringe is at the two short ends, whichever way the design lies.
    across, down = (side, end) if work.upright else (end, side)
    trimmed = (width + 2 * across, height + 2 * down)
    finished = (trimmed[0] - 2 * under, trimmed[1]) if work.upright else (trimmed[0], trimmed[1] - 2 * under)
    body = (finished[0], height + 2 * (end - fringe)) if work.upright else (width + 2 * (end - fringe), finished[1])
    outer = (margin - across, margin - down)
    folds: tuple[Guide, ...]
    if work.upright:
        x0, x1 = outer[0] + under, outer[0] + trimmed[0] - under
        folds = tuple(Guide("fold", Phrase("fold"), ((x, outer[1]), (x, outer[1] + trimmed[1]))) for x in (x0, x1))
    else:
        y0, y1 = outer[1] + under, outer[1] + trimmed[1] - under
        folds = tuple(Guide("fold", Phrase("fold"), ((outer[0], y), (outer[0] + trimmed[0], y))) for y in (y0, y1))
    strips = fringe_strips(
        centred("edge", "", finished, (width + 2 * margin, height + 2 * margin)),
        centred("edge", "", body, (width + 2 * margin, height + 2 * margin)),
    )
    guides = (
        box("trim", Phrase("trim to {size}", size=size(trimmed, up=False)), *outer, trimmed),
        box("stitch", Phrase("sewn line, {away} from the design", away=length(line)), margin - line, margin - line,
            grown((width, height), line)),
        *folds,
        *strips,
    )  # fmt: skip
    cloth, cut = stitched_part(
        work, Phrase("bookmark"), (margin, margin, margin, margin), guides, Phrase("sides folded under")
    )
    edge = hand_edge(work, 2 * (width + height + 4 * line), usual="backstitch", pitch_mm=2 * cell)
    sewn = edge_words(edge) if edge else Phrase("by machine with a short straight stitch")
    steps = first_steps(work, cut)
    steps += [
        Phrase(
            "Trim the cloth {side} beyond the design at the long sides and {end} beyond it at the two ends, "
            "along a thread.",
            side=counted(side, work.fabric),
            end=counted(end, work.fabric),
        ),
        Phrase("Fold {under} under at both long sides and press.", under=counted(under, work.fabric)),
        Phrase(
            "Sew round the design {away} away from it, through the folded sides, {sewn}.",
            away=counted(line, work.fabric),
            sewn=sewn,
        ),
        Phrase(
            "Draw out the threads at both ends for a fringe {fringe} deep. Comb it and trim it even. The "
            "bookmark measures {finished}.",
            fringe=counted(fringe, work.fabric),
            finished=size(finished, up=False),
        ),
    ]
    shopping = [
        cloth_shopping(work, cut),
        *thread_shopping(work, *([edge] if edge else [])),
        Phrase("sewing thread in the colour of the cloth"),
    ]
    return finish_plan(
        work, [cloth], cut, steps, shopping, _bookmark_warnings(work, body), finished, cautions(work, small=True)
    )
