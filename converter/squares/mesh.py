"""The grid as a mesh of crossings, fitted to the printed lines.

1. Lines are measured, not crossings (see `sides`): crossings hide under marks, while each side of each square gives
   one offset across the line.
2. Offsets of level lines move crossings down or up, those of upright lines right or left; both are smooth
   functions over the sheet. While the mesh grows by a few squares at a time they are polynomials whose degree
   rises with the size; sides that disagree lose their weight. At the end local averages take up curl and folds.
3. Between printed fills the paper shows along the lines, which are then lighter than both sides. Where much is hidden
   the mesh is begun once more from the flat sheet that all surely seen crossings agree on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.density import FloatArray, mix
from converter.squares.perspective import flat_sheet
from converter.squares.sides import (
    BoolArray,
    Nodes,
    Sides,
    Sight,
    clear_sides,
    coherent,
    judged_sides,
    line_height,
    measure_sides,
)

_LEVEL = 0.15
"""How much must be seen, weighted by its distance, before a local plane slopes."""
_CURL = 0.01
"""The same of how far crossings that are seen lie off the sheet as fitted: it curls on beyond them."""
_GAP = 1.0
"""How much lighter than the fills on both its sides, in heights of a printed line, a line is where paper shows."""
_BESIDE_INK = 0.1
"""Weight of what is seen evenly beside something dark, such as the edge of the sheet on a table."""
_STILL = 0.004
"""Weight of each crossing's own place against what is seen of a line."""
_UNEVEN = 0.02
"""Weight of what is seen between marks against what is seen on paper."""
_FEWEST_BARE, _BARE = 8, 0.04
"""Sides on bare paper, and share of all, from which they alone tell whether lines go on."""
_FAR_ENOUGH = 15
"""Squares without lines after which a mesh grows no further to that side."""
_SPARE = 5
"""Squares kept beyond the last lines."""
_FEWEST_IN_PERSPECTIVE = 13
"""Crossings a side from which the perspective is known."""
_STRIP = 2.5
"""How many times longer than wide a narrow piece of a sheet is whose bend along it is fitted by itself."""
_FAR = 25
"""Squares a side within which paper is looked for beside wide fills."""
_FEWEST_SURE = 40
"""Crossings on paper from which the flat sheet through them is known."""
_SMOOTH = 0.003
"""Usual change of the step from crossing to crossing, as part of a square, of a mesh that is surely not astray."""
_MUCH_HIDDEN, _AMID = 0.1, 15
"""Share of crossings far from any sure one, from which a mesh may be astray, and the widest fill that counts."""
_FEWEST_SHOWN = 100
"""Sides seen on paper from which two meshes can be told apart."""
_SURELY_MORE, _SMOOTHER, _NO_LESS = 1.05, 0.9, 0.98
"""How many times more must be seen of a mesh that began flat; or how much smoother it must be if no less is seen."""
_MOST_SETTLING, _AS_MUCH = 12, 0.97
"""Rounds in which a finished mesh is drawn to its lines; share of the most sides seen in any that is as much."""


