"""Work in a thread of its own gives its result, or its error, where it is asked for."""

from __future__ import annotations

import threading

import pytest

from converter.errors import RequestError
from converter.jobs.beside import Beside


def test_both_go_on_at_once() -> None:
    ours, theirs = threading.Event(), threading.Event()

    def work() -> str:
        theirs.set()
        assert ours.wait(10)
        return "done"

    beside = Beside(work)
    assert theirs.wait(10)
    ours.set()
    assert beside.result() == "done"
    assert beside.result() == "done"


def test_an_error_is_raised_where_the_result_is_asked_for() -> None:
    def work() -> None:
        raise RequestError("No.", "Ask for less.")

    beside = Beside(work)
    with pytest.raises(RequestError, match="No"):
        beside.result()
