"""What was done to a piece, one line a step, so that nothing done is ever lost and everything can be undone.

A piece's state is plain JSON. A step is a patch: a list of groups ``{"at": path, "set": {...}, "drop": [...]}``,
each of which sets or drops keys of the mapping at ``path``. The patch that leads back is worked out when the step
is made and kept with it. The journal is a text file, one record a line, each with its own checksum: a line torn by
a crash or a power cut is noticed and left out, and all lines before it stand.
"""

from __future__ import annotations

import copy
import json
import os
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from converter.errors import OutputError, PictureError, UsageError

State = dict[str, Any]
Patch = list[dict[str, Any]]

JOURNAL: Final = "journal.jsonl"
_MAX_DEPTH: Final = 6


class StaleRevision(UsageError):
    """The piece was changed elsewhere since the caller last saw it."""


@dataclass(frozen=True)
class Step:
    """One thing she did."""

    label: str
    forward: Patch
    back: Patch


def check_patch(patch: Any) -> Patch:
    """Return the patch, or raise UsageError if it is not a list of groups as described above."""
    if not isinstance(patch, list) or not patch:
        raise UsageError("A change must be a list of at least one group.")
    for group in patch:
        if not isinstance(group, dict) or not set(group) <= {"at", "set", "drop"}:
            raise UsageError("A group of a change has the keys at, set and drop.")
        at, put, drop = group.get("at", []), group.get("set", {}), group.get("drop", [])
        if not isinstance(at, list) or len(at) > _MAX_DEPTH or not all(isinstance(key, str) for key in at):
            raise UsageError("The path of a change must be a short list of names.")
        if not isinstance(put, dict) or not isinstance(drop, list) or not all(isinstance(key, str) for key in drop):
            raise UsageError("A change sets a mapping and drops a list of names.")
    return patch


def apply_patch(state: State, patch: Patch) -> tuple[State, Patch]:
    """Return the changed state and the patch that leads back; the state given is left alone.

    Examples
    --------
    >>> state, back = apply_patch({"a": {"x": 1}}, [{"at": ["a"], "set": {"y": 2}, "drop": ["x"]}])
    >>> state
    {'a': {'y': 2}}
    >>> apply_patch(state, back)[0]
    {'a': {'x': 1}}
    """
    check_patch(patch)
    fresh: State = dict(state)
    back: Patch = []
    for group in patch:
        at: list[str] = group.get("at", [])
        back_group: dict[str, Any] = {"at": at, "set": {}, "drop": []}
        node: dict[str, Any] = fresh
        for depth, key in enumerate(at):
            child = node.get(key)
            if child is None:
                # A mapping that is made on the way goes again on the way back, as a whole.
                if not any(g["at"] == at[:depth] and key in g["drop"] for g in back):
                    back.insert(0, {"at": at[:depth], "set": {}, "drop": [key]})
                child = {}
            elif not isinstance(child, dict):
                raise UsageError(f"{'/'.join(at[: depth + 1])} cannot be changed part by part.")
            node[key] = dict(child)
            node = node[key]
        for key in group.get("drop", []):
            if key in node:
                back_group["set"][key] = node.pop(key)
        for key, value in group.get("set", {}).items():
            if key in node:
                back_group["set"].setdefault(key, node[key])
            elif key not in back_group["set"]:
                back_group["drop"].append(key)
            node[key] = copy.deepcopy(value)
        back.insert(0, back_group)
    return fresh, back


