"""Speed and memory of whole processes, as ratios to plain ones, interleaved.

python scripts/bench_speed.py [--runs 5] [--only help,jpeg,png,heic,many,large]

Every figure is the median over the runs; the plain process is run in turn with ours, so that a change of
the machine's speed touches both. Pictures are made here from a seed.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
HERON = ROOT / "fixtures" / "pictures" / "heron.png"


def photo(width: int, height: int, seed: int = 7):
    """The heron drawing as a camera sees it: uneven light and noise."""
    import cv2
    import numpy as np

    rng = np.random.default_rng(seed)
    drawing = cv2.imread(str(HERON), cv2.IMREAD_GRAYSCALE)
    side = min(width, height) * 9 // 10
    scaled = cv2.resize(
        drawing, (side * drawing.shape[1] // max(drawing.shape), side * drawing.shape[0] // max(drawing.shape))
    )
    page = np.full((height, width), 235, dtype=np.float32)
    top, left = (height - scaled.shape[0]) // 2, (width - scaled.shape[1]) // 2
    page[top : top + scaled.shape[0], left : left + scaled.shape[1]] = scaled * 0.85 + 18
    light = cv2.resize(
        rng.uniform(0.75, 1.0, (4, 5)).astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC
    )
    page *= light
    # Grain of a sensor at full size: a 24 MP file of this comes to some 10 MB, as from a camera.
    for top in range(0, height, 500):
        rows = page[top : top + 500]
        rows += rng.normal(0, 7.0, rows.shape).astype(np.float32)
    gray = np.clip(page, 0, 255).astype(np.uint8)
    return np.stack([gray, np.clip(gray * 0.98, 0, 255).astype(np.uint8), gray], axis=2)


def make(kind: str, path: str, seed: int = 7) -> None:
    """Make one picture. Done in a process of its own, as a child's peak memory counts its parent's too."""
    import cv2
    import numpy as np

    if kind == "jpeg":
        cv2.imwrite(path, photo(6000, 4000), [cv2.IMWRITE_JPEG_QUALITY, 92])
    elif kind == "png":
        cv2.imwrite(path, photo(8660, 5774))
    elif kind == "heic":
        import pillow_heif
        from PIL import Image

        pillow_heif.register_heif_opener()
        Image.fromarray(photo(4032, 3024)).save(path, quality=80)
    elif kind == "small":
        cv2.imwrite(path, photo(1600, 1200, seed))
    else:
        cells = cv2.GaussianBlur(np.random.default_rng(3).normal(size=(400, 400)), (0, 0), 4) > 0
        text = "\n".join("".join("#" if c else "." for c in row) for row in cells) + "\n"
        Path(path).write_text(text, encoding="ascii")


def made(kind: str, path: Path, seed: int = 7) -> str:
    subprocess.run([sys.executable, __file__, "--make", kind, str(path), "--seed", str(seed)], check=True)
    return str(path)


def surroundings(folder: Path) -> dict[str, str]:
    """Return an environment in which modules are kept compiled, as an installed package has them."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPYCACHEPREFIX": str(folder / "compiled"), "PYTHONPATH": str(ROOT)}


def run(command: list[str], env: dict[str, str]) -> tuple[float, float, float]:
    """Return seconds of work (user and system), peak memory in MB and seconds by the clock, children included."""
    began = time.monotonic()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env=env)
    _, errors = process.communicate() if os.name == "nt" else (None, process.stderr.read())
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"{' '.join(command)} failed: {errors.decode()[-400:]}")
    peak = usage.ru_maxrss / (1024 if sys.platform != "darwin" else 1024 * 1024)
    return usage.ru_utime + usage.ru_stime, peak, time.monotonic() - began


def compare(label: str, ours: list[str], plain: list[str], runs: int, env: dict[str, str], goal: str = "") -> None:
    figures = []
    for _ in range(runs + 1):
        figures.append((*run(ours, env), *run(plain, env)))
    figures = figures[1:]
    seconds, peak, clock, plain_seconds, plain_peak, plain_clock = (
        statistics.median(f[i] for f in figures) for i in range(6)
    )
    ratio = statistics.median(f[0] / f[3] for f in figures)
    print(
        f"{label:<44} {ratio:5.2f} x   {seconds:6.2f} s of work against {plain_seconds:5.2f} s   "
        f"by the clock {clock / plain_clock:5.2f} x   "
        f"memory {peak:5.0f} MB against {plain_peak:5.0f} MB ({peak / plain_peak:4.2f})   {goal}",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--only", default="help,jpeg,lines,png,heic,many,large")
    parser.add_argument("--make", nargs=2, metavar=("KIND", "PATH"), help=argparse.SUPPRESS)
    parser.add_argument("--seed", type=int, default=7, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.make:
        make(*chosen.make, chosen.seed)
        return
    only = set(chosen.only.split(","))
    python = sys.executable
    ours = [python, "-m", "converter"]
    folder = Path(tempfile.mkdtemp())
    try:
        measure(only, python, ours, folder, chosen.runs)
    finally:
        shutil.rmtree(folder)


def measure(only: set[str], python: str, ours: list[str], folder: Path, runs: int) -> None:
    out = ["--out", str(folder / "out"), "--overwrite"]
    env = surroundings(folder)
    if "help" in only:
        compare("--help against python -c pass", [*ours, "--help"], [python, "-c", "pass"], runs, env, "goal 4")
    wide = ["--wide", "100"]
    if only & {"jpeg", "lines"}:
        jpeg = made("jpeg", folder / "photo.jpg")
        plain = [python, "-c", f"import cv2; cv2.imread({jpeg!r})"]
        for name, mode, goal in (("jpeg", "none", 1.5), ("lines", "edges", 2.5)):
            if name in only:
                command = [*ours, "chart", jpeg, *wide, "--lines", mode, *out]
                label = f"24 MP JPEG, all outputs, lines {mode}"
                compare(label, command, plain, runs, env, f"goal {goal}, memory 0.5")
    if "png" in only:
        png = made("png", folder / "scan.png")
        command = [*ours, "chart", png, *wide, "--lines", "none", *out]
        plain = [python, "-c", f"import cv2; cv2.imread({png!r})"]
        compare("50 MP PNG scan", command, plain, runs, env, "goal 1.1, 200 MB")
    if "heic" in only:
        heic = made("heic", folder / "photo.heic")
        start = "import pillow_heif; from PIL import Image; pillow_heif.register_heif_opener(); "
        command = [*ours, "chart", heic, *wide, "--lines", "none", *out]
        plain = [python, "-c", f"{start}Image.open({heic!r}).load()"]
        compare("12 MP HEIC", command, plain, runs, env, "goal 1.3")
    if "many" in only:
        pictures = [made("small", folder / f"many{number}.jpg", number) for number in range(100)]
        seconds, peak, wall = run([*ours, "chart", *pictures, *out], env)
        print(
            f"100 pictures: {wall:.1f} s by the clock, {seconds:.1f} s of work ({seconds / wall:.2f} cores), "
            f"largest process {peak:.0f} MB   goal both cores, 400 MB"
        )
    if "large" in only:
        seconds, peak, wall = run([*ours, "leaflet", made("grid", folder / "large.txt"), *out], env)
        print(f"400 x 400 chart to its leaflet: {seconds:.2f} s ({wall:.2f} by the clock), {peak:.0f} MB   goal 3 s")


if __name__ == "__main__":
    main()
