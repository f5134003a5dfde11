"""The fixtures are listed, small, and can be made again from the drawings."""

from __future__ import annotations

import importlib.util
import json
import re
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
FIXTURES = ROOT / "fixtures"


def listed_files() -> list[str]:
    text = (FIXTURES / "README.md").read_text(encoding="utf-8")
    return re.findall(r"^\| `([^`]+)` \|", text, flags=re.MULTILINE)


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_fixtures", ROOT / "scripts" / "make_fixtures.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_table_lists_every_file_once_and_no_other():
    present = sorted(
        path.relative_to(FIXTURES).as_posix()
        for path in FIXTURES.rglob("*")
        if path.is_file() and path.name != "README.md"
    )
    assert sorted(listed_files()) == present


def test_table_states_source_licence_and_purpose():
    for line in (FIXTURES / "README.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("| `"):
            columns = [part.strip() for part in line.strip("|").split("|")]
            assert len(columns) == 4 and all(columns), line


def test_all_fixtures_together_stay_small():
    assert sum(path.stat().st_size for path in FIXTURES.rglob("*") if path.is_file()) < 1_500_000


def test_pictures_and_charts_can_be_made_again(maker):
    made = maker.make_all()
    assert {name for name in listed_files() if name.startswith(("pictures/", "charts/"))} == set(made)
    assert [name for name, data in made.items() if maker.differs(FIXTURES / name, data)] == []


def test_comparison_notices_a_changed_picture(maker, tmp_path):
    data = (FIXTURES / "pictures" / "key.png").read_bytes()
    changed = tmp_path / "key.png"
    with Image.open(FIXTURES / "pictures" / "key.png") as image:
        pixels = np.array(image)
    pixels[100:400, 60:120] = 255
    Image.fromarray(pixels).save(changed)
    assert maker.differs(changed, data)
    assert maker.differs(tmp_path / "missing.png", data)


def test_drawings_fetch_nothing():
    for path in (FIXTURES / "drawings").glob("*.svg"):
        text = path.read_text(encoding="utf-8").replace('xmlns="http://www.w3.org/2000/svg"', "")
        assert not re.search(r"https?:|href|<script|<image|<style", text), path.name


def test_star_has_all_eight_symmetries():
    rows = (FIXTURES / "grids" / "star.txt").read_text(encoding="utf-8").split()
    star = np.array([[mark == "#" for mark in row] for row in rows])
    assert np.array_equal(star, np.rot90(star)) and np.array_equal(star, star[:, ::-1])


def test_charts_hold_rectangles_and_lines_inside_them():
    for path in (FIXTURES / "charts").glob("*.chart.json"):
        chart = json.loads(path.read_text(encoding="utf-8"))
        assert chart["format"] == "onecolour chart" and chart["version"] == 1
        width, height = len(chart["rows"][0]), len(chart["rows"])
        assert {len(row) for row in chart["rows"]} == {width}
        assert set("".join(chart["rows"])) <= {"#", "."}
        for (row, col), (row_2, col_2) in chart["lines"]:
            assert min(row, row_2) >= 0 and max(row, row_2) <= height
            assert min(col, col_2) >= 0 and max(col, col_2) <= width
