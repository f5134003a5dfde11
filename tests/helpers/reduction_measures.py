"""What is measured on a chart against the exact drawing, in stitch units.

The truth is a large ink mask. It is laid on the chart's own grid by the chart's placement (`lay_truth`), with
``PIXELS`` pixels a stitch and a margin of ``MARGIN`` stitches, and compared there.

structure   no ink part broken or missing, none joined that lie ``gap`` or more apart, no ground part wider than
            ``gap`` closed or cut, no hole or part invented. ``gap`` is 1.5 stitches, 1.0 in the hard reading.
recall      share of the truth's centre line within 0.75 of the centre of a stitch
precision   share of stitches whose centre is within 0.75 of ink
weight      stitches along thin strokes per length of their axis in the larger coordinate
blocks      2 x 2 blocks per 100 stitches on thin strokes
isolated    stitches without neighbour that are no dots in the drawing
offset      mean distance of the stitches on thin strokes to the axis
kinks       right-angle turns per 100 stitches on thin strokes where the axis is straight, that could go without
            leaving any of the axis farther than 0.75 from a stitch
bumps       single cells out of (or missing from) an edge whose coverage is undecided, per 100 stitches
pen_spread  standard deviation of the drawn width of pens 1.5 to 4 stitches wide, crosswise to the stroke
agreement   intersection over union with the ideal coverage of one half and more
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import cv2
import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree
from skimage.morphology import skeletonize

PIXELS = 16
MARGIN = 3
EIGHT = np.ones((3, 3), bool)


def lay_truth(truth, placement, shape, pixels=PIXELS):
    """Return the ink mask (H, W) laid on a chart's grid, ``pixels`` a stitch, with a margin of bare cloth."""
    rows, cols = shape
    height, width = (rows + 2 * MARGIN) * pixels, (cols + 2 * MARGIN) * pixels
    # Output pixel centre (i + 0.5) / pixels - MARGIN is a hole coordinate; truth pixels have their centre at + 0.5.
    hole = np.array([[1 / pixels, 0, 0.5 / pixels - MARGIN], [0, 1 / pixels, 0.5 / pixels - MARGIN], [0, 0, 1.0]])
    to_truth = np.vstack([placement, [0, 0, 1.0]]) @ hole
    to_truth[:2, 2] -= 0.5
    xy = to_truth[[1, 0]][:, [1, 0, 2]]
    step = float(np.hypot(*placement[:, 0])) / pixels
    source = truth.astype(np.float32)
    if step > 1.2:
        source = cv2.blur(source, (2 * round(step / 2) + 1,) * 2)
    laid = cv2.warpAffine(source, xy, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    return laid >= 0.5


def coverage_of(laid, pixels=PIXELS):
    """Return the share of ink in each cell, margin included."""
    rows, cols = laid.shape[0] // pixels, laid.shape[1] // pixels
    return laid.reshape(rows, pixels, cols, pixels).mean(axis=(1, 3))


@dataclass
class Axis:
    """The centre line of the ink."""

    points: np.ndarray  # (P, 2) in stitches, margin included
    part: np.ndarray  # (P,) ink part
    radius: np.ndarray  # (P,) half the stroke's width, stitches
    inner: np.ndarray  # (P,) bool: thin, and a stitch away from ends and junctions
    straight: np.ndarray  # (P,) bool


def find_axis(laid, labels, pixels=PIXELS):
    skeleton = skeletonize(laid)
    depth = cv2.distanceTransform(laid.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / pixels
    at = np.argwhere(skeleton)
    radius = depth[skeleton]
    # Where ink tapers to a tip or into a corner there is no stroke: nobody could stitch the last of it.
    spur = np.zeros(len(at), bool)
    if len(at):
        pairs = cKDTree(at).query_pairs(0.8 * pixels, output_type="ndarray")
        pairs = np.concatenate([pairs, pairs[:, ::-1]])
        apart = np.hypot(*(at[pairs[:, 0]] - at[pairs[:, 1]]).T) / pixels
        rise = radius[pairs[:, 1]] - radius[pairs[:, 0]]
        steep = (rise > 0.3 * apart) & (rise > 0.1) & (radius[pairs[:, 0]] < 0.75)
        spur[pairs[steep, 0]] = True
    at, radius = at[~spur], radius[~spur]
    line = np.zeros(laid.shape, bool)
    line[at[:, 0], at[:, 1]] = True
    near = ndimage.convolve(line.astype(np.uint8), EIGHT.astype(np.uint8), mode="constant")[at[:, 0], at[:, 1]] - 1
    special = np.zeros(laid.shape, np.uint8)
    odd = near != 2
    special[at[odd, 0], at[odd, 1]] = 1
    special[line & (ndimage.maximum_filter(depth, 3) > 0.8)] = 1
    away = cv2.distanceTransform(1 - special, cv2.DIST_L2, 5)[at[:, 0], at[:, 1]] / pixels
    inner = (radius <= 0.8) & (away > 1.0)
    straight = _straight(line, at, pixels) & inner
    return Axis((at + 0.5) / pixels, labels[at[:, 0], at[:, 1]], radius, inner, straight)


def _straight(line, at, pixels):
    """Return where the axis keeps within 0.06 of a straight line over 4 stitches."""
    y, x = np.mgrid[: line.shape[0], : line.shape[1]].astype(np.float64) / pixels
    mask = line.astype(np.float64)
    window = (4 * pixels + 1,) * 2

    def mean(values):
        return cv2.boxFilter(values * mask, -1, window, normalize=False)[at[:, 0], at[:, 1]]

    n = np.maximum(mean(np.ones_like(mask)), 1)
    my, mx = mean(y) / n, mean(x) / n
    yy, xx, xy = mean(y * y) / n - my * my, mean(x * x) / n - mx * mx, mean(x * y) / n - mx * my
    middle, half = (yy + xx) / 2, np.hypot((yy - xx) / 2, xy)
    return (middle - half < 0.06**2) & (middle + half > 0.9**2)


def serve(points, owner, cell_labels, reach, spare=0):
    """Return (owners with no label that serves all their points but ``spare``, labels that serve some owner so)."""
    rows, cols = cell_labels.shape
    base = np.floor(points - 0.5).astype(int)
    near = []
    for dr in (-1, 0, 1, 2):
        for dc in (-1, 0, 1, 2):
            r, c = base[:, 0] + dr, base[:, 1] + dc
            inside = (r >= 0) & (c >= 0) & (r < rows) & (c < cols)
            d = np.hypot(points[:, 0] - r - 0.5, points[:, 1] - c - 0.5)
            value = np.zeros(len(points), int)
            ok = inside & (d <= reach)
            value[ok] = cell_labels[r[ok], c[ok]]
            near.append(value)
    table = np.sort(np.stack(near, axis=1), axis=1)
    table[:, 1:][table[:, 1:] == table[:, :-1]] = 0
    owners = np.repeat(owner, table.shape[1])
    flat = table.ravel()
    pairs = np.stack([owners[flat > 0], flat[flat > 0]], axis=1)
    need = dict(zip(*np.unique(owner, return_counts=True), strict=True))
    served = {}
    if len(pairs):
        unique, counts = np.unique(pairs, axis=0, return_counts=True)
        for (who, label), n in zip(unique, counts, strict=True):
            if n >= max(1, need[who] - spare):
                served.setdefault(int(who), set()).add(int(label))
    failed = [int(who) for who in need if int(who) not in served]
    return failed, served, int((table > 0).any(axis=1).sum())


def structure_faults(laid, cells, axis, labels, gap=1.5, pixels=PIXELS):
    """Return a list of faults in words; empty when the structure is exact."""
    faults = []
    big = np.pad(cells, MARGIN)
    ink_count, ink = cv2.connectedComponents(big.view(np.uint8), connectivity=8)
    ground_count, ground = cv2.connectedComponents((~big).view(np.uint8), connectivity=4)
    # Ink parts: each whole in one part of the chart.
    # The centre line is only known to about half a pixel, and a tenth of a stitch of it is nothing.
    failed, served, _ = serve(axis.points, axis.part, ink, 0.75 + 0.6 / pixels, spare=pixels // 10)
    faults += [f"ink part {who} broken or missing" for who in failed]
    used = {label for group in served.values() for label in group}
    extra = set(range(1, ink_count)) - used
    if not failed:
        faults += [f"part {label} invented" for label in extra]
    # Ink parts at least gap apart stay apart.
    if ink_count > 1 and labels.max() > 1:
        reach = cv2.dilate(laid.view(np.uint8), _disc(gap / 2, pixels))
        _, cluster = cv2.connectedComponents(reach, connectivity=8)
        of_part = _first(labels, cluster)
        owner = {}
        for who, group in served.items():
            for label in group:
                owner.setdefault(label, set()).add(of_part[who])
        faults += [f"parts joined in {label}" for label, group in owner.items() if len(group) > 1]
    # Ground wider than gap stays open and in one piece, and different grounds stay apart.
    depth = cv2.distanceTransform((~laid).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / pixels
    core = depth > gap / 2
    core_count, cores = cv2.connectedComponents(core.view(np.uint8), connectivity=8)
    _, true_ground = cv2.connectedComponents((~laid).view(np.uint8), connectivity=4)
    sizes = np.bincount(cores.ravel(), minlength=core_count)
    rim = core & (depth < gap / 2 + 1.5)
    step = max(1, pixels // 6)
    at = np.argwhere(rim)
    at = at[(at[:, 0] % step == 0) & (at[:, 1] % step == 0)]
    at = at[sizes[cores[at[:, 0], at[:, 1]]] >= (0.15 * pixels) ** 2]
    if len(at):
        failed, served, _ = serve((at + 0.5) / pixels, cores[at[:, 0], at[:, 1]], ground, 1.0)
        faults += [f"ground {who} closed or cut" for who in failed]
        whose = _first(cores, true_ground)
        owner = {}
        for who, group in served.items():
            for label in group:
                owner.setdefault(label, set()).add(whose[who])
        faults += [f"grounds run together in {label}" for label, group in owner.items() if len(group) > 1]
    # Holes of the chart must be ground of the drawing.
    outside = ground[0, 0]
    room = cv2.resize((depth > 0.25).astype(np.float32), big.shape[::-1], interpolation=cv2.INTER_AREA) > 0
    true_hole = true_ground != true_ground[0, 0]
    true_hole &= ~laid
    hole_cells = cv2.resize(true_hole.astype(np.float32), big.shape[::-1], interpolation=cv2.INTER_AREA) > 0.05
    for label in range(1, ground_count):
        if label == outside:
            continue
        place = ground == label
        if not (hole_cells[place].any() or room[place].any()):
            faults.append(f"hole {label} invented")
    return faults


def _first(labels, values):
    flat = labels.ravel()
    index = np.flatnonzero(flat)
    names, first = np.unique(flat[index], return_index=True)
    return dict(zip(names.tolist(), values.ravel()[index[first]].tolist(), strict=True))


def _disc(radius, pixels):
    r = round(radius * pixels)
    y, x = np.ogrid[-r : r + 1, -r : r + 1]
    return (x * x + y * y <= r * r).astype(np.uint8)


@dataclass
class Measures:
    structure: float = 0.0
    hard: float = 0.0
    recall: float = 0.0
    precision: float = 0.0
    thin_stitches: float = 0.0
    thin_length: float = 0.0
    blocks: float = 0.0
    isolated: float = 0.0
    offset_sum: float = 0.0
    kinks: float = 0.0
    bumps: float = 0.0
    stitches: float = 0.0
    pen_spread: float = np.nan
    agreement: float = 0.0

    def row(self):
        return [getattr(self, f.name) for f in fields(self)]


def measure(truth, cells, placement, pixels=None):
    """Return the measures and the structure faults of a chart against the ink mask of its drawing."""
    if pixels is None:
        pixels = 24 if cells.shape[1] <= 40 else 16 if cells.shape[1] <= 60 else 12
    laid = lay_truth(truth, placement, cells.shape, pixels)
    part_count, labels = cv2.connectedComponents(laid.view(np.uint8), connectivity=8)
    sizes = np.bincount(labels.ravel(), minlength=part_count)
    dust = sizes < max(3, (0.1 * pixels) ** 2)
    dust[0] = False
    laid = laid & ~dust[labels]
    labels = np.where(laid, labels, 0)
    axis = find_axis(laid, labels, pixels)
    faults = structure_faults(laid, cells, axis, labels, 1.5, pixels)
    hard = faults if faults else structure_faults(laid, cells, axis, labels, 1.0, pixels)
    big = np.pad(cells, MARGIN)
    out = Measures(structure=float(not faults), hard=float(not hard), stitches=float(cells.sum()))
    # The centre line itself is only known to about half a pixel.
    _, _, near = serve(axis.points, axis.part, big.astype(int), 0.75 + 0.6 / pixels)
    out.recall = near / max(1, len(axis.points))
    away = cv2.distanceTransform((~laid).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / pixels
    centre = np.argwhere(big)
    at = (centre * pixels + pixels // 2).astype(int)
    out.precision = float((away[at[:, 0], at[:, 1]] <= 0.75 + 0.5 / pixels).mean()) if len(centre) else 0.0
    # Thin strokes.
    if len(axis.points) and len(centre):
        distance, who = cKDTree(axis.points).query(centre + 0.5)
        thin = axis.inner[who] & (distance < 1.25)
        out.thin_stitches = float(thin.sum())
        out.thin_length = axis.inner.sum() / pixels
        out.offset_sum = float(distance[thin].sum())
        owner = np.zeros(big.shape, bool)
        owner[centre[thin, 0], centre[thin, 1]] = True
        direct = np.zeros(big.shape, bool)
        direct[centre[:, 0], centre[:, 1]] = thin & axis.straight[who]
        quad = big[1:, 1:] & big[:-1, 1:] & big[1:, :-1] & big[:-1, :-1]
        mine = owner[1:, 1:] & owner[:-1, 1:] & owner[1:, :-1] & owner[:-1, :-1]
        out.blocks = float((quad & mine).sum())
        # Neighbours that belong to no straight part count too: where that ends, a stroke two wide makes no turn.
        up, down = np.roll(big, 1, 0), np.roll(big, -1, 0)
        left, right = np.roll(big, 1, 1), np.roll(big, -1, 1)
        corner = direct & (up ^ down) & (left ^ right)
        out.kinks = float((corner & ~_needed(big, axis, 0.75 + 0.6 / pixels)).sum())
    # Isolated stitches that are no dots.
    around = ndimage.convolve(big.astype(np.uint8), np.ones((3, 3), np.uint8), mode="constant")
    lone = np.argwhere(big & (around == 1))
    small = {}
    for label, box in enumerate(ndimage.find_objects(labels), 1):
        if box is not None:
            small[label] = max(s.stop - s.start for s in box) / pixels <= 2.0
    for r, c in lone:
        patch = labels[max(0, (r - 1) * pixels) : (r + 2) * pixels, max(0, (c - 1) * pixels) : (c + 2) * pixels]
        names = np.unique(patch[patch > 0])
        if not any(small.get(int(n), False) for n in names):
            out.isolated += 1
    coverage = coverage_of(laid, pixels)
    out.bumps = float(_bumps(big, coverage))
    ideal = coverage >= 0.5
    out.agreement = float((ideal & big).sum() / max(1, (ideal | big).sum()))
    out.pen_spread = _pen_spread(big, axis)
    return out, hard


def _needed(big, axis, reach):
    """Return the cells that alone are within reach of some point of the axis."""
    centres = np.argwhere(big) + 0.5
    out = np.zeros(big.shape, bool)
    if len(centres) < 2 or not len(axis.points):
        return out
    distance, who = cKDTree(centres).query(axis.points, k=2)
    alone = (distance[:, 0] <= reach) & (distance[:, 1] > reach)
    at = np.floor(centres[who[alone, 0]]).astype(int)
    out[at[:, 0], at[:, 1]] = True
    return out


def _bumps(big, coverage):
    unsure = np.abs(coverage - 0.5) < 0.3
    count = 0
    for turned, share in ((big, unsure), (big.T, unsure.T)):
        for sense in (turned, ~turned):
            for way in (sense, sense[::-1]):
                doubt = share if way is sense else share[::-1]
                row, under = way[:-1], way[1:]
                mid = row[:, 2:-2] & ~row[:, 1:-3] & ~row[:, 3:-1] & ~row[:, :-4] & ~row[:, 4:]
                base = under[:, 2:-2] & under[:, 1:-3] & under[:, 3:-1] & under[:, :-4] & under[:, 4:]
                count += int((mid & base & doubt[:-1, 2:-2]).sum())
    return count


def _pen_spread(big, axis):
    widths = 2 * axis.radius
    if len(widths) < 20:
        return np.nan
    middle = np.median(widths)
    if not 1.5 <= middle <= 4 or np.mean(np.abs(widths - middle) < 0.15 * middle) < 0.8:
        return np.nan
    fine = np.kron(big, np.ones((4, 4), bool))
    depth = cv2.distanceTransform(fine.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    top = ndimage.maximum_filter(depth, 5)
    at = np.clip((axis.points * 4).astype(int), 0, np.array(fine.shape) - 1)
    regular = np.abs(widths - middle) < 0.1 * middle
    drawn = 2 * top[at[:, 0], at[:, 1]][regular] / 4
    return float(np.std(drawn)) if len(drawn) else np.nan
