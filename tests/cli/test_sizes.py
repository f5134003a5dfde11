"""``onecolour sizes`` from the outside, and the largest size within limits on real pictures."""

from __future__ import annotations

import io
import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image
from pypdf import PdfReader

from converter.cli.main import group
from converter.jobs.requests import chart_request
from converter.jobs.sizes import SIZES_SUFFIXES, SizeMeasure, fit_width, largest_size, spread_widths


def run(*words):
    return CliRunner().invoke(group, [str(w) for w in words])


def drawing_of(width=420, height=300):
    """A gate with a path and a sun: strokes, solid parts and a ring."""
    pixels = np.full((height, width, 3), 255, dtype=np.uint8)
    for i in range(6):
        x = 60 + i * 46
        cv2.rectangle(pixels, (x, 90), (x + 16, 240), (0, 0, 0), -1)
    cv2.line(pixels, (40, 130), (350, 130), (0, 0, 0), 12)
    cv2.line(pixels, (40, 200), (350, 200), (0, 0, 0), 12)
    cv2.line(pixels, (60, 195), (300, 135), (0, 0, 0), 8)
    cv2.circle(pixels, (375, 45), 28, (0, 0, 0), 7)
    cv2.ellipse(pixels, (200, 280), (170, 20), 0, 180, 360, (0, 0, 0), 6)
    return pixels


def small_drawing():
    return cv2.resize(drawing_of(), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)


