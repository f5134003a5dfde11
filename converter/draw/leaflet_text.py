"""The teaching pages of the leaflet: beginning, the stitches, making up, cautions."""

from __future__ import annotations

import numpy as np

from converter.draw import diagrams
from converter.draw.canvas import Canvas
from converter.draw.flow import Flow
from converter.draw.leaflet_front import strand_words
from converter.draw.middle import from_middle
from converter.draw.words import Words
from converter.model.chart import Chart
from converter.model.leaflet import LeafletContent


def first_stitch(chart: Chart, words: Words) -> str:
    """Return where the first stitch is, counted from the middle of the chart.

    The cross nearest to the middle; of equally near ones the upper, then the left. Where there are no
    crosses, the nearest end of a backstitch.
    """
    middle = np.array([chart.rows / 2, chart.columns / 2])
    if chart.cells.any():
        places = np.argwhere(chart.cells) + 0.5
        text = words("The cross nearest to the middle lies {where}. Begin with it.", where="{where}")
    elif len(chart.lines):
        places = chart.lines.reshape(-1, 2)
        text = words("The end of a line nearest to the middle lies {where}. Begin there.", where="{where}")
    else:
        return ""
    distance = np.abs(places - middle).sum(axis=1)
    nearest = places[int(np.argmin(distance))]
    away = nearest - middle
    where = from_middle(away, words, of_square=bool(chart.cells.any()))
    return text.format(where=where)


def set_beginning(flow: Flow, chart: Chart, content: LeafletContent, words: Words, *, with_order: bool = False) -> None:
    """Set how to begin and how the stitches are made; ``with_order`` if sheets of the working order follow."""
    colour = chart.thread.colour
    begin = first_stitch(chart, words)
    if begin and with_order:
        begin = words("{begin} Or follow the working order, from length 1.", begin=begin)
    flow.page(words("How to begin and to stitch"))
    flow.heading(words("Find the middle"))

    def fold(canvas: Canvas, x: float, y: float, width: float) -> None:
        diagrams.draw_fold(canvas, x, y, width, words)

    flow.figure(
        diagrams.FOLD_HEIGHT_MM,
        fold,
        words("Cloth folded in half both ways; the creases cross where the chart's centre marks meet"),
        words("The creases of the cloth cross at the middle of the chart."),
    )
    flow.items(
        [
            words("Fold the cloth in half both ways and crease it lightly. Where the creases cross is the middle."),
            words("On the chart follow the small triangles at the edges inwards: their lines meet at the same middle."),
            begin,
            words("Count from there. One square of the chart is one stitch; count twice, stitch once."),
        ],
        numbered=True,
    )
    flow.heading(words("Thread the needle"))
    strands = strand_words(chart, words)
    flow.items(_thread_steps(chart, content, words, strands), numbered=True)

    def fasten(canvas: Canvas, x: float, y: float, width: float) -> None:
        diagrams.draw_fasten(canvas, x, y, width, colour)

    flow.figure(
        diagrams.FASTEN_HEIGHT_MM,
        fasten,
        words("Back of the cloth: the first stitches hold the tail"),
        words("The back of the cloth: the first stitches hold the tail."),
    )
    if chart.cells.any():
        _set_cross(flow, chart, words)
    if len(chart.lines):
        _set_backstitch(flow, chart, words)
    flow.heading(words("Good habits"))
    carry = f"{content.carry_cells:g}"
    habits = [
        words("Do not run the thread over more than {carry} squares of bare cloth: it shows through.", carry=carry),
        words("Let the needle hang now and then, so that the thread untwists."),
        words("Put a soft pencil stroke through what is done on the chart."),
        words("Wash your hands; take the hoop off when you stop for the day."),
    ]
    flow.items(habits)


def _thread_steps(chart: Chart, content: LeafletContent, words: Words, strands: str) -> list[str]:
    steps = [
        words(
            "Cut {length} of the six-strand thread and draw the strands out one by one. Lay together what you need: "
            "{strands}.",
            length=words.rough_length(content.working_length_mm),
            strands=strands or words("as the chart says"),
        ),
        words(
            "Bring the needle up and leave {tail} of thread at the back. Hold it there so that the first four or "
            "five stitches lie over it. No knots.",
            tail=words.rough_length(content.tail_mm),
        ),
        words("To end, run the needle under four or five stitches at the back and cut the thread off close."),
    ]
    if chart.cells.any() and chart.thread.strands == 2:
        steps.insert(
            2,
            words(
                "Or begin with a loop: take one strand of double length, fold it, thread the two ends, and pass the "
                "needle through the loop at the back of the first leg."
            ),
        )
    return steps


