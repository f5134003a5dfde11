"""First guess of the grid: two directions and a pitch, from the spectrum of small windows.

1. The picture is halved again and again; windows of 256 pixels are cut from each size. Somewhere among them the
   squares are 7 to 40 pixels wide.
2. Only thin dark ridges are kept (a stroke is darker than both its sides), so that filled squares and shadows
   say nothing.
3. Parallel lines give a row of sharp peaks in the Fourier spectrum, at right angles to them. Pairs of peaks at
   nearly a right angle and nearly the same distance are candidates, with their halves, as a first harmonic can
   be weaker than the second.
4. Dense crosses look like a grid turned by 45 degrees, bold lines like a coarser one. So several candidates go
   on to be tried on the picture itself (see `grow`), which decides.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from converter.squares.density import FloatArray

WINDOW = 256
_INKY = 0.45
"""Density above paper, as part of the darkest marks', from which there is ink."""
MIN_PITCH, MAX_PITCH = 6.5, 42.0


@dataclass(frozen=True)
class Seed:
    """A lattice near one point of the picture; lengths in pixels of the picture handed in."""

    centre: tuple[float, float]
    """(row, col) of a crossing."""
    down: tuple[float, float]
    """Step (row, col) to the next row of squares."""
    right: tuple[float, float]
    """Step (row, col) to the next column."""
    score: float
    reach: float = 0.0
    """How far from the centre the window went that it was seen in."""

    @property
    def pitch(self) -> float:
        """Mean side of a square."""
        return float((np.hypot(*self.down) + np.hypot(*self.right)) / 2)


def ridges(gray: FloatArray, hide_ink: bool = False) -> FloatArray:
    """Return how much darker each pixel is than its surroundings on both sides, evened out over the picture.

    With ``hide_ink`` nothing is seen where the picture is nearly as dark as its darkest parts: rows of marks may show
    more than the printed lines do.
    """
    base = cv2.GaussianBlur(gray, (0, 0), 0.8)
    ridge = base - cv2.morphologyEx(base, cv2.MORPH_OPEN, np.ones((7, 7), np.uint8))
    if hide_ink:
        above = base - cv2.blur(cv2.erode(base, np.ones((31, 31), np.uint8)), (31, 31))
        ink = (above > _INKY * float(np.quantile(above[::3, ::3], 0.97))).astype(np.uint8)
        ridge[cv2.dilate(ink, np.ones((5, 5), np.uint8)) > 0] = 0
    local = cv2.blur(ridge, (41, 41)) + np.float32(0.01)
    return np.asarray(np.minimum(ridge / local, 4.0), dtype=np.float32)


def _windows(shape: tuple[int, int], most: int) -> list[tuple[int, int]]:
    counts = [max(1, min(most, int(np.ceil(side / (WINDOW * 0.7))))) for side in shape]
    starts = [np.linspace(0, max(0, side - WINDOW), n).astype(int) for side, n in zip(shape, counts, strict=True)]
    return [(int(r), int(c)) for r in starts[0] for c in starts[1]]


_HANN = np.outer(np.hanning(WINDOW), np.hanning(WINDOW)).astype(np.float32)
_PADDED = WINDOW * 2


def _spectrum(tile: FloatArray) -> npt.NDArray[np.complex64]:
    page = np.zeros((_PADDED, _PADDED), np.float32)
    part = tile - tile.mean()
    page[: tile.shape[0], : tile.shape[1]] = part * _HANN[: tile.shape[0], : tile.shape[1]]
    return np.asarray(np.fft.rfft2(page), dtype=np.complex64)


