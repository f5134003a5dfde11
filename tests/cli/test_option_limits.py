"""Every option that takes a number, a length, a size or a choice, with values it must refuse."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from converter.cli.main import COMMANDS, group

HUGE = "9" * 400
NEVER = ("", " ", "x", "nan", "NaN", "inf", "-inf", "--", "1e999", "0x10", "½", "1;2", "\N{ARABIC-INDIC DIGIT THREE}x")
"""No number, length or size of ours; half a stitch and a not-a-number least of all."""
LENGTHS = ("-1cm", "5", "cm", "5 parsecs", "1e3x", f"{HUGE}cm", "nancm", "infcm", "5cm5", "--5cm")
SIZES = ("4", "4x", "x4cm", "0x4cm", "-4x4cm", "4x4", "4x4x4cm", f"{HUGE}x{HUGE}cm", "nanxnancm", "infxinfcm")
ODD: dict[str, tuple[str, ...]] = {
    "LengthType": LENGTHS,
    "SizeType": SIZES,
    "FabricType": ("0", "4", "61", "-14", "14/0", "14/5", "14/2/2", HUGE, "14/10", "14cm", "1e1"),
    "ColourType": ("#12345", "#gggggg", "nocolour", "rgb(1,2)", HUGE),
    "BoxType": ("1,2,3", "1,2,3,4,5", "50,0,40,100", "0,0,0,0", "-1,0,50,50", "0,0,101,100", "nan,0,50,50",
                "0,0,nan,nan", f"0,0,{HUGE},5", "0,0,inf,inf", "a,b,c,d"),
    "GapType": ("-1", HUGE, "1.5", "3,3,3", "4-2"),
    "WidthsType": ("3,20", "20,1001", "20,,30", "20,x", HUGE, "20.5,30", "0"),
    "StitchSizeType": ("0x10", "10", "-5x5", f"{HUGE}x{HUGE}", "5.5x5", "10x", "99999x99999"),
    "RowsType": ("0-3", "3", "5-2", "-1-4", f"{HUGE}-{HUGE}", "a-b"),
    "NumbersType": ("-1", "1,,2", "1.5", "a", HUGE + "x"),
    "PartType": ("1,2,3", "a,b,c,d", "-1,0,5,5", "1,2,3,4,5", f"0,0,{HUGE},"),
    "RepeatType": ("0x3", "3", "-1x3", f"{HUGE}x{HUGE}", "2.5x2", "ax2"),
    "GridSizeType": ("0x10", "10", "-5x5", f"{HUGE}x5", "1001x5", "5.5x5"),
    "CornersType": ("1,2 3,4", "a,b c,d e,f g,h", "1,2,3,4,5,6,7,8,9", "nan,0 1,1 1,1 1,1"),
    "MarksType": ("-1", "1,,2", "a", HUGE, "1.5"),
}  # fmt: skip


def options() -> list[Any]:
    found = []
    for name in COMMANDS:
        command = group.get_command(click.Context(group), name)
        assert command is not None
        for param in command.params:
            plain = isinstance(param.type, (click.Path, type(click.STRING), type(click.BOOL)))
            if isinstance(param, click.Option) and not plain and not param.is_flag:
                found.append(pytest.param(name, param, id=f"{name} {param.opts[-1]}"))
    return found


def refused_values(kind: click.ParamType[Any]) -> list[str]:
    if isinstance(kind, click.Choice):
        return ["", "x", "nan", f"{kind.choices[0]} ", HUGE, "-1"]
    if isinstance(kind, (click.IntRange, click.FloatRange)):
        step = 1 if isinstance(kind, click.IntRange) else 1e-6
        values = [*NEVER, f"-{HUGE}"]
        if kind.min is not None:
            values.append(f"{kind.min - step}")
        if kind.max is not None:
            values += [f"{kind.max + step}", HUGE]
        if isinstance(kind, click.IntRange):
            values += ["3.5", "1e2"]
        return values
    return [*NEVER, *ODD[type(kind).__name__]]


@pytest.fixture
def place(tmp_path, fixtures, monkeypatch):
    shutil.copy(fixtures / "charts" / "cup.chart.json", tmp_path)
    shutil.copy(fixtures / "pictures" / "heron.png", tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("converter.page.run.serve", None, raising=False)
    return tmp_path


@pytest.mark.parametrize(("name", "option"), options())
def test_a_value_that_cannot_be_is_refused_in_one_sentence(place, name, option):
    source = {"page": [], "chart": ["heron.png"], "sizes": ["heron.png"], "squares": ["heron.png"]}
    before = files_in(place)
    for value in refused_values(option.type):
        words = [name, *source.get(name, ["cup.chart.json"]), f"{option.opts[-1]}={value}", *needs(name)]
        result = CliRunner().invoke(group, words)
        told = (option.opts[-1], value[:30], result.exit_code, result.output[-300:], result.exception)
        assert result.exit_code == 2, told
        assert result.stdout == "", told
        last = result.stderr.strip().splitlines()[-1]
        assert option.opts[-1] in result.stderr or last.startswith("onecolour: "), told
        assert len(last) <= 300 + 3 * len(value) and last.endswith((".", "'", ")", "]", "?")), told
        assert "Traceback" not in result.stderr and re.search(r"[A-Z]\w+(?:Error|Exception)\b", last) is None, told
    assert files_in(place) == before


def files_in(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def needs(name: str) -> list[str]:
    """Return what a command must have besides, so that nothing else is wrong."""
    return {"page": ["--no-browser"]}.get(name, ["--out", str(Path("out"))])
