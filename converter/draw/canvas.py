"""Canvas: what every sheet is drawn on, in millimetres, x to the right and y down.

A sheet is recorded once and then given out as PDF, SVG or PNG::

    from converter.draw.canvas import Drawing

    sheet = Drawing(title="Three sizes", language="en")
    sheet.begin_page(210.0, 297.0)
    with sheet.tag("H1"):
        sheet.text(20.0, 30.0, "Three sizes", size_mm=8.0, weight="title")
    sheet.rectangles([[20.0, 40.0, 60.0, 30.0]], fill="#f4efe6", stroke="#444444", width_mm=0.3)
    sheet.lines([[20, 80, 80, 80], [20, 84, 80, 84]], width_mm=0.2, dash_mm=(2.0, 1.0))
    sheet.marks(20.0, 90.0, 2.5, cells, colour="#b01e28")          # a field of crosses
    pdf = sheet.pdf_bytes()          # all pages
    svg = sheet.svg_bytes(page=0)    # one page
    png = sheet.png_bytes(page=0, dpi=150)

A function that draws takes ``canvas: Canvas`` and calls the methods below; it never asks which end it
goes to. ``Drawing.extend`` appends the pages of another drawing (a leaflet takes in the working order
that way). Text is placed by its baseline; `converter.draw.fonts.text_width` measures it and
`converter.draw.typeset` breaks and sets paragraphs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final, Literal, Protocol

import numpy as np
import numpy.typing as npt

from converter.draw.fonts import Weight
from converter.draw.palette import IndexedPicture
from converter.errors import RequestError
from converter.model.arrays import CellArray, PictureArray
from converter.model.materials import check_colour

Anchor = Literal["start", "middle", "end"]
MarkShape = Literal["block", "cross"]
Role = Literal["H1", "H2", "H3", "P", "L", "LI", "Figure", "Caption", "Table", "Artifact"]
GROUP_ROLES: Final = ("L", "Table")
"""Roles that hold other tags and may go on over a page break."""
BoxArray = npt.NDArray[np.float64]
"""(K, 4) millimetres."""

INK = "#1c1c1c"


@dataclass(frozen=True, eq=False)
class LinesOp:
    """Straight lines, all alike."""

    segments: BoxArray
    """(K, 4): x0, y0, x1, y1."""
    width_mm: float
    colour: str
    dash_mm: tuple[float, ...] = ()
    round_ends: bool = False


@dataclass(frozen=True, eq=False)
class RectanglesOp:
    """Upright rectangles, all alike."""

    boxes: BoxArray
    """(K, 4): x, y, width, height."""
    fill: str | None
    stroke: str | None = None
    width_mm: float = 0.2


@dataclass(frozen=True, eq=False)
class PathOp:
    """One or more polylines or polygons; several rings are filled by the even-odd rule."""

    rings: tuple[npt.NDArray[np.float64], ...]
    """Each (N, 2): x, y."""
    fill: str | None
    stroke: str | None
    width_mm: float
    closed: bool
    dash_mm: tuple[float, ...] = ()
    round_ends: bool = False


@dataclass(frozen=True, eq=False)
class CirclesOp:
    """Circles of one size."""

    centres: npt.NDArray[np.float64]
    """(K, 2): x, y."""
    radius_mm: float
    fill: str | None
    stroke: str | None
    width_mm: float


@dataclass(frozen=True, eq=False)
class MarksOp:
    """A field of equal marks on a square grid: the crosses of a chart."""

    x_mm: float
    y_mm: float
    cell_mm: float
    cells: CellArray
    colour: str
    shape: MarkShape
    size: float
    """Side of a block, or width of a cross arm, as a share of the cell."""


@dataclass(frozen=True)
class TextOp:
    """One line of text."""

    x_mm: float
    y_mm: float
    text: str
    size_mm: float
    colour: str = INK
    anchor: Anchor = "start"
    weight: Weight = "regular"
    angle_deg: float = 0.0


@dataclass(frozen=True, eq=False)
class ImageOp:
    """A picture of pixels."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    picture: PictureArray | IndexedPicture
    alt: str = ""

    @property
    def pixels(self) -> PictureArray:
        """Gray or RGB pixels."""
        return self.picture.pixels if isinstance(self.picture, IndexedPicture) else self.picture


