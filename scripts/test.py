"""Install what the checks need, and run them all: the same here, on a fresh machine and in the continuous checks.

python3 scripts/test.py             everything
python3 scripts/test.py --quick     without the browser, the clean install and coverage
python3 scripts/test.py -- -k PART  arguments after -- go to pytest
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
import venv
from pathlib import Path

from _setup import ROOT, SetupError, prepare

CHECKED = ("converter", "tests", "scripts")


def main() -> int:
    parser = argparse.ArgumentParser(description="Run all checks.")
    parser.add_argument("--quick", action="store_true", help="leave out browser tests, coverage and the clean install")
    parser.add_argument("rest", nargs="*", help="arguments for pytest")
    chosen = parser.parse_args()
    try:
        python = prepare("heic", "page", "test")
    except SetupError as error:
        print(f"test: {error}", file=sys.stderr)
        return 1
    folder = python.parent
    pytest = [str(python), "-m", "pytest", "-q", *chosen.rest]
    if chosen.quick:
        pytest += ["-m", "not browser and not slow"]
    elif not chosen.rest:
        pytest += ["--cov", "--cov-report=term:skip-covered"]
    steps: list[tuple[str, list[str]]] = [
        ("format", [str(python), "-m", "ruff", "format", "--check", "--quiet", *CHECKED]),
        ("lint", [str(python), "-m", "ruff", "check", "--quiet", *CHECKED]),
        ("types", [str(python), "-m", "mypy"]),
        ("imports", [str(folder / ("lint-imports.exe" if os.name == "nt" else "lint-imports"))]),
        ("readme", [str(python), str(ROOT / "scripts" / "update_readme.py"), "--check"]),
        ("tests", pytest),
    ]
    failed = []
    for name, command in steps:
        if not _run(name, command):
            failed.append(name)
    if not chosen.quick and not chosen.rest and not _clean_install(python):
        failed.append("clean install")
    print("\nAll checks passed." if not failed else f"\nFailed: {', '.join(failed)}.")
    return 1 if failed else 0


def _run(name: str, command: list[str], cwd: Path = ROOT) -> bool:
    print(f"\n== {name}", flush=True)
    began = time.monotonic()
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(command, cwd=cwd, env=environment, check=False)
    print(
        f"== {name}: {'passed' if done.returncode == 0 else 'FAILED'} in {time.monotonic() - began:.0f} s", flush=True
    )
    return done.returncode == 0


def _clean_install(python: Path) -> bool:
    """Build a wheel, install it alone with its run-time dependencies, and chart a picture with it."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        pip = ["-m", "pip", "--quiet", "--disable-pip-version-check"]
        build = [str(python), *pip, "wheel", "--no-deps", "--wheel-dir", str(folder / "wheel"), str(ROOT)]
        if not _run("clean install: wheel", build):
            return False
        venv.EnvBuilder(with_pip=True, symlinks=os.name != "nt").create(folder / "env")
        bare = folder / "env" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
        wheel = next((folder / "wheel").glob("*.whl"))
        heron = ROOT / "fixtures" / "pictures" / "heron.png"
        return (
            _run("clean install: install", [str(bare), *pip, "install", str(wheel)])
            and _run("clean install: pip check", [str(bare), *pip, "check"])
            and _run("clean install: help", [str(bare), "-m", "converter", "--help"], folder)
            and _run(
                "clean install: chart",
                [str(bare), "-m", "converter", "chart", str(heron), "--wide", "40", "--out", str(folder / "out")],
                folder,
            )
        )


if __name__ == "__main__":
    sys.exit(main())
