"""Thread and making-up of some charts are as they were noted.

A note says nothing about what is right; that is told by the other tests of this folder. It tells whether anything has
changed. Where a change is meant ``scripts/update_records.py`` notes anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from helpers.records import Notes, Record, compare

from converter.errors import ConverterError
from converter.estimate.duration import work_time
from converter.estimate.fabric import cut_cloth, stitched_extent
from converter.estimate.making import largest_design, plan_making
from converter.estimate.needles import needle_words, needlework
from converter.estimate.route import plan_thread
from converter.estimate.skeins import skeins_together
from converter.estimate.steps import cross_numbers, cross_steps
from converter.estimate.stitches import count_stitches
from converter.estimate.thread import needlefuls, plan_chart, slow_notes, thread_use
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread
from converter.settings import EDGES, PIECES, WAYS, MakingSettings, ThreadSettings

RECORDS = Path(__file__).resolve().parent / "records.json"
GRIDS = Path(__file__).resolve().parents[2] / "fixtures" / "grids"
CLOTHS = (
    (Fabric(14), Thread()),
    (Fabric(11, colour="#b01020"), Thread("#ffffff", strands=3, line_strands=2)),
    (Fabric(28, over=2, colour="#20242a"), Thread("#d01818", strands=2)),
    (Fabric(18, colour="#f4e8d0"), Thread("#181818", strands=1)),
)


def drawn(name: str) -> Any:
    rows = (GRIDS / name).read_text(encoding="utf-8").split()
    return np.array([[mark == "#" for mark in row] for row in rows])


def blobs(seed: int, shape: tuple[int, int], share: float) -> Any:
    field = cv2.GaussianBlur(np.random.default_rng(seed).random(shape), (0, 0), 1.6)
    return field > np.quantile(field, 1 - share)


def comb(teeth: int, length: int) -> Any:
    cells = np.zeros((length + 1, 2 * teeth), dtype=bool)
    cells[0] = True
    cells[:, ::2] = True
    return cells


def outline(cells: Any) -> Any:
    """Return the unit edges round some cells, and two slanting lines."""
    lines = []
    for row, col in np.argwhere(cells):
        for r, c, a, b in ((-1, 0, (0, 0), (0, 1)), (0, -1, (0, 0), (1, 0))):
            if not (row + r >= 0 and col + c >= 0 and cells[row + r, col + c]):
                lines.append([(row + a[0], col + a[1]), (row + b[0], col + b[1])])
    return np.array([*lines, [(0, 0), (2, 1)], [(2, 1), (3, 3)]], dtype=float)


def threads(cells: Any, lines: Any = None, cloth: int = 0, **settings: Any) -> Iterator[tuple[str, object]]:
    fabric, thread = CLOTHS[cloth]
    lines = np.zeros((0, 2, 2)) if lines is None else lines
    chart, chosen = Chart(cells, lines, fabric=fabric, thread=thread), ThreadSettings(**settings)
    plans = plan_chart(chart, chosen)
    yield "plan_chart", plans
    use = thread_use(chart, chosen, plans)
    yield "thread_use", (use, skeins_together(*use))
    yield "needlefuls", (needlefuls(plans.crosses, plans), needlefuls(plans.lines, plans))
    yield "slow_notes", slow_notes(chart, chosen, None, plans)
    yield "count_stitches", count_stitches(chart)
    for length in plans.crosses.lengths[:6]:
        yield "cross_steps", (cross_steps(length), cross_numbers(length))
    yield "work_time", work_time(int(cells.sum()), len(lines), len(plans.crosses.lengths))


def orders(cells: Any, length: float, carry: float = 3.5) -> Iterator[tuple[str, object]]:
    """The search for shorter orders and fewer starts, further than a chart's normal run goes."""
    for order, hidden in product(("closed", "least"), (False, True)):
        yield f"plan_thread {order}", plan_thread(cells, length, 20.0, carry, hidden, order, 0.2)


def tried(make: Callable[[], object]) -> object:
    try:
        return make()
    except ConverterError as error:
        return type(error).__name__


