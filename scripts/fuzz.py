"""Throw broken bytes at everything that reads hers: pictures, chart files, PBM, text rows.

python scripts/fuzz.py --target picture --seconds 600

Each input must be read, or refused with one of our own errors, within the time and memory caps. The corpus is made
here from a seed; with atheris installed (Linux) the search follows the coverage, without it the inputs are cut,
spliced and flipped at random. What breaks is written to --keep and becomes a test.
"""

from __future__ import annotations

import argparse
import io
import random
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

from converter.errors import ConverterError

MEMORY_CAP_MB = 1500
SECONDS_CAP = 5.0


def read_picture(data: bytes) -> None:
    from converter.files.picture import picture_from_bytes

    # A small cap stands in for the large one, so that a bomb of a few bytes is refused as fast as it would be.
    picture_from_bytes(data, "fuzz", 30)


def read_chart(data: bytes) -> None:
    from converter.files.chart_file import chart_bytes, chart_from_bytes

    chart = chart_from_bytes(data, "fuzz")
    again = chart_from_bytes(chart_bytes(chart), "fuzz")
    assert again.same_stitches(chart), "a chart changed by writing and reading"


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
    from converter.files.grids import pbm_from_cells
    from converter.model.chart import Chart

    rng = np.random.default_rng(12)
    seeds = []
    for size in ((1, 1), (3, 5), (9, 17)):
        chart = Chart(cells=rng.random(size) < 0.5, lines=[[[0, 0], [1, 1]], [[0.5, 0], [1, 0.5]]], title="Häkel")
        seeds += [chart_bytes(chart, s) for s in (".json", ".pbm", ".txt", ".png")]
        seeds.append(pbm_from_cells(chart.cells, packed=False))
    return seeds


TARGETS: dict[str, tuple[Callable[[bytes], None], Callable[[], list[bytes]]]] = {
    "picture": (read_picture, picture_seeds),
    "chart": (read_chart, chart_seeds),
}


class Watch:
    """Count the cases, and stop at the first that breaks a promise."""

    def __init__(self, target: Callable[[bytes], None], keep: Path) -> None:
        self.target, self.keep, self.cases, self.refused = target, keep, 0, 0

    def __call__(self, data: bytes) -> None:
        self.cases += 1
        began = time.process_time()
        try:
            self.target(data)
        except ConverterError as error:
            self.refused += 1
            assert str(error).strip() and "\n" not in str(error), f"message {error!r}"
        except BaseException:
            self.save(data)
            raise
        seconds = time.process_time() - began
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        if seconds > SECONDS_CAP or peak > MEMORY_CAP_MB:
            self.save(data)
            raise AssertionError(f"{seconds:.1f} s, {peak:.0f} MB")

    def save(self, data: bytes) -> None:
        self.keep.mkdir(parents=True, exist_ok=True)
        (self.keep / f"case-{self.cases}.bin").write_bytes(data)


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


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--target", choices=sorted(TARGETS), required=True)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plain", action="store_true", help="random changes only, even where atheris is installed")
    parser.add_argument("--keep", type=Path, default=Path("fuzz-found"))
    chosen = parser.parse_args()
    target, make_seeds = TARGETS[chosen.target]
    watch = Watch(target, chosen.keep)
    seeds = make_seeds()
    if not chosen.plain:
        try:
            import atheris
        except ImportError:
            print("atheris is not installed: random changes only")
        else:
            return guided(atheris, watch, seeds, chosen)
    rng = random.Random(chosen.seed)
    end = time.monotonic() + chosen.seconds
    while time.monotonic() < end:
        watch(mutated(rng, seeds))
    print(f"{chosen.target}: {watch.cases} cases, {watch.refused} refused, none broke a promise")
    return 0


def guided(atheris, watch: Watch, seeds: list[bytes], chosen: argparse.Namespace) -> int:
    import atexit
    import tempfile

    folder = Path(tempfile.mkdtemp())
    for number, seed in enumerate(seeds):
        (folder / f"seed{number}").write_bytes(seed)
    atheris.instrument_all()
    atexit.register(lambda: print(f"{chosen.target}: {watch.cases} cases, {watch.refused} refused"))
    atheris.Setup(
        [sys.argv[0], str(folder), f"-max_total_time={int(chosen.seconds)}", f"-seed={chosen.seed}",
         f"-rss_limit_mb={MEMORY_CAP_MB}", f"-timeout={int(SECONDS_CAP)}", "-max_len=4096"],
        watch,
    )  # fmt: skip
    atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main())
