"""Same input, same bytes: whatever the locale, time zone, hash seed, thread count and working folder."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

HERON = Path(__file__).resolve().parent.parent / "fixtures" / "pictures" / "heron.png"


def run(folder, *words, **environment):
    folder.mkdir(parents=True, exist_ok=True)
    done = subprocess.run(
        [sys.executable, "-m", "converter", *words, "--out", "out"],
        cwd=folder,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return {p.name: p.read_bytes() for p in sorted((folder / "out").iterdir())}


WORLDS = (
    {"PYTHONHASHSEED": "1", "TZ": "UTC", "LC_ALL": "C", "OMP_NUM_THREADS": "1"},
    {"PYTHONHASHSEED": "77", "TZ": "Pacific/Auckland", "LC_ALL": "C.UTF-8", "OMP_NUM_THREADS": "2", "LANG": "tr_TR"},
)


@pytest.fixture(scope="module")
def chart_file(tmp_path_factory):
    folder = tmp_path_factory.mktemp("chart")
    run(folder, "chart", str(HERON), "--wide", "40")
    return folder / "out" / "heron.chart.json"


@pytest.mark.parametrize(
    "words",
    [
        ["chart", str(HERON), "--wide", "40", "--lines", "edges"],
        ["sizes", str(HERON)],
        ["border", "CHART"],
        ["count", "CHART", "--sheet"],
        ["finish", "CHART", "--piece", "sachet"],
        ["leaflet", "CHART"],
    ],
    ids=lambda words: words[0],
)
def test_same_bytes(tmp_path, chart_file, words):
    words = [str(chart_file) if w == "CHART" else w for w in words]
    first = run(tmp_path / "a", *words, **WORLDS[0])
    second = run(tmp_path / "another place", *words, **WORLDS[1])
    assert first.keys() == second.keys() and first
    for name in first:
        assert first[name] == second[name], name
