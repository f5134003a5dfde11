"""kill -9 while a command writes: each file is whole, old or new, and the next run leaves nothing lying about."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from helpers.writing_commands import COMMANDS, commands, draw_squared_paper

from converter.files.output import check_targets

pytestmark = pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL there")

# One process is warmed up and forks a child for each run, so that a hundred runs take no hundred starts. The child
# says when it begins to write, and writes in small bites so that there are many moments to be killed at.
RUNNER = """
import os, sys, time
from pathlib import Path
import converter.files.output as output
from converter.cli.main import group

class Bites:
    def __init__(self, stream): self.stream = stream
    def __enter__(self): self.stream.__enter__(); return self
    def __exit__(self, *what): return self.stream.__exit__(*what)
    def fileno(self): return self.stream.fileno()
    def flush(self): self.stream.flush()
    def write(self, data):
        step = max(1, len(data) // 8)
        for start in range(0, len(data), step):
            self.stream.write(data[start:start + step]); self.stream.flush(); time.sleep(0.0005)
plain_open = Path.open
def bitten(self, mode="r", *rest, **more):
    stream = plain_open(self, mode, *rest, **more)
    return Bites(stream) if mode == "xb" and self.name.startswith(".onecolour-") else stream
Path.open = bitten
told = False
def first(path):
    global told
    if not told and path.name.startswith(".onecolour-"):
        told = True
        os.write(1, b"writing\\n")
part = output._part_path
def told_part(path):
    made = part(path)
    if Path(path).name != "trial":
        first(made)
    return made
output._part_path = told_part
group(["chart", sys.argv[1], "--wide", "12", "--out", sys.argv[2], "--name", "warm"], standalone_mode=False)
told = False
for line in sys.stdin:
    words = line.rstrip("\\n").split("\\t")
    child = os.fork()
    if not child:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 2)
        sys.stdout = open(os.devnull, "w")
        group(words, standalone_mode=False)
        os._exit(0)
    os.write(1, f"child {child}\\n".encode())
    os.waitpid(child, 0)
    os.write(1, b"ended\\n")
"""


class Runner:
    def __init__(self, fixtures: Path, folder: Path) -> None:
        arguments = [str(fixtures / "pictures" / "heron.png"), str(folder / "warm")]
        self.process = subprocess.Popen(
            [sys.executable, "-c", RUNNER, *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        while not self._line().startswith("Written"):
            pass

    def _line(self) -> str:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line, "the runner is gone"
        return line.strip()

    def run(self, words: list[str], kill_after: float | None = None) -> float:
        """Run a command; kill it so many seconds after it began to write. Return how long the writing took."""
        assert self.process.stdin is not None
        self.process.stdin.write("\t".join(words) + "\n")
        self.process.stdin.flush()
        child, began = 0, 0.0
        while True:
            line = self._line()
            if line.startswith("child "):
                child = int(line.split()[1])
            elif line == "writing":
                began = time.monotonic()
            elif line == "ended":
                return time.monotonic() - began
            if child and began and kill_after is not None:
                time.sleep(kill_after)
                with contextlib.suppress(ProcessLookupError):
                    os.kill(child, signal.SIGKILL)
                kill_after = None

    def close(self) -> None:
        self.process.kill()
        self.process.communicate()


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if not path.name.startswith(".")}


@pytest.mark.parametrize(
    ("command", "kills"),
    [("chart", 6), *(pytest.param(name, 100, marks=pytest.mark.slow) for name in COMMANDS)],
)
def test_files_are_whole_old_or_whole_new(fixtures, tmp_path, command, kills):
    out, other = tmp_path / "out", tmp_path / "other"
    draw_squared_paper(tmp_path)
    runner = Runner(fixtures, tmp_path)
    try:
        runner.run(commands(fixtures, other, "navy")[command])
        new = contents(other)
        took = runner.run(commands(fixtures, out, "maroon")[command])
        old = contents(out)
        assert old.keys() == new.keys() and any(old[name] != new[name] for name in old)
        chance = random.Random(kills)
        mixed = 0
        for number in range(kills):
            colour = ("navy", "maroon")[number % 2]
            runner.run(commands(fixtures, out, colour)[command], chance.uniform(0, took))
            now = contents(out)
            assert now.keys() == old.keys()
            for name, data in now.items():
                assert data in (old[name], new[name]), name
            mixed += now != old and now != new
        check_targets([out / "next.png"], overwrite=False)
        assert {path.name for path in out.iterdir()} == set(old), "something was left lying about"
    finally:
        runner.close()
    assert mixed or kills < 100 or len(old) == 1, "no kill fell between two files"


def test_two_runs_at_once_do_not_mix(fixtures, tmp_path):
    """Both write the same names; each file is of the one or of the other, and one of them may be refused."""
    alone = {}
    for colour in ("navy", "maroon"):
        folder = tmp_path / colour
        words = commands(fixtures, folder, colour)["chart"]
        subprocess.run([sys.executable, "-m", "converter", *words], check=True, capture_output=True)
        alone[colour] = contents(folder)
    out = tmp_path / "out"
    for _ in range(2):
        both = [
            subprocess.Popen(
                [sys.executable, "-m", "converter", *commands(fixtures, out, colour)["chart"]],
                stdout=subprocess.DEVNULL,
            )
            for colour in alone
        ]
        assert [each.wait() for each in both] == [0, 0]
        for name, data in contents(out).items():
            assert data in (alone["navy"][name], alone["maroon"][name]), name
        assert {path.name for path in out.iterdir()} == set(alone["navy"])
    unasked = [
        subprocess.Popen(
            [sys.executable, "-m", "converter", *commands(fixtures, tmp_path / "new", colour)["chart"][:-1]],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for colour in alone
    ]
    assert sorted(each.wait() for each in unasked) in ([0, 5], [5, 5])
    for name, data in contents(tmp_path / "new").items():
        assert data in (alone["navy"][name], alone["maroon"][name]), name
