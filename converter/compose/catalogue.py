"""The strips that come with the product, read from text grids in ``data/borders``."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from importlib.resources import files

import numpy as np

from converter.compose.frieze import frieze_group, primitive_tile
from converter.errors import UsageError
from converter.model.arrays import CellArray


@dataclass(frozen=True, eq=False)
class Strip:
    """A repeat strip.

    Parameters
    ----------
    name : str
    tile : ndarray of shape (d, p), bool
        One shortest repeat, read-only; row 0 is the outside of the border.
    kind : str
        ``geometric``, ``plant``, ``figure``, or ``own`` for a strip of hers.
    upright : bool
        Things that stand with the head outwards, so that they lie on their side left and right.
    corner : ndarray of shape (k, k), bool, or None
        Piece for corners of its own; None lets the size decide.
    """

    name: str
    tile: CellArray
    kind: str = "own"
    upright: bool = False
    corner: CellArray | None = None

    @property
    def depth(self) -> int:
        """Rows of the strip."""
        return int(self.tile.shape[0])

    @property
    def period(self) -> int:
        """Columns of one repeat."""
        return int(self.tile.shape[1])

    @property
    def group(self) -> str:
        """Frieze group."""
        return frieze_group(self.tile)


def parse_grid(lines: list[str], name: str = "grid") -> CellArray:
    """Read rows of ``#`` and ``.`` as a grid of cells.

    Raises
    ------
    UsageError
        If a row has another length or another sign; the message names the row.
    """
    if not lines:
        raise UsageError(f"The {name} has no rows.")
    for at, line in enumerate(lines, 1):
        if len(line) != len(lines[0]):
            raise UsageError(f"Row {at} of the {name} has {len(line)} squares, row 1 has {len(lines[0])}.")
        if set(line) - set("#."):
            raise UsageError(f"Row {at} of the {name} holds other signs than # and dot.")
    return np.array([[c == "#" for c in line] for line in lines], dtype=np.bool_)


def parse_sections(text: str) -> list[dict[str, str | list[str]]]:
    """Split a data file into sections: ``key: value`` lines and grids under a key, between blank lines.

    Each section begins with ``name:``. Grid rows are collected under ``grid``, or under the word of a line that ends
    in a colon. Lines that begin with ``;`` are comments.
    """
    sections: list[dict[str, str | list[str]]] = []
    target = "grid"
    for raw in text.splitlines():
        line = raw.strip()
        if not line or line.startswith(";"):
            continue
        key, colon, value = line.partition(":")
        if colon and key.replace(" ", "").isalpha():
            if key == "name":
                sections.append({})
                target = "grid"
            if value.strip():
                sections[-1][key] = value.strip()
            else:
                target = key
        else:
            rows = sections[-1].setdefault(target, [])
            assert isinstance(rows, list)
            rows.append(line)
    return sections


def _frozen(cells: CellArray) -> CellArray:
    cells.setflags(write=False)
    return cells


@lru_cache(maxsize=1)
def strips() -> dict[str, Strip]:
    """Return the built-in strips by name, in the order of the data file."""
    text = files("converter").joinpath("data/borders/strips.txt").read_text(encoding="utf-8")
    found: dict[str, Strip] = {}
    for section in parse_sections(text):
        name = str(section["name"])
        grid = section["grid"]
        corner = section.get("corner")
        assert isinstance(grid, list)
        found[name] = Strip(
            name=name,
            tile=_frozen(primitive_tile(parse_grid(grid, name))),
            kind=str(section["kind"]),
            upright=section.get("upright") == "yes",
            corner=_frozen(parse_grid(corner, name)) if isinstance(corner, list) else None,
        )
    return found


def border_strips() -> dict[str, CellArray]:
    """Return the built-in strips.

    Returns
    -------
    strips : dict of str to ndarray of shape (d, p), bool
        One repeat each, read-only; row 0 is the outside of the border.
    """
    return {name: strip.tile for name, strip in strips().items()}


def strip_named(name: str) -> Strip:
    """Return a built-in strip.

    Raises
    ------
    UsageError
        If there is none of that name; the hint lists all.
    """
    known = strips()
    wanted = " ".join(name.lower().replace("_", " ").replace("-", " ").split())
    if wanted not in known:
        near = [other for other in known if wanted and wanted in other] or get_close_matches(wanted, known, 2, 0.6)
        meant = f"Did you mean {' or '.join(near[:3])}? " if near else ""
        raise UsageError(f"There is no strip called '{name}'.", f"{meant}There are: {', '.join(known)}.")
    return known[wanted]