@dataclass(frozen=True, eq=False)
class Fit:
    """A mesh with its measured sides."""

    nodes: Nodes
    level: Sides
    upright: Sides
    height: float

    @cached_property
    def pitch(self) -> float:
        """Usual side of a square, pixels."""
        down = np.diff(self.nodes, axis=0).reshape(-1, 2)
        right = np.diff(self.nodes, axis=1).reshape(-1, 2)
        return float(np.median(np.hypot(*down.T)) + np.median(np.hypot(*right.T))) / 2

    @property
    def squares(self) -> tuple[int, int]:
        """Squares (rows, cols)."""
        return self.nodes.shape[0] - 1, self.nodes.shape[1] - 1

    @cached_property
    def known(self) -> tuple[BoolArray, BoolArray]:
        """Sides that can be judged: level (n + 1, m), upright (m + 1, n)."""
        return judged_sides(self.level, self.height), judged_sides(self.upright, self.height)

    @cached_property
    def clear(self) -> tuple[BoolArray, BoolArray]:
        """Sides with no ink near them: level (n + 1, m), upright (m + 1, n)."""
        return clear_sides(self.level, self.height), clear_sides(self.upright, self.height)

    @cached_property
    def even(self) -> tuple[BoolArray, BoolArray]:
        """Sides round which all is alike, paper in a shadow, too: level (n + 1, m), upright (m + 1, n)."""
        out = []
        for sides in (self.level, self.upright):
            least = float(np.quantile(sides.rough[sides.inside], 0.25)) if sides.inside.any() else 0.0
            out.append(np.asarray(sides.inside & (sides.rough < 2.0 * least + 0.04)))
        return out[0], out[1]

    @cached_property
    def gaps(self) -> tuple[BoolArray, BoolArray]:
        """Sides along which paper shows between fills: level (n + 1, m), upright (m + 1, n)."""
        out = []
        for sides, even in zip((self.level, self.upright), self.even, strict=True):
            fair = sides.inside & even & (sides.gap > max(_GAP * self.height, 3 * sides.noise))
            fair &= (sides.gap > sides.height) & (np.abs(sides.gap_offset) < 0.28)
            out.append(fair & coherent(fair, fair, sides.gap_offset))
        return out[0], out[1]

    @cached_property
    def seen(self) -> tuple[BoolArray, BoolArray]:
        """Sides that show a line, on paper or between fills: level (n + 1, m), upright (m + 1, n)."""
        return self.good[0] | self.gaps[0], self.good[1] | self.gaps[1]

    @cached_property
    def good(self) -> tuple[BoolArray, BoolArray]:
        """Sides that show a line: level (n + 1, m), upright (m + 1, n).

        A side counts only where, round about, both families show: wood grain, ruled lines and the edge of the
        sheet have one direction only.
        """
        out = []
        for sides, clear, even in zip((self.level, self.upright), self.clear, self.even, strict=True):
            fair = sides.inside & (sides.height > max(0.4 * self.height, 3 * sides.noise))
            fair &= np.abs(sides.offset) < 0.28
            # beside paper that shows between fills, the fills are darker on both sides
            fair &= ~(even & (sides.gap > sides.height))
            out.append(fair & coherent(fair, clear, sides.offset))
        shares = []
        for shown, judged in zip(out, self.known, strict=True):
            share = filters.box(shown, 5) / (filters.box(judged | shown, 5) + 0.04)
            shares.append(np.pad(share, ((0, 0), (0, 1)), mode="edge"))
        both = np.minimum(shares[0], shares[1].T) > 0.3
        return out[0] & both[:, :-1], out[1] & both.T[:, :-1]


def measure(image: Sight, nodes: Nodes, average: int = 3, reach: float = 0.3) -> Fit:
    """Measure both families of lines; see `sides.measure_sides`."""
    level = measure_sides(image, nodes, average, reach)
    upright = measure_sides(image, nodes.transpose(1, 0, 2), average, reach)
    return Fit(nodes, level, upright, float(np.median([line_height(level), line_height(upright)])))


def _terms(r: npt.NDArray[np.float64], c: npt.NDArray[np.float64], degrees: tuple[int, int]) -> npt.NDArray[np.float64]:
    """Return the powers of r and of c up to a degree each, and their products up to the lower one."""
    powers = [[np.ones_like(x)] for x in (r, c)]
    for x, known, degree in zip((r, c), powers, degrees, strict=True):
        for _ in range(degree):
            known.append(known[-1] * x)
    most = min(degrees)
    both = [(p, q) for p in range(degrees[0] + 1) for q in range(degrees[1] + 1) if p + q <= most or not (p and q)]
    return np.stack([powers[0][p] * powers[1][q] for p, q in both], axis=-1)


