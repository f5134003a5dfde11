"""Cards, frames and hoops: pieces that are mounted instead of sewn."""

from __future__ import annotations

import math

from converter.errors import RequestError
from converter.estimate.fabric import Margins
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
    grown,
    hand_edge,
    stitched_part,
    thread_shopping,
    trimmed_margin,
    turned,
    upright_line,
)
from converter.estimate.making.edges import edge_thread
from converter.estimate.making.words import length, size, whole_eighth
from converter.model.phrase import Phrase
from converter.model.results import Guide, MakingPlan, Part

ROUND_CORNERS = 72
"""Corners of the polygon that stands for a circle among the guides."""


def _no_edge(work: Work) -> None:
    if work.settings.edge not in ("auto", "none"):
        raise RequestError(
            f"A {work.settings.piece} has no sewn edge, so --edge {work.settings.edge} has no place on it.",
            "Leave --edge out.",
        )


def _choose(work: Work, least_mm: Size, name: str) -> Size:
    """Return the size she has, or the smallest of the shop's sizes that holds ``least_mm``, or just that.

    A frame that does upright and lying is taken the way that leaves the more even margins; cards, which fold at the
    side, are upright.
    """

    def uneven(offer: Size) -> float:
        if work.settings.piece != "frame":
            return 0.0
        return round(abs((offer[0] - least_mm[0]) - (offer[1] - least_mm[1])), 3)

    if work.settings.size_mm is not None:
        return work.settings.size_mm
    offers = {
        turned(pair, upright) for pair in work.figures.pairs_mm(work.settings.piece, name) for upright in (True, False)
    }
    holding = [offer for offer in offers if fits(least_mm, offer)]
    return min(holding, key=lambda offer: (offer[0] * offer[1], uneven(offer), offer)) if holding else least_mm


def _size_warnings(work: Work, chosen: Size, name: str) -> list[str]:
    """Return a warning if no shop keeps a card or frame so large."""
    if work.settings.size_mm is not None or _in_shops(work, chosen, name):
        return []
    return [
        Phrase(
            "Ready-made ones do not come so large: this needs one of {size} made to measure.",
            size=size(chosen, up=False),
        )
    ]


def _in_shops(work: Work, chosen: Size, name: str) -> bool:
    return any(
        fits(chosen, turned(pair, up))
        for pair in work.figures.pairs_mm(work.settings.piece, name)
        for up in (True, False)
    )


def plan_card(work: Work) -> MakingPlan:
    """Return the plan of a folded card with the stitched cloth behind a window."""
    _no_edge(work)
    ground = work.settings.margin_mm if work.settings.margin_mm is not None else work.mm("ground")
    rim, behind = work.mm("rim"), work.mm("behind")
    window = grown(work.design_mm, ground)
    front = _choose(work, grown(window, rim), "fronts")
    trimmed = grown(window, min(behind, rim - 2))
    margin = trimmed_margin(work, (trimmed[0] - work.design_mm[0]) / 2)
    off, line = margin - (trimmed[0] - work.design_mm[0]) / 2, margin - ground
    guides = (
        box("trim", Phrase("trim to {size}", size=size(trimmed)), off, off, trimmed),
        box("window", Phrase("edge of the window"), line, line, window),
    )
    cloth, cut = stitched_part(
        work, Phrase("stitched cloth"), (margin, margin, margin, margin), guides, Phrase("trimmed after stitching")
    )
    flat = (2 * front[0], front[1])
    at = (front[0] + (front[0] - window[0]) / 2, (front[1] - window[1]) / 2)
    card_guides = (
        upright_line("fold", Phrase("fold"), front[0], front[1]),
        box("window", Phrase("window {window}", window=size(window, up=False)), *at, window),
    )
    less = work.mm("wadding_less")
    lining, wadding = grown(front, -less / 2), grown(window, -less)
    parts = [
        cloth,
        Part(Phrase("card"), 1, flat, Phrase("window in the right half"), "card", card_guides),
        Part(
            Phrase("lining"),
            1,
            lining,
            Phrase("covers the back of the cloth inside the card"),
            "card",
            centre_lines(lining),
        ),
        Part(Phrase("wadding"), 1, wadding, Phrase("thin, under the window"), "wadding", centre_lines(wadding)),
    ]
    warnings = _size_warnings(work, front, "fronts")
    if not fits(grown(window, rim / 2), front):
        warnings.append(
            Phrase(
                "The window of {window} leaves too little card on a front of {front}. Take a larger card, a "
                "finer cloth, or a smaller design.",
                window=size(window, up=False),
                front=size(front, up=False),
            )
        )
    side, above = (front[0] - window[0]) / 2, (front[1] - window[1]) / 2
    steps = first_steps(work, cut)
    steps += [
        Phrase("Cut the card {size}, score its middle with a blunt needle and fold it.", size=size(flat, up=False)),
        Phrase(
            "Cut the window {window} in the right half: {side} from the fold and from the edge, {above} from "
            "the top and from the bottom.",
            window=size(window, up=False),
            side=length(side),
            above=length(above),
        ),
        Phrase(
            "Trim the stitched cloth to {size}, the same distance from the design on all four sides.",
            size=size(trimmed),
        ),
        Phrase(
            "Put double-sided tape round the back of the window. Lay the cloth face up on the table, lower "
            "the card on it with even cloth on all four sides of the design, and press."
        ),
        Phrase("Lay the wadding on the back of the cloth and stick the lining over it. Let it dry under a book."),
    ]
    shopping = [
        cloth_shopping(work, cut),
        *thread_shopping(work),
        Phrase(
            "card {size} and thin card or paper {lining} for the lining",
            size=size(flat, up=False),
            lining=size(lining, up=False),
        ),
        Phrase(
            "thin wadding {size}, double-sided tape, envelope for {card}",
            size=size(wadding),
            card=size(front, up=False),
        ),
    ]
    return finish_plan(work, parts, cut, steps, shopping, warnings, front, cautions(work, cutter=True))


