"""Splitting a chart over sheets: square size, tiles, overlap."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import ceil, floor

from converter.errors import RequestError, UsageError, quoted
from converter.units import PAPER_SIZES_MM


@dataclass(frozen=True)
class SheetLayout:
    """Where on a sheet of paper the grid may stand. Lengths in mm.

    Title, key and rulers stand in bands above and below the grid; beside a tall or square chart they
    may stand in a column at its right instead, which leaves the grid the full height.
    """

    paper: str = "A4"
    margin_mm: float = 12.0
    """Bare paper at the left and right; wider than any usual printer leaves."""
    end_margin_mm: float = 10.0
    """Bare paper above and below, where the numbers beside the grid stand off the edge as well."""
    header_mm: float = 13.0
    """Title and page map."""
    footer_mm: float = 13.0
    """Key, rulers and page number."""
    gutter_mm: float = 7.0
    """Room for numbers and centre marks on each side of the grid."""
    side_mm: float = 56.0
    """Width of the column beside the grid, where it takes the place of the bands."""
    least_cell_mm: float = 2.5
    """Smallest square that is printed."""
    most_cell_mm: float = 5.0
    overlap: int = 5
    """Rows and columns that a tile repeats from the tile before it."""

    def __post_init__(self) -> None:
        """Check ranges."""
        if self.paper not in PAPER_SIZES_MM:
            raise UsageError(f"--paper is {quoted(self.paper)}.", f"Choose one of {', '.join(PAPER_SIZES_MM)}.")
        if not 0.5 <= self.least_cell_mm <= self.most_cell_mm <= 30:
            raise UsageError(
                f"Squares of {self.least_cell_mm:g} to {self.most_cell_mm:g} mm cannot be printed.",
                "Choose 0.5 to 30 mm.",
            )
        if not 0 <= self.overlap <= 10:
            raise UsageError(f"An overlap of {self.overlap} is outside 0 to 10 stitches.")

    @classmethod
    def large(cls, paper: str = "A4") -> SheetLayout:
        """Return the layout for tired eyes: squares of 4.5 mm and more."""
        return cls(paper=paper, least_cell_mm=4.5, most_cell_mm=8.0)

    def page_mm(self, landscape: bool) -> tuple[float, float]:
        """Return width and height of the sheet."""
        width, height = PAPER_SIZES_MM[self.paper]
        return (height, width) if landscape else (width, height)

    def area_mm(self, landscape: bool, beside: bool = False) -> tuple[float, float]:
        """Return width and height that the squares themselves may take."""
        width, height = self.page_mm(landscape)
        if beside:
            inner = height - 2 * self.end_margin_mm - self.gutter_mm - 3.0
            return width - 2 * self.margin_mm - 2 * self.gutter_mm - self.side_mm, inner
        around = 2 * (self.end_margin_mm + self.gutter_mm)
        return width - 2 * (self.margin_mm + self.gutter_mm), height - around - self.header_mm - self.footer_mm

    def origin_mm(self, landscape: bool, beside: bool = False) -> tuple[float, float]:
        """Return the top left corner of the area of `area_mm`."""
        if beside:
            return self.margin_mm + self.gutter_mm, self.end_margin_mm + self.gutter_mm
        return self.margin_mm + self.gutter_mm, self.end_margin_mm + self.header_mm + self.gutter_mm


@dataclass(frozen=True)
class Tile:
    """The part of a chart on one sheet; rows and columns as half-open ranges counted from 0."""

    first_row: int
    last_row: int
    first_column: int
    last_column: int
    down: int
    """Place among the tiles, counted from 0 at the top."""
    across: int
    repeated_rows: int
    """Rows at the top that the tile above shows too."""
    repeated_columns: int


@dataclass(frozen=True)
class ChartPages:
    """How a chart lies on its sheets."""

    cell_mm: float
    """Side of a printed square, a whole number of tenths of a millimetre (or of hundredths below 1 mm)."""
    landscape: bool
    tiles: tuple[Tile, ...]
    """Row by row from the top left."""
    tiles_down: int
    tiles_across: int
    beside: bool = False
    """True if title, key and rulers stand in a column at the right of the grid."""
    bare: tuple[Tile, ...] = ()
    """Tiles that are not printed, since nothing is stitched on them."""

    @property
    def single(self) -> bool:
        """True if one sheet holds the whole chart."""
        return self.tiles_down * self.tiles_across == 1

    def without_bare(self, needed: Callable[[Tile], bool]) -> ChartPages:
        """Return the pages with tiles left out that are not needed; the first stays if none is."""
        kept = tuple(tile for tile in self.tiles if needed(tile)) or self.tiles[:1]
        return replace(self, tiles=kept, bare=self.bare + tuple(tile for tile in self.tiles if tile not in kept))


def _floor_tenth(value: float) -> float:
    return floor(value * 10 + 1e-9) / 10


def _spans(ends: list[int], overlap: int) -> Iterator[tuple[int, int, int]]:
    """Yield (first, last, repeated) of each tile along one axis."""
    start = 0
    for end in ends:
        first = max(0, start - overlap) if start else 0
        yield first, end, start - first
        start = end


def _tile_ends(count: int, room: int, overlap: int) -> list[int]:
    """Return where each tile along one axis ends: as few tiles as possible, of like size, in whole tens."""
    if count <= room:
        return [count]
    unit = 10 if room - overlap >= 20 else 1
    widest = (room - overlap) // unit * unit
    if widest < 1:
        raise RequestError("The squares are too large for the paper.", "Choose smaller squares or larger paper.")
    number = ceil(count / widest)
    units = ceil(count / unit)
    return [*(ceil(k * units / number) * unit for k in range(1, number)), count]


def plan_pages(columns: int, rows: int, layout: SheetLayout | None = None) -> ChartPages:
    """Choose the square size and split a chart over sheets.

    Parameters
    ----------
    columns, rows : int
        Size of the chart in stitches.
    layout : SheetLayout, optional

    Returns
    -------
    pages : ChartPages
        One tile if squares of ``least_cell_mm`` fit one sheet, upright or on its side; else as few tiles as
        possible, upright where the number is equal, each next tile repeating ``overlap`` rows or columns.

    Raises
    ------
    RequestError
        If the paper holds no square.

    Examples
    --------
    >>> plan_pages(30, 100).single
    True
    >>> pages = plan_pages(400, 400)
    >>> pages.tiles_across * pages.tiles_down == len(pages.tiles)
    True
    """
    if columns < 1 or rows < 1:
        raise UsageError(f"A chart of {columns} x {rows} stitches cannot be printed.")
    layout = layout or SheetLayout()
    best: tuple[float, bool, bool] | None = None
    for landscape, beside in ((False, False), (False, True), (True, False), (True, True)):
        width, height = layout.area_mm(landscape, beside)
        cell = _floor_tenth(min(width / columns, height / rows, layout.most_cell_mm))
        comfortable = best is not None and best[0] >= 1.36 * layout.least_cell_mm
        if cell >= layout.least_cell_mm and (best is None or (not comfortable and cell > 1.15 * best[0])):
            best = (cell, landscape, beside)
    if best is not None:
        tile = Tile(0, rows, 0, columns, 0, 0, 0, 0)
        return ChartPages(best[0], best[1], (tile,), 1, 1, best[2])
    plans = []
    for landscape in (False, True):
        width, height = layout.area_mm(landscape)
        room = (floor(width / layout.least_cell_mm + 1e-9), floor(height / layout.least_cell_mm + 1e-9))
        across = _tile_ends(columns, room[0], layout.overlap)
        down = _tile_ends(rows, room[1], layout.overlap)
        plans.append((len(across) * len(down), landscape, across, down))
    _, landscape, across, down = min(plans)
    wide = list(_spans(across, layout.overlap))
    high = list(_spans(down, layout.overlap))
    most_across = max(last - first for first, last, _ in wide)
    most_down = max(last - first for first, last, _ in high)
    width, height = layout.area_mm(landscape)
    cell = _floor_tenth(min(width / most_across, height / most_down, layout.most_cell_mm))
    tiles = tuple(
        Tile(top, bottom, left, right, row, column, above, before)
        for row, (top, bottom, above) in enumerate(high)
        for column, (left, right, before) in enumerate(wide)
    )
    return ChartPages(max(cell, layout.least_cell_mm), landscape, tiles, len(high), len(wide))
