"""``onecolour chart`` from the outside: files, codes, messages, and nothing of hers lost."""

import json
import os
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from converter.cli.main import group
from converter.files.chart_file import load_chart
from converter.jobs.batch import CHART_SUFFIXES

HERON = Path(__file__).resolve().parents[2] / "fixtures" / "pictures" / "heron.png"


def run(*words):
    return CliRunner().invoke(group, [str(w) for w in words])


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    result = run("chart", HERON, "--wide", 40, "--out", folder)
    assert result.exit_code == 0, result.output
    return folder, result


def test_files_of_the_contract(made):
    folder, result = made
    assert {f"heron{s}" for s in CHART_SUFFIXES} <= {p.name for p in folder.iterdir()}
    assert set(CHART_SUFFIXES) == {".chart.json", ".png", "-stitched.png", ".pdf", ".txt", ".report.json"}
    assert (folder / "heron.txt").read_text(encoding="utf-8").strip() in result.output
    assert (folder / "heron.pdf").read_bytes().startswith(b"%PDF")


def test_report_agrees_with_the_chart(made):
    folder, _ = made
    chart = load_chart(folder / "heron.chart.json")
    report = json.loads((folder / "heron.report.json").read_text(encoding="utf-8"))
    assert report["stitches"] == chart.cells.sum()
    assert (report["columns"], report["rows"]) == (40, chart.rows)
    assert report["finished_in"][0] == pytest.approx(40 / 14, abs=1e-4)
    assert report["finished_mm"][0] == pytest.approx(40 / 14 * 25.4, abs=1e-3)
    assert report["hours"]["low"] <= report["hours"]["likely"] <= report["hours"]["high"]
    for key in ("length_m", "front_m", "back_m", "tails_m", "starts", "carries", "skeins", "method", "allowance"):
        assert key in report["thread"] and key in report["line_thread"]
    for key in (
        "backstitches",
        "line_length_cells",
        "components",
        "holes",
        "isolated",
        "cut_mm",
        "readability",
        "notes",
    ):
        assert key in report


def test_json_is_alone_on_standard_output(tmp_path):
    result = run("chart", HERON, "--wide", 30, "--out", tmp_path, "--json")
    report = json.loads(result.stdout)
    assert report["columns"] == 30
    assert all(Path(f).exists() for f in report["files"])


def test_existing_files_are_kept(tmp_path):
    (tmp_path / "heron.png").write_bytes(b"hers")
    result = run("chart", HERON, "--wide", 30, "--out", tmp_path)
    assert result.exit_code == 5
    assert "--overwrite" in result.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["heron.png"]
    assert (tmp_path / "heron.png").read_bytes() == b"hers"
    assert run("chart", HERON, "--wide", 30, "--out", tmp_path, "--overwrite").exit_code == 0
    assert (tmp_path / "heron.png").read_bytes() != b"hers"


def test_hand_edited_chart_is_never_replaced_unasked(tmp_path):
    assert run("chart", HERON, "--wide", 30, "--out", tmp_path).exit_code == 0
    chart = tmp_path / "heron.chart.json"
    edited = chart.read_text(encoding="utf-8").replace("#", ".", 1)
    chart.write_text(edited, encoding="utf-8")
    for path in tmp_path.iterdir():
        if path != chart:
            path.unlink()
    assert run("chart", HERON, "--wide", 30, "--out", tmp_path).exit_code == 5
    assert chart.read_text(encoding="utf-8") == edited


def test_her_picture_is_never_replaced_by_its_chart(tmp_path, monkeypatch):
    shutil.copy(HERON, tmp_path / "heron.png")
    monkeypatch.chdir(tmp_path)
    assert run("chart", "heron.png", "--wide", 20).exit_code == 0
    assert (tmp_path / "heron-chart.chart.json").exists()
    result = run("chart", "heron.png", "--wide", 20, "--name", "heron", "--overwrite")
    assert result.exit_code == 5
    assert (tmp_path / "heron.png").read_bytes() == HERON.read_bytes()


def test_one_failure_does_not_stop_the_rest(tmp_path):
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(HERON.read_bytes()[:300])
    other = tmp_path / "tea pot 'best'.png"
    shutil.copy(HERON, other)
    result = run("chart", broken, HERON, other, tmp_path / "none.png", "--wide", 30, "--out", tmp_path / "out")
    assert result.exit_code == 3
    assert "broken.jpg" in result.stderr and "none.png" in result.stderr
    assert (tmp_path / "out" / "heron.chart.json").exists()
    assert (tmp_path / "out" / "tea pot 'best'.chart.json").exists()
    assert "2 of 4" in result.stdout


def test_many_pictures_in_two_processes_equal_one_by_one(tmp_path):
    pictures = []
    for number in range(4):
        pictures.append(tmp_path / f"p{number}.png")
        shutil.copy(HERON, pictures[-1])
    assert run("chart", *pictures, "--wide", 20, "--out", tmp_path / "many").exit_code == 0
    assert run("chart", pictures[0], "--wide", 20, "--out", tmp_path / "one").exit_code == 0
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "many" / path.name).read_bytes()


def test_same_name_twice_gets_two_names(tmp_path):
    (tmp_path / "sub").mkdir()
    shutil.copy(HERON, tmp_path / "sub" / "heron.png")
    result = run("chart", HERON, tmp_path / "sub" / "heron.png", "--wide", 20, "--out", tmp_path / "out")
    assert result.exit_code == 0
    assert (tmp_path / "out" / "heron 2.chart.json").exists()


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["none.png"], 3),
        (["."], 3),
        (["empty.png"], 3),
        (["diary.txt"], 3),
        (["cup.chart.json"], 3),
        (["blank.png"], 4),
        (["heron.png", "--stitches", "1"], 4),
        (["heron.png", "--out", "diary.txt"], 5),
        (["heron.png", "--keep", "none.png"], 3),
        (["heron.png", "heron.png", "--name", "x"], 2),
    ],
)
def test_bad_input_is_one_message_and_a_code(tmp_path, monkeypatch, words, code):
    from PIL import Image

    monkeypatch.chdir(tmp_path)
    shutil.copy(HERON, "heron.png")
    Path("empty.png").write_bytes(b"")
    Path("diary.txt").write_text("Dear diary", encoding="utf-8")
    Path("cup.chart.json").write_text("{}", encoding="utf-8")
    Image.fromarray(np.full((50, 50), 255, dtype=np.uint8)).save("blank.png")
    before = {p: p.read_bytes() for p in tmp_path.iterdir()}
    result = run("chart", *words, "--wide", 20)
    assert result.exit_code == code, result.output
    assert result.stdout == ""
    message = result.stderr.strip().splitlines()[-1]
    assert 1 <= message.count(". ") + message.endswith(".") <= 3
    assert {p: p.read_bytes() for p in tmp_path.iterdir()} == before


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() == 0, reason="needs a user who is not root")
def test_read_only_folder(tmp_path):
    tmp_path.chmod(0o500)
    assert run("chart", HERON, "--out", tmp_path).exit_code == 5