def _peaks(power: FloatArray, count: int) -> list[tuple[float, float, float]]:
    """Return (row frequency, col frequency, height) of the strongest peaks, frequencies in cycles a pixel."""
    rows = np.fft.fftfreq(_PADDED)[:, None]
    cols = np.fft.rfftfreq(_PADDED)[None, :]
    radius = np.hypot(rows, cols)
    band = (radius > 1 / MAX_PITCH) & (radius < 1 / (MIN_PITCH / 2))
    tallest = cv2.dilate(power, np.ones((7, 7), np.uint8))
    at = np.argwhere(band & (power >= tallest) & (power > 0))
    if len(at) == 0:
        return []
    heights = power[at[:, 0], at[:, 1]]
    found = []
    for k in np.argsort(-heights)[:count]:
        r, c = int(at[k, 0]), int(at[k, 1])
        fine = [float(r), float(c)]
        for axis, (a, b) in enumerate(
            (((r - 1) % _PADDED, (r + 1) % _PADDED), (max(c - 1, 0), min(c + 1, power.shape[1] - 1)))
        ):
            low = power[a, c] if axis == 0 else power[r, a]
            high = power[b, c] if axis == 0 else power[r, b]
            bend = low + high - 2 * power[r, c]
            if bend < 0:
                fine[axis] += float(np.clip(0.5 * (low - high) / bend, -0.5, 0.5))
        fr = fine[0] / _PADDED
        found.append((fr - 1 if fr > 0.5 else fr, fine[1] / _PADDED, float(heights[k])))
    return found


def _height(power: FloatArray, f: npt.NDArray[np.float64]) -> float:
    if f[1] < 0:
        f = -f
    r, c = round(f[0] * _PADDED), round(f[1] * _PADDED)
    if abs(r) >= _PADDED // 2 - 2 or c >= power.shape[1] - 2:
        return 0.0
    rs = [(r + k) % _PADDED for k in (-1, 0, 1)]
    return float(power[rs, max(0, c - 1) : c + 2].max())


def _count(spectrum: npt.NDArray[np.complex64], f: npt.NDArray[np.float64], at: npt.NDArray[np.float64]) -> float:
    """Return how many wavelengths (with the phase) a point of the window lies along one wave."""
    sign = 1.0
    if f[1] < 0:
        f, sign = -f, -1.0
    row, col = round(f[0] * _PADDED), min(round(f[1] * _PADDED), spectrum.shape[1] - 1)
    phase = float(np.angle(spectrum[row % _PADDED, col])) / (2 * np.pi)
    return sign * (float(row * at[0] + col * at[1]) / _PADDED + phase)


def _seed_at(
    spectrum: npt.NDArray[np.complex64],
    fv: npt.NDArray[np.float64],
    fu: npt.NDArray[np.float64],
    corner: tuple[int, int],
    score: float,
) -> Seed | None:
    if abs(fv[0]) < abs(fv[1]):
        fv, fu = fu, fv
    if fv[0] < 0:
        fv = -fv
    if fu[1] < 0:
        fu = -fu
    waves = np.array([fv, fu])
    if abs(np.linalg.det(waves)) < 1e-5:
        return None
    steps = np.linalg.inv(waves)  # columns: step of one row, of one column
    middle = np.array([WINDOW / 2, WINDOW / 2])
    # A line lies where the count is whole: ridges are positive at their middle.
    count = np.array([_count(spectrum, fv, middle), _count(spectrum, fu, middle)])
    at = middle - steps @ (count - np.round(count))
    return Seed(
        (float(at[0] + corner[0]), float(at[1] + corner[1])),
        (float(steps[0, 0]), float(steps[1, 0])),
        (float(steps[0, 1]), float(steps[1, 1])),
        score,
        WINDOW / 2,
    )


def _ridge_tile(level: FloatArray, corner: tuple[int, int], hide_ink: bool) -> FloatArray:
    """Return the ridges of one window; a rim is taken along and cut off again."""
    rim = 24
    top, left = max(0, corner[0] - rim), max(0, corner[1] - rim)
    ridge = ridges(level[top : corner[0] + WINDOW + rim, left : corner[1] + WINDOW + rim], hide_ink)
    row, col = corner[0] - top, corner[1] - left
    return ridge[row : row + WINDOW, col : col + WINDOW]


