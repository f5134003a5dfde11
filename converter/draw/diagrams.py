"""Small drawings of how it is done: folding, the middle, a cross, a row, a backstitch, fastening on."""

from __future__ import annotations

from typing import Final

import numpy as np

from converter.draw.canvas import INK, Canvas
from converter.draw.contrast import print_colour, tint
from converter.draw.fonts import cap_height
from converter.draw.scene import HEAVY_COLOUR, RULE_COLOUR
from converter.draw.words import Words

CLOTH: Final = "#f6f2e9"
CLOTH_EDGE: Final = "#8d8474"
HOLE: Final = "#5c5549"
NUMBER_MM: Final = 3.0


def _thread(
    canvas: Canvas, points: list[tuple[float, float]], width_mm: float, colour: str, *, behind: bool = False
) -> None:
    """Draw a thread along points; behind the cloth it is dashed and thin."""
    ring = np.array(points)
    if behind:
        canvas.path(ring, stroke=colour, width_mm=0.35, closed=False, dash_mm=(1.1, 0.9))
        return
    dark = "#" + "".join(f"{int(int(colour[i : i + 2], 16) * 0.45):02x}" for i in (1, 3, 5))
    canvas.path(ring, stroke=dark, width_mm=width_mm + 0.36, closed=False, round_ends=True)
    canvas.path(ring, stroke=colour, width_mm=width_mm, closed=False, round_ends=True)


def _holes(canvas: Canvas, x_mm: float, y_mm: float, pitch_mm: float, columns: int, rows: int) -> None:
    """Draw cloth with holes; (x, y) is the first hole."""
    edge = 0.55 * pitch_mm
    canvas.rectangles(
        [[x_mm - edge, y_mm - edge, (columns - 1) * pitch_mm + 2 * edge, (rows - 1) * pitch_mm + 2 * edge]],
        fill=CLOTH,
        stroke="#d9d1c0",
        width_mm=0.15,
    )
    places = [[x_mm + c * pitch_mm, y_mm + r * pitch_mm] for r in range(rows) for c in range(columns)]
    canvas.circles(places, 0.55, fill=HOLE)


def _number(canvas: Canvas, x_mm: float, y_mm: float, number: int) -> None:
    """Draw a number in a white disc, centred at (x, y)."""
    canvas.circles([[x_mm, y_mm]], 1.9, fill="#ffffff", stroke=HEAVY_COLOUR, width_mm=0.15)
    size = 2.9
    canvas.text(
        x_mm, y_mm + cap_height(size, "bold") / 2, str(number), size_mm=size, anchor="middle", weight="bold", colour=INK
    )


def _arrow(canvas: Canvas, start: tuple[float, float], stop: tuple[float, float], bow_mm: float = 0.0) -> None:
    """Draw a thin arrow, bowed to its left by ``bow_mm``."""
    a, b = np.array(start), np.array(stop)
    along = (b - a) / np.hypot(*(b - a))
    aside = np.array([along[1], -along[0]])
    share = np.linspace(0, 1, 17 if bow_mm else 2)[:, None]
    curve = a + (b - a) * share + aside * bow_mm * 4 * share * (1 - share)
    tip = curve[-1] - curve[-2]
    tip = tip / np.hypot(*tip)
    shaft = np.concatenate([curve[:-1], [curve[-1] - 1.2 * tip]])
    canvas.path(shaft, stroke=HEAVY_COLOUR, width_mm=0.3, closed=False)
    side = np.array([tip[1], -tip[0]])
    canvas.path(
        np.array([curve[-1], curve[-1] - 2.0 * tip + 0.9 * side, curve[-1] - 2.0 * tip - 0.9 * side]),
        fill=HEAVY_COLOUR,
        stroke=None,
    )


FOLD_HEIGHT_MM: Final = 30.0


