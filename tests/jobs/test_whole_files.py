"""Drawings written to a path are there whole or not at all."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import threading

import pytest

import converter
from converter.errors import OutputError
from converter.model.chart import Chart

CHART = Chart([[True, False], [False, True]])
WRITERS = [converter.draw_png, converter.draw_svg, converter.draw_pdf, converter.draw_stitched]


@pytest.fixture(params=WRITERS, ids=lambda writer: writer.__name__)
def write(request):
    return request.param


def test_path_name_and_stream_get_the_same_bytes(tmp_path, write):
    stream = io.BytesIO()
    write(CHART, stream)
    write(CHART, tmp_path / "one")
    write(CHART, str(tmp_path / "two"))
    assert stream.getvalue() == (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()
    assert {path.name for path in tmp_path.iterdir()} == {"one", "two"}


def test_a_full_disk_leaves_the_old_file(tmp_path, write):
    resource = pytest.importorskip("resource", reason="this system sets no limit on the size of files")
    path = tmp_path / "drawing"
    path.write_bytes(b"old")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (60, hard))
    try:
        with pytest.raises(OutputError, match="cannot be written"):
            write(CHART, path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert path.read_bytes() == b"old"
    assert [each.name for each in tmp_path.iterdir()] == ["drawing"]


KILLED = """
import os, signal, sys
from pathlib import Path
from converter import draw_png
from converter.model.chart import Chart
plain = Path.open
class Half:
    def __init__(self, stream): self.stream = stream
    def __enter__(self): return self
    def __exit__(self, *what): pass
    def write(self, data):
        self.stream.write(data[: len(data) // 2]); self.stream.flush()
        os.kill(os.getpid(), signal.SIGKILL)
def half(self, mode="r", *rest, **more):
    stream = plain(self, mode, *rest, **more)
    return Half(stream) if "w" in mode or "x" in mode else stream
Path.open = half
draw_png(Chart([[True]]), sys.argv[1])
"""


@pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL there")
def test_a_run_ended_in_the_middle_leaves_the_old_file_and_the_next_command_tidies_up(tmp_path):
    from converter.files.output import check_targets

    path = tmp_path / "drawing.png"
    path.write_bytes(b"old")
    done = subprocess.run([sys.executable, "-c", KILLED, str(path)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert path.read_bytes() == b"old"
    assert len(list(tmp_path.iterdir())) == 2
    check_targets([tmp_path / "next.png"], overwrite=False)
    assert [each.name for each in tmp_path.iterdir()] == ["drawing.png"]


@pytest.mark.skipif(os.name == "nt", reason="links need rights of their own there")
def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "her").mkdir()
    link = tmp_path / "link.png"
    link.symlink_to(tmp_path / "her" / "drawing.png")
    converter.draw_png(CHART, link)
    assert link.is_symlink() and (tmp_path / "her" / "drawing.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.skipif(os.name == "nt", reason="there are no named pipes there")
def test_a_pipe_is_written_to_and_not_replaced(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.append(pipe.read_bytes()), daemon=True)
    reader.start()
    converter.draw_png(CHART, pipe)
    reader.join(30)
    assert pipe.is_fifo() and read and read[0].startswith(b"\x89PNG")


def test_a_folder_is_refused(tmp_path, write):
    with pytest.raises(OutputError):
        write(CHART, tmp_path)
