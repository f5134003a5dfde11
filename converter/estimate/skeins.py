"""Whole skeins to buy."""

from __future__ import annotations

from math import ceil

from converter.model.results import ThreadUse

EXACT = 1e-9
"""A share so little over a whole skein is one, as sums of shares are off by as much."""


def whole_skeins(share: float) -> int:
    """Return how many skeins to buy for a share of one, or of several.

    Bought by the skein, and rounded up, as later lots may differ in shade (Dillmont, close of the last chapter).

    Examples
    --------
    >>> whole_skeins(0.2), whole_skeins(2.0), whole_skeins(2.1)
    (1, 2, 3)
    """
    return ceil(share - EXACT)


def skeins_together(*parts: ThreadUse) -> int:
    """Return the whole skeins to buy when all parts are worked in the same thread."""
    return whole_skeins(sum(part.skein_share for part in parts))
