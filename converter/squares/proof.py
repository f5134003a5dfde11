"""Which of two lattices is the printed one: the one whose lines are seen round bare squares.

Dense marks make lattices of their own, turned or finer ones, which may be seen on a larger area than the printed
lines. But they end where the marks end, while the printed lines go on over the bare paper. Among the marks a false
lattice may have clean squares, too; a bare square of the printed one with its lines round it is nowhere there.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from converter.squares import filters
from converter.squares.lattice import Seed
from converter.squares.mesh import Fit
from converter.squares.pitch import bare_squares
from converter.squares.sides import BoolArray, Nodes, Sight

_PATCH = 9
"""Squares a side of the patch with the most proof."""
_SIDES = 3
"""Sides of a bare square that show a line, from which it is proof."""
_TOGETHER = 5
"""Such squares within three by three from which they are more than grain."""
_FEWEST = 20
"""Such squares from which a lattice is proven."""
_OWN, _OTHERS = 0.8, 0.2
"""Share of sides shown where a lattice is proven: of its own at least, of one that is none at most."""
_MORE = 4.0
"""How many times larger the area must be on which it is proven than that of the other one."""


@dataclass(frozen=True, eq=False)
class Proof:
    """Where a lattice is proven."""

    count: int
    """Squares."""
    area: BoolArray
    """(H, W): pixels of the picture that the squares cover."""
    middle: tuple[int, int]
    """Square (row, col) round which most of them lie."""


def proof_of(image: Sight, fit: Fit, factor: float, shape: tuple[int, int]) -> Proof:
    """Return where the lattice of a mesh is proven.

    Parameters
    ----------
    image : Sight
        The picture the mesh is fitted on.
    fit : Fit
    factor : float
        Pixels of it for one of the picture that the proof is wanted for.
    shape : tuple of int
        Of that picture.
    """
    level, upright = fit.good
    shown = level[:-1].astype(np.int64) + level[1:] + upright[:-1].T + upright[1:].T
    proven = bare_squares(image, fit) & (shown >= _SIDES)
    proven &= filters.box(proven, 3) * 9 > _TOGETHER - 0.5
    area = np.zeros(shape, np.uint8)
    nodes = _in_picture(fit.nodes, factor)[..., ::-1]
    round_about = np.stack([nodes[:-1, :-1], nodes[:-1, 1:], nodes[1:, 1:], nodes[1:, :-1]], axis=2)[proven]
    if len(round_about):
        cv2.fillPoly(area, list(np.round(round_about).astype(np.int32)), 1)
    row, col = np.unravel_index(int(filters.box(proven, _PATCH).argmax()), proven.shape)
    return Proof(int(proven.sum()), area > 0, (int(row), int(col)))


def share_within(fit: Fit, factor: float, area: BoolArray) -> float:
    """Return the share of a mesh's sides in an area (H, W) of the picture that show a line; 0 where there are none."""
    total = shown_total = 0
    for number, good in enumerate(fit.good):
        nodes = fit.nodes.transpose(1, 0, 2) if number else fit.nodes
        at = np.round(_in_picture((nodes[:, :-1] + nodes[:, 1:]) / 2, factor)).astype(int)
        inside = ((at >= 0) & (at < area.shape)).all(axis=2)
        here = np.zeros(good.shape, bool)
        here[inside] = area[at[inside][:, 0], at[inside][:, 1]]
        total += int(here.sum())
        shown_total += int((good & here).sum())
    return shown_total / max(1, total)


def outdone(fit: Fit, factor: float, own: Proof, other: Fit, other_factor: float, others: Proof) -> bool:
    """Return whether a lattice, proven as its ``own`` says, is refuted where another one is proven."""
    return (
        others.count >= _FEWEST
        and int(others.area.sum()) > _MORE * int(own.area.sum())
        and share_within(fit, factor, others.area) < _OTHERS
        and share_within(other, other_factor, others.area) > _OWN
    )


def patch(nodes: Nodes, own: Proof) -> Nodes:
    """Return the crossings of the squares where a lattice is proven best."""
    low = [max(0, at - _PATCH // 2) for at in own.middle]
    return np.ascontiguousarray(nodes[low[0] : low[0] + _PATCH + 1, low[1] : low[1] + _PATCH + 1])


def usual_seed(nodes: Nodes, own: Proof) -> Seed:
    """Return the seed, where a lattice is proven best, with the steps that squares have all over it."""
    down, right = (np.median(np.diff(nodes, axis=axis).reshape(-1, 2), axis=0) for axis in (0, 1))
    centre = nodes[own.middle]
    return Seed(
        (float(centre[0]), float(centre[1])), (float(down[0]), float(down[1])), (float(right[0]), float(right[1])), 1.0
    )


def _in_picture(points: npt.NDArray[np.float64], factor: float) -> Nodes:
    return np.asarray((points + 0.5) / factor - 0.5)
