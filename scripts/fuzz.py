"""Throw broken bytes at everything that reads hers: pictures, chart files, plain grids, requests to the page.

python scripts/fuzz.py --target pictures --seconds 600

Each input must be read, or refused with one of our own errors in one line, within the caps of time and memory. The
corpus is made here from a seed. With atheris installed (Linux) the search follows the coverage; without it, with
--plain and for the page the inputs are cut, spliced and flipped at random. A fault does not end the search: the first
input of each kind is written to --keep, all are told at the end, and each becomes a test.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import random
import resource
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

from converter.errors import ConverterError

MEMORY_CAP_MB = 1500
SECONDS_CAP = {"pictures": 1.0, "charts": 1.0, "grids": 1.0, "page": 10.0}
"""CPU time of one input; a request to the page may honestly ask for a large chart."""
TELL_SECONDS = 30
"""How often the count so far is told: the search that follows the coverage ends without a word."""
Target = Callable[[bytes], None]


def read_picture(data: bytes) -> None:
    from converter.files.picture import picture_from_bytes

    pixels = picture_from_bytes(data, "fuzz", 30).pixels
    assert pixels.dtype == np.uint8 and pixels.ndim in (2, 3) and pixels.size, f"{pixels.dtype} {pixels.shape}"


def read_chart(data: bytes) -> None:
    from converter.files.chart_file import chart_bytes, chart_from_bytes

    chart = chart_from_bytes(data, "fuzz")
    again = chart_from_bytes(chart_bytes(chart), "fuzz")
    assert again.same_stitches(chart), "a chart changed by writing and reading"
    assert chart_bytes(again) == chart_bytes(chart), "a chart file changed by reading and writing"


def read_grid(data: bytes) -> None:
    from converter.files.chart_file import chart_bytes, chart_from_bytes

    chart = chart_from_bytes(data, "fuzz")
    for suffix in (".pbm", ".txt", ".png"):
        again = chart_from_bytes(chart_bytes(chart, suffix), "fuzz")
        assert np.array_equal(again.cells, chart.cells), f"crosses changed by writing {suffix} and reading"


def picture_seeds() -> list[bytes]:
    rng = np.random.default_rng(11)
    seeds = []
    gray = rng.integers(0, 255, (12, 16), dtype=np.uint8)
    colour = np.stack([gray, gray // 2, 255 - gray], axis=2)
    images = [
        Image.fromarray(gray), Image.fromarray(colour), Image.fromarray(gray).convert("1"),
        Image.fromarray(colour).convert("P"), Image.fromarray(np.dstack([colour, gray])),
        Image.fromarray(gray.astype(np.uint16) * 257), Image.fromarray(gray.astype(np.float32)),
        Image.fromarray(colour).convert("CMYK"),
    ]  # fmt: skip
    for image in images:
        for kind in ("PNG", "JPEG", "TIFF", "WEBP", "BMP", "GIF"):
            stream = io.BytesIO()
            try:
                image.save(stream, format=kind)
            except (OSError, KeyError, ValueError):
                continue
            seeds.append(stream.getvalue())
    for orientation in range(1, 9):
        stream = io.BytesIO()
        images[0].save(stream, format="TIFF", tiffinfo={274: orientation}, compression="tiff_lzw")
        seeds.append(stream.getvalue())
    return seeds


def chart_seeds() -> list[bytes]:
    from converter.files.chart_file import chart_bytes
    from converter.model.chart import Chart

    rng = np.random.default_rng(12)
    charts = [
        Chart(cells=rng.random(size) < 0.5, lines=[[[0, 0], [1, 1]], [[0.5, 0], [1, 0.5]]], title="Häkel")
        for size in ((1, 1), (3, 5), (9, 17))
    ]
    return [chart_bytes(chart) for chart in charts]


def grid_seeds() -> list[bytes]:
    from converter.files.chart_file import chart_bytes
    from converter.files.grids import pbm_from_cells
    from converter.model.chart import Chart

    rng = np.random.default_rng(13)
    seeds = [b"P1 # a comment\n3 2 1 0 1\n#another\n0 1 0\n", b"\r\n##.\r\n.#.\r\n\r\n"]
    for size in ((1, 1), (3, 5), (9, 17)):
        chart = Chart(cells=rng.random(size) < 0.5)
        seeds += [chart_bytes(chart, suffix) for suffix in (".pbm", ".txt", ".png")]
        seeds.append(pbm_from_cells(chart.cells, packed=False))
    return seeds


class Watch:
    """Count the cases, and keep the first input of each kind of fault."""

    def __init__(self, name: str, target: Target, keep: Path) -> None:
        self.name, self.target, self.keep = name, target, keep
        self.cases, self.refused, self.slowest = 0, 0, 0.0
        self.faults: dict[str, int] = {}
        self.high = peak_mb()
        self.told = time.monotonic()

    def __call__(self, data: bytes) -> None:
        self.cases += 1
        began = time.process_time()
        try:
            self.target(data)
        except ConverterError as error:
            self.refused += 1
            if not str(error).strip() or "\n" in str(error):
                self.fault(data, f"message {error!r}")
        except (Exception, RecursionError) as error:
            places = [f for f in traceback.extract_tb(error.__traceback__) if "converter" in f.filename]
            place = f"{Path(places[-1].filename).name}:{places[-1].lineno}" if places else "outside"
            self.fault(data, f"{type(error).__name__} at {place}: {str(error)[:200]}", key=(type(error), place))
        seconds = time.process_time() - began
        self.slowest = max(self.slowest, seconds if self.cases > 200 else 0)
        peak = peak_mb()
        if self.cases > 200 and seconds > SECONDS_CAP[self.name]:
            self.fault(data, f"{seconds:.1f} s", key="time")
        if peak > MEMORY_CAP_MB and peak > self.high * 1.05:
            self.high = peak
            self.fault(data, f"{peak:.0f} MB", key=f"memory {peak:.0f}")
        if time.monotonic() - self.told > TELL_SECONDS:
            self.told = time.monotonic()
            self.report()

    def fault(self, data: bytes, what: str, key: object = None) -> None:
        name = str(key or what)
        self.faults[name] = self.faults.get(name, 0) + 1
        if self.faults[name] == 1:
            self.keep.mkdir(parents=True, exist_ok=True)
            path = self.keep / f"{self.name}-{self.cases}.bin"
            path.write_bytes(data)
            print(f"FAULT {what} -> {path}", flush=True)

    def report(self) -> None:
        print(
            f"{self.name}: {self.cases} cases, {self.refused} refused, {sum(self.faults.values())} faults of "
            f"{len(self.faults)} kinds, slowest {self.slowest:.2f} s CPU, peak {peak_mb():.0f} MB",
            flush=True,
        )


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def mutated(rng: random.Random, seeds: list[bytes]) -> bytes:
    data = bytearray(rng.choice(seeds))
    for _ in range(rng.randint(1, 6)):
        if not data:
            break
        at = rng.randrange(len(data))
        kind = rng.randrange(6)
        if kind == 0:
            data[at] ^= 1 << rng.randrange(8)
        elif kind == 1:
            data[at] = rng.choice((0, 1, 127, 128, 255, rng.randrange(256)))
        elif kind == 2:
            del data[at:]
        elif kind == 3:
            del data[at : at + rng.randint(1, 16)]
        elif kind == 4:
            data[at:at] = bytes(rng.randrange(256) for _ in range(rng.randint(1, 16)))
        else:
            other = rng.choice(seeds)
            data[at:] = other[rng.randrange(len(other)) :]
    return bytes(data)


def page_target() -> tuple[Target, list[bytes]]:
    from _fuzz_page import Page, page_seeds

    return Page().ask, page_seeds()


TARGETS: dict[str, Callable[[], tuple[Target, list[bytes]]]] = {
    "pictures": lambda: (read_picture, picture_seeds()),
    "charts": lambda: (read_chart, chart_seeds()),
    "grids": lambda: (read_grid, grid_seeds()),
    "page": page_target,
}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--target", choices=sorted(TARGETS), required=True)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plain", action="store_true", help="random changes only, even where atheris is installed")
    parser.add_argument("--keep", type=Path, default=Path("fuzz-found"))
    parser.add_argument("--again", type=Path, help="try one kept input and show what it does")
    chosen = parser.parse_args()
    atheris = None
    if not (chosen.plain or chosen.again or chosen.target == "page"):
        try:
            import atheris
        except ImportError:
            print("atheris is not installed: random changes only")
    with atheris.instrument_imports(include=["converter", "PIL"]) if atheris else contextlib.nullcontext():
        target, seeds = TARGETS[chosen.target]()
        watch = Watch(chosen.target, target, chosen.keep)
        if chosen.again:
            target(chosen.again.read_bytes())
            return 0
        for seed in seeds:
            watch(seed)
    if atheris:
        return guided(atheris, watch, seeds, chosen)
    change = mutated
    if chosen.target == "page":
        from _fuzz_page import changed_request as change
    rng = random.Random(chosen.seed)
    end = time.monotonic() + chosen.seconds
    while time.monotonic() < end:
        watch(change(rng, seeds))
    watch.report()
    return 1 if watch.faults else 0


def guided(atheris, watch: Watch, seeds: list[bytes], chosen: argparse.Namespace) -> int:
    import tempfile

    folder = Path(tempfile.mkdtemp())
    for number, seed in enumerate(seeds):
        (folder / f"seed{number}").write_bytes(seed)
    atheris.Setup(
        [sys.argv[0], str(folder), f"-max_total_time={int(chosen.seconds)}", f"-seed={chosen.seed}",
         f"-rss_limit_mb={MEMORY_CAP_MB + 500}", "-timeout=60", "-max_len=4096", "-verbosity=0"],
        watch,
    )  # fmt: skip
    atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main())
