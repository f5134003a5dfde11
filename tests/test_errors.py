"""Each failure has its code, and says what is wrong and what to do."""

from pathlib import Path

import pytest

from converter import errors

README = Path(__file__).resolve().parent.parent / "README.md"


@pytest.mark.parametrize(
    ("kind", "code"),
    [
        (errors.ConverterError, 1),
        (errors.UsageError, 2),
        (errors.PictureError, 3),
        (errors.RequestError, 4),
        (errors.OutputError, 5),
    ],
)
def test_code_and_words(kind, code):
    error = kind("This is wrong.", "Do that.")
    assert error.exit_code == code
    assert str(error) == "This is wrong. Do that."
    assert str(kind("This is wrong.")) == "This is wrong."


def test_every_code_stands_in_the_readme():
    text = README.read_text(encoding="utf-8")
    for code in errors.ExitCode:
        assert f"| {int(code)} |" in text
