"""Change the code in one small place at a time and see whether the tests notice.

python scripts/mutants.py raster --number 80

A seeded sample of the places of a folder, one change each; every change is tried against the tests that run its line,
until one fails: first the quick ones of the file named for the module, then the others, the quickest first. Tests that
hang are stopped after so many seconds of processor time and count as failing. With ``--enough`` only the first tests
are tried, as many as take so many seconds on the code as it is; the share is then the least it can be. The share
noticed is told at the end, what only records of earlier results notice apart from the rest, and each change that went
unnoticed is shown. Works on a copy. Needs cosmic-ray (``pip install cosmic-ray``) beside the test extra; on Linux and
macOS only.

Changes that no test can notice, or that are no fault, are not made:

- in annotations, docstrings, type aliases and type variables;
- of ``is`` into ``==`` and the like: the same for None, members of enumerations and small numbers;
- in assertions: they tell the reader and the type checker what is known, and never fire;
- in the flags of a dataclass and its fields, in ``strict`` of `zip`, and in caches of functions;
- of ``&`` into ``*`` and ``|`` into ``+`` where no number stands on either side: on masks they are the same;
- in the wording of a message: what is said and hinted where an exception is raised;
- of `SPEED_ONLY` constants, which say how long a search goes on or how much is worked out at once, and of the range
  that a search draws from by chance (``randrange``).
"""

from __future__ import annotations

import argparse
import ast
import bisect
import difflib
import importlib.util
import itertools
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

ROOT = Path(__file__).resolve().parent.parent
TESTS = {
    "raster": ["tests/raster", "tests/test_pipeline.py"],
    "compose": ["tests/compose", "tests/cli/test_border.py"],
    "estimate": [
        "tests/estimate",
        "tests/cli/test_finish.py",
        "tests/draw/test_cutting.py",
        "tests/draw/test_order.py",
    ],
}
"""Where a folder's tests are, and those of what is made with it, if not in the folder of its name alone."""

SPEED_ONLY = {
    "MOST_CELLS", "MOST_GIVING", "_AT_ONCE", "_LINES_TRIED", "_TRIES", "_MOST_TRIES", "_HEATS", "_FEW_LEG_TRIES",
    "_MOST_LEG_TRIES", "_NEAREST", "_BATCH", "_BATCH_FULL", "_COPIED", "_FULL", "_FILL_HEATS", "_FILL_TRIES",
    "_LARGE", "_SCATTERED", "_TURNS", "_GOOD", "_CHOICES", "_LONGEST", "_NEAR", "_REACH", "_SWAP", "_SPARE",
    "_LEVELS", "_THIN", "WITNESSES", "SINGLES", "PAIRS", "MOST_TRIALS", "TOO_MANY", "MOST_PIXELS_WORKED",
    "MOST_PIXELS_TURNED", "MOST_MITRE_PHASES", "MOST_BLOCK_PHASES", "MOST_TURNED_PHASES",
}  # fmt: skip
"""Constants whose value changes the time taken, or how good an answer a search finds in it, but no rule."""
PRELOADED = (
    "cv2", "numpy", "PIL.Image", "pytest", "scipy.ndimage", "scipy.sparse.csgraph", "scipy.spatial", "skimage.measure",
    "skimage.morphology", "skimage.data", "hypothesis.extra.numpy",
)  # fmt: skip
"""What the tests load."""
CACHES = {"cache", "lru_cache"}
FLAGS = {"frozen", "eq", "slots", "kw_only", "order", "repr", "compare", "hash", "strict", "maxsize"}
SAME_ON_MASKS = ("BitAnd_Mul", "BitOr_Add")
SAME = {ast.Is: ast.Eq, ast.IsNot: ast.NotEq}


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