def _robust_polynomial(
    r: npt.NDArray[np.float64],
    c: npt.NDArray[np.float64],
    value: npt.NDArray[np.float64],
    weight: npt.NDArray[np.float64],
    degrees: tuple[int, int],
    still: npt.NDArray[np.float64],
) -> npt.NDArray[np.float64]:
    """Fit by reweighting (Tukey's biweight on the residual's median).

    ``still`` (K, terms) are the terms at all sides: where nothing is seen the crossings stay where they are.
    """
    terms = _terms(r, c, degrees)
    stay = _STILL * (still.T @ still) + np.eye(terms.shape[1]) * 1e-3
    w = weight.copy()
    fitted: npt.NDArray[np.float64] = np.zeros(terms.shape[1])
    for _ in range(6):
        weighted = terms * w[:, None]
        fitted = np.asarray(np.linalg.solve(weighted.T @ terms + stay, weighted.T @ value), dtype=np.float64)
        miss = np.abs(value - terms @ fitted)
        scale = max(0.02, 3 * float(np.median(miss[weight > 0])) if (weight > 0).any() else 0.1)
        w = weight * np.maximum(0, 1 - (miss / (1.5 * scale)) ** 2) ** 2
    return fitted


def _degree(squares: float) -> int:
    return 1 if squares < 9 else 2 if squares < 16 else 3 if squares < 28 else 4


def _degrees(rows: float, cols: float) -> tuple[int, int]:
    """Return the degrees down and right: a strip of few rows may bend along its length as a large sheet does."""
    least = _degree(min(rows, cols))
    strip = least == 1 and max(rows, cols) > _STRIP * min(rows, cols)
    return (_degree(rows), _degree(cols)) if strip else (least, least)


def _moved(fit: Fit, down: npt.NDArray[np.float64], right: npt.NDArray[np.float64]) -> Nodes:
    return np.asarray(
        fit.nodes + down[..., None] * np.gradient(fit.nodes, axis=0) + right[..., None] * np.gradient(fit.nodes, axis=1)
    )


def polynomial_step(fit: Fit) -> Nodes:
    """Move the crossings by polynomial offsets fitted to the sides that show a line."""
    n, m = fit.squares
    rr, cc = np.mgrid[0 : n + 1, 0 : m + 1].astype(np.float64)
    scale = max(n, m) / 2
    moved = []
    for number, sides in enumerate((fit.level, fit.upright)):
        line, side = np.nonzero(fit.good[number])
        if len(line) < 8:
            moved.append(np.zeros((n + 1, m + 1)))
            continue
        along = side + 0.5
        rows, cols = (line.astype(float), along) if number == 0 else (along, line.astype(float))
        degrees = _degrees(float(np.ptp(rows)) + 1, float(np.ptp(cols)) + 1)
        r, c = np.asarray((rows - n / 2) / scale), np.asarray((cols - m / 2) / scale)
        weight = np.minimum(sides.height[line, side] / max(fit.height, 1e-6), 1.5)
        weight *= np.where(fit.even[number][line, side], 1.0, _UNEVEN)
        seen_part = 1.0
        if len(line) > 3000:  # a smooth surface of at most 15 terms needs no more
            every = len(line) // 1500
            seen_part = 1.0 / every
            r, c, line, side, weight = r[::every], c[::every], line[::every], side[::every], weight[::every]
        everywhere = _terms((rr - n / 2) / scale, (cc - m / 2) / scale, degrees)
        every = 1 if rr.size < 3000 else 2
        still = everywhere[::every, ::every].reshape(-1, everywhere.shape[-1]) * every * seen_part**0.5
        fitted = _robust_polynomial(r, c, sides.offset[line, side], weight, degrees, still)
        value = everywhere @ fitted
        moved.append(np.clip(value, -0.5, 0.5))
    return _moved(fit, moved[0], moved[1])


