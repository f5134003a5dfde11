"""The stitched look is honest: right leg on top, true coverage and colours, cloth and holes seen."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from converter.draw import stitched_bytes
from converter.draw.contrast import contrast_ratio
from converter.draw.piece_look import piece_pixels, stitched_part
from converter.draw.sprites import STRAND_MM
from converter.draw.stitched import best_stitch_px, coverage, stitch_look, stitched_pixels
from converter.errors import RequestError, UsageError
from converter.estimate.making import plan_making
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread, rgb
from converter.settings import PIECES, MakingSettings

SIDE = 48


def _redness(pixels: np.ndarray) -> np.ndarray:
    return pixels[..., 0].astype(int) - pixels[..., 1:].mean(axis=-1)


def _one(**changes: object) -> np.ndarray:
    """Return the picture of one cross."""
    return stitched_pixels(Chart([[True]], **changes), stitch_px=SIDE, rim=0)  # type: ignore[arg-type]


def test_the_falling_leg_is_on_top_all_over() -> None:
    """All top arms one way (Grace Christie, Embroidery and Tapestry Weaving, fig. 79).

    Across the middle of a square the colour runs on along the top leg; the lower leg is broken by the top
    leg's shadow.
    """
    chart = Chart(np.ones((6, 6), dtype=bool), thread=Thread("#b01e28", strands=1))
    pixels = stitched_pixels(chart, stitch_px=SIDE, rim=0).astype(float).mean(axis=2)
    steps = np.linspace(-0.22, 0.22, 41) * SIDE
    for row in range(6):
        for column in range(6):
            middle_y, middle_x = (row + 0.5) * SIDE, (column + 0.5) * SIDE
            falling = pixels[(middle_y + steps).astype(int), (middle_x + steps).astype(int)]
            rising = pixels[(middle_y - steps).astype(int), (middle_x + steps).astype(int)]
            assert np.ptp(falling) < np.ptp(rising)
            assert falling.min() > rising.min()


@pytest.mark.parametrize(("count", "strands"), [(11, 2), (14, 1), (14, 2), (14, 3), (18, 2)])
def test_thread_covers_as_much_as_it_is_wide(count: int, strands: int) -> None:
    """Two bands of the strands' width across a square: the share seen agrees with the sum within a tenth."""
    pixels = _one(fabric=Fabric(count), thread=Thread("#b01e28", strands=strands))
    seen = (_redness(pixels) > 55).mean()
    chart = Chart([[True]], fabric=Fabric(count), thread=Thread("#b01e28", strands=strands))
    assert seen == pytest.approx(coverage(chart), abs=0.1)


def test_coverage_rises_with_strands_and_count() -> None:
    def share(count: float, strands: int) -> float:
        return coverage(Chart([[True]], fabric=Fabric(count), thread=Thread(strands=strands)))

    assert share(14, 1) < share(14, 2) < share(14, 3) <= 1
    assert share(11, 2) < share(14, 2) < share(18, 2) <= 1
    width = STRAND_MM / (25.4 / 14)
    # Two bands of full width to the corners would cover more; the strands draw together at the holes.
    bands = 2 * np.sqrt(2) * width - 2 * width**2
    assert 0.8 * bands < share(14, 1) < bands


def test_cloth_keeps_its_colour_and_shows_its_holes() -> None:
    for colour in ("#ffffff", "#f2ead8", "#2b3a4a"):
        pixels = stitched_pixels(Chart([[False] * 4] * 4, fabric=Fabric(14, 1, colour)), stitch_px=SIDE, rim=0)
        square = pixels[SIDE : 2 * SIDE, SIDE : 2 * SIDE].astype(float)
        mean = square[12:36, 12:36].mean(axis=(0, 1))
        assert np.abs(mean - rgb(colour)).max() < 22
        hole = pixels[2 * SIDE - 2 : 2 * SIDE + 2, 2 * SIDE - 2 : 2 * SIDE + 2].mean()
        assert hole < 0.75 * square[12:36, 12:36].mean()


