"""Suggest backstitches for a picture: the stages in order."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray, LineArray, MaskArray, PictureArray
from converter.outline.choose import choose_chains, fit_budget
from converter.outline.colour import colour_network, mark_curves
from converter.outline.fit import FitWeights
from converter.outline.frame import find_ink, is_light_on_dark, to_frame, working_scale
from converter.outline.graph import CurveNetwork
from converter.outline.network import Chain, chain_stitches, fit_network, halve_chain
from converter.outline.parts import drawing_network
from converter.outline.regions import keep_best, photo_network, region_scale
from converter.outline.seen import drop_unseen
from converter.outline.symmetry import close_group, cut_piece, find_symmetry, keep_ends, multiply
from converter.outline.tilt import find_tilt, turn_placement
from converter.settings import LineSettings

LIKENESS = 0.3
"""A drawing is symmetric if no ink is farther than so many stitches from the image of other ink."""
EXACT = 0.08
"""The same where symmetry is not asked for: only what the working pixels themselves blur."""
COLOURS_ALIKE = 0.75
"""The same for edges between colours."""
PHOTO_SHARE = 2.4
"""Backstitches of a photograph for each stitch of its longer side, if no budget is given."""
PHOTO_WEIGHTS = FitWeights(shape=3.0, vertex=0.5, turn=0.8, turn_cap=6.0, corner=0.0)
"""Boundaries of a photograph are blurred and wavy: straighter lines, no sharp tips."""


def suggest(
    picture: PictureArray,
    placement: npt.NDArray[np.float64],
    shape: tuple[int, int],
    cells: CellArray | None = None,
    kind: str = "line",
    settings: LineSettings | None = None,
    mirror: bool = True,
    deskew: bool = False,
    inked: MaskArray | None = None,
) -> LineArray:
    """Return the backstitches that follow a picture's strokes and edges.

    Parameters
    ----------
    picture : ndarray of shape (H, W), (H, W, 3) or (H, W, 4), uint8
    placement : ndarray of shape (2, 3)
        Picture (row, col) in pixels of hole (row, col) is ``placement @ [row, col, 1]``.
    shape : tuple of int
        Rows and columns of the grid.
    cells : ndarray of shape (rows, cols), bool, optional
        Crosses of the chart. With ``lines="auto"`` what they show well gets no line.
    kind : str
        line, shape or photo.
    settings : LineSettings, optional
    mirror : bool
        Make nearly symmetric drawings symmetric. Exactly symmetric ones always are.
    deskew : bool
        Turn the grid about its centre with a drawing that the camera has tilted.
    inked : ndarray of shape (h, w), bool, optional
        Where a drawing has ink, on a copy of the whole picture of any size; see `frame.to_frame`.

    Returns
    -------
    lines : ndarray of shape (K, 2, 2), float64
        Each backstitch once, from hole (row, col) to hole (row, col), chain by chain. Every one is a step
        (1, 0), (1, 1), (2, 1) or (3, 1) or an image of one; with ``half_points`` half of one.
    """
    return chain_stitches(
        [
            chain.holes
            for chain in suggest_chains(picture, placement, shape, cells, kind, settings, mirror, deskew, inked)
        ]
    )


def suggest_chains(
    picture: PictureArray,
    placement: npt.NDArray[np.float64],
    shape: tuple[int, int],
    cells: CellArray | None = None,
    kind: str = "line",
    settings: LineSettings | None = None,
    mirror: bool = True,
    deskew: bool = False,
    inked: MaskArray | None = None,
) -> list[Chain]:
    """Return the same as chains, each with the curve that it follows."""
    settings = settings or LineSettings()
    if settings.lines == "none" or settings.most_lines == 0:
        return []
    if kind == "photo" and settings.lines != "strokes":
        return _photo_chains(picture, placement, shape, settings)
    frame = to_frame(picture, placement, shape, working_scale(shape[1], shape[0]), inked)
    if cells is not None and is_light_on_dark(frame, cells):
        picture = 255 - picture
        inked = None if inked is None else ~inked
        frame = to_frame(picture, placement, shape, frame.scale, inked)
    field, ink = find_ink(frame.even, frame.scale)
    areas = settings.lines != "strokes"
    network = drawing_network(field, ink, frame.scale, areas)
    tilt = find_tilt(network, ink, frame.scale) if deskew else 0.0
    if tilt:
        placement = turn_placement(placement, shape, tilt)
        frame = to_frame(picture, placement, shape, frame.scale, inked)
        field, ink = find_ink(frame.even, frame.scale)
        network = drawing_network(field, ink, frame.scale, areas)
    network = drop_unseen(network, frame)
    symmetry = find_symmetry(ink, frame.scale, EXACT)
    if mirror:
        near = keep_ends(find_symmetry(ink, frame.scale, LIKENESS), network, shape)
        symmetry = near if len(near.group) > len(symmetry.group) else symmetry
    colours = colour_network(frame.rgb, shape, network) if areas and picture.ndim == 3 else CurveNetwork()
    if colours.curves:
        network.extend(colours)
        also = find_symmetry(mark_curves(colours, shape, frame.scale), frame.scale, COLOURS_ALIKE)
        symmetry = close_group([turn for turn in symmetry.group if any(np.array_equal(turn, t) for t in also.group)])
    fine = 2 if settings.half_points else 1
    grid = (shape[0] * fine, shape[1] * fine)
    piece = cut_piece(network.scaled(fine), symmetry, grid)
    chains = fit_network(piece.network, grid, FitWeights(), piece.pins, piece.goes_on)
    chains = multiply([*chains, *piece.bridges], symmetry, grid)
    if fine > 1:
        chains = [halve_chain(chain) for chain in chains]
    if cells is not None and settings.lines == "auto":
        chains = choose_chains(chains, cells, ink, frame.scale)
    return fit_budget(chains, settings.most_lines)


def _photo_chains(
    picture: PictureArray, placement: npt.NDArray[np.float64], shape: tuple[int, int], settings: LineSettings
) -> list[Chain]:
    """Return the chains of a photograph, within its budget."""
    frame = to_frame(picture, placement, shape, region_scale(shape))
    side = max(shape)
    budget = round(PHOTO_SHARE * side) if settings.most_lines is None else settings.most_lines
    network = photo_network(frame.rgb, frame.scale, 2.4 * budget)
    chains: list[Chain] = []
    for share in (1.45, 1.3, 1.15, 1.0, 0.85, 0.7, 0.5):
        chains = fit_network(keep_best(network, share * budget, max(round(side / 5), 1)), shape, PHOTO_WEIGHTS)
        if len(chain_stitches([chain.holes for chain in chains])) <= budget:
            return chains
    return fit_budget(chains, budget)
