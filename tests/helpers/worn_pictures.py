"""Clean drawings made to look as if they came off a table: photographed by phone, or drawn in pencil.

Everything is seeded; the ink stays where it was, so the clean drawing remains the exact truth.
"""

from __future__ import annotations

import cv2
import numpy as np


def smooth_noise(rng, shape, cell):
    """Return noise of mean 0 and deviation 1 with features about ``cell`` pixels wide."""
    small = (max(2, round(shape[0] / cell) + 2), max(2, round(shape[1] / cell) + 2))
    field = cv2.resize(rng.standard_normal(small), (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return (field - field.mean()) / max(field.std(), 1e-9)


def table_light(rng, shape, shadow=True):
    """Return how much light falls on each pixel, 1 = full."""
    height, width = shape
    y, x = np.mgrid[0:height, 0:width] / max(shape)
    angle = rng.uniform(0, 2 * np.pi)
    ramp = np.cos(angle) * x + np.sin(angle) * y
    ramp = (ramp - ramp.min()) / (ramp.max() - ramp.min())
    light = 1 - rng.uniform(0.25, 0.55) * ramp
    light *= 1 - rng.uniform(0.05, 0.25) * ((x - 0.5) ** 2 + (y - 0.5) ** 2)
    if shadow:
        angle = rng.uniform(0, 2 * np.pi)
        side = np.cos(angle) * (x - rng.uniform(0.2, 0.8)) + np.sin(angle) * (y - rng.uniform(0.2, 0.8))
        side += 0.02 * smooth_noise(rng, shape, max(shape) / 5)
        depth, soft = rng.uniform(0.25, 0.5), rng.uniform(0.01, 0.05)
        light *= 1 - depth / (1 + np.exp(-np.clip(side / soft, -40, 40)))
    return light


def photograph(gray, seed):
    """Return a phone photo of a drawing: RGB uint8."""
    rng = np.random.default_rng(seed)
    ink = 1 - gray.astype(np.float64) / 255
    paper = np.array([rng.uniform(0.84, 0.94), rng.uniform(0.82, 0.92), rng.uniform(0.76, 0.9)])
    pen = np.array([1, 1, 1]) * rng.uniform(0.08, 0.28) + rng.uniform(0, 0.05, 3)
    light = table_light(rng, gray.shape)
    scene = (paper * (1 - ink[..., None]) + pen * ink[..., None]) * light[..., None]
    scene *= 1 + 0.01 * smooth_noise(rng, gray.shape, 3)[..., None]
    scene = cv2.GaussianBlur(scene, (0, 0), rng.uniform(0.8, 2.2) * max(gray.shape) / 1800)
    scene += rng.normal(0, rng.uniform(0.01, 0.03), scene.shape)
    seen = np.clip(scene * 255, 0, 255).astype(np.uint8)
    _, data = cv2.imencode(".jpg", seen[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(70, 92))])
    return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1].copy()


def pencil(gray, seed):
    """Return a pencil drawing on toothed paper: gray uint8."""
    rng = np.random.default_rng(seed)
    shape = gray.shape
    unit = max(shape) / 1800
    wobble = [smooth_noise(rng, shape, 14 * unit) * 0.8 * unit for _ in range(2)]
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    ink = 1 - gray.astype(np.float32) / 255
    ink = cv2.remap(ink, x + wobble[0].astype(np.float32), y + wobble[1].astype(np.float32), cv2.INTER_LINEAR)
    tooth = 0.6 * smooth_noise(rng, shape, 3.5 * unit) + 0.4 * smooth_noise(rng, shape, 7 * unit)
    press = rng.uniform(0.62, 0.85) + 0.06 * smooth_noise(rng, shape, 90 * unit)
    bare = 1 / (1 + np.exp(-(tooth - rng.uniform(1.2, 1.9)) * 4))
    grain = np.clip(press * (1 - 0.75 * bare) * (1 + 0.12 * tooth), 0, 1)
    paper = rng.uniform(0.86, 0.95) * (1 + 0.008 * tooth)
    smudge = 0.03 * np.clip(smooth_noise(rng, shape, 200 * unit), 0, 2)
    scene = (paper - smudge) * (1 - ink * grain) * table_light(rng, shape, shadow=False) ** 0.4
    scene = cv2.GaussianBlur(scene, (0, 0), 0.9 * unit) + rng.normal(0, 0.008, shape)
    return np.clip(scene * 255, 0, 255).astype(np.uint8)
