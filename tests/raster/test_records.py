"""What each step of the reduction hands on for twenty-odd pictures is as it was noted.

A note says nothing about what is right; that is told by the other tests of this folder. It tells whether anything has
changed: a constant, a limit, the order of two steps. Where a change is meant ``scripts/update_records.py`` notes anew
what the steps give, after the charts have been looked at.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from helpers.records import Notes, compare, noted
from helpers.worn_pictures import pencil, photograph

from converter.pipeline import reduce_picture
from converter.raster.axis import find_axis, find_diagonals, find_straights
from converter.raster.deskew import find_tilt
from converter.raster.dots import stamp_dots
from converter.raster.fields import find_field_edges
from converter.raster.grid import find_phase, lay_mask, lay_tone
from converter.raster.kind import edges_elsewhere, tell_kind, toning
from converter.raster.light import find_ink
from converter.raster.look import look_at
from converter.raster.midtone import find_middle_tones
from converter.raster.mirror import find_symmetry
from converter.raster.photo import cut_subject, tone_mask
from converter.raster.prepare import prepare_picture
from converter.raster.readability import judge
from converter.raster.reduction import reduce_prepared
from converter.raster.repair import mend
from converter.raster.rims import find_rims
from converter.raster.silhouette import find_silhouette
from converter.raster.strokes import draw_ink
from converter.raster.take import find_box, find_grid, take_up
from converter.raster.tone import part_colours
from converter.settings import ChartSettings

HERE = Path(__file__).resolve().parent
PICTURES = HERE.parents[1] / "fixtures" / "pictures"
RECORDS = HERE / "records.json"
STEPS = (
    prepare_picture, part_colours, tell_kind, toning, edges_elsewhere, look_at, find_ink, find_rims, find_silhouette,
    find_middle_tones, find_field_edges, find_tilt, tone_mask, cut_subject, take_up, find_box, find_symmetry, find_axis,
    find_diagonals, find_straights, find_grid, find_phase, lay_mask, lay_tone, draw_ink, stamp_dots, mend, judge,
    reduce_prepared,
)  # fmt: skip


def drawing(name: str, side: int) -> Any:
    """Return one of the drawings on a smaller copy, gray."""
    gray = cv2.imread(str(PICTURES / name), cv2.IMREAD_GRAYSCALE)
    scale = side / max(gray.shape)
    return cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)


def tilted(gray: Any, degrees: float) -> Any:
    height, width = gray.shape
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 0.9)
    return cv2.warpAffine(gray, turn, (width, height), flags=cv2.INTER_AREA, borderValue=255)


def canvas(shape: tuple[int, int], colour: tuple[int, ...]) -> Any:
    return np.full((*shape, 3), colour, dtype=np.uint8)


def pale_things() -> Any:
    """A yellow duck with an orange beak, a gray blade and a red dot, on white, as drawn on a screen."""
    made = canvas((260, 320), (255, 255, 255))
    cv2.ellipse(made, (130, 160), (80, 55), 0, 0, 360, (255, 224, 120), -1, cv2.LINE_AA)
    cv2.circle(made, (195, 95), 40, (255, 224, 120), -1, cv2.LINE_AA)
    cv2.ellipse(made, (240, 100), (26, 9), 0, 0, 360, (245, 160, 60), -1, cv2.LINE_AA)
    cv2.circle(made, (205, 85), 6, (40, 30, 30), -1, cv2.LINE_AA)
    cv2.ellipse(made, (115, 160), (38, 22), 10, 0, 360, (240, 185, 80), -1, cv2.LINE_AA)
    cv2.fillPoly(made, [np.array([[20, 30], [60, 22], [70, 110]])], (214, 218, 222), cv2.LINE_AA)
    cv2.circle(made, (285, 215), 14, (190, 30, 40), -1, cv2.LINE_AA)
    return made


def beetle() -> Any:
    """Black spots on a red back: dark on a middle tone."""
    made = canvas((240, 280), (252, 252, 250))
    cv2.ellipse(made, (140, 130), (105, 85), 0, 0, 360, (214, 60, 50), -1, cv2.LINE_AA)
    cv2.ellipse(made, (140, 50), (45, 30), 0, 0, 360, (30, 24, 26), -1, cv2.LINE_AA)
    cv2.line(made, (140, 60), (140, 214), (30, 24, 26), 7, cv2.LINE_AA)
    for at in ((90, 110), (190, 110), (85, 165), (195, 165)):
        cv2.circle(made, at, 16, (30, 24, 26), -1, cv2.LINE_AA)
    return made


def still_life(ground: int = 150, seed: int = 11) -> Any:
    """Two bowls and a jug with soft light on them before a wall: all tones."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:240, 0:300].astype(np.float32)
    made = np.stack([ground + 40 * x / 300, ground - 10 + 30 * y / 240, ground - 30 + 0 * x], axis=2)
    for row, col, size, base in (
        (160, 90, 55, (150, 70, 40)),
        (150, 215, 48, (60, 90, 130)),
        (95, 150, 40, (80, 60, 50)),
    ):
        away = np.hypot(y - row, x - col) / size
        shade = np.clip(1.5 - np.hypot(y - row + size / 2, x - col + size / 2) / size, 0.15, 1.4)
        inside = np.clip((1 - away) * size / 2, 0, 1)[..., None]
        made = made * (1 - inside) + shade[..., None] * np.array(base) * inside
    made += rng.normal(0, 4, made.shape)
    return cv2.GaussianBlur(np.clip(made, 0, 255).astype(np.uint8), (0, 0), 0.8)


