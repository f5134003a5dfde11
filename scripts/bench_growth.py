"""Time and memory of each stage against the size of the picture and of the chart.

python scripts/bench_growth.py [--most-megapixels 100] [--widest 600] [--write]

Every measurement is a process of its own: processor seconds of the stage, and the peak memory of the process. The
last column gives the exponent of growth between the smallest and the largest size: 1 is linear in pixels or cells.
--write puts the tables and plots into DEVELOPERS.md.
"""

from __future__ import annotations

import argparse
import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MEGAPIXELS = (1, 3, 10, 30, 100)
WIDTHS = (30, 60, 120, 240, 400, 600)
PICTURE_STAGES = ("read JPEG", "read PNG", "reduce to 60 wide")
CHART_STAGES = ("reduce", "lines", "working order", "chart PNG", "stitched look", "leaflet PDF")


def scene(width: int, height: int):
    """Loops and blobs on paper in uneven light: a drawing of the same complexity at any size."""
    import cv2
    import numpy as np

    rng = np.random.default_rng(5)
    page = np.full((900, 1200), 235, dtype=np.uint8)
    for _ in range(14):
        centre = (int(rng.integers(150, 1050)), int(rng.integers(150, 750)))
        axes = (int(rng.integers(40, 220)), int(rng.integers(40, 200)))
        thickness = -1 if rng.random() < 0.25 else int(rng.integers(6, 14))
        cv2.ellipse(page, centre, axes, int(rng.integers(0, 180)), 0, 360, 30, thickness, cv2.LINE_AA)
    big = cv2.resize(page, (width, height), interpolation=cv2.INTER_CUBIC)
    shade = cv2.resize(rng.uniform(0.8, 1, (3, 4)).astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    return np.clip(big * shade, 0, 255).astype(np.uint8)


def measure(stage: str, size: int, path: str) -> dict[str, float]:
    import resource
    import time

    import cv2

    cv2.setNumThreads(1)
    work = prepare(stage, size, path)
    began = time.process_time()
    work()
    seconds = time.process_time() - began
    return {"seconds": seconds, "mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}


def prepare(stage: str, size: int, path: str):
    from converter.draw import drawings
    from converter.files.picture import read_picture
    from converter.jobs.facts import gather_facts
    from converter.jobs.leaflet import leaflet_bytes
    from converter.pipeline import chart_from_image, reduce_picture, suggest_lines
    from converter.settings import ChartSettings, ThreadSettings

    if stage.startswith("read"):
        return lambda: read_picture(Path(path), 60)
    if stage == "reduce to 60 wide":
        pixels = read_picture(Path(path), 60).pixels
        return lambda: reduce_picture(pixels, ChartSettings.from_options(columns=60))
    pixels = scene(1600, 1200) if size <= 120 else scene(14 * size, 21 * size // 2)
    if stage == "reduce":
        return lambda: reduce_picture(pixels, ChartSettings.from_options(columns=size))
    if stage == "lines":
        return lambda: suggest_lines(pixels, size, "edges")
    chart = chart_from_image(pixels, size, lines="none")
    if stage == "working order":
        return lambda: gather_facts(chart)
    if stage == "chart PNG":
        return lambda: drawings.png_bytes(chart)
    if stage == "stitched look":
        return lambda: drawings.stitched_bytes(chart)
    facts = gather_facts(chart)
    return lambda: leaflet_bytes(chart, facts, paper="A4", thread=ThreadSettings())


def ask(stage: str, size: int, path: str = "") -> dict[str, float]:
    command = [sys.executable, __file__, "--measure", stage, str(size), path]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{stage} at {size} failed: {done.stderr[-400:]}")
    return json.loads(done.stdout)


def table(stages: tuple[str, ...], sizes: tuple[int, ...], unit: str, power: int, path_of) -> str:
    lines = ["| stage | " + " | ".join(f"{size} {unit}" for size in sizes) + " | growth |",
             "|---|" + "---|" * (len(sizes) + 1)]  # fmt: skip
    plots = []
    for stage in stages:
        found = [ask(stage, size, path_of(stage, size)) for size in sizes]
        seconds = [f["seconds"] for f in found]
        ratio = math.log(seconds[-1] / max(seconds[0], 1e-3)) / math.log((sizes[-1] / sizes[0]) ** power)
        cells = " | ".join(f"{f['seconds']:.2f} s, {f['mb']:.0f} MB" for f in found)
        lines.append(f"| {stage} | {cells} | {ratio:.2f} |")
        plots.append(seconds)
        print(lines[-1], flush=True)
    top = max(max(row) for row in plots)
    lines += ["", "```mermaid", "xychart-beta", f'  title "Seconds of each stage ({", ".join(stages)})"',
              "  x-axis [" + ", ".join(f'"{size} {unit}"' for size in sizes) + "]",
              f'  y-axis "processor seconds" 0 --> {top:.2f}']  # fmt: skip
    lines += ["  line [" + ", ".join(f"{s:.3f}" for s in row) + "]" for row in plots]
    return "\n".join([*lines, "```", ""])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--most-megapixels", type=int, default=100)
    parser.add_argument("--widest", type=int, default=600)
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--measure", nargs=3, help=argparse.SUPPRESS)
    parser.add_argument("--make", nargs=2, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.measure:
        print(json.dumps(measure(chosen.measure[0], int(chosen.measure[1]), chosen.measure[2])))
        return
    if chosen.make:
        import cv2

        side = math.sqrt(int(chosen.make[0]) * 1e6 / 12)
        cv2.imwrite(chosen.make[1], scene(int(4 * side), int(3 * side)))
        return
    megapixels = tuple(m for m in MEGAPIXELS if m <= chosen.most_megapixels)
    widths = tuple(w for w in WIDTHS if w <= chosen.widest)
    with tempfile.TemporaryDirectory() as folder:
        for size in megapixels:
            for ending in ("jpg", "png"):
                target = str(Path(folder) / f"{size}.{ending}")
                subprocess.run([sys.executable, __file__, "--make", str(size), target], check=True)

        def path_of(stage: str, size: int) -> str:
            return str(Path(folder) / f"{size}.{'png' if 'PNG' in stage else 'jpg'}")

        first = table(PICTURE_STAGES, megapixels, "MP", 1, path_of)
    second = table(CHART_STAGES, widths, "wide", 2, lambda stage, size: "")
    if chosen.write:
        target = ROOT / "DEVELOPERS.md"
        text = target.read_text(encoding="utf-8")
        begin, end = "<!-- growth begins -->\n", "<!-- growth ends -->\n"
        before, rest = text.split(begin)
        body = f"\nAgainst the picture:\n\n{first}\nAgainst the chart:\n\n{second}\n"
        target.write_text(before + begin + body + end + rest.split(end)[1], encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
