"""Work out how near to exact vector drawings any chain of backstitches can lie, and what each rule costs.

    python scripts/outline_floor.py --icons FOLDER [--set tune|report] [--drawings 12] [--widths 30,60] [--seed WORD]

Each curve of the truth gets the chain of legal backstitches that has the least mean distance from the truth, by
dynamic programming over holes near it, with a free choice of holes; and the least distance that 95 % of such a
chain can keep within. Where strokes meet, how they share holes, and how many chains there are is left out: real
suggestions can only be farther off. Then one rule after another is added:

- lines along an axis stay on one line of holes;
- all straight lines are balanced words of two neighbouring steps;
- no turn that the curve does not make, shared holes, whole words: the fit of `suggest_lines` on the exact curves;
- reading the picture, with and without making symmetric drawings symmetric.

Ratios such as a mean are made least by Dinkelbach's method (W. Dinkelbach, On nonlinear fractional programming, 1967).
"""

from __future__ import annotations

import argparse
import itertools
import sys
from dataclasses import dataclass
from pathlib import Path

import bench_outline as bench
import cv2
import numpy as np
from scipy.spatial import cKDTree

from converter.outline import suggest as suggest_module
from converter.outline.lattice import STEPS, straight_words
from converter.outline.simplify import curve_length, resample_curve, simplify_curve
from converter.outline.symmetry import close_group

SPACING = 0.1
REACH = 1.0
"""Holes farther than this from the curve are not tried."""
INSET = 1.25
"""What lies nearer to the end of a straight line is not asked to be regular."""
LONG = 6.0
"""Shorter lines are not asked to be regular, in stitches."""


@dataclass
class Graph:
    """Backstitches, or whole words of them, that lead along one curve."""

    places: list[int]
    holes: np.ndarray
    edges: list[list[tuple[int, float, float, np.ndarray]]]
    """For each state: the next one, the length, the sum of distances, all distances at points `SPACING` apart."""
    count: int
    closed: bool


def straight_stretches(points: np.ndarray, axis_only: bool) -> list[tuple[int, int]]:
    """Return first and last index of the part of each straight line that has to be regular."""
    corners = simplify_curve(points, 0.02)
    tree = cKDTree(points)
    stretches, low = [], 0
    for a, b in itertools.pairwise(corners):
        length = float(np.hypot(*(b - a)))
        first = low
        low = low + round(length / SPACING)
        if length < LONG or (axis_only and np.abs(b - a).min() > 0.01 * length):
            continue
        first = int(tree.query(a + (b - a) * INSET / length)[1])
        last = int(tree.query(b - (b - a) * INSET / length)[1])
        if first < last:
            stretches.append((first, last))
    return stretches


