"""Scattered crosses: shorten the order leg by leg.

Where crosses stand apart, the thread is in the carries and the starts, and the two legs of a cross need not follow one
another: a cross can be begun on the way out to others and finished on the way back, which saves a start at the price
of going the same way twice. So single legs, whole crosses and short runs of legs are moved next to a leg nearby, the
bottom leg of a cross always before its top leg, and the change is kept if the thread gets shorter, or else with a
probability that falls with the loss and with time (simulated annealing; Kirkpatrick, Gelatt and Vecchi, Science 220,
1983, from memory). The generator is seeded and the number of tries fixed by the chart, so the same chart gives the
same order.

The order is a linked list. Each leg carries a number that grows along the order, so that two legs can be compared
without walking the list; numbers between two neighbours are found by halving and dealt out afresh now and then.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp
from random import Random

import numpy as np

from converter.estimate.route_geometry import EPSILON, IntArray
from converter.estimate.route_links import Links

_LONGEST = 6


class LegOrder:
    """An order of legs, each with the end it is worked from.

    Parameters
    ----------
    links : Links
    legs : ndarray of shape (m,), int
    ends : ndarray of shape (m,), int
        End from which each leg of the order is worked.
    price : float
        Excess that a move counts which cannot be made.
    """

    def __init__(self, links: Links, legs: IntArray, ends: IntArray, price: float) -> None:
        self.links = links
        self.price = price
        rules = links.rules
        count = 2 * len(links.flat)
        reach = int(rules.carry)
        self._width = links.crosses.cells.shape[1] + 2 * reach + 4
        self.excess_of: dict[int, float] = {
            dr * self._width + dc: (dr * dr + dc * dc) ** 0.5 - 1
            for dr in range(-reach, reach + 1)
            for dc in range(-reach, reach + 1)
            if 0 < dr * dr + dc * dc <= rules.carry**2 + EPSILON
        }
        self._seen: dict[int, bytes] = {}
        self._known: dict[int, list[int]] = {}
        around = range(-reach - 1, reach + 2)
        steps = sorted((r * r + c * c, r * links.width + c) for r in around for c in around if (r, c) != (0, 0))
        self._steps = [step for _, step in steps]
        holes = links.crosses.leg_holes(np.arange(count, dtype=np.int64))
        codes = (holes[:, :, 0] * self._width + holes[:, :, 1]).ravel().tolist()
        self.hole: list[int] = [*codes, -1, -1]
        """Hole of each end of each leg as a single number, at 2 leg + end; the last two stand off the ends."""
        self.end = [0] * (count + 1)
        self.after = [count] * (count + 1)
        self.before = [count] * (count + 1)
        self.mark = [0.0] * (count + 1)
        self._count = count
        self.excess = self._hidden() if rules.hidden else self._plain()
        order = legs.tolist()
        for leg, end in zip(order, ends.tolist(), strict=True):
            self.end[leg] = end
        for first, second in zip([count, *order], [*order, count], strict=True):
            self.after[first] = second
            self.before[second] = first
        self._renumber()

    def _renumber(self) -> None:
        leg, number = self.after[self._count], 1.0
        while leg != self._count:
            self.mark[leg] = number
            number += 1.0
            leg = self.after[leg]
        self.mark[self._count] = 0.0
        self._last = number

    def order(self) -> list[int]:
        """Return the legs in order."""
        found, leg = [], self.after[self._count]
        while leg != self._count:
            found.append(leg)
            leg = self.after[leg]
        return found

    def _plain(self) -> Callable[[int, int], float]:
        """Return the function of the excess of a back move from one hole to another, the price if it cannot be made."""
        get, price = self.excess_of.get, self.price

        def excess(start: int, end: int) -> float:
            # Off the ends of the order nothing is to be gone.
            return get(end - start, price) if start >= 0 and end >= 0 else 0.0

        return excess

    def _hidden(self) -> Callable[[int, int], float]:
        plain, price, width, known = self.excess_of, self.price, self._width, self._seen

        def excess(start: int, end: int) -> float:
            if start < 0 or end < 0:
                return 0.0
            step = end - start
            cost = plain.get(step)
            if cost is None:
                return price
            behind = known.get(step)
            if behind is None:
                rows = (step + width // 2) // width
                grid = self.links.rules.behind((rows, step - rows * width))
                wide = np.zeros((grid.shape[0], width), dtype=np.bool_)
                wide[:, : grid.shape[1]] = grid
                behind = known[step] = wide.tobytes()
            return cost if behind[start] else price

        return excess

    def anneal(self, tries: int, hot: float, cold: float) -> None:
        """Move legs about, ``tries`` times, while the heat falls from ``hot`` to ``cold`` (in stitch sides)."""
        reached = self._reached()
        active = [leg for leg in self.order() if reached[leg >> 1]]
        if not active:
            return
        after, before, hole, end, mark = self.after, self.before, self.hole, self.end, self.mark
        excess, none, allowed, near, known = self.excess, self._count, self._allowed, self._near, self._known
        pick, count = Random(self._count).random, len(active)
        heat, steps = hot, 0
        for _ in range(tries):
            steps += 1
            if steps == 1000:
                steps, heat = 0, heat * (cold / hot) ** (1000.0 / tries)
            # What is moved: a leg, a whole cross, or a few legs.
            first = last = active[int(pick() * count)]
            drawn = pick()
            for _ in range(int(drawn * drawn * _LONGEST)):
                if after[last] == none:
                    break
                last = after[last]
            # Where to: before or after a leg of a cross nearby.
            drawn = pick()
            about = first >> 1 if drawn < 0.5 else last >> 1
            others = known.get(about) or near(about)
            if not others:
                continue
            target = others[int(drawn * 997 % 1 * len(others))] * 2
            drawn = pick() * 4
            if drawn >= 2:
                target += 1
                drawn -= 2
            left = target if drawn < 1 else before[target]
            start, stop = mark[first], mark[last]
            if start <= mark[target] <= stop or left == last or (left != none and start <= mark[left] <= stop):
                continue
            right = after[left]
            if right == first or not allowed(first, last, left, right):
                continue
            low, high = before[first], after[last]
            in_first, out_last = 2 * first + end[first], 2 * last + 1 - end[last]
            out_low, in_high = hole[2 * low + 1 - end[low]], hole[2 * high + end[high]]
            out_left, in_right = hole[2 * left + 1 - end[left]], hole[2 * right + end[right]]
            change = excess(out_low, in_high) - excess(out_left, in_right)
            change -= excess(out_low, hole[in_first]) + excess(hole[out_last], in_high)
            turn_first = turn_last = 0
            if first == last:
                plain = excess(out_left, hole[in_first]) + excess(hole[out_last], in_right)
                turned = excess(out_left, hole[out_last]) + excess(hole[in_first], in_right)
                if turned < plain:
                    plain, turn_first = turned, 1
                change += plain
            else:
                plain = excess(out_left, hole[in_first])
                plain_last = excess(hole[out_last], in_right)
                if first ^ 1 == last and after[first] == last:
                    # Both legs of a cross may be turned at no cost between them.
                    turned = excess(out_left, hole[in_first ^ 1])
                    if turned < plain:
                        plain, turn_first = turned, 1
                    turned = excess(hole[out_last ^ 1], in_right)
                    if turned < plain_last:
                        plain_last, turn_last = turned, 1
                change += plain + plain_last
            if change > EPSILON and (change > 12 * heat or pick() >= exp(-change / heat)):
                continue
            end[first] ^= turn_first
            end[last] ^= turn_last
            after[low], before[high] = high, low
            after[left], before[first], after[last], before[right] = first, left, right, last
            self._number(first, last, left, right)

    def _number(self, first: int, last: int, left: int, right: int) -> None:
        mark, after = self.mark, self.after
        low = mark[left]
        high = mark[right] if right != self._count else self._last + 1.0
        self._last = max(self._last, high)
        size, leg = 1, first
        while leg != last:
            leg = after[leg]
            size += 1
        step = (high - low) / (size + 1)
        if step < 1e-9:
            self._renumber()
            return
        leg, at = first, low + step
        for _ in range(size):
            mark[leg] = at
            at += step
            leg = after[leg]

    def _allowed(self, first: int, last: int, left: int, right: int) -> bool:
        """Return whether a run of legs can move between two others with every bottom leg before its top leg."""
        mark, after = self.mark, self.after
        leg = first
        forward = mark[left] > mark[last] if left != self._count else False
        low = mark[left] if left != self._count else 0.0
        high = mark[right] if right != self._count else 1e300
        start, stop = mark[first], mark[last]
        while True:
            partner = leg ^ 1
            other = mark[partner]
            if not start <= other <= stop:
                if forward:
                    if not leg & 1 and other < high:
                        return False
                elif leg & 1 and other > low:
                    return False
            if leg == last:
                return True
            leg = after[leg]

    def _reached(self) -> list[bool]:
        """Return for each cross whether another one lies within reach of a carry."""
        index, place = self.links.crosses.index.ravel(), self.links.place
        reached = np.zeros(place.size, dtype=np.bool_)
        for step in self._steps:
            reached |= index[place + step] >= 0
        found: list[bool] = reached.tolist()
        return found

    def _near(self, cross: int) -> list[int]:
        """Return the other crosses within reach of a carry, the nearest eight."""
        at, place = self.links.at, self.links.flat[cross]
        found = []
        for step in self._steps:
            other = at[place + step]
            if other >= 0:
                found.append(other)
                if len(found) == 8:
                    break
        self._known[cross] = found
        return found
