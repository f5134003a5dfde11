"""No room for the results: a file size limit of the system stands in for a full disk. Old files stay as they were."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from helpers.writing_commands import COMMANDS, FIRST, SECOND, commands, draw_squared_paper

from converter.cli.main import group

resource = pytest.importorskip("resource", reason="this system sets no limit on the size of files")
ROOM_BYTES = 300


@contextlib.contextmanager
def little_room() -> Iterator[None]:
    """Let no file grow over `ROOM_BYTES` (POSIX setrlimit; Python ignores the signal that goes with it)."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (ROOM_BYTES, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize("command", COMMANDS)
def test_a_full_disk_leaves_each_file_as_it_was(fixtures, tmp_path, command):
    draw_squared_paper(tmp_path)
    out = tmp_path / "out"
    assert CliRunner().invoke(group, commands(fixtures, out, FIRST)[command]).exit_code == 0
    old = contents(out)
    assert max(map(len, old.values())) > ROOM_BYTES
    with little_room():
        result = CliRunner().invoke(group, commands(fixtures, out, SECOND)[command])
    assert result.exit_code == 5, result.output
    assert "cannot be written" in result.stderr and result.stderr.strip().count("\n") == 0, result.stderr
    now = contents(out)
    assert now.keys() == old.keys()
    for name, data in now.items():
        assert data == old[name] or len(data) <= ROOM_BYTES, name


@pytest.mark.parametrize("command", COMMANDS)
def test_a_full_disk_leaves_nothing_new(fixtures, tmp_path, command):
    draw_squared_paper(tmp_path)
    out = tmp_path / "out"
    with little_room():
        result = CliRunner().invoke(group, commands(fixtures, out, FIRST)[command])
    assert result.exit_code == 5, result.output
    assert all(len(data) <= ROOM_BYTES for data in contents(out).values()), "a file was written in part"
    assert not [path.name for path in out.iterdir() if path.name.startswith(".")]


def test_a_run_on_its_own_ends_with_code_5(fixtures, tmp_path):
    words = commands(fixtures, tmp_path / "out", FIRST)["count"]
    done = subprocess.run(
        [sys.executable, "-m", "converter", *words],
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (ROOM_BYTES, ROOM_BYTES)),
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (5, ""), done.stderr
    assert not list((tmp_path / "out").iterdir())


def test_a_step_on_the_page_that_finds_no_room_is_not_half_kept(fixtures, tmp_path):
    pytest.importorskip("starlette", reason="the parts that serve the page are not installed")
    from converter.errors import OutputError
    from converter.jobs.workspace import Workspace
    from converter.page.studio import Studio

    workspace = Workspace(tmp_path / "pieces")
    studio = Studio(workspace)
    cup = (fixtures / "charts" / "cup.chart.json").read_bytes()
    assert len(cup) > ROOM_BYTES
    piece = studio.create(cup, "cup.chart.json")
    before = {path for path in workspace.folder.iterdir()}
    with little_room(), pytest.raises(OutputError):
        studio.create(cup, "cup.chart.json")
    assert {path for path in workspace.folder.iterdir()} == before
    step = {"change": {"name": "é" * 100}, "label": "name" * 20, "revision": piece["revision"]}
    journal = next((workspace.folder / piece["id"]).glob("journal*"))
    room = journal.stat().st_size + 20
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, hard))
    try:
        with pytest.raises(OutputError):
            studio.step(piece["id"], step)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert studio.piece(piece["id"])["state"]["name"] == piece["state"]["name"]
    again = studio.step(piece["id"], step)
    assert again["state"]["name"] == "é" * 100
    workspace.close()
    opened = Workspace(tmp_path / "pieces")
    assert Studio(opened).piece(piece["id"])["state"]["name"] == "é" * 100
    opened.close()
