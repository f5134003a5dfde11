"""An independent check of a thread plan: it knows the rules of the craft and none of the planner's code."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

ROOT2 = math.sqrt(2.0)


def check_cross_plan(plan, cells, length, tail, carry, hidden=False, closed=False):
    """Raise AssertionError at the first thing a hand could not or should not do; return what was measured."""
    cells = np.asarray(cells, dtype=bool)
    bottom: set[tuple[int, int]] = set()
    top: set[tuple[int, int]] = set()
    front = back = 0.0
    carries = 0
    for holes in plan.lengths:
        assert holes.ndim == 2 and holes.shape[1] == 2 and len(holes) % 2 == 0 and len(holes) > 0
        points = [tuple(int(v) for v in hole) for hole in holes]
        used = 0.0
        for k in range(0, len(points), 2):
            (r1, c1), (r2, c2) = points[k], points[k + 1]
            assert abs(r1 - r2) == 1 and abs(c1 - c2) == 1, "a front stitch is one diagonal of one cell"
            cell = (min(r1, r2), min(c1, c2))
            assert cells[cell], f"{cell} is bare cloth"
            if (r1 - r2) * (c1 - c2) < 0:
                assert cell not in bottom and cell not in top, f"bottom leg of {cell} twice or after the top leg"
                bottom.add(cell)
            else:
                assert cell in bottom and cell not in top, f"top leg of {cell} twice or before the bottom leg"
                top.add(cell)
            used += ROOT2
            front += ROOT2
            if closed:
                assert len(bottom) - len(top) <= 2, f"{len(bottom) - len(top)} crosses open"
            if k + 2 < len(points):
                move = math.dist(points[k + 1], points[k + 2])
                assert 1.0 - 1e-9 <= move <= carry + 1e-9, f"back move of {move}"
                if hidden:
                    assert runs_behind(cells, points[k + 1], points[k + 2]), "a move shows on bare cloth"
                used += move
                back += move
                carries += move > 1 + 1e-9
        assert used + 2 * tail <= length + 1e-6, f"a length of {used + 2 * tail} > {length}"
        if closed:
            assert len(bottom) == len(top), "a cross is open at the end of a length"
    wanted = {(int(r), int(c)) for r, c in zip(*np.nonzero(cells), strict=True)}
    assert bottom == top == wanted
    starts = len(plan.lengths)
    assert plan.starts == starts and plan.carries == carries
    assert math.isclose(plan.front, front, rel_tol=1e-9, abs_tol=1e-6)
    assert math.isclose(plan.back, back, rel_tol=1e-9, abs_tol=1e-6)
    assert math.isclose(plan.total, front + back + 2 * tail * starts, rel_tol=1e-9, abs_tol=1e-6)
    assert plan.bound <= plan.total + 1e-6
    return starts, front, back


def runs_behind(cells, start: Sequence[int], end: Sequence[int], samples: int = 64) -> bool:
    """Return whether a straight move lies behind worked squares, by sampling points off the grid lines."""
    rows, cols = cells.shape
    for k in range(samples):
        share = (k + 0.5) / samples
        r = start[0] + (end[0] - start[0]) * share
        c = start[1] + (end[1] - start[1]) * share
        rs = {math.floor(r)} if abs(r - round(r)) > 1e-7 else {round(r) - 1, round(r)}
        cs = {math.floor(c)} if abs(c - round(c)) > 1e-7 else {round(c) - 1, round(c)}
        if not any(0 <= i < rows and 0 <= j < cols and cells[i, j] for i in rs for j in cs):
            return False
    return True