def make_graph(points: np.ndarray, columns: int, near: cKDTree, closed: bool, rule: str) -> Graph | None:
    """Return the moves along a curve that a rule allows: ``free``, ``axis`` or ``regular``."""
    stretches = [] if rule == "free" else straight_stretches(points, rule == "axis")
    if closed and stretches:
        # Begin where no straight line is cut.
        busy = np.zeros(len(points), dtype=bool)
        for a, b in stretches:
            busy[a : b + 1] = True
        start = int(np.argmin(busy[:-1]))
        points = np.concatenate([points[start:-1], points[: start + 1]])
        stretches = straight_stretches(points, rule == "axis")
    size = len(points)
    base = np.floor(points).astype(int)
    options: dict[tuple[int, int], list[tuple[float, int]]] = {}
    for down, right in itertools.product((-1, 0, 1, 2), repeat=2):
        holes = base + np.array([down, right])
        away = np.hypot(*(holes - points).T)
        for k in np.nonzero((away <= REACH) & (holes >= 0).all(axis=1) & (holes <= columns).all(axis=1))[0].tolist():
            options.setdefault((int(holes[k, 0]), int(holes[k, 1])), []).append((float(away[k]), k))
    states = []
    for hole, found in options.items():
        found.sort(key=lambda item: item[1])
        group: list[tuple[float, int]] = []
        for away, k in [*found, (0.0, 10**9)]:
            if group and k - group[-1][1] > 8:
                # Places before and after the nearest one let a chain cut a corner.
                best = min(group)[1]
                states += [(place, hole) for place in {best, group[0][1], group[-1][1], (best + group[0][1]) // 2}]
                group = []
            group.append((away, k))
    if closed:
        states = [state for state in states if 0 < state[0] < size - 1]
        states += [
            (place, hole)
            for hole, found in options.items()
            for place in (0, size - 1)
            if any(k in (0, size - 1) for _, k in found)
        ]
    states = sorted(set(states))
    number: dict[tuple[int, int], list[int]] = {}
    for k, (_, hole) in enumerate(states):
        number.setdefault(hole, []).append(k)

    def priced(holes: np.ndarray) -> tuple[float, float, np.ndarray]:
        line = np.concatenate(
            [
                resample_curve(part.astype(float), SPACING)
                for part in itertools.pairwise(holes)
                for part in [np.array(part)]
            ]
        )
        away = near.query(line)[0]
        return float(np.hypot(*np.diff(holes, axis=0).T).sum()), float(away.mean()), away

    cache: dict[tuple[tuple[int, int], tuple[int, int]], tuple[float, float, np.ndarray]] = {}
    edges: list[list[tuple[int, float, float, np.ndarray]]] = []
    for place, hole in states:
        inside = next(((a, b) for a, b in stretches if a < place < b), None)
        out = []
        for step in sorted(STEPS):
            target = (hole[0] + step[0], hole[1] + step[1])
            for other in number.get(target, ()):
                gain = (states[other][0] - place) * SPACING
                length = float(np.hypot(*step))
                if not 0.3 * length <= gain <= length + 1.5:
                    continue
                way = points[states[other][0]] - points[place]
                if way @ np.array(step) <= 0:
                    continue
                if rule == "axis":
                    met = [(a, b) for a, b in stretches if a < states[other][0] and b > place]
                    if any(
                        not (np.array(step) == 0).any()
                        or np.abs((points[b] - points[a]) @ np.array(step)) < 0.5 * np.hypot(*(points[b] - points[a]))
                        for a, b in met
                    ):
                        continue
                elif rule == "regular" and any(a < states[other][0] and b > place for a, b in stretches):
                    continue
                if (hole, target) not in cache:
                    cache[hole, target] = priced(np.array([hole, target]))
                out.append((other, *cache[hole, target]))
        if rule == "regular" and inside is None:
            for a, b in stretches:
                if not a - 14 <= place <= a:
                    continue
                for other in range(len(states)):
                    if not b <= states[other][0] <= b + 14:
                        continue
                    vector = (states[other][1][0] - hole[0], states[other][1][1] - hole[1])
                    way = points[b] - points[a]
                    if vector == (0, 0) or abs(way[0] * vector[1] - way[1] * vector[0]) > 1.6 * np.hypot(*way):
                        continue
                    words = straight_words(vector)
                    tried = [priced(np.array(hole) + word) for word in words[: min(len(words), 6)]]
                    out.append((other, *min(tried, key=lambda item: item[1])))
        edges.append(out)
    if not states:
        return None
    return Graph([place for place, _ in states], np.array([hole for _, hole in states]), edges, size, closed)


def cheapest(graph: Graph, worth: float, far: float | None) -> tuple[float, float, list[np.ndarray]]:
    """Return length, price and distances of the chain with the least price less ``worth`` times length.

    The price is the sum of distances or, with ``far``, the length farther than that.
    """
    order = range(len(graph.places))
    starts = [k for k in order if graph.places[k] <= (0 if graph.closed else 5)]
    best: tuple[float, float, float, list[np.ndarray]] | None = None
    groups = [[k] for k in starts] if graph.closed else [starts]
    weights = [
        [
            (other, length, length * (mean if far is None else float((away > far).mean())))
            for other, length, mean, away in out
        ]
        for out in graph.edges
    ]
    for group in groups:
        total = [np.inf] * len(graph.places)
        before: list[tuple[int, int] | None] = [None] * len(graph.places)
        for k in group:
            total[k] = 0.0
        for k in order:
            if total[k] == np.inf:
                continue
            for index, (other, length, price) in enumerate(weights[k]):
                value = total[k] + price - worth * length
                if value < total[other]:
                    total[other], before[other] = value, (k, index)
        ends = [
            k
            for k in order
            if graph.places[k] >= graph.count - (1 if graph.closed else 6)
            and total[k] < np.inf
            and before[k] is not None
            and (not graph.closed or (graph.holes[k] == graph.holes[group[0]]).all())
        ]
        if not ends:
            continue
        end = min(ends, key=lambda k: total[k])
        if best is None or total[end] < best[0]:
            at, length, price, away = end, 0.0, 0.0, []
            while before[at] is not None:
                k, index = before[at]  # type: ignore[misc]
                length += weights[k][index][1]
                price += weights[k][index][2]
                away.append(graph.edges[k][index][3])
                at = k
            best = (total[end], length, price, away)
    return (0.0, 0.0, []) if best is None else best[1:]


def least_mean(graphs: list[Graph]) -> tuple[float, float]:
    """Return the least mean distance, and the 95th percentile of that chain."""
    worth = 0.2
    for _ in range(8):
        found = [cheapest(graph, worth, None) for graph in graphs]
        length, price = sum(f[0] for f in found), sum(f[1] for f in found)
        if length == 0:
            return np.nan, np.nan
        if abs(price / length - worth) < 1e-4:
            break
        worth = price / length
    away = np.concatenate([a for f in found for a in f[2]])
    return price / length, float(np.quantile(away, 0.95))


def least_p95(graphs: list[Graph]) -> float:
    """Return the least distance within which 95 % of the length can lie, to a hundredth."""
    low, high = 0.0, 0.71
    while high - low > 0.01:
        middle = (low + high) / 2
        found = [cheapest(graph, 0.05, middle) for graph in graphs]
        if sum(f[1] for f in found) <= 0.05 * sum(f[0] for f in found):
            high = middle
        else:
            low = middle
    return high


def without_symmetry(picture: np.ndarray, columns: int) -> np.ndarray:
    """Return the suggestion where no symmetry of the drawing is looked for."""
    kept = suggest_module.find_symmetry
    suggest_module.find_symmetry = lambda *_: close_group([])  # type: ignore[assignment]
    try:
        return bench.ours(picture, columns)
    finally:
        suggest_module.find_symmetry = kept


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--icons", type=Path, required=True)
    parser.add_argument("--set", default="report", choices=("tune", "report"))
    parser.add_argument("--drawings", type=int, default=12)
    parser.add_argument("--seed", default="order")
    parser.add_argument("--widths", default="30,60")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    drawings = bench.load_drawings(options.icons, options.set, options.drawings, None, options.seed)
    rows: dict[bool, list[dict[str, tuple[float, float]]]] = {False: [], True: []}
    for drawing in drawings:
        for columns in map(int, options.widths.split(",")):
            truth = bench.make_truth(drawing, columns)
            row: dict[str, tuple[float, float]] = {}
            curves = [resample_curve(c * columns, SPACING) for c in drawing.curves if curve_length(c) * columns > 2]
            for rule in ("free", "axis", "regular"):
                graphs = [
                    graph
                    for curve in curves
                    if (
                        graph := make_graph(
                            curve, columns, truth.near, bool(np.hypot(*(curve[0] - curve[-1])) < 1e-6), rule
                        )
                    )
                ]
                mean, p95 = least_mean(graphs)
                row[rule] = (mean, p95)
                if rule != "axis":
                    row[rule + ", least p95"] = (np.nan, least_p95(graphs))
            for name, lines in (
                ("fit of the true curves", bench.fit_of_truth(drawing, columns)),
                ("suggestion, no symmetry", without_symmetry(drawing.picture, columns)),
                ("suggestion", bench.ours(drawing.picture, columns)),
            ):
                result = bench.measure(lines, truth, columns)
                row[name] = (result["mean"], result["p95"])
            rows[drawing.thick].append(row)
    for thick, found in rows.items():
        print(f"{'filled' if thick else 'stroke'} drawings, {len(found)} runs: mean, 95th percentile")
        for name in found[0] if found else ():
            mean, p95 = (
                np.nanmean(np.array([row[name] for row in found]), axis=0)
                if "least" not in name
                else (np.nan, np.nanmean([row[name][1] for row in found]))
            )
            print(f"    {name:28} {mean:.3f}  {p95:.3f}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