@pytest.fixture(scope="module")
def picture(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("picture") / "gate.png"
    Image.fromarray(drawing_of()).save(path)
    return path


@pytest.fixture(scope="module")
def made(picture, tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    result = run("sizes", picture, "--widths", "14,20,28", "--fabric", "16", "--pace", "80", "--out", folder, "--json")
    assert result.exit_code == 0, result.output
    return folder, json.loads(result.stdout)


def test_files(made):
    folder, record = made
    assert sorted(p.name for p in folder.iterdir()) == ["gate-sizes.pdf", "gate-sizes.png"]
    assert sorted(Path(f).name for f in record["files"]) == ["gate-sizes.pdf", "gate-sizes.png"]
    with Image.open(folder / "gate-sizes.png") as sheet:
        assert sheet.size[0] > 1000
    text = PdfReader(io.BytesIO((folder / "gate-sizes.pdf").read_bytes())).pages[0].extract_text()
    assert "80 crosses an hour" in text
    assert "16 count" in text


def test_every_width_has_its_figures(made):
    _, record = made
    assert [size["columns"] for size in record["sizes"]] == [14, 20, 28]
    for size in record["sizes"]:
        assert size["finished_mm"] == pytest.approx([size["columns"] * 25.4 / 16, size["rows"] * 25.4 / 16], abs=0.01)
        assert 0 < size["stitches"] <= size["columns"] * size["rows"]
        assert size["thread_m"] > 0
        assert size["skeins"] >= size["skein_share"] > 0
        assert 0 < size["hours"]["low"] < size["hours"]["likely"] < size["hours"]["high"]
        assert 0 <= size["readability"] <= 100
        # At 80 crosses an hour the crosses alone take so long.
        assert size["hours"]["likely"] >= size["stitches"] / 80
    costs = [size["thread_m"] for size in record["sizes"]]
    assert costs == sorted(costs)


def test_the_smallest_good_one_is_pointed_out(made):
    _, record = made
    good = [size["columns"] for size in record["sizes"] if size["good"]]
    assert record["smallest_good"] == (min(good) if good else None)


def test_the_same_picture_charts_alike(made, picture, tmp_path):
    """A width on the sheet is what ``onecolour chart`` makes of it."""
    _, record = made
    result = run("chart", picture, "--wide", 20, "--fabric", "16", "--pace", "80", "--out", tmp_path, "--json")
    report = json.loads(result.stdout)
    size = record["sizes"][1]
    assert (report["stitches"], report["backstitches"]) == (size["stitches"], size["backstitches"])
    assert report["hours"]["likely"] == pytest.approx(size["hours"]["likely"], abs=0.06)


def test_usual_spread():
    assert spread_widths(1.0) == (30, 40, 50, 60, 80, 100)
    for aspect in (0.1, 0.5, 1.0, 2.0, 10.0):
        widths = spread_widths(aspect)
        assert list(widths) == sorted(set(widths))
        areas = [width * width * aspect for width in widths]
        assert areas[0] == pytest.approx(900, rel=0.15)
    assert spread_widths(1.0, most=62)[-1] == 62
    assert max(spread_widths(1.0, most=8)) == 8


def test_limits_cut_the_spread_off(picture, tmp_path):
    result = run("sizes", picture, "--fit", "1.5x1.5in", "--lines", "none", "--out", tmp_path, "--json")
    sizes = json.loads(result.stdout)["sizes"]
    assert len(sizes) >= 3
    assert all(max(size["finished_mm"]) <= 38.1 + 1e-6 for size in sizes)
    assert sizes[-1]["columns"] == 21


def test_refusals(picture, tmp_path):
    assert run("sizes", picture, "--widths", "20,many", "--out", tmp_path).exit_code == 2
    assert run("sizes", picture, "--widths", "2", "--out", tmp_path).exit_code == 2
    assert run("sizes", picture, "--widths", ",".join(map(str, range(10, 50))), "--out", tmp_path).exit_code == 2
    assert run("sizes", tmp_path / "none.png", "--out", tmp_path).exit_code == 3
    assert run("sizes", picture, "--stitches", "1", "--lines", "none", "--out", tmp_path).exit_code == 4
    (tmp_path / f"gate{SIZES_SUFFIXES[0]}").write_bytes(b"mine")
    assert run("sizes", picture, "--widths", "12", "--out", tmp_path).exit_code == 5
    assert (tmp_path / f"gate{SIZES_SUFFIXES[0]}").read_bytes() == b"mine"
    assert not (tmp_path / f"gate{SIZES_SUFFIXES[1]}").exists()


# The largest size within limits, on the real reduction -------------------------------------------


@pytest.fixture(scope="module")
def measure():
    return SizeMeasure(small_drawing(), chart_request({}, {"lines": "none"}).settings)


@pytest.fixture(scope="module")
def full_scan(measure):
    return {width: measure.figures_at(width, work=False) for width in range(4, 27)}


@pytest.mark.parametrize("most", [40, 75, 110])
def test_equals_a_full_scan_of_the_picture(measure, full_scan, most):
    request = chart_request({"stitches": most, "wide": 26}, {"lines": "none"})
    wide = SizeMeasure(measure.pixels, request.settings, _reductions=dict(measure._reductions))
    budget = largest_size(wide, request)
    fitting = [width for width, figures in full_scan.items() if figures["stitches"] <= most]
    if max(fitting) == 26:
        assert budget is None
        return
    assert budget.columns == max(fitting)
    over = [width for width in full_scan if width not in fitting]
    assert budget.all_fit_below == max(width for width in fitting if width < min(over))
    assert budget.held_by[0].name == f"your limit of {most} stitches"


def test_height_decides_for_a_tall_picture(measure):
    tall = SizeMeasure(np.ascontiguousarray(measure.pixels.transpose(1, 0, 2)), measure.settings)
    request = chart_request({"fit": (1000.0, 50.0)}, {"lines": "none"})
    budget = largest_size(tall, request)
    assert budget.figures["height_mm"] <= 50.0 < budget.next_figures["height_mm"]
    assert [limit.figure for limit in budget.held_by] == ["height_mm"]


def test_hours_and_skeins_are_limits(measure):
    request = chart_request({"hours": 0.5, "skeins": 1}, {"lines": "none"})
    budget = largest_size(SizeMeasure(measure.pixels, request.settings), request)
    assert budget.figures["hours"] <= 0.5 < budget.next_figures["hours"]
    assert [limit.figure for limit in budget.held_by] == ["hours"]
    slower = chart_request({"hours": 0.5, "pace": 50.0}, {"lines": "none"})
    narrower = largest_size(SizeMeasure(measure.pixels, slower.settings, time=slower.time), slower)
    assert narrower.columns < budget.columns


def test_fit_width_changes_the_width_and_says_why(measure):
    request = chart_request({"fit": (40.0, 40.0), "fabric": (28.0, 2)}, {"lines": "none"})
    settings, notes = fit_width(measure.pixels, request.settings, request)
    assert settings.reduction.columns == 22
    assert "22 stitches across is the largest size within your limits" in notes[0]
    assert "your size of 1.57 x 1.57 in (4.0 x 4.0 cm)" in notes[0]


def test_a_width_of_her_own_is_kept_where_it_fits(measure):
    request = chart_request({"wide": 30, "fit": (200.0, 200.0)}, {"lines": "none"})
    assert fit_width(measure.pixels, request.settings, request) == (request.settings, ())
    request = chart_request({"wide": 60, "fit": (40.0, 40.0)}, {"lines": "none"})
    assert fit_width(measure.pixels, request.settings, request)[0].reduction.columns == 22


def test_a_piece_alone_never_makes_the_chart_larger(measure):
    request = chart_request({"piece": "panel"}, {"lines": "none"})
    assert fit_width(measure.pixels, request.settings, request) == (request.settings, ())
    request = chart_request({"piece": "bookmark"}, {"lines": "none"})
    settings, notes = fit_width(measure.pixels, request.settings, request)
    assert settings.reduction.columns < 60
    assert "what a bookmark usually holds" in notes[0]


def test_a_height_is_varied_where_a_height_was_asked_for(measure):
    request = chart_request({"high": 30, "fit": (500.0, 40.0)}, {"lines": "none"})
    settings, notes = fit_width(measure.pixels, request.settings, request)
    assert (settings.reduction.columns, settings.reduction.rows) == (None, 22)
    assert "22 stitches up" in notes[0]


def test_no_limits_no_change(measure):
    request = chart_request({}, {"lines": "none"})
    assert fit_width(measure.pixels, request.settings, request) == (request.settings, ())
