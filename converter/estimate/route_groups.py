"""Groups that are joined one after another: union and find with halved ways (R. E. Tarjan, from memory)."""

from __future__ import annotations


def find_root(root: list[int], number: int) -> int:
    """Return the number that stands for the group of a number; the way to it in ``root`` is halved."""
    while root[number] != number:
        root[number] = root[root[number]]
        number = root[number]
    return number
