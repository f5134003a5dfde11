"""Centre lines of strokes as a network of curves."""

from __future__ import annotations

import cv2
import numpy as np

from converter.model.arrays import MaskArray, PointArray
from converter.outline.graph import Curve, CurveNetwork

_AROUND = ((-1, 0), (0, -1), (0, 1), (1, 0), (-1, -1), (-1, 1), (1, -1), (1, 1))


def trace_skeleton(skeleton: MaskArray, pixels_a_stitch: float) -> CurveNetwork:
    """Return the pixels of a skeleton as curves between nodes.

    Parameters
    ----------
    skeleton : ndarray of shape (H, W), bool
        Lines one pixel wide, joined by side or corner.
    pixels_a_stitch : float

    Returns
    -------
    network : CurveNetwork
        In stitches; nodes at ends and where at least three lines meet, there at the middle of the
        pixels with three neighbours or more. Pixels alone give nothing.
    """
    skeleton = skeleton.astype(bool)
    thin = skeleton.astype(np.uint8)
    kernel = np.ones((3, 3), dtype=np.float32)
    kernel[1, 1] = 0
    neighbours = cv2.filter2D(thin, cv2.CV_8U, kernel, borderType=cv2.BORDER_CONSTANT) * thin
    junction = (neighbours >= 3).astype(np.uint8)
    count, label = cv2.connectedComponents(junction, connectivity=8)
    rows, cols = np.nonzero(junction)
    owner = label[rows, cols]
    size = np.maximum(np.bincount(owner, minlength=count), 1)
    centre = np.stack([np.bincount(owner, rows, count), np.bincount(owner, cols, count)], axis=1) / size[:, None]
    nodes: list[PointArray] = [(point + 0.5) / pixels_a_stitch for point in centre[1:]]
    path_pixels = {(r, c) for r, c in np.argwhere((thin == 1) & (junction == 0)).tolist()}
    height, width = thin.shape

    def clusters(pixel: tuple[int, int]) -> list[int]:
        found = []
        for dr, dc in _AROUND:
            r, c = pixel[0] + dr, pixel[1] + dc
            if 0 <= r < height and 0 <= c < width and junction[r, c] and int(label[r, c]) not in found:
                found.append(int(label[r, c]))
        return found

    def near(pixel: tuple[int, int]) -> list[tuple[int, int]]:
        return [(pixel[0] + dr, pixel[1] + dc) for dr, dc in _AROUND if (pixel[0] + dr, pixel[1] + dc) in path_pixels]

    curves = []
    left = dict.fromkeys(sorted(path_pixels))
    starts = [pixel for pixel in left if len(near(pixel)) <= 1]
    for first in [*starts, *left]:
        if first not in left:
            continue
        path = [first]
        del left[first]
        while True:
            onward = [pixel for pixel in near(path[-1]) if pixel in left]
            if not onward:
                break
            path.append(onward[0])
            del left[onward[0]]
        heads, tails = clusters(path[0]), clusters(path[-1])
        if len(path) == 1:
            heads, tails = heads[:1], heads[1:2]
        closes = (
            len(path) > 2
            and not heads
            and not tails
            and max(abs(path[0][0] - path[-1][0]), abs(path[0][1] - path[-1][1])) <= 1
        )
        points = (np.array(path, dtype=np.float64) + 0.5) / pixels_a_stitch
        if closes:
            curves.append(Curve(np.concatenate([points, points[:1]])))
            continue
        if len(path) == 1 and not heads:
            continue
        start, points = _attach(nodes, points, heads)
        end, flipped = _attach(nodes, points[::-1], tails)
        curves.append(Curve(flipped[::-1], start, end))
    return CurveNetwork(nodes, curves)


def _attach(nodes: list[PointArray], points: PointArray, clusters: list[int]) -> tuple[int, PointArray]:
    """Return the node at the first point and the points led to it; a free end gets a node of its own."""
    if clusters:
        node = clusters[0] - 1
        return node, np.concatenate([nodes[node][None, :], points])
    nodes.append(points[0])
    return len(nodes) - 1, points
