"""Drawings on a sheet of paper on a table, photographed from nearly above: seeded, with the sheet's corners known."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

DRAWINGS = Path(__file__).resolve().parents[2] / "fixtures" / "pictures"
GROUNDS = ("boards", "oak", "slate", "gray cloth", "white table")
SHEET = (700, 500)
"""Height and width of the sheet, pixels, before it is laid down."""


@dataclass(frozen=True, eq=False)
class SheetPhoto:
    picture: npt.NDArray[np.uint8]
    """(H, W, 3) RGB"""
    corners: npt.NDArray[np.float64]
    """(4, 2) (row, col): top left, top right, bottom right, bottom left."""
    drawing: npt.NDArray[np.uint8]
    """(h, w): what is drawn on the sheet."""


def photograph(
    seed: int, name: str = "heron", ground: str = "boards", cut: bool = False, share: float = 0.75
) -> SheetPhoto:
    """Return a photo of a drawing on a sheet.

    Parameters
    ----------
    seed : int
        Of tilt, view, light and noise.
    name : str
        Of a picture of the fixtures.
    ground : str
        One of `GROUNDS`.
    cut : bool
        The sheet runs out of the picture at its left side.
    share : float
        Height of the sheet, of the picture's.
    """
    rng = np.random.default_rng(seed)
    drawing = cv2.imread(str(DRAWINGS / f"{name}.png"), cv2.IMREAD_GRAYSCALE)
    scale = 0.72 * min(SHEET[0] / drawing.shape[0], SHEET[1] / drawing.shape[1])
    drawing = cv2.resize(drawing, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    paper = np.full((*SHEET, 3), (244, 242, 236), dtype=np.float64)
    top, left = ((side - size) // 2 for side, size in zip(SHEET, drawing.shape, strict=True))
    paper[top : top + drawing.shape[0], left : left + drawing.shape[1]] *= (0.12 + 0.88 * drawing / 255)[:, :, None]
    height, width = 1000, 1200
    flat = np.array([[0, 0], [SHEET[1], 0], [SHEET[1], SHEET[0]], [0, SHEET[0]]], dtype=np.float64)
    angle = np.radians(rng.uniform(-9, 9))
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    lying = (flat - np.array(SHEET[::-1]) / 2) * share * height / SHEET[0]
    # The camera stands a little too near one side.
    lying[:2, 0] *= 1 - rng.uniform(0, 0.08)
    middle = np.array([0.16 if cut else 0.5, 0.5]) * [width, height]
    corners = lying @ turn.T + middle + rng.uniform(-8, 8, (1, 2))
    view = cv2.getPerspectiveTransform(flat.astype(np.float32), corners.astype(np.float32))
    seen = cv2.warpPerspective(paper, view, (width, height), flags=cv2.INTER_AREA)
    there = cv2.warpPerspective(np.ones(SHEET), view, (width, height))
    shadow = cv2.GaussianBlur(np.roll(there, (8, 6), (0, 1)), (0, 0), 8)
    table = _ground(rng, ground, height, width) * (1 - 0.35 * shadow[:, :, None])
    edge = cv2.GaussianBlur(there, (0, 0), 0.8)[:, :, None]
    down, across = np.mgrid[0:height, 0:width]
    lamp = rng.uniform(0.2, 0.8, 2) * [height, width]
    light = 0.7 + 0.3 * np.exp(-1.5 * (((down - lamp[0]) / height) ** 2 + ((across - lamp[1]) / width) ** 2))
    picture = (table * (1 - edge) + seen * edge) * light[:, :, None] + rng.normal(0, 3, (height, width, 1))
    return SheetPhoto(np.clip(picture, 0, 255).astype(np.uint8), corners[:, ::-1], drawing)


def _ground(rng: np.random.Generator, name: str, height: int, width: int) -> npt.NDArray[Any]:
    down, across = np.mgrid[0:height, 0:width]
    if name in ("boards", "oak"):
        grain = cv2.GaussianBlur(rng.normal(0, 60, (height, width)), (0, 0), sigmaX=20, sigmaY=1)
        wood = 0.6 + 0.14 * np.sin(down / 22 + 2 * np.sin(across / 250)) + grain / 60
        colour = (190, 120, 75) if name == "boards" else (225, 190, 145)
        return np.clip(wood if name == "boards" else 0.55 + 0.5 * wood, 0, 1)[:, :, None] * np.array(colour)
    if name == "gray cloth":
        weave = rng.normal(0, 9, (height, width)) + 8 * np.sin(down / 2) * np.sin(across / 2)
        return (118 + weave)[:, :, None] * np.array([1.0, 0.97, 0.93])
    level = {"slate": 48, "white table": 200}[name]
    return np.full((height, width, 3), level, dtype=np.float64)


def overlap(first: npt.NDArray[Any], second: npt.NDArray[Any], shape: tuple[int, int]) -> float:
    """Return the common part of two quadrilaterals, of both together (Jaccard)."""
    one, other = (
        cv2.fillConvexPoly(np.zeros(shape, np.uint8), np.rint(corners[:, ::-1]).astype(np.int32), 1) > 0
        for corners in (first, second)
    )
    return float((one & other).sum() / (one | other).sum())


def stitch_agreement(first: npt.NDArray[np.bool_], second: npt.NDArray[np.bool_]) -> float:
    """Return the smaller share of the stitches of either chart that have one of the other within one square.

    The charts are shifted against each other by up to two stitches.
    """
    return max(min(_held(first, second, shift), _held(second, first, (-shift[0], -shift[1]))) for shift in _SHIFTS)


_SHIFTS = [(down, across) for down in range(-2, 3) for across in range(-2, 3)]


def _held(one: npt.NDArray[np.bool_], other: npt.NDArray[np.bool_], shift: tuple[int, int]) -> float:
    rows, cols = (max(a, b) + 4 for a, b in zip(one.shape, other.shape, strict=True))
    planes = np.zeros((2, rows, cols), np.uint8)
    planes[0, 2 : 2 + one.shape[0], 2 : 2 + one.shape[1]] = one
    top, left = 2 + shift[0], 2 + shift[1]
    planes[1, top : top + other.shape[0], left : left + other.shape[1]] = other
    near = cv2.dilate(planes[1], np.ones((3, 3), np.uint8)) > 0
    stitched = planes[0] > 0
    return float(near[stitched].mean()) if stitched.any() else 0.0
