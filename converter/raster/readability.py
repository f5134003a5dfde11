"""How well a chart still says what the picture says, and what it leaves out.

Readability is 100 times the product of

likeness    chart and picture are both blurred by a third of a stitch, as they look from across the room, and correlated
            in Gaussian windows 1.2 stitches wide; the mean over the drawing, weighted by how much goes on there, is
            brought from `LIKENESS` to 0 .. 1. Strokes finer than a stitch are taken for a stitch wide. Where strokes
            lie too close for the grid the picture is an even gray but the chart a pattern of its own, and the
            correlation falls; if the chart fills such places evenly, as tone, it falls less. A photograph is compared
            by its tones.
kept        the share of the picture's parts and openings that the chart still has, each weighted by the square root
            of its area, half of it counting: 0.5 + 0.5 share. Parts that have run together count half.
shown       the share of the centre line of the strokes that has a stitch within 0.75.
open        1 less the length of the gaps between strokes that have no bare stitch within 0.75 of their middle, as a
            share of half the length of all edges. The likeness does not see them: from across the room two lines half
            a stitch apart and a bar are the same.

The correlation is the structure term of SSIM: Z. Wang, A. C. Bovik, H. R. Sheikh, E. P. Simoncelli, Image quality
assessment, IEEE Trans. Image Processing 13(4), 2004, 600-612, DOI 10.1109/TIP.2003.819861.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, MaskArray
from converter.model.phrase import Phrase
from converter.pixels.blocks import to_blocks
from converter.pixels.runs import spread
from converter.raster.around import blur, count_round, shrink, square
from converter.raster.axis import Axis, ink_depth
from converter.raster.components import label_ink, label_parts
from converter.raster.structure import cells_near

AS_TONE = 0.85
"""What a likeness counts if gaps narrower than a stitch are taken for filled."""
AXIS_PIXELS = 6
LOOK_PIXELS = 4
"""Pixels a stitch at which likeness is judged."""
LIKENESS = (0.68, 0.90)
LIKENESS_OF_TONES = (0.35, 0.8)
"""Correlations that stand for nothing and for everything kept."""
LEAST_GAP, WIDEST_GAP = 0.24, 2.0
"""Stitches: gaps that ought to be open."""
LEAST_HOLE = 0.12
"""Square stitches; smaller openings of the picture are not missed by anyone."""
LEAST_PART = 0.03


@dataclass(frozen=True, eq=False)
class Verdict:
    """How well a chart reads."""

    readability: float
    losses: tuple[str, ...]
    mask: MaskArray
    """On the laid mask: parts left out, openings closed, gaps run together."""


def judge(
    picture: MaskArray,
    cells: CellArray,
    pixels: int,
    tone: npt.NDArray[np.float32] | None = None,
    axis: Axis | None = None,
) -> Verdict:
    """Return how well a chart reads against the mask it came from.

    Parameters
    ----------
    picture : ndarray of shape (rows * pixels, cols * pixels), bool
        The ink in full detail, laid on the grid, margin included.
    cells : ndarray of shape (rows, cols), bool
        Margin included.
    pixels : int
        Pixels a stitch.
    tone : ndarray of shape (rows * pixels, cols * pixels), optional
        Darkness of a photograph, laid on the grid.
    axis : Axis, optional
        Centre line of the ink on this grid.
    """
    alike = _alikeness(picture, cells, pixels, tone)
    big = to_blocks(cells, pixels)
    words: list[str] = []
    lost = np.zeros(picture.shape, dtype=np.bool_)
    weight_all, weight_kept = 0.0, 0.0
    # Parts.
    labels, pixel_area = label_parts(picture, 8)
    count, area = len(pixel_area), pixel_area / pixels**2
    sewn = np.flatnonzero(picture & big)
    part_sewn = labels.ravel()[sewn]
    counted = area >= LEAST_PART
    counted[0] = False
    gone = counted & (np.bincount(part_sewn, minlength=count) / pixels**2 < 0.5 * area)
    if gone.any():
        # What lies close by a stitch is met too.
        near = ink_depth(~big, pixels) <= 0.5
        gone &= np.bincount(labels[near], minlength=count) / pixels**2 < 0.5 * area
    weight_all += float(np.sqrt(area[counted]).sum())
    weight_kept += float(np.sqrt(area[counted & ~gone]).sum())
    if gone.any():
        number = int(gone.sum())
        words.append(Phrase("{number} small part was left out.", "{number} small parts were left out.", number=number))
        lost |= spread(gone, labels)
    # Openings.
    hole_labels, pixel_area = label_parts(~picture, 4)
    hole_area = pixel_area / pixels**2
    filled = np.bincount(hole_labels.ravel()[np.flatnonzero(big & ~picture)], minlength=len(hole_area))
    bare = (pixel_area - filled) / pixels**2
    real = hole_area >= LEAST_HOLE
    real[0] = real[hole_labels[0, 0]] = False
    shut = real & (bare < np.minimum(0.3 * hole_area, 0.6))
    weight_all += float(np.sqrt(hole_area[real]).sum())
    weight_kept += float(np.sqrt(hole_area[real & ~shut]).sum())
    if shut.any():
        number = int(shut.sum())
        words.append(
            Phrase(
                "{number} opening was too small for the grid and closed.",
                "{number} openings were too small for the grid and closed.",
                number=number,
            )
        )
        lost |= spread(shut, hole_labels)
    # Parts run together.
    _, groups = label_ink(cells)
    group_big = to_blocks(groups, pixels)
    both = np.flatnonzero(np.bincount(group_big.ravel()[sewn].astype(np.int64) * count + part_sewn, minlength=1))
    owners = np.bincount(both[counted[both % count]] // count, minlength=1)
    joined = int(np.maximum(owners - 1, 0).sum())
    if joined:
        words.append(Phrase("{parts} parts that lie closer than a stitch touch.", parts=joined + 1))
        lost |= _between(labels, big & ~picture)
        weight_kept -= 0.5 * joined * float(np.sqrt(area[counted]).mean())
    shown = 1.0
    if axis is not None and len(axis.points):
        shown, missed = _shown(axis, cells)
        if shown < 0.985:
            share = round(100 * (1 - shown))
            words.append(Phrase("About {share} % of the length of the strokes was left out.", share=share))
            r, c = (np.clip(missed[:, k], 0, picture.shape[k] - 1) for k in (0, 1))
            lost[r, c] = True
            lost |= picture & (ink_depth(~lost, pixels) < 0.5)
    mush = _filled_in(picture, cells)
    if mush.sum() > max(3, 0.02 * cells.sum()):
        words.append(Phrase("Lines that lie closer than the grid can show run together."))
        lost |= to_blocks(mush, pixels)
    kept = max(0.0, weight_kept / weight_all) if weight_all > 0 else 1.0
    return Verdict(round(100 * alike * (0.5 + 0.5 * kept) * shown, 1), tuple(words), lost)


def _alikeness(picture: MaskArray, cells: CellArray, pixels: int, tone: npt.NDArray[np.float32] | None) -> float:
    """Return how alike chart and picture look, times the share of gaps that are open; see the module's head."""
    chart, unshut = _look_at_cells(cells), 1.0
    if tone is None:
        small = _look_small(picture, pixels)
        unshut = _open(*small, cells)
        open_gaps, closed_gaps = _as_sewn(*small)
        likeness, (low, high) = _likeness(open_gaps, chart), LIKENESS
        likeness = max(likeness, AS_TONE * (likeness if closed_gaps is None else _likeness(closed_gaps, chart)))
    else:
        likeness, (low, high) = _likeness(tone, chart), LIKENESS_OF_TONES
    return unshut * float(np.clip((likeness - low) / (high - low), 0, 1))


