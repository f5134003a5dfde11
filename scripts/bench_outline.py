"""Measure the suggested backstitches against exact vector drawings, beside plain baselines.

Run ``npm install @tabler/icons @phosphor-icons/core bootstrap-icons`` (all MIT) in a folder and give it:

    python scripts/bench_outline.py --icons FOLDER [--set tune|report] [--drawings 20] [--widths 30,60]

The truth is not drawn but computed: centre lines from the path data of stroke drawings, contours of a rendering
at 2,000 pixels for filled ones. Drawings are split by a hash of their names into a set to tune on and a set to
report on; ``--seed`` picks others of a set. All distances are in stitches. ``--photos`` measures instead
what repeats of the lines of open photographs (scikit-image and scikit-learn wheels) under noise and contrast.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.util
import io
import itertools
import re
import sys
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
import resvg_py
import skimage
from PIL import Image
from scipy.ndimage import distance_transform_edt
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from skimage.measure import find_contours
from skimage.morphology import skeletonize

from converter.outline.contour import outline_cells
from converter.outline.fit import FitWeights
from converter.outline.graph import Curve, CurveNetwork
from converter.outline.lattice import STEPS, is_balanced
from converter.outline.network import chain_stitches, fit_network
from converter.outline.simplify import curve_length, resample_curve, simplify_curve
from converter.pipeline import suggest_lines

RENDER = 1600
TRUTH_RENDER = 2000
PENS = (0.25, 0.35, 0.5)
"""Pen widths of the stroke drawings, in units of their 24-unit square."""
THIN = 1.75
DOT = 1.3


# ---------------------------------------------------------------- vector truth


def flatten_path(text: str) -> list[np.ndarray]:
    """Return the subpaths of SVG path data as polylines (x, y); SVG 2, chapter 9."""
    tokens = re.findall(r"[MmLlHhVvCcSsQqTtAaZz]|[-+]?(?:\d*\.\d+|\d+\.?)(?:[eE][-+]?\d+)?", text)
    # Flags of arcs may be written without space.
    result: list[np.ndarray] = []
    line: list[tuple[float, float]] = []
    at = start = (0.0, 0.0)
    control: tuple[float, float] | None = None
    place = 0
    command = ""

    def numbers(count: int, arc: bool = False) -> list[float]:
        nonlocal place
        values: list[float] = []
        while len(values) < count:
            token = tokens[place]
            if arc and len(values) in (3, 4) and len(token) > 1 and token[0] in "01":
                values.append(float(token[0]))
                tokens[place] = token[1:]
                continue
            values.append(float(token))
            place += 1
        return values

    def curve(points: list[tuple[float, float]]) -> None:
        t = np.linspace(0, 1, 25)[1:, None]
        p = np.array(points)
        if len(p) == 4:
            xy = (1 - t) ** 3 * p[0] + 3 * (1 - t) ** 2 * t * p[1] + 3 * (1 - t) * t**2 * p[2] + t**3 * p[3]
        else:
            xy = (1 - t) ** 2 * p[0] + 2 * (1 - t) * t * p[1] + t**2 * p[2]
        line.extend(map(tuple, xy.tolist()))

    while place < len(tokens):
        if re.match(r"[A-Za-z]", tokens[place]):
            command = tokens[place]
            place += 1
            if command in "Zz":
                if line:
                    line.append(start)
                    result.append(np.array(line))
                    line = []
                at = start
                control = None
                continue
        relative = command.islower()
        base = at if relative else (0.0, 0.0)
        kind = command.upper()
        if kind == "M":
            x, y = numbers(2)
            if len(line) > 1:
                result.append(np.array(line))
            at = start = (base[0] + x, base[1] + y)
            line = [at]
            command = "l" if relative else "L"
            control = None
            continue
        if not line:
            line = [at]
        if kind in "LHV":
            if kind == "L":
                x, y = numbers(2)
                at = (base[0] + x, base[1] + y)
            elif kind == "H":
                at = (base[0] + numbers(1)[0], at[1])
            else:
                at = (at[0], base[1] + numbers(1)[0])
            line.append(at)
            control = None
        elif kind in "CS":
            values = numbers(6 if kind == "C" else 4)
            points = [(base[0] + values[k], base[1] + values[k + 1]) for k in range(0, len(values), 2)]
            if kind == "S":
                points.insert(0, (2 * at[0] - control[0], 2 * at[1] - control[1]) if control else at)
            curve([at, *points])
            control, at = points[1], points[2]
        elif kind in "QT":
            values = numbers(4 if kind == "Q" else 2)
            points = [(base[0] + values[k], base[1] + values[k + 1]) for k in range(0, len(values), 2)]
            if kind == "T":
                points.insert(0, (2 * at[0] - control[0], 2 * at[1] - control[1]) if control else at)
            curve([at, *points])
            control, at = points[0], points[1]
        elif kind == "A":
            rx, ry, tilt, large, sweep, x, y = numbers(7, arc=True)
            end = (base[0] + x, base[1] + y)
            line.extend(flatten_arc(at, rx, ry, tilt, bool(large), bool(sweep), end))
            at = end
            control = None
    if len(line) > 1:
        result.append(np.array(line))
    return result


def flatten_arc(
    start: tuple[float, float], rx: float, ry: float, tilt: float, large: bool, sweep: bool, end: tuple[float, float]
) -> list[tuple[float, float]]:
    """Return points of an elliptical arc; SVG 2, appendix B.2.4."""
    if start == end:
        return []
    rx, ry = abs(rx), abs(ry)
    if rx == 0 or ry == 0:
        return [end]
    phi = np.radians(tilt)
    turn = np.array([[np.cos(phi), np.sin(phi)], [-np.sin(phi), np.cos(phi)]])
    half = turn @ ((np.array(start) - np.array(end)) / 2)
    size = (half[0] / rx) ** 2 + (half[1] / ry) ** 2
    if size > 1:
        rx, ry = rx * np.sqrt(size), ry * np.sqrt(size)
    top = (rx * ry) ** 2 - (rx * half[1]) ** 2 - (ry * half[0]) ** 2
    factor = np.sqrt(max(top, 0) / ((rx * half[1]) ** 2 + (ry * half[0]) ** 2)) * (-1 if large == sweep else 1)
    middle = factor * np.array([rx * half[1] / ry, -ry * half[0] / rx])
    centre = turn.T @ middle + (np.array(start) + np.array(end)) / 2
    one = np.arctan2((half[1] - middle[1]) / ry, (half[0] - middle[0]) / rx)
    two = np.arctan2((-half[1] - middle[1]) / ry, (-half[0] - middle[0]) / rx)
    way = two - one
    if sweep and way < 0:
        way += 2 * np.pi
    if not sweep and way > 0:
        way -= 2 * np.pi
    angles = one + way * np.linspace(0, 1, max(int(abs(way) / 0.1), 4) + 1)[1:]
    xy = centre + (turn.T @ np.stack([rx * np.cos(angles), ry * np.sin(angles)])).T
    xy[-1] = end
    return [tuple(p) for p in xy.tolist()]


def stroke_lines(svg: str) -> list[np.ndarray]:
    """Return the centre lines (row, col) of a stroke drawing, in units of its view box."""
    lines = []
    for element in ElementTree.fromstring(svg).iter():
        tag = element.tag.split("}")[-1]
        get = lambda name, e=element: float(e.get(name, "0"))  # noqa: E731
        if tag == "path" and element.get("stroke") != "none":
            lines += flatten_path(element.get("d", ""))
        elif tag == "circle":
            lines += flatten_path(
                f"M{get('cx') - get('r')} {get('cy')}a{get('r')} {get('r')} 0 1 0 {2 * get('r')} 0"
                f"a{get('r')} {get('r')} 0 1 0 {-2 * get('r')} 0"
            )
        elif tag in ("rect", "line", "polyline", "ellipse", "polygon"):
            raise ValueError(tag)
    # A few drawings have the same path twice, which is drawn over itself.
    unique = {line.round(6).tobytes(): line for line in lines}
    return [line[:, ::-1] for line in unique.values()]


@dataclass
class Drawing:
    name: str
    picture: np.ndarray
    curves: list[np.ndarray]
    """Truth in stitches at a width of 1 (so 0 to 1), (row, col)."""
    thick: bool
    pen: float = 0.0
    mask: np.ndarray | None = None
    pack: str = ""
    """Where the drawing comes from; two packs may have drawings of the same name."""


def render(svg: str, size: int) -> np.ndarray:
    """Return the darkness of an SVG drawing, 0 to 1."""
    data = resvg_py.svg_to_bytes(svg_string=svg, width=size, height=size)
    rgba = np.asarray(Image.open(io.BytesIO(bytes(data))).convert("RGBA"), dtype=np.float32) / 255
    return rgba[:, :, 3] * (1 - rgba[:, :, :3].mean(axis=2) * 0.85)


def ink_picture(dark: np.ndarray) -> np.ndarray:
    """Return ink on white paper, RGB."""
    return np.repeat((255 - dark * 225).round().astype(np.uint8)[:, :, None], 3, axis=2)


def in_set(name: str, which: str) -> bool:
    """Return True if a drawing belongs to a set: one in four to tune on, the others to report on."""
    tune = hashlib.sha256(name.encode()).digest()[0] % 4 == 0
    return tune == (which == "tune")


def pick(folder: Path, pattern: str, which: str, count: int, seed: str) -> list[Path]:
    """Return drawings in the order of a hash of their names and a seed."""
    names = [
        p for p in folder.glob(pattern) if "brand" not in p.stem and "logo" not in p.stem and in_set(p.stem, which)
    ]
    return sorted(names, key=lambda p: hashlib.sha256((seed + p.stem).encode()).hexdigest())[:count]


def load_drawings(
    folder: Path, which: str, count: int, solids: int | None = None, seed: str = "order"
) -> list[Drawing]:
    """Return stroke drawings and filled ones, as many unless told otherwise."""
    solids = count if solids is None else solids
    base = folder / "node_modules" if (folder / "node_modules").is_dir() else folder
    drawings = []
    for index, path in enumerate(pick(base, "@tabler/icons/icons/outline/*.svg", which, count, seed)):
        svg = path.read_text()
        pen = PENS[index % 3]
        try:
            lines = [line / 24 for line in stroke_lines(svg)]
        except ValueError:
            continue
        svg = svg.replace('stroke-width="2"', f'stroke-width="{pen}"').replace("currentColor", "#000")
        drawings.append(Drawing(path.stem, ink_picture(render(svg, RENDER)), lines, False, pen / 24))
    fills = [
        *pick(base, "@phosphor-icons/core/assets/fill/*.svg", which, -(-solids // 3), seed),
        *pick(base, "bootstrap-icons/icons/*-fill.svg", which, -(-solids // 3), seed),
        *pick(base, "@tabler/icons/icons/filled/*.svg", which, -(-solids // 3), seed),
    ]
    for path in fills[:solids]:
        svg = path.read_text().replace("currentColor", "#000")
        dark = render(svg, TRUTH_RENDER)
        curves = [(c + 0.5 - 1) / TRUTH_RENDER for c in find_contours(np.pad(dark, 1), 0.5) if curve_length(c) > 12]
        drawings.append(
            Drawing(path.stem, ink_picture(render(svg, RENDER)), curves, True, mask=dark > 0.5, pack=str(path.parent))
        )
    return drawings


def phone_photo(picture: np.ndarray, name: str) -> np.ndarray:
    """Return the drawing as a phone would take it: uneven warm light, blur, noise, JPEG."""
    rng = np.random.default_rng(int(hashlib.sha256(name.encode()).hexdigest()[:8], 16))
    height, width = picture.shape[:2]
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    y, x = y / height - 0.5, x / width - 0.5
    angle = rng.uniform(0, 2 * np.pi)
    light = 1 - 0.3 * (x * np.cos(angle) + y * np.sin(angle) + 0.5) - 0.25 * (x * x + y * y)
    tint = np.array([1.0, 0.96, 0.88]) * rng.uniform(0.85, 0.97)
    value = picture.astype(np.float32) * light[:, :, None] * tint.astype(np.float32)
    value = cv2.GaussianBlur(value, (0, 0), rng.uniform(1.0, 1.8))
    value += rng.normal(0, rng.uniform(3, 6), value.shape).astype(np.float32)
    coded = cv2.imencode(".jpg", np.clip(value, 0, 255).astype(np.uint8)[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])[1]
    return np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[:, :, ::-1])


def on_sheet(drawing: Drawing) -> Drawing:
    """Return the drawing with a margin of one sixteenth all round, so that nothing is cut off when it is turned."""

    def margin(picture: np.ndarray, value: int) -> np.ndarray:
        side = picture.shape[0] // 16
        return np.pad(picture, ((side, side), (side, side), (0, 0))[: picture.ndim], constant_values=value)

    return replace(
        drawing,
        picture=margin(drawing.picture, 255),
        curves=[(curve * 16 + 1) / 18 for curve in drawing.curves],
        pen=drawing.pen * 16 / 18,
        mask=None if drawing.mask is None else margin(drawing.mask, 0),
    )


def turned(drawing: Drawing) -> Drawing:
    """Return the drawing turned by 3 degrees one way or the other about its centre, with its truth."""
    angle = np.radians(tilt_of(drawing.name))
    # (row, col): counterclockwise as seen is towards smaller rows.
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    mask = None if drawing.mask is None else tilted(drawing.mask.astype(np.uint8), drawing.name, 0) > 0
    return replace(
        drawing,
        picture=tilted(drawing.picture, drawing.name),
        curves=[(curve - 0.5) @ turn.T + 0.5 for curve in drawing.curves],
        mask=mask,
    )


def tilt_of(name: str) -> float:
    """Return 3 or -3 degrees, by a hash of the name."""
    return 3.0 if hashlib.sha256(name.encode()).digest()[1] % 2 else -3.0


def tilted(picture: np.ndarray, name: str, paper: int = 255) -> np.ndarray:
    """Return a picture turned by 3 degrees one way or the other about its centre."""
    height, width = picture.shape[:2]
    degrees = tilt_of(name)
    matrix = cv2.getRotationMatrix2D((width / 2 - 0.5, height / 2 - 0.5), degrees, 1)
    return cv2.warpAffine(picture, matrix, (width, height), flags=cv2.INTER_LINEAR, borderValue=(paper, paper, paper))


VERSIONS: dict[str, Callable[[np.ndarray, str], np.ndarray]] = {
    "clean": lambda picture, name: picture,
    "photo": phone_photo,
    "tilted": tilted,
}


# ---------------------------------------------------------------- truth in stitches


@dataclass
class Truth:
    cover: np.ndarray
    """Points every 0.05 that must be covered, where the truth is one line."""
    cover_margin: np.ndarray
    """How much farther each may be: half the thickness of a part that is one line."""
    near: cKDTree
    segments: list[tuple[np.ndarray, np.ndarray]]
    chains: int
    ends: int
    clear: bool
    """Separate parts are at least 1.5 stitches apart and no part is tiny."""
    courses: np.ndarray
    """Unit direction of the truth at each point of ``cover``."""


def courses_of(curves: list[np.ndarray], spacing: float = 0.05) -> np.ndarray:
    """Return the unit direction at each point of `dense`."""
    parts = [np.gradient(resample_curve(c, spacing), axis=0) for c in curves if curve_length(c) > 0.3]
    ways = np.concatenate(parts) if parts else np.zeros((0, 2))
    return ways / np.maximum(np.hypot(*ways.T), 1e-9)[:, None]


def dense(curves: list[np.ndarray], spacing: float = 0.05) -> np.ndarray:
    parts = [resample_curve(c, spacing) for c in curves if curve_length(c) > 0.3]
    return np.concatenate(parts) if parts else np.zeros((0, 2))


def merge_touching(groups: list[np.ndarray], reach: float) -> list[int]:
    """Return a part number for each point set; sets closer than ``reach`` are one part."""
    label = list(range(len(groups)))
    trees = [cKDTree(g) for g in groups]
    for a in range(len(groups)):
        for b in range(a + 1, len(groups)):
            if label[a] != label[b] and trees[a].query(groups[b], distance_upper_bound=reach)[0].min() <= reach:
                old = label[b]
                label = [label[a] if k == old else k for k in label]
    return label


def make_truth(drawing: Drawing, columns: int) -> Truth:
    curves = [c * columns for c in drawing.curves]
    smallest = 2.0 if drawing.thick else 0.5
    # A dot drawn with a pen thick enough has an outline; thinner ones and smaller areas are left to the crosses.
    dots = [] if drawing.thick or drawing.pen * columns < DOT else [c for c in curves if curve_length(c) <= smallest]
    around = np.linspace(0, 2 * np.pi, 60)
    ring = drawing.pen * columns / 2 * np.stack([np.cos(around), np.sin(around)], axis=1)
    curves = [c for c in curves if curve_length(c) > smallest] + [c.mean(axis=0) + ring for c in dots]
    groups = [resample_curve(c, 0.1) for c in curves]
    reach = 1e-6 if drawing.thick else drawing.pen * columns
    label = merge_touching(groups, max(reach, 0.12)) if not drawing.thick else list(range(len(groups)))
    parts = len(set(label))
    ends = 0 if drawing.thick else count_ends(curves, max(reach / 2, 0.12))
    clear = True
    names = sorted(set(label))
    pooled = [np.concatenate([g for g, k in zip(groups, label, strict=True) if k == name]) for name in names]
    for a in range(len(pooled)):
        for b in range(a + 1, len(pooled)):
            if cKDTree(pooled[a]).query(pooled[b])[0].min() < 1.5:
                clear = False
    cover = dense(curves)
    near_points = [cover]
    margin = np.zeros(len(cover))
    if drawing.thick and drawing.mask is not None:
        size = 1000
        mask = cv2.resize(drawing.mask.astype(np.uint8), (size, size), interpolation=cv2.INTER_AREA) > 0
        unit = size / columns
        for region, limit in ((mask, THIN), (~mask, 0.9)):
            inside = distance_transform_edt(np.pad(region, 1, constant_values=region is not mask))[1:-1, 1:-1]
            core = distance_transform_edt(inside < limit / 2 * unit) if (inside >= limit / 2 * unit).any() else None
            wide = (
                distance_transform_edt(~(inside >= limit / 2 * unit)) <= limit / 2 * unit + 0.7
                if core is not None
                else np.zeros_like(region)
            )
            thin = region & ~wide
            axis = skeletonize(region) & thin
            if axis.any():
                points = (np.argwhere(axis) + 0.5) / unit
                near_points.append(points)
                away = cKDTree(points).query(cover, distance_upper_bound=limit / 2 + 0.1)[0]
                margin = np.maximum(margin, np.where(np.isfinite(away), away, 0.0))
                clear = False
    segments = []
    for curve in curves:
        simple = simplify_curve(resample_curve(curve, 0.05), 0.02)
        segments += [(a, b) for a, b in itertools.pairwise(simple) if np.hypot(*(b - a)) >= 6]
    return Truth(cover, margin, cKDTree(np.concatenate(near_points)), segments, parts, ends, clear, courses_of(curves))


def _cusp(tip: np.ndarray, other: np.ndarray) -> bool:
    """Return whether another line has an end where the first points of a line begin, and leaves it the same way."""
    way = tip[-1] - tip[0]
    ways = [end[-1] - end[0] for end in (other[:5], other[::-1][:5]) if np.hypot(*(end[0] - tip[0])) < 1e-6]
    return any(way @ on > 0.98 * np.hypot(*way) * np.hypot(*on) for on in ways)


def count_ends(curves: list[np.ndarray], reach: float) -> int:
    """Return the number of ends of centre lines that touch no other line."""
    points = [resample_curve(c, 0.05) for c in curves]
    ends = 0.0
    for index, line in enumerate(points):
        if np.hypot(*(line[0] - line[-1])) <= reach:
            continue
        skipped = int(max(4 * reach, 0.6) / 0.05)
        for tip, own in ((line[:5], line[skipped:]), (line[::-1][:5], line[:-skipped])):
            end = tip[0]
            beside = [p for k, p in enumerate(points) if k != index and _cusp(tip, p)]
            others = [p for k, p in enumerate(points) if k != index] + ([own] if len(own) else [])
            if len(beside) == 1:
                # Two lines that end together side by side end there as one.
                others = [p for p in others if p is not beside[0]]
                ends += 0.5 if not others or min(np.hypot(*(p - end).T).min() for p in others) > reach else 0
                continue
            if not others or min(np.hypot(*(p - end).T).min() for p in others) > reach:
                ends += 1
        # A path that turns straight back ends there too.
        step = np.diff(curves[index], axis=0)
        step = step[np.hypot(*step.T) > 1e-9]
        way = step / np.hypot(*step.T)[:, None]
        for tip in curves[index][0] + np.cumsum(step, axis=0)[:-1][(way[1:] * way[:-1]).sum(axis=1) < -0.999]:
            others = [p for k, p in enumerate(points) if k != index]
            if not others or min(np.hypot(*(p - tip).T).min() for p in others) > reach:
                ends += 1
    return round(ends)


# ---------------------------------------------------------------- measures


@dataclass
class Score:
    values: dict[str, float] = field(default_factory=dict)


def count_parts(lines: np.ndarray) -> int:
    """Return the number of connected parts of backstitches."""
    if len(lines) == 0:
        return 0
    holes, which = np.unique(lines.reshape(-1, 2), axis=0, return_inverse=True)
    a, b = which.reshape(-1, 2).T
    return int(connected_components(coo_matrix((np.ones(len(a)), (a, b)), shape=(len(holes),) * 2))[0])


def measure(lines: np.ndarray, truth: Truth, columns: int) -> dict[str, float]:
    """Return the measures of one suggestion."""
    result: dict[str, float] = {}
    steps = np.rint(lines[:, 1] - lines[:, 0]).astype(int)
    off_grid = (
        (lines != np.rint(lines)).any(axis=(1, 2)) | (lines < 0).any(axis=(1, 2)) | (lines > columns).any(axis=(1, 2))
    )
    result["illegal"] = float(sum(tuple(s) not in STEPS for s in steps.tolist()) + off_grid.sum())
    result["stitches"] = len(lines)
    if len(lines) == 0 and truth.chains == 0:
        # Dots alone have no lines.
        return result | {"covered": 1.0, "chains": 1.0, "ends": 1.0}
    if len(lines) == 0:
        return result | {
            "mean": 9,
            "p95": 9,
            "covered": 0,
            "spurious": 0,
            "chains": float(truth.chains == 0),
            "ends": 1,
        }
    points = np.concatenate([resample_curve(line, 0.1) for line in lines])
    away = truth.near.query(points)[0]
    result["mean"], result["p95"] = float(away.mean()), float(np.quantile(away, 0.95))
    result["spurious"] = float((away > 0.75).mean())
    reach = cKDTree(points).query(truth.cover)[0]
    result["covered"] = float((reach <= 0.62 + truth.cover_margin).mean())
    found = count_parts(lines)
    degree = np.bincount(np.unique(lines.reshape(-1, 2), axis=0, return_inverse=True)[1].ravel())
    result["chains"] = float(found == truth.chains)
    result["chains_more"] = found - truth.chains
    result["ends"] = float(int((degree == 1).sum()) <= truth.ends)
    if truth.clear:
        result["clear_chains"], result["clear_ends"] = result["chains"], result["ends"]
    kept, even = axis_and_even(lines, truth)
    if kept:
        result["axis"] = float(np.mean(kept))
    if even:
        result["regular"] = float(np.mean(even))
    return result


def measure_tilted(straight: dict[str, float], askew: dict[str, float], truth: Truth) -> dict[str, float]:
    """Return the measures of a suggestion for a tilted drawing, given those against the straight and the tilted truth.

    Notes
    -----
    What the lines follow is judged against that of the two from which less lies far off, the nearer if neither: a
    drawing without lines along an axis does not tell that it is tilted. Lines along an axis have to be along it again,
    whatever was done.
    """
    off = [round(row.get("spurious", 0.0), 2) for row in (straight, askew)]
    nearer = (off[0], straight.get("mean", 0.0)) <= (off[1], askew.get("mean", 0.0))
    chosen = dict(straight if nearer else askew)
    for name in ("axis", "regular"):
        chosen.pop(name, None)
    chosen |= {name: straight[name] for name in ("axis", "regular") if name in straight}
    if any(min(abs(b - a)) < 0.01 * np.hypot(*(b - a)) for a, b in truth.segments):
        chosen["straightened"] = float(nearer)
    return chosen


def axis_and_even(lines: np.ndarray, truth: Truth) -> tuple[list[bool], list[bool]]:
    """Return for each straight line of the truth whether it keeps to its axis, and whether its steps are regular.

    Notes
    -----
    Where another line passes close by, a stitch that lies better along that one or much nearer to it belongs to it.
    """
    kept, even = [], []
    tree = cKDTree(truth.cover)
    for a, b in truth.segments:
        length = float(np.hypot(*(b - a)))
        unit = (b - a) / length
        along = (lines - a) @ unit
        beside = (lines - a) @ np.array([-unit[1], unit[0]])
        vector = lines[:, 1] - lines[:, 0]
        norm = np.hypot(*vector.T)
        course = np.abs(vector @ unit) / norm
        inside = (
            (along >= 1.25).all(axis=1) & (along <= length - 1.25).all(axis=1) & (np.abs(beside) <= 0.95).all(axis=1)
        )
        chosen = inside & (course > 0.8)
        for k in np.nonzero(chosen)[0].tolist():
            at = np.array(tree.query_ball_point(lines[k].mean(axis=0), 0.95), dtype=int)
            at = at[np.abs((truth.cover[at] - a) @ np.array([-unit[1], unit[0]])) > 0.05]
            gain = np.abs(truth.courses[at] @ vector[k]) / norm[k] - course[k]
            closer = np.abs(beside[k].mean()) - np.hypot(*(truth.cover[at] - lines[k].mean(axis=0)).T)
            if ((gain > 0.02) | ((gain > -0.02) & (closer > 0.25))).any():
                chosen[k] = False
        if not chosen.any():
            if min(abs(unit)) < 0.01:
                kept.append(False)
            continue
        order = np.argsort(along[chosen].mean(axis=1))
        pick = lines[chosen][order]
        flip = along[chosen][order][:, 0] > along[chosen][order][:, 1]
        pick[flip] = pick[flip][:, ::-1]
        joined = (pick[1:, 0] == pick[:-1, 1]).all() if len(pick) > 1 else True
        if min(abs(unit)) < 0.01:
            axis = int(np.argmin(np.abs(unit)))
            kept.append(len(set(pick[:, :, axis].ravel().tolist())) == 1)
        if joined:
            even.append(is_balanced(np.rint(pick[:, 1] - pick[:, 0]).astype(np.int64)))
        elif len(pick) > 1 and not (np.diff(along[chosen][order].mean(axis=1)) < 0.4).any():
            even.append(False)
    return kept, even


# ---------------------------------------------------------------- methods


def canny_rounded(picture: np.ndarray, columns: int) -> np.ndarray:
    scale = 8
    gray = cv2.cvtColor(cv2.resize(picture, (columns * scale,) * 2, interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    edges = cv2.Canny(cv2.GaussianBlur(gray, (0, 0), 1.5), 50, 120) > 0
    lines = set()
    for r, c in np.argwhere(edges).tolist():
        for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
            if 0 <= r + dr < edges.shape[0] and 0 <= c + dc < edges.shape[1] and edges[r + dr, c + dc]:
                one = (round((r + 0.5) / scale), round((c + 0.5) / scale))
                two = (round((r + dr + 0.5) / scale), round((c + dc + 0.5) / scale))
                if one != two:
                    lines.add((min(one, two), max(one, two)))
    return np.array(sorted(lines), dtype=float).reshape(-1, 2, 2)


def otsu_cells(picture: np.ndarray, columns: int) -> np.ndarray:
    gray = cv2.resize(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), (columns, columns), interpolation=cv2.INTER_AREA)
    return cv2.threshold(gray, 0, 255, cv2.THRESH_BINARY_INV | cv2.THRESH_OTSU)[1] > 0


def staircase(picture: np.ndarray, columns: int) -> np.ndarray:
    loops = outline_cells(otsu_cells(picture, columns))
    return np.concatenate([np.stack([p[:-1], p[1:]], axis=1) for p in loops] or [np.zeros((0, 2, 2))])


def polygon_rounded(picture: np.ndarray, columns: int) -> np.ndarray:
    scale = 8
    gray = cv2.cvtColor(cv2.resize(picture, (columns * scale,) * 2, interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    ink = cv2.threshold(gray, 0, 255, cv2.THRESH_BINARY_INV | cv2.THRESH_OTSU)[1]
    lines = []
    for contour in cv2.findContours(ink, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)[0]:
        holes = np.rint((cv2.approxPolyDP(contour, 0.5 * scale, True)[:, 0, ::-1] + 0.5) / scale)
        for a, b in zip(holes, np.roll(holes, -1, axis=0), strict=True):
            if (a != b).any():
                # Long moves are cut into pieces of at most three stitches, ends rounded.
                count = max(int(np.ceil(np.hypot(*(b - a)) / 3.17)), 1)
                ends = np.rint(a + np.linspace(0, 1, count + 1)[:, None] * (b - a))
                lines += [(p, q) for p, q in itertools.pairwise(ends) if (p != q).any()]
    return np.array(lines, dtype=float).reshape(-1, 2, 2)


def ours(picture: np.ndarray, columns: int) -> np.ndarray:
    return suggest_lines(picture, columns)


def fit_of_truth(drawing: Drawing, columns: int) -> np.ndarray:
    """Return the same fit on the exact curves: what no reading of the picture can better."""
    curves = [resample_curve(c * columns, 0.1) for c in drawing.curves if curve_length(c) * columns > 2]
    network = CurveNetwork()
    for curve in curves:
        if np.hypot(*(curve[0] - curve[-1])) < 1e-6:
            network.curves.append(Curve(curve, solid=drawing.thick))
        else:
            network.nodes += [curve[0], curve[-1]]
            network.curves.append(Curve(curve, len(network.nodes) - 2, len(network.nodes) - 1))
    chains = fit_network(network, (columns, columns), FitWeights())
    return chain_stitches([chain.holes for chain in chains])


METHODS: dict[str, Callable[[np.ndarray, int], np.ndarray]] = {
    "edge pixels rounded": canny_rounded,
    "cell staircase": staircase,
    "polygon 0.5 rounded": polygon_rounded,
    "suggest_lines": ours,
}
FLOOR = "fit of the true curves"

SAMPLE_PHOTOS = (
    *(
        f"{name}.png"
        for name in ("astronaut", "camera", "chelsea", "coffee", "coins", "clock_motion", "motorcycle_left")
    ),
    "rocket.jpg",
)
"""Photographs of the scikit-image wheel; those of the scikit-learn wheel come with them."""


def sample_photos(more: Path | None) -> dict[str, np.ndarray]:
    """Return open photographs of at most 1,200 pixels a side by their names, RGB; with those of a folder, if any."""
    paths = [Path(skimage.__file__).parent / "data" / name for name in SAMPLE_PHOTOS]
    if importlib.util.find_spec("sklearn"):
        images = Path(importlib.util.find_spec("sklearn").origin).parent / "datasets" / "images"
        paths += [images / "china.jpg", images / "flower.jpg"]
    paths += sorted(path for path in more.iterdir() if path.suffix in (".jpg", ".png")) if more else []
    photos = {}
    for path in paths:
        image = Image.open(path).convert("RGB")
        image.thumbnail((1200, 1200), Image.Resampling.BOX)
        photos[path.stem] = np.asarray(image)
    return photos


def repeated(base: np.ndarray, other: np.ndarray) -> float:
    """Return the share of the length of ``base`` that lies within a stitch of ``other``."""
    if len(base) == 0 or len(other) == 0:
        return float(len(base) == len(other))
    points, targets = (np.concatenate([resample_curve(line, 0.1) for line in lines]) for lines in (base, other))
    return float((cKDTree(targets).query(points)[0] <= 1.0).mean())


def bench_photos(columns: int, more: Path | None, seed: int) -> None:
    """Print for each photograph its backstitches, its chains, and how much repeats when it is changed a little.

    Notes
    -----
    Once with less contrast and once with more, both with noise of 5 gray values.
    """
    rng = np.random.default_rng(seed)
    shares, counts, chains = [], [], []
    for name, photo in sample_photos(more).items():
        lines = suggest_lines(photo, columns, kind="photo")
        row = []
        for contrast in (0.85, 1.12):
            changed = (photo.astype(float) - 128) * contrast + 128 + rng.normal(0, 5, photo.shape)
            other = suggest_lines(np.clip(changed, 0, 255).astype(np.uint8), columns, kind="photo")
            row.append(repeated(lines, other))
        shares.append(row)
        counts.append(len(lines))
        chains.append(count_parts(lines))
        print(f"{name:18} {len(lines)} backstitches, {chains[-1]} chains, repeats", *(f"{share:.2f}" for share in row))
    print(
        f"{len(shares)} photographs, {columns} wide: repeats {np.mean(shares):.3f}, least {np.min(shares):.2f};"
        f" at most {max(counts)} backstitches and {max(chains)} chains",
        flush=True,
    )


COLUMNS = (
    "mean",
    "p95",
    "covered",
    "spurious",
    "chains",
    "ends",
    "clear_chains",
    "clear_ends",
    "axis",
    "regular",
    "illegal",
    "straightened",
    "stitches",
    "seconds",
)


def show(title: str, rows: list[dict[str, float]]) -> None:
    print(title)
    values = []
    for name in COLUMNS:
        got = [row[name] for row in rows if name in row]
        if not got:
            values.append(f"{name} -")
            continue
        mean = np.sum(got) if name == "illegal" else np.mean(got)
        values.append(f"{name} {mean:.4f}" if name in ("covered", "spurious") else f"{name} {mean:.3f}")
    print("   ", "  ".join(values), flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--icons", type=Path)
    parser.add_argument("--set", default="report", choices=("tune", "report"))
    parser.add_argument("--drawings", type=int, default=20, help="stroke drawings, and as many filled ones")
    parser.add_argument("--solids", type=int, help="filled drawings, if not as many as stroke drawings")
    parser.add_argument("--seed", default="order", help="any word; another one picks other drawings of the set")
    parser.add_argument("--widths", default="30,40,60,80")
    parser.add_argument("--methods", default=",".join([*METHODS, FLOOR]))
    parser.add_argument("--versions", default="clean,photo", help="clean, photo, tilted")
    parser.add_argument("--worst", action="store_true", help="list each run")
    parser.add_argument("--photos", action="store_true", help="measure open photographs at 60 wide and nothing else")
    parser.add_argument("--photo-folder", type=Path, help="more photographs")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    if options.photos:
        seed = int(hashlib.sha256(options.seed.encode()).hexdigest()[:8], 16)
        bench_photos(60, options.photo_folder, seed)
        return 0
    if options.icons is None:
        parser.error("--icons FOLDER is needed")
    drawings = load_drawings(options.icons, options.set, options.drawings, options.solids, options.seed)
    truths: dict[tuple[str, str, bool, str, int], Truth] = {}

    def truth_of(drawing: Drawing, version: str, columns: int) -> Truth:
        key = (drawing.pack, drawing.name, drawing.thick, version, columns)
        if key not in truths:
            truths[key] = make_truth(drawing, columns)
        return truths[key]

    for method in options.methods.split(","):
        for version in options.versions.split(","):
            for thick in (False, True):
                rows = []
                for drawing in drawings:
                    if drawing.thick != thick:
                        continue
                    drawing = on_sheet(drawing) if version == "tilted" else drawing
                    picture = VERSIONS[version](drawing.picture, drawing.name)
                    for columns in map(int, options.widths.split(",")):
                        truth = truth_of(drawing, "tilted" if version == "tilted" else "", columns)
                        begin = time.process_time()
                        lines = fit_of_truth(drawing, columns) if method == FLOOR else METHODS[method](picture, columns)
                        seconds = time.process_time() - begin
                        row = measure(lines, truth, columns)
                        if version == "tilted" and method != FLOOR:
                            row = measure_tilted(
                                row, measure(lines, truth_of(turned(drawing), "turned", columns), columns), truth
                            )
                        row["seconds"] = seconds
                        rows.append(row)
                        if options.worst:
                            print(
                                drawing.name,
                                columns,
                                {k: round(v, 3) for k, v in row.items()},
                                "truth",
                                truth.chains,
                                truth.ends,
                            )
                show(f"{method}, {version}, {'filled' if thick else 'stroke'} drawings, {len(rows)} runs", rows)
    return 0


if __name__ == "__main__":
    sys.exit(main())
