"""Make photos of squared paper whose true squares are known, and pictures that are no squared paper.

A sheet is drawn flat as optical density (natural logarithm, one value a colour channel): printed lines, marks by
pen, pencil or printer, backstitches, writing, the reverse side showing through. It is then bent (curl, folds),
tilted, seen through a lens with radial distortion, lit unevenly, blurred, made noisy, sharpened as phones do, and
pressed as JPEG. Nothing but the seed and the level decides the picture.

    python scripts/make_squared_paper.py --level hard --seed 7 --out DIR
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np

LEVELS = ("scan", "normal", "hard")
OTHERS = ("text", "cloth", "tiles", "drawing", "knitting", "ruled", "bricks", "net")
Rng = np.random.Generator


@dataclass(frozen=True, eq=False)
class SquaredPhoto:
    """A photo and what is truly on it."""

    image: np.ndarray
    cells: np.ndarray
    """bool (rows, cols): every square of the grid, those outside the photo too."""
    lines: np.ndarray
    """(K, 2, 2) unit backstitches, holes (row, col)."""
    corners: np.ndarray
    """(rows + 1, cols + 1, 2) picture (row, col) of each grid crossing."""
    kinds: np.ndarray
    """int (rows, cols): 0 bare, else number of the mark."""
    facts: dict[str, Any] = field(default_factory=dict)


# --- motifs -------------------------------------------------------------------------------------------------------


def random_motif(rng: Rng, rows: int, cols: int) -> np.ndarray:
    """Return a bool grid: blob, bands, letters, scattered flowers or a framed figure, often mirrored."""
    kind = rng.choice(["blob", "bands", "letters", "flowers", "figure"])
    r, c = np.mgrid[0:rows, 0:cols].astype(np.float64)
    y, x = (r + 0.5) / rows * 2 - 1, (c + 0.5) / cols * 2 - 1
    if kind == "blob":
        noise = cv2.GaussianBlur(rng.normal(size=(rows, cols)), (0, 0), rng.uniform(0.8, 2.5))
        noise /= noise.std()
        cells = noise - 1.2 * (x**2 + y**2) > rng.uniform(-0.9, 0.2)
    elif kind == "bands":
        radius = np.abs(x) ** rng.uniform(0.8, 2) + np.abs(y) ** rng.uniform(0.8, 2)
        cells = (np.sin(radius * rng.uniform(8, 22) + rng.uniform(0, 6)) > rng.uniform(-0.3, 0.6)) & (radius < 1.1)
    elif kind == "letters":
        page = np.zeros((rows, cols), np.uint8)
        height = max(7, rows // max(1, int(rng.integers(1, 4))))
        scale = height / 30
        for top in range(height - 1, rows, height + 2):
            text = "".join(rng.choice(list("ABCDEHKMNORSTX23458"), 12))
            cv2.putText(page, text, (1, top), cv2.FONT_HERSHEY_DUPLEX, scale, 1, max(1, height // 12))
        cells = page > 0
    elif kind == "flowers":
        cells = np.zeros((rows, cols), bool)
        for _ in range(max(2, rows * cols // 90)):
            cr, cc = int(rng.integers(1, max(2, rows - 2))), int(rng.integers(1, max(2, cols - 2)))
            for dr, dc in ((0, 1), (0, -1), (1, 0), (-1, 0), (0, 0))[: int(rng.integers(3, 6))]:
                if 0 <= cr + dr < rows and 0 <= cc + dc < cols:
                    cells[cr + dr, cc + dc] = True
    else:
        cells = (np.abs(x) + np.abs(y) < rng.uniform(0.6, 0.9)) & ~(x**2 + y**2 < rng.uniform(0.05, 0.25))
        cells |= (rng.random((rows, cols)) < 0.08) & (np.abs(x) > 0.3)
        if rng.random() < 0.6:
            cells[[0, -1]] = True
            cells[:, [0, -1]] = True
    if rng.random() < 0.5:
        cells = cells | cells[:, ::-1]
    if not cells.any():
        cells[rows // 2, cols // 2] = True
    return np.asarray(cells, bool)


def random_lines(rng: Rng, rows: int, cols: int, diagonals: bool) -> np.ndarray:
    """Return unit backstitches of a few walks over the holes, without repeats."""
    found: set[tuple[tuple[int, int], tuple[int, int]]] = set()
    steps = [(0, 1), (1, 0), (0, -1), (-1, 0)] + ([(1, 1), (1, -1), (-1, 1), (-1, -1)] if diagonals else [])
    for _ in range(int(rng.integers(1, 6))):
        at = (int(rng.integers(0, rows + 1)), int(rng.integers(0, cols + 1)))
        step = steps[rng.integers(len(steps))]
        for _ in range(int(rng.integers(3, 16))):
            if rng.random() < 0.3:
                turn = steps[rng.integers(len(steps))]
                step = turn if turn != (-step[0], -step[1]) else step
            to = (at[0] + step[0], at[1] + step[1])
            if not (0 <= to[0] <= rows and 0 <= to[1] <= cols):
                break
            found.add(tuple(sorted((at, to))))  # type: ignore[arg-type]
            at = to
    # Two diagonals of one square would be a cross: keep the first only.
    seen: set[tuple[int, int]] = set()
    kept = []
    for a, b in sorted(found):
        if a[0] != b[0] and a[1] != b[1]:
            square = (min(a[0], b[0]), min(a[1], b[1]))
            if square in seen:
                continue
            seen.add(square)
        kept.append([a, b])
    return np.array(kept, np.float64).reshape(-1, 2, 2)


# --- drawing on the flat sheet ------------------------------------------------------------------------------------

SHIFT = 4


def _polyline(mask: np.ndarray, points: np.ndarray, width: float, value: float) -> None:
    """Draw through points (x, y) with a round pen of a width that need not be whole, keeping the darker value."""
    width = max(width, 0.7)
    pad = int(width) + 3
    low = np.floor(points.min(0)).astype(int) - pad
    high = np.ceil(points.max(0)).astype(int) + pad + 1
    low = np.maximum(low, 0)
    high = np.minimum(high, [mask.shape[1], mask.shape[0]])
    if (high <= low).any():
        return
    zoom = 4 if width < 6 else 2
    size = (high - low) * zoom
    local = np.zeros((size[1], size[0]), np.uint8)
    moved = np.round(((points - low) * zoom) * 2**SHIFT).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(local, [moved], False, 255, max(1, round(width * zoom)), cv2.LINE_AA, SHIFT)
    small = cv2.resize(local, (int(high[0] - low[0]), int(high[1] - low[1])), interpolation=cv2.INTER_AREA)
    part = mask[low[1] : high[1], low[0] : high[0]]
    np.maximum(part, small.astype(np.float32) * (value / 255), out=part)


def _stroke(mask: np.ndarray, rng: Rng, a: tuple[float, float], b: tuple[float, float], pen: Pen, cell: float) -> None:
    """Draw one stroke by hand from a to b (x, y): it bends a little and its pressure changes."""
    n = 6
    t = np.linspace(0, 1, n)[:, None]
    start, end = np.array(a), np.array(b)
    points = start * (1 - t) + end * t
    points += rng.normal(size=2) * pen.jitter * cell * 0.35
    bend = rng.normal() * pen.jitter * cell * 0.5
    side = np.array([-(end - start)[1], (end - start)[0]])
    side = side / max(np.hypot(*side), 1e-6)
    points = points + side * np.sin(np.pi * t) * bend
    press = np.clip(pen.pressure + rng.normal() * pen.unevenness, 0.25, 1.3)
    for k in range(n - 1):
        local = np.clip(press * (1 + pen.unevenness * 0.5 * np.sin(k + press * 9)), 0.2, 1.3)
        _polyline(mask, points[k : k + 2], pen.width * cell * (0.8 + 0.2 * local), min(1.0, local))


@dataclass(frozen=True)
class Pen:
    """What the marks are made with; lengths in squares."""

    width: float
    jitter: float
    pressure: float
    unevenness: float
    density: tuple[float, float, float]
    grain: float
    """0 ink, 1 pencil that catches only the tops of the paper."""
    printed: bool = False


def _mark_solid(mask: np.ndarray, rng: Rng, x: float, y: float, cell: float, pen: Pen) -> None:
    inset = rng.uniform(-0.02, 0.1) if not pen.printed else 0.03
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float64)
    corners = inset + corners * (1 - 2 * inset) + rng.normal(size=(4, 2)) * pen.jitter * 0.5
    points = corners * cell + [x, y]
    layer = np.round(points * 2**SHIFT).astype(np.int32)
    press = float(np.clip(pen.pressure + rng.normal() * pen.unevenness, 0.3, 1))
    low = np.maximum(np.floor(points.min(0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(points.max(0)).astype(int) + 3, [mask.shape[1], mask.shape[0]])
    if (high <= low).any():
        return
    local = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
    cv2.fillPoly(local, [layer - low.astype(np.int32) * 2**SHIFT], int(255 * press), cv2.LINE_AA, SHIFT)
    part = mask[low[1] : high[1], low[0] : high[0]]
    np.maximum(part, local.astype(np.float32) / 255, out=part)


def _mark_scribble(mask: np.ndarray, rng: Rng, x: float, y: float, cell: float, pen: Pen) -> None:
    count = int(rng.integers(5, 9))
    flip = rng.random() < 0.3
    points = []
    for k in range(count):
        along = 0.1 + 0.8 * k / (count - 1)
        across = (0.1, 0.9) if k % 2 else (0.9, 0.1)
        points.append((across[0], along) if not flip else (along, across[0]))
    pts = np.array(points) + rng.normal(size=(count, 2)) * pen.jitter * 0.5
    wide = Pen(max(pen.width, 0.13), 0, pen.pressure, pen.unevenness, pen.density, pen.grain)
    for k in range(count - 1):
        a, b = pts[k] * cell + [x, y], pts[k + 1] * cell + [x, y]
        _stroke(mask, rng, (a[0], a[1]), (b[0], b[1]), wide, cell)


def _mark_cross(mask: np.ndarray, rng: Rng, x: float, y: float, cell: float, pen: Pen) -> None:
    e = float(np.clip(rng.normal(0.16, 0.05), 0.04, 0.26)) if not pen.printed else 0.17
    _stroke(mask, rng, (x + e * cell, y + e * cell), (x + (1 - e) * cell, y + (1 - e) * cell), pen, cell)
    _stroke(mask, rng, (x + (1 - e) * cell, y + e * cell), (x + e * cell, y + (1 - e) * cell), pen, cell)


def _mark_plus(mask: np.ndarray, rng: Rng, x: float, y: float, cell: float, pen: Pen) -> None:
    e = 0.2
    _stroke(mask, rng, (x + e * cell, y + 0.5 * cell), (x + (1 - e) * cell, y + 0.5 * cell), pen, cell)
    _stroke(mask, rng, (x + 0.5 * cell, y + e * cell), (x + 0.5 * cell, y + (1 - e) * cell), pen, cell)


def _mark_slash(mask: np.ndarray, rng: Rng, x: float, y: float, cell: float, pen: Pen) -> None:
    e = 0.18
    _stroke(mask, rng, (x + e * cell, y + (1 - e) * cell), (x + (1 - e) * cell, y + e * cell), pen, cell)


def _mark_dot(mask: np.ndarray, rng: Rng, x: float, y: float, cell: float, pen: Pen) -> None:
    centre = np.array([x, y]) + (0.5 + rng.normal(size=2) * pen.jitter * 0.8) * cell
    radius = (0.24 if pen.printed else float(np.clip(rng.normal(0.22, 0.03), 0.14, 0.32))) * cell
    angles = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    ring = centre + np.stack([np.cos(angles), np.sin(angles)], 1) * radius * 0.5
    _polyline(mask, np.vstack([ring, ring[:1]]), radius, min(1, pen.pressure))
    _polyline(mask, np.vstack([centre, centre + 0.1]), radius, min(1, pen.pressure))


def _mark_hatch(mask: np.ndarray, rng: Rng, x: float, y: float, cell: float, pen: Pen) -> None:
    count = int(rng.integers(3, 5))
    for k in range(count):
        s = (k + 0.5) / count * 2 - 1
        a = np.array([max(0, s), max(0, -s)]) * 0.84 + 0.08
        b = np.array([1 + min(0, s), 1 - max(0, s)]) * 0.84 + 0.08
        if s < 0:
            a, b = np.array([0.08, -s * 0.84 + 0.08]), np.array([(1 + s) * 0.84 + 0.08, 0.92])
        else:
            a, b = np.array([s * 0.84 + 0.08, 0.08]), np.array([0.92, (1 - s) * 0.84 + 0.08])
        a, b = a * cell + [x, y], b * cell + [x, y]
        _stroke(mask, rng, (a[0], a[1]), (b[0], b[1]), pen, cell)


def _closed(mask: np.ndarray, rng: Rng, corners: np.ndarray, x: float, y: float, cell: float, pen: Pen) -> None:
    points = (corners + rng.normal(size=corners.shape) * pen.jitter * 0.3) * cell + [x, y]
    points = np.vstack([points, points[:1]])
    for a, b in pairwise(points):
        _polyline(mask, np.array([a, b]), pen.width * cell, min(1, pen.pressure))


def _mark_ring(mask: np.ndarray, rng: Rng, x: float, y: float, cell: float, pen: Pen) -> None:
    angles = np.linspace(0, 2 * np.pi, 14, endpoint=False)
    radius = 0.3 if pen.printed else float(np.clip(rng.normal(0.29, 0.03), 0.2, 0.38))
    _closed(mask, rng, 0.5 + radius * np.stack([np.cos(angles), np.sin(angles)], 1), x, y, cell, pen)


def _mark_triangle(mask: np.ndarray, rng: Rng, x: float, y: float, cell: float, pen: Pen) -> None:
    _closed(mask, rng, np.array([[0.5, 0.2], [0.8, 0.78], [0.2, 0.78]]), x, y, cell, pen)


MARKS: dict[str, Callable[[np.ndarray, Rng, float, float, float, Pen], None]] = {
    "solid": _mark_solid,
    "scribble": _mark_scribble,
    "cross": _mark_cross,
    "dot": _mark_dot,
    "hatch": _mark_hatch,
    "ring": _mark_ring,
    "triangle": _mark_triangle,
    "plus": _mark_plus,
    "slash": _mark_slash,
}

INKS = {
    "black": (1.9, 1.9, 1.9),
    "blue": (1.7, 1.1, 0.35),
    "red": (0.25, 1.6, 1.3),
    "green": (1.5, 0.5, 1.2),
    "pencil": (0.95, 0.95, 0.93),
    "violet": (1.0, 1.5, 0.5),
}
LINE_COLOURS = {
    "blue": (0.75, 0.4, 0.15),
    "gray": (0.5, 0.5, 0.5),
    "green": (0.65, 0.25, 0.5),
    "black": (1.5, 1.5, 1.5),
    "orange": (0.08, 0.4, 0.75),
}
SCRIPT_FONTS = (cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_COMPLEX_SMALL)
WORDS = ("Heron", "for Ann", "start here", "2 strands", "count 14", "centre", "sachet", "leave out?", "red", "x 2")


def _noise(rng: Rng, shape: tuple[int, int], grain: float) -> np.ndarray:
    """Return smooth unit noise of a grain size in pixels."""
    grain = max(grain, 1.0)
    small = (max(2, int(shape[0] / grain) + 2), max(2, int(shape[1] / grain) + 2))
    field_ = rng.normal(size=small).astype(np.float32)
    return cv2.resize(field_, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)


@dataclass(frozen=True)
class Sheet:
    """The flat sheet: the first corner of the grid is ``left`` and ``top`` squares from the sheet's edge."""

    density: np.ndarray
    unit: float
    left: float
    top: float
    facts: dict[str, Any]