def cut_out() -> Any:
    """One shaded thing of a photograph on white paper."""
    made = canvas((220, 260), (255, 255, 255)).astype(np.float32)
    y, x = np.mgrid[0:220, 0:260].astype(np.float32)
    inside = (np.hypot((y - 110) / 80, (x - 130) / 95) < 1) & ~(np.hypot(y - 110, x - 130) < 22)
    shade = 90 + 70 * np.sin(x / 16) * np.cos(y / 21) + 0.2 * x
    made[inside] = np.stack([shade, 0.8 * shade, 0.6 * shade], axis=2)[inside]
    return cv2.GaussianBlur(np.clip(made, 0, 255).astype(np.uint8), (0, 0), 0.7)


def two_way() -> Any:
    """A badge that is the same in both mirrors and when turned by a quarter, but for a pixel or two."""
    made = np.full((241, 241), 255, dtype=np.uint8)
    cv2.circle(made, (120, 120), 95, 20, 12, cv2.LINE_AA)
    for turn in range(4):
        end = (round(120 + 60 * np.cos(turn * np.pi / 2)), round(120 + 60 * np.sin(turn * np.pi / 2)))
        cv2.line(made, (120, 120), end, 20, 9, cv2.LINE_AA)
        cv2.circle(made, end, 14, 20, -1, cv2.LINE_AA)
    made[30:32, 60:63] = 90
    return made


