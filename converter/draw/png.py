"""Drawing -> PNG: upright shapes snapped to pixels, everything else smoothed at the edge."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache, partial
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from converter.draw.canvas import (
    CirclesOp,
    ClipOp,
    EndOp,
    ImageOp,
    LinesOp,
    MarksOp,
    Op,
    Page,
    PathOp,
    RectanglesOp,
    TextOp,
)
from converter.draw.fonts import FONT_DIR, FONT_FILES, split_runs, text_width
from converter.draw.palette import COLOURS, IndexedPicture, exact_palette
from converter.errors import RequestError
from converter.model.arrays import PictureArray
from converter.model.materials import rgb
from converter.units import MM_PER_INCH

MAX_PIXELS: Final = 120_000_000
SUBPIXEL_BITS: Final = 6
"""Fixed-point bits of polygon corners."""
_STEPS: Final = 16
"""Degrees of cover between bare and full, both counted."""
_FINE: Final = 4
"""Fine pixels along a pixel, by which smooth edges are counted."""
_LARGE_PX: Final = 160
_MOST_KEPT_PX: Final = 20_000
_PLACES: Final = 64
"""Places of a shape on a pixel, along one axis, that are told apart."""
_MANY: Final = 8

Mask = npt.NDArray[np.uint8]


@lru_cache(maxsize=256)
def _font(face: str, size_px: float) -> ImageFont.FreeTypeFont:
    path = str(FONT_DIR / FONT_FILES[face])
    return ImageFont.truetype(path, size_px, layout_engine=ImageFont.Layout.BASIC)


class _PngPage:
    """A page of pixels: one byte each that names a colour, three once there are more than 256 colours."""

    def __init__(self, page: Page, dpi: float) -> None:
        self.scale = dpi / MM_PER_INCH
        width = max(1, round(page.width_mm * self.scale))
        height = max(1, round(page.height_mm * self.scale))
        if width * height > MAX_PIXELS:
            raise RequestError(
                f"A picture of {width} x {height} pixels is over {MAX_PIXELS // 1_000_000} million.",
                "Choose a lower resolution.",
            )
        self.index: npt.NDArray[np.uint8] | None = np.zeros((height, width), dtype=np.uint8)
        self.pixels: PictureArray = np.zeros((0, 0, 3), dtype=np.uint8)
        self.entries = {(255, 255, 255): 0}
        self.size = (height, width)
        self.layer: Mask | None = None
        """Cover of shapes that are laid together."""
        self.stamps: dict[tuple[object, ...], tuple[int, int, Mask]] = {}
        self.clips = [(0, 0, width, height)]
        self.opened: list[str] = []

    def draw(self, op: Op) -> None:
        if isinstance(op, MarksOp):
            self._marks(op)
        elif isinstance(op, LinesOp):
            self._lines(op)
        elif isinstance(op, RectanglesOp):
            self._rectangles(op)
        elif isinstance(op, PathOp):
            self._path(op)
        elif isinstance(op, CirclesOp):
            self._circles(op)
        elif isinstance(op, TextOp):
            self._text(op)
        elif isinstance(op, ImageOp):
            self._image(op)
        elif isinstance(op, ClipOp):
            x0, y0, x1, y1 = self.clips[-1]
            a, b = round(op.x_mm * self.scale), round(op.y_mm * self.scale)
            c, d = round((op.x_mm + op.width_mm) * self.scale), round((op.y_mm + op.height_mm) * self.scale)
            self.clips.append((max(x0, a), max(y0, b), min(x1, c), min(y1, d)))
        elif isinstance(op, EndOp) and op.of == "clip":
            self.clips.pop()

    def _box(self, x0: int, y0: int, x1: int, y1: int, colour: str) -> None:
        left, top, right, bottom = self.clips[-1]
        x0, y0, x1, y1 = max(x0, left), max(y0, top), min(x1, right), min(y1, bottom)
        if x0 < x1 and y0 < y1:
            entry = self._entry(rgb(colour))
            if self.index is not None:
                self.index[y0:y1, x0:x1] = entry
            else:
                self.pixels[y0:y1, x0:x1] = rgb(colour)

    def _entry(self, colour: tuple[int, int, int]) -> int:
        """Return the number of a colour; the page goes over to full colour where there is no number left."""
        number = self.entries.get(colour)
        if number is None:
            if len(self.entries) == COLOURS:
                self._use_full_colour()
            number = self.entries[colour] = len(self.entries)
        return number

    def _table(self) -> npt.NDArray[np.uint8]:
        return np.array(list(self.entries), dtype=np.uint8)

    def _use_full_colour(self) -> None:
        if self.index is not None:
            self.pixels = self._table()[self.index]
            self.index = None

    def picture(self) -> IndexedPicture | None:
        """Return the page in its few colours, or None if it has too many."""
        return exact_palette(self.pixels) if self.index is None else IndexedPicture(self.index, self._table())

    def full_colour(self) -> PictureArray:
        """Return the page in RGB."""
        self._use_full_colour()
        return self.pixels

    def _blend(self, x: int, y: int, mask: Mask, colour: str) -> None:
        """Lay a colour through a mask of coverage whose top left pixel is (x, y)."""
        left, top, right, bottom = self.clips[-1]
        height, width = mask.shape
        x0, y0, x1, y1 = max(x, left), max(y, top), min(x + width, right), min(y + height, bottom)
        if x0 >= x1 or y0 >= y1:
            return
        inside = mask[y0 - y : y1 - y, x0 - x : x1 - x]
        if self.layer is not None:
            there = self.layer[y0:y1, x0:x1]
            np.maximum(there, inside, out=there)
            return
        if self.index is not None:
            laid = self._blend_steps(self.index[y0:y1, x0:x1], inside, rgb(colour))
            if laid is not None:
                self.index[y0:y1, x0:x1] = laid
                return
        self.pixels[y0:y1, x0:x1] = _blend_pixels(self.pixels[y0:y1, x0:x1], inside, rgb(colour))

    @contextmanager
    def _together(self, colour: str, number: int) -> Iterator[None]:
        """Lay many shapes of one colour as one: each pixel is as covered as by the shape that covers it most."""
        if number < _MANY or self.layer is not None:
            yield
            return
        height, width = self.size
        self.layer = np.zeros((height, width), dtype=np.uint8)
        yield
        layer, self.layer = self.layer.ravel(), None
        at = np.flatnonzero(layer > 0)
        if self.index is not None:
            flat = self.index.reshape(-1)
            laid = self._blend_steps(flat[at], layer[at], rgb(colour))
            if laid is not None:
                flat[at] = laid
                return
        pixels = self.pixels.reshape(-1, 3)
        pixels[at] = _blend_pixels(pixels[at], layer[at], rgb(colour))

    def _blend_steps(
        self, under: npt.NDArray[np.uint8], mask: Mask, colour: tuple[int, int, int]
    ) -> npt.NDArray[np.uint8] | None:
        """Return numbered colours with one laid over them, or None once the page is in full colour.

        Between bare and covered are 14 steps, so that few colours arise.
        """
        pairs = under.astype(np.uint16) * _STEPS + (mask.astype(np.uint16) + 8) // 17
        below = list(self.entries)
        change = np.zeros(COLOURS * _STEPS, dtype=np.uint8)
        for pair in np.flatnonzero(np.bincount(pairs.ravel(), minlength=len(change))).tolist():
            number, step = divmod(pair, _STEPS)
            if step:
                part = 17 * step
                red, green, blue = (
                    (u * (255 - part) + over * part + 127) // 255 for u, over in zip(below[number], colour, strict=True)
                )
                number = self._entry((red, green, blue))
                if self.index is None:
                    return None
            change[pair] = number
        laid: npt.NDArray[np.uint8] = change[pairs]
        return laid

    def _polygons(self, rings: list[npt.NDArray[np.float64]], colour: str) -> None:
        """Fill rings, given in pixels, by the even-odd rule with smooth edges."""
        points = np.concatenate(rings)
        left, top = (int(v) - 1 for v in np.floor(points.min(axis=0)))
        right, bottom = (int(v) + 2 for v in np.ceil(points.max(axis=0)))
        if max(right - left, bottom - top) > _LARGE_PX:
            x0, y0, x1, y1 = self.clips[-1]
            left, top, right, bottom = max(left, x0), max(top, y0), min(right, x1), min(bottom, y1)
            if left >= right or top >= bottom:
                return
        size = (right - left, bottom - top)
        self._blend(left, top, _cover(size, [ring - (left, top) for ring in rings]), colour)

    def _stamp(
        self,
        place: tuple[float, float],
        form: tuple[float, ...],
        outline: Callable[..., npt.NDArray[np.float64]],
        colour: str,
    ) -> None:
        """Fill a shape at a place; shapes of the same form that fall on the pixels alike are worked out once."""
        x, y = math.floor(place[0]), math.floor(place[1])
        rest = round((place[0] - x) * _PLACES), round((place[1] - y) * _PLACES)
        key = (outline, *rest, *(round(value * _PLACES) for value in form))
        found = self.stamps.get(key)
        if found is None:
            ring = outline(*form) + np.array(rest) / _PLACES
            left, top = (int(v) - 1 for v in np.floor(ring.min(axis=0)))
            right, bottom = (int(v) + 2 for v in np.ceil(ring.max(axis=0)))
            found = left, top, _cover((right - left, bottom - top), [ring - (left, top)])
            if found[2].size <= _MOST_KEPT_PX:
                self.stamps[key] = found
        self._blend(x + found[0], y + found[1], found[2], colour)

    def _stroke(
        self,
        ends: tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]],
        width_px: float,
        colour: str,
        round_ends: bool,
    ) -> None:
        """Draw one straight line between two points in pixels."""
        start, stop = ends
        along = stop - start
        length = float(np.hypot(*along))
        if length == 0:
            return
        half = max(width_px, 1.0) / 2
        if (start[0] == stop[0] or start[1] == stop[1]) and not round_ends:
            axis = 0 if start[0] == stop[0] else 1
            across = round(float(start[axis]) - half)
            thick = max(1, round(width_px))
            low, high = sorted((round(float(start[1 - axis])), round(float(stop[1 - axis]))))
            if axis == 0:
                self._box(across, low, across + thick, high, colour)
            else:
                self._box(low, across, high, across + thick, colour)
            return
        if round_ends:
            ring = start + _round_line(float(along[0]), float(along[1]), width_px)
        else:
            aside = np.array([-along[1], along[0]]) / length * half
            ring = np.array([start + aside, start - aside, stop - aside, stop + aside])
        self._polygons([ring], colour)

    def _dashed(self, points: npt.NDArray[np.float64], op: LinesOp | PathOp, colour: str) -> None:
        width = op.width_mm * self.scale
        if not op.dash_mm:
            for a, b in pairwise(points):
                self._stroke((a, b), width, colour, op.round_ends)
            return
        pattern = [max(d * self.scale, 0.01) for d in op.dash_mm]
        pattern = pattern if len(pattern) % 2 == 0 else pattern * 2
        index, left = 0, pattern[0]
        for a, b in pairwise(points):
            length = float(np.hypot(*(b - a)))
            done = 0.0
            while length - done > 1e-9:
                step = min(left, length - done)
                if index % 2 == 0:
                    ends = (a + (b - a) * (done / length), a + (b - a) * ((done + step) / length))
                    self._stroke(ends, width, colour, op.round_ends)
                done += step
                left -= step
                if left <= 1e-9:
                    index = (index + 1) % len(pattern)
                    left = pattern[index]

    def _lines(self, op: LinesOp) -> None:
        segments = op.segments * self.scale
        if op.dash_mm or not op.round_ends:
            for row in segments:
                self._dashed(row.reshape(2, 2), op, op.colour)
            return
        width = op.width_mm * self.scale
        with self._together(op.colour, len(segments)):
            for x0, y0, x1, y1 in segments.tolist():
                self._stamp((x0, y0), (x1 - x0, y1 - y0, width), _round_line, op.colour)

    def _rectangles(self, op: RectanglesOp) -> None:
        for x, y, w, h in op.boxes * self.scale:
            x0, y0, x1, y1 = round(x), round(y), round(x + w), round(y + h)
            if op.fill:
                self._box(x0, y0, x1, y1, op.fill)
            if op.stroke:
                thick = max(1, round(op.width_mm * self.scale))
                out = thick // 2
                x0, y0, x1, y1 = x0 - out, y0 - out, x1 + thick - out, y1 + thick - out
                self._box(x0, y0, x1, y0 + thick, op.stroke)
                self._box(x0, y1 - thick, x1, y1, op.stroke)
                self._box(x0, y0, x0 + thick, y1, op.stroke)
                self._box(x1 - thick, y0, x1, y1, op.stroke)

    def _path(self, op: PathOp) -> None:
        rings = [ring * self.scale for ring in op.rings]
        if op.fill:
            self._polygons(rings, op.fill)
        if op.stroke:
            for ring in rings:
                points = np.concatenate([ring, ring[:1]]) if op.closed else ring
                self._dashed(points, op, op.stroke)
                if len(points) > 2 and not op.dash_mm and op.width_mm * self.scale > 1.6:
                    self._discs(points if op.closed else points[1:-1], op.width_mm * self.scale / 2, op.stroke)

    def _discs(self, centres: npt.NDArray[np.float64], radius_px: float, colour: str) -> None:
        with self._together(colour, len(centres)):
            for x, y in centres.tolist():
                self._stamp((x, y), (radius_px,), _disc, colour)

    def _circles(self, op: CirclesOp) -> None:
        centres = op.centres * self.scale
        radius = op.radius_mm * self.scale
        half = max(1.0, op.width_mm * self.scale) / 2
        if op.stroke:
            self._discs(centres, radius + half, op.stroke)
        if op.fill:
            self._discs(centres, radius - (half if op.stroke else 0), op.fill)
        elif op.stroke:
            turn = np.linspace(0, 2 * np.pi, 49)
            for centre in centres:
                ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
                self._polygons([centre + (radius + half) * ring, centre + (radius - half) * ring], op.stroke)

    def _marks(self, op: MarksOp) -> None:
        rows, columns = op.cells.shape
        cell = op.cell_mm * self.scale
        left, top = op.x_mm * self.scale, op.y_mm * self.scale
        down = _along(top, cell, rows, self.clips[-1][1], self.clips[-1][3])
        across = _along(left, cell, columns, self.clips[-1][0], self.clips[-1][2])
        if len(down[0]) == 0 or len(across[0]) == 0:
            return
        if op.shape == "block":
            edge = (1 - op.size) / 2
            fits_down = (down[1] > edge) & (down[1] < 1 - edge)
            fits_across = (across[1] > edge) & (across[1] < 1 - edge)
            inside = (op.cells[:, across[0]] & fits_across)[down[0]]
            inside &= fits_down[:, None]
        else:
            u, v = np.abs(across[1] - 0.5)[None, :], np.abs(down[1] - 0.5)[:, None]
            inside = op.cells[down[0]][:, across[0]] & (np.abs(u - v) < 0.71 * op.size) & (u < 0.46) & (v < 0.46)
        entry = self._entry(rgb(op.colour))
        if self.index is not None:
            np.copyto(self.index[down[2], across[2]], np.uint8(entry), where=inside)
        else:
            self.pixels[down[2], across[2]][inside] = rgb(op.colour)

    def _text(self, op: TextOp) -> None:
        size = op.size_mm * self.scale
        if size < 1:
            return
        width = text_width(op.text, op.size_mm, op.weight) * self.scale
        back = {"start": 0.0, "middle": 0.5, "end": 1.0}[op.anchor] * width
        pad = round(size) + 2
        box = Image.new("L", (int(width) + 2 * pad, 2 * pad + int(size)), 0)
        pen = ImageDraw.Draw(box)
        turned = op.angle_deg % 360 != 0
        x_mm, y_mm = op.x_mm * self.scale, op.y_mm * self.scale
        rest_x, rest_y = (0.0, 0.0) if turned else ((x_mm - back) % 1, y_mm % 1)
        x = pad + rest_x
        for face, run in split_runs(op.text, op.weight):
            pen.text((x, pad + int(size) + rest_y), run, fill=255, font=_font(face, size), anchor="ls")
            x += text_width(run, op.size_mm, face) * self.scale
        if not turned:
            origin = (int(np.floor(x_mm - back)) - pad, int(np.floor(y_mm)) - pad - int(size))
            self._blend(*origin, np.asarray(box, dtype=np.uint8), op.colour)
            return
        side = 2 * int(np.ceil(np.hypot(*box.size))) + 2
        large = Image.new("L", (side, side), 0)
        centre = side // 2
        large.paste(box, (centre - pad - round(back), centre - pad - int(size)))
        large = large.rotate(-op.angle_deg, resample=Image.Resampling.BICUBIC, center=(centre, centre))
        self._blend(round(x_mm) - centre, round(y_mm) - centre, np.asarray(large, dtype=np.uint8), op.colour)

    def _image(self, op: ImageOp) -> None:
        x0, y0 = round(op.x_mm * self.scale), round(op.y_mm * self.scale)
        x1, y1 = round((op.x_mm + op.width_mm) * self.scale), round((op.y_mm + op.height_mm) * self.scale)
        self._use_full_colour()
        picture = Image.fromarray(op.pixels).convert("RGB")
        if x1 <= x0 or y1 <= y0:
            return
        if picture.size != (x1 - x0, y1 - y0):
            shrinks = picture.width > x1 - x0
            method = Image.Resampling.BOX if shrinks else Image.Resampling.BICUBIC
            picture = picture.resize((x1 - x0, y1 - y0), method)
        left, top, right, bottom = self.clips[-1]
        a, b, c, d = max(x0, left), max(y0, top), min(x1, right), min(y1, bottom)
        if a < c and b < d:
            self.pixels[b:d, a:c] = np.asarray(picture)[b - y0 : d - y0, a - x0 : c - x0]


def _round_line(across: float, down: float, width_px: float) -> npt.NDArray[np.float64]:
    """Return the outline of a line with round ends that starts at (0, 0)."""
    along = np.array([across, down])
    length = math.hypot(across, down)
    half = max(width_px, 1.0) / 2
    out = along / length * half if length else np.array([half, 0.0])
    aside = np.array([-out[1], out[0]])
    turn = np.linspace(0, np.pi, 9)[1:-1, None]
    cap = -aside * np.cos(turn) + out * np.sin(turn)
    return np.concatenate([[-aside, along - aside], along + cap, [along + aside, aside], -cap])


def _disc(radius_px: float) -> npt.NDArray[np.float64]:
    """Return the outline of a disc round (0, 0)."""
    turn = np.linspace(0, 2 * np.pi, max(12, int(radius_px * 3)), endpoint=False)
    return radius_px * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def _cover(size: tuple[int, int], rings: list[npt.NDArray[np.float64]]) -> Mask:
    """Return how much of each pixel of a box rings cover by the even-odd rule, 0 to 255."""
    import cv2

    mask = np.zeros((size[1] * _FINE, size[0] * _FINE), dtype=np.uint8)
    # fillPoly takes whole coordinates as pixel centres.
    corners = [
        np.round((ring * _FINE - 0.5) * (1 << SUBPIXEL_BITS)).astype(np.int32).reshape(-1, 1, 2) for ring in rings
    ]
    cv2.fillPoly(mask, corners, 255, lineType=cv2.LINE_8, shift=SUBPIXEL_BITS)
    return np.asarray(cv2.resize(mask, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _blend_pixels(under: PictureArray, mask: Mask, colour: tuple[int, int, int]) -> PictureArray:
    """Return pixels (..., 3) with a colour laid over them through a mask of cover."""
    part = mask.astype(np.uint16)[..., None]
    over = np.array(colour, dtype=np.uint16)
    return ((under * (255 - part) + over * part + 127) // 255).astype(np.uint8)


def _along(
    start: float, cell: float, count: int, low: int, high: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64], slice]:
    """Return, for each pixel of one axis, the cell it lies in and where in the cell (0 to 1)."""
    first = max(low, int(np.ceil(start - 0.5)))
    last = min(high, int(np.ceil(start + count * cell - 0.5)))
    place = (np.arange(first, max(first, last)) + 0.5 - start) / cell
    index = np.clip(np.floor(place).astype(np.int64), 0, count - 1)
    return index, place - index, slice(first, max(first, last))


def encode_png(pixels: PictureArray, dpi: float | None) -> bytes:
    """Return PNG bytes; with few colours a palette keeps them small.

    Parameters
    ----------
    pixels : ndarray of shape (H, W) or (H, W, 3), uint8
    dpi : float or None
        Noted in the file's pHYs chunk as pixels per metre (W3C PNG, third edition, 11.3.4.3).
    """
    if pixels.ndim == 3:
        indexed = exact_palette(pixels)
        if indexed is not None:
            return replace(indexed, dpi=dpi).png
    picture = Image.fromarray(pixels)
    buffer = io.BytesIO()
    options = {} if dpi is None else {"dpi": (dpi, dpi)}
    picture.save(buffer, "PNG", compress_level=6, **options)
    return buffer.getvalue()


def render_png(page: Page, dpi: float = 150.0) -> bytes:
    """Return one page as PNG."""
    return draw_for_packing(page, dpi)()


def draw_for_packing(page: Page, dpi: float = 150.0) -> Callable[[], bytes]:
    """Draw one page; what is returned packs it as PNG, which hardly needs the interpreter."""
    end = _draw_page(page, dpi)
    picture = end.picture()
    if picture is None:
        return partial(encode_png, end.full_colour(), dpi)
    noted = replace(picture, dpi=dpi)
    return lambda: noted.png


def render_pixels(page: Page, dpi: float = 150.0) -> PictureArray:
    """Return one page as pixels (H, W, 3), uint8."""
    return _draw_page(page, dpi).full_colour()


def _draw_page(page: Page, dpi: float) -> _PngPage:
    end = _PngPage(page, dpi)
    for op in page.ops:
        end.draw(op)
    return end
