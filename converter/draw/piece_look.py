"""The stitched look of a made-up piece: its outline, its fringe, the hoop or mount round it."""

from __future__ import annotations

import math
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from converter.draw.contrast import linear_component
from converter.draw.sprites import to_srgb
from converter.draw.stitched import stitched_pixels
from converter.model.arrays import PictureArray
from converter.model.chart import Chart
from converter.model.materials import rgb
from converter.model.results import MakingPlan, Part

GROUND_RGB: Final = (236, 231, 221)
"""What the piece lies on: tinted, so that white cloth and its fringe show."""
HOOP_RGB: Final = (201, 164, 112)
MOUNT_RGB: Final = (250, 247, 240)
SEEN_ROLES: Final = ("window", "edge", "stitch", "fold", "trim")
"""Line of the stitched part that bounds what is seen of it, the first that it has."""

Box = tuple[float, float, float, float]


def _corners(points: tuple[tuple[float, float], ...]) -> Box:
    array = np.array(points)
    (left, top), (right, bottom) = array.min(axis=0), array.max(axis=0)
    return float(left), float(top), float(right), float(bottom)


def stitched_part(plan: MakingPlan) -> Part:
    """Return the part that carries the design."""
    return next((part for part in plan.parts if part.material == "stitched"), plan.parts[0])


def _seen(part: Part) -> tuple[tuple[float, float], ...]:
    """Return the outline of what is seen of the stitched part: its closed line, or of a folded part what is left."""
    if not any(guide.role == "fold" and len(guide.points) == 2 for guide in part.guides):
        for role in SEEN_ROLES:
            for guide in part.guides:
                if guide.role == role and len(guide.points) > 2:
                    return guide.points
    left, top, right, bottom = _left_over(part)
    return ((left, top), (right, top), (right, bottom), (left, bottom))


def _left_over(part: Part) -> Box:
    """Return the box round the design that folds, seams, hems and fringes at its sides leave."""
    middle = [side / 2 for side in part.cut_mm]
    for guide in part.guides:
        if guide.role == "design":
            box = _corners(guide.points)
            middle = [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2]
    near, far = [0.0, 0.0], list(part.cut_mm)
    for guide in part.guides:
        box = _corners(guide.points)
        for axis in (0, 1) if guide.role != "centre" else ():
            if box[axis + 2] < middle[axis]:
                near[axis] = max(near[axis], box[axis + 2])
            elif box[axis] > middle[axis]:
                far[axis] = min(far[axis], box[axis])
    return near[0], near[1], far[0], far[1]


def _extent(chart: Chart) -> tuple[float, float]:
    """Return the row and column of the upper left corner of what is stitched."""
    tops, lefts = [], []
    if chart.cells.any():
        rows, columns = np.nonzero(chart.cells)
        tops.append(float(rows.min()))
        lefts.append(float(columns.min()))
    if len(chart.lines):
        tops.append(float(chart.lines[:, :, 0].min()))
        lefts.append(float(chart.lines[:, :, 1].min()))
    return min(tops, default=0.0), min(lefts, default=0.0)