def hairs() -> Any:
    """Fine tips, a few slanting hairlines, dots and squares of all sizes, letters, and a half-shaded patch."""
    made = np.full((280, 340), 255, dtype=np.uint8)
    cv2.fillPoly(made, [np.array([[20, 20], [150, 34], [20, 48]])], 10, cv2.LINE_AA)
    cv2.fillPoly(made, [np.array([[20, 60], [110, 64], [20, 68]])], 10, cv2.LINE_AA)
    for k in range(6):
        if k % 2:
            cv2.line(made, (180 + 14 * k, 15), (230 + 14 * k, 75), 20, 1 + k // 2, cv2.LINE_AA)
        cv2.circle(made, (25 + 34 * k, 100), 2 + 2 * k, 10, -1, cv2.LINE_AA)
        cv2.rectangle(made, (20 + 36 * k, 130), (20 + 36 * k + 3 + 4 * k, 133 + 4 * k), 10, -1)
    cv2.putText(made, "Tea", (20, 210), cv2.FONT_HERSHEY_SIMPLEX, 1.6, 10, 4, cv2.LINE_AA)
    for k in range(6):
        cv2.line(made, (240 + 6 * k, 170), (240 + 6 * k, 220), 15, 2)
    cv2.line(made, (20, 235), (320, 235), 10, 5, cv2.LINE_AA)
    cv2.line(made, (20, 262), (320, 250), 10, 14, cv2.LINE_AA)
    cv2.circle(made, (300, 120), 34, 10, 12, cv2.LINE_AA)
    return made


def marks(shape: tuple[int, ...], top: float, left: float, bottom: float, right: float) -> Any:
    out = np.zeros(shape[:2], dtype=bool)
    rows, cols = shape[:2]
    out[int(top * rows) : int(bottom * rows), int(left * cols) : int(right * cols)] = True
    return out


def made_of(picture: Any, columns: int | None = 30, **options: Any) -> Callable[[], object]:
    return lambda: reduce_picture(picture, ChartSettings.from_options(columns=columns, **options))


def cases() -> dict[str, Callable[[], Callable[[], object]]]:
    """Return what is made for each note, by name."""
    rgb = lambda gray: cv2.cvtColor(gray, cv2.COLOR_GRAY2RGB)  # noqa: E731
    return {
        "heron": lambda: made_of(drawing("heron.png", 300), 26),
        "heron, stamp": lambda: made_of(drawing("heron.png", 300), 9),
        "sprig by rows": lambda: made_of(drawing("sprig.png", 280), None, rows=44, mirror="none"),
        "fern, fine": lambda: made_of(drawing("fern.png", 280), 44, detail=90, tidy=10),
        "fern, simple": lambda: made_of(drawing("fern.png", 280), 34, detail=10, tidy=75),
        "teapot, photo": lambda: made_of(photograph(drawing("teapot.png", 420), 5), 36),
        "snail, photo": lambda: made_of(photograph(drawing("snail.png", 420), 8), 28, dark=-25),
        "snail, pencil": lambda: made_of(pencil(drawing("snail.png", 500), 3), 36),
        "sprig, pencil": lambda: made_of(pencil(drawing("sprig.png", 460), 4), 40, dark=20),
        "key, askew": lambda: made_of(tilted(drawing("key.png", 320), 3.2), 20),
        "boat, light on dark": lambda: made_of(255 - drawing("boat.png", 280), 44),
        "lantern, tiny": lambda: made_of(drawing("lantern.png", 70), 50),
        "lantern in half": lambda: made_of(drawing("lantern.png", 260), 30, mirror="upright"),
        "boat in half": lambda: made_of(drawing("boat.png", 260), 30, mirror="both", rows=32),
        "badge": lambda: made_of(two_way(), 27),
        "hairs": lambda: made_of(hairs(), 50, deskew=False),
        "hairs, small": lambda: made_of(hairs(), 34, turn=90, tidy=60),
        "marked": lambda: made_of(
            drawing("teapot.png", 280),
            30,
            keep=marks((256, 280), 0.3, 0.3, 0.8, 0.7),
            clear=marks((256, 280), 0.0, 0.7, 0.4, 1.0),
            detail=20,
            trim=False,
        ),
        "pale things": lambda: made_of(pale_things(), 40),
        "pale things, photo": lambda: made_of(
            cv2.GaussianBlur(cv2.add(pale_things(), (-20, -25, -35, 0)), (0, 0), 1.0), 30
        ),
        "beetle": lambda: made_of(beetle(), 36),
        "still life": lambda: made_of(still_life(), 40),
        "still life, shown": lambda: made_of(still_life(), 30, kind="photo", subject=(10, 35, 55, 98), tidy=30),
        "dark still life": lambda: made_of(still_life(30), 34, kind="photo", dark=15, detail=80),
        "cut out": lambda: made_of(cut_out(), 34),
        "red on green": lambda: made_of(
            np.where(rgb(drawing("key.png", 200)) < 128, (200, 60, 60), (60, 131, 60)).astype(np.uint8), 12
        ),
    }  # fmt: skip


def note(name: str) -> Notes:
    return noted(STEPS, cases()[name]())


@pytest.mark.parametrize("name", cases())
def test_every_step_hands_on_what_was_noted(name: str) -> None:
    compare(RECORDS, name, note(name))
