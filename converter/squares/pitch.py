"""Which lines of a lattice are really there: every second line of a grid is a lattice, too.

So is every line with one between that is not there: rows of marks can look like one. On bare squares only, lines are
looked for between the present ones, and it is looked at whether every second of the present ones is missing. Only a
window of the sheet is looked at, where most squares are bare, at the size the question needs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.density import FloatArray, density, shrink
from converter.squares.mesh import Fit, measure
from converter.squares.sides import BoolArray, Nodes, Sides, Sight, line_height

_WINDOW = {5: 9, 3: 11, 2: 14}
"""Squares a side that are looked at, for each number of parts that they may be cut into."""
_POINTS = 6
"""Points along each side of a square that its inside is looked at in."""
_SMALLEST = 200
"""Pixels of the shorter side from which a picture is halved."""
_PHASES = ((0, 0), (0, 1), (1, 0), (1, 1))
_FEWEST_FRAMED, _MANY_HOLLOW = 20, 0.2
"""Squares with lines all round that say something, and the share of them without lines between that refutes those."""
_LEAST_PX = 6.0
"""Squares narrower than this cannot be told apart."""


@dataclass(frozen=True, eq=False)
class Source:
    """The picture a sight was made of, for a closer look at parts of it."""

    rgb: npt.NDArray[np.uint8]
    weights: FloatArray

    @cached_property
    def halved(self) -> list[npt.NDArray[np.uint8]]:
        """The picture, and what is left of it when it is halved again and again: small parts of it are looked at."""
        pictures = [self.rgb]
        while min(pictures[-1].shape[:2]) >= _SMALLEST:
            high, wide = pictures[-1].shape[:2]
            even = pictures[-1][: high // 2 * 2, : wide // 2 * 2]
            pictures.append(shrink(even, 0.5))
        return pictures

    def near(self, nodes: Nodes, pixels: float) -> tuple[Sight, Nodes] | None:
        """Return the part round ``nodes`` (in pixels of the picture), squares about ``pixels`` wide, and the nodes.

        None where hardly anything of them lies in the picture.
        """
        sides = np.hypot(*np.diff(nodes, axis=1).reshape(-1, 2).T)
        side = float(np.median(sides))
        low = np.floor(nodes.reshape(-1, 2).min(axis=0) - side).astype(int)
        high = np.ceil(nodes.reshape(-1, 2).max(axis=0) + side).astype(int)
        low, high = np.maximum(low, 0), np.minimum(high, self.rgb.shape[:2])
        if (high - low < 8).any():
            return None
        halvings = int(np.clip(np.log2(max(1.0, side / pixels)), 0, len(self.halved) - 1))
        every = 2**halvings
        low, high = low // every, high // every
        part = shrink(self.halved[halvings][low[0] : high[0], low[1] : high[1]], every * pixels / side)
        scale = np.array(part.shape[:2]) / (high - low)
        return Sight.of(density(part), self.weights), ((nodes + 0.5) / every - low) * scale - 0.5


def split(nodes: Nodes, parts: int) -> Nodes:
    """Return the mesh with each square cut into ``parts`` by ``parts``."""
    n, m = nodes.shape[0] - 1, nodes.shape[1] - 1

    def between(count: int) -> npt.NDArray[np.float64]:
        at = np.arange(count * parts + 1) / parts
        low = np.minimum(at.astype(int), count - 1)
        matrix = np.zeros((len(at), count + 1))
        matrix[np.arange(len(at)), low] += 1 - (at - low)
        matrix[np.arange(len(at)), low + 1] += at - low
        return matrix

    down, right = between(n), between(m)
    return np.stack([down @ nodes[..., axis] @ right.T for axis in (0, 1)], axis=-1)


def _insides(sight: Sight, nodes: Nodes) -> npt.NDArray[np.float64]:
    """Return (n, m, _POINTS**2) the density at points all over the inside of each square."""
    part = (np.arange(_POINTS) + 0.5) / _POINTS
    across, down = np.meshgrid(part, part)
    corners = (nodes[:-1, :-1], nodes[:-1, 1:], nodes[1:, :-1], nodes[1:, 1:])
    shares = ((1 - down) * (1 - across), (1 - down) * across, down * (1 - across), down * across)
    points = np.zeros((*corners[0].shape[:2], _POINTS**2, 2))
    for corner, share in zip(corners, shares, strict=True):
        points += corner[..., None, :] * share.reshape(-1, 1)
    flat = points.astype(np.float32).reshape(points.shape[0], -1, 2)
    values = cv2.remap(
        sight.tone, np.ascontiguousarray(flat[..., 1]), np.ascontiguousarray(flat[..., 0]), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return np.asarray(values, dtype=np.float64).reshape(points.shape[:3])


def bare_squares(sight: Sight, fit: Fit, reach: int = 7) -> BoolArray:
    """Return (n, m) which squares are paper: as light as the lightest and as even as the most even ones round about.

    Light changes over ``reach`` squares, so lightness is compared no farther off; evenness is the same in any light.
    """
    ink = np.stack([fit.level.ink[:-1], fit.level.ink[1:], fit.upright.ink[:-1].T, fit.upright.ink[1:].T])
    inside = fit.level.inside[:-1] & fit.level.inside[1:] & fit.upright.inside[:-1].T & fit.upright.inside[1:].T
    points = _insides(sight, fit.nodes)
    most, spread = ink.max(axis=0), points.std(axis=2)
    light = most < filters.lowest(filters.median3(most), reach) + max(0.5 * fit.height, 0.04)
    even = spread < 1.5 * filters.lowest(filters.median3(np.where(inside, spread, spread.max())), 4 * reach + 1) + 0.02
    return np.asarray(inside & light & even)


def _window(sight: Sight, fit: Fit, side: int) -> tuple[slice, slice]:
    """Return the squares, at most ``side`` by ``side`` of them, with the most bare ones that lines are seen round."""
    n, m = fit.squares
    level, upright = fit.good
    lined = (level[:-1] | level[1:]) & (upright[:-1] | upright[1:]).T
    worth = (bare_squares(sight, fit) & lined).astype(np.int64)
    total = np.pad(worth.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    high, wide = min(side, n), min(side, m)
    sums = total[high:, wide:] - total[:-high, wide:] - total[high:, :-wide] + total[:-high, :-wide]
    top, left = np.unravel_index(int(sums.argmax()), sums.shape)
    return slice(int(top), int(top) + high), slice(int(left), int(left) + wide)


def _between_shown(source: Source, nodes: Nodes, parts: int) -> tuple[float, float]:
    """Return the share of sides shown on the lines of a mesh, and on lines between them, of bare squares only.

    Between means where lines would be if each square were cut into ``parts``; of several such lines that seen least
    counts. Too few bare squares give (0, 1); squares too small to tell give (1, 0).
    """
    side = float(np.median(np.hypot(*np.diff(nodes, axis=1).reshape(-1, 2).T)))
    if side / parts < _LEAST_PX:
        return 1.0, 0.0
    part = source.near(nodes, 16.0 * parts)
    if part is None:
        return 0.0, 1.0
    sight, near = part
    fine = measure(sight, split(near, parts))
    bare = bare_squares(sight, fine, 6 * parts + 1)
    height = float(np.median([line_height(s, 0.8) for s in (fine.level, fine.upright)]))
    mains: list[float] = []
    betweens: list[float] = []
    for sides, paper in ((fine.level, bare), (fine.upright, bare.T)):
        shown = _shown(sides, height)
        # a line needs paper on both its sides
        clear = np.vstack([paper[:1], paper[1:] & paper[:-1], paper[-1:]])
        for rest in range(parts):
            lines, judged = shown[rest::parts], clear[rest::parts]
            if judged.sum() < 10:
                return 0.0, 1.0
            (mains if rest == 0 else betweens).append(float(lines[judged].mean()))
    return min(mains), min(betweens)


def _shown(sides: Sides, height: float) -> BoolArray:
    """Return the sides on which a line is seen, where lines usually have a height."""
    clear = sides.height > max(0.35 * height, 3 * sides.noise)
    return np.asarray(sides.inside & clear & (np.abs(sides.offset) < 0.28))


def _hollow(source: Source, nodes: Nodes) -> float:
    """Return the share of squares without any line between, in both ways, of those with lines on all four sides.

    In a grid of half the pitch hardly one is; among pluses and the like, one a square, those are that are bare.
    """
    side = float(np.median(np.hypot(*np.diff(nodes, axis=1).reshape(-1, 2).T)))
    part = source.near(nodes, 32.0) if side / 2 >= _LEAST_PX else None
    if part is None:
        return 0.0
    sight, near = part
    fine = measure(sight, split(near, 2))
    height = float(np.median([line_height(s, 0.8) for s in (fine.level, fine.upright)]))
    level, upright = _shown(fine.level, height), _shown(fine.upright, height).T
    framed = level[:-1:2, ::2] & level[:-1:2, 1::2] & level[2::2, ::2] & level[2::2, 1::2]
    framed &= upright[::2, :-1:2] & upright[1::2, :-1:2] & upright[::2, 2::2] & upright[1::2, 2::2]
    between = level[1::2, ::2] | level[1::2, 1::2] | upright[::2, 1::2] | upright[1::2, 1::2]
    count = int(framed.sum())
    return float((framed & ~between).sum()) / count if count >= _FEWEST_FRAMED else 0.0


def right_pitch(image: Sight, fit: Fit, source: Source) -> Fit:
    """Return the mesh with the finest lattice that the lines bear out.

    Parameters
    ----------
    image : Sight
        The picture the mesh is fitted on.
    fit : Fit
    source : Source
        The picture it was made of, of the same form.
    """
    zoom = np.array(source.rgb.shape[:2]) / image.lines.shape
    for _ in range(4):
        finer = next((p for p in _WINDOW if _splits(image, source, fit, zoom, p)), 0)
        if finer:
            fit = measure(image, split(fit.nodes, finer))
            continue
        phase = _thinned(image, source, fit, zoom)
        if phase is None:
            break
        fit = measure(image, np.ascontiguousarray(fit.nodes[phase[0] :: 2, phase[1] :: 2]))
    return fit


def _part(image: Sight, fit: Fit, zoom: npt.NDArray[np.float64], side: int) -> tuple[int, int, Nodes]:
    """Return the (row, col) at which the window begins, and its crossings in pixels of the source."""
    rows, cols = _window(image, fit, side)
    part = fit.nodes[rows.start : rows.stop + 1, cols.start : cols.stop + 1]
    return rows.start, cols.start, (part + 0.5) * zoom - 0.5


def _splits(image: Sight, source: Source, fit: Fit, zoom: npt.NDArray[np.float64], parts: int) -> bool:
    main, between = _between_shown(source, _part(image, fit, zoom, _WINDOW[parts])[2], parts)
    return main > 0.3 and between > 0.6 * main


def _thinned(image: Sight, source: Source, fit: Fit, zoom: npt.NDArray[np.float64]) -> tuple[int, int] | None:
    """Return the (row, col) at which to begin taking every second line, if those between are not there; else None."""
    if min(fit.squares) < 8:
        return None
    top, left, nodes = _part(image, fit, zoom, 2 * _WINDOW[2])
    best: tuple[float, int, int] | None = None
    for row, col in _PHASES:
        main, between = _between_shown(source, nodes[row::2, col::2], 2)
        if between < 0.35 * main and (best is None or main > best[0]):
            best = (main, row, col)
    if best is not None and best[0] > 0.5:
        return (top + best[1]) % 2, (left + best[2]) % 2
    # among marks with arms, the squares of half the pitch are bare, too: what counts are those bare as a whole
    shares = []
    for row, col in _PHASES:
        coarse = measure(image, np.ascontiguousarray(fit.nodes[row::2, col::2]))
        shares.append(_hollow(source, _part(image, coarse, zoom, _WINDOW[2])[2]))
    return _PHASES[int(np.argmax(shares))] if max(shares) > _MANY_HOLLOW else None
