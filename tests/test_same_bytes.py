"""Same input, same bytes: whatever the locale, time zone, hash seed, thread count and working folder."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from helpers.writing_commands import draw_squared_paper

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


# One thread of OpenCV or its usual number: its own variable says so to the builds that heed it, OMP to the others.
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
        ["squares", "PAPER"],
    ],
    ids=lambda words: words[0],
)
def test_same_bytes(tmp_path, chart_file, words):
    draw_squared_paper(tmp_path)
    real = {"CHART": str(chart_file), "PAPER": str(tmp_path / "squared-navy.png")}
    words = [real.get(word, word) for word in words]
    first = run(tmp_path / "a", *words, **WORLDS[0])
    second = run(tmp_path / "another place", *words, **WORLDS[1])
    assert first.keys() == second.keys() and first
    for name in first:
        assert first[name] == second[name], name


TAKE_AWAY = """
import locale, sys
from pathlib import Path
import cv2
from converter.jobs import piece_results
from converter.jobs.workspace import Workspace
from converter.page.studio import Studio
locale.setlocale(locale.LC_ALL, "")
cv2.setNumThreads(int(sys.argv[2]))
source, out = Path(sys.argv[1]), Path("out")
out.mkdir()
workspace = Workspace(Path("pieces"))
studio = Studio(workspace)
piece = studio.create(source.read_bytes(), source.name)
change = {"options": {"wide": 30, "hours": 40, "piece": "sachet"}, "settings": {"lines": "edges"}, "border": BORDER}
studio.step(piece["id"], {"change": change, "label": "x", "revision": piece["revision"]})
for kind in piece_results.TAKEABLE:
    (out / kind).write_bytes(studio.take(piece["id"], kind).data)
(out / "preview").write_bytes(studio.preview_picture(piece["id"]))
workspace.close()
""".replace("BORDER", repr({"strips": ["dots"], "gap": 3}))


def test_what_is_taken_from_the_page_has_the_same_bytes(tmp_path):
    pytest.importorskip("starlette", reason="the parts that serve the page are not installed")
    taken = []
    for number, (place, world) in enumerate(zip(("a", "another place"), WORLDS, strict=True), 1):
        folder = tmp_path / place
        folder.mkdir()
        words = [sys.executable, "-c", TAKE_AWAY, str(HERON), str(number)]
        subprocess.run(words, cwd=folder, env={**os.environ, **world}, check=True)
        taken.append({path.name: path.read_bytes() for path in sorted((folder / "out").iterdir())})
    assert taken[0].keys() == taken[1].keys() and len(taken[0]) > 5
    for name in taken[0]:
        assert taken[0][name] == taken[1][name], name


THREADS = """
import sys
import cv2
cv2.setNumThreads(int(sys.argv.pop(1)))
from converter.cli.main import run
run()
"""


@pytest.mark.parametrize("words", [["chart", str(HERON), "--wide", "40"], ["squares", "PAPER"]], ids=lambda w: w[0])
def test_same_bytes_on_one_thread_and_on_three(tmp_path, words):
    draw_squared_paper(tmp_path)
    words = [str(tmp_path / "squared-navy.png") if word == "PAPER" else word for word in words]
    made = []
    for threads in ("1", "3"):
        out = tmp_path / threads
        words_now = [sys.executable, "-c", THREADS, threads, *words, "--out", str(out)]
        done = subprocess.run(words_now, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        made.append({path.name: path.read_bytes() for path in sorted(out.iterdir())})
    assert made[0] == made[1]
