"""``onecolour finish`` from the outside."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from converter.cli.finish import command
from converter.cli.main import group
from converter.files.chart_file import save_chart
from converter.model.chart import Chart
from converter.model.materials import Fabric
from converter.settings import PIECES, WAYS, MakingSettings


def run(*words):
    return CliRunner().invoke(group, [str(w) for w in words])


@pytest.fixture
def chart(tmp_path) -> Path:
    cells = np.zeros((56, 42), dtype=bool)
    cells[0], cells[-1], cells[:, 0], cells[:, -1] = True, True, True, True
    path = tmp_path / "gate.chart.json"
    save_chart(Chart(cells, title="Gate", fabric=Fabric(14)), path)
    return path


@pytest.mark.parametrize("piece", PIECES)
def test_files_of_the_contract(chart, tmp_path, piece):
    result = run("finish", chart, "--piece", piece, "--out", tmp_path / "o", "--name", "N")
    assert result.exit_code == 0, result.output
    assert sorted(p.name for p in (tmp_path / "o").iterdir()) == ["N-finish.json", "N-finish.pdf", "N-finish.txt"]
    record = json.loads((tmp_path / "o" / "N-finish.json").read_text(encoding="utf-8"))
    assert record["piece"] == piece
    for part in record["parts"]:
        assert set(part) >= {"name", "count", "cut_mm"}
        assert isinstance(part["count"], int)
        assert len(part["cut_mm"]) == 2
        assert min(part["cut_mm"]) > 0
    for name in ("steps", "shopping", "cautions"):
        assert record[name]
        assert all(isinstance(line, str) for line in record[name])
    text = (tmp_path / "o" / "N-finish.txt").read_text(encoding="utf-8")
    for line in (*record["steps"], *record["shopping"], *record["cautions"]):
        assert line in text
    assert (tmp_path / "o" / "N-finish.pdf").read_bytes().startswith(b"%PDF")


def test_panel_is_cut_evenly(chart, tmp_path):
    """42 x 56 stitches at 14 count are 3 x 4 in; 17 squares a side add 34 / 14 in to each."""
    assert run("finish", chart, "--out", tmp_path, "--name", "N").exit_code == 0
    record = json.loads((tmp_path / "N-finish.json").read_text(encoding="utf-8"))
    assert len(set(record["margins_mm"].values())) == 1
    assert record["parts"][0]["cut_in"] == pytest.approx([3 + 34 / 14, 4 + 34 / 14], abs=1e-3)
    assert record["cut_threads"] == [42 + 34, 56 + 34]


def test_json_prints_the_record_and_nothing_else(chart, tmp_path):
    result = run("finish", chart, "--out", tmp_path, "--name", "N", "--json")
    record = json.loads(result.stdout)
    assert [Path(f).name for f in record["files"]] == ["N-finish.pdf", "N-finish.txt", "N-finish.json"]
    on_disk = json.loads((tmp_path / "N-finish.json").read_text(encoding="utf-8"))
    assert {k: v for k, v in record.items() if k != "files"} == on_disk


def test_existing_files_are_kept(chart, tmp_path):
    assert run("finish", chart, "--out", tmp_path, "--name", "N").exit_code == 0
    (tmp_path / "N-finish.txt").write_text("mine", encoding="utf-8")
    refused = run("finish", chart, "--out", tmp_path, "--name", "N", "--piece", "hoop")
    assert refused.exit_code == 5
    assert (tmp_path / "N-finish.txt").read_text(encoding="utf-8") == "mine"
    assert run("finish", chart, "--out", tmp_path, "--name", "N", "--overwrite").exit_code == 0
    assert (tmp_path / "N-finish.txt").read_text(encoding="utf-8") != "mine"


def test_same_chart_same_bytes(chart, tmp_path):
    for folder in ("a", "b"):
        assert run("finish", chart, "--out", tmp_path / folder, "--name", "N").exit_code == 0
    for name in ("N-finish.pdf", "N-finish.txt", "N-finish.json"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_each_option_reaches_the_plan(chart, tmp_path):
    def record(*words):
        result = run("finish", chart, "--out", tmp_path, "--name", "N", "--overwrite", "--json", *words)
        assert result.exit_code == 0, result.output
        return json.loads(result.stdout)

    plain = record()
    assert record("--margin", "2in")["margins_mm"]["left"] == pytest.approx(50.8)
    fringe = record("--fringe", "1in", "--margin", "2in")
    stitch = next(line for line in fringe["parts"][0]["lines"] if line["what"] == "stitch")
    assert stitch["points_mm"][0] == pytest.approx([25.4, 25.4])
    assert record("--size", "20x14in")["finished_mm"] == pytest.approx([508.0, 355.6])
    assert any("Your cloth" in warning for warning in record("--cloth", "5x5in")["warnings"])
    assert len(record("--way", "wrap")["parts"]) == 2
    assert any("blanket stitch" in step for step in record("--edge", "blanket")["steps"])
    fine = record("--fabric", "28/2")
    assert fine["design_mm"] == pytest.approx(plain["design_mm"], abs=1e-6)
    assert fine["margins_mm"]["left"] == pytest.approx(31.75)
    assert any("madder" in line for line in record("--thread-name", "madder")["shopping"])
    assert any("cream" in line for line in record("--ground", "#f7f1e3")["shopping"])
    assert any("green" in line for line in record("--thread", "#1f6b3a")["shopping"])
    assert any("3 strands" in step for step in record("--strands", "3")["steps"])
    letter = (tmp_path / "N-finish.pdf").read_bytes()
    record("--paper", "letter", "--strands", "3")
    assert (tmp_path / "N-finish.pdf").read_bytes() != letter


def test_what_cannot_be_is_refused_with_its_code(chart, tmp_path):
    assert run("finish", chart, "--way", "bag", "--out", tmp_path).exit_code == 2
    assert run("finish", chart, "--piece", "tent", "--out", tmp_path).exit_code == 2
    assert run("finish", chart, "--margin", "wide", "--out", tmp_path).exit_code == 2
    assert run("finish", tmp_path / "none.chart.json", "--out", tmp_path).exit_code == 3
    refused = run("finish", chart, "--fringe", "3in", "--out", tmp_path)
    assert refused.exit_code == 4
    assert "--margin" in refused.output
    assert run("finish", chart, "--piece", "card", "--edge", "whip", "--out", tmp_path).exit_code == 4
    (tmp_path / "broken.chart.json").write_text("{", encoding="utf-8")
    assert run("finish", tmp_path / "broken.chart.json", "--out", tmp_path).exit_code == 3


def test_warnings_are_printed(chart, tmp_path):
    result = run("finish", chart, "--size", "24x24in", "--out", tmp_path)
    assert "Look first: The panel of" in result.output
    assert "Written:" in result.output


def test_choices_and_defaults_are_those_of_the_settings():
    options = {option.name: option for option in command.params}
    assert options["piece"].default == MakingSettings().piece
    assert set(options["way"].type.choices) == {"auto", *(way for ways in WAYS.values() for way in ways)}
    for name in ("way", "edge"):
        assert options[name].default == getattr(MakingSettings(), name)


@pytest.mark.parametrize("name", ["finish", "sizes"])
def test_examples_stand_line_by_line_in_the_help(name):
    text = run(name, "--help").output
    assert "\\b" not in text
    examples = [line for line in text.splitlines() if line.strip().startswith(f"onecolour {name} ")]
    assert len(examples) == 3
