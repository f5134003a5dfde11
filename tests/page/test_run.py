"""Starting and stopping the page from the command."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from converter.errors import UsageError
from converter.page import run

COMMAND = [sys.executable, "-c", "from converter.cli.main import run; run()", "page", "--no-browser", "--port", "0"]


def start(folder: Path) -> tuple[subprocess.Popen[str], str, str]:
    page = subprocess.Popen(
        [*COMMAND, "--folder", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert page.stdout is not None
    return page, page.stdout.readline().strip(), page.stdout.readline().strip()


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent in another way there")
def test_command_serves_says_where_and_stops_in_peace(tmp_path):
    folder = tmp_path / "my pieces"
    page, first, second = start(folder)
    try:
        address = first.rsplit(" ", 1)[1]
        assert address.startswith("http://127.0.0.1:") and second.endswith(str(folder))
        with urllib.request.urlopen(address) as answer:
            assert b"What would you like to stitch?" in answer.read()
        again = subprocess.run(
            [*COMMAND, "--folder", str(folder)], capture_output=True, text=True, timeout=60, check=False
        )
        assert again.returncode == 4 and "another running page" in again.stderr
    finally:
        page.send_signal(signal.SIGINT)
        rest = page.communicate(timeout=30)
    assert page.returncode == 0 and rest[1] == ""


def test_folder_that_cannot_be_used_is_said_in_words(tmp_path):
    (tmp_path / "file").write_text("x")
    done = subprocess.run(
        [*COMMAND, "--folder", str(tmp_path / "file" / "pieces")],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 5 and done.stderr.startswith("onecolour: Pieces cannot be kept")


def test_missing_parts_are_said_in_words(monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    with pytest.raises(UsageError, match="not installed"):
        run.serve(tmp_path, 0, open_browser=False, say=print)


def test_taken_port_gives_way_to_a_free_one():
    with run._listen(0) as first, run._listen(first.getsockname()[1]) as second:
        assert second.getsockname()[0] == "127.0.0.1"
        assert second.getsockname()[1] != first.getsockname()[1]


def test_help_names_the_folder_and_an_example():
    done = subprocess.run([*COMMAND[:4], "--help"], capture_output=True, text=True, timeout=60, check=True)
    assert "--folder" in done.stdout and "onecolour page" in done.stdout
