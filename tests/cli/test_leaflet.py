"""``onecolour leaflet``: each option reaches the printed sheets."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import pypdf
import pytest
from click.testing import CliRunner, Result

from converter.cli.main import group

GRID = "..##..\n.####.\n######\n.####.\n..##..\n......\n"


@pytest.fixture
def chart(tmp_path: Path) -> Path:
    path = tmp_path / "leaf.txt"
    path.write_text(GRID, encoding="utf-8")
    return path


def _run(chart: Path, *options: str) -> Result:
    out = chart.parent / "out"
    return CliRunner().invoke(group, ["leaflet", str(chart), "--out", str(out), *options])


def _reader(chart: Path, *options: str) -> pypdf.PdfReader:
    result = _run(chart, *options, "--overwrite")
    assert result.exit_code == 0, result.output
    return pypdf.PdfReader(io.BytesIO((chart.parent / "out" / "leaf.pdf").read_bytes()))


def _text(reader: pypdf.PdfReader) -> str:
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))


def test_it_writes_one_pdf_that_holds_the_counts(chart: Path) -> None:
    text = _text(_reader(chart))
    assert "18 crosses" in text and "6 × 6 squares" in text and "How to begin" in text
    assert [path.name for path in (chart.parent / "out").iterdir()] == ["leaf.pdf"]


def test_options_reach_the_sheets(chart: Path) -> None:
    assert "28 threads to the inch, worked over 2" in _text(_reader(chart, "--fabric", "28/2", "--no-order"))
    assert "3 strands for crosses" in _text(_reader(chart, "--strands", "3", "--no-order"))
    assert "Madder" in _text(_reader(chart, "--thread-name", "Madder", "--no-order"))
    metric = _text(_reader(chart, "--units", "cm", "--no-order"))
    assert " cm" in metric and not re.search(r"[0-9.] in\b(?!,)", metric.split("How to begin")[0])
    letter = _reader(chart, "--paper", "letter", "--no-order")
    assert [float(v) for v in letter.pages[0].mediabox[2:]] == [612, 792]
    piece = _text(_reader(chart, "--piece", "sachet", "--no-order"))
    assert "Cutting list" in piece and "sachet" in piece
    with_order = len(_reader(chart).pages)
    assert with_order > len(_reader(chart, "--no-order").pages)
    slow, quick = (_text(_reader(chart, "--pace", pace, "--no-order")) for pace in ("10", "400"))
    assert re.search(r"about [\d.]+ hours", slow)[0] != re.search(r"about [\d.]+ hours", quick)[0]


def test_large_and_tens_change_the_chart(chart: Path) -> None:
    def page(*options: str) -> bytes:
        return _reader(chart, *options, "--no-order").pages[1].get_contents().get_data()

    plain = page()
    assert page("--large") != plain
    assert page("--tens", "centre") != plain
    cell = float(re.search(rb"q ([\d.]+) 0 0 \1 [\d.]+ [\d.]+ cm", page("--large"))[1])
    assert cell >= 4.5


def test_same_input_same_bytes(chart: Path) -> None:
    _reader(chart)
    first = (chart.parent / "out" / "leaf.pdf").read_bytes()
    _reader(chart)
    assert (chart.parent / "out" / "leaf.pdf").read_bytes() == first


def test_existing_files_are_not_replaced(chart: Path) -> None:
    assert _run(chart).exit_code == 0
    again = _run(chart)
    assert again.exit_code == 5
    assert "--overwrite" in again.output


def test_json_alone_on_standard_output(chart: Path) -> None:
    result = _run(chart, "--json", "--no-order")
    report = json.loads(result.stdout)
    assert report["stitches"] == 18
    assert [Path(path).name for path in report["files"]] == ["leaf.pdf"]


def test_bad_input_says_what_is_wrong(tmp_path: Path) -> None:
    missing = _run(tmp_path / "none.chart.json")
    assert missing.exit_code == 3
    broken = tmp_path / "broken.chart.json"
    broken.write_text('{"format": "onecolour chart", "version": 1, "rows": [".#", "#"]}', encoding="utf-8")
    assert _run(broken).exit_code == 3
    assert _run(broken, "--paper", "A9").exit_code == 2
    assert _run(broken, "--tens", "left").exit_code == 2


def test_help_has_examples_on_lines_of_their_own() -> None:
    text = CliRunner().invoke(group, ["leaflet", "--help"]).output
    assert "\n    onecolour leaflet heron.chart.json --piece sachet --out charts\n" in text