def piece_pixels(chart: Chart, plan: MakingPlan, *, stitch_px: int) -> PictureArray:
    """Return the piece as it will look from the front, on a tinted ground.

    Parameters
    ----------
    chart : Chart
    plan : MakingPlan
        Its stitched part's lines say where the piece ends, where threads are drawn out and what a mount
        or hoop leaves open.
    stitch_px : int
        Side of a stitch in pixels.

    Returns
    -------
    pixels : ndarray of shape (H, W, 3), uint8
    """
    part = stitched_part(plan)
    scale = stitch_px / chart.fabric.cell_mm
    lines = {guide.role: guide.points for guide in reversed(part.guides)}
    seen = _seen(part)
    fringes = [(g.role, _corners(g.points)) for g in part.guides if g.role.startswith("fringe")]
    design = _corners(lines["design"]) if "design" in lines else _corners(seen)
    boxes = [_corners(seen), *(box for _, box in fringes)]
    left, top = min(b[0] for b in boxes), min(b[1] for b in boxes)
    right, bottom = max(b[2] for b in boxes), max(b[3] for b in boxes)
    around = {"hoop": 14.0, "card": 16.0, "frame": 20.0}.get(plan.kind, 9.0)
    pad = max(6, round(around * scale))
    cloth = _cloth(chart, stitch_px, scale, design, (left, top, right, bottom))
    height, width = cloth.shape[:2]
    whole = np.empty((height + 2 * pad, width + 2 * pad, 3), dtype=np.uint8)
    whole[:] = MOUNT_RGB if plan.kind in ("card", "frame") else GROUND_RGB
    outline = np.array([((x - left) * scale, (y - top) * scale) for x, y in seen])
    mask = np.zeros((height, width), dtype=np.uint8)
    cv2.fillPoly(mask, [np.round(outline * 16 - 8).astype(np.int32)], 255, lineType=cv2.LINE_AA, shift=4)
    for role, (a, b, c, d) in fringes:
        box = ((a - left) * scale, (b - top) * scale, (c - left) * scale, (d - top) * scale)
        centre = (width / 2, height / 2)
        _draw_fringe(cloth, mask, box, role == "fringe-level", chart, scale, centre)
    inside = whole[pad : pad + height, pad : pad + width]
    if plan.kind not in ("card", "frame", "hoop"):
        _cast_shadow(whole, mask, pad, max(2.0, 0.9 * scale))
    share = mask.astype(np.uint16)[:, :, None]
    inside[:] = ((cloth * share + inside * (255 - share)) // 255).astype(np.uint8)
    if plan.kind == "hoop":
        _draw_ring(whole, outline + pad, scale)
    elif plan.kind in ("card", "frame"):
        _draw_bevel(whole, outline + pad, max(1.0, 0.5 * scale))
    return whole


def _cloth(chart: Chart, stitch_px: int, scale: float, design: Box, box: Box) -> PictureArray:
    """Return the stitched cloth inside a box in mm of the cut part."""
    first_row, first_column = _extent(chart)
    origin = design[0] - first_column * chart.fabric.cell_mm, design[1] - first_row * chart.fabric.cell_mm
    end = origin[0] + chart.columns * chart.fabric.cell_mm, origin[1] + chart.rows * chart.fabric.cell_mm
    reach = max(origin[0] - box[0], origin[1] - box[1], box[2] - end[0], box[3] - end[1], 0.0)
    rim = math.ceil(reach / chart.fabric.cell_mm) + 1
    pixels = stitched_pixels(chart, stitch_px=stitch_px, rim=rim)
    x = round(rim * stitch_px - (origin[0] - box[0]) * scale)
    y = round(rim * stitch_px - (origin[1] - box[1]) * scale)
    width, height = round((box[2] - box[0]) * scale), round((box[3] - box[1]) * scale)
    return np.ascontiguousarray(pixels[y : y + height, x : x + width])


def _draw_fringe(
    cloth: PictureArray,
    mask: npt.NDArray[np.uint8],
    box: Box,
    level: bool,
    chart: Chart,
    scale: float,
    centre: tuple[float, float],
) -> None:
    """Replace the cloth of a box by its loose threads: level or upright ones."""
    height, width = mask.shape
    x0, y0 = max(0, round(box[0])), max(0, round(box[1]))
    x1, y1 = min(width, round(box[2])), min(height, round(box[3]))
    if x1 <= x0 or y1 <= y0:
        return
    along, across = (x1 - x0, y1 - y0) if level else (y1 - y0, x1 - x0)
    per_cell = chart.fabric.over if chart.fabric.over > 1 or chart.fabric.count_per_inch > 20 else 4
    pitch = max(2.2, chart.fabric.cell_mm * scale / per_cell)
    rng = np.random.default_rng(31)
    light = np.array([linear_component(value) for value in rgb(chart.fabric.colour)])
    strip = np.zeros((across, along), dtype=np.float64)
    tone = np.ones((across, along), dtype=np.float64)
    place = np.arange(along)
    rows = np.arange(across)[:, None]
    for number in range(int(across / pitch) + 1):
        # The free end hangs a little aside; the fixed end stands in line.
        drift = rng.normal(0, 0.35 * pitch) * (place / max(1, along - 1)) ** 1.5
        wave = 0.12 * pitch * np.sin(place / (2.2 * pitch) + rng.random() * 6)
        middle = (number + 0.5) * pitch + drift + wave
        ends = along * (1 - abs(rng.normal(0, 0.035)))
        low = max(0, int(middle.min() - 2 * pitch))
        band = slice(low, min(across, int(middle.max() + 2 * pitch) + 1))
        distance = np.abs(rows[band] - middle[None, :])
        cover = np.clip(0.42 * pitch - distance + 0.5, 0, 1) * (place[None, :] < ends)
        shade = 0.72 + 0.30 * np.clip(1 - (distance / (0.5 * pitch)) ** 2, 0, 1)
        tone[band] = np.where(cover > strip[band], shade, tone[band])
        strip[band] = np.maximum(strip[band], cover)
    flipped = (box[0] + box[2]) / 2 < centre[0] if level else (box[1] + box[3]) / 2 < centre[1]
    if flipped:
        strip, tone = strip[:, ::-1], tone[:, ::-1]
    if not level:
        strip, tone = strip.T, tone.T
    cloth[y0:y1, x0:x1] = to_srgb(tone[:, :, None] * light)
    mask[y0:y1, x0:x1] = np.round(255 * strip).astype(np.uint8)


def _cast_shadow(whole: PictureArray, mask: npt.NDArray[np.uint8], pad: int, depth: float) -> None:
    """Darken the ground below and to the right of the piece."""
    spread = np.zeros(whole.shape[:2], dtype=np.uint8)
    height, width = mask.shape
    move = min(pad, max(1, round(0.5 * depth)))
    start = pad + move
    spread[start : start + height, start : start + width] = mask
    size = 2 * max(1, round(depth)) + 1
    soft = cv2.blur(cv2.blur(spread, (size, size)), (size, size)).astype(np.float64)[:, :, None] / 255
    whole[:] = np.round(whole * (1 - 0.34 * soft)).astype(np.uint8)


def _draw_ring(whole: PictureArray, outline: npt.NDArray[np.float64], scale: float) -> None:
    """Draw the wooden ring of a hoop outside its inner edge."""
    middle = outline.mean(axis=0)
    radius = float(np.hypot(*(outline - middle).T).mean())
    thick = max(4.0, 5.5 * scale)
    y, x = np.mgrid[: whole.shape[0], : whole.shape[1]].astype(np.float64)
    far = np.hypot(x - middle[0], y - middle[1])
    place = (far - radius) / thick
    cover = np.clip(np.minimum(far - radius, radius + thick - far) + 0.5, 0, 1)[:, :, None]
    turn = np.arctan2(y - middle[1], x - middle[0])
    grain = 0.05 * np.sin(42 * place + 3 * np.sin(2 * turn)) + 0.03 * np.sin(90 * turn)
    bright = 0.78 + 0.42 * np.clip(1 - (2 * place - 0.8) ** 2, 0, 1) + grain - 0.12 * np.cos(turn - 0.9)
    ring = np.clip(bright[:, :, None] * np.array(HOOP_RGB), 0, 255)
    inner = np.clip(1 - (radius - far) / (0.35 * thick), 0, 1) * (far < radius)
    whole[:] = np.round(whole * (1 - 0.35 * inner[:, :, None] ** 2)).astype(np.uint8)
    whole[:] = np.round(ring * cover + whole * (1 - cover)).astype(np.uint8)


def _draw_bevel(whole: PictureArray, outline: npt.NDArray[np.float64], thick: float) -> None:
    """Draw the cut edge of a window in a mount: dark above and left, light below and right."""
    points = np.round(outline).astype(np.int32)
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    size = max(1, round(thick))
    whole[top - size : top, left - size : right + size] = (206, 199, 184)
    whole[top - size : bottom + size, left - size : left] = (214, 207, 193)
    whole[bottom : bottom + size, left - size : right + size] = (255, 255, 255)
    whole[top - size : bottom + size, right : right + size] = (252, 250, 246)
    shade = np.linspace(0.80, 1.0, max(2, 3 * size))
    for i, share in enumerate(shade):
        if top + i < bottom:
            whole[top + i, left:right] = np.round(whole[top + i, left:right] * share).astype(np.uint8)
        if left + i < right:
            whole[top:bottom, left + i] = np.round(whole[top:bottom, left + i] * share).astype(np.uint8)
