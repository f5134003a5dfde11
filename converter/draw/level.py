"""For whom a piece is: from its counts, in words."""

from __future__ import annotations

from dataclasses import dataclass

from converter.draw.words import Words
from converter.model.chart import Chart
from converter.model.results import StitchCount, WorkTime


@dataclass(frozen=True)
class Level:
    """How much practice a piece asks for."""

    step: int
    """0 a first piece, 1 some practice, 2 practised hands."""
    name: str
    reasons: tuple[str, ...]


def level_of(chart: Chart, count: StitchCount, time: WorkTime, words: Words) -> Level:
    """Return the level of a piece with its reasons.

    Points are given for size, hours, scatter, backstitch and fine or thread-counted cloth; none or one
    makes a first piece, up to three ask for some practice. The limits are common practice of classes: a
    beginner does 25 to 100 crosses an hour, so a first piece of three evenings has about a thousand.
    """
    points = 0
    reasons = []
    if count.stitches > 6000 or time.likely > 60:
        points += 2
        reasons.append(words("large: many evenings"))
    elif count.stitches > 1500 or time.likely > 20:
        points += 1
        reasons.append(words("takes patience: more than a few evenings"))
    else:
        reasons.append(words("small enough for a few evenings"))
    if count.stitches and count.isolated > 0.03 * count.stitches:
        points += 1
        reasons.append(words("many single stitches to count across bare cloth"))
    elif count.stitches and count.components > max(8, count.stitches / 60):
        points += 1
        reasons.append(words("many separate parts to count to"))
    elif count.stitches:
        reasons.append(words("crosses lie close together"))
    if count.backstitches:
        if count.stitches == 0:
            reasons.append(words("all in backstitch"))
        if count.backstitches > 60:
            points += 1
            reasons.append(words("much backstitch"))
        elif count.stitches:
            reasons.append(words("a little backstitch"))
    if chart.fabric.stitches_per_inch > 16.5:
        points += 1
        reasons.append(words("fine squares"))
    if chart.fabric.over > 1:
        points += 1
        reasons.append(words("threads of the cloth must be counted"))
    step = 0 if points <= 1 else 1 if points <= 3 else 2
    name = (
        words("a good first piece"),
        words("for hands with some practice"),
        words("for practised hands"),
    )[step]
    return Level(step, name, tuple(reasons))
