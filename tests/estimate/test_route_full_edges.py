"""Each change of full lengths costs what it says, and leaves everything that is kept of the lengths right."""

from __future__ import annotations

import math
from copy import deepcopy
from itertools import pairwise

import numpy as np
import pytest

from converter.estimate.route_fill import Filler
from converter.estimate.route_full import _Filling
from converter.estimate.route_geometry import Crosses, MoveRules
from converter.estimate.route_links import Links
from converter.estimate.route_work import closed_walks

CROSS = 2 * math.sqrt(2) + 2
CAPACITY = 12 * CROSS - 1 + 0.1


def links_of(cells):
    return Links(Crosses.of(cells, pad=7), MoveRules(cells, 3.5, False), 49.0)


def excess_of(links, blocks):
    return sum(links.excess(a, b) for (a, _), (b, _) in pairwise(blocks))


def worth(links, filling):
    """Half as much again as the excess, and the thread of all crosses beyond those that a length has room for."""
    total = 0.0
    for blocks in filling.lengths():
        excess = excess_of(links, blocks)
        size = sum(1 + len(children) for _, children in blocks)
        room = math.floor((CAPACITY + 1 - excess + 1e-9) / CROSS)
        total += 1.5 * excess + CROSS * max(0, size - room)
    return total


def check(links, filling):
    """Rings read both ways, children, members with their places, excess and which lengths hold too much."""
    count = links.crosses.count
    seen, over = [], []
    for number, members in enumerate(filling._members):
        stops, back, at = filling._stops(number), [], filling._before[count + number]
        while at < count:
            back.append(at)
            at = filling._before[at]
        assert back[::-1] == stops
        crosses = [c for stop in stops for c in (stop, *filling._children[stop])]
        assert sorted(crosses) == sorted(members)
        assert [filling._place[c] for c in members] == list(range(len(members)))
        assert all(filling._length[c] == number for c in crosses)
        assert all(filling._parent[stop] == -1 for stop in stops)
        assert all(filling._parent[c] == stop and c in filling._sides[stop] for stop in stops
                   for c in filling._children[stop])  # fmt: skip
        excess = sum(links.excess(a, b) for a, b in pairwise(stops))
        assert filling._excess[number] == pytest.approx(excess, abs=1e-6)
        if len(crosses) * CROSS + excess > CAPACITY + 1 + 1e-6:
            over.append(number)
        seen += crosses
    assert sorted(seen) == list(range(count))
    assert sorted(filling._over) == over and filling.too_full() == len(over)
    assert all(
        filling._over_place[n] == (filling._over.index(n) if n in over else -1) for n in range(len(filling._members))
    )


