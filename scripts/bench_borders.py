"""Measure the borders: do all sizes fit, is every border symmetric, does any corner break, how long does it take.

    python scripts/bench_borders.py              a sample of every measurement, under two minutes
    python scripts/bench_borders.py --whole      everything; some 20 minutes of one core
    python scripts/bench_borders.py --only sizes,outer
    python scripts/bench_borders.py --whole --only sizes --part 2/6    the second sixth of the strips

Every figure is taken from drawn borders, judged apart from the tables that the search uses.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator

import numpy as np

from converter.compose.bands import FittedStrip
from converter.compose.catalogue import strips
from converter.compose.fit import fit_borders
from converter.compose.frieze import FRIEZE_GROUPS, frieze_group, mirror_constant, primitive_tile
from converter.compose.plan import BorderPlan
from converter.compose.profile import MOST_CLASH, profile_of
from converter.compose.repeat import find_repeat
from converter.errors import RequestError

SIZES = range(15, 91)
OUTERS = [(n, n) for n in range(40, 141)] + [(84, 56), (70, 98), (47, 61)]


PART = (1, 1)
"""Which part of the strips `sizes` and `strict` look at: number and count."""


def strips_of_part(names: list[str]) -> list[str]:
    """Return every n-th strip."""
    number, count = PART
    return names[number - 1 :: count]


def same_mirrored(cells: np.ndarray) -> bool:
    """Return True if a grid equals its reflections in both axes."""
    return np.array_equal(cells, cells[:, ::-1]) and np.array_equal(cells, cells[::-1])


def faults(plan: BorderPlan) -> list[str]:
    """Return what is wrong with a drawn plan."""
    found = []
    for ring in plan.rings:
        broken, clash = ring.drawn_check()
        if broken:
            found.append("broken piece")
        if clash > MOST_CLASH:
            found.append("clash over 4")
    symmetry = plan.symmetry
    turned = any(isinstance(r, FittedStrip) and r.ring.corner.name == "TURNED" for r in plan.rings)
    if not turned and symmetry not in ("D4", "D2"):
        found.append(f"mirrored border is only {symmetry}")
    if turned and symmetry == "C1":
        found.append("turned border has no symmetry")
    return found


def sizes(whole: bool) -> Iterator[str]:
    """All motif sizes with every strip: is there a plan, does the first one equal its own reflections."""
    rng = np.random.default_rng(1)
    pairs = list(itertools.product(SIZES, SIZES))
    names = strips_of_part(list(strips()))
    cases = list(itertools.product(names, pairs))
    if not whole:
        cases = [cases[k] for k in rng.choice(len(cases), 3000, replace=False)]
    plans = mirrored = whole_repeats = 0
    wrong: Counter[str] = Counter()
    for name, size in cases:
        try:
            plan = fit_borders(size, name, count=1)[0]
        except RequestError:
            wrong[f"no plan: {name}"] += 1
            continue
        plans += 1
        mirrored += same_mirrored(plan.border_cells)
        whole_repeats += plan.whole
        wrong.update(f"{fault}: {name}" for fault in faults(plan))
    yield f"{len(cases)} motif sizes and strips: {100 * plans / len(cases):.2f} % have a plan"
    yield f"first plans equal to their own reflections: {100 * mirrored / max(1, plans):.2f} %"
    yield f"first plans with whole repeats only: {100 * whole_repeats / max(1, plans):.1f} %"
    yield f"faults in drawn first plans: {dict(wrong) or 'none'}"


def outer(whole: bool) -> Iterator[str]:
    """Given outer sizes with every strip: is each filled to the stitch."""
    cases = list(itertools.product(strips(), OUTERS))
    if not whole:
        cases = cases[:: max(1, len(cases) // 600)]
    filled = 0
    wrong: Counter[str] = Counter()
    for name, size in cases:
        for motif in (None, (15, 15)):
            try:
                plan = fit_borders(motif, name, outer=size, count=1)[0]
            except RequestError:
                wrong[f"no plan: {name}"] += 1
                continue
            edges = plan.border_cells
            full = plan.cells.shape == size and edges[0].any() and edges[-1].any()
            filled += bool(full and edges[:, 0].any() and edges[:, -1].any() and same_mirrored(edges))
            wrong.update(f"{fault}: {name}" for fault in faults(plan))
    share = 100 * filled / (2 * len(cases))
    yield f"{2 * len(cases)} outer sizes and strips: {share:.2f} % filled exactly and mirrored"
    yield f"faults: {dict(wrong) or 'none'}"


def strict(whole: bool) -> Iterator[str]:
    """Strict fits against the closed form, and how many fit with whole repeats as the gaps give way."""
    rng = np.random.default_rng(2)
    pairs = list(itertools.product(SIZES, SIZES))
    if not whole:
        pairs = [pairs[k] for k in rng.choice(len(pairs), 120, replace=False)]
    names = strips_of_part([name for name, strip in strips().items() if mirror_constant(strip.tile) is not None])
    agree = total = strict_found = 0
    near = wide = 0
    for name in names:
        profile = profile_of(strips()[name])
        good = [phi for phi, spot in enumerate(profile.mitres) if spot.usable]
        for rows, cols in pairs:
            total += 1
            formula = any(closed_form(profile.tile, cols + 2 * g, rows + 2 * g, good) for g in (2, 3, 4))
            search = found((rows, cols), name, moves=("gap",), slack=1, corners="mitre")
            agree += formula == search
            strict_found += formula
            near += found((rows, cols), name, moves=("gap", "unequal", "pad"), slack=1)
            wide += found((rows, cols), name, moves=("gap", "unequal", "pad"), slack=2)
    yield f"{total} cases of mirror strips, mitred, gap 2 to 4"
    yield f"search equals the closed form in {100 * agree / total:.2f} %"
    yield f"strict fits among them: {100 * strict_found / total:.1f} %"
    yield f"whole repeats with pad rows and gaps within 1: {100 * near / total:.2f} %"
    yield f"whole repeats with pad rows and gaps within 2: {100 * wide / total:.2f} %"


def closed_form(tile: np.ndarray, w: int, h: int, phases: list[int]) -> bool:
    """A mitred side is symmetric with no seam if n = a + 1 - 2 phi (mod p), for both sides with the same phi."""
    d, p = tile.shape
    a = mirror_constant(tile)
    return any((w + 2 * d - a - 1 + 2 * phi) % p == 0 and (h + 2 * d - a - 1 + 2 * phi) % p == 0 for phi in phases)


def found(size: tuple[int, int], name: str, **options: object) -> bool:
    """Return whether there is a plan of whole repeats."""
    try:
        return fit_borders(size, name, count=1, **options)[0].whole
    except RequestError:
        return False


def corners(whole: bool) -> Iterator[str]:
    """Random cases, every plan of the list drawn: broken pieces, clash, symmetry."""
    rng = np.random.default_rng(3)
    names = list(strips())
    wrong: Counter[str] = Counter()
    drawn = 0
    most = 0
    for _ in range(5000 if whole else 300):
        name = names[int(rng.integers(len(names)))]
        rows, cols = (int(v) for v in rng.integers(5, 121, 2))
        gap = int(rng.integers(0, 7))
        try:
            plans = fit_borders((rows, cols), name, gap=gap, count=20 if whole else 6)
        except RequestError:
            wrong[f"no plan: {name}"] += 1
            continue
        for plan in plans:
            drawn += 1
            wrong.update(f"{fault}: {name}" for fault in faults(plan))
            most = max([most, *(ring.drawn_check()[1] for ring in plan.rings)])
    yield f"{drawn} drawn plans: faults {dict(wrong) or 'none'}; largest clash {most}"


def friezes(whole: bool) -> Iterator[str]:
    """The frieze group of random tiles against trying every movement on a long strip."""
    rng = np.random.default_rng(4)
    count = 10000 if whole else 1500
    right = 0
    groups: Counter[str] = Counter()
    for _ in range(count):
        tile = random_tile(rng)
        group = frieze_group(tile)
        groups[group] += 1
        right += group == tried_group(tile)
    yield f"{count} tiles: group named right in {100 * right / count:.2f} %; {dict(groups)}"
    yield f"groups met: {len(groups)} of {len(FRIEZE_GROUPS)}"


def random_tile(rng: np.random.Generator) -> np.ndarray:
    """Return a tile that has one of the symmetries by construction, or none."""
    d, p = int(rng.integers(1, 7)), int(rng.integers(1, 9))
    tile = rng.random((d, p)) < 0.5
    kind = int(rng.integers(7))
    if kind in (1, 2):
        tile = np.concatenate([tile, tile[:, ::-1]], axis=1)
    if kind in (2, 3):
        tile = tile | tile[::-1]
    if kind == 4:
        tile = np.concatenate([tile, tile[::-1, ::-1]], axis=1)
    if kind == 5:
        tile = np.concatenate([tile, tile[::-1]], axis=1)
    if kind == 6:
        half = np.concatenate([tile, tile[:, ::-1]], axis=1)
        tile = np.concatenate([half, half[::-1]], axis=1)
    if not tile.any():
        tile[0, 0] = True
    return np.roll(tile, int(rng.integers(tile.shape[1])), axis=1)


def tried_group(tile: np.ndarray) -> str:
    """Name the group by trying all reflections, turns and glides on the cells of five repeats, one by one."""
    p = tile.shape[1]
    d = tile.shape[0]
    cells = {(r, c) for r in range(d) for c in range(5 * p) if tile[r, c % p]}

    def keeps(move: Callable[[int, int], tuple[int, int]]) -> bool:
        for r in range(d):
            for c in range(2 * p, 3 * p):
                rr, cc = move(r, c)
                if ((r, c) in cells) != ((rr, 2 * p + (cc % p)) in cells):
                    return False
        return True

    upright = any(keeps(lambda r, c, k=k: (r, k - c)) for k in range(p))
    lengthwise = keeps(lambda r, c: (d - 1 - r, c))
    turn = any(keeps(lambda r, c, k=k: (d - 1 - r, k - c)) for k in range(p))
    glide = any(keeps(lambda r, c, k=k: (d - 1 - r, c + k)) for k in range(p))
    table = {
        (True, True, True, True): "p2mm",
        (True, False, True, True): "p2mg",
        (True, False, False, False): "p1m1",
        (False, True, False, True): "p11m",
        (False, False, True, False): "p2",
        (False, False, False, True): "p11g",
        (False, False, False, False): "p1",
    }
    return table[(upright, lengthwise, turn, glide)]


def periods(whole: bool) -> Iterator[str]:
    """The repeat of a strip that shows 2.5 of it with 2 % wrong squares."""
    rng = np.random.default_rng(5)
    tiles = [(name, strip.tile) for name, strip in strips().items()]
    runs = 40 if whole else 6
    right = total = 0
    missed: Counter[str] = Counter()
    for name, tile in tiles:
        for _ in range(runs):
            shown, p = spoilt(tile, rng)
            total += 1
            hit = find_repeat(shown).tile.shape[1] == p
            right += hit
            missed[name] += not hit
    yield f"2.5 repeats, 2 % of the squares wrong; built-in strips: found in {100 * right / total:.2f} % of {total}"
    yield f"missed: {dict(+missed) or 'none'}"
    right = total = 0
    for _ in range(2000 if whole else 300):
        d, p = int(rng.integers(3, 12)), int(rng.integers(4, 17))
        tile = rng.random((d, p)) < 0.5
        if primitive_tile(tile).shape[1] != p:
            continue
        shown, p = spoilt(tile, rng)
        total += 1
        right += find_repeat(shown).tile.shape[1] == p
    yield f"random tiles 3 to 11 deep: period found in {100 * right / total:.2f} % of {total}"


def spoilt(tile: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, int]:
    """Return 2.5 repeats from a random place with 2 % of the squares wrong, and the true period."""
    p = tile.shape[1]
    n = -(-5 * p // 2)
    start = int(rng.integers(p))
    shown = np.take(tile, np.arange(start, start + n) % p, axis=1).copy()
    wrong = int(0.02 * shown.size)  # at most 2 %
    at = rng.choice(shown.size, wrong, replace=False)
    shown.flat[at] = ~shown.flat[at]
    return shown, p


def nested(whole: bool) -> Iterator[str]:
    """Two nested borders of random strips: do they always fit, and how long does it take."""
    rng = np.random.default_rng(6)
    names = list(strips())
    fits = 0
    times = []
    wrong: Counter[str] = Counter()
    count = 1500 if whole else 150
    for _ in range(count):
        pair = [names[int(k)] for k in rng.integers(len(names), size=2)]
        rows, cols = (int(v) for v in rng.integers(15, 91, 2))
        start = time.process_time()
        plans = fit_borders((rows, cols), pair, gap=(3, 2))
        times.append(time.process_time() - start)
        fits += bool(plans)
        wrong.update(f"{fault}: {pair}" for fault in faults(plans[0]))
    ms = np.percentile(times, [50, 95, 100]) * 1000
    yield f"{count} pairs of nested borders: {100 * fits / count:.2f} % fit; faults {dict(wrong) or 'none'}"
    yield f"list of 20: median {ms[0]:.1f} ms, 95th percentile {ms[1]:.1f} ms, longest {ms[2]:.1f} ms (CPU)"


def speed(whole: bool) -> Iterator[str]:
    """The sorted list of one border: every strip met for the first time, and met again."""
    rng = np.random.default_rng(7)
    names = list(strips())
    times = []
    for k in range(5000 if whole else 600):
        rows, cols = (int(v) for v in rng.integers(15, 91, 2))
        start = time.process_time()
        fit_borders((rows, cols), names[k % len(names)])
        times.append(time.process_time() - start)
    ms = np.percentile(times, [50, 95, 100]) * 1000
    yield f"list of 20, built-in strips: median {ms[0]:.1f} ms, 95th percentile {ms[1]:.1f} ms, longest {ms[2]:.1f} ms"
    times = []
    for _ in range(400 if whole else 80):
        tile = random_tile(rng)
        rows, cols = (int(v) for v in rng.integers(15, 91, 2))
        start = time.process_time()
        fit_borders((rows, cols), tile)
        times.append(time.process_time() - start)
    ms = np.percentile(times, [50, 95, 100]) * 1000
    yield f"list of 20, a strip never seen before: median {ms[0]:.1f} ms, 95th percentile {ms[1]:.1f} ms (CPU)"


def lines(whole: bool) -> Iterator[str]:
    """Frames and corner pieces: backstitches symmetric as a set, every end on a hole, no stitch twice."""
    from converter.compose.bands import CornerBand
    from converter.compose.rosettes import corner_piece

    rng = np.random.default_rng(8)
    right = total = 0
    for _ in range(2000 if whole else 200):
        bands = [["line"], ["double line"], ["line", "zigzag"], [CornerBand(corner_piece(int(rng.integers(1, 13))))]]
        band = bands[int(rng.integers(len(bands)))]
        rows, cols = (int(v) for v in rng.integers(9, 91, 2))
        plan = fit_borders((rows, cols), band, count=1)[0]
        found_lines = plan.lines
        on_holes = bool((found_lines == np.round(found_lines)).all() and (found_lines >= 0).all())
        on_holes &= bool(
            (found_lines[:, :, 0] <= plan.shape[0]).all() and (found_lines[:, :, 1] <= plan.shape[1]).all()
        )
        once = len({tuple(sorted(map(tuple, line))) for line in found_lines.tolist()}) == len(found_lines)
        total += 1
        right += on_holes and once and plan.symmetry in ("D4", "D2")
    yield f"{total} borders with backstitch: symmetric, on holes and without doubles in {100 * right / total:.2f} %"


MEASUREMENTS = (sizes, outer, strict, corners, friezes, periods, nested, speed, lines)


def main() -> int:
    """Run the measurements and print their figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--whole", action="store_true", help="everything instead of a sample")
    parser.add_argument("--only", default="", help="names with commas between")
    parser.add_argument("--part", default="1/1", help="NUMBER/COUNT of the strips, for sizes and strict")
    options = parser.parse_args()
    global PART
    PART = tuple(int(v) for v in options.part.split("/"))
    wanted = [name for name in options.only.split(",") if name]
    unknown = set(wanted) - {m.__name__ for m in MEASUREMENTS}
    if unknown:
        parser.error(f"unknown: {', '.join(sorted(unknown))}")
    for measure in MEASUREMENTS:
        if wanted and measure.__name__ not in wanted:
            continue
        start = time.process_time()
        print(f"{measure.__name__}:")
        for line in measure(options.whole):
            print(f"  {line}")
        print(f"  ({time.process_time() - start:.0f} s CPU)", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
