"""The closed order put together from its parts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, inf

import numpy as np

from converter.estimate.route_cover import cover_walk
from converter.estimate.route_fill import Filler, block_legs
from converter.estimate.route_geometry import EPSILON, IntArray
from converter.estimate.route_links import Links
from converter.estimate.route_row_order import loose_order, split_rows
from converter.estimate.route_rows import fitted_walk
from converter.estimate.route_search import LARGE, Walk, share_of_tries
from converter.estimate.route_slide import Slide
from converter.estimate.route_stops import stop_walks
from converter.estimate.route_waiting import Block

_ROUNDS = 6
_MORE_ROUNDS = 12
"""Rounds in search of a shorter walk, and of one that saves the last start above the fewest."""
_FULL_TRIES, _FULL_TRIES_EACH = 1_200_000, 1500
"""Changes tried in lengths that are to be filled to the last cross: at most, and for each cross."""
_SLIDES, _MOST_SLIDES = 300, 40_000
_SWAPS, _MOST_SWAPS = 20, 600
_SLIDE_HEATS = (0.1, 0.03)
"""Rounds of exchanges of stops and of stretches: of each so many for a link with an excess, and at most."""
_TURNS, _MORE_TURNS = 4_000, 60_000
"""Stops laid out in search of a better first stop, at most: of each walk, and of the shortest to save a start."""
_EVEN_TURNS, _AGAIN = 20, 3
"""First stops tried for evenly filled lengths, and searches begun with these."""
_THOROUGH = 0.1
"""Share of the usual search from which stops of the other colour are tried too, and the last starts above the fewest
are gone for: a shorter search for those finds nothing (none on 53 silhouettes and blobs)."""
_GOOD, _GOOD_ENOUGH, _TOO_DEAR = 0.002, 0.005, 0.03
"""Excess for each cross that is not worth another round, and after the first rounds; and from which on it is taken to
lie in carries from piece to piece."""
_WIDE = 0.8
"""Share of the crosses that lie in squares of two by two from which on rows of stops are not tried."""
_ROWS = 0.9
"""Rows of stops without an excess, for each of the fewest lengths, from which on such rows are no good."""
_NEAR = 0.02
"""What a plan takes above the bound, of all starts, that is not worth another kind of walk on a large chart."""
_ROW_WAYS = ((4, False), (1, True))
"""Ways to make rows fit: ends exchanged in turn, and whether stops are taken out."""
_SHORT, _ONE_WAY = 3, 60_000
"""Lengths to a row below which stops are taken out first, and crosses from which only one way is tried."""

Lengths = list[list[Block]]


def closed_lengths(links: Links, capacity: float, fewest: int, effort: float = 1.0) -> tuple[IntArray, list[int]]:
    """Return the closed order: all legs, and the place of the first leg of each length.

    Parameters
    ----------
    links : Links
    capacity : float
        Thread of one length between its tails.
    fewest : int
        Proven least number of lengths.
    effort : float
        Share of the usual search, 0 to 1.
    """
    filler = Filler(links, capacity)
    by_rows = Filler(links, capacity, by_rows=True)
    count = len(links.flat)
    best: tuple[float, Lengths] | None = None
    shortest: Walk | None = None
    thorough = effort >= _THOROUGH and count <= LARGE
    for first in _first_walks(links, fewest, thorough):
        for number, walk in enumerate(closed_walks(links, effort, first)):
            tried = _best_filling(filler, walk.stops, fewest, _TURNS * effort)
            if len(tried[1]) > fewest and first.covers and (thorough or not number):
                tried = min(tried, _filling_by_rows(by_rows, walk.stops, fewest), key=lambda kept: kept[0])
            if best is None or tried[0] < best[0] - EPSILON:
                best = tried
            if shortest is None or walk.cost() < shortest.cost() - EPSILON:
                shortest = walk
            over = len(best[1]) - fewest
            excess = best[0] - links.price * fewest
            if over <= 0 and excess <= (_GOOD if number < _ROUNDS else _GOOD_ENOUGH) * count:
                break
            if count > LARGE and first.covers and over <= 1 and excess <= _NEAR / 2 * links.price * fewest:
                break
            if number >= _ROUNDS and (over > 1 or filler.fewest(shortest.stops) > fewest):
                break
        if over <= 0 and excess <= _GOOD_ENOUGH * count:
            break
        if count > LARGE and excess <= _NEAR * links.price * fewest:
            break
    assert best is not None and shortest is not None
    if thorough and len(best[1]) - fewest in (1, 2):
        turned = _best_filling(filler, shortest.stops, fewest, _MORE_TURNS * effort)
        evenly = Filler(links, capacity, even=True)
        even = _best_filling(evenly, shortest.stops, fewest, _EVEN_TURNS * len(shortest.stops))
        fuller = _fuller(links, even[1], capacity, fewest, effort, 0)
        if fuller[0] == inf:
            fuller = _fuller(links, turned[1], capacity, fewest, effort)
        for again in range(1, _AGAIN):
            if fuller[0] == inf:
                fuller = _fuller(links, even[1], capacity, fewest, effort, again)
        best = min(best, turned, fuller, key=lambda kept: kept[0])
    elif thorough and len(best[1]) == fewest and _GOOD_ENOUGH < (best[0] - links.price * fewest) / count < _TOO_DEAR:
        # A third of the tries: here only sides are to be won, no start.
        best = min(best, _fuller(links, best[1], capacity, fewest, effort / 3), key=lambda kept: kept[0])
    orders = [block_legs(blocks) for blocks in best[1]]
    starts = np.cumsum([0] + [len(legs) for legs in orders[:-1]]).tolist()
    return np.concatenate([np.asarray(legs, dtype=np.int64) for legs in orders]), starts


def _fuller(
    links: Links, lengths: Lengths, capacity: float, fewest: int, effort: float, evenly: int | None = None
) -> tuple[float, Lengths]:
    """Return the fewest lengths with little excess and their cost, if they can be found; else the cost is infinite.

    ``evenly`` is given where the lengths are evenly filled: the number of this search, each of which takes its own way.
    """
    tries = int(min(_FULL_TRIES, _FULL_TRIES_EACH * len(links.flat)) * effort)
    found = None
    if tries and not links.rules.hidden:
        from converter.estimate.route_full import EVEN, PUT_TOGETHER, fewer_lengths

        enough, pace = _GOOD_ENOUGH * len(links.flat), PUT_TOGETHER if evenly is None else EVEN
        found = fewer_lengths(links, lengths, capacity, fewest, tries, enough, pace, evenly or 0)
    if found is None:
        return inf, lengths
    excess = sum(sum(links.along([stop for stop, _ in blocks])) for blocks in found)
    return excess + links.price * len(found), found


@dataclass(frozen=True)
class _First:
    """How a walk over stops begins: from rounds of stops of one colour, or from rows and rings."""

    colour: int = 0
    covers: bool = False
    stops: tuple[int, ...] = ()


def _first_walks(links: Links, fewest: int, thorough: bool) -> Iterator[_First]:
    """Yield the ways to begin a walk, the likeliest first: each is asked for only if those before were not enough."""
    if _is_thin(links):
        walk = cover_walk(links, int(_ROWS * fewest))
        if walk:
            yield _First(covers=True, stops=tuple(walk))
    yield _First()
    if thorough:
        yield _First(1)


def _is_thin(links: Links) -> bool:
    """Return whether many crosses are in lines one cross wide."""
    at = np.append(links.crosses.index.ravel() >= 0, False)
    width, place = links.width, links.place
    wide = np.zeros(place.size, dtype=np.bool_)
    for across in (-1, 1):
        for down in (-width, width):
            wide |= at[place + across] & at[place + down] & at[place + across + down]
    return bool(wide.mean() < _WIDE)


def closed_walks(links: Links, effort: float = 1.0, first: _First | None = None) -> Iterator[Walk]:
    """Yield walks over stops, every other cross beside one of them: each made from the shortest so far.

    Stops are mainly of one colour, 0 or 1, of a chequerboard; along thin arms it matters which. The first walk is put
    together and improved until nothing helps. Then stops and stretches are exchanged in turn.
    """
    first = first or _First()
    stops = list(first.stops) or [stop for walk in stop_walks(links, first.colour) for stop in walk]
    walk = Walk(links, stops)
    walk.settle(walk.faulty()[::-1])
    walk.drop_spare(_ChildRule(links, stops))
    walk.settle(walk.faulty()[::-1])
    share = effort * share_of_tries(len(links.flat))
    for number in range(ceil(share * _MORE_ROUNDS) if share > 0.02 else 0):
        yield walk
        faulty = len(walk.faulty())
        tries = int(share * min(_MOST_SLIDES, _SLIDES * faulty))
        if not tries:
            return
        slide = Slide(links, walk.stops, number)
        slide.search(tries, *_SLIDE_HEATS)
        walk = Walk(links, slide.stops())
        walk.settle(walk.faulty()[::-1])
        walk.search(int(share * min(_MOST_SWAPS, _SWAPS * faulty)))
        walk.drop_spare(_ChildRule(links, walk.stops))
    yield walk


class _ChildRule:
    """Which stops may become children: those beside another stop that leave no cross without one."""

    def __init__(self, links: Links, stops: list[int]) -> None:
        self._links = links
        self._is_stop = [False] * len(links.flat)
        for stop in stops:
            self._is_stop[stop] = True

    def spare(self, stop: int) -> bool:
        """Return whether a stop may become a child."""
        is_stop, sides = self._is_stop, self._links.sides
        beside = False
        for cross in sides(stop):
            if is_stop[cross]:
                beside = True
            elif not any(is_stop[other] for other in sides(cross) if other != stop):
                return False
        return beside

    def drop(self, stop: int) -> None:
        """Make a stop a child."""
        self._is_stop[stop] = False

    def restore(self, stop: int) -> None:
        """Make a child a stop again."""
        self._is_stop[stop] = True


def _filling_by_rows(filler: Filler, stops: list[int], fewest: int) -> tuple[float, Lengths]:
    """Fill lengths from a walk cut into rows without an excess, from the rows as they are and from fitted ones."""
    links = filler.links
    best = _best_filling(filler, stops, fewest, 0.0)
    rows = split_rows(links, stops)
    if len(best[1]) <= fewest or len(rows) == 1:
        return best
    short = len(links.flat) < _SHORT * filler.most * len(rows)
    rows = loose_order(links, rows)
    for ends, shed in (_ROW_WAYS[::-1] if short else _ROW_WAYS)[: 1 if len(links.flat) > _ONE_WAY else None]:
        lengths, excess = filler.fill(fitted_walk(links, rows, filler.most, ends, shed))
        best = min(best, (excess + links.price * len(lengths), lengths), key=lambda kept: kept[0])
        if len(best[1]) <= fewest:
            break
    return best


def _best_filling(filler: Filler, stops: list[int], fewest: int, turns: float) -> tuple[float, Lengths]:
    """Fill lengths from the walk, and from its reverse and other first stops as long as that may save a start."""
    best: tuple[float, Lengths] | None = None
    count = len(stops)
    fewest = max(fewest, filler.fewest(stops))
    stride = max(1, int(count * count // max(1.0, turns))) if count <= LARGE else count
    for turn in range(0, count, stride):
        ahead = stops[turn:] + stops[:turn]
        for order in (ahead, ahead[::-1]):
            lengths, excess = filler.fill(order)
            cost = excess + filler.links.price * len(lengths)
            if best is None or cost < best[0] - EPSILON:
                best = cost, lengths
            if len(best[1]) <= fewest:
                return best
    assert best is not None
    return best
