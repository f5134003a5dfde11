"""Cushion covers: front with two overlapping backs, or one strip that wraps round the pad."""

from __future__ import annotations

from dataclasses import dataclass

from converter.estimate.making.common import Size, Work, centred, grown, upright_line
from converter.estimate.making.words import length, size
from converter.model.phrase import Phrase
from converter.model.results import Guide, Part


def back_cut_mm(pad_mm: Size, seam_mm: float, fold_mm: float, overlap_mm: float) -> Size:
    """Return the cut size of each of two equal backs: half of pad and overlap, one seam, one double hem.

    Examples
    --------
    A 16 in pad with 5 in overlap, half-inch seam and half-inch double hem: 12 x 17 in. The rule "half the
    pad and 4 in" of a quilt guild gives 12 in too (bnmqg.org).

    >>> back_cut_mm((16, 16), 0.5, 0.5, 5)
    (12.0, 17.0)
    """
    return (pad_mm[0] + overlap_mm) / 2 + seam_mm + 2 * fold_mm, pad_mm[1] + 2 * seam_mm


def wrap_cut_mm(pad_mm: Size, seam_mm: float, fold_mm: float, overlap_mm: float) -> Size:
    """Return the cut size of a strip that wraps round a pad: twice round, overlap, a double hem at each end.

    Examples
    --------
    14 in pad, half-inch seams, half-inch double hems, 4 in overlap: 34 x 15 in (Twisted Stitches blog,
    11 July 2013). 16 in pad, quarter-inch seams, 6 in overlap: 40 x 16.5 in (Owl and Sewing Cat, 16 Jan 2011).

    >>> wrap_cut_mm((14, 14), 0.5, 0.5, 4), wrap_cut_mm((16, 16), 0.25, 0.5, 6)
    ((34.0, 15.0), (40.0, 16.5))
    """
    return 2 * pad_mm[0] + overlap_mm + 4 * fold_mm, pad_mm[1] + 2 * seam_mm


def overlap_mm(backs_mm: tuple[float, float], hem_mm: float, front_mm: float) -> float:
    """Return how far two hemmed backs overlap on a front of the given cut width.

    Examples
    --------
    Backs 16 and 12 in wide, 1 in taken up by each hem, front cut 17.25 in (Nature's Threads, 9 May 2014):

    >>> overlap_mm((16, 12), 1, 17.25)
    8.75
    """
    return (backs_mm[0] - hem_mm) + (backs_mm[1] - hem_mm) - front_mm


