"""The small angle by which a camera has tilted a drawing.

Two things tell it. A drawing that is its own mirror image about an upright or level line tells it even without
a single straight stroke: such a line runs through the middle of its ink, so only its angle is sought. Otherwise
straight pieces of the curves are gathered by their angle to the nearer axis or diagonal of the grid. If most
of their length agrees on one small angle, and next to none lies along an axis as it is, the drawing is tilted
by it. So it is if slanting pieces come in pairs at mirrored angles about a tilted axis, and not about one of the
grid. What lies along the edge of the picture is where the picture ends and tells nothing.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import MaskArray
from converter.outline.graph import CurveNetwork
from converter.outline.simplify import resample_curve, simplify_curve

SMALLEST: Final = 0.5
"""Degrees; a smaller tilt moves no line to another hole within forty stitches or so."""
LARGEST: Final = 6.0
"""Degrees; a larger tilt is meant."""
SHARE: Final = 0.5
"""Of the straight length must agree."""
SMALL_SHARE: Final = 0.2
"""The same where at least four pieces agree."""
PAIR_SHARE: Final = 0.35
"""The same where two or three pieces agree and next to none is tilted the other way."""
MIRRORED: Final = 0.8
"""Of the straight length must have a mirror image about the tilted axis, if little else tells that it is tilted."""
MIRRORED_LONG: Final = 0.6
"""The same where more than a dozen stitches lie along the axis."""
NOT_MIRRORED: Final = 0.3
"""At most so much of it may have one about the axes of the grid."""
LEAST_LENGTH: Final = 10.0
"""Straight pieces must agree over so many stitches together."""
STRAIGHT: Final = 0.035
"""A piece is straight if it bends less than so many stitches from its chord."""
LIKE: Final = 0.25
"""Mean distance, in stitches, of the worst twentieth of the ink from the image of other ink in a mirrored drawing."""
UNLIKE: Final = 0.35
"""The same about the axes of the grid, if the drawing is tilted."""
_PIECE: Final = 4.0
_SHORT_PIECE: Final = 3.0
_RIM: Final = 0.4
_STEP: Final = 0.25


def find_tilt(network: CurveNetwork, ink: MaskArray, scale: int) -> float:
    """Return the tilt in degrees, from the row axis towards the column axis; 0 if there is none.

    Parameters
    ----------
    network : CurveNetwork
        In stitches.
    ink : ndarray of shape (rows * scale, cols * scale), bool
    scale : int
        Pixels a stitch.
    """
    mirrored = tilt_of_mirror(ink, scale)
    if mirrored is not None:
        return mirrored if abs(mirrored) >= SMALLEST else 0.0
    return tilt_of_lines(network, (ink.shape[0] / scale, ink.shape[1] / scale))


def tilt_of_mirror(ink: MaskArray, scale: int) -> float | None:
    """Return the angle of the line about which a drawing is its own mirror image; None if there is no one such line.

    Notes
    -----
    Several lines, as of a disc, tell nothing unless one of them is an axis of the grid.
    """
    step = max(scale // 6, 1)
    height, width = (side // step for side in ink.shape)
    if min(height, width) < 8:
        return None
    small = cv2.resize(
        ink[: height * step, : width * step].astype(np.float32), (width, height), interpolation=cv2.INTER_AREA
    )
    dark = small > 0.5
    if dark.sum() < 20:
        return None
    pad = max(height, width) // 4
    around = np.pad(dark, pad)
    away = cv2.distanceTransform((~around).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE) * np.float32(
        step / scale
    )
    edge = around & ~(cv2.erode(around.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)
    points = np.argwhere(edge).astype(np.float64)
    middle = np.argwhere(around).mean(axis=0)
    offset = points[:: max(len(points) // 3000, 1)] - middle
    worst = max(len(offset) // 20, 1)

    def unlikeness(degrees: float) -> float:
        # About a line at this angle to the rows axis; about the one across it the image is the same but turned over.
        double = np.radians(2 * degrees)
        flip = np.array([[np.cos(double), np.sin(double)], [np.sin(double), -np.cos(double)]])
        least = np.inf
        for matrix in (flip, -flip):
            image = (offset @ matrix.T + middle).astype(np.float32)
            miss = cv2.remap(away, image[:, 1], image[:, 0], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).ravel()
            least = min(least, float(np.partition(miss, -worst)[-worst:].mean()))
        return least

    angles = np.arange(-LARGEST, LARGEST + _STEP / 2, _STEP)
    values = np.array([unlikeness(float(angle)) for angle in angles])
    best = int(np.argmin(np.round(values, 6)))
    level = float(values[len(values) // 2])
    if values[best] > LIKE:
        return None
    if level <= LIKE:
        return 0.0
    if level < max(UNLIKE, 2.2 * values[best]) or not 1 < best < len(angles) - 2:
        return None
    bound = values[best] + 0.3 * (level - values[best])
    near = np.abs(np.arange(len(angles)) - best) <= min(best, len(angles) - 1 - best)
    near &= values <= bound
    return float(np.average(angles[near], weights=bound - values[near] + 1e-6))


def tilt_of_lines(network: CurveNetwork, shape: tuple[float, float]) -> float:
    """Return the angle that most straight pieces of curves agree on; 0 if there is none."""
    every = _straight_pieces(network, shape)
    pieces = every[:, every[1] >= _PIECE]
    if not pieces.size:
        return 0.0
    # Diagonals lend weight to the axes, but there must be axes.
    angle = (pieces[0] + 22.5) % 45 - 22.5
    axis = np.abs((pieces[0] + 45) % 90 - 45) < 22.5
    length = pieces[1]
    weight = length**2
    # The shorter a piece, the less sure its angle.
    slack = np.maximum(0.6, 4.0 / length)
    near = np.abs(angle) <= LARGEST
    best, share, agreed = 0.0, 0.0, np.zeros(len(angle), dtype=bool)
    for centre in angle[near & axis]:
        agree = np.abs(angle - centre) <= slack
        if weight[agree].sum() > share + 1e-9:
            share, agreed = float(weight[agree].sum()), agree
            best = float((angle[agree] * weight[agree]).sum() / share)
    share /= float(weight.sum())
    level, other = (float(weight[np.abs(angle - at) <= 0.3].sum() / weight.sum()) for at in (0.0, -best))
    # Lines that lie along an axis already tell that the others are meant to slant.
    if abs(best) < SMALLEST or level > 0.1:
        return 0.0
    count, whole = int(agreed.sum()), float(length[agreed & axis].sum())
    most = share >= SHARE and (whole >= LEAST_LENGTH or (count >= 3 and whole >= 2 * _PIECE))
    # That several pieces agree so well is no chance, even where more are meant to slant some other way.
    many = share >= SMALL_SHARE and int((agreed & axis).sum()) >= 4 and whole >= LEAST_LENGTH and other < share / 2
    # Nor that two do, one along each axis or one beside the other, where nothing else agrees on its opposite.
    pair = share >= PAIR_SHARE and int((agreed & axis).sum()) >= 2 and whole >= LEAST_LENGTH and other < share / 4
    if most or many or pair:
        return best
    # Nor that nearly all pieces, also slanting ones, have their mirror images about one tilted axis.
    like, unlike = (_mirrored_share(every, at) for at in (best, 0.0))
    level_again = np.abs((every[0] - best + 45) % 90 - 45) <= np.maximum(0.6, 4.0 / every[1])
    whole = float(every[1, level_again].sum())
    mirrored = (like >= MIRRORED and whole >= 1.5 * _PIECE) or (like >= MIRRORED_LONG and whole >= 3 * _PIECE)
    return best if mirrored and unlike <= NOT_MIRRORED and every.shape[1] > 2 else 0.0


def _straight_pieces(network: CurveNetwork, shape: tuple[float, float]) -> npt.NDArray[np.float64]:
    """Return the angles in degrees and the lengths of the straight pieces of curves, shape (2, n)."""
    found = []
    for curve in network.curves:
        points = resample_curve(curve.points, 0.2)
        for a, b in pairwise(simplify_curve(points, 0.12)):
            length = float(np.hypot(*(b - a)))
            if length < _SHORT_PIECE:
                continue
            low, high = (int(np.argmin(np.hypot(*(points - end).T))) for end in (a, b))
            piece = points[min(low, high) : max(low, high) + 1]
            inset = min(len(piece) // 6, 5)
            piece = piece[inset : len(piece) - inset]
            direction, bend = _direction(piece)
            to_rim = np.minimum(piece, np.array(shape) - piece).min(axis=1)
            if bend < STRAIGHT and float((to_rim < _RIM).mean()) < 0.5:
                found.append((direction, length))
    return np.array(found, dtype=np.float64).reshape(-1, 2).T


def _mirrored_share(pieces: npt.NDArray[np.float64], degrees: float) -> float:
    """Return by which share of their length straight pieces have one as long at the mirrored angle, or are their own.

    Parameters
    ----------
    pieces : ndarray of shape (2, n)
        Angles in degrees, and lengths.
    degrees : float
        Of an axis; the one across it and the diagonals between do as well.
    """
    angle, length = pieces
    off = np.abs((angle[:, None] + angle - 2 * degrees + 45) % 90 - 45)
    slack = np.maximum(0.6, 3.0 / length)
    near = off <= np.minimum(np.hypot(slack[:, None], slack), 3.5)
    alike = np.minimum(length[:, None], length) > 0.6 * np.maximum(length[:, None], length)
    return float(length[(near & alike).any(axis=1)].sum() / length.sum())


def _direction(points: npt.NDArray[np.float64]) -> tuple[float, float]:
    """Return the angle of the line through points, in degrees, and how far they bend from a chord."""
    offset = points - points.mean(axis=0)
    rr, cc, rc = (offset[:, 0] ** 2).sum(), (offset[:, 1] ** 2).sum(), (offset[:, 0] * offset[:, 1]).sum()
    radians = 0.5 * np.arctan2(2 * rc, rr - cc)
    along = offset @ np.array([np.cos(radians), np.sin(radians)])
    beside = offset @ np.array([-np.sin(radians), np.cos(radians)])
    bend = float(np.polyfit(along, beside, 2)[0]) * float(np.ptp(along) / 2) ** 2 if len(points) > 3 else 0.0
    return float(np.degrees(radians)), abs(bend)


def turn_placement(
    placement: npt.NDArray[np.float64], shape: tuple[int, int], degrees: float
) -> npt.NDArray[np.float64]:
    """Return the placement of a grid turned about its centre so that a tilt of the picture disappears."""
    radians = np.radians(degrees)
    turn = np.array([[np.cos(radians), -np.sin(radians)], [np.sin(radians), np.cos(radians)]])
    centre = np.array(shape) / 2
    linear = placement[:, :2] @ turn
    return np.concatenate([linear, (placement[:, 2] + (placement[:, :2] - linear) @ centre)[:, None]], axis=1)
