"""Measure the reduction on open icon sets, beside plain baselines.

    python scripts/bench_reduction.py --lines 200 --solids 100 --widths 30,40,60,80,120

The drawings are three npm packages (@phosphor-icons/core, @tabler/icons and bootstrap-icons, all MIT), fetched once
with ``npm pack`` into the cache folder and rendered by resvg, so that the exact ink is at hand; ``--broad`` takes three
others with broader pens and sharper corners (lucide-static, ISC; heroicons and @fluentui/svg-icons, MIT). Each is
charted clean, as a phone photo and as a pencil drawing (tests/helpers/worn_pictures.py; seeded by its name). What is
measured, and in which units, stands at the head of tests/helpers/reduction_measures.py.

Drawings are split by a hash of their name: one half was looked at while the reduction was tuned (``--half tune``), the
other half only serves for reporting (the default).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import resvg_py

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from helpers.reduction_measures import measure  # noqa: E402
from helpers.worn_pictures import pencil, photograph  # noqa: E402

from converter.pipeline import reduce_picture  # noqa: E402
from converter.raster.threshold import threshold_otsu  # noqa: E402
from converter.settings import ChartSettings  # noqa: E402

FINE = ("@phosphor-icons/core@2.1.1", "@tabler/icons@3.52.0", "bootstrap-icons@1.13.2")
BROAD = ("lucide-static@1.62.0", "heroicons@2.2.0", "@fluentui/svg-icons@1.1.343")
PIXELS = 1600
RIM = 100


def fetch(cache, packages):
    """Return the folder that holds the unpacked packages, fetching what is missing with npm."""
    cache.mkdir(parents=True, exist_ok=True)
    for package in packages:
        name = package.lstrip("@").rsplit("@", 1)[0].replace("/", "-")
        folder = cache / name
        if folder.exists():
            continue
        npm = shutil.which("npm")
        if npm is None:
            sys.exit("npm is needed once, to fetch the drawings.")
        out = subprocess.run([npm, "pack", package, "--silent"], cwd=cache, check=True, capture_output=True, text=True)
        with tarfile.open(cache / out.stdout.split()[-1]) as archive:
            archive.extractall(folder, filter="data")
    return cache


def list_broad(cache):
    """Return the SVG files of line drawings and of solid shapes with broad pens."""
    heroicons = cache / "heroicons/package/24"
    fluent = cache / "fluentui-svg-icons/package/icons"
    line = sorted((cache / "lucide-static/package/icons").glob("*.svg")) + sorted((heroicons / "outline").glob("*.svg"))
    line += sorted(fluent.glob("*_48_regular.svg"))
    return {"line": line, "solid": sorted((heroicons / "solid").glob("*.svg")) + sorted(fluent.glob("*_48_filled.svg"))}


def list_fine(cache):
    """Return the SVG files of line drawings and of solid shapes."""
    phosphor = cache / "phosphor-icons-core/package/assets"
    tabler = cache / "tabler-icons/package/icons"
    bootstrap = sorted((cache / "bootstrap-icons/package/icons").glob("*.svg"))
    line = [p for style in ("thin", "light", "regular") for p in sorted((phosphor / style).glob("*.svg"))]
    line += sorted((tabler / "outline").glob("*.svg")) + [p for p in bootstrap if not p.stem.endswith("-fill")]
    solid = sorted((phosphor / "fill").glob("*.svg")) + sorted((tabler / "filled").glob("*.svg"))
    solid += [p for p in bootstrap if p.stem.endswith("-fill")]
    return {"line": line, "solid": solid}


def half_of(path):
    stem = re.sub(r"-(thin|light|fill|bold|duotone|filled)$", "", path.stem)
    return "tune" if hashlib.sha256(stem.encode()).digest()[0] % 2 else "report"


def pick(paths, half, count, seed):
    chosen = [p for p in paths if half_of(p) == half]
    chosen.sort(key=lambda p: hashlib.sha256(f"{seed}{p.parent.name}/{p.name}".encode()).digest())
    return chosen[:count]


def render(path):
    """Return the exact ink (H, W) and the clean picture."""
    data = bytes(resvg_py.svg_to_bytes(svg_string=path.read_text(encoding="utf-8"), width=PIXELS))
    alpha = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)[:, :, 3]
    alpha = cv2.copyMakeBorder(alpha, RIM, RIM, RIM, RIM, cv2.BORDER_CONSTANT, value=0)
    return alpha > 127, 255 - alpha


def wear(gray, version, path):
    seed = int.from_bytes(hashlib.sha256(path.stem.encode()).digest()[:4], "big")
    return {"clean": lambda: gray, "photo": lambda: photograph(gray, seed), "pencil": lambda: pencil(gray, seed)}[
        version
    ]()


def by_us(picture, width, truth):
    return reduce_picture(picture, ChartSettings.from_options(columns=width))


def baseline(prepare, level=None):
    """Return a plain method on the box of the exact ink: prepare, average areas, threshold."""

    def run(picture, width, truth):
        gray = picture if picture.ndim == 2 else cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
        rows, cols = np.flatnonzero(truth.any(axis=1)), np.flatnonzero(truth.any(axis=0))
        top, left, bottom, right = rows[0], cols[0], rows[-1] + 1, cols[-1] + 1
        cell = (right - left) / width
        high = max(1, round((bottom - top) / cell))
        start = (top + bottom) / 2 - cell * high / 2
        cover = average_cells(
            prepare(gray, cell), start + cell * np.arange(high + 1), left + cell * np.arange(width + 1)
        )
        if level is None:
            scaled = np.rint(cover * 255).clip(0, 255).astype(np.uint8)
            cells = scaled <= threshold_otsu(scaled)
        else:
            cells = cover >= level
        return SimpleNamespace(cells=cells, placement=np.array([[cell, 0, start], [0, cell, left]]))

    return run


def average_cells(values, row_edges, col_edges):
    """Return the mean over each cell; fractions of pixels count by area, and what lies outside the picture as 0."""
    table = cv2.integral(values, sdepth=cv2.CV_64F)
    for axis, at in enumerate((row_edges, col_edges)):
        last = table.shape[axis] - 1
        held = np.clip(at, 0, last)
        low = np.minimum(held.astype(np.intp), last - 1)
        share = np.expand_dims(held - low, 1 - axis)
        table = np.take(table, low, axis) * (1 - share) + np.take(table, low + 1, axis) * share
    return np.diff(np.diff(table, axis=0), axis=1) / np.outer(np.diff(row_edges), np.diff(col_edges))


def as_is(gray, cell):
    return gray.astype(np.float32) / 255


def flat(gray, cell):
    """Divide the brightness of the paper out: the closing of a copy of 256 pixels, smoothed."""
    bright = as_is(gray, cell)
    height, width = bright.shape
    scale = min(1.0, 256 / max(height, width))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    side = max(3, round(0.125 * max(size)) | 1)
    paper = cv2.resize(bright, size, interpolation=cv2.INTER_AREA)
    paper = cv2.morphologyEx(paper, cv2.MORPH_CLOSE, np.ones((side, side), np.uint8), borderType=cv2.BORDER_REPLICATE)
    paper = cv2.blur(paper, (side, side), borderType=cv2.BORDER_REPLICATE)
    paper = cv2.resize(paper, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.clip(bright / np.maximum(paper, 1 / 255), 0, 1)


def thickened(gray, cell):
    ink = flat(gray, cell)
    dark = (np.rint(ink * 255) <= threshold_otsu(np.rint(ink * 255).astype(np.uint8))).astype(np.uint8)
    side = 2 * round(0.2 * cell) + 1
    return cv2.dilate(dark, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))).astype(np.float32)


METHODS = {
    "ours": by_us,
    "area + Otsu": baseline(as_is),
    "flat + area + Otsu": baseline(flat),
    "thickened + half": baseline(thickened, 0.5),
}


def asymmetry(truth, cells):
    """Return the share of stitches without their mirror image, if the drawing is mirror-symmetric; else nan."""
    rows, cols = np.flatnonzero(truth.any(axis=1)), np.flatnonzero(truth.any(axis=0))
    part = truth[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    worst = np.nan
    for image, chart in ((part[:, ::-1], cells[:, ::-1]), (part[::-1], cells[::-1])):
        if (part & image).sum() >= 0.995 * (part | image).sum():
            share = float((cells != chart).sum() / max(1, cells.sum()))
            worst = share if np.isnan(worst) else max(worst, share)
    return worst


def summarise(results):
    """Return one line of figures for a list of (Measures, asymmetry, seconds)."""
    found = [r[0] for r in results]

    def total(name):
        return float(np.sum([getattr(m, name) for m in found]))

    def mean(name):
        return float(np.mean([getattr(m, name) for m in found]))

    thin, stitches = max(1.0, total("thin_stitches")), max(1.0, total("stitches"))
    spread = [m.pen_spread for m in found if np.isfinite(m.pen_spread)]
    uneven = [r[1] for r in results if np.isfinite(r[1])]
    return {
        "n": len(found),
        "structure %": 100 * mean("structure"),
        "hard %": 100 * mean("hard"),
        "recall %": 100 * mean("recall"),
        "precision %": 100 * mean("precision"),
        "weight": thin / max(1.0, total("thin_length")),
        "2x2/100": 100 * total("blocks") / thin,
        "isolated/1000": 1000 * total("isolated") / stitches,
        "offset": total("offset_sum") / thin,
        "kinks/100": 100 * total("kinks") / thin,
        "bumps/100": 100 * total("bumps") / stitches,
        "pen": float(np.mean(spread)) if spread else float("nan"),
        "agree %": 100 * mean("agreement"),
        "asym %": 100 * float(np.mean(uneven)) if uneven else float("nan"),
        "seconds": float(np.mean([r[2] for r in results])),
    }


def contact_sheet(items, target):
    """Write the charts of a few drawings beside their pictures."""
    tiles = []
    for picture, cells, title in items:
        side = 260
        shown = picture if picture.ndim == 3 else cv2.cvtColor(picture, cv2.COLOR_GRAY2RGB)
        shown = cv2.resize(shown, (side, side), interpolation=cv2.INTER_AREA)
        scale = side / max(cells.shape)
        size = (max(1, round(cells.shape[1] * scale)), max(1, round(cells.shape[0] * scale)))
        chart = cv2.resize(np.where(cells, 0, 255).astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
        tile = np.full((side + 22, 2 * side + 12, 3), 225, np.uint8)
        tile[20 : 20 + side, :side] = shown
        tile[20 : 20 + size[1], side + 6 : side + 6 + size[0]] = chart[:, :, None]
        cv2.putText(tile, title[:60], (4, 14), cv2.FONT_HERSHEY_SIMPLEX, 0.42, (0, 0, 0), 1, cv2.LINE_AA)
        tiles.append(tile)
    while len(tiles) % 3:
        tiles.append(np.full_like(tiles[0], 225))
    rows = [np.hstack(tiles[k : k + 3]) for k in range(0, len(tiles), 3)]
    cv2.imwrite(str(target), np.vstack(rows)[:, :, ::-1])


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "onecolour-icons")
    parser.add_argument("--broad", action="store_true", help="drawings with broad pens and sharp corners")
    parser.add_argument("--lines", type=int, default=200, help="line drawings")
    parser.add_argument("--solids", type=int, default=100, help="solid shapes")
    parser.add_argument("--widths", default="30,40,60,80,120")
    parser.add_argument("--versions", default="clean,photo,pencil")
    parser.add_argument("--methods", default=",".join(METHODS))
    parser.add_argument("--half", choices=("report", "tune"), default="report")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sheets", type=Path, help="folder for contact sheets of the worst and some other charts")
    parser.add_argument("--json", type=Path, help="file for all figures")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    drawings = list_broad(fetch(options.cache, BROAD)) if options.broad else list_fine(fetch(options.cache, FINE))
    widths = [int(w) for w in options.widths.split(",")]
    every = {}
    for kind, count in (("line", options.lines), ("solid", options.solids)):
        chosen = pick(drawings[kind], options.half, count, options.seed)
        for version in options.versions.split(","):
            results = {(m, w): [] for m in options.methods.split(",") for w in widths}
            worst = []
            for path in chosen:
                truth, gray = render(path)
                picture = wear(gray, version, path)
                for method, width in results:
                    start = time.process_time()
                    made = METHODS[method](picture, width, truth)
                    seconds = time.process_time() - start
                    found, faults = measure(truth, made.cells, made.placement)
                    results[method, width].append((found, asymmetry(truth, made.cells), seconds))
                    if method == "ours" and (faults or len(worst) < 6):
                        title = f"{path.parent.name}/{path.stem} {width} {'; '.join(faults[:1])}"
                        worst.append((bool(faults), cv2.resize(picture, (520, 520)), made.cells, title))
                        if faults:
                            print("   ", kind, version, title, flush=True)
            for (method, width), group in results.items():
                if group:
                    line = summarise(group)
                    every[f"{kind} {version} {width} {method}"] = line
                    figures = "  ".join(f"{k} {v:.5g}" for k, v in line.items())
                    print(f"{kind:5} {version:6} {width:4} {method:18} {figures}", flush=True)
            if options.sheets and worst:
                options.sheets.mkdir(parents=True, exist_ok=True)
                worst.sort(key=lambda item: not item[0])
                contact_sheet([w[1:] for w in worst[:18]], options.sheets / f"{kind}-{version}.png")
    if options.json:
        options.json.write_text(json.dumps(every, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