def draw_fold(canvas: Canvas, x_mm: float, y_mm: float, width_mm: float, words: Words) -> None:
    """Show the cloth folded both ways, and the same middle on the chart."""
    side = 24.0
    top = y_mm + 2.0
    left = x_mm + 2.0
    canvas.rectangles([[left, top, side, side]], fill=CLOTH, stroke=CLOTH_EDGE, width_mm=0.3)
    middle = (left + side / 2, top + side / 2)
    canvas.lines(
        [[middle[0], top, middle[0], top + side], [left, middle[1], left + side, middle[1]]],
        width_mm=0.3,
        colour=CLOTH_EDGE,
        dash_mm=(1.6, 1.2),
    )
    _arrow(canvas, (left + 2.5, top + 4.5), (left + side - 2.5, top + 4.5), 3.2)
    _arrow(canvas, (left + 4.5, top + side - 2.5), (left + 4.5, top + 2.5 + side / 2), 1.6)
    canvas.circles([middle], 1.1, fill=HEAVY_COLOUR)
    chart_left = x_mm + max(0.5 * width_mm, side + 12.0)
    cells = 10
    cell = side / cells
    rules = [[chart_left + i * cell, top, chart_left + i * cell, top + side] for i in range(cells + 1)]
    rules += [[chart_left, top + i * cell, chart_left + side, top + i * cell] for i in range(cells + 1)]
    canvas.lines(rules, width_mm=0.12, colour=RULE_COLOUR)
    x, y = chart_left + side / 2, top + side / 2
    canvas.lines([[x, top, x, top + side], [chart_left, y, chart_left + side, y]], width_mm=0.3, dash_mm=(1.6, 1.2))
    for points in (
        [[x, top - 0.2], [x - 1.1, top - 2.0], [x + 1.1, top - 2.0]],
        [[x, top + side + 0.2], [x - 1.1, top + side + 2.0], [x + 1.1, top + side + 2.0]],
        [[chart_left - 0.2, y], [chart_left - 2.0, y - 1.1], [chart_left - 2.0, y + 1.1]],
        [[chart_left + side + 0.2, y], [chart_left + side + 2.0, y - 1.1], [chart_left + side + 2.0, y + 1.1]],
    ):
        canvas.path(np.array(points), fill=HEAVY_COLOUR, stroke=None)
    canvas.circles([[x, y]], 1.1, fill=HEAVY_COLOUR)
    _arrow(canvas, (left + side + 2.0, middle[1]), (chart_left - 3.0, middle[1]))


CROSS_HEIGHT_MM: Final = 24.0


def draw_cross(canvas: Canvas, x_mm: float, y_mm: float, width_mm: float, colour: str) -> None:
    """Show one cross in two steps: the leg rising to the right, then the one falling to the right on top."""
    ink = print_colour(colour)
    pitch = 11.0
    step = width_mm / 2
    for index in range(2):
        left = x_mm + index * step + max(4.5, (step - pitch - 6) / 2)
        top = y_mm + 6.2
        _holes(canvas, left, top, pitch, 2, 2)
        low_left, high_right = (left, top + pitch), (left + pitch, top)
        low_right, high_left = (left + pitch, top + pitch), (left, top)
        if index == 1:
            _thread(canvas, [low_left, high_right], 2.2, tint(ink, 0.75))
            _thread(canvas, [low_right, high_left], 2.2, ink)
            _number(canvas, low_right[0] + 3.4, low_right[1] + 1.6, 3)
            _number(canvas, high_left[0] - 3.4, high_left[1] - 1.6, 4)
        else:
            _thread(canvas, [low_left, high_right], 2.2, ink)
            _number(canvas, low_left[0] - 3.4, low_left[1] + 1.6, 1)
            _number(canvas, high_right[0] + 3.4, high_right[1] - 1.6, 2)


ROW_HEIGHT_MM: Final = 38.0


def draw_row(canvas: Canvas, x_mm: float, y_mm: float, width_mm: float, colour: str) -> None:
    """Show a row of crosses: first legs out, top legs back."""
    ink = print_colour(colour)
    count = 5
    pitch = min(9.0, (width_mm - 8.0) / count)
    left = x_mm + (width_mm - count * pitch) / 2
    for index in range(2):
        top = y_mm + 6.5 + index * 19.5
        high = min(pitch, 8.0)
        places = [[left + c * pitch, top + r * high] for r in range(2) for c in range(count + 1)]
        canvas.rectangles(
            [[left - 3.0, top - 3.0, count * pitch + 6.0, high + 6.0]], fill=CLOTH, stroke="#d9d1c0", width_mm=0.15
        )
        canvas.circles(places, 0.5, fill=HOLE)
        for i in range(count):
            x = left + i * pitch
            _thread(canvas, [(x, top + high), (x + pitch, top)], 1.7, tint(ink, 0.75) if index else ink)
        if index:
            for i in range(2, count):
                x = left + i * pitch
                _thread(canvas, [(x + pitch, top + high), (x, top)], 1.7, ink)
            _arrow(canvas, (left + 2 * pitch - 1.0, top - 4.2), (left + 0.6 * pitch, top - 4.2))
        else:
            _arrow(canvas, (left + 0.3 * pitch, top - 4.2), (left + 2.0 * pitch, top - 4.2))


