"""A piece in a studio, with short names for what is done to it."""

from __future__ import annotations

import base64

import numpy as np
from click.testing import CliRunner

from converter.cli.main import group
from converter.jobs.piece_state import new_state


def cells_of(view):
    bits = np.frombuffer(base64.b64decode(view["bits"]), dtype=np.uint8)
    return np.unpackbits(bits)[: view["rows"] * view["columns"]].reshape(view["rows"], view["columns"]).astype(bool)


class Hands:
    """A piece in a studio, with short names for what is done to it."""

    def __init__(self, studio, path, **begin):
        self.studio = studio
        if begin:
            state = new_state(path.read_bytes(), path.name) | begin
            self.answer = studio.piece(studio.workspace.create(path.read_bytes(), state))
        else:
            self.answer = studio.create(path.read_bytes(), path.name)
        self.id = self.answer["id"]

    @property
    def view(self):
        return self.answer["view"]

    def change(self, **change):
        body = {"change": change, "label": "a change", "revision": self.answer["revision"]}
        self.answer = self.studio.step(self.id, body)
        return self.answer

    def hand(self, **hand):
        hand = {"rows": self.view["rows"], "columns": self.view["columns"], **hand}
        self.answer = self.studio.step(self.id, {"hand": hand, "label": "hand", "revision": self.answer["revision"]})
        return self.answer

    def undo(self):
        self.answer = self.studio.undo(self.id, {"revision": self.answer["revision"]})
        return self.answer

    def redo(self):
        self.answer = self.studio.redo(self.id, {"revision": self.answer["revision"]})
        return self.answer


def run_command(*arguments):
    done = CliRunner().invoke(group, [str(argument) for argument in arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done