def thin(seed, side=16, count=60):
    rng = np.random.default_rng(seed)
    cells = np.zeros((side, side), dtype=bool)
    cells[side // 2, side // 2] = True
    while cells.sum() < count:
        r, c = rng.integers(1, side - 1, 2)
        beside = sum(int(cells[r + dr, c + dc]) for dr, dc in ((1, 0), (-1, 0), (0, 1), (0, -1)))
        if not cells[r, c] and beside in (1, 2) and rng.random() < 1.2 - 0.4 * beside:
            cells[r, c] = True
    return cells


def filled(seed, mixed=200):
    """Lengths of a chart, one of them put to another, and changed at random for a while."""
    links = links_of(thin(seed))
    lengths, _ = Filler(links, CAPACITY).fill(next(iter(closed_walks(links, 0.01))).stops)
    filling = _Filling(links, lengths, CAPACITY)
    check(links, filling)
    assert filling.dissolve()
    check(links, filling)
    filling.anneal(mixed, 3.0, 3.0)
    return links, filling


WAYS = {
    "_hand_on": 1, "_take_in": 1, "_exchange": 1, "_insert": 2, "_swap_ends": 2,
}  # fmt: skip
"""Changes, and how many numbers from 0 to 1 choose what becomes of the cross."""


def state(filling):
    return filling.lengths(), [sorted(part) for part in filling._members]


@pytest.mark.parametrize("name", WAYS)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_change_is_made_exactly_if_it_costs_no_more_than_allowed(name, seed):
    links, filling = filled(seed)
    rng = np.random.default_rng(seed)
    before, made = worth(links, filling), 0
    same, was = 0, state(filling)
    for _ in range(150):
        cross = int(rng.integers(links.crosses.count))
        if (filling._parent[cross] >= 0) != (name == "_hand_on" or (name == "_insert" and rng.random() < 0.5)):
            continue
        draws = rng.random(WAYS[name])
        after = deepcopy(filling)
        getattr(after, name)(cross, math.inf, *draws)
        if state(after) == was:
            same += 1
            continue
        made += 1
        check(links, after)
        cost = worth(links, after) - before
        free = name == "_hand_on" and after._length[cross] == filling._length[cross]
        for most, done in ((cost - 1e-3, free), (cost + 1e-3, True)):
            tried = deepcopy(filling)
            getattr(tried, name)(cross, most, *draws)
            assert (state(tried) != was) == done
            if done:
                assert state(tried) == state(after)
    assert made > 8


def test_what_each_change_does():
    """A row of nine: three stops with two children each, and beyond them three in a length of their own."""
    links = links_of(np.ones((1, 12), dtype=bool))

    def fresh():
        return _Filling(links, [[(1, [0, 2]), (4, [3, 5]), (7, [6, 8])], [(10, [9, 11])]], CAPACITY)

    # A child goes to another stop beside it, and 3 has none but 4.
    filling = fresh()
    filling._hand_on(3, math.inf, 0.5)
    assert state(filling) == state(fresh())
    shared = _Filling(links, [[(1, [0]), (3, [2, 4]), (5, []), (7, [6, 8])], [(10, [9, 11])]], CAPACITY)
    shared._hand_on(4, math.inf, 0.5)
    assert shared.lengths()[0] == [(1, [0]), (3, [2]), (5, [4]), (7, [6, 8])]
    # 4 and its child 5 change places; 3 goes with nobody else, so that only a stop without it can.
    filling = fresh()
    filling._exchange(4, math.inf, 0.9)
    assert state(filling) == state(fresh()), "the other child would be left alone"
    lone = _Filling(links, [[(1, [0, 2]), (3, []), (5, [4]), (7, [6, 8])], [(10, [9, 11])]], CAPACITY)
    lone._exchange(5, math.inf, 0.9)
    assert lone.lengths()[0] == [(1, [0, 2]), (3, []), (4, [5]), (7, [6, 8])]
    # A stop without children of its own becomes the child of a stop beside it.
    pair = _Filling(links, [[(1, [0]), (2, []), (4, [3, 5]), (7, [6, 8])], [(10, [9, 11])]], CAPACITY)
    pair._take_in(2, math.inf, 0.5)
    assert pair.lengths()[0] == [(1, [0, 2]), (4, [3, 5]), (7, [6, 8])]
    # The stop 7 goes with its children to before 10 in the other length, or after it.
    for side, order in ((0.9, [7, 10]), (0.1, [10, 7])):
        filling = fresh()
        near = filling._near(7)
        filling._insert(7, math.inf, (near.index(10) + 0.5) / len(near), side)
        assert [stop for stop, _ in filling.lengths()[1]] == order
        assert sorted(filling._members[1]) == [6, 7, 8, 9, 10, 11]
    # A stretch is turned so that 1 comes beside 7.
    for ahead, order in ((True, [1, 7, 4]), (False, [4, 1, 7])):
        filling = fresh()
        filling._turn(1, 7, math.inf, ahead)
        assert [stop for stop, _ in filling.lengths()[0]] == order


def test_the_shortest_length_goes_to_the_nearest():
    links = links_of(np.ones((1, 12), dtype=bool))
    filling = _Filling(links, [[(1, [0, 2]), (4, [3])], [(6, [5])], [(8, [7, 9]), (10, [11])]], CAPACITY)
    assert filling.number() == 3 and filling.dissolve() and filling.number() == 2
    joined = [[stop for stop, _ in blocks] for blocks in filling.lengths()]
    # It lies two columns from either; the links are equal, and the first found stays.
    assert joined in ([[1, 4, 6], [8, 10]], [[1, 4], [6, 8, 10]], [[1, 4], [8, 6, 10]])
    check(links, filling)
    assert filling.dissolve() and filling.number() == 1
    assert not filling.dissolve()
