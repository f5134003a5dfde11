"""Made-up charts of lines one or two crosses wide: lattices, bricks, nets, ladders, rings, combs."""

from __future__ import annotations

import numpy as np


def lattice(size: int, pitch: int, width: int = 1, rim: bool = True) -> np.ndarray:
    """Return lines that cross at right angles; with ``rim`` none of them ends beyond the last crossing."""
    size = (size - width) // pitch * pitch + width if rim else size
    at = np.arange(size) % pitch < width
    return at[:, None] | at[None, :]


def bricks(size: int, height: int, length: int) -> np.ndarray:
    """Return the joints of a brick wall, every other course moved by half a brick."""
    row, col = np.indices((size // height * height + 1, size // length * length + 1))
    return (row % height == 0) | ((col + (row // height) % 2 * (length // 2)) % length == 0)


def net(size: int, pitch: int) -> np.ndarray:
    """Return slanting lines that cross, each of single steps to the side and down."""
    row, col = np.indices((size, size))
    return ((row + col) % pitch < 2) | ((row - col) % pitch < 2)


def ladders(size: int, rungs: int, count: int) -> np.ndarray:
    """Return ladders one above the other, each joined to the next at one end; ``rungs`` bare crosses apart."""
    length = size // (rungs + 1) * (rungs + 1) + 1
    cells = np.zeros((count * (rungs + 4) - 2, length), dtype=bool)
    for number in range(count):
        top = number * (rungs + 4)
        cells[[top, top + rungs + 1]] = True
        cells[top : top + rungs + 2, :: rungs + 1] = True
        if number:
            cells[top - 2 : top, 0 if number % 2 else -1] = True
    return cells


def rings(size: int, gap: int, spokes: int) -> np.ndarray:
    """Return squares inside each other, joined by one, two or four spokes."""
    half = size // 2
    row, col = np.indices((2 * half + 1, 2 * half + 1)) - half
    out = np.maximum(abs(row), abs(col))
    cells = (out % (gap + 1) == 0) & (out > 0)
    ways = ((row == 0) & (col > 0), (row == 0) & (col < 0), (col == 0) & (row > 0), (col == 0) & (row < 0))
    for way in ways[:spokes]:
        cells |= way & (out >= gap + 1)
    return cells


def even_comb(teeth: int, length: int, gap: int, width: int = 1) -> np.ndarray:
    """Return a bar two crosses high with teeth of one length."""
    cells = np.zeros((length + 2, teeth * (width + gap) - gap), dtype=bool)
    cells[:2] = True
    cells[:, np.arange(cells.shape[1]) % (width + gap) < width] = True
    return cells


def nets(rng: np.random.Generator, crosses: int, each: int) -> dict[str, list[np.ndarray]]:
    """Return charts of each kind with about so many crosses."""

    def size(share: float) -> int:
        return int((crosses * float(rng.uniform(0.8, 1.2)) / share) ** 0.5)

    found: dict[str, list[np.ndarray]] = {}
    for pitch in (3, 4, 5, 6, 7, 8):
        for width in (1, 2):
            if pitch > width + 1:
                share = 1 - (1 - width / pitch) ** 2
                charts = [lattice(size(share), pitch, width, bool(k % 2)) for k in range(each)]
                found[f"lattice, pitch {pitch}, width {width}"] = charts
    found["bricks"] = [
        bricks(size(1 / h + 1 / w), h, w) for h, w in rng.integers((3, 5), (7, 12), (2 * each, 2)).tolist()
    ]
    found["nets"] = [net(size(4 / p), p) for p in rng.integers(5, 12, 2 * each).tolist()]
    found["ladders"] = []
    for rungs in rng.integers(1, 5, 2 * each).tolist():
        width = size(1.0)
        found["ladders"].append(ladders(width, rungs, max(1, round(crosses / width / 3))))
    found["rings"] = [
        rings(size(1 / (gap + 1)), gap, spokes) for gap, spokes in rng.integers((1, 1), (4, 5), (2 * each, 2)).tolist()
    ]
    for gap in (1, 2, 3):
        found[f"combs, gap {gap}"] = [
            even_comb(max(2, round(crosses / (length + 2 + 2 * gap))), length, gap)
            for length in rng.integers(8, 100, 2 * each).tolist()
        ]
    return found
