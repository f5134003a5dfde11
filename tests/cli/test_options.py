"""Each option of ``onecolour chart`` reaches its setting; the usual values are those of the settings."""

import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from converter.cli import chart
from converter.cli import options as shared
from converter.cli.main import COMMANDS, group
from converter.jobs import batch
from converter.settings import (
    KINDS,
    LINE_MODES,
    MIRRORS,
    PIECES,
    ChartSettings,
    LimitSettings,
    LineSettings,
    PictureSettings,
    ReductionSettings,
    ThreadSettings,
    TimeSettings,
)
from converter.units import PAPER_SIZES_MM


@pytest.fixture
def request_of(monkeypatch):
    """Return the request that a command line makes."""
    caught = []

    def catch(pictures, request, folder, names, overwrite):
        caught.append((request, folder, names, overwrite))
        return iter(())

    monkeypatch.setattr(batch, "chart_pictures", catch)

    def run(*words):
        result = CliRunner().invoke(group, ["chart", "heron.png", *words])
        assert result.exit_code == 0, result.output
        return caught.pop()

    return run


def test_defaults_are_those_of_the_settings(request_of):
    request, folder, names, overwrite = request_of()
    assert request.settings == ChartSettings()
    assert request.settings.picture == PictureSettings()
    assert request.settings.reduction == ReductionSettings()
    assert request.settings.lines == LineSettings()
    assert request.limits == LimitSettings()
    assert request.thread == ThreadSettings()
    assert request.time == TimeSettings()
    assert (folder, names, overwrite) == (Path(), ["heron"], False)


REACHES = [
    ("--wide 80", "settings.reduction.columns", 80),
    ("--high 40", "settings.reduction.rows", 40),
    ("--high 40", "settings.reduction.columns", None),
    ("--kind shape", "settings.reduction.kind", "shape"),
    ("--dark -30", "settings.reduction.dark", -30),
    ("--detail 70", "settings.reduction.detail", 70),
    ("--tidy 10", "settings.reduction.tidy", 10),
    ("--mirror upright", "settings.reduction.mirror", "upright"),
    ("--deskew no", "settings.reduction.deskew", False),
    ("--subject 10,20,80,90", "settings.reduction.subject", (10, 20, 80, 90)),
    ("--crop 5,0,95.5,100", "settings.picture.crop", (5, 0, 95.5, 100)),
    ("--turn 90", "settings.picture.turn", 90),
    ("--invert", "settings.picture.invert", True),
    ("--trim no", "settings.picture.trim", False),
    ("--sheet no", "settings.picture.sheet", False),
    ("--rulings yes", "settings.picture.rulings", True),
    ("--lines edges", "settings.lines.lines", "edges"),
    ("--most-lines 30", "settings.lines.most_lines", 30),
    ("--half-points", "settings.lines.half_points", True),
    ("--fit 4x4in", "limits.fit_mm", (101.6, 101.6)),
    ("--stitches 900", "limits.stitches", 900),
    ("--hours 6.5", "limits.hours", 6.5),
    ("--skeins 2", "limits.skeins", 2),
    ("--piece sachet", "limits.piece", "sachet"),
    ("--piece sachet", "piece", "sachet"),
    ("--pace 60", "time.pace", 60),
    ("--fabric 28/2", "materials.fabric", (28.0, 2)),
    ("--fabric 55/10cm", "materials.fabric", (55 * 25.4 / 100, 1)),
    ("--fabric 110/10cm/2", "materials.fabric", (110 * 25.4 / 100, 2)),
    ("--thread crimson", "materials.thread_colour", "#dc143c"),
    ("--thread #0a0b0c", "materials.thread_colour", "#0a0b0c"),
    ("--thread-name madder", "materials.thread_name", "madder"),
    ("--ground linen", "materials.ground", "#faf0e6"),
    ("--strands 3", "materials.strands", 3),
    ("--paper letter", "paper", "letter"),
    ("--keep mask.png", "keep", Path("mask.png")),
    ("--clear mask.png", "clear", Path("mask.png")),
    ("--wide 80", "wide_given", True),
    ("--hours 3", "wide_given", False),
]


@pytest.mark.parametrize(("words", "where", "value"), REACHES)
def test_option_reaches_its_setting(request_of, words, where, value):
    found = request_of(*words.split(" "))[0]
    for name in where.split("."):
        found = getattr(found, name)
    assert found == (pytest.approx(value) if isinstance(value, float) else value)


def test_every_chart_option_is_tested():
    command = group.get_command(None, "chart")
    named = {words.split(" ")[0] for words, _, _ in REACHES}
    elsewhere = {"--out", "--name", "--overwrite", "--json", "--sample-crosses", "--sample-length"}
    opts = {p.opts[-1] for p in command.params if p.opts[0].startswith("--")}
    assert opts - named == elsewhere


def test_output_options(request_of):
    _, folder, names, overwrite = request_of("--out", "charts", "--name", "My heron", "--overwrite")
    assert (folder, names, overwrite) == (Path("charts"), ["My heron"], True)


def test_choices_are_those_of_the_settings():
    assert shared.KINDS == KINDS
    assert shared.LINE_MODES == LINE_MODES
    assert shared.MIRRORS == MIRRORS
    assert shared.PIECES == PIECES
    assert set(PAPER_SIZES_MM) == {"A4", "letter"}


@pytest.mark.parametrize(
    "words",
    [
        "--wide 3", "--wide 1001", "--wide x", "--dark 101", "--detail -1", "--tidy 200", "--turn 45", "--kind ink",
        "--crop 1,2,3", "--crop 50,0,40,100", "--crop a,b,c,d", "--subject 0,0,0,0", "--lines some", "--fit 4",
        "--fit 0x4in", "--fabric 3", "--fabric 99", "--fabric 14/9", "--fabric x", "--thread nocolour", "--strands 7",
        "--pace 0", "--hours 0", "--stitches 0", "--skeins -1", "--piece hat", "--paper A3", "--mirror yes",
        "--most-lines -1", "--sample-crosses 36", "--sample-length 45cm", "--name a/b", "--nothing", "--trim maybe",
    ],
)  # fmt: skip
def test_wrong_use_is_code_2_with_one_message(words):
    result = CliRunner().invoke(group, ["chart", "heron.png", *words.split(" ")])
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Traceback" not in result.output


def test_no_picture_is_wrong_use():
    assert CliRunner().invoke(group, ["chart"]).exit_code == 2


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself_with_an_example(name):
    result = CliRunner().invoke(group, [name, "--help"])
    assert result.exit_code == 0
    assert f"onecolour {name}" in result.output.split("Usage:")[1].split("\n", 1)[1]


@pytest.mark.parametrize(("terminal", "quiet", "told"), [(True, False, 1), (True, True, 0), (False, False, 0)])
def test_patience_is_asked_for_at_a_terminal_only(monkeypatch, capsys, terminal, quiet, told):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: terminal, raising=False)
    shared.ask_patience("Wait a little.", quiet)
    out, err = capsys.readouterr()
    assert (out, err) == ("", "Wait a little.\n" * told)


@pytest.mark.parametrize(("words", "asked"), [("", []), ("--hours 5", [False]), ("--fit 4x4in --json", [True])])
def test_limits_ask_for_patience(request_of, monkeypatch, words, asked):
    quiet = []
    monkeypatch.setattr(chart, "ask_patience", lambda why, as_json: quiet.append(as_json))
    request_of(*words.split())
    assert quiet == asked
