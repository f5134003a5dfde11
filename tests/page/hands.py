"""A piece in a studio, with short names for what is done to it."""

from __future__ import annotations

import base64

import numpy as np
from click.testing import CliRunner
from PIL import Image

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


def squared_paper(rows: list[str], pitch: int = 26) -> Image.Image:
    """A scan of squared paper: light blue lines, marked squares filled in dark blue, a scanner's noise."""
    high, wide = len(rows), len(rows[0])
    paper = np.full((high * pitch + 3, wide * pitch + 3, 3), 250, dtype=np.uint8)
    for row, marks in enumerate(rows):
        for col, mark in enumerate(marks):
            if mark == "#":
                top, left = row * pitch + 4, col * pitch + 4
                paper[top : top + pitch - 5, left : left + pitch - 5] = (40, 40, 110)
    for line in range(0, high * pitch + 1, pitch):
        paper[line : line + 2] = (120, 160, 220)
    for line in range(0, wide * pitch + 1, pitch):
        paper[:, line : line + 2] = (120, 160, 220)
    paper = np.pad(paper, ((30, 30), (30, 30), (0, 0)), constant_values=250)
    noise = np.random.default_rng(9).normal(0, 3, paper.shape)
    return Image.fromarray(np.clip(paper + noise, 0, 255).astype(np.uint8))