def _choose_pen(rng: Rng, level: str, printed: bool, name: str) -> Pen:
    hard = {"scan": 0.5, "normal": 0.8, "hard": 1.0}[level]
    ink = np.array(INKS[name]) * rng.uniform(0.8, 1.1)
    if name == "pencil":
        ink *= {"scan": 1.0, "normal": rng.uniform(0.7, 1.1), "hard": rng.uniform(0.4, 1.0)}[level]
    return Pen(
        width=float(rng.uniform(0.1, 0.19)),
        jitter=0.0 if printed else 0.07 * hard * float(rng.uniform(0.5, 1.3)),
        pressure=1.0 if printed else float(rng.uniform(0.75, 1.0)),
        unevenness=0.0 if printed else 0.12 * hard,
        density=(float(ink[0]), float(ink[1]), float(ink[2])),
        grain=float(rng.uniform(0.4, 0.9)) if name == "pencil" else 0.0,
        printed=printed,
    )


def draw_sheet(
    rng: Rng,
    level: str,
    rows: int,
    cols: int,
    unit: float,
    *,
    marked: np.ndarray,
    kinds: np.ndarray,
    mark_names: list[str],
    pens: list[Pen],
    lines: np.ndarray,
    line_pen: Pen,
    margin: tuple[float, float, float, float],
    writing: int,
    quiet: np.ndarray,
) -> Sheet:
    """Draw the flat sheet; ``margin`` is left, top, right, bottom paper outside the grid, in squares."""
    left, top, right, bottom = margin
    high, wide = int((rows + top + bottom) * unit), int((cols + left + right) * unit)
    density = np.zeros((high, wide, 3), np.float32)
    facts: dict[str, Any] = {}

    # printed lines
    name = str(rng.choice(list(LINE_COLOURS), p=[0.3, 0.27, 0.13, 0.2, 0.1]))
    strength = {"scan": rng.uniform(0.5, 1.1), "normal": rng.uniform(0.45, 1.1), "hard": rng.uniform(0.35, 1.0)}[level]
    colour = np.array(LINE_COLOURS[name], np.float32) * np.float32(strength)
    width = rng.uniform(0.05, 0.1) if name != "black" else rng.uniform(0.04, 0.08)
    bold = int(rng.choice([0, 10, 5], p=[0.45, 0.45, 0.1]))
    facts.update(line=name, strength=float(strength), bold=bold)
    phase = (int(rng.integers(0, 10)), int(rng.integers(0, 10))) if rng.random() < 0.5 else (0, 0)
    layer = np.zeros((high, wide), np.float32)
    ends = (left * unit, (left + cols) * unit, top * unit, (top + rows) * unit)
    for i in range(rows + 1):
        heavy = bold and (i + phase[0]) % bold == 0
        y = (top + i) * unit
        pts = np.array([[ends[0], y], [ends[1], y]])
        _polyline(layer, pts, width * unit * (1.8 if heavy else 1), 1.0 if heavy else 0.8)
    for j in range(cols + 1):
        heavy = bold and (j + phase[1]) % bold == 0
        x = (left + j) * unit
        pts = np.array([[x, ends[2]], [x, ends[3]]])
        _polyline(layer, pts, width * unit * (1.8 if heavy else 1), 1.0 if heavy else 0.8)
    if rng.random() < 0.25:  # printed halftone: the line is a row of small dots
        period = max(3.0, unit * 0.11)
        yy, xx = np.mgrid[0:high, 0:wide].astype(np.float32)
        screen = 0.5 + 0.5 * np.sin((xx + yy) * 2 * np.pi / period / 1.4) * np.sin((xx - yy) * 2 * np.pi / period / 1.4)
        layer *= 0.45 + 1.1 * screen
        facts["halftone"] = True
    layer *= 1 + 0.12 * _noise(rng, (high, wide), unit * 3)
    density += layer[:, :, None] * colour

    # marks, one layer a pen
    for number, (mark, pen) in enumerate(zip(mark_names, pens, strict=True), start=1):
        ink = np.zeros((high, wide), np.float32)
        for r, c in np.argwhere(kinds == number):
            MARKS[mark](ink, rng, (left + c) * unit, (top + r) * unit, unit, pen)
        _lay(density, ink, pen, rng, unit)
    if len(lines):
        ink = np.zeros((high, wide), np.float32)
        for a, b in lines:
            _stroke(
                ink,
                rng,
                ((left + a[1]) * unit, (top + a[0]) * unit),
                ((left + b[1]) * unit, (top + b[0]) * unit),
                line_pen,
                unit,
            )
        _lay(density, ink, line_pen, rng, unit)

    if writing:
        pen = _choose_pen(rng, level, False, str(rng.choice(["black", "blue", "pencil"])))
        ink = np.zeros((high, wide), np.float32)
        _write(ink, rng, unit, margin, rows, cols, quiet, writing)
        _lay(density, ink, pen, rng, unit)

    # the sheet itself
    density += (0.012 * _noise(rng, (high, wide), 1.5) + 0.012 * _noise(rng, (high, wide), unit * 0.7))[:, :, None]
    tint = np.array([[0.02, 0.02, 0.03], [0.03, 0.05, 0.13], [0.12, 0.12, 0.13], [0.02, 0.01, 0.0]], np.float32)
    density += tint[rng.integers(len(tint))]
    if level == "hard" and rng.random() < 0.4:  # the reverse side shows through
        back = random_motif(rng, rows, cols)[:, ::-1]
        shift = rng.uniform(0, 1, 2)
        ghost = cv2.resize(
            back.astype(np.float32), (int(cols * unit), int(rows * unit)), interpolation=cv2.INTER_NEAREST
        )
        ghost = cv2.GaussianBlur(ghost, (0, 0), unit * 0.25)
        y0, x0 = int((top + shift[0] - 0.5) * unit), int((left + shift[1] - 0.5) * unit)
        y0, x0 = max(0, y0), max(0, x0)
        part = density[y0 : y0 + ghost.shape[0], x0 : x0 + ghost.shape[1]]
        part += (ghost[: part.shape[0], : part.shape[1]] * rng.uniform(0.02, 0.06))[:, :, None]
        facts["show_through"] = True
    return Sheet(density, unit, left, top, facts)


