"""Which lines of a drawing the eye sees: across a line the picture steps, or is darker than on both sides of it.

A threshold also cuts through tones that run evenly into each other, where nobody would draw a line. What such a line
looks like is read off the picture across it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import PointArray
from converter.outline.frame import StitchFrame, to_gray
from converter.outline.graph import Curve, CurveNetwork
from converter.outline.simplify import curve_length, smooth_curve

BESIDE: Final = 0.8
"""The two sides of a line are compared so many stitches from it,"""
FARTHER: Final = 2.4
"""and again so many stitches from it."""
SUDDEN: Final = 0.55
"""Share of the farther change that a step makes near by. A third is an even run, 1 a clean step."""
STEP: Final = 0.05
"""A step of brightness, out of 1, that the eye takes for an edge."""
STROKE_SIDE: Final = 1.2
"""The paper beside a stroke is looked at so many stitches from its middle."""
RIDGE: Final = 0.03
"""A stroke is so much darker than either side of it, out of 1."""
EVEN_OUT: Final = 1.0
"""What is seen is averaged along a line over so many stitches to both sides."""
SOFT: Final = 0.2
"""Brightness is averaged over so many stitches first."""
SHORT: Final = 3.0
"""Parts shorter than so many stitches are not kept."""
_ROW: Final = 1024


def is_step(curve: Curve, image: npt.NDArray[np.float32], scale: int, least: float = 0.0) -> npt.NDArray[np.bool_]:
    """Return for each point of a curve whether an image steps there, rather than running from one value to the other.

    Parameters
    ----------
    curve : Curve
    image : ndarray of shape (H, W, channels), float32
    scale : int
        Pixels a stitch.
    least : float
        The least change that counts.
    """
    across = _across(curve)
    near, far = (_along(curve, _change(curve.points, reach * across, image, scale)) for reach in (BESIDE, FARTHER))
    return np.asarray((near >= least) & (near >= SUDDEN * far))


def drop_unseen(network: CurveNetwork, frame: StitchFrame) -> CurveNetwork:
    """Return the network without strokes that neither the drawing's known ink nor the eye confirms.

    Parameters
    ----------
    network : CurveNetwork
    frame : StitchFrame
        With ``inked``; without it all is kept.
    """
    if frame.inked is None:
        return network
    kept = CurveNetwork(list(network.nodes), [])
    gray = None
    for curve in network.curves:
        at = np.clip((curve.points * frame.scale).astype(int), 0, np.array(frame.inked.shape) - 1)
        inked = frame.inked[at[:, 0], at[:, 1]]
        if curve.solid or 2 * inked.sum() > len(inked):
            kept.curves.append(curve)
            continue
        if gray is None:
            soft = cv2.GaussianBlur(to_gray(frame.rgb), (0, 0), SOFT * frame.scale)
            gray = np.asarray(soft, dtype=np.float32)[:, :, None]
        offsets = STROKE_SIDE * _across(curve)
        left, middle, right = (_look(curve.points + k * offsets, gray, frame.scale)[:, 0] for k in (-1, 0, 1))
        ridge = _along(curve, np.minimum(left, right) - middle)
        seen = inked | (ridge >= RIDGE) | is_step(curve, gray, frame.scale, STEP)
        kept.curves += keep_parts(curve, seen, kept)
    return kept


def keep_parts(curve: Curve, kept: npt.NDArray[np.bool_], network: CurveNetwork) -> list[Curve]:
    """Return the parts of a curve whose points are kept; new ends become nodes of the network."""
    if kept.all():
        return [curve] if curve.length >= SHORT else []
    if curve.closed:
        # Begin where nothing is kept, so that no part runs over the seam.
        first = int(np.argmin(kept))
        ring = np.roll(curve.points[:-1], -first, axis=0)
        curve = replace(curve, points=np.concatenate([ring, ring[:1]]))
        kept = np.roll(kept[:-1], -first)
        kept = np.append(kept, kept[0])
    change = np.diff(np.concatenate([[0], kept.astype(int), [0]]))
    parts = []
    for low, high in zip(np.nonzero(change == 1)[0].tolist(), np.nonzero(change == -1)[0].tolist(), strict=True):
        points = curve.points[low:high]
        if len(points) < 2 or curve_length(points) < SHORT:
            continue
        ends = []
        for at, own, place in ((low, curve.start, points[0]), (high, curve.end, points[-1])):
            if own >= 0 and at in (0, len(curve.points)):
                ends.append(own)
            else:
                ends.append(len(network.nodes))
                network.nodes.append(place)
        parts.append(replace(curve, points=points, start=ends[0], end=ends[1]))
    return parts


def _across(curve: Curve) -> PointArray:
    """Return the unit vectors (n, 2) square to a curve at its points."""
    along = np.gradient(smooth_curve(curve.points, 5, curve.closed), axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    return np.asarray(along[:, ::-1] * (1, -1))


def _change(
    points: PointArray, offsets: PointArray, image: npt.NDArray[np.float32], scale: int
) -> npt.NDArray[np.float32]:
    """Return how much an image (n,) differs between the two sides of points."""
    return np.asarray(
        np.linalg.norm(_look(points + offsets, image, scale) - _look(points - offsets, image, scale), axis=1)
    )


def _look(points: PointArray, image: npt.NDArray[np.float32], scale: int) -> npt.NDArray[np.float32]:
    """Return an image (n, channels) at points in stitches."""
    at = (points * scale - 0.5).astype(np.float32)
    # In rows, as there may be more points than the longest column that can be looked up.
    spare = -len(at) % _ROW
    rows, cols = (np.pad(values, (0, spare), mode="edge").reshape(-1, _ROW) for values in at.T)
    found = cv2.remap(image, cols, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found, dtype=np.float32).reshape(-1, image.shape[2])[: len(at)]


def _along(curve: Curve, values: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """Return values at the points of a curve, averaged over their neighbours."""
    spacing = max(curve.length, 1e-9) / max(len(values) - 1, 1)
    half = round(EVEN_OUT / max(spacing, 0.02))
    padded = np.pad(values.astype(np.float64), half, mode="wrap" if curve.closed and half < len(values) else "edge")
    return np.convolve(padded, np.full(2 * half + 1, 1 / (2 * half + 1)), "valid")
