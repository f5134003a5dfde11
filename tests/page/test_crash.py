"""kill -9 at any moment of saving: whatever was confirmed is there, nothing is half there."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time

import pytest

from converter.jobs.workspace import Workspace

pytestmark = pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL there")

WRITER = """
import sys
from pathlib import Path
from converter.jobs.workspace import Workspace

space = Workspace(Path(sys.argv[1]))
pieces = [entry.id for entry in space.entries()]
number = int(sys.argv[2])
while True:
    number += 1
    state = {"name": f"piece {number}", "settings": {}, "hands": {}}
    piece = space.create(bytes([number % 256]) * 20_000, state)
    print("made", piece, number, flush=True)
    history = space.history(piece)
    for step in range(1, 6):
        cells = {f"{row},{step}": 1 for row in range(200)}
        patch = [{"at": ["hands", "motif1", "cells"], "set": cells}, {"at": ["settings"], "set": {"dark": step}}]
        history.change(patch, f"step {step}")
        print("step", piece, step, flush=True)
        space.keep_glance(piece, {"rows": step, "columns": 1, "bits": "A" * 4000})
    history.undo()
    print("step", piece, 4, flush=True)
    if number % 3 == 0:
        space.throw_away(piece)
        print("gone", piece, 0, flush=True)
"""


@pytest.mark.parametrize("kills", [12, pytest.param(50, marks=pytest.mark.slow)])
def test_nothing_saved_is_lost_however_often_it_is_killed(tmp_path, kills):
    """The writer says what it has saved only after the call returned; of the step in work either state is right."""
    chance = random.Random(kills)
    folder = tmp_path / "pieces"
    made: dict[str, int] = {}
    steps: dict[str, int] = {}
    gone: set[str] = set()
    last = ""
    for _ in range(kills):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder), str(len(made))], stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        said = [writer.stdout.readline()]
        time.sleep(chance.random() * 0.05)
        writer.send_signal(signal.SIGKILL)
        said += writer.stdout.readlines()
        writer.wait()
        writer.stdout.close()
        for line in said:
            parts = line.split()
            if len(parts) != 3 or not line.endswith("\n"):
                continue
            what, piece, value = parts
            last = piece
            if what == "made":
                made[piece] = int(value)
                steps[piece] = 0
            elif what == "step":
                steps[piece] = int(value)
            else:
                gone.add(piece)
        space = Workspace(folder)
        listed = {entry.id: entry for entry in space.entries()}
        for piece, number in made.items():
            if piece not in listed:
                # Thrown away, or it was just being thrown away when the end came.
                assert piece in gone or piece == last
                space.bring_back(piece)
                gone.discard(piece)
            history = space.history(piece)
            assert history.state["name"] == f"piece {number}"
            assert space.picture(piece) == bytes([number % 256]) * 20_000
            step = history.state["settings"].get("dark", 0)
            allowed = {steps[piece]}
            if piece == last:
                allowed |= {steps[piece] + 1, 4}
            assert step in allowed, (piece, step, steps[piece])
            cells = history.state["hands"].get("motif1", {}).get("cells", {})
            assert len(cells) == 200 * step
            steps[piece] = step
        left = [path.name for path in folder.iterdir() if path.name.startswith(".new-")]
        assert left == []
        space.close()
    assert len(made) >= kills and sum(steps.values()) > kills
