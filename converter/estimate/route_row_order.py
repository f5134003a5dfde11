"""Rows of stops without an excess: where a walk falls into them, and which of them is best worked before which.

A row can be made to fill whole lengths as long as there are later rows to leave crosses for (`route_rows`).
"""

from __future__ import annotations

from heapq import heapify, heappop, heappush

from converter.estimate.route_geometry import EPSILON
from converter.estimate.route_links import Links


def split_rows(links: Links, stops: list[int]) -> list[list[int]]:
    """Return a walk cut at every link with an excess."""
    rows: list[list[int]] = []
    for stop, cost in zip(stops, [1.0, *links.along(stops)], strict=True):
        if cost > EPSILON:
            rows.append([])
        rows[-1].append(stop)
    return rows


def loose_order(links: Links, rows: list[list[int]]) -> list[list[int]]:
    """Return rows in an order in which each has crosses in common with as many later ones as can be.

    Over and over the row with the fewest crosses that it could leave for others comes next.
    """
    row = [-1] * len(links.flat)
    for number, stops in enumerate(rows):
        for stop in stops:
            row[stop] = number
    common: list[dict[int, int]] = [{} for _ in rows]
    for cross, mine in enumerate(row):
        if mine < 0:
            beside = sorted({row[stop] for stop in links.sides(cross)} - {-1})
            for one in beside:
                for two in beside:
                    if one != two:
                        common[one][two] = common[one].get(two, 0) + 1
    weight = [sum(found.values()) for found in common]
    queue = [(value, number) for number, value in enumerate(weight)]
    heapify(queue)
    order: list[list[int]] = []
    done = [False] * len(rows)
    while queue:
        value, number = heappop(queue)
        if done[number] or value != weight[number]:
            continue
        done[number] = True
        order.append(rows[number])
        for other, shared in common[number].items():
            if not done[other]:
                weight[other] -= shared
                heappush(queue, (weight[other], other))
    return order


def dead_end_depths(links: Links) -> list[int]:
    """Return how many steps to the side each cross is away from an arm that ends dead."""
    sides = links.sides
    count = len(links.flat)
    depth = [count] * count
    front: list[int] = []
    for tip in range(count):
        if len(sides(tip)) != 1:
            continue
        before, at = -1, tip
        while len(sides(at)) <= 2 and depth[at]:
            depth[at] = 0
            front.append(at)
            ahead = [other for other in sides(at) if other != before]
            if not ahead:
                break
            before, at = at, ahead[0]
    for cross in front:
        for other in sides(cross):
            if depth[other] == count:
                depth[other] = depth[cross] + 1
                front.append(other)
    return depth