class _Bare(ast.NodeTransformer):
    """Leaves out what the head of this file names."""

    def visit_arg(self, node: ast.arg) -> ast.AST:
        return ast.arg(node.arg)

    def _function(self, node: ast.FunctionDef | ast.AsyncFunctionDef) -> ast.AST:
        node.returns = None
        node.decorator_list = [d for d in node.decorator_list if _name(d) not in CACHES]
        return self.generic_visit(node)

    visit_FunctionDef = visit_AsyncFunctionDef = _function

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST | None:
        if _name(node.target) in SPEED_ONLY:
            return None
        node.annotation = ast.Constant(None)
        return self.generic_visit(node)

    def visit_Assign(self, node: ast.Assign) -> ast.AST | None:
        names = {_name(each) for target in node.targets for each in getattr(target, "elts", [target])}
        alias = all(name[:1].isupper() and not name.isupper() for name in names)
        return None if alias or names <= SPEED_ONLY else self.generic_visit(node)

    def visit_Expr(self, node: ast.Expr) -> ast.AST | None:
        return None if isinstance(node.value, ast.Constant) else self.generic_visit(node)

    def visit_Assert(self, node: ast.Assert) -> None:
        return None

    def visit_Raise(self, node: ast.Raise) -> ast.AST:
        return ast.Raise(ast.Name(_name(node.exc), ast.Load()) if node.exc else None)

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        node.ops = [SAME.get(type(op), type(op))() for op in node.ops]
        return self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> ast.AST:
        node.keywords = [keyword for keyword in node.keywords if keyword.arg not in FLAGS]
        if _name(node) == "randrange":
            node.args = []
        return self.generic_visit(node)


def _name(node: ast.AST | None) -> str:
    """Return the last name of what is called, decorated or assigned."""
    if isinstance(node, ast.Call):
        return _name(node.func)
    return getattr(node, "attr", None) or getattr(node, "id", "")


def bare(code: str) -> str | None:
    """Return what of a module a test can be asked to notice; None if it is no Python."""
    try:
        tree = ast.parse(code)
    except SyntaxError:
        return None
    return ast.dump(_Bare().visit(tree))


def _of_masks(code: str, line: int) -> bool:
    """Return whether no ``&`` or ``|`` on a line has a number or a shift on either side."""
    found = [
        side
        for node in ast.walk(ast.parse(code))
        if isinstance(node, ast.BinOp) and isinstance(node.op, (ast.BitAnd, ast.BitOr)) and node.lineno == line
        for side in (node.left, node.right)
    ]
    return bool(found) and not any(
        isinstance(side, ast.Constant)
        or (isinstance(side, ast.BinOp) and not isinstance(side.op, (ast.BitAnd, ast.BitOr, ast.BitXor)))
        for side in found
    )


