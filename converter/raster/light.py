"""Ink by its edges, whatever light falls on the paper.

A shadow changes the brightness of paper and ink together, but it has no sharp edge where there is no ink. So the
picture is taken in logarithms, where light only adds, and

1. the *band* is found: pixels round which dark and light lie close together, with a good part of the picture's usual
   ink contrast between them;
2. each pixel of the band is ink if it is darker than the middle between the darkest and the lightest next to it;
3. what lies between the bands falls into regions, and each region is ink or paper as the rim of the band round it says
   (each pixel of the rim has a vote that weighs as its contrast);
4. ink in the band that is no darker than the paper regions close by is the rim of a shadow and is dropped;
5. the brightness of the paper is filled in from the paper regions, and tells how dark each pixel is against it.

Related: S. D. Yanowitz, A. M. Bruckstein, A new method for image segmentation, CVGIP 46(1), 1989, 82-95 (a threshold
surface through the edges and a check of each object by its rim).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import GrayArray, LabelArray, MaskArray
from converter.pixels.runs import spread
from converter.raster.around import blur, square
from converter.raster.axis import ink_depth
from converter.raster.components import label_parts
from converter.raster.fading import follow_fading
from converter.raster.morphology import disc, drop_parts, drop_small
from converter.raster.tone import mean_around, median, shrink_known
from converter.raster.vote import vote_regions

LIFT = 0.04
"""Added before the logarithm, so that noise in the deepest black is not blown up."""
BAND_SHARE = 0.33
"""Share of the usual ink contrast that makes an edge."""
SOFTNESS = (0.07, 0.14, 0.22)
"""Smoothing in stitches, the least that leaves no coarse grain."""
COARSE_GRAIN = 0.055
"""Tiny holes to a square stitch of ink, from which on the grain of the paper shows."""
FINEST = 60
"""Nothing is looked for as if the picture were fewer stitches than this on its longer side."""
PIXELS_ENLARGED = 9.0
"""Least pixels a stitch that an enlarged picture is looked at with, times the enlargement."""
GRAY_IS_INK = 0.45
"""Depth (see `Ink.depth`) from which on all is ink in a drawing with grain."""
GRAY_IN_GAPS = 0.12
"""The same for gaps of less than 0.8 stitches."""
GRAY_HOLES = ((0.2, 0.15, 3.0), (0.15, 0.5, 4.0), (0.07, 0.5, 20.0))
"""Depth, share of a hole that must be lighter for it to be paper, and largest such hole in square stitches."""
RIM_BLUR, LEAST_CORE = 0.25, 0.3
"""Stitches from its rim a hole is blurred, and the share of it beyond that from which on only that is looked at."""
PALE_SPECK = (0.38, 2.0)
"""Depth below which, and square stitches up to which, a part is a grain of shading."""
MOST_SPECKS = 0.3
"""Share of the ink."""
TINY_HOLE, TINY_SPECK = 0.4, 0.12
"""Square stitches up to which a hole or a part of a drawing with grain is taken for grain, whatever it looks like."""
SURE_PAPER = 4.0
"""Square stitches; smaller regions of paper do not tell how bright the paper is."""
TOO_DARK = 0.5
"""Share of the contrast by which paper may be darker than large regions of paper near by."""
LEAST_CONTRAST = 0.08
"""Logarithm: paper and ink that differ by less than about 8 % count as blank."""

Plane = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Ink:
    """What is ink in a picture."""

    mask: MaskArray
    """(H, W)"""
    depth: Plane
    """(H, W), 0 = as bright as the paper there, 1 = as dark as the ink usually is."""
    contrast: float
    """Usual difference of paper and ink, natural logarithm."""
    softness: float = SOFTNESS[0]
    """One of `SOFTNESS`."""

    @property
    def grainy(self) -> bool:
        """Whether the tooth of the paper shows in the strokes, as with pencil or chalk."""
        return self.softness > SOFTNESS[0]


def find_ink(
    gray: GrayArray,
    pixels: float,
    dark: float = 0.0,
    enlarged: float = 1.0,
    mend_grain: bool = True,
    softness: float = SOFTNESS[0],
    judge_grain: bool = True,
    fading: bool = False,
) -> Ink | None:
    """Return the ink of a picture, or None if it is blank.

    Parameters
    ----------
    gray : ndarray of shape (H, W), float32, 0 to 1
    pixels : float
        Pixels a stitch; edges are looked for over about a quarter of a stitch.
    dark : float
        -100 only the darkest parts are ink, 100 nearly everything darker than the paper is.
    enlarged : float
        How many times the picture was enlarged: its edges are so much softer and its noise so much coarser.
    mend_grain : bool
        Fill the holes that the tooth of the paper makes, and drop the grains of shading. Without it all fine texture
        counts as grain, letters too.
    softness : float
        The least that was needed on another copy of the picture.
    judge_grain : bool
        Smooth more where grain shows. An enlargement of the copy that was judged already can tell no more.
    fading : bool
        Follow strokes on where they fade, see `fading.follow_fading`.
    """
    # The grain of paper and the blur of a lens go with the picture, not with the stitches of a very small chart.
    pixels = max(4.0, min(pixels, max(gray.shape) / FINEST), PIXELS_ENLARGED * enlarged if enlarged > 1 else 0.0)
    tries = SOFTNESS[SOFTNESS.index(softness) :] if judge_grain else (softness,)
    # Softness was judged before the picture was enlarged, where a stitch had fewer pixels than is reckoned with here.
    least = max(4.0, max(gray.shape) / enlarged / FINEST)
    judged = min(1.0, least / PIXELS_ENLARGED) if enlarged > 1 else 1.0
    for each in tries:
        edges = _find_edges(gray, pixels, dark, max(SOFTNESS[0], each * judged), fading and dark >= 0)
        if edges is None:
            return None
        mask, depth = edges.mask, None
        if dark != 0:
            depth = _fill_depth(edges)
            mask = _as_dark(mask, depth, dark)
        grounds = label_parts(~mask, 4)
        if each == tries[-1] or _texture(mask, grounds, pixels, mend_grain) < COARSE_GRAIN:
            break
    assert edges is not None
    if depth is None:
        depth = _fill_depth(edges)
    grainy = each > SOFTNESS[0]
    if grainy and mend_grain:
        # Where the grain shows, gray against the paper is surer than the many small edges.
        mask = mask | (depth > GRAY_IS_INK)
        closed = cv2.morphologyEx(
            mask.view(np.uint8), cv2.MORPH_CLOSE, disc(0.4 * pixels), borderType=cv2.BORDER_CONSTANT
        )
        mask = mask | ((closed > 0) & (depth > GRAY_IN_GAPS))
        mask = _fill_gray_holes(mask, depth, pixels)
        mask = _drop_pale_specks(mask, depth, pixels)
    else:
        mask = ~drop_parts(~mask, grounds, (TINY_HOLE if grainy else 0.06) * pixels**2)
        mask = drop_small(mask, (TINY_SPECK if grainy else 0.02) * pixels**2)
    return Ink(mask, depth, edges.contrast, each)


def _texture(
    mask: MaskArray, grounds: tuple[LabelArray, npt.NDArray[np.int64]], pixels: float, spare_letters: bool
) -> float:
    """Return the number of tiny holes in each square stitch of ink.

    If letters are to be spared, two to each part do not count: they have so many by right.
    """
    labels, area = grounds
    tiny = area < 0.3 * pixels**2
    tiny[0] = False
    square_stitches = max(np.count_nonzero(mask) / pixels**2, 1.0)
    if not spare_letters or float(tiny.sum()) < COARSE_GRAIN * square_stitches:
        return float(tiny.sum()) / square_stitches
    _, parts = cv2.connectedComponents(mask.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    at = np.flatnonzero(spread(tiny, labels))
    at = at[np.unique(labels.ravel()[at], return_index=True)[1]]
    # Above the first pixel of a hole there is ink, or the rim of the picture.
    at = at[at >= mask.shape[1]] - mask.shape[1]
    holes = np.bincount(parts.ravel()[at])
    return float(np.maximum(holes - 2, 0).sum()) / square_stitches


def _fill_gray_holes(mask: MaskArray, depth: Plane, pixels: float) -> MaskArray:
    """Fill holes in which the paper itself hardly shows: the tooth of the paper, not an opening of the drawing.

    Bare paper is as bright as paper nearly everywhere in a hole, but the blur of the rim reaches far into small ones.
    """
    labels, area = label_parts(~mask, 4)
    small = area <= max(most for _, _, most in GRAY_HOLES) * pixels**2
    small[0] = False
    at = np.flatnonzero(spread(small, labels))
    whose, shades = labels.ravel()[at], depth.ravel()[at]
    fill = area <= TINY_HOLE * pixels**2
    # What is left of each hole away from the blur of its rim, if that is enough to tell.
    inner = ink_depth(~mask, 1).ravel()[at] > RIM_BLUR * pixels
    core = np.bincount(whose[inner], minlength=len(area))
    told = core > LEAST_CORE * area
    for shade, least_bare, most_area in GRAY_HOLES:
        bare = np.bincount(whose[shades < shade], minlength=len(area))
        bare_core = np.bincount(whose[inner & (shades < shade)], minlength=len(area))
        dull = (bare < least_bare * area) & ~(told & (bare_core >= least_bare * core))
        fill |= (area <= most_area * pixels**2) & dull
    out = mask.copy()
    out.ravel()[at[fill[whose]]] = True
    return out


def _drop_pale_specks(mask: MaskArray, depth: Plane, pixels: float) -> MaskArray:
    """Drop small parts much paler than the strokes, grains of shading; if they are many they are the drawing."""
    labels, area = label_parts(mask, 8)
    small = area <= PALE_SPECK[1] * pixels**2
    small[0] = False
    at = np.flatnonzero(spread(small, labels))
    whose = labels.ravel()[at]
    total = np.bincount(whose, weights=depth.ravel()[at], minlength=len(area))
    drop = small & (total < PALE_SPECK[0] * area)
    if area[drop].sum() >= MOST_SPECKS * area[1:].sum():
        drop[:] = False
    drop |= area <= TINY_SPECK * pixels**2
    out = mask.copy()
    out.ravel()[at[drop[whose]]] = False
    return out


@dataclass(frozen=True, eq=False)
class _Edges:
    """What edges alone tell."""

    mask: MaskArray
    level: Plane
    """Logarithm of the brightness."""
    sure_paper: MaskArray
    large: MaskArray
    """See `vote_regions`."""
    contrast: float


def _find_edges(gray: GrayArray, pixels: float, dark: float, softness: float, fading: bool) -> _Edges | None:
    """Return ink and paper as their edges tell, or None if there are none."""
    level = blur(gray, max(0.5, softness * pixels))
    level += np.float32(LIFT)
    np.log(level, out=level)
    smooth = blur(level, 1.5)
    ripple = np.subtract(_sample(level), _sample(smooth))
    np.abs(ripple, out=ripple)
    del smooth
    reach = max(2, round((0.15 + softness) * pixels))
    foot = square(2 * reach + 1)
    low = np.asarray(cv2.erode(level, foot), dtype=np.float32)
    span = np.asarray(cv2.dilate(level, foot), dtype=np.float32)
    span -= low
    # Blur mixes light, not its logarithm: the edge of black ink lies at half the brightness, not at half the level.
    middle = np.exp(span)
    middle += 1
    middle /= 2
    np.log(middle, out=middle)
    middle += low
    if dark != 0:
        middle += np.float32(0.45 * max(-100.0, min(100.0, dark)) / 100) * span
    dark_side = level < middle
    # A plane at working size is some 6 MB: none is kept longer than needed.
    del low, middle
    noise = _middle(span)
    contrast = _usual_contrast(span, noise, 1.48 * median(ripple))
    if contrast < LEAST_CONTRAST:
        return None
    edge = max(BAND_SHARE * contrast, min(1.6 * noise, 0.6 * contrast))
    band = span > edge
    mask, sure_paper, large = vote_regions(band, dark_side, span, level, contrast, SURE_PAPER * pixels**2)
    mask = _drop_shadow_rims(mask, band, sure_paper, level, pixels, contrast)
    if fading:
        mask = follow_fading(mask, level, dark_side, pixels, contrast, edge, noise)
    return _Edges(mask, level, sure_paper, large, contrast)


def _fill_depth(edges: _Edges) -> Plane:
    """Return how dark each pixel is against the paper, see `Ink.depth`."""
    depth = _fill_paper(edges.level, edges.mask, edges.sure_paper, edges.large, edges.contrast)
    depth -= edges.level
    depth /= np.float32(edges.contrast)
    return depth


def _as_dark(mask: MaskArray, depth: Plane, dark: float) -> MaskArray:
    """Return the ink with what is darker, or without what is paler, than asked for; see `find_ink`."""
    if dark > 0:
        return mask | (depth > 0.75 - 0.55 * dark / 100)
    return mask & (depth > 0.1 + 0.8 * -dark / 100)


def _middle(values: Plane) -> float:
    return median(_sample(values))


def _sample(values: Plane) -> Plane:
    """Return every third pixel both ways."""
    return values[1::3, 1::3] if min(values.shape) > 99 else values


def _usual_contrast(span: Plane, noise: float, grain: float) -> float:
    """Return the contrast of the stronger edges: the middle of those above half the strongest."""
    step = 2 if span.size < 500_000 else 3
    sample = span[::step, ::step].ravel()
    few = min(len(sample), max(6, len(sample) // 5000))
    top = float(np.partition(sample, len(sample) - few)[len(sample) - few])
    strong = sample[sample > max(0.5 * top, 1.2 * noise)]
    usual = median(strong) if len(strong) else top
    # On blank paper even the strongest is no more than the noise makes it.
    return usual if top > 9 * grain else 0.0


def _drop_shadow_rims(
    mask: MaskArray, band: MaskArray, sure_paper: MaskArray, level: Plane, pixels: float, contrast: float
) -> MaskArray:
    """Drop ink of the band that is about as bright as the paper regions close by."""
    reach = max(2, round(0.6 * pixels))
    foot = square(2 * reach + 1)
    bright = np.float32(level.max() + 1)
    paper = cv2.erode(np.where(sure_paper, level, bright), foot)
    doubtful = mask & band & (level > paper - np.float32(0.12 * contrast)) & (paper < bright)
    return np.asarray(mask & ~doubtful)


def _fill_paper(level: Plane, mask: MaskArray, sure_paper: MaskArray, large: MaskArray, contrast: float) -> Plane:
    """Return the level of bare paper everywhere: the mean of the paper near by, farther away where there is none.

    What is far darker than the large regions of paper near by is no paper, though its rim says so: a worn place in a
    shaded area.
    """
    known = sure_paper if np.count_nonzero(sure_paper) >= 16 else ~mask
    weight, total = shrink_known(known, level)
    if np.count_nonzero(large & known) >= 16 and not np.array_equal(large, known):
        sure, bright = shrink_known(large, level)
        dark = total < weight * (mean_around(sure, bright) - np.float32(TOO_DARK * contrast))
        weight, total = np.where(dark, sure, weight), np.where(dark, bright, total)
    filled = mean_around(weight, total)
    return np.asarray(cv2.resize(filled, (level.shape[1], level.shape[0]), interpolation=cv2.INTER_LINEAR), np.float32)
