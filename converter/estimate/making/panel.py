"""Fringed panel sewn on a cushion front, and the whole cover from the stitched cloth."""

from __future__ import annotations

from converter.errors import RequestError
from converter.estimate.fabric import Margins, thread_mm
from converter.estimate.making.common import (
    Size,
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
    roll_length_mm,
    stitched_part,
    thread_shopping,
)
from converter.estimate.making.cover import choose_pad, pad_warnings, pad_words, plan_cover
from converter.estimate.making.words import both, counted, length, size
from converter.model.phrase import Phrase
from converter.model.results import MakingPlan, Part


def panel_margins_mm(work: Work) -> tuple[float, float]:
    """Return margin and fringe of the panel, both whole threads.

    Raises
    ------
    RequestError
        If the margin does not hold the fringe and the plain threads inside it.
    """
    margin_mm = work.settings.margin_mm if work.settings.margin_mm is not None else work.mm("margin")
    fringe_mm = work.settings.fringe_mm if work.settings.fringe_mm is not None else work.mm("fringe")
    margin, fringe = work.whole_mm(margin_mm), work.whole_mm(fringe_mm)
    ground = work.figures.number("panel", "ground") * thread_mm(work.fabric) * work.fabric.over
    if work.settings.margin_mm is None and work.settings.fringe_mm is None:
        # Very coarse cloth: the usual margin would not hold the usual fringe.
        margin = max(margin, fringe + ground)
    if not fringe:
        raise RequestError(
            f"A fringe of {fringe_mm:g} mm is less than one thread of the cloth.", "Give a deeper fringe with --fringe."
        )
    if fringe + ground > margin + 1e-6:
        raise RequestError(
            f"A margin of {length(margin)} does not hold a fringe of {length(fringe)} and "
            f"{length(ground)} of plain cloth inside it.",
            "Give a wider margin with --margin or a shorter fringe with --fringe.",
        )
    return margin, fringe


def plan_panel(work: Work) -> MakingPlan:
    """Return the plan of a fringed panel sewn on the front of a cushion.

    Notes
    -----
    The margin is the same whole number of threads on all four sides, so the panel is cut and checked by
    counting. The stitch line lies where the fringe ends; it holds the threads and, sewn over a second
    time, the panel on the front.
    """
    margin, fringe = panel_margins_mm(work)
    line = grown(work.design_mm, margin - fringe)
    guide = box("stitch", Phrase("stitch line, {fringe} from the edge", fringe=length(fringe)), fringe, fringe, line)
    strips = fringe_strips(box("edge", "", 0.0, 0.0, grown(work.design_mm, margin)), guide)
    panel, cut = stitched_part(
        work, Phrase("panel"), (margin, margin, margin, margin), (guide, *strips), Phrase("fringed on four sides")
    )
    pad = choose_pad(work, grown(cut.cut_mm, work.mm("round_panel")))
    cover = plan_cover(work, pad, wrap=work.way == "wrap")
    place = centred("place", Phrase("the panel's edge"), cut.cut_mm, cover.front_mm)
    front = Part(
        Phrase("cushion strip") if cover.wrap else Phrase("cushion front"),
        1,
        cover.front_mm,
        Phrase("the panel is sewn on its middle"),
        "cloth",
        (place, *centre_lines(cover.front_mm), *cover.front_guides()),
    )
    parts = [panel, front, *cover.back_parts()]
    edge = hand_edge(work, 2 * (line[0] + line[1]))

    warnings = pad_warnings(work, pad)
    if margin < work.mm("least_margin") - thread_mm(work.fabric):
        warnings.append(
            Phrase(
                "A margin of {margin} is narrower than the usual {usual} of a fringed panel.",
                margin=length(margin),
                usual=both(
                    Phrase("{least} to {most} in", least="1", most="1 1/4"),
                    Phrase("{least} to {most} cm", least="2.5", most="3.2"),
                ),
            )
        )
    if not fits(cut.cut_mm, pad):
        warnings.append(
            Phrase(
                "The panel of {size} is larger than the cushion front of {pad}. Take a larger pad, or make the "
                "design smaller.",
                size=size(cut.cut_mm),
                pad=size(pad, up=False),
            )
        )
    elif not fits(grown(cut.cut_mm, work.mm("round_panel") / 2), pad):
        warnings.append(
            Phrase(
                "Less than {least} of the cushion front shows round the panel; the edge bends over the filling "
                "there. A larger pad lies flatter.",
                least=length(work.mm("round_panel") / 2),
            )
        )
    warnings += _small(work, cut.cut_mm, pad, panel=True)

    fringe_words = counted(fringe, work.fabric)
    side, above = (cover.front_mm[0] - cut.cut_mm[0]) / 2, (cover.front_mm[1] - cut.cut_mm[1]) / 2
    sewn = (
        Phrase("by hand {edge}", edge=edge_words(edge))
        if edge
        else Phrase("by machine with a short straight stitch, or by hand in back stitch")
    )
    base = Phrase("strip") if cover.wrap else Phrase("front")
    steps = first_steps(work, cut, fringed=True)
    steps += [
        Phrase(
            "Trim the panel to {margin} beyond the outermost stitch on all four sides, along a thread.",
            margin=counted(margin, work.fabric),
        ),
        Phrase(
            "Mark the stitch line {fringe} in from the cut edge, all round, by drawing out one thread or "
            "with a tacking thread. Sew along it {sewn}; turn exactly at the corners.",
            fringe=fringe_words,
            sewn=sewn,
        ),
        Phrase("Cut the {base} {size} from plain cotton.", base=base, size=size(cover.front_mm))
        if cover.back_mm is None
        else Phrase(
            "Cut the {base} {size} from plain cotton and two backs {back} each.",
            base=base,
            size=size(cover.front_mm),
            back=size(cover.back_mm),
        ),
        Phrase(
            "Fold the {base} in half both ways and crease its middle. Lay the panel on it, both right sides "
            "up, centre marks on the creases. The {base} shows {side} at the left and just as much at the "
            "right, {above} above and just as much below. Pin, then tack.",
            base=base,
            side=length(side),
            above=length(above),
        ),
        Phrase(
            "Sew the panel on along its stitch line, over the first line. On a cover that is made up "
            "already, slip a sheet of card inside first and sew by hand."
        ),
        Phrase(
            "Make the fringe: draw out the threads outside the stitch line one by one, from the edge "
            "inwards, on all four sides, over {fringe}. Comb it straight with the needle and trim it even.",
            fringe=fringe_words,
        ),
        *cover.steps(),
    ]
    roll = work.mm("bolt", "cushion")
    need = roll_length_mm(parts[1:], roll)
    shopping = [
        cloth_shopping(work, cut),
        *thread_shopping(work, *([edge] if edge else [])),
        Phrase(
            "plain cotton for the cover: {length} off a roll {roll} wide",
            length=length(need, up=True),
            roll=length(roll),
        ),
        pad_words(pad),
        Phrase("sewing thread in the colour of the cloth and of the cover"),
    ]
    return finish_plan(work, parts, cut, steps, shopping, warnings, pad, cautions(work, filled=True))


