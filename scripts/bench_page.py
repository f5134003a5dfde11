"""How fast the page answers, measured in a headless Chromium against the served command.

    python scripts/bench_page.py

Prints, in milliseconds: from dropping a photograph of 12 megapixels to its chart on the screen; from the move of a
control to the changed picture at 100 and 200 stitches, and until the chart itself follows when the control rests; how
many squares differ between the two; a stitch put in by hand. Needs the test extra and a Chromium with chromedriver.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from skimage import data

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))
MOVES = 60


def make_photo(path: Path) -> None:
    """Write a photograph of 12 megapixels: scikit-image's coffee cup, enlarged, with sensor noise."""
    pixels = cv2.resize(data.coffee(), (4000, 3000), interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(12).normal(0, 4, pixels.shape)
    noisy = np.clip(pixels + noise, 0, 255).astype(np.uint8)
    cv2.imwrite(str(path), noisy[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])


def start_page(folder: Path) -> tuple[subprocess.Popen[str], str]:
    """Start ``onecolour page`` and return it with its address."""
    code = "from converter.cli.main import run; run()"
    page = subprocess.Popen(
        [sys.executable, "-c", code, "page", "--no-browser", "--port", "0", "--folder", str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=None,
    )
    assert page.stdout is not None
    return page, page.stdout.readline().rsplit(" ", 1)[1].strip()


def row(name: str, times: list[float]) -> None:
    """Print a line of the table."""
    ordered = sorted(times)
    late = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
    print(f"{name:58} {len(times):4} {np.median(times):8.1f} {late:8.1f} {ordered[-1]:8.1f}")


def main() -> int:
    """Measure and print."""
    from tests.page.browser import Person, open_browser, wait

    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        make_photo(place / "cup.jpg")
        page, address = start_page(place / "pieces")
        driver = open_browser(place)
        try:
            person = Person(driver, address, place / "downloads")
            print(f"{'milliseconds':58} {'n':>4} {'median':>8} {'95 %':>8} {'most':>8}")
            first = []
            for _ in range(5):
                person.go()
                person.drop(place / "cup.jpg")
                first += measured(person, "first-chart")
                person.click("#to-pieces")
                wait(lambda: person.js("return document.getElementById('work').hidden"), "the list")
            row("photo of 12 megapixels dropped to chart shown", first[:])
            for drawing in ("heron", "teapot"):
                for wide in (100, 200):
                    person.go()
                    person.drop(ROOT / "fixtures" / "pictures" / f"{drawing}.png")
                    person.slide("purpose", "Stitches across", wide)
                    wait(lambda w=wide: f"{w} stitches wide" in person.chart_label(), "the width")
                    person.settle()
                    person.js("performance.clearMeasures()")
                    for number in range(MOVES):
                        person.js(
                            "const input = document.querySelector('#body-adjust input[type=range]');"
                            "input.value = arguments[0]; input.dispatchEvent(new Event('input', {bubbles: true}))",
                            (number * 7) % 60 - 30,
                        )
                        wait(
                            lambda n=number: len(measured(person, "preview")) > n,
                            "a preview",
                        )
                    row(f"{drawing}, {wide} wide: control moved to picture changed", measured(person, "preview"))
                    rest, full, jumps = rested(person, wait)
                    row(f"{drawing}, {wide} wide: control at rest to the chart itself shown", rest)
                    row(f"{drawing}, {wide} wide: control then let go to chart kept", full)
                    row(f"{drawing}, {wide} wide: squares in 1000 that then change", jumps)
                    person.open_step("correct")
                    person.js("performance.clearMeasures()")
                    for number in range(12):
                        person.drag((number + 0.5, 1.5), (number + 0.5, 6.5), (number + 0.5, 12.5), (number + 0.5, 3.5))
                    row(f"{drawing}, {wide} wide: stitch by hand to chart painted", measured(person, "hand-edit"))
        finally:
            driver.quit()
            page.terminate()
            page.wait(20)
    return 0


def rested(person: Any, wait: Any) -> tuple[list[float], list[float], list[float]]:
    """Move a control, let it rest until the chart itself is shown, let it go.

    Returns
    -------
    rest, full : list of float
        Milliseconds after the rest and after letting go.
    jumps : list of float
        Squares in a thousand in which the quick guess and the chart itself differ.
    """
    rest, full, jumps = [], [], []
    cells = "return [...window.onecolour.store.grid.cells]"
    for dark in (5, 25, -15, -35):
        person.js("performance.clearMeasures()")
        person.js(
            "const input = document.querySelector('#body-adjust input[type=range]');"
            "input.value = arguments[0]; input.dispatchEvent(new Event('input', {bubbles: true}))",
            dark,
        )
        wait(lambda: measured(person, "preview"), "the guess")
        guessed = np.array(person.js(cells))
        wait(lambda: measured(person, "preview-in-full"), "the chart itself")
        rest += measured(person, "preview-in-full")
        made = np.array(person.js(cells))
        if guessed.shape == made.shape:
            jumps.append(1000 * float(np.mean(guessed != made)))
        begun = time.perf_counter()
        person.slide("adjust", "How much is stitched", dark)
        wait(lambda d=dark: person.js("return window.onecolour.store.state.settings.dark") == d, "it")
        full.append((time.perf_counter() - begun) * 1000)
        person.settle()
    return rest, full, jumps or [float("nan")]


def measured(person: object, name: str) -> list[float]:
    """Return the browser's own measurements of one kind."""
    script = "return performance.getEntriesByName(arguments[0]).map((each) => each.duration)"
    return [float(value) for value in person.js(script, name)]  # type: ignore[attr-defined]


if __name__ == "__main__":
    sys.exit(main())