BACKSTITCH_HEIGHT_MM: Final = 17.0


def draw_backstitch(canvas: Canvas, x_mm: float, y_mm: float, width_mm: float, colour: str) -> None:
    """Show backstitch: up one hole ahead, down one hole back."""
    ink = print_colour(colour)
    pitch = min(12.0, (width_mm - 12.0) / 5)
    left, y = x_mm + 6.0, y_mm + 8.5
    canvas.rectangles([[left - 4.0, y - 4.0, 5 * pitch + 8.0, 8.0]], fill=CLOTH, stroke="#d9d1c0", width_mm=0.15)
    holes = [left + i * pitch for i in range(6)]
    canvas.circles([[x, y] for x in holes], 0.55, fill=HOLE)
    for start, stop in ((0, 2), (1, 3), (2, 4)):
        bow = [
            (holes[start] + (holes[stop] - holes[start]) * t, y + 5.2 * t * (1 - t) * 4 * 0.5)
            for t in np.linspace(0, 1, 13)
        ]
        _thread(canvas, bow, 0.4, HEAVY_COLOUR, behind=True)
    for i in range(3):
        _thread(canvas, [(holes[i + 1], y), (holes[i], y)], 1.3, ink)
    for number, hole in ((1, 1), (2, 0), (3, 2), (4, 1)):
        shift = {1: -2.1, 4: 2.1}.get(number, 0.0)
        _number(canvas, holes[hole] + shift, y - 6.2, number)
    _arrow(canvas, (holes[3] + 1.5, y - 6.2), (holes[3] + 1.2 * pitch, y - 6.2))


FASTEN_HEIGHT_MM: Final = 17.0


def draw_fasten(canvas: Canvas, x_mm: float, y_mm: float, width_mm: float, colour: str) -> None:
    """Show the back of the cloth with the tail lying under the first stitches."""
    ink = print_colour(colour)
    pitch = (width_mm - 22.0) / 6
    left, top = x_mm + 14.0, y_mm + 4.0
    canvas.rectangles([[x_mm, top - 3.5, width_mm, 15.5]], fill=CLOTH, stroke="#d9d1c0", width_mm=0.15)
    middle = top + 4.4
    tail = [
        (x_mm + 3.0 + t * (left + 5.2 * pitch - x_mm - 3.0), middle + 0.7 * np.sin(5 * t))
        for t in np.linspace(0, 1, 25)
    ]
    _thread(canvas, tail, 1.0, tint(ink, 0.7))
    for i in range(6):
        x = left + i * pitch
        _thread(canvas, [(x, top), (x, top + 8.5)], 1.5, ink)


WEAVE_HEIGHT_MM: Final = 27.0


def draw_weave(canvas: Canvas, x_mm: float, y_mm: float, width_mm: float, colour: str, over: int) -> None:
    """Show one cross over several threads of linen."""
    ink = print_colour(colour)
    count = 2 * over + 2 if over < 3 else over + 3
    side = 24.0
    pitch = side / count
    left, top = x_mm + 4.0, y_mm + 1.5
    thick = 0.74 * pitch
    linen, edge = "#efe7d6", "#b7ab92"
    canvas.rectangles([[left, top, side, side]], fill="#d8cfbd")
    middles = (np.arange(count) + 0.5) * pitch - thick / 2
    canvas.rectangles([[left, top + at, side, thick] for at in middles], fill=linen, stroke=edge, width_mm=0.12)
    canvas.rectangles([[left + at, top, thick, side] for at in middles], fill=linen, stroke=edge, width_mm=0.12)
    overs = [
        [left + column * pitch + 0.03 * pitch, top + at, 0.94 * pitch, thick]
        for row, at in enumerate(middles)
        for column in range(count)
        if (row + column) % 2 == 0
    ]
    canvas.rectangles(overs, fill=linen, stroke=edge, width_mm=0.12)
    first = (count - over) // 2
    a, b = left + first * pitch, left + (first + over) * pitch
    c, d = top + first * pitch, top + (first + over) * pitch
    _thread(canvas, [(a, d), (b, c)], 1.5, tint(ink, 0.75))
    _thread(canvas, [(b, d), (a, c)], 1.5, ink)
    y = d + 0.9
    canvas.lines([[a, y, b, y], [a, y - 0.9, a, y + 0.9], [b, y - 0.9, b, y + 0.9]], width_mm=0.25, colour=INK)
    canvas.text(b + 1.5, y + 1.0, str(over), size_mm=NUMBER_MM, weight="bold", colour=INK)