@dataclass(frozen=True)
class Cover:
    """Parts and measures of a cushion cover."""

    pad_mm: Size
    front_mm: Size
    """Cut size of the front, or of the wrapping strip."""
    seam_mm: float
    fold_mm: float
    overlap_mm: float
    wrap: bool
    back_mm: Size | None = None

    @property
    def fold_at_mm(self) -> float:
        """Distance of the two folds of a wrapping strip from its ends."""
        return (self.front_mm[0] - self.pad_mm[0]) / 2

    def front_guides(self) -> tuple[Guide, ...]:
        """Return the lines on the front or strip: seams, folds, hems."""
        width, height = self.front_mm
        if not self.wrap:
            return (centred("stitch", Phrase("seam {seam}", seam=length(self.seam_mm)), self.pad_mm, self.front_mm),)
        seam, hem = self.seam_mm, 2 * self.fold_mm
        return (
            Guide("stitch", Phrase("seam {seam}", seam=length(seam)), ((0.0, seam), (width, seam))),
            Guide("stitch", "", ((0.0, height - seam), (width, height - seam))),
            upright_line("fold", Phrase("fold"), self.fold_at_mm, height),
            upright_line("fold", Phrase("fold"), width - self.fold_at_mm, height),
            upright_line("hem", Phrase("double hem {fold}", fold=length(self.fold_mm)), hem, height),
            upright_line("hem", "", width - hem, height),
            upright_line("hem", "", self.fold_mm, height),
            upright_line("hem", "", width - self.fold_mm, height),
        )

    def back_parts(self) -> list[Part]:
        """Return the two backs, or nothing for a strip that wraps round."""
        if self.back_mm is None:
            return []
        width, height = self.back_mm
        seam, fold = self.seam_mm, self.fold_mm
        guides = (
            upright_line("hem", Phrase("double hem {fold}", fold=length(fold)), 2 * fold, height),
            upright_line("hem", "", fold, height),
            # Three seams: the hemmed side stays open.
            Guide("stitch", Phrase("seam {seam}", seam=length(seam)), ((0.0, seam), (width - seam, seam))),
            Guide("stitch", "", ((width - seam, seam), (width - seam, height - seam))),
            Guide("stitch", "", ((0.0, height - seam), (width - seam, height - seam))),
        )
        note = Phrase("hem the long side that lies across the middle of the back")
        return [Part(Phrase("cushion back"), 2, self.back_mm, note, "cloth", guides)]

    def steps(self) -> list[str]:
        """Return the steps that make the cover up."""
        fold, seam = length(self.fold_mm), length(self.seam_mm)
        if self.wrap:
            return [
                Phrase(
                    "Hem both short ends of the strip: turn {fold} under twice, press and sew close to the inner fold.",
                    fold=fold,
                ),
                Phrase(
                    "Lay the strip right side up, the design in its middle. Fold both ends in, right side on right "
                    "side, along lines {away} from the hemmed ends; they overlap by {overlap}. The part between the "
                    "folds must be as wide as the pad, with the design just as far from one fold as from the other.",
                    away=length(self.fold_at_mm - 2 * self.fold_mm),
                    overlap=length(self.overlap_mm),
                ),
                Phrase(
                    "Pin and sew the two open sides {seam} from the edge, twice over the overlap. Zigzag the edges.",
                    seam=seam,
                ),
                Phrase("Turn right side out, push the corners square, and slip the pad in."),
            ]
        return [
            Phrase(
                "Hem one long side of each back: turn {fold} under twice, press and sew close to the inner fold.",
                fold=fold,
            ),
            Phrase(
                "Lay the front right side up. Lay both backs on it right side down, raw edges together; the "
                "hemmed edges overlap by {overlap} across the middle. Pin.",
                overlap=length(self.overlap_mm),
            ),
            Phrase(
                "Sew all round {seam} from the edge, twice where the hems cross. Zigzag the edges and snip the "
                "corners off close to the seam.",
                seam=seam,
            ),
            Phrase("Turn right side out, push the corners square, and slip the pad in."),
        ]


def plan_cover(work: Work, pad_mm: Size, *, wrap: bool) -> Cover:
    """Return the measures of a cover for a pad."""
    seam, fold = work.mm("seam", "cushion"), work.mm("hem_fold", "cushion")
    overlap = work.figures.number("cushion", "overlap") * pad_mm[0]
    if wrap:
        return Cover(pad_mm, wrap_cut_mm(pad_mm, seam, fold, overlap), seam, fold, overlap, True)
    back = back_cut_mm(pad_mm, seam, fold, overlap)
    return Cover(pad_mm, grown(pad_mm, seam), seam, fold, overlap, False, back)


def choose_pad(work: Work, least_mm: Size) -> Size:
    """Return the pad she has, or the smallest square one in the shops that is at least so big.

    If none is, the pad is made to measure.
    """
    if work.settings.size_mm is not None:
        return work.settings.size_mm
    side = max(least_mm)
    for pad in work.figures.many_mm("cushion", "pads"):
        if pad >= side - 1e-6:
            return pad, pad
    return side, side


def pad_warnings(work: Work, pad_mm: Size) -> list[str]:
    """Return a warning if no shop keeps a pad so large."""
    largest = max(work.figures.many_mm("cushion", "pads"))
    if work.settings.size_mm is not None or max(pad_mm) <= largest + 1e-6:
        return []
    return [
        Phrase(
            "The largest pad in the shops is {largest}; this one of {pad} must be made to measure.",
            largest=length(largest),
            pad=length(max(pad_mm)),
        )
    ]


def pad_words(pad_mm: Size) -> Phrase:
    """Return the pad for the shopping list."""
    return Phrase("cushion pad {size}", size=size(pad_mm, up=False))
