"""Lengths filled to the last cross: nothing is lost on the way, and a start is saved where one can be."""

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers.route_checker import check_cross_plan
from helpers.route_optimum import fewest_lengths

from converter.estimate.route import plan_thread
from converter.estimate.route_fill import Filler
from converter.estimate.route_full import EVEN, PUT_TOGETHER, _Filling, fewer_lengths
from converter.estimate.route_geometry import Crosses, MoveRules
from converter.estimate.route_links import Links
from converter.estimate.route_work import closed_walks

CROSS = 2 * math.sqrt(2) + 2
TWELVE = 12 * CROSS - 1 + 0.1
"""Thread that holds twelve crosses without any excess."""


def thin_piece(rng, side, count, share=0.1):
    """One piece with thin arms, grown cell by cell from cells that mostly have a single neighbour."""
    cells = np.zeros((side, side), dtype=bool)
    cells[side // 2, side // 2] = True
    while cells.sum() < count:
        r, c = rng.integers(1, side - 1, 2)
        beside = int(cells[r - 1, c]) + int(cells[r + 1, c]) + int(cells[r, c - 1]) + int(cells[r, c + 1])
        if not cells[r, c] and (beside == 1 or (beside == 2 and rng.random() < share)):
            cells[r, c] = True
    return cells


def links_of(cells):
    return Links(Crosses.of(cells, pad=7), MoveRules(cells, 3.5, False), 49.0)


def check_lengths(links, lengths, capacity=math.inf):
    """Every cross once, children beside their stops, no length over; return the excess of each length."""
    row, col = links.crosses.row, links.crosses.col
    seen, excess = [], []
    for blocks in lengths:
        stops = [stop for stop, _ in blocks]
        crosses = [cross for stop, children in blocks for cross in (stop, *children)]
        seen += crosses
        for stop, children in blocks:
            assert all(abs(row[stop] - row[c]) + abs(col[stop] - col[c]) == 1 for c in children)
        excess.append(sum(links.along(stops)))
        assert len(crosses) * CROSS - 1 + excess[-1] <= capacity + 1e-6
    assert sorted(seen) == list(range(links.crosses.count))
    return excess


def held(filling):
    """Return the excess that is kept for each length that is not empty."""
    return [excess for excess, part in zip(filling._excess, filling._members, strict=True) if part]


@pytest.mark.parametrize(("seed", "heat"), [(1, 0.02), (2, 0.3), (3, 5.0)])
def test_changes_lose_no_cross_and_count_every_excess(seed, heat):
    links = links_of(thin_piece(np.random.default_rng(seed), 30, 150))
    walk = next(iter(closed_walks(links, 0.01)))
    lengths, _ = Filler(links, TWELVE).fill(walk.stops)
    filling = _Filling(links, lengths, TWELVE)
    assert check_lengths(links, filling.lengths()) == pytest.approx(filling._excess)
    before = filling.number()
    assert filling.dissolve() and filling.dissolve() and filling.number() == before - 2
    filling.anneal(20_000, heat, heat)
    assert check_lengths(links, filling.lengths()) == pytest.approx(held(filling))
    over = sum(
        sum(1 + len(c) for _, c in blocks) * CROSS - 1 + e > TWELVE + 1e-6
        for blocks, e in zip(filling.lengths(), check_lengths(links, filling.lengths()), strict=True)
    )
    assert over == filling.too_full()


def test_a_start_is_saved_where_each_length_has_to_be_full():
    """Thin pieces whose fewest lengths have room for one to three crosses more: the walk alone takes one too many."""
    saved, tried = [0, 0], 0
    for seed in range(16):
        rng = np.random.default_rng(seed)
        wanted = int(rng.integers(6, 12))
        links = links_of(thin_piece(rng, 26, 12 * wanted - int(rng.integers(1, 4))))
        walk = min(closed_walks(links, 1.0), key=lambda walk: walk.cost())
        lengths, _ = Filler(links, TWELVE).fill(walk.stops)
        if len(lengths) <= wanted:
            continue
        tried += 1
        even, _ = Filler(links, TWELVE, even=True).fill(walk.stops)
        for at, (first, pace) in enumerate(((lengths, PUT_TOGETHER), (even, EVEN))):
            found = fewer_lengths(links, first, TWELVE, wanted, 120_000, pace=pace)
            if found is not None:
                saved[at] += 1
                assert len(found) <= wanted
                check_lengths(links, found, TWELVE)
    assert tried >= 6 and min(saved) >= 0.7 * tried, (saved, tried)


def comb(seed, width):
    """A bar with teeth one to three crosses wide, of unlike lengths and gaps."""
    rng = np.random.default_rng(seed)
    cells = np.zeros((width // 2, width), dtype=bool)
    cells[: int(rng.integers(1, 3))] = True
    col = 0
    while col < width:
        across = int(rng.integers(1, 4))
        cells[: int(rng.integers(3, width // 2)), col : col + across] = True
        col += across + int(rng.integers(1, 4))
    return cells


def test_evenly_filled_lengths_hold_too_much_only_where_they_have_an_excess():
    too_full = 0
    for seed in range(12):
        links = links_of(comb(seed, 30) if seed % 2 else thin_piece(np.random.default_rng(seed), 26, 140))
        stops = next(iter(closed_walks(links, 0.1))).stops
        lengths, total = Filler(links, TWELVE, even=True).fill(stops)
        excess = check_lengths(links, lengths)
        assert sum(excess) == pytest.approx(total)
        assert len(lengths) <= len(Filler(links, TWELVE).fill(stops)[0])
        sizes = [sum(1 + len(children) for _, children in blocks) for blocks in lengths]
        assert max(sizes) <= 12
        over = [size * CROSS - 1 + e > TWELVE + 1e-6 for size, e in zip(sizes, excess, strict=True)]
        assert all(e > 0 for e, one in zip(excess, over, strict=True) if one)
        too_full += sum(over)
    assert too_full > 12


def test_the_fewest_starts_on_thin_arms():
    """502 crosses in twelve lengths of at most 42: room for two crosses in all, so ten lengths without any excess."""
    cells = thin_piece(np.random.default_rng(23), 40, 502, 0.6)
    plan = plan_thread(cells)
    check_cross_plan(plan, cells, 252.0, 25.0, 3.5, closed=True)
    assert plan.starts == 12 and plan.total <= 1.002 * plan.bound


def test_pieces_out_of_reach_stay_apart():
    cells = np.zeros((1, 40), dtype=bool)
    cells[0, [*range(5), *range(20, 25)]] = True
    links = links_of(cells)
    lengths = [[(2, [1, 3]), (0, []), (4, [])], [(7, [6, 8]), (5, []), (9, [])]]
    assert fewer_lengths(links, lengths, 1000.0, 1, 1000) is None


def test_no_other_closed_order_of_small_thin_pieces_has_fewer_starts():
    """Ten crosses in lengths of five: no room for an excess, the hardest case."""
    five = 5 * CROSS - 1 + 0.1
    for seed in range(6):
        cells = thin_piece(np.random.default_rng(seed), 9, 10)
        plan = plan_thread(cells, five + 50.0, 25.0)
        check_cross_plan(plan, cells, five + 50.0, 25.0, 3.5, closed=True)
        assert plan.starts == fewest_lengths(cells, 5, five)


def test_walks_of_uneven_teeth_get_free_of_what_they_need_not_spend():
    # Teeth one cross wide: a length that ends at the tip takes no excess, one that turns there the root of 2 less one.
    cells = np.zeros((13, 15), dtype=bool)
    cells[0] = True
    for col, size in zip(range(0, 15, 2), (12, 7, 9, 12, 5, 11, 8, 12), strict=True):
        cells[: size + 1, col] = True
    links = links_of(cells)
    walk = next(iter(closed_walks(links)))
    lengths, excess = Filler(links, TWELVE).fill(walk.stops)
    assert excess > 1
    found = fewer_lengths(links, lengths, TWELVE, len(lengths), 90_000, enough=0.5)
    assert found is not None
    assert sum(check_lengths(links, found, TWELVE)) < excess / 2