def find_seeds(gray: FloatArray, most_windows: int = 4, keep: int = 14, hide_ink: bool = False) -> list[Seed]:
    """Return candidate lattices, most promising first.

    Parameters
    ----------
    gray : ndarray of shape (H, W), float32
        Density in the mix of channels where lines show best.
    most_windows : int
        Windows along one side at each size.
    keep : int
        Candidates returned.
    hide_ink : bool
        Look between the marks only.

    Returns
    -------
    seeds : list of Seed
        In pixels of ``gray``.
    """
    seeds: list[Seed] = []
    level, scale = gray, 1.0
    while min(level.shape) >= 80:
        for corner in _windows((level.shape[0], level.shape[1]), most_windows):
            tile = _ridge_tile(level, corner, hide_ink)
            if float(tile.std()) < 1e-3:
                continue
            seeds += [scaled(s, scale) for s in _candidates(tile, corner)]
        if max(level.shape) < 360:
            break
        half = (level.shape[1] // 2, level.shape[0] // 2)
        level = np.asarray(cv2.resize(level, half, interpolation=cv2.INTER_AREA), dtype=np.float32)
        scale *= 2
    seeds += [_coarser(s) for s in seeds]
    seeds.sort(key=lambda s: -s.score)
    return _different(seeds, keep)


def _coarser(seed: Seed) -> Seed:
    """Return the lattice of twice the pitch: rows of crosses can look like lines halfway between the true ones."""
    down, right = np.array(seed.down) * 2, np.array(seed.right) * 2
    return Seed(
        seed.centre, (float(down[0]), float(down[1])), (float(right[0]), float(right[1])), seed.score * 0.3, seed.reach
    )


def diagonal(seed: Seed) -> Seed:
    """Return the lattice turned by 45 degrees in which crosses, one a square, would look like this one."""
    down, right = np.array(seed.down), np.array(seed.right)
    one, other = down + right, right - down
    if abs(one[0]) < abs(other[0]):
        one, other = other, one
    one, other = one * np.sign(one[0]), other * np.sign(other[1])
    return Seed(
        seed.centre, (float(one[0]), float(one[1])), (float(other[0]), float(other[1])), seed.score * 0.3, seed.reach
    )


def scaled(seed: Seed, scale: float) -> Seed:
    """Return the seed in the pixels of a picture ``scale`` times as large."""

    def times(p: tuple[float, float]) -> tuple[float, float]:
        return p[0] * scale, p[1] * scale

    at = ((seed.centre[0] + 0.5) * scale - 0.5, (seed.centre[1] + 0.5) * scale - 0.5)
    return Seed(at, times(seed.down), times(seed.right), seed.score, seed.reach * scale)


def _candidates(tile: FloatArray, corner: tuple[int, int]) -> list[Seed]:
    spectrum = _spectrum(tile)
    power = np.abs(spectrum).astype(np.float32)
    noise = float(np.median(power)) + 1e-9
    peaks = _peaks(power, 14)
    waves = [np.array(p[:2]) for p in peaks] + [np.array(p[:2]) / 2 for p in peaks[:6]]
    found: list[Seed] = []
    for a in range(len(waves)):
        for b in range(a):
            fa, fb = waves[a], waves[b]
            la, lb = float(np.hypot(*fa)), float(np.hypot(*fb))
            if not 0.66 < la / lb < 1.5 or not min(la, lb) > 1 / MAX_PITCH or max(la, lb) > 1 / MIN_PITCH:
                continue
            if abs(float(fa @ fb)) / (la * lb) > 0.35:
                continue
            weights = (1.0, 0.8, 0.6)
            ha = sum(w * _height(power, fa * k) for k, w in zip((1, 2, 3), weights, strict=True))
            hb = sum(w * _height(power, fb * k) for k, w in zip((1, 2, 3), weights, strict=True))
            score = min(ha, hb) / noise
            seed = _seed_at(spectrum, fa, fb, corner, score)
            if seed is not None:
                found.append(seed)
    found.sort(key=lambda s: -s.score)
    return _different(found, 5)


def _different(seeds: list[Seed], keep: int) -> list[Seed]:
    """Drop candidates that repeat a better one: same directions and pitch, wherever they were seen."""
    kept: list[Seed] = []
    for seed in seeds:
        same = 0
        for other in kept:
            apart = np.hypot(seed.down[0] - other.down[0], seed.down[1] - other.down[1])
            apart += np.hypot(seed.right[0] - other.right[0], seed.right[1] - other.right[1])
            same += bool(apart < 0.16 * other.pitch)
        if same < 2:
            kept.append(seed)
        if len(kept) >= keep:
            break
    return kept