@dataclass(frozen=True)
class ClipOp:
    """Start of a part that shows only inside a rectangle."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class TagOp:
    """Start of a part with a meaning: a heading, a paragraph, a figure."""

    role: Role
    alt: str = ""


@dataclass(frozen=True)
class EndOp:
    """End of the innermost clip or tag."""

    of: Literal["clip", "tag"]


Op = LinesOp | RectanglesOp | PathOp | CirclesOp | MarksOp | TextOp | ImageOp | ClipOp | TagOp | EndOp


@dataclass(frozen=True, eq=False)
class Page:
    """One sheet: its size and what is drawn on it, in order."""

    width_mm: float
    height_mm: float
    label: str = ""
    """Name in the outline of the PDF; empty for none."""
    ops: list[Op] = field(default_factory=list)


class Canvas(Protocol):
    """The drawing calls. Lengths in mm, x right, y down, colours ``#rrggbb``."""

    def begin_page(self, width_mm: float, height_mm: float, *, label: str = "") -> None:
        """Start a new sheet; ``label`` names it in the PDF's outline."""

    def lines(
        self,
        segments: npt.ArrayLike,
        *,
        width_mm: float = 0.2,
        colour: str = INK,
        dash_mm: Sequence[float] = (),
        round_ends: bool = False,
    ) -> None:
        """Draw straight lines (K, 4): x0, y0, x1, y1."""

    def rectangles(
        self, boxes: npt.ArrayLike, *, fill: str | None = None, stroke: str | None = None, width_mm: float = 0.2
    ) -> None:
        """Draw upright rectangles (K, 4): x, y, width, height."""

    def path(
        self,
        points: Any,
        *,
        fill: str | None = None,
        stroke: str | None = INK,
        width_mm: float = 0.2,
        closed: bool = True,
        dash_mm: Sequence[float] = (),
        round_ends: bool = False,
    ) -> None:
        """Draw a polygon or polyline (N, 2): x, y; or a list of them, filled by the even-odd rule."""

    def circles(
        self,
        centres: npt.ArrayLike,
        radius_mm: float,
        *,
        fill: str | None = None,
        stroke: str | None = None,
        width_mm: float = 0.2,
    ) -> None:
        """Draw circles round (K, 2): x, y."""

    def marks(
        self,
        x_mm: float,
        y_mm: float,
        cell_mm: float,
        cells: CellArray,
        *,
        colour: str,
        shape: MarkShape = "block",
        size: float = 0.84,
    ) -> None:
        """Draw a mark in every True cell; (x_mm, y_mm) is the top left corner of cell (0, 0)."""

    def text(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        *,
        size_mm: float = 3.9,
        colour: str = INK,
        anchor: Anchor = "start",
        weight: Weight = "regular",
        angle_deg: float = 0.0,
    ) -> None:
        """Set one line of text on the baseline ``y_mm``; ``angle_deg`` turns it clockwise about its anchor."""

    def image(
        self,
        x_mm: float,
        y_mm: float,
        width_mm: float,
        height_mm: float,
        pixels: PictureArray | IndexedPicture,
        *,
        alt: str = "",
    ) -> None:
        """Place a picture, uint8 (H, W) or (H, W, 3), or one of few colours; ``alt`` says in words what it shows."""

    def clip(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> AbstractContextManager[None]:
        """Show what is drawn inside the ``with`` block only within the rectangle."""

    def tag(self, role: Role, alt: str = "") -> AbstractContextManager[None]:
        """Say what is drawn inside the ``with`` block: heading, paragraph, figure (with words for it)."""


def _rows(value: npt.ArrayLike, width: int) -> npt.NDArray[np.float64]:
    array = np.array(value, dtype=np.float64)
    array = array.reshape(0, width) if array.size == 0 else np.atleast_2d(array)
    if array.ndim != 2 or array.shape[1] != width or not np.isfinite(array).all():
        raise ValueError(f"expected finite numbers of shape (K, {width}), not {array.shape}")
    return array


@lru_cache(maxsize=512)
def _colour(value: str) -> str:
    return check_colour(value, "A drawing colour")


def _maybe(value: str | None) -> str | None:
    return None if value is None else _colour(value)


class Drawing:
    """A `Canvas` that notes the calls, page by page, and gives them out as PDF, SVG or PNG.

    Parameters
    ----------
    title : str
        Title of the document, shown by viewers and screen readers.
    language : str
        Language of the text, as a BCP 47 tag.
    """

    def __init__(self, title: str = "", language: str = "en") -> None:
        self.title = title
        self.language = language
        self.pages: list[Page] = []
        self._open: list[ClipOp | TagOp] = []

    def _add(self, op: Op) -> None:
        if not self.pages:
            raise RuntimeError("begin_page comes before the first drawing call")
        self.pages[-1].ops.append(op)

    def begin_page(self, width_mm: float, height_mm: float, *, label: str = "") -> None:
        """Start a new sheet."""
        groups = [op for op in self._open if isinstance(op, TagOp) and op.role in GROUP_ROLES]
        if len(groups) < len(self._open):
            raise RuntimeError("a clip or tag is still open at the end of the page")
        for _ in groups:
            self._add(EndOp("tag"))
        if not (0 < width_mm <= 5080 and 0 < height_mm <= 5080):
            raise RequestError(
                f"A page of {width_mm:g} x {height_mm:g} mm cannot be made.", "The limit is 5080 mm a side."
            )
        self.pages.append(Page(float(width_mm), float(height_mm), label))
        for group in groups:
            self._add(group)

    def lines(
        self,
        segments: npt.ArrayLike,
        *,
        width_mm: float = 0.2,
        colour: str = INK,
        dash_mm: Sequence[float] = (),
        round_ends: bool = False,
    ) -> None:
        """Note straight lines."""
        rows = _rows(segments, 4)
        if len(rows):
            self._add(LinesOp(rows, width_mm, _colour(colour), tuple(dash_mm), round_ends))

    def rectangles(
        self, boxes: npt.ArrayLike, *, fill: str | None = None, stroke: str | None = None, width_mm: float = 0.2
    ) -> None:
        """Note upright rectangles."""
        rows = _rows(boxes, 4)
        if len(rows) and (fill or stroke):
            self._add(RectanglesOp(rows, _maybe(fill), _maybe(stroke), width_mm))

    def path(
        self,
        points: Any,
        *,
        fill: str | None = None,
        stroke: str | None = INK,
        width_mm: float = 0.2,
        closed: bool = True,
        dash_mm: Sequence[float] = (),
        round_ends: bool = False,
    ) -> None:
        """Note a polygon or polyline, or several."""
        many = isinstance(points, (list, tuple)) and len(points) > 0 and np.ndim(points[0]) == 2
        rings = tuple(_rows(ring, 2) for ring in (points if many else [points]))
        rings = tuple(ring for ring in rings if len(ring) > 1)
        if rings and (fill or stroke):
            self._add(PathOp(rings, _maybe(fill), _maybe(stroke), width_mm, closed, tuple(dash_mm), round_ends))

    def circles(
        self,
        centres: npt.ArrayLike,
        radius_mm: float,
        *,
        fill: str | None = None,
        stroke: str | None = None,
        width_mm: float = 0.2,
    ) -> None:
        """Note circles."""
        rows = _rows(centres, 2)
        if len(rows) and (fill or stroke):
            self._add(CirclesOp(rows, radius_mm, _maybe(fill), _maybe(stroke), width_mm))

    def marks(
        self,
        x_mm: float,
        y_mm: float,
        cell_mm: float,
        cells: CellArray,
        *,
        colour: str,
        shape: MarkShape = "block",
        size: float = 0.84,
    ) -> None:
        """Note a field of marks."""
        grid = np.array(cells, dtype=np.bool_)
        grid.setflags(write=False)
        if grid.any():
            self._add(MarksOp(x_mm, y_mm, cell_mm, grid, _colour(colour), shape, size))

    def text(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        *,
        size_mm: float = 3.9,
        colour: str = INK,
        anchor: Anchor = "start",
        weight: Weight = "regular",
        angle_deg: float = 0.0,
    ) -> None:
        """Note one line of text."""
        if text.strip():
            colour = _colour(colour)
            self._add(TextOp(x_mm, y_mm, text, size_mm, colour, anchor, weight, angle_deg))

    def image(
        self,
        x_mm: float,
        y_mm: float,
        width_mm: float,
        height_mm: float,
        pixels: PictureArray | IndexedPicture,
        *,
        alt: str = "",
    ) -> None:
        """Note a picture."""
        if not isinstance(pixels, IndexedPicture):
            pixels = np.ascontiguousarray(pixels, dtype=np.uint8)
        self._add(ImageOp(x_mm, y_mm, width_mm, height_mm, pixels, alt))

    @contextmanager
    def clip(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> Iterator[None]:
        """Note the start and end of a clipped part."""
        yield from self._inside(ClipOp(x_mm, y_mm, width_mm, height_mm), "clip")

    @contextmanager
    def tag(self, role: Role, alt: str = "") -> Iterator[None]:
        """Note the start and end of a part with a meaning."""
        yield from self._inside(TagOp(role, alt), "tag")

    def _inside(self, op: ClipOp | TagOp, kind: Literal["clip", "tag"]) -> Iterator[None]:
        self._add(op)
        self._open.append(op)
        try:
            yield
        finally:
            self._open.pop()
            self._add(EndOp(kind))

    def extend(self, other: Drawing) -> None:
        """Append the pages of another drawing."""
        self.pages.extend(other.pages)

    def pdf_bytes(self) -> bytes:
        """Return all pages as one PDF; equal drawings give equal bytes."""
        from converter.draw.pdf import render_pdf

        return render_pdf(self)

    def svg_bytes(self, page: int = 0) -> bytes:
        """Return one page as SVG 1.1, one user unit a millimetre."""
        from converter.draw.svg import render_svg

        return render_svg(self.pages[page], title=self.title, language=self.language)

    def png_bytes(self, page: int = 0, dpi: float = 150.0) -> bytes:
        """Return one page as PNG with its resolution noted in the file."""
        from converter.draw.png import render_png

        return render_png(self.pages[page], dpi)

    def png_packing(self, page: int = 0, dpi: float = 150.0) -> Callable[[], bytes]:
        """Draw one page; what is returned gives `png_bytes`, and may run beside other work."""
        from converter.draw.png import draw_for_packing

        return draw_for_packing(self.pages[page], dpi)
