"""Her pieces on disk: one folder, one subfolder a piece, nothing lost by a crash.

A piece's subfolder has a random name and holds the picture as it came, the journal of all that was done
(`jobs.history`) and a small glance for the list. What she calls the piece is text inside it and never a path.
A piece appears whole (its subfolder is renamed into place) and is thrown away by a rename, which can be taken back.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
import shutil
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

from converter.errors import OutputError, PictureError, RequestError
from converter.files.output import write_whole
from converter.jobs.history import JOURNAL, History, start_journal

PICTURE: Final = "picture"
GLANCE: Final = "glance.json"
LOCK: Final = ".in-use"
THROWN_AWAY: Final = "thrown away"
_ID: Final = re.compile(r"^[0-9a-f]{16}$")
_NEW: Final = ".new-"
MAX_NAME: Final = 120


@dataclass(frozen=True)
class Entry:
    """A line in the list of pieces."""

    id: str
    name: str
    revision: int
    changed: float
    """Seconds since 1970, from the file system; for the order of the list."""
    glance: Mapping[str, Any]


def default_folder() -> Path:
    """Return where her pieces are kept when nothing else is asked for."""
    return Path.home() / "onecolour pieces"


def tidy_name(text: str, otherwise: str = "Piece") -> str:
    r"""Return a name as she typed it, without control characters and at most `MAX_NAME` long.

    Examples
    --------
    >>> tidy_name("  Heron\n no. 2 ")
    'Heron no. 2'
    >>> tidy_name("")
    'Piece'
    """
    kept = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(kept.split())[:MAX_NAME].strip() or otherwise


class Workspace:
    """The folder that holds all pieces; used by one program at a time.

    Parameters
    ----------
    folder : Path
        Made if it is not there.

    Raises
    ------
    OutputError
        If the folder cannot be made or written.
    RequestError
        If another running page uses it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder.expanduser()
        self._open: dict[str, History] = {}
        self._names: dict[str, tuple[tuple[float, int], Entry]] = {}
        self._guard = threading.RLock()
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            self._lock: IO[bytes] | None = _take_lock(self.folder / LOCK)
        except RequestError:
            raise
        except OSError as error:
            raise OutputError(
                f"Pieces cannot be kept in '{self.folder}': {error.strerror or error}.",
                "Choose another folder with --folder.",
            ) from None
        self._sweep()

    def close(self) -> None:
        """Give the folder free for another program."""
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    def entries(self) -> list[Entry]:
        """Return the pieces, last changed first."""
        found = []
        for path in self._piece_folders():
            journal = path / JOURNAL
            with contextlib.suppress(OSError, PictureError):
                stat = journal.stat()
                mark = (stat.st_mtime, stat.st_size)
                known = self._names.get(path.name)
                if known is None or known[0] != mark:
                    history = self._open.get(path.name) or History(journal)
                    name = tidy_name(str(history.state.get("name", "")))
                    entry = Entry(path.name, name, history.revision, stat.st_mtime, {})
                    known = (mark, entry)
                    self._names[path.name] = known
                entry = known[1]
                found.append(Entry(entry.id, entry.name, entry.revision, entry.changed, _read_glance(path / GLANCE)))
        return sorted(found, key=lambda entry: (-entry.changed, entry.id))

    def create(self, picture: bytes, state: Mapping[str, Any]) -> str:
        """Keep a new piece and return its id."""
        piece = secrets.token_hex(8)
        part = self.folder / f"{_NEW}{piece}"
        try:
            part.mkdir()
            with (part / PICTURE).open("xb") as stream:
                stream.write(picture)
                stream.flush()
                os.fsync(stream.fileno())
            start_journal(part / JOURNAL, state)
            part.rename(self.folder / piece)
            _sync_folder(self.folder)
        except OSError as error:
            shutil.rmtree(part, ignore_errors=True)
            raise OutputError(
                f"The piece could not be saved in '{self.folder}': {error.strerror or error}.",
                "Make room on the disk or choose another folder with --folder.",
            ) from None
        return piece

    def copy(self, piece: str, name: str) -> str:
        """Keep a copy of a piece as it is now, without its past, under a new name."""
        history = self.history(piece)
        return self.create(self.picture(piece), {**history.state, "name": tidy_name(name)})

    def history(self, piece: str) -> History:
        """Return a piece's history.

        Raises
        ------
        PictureError
            If there is no such piece or it cannot be read.
        """
        with self._guard:
            if piece not in self._open:
                self._open[piece] = History(self._path(piece) / JOURNAL)
            return self._open[piece]

    def picture(self, piece: str) -> bytes:
        """Return the picture as it came."""
        try:
            return (self._path(piece) / PICTURE).read_bytes()
        except OSError as error:
            raise PictureError(f"The piece's picture cannot be read: {error.strerror or error}.") from None

    def picture_path(self, piece: str) -> Path:
        """Return where the picture is kept."""
        return self._path(piece) / PICTURE

    def keep_glance(self, piece: str, glance: Mapping[str, Any]) -> None:
        """Keep a small picture of the chart for the list; a failure is no loss."""
        data = json.dumps(glance, separators=(",", ":")).encode()
        with contextlib.suppress(OutputError):
            write_whole(self._path(piece) / GLANCE, data, overwrite=True)

    def throw_away(self, piece: str) -> None:
        """Put a piece aside; `bring_back` returns it."""
        with self._guard:
            path = self._path(piece)
            self._open.pop(piece, None)
            try:
                (self.folder / THROWN_AWAY).mkdir(exist_ok=True)
                path.rename(self.folder / THROWN_AWAY / piece)
                _sync_folder(self.folder)
            except OSError as error:
                raise OutputError(f"The piece cannot be thrown away: {error.strerror or error}.") from None

    def thrown_away(self) -> list[tuple[str, str]]:
        """Return id and name of the pieces thrown away, by name."""
        found = []
        for path in sorted((self.folder / THROWN_AWAY).glob("*")):
            with contextlib.suppress(PictureError):
                if _ID.match(path.name):
                    found.append((path.name, tidy_name(str(History(path / JOURNAL).state.get("name", "")))))
        return sorted(found, key=lambda entry: entry[::-1])

    def bring_back(self, piece: str) -> None:
        """Return a piece that was thrown away."""
        if not _ID.match(piece):
            raise PictureError("There is no such piece.")
        try:
            (self.folder / THROWN_AWAY / piece).rename(self.folder / piece)
            _sync_folder(self.folder)
        except OSError:
            raise PictureError("There is no such piece among those thrown away.") from None

    def _path(self, piece: str) -> Path:
        if not isinstance(piece, str) or not _ID.match(piece) or not (self.folder / piece / JOURNAL).is_file():
            raise PictureError("There is no such piece.", "It may have been thrown away in another window.")
        return self.folder / piece

    def _piece_folders(self) -> list[Path]:
        try:
            return [self.folder / entry.name for entry in os.scandir(self.folder) if _ID.match(entry.name)]
        except OSError as error:
            raise OutputError(f"'{self.folder}' cannot be read: {error.strerror or error}.") from None

    def _sweep(self) -> None:
        """Remove pieces that a crash left half made; they were never confirmed to her."""
        for entry in os.scandir(self.folder):
            if entry.name.startswith(_NEW) and _ID.match(entry.name[len(_NEW) :]) and entry.is_dir():
                shutil.rmtree(entry.path, ignore_errors=True)


def _read_glance(path: Path) -> Mapping[str, Any]:
    try:
        glance = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return {}
    return glance if isinstance(glance, dict) else {}


def _sync_folder(folder: Path) -> None:
    """Make a rename last through a power cut, where the system can."""
    if os.name != "posix":  # pragma: no cover
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def _take_lock(path: Path) -> IO[bytes]:
    """Hold the folder for this program; the system frees it when the program ends, however it ends."""
    stream = path.open("a+b")
    try:
        if os.name == "nt":  # pragma: no cover
            import msvcrt

            stream.seek(0)
            msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        else:
            import fcntl

            fcntl.flock(stream.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        stream.close()
        raise RequestError(
            f"The pieces in '{path.parent}' are open in another running page.",
            "Use that page, or close it first, or give another --folder.",
        ) from None
    return stream
