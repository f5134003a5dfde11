"""Back moves, cuts and bounds against slow reckonings that try everything."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from helpers.route_checker import runs_behind

from converter.errors import RequestError, UsageError
from converter.estimate.route import check_lengths, plan_thread
from converter.estimate.route_bound import _fewest, _Forest, piece_gaps, thread_bound
from converter.estimate.route_cut import choose_directions, cut_lengths, move_table, taken_moves
from converter.estimate.route_geometry import (
    Crosses,
    MoveRules,
    crossed_cells,
    link_length,
    link_steps,
)
from converter.estimate.route_links import Links
from converter.estimate.route_tree import SideGraph

ROOT2 = math.sqrt(2)
BOTTOM, TOP = ((1, 0), (0, 1)), ((0, 0), (1, 1))


def scattered(seed, shape=(7, 8), share=0.5):
    return np.random.default_rng(seed).random(shape) < share


# Geometry.


@pytest.mark.parametrize("pad", [0, 1, 3])
def test_crosses_are_numbered_in_reading_order(pad):
    cells = scattered(1)
    crosses = Crosses.of(cells, pad)
    places = [tuple(at) for at in np.argwhere(cells).tolist()]
    assert crosses.count == len(places) and list(zip(crosses.row.tolist(), crosses.col.tolist(), strict=True)) == places
    assert crosses.index.shape == (7 + 2 * pad, 8 + 2 * pad)
    for number, (r, c) in enumerate(places):
        assert crosses.index[r + pad, c + pad] == number
    assert (crosses.index >= 0).sum() == len(places)
    holes = crosses.leg_holes(np.array([0, 1, 2 * crosses.count - 1]))
    (r, c), (s, t) = places[0], places[-1]
    assert holes.tolist() == [[[r + 1, c], [r, c + 1]], [[r, c], [r + 1, c + 1]], [[s, t], [s + 1, t + 1]]]


def test_neighbours_one_step_on():
    cells = scattered(2)
    crosses = Crosses.of(cells, 3)
    number = {at: k for k, at in enumerate(zip(crosses.row.tolist(), crosses.col.tolist(), strict=True))}
    for step in itertools.product(range(-3, 4), repeat=2):
        found = crosses.neighbour(step)
        assert found.tolist() == [number.get((r + step[0], c + step[1]), -1) for r, c in number]


@pytest.mark.parametrize("step", [s for s in itertools.product(range(-4, 5), repeat=2) if s[0] and s[1]])
def test_cells_under_a_slanting_move(step):
    """Walked along in steps of a thousandth."""
    seen = set()
    for k in range(1, 4000):
        r, c = step[0] * (k - 0.37) / 4000, step[1] * (k - 0.37) / 4000
        if abs(r - round(r)) > 1e-6 and abs(c - round(c)) > 1e-6:
            seen.add((math.floor(r), math.floor(c)))
    assert set(crossed_cells(step)) == seen and len(crossed_cells(step)) == len(seen)


@pytest.mark.parametrize("step", [*itertools.product(range(-3, 4), repeat=2)])
def test_moves_that_run_behind_the_stitches(step):
    if step == (0, 0):
        return
    cells = scattered(3, (6, 7), 0.6)
    behind = MoveRules(cells, 5.0, True).behind(step)
    assert behind.shape == (7, 8)
    for r, c in itertools.product(range(7), range(8)):
        end = (r + step[0], c + step[1])
        inside = 0 <= end[0] <= 6 and 0 <= end[1] <= 7
        assert behind[r, c] == (inside and runs_behind(cells, (r, c), end))


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize("carry", [1.0, 2.0, 2.9, ROOT2])
def test_lengths_of_back_moves(hidden, carry):
    cells = scattered(4, (5, 6), 0.7)
    rules = MoveRules(cells, carry, hidden)
    holes = np.array(list(itertools.product(range(6), range(7))))
    shape = (len(holes), len(holes), 2)
    found = rules.length(np.broadcast_to(holes[:, None], shape), np.broadcast_to(holes[None], shape))
    for i, a in enumerate(holes.tolist()):
        for j, b in enumerate(holes.tolist()):
            span = math.dist(a, b)
            allowed = 0 < span <= carry + 1e-9 and (not hidden or runs_behind(cells, a, b))
            assert found[i, j] == (pytest.approx(span) if allowed else math.inf)


def test_no_move_at_all_is_allowed_between_far_holes():
    rules = MoveRules(scattered(4), 2.0, True)
    assert rules.length(np.array([[0, 0]]), np.array([[5, 5]])).tolist() == [math.inf]


def shortest_link(step):
    """From either end of a top leg to either end of the bottom leg of another cross."""
    spans = [math.dist(a, (step[0] + b[0], step[1] + b[1])) for a in TOP for b in BOTTOM]
    return min(span for span in spans if span > 0)


@pytest.mark.parametrize("carry", [1.0, ROOT2, 2.0, 3.5])
def test_links_between_crosses(carry):
    steps = link_steps(carry)
    expected = {
        step: shortest_link(step)
        for step in itertools.product(range(-8, 9), repeat=2)
        if step != (0, 0) and shortest_link(step) <= carry + 1e-9
    }
    assert dict(steps) == pytest.approx(expected) and len(steps) == len(expected)
    assert [round(span, 9) for _, span in steps] == sorted(round(span, 9) for _, span in steps)
    for (one, first), (other, second) in itertools.pairwise(steps):
        assert first < second - 1e-9 or one < other
    assert link_length((0, 1)) == pytest.approx(ROOT2) and link_length((1, 1)) == link_length((0, 2)) == 1


def slow_excess(cells, one, other, carry, hidden):
    """Least excess of a link, and of the way back where carries are hidden: the longer of the two counts."""
    ways = []
    for a, b in ((one, other), (other, one)):
        spans = [math.inf]
        for leave, enter in itertools.product(TOP, BOTTOM):
            start, end = (a[0] + leave[0], a[1] + leave[1]), (b[0] + enter[0], b[1] + enter[1])
            span = math.dist(start, end)
            if 0 < span <= carry + 1e-9 and (not hidden or runs_behind(cells, start, end)):
                spans.append(span - 1)
        ways.append(min(spans))
    return max(ways) if hidden else ways[0]


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize("carry", [1.0, 2.5, 3.5])
def test_excess_of_every_link(hidden, carry):
    cells = scattered(5, (6, 7), 0.45)
    crosses = Crosses.of(cells, int(carry) + 4)
    price = 30.0
    links = Links(crosses, MoveRules(cells, carry, hidden), price)
    places = list(zip(crosses.row.tolist(), crosses.col.tolist(), strict=True))
    for i, one in enumerate(places):
        reached = []
        for j, other in enumerate(places):
            if i == j:
                continue
            expected = min(slow_excess(cells, one, other, carry, hidden), price)
            assert links.excess(i, j) == pytest.approx(expected)
            if expected < price:
                reached.append((j, expected))
        for most in (0.0, 0.42, price - 1):
            near = links.near(i, most)
            assert len(near) == len({j for j, _ in near})
            assert dict(near) == pytest.approx({j: cost for j, cost in reached if cost <= most + 1e-9})
            assert [cost for _, cost in near] == sorted(cost for _, cost in near)
            assert links.near(i, most, None, 3) == near[:3]
        chosen = [-1 if k % 2 else k for k in range(len(places))]
        assert {j for j, _ in links.near(i, price - 1, chosen)} == {j for j, _ in reached if j % 2 == 0}
    order = np.random.default_rng(1).permutation(len(places)).tolist()
    assert links.along(order) == pytest.approx([links.excess(a, b) for a, b in itertools.pairwise(order)])


# Cutting.


def test_directions_are_the_best_of_all():
    rng = np.random.default_rng(7)
    for _ in range(30):
        count = int(rng.integers(1, 8))
        table = rng.integers(1, 6, (count - 1, 2, 2)).astype(float)
        table[rng.random(table.shape) < 0.2] = np.inf
        price = 4.0

        def cost(ends, table=table, price=price):
            return sum(min(table[k, a, b], price) for k, (a, b) in enumerate(itertools.pairwise(ends)))

        chosen = choose_directions(table, price).tolist()
        assert len(chosen) == count
        assert cost(chosen) == min(cost(ends) for ends in itertools.product((0, 1), repeat=count))
        assert taken_moves(table, np.array(chosen, dtype=np.int8)).tolist() == [
            table[k, a, b] for k, (a, b) in enumerate(itertools.pairwise(chosen))
        ]


def cutting_cost(moves, starts, capacity, price):
    """Thread of a cutting, infinite if a length does not hold; a move is not made between two lengths."""
    total, ends = 0.0, [*starts[1:], len(moves) + 1]
    for first, end in zip(starts, ends, strict=True):
        used = (end - first) * ROOT2 + sum(moves[first : end - 1])
        if used > capacity + 1e-9:
            return math.inf
        total += used + price
    return total


@pytest.mark.parametrize("price", [1.0, 1.5, 8.0])
@pytest.mark.parametrize("capacity", [ROOT2, 2 * ROOT2 + 1, 9.0, 40.0])
def test_cuts_are_the_best_of_all(capacity, price):
    rng = np.random.default_rng(8)
    for _ in range(12):
        count = int(rng.integers(1, 9))
        moves = rng.choice([1.0, 1.0, ROOT2, 2.0, 3.0, np.inf], count - 1)
        starts = cut_lengths(moves, capacity, price)
        assert starts[0] == 0 and starts == sorted(set(starts))
        every = [
            cutting_cost(moves, [0, *cuts], capacity, price)
            for k in range(count)
            for cuts in itertools.combinations(range(1, count), k)
        ]
        assert cutting_cost(moves, starts, capacity, price) == pytest.approx(min(every))


def test_even_moves_fill_every_length():
    """Capacity 12: four legs take 4 root 2 + 3 = 8.66, five 11.07, six 13.49."""
    for count, starts in ((4, [0]), (5, [0]), (6, [0, 5]), (11, [0, 5, 10]), (10, [0, 5])):
        assert cut_lengths(np.ones(count - 1), 12.0, 3.0) == starts
    # To the hair: five legs exactly.
    assert cut_lengths(np.ones(6), 5 * ROOT2 + 4, 3.0) == [0, 5]
    assert cut_lengths(np.ones(6), 5 * ROOT2 + 4 - 1e-6, 3.0) == [0, 4]
    # A move dearer than two tails is not made, though the length would hold it.
    assert cut_lengths(np.array([1.0, 4.0, 1.0]), 99.0, 3.0) == [0, 2]
    assert cut_lengths(np.array([1.0, 3.0, 1.0]), 99.0, 3.0) == [0]


def test_table_of_moves_by_hand():
    """The legs / and \\ of one cross, then / of the next: from each end of one to each end of the other."""
    cells = np.ones((1, 2), dtype=bool)
    table = move_table(Crosses.of(cells), MoveRules(cells, 3.5, False), np.array([0, 1, 2]))
    # Worked from (1, 0) the thread stands at (0, 1); up at (0, 0) is 1 away, up at (1, 1) as well.
    assert table[0].tolist() == [[1, 1], [1, 1]]
    # Worked from (0, 0) the upper leg ends at (1, 1); the next lower leg begins at (1, 1) or (0, 2).
    assert table[1].tolist() == [[math.inf, pytest.approx(ROOT2)], [pytest.approx(ROOT2), 2]]


# Bounds.


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize("carry", [1.0, 2.0, 3.5])
def test_shortest_moves_between_pieces(hidden, carry):
    cells = scattered(9, (7, 8), 0.4)
    crosses = Crosses.of(cells, int(carry) + 4)
    sides = SideGraph.of(crosses)
    found = piece_gaps(crosses, sides, MoveRules(cells, carry, hidden))
    expected = {"bottom": {}, "top": {}, "cross": {}}
    places = list(zip(crosses.row.tolist(), crosses.col.tolist(), strict=True))
    ends = [
        (piece, kind, (r + d[0], c + d[1]))
        for (r, c), piece in zip(places, sides.piece.tolist(), strict=True)
        for kind, leg in (("bottom", BOTTOM), ("top", TOP))
        for d in leg
    ]
    for (one, first, a), (two, second, b) in itertools.combinations(ends, 2):
        span = math.dist(a, b)
        if one == two or not 0 < span <= carry + 1e-9 or (hidden and not runs_behind(cells, a, b)):
            continue
        kind = first if first == second else "cross"
        key = (min(one, two), max(one, two))
        expected[kind][key] = min(span, expected[kind].get(key, math.inf))
    for kind, (one, two, span) in found.items():
        told = {(a, b): s for a, b, s in zip(one.tolist(), two.tolist(), span.tolist(), strict=True)}
        assert len(told) == one.size and told == pytest.approx(expected[kind])


@pytest.mark.parametrize(
    ("count", "capacity", "starts"),
    [(1, 4.0, 1), (1, 2 * ROOT2 + 1, 1), (1, 3.8, 2), (10, 47.3, 1), (10, 47.2, 2), (10, 24.0, 2), (3, 100.0, 1)],
)
def test_fewest_lengths_of_one_piece(count, capacity, starts):
    """s = ceil(2 n / f), f = floor((capacity + 1) / (1 + root 2)): ten crosses take 47.284 (facts worked out on
    Dillmont, fig. 253)."""
    nothing = tuple(np.zeros(1) for _ in range(4))
    assert _fewest(count, _Forest(1, 1, nothing), capacity) == (starts, 0.0)


def test_bound_of_pieces_that_carries_join():
    """Two single crosses 3 apart in a row: the holes between them are two apart, one side more than a move of one."""
    cells = np.zeros((1, 4), dtype=bool)
    cells[0, [0, 3]] = True
    crosses = Crosses.of(cells, 8)
    sides = SideGraph.of(crosses)
    near = thread_bound(crosses, sides, MoveRules(cells, 3.5, False), 252.0, 25.0)
    assert (near.starts, near.front, near.tails) == (1, pytest.approx(4 * ROOT2), 50)
    # Three moves of one side at least, one of them longer by one.
    assert near.back == pytest.approx(3 + 1) and near.total == pytest.approx(4 * ROOT2 + 4 + 50)
    far = thread_bound(crosses, sides, MoveRules(cells, 1.9, False), 252.0, 25.0)
    assert (far.starts, far.back, far.tails) == (2, 2, 100) and far.group.tolist() == [0, 1]
    assert near.group.tolist() == [0, 0]
    forest = _Forest(3, 1, (np.array([0, 1.0, 3.0]), np.array([0, 2.0, 2.5]), np.array([0, 0.5, 1.0]),
                            np.array([0, 0.25, 1.5])))  # fmt: skip
    assert [forest.excess(s) for s in (1, 2, 3, 4)] == [3.0, 2.0, 0.0, 0.0]


# Requests.


def test_least_working_length():
    """A whole cross takes 2 root 2 + 1 sides in the closed order, a half cross root 2 in the least order."""
    one = np.ones((1, 1), dtype=bool)
    for order, least in (("closed", 2 * ROOT2 + 1), ("least", ROOT2)):
        plan = plan_thread(one, least + 20 + 1e-6, 10.0, order=order)
        assert plan.starts == (1 if order == "closed" else 2)
        with pytest.raises(RequestError):
            plan_thread(one, least + 20 - 1e-6, 10.0, order=order)


@pytest.mark.parametrize(("length", "tail", "carry"), [(0, 0, 1), (0.0, 0.0, 1.0), (np.float64(252), np.int64(3), 1)])
def test_numbers_at_the_limit_are_taken(length, tail, carry):
    check_lengths(length, tail, carry)


@pytest.mark.parametrize(("name", "value"), [("length", -1e-9), ("tail", -0.1), ("carry", 0.999), ("length", True),
                                             ("tail", np.inf), ("carry", None)])  # fmt: skip
def test_numbers_beyond_it_are_not(name, value):
    numbers = {"length": 252.0, "tail": 25.0, "carry": 3.5, name: value}
    with pytest.raises(UsageError, match=name):
        check_lengths(**numbers)
