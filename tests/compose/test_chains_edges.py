"""Gaps and openings along one axis, worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from converter.compose.chains import Chain, chain_costs, fixed_chains, free_chains
from converter.compose.plan import Gaps


def table(chains):
    return {(c.gaps.gaps, c.gaps.pad): (c.openings, round(c.cost, 9)) for c in chains}


def test_one_border_with_gaps_of_two_more_or_less():
    """A gap off by one costs 1, by two 2.5, a pad row 2 (what was preferred when plans were looked at side by side)."""
    assert table(free_chains(10, (3,), (3,), 2, (0, 1))) == {
        ((1,), 0): ((12,), 2.5),
        ((2,), 0): ((14,), 1),
        ((3,), 0): ((16,), 0),
        ((4,), 0): ((18,), 1),
        ((5,), 0): ((20,), 2.5),
        ((1,), 1): ((13,), 4.5),
        ((2,), 1): ((15,), 3),
        ((3,), 1): ((17,), 2),
        ((4,), 1): ((19,), 3),
        ((5,), 1): ((21,), 4.5),
    }


@pytest.mark.parametrize(
    ("wish", "slack", "gaps"),
    [(0, 2, [0, 1, 2]), (1, 2, [1, 2, 3]), (2, 2, [1, 2, 3, 4]), (3, 0, [3]), (4, 1, [3, 4, 5]), (0, 0, [0])],
)
def test_a_gap_that_was_asked_for_never_vanishes(wish, slack, gaps):
    assert [c.gaps.gaps[0] for c in free_chains(10, (3,), (wish,), slack, (0,))] == gaps


def test_later_gaps_give_by_one_at_most_and_far_out_not_at_all():
    chains = free_chains(8, (1,) * 6, (3,) * 6, 2, (0,))
    given = [sorted({c.gaps.gaps[at] for c in chains}) for at in range(6)]
    assert given == [[1, 2, 3, 4, 5], [2, 3, 4], [2, 3, 4], [2, 3, 4], [3], [3]]
    stiff = free_chains(8, (1, 1), (3, 3), 0, (0,))
    assert [c.gaps.gaps for c in stiff] == [(3, 3)]


def test_openings_of_two_borders_lie_outside_one_another():
    found = table(free_chains(10, (3, 2), (2, 1), 0, (0, 1)))
    # 10 + 2 x 2 = 14, then 3 on each side and 1 blank: 14 + 6 + 2 = 22.
    assert found == {((2, 1), 0): ((14, 22), 0), ((2, 1), 1): ((15, 23), 2)}


@pytest.mark.parametrize(
    ("outer", "gap", "pad", "cost"),
    [(22, 3, 0, 0), (24, 4, 0, 0.2), (30, 7, 0, 0.8), (18, 1, 0, 0.4), (23, 3, 1, 2), (19, 1, 1, 2.4)],
)
def test_a_given_size_leaves_the_first_gap(outer, gap, pad, cost):
    """22 = 10 + 2 x 3 (gap) + 2 x 3 (border). The gap that is left costs little: nobody asked for another."""
    assert table(fixed_chains(10, (3,), (3,), 2, (0, 1), outer)) == {((gap,), pad): ((outer - 6,), cost)}


def test_a_given_size_that_leaves_no_gap_has_no_chain():
    assert fixed_chains(10, (3,), (3,), 2, (0, 1), 17) == []
    assert fixed_chains(10, (3,), (3,), 2, (0, 1), 16) == []
    # Nothing between motif and border may be asked for.
    assert table(fixed_chains(10, (3,), (0,), 2, (0, 1), 16)) == {((0,), 0): ((10,), 0)}
    assert table(fixed_chains(10, (3,), (0,), 2, (0, 1), 17)) == {((0,), 1): ((11,), 2)}
    assert fixed_chains(10, (3,), (0,), 2, (0, 1), 15) == []
    # Without a pad row an odd remainder cannot be parted.
    assert fixed_chains(10, (3,), (3,), 2, (0,), 23) == []


def test_a_given_size_with_two_borders():
    found = table(fixed_chains(10, (3, 2), (2, 2), 1, (0,), 30))
    # 30 - 2 x 5 (borders) - 2 x the outer gap; the first gap takes the rest.
    assert found == {
        ((4, 1), 0): ((18, 26), 0.2 * 2 + 1),
        ((3, 2), 0): ((16, 26), 0.2),
        ((2, 3), 0): ((14, 26), 1),
    }


def chain_of(*gaps, pad=0, cost=0.0):
    return Chain(Gaps(gaps, pad), (), cost)


def test_gaps_that_differ_between_the_axes_cost_three():
    across, up = [chain_of(2, cost=1.0), chain_of(3, pad=1, cost=2.0)], [chain_of(3), chain_of(2, cost=0.5)]
    assert chain_costs(across, up, frozenset({"unequal"}), False).tolist() == [[4.0, 1.5], [2.0, 5.5]]
    assert chain_costs(across, up, frozenset(), False).tolist() == [[np.inf, 1.5], [2.0, np.inf]]


def test_with_a_given_size_the_first_gaps_may_differ():
    across, up = [chain_of(7, 1), chain_of(6, 2)], [chain_of(3, 1)]
    assert chain_costs(across, up, frozenset({"unequal"}), True).tolist() == [[0.0], [3.0]]
    assert chain_costs(across, up, frozenset(), True).tolist() == [[0.0], [np.inf]]
