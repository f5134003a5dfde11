"""What the steps of a part of the product hand on while something is made with it, in a few numbers each."""

from __future__ import annotations

import json
import platform
import sys
import zlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from converter.model.phrase import Phrase

Notes = dict[str, list[float]]
"""Numbers of each step, see `Record`."""


class Record:
    """The values one step handed on, in order.

    What is exact (masks, labels, counts, truth) goes into a checksum; of other numbers there are two sums, one of which
    weighs each by its place. Of sentences only the values in them: they may be put otherwise without anything having
    changed.
    """

    def __init__(self) -> None:
        self.check, self.sums = 0, np.zeros(2)

    def add(self, value: Any) -> None:
        if is_dataclass(value) and not isinstance(value, type):
            for field in fields(value):
                self.add(getattr(value, field.name))
        elif isinstance(value, Mapping):
            for key, each in value.items():
                self.add(key)
                self.add(each)
        elif isinstance(value, (tuple, list)):
            self._exact(len(value))
            for each in value:
                self.add(each)
        elif isinstance(value, np.ndarray) and value.dtype.kind in "biu":
            self._exact(value.shape)
            plain = value if value.dtype.itemsize == 1 else value.astype(np.int64)
            self.check = zlib.crc32(np.ascontiguousarray(plain).tobytes(), self.check)
        elif isinstance(value, (np.ndarray, float, np.floating)):
            plane = np.nan_to_num(np.asarray(value, dtype=np.float64), posinf=1e6, neginf=-1e6).ravel()
            self._exact(plane.shape)
            self.sums += [plane.sum(), (plane * np.cos(np.arange(len(plane)))).sum()]
        elif isinstance(value, Phrase):
            self.add(value.values)
        elif isinstance(value, str):
            self._exact(value if value.isalpha() else None)
        else:
            self._exact(value)

    def _exact(self, value: Any) -> None:
        plain = value.item() if isinstance(value, np.generic) else value
        self.check = zlib.crc32(repr(plain).encode(), self.check)

    def told(self) -> list[float]:
        """Return the checksum and the two sums."""
        return [self.check, *(float(f"{each:.7g}") for each in self.sums)]


def noted(steps: Iterable[Callable[..., Any]], make: Callable[[], object]) -> Notes:
    """Return by step, ``module.function``, what it handed on while something was made; see `Record`."""
    found: dict[str, Record] = {}
    with pytest.MonkeyPatch.context() as patch:
        for step in steps:
            _watch(patch, step, found)
        make()
    return {name: record.told() for name, record in sorted(found.items())}


def _watch(patch: pytest.MonkeyPatch, step: Callable[..., Any], found: dict[str, Record]) -> None:
    """Note what a function hands on, wherever in the product it goes by its name."""
    name = f"{step.__module__.split('.')[-1]}.{step.__name__}"

    def noting(*args: Any, **names: Any) -> Any:
        value = step(*args, **names)
        found.setdefault(name, Record()).add(value)
        return value

    for module in [each for key, each in sys.modules.items() if key.startswith("converter.")]:
        if getattr(module, step.__name__, None) is step:
            patch.setattr(module, step.__name__, noting)


@lru_cache(maxsize=1)
def arithmetic() -> str:
    """Return what the last digits of results hang on: the processor, the libraries, and how they reckon together."""
    plane = np.random.default_rng(1).random((96, 112), dtype=np.float32)
    turn = cv2.getRotationMatrix2D((56.0, 48.0), 3.0, 0.9)
    results = (
        cv2.GaussianBlur(plane, (0, 0), 1.7),
        cv2.boxFilter(plane, -1, (5, 5)),
        cv2.resize(plane, (41, 35), interpolation=cv2.INTER_AREA),
        cv2.resize(plane, (207, 190), interpolation=cv2.INTER_LINEAR),
        cv2.warpAffine(plane, turn, (112, 96), flags=cv2.INTER_LINEAR),
        cv2.distanceTransform((plane > 0.1).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5),
        *(of(plane) for of in (np.log, np.exp, np.sqrt, np.cos, np.arctan)),
        np.hypot(plane, plane[::-1]),
        plane.astype(np.float64) @ plane.T.astype(np.float64),
        np.array([plane.sum(), plane.mean(), plane.std()]),
    )
    check = 0
    for result in results:
        check = zlib.crc32(np.ascontiguousarray(result).tobytes(), check)
    return f"{platform.machine()}, OpenCV {cv2.__version__}, numpy {np.__version__}, {check:08x}"


def kept(path: Path) -> dict[str, Notes]:
    """Return the notes of a file, by what was made."""
    found: dict[str, Notes] = json.loads(path.read_text(encoding="utf-8"))["notes"]
    return found


def write(path: Path, notes: dict[str, Notes]) -> None:
    rows = ",\n".join(
        f" {json.dumps(name)}: {{\n"
        + ",\n".join(f"  {json.dumps(step)}: {json.dumps(told)}" for step, told in steps.items())
        + "}"
        for name, steps in notes.items()
    )
    text = f'{{"arithmetic": {json.dumps(arithmetic())}, "notes": {{\n{rows}\n}}}}\n'
    path.write_text(text, encoding="utf-8", newline="\n")


def compare(path: Path, name: str, found: Notes) -> None:
    """Fail where something handed on is not as noted; skip where the last digits may differ, see `arithmetic`."""
    there = json.loads(path.read_text(encoding="utf-8"))["arithmetic"]
    if arithmetic() != there:
        pytest.skip(f"noted with {there}; here it is {arithmetic()}")
    before = kept(path)[name]
    changed = [
        step
        for step in sorted({*before, *found})
        if before.get(step) != pytest.approx(found.get(step, [0, 0, 0]), rel=1e-5, abs=1e-5)
    ]
    assert not changed, f"changed: {', '.join(changed)}; if that is meant: python scripts/update_records.py"