def plan_frame(work: Work) -> MakingPlan:
    """Return the plan of a framed picture: cloth laced over a board, behind a mount."""
    _no_edge(work)
    ground, mount, lace = work.mm("ground"), work.mm("mount"), work.mm("lace")
    window = grown(work.design_mm, ground)
    frame = _choose(work, grown(window, mount), "frames")
    board = grown(frame, -1.5)
    own = work.settings.margin_mm if work.settings.margin_mm is not None else work.mm("plain", "margins")
    side = max(own, (board[0] - work.design_mm[0]) / 2 + lace)
    above = max(own, (board[1] - work.design_mm[1]) / 2 + lace)
    margins: Margins = (side, above, side, above)
    at_board = (side - (board[0] - work.design_mm[0]) / 2, above - (board[1] - work.design_mm[1]) / 2)
    guides = (
        box("fold", Phrase("edge of the board"), *at_board, board),
        box("window", Phrase("edge of the mount's window"), side - ground, above - ground, window),
    )
    cloth, cut = stitched_part(work, Phrase("stitched cloth"), margins, guides, Phrase("laced over the board"))
    parts = [
        cloth,
        Part(Phrase("board"), 1, board, Phrase("acid-free"), "board", centre_lines(board)),
        Part(
            Phrase("mount"),
            1,
            frame,
            Phrase("acid-free card with a window"),
            "card",
            (centred("window", Phrase("window"), window, frame),),
        ),
    ]
    warnings = _size_warnings(work, frame, "frames")
    if not fits(grown(window, mount / 2), frame):
        warnings.append(
            Phrase(
                "The window of {window} leaves too little mount in a frame of {frame}. Take a larger frame, a "
                "finer cloth, or a smaller design.",
                window=size(window, up=False),
                frame=size(frame, up=False),
            )
        )
    across, down = (frame[0] - window[0]) / 2, (frame[1] - window[1]) / 2
    steps = first_steps(work, cut, trimmed=False)
    steps += [
        Phrase(
            "Cut the board {size} and mark the middle of each side. Lay it on the back of the cloth, its "
            "middle on the middle of the design.",
            size=size(board, up=False),
        ),
        Phrase(
            "Fix the cloth with pins into the edges of the board, from the middle of each side to the "
            "corners, along a thread of the cloth. Look from the front: the design must be straight, with "
            "even cloth left and right, above and below."
        ),
        Phrase(
            "Lace the long sides together on the back with strong thread, from the middle outwards; then the "
            "short sides. Fold the corners flat and take the pins out."
        ),
        Phrase(
            "Cut the window of the mount {window}: {across} of mount at the left and right, {down} above and below.",
            window=size(window, up=False),
            across=length(across),
            down=length(down),
        ),
        Phrase(
            "Clean the glass, put mount and board in the frame and close its back. The cloth should not "
            "touch the glass."
        ),
    ]
    shopping = [
        cloth_shopping(work, cut),
        *thread_shopping(work),
        Phrase("frame for pictures of {frame}, with mount", frame=size(frame, up=False)),
        Phrase("acid-free board {size}, strong lacing thread", size=size(board, up=False)),
    ]
    return finish_plan(work, parts, cut, steps, shopping, warnings, frame, cautions(work, cutter=True))


