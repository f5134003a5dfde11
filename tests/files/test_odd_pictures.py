"""Every odd or broken picture is read, or refused in one or two sentences, without much time or memory."""

import subprocess
import sys
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from helpers.odd_pictures import ALL, CUT, READ, WRONG, Odd

from converter.errors import PictureError
from converter.files.picture import picture_from_bytes

ids = [odd.name for odd in ALL]


def test_there_are_enough():
    assert len(READ) + len(CUT) + len(WRONG) >= 60


@pytest.mark.parametrize("odd", READ, ids=[odd.name for odd in READ])
def test_odd_picture_is_read(odd: Odd):
    pixels = picture_from_bytes(odd.make(), "odd", 30).pixels
    gray = pixels if pixels.ndim == 2 else pixels.mean(axis=2)
    assert pixels.dtype == np.uint8
    assert gray.shape == (60, 80)
    assert gray[45, 25] < 60 and gray[5, 70] > 200


@pytest.mark.parametrize("odd", CUT + WRONG, ids=[odd.name for odd in CUT + WRONG])
def test_broken_picture_is_refused_in_plain_words(odd: Odd, capfd):
    data = odd.make()
    tracemalloc.start()
    try:
        with pytest.raises(PictureError) as caught:
            picture_from_bytes(data, "odd", 30)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert odd.words is not None and odd.words in caught.value.message
    assert caught.value.hint
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 250
    assert peak < 100e6
    assert capfd.readouterr() == ("", "")


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs /proc to see the peak memory")
def test_bombs_are_refused_within_250_mb(tmp_path):
    """A process of its own with a cap on its memory refuses the worst files cleanly."""
    names = ("PNG of 30,000", "TIFF of 60,000", "BMP of 100,000", "GIF of 65,535", "GIF with a frame", "PNG of 2,000")
    for odd in WRONG:
        if not odd.name.startswith(names):
            continue
        path = Path(tmp_path / "bomb")
        path.write_bytes(odd.make())
        code = (
            "import sys\n"
            "from pathlib import Path\n"
            "from converter.cli.main import run\n"
            "sys.argv = ['onecolour', 'chart', sys.argv[1], '--out', sys.argv[2]]\n"
            "try:\n    run()\n"
            "except SystemExit as end:\n"
            "    status = Path('/proc/self/status').read_text()\n"
            "    print(end.code, int(status.split('VmHWM:')[1].split()[0]) / 1024)\n"
        )
        done = subprocess.run(
            [sys.executable, "-c", code, str(path), str(tmp_path / "out")], capture_output=True, text=True, check=True
        )
        exit_code, peak_mb = done.stdout.split()
        assert int(exit_code) == 3, odd.name
        assert float(peak_mb) < 250, odd.name
        assert len(done.stderr.strip().splitlines()) == 1