class History:
    """A piece's state with everything that led to it; each change is on disk before it counts.

    Parameters
    ----------
    path : Path
        The journal.

    Raises
    ------
    PictureError
        If the journal cannot be read at all.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.state: State = {}
        self.revision = 0
        self.damaged = False
        """True if a torn end was left out on opening."""
        self._done: list[Step] = []
        self._undone: list[Step] = []
        self._read()

    @property
    def undo_label(self) -> str | None:
        """What undo would take back, or None."""
        return self._done[-1].label if self._done else None

    @property
    def redo_label(self) -> str | None:
        """What redo would do again, or None."""
        return self._undone[-1].label if self._undone else None

    def change(self, patch: Patch, label: str = "", revision: int | None = None) -> Patch:
        """Make a step.

        Parameters
        ----------
        patch : list of groups
        label : str
            What she did, in her words.
        revision : int, optional
            The revision that the caller saw.

        Raises
        ------
        StaleRevision
            If the piece has moved on since.
        """
        self.check_revision(revision)
        fresh, back = apply_patch(self.state, patch)
        self._append({"kind": "step", "label": label, "do": patch, "back": back})
        self.state = fresh
        self._done.append(Step(label, patch, back))
        self._undone.clear()
        return back

    def undo(self, revision: int | None = None) -> bool:
        """Take the last step back; False if there is none."""
        self.check_revision(revision)
        if not self._done:
            return False
        fresh, _ = apply_patch(self.state, self._done[-1].back)
        self._append({"kind": "undo"})
        self.state = fresh
        self._undone.append(self._done.pop())
        return True

    def redo(self, revision: int | None = None) -> bool:
        """Do the last step taken back once more; False if there is none."""
        self.check_revision(revision)
        if not self._undone:
            return False
        fresh, _ = apply_patch(self.state, self._undone[-1].forward)
        self._append({"kind": "redo"})
        self.state = fresh
        self._done.append(self._undone.pop())
        return True

    def check_revision(self, revision: int | None) -> None:
        """Raise StaleRevision if the caller saw another revision than the present one."""
        if revision is not None and revision != self.revision:
            raise StaleRevision(
                "The piece was changed in another window.", "Its newest state is shown; do the change again."
            )

    def _append(self, record: Mapping[str, Any]) -> None:
        line = encode_record({"revision": self.revision + 1, **record})
        try:
            with self.path.open("r+b") as stream:
                stream.seek(self._end)
                stream.write(line)
                stream.truncate()
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as error:
            raise OutputError(
                f"The change could not be saved: {error.strerror or error}.",
                "Make room on the disk or free the folder, then do it again.",
            ) from None
        self._end += len(line)
        self.revision += 1

    def _read(self) -> None:
        try:
            data = self.path.read_bytes()
        except OSError as error:
            raise PictureError(f"The piece cannot be opened: {error.strerror or error}.") from None
        self._end = 0
        for line in data.splitlines(keepends=True):
            record = decode_record(line)
            if record is None or not self._replay(record):
                break
            self._end += len(line)
        if self.revision == 0:
            raise PictureError("The piece's record is damaged from its first line on.")
        rest = data[self._end :]
        self.damaged = bool(rest)
        if b"\n" in rest:
            # More than a torn last line: keep what cannot be read, for whoever wants to look.
            spare = self.path.with_name(f"unreadable-{zlib.crc32(rest):08x}.txt")
            spare.write_bytes(rest)

    def _replay(self, record: Mapping[str, Any]) -> bool:
        kind = record.get("kind")
        if record.get("revision") != self.revision + 1:
            return False
        try:
            if kind == "start" and self.revision == 0:
                self.state = dict(record["state"])
            elif self.revision == 0:
                return False
            elif kind == "step":
                self.state, _ = apply_patch(self.state, record["do"])
                self._done.append(Step(str(record.get("label", "")), record["do"], record["back"]))
                self._undone.clear()
            elif kind == "undo":
                self.state, _ = apply_patch(self.state, self._done[-1].back)
                self._undone.append(self._done.pop())
            elif kind == "redo":
                self.state, _ = apply_patch(self.state, self._undone[-1].forward)
                self._done.append(self._undone.pop())
            else:
                return False
        except (KeyError, IndexError, TypeError, ValueError, UsageError):
            return False
        self.revision += 1
        return True


def encode_record(record: Mapping[str, Any]) -> bytes:
    """Return one line of a journal: checksum, space, JSON."""
    text = json.dumps(record, separators=(",", ":"), allow_nan=False).encode("utf-8")
    return b"%08x " % zlib.crc32(text) + text + b"\n"


def decode_record(line: bytes) -> dict[str, Any] | None:
    """Return the record of a line, or None if the line is torn or altered."""
    if not line.endswith(b"\n") or line[8:9] != b" ":
        return None
    text = line[9:-1]
    try:
        if int(line[:8], 16) != zlib.crc32(text):
            return None
        record = json.loads(text.decode("utf-8"))
    except (ValueError, RecursionError):
        return None
    return record if isinstance(record, dict) else None


def start_journal(path: Path, state: Mapping[str, Any]) -> None:
    """Write a new journal that holds nothing but the first state."""
    with path.open("xb") as stream:
        stream.write(encode_record({"revision": 1, "kind": "start", "state": dict(state)}))
        stream.flush()
        os.fsync(stream.fileno())
