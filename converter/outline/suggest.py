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
from converter.settings import LineSettings


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
    frame = to_frame(picture, placement, shape, working_scale(shape[1], shape[0]))
    field, ink = find_ink(to_gray(frame.rgb), frame.scale)
    network = drawing_network(field, ink, frame.scale, settings.lines != "strokes")
    return fit_network(network, shape, FitWeights())
