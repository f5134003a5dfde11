"""Whether the chart says the same as the picture: parts, holes and joints.

The picture (a mask laid on the grid, some pixels a stitch) is turned into a list of demands once; a chart is then
checked against them by two labellings and a few table look-ups, quickly enough to try many small changes.

Demands, with ``gap`` in stitches (1.5 is the narrowest strip that surely holds a way from cell to cell by their sides,
being more than the square root of 2):

broken     every ink part is drawn in one piece: one group of stitches comes within `REACH` of all its axis.
cut        ground wider than ``gap`` stays open, in one piece.
joined     ink parts ``gap`` or more apart stay apart.
leaked     grounds that ink parts stay parted.
invented   no hole and no group of stitches that the picture does not have.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, MaskArray
from converter.pixels.runs import run_ends
from converter.raster.around import grow
from converter.raster.axis import Axis, ink_depth, places
from converter.raster.components import label_parts

REACH = 0.75
"""A stitch whose centre lies within this many stitches of a point of the axis shows it."""
REACH_AT_CORNERS = 0.66
"""The same where the axis does not run straight on and is not so surely known. Points from which no stitch is so near
demand none, but for those of parts that have no others."""
HALF_DIAGONAL = 0.7072
"""Stitches: no point is farther from the nearest middle of a cell."""


@dataclass(frozen=True, eq=False)
class Demand:
    """Points that one connected group of cells must come near to, for each of several owners."""

    near: npt.NDArray[np.intp]
    """(P, 4), flat cells within reach; the cell 0, always bare rim, stands for none."""
    owner: npt.NDArray[np.intp]
    """(P,), ascending."""
    anchor: npt.NDArray[np.intp]
    """(owners,), the first point of each."""
    group: npt.NDArray[np.intp]
    """(owners,), owners of different groups must not share one group of cells."""
    often: npt.NDArray[np.intp] | None = None
    """(P,), how many points each stands for; None where each stands for itself."""


@dataclass(frozen=True, eq=False)
class Structure:
    """All demands of a picture on a grid of (rows, cols), margin included."""

    shape: tuple[int, int]
    ink: Demand
    ground: Demand
    roomy: MaskArray
    """(rows, cols): a hole here is one that the picture has."""
    ink_owner: npt.NDArray[np.int32]
    """(rows, cols): cluster of the nearest ink part."""
    ground_owner: npt.NDArray[np.int32]
    """(rows, cols): the nearest ground."""


@dataclass(frozen=True, eq=False)
class Faults:
    """What a chart gets wrong."""

    score: float
    """0 if nothing; 1 for each fault, and a share for how much of it there is."""
    count: int
    places: tuple[tuple[str, npt.NDArray[np.intp]], ...]
    """Kind of fault and the flat cells it can be mended at."""


def reach_of(axis: Axis) -> npt.NDArray[np.float64]:
    """Return how near a stitch must be to each point of an axis to show it."""
    return np.where(axis.straight, REACH, REACH_AT_CORNERS)


def cells_near(
    points: npt.NDArray[np.float64], shape: tuple[int, ...], reach: float | npt.NDArray[np.float64]
) -> npt.NDArray[np.intp]:
    """Return the flat indices (P, 4) of the cells whose centre is within ``reach``; 0 stands for none."""
    rows, cols = shape
    base = np.floor(points - 0.5).astype(np.intp)
    out = np.zeros((4, len(points)), dtype=np.intp).T
    for k, (dr, dc) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
        r, c = base[:, 0] + dr, base[:, 1] + dc
        d2 = (points[:, 0] - r - 0.5) ** 2 + (points[:, 1] - c - 0.5) ** 2
        inside = (r > 0) & (c > 0) & (r < rows - 1) & (c < cols - 1) & (d2 <= reach * reach)
        out[inside, k] = r[inside] * cols + c[inside]
    return out


def _demand(
    points: npt.NDArray[np.float64],
    owner: npt.NDArray[np.intp],
    shape: tuple[int, int],
    reach: npt.NDArray[np.float64],
) -> Demand:
    """Return what points demand, each owner a group of its own."""
    order = np.argsort(owner, kind="stable")
    points, owner, reach = points[order], owner[order], reach[order]
    near = cells_near(points, shape, reach)
    held = near.any(axis=1)
    # The middle of a dot may be the only point of its part and lie farther than that from all stitches round it.
    lost = ~np.isin(owner, owner[held])
    if lost.any():
        near[lost] = cells_near(points[lost], shape, HALF_DIAGONAL)
        held = near.any(axis=1)
    near, owner = np.asfortranarray(near[held]), owner[held]
    names, anchor, owner = np.unique(owner, return_index=True, return_inverse=True)
    return Demand(near, owner.astype(np.intp), anchor.astype(np.intp), names)


def _grouped(want: Demand, group_of: npt.NDArray[np.intp]) -> Demand:
    """Return a demand whose groups are put together."""
    return replace(want, group=group_of[want.group])


def _first_value(labels: npt.NDArray[np.int32], count: int, values: npt.NDArray[np.int32]) -> npt.NDArray[np.intp]:
    out = np.zeros(count, dtype=np.intp)
    # Every pixel of a label has the same value: where a run of them ends is enough.
    last = run_ends(labels)
    out[labels.ravel()[last]] = values.ravel()[last]
    out[0] = 0
    return out


def _labels(mask: MaskArray, connectivity: int) -> tuple[int, npt.NDArray[np.int32]]:
    count, labels = cv2.connectedComponents(mask.view(np.uint8), connectivity=connectivity, ltype=cv2.CV_32S)
    return count, np.asarray(labels, dtype=np.int32)


def _at_centres(values: npt.NDArray[np.int32], pixels: int) -> npt.NDArray[np.int32]:
    return np.ascontiguousarray(values[pixels // 2 :: pixels, pixels // 2 :: pixels])


def _nearest_at_centres(labels: npt.NDArray[np.int32], pixels: int) -> npt.NDArray[np.int32]:
    """Return for each cell the label nearest to its centre, looked up on every third or so pixel."""
    step = max(k for k in (1, 2, 3) if pixels % (2 * k) == 0)
    offset = (pixels // 2) % step
    few = np.ascontiguousarray(labels[offset::step, offset::step])
    return _at_centres(_nearest_label(few), pixels // step)


def _nearest_label(labels: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Return the label of the nearest labelled pixel for each pixel."""
    free = (labels == 0).view(np.uint8)
    if not labels.any():
        return labels
    _, index = cv2.distanceTransformWithLabels(free, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    table = np.zeros(int(index.max()) + 1, dtype=np.int32)
    zero = free == 0
    table[index[zero]] = labels[zero]
    return np.asarray(table[index], dtype=np.int32)


def read_structures(
    ink: MaskArray,
    axis: Axis,
    pixels: int,
    gaps: tuple[float, ...],
    ground_depth: npt.NDArray[np.float32] | None = None,
) -> tuple[Structure, ...]:
    """Return the demands of a mask, once for each gap.

    Parameters
    ----------
    ink : ndarray of shape (rows * pixels, cols * pixels), bool
        Laid on the grid; the outermost ring of cells is bare.
    axis : Axis
    pixels : int
        Pixels a stitch.
    gaps : tuple of float
        Stitches; see the module's head.
    ground_depth : ndarray of shape (H, W), optional
        `ink_depth` of the ground, if it is at hand.
    """
    shape = (ink.shape[0] // pixels, ink.shape[1] // pixels)
    part_count, parts = _labels(ink, 8)
    _, grounds = _labels(~ink, 4)
    away = ink_depth(~ink, pixels) if ground_depth is None else ground_depth
    keep = np.arange(len(axis.points)) % (pixels // 4) == 0
    part_at = parts[axis.pixel[:, 0], axis.pixel[:, 1]].astype(np.intp)
    # Each part keeps at least its first point.
    first = np.unique(part_at, return_index=True)[1]
    keep[first] = True
    keep &= part_at > 0
    wanted = _demand(axis.points[keep], part_at[keep], shape, reach_of(axis)[keep])
    near_part, near_ground = _nearest_at_centres(parts, pixels), _nearest_at_centres(grounds, pixels)
    blocks = away.reshape(shape[0], pixels, -1).max(axis=1).reshape(shape[0], shape[1], pixels).max(axis=2)
    hole = (grounds > 0) & (grounds != grounds[0, 0])
    in_hole = cv2.resize(hole.view(np.uint8) * np.uint8(255), shape[::-1], interpolation=cv2.INTER_AREA) > 25
    step = max(1, pixels // 6)
    few_away = np.ascontiguousarray(away[step // 2 :: step, step // 2 :: step])

    def demand(gap: float) -> Structure:
        cluster_of = _first_value(parts, part_count, _labels(away <= gap / 2, 8)[1])
        cores, core_pixels = label_parts(away > gap / 2, 8)
        ground_of = _first_value(cores, len(core_pixels), grounds)
        sample = cores[step // 2 :: step, step // 2 :: step]
        where = places((sample > 0) & (few_away < gap / 2 + 1.0)) * step + step // 2
        big = core_pixels >= (0.12 * pixels) ** 2
        owner = cores[where[:, 0], where[:, 1]].astype(np.intp)
        kept = big[owner]
        rooms = _demand((where[kept] + 0.5) / pixels, owner[kept], shape, np.ones(int(kept.sum())))
        return Structure(
            shape=shape,
            ink=_grouped(wanted, cluster_of),
            ground=_grouped(rooms, ground_of),
            roomy=(blocks > 0.35) | in_hole,
            ink_owner=cluster_of[near_part].astype(np.int32),
            ground_owner=near_ground,
        )

    return tuple(demand(gap) for gap in gaps)


def find_faults(cells: CellArray, want: Structure) -> Faults:
    """Return what a chart (margin included) gets wrong."""
    ink_count, ink = _labels(cells, 8)
    ground_count, ground = _labels(~cells, 4)
    places: list[tuple[str, npt.NDArray[np.intp]]] = []
    score, count = 0.0, 0

    ink_flat, ground_flat = ink.ravel(), ground.ravel()
    label_of, missing, far = _served(want.ink, ink_flat)
    for owner in np.flatnonzero(missing):
        points = far[want.ink.owner[far] == owner]
        places.append(("broken", np.unique(want.ink.near[points])))
        score += 1 + missing[owner] / 1000
        count += 1
    used = np.zeros(ink_count, dtype=bool)
    used[label_of[label_of > 0]] = True
    used[0] = True
    if not missing.any():
        for label in np.flatnonzero(~used):
            places.append(("invented", np.flatnonzero(ink_flat == label)))
            score += 1
            count += 1
    whose = np.zeros(ink_count, dtype=np.intp)
    seen = label_of > 0
    whose[label_of[seen]] = want.ink.group[seen]
    clash = (whose[label_of] != want.ink.group) & seen
    for label in np.unique(label_of[clash]):
        places.append(("joined", _border(ink == label, want.ink_owner, True)))
        score += len(np.unique(want.ink.group[label_of == label])) - 1
        count += 1

    label_of, missing, far = _served(want.ground, ground_flat)
    for owner in np.flatnonzero(missing):
        points = far[want.ground.owner[far] == owner]
        near = np.zeros(want.shape, dtype=np.bool_)
        near.ravel()[want.ground.near[points]] = True
        places.append(("cut", np.flatnonzero(grow(near) & cells)))
        score += 1 + missing[owner] / 1000
        count += 1
    whose = np.zeros(ground_count, dtype=np.intp)
    seen = label_of > 0
    whose[label_of[seen]] = want.ground.group[seen]
    clash = (whose[label_of] != want.ground.group) & seen
    for label in np.unique(label_of[clash]):
        places.append(("leaked", _border(ground == label, want.ground_owner, False)))
        score += len(np.unique(want.ground.group[label_of == label])) - 1
        count += 1
    outside = ground_flat[0]
    legal = np.zeros(ground_count, dtype=bool)
    legal[ground_flat[want.roomy.ravel()]] = True
    legal[0] = legal[outside] = True
    for label in np.flatnonzero(~legal):
        places.append(("invented", np.flatnonzero(ground_flat == label)))
        score += 1
        count += 1
    return Faults(score, count, tuple(places))


def condense(want: Structure) -> Structure:
    """Return the same demands with points of one owner that ask for the same cells told once.

    It takes as long as a dozen checks, and each check is several times quicker afterwards.
    """
    cols = want.shape[1]
    return replace(want, ink=_condensed(want.ink, cols), ground=_condensed(want.ground, cols))


def _condensed(want: Demand, cols: int) -> Demand:
    if len(want.near) == 0 or want.often is not None:
        return want
    # The cells lie in a square of four: its first one and which of them are meant name them all.
    base, kind = np.zeros(len(want.near), dtype=np.int64), np.zeros(len(want.near), dtype=np.int64)
    for k, offset in enumerate((0, 1, cols, cols + 1)):
        column = want.near[:, k]
        base = np.maximum(base, np.where(column > 0, column - offset, 0))
        kind |= (column > 0).astype(np.int64) << k
    key = (want.owner * np.int64(int(base.max()) + 1) + base) * 16 + kind
    _, first, place, often = np.unique(key, return_index=True, return_inverse=True, return_counts=True)
    near = np.asfortranarray(want.near[first])
    return Demand(near, want.owner[first], place.ravel()[want.anchor], want.group, often)


def _served(
    want: Demand, labels: npt.NDArray[np.int32]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return for each owner the label that serves most of its points, how many it misses, and the points missed."""
    owners = len(want.anchor)
    if owners == 0:
        none = np.zeros(0, dtype=np.intp)
        return none, none, none
    best = labels[want.near[want.anchor]].max(axis=1).astype(np.intp)
    best[best == 0] = -1
    # Column by column: rows of four are too short for a loop of their own.
    columns = want.near.T
    own = best.astype(labels.dtype)[want.owner]
    hit = labels[columns[0]] == own
    for column in columns[1:]:
        hit |= labels[column] == own
    often = want.often
    missing = _count(want.owner, often, ~hit, owners)
    doubtful = missing > 0
    if doubtful.any():
        some = np.flatnonzero(doubtful[want.owner])
        rows = labels[want.near[some]]
        # Each label counts once for each point.
        for k in (1, 2, 3):
            rows[(rows[:, :k] == rows[:, k : k + 1]).any(axis=1), k] = 0
        count = int(rows.max()) + 1
        whose = (want.owner[some][:, None] * count + rows).ravel()
        votes = np.bincount(whose, None if often is None else np.repeat(often[some], 4), minlength=owners * count)
        votes = votes.reshape(owners, count)
        votes[:, 0] = 0
        top = votes.argmax(axis=1)
        better = doubtful & (votes.max(axis=1) > 0)
        best[better] = top[better]
        hit[some] = (rows == best[want.owner[some]][:, None]).any(axis=1)
        missing = _count(want.owner, often, ~hit, owners)
    return best, missing, np.flatnonzero(~hit)


def _count(
    owner: npt.NDArray[np.intp], often: npt.NDArray[np.intp] | None, chosen: npt.NDArray[np.bool_], owners: int
) -> npt.NDArray[np.intp]:
    """Return how many of the chosen points each owner has."""
    weights = None if often is None else often[chosen]
    return np.bincount(owner[chosen], weights, minlength=owners).astype(np.intp)


def _border(place: MaskArray, owner: npt.NDArray[np.int32], diagonal: bool) -> npt.NDArray[np.intp]:
    """Return the flat cells of ``place`` with a neighbour in it that belongs to another owner."""
    found = np.zeros(place.shape, dtype=bool)
    steps = ((0, 1), (1, 0), (1, 1), (1, -1)) if diagonal else ((0, 1), (1, 0))
    rows, cols = place.shape
    for dr, dc in steps:
        a = (slice(0, rows - dr), slice(max(0, -dc), cols - max(0, dc)))
        b = (slice(dr, rows), slice(max(0, dc), cols + min(0, dc)))
        other = place[a] & place[b] & (owner[a] != owner[b])
        found[a] |= other
        found[b] |= other
    return np.flatnonzero(found.ravel())
