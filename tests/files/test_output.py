"""Results appear whole or not at all, and never over her files unasked."""

import signal
import subprocess
import sys
import time

import pytest

from converter.errors import OutputError, UsageError
from converter.files.output import check_name, check_targets, make_folders, name_from, write_whole


def test_refuses_to_replace(tmp_path):
    path = tmp_path / "cup.png"
    path.write_bytes(b"hers")
    with pytest.raises(OutputError, match="there already"):
        write_whole(path, b"ours")
    with pytest.raises(OutputError, match="there already"):
        check_targets([path], overwrite=False)
    assert path.read_bytes() == b"hers"
    write_whole(path, b"ours", overwrite=True)
    assert path.read_bytes() == b"ours"
    assert [p.name for p in tmp_path.iterdir()] == ["cup.png"]


def test_a_link_counts_as_there(tmp_path):
    path = tmp_path / "cup.png"
    path.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutputError, match="there already"):
        check_targets([path], overwrite=False)


def test_missing_folders_are_made(tmp_path):
    path = tmp_path / "a" / "b" / "cup.png"
    check_targets([path], overwrite=False)
    make_folders([path])
    assert write_whole(path, b"x").read_bytes() == b"x"


def test_folder_in_the_way(tmp_path):
    (tmp_path / "cup.png").mkdir()
    with pytest.raises(OutputError, match="is a folder"):
        check_targets([tmp_path / "cup.png"], overwrite=True)


def test_file_in_place_of_the_folder(tmp_path):
    (tmp_path / "out").write_bytes(b"")
    with pytest.raises(OutputError):
        check_targets([tmp_path / "out" / "cup.png"], overwrite=False)


def test_full_disk_is_told(monkeypatch, tmp_path):
    import converter.files.output as output

    monkeypatch.setattr(
        output.os, "fsync", lambda number: (_ for _ in ()).throw(OSError(28, "No space left on device"))
    )
    with pytest.raises(OutputError, match="disk is full"):
        write_whole(tmp_path / "cup.png", b"x")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "name", ["", " ", ".", "..", "a/b", "a\\b", ".hidden", "a\nb", "x" * 201, "é" * 101, "a:b", " a"]
)
def test_bad_name_is_refused(name):
    with pytest.raises(UsageError):
        check_name(name)


@pytest.mark.parametrize("name", ["heron", "My 'first' heron", "Häkelstube 2", "鳥", "a.b"])
def test_good_name_is_kept(name):
    assert check_name(name) == name


def test_name_from_file(tmp_path):
    assert name_from(tmp_path / "heron.png") == "heron"
    assert name_from(tmp_path / "cup.chart.json") == "cup"
    assert name_from(tmp_path / ".png") == "png"
    assert check_name(name_from(tmp_path / ("x" * 250 + ".png")))


LOOP = """
import sys
from pathlib import Path
from converter.files.output import write_whole
path = Path(sys.argv[1])
while True:
    for letter in b"ab":
        write_whole(path, bytes([letter]) * 3_000_000, overwrite=True)
"""


def test_killed_at_any_moment_leaves_a_whole_file(tmp_path):
    path = tmp_path / "cup.png"
    path.write_bytes(b"a" * 3_000_000)
    for round_number in range(12):
        process = subprocess.Popen([sys.executable, "-c", LOOP, str(path)])
        time.sleep(0.25 + 0.013 * round_number)
        process.send_signal(signal.SIGKILL)
        process.wait()
        data = path.read_bytes()
        assert data in (b"a" * 3_000_000, b"b" * 3_000_000)
    check_targets([tmp_path / "next.png"], overwrite=False)
    assert [p.name for p in tmp_path.iterdir()] == ["cup.png"]


def test_the_check_leaves_no_folder_behind(tmp_path):
    target = tmp_path / "not" / "there" / "cup.png"
    check_targets([target], overwrite=False)
    assert list(tmp_path.iterdir()) == []
    make_folders([target])
    assert write_whole(target, b"x").read_bytes() == b"x"
    check_targets([target.with_name("next.png")], overwrite=False)
    assert target.read_bytes() == b"x"
