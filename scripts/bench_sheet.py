"""Drawings photographed on a sheet of paper on a table: how often the sheet is found, and what that does to the chart.

    python scripts/bench_sheet.py [--first 0] [--photos 40] [--columns 40]

Prints for each kind of table the share of sheets found (overlap of more than 0.93 with the true one, Jaccard), and the
median agreement of the chart with that of the drawing itself, with the sheet and as the plain baseline from the whole
photo: the smaller share of the stitches of either that have one of the other within one square. Then how many pictures
of scikit-image, scikit-learn and the fixtures, none of them a sheet on a table, are taken for one.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import cv2
import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from helpers.sheet_photos import DRAWINGS, GROUNDS, overlap, photograph, stitch_agreement  # noqa: E402

from converter.errors import RequestError  # noqa: E402
from converter.pipeline import chart_from_image  # noqa: E402
from converter.raster.sheet import find_sheet  # noqa: E402

OTHERS = ("astronaut", "brick", "camera", "chelsea", "clock", "coffee", "coins", "grass", "gravel", "horse", "page",
          "rocket", "text")  # fmt: skip


def charted(picture: np.ndarray, columns: int, sheet: bool) -> np.ndarray:
    """Return the crosses of a picture; none where nothing could become a stitch."""
    try:
        return chart_from_image(picture, columns=columns, lines="none", sheet=sheet).cells
    except RequestError:
        return np.zeros((1, columns), dtype=bool)


def other_pictures() -> list[np.ndarray]:
    """Return pictures that show no sheet on a table."""
    from skimage import data
    from sklearn.datasets import load_sample_images

    pictures = [np.asarray(getattr(data, name)()) for name in OTHERS]
    pictures = [p.astype(np.uint8) * 255 if p.dtype == bool else p for p in pictures]
    drawn = [cv2.imread(str(path))[:, :, ::-1] for path in sorted(DRAWINGS.glob("*.png"))]
    return [*pictures, *load_sample_images().images, *drawn]


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--photos", type=int, default=40, help="photos of each table")
    parser.add_argument("--columns", type=int, default=40)
    asked = parser.parse_args()
    names = sorted(path.stem for path in DRAWINGS.glob("*.png"))
    print(f"{'table':12} {'photos':>6} {'found':>6} {'with sheet':>10} {'whole photo':>11}")
    for kind, ground in enumerate(GROUNDS):
        found, with_sheet, whole = 0, [], []
        for k in range(asked.photos):
            seed = asked.first + k
            photo = photograph(seed, names[(seed + kind) % len(names)], ground, cut=seed % 4 == 3)
            sheet = find_sheet(photo.picture)
            shape = photo.picture.shape[:2]
            found += sheet is not None and overlap(sheet.corners, photo.corners, shape) > 0.93
            true = charted(photo.drawing, asked.columns, False)
            with_sheet.append(stitch_agreement(true, charted(photo.picture, asked.columns, True)))
            whole.append(stitch_agreement(true, charted(photo.picture, asked.columns, False)))
        shares = np.median(with_sheet), np.median(whole)
        print(
            f"{ground:12} {asked.photos:6} {found / asked.photos:6.0%} {shares[0]:10.2f} {shares[1]:11.2f}", flush=True
        )
    others = other_pictures()
    print(f"taken for a sheet by mistake: {sum(find_sheet(p) is not None for p in others)} of {len(others)}")


if __name__ == "__main__":
    main()