def made_up(piece: str) -> Iterator[tuple[str, object]]:
    sizes = ((18, 22), (40, 30), (60, 90), (130, 75))
    choices: list[dict[str, Any]] = [
        *({"edge": edge} for edge in EDGES),
        *({"margin_mm": margin} for margin in (20.0, 55.0)),
        *({"fringe_mm": fringe} for fringe in (0.0, 18.0)),
        *({"size_mm": size} for size in ((120.0, 160.0), (310.0, 305.0), (180.0, 180.0))),
        *({"cloth_mm": cloth} for cloth in ((150.0, 210.0), (400.0, 500.0))),
        {"margin_mm": 12.0, "fringe_mm": 10.0},
        *({"edge": edge, "size_mm": (310.0, 285.0)} for edge in ("whip", "blanket", "backstitch")),
    ]
    for way, (number, options) in product(("auto", *WAYS.get(piece, ())), enumerate(choices)):
        settings = MakingSettings(piece=piece, way=way, **options)
        for k in (number, number + 1 + number // 4):
            # Each choice on two cloths, and not always of the same size.
            fabric, thread = CLOTHS[k % 4]
            size = sizes[(k + number // 4) % 4]
            yield (
                f"{way} {next(iter(options))}",
                tried(lambda s=settings, f=fabric, t=thread, d=size: plan_making(d, settings=s, fabric=f, thread=t)),
            )
    for (fabric, _), upright in product(CLOTHS, (True, False)):
        yield "largest_design", largest_design(piece, fabric, upright=upright)
        own = MakingSettings(piece=piece, size_mm=(140.0, 200.0))
        yield "largest_design", largest_design(piece, fabric, upright=upright, settings=own)


def cloths() -> Iterator[tuple[str, object]]:
    for count, over, size in product((6, 8, 11, 14, 16, 18, 22, 25, 28, 32, 36, 40), (1, 2), ((20, 31), (63, 40))):
        fabric = Fabric(count, over=over)
        yield "stitched_extent", stitched_extent(Chart(np.pad(np.ones(size, dtype=bool), over), fabric=fabric))
        yield "needlework", tried(lambda f=fabric: needlework(f))
        yield "needle_words", tried(lambda f=fabric: (needle_words(f), needle_words(f, False, True)))
        for margin in (10.0, 33.3):
            yield "cut_cloth", cut_cloth(size, fabric=fabric, margin_mm=margin)


def cases() -> dict[str, Callable[[], Iterator[tuple[str, object]]]]:
    """Return what is noted, by name."""
    arms = np.zeros((31, 31), dtype=bool)
    arms[15], arms[:, 15], arms[np.arange(31), np.arange(31)] = True, True, True
    specks = np.random.default_rng(3).random((26, 26)) < 0.2
    square = blobs(2, (22, 26), 0.6)
    return {
        "cup": lambda: threads(drawn("cup.txt"), order="least"),
        "star": lambda: threads(drawn("star.txt"), outline(drawn("star.txt")), 1),
        "blobs": lambda: threads(blobs(1, (34, 40), 0.5), cloth=2, hidden=True, line_method="back"),
        "blobs with outline": lambda: threads(square, outline(square), 3, line_method="back"),
        "outline alone": lambda: threads(np.zeros((22, 26), dtype=bool), outline(square[:14, :18]), carry_cells=2.5),
        "comb": lambda: threads(comb(7, 12), cloth=1, working_length_mm=300.0, tail_mm=30.0),
        "arms": lambda: threads(arms, sample_crosses=36, sample_length_mm=450.0),
        "specks": lambda: threads(specks[:20, :20], outline(specks[:9, :9]), carry_cells=4.0),
        "orders of blobs": lambda: orders(blobs(5, (26, 26), 0.45), 120.0),
        "orders of arms": lambda: orders(arms[5:26, 5:26], 90.0),
        "orders of a comb": lambda: orders(comb(5, 9), 80.0),
        "cloths": cloths,
        **{piece: lambda piece=piece: made_up(piece) for piece in PIECES},
    }  # fmt: skip


def note(name: str) -> Notes:
    found: dict[str, Record] = {}
    for step, value in cases()[name]():
        found.setdefault(step, Record()).add(value)
    return {step: record.told() for step, record in sorted(found.items())}


@pytest.mark.parametrize("name", cases())
def test_thread_and_making_up_are_as_noted(name: str) -> None:
    compare(RECORDS, name, note(name))
