"""Check a working order of backstitch lines, without any code of the planner."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise


def edge_key(a, b):
    return tuple(sorted((tuple(map(float, a)), tuple(map(float, b)))))


def check_line_plan(plan, lines, length, tail, carry):
    """Every line once in front, on its own two holes; lengths and carries within their limits."""
    wanted = {edge_key(*line) for line in lines}
    front, behind = Counter(), Counter()
    for route in plan.lengths:
        used = sum(math.dist(a, b) for a, b in pairwise(route))
        assert used + 2 * tail <= length + 1e-6
        for k in range(len(route) - 1):
            a, b = route[k], route[k + 1]
            if k % 2 == 0:
                front[edge_key(a, b)] += 1
            else:
                assert math.dist(a, b) > 0
                behind[edge_key(a, b)] += 1
                if plan.method == "double" and edge_key(a, b) not in wanted:
                    assert math.dist(a, b) <= carry + 1e-9
    assert set(front) == wanted and set(front.values()) <= {1}
    assert plan.total >= plan.bound - 1e-6
    return front, behind
