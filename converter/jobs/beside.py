"""Work done beside other work, on a second core."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")


class Beside(Generic[T]):
    """Work that has been started in a thread of its own.

    It pays where most of the work needs no interpreter: decoding, packing, sums over arrays.

    Parameters
    ----------
    work : callable without arguments
    """

    def __init__(self, work: Callable[[], T]) -> None:
        self._work = work
        self._results: list[T] = []
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        try:
            self._results.append(self._work())
        except BaseException as error:  # raised again where the result is asked for
            self._error = error

    def result(self) -> T:
        """Wait for the work and return what came of it, or raise what it raised.

        Examples
        --------
        >>> Beside(lambda: 6 * 7).result()
        42
        """
        self._thread.join()
        if self._error is not None:
            raise self._error
        return self._results[0]