def _circle(role: str, label: str, centre: Size, radius: float) -> Guide:
    turns = (2 * math.pi * i / ROUND_CORNERS for i in range(ROUND_CORNERS))
    return Guide(
        role, label, tuple((centre[0] + radius * math.cos(t), centre[1] + radius * math.sin(t)) for t in turns)
    )


def plan_hoop(work: Work) -> MakingPlan:
    """Return the plan of a piece that stays in its hoop, with a felt back."""
    ground = work.settings.margin_mm if work.settings.margin_mm is not None else work.mm("ground")
    least = 2 * (work.radius_mm() + ground)
    sold = sorted(work.figures.many_mm("hoop", "hoops"))
    if work.settings.size_mm is not None:
        across = min(work.settings.size_mm)
    else:
        # Beyond those in the shops a whole eighth of an inch, so that it reads the same wherever it stands.
        across = next((hoop for hoop in sold if hoop >= least - 1e-6), whole_eighth(least))
    grip, turn = work.mm("hoop_grip", "margins"), work.mm("turn")
    width, height = work.design_mm
    square = max(across + 2 * grip, max(width, height) + 2 * grip)
    side, above = (square - width) / 2, (square - height) / 2
    middle = (square / 2, square / 2)
    guides = (
        _circle("edge", Phrase("inside of the hoop"), middle, across / 2),
        _circle("trim", Phrase("trim {turn} outside the hoop", turn=length(turn)), middle, across / 2 + turn),
    )
    cloth, cut = stitched_part(
        work, Phrase("stitched cloth"), (side, above, side, above), guides, Phrase("trimmed round after stitching")
    )
    felt = Part(
        Phrase("felt back"), 1, (across, across), Phrase("a circle"), "felt", centre_lines((across, across)), round=True
    )
    usual_pitch = work.mm("felt_stitch")
    if work.settings.edge in ("auto", "whip"):
        table, use = work.figures, work.thread_settings
        edge = edge_thread("whip", math.pi * across, pitch_mm=usual_pitch, settings=use, figures=table)
    else:
        chosen = hand_edge(work, math.pi * across)
        edge = chosen if chosen is not None else edge_thread("whip", math.pi * across, pitch_mm=usual_pitch)
    warnings: list[str] = []
    if work.settings.size_mm is None and across > max(sold) + 1e-6:
        warnings.append(
            Phrase(
                "The largest hoop in the shops is {largest}; this needs {needed}.",
                largest=length(max(sold)),
                needed=length(across),
            )
        )
    if across < 2 * work.radius_mm() - 1e-6:
        warnings.append(
            Phrase(
                "The hoop of {across} is too small: the farthest stitch lies {farthest} from the middle, so it "
                "needs at least {least} across.",
                across=length(across),
                farthest=length(work.radius_mm()),
                least=length(least, up=True),
            )
        )
    elif across < least - 1e-6:
        warnings.append(
            Phrase(
                "Less than {ground} of bare cloth is left inside the hoop of {across}; {least} would be better.",
                ground=length(ground),
                across=length(across),
                least=length(least, up=True),
            )
        )
    steps = first_steps(work, cut, trimmed=False)
    steps += [
        Phrase(
            "Put the cloth in the hoop of {across}: the middle of the design in the middle of the ring, "
            "threads straight. Measure from the ring to the outermost stitches, left against right and above "
            "against below. Tighten the screw.",
            across=length(across),
        ),
        Phrase(
            "Cut the cloth round, {turn} outside the hoop. Run a strong double thread along the cut edge, "
            "draw it tight at the back and fasten it.",
            turn=length(turn),
        ),
        Phrase(
            "Cut a circle of felt {across} across and sew it over the gathers with sewing thread, {edge}.",
            across=length(across),
            edge=edge_words(edge),
        ),
        Phrase("Hang it by the screw with a ribbon."),
    ]
    shopping = [
        cloth_shopping(work, cut),
        *thread_shopping(work),
        Phrase("wooden hoop {across} across the inner ring", across=length(across)),
        Phrase("felt {size}, strong thread, ribbon", size=size((across, across), up=False)),
    ]
    finished = (across, across)
    return finish_plan(work, [cloth, felt], cut, steps, shopping, warnings, finished, cautions(work))