def plan_cushion(work: Work) -> MakingPlan:
    """Return the plan of a whole cushion cover whose front is the stitched cloth."""
    ground = work.settings.margin_mm if work.settings.margin_mm is not None else work.mm("ground")
    pad = choose_pad(work, grown(work.design_mm, ground))
    cover = plan_cover(work, pad, wrap=work.way == "wrap")
    width, height = work.design_mm
    warnings = pad_warnings(work, pad)
    if not fits(work.design_mm, pad):
        warnings.append(
            Phrase(
                "The design of {design} is larger than the pad of {pad}. Take a larger pad, a finer cloth, or a "
                "smaller design.",
                design=size(work.design_mm),
                pad=size(pad, up=False),
            )
        )
    elif not fits(grown(work.design_mm, ground), pad):
        warnings.append(
            Phrase(
                "Less than {ground} of bare cloth is left between the design and the seam. Take a larger pad, or "
                "make the design smaller.",
                ground=length(ground),
            )
        )
    warnings += _small(work, work.design_mm, pad, panel=False)
    side = max((cover.front_mm[0] - width) / 2, 0.0)
    above = max((cover.front_mm[1] - height) / 2, 0.0)
    margins: Margins = (side, above, side, above)
    name = Phrase("stitched cushion strip") if cover.wrap else Phrase("stitched cushion front")
    front, cut = stitched_part(work, name, margins, cover.front_guides(), Phrase("the design lies in its middle"))
    parts = [front, *cover.back_parts()]
    edge = hand_edge(work, 2 * (pad[0] + pad[1]))
    steps = first_steps(work, cut)
    steps.append(
        Phrase(
            "Measure {side} from the outermost stitch at the left and at the right, {above} above and below, "
            "and trim away what the stitching has pulled out of true. Zigzag the edges.",
            side=length(side),
            above=length(above),
        )
    )
    if cover.back_mm is not None:
        steps.append(Phrase("Cut two backs {back} each from plain cotton.", back=size(cover.back_mm)))
    steps += cover.steps()
    if edge:
        steps.append(Phrase("Sew round the finished edge {edge}.", edge=edge_words(edge)))
    shopping = [cloth_shopping(work, cut), *thread_shopping(work, *([edge] if edge else []))]
    if len(parts) > 1:
        roll = work.mm("bolt")
        need = roll_length_mm(parts[1:], roll)
        shopping.append(
            Phrase(
                "plain cotton for the backs: {length} off a roll {roll} wide",
                length=length(need, up=True),
                roll=length(roll),
            )
        )
    shopping += [pad_words(pad), Phrase("sewing thread in the colour of the cloth")]
    return finish_plan(work, parts, cut, steps, shopping, warnings, pad, cautions(work, filled=True))


def _small(work: Work, part_mm: Size, pad: Size, panel: bool) -> list[Phrase]:
    """Return a warning where the panel, or the design, is small for its pad."""
    share = work.figures.number("panel" if panel else "cushion", "least_share")
    if max(part_mm[0] / pad[0], part_mm[1] / pad[1]) >= share:
        return []
    of = size(part_mm)
    part = Phrase("The panel of {size}", size=of) if panel else Phrase("The design of {size}", size=of)
    return [
        Phrase(
            "{part} is small for a pad of {pad}: under {share} of its width. Take a smaller pad, put a border round "
            "the design, or use a coarser cloth.",
            part=part,
            pad=size(pad, up=False),
            share=f"{share:.0%}",
        )
    ]