def _shown(axis: Axis, cells: CellArray) -> tuple[float, npt.NDArray[np.intp]]:
    """Return the share of the axis near a stitch, and the pixels of the points that are not."""
    near = cells.ravel()[cells_near(axis.points, cells.shape, 0.75)].any(axis=1)
    return float(near.mean()), axis.pixel[~near]


def _filled_in(picture: MaskArray, cells: CellArray) -> CellArray:
    """Return the cells in the midst of stitched areas that are only partly inked: gaps swallowed by the grid."""
    rows, cols = cells.shape
    cover = cv2.resize(picture.astype(np.float32), (cols, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(shrink(cells) & (cover < 0.8))


def _look_small(picture: MaskArray, pixels: int) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32], float]:
    """Return a copy at about `AXIS_PIXELS` a stitch, how far its ground lies from the ink there, and its pixels."""
    step = max(1, pixels // AXIS_PIXELS)
    few: npt.NDArray[Any] = picture.astype(np.float32)
    if step > 1:
        few = cv2.resize(few, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)
    return np.asarray(few, dtype=np.float32), ink_depth(np.asarray(few < 0.5), 1), pixels / step


def _open(few: npt.NDArray[np.float32], away: npt.NDArray[np.float32], scale: float, cells: CellArray) -> float:
    """Return 1 less the share of narrow gaps that no bare stitch shows."""
    ink = few >= 0.5
    edge = int((ink & ~shrink(ink)).sum())
    middle = ~ink & (away >= cv2.dilate(away, square(3)) - 0.1) & (away < WIDEST_GAP / 2 * scale)
    middle &= away > LEAST_GAP / 2 * scale
    at = np.argwhere(middle)
    if not len(at) or edge == 0:
        return 1.0
    # The middle of a gap an even number of pixels wide is two pixels wide.
    length = 3 / np.maximum(count_round(middle)[middle], 3)
    points = np.asarray((at + 0.5) / scale, dtype=np.float64)
    near = cells_near(points, cells.shape, 0.75)
    shut = ~(~cells.ravel()[near] & (near > 0)).any(axis=1)
    return max(0.0, 1 - 2 * float(length[shut].sum()) / edge)


def _as_sewn(
    few: npt.NDArray[np.float32], away: npt.NDArray[np.float32], scale: float
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32] | None]:
    """Return the ink with strokes finer than a stitch drawn a stitch wide: the eye takes them for the same line.

    What lies between two strokes less than a stitch apart stays as it is in the first picture, so that hatching does
    not count as tone, and is filled in the second; None if there is no such place.
    """
    ink = few >= 0.5
    depth = ink_depth(ink, 1)
    middle = ink & (depth >= cv2.dilate(depth, square(3)) - 0.1) & (depth < 0.5 * scale)
    del depth
    between = ~ink & (ink_depth(away < 0.5 * scale, 1) > 0.5 * scale + 0.5)
    few[(ink_depth(~middle, 1) <= 0.5 * scale) & ~between] = 1
    open_gaps = few
    if not between.any():
        return open_gaps, None
    closed_gaps = open_gaps.copy()
    closed_gaps[between] = 1
    return open_gaps, closed_gaps


