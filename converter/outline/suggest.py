"""Suggest backstitches for a picture: the stages in order."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, LineArray, PictureArray
from converter.outline.fit import FitWeights
from converter.outline.frame import find_ink, to_frame, to_gray, working_scale
from converter.outline.lattice import HoleArray
from converter.outline.network import chain_stitches, fit_network
from converter.outline.parts import drawing_network
from converter.outline.regions import keep_best, photo_network, region_scale
from converter.outline.symmetry import cut_piece, find_symmetry, multiply
from converter.settings import LineSettings

LIKENESS = 0.3
"""A drawing is symmetric if no ink is farther than so many stitches from the image of other ink."""
PHOTO_SHARE = 2.4
"""Backstitches of a photograph for each stitch of its longer side, if no budget is given."""
PHOTO_WEIGHTS = FitWeights(shape=3.0, vertex=0.5, turn=0.8, turn_cap=6.0)
"""Boundaries of a photograph are blurred and wavy: straighter lines, no sharp tips."""


def suggest(
    picture: PictureArray,
    placement: npt.NDArray[np.float64],
    shape: tuple[int, int],
    cells: CellArray | None = None,
    kind: str = "line",
    settings: LineSettings | None = None,
) -> LineArray:
    """Return the backstitches that follow a picture's strokes and edges."""
    return chain_stitches(suggest_chains(picture, placement, shape, cells, kind, settings))


def suggest_chains(
    picture: PictureArray,
    placement: npt.NDArray[np.float64],
    shape: tuple[int, int],
    cells: CellArray | None = None,
    kind: str = "line",
    settings: LineSettings | None = None,
) -> list[HoleArray]:
    """Return the same as chains of holes, each one backstitch apart."""
    settings = settings or LineSettings()
    if kind == "photo" and settings.lines != "strokes":
        return _photo_chains(picture, placement, shape, settings)
    frame = to_frame(picture, placement, shape, working_scale(shape[1], shape[0]))
    field, ink = find_ink(to_gray(frame.rgb), frame.scale)
    network = drawing_network(field, ink, frame.scale, settings.lines != "strokes")
    symmetry = find_symmetry(ink, frame.scale, LIKENESS)
    piece = cut_piece(network, symmetry, shape)
    chains = fit_network(piece.network, shape, FitWeights(), piece.pins)
    pieces = [(chain.holes, chain.on_axis) for chain in chains] + [(bridge, False) for bridge in piece.bridges]
    return multiply(pieces, symmetry, shape)


def _photo_chains(
    picture: PictureArray, placement: npt.NDArray[np.float64], shape: tuple[int, int], settings: LineSettings
) -> list[HoleArray]:
    """Return the chains of a photograph, within its budget."""
    frame = to_frame(picture, placement, shape, region_scale(shape))
    side = max(shape)
    budget = round(PHOTO_SHARE * side) if settings.most_lines is None else settings.most_lines
    parts = max(round(side / 5), 1)
    if budget == 0:
        return []
    network = photo_network(frame.rgb, frame.scale, 2.2 * budget)
    chains: list[HoleArray] = []
    for share in (1.45, 1.3, 1.15, 1.0, 0.85, 0.7, 0.5):
        fitted = fit_network(keep_best(network, share * budget, parts), shape, PHOTO_WEIGHTS)
        chains = [chain.holes for chain in fitted]
        if len(chain_stitches(chains)) <= budget:
            break
    return chains
