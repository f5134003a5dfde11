"""The failures a user can meet, each with its exit code."""

from __future__ import annotations

from enum import IntEnum

MOST_QUOTED = 40
"""Letters of a wrong value that a message repeats."""


class ExitCode(IntEnum):
    """Exit codes of the command; the README lists them."""

    DONE = 0
    OWN_FAULT = 1
    WRONG_USE = 2
    PICTURE = 3
    REQUEST = 4
    OUTPUT = 5


def quoted(value: object) -> str:
    """Return a value as a message shows it: in quotes if it is text, cut short if it is very long.

    >>> quoted("red"), quoted(7), quoted("9" * 500)
    ("'red'", '7', "'99999999999999999999999999999999999...")
    """
    text = repr(value)
    return text if len(text) <= MOST_QUOTED else f"{text[: MOST_QUOTED - 4]}..."


class ConverterError(Exception):
    """What is wrong, and what to do about it.

    Parameters
    ----------
    message : str
        One sentence: what is wrong, with the value and the limit it breaks.
    hint : str, optional
        One sentence: what to do.
    """

    exit_code = ExitCode.OWN_FAULT

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        """Return message and hint as the user reads them."""
        return f"{self.message} {self.hint}".strip()


class UsageError(ConverterError):
    """An option or argument has a value that is not allowed."""

    exit_code = ExitCode.WRONG_USE


class PictureError(ConverterError):
    """A picture or a file cannot be read."""

    exit_code = ExitCode.PICTURE


class RequestError(ConverterError):
    """What is asked for cannot be met."""

    exit_code = ExitCode.REQUEST


class OutputError(ConverterError):
    """A result cannot be written."""

    exit_code = ExitCode.OUTPUT
