"""Which backstitches a chart needs beside its crosses.

A stroke that the crosses already show needs no line: a backstitch of a stroke is dropped if crosses
lie under it or beside it all along. The edge of an area needs a line only where the edge of the crosses
misrepresents it by more than a third of a stitch, and only if the line does better. Five things are looked at
as a stitcher would:

- a part narrower than `BROAD` is a stroke to the eye, and two lines beside it would be more work than the stroke
  itself;
- an area that the crosses leave bare and show by its outline has strokes, too;
- an area that the crosses leave out altogether, or a gap that they close, is not brought back by lines;
- a narrow bare line between broad areas of crosses parts them, and a backstitch in it would join them again;
- lines do not come and go: short gaps are filled, short pieces dropped.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, MaskArray, PointArray
from converter.outline.contour import outline_cells
from converter.outline.near import find_nearest
from converter.outline.network import Chain
from converter.outline.parts import distance_inside
from converter.outline.simplify import resample_curve

MISFIT: Final = 1 / 3
"""Crosses that keep nearer to an edge than so many stitches show it well enough."""
GAIN: Final = 0.1
"""A line must be so many stitches nearer."""
BROAD: Final = 5.0
"""Parts of the ink narrower than so many stitches are strokes to the eye."""
CORNER: Final = 1.0
"""A corner of a broad part may lie so many stitches outside the largest discs that fit into it."""
LOST: Final = 1.5
"""An edge farther than so many stitches from the edge of all crosses is not shown by them at all."""
SHORT: Final = 4.0
"""Kept pieces shorter than so many stitches, or a sixteenth of the chart, are dropped; gaps up to it are filled."""
LOOSE: Final = 1.5
"""A line no longer than so many stitches that joins no other is a loose stitch."""
LANE: Final = 3.5
"""Stitches; a bare line that is wider still shows with a backstitch along its side."""
BESIDE: Final = 0.75
"""Stitches from such a line that a backstitch may lie in the crosses."""
CLEAR: Final = 0.5
"""Stitches from the middle of such a line on both sides that are bare."""
FIELD, STEP = 1.5, 0.25
"""Stitches that crosses reach on beyond it on both sides, and from place to place where that is looked for."""
MOST: Final = 0.75
"""Share of the places that have crosses: of a stroke one cross wide fewer do."""
FEW: Final = 0.08
"""An edge of which only so small a share would get a line gets none: here and there looks like a mistake."""
SOME: Final = 0.15
LONG: Final = 20.0
"""The same of a larger share that is no more than so many stitches long: one side of an arrow, say."""


def choose_chains(chains: list[Chain], cells: CellArray, ink: MaskArray, scale: int) -> list[Chain]:
    """Return the pieces of chains that say what the crosses do not.

    Parameters
    ----------
    chains : list of Chain
    cells : ndarray of shape (rows, cols), bool
    ink : ndarray of shape (rows * scale, cols * scale), bool
    scale : int
        Pixels a stitch.
    """
    edge = _edge_of(cells)
    body = _broad_parts(ink, cells, scale) if any(chain.solid for chain in chains) else ink
    kept: list[Chain] = []
    for chain in chains:
        wanted = _misfit(chain, cells, edge, body, scale) if chain.solid else _uncovered(chain, cells)
        if wanted.any() and (chain.solid or not _is_stroke(chain, ink, scale)):
            closing = _closes_lane(chain, cells)
            if not chain.solid or closing.mean() > 0.5:
                wanted &= ~closing
        kept += _pieces(chain, _sweep(wanted, chain, max(SHORT, min(cells.shape) / 16)))
    return _drop_loose(kept)


def _drop_loose(chains: list[Chain]) -> list[Chain]:
    """Return the chains without those that are a single short stitch joined to no other."""
    met = Counter(tuple(hole) for chain in chains for hole in {tuple(h) for h in chain.holes.tolist()})
    return [
        chain
        for chain in chains
        if np.hypot(*np.diff(chain.holes, axis=0).T).sum() > LOOSE
        or any(met[tuple(h)] > 1 for h in chain.holes.tolist())
    ]


def _edge_of(cells: CellArray) -> PointArray:
    """Return points along the outline of the crosses, a tenth of a stitch apart."""
    loops = outline_cells(cells)
    return np.concatenate([resample_curve(loop, 0.1) for loop in loops]) if loops else np.zeros((0, 2))


def _is_stroke(chain: Chain, ink: MaskArray, scale: int) -> bool:
    """Return whether a chain follows thin ink, not an edge between colours of a broad area or on bare cloth."""
    at = np.clip((chain.points * scale).astype(int), 0, np.array(ink.shape) - 1)
    low, high = at.min(axis=0) - scale, at.max(axis=0) + scale + 1
    low = np.maximum(low, 0)
    part = ink[low[0] : high[0], low[1] : high[1]]
    inside = cv2.erode(part.view(np.uint8), np.ones((scale + 1, scale + 1), np.uint8))
    at -= low
    here = at[:, 0], at[:, 1]
    return bool(part[here].mean() > 0.5 and inside[here].mean() < 0.5)


def _closes_lane(chain: Chain, cells: CellArray) -> npt.NDArray[np.bool_]:
    """Return for each backstitch whether it runs along a narrow bare line with broad areas of crosses on both sides.

    The edge of an area runs along the middle of such a line where a crack between two colours is all that is seen.
    """
    steps = np.diff(chain.holes, axis=0)
    middles = chain.holes[:-1] + steps / 2
    across = steps[:, ::-1] * [1, -1] / np.hypot(*steps.T)[:, None]
    reach = round((LANE + BESIDE + FIELD) / STEP)
    places = np.arange(-reach, reach + 1)
    ways = middles[:, None] + (places * STEP)[None, :, None] * across[:, None]
    crosses = _set_at(cells, ways.reshape(-1, 2)).reshape(len(steps), -1)
    clear = round(CLEAR / STEP) if chain.solid else 0
    return np.array([_lane_at(way, reach, clear) for way in crosses])


def _lane_at(crosses: npt.NDArray[np.bool_], middle: int, clear: int) -> bool:
    """Return whether a narrow bare line lies at the middle of a way across, or beside it where a cross does.

    At least ``clear`` places on both sides of the middle must be bare.
    """
    if clear and crosses[middle - clear : middle + clear + 1].any():
        return False
    bare = np.flatnonzero(~crosses)
    at = int(bare[np.argmin(np.abs(bare - middle))]) if len(bare) else middle
    far = round(FIELD / STEP)
    if abs(at - middle) > round(BESIDE / STEP) or crosses[at]:
        return False
    before, after = np.flatnonzero(crosses[:at]), at + np.flatnonzero(crosses[at:])
    if not len(before) or not len(after):
        return False
    low, high = int(before[-1]), int(after[0])
    beside = crosses[max(low - far, 0) : low + 1], crosses[high : high + far + 1]
    return bool(high - low - 1 <= LANE / STEP and all(len(side) > far and side.mean() > MOST for side in beside))


def _broad_parts(ink: MaskArray, cells: CellArray, scale: int) -> MaskArray:
    """Return where a disc of `BROAD` fits into the ink and crosses fill it, `CORNER` wider on all sides."""
    core = (distance_inside(ink, scale) * 2 >= BROAD) & cells.repeat(scale, axis=0).repeat(scale, axis=1)
    if not core.any():
        return core
    away = cv2.distanceTransform((~core).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(away <= (BROAD / 2 + CORNER) * scale)


def _uncovered(chain: Chain, cells: CellArray) -> npt.NDArray[np.bool_]:
    """Return for each backstitch whether a part of it has no cross under or beside it."""
    grown = cv2.dilate(np.pad(cells, 1).astype(np.uint8), np.ones((2, 2), np.uint8), anchor=(1, 1))
    # grown[r + 1, c + 1] tells whether one of the four cells round hole (r, c) is set.
    wanted = np.zeros(len(chain.holes) - 1, dtype=bool)
    for k, (a, b) in enumerate(zip(chain.holes[:-1], chain.holes[1:], strict=True)):
        on_way = a + np.linspace(0, 1, 7)[:, None] * (b - a)
        near = np.rint(on_way).astype(int) + 1
        near = np.clip(near, 0, np.array(grown.shape) - 1)
        wanted[k] = bool((grown[near[:, 0], near[:, 1]] == 0).sum() >= 2)
    return wanted


def _misfit(chain: Chain, cells: CellArray, edge: PointArray, body: MaskArray, scale: int) -> npt.NDArray[np.bool_]:
    """Return for each backstitch whether the crosses misrepresent its piece of edge and it does not."""
    points = chain.points
    to_cells = find_nearest(edge, points, LOST)[0]
    # The other way round: corners of the crosses that stand out.
    reach, nearest = find_nearest(points, edge, 1.0)
    standing = np.zeros(len(points))
    near = np.isfinite(reach)
    np.maximum.at(standing, nearest[near], reach[near])
    at = np.clip((points * scale).astype(int), 0, np.array(body.shape) - 1)
    broad = body[at[:, 0], at[:, 1]]
    off = np.where(broad, np.maximum(to_cells, standing), 0.0)
    wanted = np.zeros(len(chain.holes) - 1, dtype=bool)
    for k, (a, b) in enumerate(zip(chain.holes[:-1], chain.holes[1:], strict=True)):
        low, high = sorted((int(chain.places[k]), int(chain.places[k + 1])))
        here = np.s_[low : high + 1]
        crosses = float(off[here].max())
        own = float(_distance_to_stitch(points[here], a, b).max())
        wanted[k] = (
            np.isfinite(crosses) and crosses > MISFIT and own < crosses - GAIN and not _lies_on_edge(a, b, cells)
        )
    return wanted


def _set_at(cells: CellArray, points: PointArray) -> npt.NDArray[np.bool_]:
    """Return whether each point lies in a cross."""
    at = np.floor(points).astype(int)
    inside = (at >= 0).all(axis=1) & (at < cells.shape).all(axis=1)
    at = np.clip(at, 0, np.array(cells.shape) - 1)
    return np.asarray(cells[at[:, 0], at[:, 1]] & inside)


def _lies_on_edge(a: npt.NDArray[np.int64], b: npt.NDArray[np.int64], cells: CellArray) -> bool:
    """Return whether a backstitch runs along the side of a cross, where it shows nothing new."""
    step = b - a
    if step.all() or np.abs(step).sum() > 1:
        return False
    across = np.array([0.5, 0.5]) * (step == 0)
    middle = (a + b) / 2
    return bool(_set_at(cells, np.array([middle - across, middle + across])).any())


def _distance_to_stitch(points: PointArray, a: npt.NDArray[np.int64], b: npt.NDArray[np.int64]) -> PointArray:
    vector = (b - a).astype(np.float64)
    share = np.clip(((points - a) @ vector) / (vector @ vector), 0, 1)
    return np.asarray(np.hypot(*(points - a - share[:, None] * vector).T))


def _sweep(wanted: npt.NDArray[np.bool_], chain: Chain, least: float) -> npt.NDArray[np.bool_]:
    """Return the choice: short gaps filled, pieces shorter than ``least`` dropped, and none if few are left."""
    lengths = np.hypot(*np.diff(chain.holes, axis=0).T)
    closed = bool((chain.holes[0] == chain.holes[-1]).all())
    for value in (False, True):
        for low, high in _stretches(wanted, value, closed):
            inside = np.arange(low, high) % len(wanted)
            at_end = not closed and (low == 0 or high == len(wanted))
            if (
                lengths[inside].sum() <= (least if value else SHORT)
                and not (at_end and not value)
                and len(inside) < len(wanted)
            ):
                wanted[inside] = not value
    total = lengths.sum()
    if chain.solid and lengths[wanted].sum() < max(FEW * total, min(SOME * total, LONG)):
        wanted[:] = False
    return wanted


def _stretches(wanted: npt.NDArray[np.bool_], value: bool, closed: bool) -> list[tuple[int, int]]:
    """Return first and one past last index of each stretch of a value; on a loop past the end if need be."""
    size = len(wanted)
    here = wanted == value
    if here.all():
        return [(0, size)]
    shift = int(np.argmin(here)) if closed else 0
    around = np.roll(here, -shift)
    change = np.diff(np.concatenate([[0], around.astype(int), [0]]))
    starts, ends = np.nonzero(change == 1)[0] + shift, np.nonzero(change == -1)[0] + shift
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def _pieces(chain: Chain, wanted: npt.NDArray[np.bool_]) -> list[Chain]:
    if wanted.all():
        return [chain]
    closed = bool((chain.holes[0] == chain.holes[-1]).all())
    pieces = []
    for low, high in _stretches(wanted, True, closed):
        ring = np.concatenate([chain.holes, chain.holes[1:]]) if closed else chain.holes
        places = np.concatenate([chain.places, chain.places[1:]]) if closed else chain.places
        pieces.append(replace(chain, holes=ring[low : high + 1], places=places[low : high + 1]))
    return pieces


def fit_budget(chains: list[Chain], most: int | None) -> list[Chain]:
    """Return the chains, longest first, that together have at most ``most`` backstitches; in their order."""
    if most is None:
        return chains
    order = sorted(range(len(chains)), key=lambda k: (-len(chains[k].holes), k))
    left, kept = most, set()
    for k in order:
        size = len(chains[k].holes) - 1
        if size <= left:
            kept.add(k)
            left -= size
    return [chain for k, chain in enumerate(chains) if k in kept]