def _lay(density: np.ndarray, ink: np.ndarray, pen: Pen, rng: Rng, unit: float) -> None:
    """Add a layer of ink: it bleeds a little, or a pencil catches the paper's tooth."""
    if not pen.printed and pen.grain == 0:
        bleed = cv2.GaussianBlur(ink, (0, 0), max(0.5, unit * 0.02))
        fibres = np.clip(1 + 0.25 * _noise(rng, ink.shape, max(1.0, unit * 0.04)), 0.5, 1.4)
        ink = np.clip(bleed * fibres, 0, 1)
    if pen.grain:
        tooth = _noise(rng, ink.shape, max(1.0, unit * 0.035)) + 0.5 * _noise(rng, ink.shape, max(1.5, unit * 0.08))
        ink = ink * np.clip(0.75 + pen.grain * 0.45 * tooth, 0.08, 1.2)
    density += ink[:, :, None] * np.array(pen.density, np.float32)


def _write(
    ink: np.ndarray,
    rng: Rng,
    unit: float,
    margin: tuple[float, float, float, float],
    rows: int,
    cols: int,
    quiet: np.ndarray,
    amount: int,
) -> None:
    """Write words in the margin and on squares that are at least two squares from the motif (``quiet``)."""
    left, top, _right, _bottom = margin
    for _ in range(amount):
        word = str(rng.choice(WORDS))
        font = int(rng.choice(SCRIPT_FONTS))
        height = unit * rng.uniform(0.8, 2.4)
        scale = height / 22
        thick = max(1, round(unit * rng.uniform(0.07, 0.14)))
        (w, h), base = cv2.getTextSize(word, font, scale, thick)
        for _ in range(25):
            x = int(rng.integers(0, max(1, ink.shape[1] - w)))
            y = int(rng.integers(h, max(h + 1, ink.shape[0] - base)))
            r0, r1 = int(np.floor((y - h) / unit - top)) - 1, int(np.ceil((y + base) / unit - top)) + 1
            c0, c1 = int(np.floor(x / unit - left)) - 1, int(np.ceil((x + w) / unit - left)) + 1
            area = quiet[max(0, r0) : max(0, r1), max(0, c0) : max(0, c1)]
            if x + w < ink.shape[1] and area.all():
                page = np.zeros(ink.shape, np.uint8)
                cv2.putText(page, word, (x, y), font, scale, 255, thick, cv2.LINE_AA)
                np.maximum(ink, page.astype(np.float32) / 255, out=ink)
                quiet[max(0, r0) : max(0, r1), max(0, c0) : max(0, c1)] = False
                break