def _set_cross(flow: Flow, chart: Chart, words: Words) -> None:
    colour = chart.thread.colour
    flow.heading(words("The cross"), keep_mm=diagrams.CROSS_HEIGHT_MM + 12.0)

    def cross(canvas: Canvas, x: float, y: float, width: float) -> None:
        diagrams.draw_cross(canvas, x, y, width, colour)

    flow.figure(
        diagrams.CROSS_HEIGHT_MM,
        cross,
        words("A cross in two legs: up at 1, down at 2; up at 3, down at 4"),
        words("Up at 1, down at 2. Up at 3, down at 4. The second leg lies on top."),
    )
    flow.paragraph(words("All top legs run the same way, in the whole piece: from the lower right to the upper left."))

    def row(canvas: Canvas, x: float, y: float, width: float) -> None:
        diagrams.draw_row(canvas, x, y, width, colour)

    flow.figure(
        diagrams.ROW_HEIGHT_MM,
        row,
        words("A row of crosses: the first legs out, the second legs back"),
        words("A row: first legs on the way out, top legs on the way back."),
    )
    if chart.fabric.over > 1:
        over = chart.fabric.over

        def weave(canvas: Canvas, x: float, y: float, width: float) -> None:
            diagrams.draw_weave(canvas, x, y, width, colour, over)

        flow.figure(
            diagrams.WEAVE_HEIGHT_MM,
            weave,
            words("One cross over {over} threads of the cloth each way", over=over),
            words("On this cloth each cross goes over {over} threads both ways.", over=over),
        )


def _set_backstitch(flow: Flow, chart: Chart, words: Words) -> None:
    colour = chart.thread.colour
    flow.heading(words("The backstitch"), keep_mm=diagrams.BACKSTITCH_HEIGHT_MM + 12.0)

    def backstitch(canvas: Canvas, x: float, y: float, width: float) -> None:
        diagrams.draw_backstitch(canvas, x, y, width, colour)

    flow.figure(
        diagrams.BACKSTITCH_HEIGHT_MM,
        backstitch,
        words("Backstitch: up one hole ahead, down one hole back"),
        words("Up at 1, back and down at 2. Up at 3, back and down at 4. Dashed: behind the cloth."),
    )
    if chart.cells.any():
        flow.paragraph(words("Work the backstitches last, over the finished crosses, from dot to dot of the chart."))
    else:
        flow.paragraph(words("Each line of the chart goes from dot to dot: a dot is a hole of the cloth."))


def usual_cautions(words: Words) -> tuple[str, ...]:
    """Return the cautions that hold for every piece.

    References
    ----------
    Th. de Dillmont, Encyclopedia of Needlework, "To wash coloured cottons" (rinse until colourless); the
    rest is common practice.
    """
    return (
        words(
            "Colour: strong colours, red above all, can run. Wet a length of thread and press it between white "
            "cloth before you begin; if it leaves colour, rinse the skein in cold water until the water stays "
            "clear, and let it dry."
        ),
        words("Scissors, needles and pins: count them when you pack up; children use them beside a grown-up."),
        words("Loose threads, beads and filling can be swallowed: keep them and filled pieces from small children."),
        words("Iron: test a corner first; press face down between towels with a warm iron."),
        words("If you sell or give away what you make, the rules of your country come before this leaflet."),
        words("A picture by someone else may be protected: ask before you sell pieces or pass the chart on."),
    )


def set_closing(flow: Flow, content: LeafletContent, words: Words) -> None:
    """Set what follows the stitching where no making-up sheets follow: washing, pressing, cautions; and the notes."""
    if content.making is None:
        flow.heading(words("When it is done"))
        flow.items(
            [
                words("Wash the piece by itself in cold water with a mild soap, and rinse until the water is clear."),
                words("Roll it in a towel; press it damp, face down on a towel, with a warm iron."),
            ],
            numbered=True,
        )
        flow.heading(words("Take care"))
        flow.items([words.say(caution) for caution in content.cautions] or usual_cautions(words))
    elif content.cautions:
        flow.heading(words("Take care"))
        flow.items([words.say(caution) for caution in content.cautions])
    if content.notes:
        flow.heading(words("Good to know about this chart"))
        flow.items([words.say(note) for note in content.notes])
