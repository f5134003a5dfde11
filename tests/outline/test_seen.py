"""Lines that the eye confirms, and those that a threshold cuts through even runs of tone."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from converter import chart_from_image, suggest_lines
from converter.outline.frame import StitchFrame
from converter.outline.graph import Curve, CurveNetwork
from converter.outline.network import _is_edge
from converter.outline.seen import SHORT, drop_unseen, is_step, keep_parts
from converter.outline.simplify import curve_length

SCALE = 8
SIDE = 40


def upright(column: float, first: float = 4.0, last: float = 36.0) -> Curve:
    """A line down a column, points a tenth of a stitch apart."""
    rows = np.linspace(first, last, round((last - first) * 10) + 1)
    return Curve(np.stack([rows, np.full_like(rows, column)], axis=1), 0, 1)


def image(*tones: float) -> np.ndarray:
    """A picture whose tone goes through the values from left to right at even distances."""
    places = np.linspace(0, SIDE, len(tones))
    across = np.interp((np.arange(SIDE * SCALE) + 0.5) / SCALE, places, tones)
    return np.tile(across.astype(np.float32), (SIDE * SCALE, 1))


def step(left: float, right: float, column: float = 20.0) -> np.ndarray:
    at = (np.arange(SIDE * SCALE) + 0.5) / SCALE
    return np.tile(np.where(at < column, left, right).astype(np.float32), (SIDE * SCALE, 1))


def hairline(tone: float, width: float = 1.0) -> np.ndarray:
    at = (np.arange(SIDE * SCALE) + 0.5) / SCALE
    return np.tile(np.where(abs(at - 20.0) < width / 2, tone, 1.0).astype(np.float32), (SIDE * SCALE, 1))


def frame(gray: np.ndarray, inked: np.ndarray | None) -> StitchFrame:
    return StitchFrame(np.repeat(gray[:, :, None], 3, axis=2), SCALE, (SIDE, SIDE), np.ones_like(gray), inked)


BARE = np.zeros((SIDE * SCALE, SIDE * SCALE), dtype=bool)


def test_a_step_is_one_and_an_even_run_is_none() -> None:
    line = upright(20.0)
    for left, right in ((0.9, 0.6), (0.6, 0.9)):
        assert is_step(line, step(left, right)[:, :, None], SCALE, 0.05).all()
    assert not is_step(line, image(1.0, 0.2)[:, :, None], SCALE).any()
    # A kink, where an even run ends, is none either.
    assert not is_step(line, image(1.0, 0.2, 0.2)[:, :, None], SCALE).any()
    assert not is_step(line, step(0.62, 0.6)[:, :, None], SCALE, 0.05).any()


def test_a_step_of_hue_counts_as_one_of_tone() -> None:
    at = (np.arange(SIDE * SCALE) + 0.5) / SCALE
    hue = np.zeros((SIDE * SCALE, SIDE * SCALE, 2), dtype=np.float32)
    hue[:, at < 20] = (60, -20)
    assert is_step(upright(20.0), hue, SCALE).all()
    assert not is_step(upright(20.0), np.cumsum(np.ones_like(hue), axis=1), SCALE).any()


@pytest.mark.parametrize(
    ("gray", "seen"),
    [
        (image(1.0, 0.2, 0.2), False),
        (image(0.6, 0.6), False),
        (step(0.9, 0.6), True),
        (step(0.6, 0.9), True),
        (hairline(0.8), True),
        # Darker than one side only: the edge of a shade, which is too soft for a line.
        (image(1.0, 0.9, 0.8, 0.7, 0.7, 0.7, 0.7), False),
    ],
    ids=["kink", "flat", "step down", "step up", "hairline", "shade"],
)
def test_a_stroke_on_bare_paper_needs_the_eye(gray, seen) -> None:
    network = CurveNetwork([np.array([4.0, 20.0]), np.array([36.0, 20.0])], [upright(20.0)])
    found = drop_unseen(network, frame(gray, BARE))
    assert bool(found.curves) == seen
    # Where ink is known, or nothing is known of it, the line stands.
    assert drop_unseen(network, frame(gray, ~BARE)).curves == network.curves
    assert drop_unseen(network, frame(gray, None)) is network


def test_edges_of_areas_stand() -> None:
    area = Curve(upright(20.0).points, 0, 1, solid=True)
    network = CurveNetwork([np.array([4.0, 20.0]), np.array([36.0, 20.0])], [area])
    assert drop_unseen(network, frame(image(0.6, 0.6), BARE)).curves == [area]


def test_parts_of_a_line_are_kept_with_its_own_ends() -> None:
    line = upright(20.0)
    network = CurveNetwork([line.points[0], line.points[-1]], [])
    kept = np.ones(len(line.points), dtype=bool)
    kept[150:170] = False
    parts = keep_parts(line, kept, network)
    assert [(part.start, part.end) for part in parts] == [(0, 2), (3, 1)]
    assert all(np.array_equal(network.nodes[part.end], part.points[-1]) for part in parts)
    assert sum(len(part.points) for part in parts) == kept.sum()
    kept[: 320 - round(SHORT * 10) + 2] = False
    assert keep_parts(line, kept, network) == []


def test_a_part_of_a_loop_may_run_over_its_seam() -> None:
    turn = np.linspace(0, 2 * np.pi, 401)
    ring = Curve(np.stack([20 + 8 * np.sin(turn), 20 + 8 * np.cos(turn)], axis=1))
    kept = np.ones(401, dtype=bool)
    kept[180:220] = False
    (part,) = keep_parts(ring, kept, CurveNetwork())
    assert curve_length(part.points) == pytest.approx(16 * np.pi * 0.9, rel=0.01)
    assert not part.closed


def test_a_run_is_an_edge_if_most_of_it_is() -> None:
    """A short stroke at the beginning of an outline does not make a stroke of the outline."""
    link = Curve(upright(20.0, 4.0, 6.0).points, 0, 1)
    rim = Curve(upright(20.0, 6.0, 36.0).points, 1, 0, solid=True)
    both = CurveNetwork([link.points[0], rim.points[0]], [link, rim])
    assert _is_edge(SimpleNamespace(members=[0, 1]), both)
    assert not _is_edge(SimpleNamespace(members=[0]), both)


def shaded(radius: float = 60.0) -> np.ndarray:
    """Four fields between dark lines; one of them is shaded from white in its middle to red."""
    y, x = np.mgrid[:480, :480].astype(np.float64)
    picture = np.full((480, 480, 3), 255, dtype=np.uint8)
    share = np.clip(np.hypot(y - 140, x - 140) / radius, 0, 1)
    red = 255 - share[:, :, None] * np.array([0.0, 255.0, 255.0])
    field = (abs(y - 140) < 100) & (abs(x - 140) < 100)
    picture[field] = np.rint(red).astype(np.uint8)[field]
    for at in (40, 240, 440):
        picture[at - 4 : at + 4, 36:444] = picture[36:444, at - 4 : at + 4] = 20
    return picture


def test_a_shaded_field_gets_no_lines_of_its_own() -> None:
    chart = chart_from_image(shaded(), 60)
    assert chart.cells.any()
    assert not len(chart.lines)


def test_a_field_of_another_colour_keeps_its_edge() -> None:
    """The same field, evenly red up to its rim, on yellow about as bright in print."""
    y, x = np.mgrid[:480, :480].astype(np.float64)
    picture = np.full((480, 480, 3), (0, 170, 120), dtype=np.uint8)
    picture[np.hypot(y - 240, x - 240) < 150] = (235, 80, 110)
    lines = suggest_lines(picture, 60, kind="line", deskew=False)
    away = np.hypot(*(lines.mean(axis=1) - 30).T)
    assert len(lines) > 30
    assert (abs(away - 150 / 8) < 1).mean() > 0.95
