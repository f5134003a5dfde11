"""Measure the reading of squared paper on generated photos whose squares are known.

    python scripts/bench_squares.py --first 1000 --count 100

Seeds below 1000 are for tuning; figures that are quoted come from 1000 upwards.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from make_squared_paper import LEVELS, OTHERS, SquaredPhoto, make_other, make_photo
from scipy.spatial import cKDTree

from converter.errors import ConverterError
from converter.squares import SURE, looks_squared, read_squares


@dataclass(frozen=True)
class Score:
    """How one photo was read."""

    grid: bool
    """Every square that the photo shows whole is there at its place, and none beyond the printed grid."""
    wrong: int
    """Squares read wrongly (all, if the grid is wrong)."""
    pointed: bool
    """A wrong square, or one beside it, is among the doubtful ones."""
    lines_found: int
    lines_true: int
    lines_right: int
    refused: bool
    cpu_s: float
    note: str = ""


def offset_of(photo: SquaredPhoto, corners: np.ndarray) -> tuple[np.ndarray, bool]:
    """Return by how many rows and columns the reading is shifted, and whether all its crossings agree.

    A crossing in the photo must lie within three tenths of a square of the true one. One that the photo does not show
    cannot be known as closely: the true one nearest to it must be its own.
    """
    n, m = photo.corners.shape[:2]
    tree = cKDTree(photo.corners.reshape(-1, 2))
    distance, index = tree.query(corners.reshape(-1, 2))
    at = np.stack(np.unravel_index(index, (n, m)), -1)
    here = np.indices(corners.shape[:2]).reshape(2, -1).T
    shift, counts = np.unique(at - here, axis=0, return_counts=True)
    best = shift[counts.argmax()]
    true = photo.corners.reshape(-1, 2)[index]
    shown = ((true > -0.5) & (true < np.array(photo.image.shape[:2]) - 0.5)).all(axis=1)
    near = (distance < 0.3 * photo.facts["pixels"]) | ~shown
    return best, bool(((at - here == best).all(1) & near).all())


def visible_squares(photo: SquaredPhoto) -> np.ndarray:
    """Return the squares that lie wholly in the photo."""
    limit = np.array(photo.image.shape[:2]) - 0.5
    seen = ((photo.corners > -0.5) & (photo.corners < limit)).all(-1)
    return np.asarray(seen[1:, 1:] & seen[:-1, 1:] & seen[1:, :-1] & seen[:-1, :-1])


def score(photo: SquaredPhoto, reading: Any, cpu_s: float, doubtful: float = 0.2) -> Score:
    """Compare a reading with the truth."""
    shift, agree = offset_of(photo, reading.corners)
    rows, cols = photo.cells.shape
    top, left = int(shift[0]), int(shift[1])
    bottom, right = top + reading.cells.shape[0], left + reading.cells.shape[1]
    grid = agree and top >= 0 and left >= 0 and bottom <= rows and right <= cols
    if grid:
        whole = visible_squares(photo)
        needed_rows, needed_cols = np.flatnonzero(whole.all(1)), np.flatnonzero(whole.all(0))
        if photo.facts["frame"] and whole.all():
            grid = (top, left, bottom, right) == (0, 0, rows, cols)
        if needed_rows.size:
            grid &= top <= needed_rows[0] and bottom > needed_rows[-1]
        if needed_cols.size:
            grid &= left <= needed_cols[0] and right > needed_cols[-1]
    if not grid:
        note = f"grid: {reading.cells.shape} at {top},{left} of {photo.cells.shape} agree {agree}"
        pointed = bool(reading.confidence < 0.8) or points_at_fault(photo, reading, (top, left), doubtful)
        return Score(False, photo.cells.size, pointed, 0, len(photo.lines), 0,
                     reading.confidence < 0.5, cpu_s, note)  # fmt: skip
    read = np.zeros_like(photo.cells)
    read[top:bottom, left:right] = reading.cells
    bad = read != photo.cells
    doubt = np.zeros(photo.cells.shape)
    doubt[top:bottom, left:right] = reading.doubt
    near = cv2.dilate((doubt > doubtful).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    true_lines = {tuple(map(tuple, sorted(line.tolist()))) for line in photo.lines}
    found_lines = {tuple(map(tuple, sorted(np.add(line, [top, left]).tolist()))) for line in reading.lines}
    note = ""
    if bad.any():
        at = np.argwhere(bad)[:3].tolist()
        note = f"{int((bad & read).sum())} too many, {int((bad & ~read).sum())} missed, first {at}"
    return Score(True, int(bad.sum()), bool((bad & near).any()) if bad.any() else True, len(found_lines),
                 len(true_lines), len(true_lines & found_lines), reading.confidence < 0.5, cpu_s, note)  # fmt: skip


def points_at_fault(photo: SquaredPhoto, reading: Any, shift: tuple[int, int], doubtful: float) -> bool:
    """Return whether a wrong grid has a doubtful square at, or beside, a place where it is wrong.

    Wrong are squares with a corner off the true crossing, squares beyond the printed grid, and outermost squares where
    a row or column that the photo shows whole is missing.
    """
    rows, cols = photo.cells.shape
    n, m = reading.cells.shape
    top, left = shift
    i, j = np.indices((n + 1, m + 1))
    beyond = (i + top < 0) | (i + top > rows) | (j + left < 0) | (j + left > cols)
    true = photo.corners[np.clip(i + top, 0, rows), np.clip(j + left, 0, cols)]
    off = beyond | (np.hypot(*np.moveaxis(reading.corners - true, 2, 0)) > 0.3 * photo.facts["pixels"])
    fault = off[1:, 1:] | off[:-1, 1:] | off[1:, :-1] | off[:-1, :-1]
    whole = visible_squares(photo)
    needed_rows, needed_cols = np.flatnonzero(whole.all(1)), np.flatnonzero(whole.all(0))
    if needed_rows.size:
        fault[0] |= needed_rows[0] < top
        fault[-1] |= needed_rows[-1] >= top + n
    if needed_cols.size:
        fault[:, 0] |= needed_cols[0] < left
        fault[:, -1] |= needed_cols[-1] >= left + m
    near = cv2.dilate((reading.doubt > doubtful).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    return bool((fault & near).any())


def run(level: str, seeds: range, verbose: bool = False) -> list[Score]:
    """Read the photos of some seeds."""
    scores = []
    for seed in seeds:
        photo = make_photo(seed, level)
        start = time.process_time()
        try:
            reading = read_squares(photo.image)
        except ConverterError as error:
            scores.append(Score(False, photo.cells.size, True, 0, len(photo.lines), 0, True, 0.0, str(error)))
        else:
            scores.append(score(photo, reading, time.process_time() - start))
        last = scores[-1]
        if verbose and (last.wrong or last.refused):
            facts = {k: round(v, 2) if isinstance(v, float) else v for k, v in photo.facts.items()}
            print(f"  {level} {seed}: {last.note} pointed={last.pointed} refused={last.refused}\n      {facts}")
    return scores


def report(level: str, scores: list[Score]) -> str:
    """Return one line of figures."""
    n = len(scores)
    right = [s for s in scores if s.grid]
    wrong = [s for s in scores if s.wrong]
    found, true, hit = (sum(getattr(s, k) for s in scores) for k in ("lines_found", "lines_true", "lines_right"))
    return (
        f"{level:7s} {n} photos: grid exact {len(right)}, photo perfect {sum(not s.wrong for s in scores)}, "
        f"refused {sum(s.refused for s in scores)}, wrong and pointed at {sum(s.pointed for s in wrong)}/{len(wrong)}, "
        f"lines precision {hit / max(found, 1):.3f} recall {hit / max(true, 1):.3f}, "
        f"median {np.median([s.cpu_s for s in scores]):.2f} s"
    )


def report_others(seeds: range) -> str:
    """Return one line on pictures that are no squared paper, each looked at as ``chart`` does."""
    taken, seconds = [], []
    for seed in seeds:
        for kind in OTHERS:
            image = make_other(seed, kind)
            start = time.process_time()
            if looks_squared(image) >= SURE:
                taken.append(f"{kind} {seed}")
            seconds.append(time.process_time() - start)
    return (
        f"others  {len(seconds)} pictures: {len(taken)} taken for charts {taken}, "
        f"median {np.median(seconds):.2f} s, most {max(seconds):.2f} s"
    )


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--levels", nargs="*", default=list(LEVELS))
    parser.add_argument("--others", type=int, default=0, help="Also this many pictures of each kind that is no chart.")
    parser.add_argument("--verbose", action="store_true")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    for level in options.levels:
        print(
            report(level, run(level, range(options.first, options.first + options.count), options.verbose)), flush=True
        )
    if options.others:
        print(report_others(range(options.first, options.first + options.others)), flush=True)


if __name__ == "__main__":
    main()
