"""Measure the working order of crosses and lines against the proven bound, beside two plain orders.

    python scripts/bench_thread.py [--icons FOLDER] [--set tune|report] [--drawings 12] [--sample] [--seed N]

FOLDER holds ``node_modules`` with @phosphor-icons/core, @tabler/icons and bootstrap-icons (npm, all MIT), rendered with
resvg. Without it only made-up charts and the horse of scikit-image are measured. The set ``tune`` is what the planner
was tried on while it was written, ``report`` the drawings and seeds that it had never seen.

``--sample`` prints shares of a large sample instead, every plan of it checked by ``tests/helpers/route_checker.py``.

Plain orders: *in turn* finishes each cross, row by row; *out and back* works each run of a row in half crosses out and
back, the nearest run next. Both are cut into lengths at the best places. All times are processor seconds on one core.
"""

from __future__ import annotations

import argparse
import sys
import time
import zlib
from collections.abc import Callable, Iterator
from io import BytesIO
from itertools import pairwise
from math import hypot
from pathlib import Path

import numpy as np
from PIL import Image
from scipy import ndimage
from skimage import data, measure, morphology, transform
from thread_bounds import CARRY, LENGTH, TAIL, closed_bound, double_bound, leg_bound, tile_bound, turn_bound
from thread_nets import nets

from converter.estimate.line_route import plan_line_thread
from converter.estimate.route import ThreadPlan, plan_thread
from converter.estimate.route_bound import thread_bound
from converter.estimate.route_cut import choose_directions, cut_lengths, move_table, taken_moves
from converter.estimate.route_geometry import ROOT2, Crosses, MoveRules
from converter.estimate.route_tree import SideGraph

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))
from helpers.line_checker import check_line_plan
from helpers.route_checker import check_cross_plan

# Charts


def render(path: Path, width: int) -> np.ndarray:
    """Return a drawing as cells, ``width`` wide, by area."""
    import resvg_py

    png = resvg_py.svg_to_bytes(svg_path=str(path), width=8 * width)
    alpha = np.asarray(Image.open(BytesIO(bytes(png))).convert("RGBA"), dtype=np.float32)[:, :, 3] / 255
    rows, cols = np.nonzero(alpha > 0.5)
    if not rows.size:
        return np.zeros((1, 1), dtype=bool)
    cut = alpha[rows.min() : rows.max() + 1, cols.min() : cols.max() + 1]
    height = max(1, round(width * cut.shape[0] / cut.shape[1]))
    return transform.resize(cut, (height, width), anti_aliasing=True) > 0.5


