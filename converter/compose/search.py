"""The search for one ring: tables of costs for every opening, and the best rings of an opening.

For an opening ``w`` columns wide the cost of every (first column, move) of one side is a small table; the tables of
all openings that come into question are worked out together, once. A ring needs such a table for its width and one
for its height, the cost of the corner, and a surcharge if the two are treated differently; all pairs are added up at
once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from converter.compose.profile import MOST_CLASH, Profile
from converter.compose.ring import Ring
from converter.compose.sides import Corner, Move, SideTable, block_sides, folded_sides, turned_sides

Costs = npt.NDArray[np.float64]

MIXED_COST = 3.0
"""Width and height treated differently."""
ONE_AXIS_COST = 8.0
"""A middle piece on two of the four sides only: for sizes where nothing else is clean."""
TWO_PHASES_COST = 1.5
"""Runs that begin with another column at the top than at the left, on block corners."""
MOST_MITRE_PHASES = 16
"""Of a longer repeat only the best corners are looked at."""
MOST_BLOCK_PHASES = 4
MOST_TURNED_PHASES = 8
TURNED_COST = 20.0
"""Turned corners give up the mirrors: offered, but after the plans that keep them."""


def _pairing() -> Costs:
    table = np.full((len(Move), len(Move)), MIXED_COST)
    np.fill_diagonal(table, 0.0)
    table[Move.CENTRE, :] = ONE_AXIS_COST
    table[:, Move.CENTRE] = ONE_AXIS_COST
    table[Move.CENTRE, Move.CENTRE] = 0.0
    return table


_PAIRING = _pairing()


@dataclass(eq=False)
class CornerSearch:
    """Tables of one strip with one kind of corner."""

    profile: Profile
    corner: Corner
    _tables: dict[int, tuple[SideTable, int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Choose the first columns worth looking at."""
        profile = self.profile
        every = range(profile.period)
        if self.corner is Corner.MITRE:
            usable = [phi for phi in every if profile.mitres[phi].usable]
            self.phases = sorted(sorted(usable, key=lambda phi: profile.mitres[phi].cost)[:MOST_MITRE_PHASES])
        elif self.corner is Corner.BLOCK:
            usable = [phi for phi in every if profile.cuts[phi].usable and profile.lead[phi] == 0]
            self.phases = sorted(sorted(usable, key=lambda phi: profile.cuts[phi].cost)[:MOST_BLOCK_PHASES])
        else:
            begun = [phi for phi in every if not profile.separate or profile.lead[phi] == 0]
            self.phases = begun[:: -(-len(begun) // MOST_TURNED_PHASES)]
            if profile.axis is not None:
                self.phases = []

    @property
    def base_cost(self) -> float:
        """Cost of this kind of corner for this kind of strip."""
        separate = self.profile.separate
        if self.corner is Corner.MITRE:
            return 0.0
        if self.corner is Corner.BLOCK:
            return 0.6 if separate else 2.0
        return TURNED_COST

    def tables(self, openings: Sequence[int]) -> list[tuple[SideTable, int]]:
        """Return for every opening a table of sides and the row in it; those not met before are worked out at once."""
        new = sorted({w for w in openings if w not in self._tables})
        if new:
            table = self._sides(np.array(new))
            self._tables.update({w: (table, row) for row, w in enumerate(new)})
        return [self._tables[w] for w in openings]

    def _sides(self, openings: npt.NDArray[np.int64]) -> SideTable:
        phases = np.array(self.phases)
        if self.corner is Corner.MITRE:
            return folded_sides(self.profile, Corner.MITRE, openings + 2 * self.profile.depth, phases)
        if self.corner is Corner.BLOCK:
            return block_sides(self.profile, openings, phases)
        return turned_sides(self.profile, openings, phases)

    def costs(self, widths: list[int], heights: list[int]) -> Costs:
        """Return the cost of every ring, (widths, heights, P, P, M, M); infinite where there is none.

        The axes are: opening across, opening up, first column across, first column up, move across, move up. Kinds
        of corner that need the same first column both ways have one entry on the fourth axis.
        """
        every = self.tables([*widths, *heights])
        across, up = every[: len(widths)], every[len(widths) :]
        cost_x, clash_x = (np.stack([getattr(t, name)[row] for t, row in across]) for name in ("cost", "clash"))
        cost_y, clash_y = (np.stack([getattr(t, name)[row] for t, row in up]) for name in ("cost", "clash"))
        mitre = self.profile.mitres if self.corner is Corner.MITRE else None
        # The two sides of a block corner may begin with different columns: then the heights have their own axis for it.
        x = (slice(None), None, slice(None), None, slice(None), None)
        own = (None, slice(None)) if self.corner is Corner.BLOCK else (slice(None), None)
        y = (None, slice(None), *own, None, slice(None))
        total = cost_x[x] + cost_y[y]
        if self.corner is Corner.BLOCK:
            total += (TWO_PHASES_COST * (1 - np.eye(len(self.phases))))[:, :, None, None]
        if mitre is not None:
            total += mitre.cost[self.phases][:, None, None, None]
        total += _PAIRING + self.base_cost
        corner_clash = mitre.clash[self.phases] if mitre is not None else np.zeros(len(self.phases), dtype=np.int64)
        if clash_x.max() + clash_y.max() + corner_clash.max() > MOST_CLASH:
            clash = clash_x[x] + clash_y[y] + corner_clash[:, None, None, None]
            np.putmask(total, np.broadcast_to(clash > MOST_CLASH, total.shape), np.inf)
        return np.asarray(total)

    def ring(self, w: int, h: int, at: tuple[int, int, int, int], cost: float) -> Ring:
        """Return the ring of one entry of `costs`: first columns and moves, across and up."""
        first_x, first_y, move_x, move_y = at
        if self.corner is not Corner.BLOCK:
            first_y = first_x
        (across, row), (up, column) = self.tables([w, h])
        level = across.side(row, first_x, Move(move_x))
        upright = up.side(column, first_y, Move(move_y))
        return Ring(self.profile, self.corner, level, upright, (h, w), cost)


def searches(profile: Profile, corners: tuple[Corner, ...]) -> list[CornerSearch]:
    """Return the tables of a strip for the wanted kinds of corner, made once for each profile."""
    found = []
    for corner in corners:
        held = profile.searches.get(corner)
        if held is None:
            held = profile.searches[corner] = CornerSearch(profile, corner)
        assert isinstance(held, CornerSearch)
        if held.phases:
            found.append(held)
    return found
