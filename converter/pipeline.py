"""Picture in, chart out: the stages in order, arrays in, arrays out.

1.  `raster.prepare`     alpha on white, turn, crop, invert; then the standard orientation (`raster.frame`), in which
                         all work is done: mirrored or turned pictures give exactly mirrored or turned charts.
    `raster.bars`        bars of a screen, and what is dark beyond a scanned page, are left out.
    `raster.sheet`       in a photo of a sheet of paper on a table the sheet alone is taken, and laid flat.
    `raster.paper`       of the paper it is drawn on printed lines (`raster.rulings`) and folds (`raster.folds`) go.
    `raster.drawn_squares` small pictures enlarged; pictures that are drawn in squares are charts already.
2.  `raster.look`        a coarse copy tells the kind of picture (`raster.kind`), its tilt (`raster.deskew`) and where
    `raster.take`        the ink lies; the part that matters is then brought to about 12 pixels a stitch.
3.  `raster.light`       drawings: ink by its edges, whatever light falls on the paper; pencil grain smoothed.
    `raster.midtone`     where something darker is drawn on a middle tone, that alone is ink.
    `raster.silhouette`  areas of a colour drawing too pale to be filled get an edge (`raster.rims`, `raster.fields`).
    `raster.photo`       photographs: subject, smoothing that keeps edges, few tonal shapes.
4.  `raster.morphology`  dust, and small things if less detail is wanted.
5.  `raster.mirror`      symmetry found, asked for or given.
6.  `raster.grid`        the grid laid over the ink: width, phase and scale to where its cells are clearest.
7.  `raster.strokes`     thick parts by coverage, pens in whole stitches, thin strokes by their axis (`raster.axis`,
                         `pixels.thinning`, `raster.thinning`), round dots alike (`raster.dots`).
8.  `raster.repair`      the cheapest cells flipped until parts and holes are those of the picture (`raster.structure`).
9.  `raster.readability` how well it reads and what is lost; if it reads badly, simpler drawings are tried.
10. `outline.suggest`    backstitches.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from converter.errors import RequestError
from converter.model.arrays import CellArray, LineArray, MaskArray
from converter.model.chart import MAX_SIDE, Chart
from converter.raster.kind import tell_kind
from converter.raster.light import find_ink
from converter.raster.prepare import Prepared, prepare_picture
from converter.raster.reduction import Reduction, reduce_prepared
from converter.settings import ChartSettings

__all__ = [
    "Reduction",
    "chart_and_reduction",
    "chart_from_image",
    "lines_for_reduction",
    "reduce_picture",
    "suggest_lines",
]

COARSE, TINY = 700, 400
"""Pixels on the longer side of the copies on which lines look for paper and for the kind of picture."""
COARSE_PIXELS = 8.0
"""Pixels of such a copy over which an edge may be soft, times four."""


def chart_from_image(image: Any, columns: int | None = 60, **settings: Any) -> Chart:
    """Return the chart of a picture.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) RGB or (H, W, 4) RGBA, uint8
    columns : int or None
        Stitches across; with None, ``rows`` rules.
    **settings
        Fields of `PictureSettings`, `ReductionSettings` and `LineSettings`.

    Returns
    -------
    Chart
        ``chart.cells.shape[1] == columns``.

    Raises
    ------
    UsageError
        If a setting is unknown or out of range, or the array is no picture.
    RequestError
        If nothing in the picture can become a stitch.
    """
    chosen = ChartSettings.from_options(columns=columns, **settings)
    return chart_and_reduction(image, chosen)[0]


def chart_and_reduction(image: Any, settings: ChartSettings) -> tuple[Chart, Reduction]:
    """Return the chart of a picture and the reduction it was made from; parameters and errors as `reduce_picture`."""
    ready = prepare_picture(image, settings)
    reduction = reduce_prepared(ready, settings)
    lines = _lines_for(ready, reduction, settings) if _wants_lines(reduction, settings) else _no_lines()
    notes = (reduction.reason, *reduction.losses)
    return Chart(cells=reduction.cells, lines=lines, placement=reduction.placement, notes=notes), reduction


def lines_for_reduction(image: Any, reduction: Reduction, settings: ChartSettings) -> LineArray:
    """Return the backstitches (K, 2, 2) that belong on the grid of a reduction already made."""
    if not _wants_lines(reduction, settings):
        return _no_lines()
    return _lines_for(prepare_picture(image, settings), reduction, settings)


def _wants_lines(reduction: Reduction, settings: ChartSettings) -> bool:
    return settings.lines.lines != "none" and not (settings.lines.lines == "auto" and reduction.square_by_square)


def _no_lines() -> LineArray:
    return np.zeros((0, 2, 2), dtype=np.float64)


def _lines_for(ready: Prepared, reduction: Reduction, settings: ChartSettings) -> LineArray:
    placement = np.concatenate([reduction.placement, [[0.0, 0.0, 1.0]]])
    return _lines_on_grid(ready, placement, reduction.cells.shape, reduction.cells, reduction.kind, settings)


def suggest_lines(image: Any, columns: int | None = 60, lines: str = "auto", **settings: Any) -> LineArray:
    """Return backstitches that follow the edges and strokes of a picture.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) RGB or (H, W, 4) RGBA, uint8
    columns : int or None
        Stitches across the whole picture; with None, ``rows`` rules.
    lines : str
        ``edges``: outlines of areas, thin strokes as one line; ``strokes``: centre lines of thin strokes
        alone; ``auto``: what the kind of picture asks for, as if there were no crosses.
    **settings
        Fields of `PictureSettings`, `ReductionSettings` and `LineSettings`.

    Returns
    -------
    lines : ndarray of shape (K, 2, 2)
        Each backstitch from hole (row, col) to hole (row, col). The grid is that of the whole picture, after turning
        and cropping but never trimmed: hole (0, 0) is its top left corner, its width is ``columns`` stitches. If the
        camera has tilted a drawing by a few degrees, the grid is turned about its centre (``deskew=False`` does not).

    Raises
    ------
    UsageError
        If a setting is unknown or out of range, or the array is no picture.
    """
    whole: dict[str, Any] = {"trim": False, "sheet": False, "rulings": True}
    chosen = ChartSettings.from_options(columns=columns, lines=lines, **{**whole, **settings})
    if chosen.lines.lines == "none":
        return _no_lines()
    ready = prepare_picture(image, chosen)
    standing = (ready.gray.shape[0], ready.gray.shape[1])
    height, width = standing[::-1] if ready.orientation.transpose else standing
    wide, high = chosen.reduction.columns, chosen.reduction.rows
    if wide is not None:
        cell = width / wide
        high = max(1, round(height / cell))
    else:
        assert high is not None
        cell = height / high
        wide = max(1, round(width / cell))
    if max(wide, high) > MAX_SIDE:
        raise RequestError(
            f"The picture would be {wide} x {high} stitches; {MAX_SIDE} is the most on a side.",
            "Ask for fewer stitches on the other side, or crop the picture.",
        )
    # The prepared picture is turned; its own corner leads back to the picture as it came.
    upright = ready.to_source @ np.linalg.inv(ready.orientation.matrix((height, width)))
    placement = upright @ np.diag([cell, cell, 1.0])
    return _lines_on_grid(ready, placement, (high, wide), None, chosen.reduction.kind, chosen)


def _lines_on_grid(
    ready: Prepared,
    placement: npt.NDArray[np.float64],
    shape: tuple[int, ...],
    cells: CellArray | None,
    kind: str,
    settings: ChartSettings,
) -> LineArray:
    """Return the backstitches on an upright grid, worked out in the standard orientation."""
    # Imported here: the lines are the only part that needs a skeleton.
    from converter.outline.suggest import suggest

    one = ready.orientation
    rows, cols = shape
    turned = one.matrix((rows, cols))
    standing = np.linalg.inv(ready.to_source) @ placement @ turned
    kind, inked = _look_for_lines(ready, kind)
    picture = ready.gray if ready.colour is None else ready.colour
    if ready.clear is not None:
        picture = _cover(picture, ready.clear)
    lines = suggest(
        picture,
        standing[:2],
        (cols, rows) if one.transpose else (rows, cols),
        None if cells is None else one.apply(cells),
        kind,
        settings.lines,
        settings.reduction.mirror != "none",
        # A chart's own grid is turned already.
        cells is None and settings.reduction.deskew,
        inked,
    )
    ends = np.concatenate([lines, np.ones((len(lines), 2, 1))], axis=2)
    return np.asarray((ends @ turned.T)[:, :, :2], dtype=np.float64)


def _cover(picture: npt.NDArray[np.uint8], clear: MaskArray) -> npt.NDArray[np.uint8]:
    """Return the picture with marked areas covered by paper as bright as it is near by, so that no edge shows."""
    scale = min(1.0, 200 / max(clear.shape))
    size = (max(1, round(clear.shape[1] * scale)), max(1, round(clear.shape[0] * scale)))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    small[cv2.resize(clear.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0] = 0
    paper = cv2.dilate(small, np.ones((15, 15), np.uint8))
    for _ in range(max(size)):
        bare = paper == 0
        if not bare.any():
            break
        paper = np.where(bare, cv2.dilate(paper, np.ones((3, 3), np.uint8)), paper)
    large = cv2.resize(paper, clear.shape[::-1], interpolation=cv2.INTER_LINEAR)
    out = picture.copy()
    out[clear] = large[clear]
    return np.asarray(out, dtype=np.uint8)


def _look_for_lines(ready: Prepared, kind: str) -> tuple[str, MaskArray | None]:
    """Return the kind of a picture and, on a coarse copy of a drawing, where its ink is."""
    if kind == "auto":
        tiny = _shrink(ready.gray, TINY)
        kind = tell_kind(find_ink(tiny, COARSE_PIXELS, mend_grain=False), tiny).name
    if kind == "photo":
        return kind, None
    ink = find_ink(_shrink(ready.gray, COARSE), COARSE_PIXELS, fading=True)
    return kind, None if ink is None else ink.mask


def _shrink(gray: npt.NDArray[np.uint8], most_pixels: int) -> npt.NDArray[np.float32]:
    """Return a copy, 0 to 1, of at most so many pixels on the longer side."""
    scale = min(1.0, most_pixels / max(gray.shape))
    size = (max(1, round(gray.shape[1] * scale)), max(1, round(gray.shape[0] * scale)))
    small = cv2.resize(gray, size, interpolation=cv2.INTER_AREA) if scale < 1 else gray
    return np.asarray(small, dtype=np.float32) / np.float32(255)


def reduce_picture(image: Any, settings: ChartSettings) -> Reduction:
    """Reduce a picture to the stitch grid.

    Parameters
    ----------
    image : ndarray of shape (H, W), (H, W, 3) RGB or (H, W, 4) RGBA, uint8
    settings : ChartSettings

    Raises
    ------
    RequestError
        If the picture is blank, or the other side of the chart would be longer than any cloth.
    """
    return reduce_prepared(prepare_picture(image, settings), settings)
