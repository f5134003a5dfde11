"""Hold the largest size within limits against a full scan of all widths.

    python scripts/bench_sizes.py [--icons FOLDER] [--set tune|report] [--drawings 20] [--cases 38] [--widest 70]

FOLDER holds ``node_modules`` with @tabler/icons and bootstrap-icons (npm, MIT). Without it only made-up drawings are
used. Each drawing is charted, and its thread planned, once at every width; then limits of all kinds are drawn by a
seeded generator, alone and several together, and the answer is compared with the widest of all widths that is within
each of them. Height and hours of the full scan are compared with plain numbers here, not by the code under test.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from io import BytesIO
from pathlib import Path

import numpy as np
from bench_thread import blob, chosen
from PIL import Image

from converter.errors import RequestError
from converter.estimate.making import largest_design
from converter.jobs.batch import Request
from converter.jobs.sizes import LEAST_WIDTH, SizeMeasure, largest_size
from converter.settings import PIECES, ChartSettings, LimitSettings

KINDS = ("fit", "stitches", "hours", "skeins", "piece", "stitches+hours", "fit+skeins", "piece+hours")


def drawing(path: Path) -> np.ndarray:
    """Return a drawing in black on white, 300 pixels wide."""
    import resvg_py

    alpha = np.asarray(Image.open(BytesIO(bytes(resvg_py.svg_to_bytes(svg_path=str(path), width=300)))).convert("RGBA"))
    return np.ascontiguousarray(255 - alpha[:, :, 3])


def drawings(base: Path | None, which: str, count: int, rng: np.random.Generator) -> list[np.ndarray]:
    """Return drawings of areas, of lines, and made-up ones, in turn."""
    made = [np.where(blob(rng, 300, 12 + 6 * (k % 4), 0.3), 0, 255).astype(np.uint8) for k in range(count)]
    if base is None:
        return made
    modules = base / "node_modules"
    filled = chosen(list(modules.glob("bootstrap-icons/icons/*-fill.svg")), which, count)
    lines = chosen(list(modules.glob("@tabler/icons/icons/outline/*.svg")), which, count)
    mixed = [part for trio in zip(map(drawing, filled), map(drawing, lines), made, strict=False) for part in trio]
    return mixed[:count]


def limits(kind: str, figures: list[dict[str, float]], rng: np.random.Generator) -> LimitSettings:
    """Return limits that the figures of some width, or of one near it, just meet or miss."""
    at = figures[int(rng.integers(2, len(figures)))]
    near = 1 + rng.choice([0.0, 1e-6, -1e-6, 0.02, -0.02, 0.3, -0.3])
    given: dict[str, object] = {}
    for name in kind.split("+"):
        if name == "fit":
            given["fit_mm"] = (max(2.0, near * at["width_mm"]), max(2.0, at["height_mm"] * rng.choice([0.7, 1.0, 1.3])))
        elif name == "stitches":
            given["stitches"] = max(1, round(near * at["stitches"]))
        elif name == "hours":
            given["hours"] = max(0.01, near * at["hours"])
        elif name == "skeins":
            given["skeins"] = max(1, round(near * at["skein_share"]))
        else:
            given["piece"] = str(rng.choice(PIECES))
    return LimitSettings(**given)  # type: ignore[arg-type]


def within(asked: LimitSettings, request: Request, shape: tuple[int, int], figures: dict[str, float]) -> bool:
    """Return whether a width is within all limits."""
    most = {"stitches": asked.stitches, "hours": asked.hours, "skein_share": asked.skeins}
    sides = [] if asked.fit_mm is None else [(*asked.fit_mm, None)]
    if asked.piece is not None:
        piece = largest_design(asked.piece, request.materials.fresh()[0], upright=shape[0] >= shape[1])
        sides.append((piece.width_mm, piece.height_mm, piece.diagonal_mm))
    slack = 1 + 1e-9
    return all(limit is None or figures[name] <= limit * slack for name, limit in most.items()) and all(
        figures["width_mm"] <= w * slack
        and figures["height_mm"] <= h * slack
        and (d is None or figures["diagonal_mm"] <= d * slack)
        for w, h, d in sides
    )


@dataclass
class Counting(SizeMeasure):
    """Takes what is known of each width, and notes the widths that are asked for."""

    known: SizeMeasure | None = None
    counted: set[int] = field(default_factory=set)

    def figures_at(self, stitches: int, *, work: bool = True) -> dict[str, float]:
        """Return the figures of a width by name."""
        assert self.known is not None
        self.counted.add(stitches)
        return self.known.figures_at(stitches, work=work)

    def rough_at(self, stitches: int) -> dict[str, float]:
        """Return the rough figures of a width."""
        assert self.known is not None
        self.counted.add(stitches)
        return self.known.rough_at(stitches)


def main() -> None:
    """Print the share of cases that equal the full scan, for each kind of limit."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--icons", type=Path)
    parser.add_argument("--set", choices=("tune", "report"), default="report")
    parser.add_argument("--drawings", type=int, default=20)
    parser.add_argument("--cases", type=int, default=38)
    parser.add_argument("--widest", type=int, default=70)
    parser.add_argument("--seed", type=int, default=2027)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    done, right, charted, full = Counter[str](), Counter[str](), Counter[str](), Counter[str]()
    start = time.process_time()
    for number, picture in enumerate(drawings(options.icons, options.set, options.drawings, rng)):
        settings = ChartSettings.from_options(columns=options.widest, lines=("none", "auto")[number % 2])
        request = Request(settings, wide_given=True)
        measure = SizeMeasure(picture, settings)
        widths = range(LEAST_WIDTH, options.widest + 1)
        figures = [measure.figures_at(width) for width in widths]
        shape = measure.reduction_at(options.widest).cells.shape
        for case in range(options.cases):
            kind = KINDS[case % len(KINDS)]
            asked = limits(kind, figures, rng)
            fits = [width for width, at in zip(widths, figures, strict=True) if within(asked, request, shape, at)]
            counting = Counting(picture, settings, known=measure)
            try:
                budget = largest_size(counting, replace(request, limits=asked))
                found = options.widest if budget is None else budget.columns
            except RequestError:
                found = None
            done[kind] += 1
            same = found == (fits[-1] if fits else None)
            right[kind] += same
            charted[kind] += len(counting.counted)
            full[kind] += len(widths)
            if not same:
                print(f"drawing {number} {asked}: {found}, full scan {fits[-1] if fits else None}", flush=True)
    for kind in (*KINDS, "all"):
        ok, of, seen, all_widths = (c[kind] if kind != "all" else sum(c.values()) for c in (right, done, charted, full))
        share = seen / max(all_widths, 1)
        print(f"{kind:16s} {ok:4d} of {of:4d} equal the full scan, {share:.0%} of the widths looked at")
    print(f"{time.process_time() - start:.0f} s")


if __name__ == "__main__":
    main()
