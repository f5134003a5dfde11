"""Time and size of the drawings, in CPU seconds of this process after imports; medians of several runs."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import cv2
import numpy as np

from converter.draw import pdf_bytes, png_bytes, stitched_bytes, svg_bytes
from converter.draw.pages import plan_pages
from converter.model.chart import Chart


def shapes(side: int) -> Chart:
    """Return a square chart of large smooth shapes, nearly half of it stitched."""
    y, x = np.mgrid[:side, :side]
    return Chart(np.sin(x / 9) + np.sin(y / 11) + np.sin((x + y) / 17) > 0.2, title="Large")


def speckle(side: int) -> Chart:
    """Return a square chart without any shape: the hardest to pack."""
    return Chart(np.random.default_rng(1).random((side, side)) < 0.4, title="Speckle")


def measure(name: str, make: Callable[[], bytes], runs: int = 5) -> None:
    """Print the median time and the size of one drawing."""
    times, size = [], 0
    for _ in range(runs):
        start = time.process_time()
        size = len(make())
        times.append(time.process_time() - start)
    print(f"{name:<34}{statistics.median(times):8.3f} s{size / 1000:10.0f} kB")


def main() -> None:
    """Measure all drawings at three sizes."""
    cv2.setNumThreads(1)
    pdf_bytes(Chart([[True]]))
    for side in (60, 200, 400):
        for make in (shapes, speckle):
            chart = make(side)
            pages = len(plan_pages(side, side).tiles)
            print(f"{make.__name__} {side} x {side}, {pages} sheets")
            measure("  PDF", lambda chart=chart: pdf_bytes(chart))
            measure("  PNG", lambda chart=chart: png_bytes(chart))
            measure("  SVG", lambda chart=chart: svg_bytes(chart))
            measure("  stitched", lambda chart=chart: stitched_bytes(chart))


if __name__ == "__main__":
    main()
