"""What a command loads: start-up is most of the time of a small job."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HERON = ROOT / "fixtures" / "pictures" / "heron.png"
LIBRARIES = {"PIL", "click", "cv2", "numpy", "reportlab"}
"""The libraries that a chart of a plain picture needs."""
NOT_NEEDED = {
    "converter.compose",
    "converter.draw.cutting",
    "converter.draw.piece_look",
    "converter.draw.sizes",
    "converter.estimate.budget",
    "converter.estimate.making",
    "converter.jobs.sizes",
    "converter.jobs.squares",
    "converter.page",
    "converter.squares.reading",
}
"""Our own parts that belong to other commands, or to options that are not given."""
PROGRAM = """
import json, sys
from converter.cli.main import group
try:
    group.main(sys.argv[1:], prog_name="onecolour", standalone_mode=False)
except SystemExit:
    pass
print("LOADED" + json.dumps(sorted(sys.modules)))
"""


def _loaded(*words: str) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *words], capture_output=True, text=True, timeout=120, check=True, cwd=ROOT
    )
    return set(json.loads(done.stdout.rpartition("LOADED")[2]))


def _libraries(modules: set[str]) -> set[str]:
    """Return the packages outside the standard library and the product."""
    tops = {name.partition(".")[0] for name in modules}
    own = {"converter", "__main__", "__mp_main__"}
    return {
        top
        for top in tops - own - set(sys.stdlib_module_names)
        if not top.startswith(("_", "sitecustomize", "usercustomize"))
    }


@pytest.fixture(scope="module")
def chart_modules(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    folder = tmp_path_factory.mktemp("loading")
    return _loaded("chart", str(HERON), "--wide", "30", "--lines", "none", "--out", str(folder))


def test_a_chart_needs_five_libraries(chart_modules: set[str]) -> None:
    assert _libraries(chart_modules) <= LIBRARIES


def test_a_chart_loads_nothing_of_other_commands(chart_modules: set[str]) -> None:
    found = {name for name in chart_modules for part in NOT_NEEDED if name == part or name.startswith(part + ".")}
    assert found == set()


def test_help_needs_one_library_and_no_stage() -> None:
    modules = _loaded("--help")
    assert _libraries(modules) <= {"click"}
    assert {name for name in modules if name.startswith("converter")} <= {
        "converter",
        "converter.cli",
        "converter.cli.main",
        "converter.errors",
    }
