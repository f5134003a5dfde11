"""Make the pictures and charts in ``fixtures/`` again from the drawings and text grids there.

    python scripts/make_fixtures.py            write them
    python scripts/make_fixtures.py --check    only compare; ends with 1 and a list if one differs

Everything is seeded: the same drawings give the same pictures. Needs the test extra (resvg-py).
"""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import resvg_py
from PIL import Image

FIXTURES = Path(__file__).resolve().parents[1] / "fixtures"
LONG_SIDE_PX = 900
PHOTO_OF = "snail"
PHOTO_SEED = 20
Gray = npt.NDArray[np.uint8]
Picture = npt.NDArray[np.uint8]


def render_drawing(drawing: Path) -> Gray:
    """Return an SVG drawing as gray pixels, its longer side `LONG_SIDE_PX` long."""
    text = drawing.read_text(encoding="utf-8")
    width, height = (float(value) for value in text.split('viewBox="0 0 ', 1)[1].split('"', 1)[0].split())
    side = {"width": LONG_SIDE_PX} if width >= height else {"height": LONG_SIDE_PX}
    data = bytes(resvg_py.svg_to_bytes(svg_string=text, background="#ffffff", skip_system_fonts=True, **side))
    with Image.open(io.BytesIO(data)) as image:
        return np.asarray(image.convert("L"))


def photograph(drawing: Gray, seed: int = PHOTO_SEED) -> Picture:
    """Return the drawing as a phone would take it on a table.

    Cream paper, light from the upper left that falls off, a soft shadow across one corner, a tilt of
    about two degrees with a little perspective, a lens slightly out of focus, sensor noise.
    """
    random = np.random.default_rng(seed)
    border = 70
    page = cv2.copyMakeBorder(drawing, border, border, border, border, cv2.BORDER_CONSTANT, value=255)
    high, wide = page.shape
    corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], dtype=np.float32)
    moved = np.array([[14, 30], [wide - 26, 2], [wide - 4, high - 24], [30, high - 6]], dtype=np.float32)
    warp = cv2.getPerspectiveTransform(corners, moved)
    page = cv2.warpPerspective(page, warp, (wide, high), flags=cv2.INTER_AREA, borderValue=235)
    ink = cv2.GaussianBlur(1.0 - page.astype(np.float64) / 255.0, (0, 0), 1.1)

    row, col = np.mgrid[0:high, 0:wide]
    row, col = row / high, col / wide
    light = 0.93 - 0.30 * np.hypot(row - 0.1, col - 0.15) - 0.10 * col
    shadow = 1.0 / (1.0 + np.exp((1.62 - row - col) / 0.03))
    light = light * (1.0 - 0.22 * shadow)
    fibres = cv2.GaussianBlur(random.normal(0.0, 1.0, (high, wide)), (0, 0), 2.0)
    light = light * (1.0 + 0.025 * fibres)
    paper = np.array([1.00, 0.965, 0.88])
    pencil = np.array([0.20, 0.20, 0.24])
    colour = light[..., None] * (paper * (1.0 - ink[..., None]) + pencil * ink[..., None])
    colour = colour + random.normal(0.0, 0.018, colour.shape)
    return np.round(np.clip(colour, 0.0, 1.0) * 255.0).astype(np.uint8)


def read_grid(path: Path) -> list[str]:
    """Return the rows of a text grid."""
    return path.read_text(encoding="utf-8").split()


def chart_file(title: str, rows: list[str], lines: list[list[list[float]]], fabric: dict[str, object]) -> str:
    """Return a chart file as text, one row of the grid a line."""
    chart = {
        "format": "onecolour chart",
        "version": 1,
        "title": title,
        "source": "",
        "rows": rows,
        "lines": lines,
        "fabric": fabric,
        "thread": {"colour": "#b01e28", "name": "", "strands": 2, "line_strands": 1},
        "settings": {},
    }
    text = json.dumps(chart, indent=1, ensure_ascii=False)
    for line in lines:
        text = text.replace(json.dumps(line, indent=1).replace("\n", "\n  "), json.dumps(line))
    return text + "\n"


def make_charts() -> dict[str, str]:
    """Return the chart files by name: one of crosses alone, one with backstitch at whole and half holes."""
    steam: list[list[list[float]]] = [
        [[4, 5], [3, 4.5]],
        [[3, 4.5], [2, 5]],
        [[2, 5], [1, 4.5]],
        [[4, 9], [3, 8.5]],
        [[3, 8.5], [2, 9]],
        [[2, 9], [1, 8.5]],
    ]
    handle: list[list[list[float]]] = [
        [[6, 14], [6, 16]],
        [[6, 16], [7, 17]],
        [[7, 17], [10, 17]],
        [[10, 17], [12, 15]],
        [[12, 15], [12, 13]],
    ]
    cup = [row[:14] + "...." for row in read_grid(FIXTURES / "grids" / "cup.txt")]
    cup = ["." * 18 if index < 4 else row for index, row in enumerate(cup)]
    return {
        "star.chart.json": chart_file(
            "Star",
            read_grid(FIXTURES / "grids" / "star.txt"),
            [],
            {"count_per_inch": 14.0, "over": 1, "colour": "#ffffff"},
        ),
        "cup.chart.json": chart_file(
            "Cup", cup, steam + handle, {"count_per_inch": 28.0, "over": 2, "colour": "#f7f1e3"}
        ),
    }


def make_all() -> dict[str, bytes]:
    """Return every made file by its path under ``fixtures/``."""
    made = {}
    for drawing in sorted((FIXTURES / "drawings").glob("*.svg")):
        pixels = render_drawing(drawing)
        made[f"pictures/{drawing.stem}.png"] = _encode(pixels, "PNG", optimize=True)
        if drawing.stem == PHOTO_OF:
            made[f"pictures/{drawing.stem}-photo.jpg"] = _encode(photograph(pixels), "JPEG", quality=82)
    for name, text in make_charts().items():
        made[f"charts/{name}"] = text.encode()
    return made


def _encode(pixels: Picture, kind: str, **options: object) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, kind, **options)
    return buffer.getvalue()


def differs(path: Path, made: bytes, tolerance: float = 1.0) -> bool:
    """Return True if a stored file is not what the script makes.

    Pictures are compared by their pixels: encoders differ from build to build. The mean difference may
    be up to ``tolerance`` of 255 grays, twice that for JPEG.
    """
    if not path.exists():
        return True
    if path.suffix not in (".png", ".jpg"):
        return path.read_bytes() != made
    with Image.open(path) as stored, Image.open(io.BytesIO(made)) as fresh:
        if stored.size != fresh.size or stored.mode != fresh.mode:
            return True
        gap = np.abs(np.asarray(stored, dtype=np.float64) - np.asarray(fresh, dtype=np.float64)).mean()
    return bool(gap > tolerance * (2 if path.suffix == ".jpg" else 1))


def main(arguments: list[str]) -> int:
    """Write or compare all made files."""
    made = make_all()
    if "--check" in arguments:
        wrong = [name for name, data in made.items() if differs(FIXTURES / name, data)]
        for name in wrong:
            print(f"{name} differs from what the drawings give.")
        return 1 if wrong else 0
    for name, data in made.items():
        path = FIXTURES / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    print(f"{len(made)} files made, {sum(map(len, made.values())) / 1024:.0f} KB.")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
