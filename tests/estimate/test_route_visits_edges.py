"""Rows of visits: tables, weighing, changes and their seams against slow definitions."""

from __future__ import annotations

from itertools import pairwise, permutations, product

import numpy as np
import pytest

from converter.estimate.route_visits import _as_legs, _Copies, _Tables, shorter_orders

PRICE = 20.0


def group(rng, count):
    """Holes of the legs of some crosses, every hole with a number of its own."""
    return rng.permutation(4 * count).reshape(2 * count, 2)


def random_excess(rng, most):
    """Excess of back moves between holes: some are too far."""
    table = np.minimum(rng.random((most, most)) * 1.6 * PRICE, PRICE).astype(np.float32)
    return lambda out, into: table[out, into]


@pytest.fixture
def world():
    rng = np.random.default_rng(1)
    holes = [group(rng, count) for count in (3, 12, 7)]
    excess = random_excess(rng, 48)
    return rng, holes, excess, _Tables.of(holes, excess, PRICE)


def link(holes, excess, a, b, way):
    """From leg a worked from one end to leg b worked from one: 00, 01, 10, 11, the end they are begun at."""
    first, second = divmod(way, 2)
    return PRICE if a == b else float(excess(holes[a, 1 - first], holes[b, second]))


def test_tables_hold_every_move(world):
    _, holes, excess, tables = world
    assert tables.size == 2 * 13 and tables.price == PRICE
    links = tables.link.reshape(4, 3, 26, 26)
    cross = tables.cross.reshape(3, 13, 13)
    for number, part in enumerate(holes):
        count = len(part)
        for a, b, way in product(range(count), range(count), range(4)):
            assert links[way, number, a, b] == pytest.approx(link(part, excess, a, b, way))
        # What fills up costs nothing.
        assert not links[:, number, count:].any() and not links[:, number, :, count:].any()
        for one, two in product(range(count // 2), repeat=2):
            ways = [
                link(part, excess, a, b, way)
                for a in (2 * one, 2 * one + 1) for b in (2 * two, 2 * two + 1) for way in range(4)
            ]  # fmt: skip
            if one == two:
                # From the bottom leg of a cross to its own top leg.
                ways = [link(part, excess, 2 * one, 2 * one + 1, way) for way in range(4)]
            assert cross[number, one, two] == pytest.approx(min(ways))


def test_the_nearest_crosses_come_first_over_and_over(world):
    _, holes, _, tables = world
    cross = tables.cross.reshape(3, 13, 13)
    for number, part in enumerate(holes):
        count = len(part) // 2
        for one in range(count):
            others = sorted((k for k in range(count) if k != one), key=lambda k: cross[number, one, k])
            reached = [k for k in others if cross[number, one, k] < PRICE][:8]
            assert tables.near[number, one].tolist() == [reached[k % len(reached)] for k in range(8)]


def test_a_cross_without_any_near_it_has_the_first_as_its_near_one():
    rng = np.random.default_rng(2)
    tables = _Tables.of([group(rng, 3)], lambda out, into: np.full(len(out), PRICE, np.float32), PRICE)
    assert (tables.near[0, :3] == tables.near[0, :3, :1]).all()


def legs_of(visits):
    """The first visit of a cross is for its bottom leg, the second for its top leg."""
    seen, legs = set(), []
    for visit in visits:
        legs.append(visit // 2 * 2 + (visit // 2 in seen))
        seen.add(visit // 2)
    return legs


def slow_weight(holes, excess, visits):
    """The least excess of a row over all directions of its legs, one after the other."""
    legs = legs_of(visits)
    ending = [0.0, 0.0]
    for a, b in pairwise(legs):
        ending = [min(ending[k] + link(holes, excess, a, b, 2 * k + j) for k in (0, 1)) for j in (0, 1)]
    return min(ending)


def test_rows_are_weighed_at_the_best_directions(world):
    rng, holes, excess, tables = world
    for number, part in enumerate(holes):
        count = len(part)
        visits = np.stack([rng.permutation(count) for _ in range(20)])
        base = np.full((20, 1), number * tables.size**2)
        weight, at = tables.weigh(visits, base)
        for row in range(20):
            assert weight[row] == pytest.approx(slow_weight(part, excess, visits[row]), abs=1e-4)
            legs = legs_of(visits[row])
            assert at[row].tolist() == [base[row, 0] + a * tables.size + b for a, b in pairwise(legs)]
            assert _as_legs(visits[row]).tolist() == legs
    # By trying every direction, on the small group.
    visits = rng.permutation(6)
    legs = legs_of(visits)
    tried = [
        sum(link(holes[0], excess, a, b, 2 * ways[k] + ways[k + 1]) for k, (a, b) in enumerate(pairwise(legs)))
        for ways in product((0, 1), repeat=6)
    ]
    assert tables.weigh(visits[None], np.zeros((1, 1), dtype=np.int64))[0][0] == pytest.approx(min(tried), abs=1e-4)


def copies_of(world, rows=6):
    """Rows of all three groups, filled up to the visits of the largest."""
    rng, holes, _, tables = world
    belongs = np.repeat(np.arange(3), rows)
    real = np.array([len(part) for part in holes])[belongs]
    count = tables.size - 2
    visits = np.stack([np.concatenate((rng.permutation(n), np.arange(n, count))) for n in real])
    return _Copies(tables, belongs, visits, real), real


def check(copies, world, real):
    """What is kept of each row is what its visits say."""
    _, holes, excess, tables = world
    cross_of = tables.cross.reshape(3, 13, 13)
    for row, number in enumerate(copies.group):
        visits = copies.visits[row]
        assert sorted(visits.tolist()) == list(range(24)) and visits[real[row] :].tolist() == list(range(real[row], 24))
        assert copies.cost[row] == pytest.approx(slow_weight(holes[number], excess, visits[: real[row]]), abs=1e-3)
        assert copies.at[row, visits].tolist() == list(range(24))
        assert copies.cross[row].tolist() == [12, *(visits // 2).tolist(), 12]
        legs = legs_of(visits[: real[row]])
        moves = [min(link(holes[number], excess, a, b, way) for way in range(4)) for a, b in pairwise(legs)]
        assert copies.old[row, 1 : real[row]] == pytest.approx(moves, abs=1e-5)
        assert not copies.old[row, [0, -1]].any() and not copies.old[row, real[row] :].any()
        cuts = [k + 1 for k, move in enumerate(moves) if move >= PRICE]
        firsts, lasts = [0, *cuts], [*(k - 1 for k in cuts), real[row] - 1]
        for first, last in zip(firsts, lasts, strict=True):
            assert (copies.low[row, first : last + 1] == first).all()
            assert (copies.high[row, first : last + 1] == last).all()
        ends = sorted({*firsts, *lasts})
        assert copies.stub_count[row] == len(ends) and copies.stubs[row, : len(ends)].tolist() == ends
        assert cross_of.shape == (3, 13, 13)


def test_what_is_kept_of_rows_is_right_from_the_start_and_after_changes(world):
    copies, real = copies_of(world)
    check(copies, world, real)
    random = np.random.default_rng(3)
    before = copies.visits.copy()
    for heat in (30.0, 5.0, 1.0):
        for _ in range(25):
            copies.change(random, heat)
        check(copies, world, real)
    assert (copies.visits != before).any(axis=1).all()


def test_without_heat_rows_only_get_shorter(world):
    copies, real = copies_of(world)
    random = np.random.default_rng(4)
    first = last = copies.cost.copy()
    for _ in range(120):
        copies.change(random, 1e-9)
        assert (copies.cost <= last + 1e-4).all()
        last = copies.cost.copy()
    assert last.sum() < 0.7 * first.sum()
    check(copies, world, real)


def slow_move(row, first, last, before, turned):
    """A stretch taken out and put in before a place."""
    stretch = row[first : last + 1]
    rest = [*row[:first], *row[last + 1 :]]
    at = before if before <= first else before - len(stretch)
    return [*rest[:at], *(stretch[::-1] if turned else stretch), *rest[at:]]


def changes(count):
    """All stretches and places they can go to: first, last, before and turned."""
    return [
        (first, last, before, turned)
        for first in range(count)
        for last in range(first, count)
        for before in (*range(first + 1), *range(last + 1, count + 1))
        for turned in (False, True)
    ]


def test_stretches_go_where_they_are_put(world):
    copies, _ = copies_of(world)
    every = changes(7)
    first, last, before, turned = (np.array(each) for each in zip(*every, strict=True))
    moved = copies._moved(first, last, before, turned)
    for source, change in zip(moved, every, strict=True):
        assert source.tolist() == slow_move(list(range(24)), *change)


def test_seams_are_what_a_change_opens_and_closes(world):
    """Against all pairs of neighbours before and after; legs are chosen freely where pairs are new."""
    copies, _ = copies_of(world, rows=1)
    _, _, _, tables = world
    cross_of = tables.cross.reshape(3, 13, 13)
    every = changes(6)
    for row, number in enumerate(copies.group):
        first, last, before, turned = (np.array(each) for each in zip(*every, strict=True))
        in_place = (before == first) | (before == last + 1)
        found = copies._seams(np.full(len(every), row), first, last, before, turned, in_place)
        kept = (turned | ~in_place).nonzero()[0]
        crosses = copies.cross[row].tolist()
        old = copies.old[row].tolist()
        for k in kept:
            new = slow_move(list(range(24)), *every[k])
            # Places with the ends that cost nothing on either side; inside the stretch nothing changes.
            stretch = range(every[k][0], every[k][1] + 1)
            pairs = set(pairwise([-1, *new, 24]))
            opened = sum(
                float(cross_of[number, crosses[a + 1], crosses[b + 1]])
                for a, b in pairs
                if b != a + 1 and not (a in stretch and b in stretch)
            )
            closed = sum(
                old[a + 1] for a in range(-1, 24) if (a, a + 1) not in pairs and not (a in stretch and a + 1 in stretch)
            )
            if in_place[k] and len(stretch) == 1:
                continue
            assert found[k] == pytest.approx(opened - closed, abs=1e-3), every[k]


def test_orders_of_groups_get_shorter_and_the_shortest_of_few_is_found(world):
    _, holes, excess, _ = world
    rng = np.random.default_rng(6)
    orders = [np.asarray(legs_of(rng.permutation(len(part)))) for part in holes]
    made = shorter_orders(orders, holes, excess, PRICE, 600, (8.0, 0.5))
    for old, new, part in zip(orders, made, holes, strict=True):
        assert sorted(new.tolist()) == list(range(len(part))) and legs_of(new) == new.tolist()
        assert slow_weight(part, excess, new) <= slow_weight(part, excess, old) + 1e-3
    # Of three crosses every order can be tried.
    best = min(slow_weight(holes[0], excess, visits) for visits in permutations(range(6)))
    assert slow_weight(holes[0], excess, made[0]) == pytest.approx(best, abs=1e-3)
    none = shorter_orders(orders, holes, excess, PRICE, 0, (8.0, 0.5))
    assert [each.tolist() for each in none] == [each.tolist() for each in orders]
    again = shorter_orders(orders, holes, excess, PRICE, 600, (8.0, 0.5))
    assert all(np.array_equal(one, two) for one, two in zip(made, again, strict=True))
