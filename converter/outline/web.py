"""A network of curves that is changed one curve at a time, as quickly among thousands as among ten."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator

from converter.outline.graph import Curve, CurveNetwork


class Web:
    """Curves by number and by node. A curve keeps its number and so its place among the others."""

    def __init__(self, network: CurveNetwork) -> None:
        self.nodes = list(network.nodes)
        self._curves = dict(enumerate(network.curves))
        self._there: dict[int, set[int]] = {}
        for number, curve in self._curves.items():
            self._tie(number, curve)

    def __getitem__(self, number: int) -> Curve:
        return self._curves[number]

    def __contains__(self, number: int) -> bool:
        return number in self._curves

    def __iter__(self) -> Iterator[int]:
        return iter(sorted(self._curves))

    def at(self, node: int) -> list[int]:
        """Return the curves that start or end at a node, in their order."""
        return sorted(self._there.get(node, ()))

    def degree(self, node: int) -> int:
        """Return the number of curve ends at a node."""
        there = [self._curves[number] for number in self._there.get(node, ())]
        return sum((curve.start == node) + (curve.end == node) for curve in there)

    def around(self, numbers: Iterable[int] = (), nodes: Iterable[int] = ()) -> list[int]:
        """Return the curves that end at one of these nodes or share a node with those of these that are left."""
        places = set(nodes)
        for number in numbers:
            if number in self._curves:
                places |= _ends(self._curves[number])
        return sorted({number for node in places for number in self._there.get(node, ())})

    def put(self, number: int, curve: Curve) -> None:
        """Put a curve in the place of another."""
        self._loose(number)
        self._curves[number] = curve
        self._tie(number, curve)

    def take(self, number: int) -> Curve:
        """Take a curve out."""
        self._loose(number)
        return self._curves.pop(number)

    def network(self) -> CurveNetwork:
        """Return what is left."""
        return CurveNetwork(self.nodes, [self._curves[number] for number in self])

    def _tie(self, number: int, curve: Curve) -> None:
        for node in _ends(curve):
            self._there.setdefault(node, set()).add(number)

    def _loose(self, number: int) -> None:
        for node in _ends(self._curves[number]):
            self._there[node].discard(number)


class Least:
    """The curve with the least value of those that have one."""

    def __init__(self) -> None:
        self._values: dict[int, tuple[float, int]] = {}
        self._heap: list[tuple[float, int, int]] = []

    def put(self, number: int, value: tuple[float, int] | None) -> None:
        """Give a curve a value, and a mark that goes with it, or none."""
        if value is None:
            self._values.pop(number, None)
        elif self._values.get(number) != value:
            self._values[number] = value
            heapq.heappush(self._heap, (value[0], number, value[1]))

    def pop(self, web: Web) -> tuple[int, int] | None:
        """Take out the curve with the least value, the first of several, and return it and its mark."""
        while self._heap:
            value, number, mark = heapq.heappop(self._heap)
            if self._values.get(number) == (value, mark):
                del self._values[number]
                if number in web:
                    return number, mark
        return None


def _ends(curve: Curve) -> set[int]:
    return set() if curve.closed else {curve.start, curve.end}
