"""Change the code in one small place at a time and see whether the tests notice.

python scripts/mutants.py raster --number 80

A seeded sample of the places of a folder, one change each; every change is tried against the tests that run its line,
those that run the fewest lines first, until one fails. The share noticed is told at the end, and each change that
went unnoticed is shown. Works on a copy. Needs cosmic-ray (``pip install cosmic-ray``) beside the test extra; on Linux
and macOS only.
"""

from __future__ import annotations

import argparse
import ast
import difflib
import importlib.util
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import dataclass, replace
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
TESTS = {"raster": ["tests/raster", "tests/test_pipeline.py"]}
"""Where a folder's tests are, if not in the folder of its name alone."""


@dataclass(frozen=True)
class Mutant:
    """One change."""

    file: str
    line: int
    operator: str
    code: str


def all_places(folder: str) -> dict[tuple[str, int, int], list[tuple[str, int]]]:
    """Return each place (file, line, column) with the operators that can change it and their count to there."""
    from cosmic_ray.ast import ast_nodes, get_ast_from_path
    from cosmic_ray.plugins import get_operator, operator_names

    places = defaultdict(list)
    for path in sorted((ROOT / "converter" / folder).rglob("*.py")):
        nodes = list(ast_nodes(get_ast_from_path(path)))
        for name in operator_names():
            kind = get_operator(name)
            if kind.arguments():
                continue
            positions = [at for node in nodes for at in kind().mutation_positions(node)]
            for number, (start, _) in enumerate(positions):
                places[str(path.relative_to(ROOT)), start[0], start[1]].append((name, number))
    return places


def bare(code: str) -> str | None:
    """Return what runs of a module: without annotations and docstrings; None if it is no Python."""
    try:
        tree = ast.parse(code)
    except SyntaxError:
        return None
    for node in ast.walk(tree):
        if isinstance(node, ast.arg):
            node.annotation = None
        elif isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            node.returns = None
        elif isinstance(node, ast.AnnAssign):
            node.annotation = ast.Constant(None)
    return ast.dump(tree)