def sample(folder: str, number: int, seed: int, only: str = "") -> list[Mutant]:
    """Return so many changes: a place by chance, then one of its operators by chance."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    rng = random.Random(seed)
    places = all_places(folder)
    order = sorted(place for place in places if only in place[0])
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
        if name.endswith(SAME_ON_MASKS) and _of_masks(before, place[1]):
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


@dataclass(frozen=True)
class TestLines:
    """Which test runs which lines of a folder, and how long it takes."""

    lines: dict[str, dict[str, set[int]]]
    """By file and test; the test ``""`` is the loading of the module."""
    seconds: dict[str, float]


def lines_of_tests(folder: str, tree: Path, kept: Path | None) -> TestLines:
    """Return for each file of the folder the lines that each test runs."""
    import coverage

    where = kept or tree / "lines.cov"
    times = where.with_suffix(".xml")
    if not (where.exists() and times.exists()):
        words = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"--cov=converter.{folder}"]
        words += ["--cov-context=test", "--cov-report=", f"--junitxml={times}", "-o", "junit_family=xunit1"]
        words += TESTS.get(folder, [f"tests/{folder}"])
        path = os.pathsep.join([str(tree), os.environ.get("PYTHONPATH", "")])
        environment = {**os.environ, "PYTHONPATH": path, "COVERAGE_FILE": str(where)}
        subprocess.run(words, cwd=tree, env=environment, check=True, stdout=subprocess.DEVNULL)
    data = coverage.CoverageData(str(where))
    data.read()
    seconds = {
        f"{case.get('file')}::{case.get('name')}": float(case.get("time", "0"))
        for case in ElementTree.parse(times).getroot().iter("testcase")
    }
    found: dict[str, dict[str, set[int]]] = defaultdict(lambda: defaultdict(set))
    for file in data.measured_files():
        name = "converter/" + file.split("/converter/")[-1]
        for line, contexts in data.contexts_by_lineno(file).items():
            for context in contexts:
                test, _, phase = context.partition("|")
                # What is set up once for a whole file of tests shows up with the first of them only.
                tests = [test] if phase != "setup" else [t for t in seconds if t.split("::")[0] == test.split("::")[0]]
                for each in tests:
                    found[name][each].add(line)
    return TestLines(found, seconds)


def statement_lines(code: str, line: int) -> range:
    """Return the lines of the innermost statement on a line; of one with a body, those of its head."""
    best = range(line, line + 1)
    for node in ast.walk(ast.parse(code)):
        if not isinstance(node, ast.stmt):
            continue
        first = min([node.lineno, *(each.lineno for each in getattr(node, "decorator_list", []))])
        last = node.body[0].lineno - 1 if getattr(node, "body", None) else node.end_lineno or node.lineno
        # Of several on one line the walk meets the innermost last.
        if first <= line <= max(first, last):
            best = range(first, max(first, last) + 1)
    return best


def tests_for(mutant: Mutant, told: TestLines) -> list[str]:
    """Return the tests that run the line of a change, or the file where it runs as the module is loaded."""
    tests = {test: at for test, at in told.lines.get(mutant.file, {}).items() if test in told.seconds}
    lines = statement_lines((ROOT / mutant.file).read_text(encoding="utf-8"), mutant.line)
    on_line = [test for test, at in tests.items() if not at.isdisjoint(lines)]
    if not on_line and not told.lines.get(mutant.file, {}).get("", set()).isdisjoint(lines):
        on_line = list(tests)
    module = Path(mutant.file).stem

    def likely(test: str) -> tuple[bool, float, str]:
        own = Path(test.split("::")[0]).stem.removeprefix("test_").removesuffix("_edges") == module
        seconds = told.seconds.get(test, 0.0)
        return not own or seconds > OWN_QUICK, seconds, test

    return sorted(on_line, key=likely)


def first_tests(tests: list[str], told: TestLines, seconds: float) -> list[str]:
    """Return the first tests that take at most so many seconds together, and one at least; and as many of `RECORDS`."""
    found = []
    for records in (False, True):
        some = [test for test in tests if (RECORDS in test) == records]
        spent = list(itertools.accumulate(told.seconds.get(test, 0.0) for test in some))
        found += some[: max(1, bisect.bisect_right(spent, seconds))]
    return found


RECORDS = "records.py::"
"""In the names of tests that tell only whether anything has changed: what they alone notice is told apart."""


OWN_QUICK = 1.0
"""Seconds; of the tests of the module's own file those that take longer wait for their turn among the others."""


class _Chosen:
    """Runs the tests given in their order, and stops the process when one takes far longer, in processor time, than it
    did on the code as it is."""

    def __init__(self, tests: list[str], told: TestLines, seconds: int) -> None:
        self.place = {test: at for at, test in enumerate(tests)}
        self.told, self.least = told, seconds

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        # A change may alter the very list of tests, where it is made by the code; such new ones come last.
        held = [item for item in items if item.nodeid in self.place or item.nodeid not in self.told.seconds]
        items[:] = sorted(held, key=lambda item: self.place.get(item.nodeid, len(self.place)))

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        signal.setitimer(signal.ITIMER_PROF, self.least + 5 * self.told.seconds.get(nodeid, 0.0))


FIRST = 12
"""Tests that are tried before the files of all others are even loaded."""


