"""Single changes of a walk over stops: the chain, its faulty links, and what each change may cost."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from converter.estimate.route_geometry import Crosses, MoveRules
from converter.estimate.route_links import Links
from converter.estimate.route_slide import Slide

PRICE = 49.0


def links_of(cells, hidden=False):
    return Links(Crosses.of(cells, pad=7), MoveRules(cells, 3.5, hidden), PRICE)


def cost(links, stops):
    return sum(links.excess(a, b) for a, b in pairwise(stops))


def check(slide, links):
    """The walk read both ways, which crosses are stops, and the links with an excess."""
    stops = slide.stops()
    assert len(set(stops)) == len(stops)
    back, at = [], slide._before[-1]
    while at != -1:
        back.append(at)
        at = slide._before[at]
    assert back[::-1] == stops
    assert [k for k, stop in enumerate(slide._is_stop) if stop] == sorted(stops)
    faulty = {b for a, b in pairwise(stops) if links.excess(a, b) > 1e-6}
    assert set(slide._faulty) == faulty and len(slide._faulty) == len(faulty)
    assert slide._place == {stop: k for k, stop in enumerate(slide._faulty)}


def alone(links, stops):
    """Whether some cross is no stop and has none beside it."""
    at = list(zip(links.crosses.row.tolist(), links.crosses.col.tolist(), strict=True))
    where = {at[stop] for stop in stops}
    return any(not where & {(r, c), (r + 1, c), (r - 1, c), (r, c + 1), (r, c - 1)} for r, c in at)


@pytest.mark.parametrize("hidden", [False, True])
def test_the_walk_and_its_faults_are_kept_up(hidden):
    rng = np.random.default_rng(1)
    cells = rng.random((12, 12)) < 0.6
    links = links_of(cells, hidden)
    stops = rng.permutation(links.crosses.count).tolist()
    slide = Slide(links, stops)
    check(slide, links)
    for _ in range(60):
        slide.search(8, 2.0, 1.0)
        check(slide, links)
        assert not alone(links, slide.stops())


def test_sides_and_near_crosses():
    cells = np.ones((5, 5), dtype=bool)
    cells[2, 3] = False
    links = links_of(cells)
    slide = Slide(links, list(range(24)))
    number = {(r, c): k for k, (r, c) in enumerate(np.argwhere(cells).tolist())}
    middle = number[2, 2]
    assert set(slide.sides(middle)) == {number[1, 2], number[3, 2], number[2, 1]}
    assert set(slide.sides(0)) == {number[0, 1], number[1, 0]} and slide.sides(0) is slide.sides(0)
    near = slide._near(middle)
    # Twelve that a link of one side's excess at most reaches, and the sides.
    assert set(slide.sides(middle)) <= set(near) and len(set(near)) == len(near) and middle not in near
    assert len([k for k in near if k not in slide.sides(middle)]) <= 12
    cheapest = sorted(links.excess(middle, k) for k in range(24) if k != middle)
    linked = sorted(links.excess(middle, k) for k in near)
    assert linked[:9] == pytest.approx(cheapest[:9]) and max(linked) <= 1.0 + 1e-9


def test_what_is_needed_by_trying():
    rng = np.random.default_rng(2)
    seen = set()
    for _ in range(30):
        cells = rng.random((6, 7)) < 0.6
        links = links_of(cells)
        count = links.crosses.count
        stops = list(range(count))
        # Some stops go as long as every cross has one beside it.
        for stop in rng.permutation(count).tolist():
            if not alone(links, [s for s in stops if s != stop]):
                stops.remove(stop)
            if rng.random() < 0.1:
                break
        slide = Slide(links, stops)
        for stop in stops:
            rest = [s for s in stops if s != stop]
            assert slide._needed(stop) == alone(links, rest)
            for cross in slide.sides(stop):
                if cross not in stops:
                    found = slide._needed(stop, cross)
                    seen.add(found)
                    # It never allows what leaves a cross alone.
                    assert found or not alone(links, [*rest, cross])
    assert seen == {True, False}


def row(stops, length=12):
    links = links_of(np.ones((1, length), dtype=bool))
    return links, Slide(links, stops)


def test_a_stop_is_exchanged_for_a_neighbour_where_that_costs_no_more_than_allowed():
    stops = [0, 2, 4, 5, 7, 9, 11]
    root = 2**0.5 - 1
    links, slide = row(stops)
    assert links.excess(4, 5) == pytest.approx(root) and links.excess(2, 4) == 0
    # 5 has the neighbours 6, then 4, which is a stop already; then out.
    slide._exchange(5, 1e-9, 0.1)
    assert slide.stops() == [0, 2, 4, 6, 7, 9, 11] and slide._faulty == [7]
    links, slide = row(stops)
    slide._exchange(5, 1e-9, 0.5)
    assert slide.stops() == stops
    # Taken out the walk would jump from 4 to 7, over three sides less one and two more: an excess.
    price = links.excess(4, 7) - root
    slide._exchange(5, price - 1e-6, 0.9)
    assert slide.stops() == stops
    slide._exchange(5, price + 1e-6, 0.9)
    assert slide.stops() == [0, 2, 4, 7, 9, 11]
    # Without 2 the cross 3 has no stop beside it.
    links, slide = row([0, 2, 5, 7, 9, 11])
    slide._exchange(2, 99.0, 0.9)
    assert 2 in slide.stops()


def test_the_ends_of_a_walk_have_no_link():
    _, slide = row([0, 1, 3, 5, 7, 9, 11])
    assert slide._link(-1, 3) == slide._link(3, -1) == 0.0 and slide._link(0, 1) > 0
    # Taken out, the first stop leaves no link behind; 1 is beside 0.
    slide._exchange(0, 1e-9, 0.9)
    assert slide.stops() == [1, 3, 5, 7, 9, 11] and slide._faulty == []


def test_a_cross_is_put_between_two_stops_or_brought_there():
    root = 2**0.5 - 1
    links, slide = row([0, 2, 5, 7, 9, 11])
    near = slide._near(3)
    far = links.excess(2, 5)
    assert far > 0

    def which(cross):
        return (near.index(cross) + 0.5) / len(near)

    # 4 between 2 and 5: free, then the excess of neighbours.
    change = root - far
    slide._bring(2, 5, 3, change - 1e-6, which(4))
    assert slide.stops() == [0, 2, 5, 7, 9, 11]
    slide._bring(2, 5, 3, change + 1e-6, which(4))
    assert slide.stops() == [0, 2, 4, 5, 7, 9, 11]
    # Neither of the two stops themselves.
    slide._bring(2, 4, 3, 99.0, which(4))
    slide._bring(2, 4, 3, 99.0, which(2))
    assert slide.stops() == [0, 2, 4, 5, 7, 9, 11]
    # A stop from elsewhere: 5 from behind 4 to before it; what it leaves is closed.
    before = cost(links, slide.stops())
    after = cost(links, [0, 2, 5, 4, 7, 9, 11])
    slide._bring(2, 4, 3, after - before - 1e-6, which(5))
    assert slide.stops() == [0, 2, 4, 5, 7, 9, 11]
    slide._bring(2, 4, 3, after - before + 1e-6, which(5))
    assert slide.stops() == [0, 2, 5, 4, 7, 9, 11]
    check(slide, links)


def test_the_search_ends_without_faults_or_tries_and_costs_hardly_more_than_the_heat():
    links, slide = row([0, 2, 4, 6, 8, 10], 11)
    slide.search(1000, 1.0, 0.1)
    assert slide.stops() == [0, 2, 4, 6, 8, 10]
    rng = np.random.default_rng(3)
    cells = rng.random((15, 15)) < 0.4
    links = links_of(cells)
    stops = rng.permutation(links.crosses.count).tolist()
    slide = Slide(links, stops)
    slide.search(0, 1.0, 0.1)
    assert slide.stops() == stops
    # Without heat it never gets dearer.
    last = cost(links, stops)
    for _ in range(40):
        slide.search(50, 1e-9, 1e-9)
        now = cost(links, slide.stops())
        assert now <= last + 1e-6
        last = now
    assert last < 0.5 * cost(links, stops)