def sample(folder: str, number: int, seed: int) -> list[Mutant]:
    """Return so many changes: a place by chance, then one of its operators by chance."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    rng = random.Random(seed)
    places = all_places(folder)
    order = sorted(places)
    rng.shuffle(order)
    print(f"{folder}: {len(order)} places, {sum(map(len, places.values()))} changes")
    found: list[Mutant] = []
    for place in order:
        if len(found) == number:
            break
        name, count = rng.choice(places[place])
        before = (ROOT / place[0]).read_text(encoding="utf-8")
        code = mutate_code(before, get_operator(name)(), count)
        if code is None or bare(code) in (None, bare(before)):
            continue
        found.append(Mutant(place[0], place[1], name.split("/")[-1], code))
    return found


def copy_tree() -> Path:
    place = Path(tempfile.mkdtemp(prefix="mutants-"))
    for part in ("converter", "tests", "fixtures", "scripts", "pyproject.toml", "README.md", "DEVELOPERS.md"):
        if (ROOT / part).is_dir():
            shutil.copytree(ROOT / part, place / part, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / part, place)
    return place


def lines_of_tests(folder: str, tree: Path, kept: Path | None) -> dict[str, dict[str, set[int]]]:
    """Return for each file of the folder the lines that each test runs."""
    import coverage

    where = kept or tree / "lines.cov"
    if not where.exists():
        words = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"--cov=converter.{folder}"]
        words += ["--cov-context=test", "--cov-report=", *TESTS.get(folder, [f"tests/{folder}"])]
        environment = {**os.environ, "PYTHONPATH": str(tree), "COVERAGE_FILE": str(where)}
        subprocess.run(words, cwd=tree, env=environment, check=True, stdout=subprocess.DEVNULL)
    data = coverage.CoverageData(str(where))
    data.read()
    found: dict[str, dict[str, set[int]]] = defaultdict(lambda: defaultdict(set))
    for file in data.measured_files():
        name = "converter/" + file.split("/converter/")[-1]
        for line, contexts in data.contexts_by_lineno(file).items():
            for context in contexts:
                found[name][context.split("|")[0]].add(line)
    return found


def tests_for(mutant: Mutant, lines: dict[str, dict[str, set[int]]]) -> list[str]:
    """Return the tests that run the line of a change, or the file where it runs as the module is loaded."""
    tests = {test: at for test, at in lines.get(mutant.file, {}).items() if test}
    on_line = [test for test, at in tests.items() if mutant.line in at]
    if not on_line and mutant.line in lines.get(mutant.file, {}).get("", ()):
        on_line = list(tests)
    weight: dict[str, int] = defaultdict(int)
    for of_file in lines.values():
        for test, at in of_file.items():
            weight[test] += len(at)
    return sorted(on_line, key=lambda test: (weight[test], test))


def outcome(mutant: Mutant, tests: list[str], tree: Path, seconds: int) -> str:
    """Try one change; return 'killed', 'killed by time' or 'alive'."""
    if not tests:
        return "alive, no test runs it"
    path = tree / mutant.file
    before = path.read_text(encoding="utf-8")
    Path(importlib.util.cache_from_source(str(path))).unlink(missing_ok=True)
    path.write_text(mutant.code, encoding="utf-8")
    try:
        child = os.fork()
        if not child:
            run_tests(tests, tree, seconds)
        status = os.waitpid(child, 0)[1]
    finally:
        path.write_text(before, encoding="utf-8")
    if os.WIFSIGNALED(status):
        return "killed by time"
    code = os.WEXITSTATUS(status)
    if code > 2 or (code == 2 and "error" not in (tree / "told.txt").read_text(errors="replace").lower()):
        raise RuntimeError((tree / "told.txt").read_text(errors="replace"))
    return "alive" if code == 0 else "killed"


def run_tests(tests: list[str], tree: Path, seconds: int) -> None:
    """In a process of its own: run the tests and leave with their code."""
    import pytest

    told = os.open(tree / "told.txt", os.O_RDWR | os.O_CREAT | os.O_TRUNC)
    for stream in (1, 2):
        os.dup2(told, stream)
    os.chdir(tree)
    sys.path.insert(0, str(tree))
    sys.dont_write_bytecode = True
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
    code = 70
    try:
        code = pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:cov", *tests])
    finally:
        os._exit(int(code))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", help="a folder of converter, such as raster")
    parser.add_argument("--number", type=int, default=80)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=int, default=120, help="CPU time after which the tests count as hanging")
    parser.add_argument(
        "--lines", type=Path, help="keep which test runs which line in this file, or take it from there"
    )
    chosen = parser.parse_args()
    mutants = sample(chosen.folder, chosen.number, chosen.seed)
    tree = copy_tree()
    lines = lines_of_tests(chosen.folder, tree, chosen.lines)
    # Loaded once; each change is tried in a fork of this process. Nothing of the product may be loaded here.
    import cv2
    import numpy  # noqa: F401
    import PIL.Image  # noqa: F401
    import pytest  # noqa: F401
    import scipy.ndimage  # noqa: F401

    cv2.setNumThreads(1)
    assert not any(name.split(".")[0] == "converter" for name in sys.modules)
    first = next(m for m in mutants if tests_for(m, lines))
    unchanged = replace(first, code=(ROOT / first.file).read_text(encoding="utf-8"))
    if outcome(unchanged, tests_for(first, lines)[:20], tree, chosen.seconds) != "alive":
        print((tree / "told.txt").read_text(errors="replace"))
        raise SystemExit("The tests fail on the code as it is.")
    tally: dict[str, int] = defaultdict(int)
    for number, mutant in enumerate(mutants, 1):
        began = time.monotonic()
        tests = tests_for(mutant, lines)
        result = outcome(mutant, tests, tree, chosen.seconds)
        tally[result] += 1
        took = f"{time.monotonic() - began:.0f} s, {len(tests)} tests"
        print(f"{number} {result}: {mutant.file}:{mutant.line} {mutant.operator} ({took})", flush=True)
        if result.startswith("alive"):
            before = (ROOT / mutant.file).read_text(encoding="utf-8").splitlines()
            for row in difflib.unified_diff(before, mutant.code.splitlines(), lineterm="", n=0):
                if row[0] in "+-" and row[:3] not in ("+++", "---"):
                    print(f"    {row}", flush=True)
    killed = sum(count for result, count in tally.items() if result.startswith("killed"))
    print(f"{chosen.folder}: {killed} of {len(mutants)} noticed ({killed / max(1, len(mutants)):.0%}): {dict(tally)}")
    shutil.rmtree(tree)
    return 0


if __name__ == "__main__":
    sys.exit(main())