def test_aida_has_one_hole_a_stitch_and_linen_more() -> None:
    def dark_spots(fabric: Fabric) -> int:
        import cv2

        pixels = stitched_pixels(Chart([[False] * 6] * 6, fabric=fabric), stitch_px=SIDE, rim=0)
        inner = pixels[SIDE // 2 : -SIDE // 2, SIDE // 2 : -SIDE // 2].mean(axis=2)
        count, _ = cv2.connectedComponents((inner < 0.66 * np.median(inner)).astype(np.uint8))
        return count - 1

    assert dark_spots(Fabric(14)) == 25
    # Between the threads: every half stitch from the first half to the last, 11 by 11.
    assert dark_spots(Fabric(28, 2)) == 121


def test_thread_keeps_its_colour() -> None:
    for colour in ("#b01e28", "#1d3a6b", "#2e6b3a", "#f5f0e6"):
        pixels = _one(fabric=Fabric(18, 1, "#808080"), thread=Thread(colour, strands=3)).astype(float)
        mean = pixels[8:-8, 8:-8].reshape(-1, 3).mean(axis=0)
        assert np.abs(mean - rgb(colour)).max() < 45
        assert int(np.argmax(mean)) == int(np.argmax(rgb(colour)))


def test_backstitch_lies_on_top_of_crosses() -> None:
    chart = Chart(np.ones((3, 3), dtype=bool), [[[1, 0], [1, 3]]], thread=Thread("#b01e28"))
    bare = chart.with_(lines=np.zeros((0, 2, 2)))
    with_line = stitched_pixels(chart, stitch_px=SIDE, rim=1).astype(int)
    without = stitched_pixels(bare, stitch_px=SIDE, rim=1).astype(int)
    changed = np.abs(with_line - without).max(axis=2) > 12
    rows, columns = np.nonzero(changed)
    assert abs(rows.mean() / SIDE - 2) < 0.12
    assert columns.min() / SIDE == pytest.approx(1, abs=0.3) and columns.max() / SIDE == pytest.approx(4, abs=0.3)


def test_size_and_rim() -> None:
    chart = Chart(np.ones((5, 7), dtype=bool))
    assert stitched_pixels(chart, stitch_px=10, rim=0).shape == (50, 70, 3)
    assert stitched_pixels(chart, stitch_px=10, rim=3).shape == (110, 130, 3)
    assert np.array_equal(
        stitched_pixels(chart, stitch_px=9, rim=2), stitched_pixels(chart.with_(title="x"), stitch_px=9, rim=2)
    )


def test_png_bears_the_true_size_of_the_cloth() -> None:
    """140 stitches on 14 count are 10 in (The Cross Stitch Guild, Cross Stitch FAQs)."""
    chart = Chart(np.ones((14, 140), dtype=bool), fabric=Fabric(14))
    picture = Image.open(io.BytesIO(stitched_bytes(chart, stitch_px=10, cloth_rim=0)))
    assert picture.width / picture.info["dpi"][0] == pytest.approx(10.0, abs=0.01)


def test_bad_sizes_are_refused() -> None:
    chart = Chart(np.ones((2000, 2000), dtype=bool))
    with pytest.raises(RequestError, match="million"):
        stitched_pixels(chart, stitch_px=20)
    with pytest.raises(UsageError, match="pixels"):
        stitched_pixels(chart, stitch_px=2)
    with pytest.raises(UsageError, match="negative"):
        stitched_pixels(Chart([[True]]), stitch_px=8, rim=-1)
    assert best_stitch_px(chart) >= 6


WAYS = [(piece, "auto") for piece in PIECES]
WAYS += [("cushion", "two"), ("cushion", "wrap"), ("sachet", "bag"), ("bookmark", "folded")]


@pytest.mark.parametrize(("piece", "way"), WAYS)
def test_every_piece_is_shown_made_up(piece: str, way: str) -> None:
    rows, columns = (80, 26) if piece == "bookmark" else (40, 40)
    chart = Chart(np.ones((rows, columns), dtype=bool), [[[0, 0], [2, 2]]], title="Block")
    plan = plan_making(chart, settings=MakingSettings(piece=piece, way=way))
    pixels = piece_pixels(chart, plan, stitch_px=6)
    red = pixels[..., 0].astype(int) - pixels[..., 1] > 60
    down, across = np.nonzero(red)
    cell = 6
    assert abs((down.max() - down.min() + 1) / cell - rows) < 1
    assert abs((across.max() - across.min() + 1) / cell - columns) < 1
    corner = pixels[:3, :3].reshape(-1, 3)
    assert (corner == corner[0]).all()
    assert stitched_part(plan).material == "stitched"
    assert np.array_equal(pixels, piece_pixels(chart, plan, stitch_px=6))


def test_a_bag_is_shown_as_it_lies_flat() -> None:
    """Flat width (w + 4.5) / 2 in, height h + 5 in (Landscape (UK), 15 June 2016)."""
    chart = Chart(np.ones((42, 28), dtype=bool), fabric=Fabric(14), thread=Thread("#b01e28"))
    pixels = piece_pixels(chart, plan_making(chart, settings=MakingSettings(piece="sachet", way="bag")), stitch_px=6)
    on_ground = (np.abs(pixels.astype(int) - pixels[0, 0]).sum(axis=2) > 24) & (pixels.min(axis=2) > 200)
    rows, columns = np.nonzero(on_ground | (pixels[..., 1] < 100))
    wide, high = (np.ptp(columns) + 1) / 6 / 14, (np.ptp(rows) + 1) / 6 / 14
    assert wide == pytest.approx((2 + 4.5) / 2, abs=0.12)
    assert high == pytest.approx(3 + 5, abs=0.12)


@pytest.mark.parametrize(("piece", "way"), [("cushion", "wrap"), ("sachet", "bag"), ("bookmark", "folded")])
def test_a_folded_piece_is_shown_as_large_as_it_gets(piece: str, way: str) -> None:
    chart = Chart(np.ones((40, 40), dtype=bool), fabric=Fabric(14, 1, "#2b3a4a"), thread=Thread("#f5f0e6"))
    plan = plan_making(chart, settings=MakingSettings(piece=piece, way=way))
    side = 6
    pixels = piece_pixels(chart, plan, stitch_px=side).astype(int)
    cloth = np.abs(pixels - (0x2B, 0x3A, 0x4A)).max(axis=2) < 24
    down, across = np.nonzero(cloth)
    shown = np.array([np.ptp(across) + 1, np.ptp(down) + 1]) / side * chart.fabric.cell_mm
    assert np.abs(shown - plan.finished_mm).max() < chart.fabric.cell_mm


def test_fringe_is_as_deep_as_the_plan_says() -> None:
    """Threads drawn out up to a line half an inch in (Purdue Extension, Newton County 4-H, mini sewing 1)."""
    chart = Chart(np.ones((40, 40), dtype=bool), fabric=Fabric(14, 1, "#2b3a4a"), thread=Thread("#f5f0e6"))
    plan = plan_making(chart, "panel")
    side = 8
    pixels = piece_pixels(chart, plan, stitch_px=side)
    middle = pixels[pixels.shape[0] // 2 - 40 : pixels.shape[0] // 2 + 40].mean(axis=2)
    rough = np.abs(np.diff(middle, axis=0)).mean(axis=0)
    cloth = np.nonzero(middle.mean(axis=0) < 200)[0]
    fringe_mm = next(g for g in stitched_part(plan).guides if g.role == "fringe-level").points[2][0]
    depth = round(fringe_mm / chart.fabric.cell_mm * side)
    first = int(cloth.min())
    assert rough[first + 5 : first + depth - 5].mean() > 1.5 * rough[first + depth + 5 : first + 2 * depth - 5].mean()
    assert contrast_ratio("#2b3a4a", "#ece7dd") > 3
    assert stitch_look(chart).linen is False
