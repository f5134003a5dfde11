"""``onecolour squares``: files, options, refusals."""

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from make_squared_paper import make_photo

from converter.cli.main import group
from converter.files.chart_file import load_chart


@pytest.fixture(scope="module")
def photo():
    return make_photo(
        4, "scan", pixels=20, squares=(22, 18), marks=["solid"], ink="black", lines=False, writing=0, frame=True
    )


@pytest.fixture
def picture(photo, tmp_path):
    path = tmp_path / "photos" / "paper.png"
    path.parent.mkdir()
    Image.fromarray(photo.image).save(path)
    return path


def run(*arguments):
    return CliRunner().invoke(group, ["squares", *map(str, arguments)])


def trimmed(cells):
    rows, cols = np.flatnonzero(cells.any(1)), np.flatnonzero(cells.any(0))
    return cells[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]


def test_chart_overlay_and_drawing_are_written(picture, photo, tmp_path):
    result = run(picture, "--out", tmp_path / "out", "--name", "leaf")
    assert result.exit_code == 0, result.output
    names = {p.name for p in (tmp_path / "out").iterdir()}
    assert {"leaf.chart.json", "leaf.png", "leaf-overlay.png"} <= names
    assert np.array_equal(load_chart(tmp_path / "out" / "leaf.chart.json").cells, trimmed(photo.cells))


def test_nothing_is_replaced_unasked(picture, tmp_path):
    (tmp_path / "paper.chart.json").write_text("mine")
    result = run(picture, "--out", tmp_path)
    assert result.exit_code == 5
    assert (tmp_path / "paper.chart.json").read_text() == "mine"


def test_json_report_stands_alone(picture, photo, tmp_path):
    result = run(picture, "--out", tmp_path, "--json", "--trim", "no")
    report = json.loads(result.stdout)
    assert report["stitches"] == photo.cells.sum()
    assert report["grid"] == [22, 18]
    assert [report["columns"], report["rows"]] == [22, 18]
    assert sum(mark["count"] for mark in report["marks"]) == report["stitches"]


def test_size_and_corners_reach_the_reader(picture, photo, tmp_path):
    corners = " ".join(
        f"{photo.corners[r, c, 1]:.0f},{photo.corners[r, c, 0]:.0f}" for r, c in ((0, 0), (0, -1), (-1, -1), (-1, 0))
    )
    result = run(picture, "--out", tmp_path, "--squares", "22x18", "--corners", corners)
    assert result.exit_code == 0, result.output
    assert np.array_equal(load_chart(tmp_path / "paper.chart.json").cells, photo.cells)


@pytest.mark.parametrize(
    "wrong", [("--squares", "22"), ("--squares", "0x5"), ("--corners", "1,2 3,4"), ("--only", "x")]
)
def test_wrong_use(picture, tmp_path, wrong):
    assert run(picture, "--out", tmp_path, *wrong).exit_code == 2


def test_mark_that_is_not_there(picture, tmp_path):
    result = run(picture, "--out", tmp_path, "--only", "7")
    assert result.exit_code == 2
    assert not (tmp_path / "paper.chart.json").exists()


def test_no_squared_paper_is_said(tmp_path):
    path = tmp_path / "photos" / "plain.png"
    path.parent.mkdir()
    Image.fromarray(np.full((200, 300), 240, np.uint8)).save(path)
    result = run(path, "--out", tmp_path)
    assert result.exit_code == 4
    assert "does not look like squared paper" in result.output
    assert not (tmp_path / "plain.chart.json").exists()


def test_the_photo_itself_is_never_replaced(picture):
    before = picture.read_bytes()
    result = run(picture, "--out", picture.parent, "--overwrite")
    assert result.exit_code == 5
    assert "--name" in result.output
    assert picture.read_bytes() == before


def test_several_marks_give_a_sheet_of_samples(tmp_path):
    made = make_photo(
        8,
        "scan",
        pixels=20,
        squares=(24, 20),
        marks=["solid", "cross"],
        ink="black",
        lines=False,
        writing=0,
        frame=True,
    )
    path = tmp_path / "two.jpg"
    Image.fromarray(made.image).save(path, quality=95)
    result = run(path, "--out", tmp_path, "--json")
    assert result.exit_code == 0, result.output
    report = json.loads(result.stdout)
    assert len(report["marks"]) >= 2
    assert (tmp_path / "two-marks.png").exists()
    first = run(path, "--out", tmp_path, "--json", "--overwrite", "--only", "1")
    assert json.loads(first.stdout)["stitches"] == report["marks"][0]["count"]