# --- the camera ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class View:
    """Forward map from the sheet (squares, x right, y down) to the photo (pixels)."""

    rotation: np.ndarray
    centre: np.ndarray
    focal: float
    distance: float
    curl: float
    curl_angle: float
    curl_phase: float
    fold: tuple[float, float, float]
    """Slope, position along, direction: a fold raises both halves by the slope (0 none)."""
    lens: tuple[float, float]
    middle: np.ndarray
    size: float
    """Half length of the sheet, squares."""

    def surface(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return heights and slopes (2) at sheet points (..., 2) around the centre, in half lengths."""
        d = np.array([np.cos(self.curl_angle), np.sin(self.curl_angle)])
        s = u @ d
        z = self.curl * np.cos(1.4 * s + self.curl_phase)
        slope = (-1.4 * self.curl * np.sin(1.4 * s + self.curl_phase))[..., None] * d
        rise, at, angle = self.fold
        if rise:
            f = np.array([np.cos(angle), np.sin(angle)])
            t = u @ f - at
            soft = np.sqrt(t * t + 0.02**2)
            z = z + rise * soft
            slope = slope + (rise * t / soft)[..., None] * f
        return z, slope

    def project(self, points: np.ndarray) -> np.ndarray:
        """Return photo (x, y) of sheet points (..., 2) in squares."""
        u = (points - self.centre) / self.size
        z, slope = self.surface(u)
        # Bent paper keeps its length: shrink the ground distance by the mean slope to first order.
        flat = u * (1 - 0.5 * np.minimum((slope**2).sum(-1), 0.5))[..., None]
        space = np.concatenate([flat, z[..., None]], -1) @ self.rotation.T
        depth = self.distance - space[..., 2]
        p = space[..., :2] / depth[..., None]
        r2 = (p**2).sum(-1, keepdims=True)
        p = p * (1 + self.lens[0] * r2 + self.lens[1] * r2 * r2)
        return p * self.focal + self.middle


def _invert(view: View, shape: tuple[int, int], step: int) -> tuple[np.ndarray, np.ndarray]:
    """Return sheet x and y (squares) at each photo pixel, by Newton steps on a coarse net."""
    rows, cols = shape[0] // step + 3, shape[1] // step + 3
    py, px = np.mgrid[0:rows, 0:cols].astype(np.float64)
    target = np.stack([(px - 0.5) * step, (py - 0.5) * step], -1)
    at = np.broadcast_to(view.centre, target.shape).copy()
    eps = view.size * 1e-3
    for _ in range(12):
        here = view.project(at)
        jx = (view.project(np.add(at, [eps, 0])) - here) / eps
        jy = (view.project(np.add(at, [0, eps])) - here) / eps
        det = jx[..., 0] * jy[..., 1] - jx[..., 1] * jy[..., 0]
        det = np.where(np.abs(det) < 1e-9, 1e-9, det)
        miss = target - here
        dx = (miss[..., 0] * jy[..., 1] - miss[..., 1] * jy[..., 0]) / det
        dy = (jx[..., 0] * miss[..., 1] - jx[..., 1] * miss[..., 0]) / det
        move = np.stack([dx, dy], -1)
        move *= np.minimum(1, 0.7 * view.size / np.maximum(np.hypot(dx, dy), 1e-9))[..., None]
        at += move
    ys = (np.arange(shape[0]) / step + 0.5).astype(np.float32)
    xs = (np.arange(shape[1]) / step + 0.5).astype(np.float32)
    mx, my = np.meshgrid(xs, ys)
    sheet_x = cv2.remap(at[..., 0].astype(np.float32), mx, my, cv2.INTER_LINEAR)
    sheet_y = cv2.remap(at[..., 1].astype(np.float32), mx, my, cv2.INTER_LINEAR)
    return sheet_x, sheet_y


def _rotation(turn: float, tilt_x: float, tilt_y: float) -> np.ndarray:
    cz, sz, cx, sx, cy, sy = np.cos(turn), np.sin(turn), np.cos(tilt_x), np.sin(tilt_x), np.cos(tilt_y), np.sin(tilt_y)
    rz = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    rx = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    ry = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    return np.asarray(rx @ ry @ rz)


def _table(rng: Rng, shape: tuple[int, int]) -> np.ndarray:
    """Return a plain or grained table top, linear light (H, W, 3)."""
    base = np.array([[0.35, 0.2, 0.1], [0.08, 0.08, 0.09], [0.5, 0.48, 0.45], [0.25, 0.3, 0.35]])[rng.integers(4)]
    grain = cv2.resize(rng.normal(size=(max(2, shape[0] // 6), 4)).astype(np.float32), (shape[1], shape[0]))
    fine = _noise(rng, shape, 2)
    return (base * np.exp(0.2 * grain + 0.05 * fine)[:, :, None]).astype(np.float32)


def take_photo(
    rng: Rng, level: str, density: np.ndarray, unit: float, view: View, shape: tuple[int, int], pixels: float
) -> np.ndarray:
    """Return the sheet as the camera sees it: uint8 (H, W, 3) RGB; ``pixels`` is the mean width of a square."""
    sheet_x, sheet_y = _invert(view, shape, 16)
    map_x, map_y = sheet_x * unit - 0.5, sheet_y * unit - 0.5
    ratio = unit / pixels
    if ratio > 1.2:
        density = cv2.GaussianBlur(density, (0, 0), 0.35 * ratio)
    reflect = np.exp(-cv2.remap(density, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    reflect *= 0.88
    outside = (sheet_x < 0) | (sheet_y < 0) | (sheet_x * unit > density.shape[1]) | (sheet_y * unit > density.shape[0])
    if outside.any():
        soft = cv2.GaussianBlur(outside.astype(np.float32), (0, 0), 0.8)[:, :, None]
        reflect = reflect * (1 - soft) + _table(rng, shape) * soft

    # light: slope of the paper, a lamp from one side, vignette, a shadow of a hand or phone
    h, w = shape
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    yy, xx = yy / h * 2 - 1, xx / w * 2 - 1
    amount = {"scan": 0.03, "normal": 0.25, "hard": 0.45}[level]
    angle = rng.uniform(0, 2 * np.pi)
    light = 1 + amount * rng.uniform(0.3, 1) * (np.cos(angle) * xx + np.sin(angle) * yy)
    light *= 1 - (0 if level == "scan" else rng.uniform(0, 0.25)) * (xx**2 + yy**2) / 2
    if level != "scan":
        u = (np.stack([sheet_x, sheet_y], -1) - view.centre) / view.size
        _z, slope = view.surface(np.clip(u, -2, 2))
        lamp = np.array([np.cos(angle), np.sin(angle)]) * rng.uniform(0.2, 0.9)
        light *= np.clip(1 - slope @ lamp, 0.3, 1.6).astype(np.float32)
    if level != "scan" and rng.random() < (0.5 if level == "normal" else 0.75):
        turn, off = rng.uniform(0, 2 * np.pi), rng.uniform(-0.6, 0.6)
        bend = 0.15 * np.sin(3 * (xx * np.sin(turn) - yy * np.cos(turn)) + rng.uniform(0, 6))
        side = xx * np.cos(turn) + yy * np.sin(turn) + bend - off
        edge = rng.uniform(0.05, 0.5) if level == "normal" or rng.random() < 0.5 else rng.uniform(0.004, 0.04)
        depth = rng.uniform(0.15, 0.4) if level == "normal" else rng.uniform(0.2, 0.6)
        light *= 1 - depth / (1 + np.exp(-np.clip(side / edge * 3, -40, 40)))
    cast = np.array([1, 1, 1]) * (1 + (0.01 if level == "scan" else 0.07) * rng.normal(size=3))
    lit = reflect * light[:, :, None] * cast.astype(np.float32)

    # lens: out of focus, shaken
    blur = {"scan": rng.uniform(0.3, 0.6), "normal": rng.uniform(0.4, 1.0), "hard": rng.uniform(0.6, 1.7)}[level]
    blur = min(blur, pixels * 0.085)
    lit = cv2.GaussianBlur(lit, (0, 0), blur)
    if level == "hard" and rng.random() < 0.4:
        length = int(min(rng.integers(2, 5), max(2, pixels * 0.15)))
        kernel = np.zeros((length * 2 + 1, length * 2 + 1), np.float32)
        turn = rng.uniform(0, np.pi)
        dx, dy = np.cos(turn) * length / 2, np.sin(turn) * length / 2
        cv2.line(kernel, (round(length - dx), round(length - dy)), (round(length + dx), round(length + dy)), 1.0)
        lit = cv2.filter2D(lit, -1, kernel / kernel.sum())

    # sensor: shot and read noise in linear light, then the usual curve, sharpening, JPEG
    exposure = rng.uniform(0.75, 1.0) / max(float(np.quantile(lit, 0.98)), 1e-3)
    lit = lit * np.float32(exposure)
    noise = {"scan": 0.004, "normal": rng.uniform(0.006, 0.014), "hard": rng.uniform(0.01, 0.03)}[level]
    grain = cv2.GaussianBlur(rng.normal(size=lit.shape).astype(np.float32), (0, 0), 0.6) * 2.0
    lit = lit + grain * noise * np.sqrt(np.clip(lit, 0.0, 1) + 0.02)
    coded = np.clip(lit, 0, 1) ** np.float32(1 / 2.2)
    if level != "scan":
        coded = coded + rng.uniform(0, 0.6) * (coded - cv2.GaussianBlur(coded, (0, 0), 1.2))
    out = np.clip(coded * 255 + 0.5, 0, 255).astype(np.uint8)
    low, high = {"scan": (85, 96), "normal": (70, 93), "hard": (50, 85)}[level]
    if level != "scan" or rng.random() < 0.5:
        return _pressed(out, int(rng.integers(low, high)))
    return out


def _pressed(image: np.ndarray, quality: int) -> np.ndarray:
    done, data = cv2.imencode(".jpg", image[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[:, :, ::-1])


def make_photo(
    seed: int, level: str, pixels: float | None = None, squares: tuple[int, int] | None = None, **force: Any
) -> SquaredPhoto:
    """Return the photo of one seed and level (``scan``, ``normal`` or ``hard``).

    ``pixels`` fixes the width of a square, ``squares`` the (cols, rows) of the grid; ``force`` may set ``marks``
    (list of names), ``ink``, ``lines`` (bool), ``writing`` (int), ``frame`` (bool).
    """
    rng = np.random.default_rng([LEVELS.index(level), seed])
    cols, rows = squares or (int(rng.integers(16, 52)), int(rng.integers(16, 52)))
    span = {"scan": (12, 60), "normal": (14, 60), "hard": (12, 45)}[level]
    chosen = float(np.exp(rng.uniform(np.log(span[0]), np.log(span[1]))))
    if squares is None:
        chosen = min(chosen, 2100 / max(rows, cols))
    pixels = pixels or max(chosen, 12.0)
    unit = float(np.clip(round(pixels * 1.35), 20, 96))

    frame = bool(force.get("frame", rng.random() < 0.6))
    # motif inside the grid, with bare squares round it
    gap = [int(rng.integers(0, 7)) for _ in range(4)]
    mr, mc = rows - gap[1] - gap[3], cols - gap[0] - gap[2]
    marked = np.zeros((rows, cols), bool)
    marked[gap[1] : gap[1] + mr, gap[0] : gap[0] + mc] = random_motif(rng, mr, mc)

    printed = bool(rng.random() < (0.4 if level != "hard" else 0.2))
    n_marks = int(rng.choice([1, 2, 3], p=[0.6, 0.25, 0.15]))
    pool = ["solid", "scribble", "cross", "dot", "hatch", "ring", "triangle", "plus", "slash"]
    weights = np.array([0.26, 0.14, 0.26, 0.1, 0.08, 0.06, 0.04, 0.04, 0.02])
    if printed:
        weights[1] = 0
    names = [str(n) for n in rng.choice(pool, n_marks, replace=False, p=weights / weights.sum())]
    names = force.get("marks", names)
    n_marks = len(names)
    inks = ["black", "blue", "pencil", "red", "green", "violet"]
    if printed:
        inks = ["black", "red", "blue"]
    ink_names = [str(rng.choice(inks)) if n_marks == 1 or rng.random() < 0.5 else inks[0] for _ in names]
    if "ink" in force:
        ink_names = [force["ink"]] * n_marks
    pens = [_choose_pen(rng, level, printed, n) for n in ink_names]
    kinds = np.zeros((rows, cols), int)
    if n_marks > 1:
        split = cv2.GaussianBlur(rng.normal(size=(rows, cols)), (0, 0), 2.0)
        order = np.argsort(np.argsort(split.ravel())) / split.size
        kinds[:] = (1 + np.minimum((order * n_marks).astype(int), n_marks - 1)).reshape(rows, cols)
    else:
        kinds[:] = 1
    kinds[~marked] = 0

    lines = np.zeros((0, 2, 2))
    with_lines = bool(force.get("lines", rng.random() < 0.35))
    if with_lines:
        lines = random_lines(rng, rows, cols, "slash" not in names and "hatch" not in names)
        inner = (lines[..., 0] >= gap[1]).all(1) & (lines[..., 0] <= rows - gap[3]).all(1)
        inner &= (lines[..., 1] >= gap[0]).all(1) & (lines[..., 1] <= cols - gap[2]).all(1)
        diagonal = (lines[:, 0] != lines[:, 1]).all(1)
        low = lines.min(1).astype(int)
        blocked = diagonal & marked[np.minimum(low[:, 0], rows - 1), np.minimum(low[:, 1], cols - 1)]
        lines = lines[inner & ~blocked]
    base = _choose_pen(rng, level, printed, str(rng.choice(["black", "blue", "red"])))
    line_pen = Pen(
        float(rng.uniform(0.15, 0.24)), base.jitter * 0.7, base.pressure, base.unevenness, base.density, 0.0, printed
    )

    quiet = cv2.dilate(marked.astype(np.uint8), np.ones((5, 5), np.uint8)) == 0
    for a, b in lines.astype(int):
        r, c = np.minimum(a, b)
        quiet[max(0, r - 2) : r + 3, max(0, c - 2) : c + 3] = False
    margin = tuple(float(rng.uniform(1.2, 5)) for _ in range(4)) if frame else (0.0, 0.0, 0.0, 0.0)
    writing = int(force.get("writing", rng.integers(1, 5) if rng.random() < 0.5 else 0))
    sheet = draw_sheet(
        rng, level, rows, cols, unit, marked=marked, kinds=kinds, mark_names=names, pens=pens, lines=lines,
        line_pen=line_pen, margin=margin, writing=writing, quiet=quiet,  # type: ignore[arg-type]
    )  # fmt: skip

    limit = {"scan": (0.0, 1.5, 0.0), "normal": (9.0, 6.0, 0.05), "hard": (20.0, 14.0, 0.12)}[level]
    tilt = rng.uniform(0, limit[0]) * np.pi / 180
    way = rng.uniform(0, 2 * np.pi)
    turn = rng.uniform(-limit[1], limit[1]) * np.pi / 180
    size_squares = np.array([sheet.density.shape[1], sheet.density.shape[0]]) / unit
    half = float(np.max(size_squares) / 2)
    distance = float(rng.uniform(2.6, 4.0))
    fold = (0.0, 0.0, 0.0)
    if level == "hard" and rng.random() < 0.35:
        fold = (float(rng.uniform(-0.1, 0.1)), float(rng.uniform(-0.4, 0.4)), float(rng.choice([0, np.pi / 2])))
    view = View(
        rotation=_rotation(turn, tilt * np.cos(way), tilt * np.sin(way)),
        centre=size_squares / 2,
        focal=pixels * half * distance,
        distance=distance,
        curl=float(rng.uniform(-limit[2], limit[2])),
        curl_angle=float(rng.uniform(0, np.pi)),
        curl_phase=float(rng.uniform(0, 6)),
        fold=fold,
        lens=(0.0, 0.0) if level == "scan" else (float(rng.uniform(-0.25, 0.2)), float(rng.uniform(-0.1, 0.1))),
        middle=np.zeros(2),
        size=half,
    )
    edge = np.linspace(0, 1, 30)
    rim = np.concatenate(
        [np.stack([edge, edge * 0 + k], 1) for k in (0, 1)] + [np.stack([edge * 0 + k, edge], 1) for k in (0, 1)]
    )
    seen = view.project(rim * size_squares)
    low, high = seen.min(0), seen.max(0)
    if frame:
        pad = rng.uniform(-0.8, 2.0, 4) * pixels  # a little of the table, or a little of the margin lost
        low, high = low - pad[:2], high + pad[2:]
    else:
        # cut off inside the grid, but never inside the motif and its lines
        keep = np.argwhere(marked)
        box = np.array([keep.min(0), keep.max(0) + 1], np.float64)
        if len(lines):
            box[0] = np.minimum(box[0], lines.reshape(-1, 2).min(0))
            box[1] = np.maximum(box[1], lines.reshape(-1, 2).max(0))
        rect = np.array([[box[i, 1], box[j, 0]] for i in (0, 1) for j in (0, 1)])
        rim_motif = np.concatenate(
            [rect[0] + (rect[k] - rect[0]) * edge[:, None] for k in (1, 2)]
            + [rect[3] + (rect[k] - rect[3]) * edge[:, None] for k in (1, 2)]
        )
        inner_seen = view.project(np.add(rim_motif, [sheet.left, sheet.top]))
        slack = 0.25 * pixels
        lo, hi = inner_seen.min(0) - slack, inner_seen.max(0) + slack
        cut = rng.uniform(0, 1, 4)
        low, high = low + (lo - low) * cut[:2], high - (high - hi) * cut[2:]
    low, high = np.floor(low), np.ceil(high)
    shape = (int(high[1] - low[1]), int(high[0] - low[0]))
    view = View(**{**view.__dict__, "middle": view.middle - low})
    image = take_photo(rng, level, sheet.density, unit, view, shape, pixels)
    gi, gj = np.mgrid[0 : rows + 1, 0 : cols + 1].astype(np.float64)
    corners = view.project(np.stack([gj + sheet.left, gi + sheet.top], -1))[..., ::-1] - 0.0
    facts = dict(sheet.facts, marks=names, inks=ink_names, printed=printed, pixels=pixels, frame=frame, writing=writing,
                 tilt=float(np.degrees(tilt)), turn=float(np.degrees(turn)), fold=fold[0], curl=view.curl, level=level,
                 seed=seed)  # fmt: skip
    return SquaredPhoto(image, marked, lines, corners, kinds, facts)


# --- pictures that are no squared paper ---------------------------------------------------------------------------


def make_other(seed: int, kind: str) -> np.ndarray:
    """Return a picture that is no chart: one of `OTHERS`, uint8 (H, W, 3) RGB."""
    rng = np.random.default_rng([77, OTHERS.index(kind), seed])
    high, wide = int(rng.integers(500, 1100)), int(rng.integers(500, 1300))
    page = {"text": _text_page, "ruled": _ruled_page, "cloth": _cloth, "tiles": _tiles, "drawing": _drawing,
            "knitting": _knitting, "bricks": _bricks, "net": _net}[kind](rng, high, wide)  # fmt: skip
    centre = (wide / 2, high / 2)
    matrix = cv2.getRotationMatrix2D(centre, float(rng.uniform(-8, 8)), float(rng.uniform(1.0, 1.25)))
    turned = np.vstack([matrix, [0, 0, 1]])
    tilt = np.array([[1, 0, 0], [0, 1, 0], [rng.uniform(-2e-4, 2e-4), rng.uniform(-2e-4, 2e-4), 1]])
    page = cv2.warpPerspective(page.astype(np.float32), tilt @ turned, (wide, high), borderMode=cv2.BORDER_REFLECT)
    yy, xx = np.mgrid[0:high, 0:wide].astype(np.float32)
    way = rng.uniform(0, 6.28)
    light = 1 + rng.uniform(0, 0.35) * (np.cos(way) * (xx / wide - 0.5) + np.sin(way) * (yy / high - 0.5)) * 2
    page = cv2.GaussianBlur(page, (0, 0), float(rng.uniform(0.5, 1.2))) * light[:, :, None]
    page = page + rng.normal(size=page.shape) * rng.uniform(0.003, 0.02)
    return _pressed(np.clip(np.clip(page, 0, 1) ** (1 / 2.2) * 255, 0, 255).astype(np.uint8), int(rng.integers(60, 92)))


def _flat(rng: Rng, high: int, wide: int, low: float = 0.6, top: float = 0.95) -> np.ndarray:
    tint = rng.uniform(low, top) * (1 + 0.08 * rng.normal(size=3))
    return np.ones((high, wide, 3), np.float32) * tint.astype(np.float32)


def _text_page(rng: Rng, high: int, wide: int) -> np.ndarray:
    mask = np.zeros((high, wide), np.uint8)
    scale = rng.uniform(0.4, 1.2)
    step = int(34 * scale)
    letters = list("abcdefghijklmnopqrstuvwxyz     ABCDEFGH,.")
    for y in range(step, high, step):
        text = "".join(rng.choice(letters, int(wide / (14 * scale))))
        cv2.putText(mask, text, (20, y), int(rng.choice(SCRIPT_FONTS)), scale, 255, 1 + int(scale > 0.8), cv2.LINE_AA)
    return _flat(rng, high, wide) * (1 - 0.85 * mask.astype(np.float32)[:, :, None] / 255)


def _ruled_page(rng: Rng, high: int, wide: int) -> np.ndarray:
    page = _text_page(rng, high, wide) if rng.random() < 0.5 else _flat(rng, high, wide)
    step = int(rng.integers(14, 60))
    colour = np.array([0.5, 0.65, 0.9], np.float32)
    for y in range(step, high, step):
        page[y : y + 2] *= colour
    if rng.random() < 0.5:
        page[:, step * 2 : step * 2 + 2] *= np.array([0.95, 0.5, 0.5], np.float32)
    return page


def _cloth(rng: Rng, high: int, wide: int) -> np.ndarray:
    """Plain weave: threads over and under, each with its own thickness and place."""
    pitch = rng.uniform(7, 40)
    uneven = rng.uniform(0.01, 0.08)
    yy, xx = np.mgrid[0:high, 0:wide].astype(np.float32)
    slow = cv2.GaussianBlur(rng.normal(size=(high // 8 + 2, wide // 8 + 2)).astype(np.float32), (0, 0), 5) * 14 * uneven
    slow = cv2.resize(slow, (wide, high))
    nx, ny = int(wide / pitch) + 3, int(high / pitch) + 3
    shift_x = np.interp(xx[0], np.arange(nx) * pitch, rng.normal(size=nx) * uneven)
    shift_y = np.interp(yy[:, 0], np.arange(ny) * pitch, rng.normal(size=ny) * uneven)
    u = xx / pitch + shift_x[None].astype(np.float32) + slow
    v = (
        yy / pitch + shift_y[:, None].astype(np.float32) + slow.T[:high, :wide]
        if slow.shape[0] == slow.shape[1]
        else (yy / pitch + shift_y[:, None].astype(np.float32) - slow)
    )
    over = (np.floor(u) + np.floor(v)) % 2 == 0
    warp, weft = np.sin(np.pi * (u % 1)), np.sin(np.pi * (v % 1))
    bulge = np.where(over, warp * (0.6 + 0.4 * weft), weft * (0.6 + 0.4 * warp))
    hole = rng.uniform(0, 0.5) * ((u % 1 - 0.5) ** 2 * 4) ** 4 * ((v % 1 - 0.5) ** 2 * 4) ** 4
    fibre = 0.06 * _noise(rng, (high, wide), 1.5)
    return _flat(rng, high, wide) * (0.45 + 0.55 * np.clip(bulge, 0, 1) ** 0.6 + fibre - hole)[:, :, None]


def _tiles(rng: Rng, high: int, wide: int) -> np.ndarray:
    """Wall or floor tiles, each with its own tone, laid by hand, with a joint that is light or dark."""
    pitch = rng.uniform(24, 120)
    ratio = rng.choice([1.0, 1.0, 2.0])
    joint = rng.uniform(0.04, 0.12)
    page = _flat(rng, high, wide, 0.25, 0.9)
    tone = rng.choice([0.25, 1.6])
    base = page[0, 0].copy()
    page *= tone
    vary = rng.uniform(0.02, 0.15)
    for i in range(int(high / pitch) + 1):
        off = 0.5 * (i % 2) if ratio > 1 else 0.0
        for j in range(-1, int(wide / pitch / ratio) + 1):
            jitter = rng.normal(size=2) * 0.025 * pitch
            y0 = i * pitch + joint * pitch / 2 + jitter[0]
            x0 = (j + off) * pitch * ratio + joint * pitch / 2 + jitter[1]
            y1, x1 = y0 + pitch * (1 - joint), x0 + pitch * (ratio - joint)
            if x1 <= 0 or y1 <= 0:
                continue
            part = page[max(0, int(y0)) : int(y1), max(0, int(x0)) : int(x1)]
            if part.size:
                shine = 1 + 0.1 * np.linspace(-1, 1, part.shape[0])[:, None, None]
                part[:] = base * (1 + vary * rng.normal()) * shine
    return page * (1 + 0.04 * _noise(rng, (high, wide), 3))[:, :, None]


def _drawing(rng: Rng, high: int, wide: int) -> np.ndarray:
    mask = np.zeros((high, wide), np.uint8)
    for _ in range(int(rng.integers(4, 14))):
        n = int(rng.integers(3, 9))
        angles = np.sort(rng.uniform(0, 2 * np.pi, n * 3))
        radius = rng.uniform(30, 200) * (1 + 0.4 * np.sin(angles * rng.integers(2, 6)))
        centre = rng.uniform([80, 80], [wide - 80, high - 80])
        pts = (centre + np.stack([np.cos(angles), np.sin(angles)], 1) * radius[:, None]).astype(np.int32)
        if rng.random() < 0.4:
            cv2.fillPoly(mask, [pts], 255, cv2.LINE_AA)
        else:
            cv2.polylines(mask, [pts], bool(rng.random() < 0.7), 255, int(rng.integers(1, 9)), cv2.LINE_AA)
    return _flat(rng, high, wide) * (1 - 0.9 * mask.astype(np.float32)[:, :, None] / 255)


def _knitting(rng: Rng, high: int, wide: int) -> np.ndarray:
    """Stocking stitch: columns of V, each loop a little different, with a pattern in a second colour."""
    pitch = rng.uniform(12, 50)
    page = _flat(rng, high, wide, 0.1, 0.3)
    base, second = rng.uniform(0.3, 0.9, 3).astype(np.float32), rng.uniform(0.2, 0.9, 3).astype(np.float32)
    step = pitch * rng.uniform(0.75, 1.0)
    pattern = rng.random((int(high / step) + 3, int(wide / pitch) + 3)) < 0.25
    for i in range(int(high / step) + 2):
        for j in range(int(wide / pitch) + 2):
            x, y = (j + 0.5) * pitch + rng.normal() * 0.05 * pitch, i * step + rng.normal() * 0.05 * pitch
            colour = second if pattern[i, j] else base
            for way in (-1, 1):
                a = (int(x + way * 0.42 * pitch), int(y - 0.45 * step))
                b = (int(x + way * 0.06 * pitch), int(y + 0.5 * step))
                shade = colour * np.float32(1 + 0.08 * rng.normal())
                cv2.line(page, a, b, [float(v) for v in shade], max(2, int(0.36 * pitch)), cv2.LINE_AA)
    return page * (1 + 0.08 * _noise(rng, (high, wide), 1.5))[:, :, None]


def _bricks(rng: Rng, high: int, wide: int) -> np.ndarray:
    page = _flat(rng, high, wide, 0.5, 0.7)
    tall = rng.uniform(18, 60)
    base = np.array([0.5, 0.2, 0.13], np.float32)
    for i in range(int(high / tall) + 1):
        for j in range(-1, int(wide / tall / 2.6) + 1):
            x, y = int((j + 0.5 * (i % 2)) * tall * 2.6), int(i * tall)
            brick = page[max(0, y + 2) : int(y + tall * 0.86), max(0, x + 2) : max(0, int(x + tall * 2.45))]
            brick[:] = base * (1 + 0.15 * rng.normal())
    return page * (1 + 0.1 * _noise(rng, (high, wide), 2))[:, :, None]


def _net(rng: Rng, high: int, wide: int) -> np.ndarray:
    """A slack net before a soft ground: diamonds of cord."""
    ground = np.stack([cv2.GaussianBlur(_noise(rng, (high, wide), 60), (0, 0), 20) for _ in range(3)], -1)
    page = np.clip(0.5 + 0.2 * ground, 0.1, 0.95).astype(np.float32)
    pitch = rng.uniform(25, 90)
    sag = rng.uniform(0.05, 0.2)
    for way in (1, -1):
        for k in range(-int(high / pitch) - 2, int((wide + high) / pitch) + 2):
            t = np.arange(0, high, 6)
            x = k * pitch + way * t + sag * pitch * np.sin(t / pitch * 1.3 + k)
            pts = np.stack([x if way > 0 else x + 0 * t, t], 1).astype(np.int32)
            cv2.polylines(page, [pts], False, (0.15, 0.13, 0.1), max(1, int(pitch * 0.06)), cv2.LINE_AA)
    return page


def main() -> None:
    """Write photos and their truth from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--level", choices=LEVELS, default="normal")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--count", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path())
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    for seed in range(options.seed, options.seed + options.count):
        photo = make_photo(seed, options.level)
        name = options.out / f"{options.level}-{seed}"
        cv2.imwrite(f"{name}.png", photo.image[:, :, ::-1])
        rows = ["".join("#" if cell else "." for cell in row) for row in photo.cells]
        truth = {"rows": rows, "lines": photo.lines.astype(int).tolist(), "facts": photo.facts}
        Path(f"{name}.json").write_text(json.dumps(truth, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
