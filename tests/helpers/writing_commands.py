"""Every command that writes files, each with two versions of her work whose files differ."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

COMMANDS = ("chart", "sizes", "border", "count", "finish", "leaflet", "squares")
FIRST, SECOND = "maroon", "navy"


def commands(fixtures: Path, out: Path, colour: str) -> dict[str, list[str]]:
    """Return the words of each command; ``colour`` is `FIRST` or `SECOND`. The squared paper lies beside ``out``."""
    heron, cup = str(fixtures / "pictures" / "heron.png"), str(fixtures / "charts" / "cup.chart.json")
    last = ["--out", str(out), "--name", "hers", "--overwrite"]
    shown = ["--thread", colour]
    paper = str(out.parent / f"squared-{colour}.png")
    return {
        "chart": ["chart", heron, "--wide", "16", *shown, *last],
        "sizes": ["sizes", heron, "--widths", "12,16", *shown, *last],
        "border": ["border", cup, "--strip", "dots", *shown, *last],
        "count": ["count", cup, "--sheet", *shown, *last],
        "finish": ["finish", cup, "--piece", "sachet", *shown, *last],
        "leaflet": ["leaflet", cup, "--piece", "card", *shown, *last],
        "squares": ["squares", paper, *last],
    }


def draw_squared_paper(folder: Path) -> None:
    """Draw the two sheets of squared paper that ``squares`` reads."""
    folder.mkdir(parents=True, exist_ok=True)
    for seed, colour in enumerate((FIRST, SECOND)):
        cells = np.random.default_rng(seed).random((14, 16)) < 0.4
        side, margin = 16, 24
        page = np.full((14 * side + 2 * margin + 1, 16 * side + 2 * margin + 1), 250, np.uint8)
        for row, col in np.argwhere(cells):
            top, left = margin + row * side, margin + col * side
            page[top + 2 : top + side - 1, left + 2 : left + side - 1] = 30
        for row in range(15):
            page[margin + row * side, margin : margin + 16 * side + 1] = 150
        for col in range(17):
            page[margin : margin + 14 * side + 1, margin + col * side] = 150
        Image.fromarray(page).save(folder / f"squared-{colour}.png")
