"""Chains: the gaps and openings along one axis that come into question, and what they cost.

Order of preference, as costs: gap off by 1: 1 an axis; by 2: 2.5; a pad row: 2; gaps that differ between the axes: 3.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from converter.compose.plan import Gaps
from converter.compose.search import Costs

GAP_COSTS = (0.0, 1.0, 2.5)
PAD_COST = 2.0
UNEQUAL_GAPS_COST = 3.0
FREE_GAP_COST = 0.2
"""For each stitch that the first gap differs from the wish when the outer size is given."""
MOST_GIVING = 4
"""Of so many borders the gaps may give way; those further out keep theirs, or the pairs would run into millions."""


@dataclass(frozen=True)
class Chain:
    """Gaps and openings along one axis, inside out."""

    gaps: Gaps
    openings: tuple[int, ...]
    cost: float


def _choices(wish: int, slack: int) -> list[int]:
    """Return the gaps that may stand for a wish; a gap that was asked for never vanishes."""
    return [g for g in range(max(min(wish, 1), wish - slack), wish + slack + 1)]


def _outer_slack(at: int, slack: int) -> int:
    """Return how far the gap before border ``at``, not the first, may give way."""
    return min(slack, 1) if at < MOST_GIVING else 0


def free_chains(
    size: int, depths: Sequence[int], wanted: Sequence[int], slack: int, pads: Sequence[int]
) -> list[Chain]:
    """Return all chains round a motif of ``size`` along one axis."""
    chains = []
    options = [_choices(g, slack if at == 0 else _outer_slack(at, slack)) for at, g in enumerate(wanted)]
    for pad, gaps in product(pads, product(*options)):
        openings = []
        edge = size + pad
        for gap, depth in zip(gaps, depths, strict=True):
            openings.append(edge + 2 * gap)
            edge = openings[-1] + 2 * depth
        cost = PAD_COST * pad + sum(GAP_COSTS[abs(g - w)] for g, w in zip(gaps, wanted, strict=True))
        chains.append(Chain(Gaps(gaps, pad), tuple(openings), cost))
    return chains


def fixed_chains(
    size: int, depths: Sequence[int], wanted: Sequence[int], slack: int, pads: Sequence[int], outer: int
) -> list[Chain]:
    """Return all chains round a motif of ``size`` that end at exactly ``outer``."""
    chains = []
    options = [_choices(g, _outer_slack(at, slack)) for at, g in enumerate(wanted[1:], 1)]
    for rest in product(*options):
        first = outer - 2 * sum(depths) - 2 * sum(rest)
        pad = (first - size) % 2
        gap = (first - size - pad) // 2
        if pad not in pads or gap < min(wanted[0], 1):
            continue
        openings = [first]
        for inner, later in zip(depths, rest, strict=False):
            openings.append(openings[-1] + 2 * inner + 2 * later)
        cost = PAD_COST * pad + FREE_GAP_COST * abs(gap - wanted[0])
        cost += sum(GAP_COSTS[abs(g - w)] for g, w in zip(rest, wanted[1:], strict=True))
        chains.append(Chain(Gaps((gap, *rest), pad), tuple(openings), cost))
    return chains


def chain_costs(across: list[Chain], up: list[Chain], moves: frozenset[str], fixed: bool) -> Costs:
    """Return what every pair of chains costs before the rings themselves, (across, up); infinite if it is barred."""
    total = np.array([c.cost for c in across])[:, None] + np.array([c.cost for c in up])[None, :]
    # With a fixed outer size the first gap of each axis has no choice and may differ.
    skip = 1 if fixed else 0
    kinds: dict[tuple[int, ...], int] = {}
    x = np.array([kinds.setdefault(c.gaps.gaps[skip:], len(kinds)) for c in across])
    y = np.array([kinds.setdefault(c.gaps.gaps[skip:], len(kinds)) for c in up])
    surcharge = UNEQUAL_GAPS_COST if "unequal" in moves else np.inf
    return np.asarray(total + np.where(x[:, None] != y[None, :], surcharge, 0.0))
