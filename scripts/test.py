"""Install what the checks need, and run them all: the same here, on a fresh machine and in the continuous checks.

python3 scripts/test.py             everything
python3 scripts/test.py --quick     without the browser, the clean install and coverage
python3 scripts/test.py --pythons   the clean install alone, on each Python 3.11 to 3.13 that this machine has
python3 scripts/test.py -- -k PART  arguments after -- go to pytest
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from _setup import ROOT, SetupError, prepare

SUPPORTED = ("3.11", "3.12", "3.13")
CHECKED = ("converter", "tests", "scripts")


def main() -> int:
    parser = argparse.ArgumentParser(description="Run all checks.")
    parser.add_argument("--quick", action="store_true", help="leave out browser tests, coverage and the clean install")
    parser.add_argument("--pythons", action="store_true", help="only the clean install, on each Python that is here")
    parser.add_argument("rest", nargs="*", help="arguments for pytest")
    chosen = parser.parse_args()
    try:
        python = prepare("heic", "page", "test")
    except SetupError as error:
        print(f"test: {error}", file=sys.stderr)
        return 1
    if chosen.pythons:
        found = other_pythons()
        print(f"Found {', '.join(found)}.")
        failed = [version for version, path in found.items() if not _clean_install(python, path)]
        print("\nAll clean installs passed." if not failed else f"\nFailed: {', '.join(failed)}.")
        return 1 if failed else 0
    folder = python.parent
    # A file's tests stay on one core: what they share is made once.
    shared = [] if chosen.rest else ["--numprocesses", "auto", "--dist", "loadfile"]
    pytest = [str(python), "-m", "pytest", "-q", *shared, *chosen.rest]
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
    if not chosen.quick and not chosen.rest and not _clean_install(python, sys.executable):
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


def other_pythons() -> dict[str, str]:
    """Return the interpreters of the supported versions that work on this machine, by version."""
    found = {f"{sys.version_info[0]}.{sys.version_info[1]}": sys.executable}
    for version in SUPPORTED:
        kept = sorted((Path.home() / ".pyenv" / "versions").glob(f"{version}.*/bin/python"), reverse=True)
        launcher = ["py", f"-{version}"] if os.name == "nt" else [shutil.which(f"python{version}") or ""]
        for command in ([str(path)] for path in kept), [launcher]:
            for words in command:
                try:
                    done = subprocess.run(
                        [
                            *words,
                            "-c",
                            "import sys, venv; print(*sys.version_info[:2], sep='.'); print(sys.executable)",
                        ],
                        capture_output=True,
                        text=True,
                        check=False,
                    )
                except OSError:
                    continue
                said = done.stdout.split("\n")
                if done.returncode == 0 and said[0] == version:
                    found.setdefault(version, said[1].strip())
    return dict(sorted(found.items()))


def _clean_install(python: Path, base: str) -> bool:
    """Build a wheel, install it alone with its run-time dependencies on a Python, and chart a picture with it."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        pip = ["-m", "pip", "--quiet", "--disable-pip-version-check"]
        build = [str(python), *pip, "wheel", "--no-deps", "--wheel-dir", str(folder / "wheel"), str(ROOT)]
        if not _run("clean install: wheel", build):
            return False
        if not _run(f"clean install: environment of {base}", [base, "-m", "venv", str(folder / "env")]):
            return False
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