@dataclass(frozen=True, eq=False)
class _Look:
    """A picture as it looks from across the room, `LOOK_PIXELS` a stitch."""

    soft: npt.NDArray[np.float32]
    mean: npt.NDArray[np.float32]
    variance: npt.NDArray[np.float32]
    """In the window round each pixel."""


def _look_at(values: npt.NDArray[np.float32]) -> _Look:
    soft = _soft(values, 0.35)
    mean = _soft(soft, 1.2)
    return _Look(soft, mean, np.maximum(_soft(soft * soft, 1.2) - mean**2, 0))


def _look_at_cells(cells: CellArray) -> _Look:
    return _look_at(to_blocks(cells, LOOK_PIXELS).astype(np.float32))


def _likeness(picture: npt.NDArray[np.float32], chart: _Look) -> float:
    rows, cols = chart.soft.shape
    truth = _look_at(np.asarray(cv2.resize(picture, (cols, rows), interpolation=cv2.INTER_AREA), dtype=np.float32))
    cov = _soft(truth.soft * chart.soft, 1.2) - truth.mean * chart.mean
    local = cov / (np.sqrt(truth.variance * chart.variance) + 1e-3)
    weight = np.sqrt(truth.variance) + np.sqrt(chart.variance)
    total = float(weight.sum())
    return float((local * weight).sum() / total) if total > 0 else 1.0


def _soft(values: npt.NDArray[np.float32], stitches: float) -> npt.NDArray[np.float32]:
    return blur(values, stitches * LOOK_PIXELS)


def _between(labels: npt.NDArray[np.int32], bridged: MaskArray) -> MaskArray:
    """Return the stitched ground that touches two different parts."""
    count, found = cv2.connectedComponents(bridged.view(np.uint8), connectivity=8)
    spots = np.asarray(found, dtype=np.int32)
    foot = square(3)
    high = cv2.dilate(labels.astype(np.float32), foot).astype(np.int64)
    raised = np.where(labels == 0, labels.max() + 1, labels).astype(np.float32)
    low = cv2.erode(raised, foot).astype(np.int64)
    top = np.zeros(count, dtype=np.int64)
    least = np.full(count, labels.max() + 1, dtype=np.int64)
    np.maximum.at(top, spots[bridged], high[bridged])
    np.minimum.at(least, spots[bridged], low[bridged])
    two = (top > 0) & (least < top)
    two[0] = False
    return np.asarray(two[spots])
