"""Pieces on disk: whole or not at all, thrown away and brought back, one program at a time."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from converter.errors import OutputError, PictureError, RequestError
from converter.jobs.workspace import MAX_NAME, Workspace, tidy_name

STATE = {"name": "Heron", "settings": {}}


@pytest.fixture
def workspace(tmp_path):
    space = Workspace(tmp_path / "pieces")
    yield space
    space.close()


def test_piece_is_kept_with_its_picture_and_listed(workspace):
    piece = workspace.create(b"picture bytes", STATE)
    assert workspace.picture(piece) == b"picture bytes"
    assert workspace.history(piece).state == STATE
    assert [entry.name for entry in workspace.entries()] == ["Heron"]


def test_names_never_become_paths(workspace):
    for name in ("../../etc/passwd", "a/b", "C:\\x", "con", "x" * 500, "\0", "…"):
        workspace.create(b"x", {"name": tidy_name(name)})
    names = {path.name for path in workspace.folder.iterdir()}
    assert all(len(name) == 16 or name.startswith(".") for name in names)
    assert max(len(entry.name) for entry in workspace.entries()) <= MAX_NAME


@pytest.mark.parametrize("piece", ["", ".", "..", "../x", "0" * 15, "0" * 16, "G" * 16, "a" * 16 + "/..", None, 7])
def test_wrong_ids_lead_nowhere(workspace, piece):
    for method in (workspace.history, workspace.picture, workspace.throw_away, workspace.picture_path):
        with pytest.raises(PictureError):
            method(piece)


def test_thrown_away_piece_comes_back_with_its_past(workspace):
    piece = workspace.create(b"x", STATE)
    workspace.history(piece).change([{"at": ["settings"], "set": {"dark": 5}}], "Dark")
    workspace.throw_away(piece)
    assert workspace.entries() == []
    with pytest.raises(PictureError):
        workspace.history(piece)
    assert workspace.thrown_away() == [(piece, "Heron")]
    workspace.bring_back(piece)
    assert workspace.thrown_away() == []
    assert workspace.history(piece).state["settings"] == {"dark": 5}
    assert workspace.history(piece).undo_label == "Dark"
    with pytest.raises(PictureError):
        workspace.bring_back(piece)


def test_copy_goes_its_own_way(workspace):
    piece = workspace.create(b"x", STATE)
    other = workspace.copy(piece, "Heron again")
    workspace.history(other).change([{"at": ["settings"], "set": {"dark": 5}}], "Dark")
    assert workspace.history(piece).state == STATE
    assert {entry.name for entry in workspace.entries()} == {"Heron", "Heron again"}


def test_half_made_piece_of_a_crash_is_swept_away(tmp_path):
    folder = tmp_path / "pieces"
    (folder / (".new-" + "a" * 16)).mkdir(parents=True)
    (folder / "her own.txt").write_text("hers")
    space = Workspace(folder)
    assert not (folder / (".new-" + "a" * 16)).exists() and (folder / "her own.txt").read_text() == "hers"
    space.close()


def test_unreadable_piece_does_not_hide_the_others(workspace):
    good = workspace.create(b"x", STATE)
    bad = workspace.create(b"x", STATE)
    (workspace.folder / bad / "journal.jsonl").write_bytes(b"\x00" * 50)
    fresh = Workspace.__new__(Workspace)
    fresh.__dict__.update(workspace.__dict__, _open={}, _names={})
    assert [entry.id for entry in fresh.entries()] == [good]


def test_second_program_on_the_folder_is_told(workspace):
    with pytest.raises(RequestError):
        Workspace(workspace.folder)
    code = (
        "import sys; from pathlib import Path; from converter.jobs.workspace import Workspace\n"
        "try: Workspace(Path(sys.argv[1]))\n"
        "except Exception as error: print(type(error).__name__)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(workspace.folder)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "RequestError"
    workspace.close()
    Workspace(workspace.folder).close()


def test_folder_that_cannot_be_made_is_an_output_error(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError):
        Workspace(tmp_path / "file" / "pieces")


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_read_only_folder_is_an_output_error(tmp_path):
    folder = tmp_path / "locked"
    folder.mkdir()
    folder.chmod(0o500)
    with pytest.raises(OutputError):
        Workspace(folder)
    folder.chmod(0o700)


def test_tidy_name_keeps_what_she_typed():
    assert tidy_name("Großmutters Fächer – 2") == "Großmutters Fächer – 2"
    assert tidy_name("a\u200bb\x07c\ud800") == "a b c"
    assert tidy_name("   ", "Piece") == "Piece"
