"""Figures of the trade that the making-up plans use, read from ``data/materials.toml`` with their sources."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from converter.errors import ConverterError
from converter.units import MM_PER_INCH

_UNIT_MM = {"inch": MM_PER_INCH, "mm": 1.0}
_PLAIN_UNITS = ("threads", "stitches", "share")


@dataclass(frozen=True)
class Figures:
    """All figures of the making-up plans.

    Parameters
    ----------
    tables : mapping
        The parsed file: section, name, then the value under its unit and its ``source``.
    """

    tables: Mapping[str, Any]

    def _entry(self, section: str, name: str) -> Mapping[str, Any]:
        try:
            entry: Mapping[str, Any] = self.tables[section][name]
        except KeyError:
            raise ConverterError(f"The figures of the trade have no '{section}.{name}'.") from None
        return entry

    def many_mm(self, section: str, name: str) -> tuple[float, ...]:
        """Return a row of lengths in mm."""
        entry = self._entry(section, name)
        for unit, factor in _UNIT_MM.items():
            if unit in entry:
                value = entry[unit]
                return tuple(v * factor for v in (value if isinstance(value, list) else [value]))
        raise ConverterError(f"'{section}.{name}' of the figures of the trade is not a length.")

    def mm(self, section: str, name: str) -> float:
        """Return one length in mm."""
        return self.many_mm(section, name)[0]

    def pairs_mm(self, section: str, name: str) -> tuple[tuple[float, float], ...]:
        """Return a row of sizes (width, height) in mm."""
        flat = self.many_mm(section, name)
        return tuple(zip(flat[::2], flat[1::2], strict=True))

    def number(self, section: str, name: str) -> float:
        """Return a plain figure: threads, stitches or a share."""
        entry = self._entry(section, name)
        for unit in _PLAIN_UNITS:
            if unit in entry:
                return float(entry[unit])
        raise ConverterError(f"'{section}.{name}' of the figures of the trade is not a plain number.")

    def source(self, section: str, name: str) -> str:
        """Return where a figure comes from."""
        return str(self._entry(section, name)["source"])


@cache
def load_figures() -> Figures:
    """Return the figures that ship with the package."""
    import tomllib

    file = Path(__file__).resolve().parent.parent / "data" / "materials.toml"
    return Figures(tomllib.loads(file.read_text(encoding="utf-8")))