def local_step(fit: Fit, reach: float, close: bool = False) -> Nodes:
    """Move the crossings by local planes through the offsets, fitted over about ``reach`` squares.

    With ``close`` lines between marks count only where they lie close to the mesh: a bar of a mark may be darker.
    """
    moved = []
    for number, sides in enumerate((fit.level, fit.upright)):
        strong = np.minimum(sides.height / max(fit.height, 1e-6), 1.5)
        evenly = np.where(fit.clear[number], 1.0, _BESIDE_INK)
        weight = np.asarray(fit.good[number] * strong * np.where(fit.even[number], evenly, _UNEVEN), dtype=np.float64)
        offset = sides.offset
        if close:
            among = ~fit.even[number]
            weight[among & np.isnan(sides.peaked)] = 0.0
            offset = np.where(among, np.nan_to_num(sides.peaked), offset)
        gaps = fit.gaps[number]
        offset, weight = np.where(gaps, sides.gap_offset, offset), np.where(gaps, 1.0, weight)
        for _ in range(2):
            weight *= np.abs(offset - _local_plane(offset, weight, reach)) < 0.12
        mean = _local_plane(offset, weight, reach)
        # from the middles of sides to crossings
        at = np.pad(mean, ((0, 0), (1, 1)), mode="edge")
        value = 0.5 * (at[:, :-1] + at[:, 1:])
        moved.append(value if number == 0 else value.T)
    return _moved(fit, moved[0], moved[1])


def _local_plane(
    offset: npt.NDArray[np.float64], weight: npt.NDArray[np.float64], reach: float, level: float = _LEVEL
) -> npt.NDArray[np.float64]:
    """Return the value, at each side, of the plane that fits the weighted offsets round about.

    A plain average falls behind at the corners of a sheet seen through a lens, where offsets only rise. Where little
    is seen the plane becomes level and then nothing.
    """
    r, c = np.indices(offset.shape) / reach
    masses = (np.ones_like(r), r, c, r * r, r * c, c * c)
    m0, mr, mc, mrr, mrc, mcc = (filters.gaussian(weight * k, reach) for k in masses)
    t0, tr, tc = (filters.gaussian(weight * offset * k, reach) for k in masses[:3])
    # moments about each side itself
    sr, sc = mr - r * m0, mc - c * m0
    srr, src, scc = (
        mrr - 2 * r * mr + r * r * m0, mrc - r * mc - c * mr + r * c * m0, mcc - 2 * c * mc + c * c * m0
    )  # fmt: skip
    pr, pc = tr - r * t0, tc - c * t0
    s0, srr, scc = m0 + 0.02, srr + level, scc + level
    # the value at the middle by elimination of the two slopes
    rest = srr * scc - src * src
    slope_r, slope_c = (sr * scc - sc * src) / rest, (sc * srr - sr * src) / rest
    return np.asarray((t0 - slope_r * pr - slope_c * pc) / np.maximum(s0 - slope_r * sr - slope_c * sc, 0.02))


def _at_crossings(fit: Fit, among: float) -> npt.NDArray[np.float64]:
    """Return (n + 1, m + 1) how well lines of both families are seen round each crossing, 0 to 1.

    Lines between marks count by as much as ``among``.
    """
    parts = []
    for number, shown in enumerate(fit.seen):
        near = np.pad(
            filters.gaussian(shown * np.where(fit.even[number], 1.0, among), 1.2), ((0, 0), (1, 1)), mode="edge"
        )
        crossing = 0.5 * (near[:, :-1] + near[:, 1:])
        parts.append(crossing if number == 0 else crossing.T)
    return np.sqrt(np.maximum(parts[0] * parts[1], 0.0))