def outcome(mutant: Mutant, tests: list[str], tree: Path, told: TestLines, seconds: int) -> str:
    """Try one change; return 'killed' or 'killed by time', and 'by records' if by those alone, or 'alive'."""
    if not tests:
        return "alive, no test runs it"
    path = tree / mutant.file
    before = path.read_text(encoding="utf-8")
    Path(importlib.util.cache_from_source(str(path))).unlink(missing_ok=True)
    path.write_text(mutant.code, encoding="utf-8")
    try:
        records = [test for test in tests if RECORDS in test]
        others = [test for test in tests if RECORDS not in test]
        for part in (others[:FIRST], others[FIRST:], records):
            result = _tried(part, tree, told, seconds) if part else "alive"
            if result != "alive":
                return f"{result}, by records" if part is records else result
    finally:
        path.write_text(before, encoding="utf-8")
    return "alive"


def _tried(tests: list[str], tree: Path, told: TestLines, seconds: int) -> str:
    child = os.fork()
    if not child:
        run_tests(tests, tree, _Chosen(tests, told, seconds))
    status = os.waitpid(child, 0)[1]
    if os.WIFSIGNALED(status):
        return "killed by time"
    code = os.WEXITSTATUS(status)
    # 5: the change alters the list of tests, and none of these is left.
    if code not in (0, 1, 5) and "error" not in (tree / "told.txt").read_text(errors="replace").lower():
        raise RuntimeError((tree / "told.txt").read_text(errors="replace"))
    return "alive" if code in (0, 5) else "killed"


def run_tests(tests: list[str], tree: Path, chosen: _Chosen) -> None:
    """In a process of its own: run the tests and leave with their code."""
    import pytest

    told = os.open(tree / "told.txt", os.O_RDWR | os.O_CREAT | os.O_TRUNC)
    for stream in (1, 2):
        os.dup2(told, stream)
    os.chdir(tree)
    sys.path.insert(0, str(tree))
    sys.dont_write_bytecode = True
    signal.signal(signal.SIGPROF, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_PROF, 2 * chosen.least)
    code = 70
    try:
        files = list(dict.fromkeys(test.split("::")[0] for test in tests))
        # Whether an assertion holds is all that is asked, and rewriting them takes longer than most tests.
        words = ["-x", "-q", "--assert=plain", "-p", "no:cacheprovider", "-p", "no:cov", "-p", "no:anyio"]
        code = pytest.main([*words, *files], plugins=[chosen])
    finally:
        os._exit(int(code))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", help="a folder of converter, such as raster")
    parser.add_argument("--only", default="", help="a part of the names of the modules to take, such as moves")
    parser.add_argument("--number", type=int, default=80)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=int, default=30, help="CPU time a test may take beyond five times its usual")
    parser.add_argument("--enough", type=float, default=float("inf"), help="seconds of tests tried on each change")
    parser.add_argument(
        "--lines", type=Path, help="keep which test runs which line in this file, or take it from there"
    )
    chosen = parser.parse_args()
    mutants = sample(chosen.folder, chosen.number, chosen.seed, chosen.only)
    tree = copy_tree()
    told = lines_of_tests(chosen.folder, tree, chosen.lines)
    # Loaded once; each change is tried in a fork of this process. Nothing of the product may be loaded here.
    for module in PRELOADED:
        importlib.import_module(module)
    sys.modules["cv2"].setNumThreads(1)
    assert not any(name.split(".")[0] == "converter" for name in sys.modules)
    first = next(m for m in mutants if tests_for(m, told))
    unchanged = replace(first, code=(ROOT / first.file).read_text(encoding="utf-8"))
    if outcome(unchanged, tests_for(first, told)[:20], tree, told, chosen.seconds) != "alive":
        print((tree / "told.txt").read_text(errors="replace"))
        raise SystemExit("The tests fail on the code as it is.")
    tally: dict[str, int] = defaultdict(int)
    for number, mutant in enumerate(mutants, 1):
        began = time.monotonic()
        tests = first_tests(tests_for(mutant, told), told, chosen.enough)
        result = outcome(mutant, tests, tree, told, chosen.seconds)
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
