"""The parts of which working orders are put together: each keeps its promise on charts drawn at random."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import ndimage

from converter.estimate.route import plan_thread
from converter.estimate.route_anneal import LegOrder
from converter.estimate.route_bound import thread_bound
from converter.estimate.route_cut import choose_directions, move_table, taken_moves
from converter.estimate.route_fill import Filler, block_legs
from converter.estimate.route_fold import folded_legs, split_walks
from converter.estimate.route_geometry import Crosses, MoveRules
from converter.estimate.route_least import _PieceRule
from converter.estimate.route_links import Links
from converter.estimate.route_pieces import PieceLinks, joined_legs
from converter.estimate.route_search import Walk
from converter.estimate.route_stops import Rounds, stop_walks
from converter.estimate.route_tree import SideGraph, TreeWalk
from converter.estimate.route_work import _ChildRule, closed_walks

ROOT2 = math.sqrt(2)


def chart(seed, shape=(12, 13), share=0.5):
    return np.random.default_rng(seed).random(shape) < share


def links_of(cells, carry=3.5, hidden=False, price=49.0):
    crosses = Crosses.of(cells, int(carry) + 4)
    return Links(crosses, MoveRules(cells, carry, hidden), price)


def check_legs(legs, count):
    """Every leg once, the bottom leg of a cross before its top leg."""
    place = {leg: at for at, leg in enumerate(legs)}
    assert sorted(legs) == list(range(2 * count))
    assert all(place[2 * k] < place[2 * k + 1] for k in range(count))


def back_moves(links, legs):
    legs = np.asarray(legs)
    table = move_table(links.crosses, links.rules, legs)
    return taken_moves(table, choose_directions(table, 99.0))


# Trees.


@pytest.mark.parametrize(("seed", "share"), [(0, 0.7), (1, 0.7), (2, 0.6), (3, 0.6), (4, 0.95), (5, 1.0)])
def test_a_piece_from_any_cross_to_any_other(seed, share):
    """All moves are one side long, but for one of the square root of 2 where the branch between is odd in length."""
    cells = chart(seed, (6, 7), share)
    label, _ = ndimage.label(cells)
    cells = label == np.bincount(label.ravel())[1:].argmax() + 1
    links = links_of(cells)
    count = links.crosses.count
    rng = np.random.default_rng(seed)
    for _ in range(25):
        entry, leave = (int(rng.integers(count)) for _ in range(2))
        walk = TreeWalk(links.crosses, np.array([entry]))
        legs = walk.legs(entry, leave)
        check_legs(legs, count)
        assert legs[0] == 2 * entry and legs[-1] == 2 * leave + 1
        path = walk.branch(entry, leave)
        assert path[0] == entry and path[-1] == leave
        assert all(walk.parent[b] == a for a, b in itertools.pairwise(path)) and walk.parent[entry] == -1
        moves = back_moves(links, legs)
        odd = (len(path) - 1) % 2
        assert moves.sum() == pytest.approx(2 * count - 1 + odd * (ROOT2 - 1))
        if count > 1:
            assert set(np.round(moves, 9).tolist()) <= {1.0, round(ROOT2, 9)}


# Stops.


def round_of(rounds, stop):
    found, before, at = [stop], stop, rounds.two[stop]
    while at != stop:
        found.append(at)
        before, at = at, rounds.two[at] if rounds.one[at] == before else rounds.one[at]
    return found


def round_cost(links, stops):
    return (
        0.0 if len(stops) == 1 else sum(links.excess(a, b) for a, b in zip(stops, [*stops[1:], stops[0]], strict=True))
    )


@pytest.mark.parametrize("hidden", [False, True])
def test_rounds_merge_where_it_costs_least(hidden):
    links = links_of(chart(3, (7, 7), 0.6), hidden=hidden)
    rounds = Rounds(links)
    count = links.crosses.count
    rng = np.random.default_rng(2)
    for _ in range(120):
        a, b = (int(rng.integers(count)) for _ in range(2))
        if rounds.root(a) == rounds.root(b):
            continue
        one, other = round_of(rounds, a), round_of(rounds, b)
        before = round_cost(links, one) + round_cost(links, other)
        # Cheapest of the ways to open both rounds beside the two stops and join the ends.
        costs = []
        for a2 in {rounds.one[a], rounds.two[a]}:
            for b2 in {rounds.one[b], rounds.two[b]}:
                gone = (links.excess(a, a2) if a2 != a else 0) + (links.excess(b, b2) if b2 != b else 0)
                costs.append(links.excess(a, b) + links.excess(a2, b2) - gone)
        most = float(rng.choice([0.0, 1.0, 3.0, 100.0]))
        done = rounds.merge(a, b, most)
        if min(costs) > most + 1e-6:
            assert done is None and round_of(rounds, a) in (one, [one[0], *one[1:][::-1]])
            continue
        assert done is not None
        merged = round_of(rounds, a)
        assert sorted(merged) == sorted(one + other) and rounds.root(a) == rounds.root(b)
        assert rounds.size(a) == len(merged)
        # Of a round of two stops both links are the same one, which may be counted once or twice.
        if min(len(one), len(other)) != 2 and len(merged) > 2:
            assert round_cost(links, merged) - before == pytest.approx(min(costs))


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize("colour", [0, 1])
@pytest.mark.parametrize(("seed", "share"), [(1, 0.3), (2, 0.6), (3, 0.9)])
def test_stops_reach_every_cross(seed, share, colour, hidden):
    cells = chart(seed, share=share)
    links = links_of(cells, hidden=hidden)
    stops = [stop for walk in stop_walks(links, colour) for stop in walk]
    assert len(set(stops)) == len(stops)
    reached = set(stops)
    for step in ((0, 1), (1, 0), (0, -1), (-1, 0)):
        beside = links.crosses.neighbour(step)
        reached |= {k for k in range(links.crosses.count) if int(beside[k]) in stops}
    assert reached == set(range(links.crosses.count))
    # Of the colour asked for, but for single crosses and thin lines.
    of_colour = {k for k in range(links.crosses.count) if (links.crosses.row[k] + links.crosses.col[k]) % 2 == colour}
    assert of_colour <= set(stops)


def test_a_solid_part_is_one_round_without_excess():
    for shape in ((8, 8), (5, 12), (4, 4), (2, 9)):
        links = links_of(np.ones(shape, dtype=bool))
        walks = stop_walks(links, 0)
        assert len(walks) == 1
        assert sum(links.along(walks[0])) == pytest.approx(0)
        assert len(walks[0]) == (np.indices(shape).sum(axis=0) % 2 == 0).sum()


def maze(seed, side):
    """A tree of arms one cross wide with gaps of one between them: sides of a square lattice, taken at random."""
    rng = np.random.default_rng(seed)
    cells = np.zeros((2 * side - 1, 2 * side - 1), dtype=bool)
    cells[::2, ::2] = True
    root = {(r, c): (r, c) for r in range(0, 2 * side, 2) for c in range(0, 2 * side, 2)}
    ways = [(r, c, r + d, c + 2 - d) for r, c in root for d in (0, 2) if (r + d, c + 2 - d) in root]

    def find(at):
        while root[at] != at:
            at = root[at]
        return at

    for k in rng.permutation(len(ways)):
        r, c, down, right = ways[k]
        if find((r, c)) != find((down, right)):
            root[find((r, c))] = find((down, right))
            cells[(r + down) // 2, (c + right) // 2] = True
    return cells


@pytest.mark.parametrize("side", [6, 13, 20])
def test_a_maze_is_walked_across_its_gaps(side):
    """Stops two apart meet across a gap of one: row by row all over the square, whatever the arms."""
    cells = maze(side, side)
    links = links_of(cells)
    walk = next(closed_walks(links, 0.01))
    if side % 2 == 0:
        assert sum(links.along(walk.stops)) == pytest.approx(0)
    plan = plan_thread(cells, effort=0.03)
    assert plan.starts == thread_bound(links.crosses, SideGraph.of(links.crosses), links.rules, 252.0, 25.0).starts
    assert plan.total <= 1.002 * plan.bound


@pytest.mark.parametrize("arm", [2, 3])
@pytest.mark.parametrize("gap", [1, 2])
def test_arms_beside_one_another_are_walked_along(arm, gap):
    """Bars joined at their ends in turn: links across the gaps are no help to a walk along them."""
    cells = np.zeros((5 * (arm + gap) - gap, 30), dtype=bool)
    for k in range(5):
        low = k * (arm + gap)
        cells[low : low + arm] = True
        if k < 4:
            cells[low + arm : low + arm + gap, :arm] = k % 2 == 1
            cells[low + arm : low + arm + gap, -arm:] = k % 2 == 0
    links = links_of(cells)
    walks = stop_walks(links, 0)
    assert len(walks) == 1 and sum(links.along(walks[0])) == pytest.approx(0)


def test_a_line_is_walked_out_and_back_with_one_turn():
    links = links_of(np.ones((1, 11), dtype=bool))
    walk = next(closed_walks(links))
    assert sum(links.along(walk.stops)) <= ROOT2 - 1 + 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_walks_are_opened_at_their_dearest_link(seed):
    links = links_of(chart(seed, share=0.45))
    for walk in stop_walks(links, 0):
        if len(walk) > 2:
            closing = links.excess(walk[-1], walk[0])
            assert closing >= max(links.along(walk)) - 1e-9


# The search.


class Plain:
    """Links between points of a plane, for the search alone: nearest first, all within reach."""

    def __init__(self, points, price=99.0):
        self.price = price
        self.flat = list(range(len(points)))
        self.table = np.rint(np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)) * 4)
        self.excess = lambda a, b: float(self.table[a, b])

    def along(self, stops):
        return [self.excess(a, b) for a, b in itertools.pairwise(stops)]

    def near(self, stop, most, place=None, count=1 << 30):
        found = sorted(
            (self.excess(stop, other), other)
            for other in self.flat
            if other != stop and (place is None or place[other] >= 0) and self.excess(stop, other) <= most
        )
        return [(other, cost) for cost, other in found][:count]


def walk_on_points(seed, count=24):
    rng = np.random.default_rng(seed)
    links = Plain(rng.random((count, 2)) * 4)
    return links, Walk(links, rng.permutation(count).tolist())


@pytest.mark.parametrize("seed", range(25))
def test_what_settling_saves_is_what_it_says(seed):
    links, walk = walk_on_points(seed)
    stops, before = list(walk.stops), sum(links.along(walk.stops))
    change = walk.settle(walk.faulty())
    assert sorted(walk.stops) == sorted(stops)
    assert [walk.place[stop] for stop in walk.stops] == list(range(len(stops)))
    assert walk.cost() == pytest.approx(sum(links.along(walk.stops))) and walk.cost() == pytest.approx(before + change)
    assert change < 0


def gain_of(links, stops, made):
    return sum(links.along(stops)) - sum(links.along(made))


@pytest.mark.parametrize("seed", range(10))
def test_nothing_is_left_to_gain_by_the_moves_of_the_search(seed):
    """No stretch turned round shortens the settled walk, nor one to three stops moved next to one of their near ones,
    where the new link is cheaper than one of the two that the stop has."""
    links, walk = walk_on_points(seed, 18)
    while walk.settle(list(walk.stops)) < 0:
        pass
    stops = walk.stops
    for at, stop in enumerate(stops):
        before = links.excess(stops[at - 1], stop) if at else 0.0
        after = links.excess(stop, stops[at + 1]) if at + 1 < len(stops) else 0.0
        for other, cost in walk.near(stop):
            to = stops.index(other)
            low, high = min(at, to), max(at, to)
            if cost < after:
                turned = stops[: low + 1] + stops[low + 1 : high + 1][::-1] + stops[high + 1 :]
                assert gain_of(links, stops, turned) <= 1e-6
            if cost < before:
                turned = stops[:low] + stops[low:high][::-1] + stops[high:]
                assert gain_of(links, stops, turned) <= 1e-6
            if cost >= max(before, after):
                continue
            for first, last in ((at, at), (at, at + 1), (at - 1, at), (at, at + 2), (at - 2, at)):
                if first < 0 or last >= len(stops) or first <= to <= last:
                    continue
                part, rest = stops[first : last + 1], stops[:first] + stops[last + 1 :]
                for beside in (rest.index(other), rest.index(other) + 1):
                    for piece in (part, part[::-1]):
                        made = rest[:beside] + piece + rest[beside:]
                        spot = made.index(stop)
                        if abs(made.index(other) - spot) == 1:
                            assert gain_of(links, stops, made) <= 1e-6


@pytest.mark.parametrize("seed", range(6))
def test_the_search_never_makes_a_walk_longer_and_finds_the_shortest_of_few(seed):
    rng = np.random.default_rng(seed)
    links = Plain(rng.random((8, 2)) * 4)
    walk = Walk(links, rng.permutation(8).tolist())
    walk.settle(walk.faulty())
    before = walk.cost()
    walk.search(400)
    assert walk.cost() <= before and sorted(walk.stops) == list(range(8))
    best = min(sum(links.along(order)) for order in itertools.permutations(range(8)) if order[0] < order[-1])
    assert walk.cost() <= best * 1.05 + 1e-6
    assert [walk.place[stop] for stop in walk.stops] == list(range(8))


@pytest.mark.parametrize("seed", range(8))
def test_a_longer_walk_gets_close_to_the_shortest(seed):
    """Against exchanging any two links over and over from many starts."""
    links, walk = walk_on_points(100 + seed, 14)
    walk.settle(walk.faulty())
    walk.search(300)
    rng = np.random.default_rng(seed)
    best = math.inf
    for _ in range(25):
        stops = rng.permutation(14).tolist()
        cost = sum(links.along(stops))
        while True:
            options = [stops[:i] + stops[i : j + 1][::-1] + stops[j + 1 :] for i in range(13) for j in range(i + 1, 14)]
            made = min(options, key=lambda order: sum(links.along(order)))
            if sum(links.along(made)) >= cost - 1e-9:
                break
            stops, cost = made, sum(links.along(made))
        best = min(best, cost)
    assert walk.cost() <= 1.05 * best


class Lax:
    """Stops of even number may go, but never more than three."""

    def __init__(self):
        self.gone = set()

    def spare(self, stop):
        return stop % 2 == 0 and len(self.gone) < 3

    def drop(self, stop):
        self.gone.add(stop)

    def restore(self, stop):
        self.gone.discard(stop)


def test_spare_stops_at_the_ends_of_a_walk_go_without_a_link_to_close():
    """The link that the first or last stop has is saved whole: nothing comes in its place."""
    links = Plain(np.array([[0.0, 0], [0, 1], [0, 2], [0, 3], [0, 4], [0, 9]]))
    for stops in ([5, 0, 1, 2, 3, 4], [0, 1, 2, 3, 4, 5]):
        walk = Walk(links, stops)

        class Last(Lax):
            def spare(self, stop):
                return stop == 5

        walk.drop_spare(Last())
        assert walk.stops == [0, 1, 2, 3, 4]


@pytest.mark.parametrize("seed", range(8))
def test_spare_stops_go_only_where_that_shortens_the_walk(seed):
    walk = walk_on_points(seed, 16)[1]
    before, stops, rule = walk.cost(), list(walk.stops), Lax()
    walk.drop_spare(rule)
    assert walk.cost() < before and set(stops) - set(walk.stops) == rule.gone
    # Those that stay keep their order.
    assert [stop for stop in stops if stop not in rule.gone] in (walk.stops, walk.stops[::-1])
    assert [walk.place[stop] for stop in walk.stops] == list(range(len(walk.stops)))
    assert all(walk.place[stop] == -1 for stop in rule.gone) and rule.gone


def test_costs_and_links_of_a_walk():
    links = Plain(np.array([[0.0, 0], [0, 1], [0, 3], [0, 3]]))
    walk = Walk(links, [0, 1, 2, 3])
    assert walk.costs() == [0, 4, 8, 0] and walk.cost() == 12
    assert [walk.link(k) for k in range(-1, 6)] == [0, 0, 4, 8, 0, 0, 0]
    assert walk.faulty() == [0, 1, 2]


# Rules of what may go.


@pytest.mark.parametrize("seed", range(3))
def test_a_stop_becomes_a_child_only_if_nothing_is_left_alone(seed):
    links = links_of(chart(seed, (8, 9), 0.6))
    stops = [stop for walk in stop_walks(links, 0) for stop in walk]
    rule, left = _ChildRule(links, stops), set(stops)

    def beside(cross):
        at = (int(links.crosses.row[cross]), int(links.crosses.col[cross]))
        return [k for k in range(links.crosses.count)
                if abs(links.crosses.row[k] - at[0]) + abs(links.crosses.col[k] - at[1]) == 1]  # fmt: skip

    for stop in stops:
        without = left - {stop}
        fine = all(k in without or any(other in without for other in beside(k)) for k in [stop, *beside(stop)])
        assert rule.spare(stop) is fine
        if fine:
            rule.drop(stop)
            left.discard(stop)
    gone = next(iter(set(stops) - left))
    rule.restore(gone)
    rule.drop(gone)


def test_the_last_stop_of_a_piece_stays():
    cells = np.zeros((1, 6), dtype=bool)
    cells[0, [0, 1, 3]] = True
    sides = SideGraph.of(Crosses.of(cells))
    rule = _PieceRule(sides, [0, 1, 2])
    assert [rule.spare(k) for k in range(3)] == [True, True, False]
    rule.drop(0)
    assert [rule.spare(k) for k in range(3)] == [False, False, False]
    rule.restore(0)
    assert rule.spare(1)


# Filling.


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize("capacity", [8.0, 30.0, 202.0])
@pytest.mark.parametrize("share", [0.35, 0.7, 1.0])
def test_lengths_are_filled_with_whole_crosses(share, capacity, hidden):
    links = links_of(chart(4, share=share), hidden=hidden)
    filler = Filler(links, capacity)
    stops = next(closed_walks(links)).stops
    lengths, excess = filler.fill(stops)
    worked, total = [], 0.0
    for blocks in lengths:
        legs = block_legs(blocks)
        expected = []
        for stop, children in blocks:
            expected += [2 * stop, *(leg for child in children for leg in (2 * child, 2 * child + 1)), 2 * stop + 1]
        assert legs == expected
        used = sum(links.excess(a[0], b[0]) for a, b in itertools.pairwise(blocks))
        total += used
        count = len(legs) // 2
        assert count * (2 * ROOT2 + 2) - 1 + used <= capacity + 1e-6 and used < links.price
        for stop, children in blocks:
            for child in children:
                step = abs(links.crosses.row[child] - links.crosses.row[stop]) + abs(
                    links.crosses.col[child] - links.crosses.col[stop]
                )
                assert step == 1
        worked += legs
    check_legs(sorted(worked, key=lambda leg: (leg >> 1, leg & 1)), links.crosses.count)
    assert excess == pytest.approx(total)
    assert filler.fewest(stops) <= len(lengths)
    assert filler.fill(stops)[1] == excess


@pytest.mark.parametrize(
    ("capacity", "excess", "count"),
    [(2 * ROOT2 + 1, 0.0, 1), (2 * ROOT2 + 0.99, 0.0, 0), (202.0, 0.0, 42), (202.0, 0.2, 42), (202.0, 0.3, 41),
     (4 * ROOT2 + 3, 0.0, 2), (4 * ROOT2 + 3, 0.001, 1)],
)  # fmt: skip
def test_crosses_that_a_length_holds(capacity, excess, count):
    """n crosses take n (2 root 2 + 2) - 1 and the excess."""
    assert Filler(links_of(np.ones((1, 3), dtype=bool)), capacity).fitting(excess) == count


def test_fewest_lengths_of_a_walk_with_dear_links():
    """Ten crosses three apart: nine links of an excess each, and one round about, which is as dear as a start."""
    cells = np.zeros((1, 28), dtype=bool)
    cells[0, ::3] = True
    links = links_of(cells)
    stops, each = list(range(10)), 2 * ROOT2 + 2
    excess = links.excess(0, 1)
    assert 0 < excess < links.excess(9, 0) == links.price
    # With one length the link round about is not gone, with two the dearest of the others neither, and so on.
    for lengths in (1, 2, 3, 4):
        needed = (10 * each + (10 - lengths) * excess) / lengths - 1
        for capacity, expected in ((needed + 1e-3, lengths), (needed - 1e-3, lengths + 1)):
            most = int((capacity + 1 + 1e-6) / each)
            if most * expected >= 10 and most * lengths >= 10:
                assert Filler(links, capacity).fewest(stops) == expected
    whole = links_of(np.ones((1, 10), dtype=bool))
    for count, expected in ((10, 1), (9, 2), (5, 2), (4, 3)):
        assert Filler(whole, count * each - 1).fewest(list(range(10))) >= expected


def test_even_charts_take_the_fewest_lengths():
    for shape, capacity in (((6, 7), 202.0), ((7, 12), 202.0), ((6, 8), 100.0)):
        links = links_of(np.ones(shape, dtype=bool))
        filler = Filler(links, capacity)
        stops = next(closed_walks(links)).stops
        lengths, _ = filler.fill(stops)
        least = -(-shape[0] * shape[1] // filler.most)
        assert filler.fewest(stops) == least and len(lengths) <= least + 1


# Several pieces.


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_orders_of_several_pieces_hold_every_leg_in_turn(seed, hidden):
    links = links_of(chart(seed, (14, 14), 0.3), hidden=hidden)
    sides = SideGraph.of(links.crosses)
    legs = joined_legs(links, sides, 8, 200)
    check_legs(legs, links.crosses.count)
    walks = stop_walks(links, 0)
    every = split_walks(links, [stop for walk in walks for stop in walk])
    assert [stop for walk in every for stop in walk] == [stop for walk in walks for stop in walk]
    for walk in every:
        assert all(excess <= links.rules.carry - 1 + 1e-9 for excess in links.along(walk))
    for one, other in itertools.pairwise(every):
        assert links.excess(one[-1], other[0]) > links.rules.carry - 1
    check_legs(folded_legs(links, sides, every), links.crosses.count)


def test_a_lone_piece_is_begun_and_ended_at_its_first_cross():
    """Out and back on the same tree: every move one side long."""
    for shape in ((1, 5), (3, 4), (4, 1)):
        links = links_of(np.pad(np.ones(shape, dtype=bool), ((0, 2), (0, 2))))
        legs = list(joined_legs(links, SideGraph.of(links.crosses), 8, 100))
        check_legs(legs, links.crosses.count)
        assert legs[0] == 0 and legs[-1] == 1
        assert back_moves(links, legs) == pytest.approx(1.0)


def test_links_between_pieces_are_the_shortest():
    links = links_of(chart(11, (9, 9), 0.3))
    sides = SideGraph.of(links.crosses)
    between = PieceLinks(links, sides)
    piece = sides.piece.tolist()
    least = {}
    for i, j in itertools.permutations(range(links.crosses.count), 2):
        if piece[i] != piece[j] and links.excess(i, j) <= 2.5 + 1e-9:
            key = (piece[i], piece[j])
            least[key] = min(links.excess(i, j), least.get(key, 99))
    assert {key: found[0][0] for key, found in between.cells.items()} == pytest.approx(least)
    for (one, two), found in between.cells.items():
        assert between.excess(one, two) == found[0][0]
        for excess, first, second in found:
            assert (piece[first], piece[second]) == (one, two) and links.excess(first, second) == excess
    for one in range(sides.pieces):
        near = between.near(one, 2.5)
        assert [cost for _, cost in near] == sorted(cost for _, cost in near)
        assert dict(near) == pytest.approx({b: cost for (a, b), cost in least.items() if a == one})
        assert between.near(one, 0.0) == [pair for pair in near if pair[1] <= 1e-9]
        assert between.near(one, 2.5, None, 2) == near[:2]
    far = [(a, b) for a, b in itertools.permutations(range(sides.pieces), 2) if (a, b) not in least]
    assert all(between.excess(a, b) == between.price for a, b in far)


def test_what_going_out_and_back_takes():
    """A cross two columns on in the row: from a lower leg to its lower leg it is the square root of 2, and so back."""
    cells = np.zeros((1, 7), dtype=bool)
    cells[0, [0, 2, 6]] = True
    between = PieceLinks(links_of(cells), SideGraph.of(Crosses.of(cells)))
    assert between.joints[(0, 1)] == (pytest.approx(2 * ROOT2 - 2), 0, 1)
    # Four columns on: one down and three across, both ways; a carry of 3.5 bridges it.
    assert between.joints[(1, 2)][0] == pytest.approx(2 * math.sqrt(10) - 2)
    assert (0, 2) not in between.joints
    short = PieceLinks(links_of(cells, carry=2.5), SideGraph.of(Crosses.of(cells)))
    assert (1, 2) not in short.joints


def test_a_walk_is_hung_on_the_middle_of_another_where_a_carry_reaches():
    """A long row and a short one below its middle: gone out to and back, with no new start and no leg left out."""
    cells = np.zeros((12, 25), dtype=bool)
    cells[1, :] = True
    cells[4:10, 12] = True
    links = links_of(cells)
    number = {at: k for k, at in enumerate(zip(*np.nonzero(cells), strict=True))}
    walks = [[number[1, c] for c in range(0, 25, 2)], [number[r, 12] for r in (4, 6, 8)]]
    for order in (walks, walks[::-1]):
        legs = folded_legs(links, SideGraph.of(links.crosses), order)
        check_legs(legs, links.crosses.count)
        assert back_moves(links, legs).max() <= 3.5
    # Where going out and back costs more than a start it begins anew.
    dear = links_of(cells, price=1.0)
    assert back_moves(dear, folded_legs(dear, SideGraph.of(dear.crosses), walks)).max() > 3.5


# Annealing.


def order_cost(order):
    """Excess of the order as it stands: moves from end to end, leg by leg, none from one length to the next."""
    total = 0.0
    for legs in order.lengths():
        for a, b in itertools.pairwise(legs.tolist()):
            total += float(order.excess(order.hole[2 * a + 1 - order.end[a]], order.hole[2 * b + order.end[b]]))
    return total


def strewn_legs(links, seed):
    rng = np.random.default_rng(seed)
    return np.array([leg for k in rng.permutation(links.crosses.count) for leg in (2 * k, 2 * k + 1)])


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_annealing_shortens_a_poor_order_and_keeps_every_rule(seed, hidden):
    links = links_of(chart(seed, (9, 9), 0.25), hidden=hidden)
    count = links.crosses.count
    legs = strewn_legs(links, seed)
    order = LegOrder(links, [legs], np.zeros(2 * count, dtype=np.int64), links.price)
    assert order.lengths()[0].tolist() == legs.tolist()
    before = order_cost(order)
    order.anneal(20_000, 3.0, 0.05)
    (found,) = order.lengths()
    check_legs(found.tolist(), count)
    assert order_cost(order) < before
    # Its own links are those of the moves.
    moves = back_moves(links, found)
    assert np.minimum(moves - 1, links.price).sum() <= order_cost(order) + 1e-4
    again = LegOrder(links, [legs], np.zeros(2 * count, dtype=np.int64), links.price)
    again.anneal(20_000, 3.0, 0.05)
    assert again.lengths()[0].tolist() == found.tolist()


@pytest.mark.parametrize("seed", range(3))
def test_of_several_copies_each_group_comes_from_its_best(seed):
    """Two charts too far apart for a carry, in three copies: no dearer than the cheapest copy of the whole."""
    cells = np.zeros((9, 30), dtype=bool)
    cells[:, :9], cells[:, 21:] = chart(seed, (9, 9), 0.25), chart(seed + 50, (9, 9), 0.25)
    links = links_of(cells)
    count = links.crosses.count
    order = LegOrder(links, [strewn_legs(links, seed)], np.zeros(2 * count, dtype=np.int64), links.price, 3)
    order.anneal(60_000, 3.0, 0.05)
    assert len(order.lengths()) == 3
    # A gap between the two groups is a new start, whichever comes first.
    each = [np.minimum(back_moves(links, legs) - 1, links.price).sum() for legs in order.lengths()]
    best = order.best((links.crosses.col > 15).astype(np.int64))
    check_legs(best.tolist(), count)
    assert np.minimum(back_moves(links, best) - 1, links.price).sum() <= min(each) + 1e-4


def test_legs_move_over_until_no_length_holds_too_much():
    """Three lengths that could hold the thread of 60 crosses, all of it in the first: (2 sqrt(2) + 2) sides each."""
    links = links_of(np.ones((6, 10), dtype=bool))
    legs = np.arange(120)
    capacity = 60 * (2 * ROOT2 + 2) / 3 + 15
    order = LegOrder(links, [legs[:110], legs[110:114], legs[114:]], np.zeros(120, dtype=np.int64), links.price)
    order.anneal(300_000, 1.0, 0.1, capacity)
    lengths = order.lengths()
    check_legs(np.concatenate(lengths).tolist(), 60)
    assert len(lengths) == 3
    for part in lengths:
        assert ROOT2 * part.size + back_moves(links, part).sum() <= capacity + 1e-3


@pytest.mark.parametrize("hidden", [False, True])
def test_excess_of_a_back_move_between_two_holes(hidden):
    cells = chart(2, (5, 6), 0.6)
    links = links_of(cells, carry=2.5, hidden=hidden)
    legs = np.arange(2 * links.crosses.count)
    order = LegOrder(links, [legs], np.zeros(legs.size, dtype=np.int64), links.price)
    holes = links.crosses.leg_holes(legs)
    rules = links.rules
    for one, other in itertools.product(range(0, legs.size, 3), range(0, legs.size, 2)):
        for a, b in itertools.product((0, 1), repeat=2):
            span = float(rules.length(holes[one, a][None], holes[other, b][None])[0])
            expected = span - 1 if math.isfinite(span) else links.price
            found = order.excess(order.hole[2 * one + a], order.hole[2 * other + b])
            assert found == pytest.approx(expected)
    # Off the ends of a length nothing is to be gone.
    away = order.hole[-1]
    real = order.hole[: 2 * legs.size]
    for one, other in ((np.full_like(real, away), real), (real, np.full_like(real, away))):
        assert not order.excess(one, other).any()
    # Charts worked side by side are too far from one another for any carry.
    twice = LegOrder(links, [legs], np.zeros(legs.size, dtype=np.int64), links.price, copies=2)
    beside = twice.hole[2 * legs.size : 4 * legs.size]
    for one, other in itertools.product(real[::3], beside[::3]):
        assert twice.excess(one[None], other[None])[0] == twice.excess(other[None], one[None])[0] == links.price


# What the orders come to.


def reached(order, hidden=False, effort=1.0):
    from converter.estimate.route import plan_thread

    bound = total = 0.0
    starts = least = 0
    for seed, shape, share in ((1, (24, 24), 0.25), (2, (24, 24), 0.4), (3, (20, 30), 0.55), (4, (20, 30), 0.75)):
        plan = plan_thread(chart(seed, shape, share), 252.0, 25.0, 3.5, hidden, order, effort)
        bound, total = bound + plan.bound, total + plan.total
        starts += plan.starts
        crosses = Crosses.of(chart(seed, shape, share), 8)
        rules = MoveRules(crosses.cells, 3.5, hidden)
        least += thread_bound(crosses, SideGraph.of(crosses), rules, 252.0, 25.0).starts
    return total / bound, starts - least


@pytest.mark.parametrize(
    ("order", "hidden", "effort", "most", "more_starts"),
    [("closed", False, 1.0, 1.0175, 1), ("closed", False, 0.03, 1.0275, 2), ("closed", True, 0.03, 1.0435, 7),
     ("least", False, 1.0, 1.0110, 0), ("least", True, 1.0, 1.0250, 4)],
)  # fmt: skip
def test_orders_stay_as_close_to_the_bound_as_they_came(order, hidden, effort, most, more_starts):
    """Four charts of strewn crosses, thin to dense: thread against the proven bound, and starts beyond the least."""
    share, starts = reached(order, hidden, effort)
    assert share <= most and starts <= more_starts