def chosen(paths: list[Path], which: str, count: int) -> list[Path]:
    """Return drawings of one half of a set, told apart by their names, spread over the alphabet."""
    half = [p for p in sorted(paths) if (zlib.crc32(p.name.encode()) % 2 == 0) == (which == "tune")]
    return half[:: max(1, len(half) // count)][:count]


def largest_piece(cells: np.ndarray) -> np.ndarray:
    """Return the largest group of cells that touch by their sides."""
    label, count = ndimage.label(cells)
    return label == np.bincount(label.ravel())[1:].argmax() + 1 if count else cells


def horse(width: int) -> np.ndarray:
    """Return the horse of scikit-image."""
    picture = ~data.horse()
    height = round(width * picture.shape[0] / picture.shape[1])
    return transform.resize(picture.astype(float), (height, width), anti_aliasing=True) > 0.5


def blob(rng: np.random.Generator, side: int, grain: float, share: float = 0.5) -> np.ndarray:
    """Return smoothed noise."""
    noise = ndimage.gaussian_filter(rng.random((side, side)), grain)
    return noise > np.quantile(noise, 1 - share)


def grown(rng: np.random.Generator, side: int, count: int) -> np.ndarray:
    """Return one piece with many thin arms, grown cell by cell."""
    cells = np.zeros((side, side), dtype=bool)
    cells[side // 2, side // 2] = True
    edge = [(side // 2, side // 2)]
    while count > 1 and edge:
        r, c = edge[int(rng.integers(len(edge)))]
        dr, dc = ((0, 1), (1, 0), (0, -1), (-1, 0))[int(rng.integers(4))]
        r, c = r + dr, c + dc
        if 0 < r < side - 1 and 0 < c < side - 1 and not cells[r, c]:
            near = int(cells[r - 1, c]) + int(cells[r + 1, c]) + int(cells[r, c - 1]) + int(cells[r, c + 1])
            if near == 1 or rng.random() < 0.05:
                cells[r, c] = True
                edge.append((r, c))
                count -= 1
    return cells


def icon_charts(
    base: Path | None, which: str, count: int, pattern: str, widths: tuple[int, ...]
) -> Iterator[np.ndarray]:
    """Yield icons as cells at several widths."""
    if base is None:
        return
    for number, path in enumerate(chosen(list((base / "node_modules").glob(pattern)), which, count)):
        yield render(path, widths[number % len(widths)])


# Plain orders


def in_turn(cells: np.ndarray) -> np.ndarray:
    """Return the order of legs that finishes each cross, row by row."""
    return np.arange(2 * int(cells.sum()))


def out_and_back(cells: np.ndarray) -> np.ndarray:
    """Return the order of legs that works each run of a row out and back, the nearest run next."""
    crosses = Crosses.of(cells)
    runs: list[list[int]] = []
    for k in range(crosses.count):
        if k and crosses.row[k] == crosses.row[k - 1] and crosses.col[k] == crosses.col[k - 1] + 1:
            runs[-1].append(k)
        else:
            runs.append([k])
    heads = np.array([[crosses.row[run[0]], crosses.col[run[0]]] for run in runs], dtype=float)
    tails = np.array([[crosses.row[run[-1]], crosses.col[run[-1]]] for run in runs], dtype=float)
    left = np.ones(len(runs), dtype=bool)
    legs: list[int] = []
    at = heads[0]
    for _ in runs:
        first, second = np.linalg.norm(heads - at, axis=1), np.linalg.norm(tails - at, axis=1)
        first[~left] = second[~left] = np.inf
        k = int(np.minimum(first, second).argmin())
        left[k] = False
        run = runs[k] if first[k] <= second[k] else runs[k][::-1]
        legs += [2 * c for c in run] + [2 * c + 1 for c in reversed(run)]
        at = heads[k] if first[k] <= second[k] else tails[k]
    return np.array(legs)


def measured(cells: np.ndarray, legs: np.ndarray) -> tuple[float, int]:
    """Return thread and starts of an order that is cut at the best places."""
    crosses, rules = Crosses.of(cells), MoveRules(cells, CARRY, False)
    table = move_table(crosses, rules, legs)
    moves = taken_moves(table, choose_directions(table, 2 * TAIL - 1))
    starts = cut_lengths(moves, LENGTH - 2 * TAIL, 2 * TAIL)
    kept = np.delete(moves, np.asarray(starts[1:], dtype=int) - 1) if len(starts) > 1 else moves
    return ROOT2 * legs.size + float(kept.sum()) + 2 * TAIL * len(starts), len(starts)


# Tables


def timed(call: Callable[[], ThreadPlan]) -> tuple[ThreadPlan, float]:
    """Return what a call gives and its processor seconds."""
    start = time.process_time()
    plan = call()
    return plan, time.process_time() - start


def table(name: str, charts: list[np.ndarray], sharper: Callable[[np.ndarray], float] | None = None) -> None:
    """Print one line for a set of charts: ratios to the bound, worst and mean, starts, seconds."""
    rows = []
    for cells in charts:
        if not cells.any():
            continue
        least, least_s = timed(lambda cells=cells: plan_thread(cells, order="least"))
        closed, closed_s = timed(lambda cells=cells: plan_thread(cells))
        bound = sharper(cells) if sharper else least.bound
        crosses = Crosses.of(cells)
        starts = thread_bound(crosses, SideGraph.of(crosses), MoveRules(cells, CARRY, False), LENGTH, TAIL).starts
        turn, back = measured(cells, in_turn(cells))[0], measured(cells, out_and_back(cells))[0]
        rows.append(
            (
                least.total / bound, closed.total / bound, turn / bound, back / bound,
                least.starts - starts, closed.starts - starts, least_s, closed_s, cells.sum(), least.bound / bound,
            )
        )  # fmt: skip
    if not rows:
        return
    rows_array = np.array(rows, dtype=float)
    mean, worst = rows_array.mean(axis=0), rows_array.max(axis=0)
    even = [int((rows_array[:, k] <= 0).sum()) for k in (4, 5)]
    print(
        f"{name:28s} {len(rows):3d} charts {int(rows_array[:, 8].min()):6d}-{int(worst[8]):6d} crosses | least "
        f"{mean[0]:.5f} (worst {worst[0]:.5f}), fewest starts {even[0]}/{len(rows)} | closed {mean[1]:.5f} "
        f"({worst[1]:.5f}), {even[1]}/{len(rows)}, most over {int(worst[5])} | in turn {mean[2]:.3f}, out and back "
        f"{mean[3]:.3f} | s {worst[6]:.2f} {worst[7]:.2f}"
        + (f" | plain bound {mean[9]:.4f} of the sharper" if sharper else ""),
        flush=True,
    )


def speed(name: str, cells: np.ndarray, hidden: bool = False) -> None:
    """Print processor seconds of both orders on one chart."""
    least, least_s = timed(lambda: plan_thread(cells, order="least", hidden=hidden))
    closed, closed_s = timed(lambda: plan_thread(cells, hidden=hidden))
    print(
        f"{name:28s} {int(cells.sum()):7d} crosses: least {least_s:.2f} s ({least.total / least.bound:.5f}), "
        f"closed {closed_s:.2f} s ({closed.total / closed.bound:.5f})",
        flush=True,
    )


def outline_lines(cells: np.ndarray) -> np.ndarray:
    """Return the outlines of a chart as unit stitches."""
    wide = np.pad(cells, 1)
    upright = np.argwhere(wide[1:-1, 1:] != wide[1:-1, :-1])
    level = np.argwhere(wide[1:, 1:-1] != wide[:-1, 1:-1])
    return np.concatenate(
        [np.stack((upright, upright + np.array([1, 0])), axis=1), np.stack((level, level + np.array([0, 1])), axis=1)]
    ).astype(float)


def slanting_lines(cells: np.ndarray) -> np.ndarray:
    """Return the outlines of a chart simplified to slanting backstitches."""
    found = []
    for contour in measure.find_contours(np.pad(cells, 1).astype(float), 0.5):
        points = np.round(measure.approximate_polygon(contour, 0.8))
        for a, b in pairwise(points):
            parts = max(1, round(hypot(*(b - a)) / 4))
            steps = np.round(a + (b - a) * np.linspace(0, 1, parts + 1)[:, None])
            found += [(p, q) for p, q in pairwise(steps) if (p != q).any()]
    return np.array(found, dtype=float).reshape(-1, 2, 2)


def line_table(name: str, sets: list[np.ndarray], sharper: bool = False) -> None:
    """Print ratios of double running and back stitch to the bound of double running, and to the sharper one."""
    rows = []
    for lines in sets:
        if not len(lines):
            continue
        double, seconds = timed(lambda lines=lines: plan_line_thread(lines))
        check_line_plan(double, lines, LENGTH, TAIL, CARRY)
        back, _ = timed(lambda lines=lines: plan_line_thread(lines, "back"))
        # The sharper bound takes its time; below this nothing can be a start over.
        near = not sharper or double.total <= 1.005 * double.bound
        bound = double.bound if near else double_bound(lines)[1]
        ratios = double.total / double.bound, back.total / double.bound, double.total / bound
        rows.append((*ratios, seconds, len(lines)))
    if rows:
        ratio, back_ratio, sharp, spent, size = np.array(rows).T
        print(
            f"{name:28s} {len(rows):3d} figures {int(size.min())}-{int(size.max())} lines | double running "
            f"{ratio.mean():.4f} (worst {ratio.max():.4f}, above 1.02 in {int((ratio > 1.02).sum())})"
            + (f", of the sharper bound worst {sharp.max():.4f}, {int((sharp > 1.02).sum())}" if sharper else "")
            + f" | back stitch {back_ratio.mean():.3f} | s {spent.max():.2f}",
            flush=True,
        )


def spiral(width: int, arm: int, gap: int) -> np.ndarray:
    """Return a square spiral with an arm of some crosses and a gap between its turns."""
    cells = np.zeros((width, width), dtype=bool)
    step, low, high = arm + gap, 0, width
    while high - low >= arm:
        cells[low : low + arm, max(low - step, 0) : high] = True
        cells[low:high, high - arm : high] = True
        cells[high - arm : high, low:high] = True
        cells[low + step : high, low : low + arm] = True
        low, high = low + step, high - step
    return largest_piece(cells)


def comb(rng: np.random.Generator, width: int) -> np.ndarray:
    """Return a bar with teeth of unlike lengths and gaps."""
    cells = np.zeros((width // 2 + 4, width), dtype=bool)
    cells[: int(rng.integers(1, 4))] = True
    col = 0
    while col < width:
        across = int(rng.integers(1, 4))
        cells[: int(rng.integers(2, width // 2 + 4)), col : col + across] = True
        col += across + int(rng.integers(1, 4))
    return cells


def random_tree(rng: np.random.Generator, width: int) -> np.ndarray:
    """Return a tree of arms one cross wide, all over a square: a maze without rings."""
    side = (width + 1) // 2
    cells = np.zeros((2 * side - 1, 2 * side - 1), dtype=bool)
    cells[::2, ::2] = True
    waiting, seen = [(int(rng.integers(side)), int(rng.integers(side)))], set()
    seen.add(waiting[0])
    while waiting:
        r, c = waiting[-1]
        ways = [(r + a, c + b) for a, b in ((0, 1), (1, 0), (0, -1), (-1, 0))]
        ways = [(a, b) for a, b in ways if 0 <= a < side and 0 <= b < side and (a, b) not in seen]
        if not ways:
            waiting.pop()
            continue
        a, b = ways[int(rng.integers(len(ways)))]
        cells[r + a, c + b] = True
        seen.add((a, b))
        waiting.append((a, b))
    return cells


def one_piece_sample(rng: np.random.Generator, base: Path | None, which: str, each: int) -> dict[str, list[np.ndarray]]:
    """Return charts of one piece by kind, of all sizes, half of them at least 60 wide."""
    wide = [(10, 25, 40, 60, 75, 90, 110, 130)[k % 8] for k in range(each)]
    icons = icon_charts(base, which, each, "@phosphor-icons/core/assets/regular/*.svg", (25, 60, 90, 120))
    return {
        "solid": [np.ones((max(1, w * (k % 5 + 1) // 5), w), dtype=bool) for k, w in enumerate(wide)],
        "blobs": [largest_piece(blob(rng, w, 1.5 + k % 5)) for k, w in enumerate(wide)],
        "spirals": [spiral(w, 1 + k % 3, 1 + k % 2) for k, w in enumerate(wide)],
        "combs": [comb(rng, w) for w in wide],
        "thin arms": [grown(rng, w + 2, int(rng.integers(w, w * w // 4))) for w in wide],
        "random trees": [random_tree(rng, w) for w in wide],
        "icons": [largest_piece(cells) for cells in icons if cells.any()],
    }


def checked(cells: np.ndarray, order: str) -> tuple[ThreadPlan, float]:
    """Return a plan that passed the independent checker, and its processor seconds."""
    plan, seconds = timed(lambda: plan_thread(cells, order=order))
    check_cross_plan(plan, cells, LENGTH, TAIL, CARRY, closed=order == "closed")
    return plan, seconds


def fewest_starts(cells: np.ndarray) -> int:
    """Return the proven least number of starts."""
    crosses = Crosses.of(cells)
    return thread_bound(crosses, SideGraph.of(crosses), MoveRules(cells, CARRY, False), LENGTH, TAIL).starts


def sample(base: Path | None, which: str, seed: int, each: int, icons: int) -> None:
    """Print how many charts of a large sample reach the bound, and how near to it the others come."""
    everything = []
    for name, charts in one_piece_sample(np.random.default_rng(seed), base, which, each).items():
        rows = []
        for cells in charts:
            least, closed, starts = checked(cells, "least")[0], checked(cells, "closed"), fewest_starts(cells)
            rows.append(
                (
                    least.total <= least.bound + 1e-6, extent(cells) >= 60, closed[0].total / least.bound,
                    closed[0].starts - starts, cells.sum(), closed[1], closed[0].total / closed_bound(cells)[1],
                )
            )  # fmt: skip
        everything += rows
        _shares(name, rows)
    _shares("one piece, all", everything)
    rows = []
    for cells in icon_charts(base, which, icons, "bootstrap-icons/icons/*.svg", (60, 90, 120, 150)):
        plan, bound = checked(cells, "least")[0], fewest_starts(cells)
        rows.append((plan.starts - bound, plan.total / plan.bound))
    if rows:
        over, ratio = np.array(rows, dtype=float).T
        print(
            f"silhouettes, 60 wide and more: {len(rows)}; starts equal the bound in {int((over <= 0).sum())}; total "
            f"{ratio.mean():.6f} of the bound, worst {ratio.max():.6f}, above 1.0005 in {int((ratio > 1.0005).sum())}",
            flush=True,
        )


def extent(cells: np.ndarray) -> int:
    """Return the longer side of what is stitched."""
    return int(max(np.ptp(part) + 1 for part in np.nonzero(cells)))


def _shares(name: str, rows: list[tuple]) -> None:
    if not rows:
        return
    least, wide, ratio, over, size, seconds, sharper = np.array(rows, dtype=float).T
    wide = wide > 0
    print(
        f"{name:16s} {len(rows):3d} charts {int(size.min()):5d}-{int(size.max()):5d} crosses | least = bound in "
        f"{int(least.sum())} | closed, all: at most 1.002 in {int((ratio <= 1.002).sum())}, starts over 0/1/more "
        f"{int((over <= 0).sum())}/{int((over == 1).sum())}/{int((over > 1).sum())} | 60 and more: {int(wide.sum())}, "
        f"at most 1.002 in {int((ratio[wide] <= 1.002).sum())}, mean {ratio[wide].mean() if wide.any() else 0:.5f}, "
        f"worst {ratio[wide].max() if wide.any() else 0:.5f}, of the bound with dead ends "
        f"{sharper[wide].mean() if wide.any() else 0:.5f} | s {seconds.max():.1f}",
        flush=True,
    )


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--icons", type=Path)
    parser.add_argument("--set", choices=("tune", "report"), default="report")
    parser.add_argument("--drawings", type=int, default=12)
    parser.add_argument("--only", default="")
    parser.add_argument("--sample", action="store_true", help="shares of a large sample instead of the tables")
    parser.add_argument("--seed", type=int, help="of the made-up charts; 1 for tune and 2026 for report unless given")
    options = parser.parse_args()
    which, count, only = options.set, options.drawings, options.only
    seed = options.seed if options.seed is not None else 1 if which == "tune" else 2026
    if options.sample:
        sample(options.icons, which, seed, each=2 * count + 8, icons=5 * count)
        return
    rng = np.random.default_rng(seed)
    widths = (60, 90, 120, 150)

    def wanted(name: str) -> bool:
        return not only or only in name

    filled = "@phosphor-icons/core/assets/fill/*.svg"
    boot = "bootstrap-icons/icons/*-fill.svg"
    outline = "@tabler/icons/icons/outline/*.svg"
    base = options.icons
    if wanted("solid"):
        sizes = [(1, 1), (1, 2), (2, 2), (3, 5), (1, 40), (9, 9), (17, 31), (60, 42), (90, 97), (140, 141)]
        table("solid", [np.ones(size, dtype=bool) for size in sizes])
    if wanted("horse"):
        table("horse", [horse(width) for width in widths])
    if wanted("blobs, one piece"):
        table("blobs, one piece", [largest_piece(blob(rng, 60 + 30 * (k % 4), 2 + k % 5)) for k in range(count)])
    if wanted("arms, one piece"):
        table("arms, one piece", [grown(rng, 80, 300 * (k + 1)) for k in range(min(count, 6))])
    if wanted("silhouettes, one piece"):
        charts = [largest_piece(c) for c in icon_charts(base, which, count, filled, widths)]
        table("silhouettes, one piece", charts)
    if wanted("silhouettes"):
        table("silhouettes", list(icon_charts(base, which, count, boot, widths)))
    if wanted("blobs"):
        table("blobs", [blob(rng, 60 + 30 * (k % 4), 1.5 + k % 4, 0.35) for k in range(count)])
    if wanted("thin lines"):
        thin = [morphology.skeletonize(c) for c in icon_charts(base, which, count, outline, widths)]
        table("thin lines by corners", thin)
        table("lines, as drawn", list(icon_charts(base, which, count, outline, widths)))
    for share in (0.5, 0.2, 0.05):
        if wanted("scatter"):
            charts = [rng.random((100, 100)) < share for _ in range(2)]
            table(f"scatter {share:.0%}", charts, leg_bound)
            if share < 0.1:
                table(f"scatter {share:.0%}, turn bound", charts, turn_bound)
            elif share < 0.5:
                table(f"scatter {share:.0%}, tile bound", charts, tile_bound)
    if wanted("lines"):
        trees = [outline_lines(largest_piece(blob(rng, 40, 2))) for _ in range(count)]
        line_table("outlines, unit stitches", trees, True)
        line_table("outlines of icons", [outline_lines(c) for c in icon_charts(base, which, count, boot, widths)], True)
        holes = [outline_lines(largest_piece(blob(rng, 60, 2, 0.6))) for _ in range(5 * count)]
        line_table("outlines with holes", holes, True)
        line_table("outlines, slanting", [slanting_lines(c) for c in icon_charts(base, which, count, boot, widths)])
    if wanted("nets"):
        # Numbers of their own, so that the charts of the other tables stay as they are.
        for crosses in (3000, 8000, 20000):
            for name, charts in nets(np.random.default_rng((seed, crosses)), crosses, 1).items():
                table(f"{name}, {crosses}", charts)
    if wanted("speed"):
        plan_thread(np.ones((5, 5), dtype=bool))
        speed("solid", np.ones((150, 134), dtype=bool))
        speed("solid", np.ones((400, 400), dtype=bool))
        speed("horse", horse(400))
        speed("blobs", blob(rng, 200, 4))
        speed("blobs", blob(rng, 566, 4))
        speed("scatter 20%, hidden", rng.random((316, 316)) < 0.2, hidden=True)
        speed("scatter 50%, hidden", rng.random((200, 200)) < 0.5, hidden=True)
        speed("scatter 20%", rng.random((316, 316)) < 0.2)
        speed("scatter 50%", rng.random((566, 566)) < 0.5)


if __name__ == "__main__":
    main()
