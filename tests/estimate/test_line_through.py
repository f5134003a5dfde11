"""Passing through a figure in double running: all its lines worked between two carries."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from math import dist, inf
from random import Random

import pytest
from helpers.line_checker import edge_key

from converter.estimate.line_figures import neighbours
from converter.estimate.line_through import cheapest_chains, through_walk

CARRY = 2.5


def bar(count):
    return neighbours([((0.0, float(k)), (0.0, k + 1.0)) for k in range(count)])


def grown(seed, most):
    """A connected figure of unit lines, grown line by line."""
    random = Random(seed)
    holes, lines = [(0.0, 0.0)], set()
    for _ in range(random.randint(1, most)):
        at, step = random.choice(holes), random.choice([(0, 1), (1, 0), (0, -1), (-1, 0)])
        to = (at[0] + step[0], at[1] + step[1])
        lines.add((min(at, to), max(at, to)))
        if to not in holes:
            holes.append(to)
    return neighbours(sorted(lines)), sorted(lines)


def test_the_chains_of_a_bar_of_five():
    chains = cheapest_chains(bar(5), (0.0, 0.0), CARRY)
    found = {hole[1]: (cost, [col for _, col in chain]) for hole, (cost, chain) in chains.items()}
    assert found == {
        1.0: (-1.0, [0, 1]),
        2.0: (0.0, [0, 1, 3, 2]),
        4.0: (0.0, [0, 1, 3, 4]),
        3.0: (1.0, [0, 1, 3, 2, 4, 3]),
        5.0: (1.0, [0, 1, 3, 2, 4, 5]),
    }


def least_chain(near, start, lines):
    """The least thread of chains of at most so many lines to each hole, by trying all of them."""
    best = {}

    def go_on(at, cost, used):
        for to, line in near[at]:
            if line in used:
                continue
            value = cost - dist(at, to)
            best[to] = min(best.get(to, inf), value)
            if len(used) + 1 < lines:
                for on in near:
                    if on != to and dist(to, on) <= CARRY and on not in {hole for hole, _ in near[to]}:
                        go_on(on, value + dist(to, on), used | {line})

    go_on(start, 0.0, frozenset())
    return best


@pytest.mark.parametrize("seed", range(40))
def test_no_chain_is_cheaper(seed):
    near, _ = grown(seed, 7)
    start = Random(seed).choice(sorted(near))
    chains = cheapest_chains(near, start, CARRY)
    for hole, cost in least_chain(near, start, 4).items():
        # Of chains to a hole on the way only the cheapest is gone on with, so a dearer one may be left out.
        assert hole not in chains or chains[hole][0] <= cost + 1.0 + 1e-9
    for cost, chain in chains.values():
        links = [edge_key(*link) for link in pairwise(chain)]
        assert len(set(links[::2])) == len(links[::2])
        assert all(dist(*link) <= CARRY for link in links[1::2])
        assert cost == pytest.approx(sum(dist(*link) for link in links[1::2]) - len(links[::2]))


def test_most_chains_of_small_figures_are_the_cheapest():
    same = total = 0
    for seed in range(40):
        near, _ = grown(seed, 7)
        chains = cheapest_chains(near, min(near), CARRY)
        for hole, cost in least_chain(near, min(near), 4).items():
            total += 1
            same += hole in chains and chains[hole][0] <= cost + 1e-9
    assert same >= 0.95 * total


@pytest.mark.parametrize("seed", range(60))
def test_all_lines_are_worked_on_the_way(seed):
    """Each line once in front, no pass behind twice, and no more moves behind than the chain tells."""
    near, lines = grown(seed, 30)
    start = Random(seed).choice(sorted(near))
    chains = cheapest_chains(near, start, 3.5)
    walks = {hole: through_walk(near, chain) for hole, (_, chain) in chains.items()}
    assert sum(walk is None for walk in walks.values()) <= max(2, 0.2 * len(walks))
    for hole, walk in walks.items():
        if walk is None:
            continue
        assert (walk[0][0], walk[-1][1]) == (start, hole)
        assert Counter(edge_key(up, down) for up, down, _ in walk) == Counter(edge_key(*line) for line in lines)
        moves = [(one[1], two[0]) for one, two in pairwise(walk)]
        assert all(one != two for one, two in moves)
        behind = Counter(edge_key(*move) for move in moves)
        # Where a length ends before a carry, with a pass behind of its own.
        behind += Counter(edge_key(down, own) for (_, down, own) in walk if edge_key(down, own) not in behind)
        assert set(behind) >= {edge_key(*line) for line in lines}
        assert all(behind[edge_key(*line)] == 1 for line in lines)
        cost = chains[hole][0]
        assert sum(dist(*move) for move in moves) == pytest.approx(len(lines) + cost)