def relaxed(fit: Fit, nodes: Nodes, among: float = 0.1) -> Nodes:
    """Return moved crossings with those that stand on little evidence brought in line with all others.

    The sheet is smooth: a polynomial through the crossings that lines are seen round, outliers left out, says where
    the hidden ones are. So a mesh that grew round a large filled patch meets itself again behind it. Lines between
    marks count by as much as ``among``.
    """
    seen = _at_crossings(fit, among)
    at = np.argwhere(seen > 0.25)
    if len(at) < 40:
        return nodes
    spans = np.ptp(at, axis=0) + 1
    degrees = _degrees(float(spans[0]), float(spans[1]))
    middle, scale = at.mean(axis=0), max(spans) / 2
    rr, cc = np.indices(seen.shape).astype(np.float64)
    terms = _terms((rr - middle[0]) / scale, (cc - middle[1]) / scale, degrees)
    every = max(1, len(at) // 1500)
    some = tuple(at[::every].T)
    rows, points, base = terms[some], nodes[some], seen[some]
    ridge = np.eye(rows.shape[1]) * 1e-6
    weight = base.copy()
    fitted = np.zeros((rows.shape[1], 2))
    for _ in range(8):
        weighted = rows * weight[:, None]
        fitted = np.linalg.solve(weighted.T @ rows + ridge, weighted.T @ points)
        miss = np.hypot(*(points - rows @ fitted).T) / fit.pitch
        reach = max(0.15, 4.0 * float(np.median(miss)))
        weight = base * np.maximum(0, 1 - (miss / reach) ** 2) ** 2
    surface = terms @ fitted
    apart = nodes - surface
    trust = np.where(np.hypot(apart[..., 0], apart[..., 1]) < max(reach, 0.8) * fit.pitch, np.clip(seen * 2, 0, 1), 0.0)
    near = np.stack([_local_plane(apart[..., k], trust, 3.0, _CURL) for k in (0, 1)], axis=-1)
    return np.asarray(surface + near + trust[..., None] * (apart - near))


def extend(nodes: Nodes, grow: tuple[int, int, int, int]) -> Nodes:
    """Add rows or columns of crossings outside: top, left, bottom, right.

    They go on as a flat sheet seen by a camera does, whose squares become narrower evenly; by how much the crossings
    there are do otherwise goes on evenly.
    """
    for number, count in enumerate(grow):
        if count:
            turned, flipped = number % 2 == 1, number < 2
            block = nodes.transpose(1, 0, 2) if turned else nodes
            block = block[::-1] if flipped else block
            block = _below(block, count)
            block = block[::-1] if flipped else block
            nodes = block.transpose(1, 0, 2) if turned else block
    return np.ascontiguousarray(nodes)


def _below(nodes: Nodes, count: int) -> Nodes:
    """Return the crossings with ``count`` more rows after the last."""
    n = nodes.shape[0]
    flat = _flat_view(nodes, count)
    old = nodes - flat[:-count]
    reach = min(5, n - 1)
    pace = _pace(old[-1] - old[-1 - reach]) / reach
    more = old[-1] + pace * np.arange(1, count + 1)[:, None, None]
    return np.concatenate([nodes, more + flat[-count:]])


def _flat_view(nodes: Nodes, count: int) -> Nodes:
    """Return the crossings, and ``count`` rows more, of the flat sheet in perspective that lies closest to a mesh.

    Few crossings say too little about the perspective: for them all is nothing.
    """
    n, m = nodes.shape[:2]
    if min(n, m) < _FEWEST_IN_PERSPECTIVE:
        return np.zeros((n + count, m, 2))
    weight = np.zeros((n + count, m))
    weight[:n:2, :: max(1, m // 12)] = 1.0
    return flat_sheet(np.concatenate([nodes, np.zeros((count, m, 2))]), weight)


def _pace(step: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Even out the steps (n, 2) of neighbouring crossings: what one of them says alone may be a mistake."""
    return np.stack([filters.gaussian(step[:, k : k + 1], 2.0, edge=True)[:, 0] for k in (0, 1)], axis=-1)


def side_support(fit: Fit, edge: str, depth: int = 2) -> tuple[float, float]:
    """Return (share of sides that show a line, share that could be judged) among the outermost squares of an edge."""
    level, upright = fit.seen
    cut = {
        "top": (np.s_[:depth, :], np.s_[:, :depth]),
        "bottom": (np.s_[-depth:, :], np.s_[:, -depth:]),
        "left": (np.s_[:, :depth], np.s_[:depth, :]),
        "right": (np.s_[:, -depth:], np.s_[-depth:, :]),
    }[edge]
    shown = np.concatenate([level[cut[0]].ravel(), upright[cut[1]].ravel()])
    judged, even = (np.concatenate([pair[k][cut[k]].ravel() for k in (0, 1)]) for pair in (fit.known, fit.even))
    total = shown.size
    inside = int(fit.level.inside[cut[0]].sum() + fit.upright.inside[cut[1]].sum())
    support = shown.sum() / judged.sum() if judged.any() else 1.0
    # pale marks all along hide the lines but for a few bare squares beside and between
    bare = judged & even
    if bare.sum() >= max(_FEWEST_BARE, _BARE * total):
        support = max(support, (shown & bare).sum() / bare.sum())
    return float(support), inside / total


def grow(
    image: Sight,
    fit: Fit,
    most_steps: int = 80,
    most_side: int = 420,
    patience: int = 3,
    close: bool = False,
    average: int = 3,
) -> Fit:
    """Grow a mesh as far as lines are found.

    Returns
    -------
    fit : Fit
        It reaches a few squares beyond the last lines.
    """
    misses = {"top": 0, "left": 0, "bottom": 0, "right": 0}
    for _ in range(most_steps):
        n, m = fit.squares
        step = 2 if min(n, m) < 14 else 3 if min(n, m) < 60 else 6
        grow_by = []
        for edge in ("top", "left", "bottom", "right"):
            side = n if edge in ("top", "bottom") else m
            if misses[edge] < patience:
                support, seen = side_support(fit, edge, step)
                misses[edge] = patience if seen < 0.08 else misses[edge] + 1 if support < 0.3 else 0
                if misses[edge] > 1 and misses[edge] * step >= _FAR_ENOUGH:
                    misses[edge] = patience
            grow_by.append(step if misses[edge] < patience and side < most_side else 0)
        if not any(grow_by):
            break
        nodes = relaxed(fit, local_step(fit, 3.0)) if close else polynomial_step(fit)
        fit = measure(image, extend(nodes, (grow_by[0], grow_by[1], grow_by[2], grow_by[3])), average)
    return fit


def cropped(fit: Fit) -> Nodes:
    """Return the crossings without the rows and columns that lie far beyond the last lines."""
    ends = []
    for turned in (False, True):
        shown, judged = (_along_rows(pair, turned) for pair in (fit.seen, fit.known))
        bare, bare_shown = (_along_rows(pair, turned) for pair in _bare_sides(fit))
        most = fit.nodes.shape[0 if turned else 1]
        by_bare = (bare_shown >= 0.3 * bare) & (bare >= max(_FEWEST_BARE, _BARE * 3 * most))
        lined = np.flatnonzero(((shown >= 0.3 * judged) | by_bare) & (shown > 0.04 * most))
        low, high = (int(lined[0]), int(lined[-1]) + 1) if lined.size else (0, len(shown))
        ends.append(slice(max(0, low - _SPARE), high + _SPARE + 1))
    return np.ascontiguousarray(fit.nodes[ends[0], ends[1]])


def _bare_sides(fit: Fit) -> tuple[tuple[BoolArray, BoolArray], tuple[BoolArray, BoolArray]]:
    """Return the sides on bare paper, level and upright, and those of them that show a line."""
    bare = fit.known[0] & fit.even[0], fit.known[1] & fit.even[1]
    return bare, (bare[0] & fit.seen[0], bare[1] & fit.seen[1])


def _along_rows(pair: tuple[BoolArray, BoolArray], turned: bool) -> npt.NDArray[np.int64]:
    """Return for each row of squares (each column, if ``turned``) how many of its sides are among these."""
    ends, leads = (pair[1], pair[0]) if turned else pair
    return np.asarray(ends[:-1].sum(axis=1) + ends[1:].sum(axis=1) + leads.sum(axis=0), dtype=np.int64)


def line_mix(dense: FloatArray, fit: Fit) -> FloatArray:
    """Return the mix of channels of ``dense``, the mesh's own picture, in which its lines stand out most."""
    heights, spreads = [], []
    for channel in range(3):
        image = np.ascontiguousarray(dense[:, :, channel])
        sight = Sight(image, image)
        level = measure_sides(sight, fit.nodes, 1, 0.05)
        upright = measure_sides(sight, fit.nodes.transpose(1, 0, 2), 1, 0.05)
        values = np.concatenate([level.height[fit.good[0]], upright.height[fit.good[1]]])
        heights.append(float(np.median(values)) if values.size else 0.0)
        spreads.append(0.5 * (level.noise + upright.noise) + 0.002)
    return mix(np.array(heights), np.array(spreads))


def averaging(fit: Fit) -> int:
    """Return over how many sides of a line to average: more where the lines hardly stand out from the grain."""
    contrast = fit.height / max(fit.level.noise, fit.upright.noise)
    return 3 if contrast > 7 else 5 if contrast > 4.5 else 7


def settle(image: Sight, fit: Fit, average: int = 3) -> Fit:
    """Fit the finished mesh closely: polynomial first, then ever more local averages until the lines are met.

    Between marks what is taken for lines may draw it off again: the last round that shows about the most is kept.
    """
    nodes = polynomial_step(fit)
    before = 1.0
    rounds: list[tuple[int, Fit]] = []
    for number in range(_MOST_SETTLING):
        fit = measure(image, nodes, average)
        rounds.append((int(fit.good[0].sum() + fit.good[1].sum()), fit))
        if number >= 4:
            miss = _worst_miss(fit)
            if miss < 0.05 or miss > 0.9 * before:
                break
            before = miss
        # what was taken for lines between marks while the mesh grew may have drawn it off: begin with the paper alone
        nodes = relaxed(fit, local_step(fit, 3.0 if number < 2 else 2.0, close=True), 0.0 if number == 0 else 0.1)
    most = max(shown for shown, _fit in rounds)
    return next(fit for shown, fit in reversed(rounds) if shown >= _AS_MUCH * most)


def straightened(image: Sight, fit: Fit, average: int = 3) -> Fit:
    """Return a finished mesh, or the one that a flat sheet through its surest crossings settles to, if that is better.

    Where no paper shows over many squares, a mesh may follow what is no line, away from the true ones and back. From
    the flat sheet that all paper agrees on it does not; of a sheet that is not flat, the lines draw it to them again.
    """
    trust = np.clip(2.0 * _at_crossings(fit, 0.0), 0.0, 1.0)
    sure = trust > 0.5
    if min(fit.nodes.shape[:2]) < _FEWEST_IN_PERSPECTIVE or sure.sum() < _FEWEST_SURE:
        return fit
    if roughness(fit) < _SMOOTH or _hidden(sure) < _MUCH_HIDDEN:
        return fit
    other = settle(image, measure(image, flat_sheet(fit.nodes, trust, robust=True), average), average)
    old, new = _shown_on_paper(fit), _shown_on_paper(other)
    if old < _FEWEST_SHOWN:
        return fit
    smoother = roughness(other) < _SMOOTHER * roughness(fit)
    return other if new > _SURELY_MORE * old or (smoother and new > _NO_LESS * old) else fit


def _hidden(sure: BoolArray) -> float:
    """Return the share of the crossings amid ``sure`` ones that lie more than two squares from any."""
    amid = filters.lowest(filters.highest(sure, _AMID), _AMID) > 0
    return float((amid & ~filters.widened(sure, 2)).sum()) / max(1, int(amid.sum()))


def _shown_on_paper(fit: Fit) -> int:
    """Return how many more sides show a line than do not, of those as light as the lightest within many squares.

    Only where lines are seen round about: the margin of the sheet shows none.
    """
    total = 0
    for sides, good in zip((fit.level, fit.upright), fit.good, strict=True):
        paper = filters.lowest(filters.median3(np.where(sides.inside, sides.ink, np.inf)), _FAR)
        clear = sides.inside & (sides.ink < paper + max(0.7 * fit.height, 0.05))
        near = filters.box(good & clear, 7) > 0.4 * filters.box(clear, 7)
        total += int((good & clear).sum()) - int((clear & near & ~good).sum())
    return total


def roughness(fit: Fit) -> float:
    """Return how much the step from crossing to crossing usually changes, as part of a square."""
    bends = [np.hypot(*np.diff(fit.nodes, 2, axis=axis).reshape(-1, 2).T).mean() for axis in (0, 1)]
    return float(sum(bends)) / fit.pitch


def _worst_miss(fit: Fit) -> float:
    """Return by how much, as part of a square, the mesh misses a whole neighbourhood of lines somewhere."""
    worst = 0.0
    for number, sides in enumerate((fit.level, fit.upright)):
        seen = fit.good[number] * np.where(fit.even[number], 1.0, 0.3)
        weight = filters.gaussian(seen, 1.5)
        mean = filters.gaussian(seen * sides.offset, 1.5) / (weight + 0.02)
        worst = max(worst, float(np.abs(mean[weight > 0.2]).max(initial=0.0)))
    return worst


def astray(fit: Fit) -> BoolArray:
    """Return (n, m) squares near which the mesh misses the lines, or on clean paper without any: it may be wrong."""
    n, m = fit.squares
    at = np.zeros((n + 1, m + 1), bool)
    for number, sides in enumerate((fit.level, fit.upright)):
        good, paper = fit.good[number], fit.known[number] & fit.even[number]
        bare = filters.box(paper & ~good, 3) > 2.5 * filters.box(good, 3) + 0.3
        weight = filters.box(good, 3)
        missed = (np.abs(filters.box(np.where(good, sides.offset, 0.0), 3)) > 0.15 * weight) & (weight > 0.3)
        wrong = np.pad((bare & sides.inside) | missed, ((0, 0), (0, 1)))
        wrong[:, 1:] |= wrong[:, :-1].copy()
        at |= wrong if number == 0 else wrong.T
    return np.asarray(at[1:, 1:] | at[:-1, 1:] | at[1:, :-1] | at[:-1, :-1])


def quality(fit: Fit) -> float:
    """Return how well a mesh explains the picture, to choose between candidates.

    It is the area on which lines are seen, in pixels of the mesh's picture, times the cube of the share of sides that
    show one, times the contrast (capped).
    """
    shown = fit.good[0].sum() + fit.good[1].sum()
    contrast = min(1.0, fit.height / max(fit.level.noise, fit.upright.noise, 1e-6) / 8)
    return float(shown) * share_shown(fit) ** 3 * contrast * fit.pitch**2


def share_shown(fit: Fit) -> float:
    """Return the share of sides on clean paper that show a line, where lines are shown at all round about.

    The margin of the sheet does not count; a line missing between two that are there does.
    """
    total = shown_total = 0.0
    for shown, judged in zip(fit.good, fit.known, strict=True):
        known = judged | shown
        region = filters.box(shown, 5) > 0.25 * filters.box(known, 5)
        total += float((known & region).sum())
        shown_total += float((shown & region).sum())
    return shown_total / max(1.0, total)


def share_on_paper(fit: Fit) -> float:
    """Return the share of sides on even paper that show a line, wherever the mesh shows any within a few squares."""
    total = shown_total = 0.0
    for shown, judged, even in zip(fit.good, fit.known, fit.even, strict=True):
        known = (judged | shown) & even & (filters.box(shown, 9) > 0.1)
        total += float(known.sum())
        shown_total += float((shown & known).sum())
    return shown_total / max(1.0, total)
