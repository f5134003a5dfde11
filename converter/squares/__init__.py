"""Squared paper: a motif drawn or printed on a grid becomes exact stitches.

The names below are loaded when first used: a picture that is no squared paper needs only the glance of `quick`.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from converter.squares.kinds import MarkKind
    from converter.squares.overlay import draw_overlay
    from converter.squares.quick import looks_squared
    from converter.squares.reading import DOUBTFUL, SURE, SquaresReading, read_squares

__all__ = ["DOUBTFUL", "SURE", "MarkKind", "SquaresReading", "draw_overlay", "looks_squared", "read_squares"]

_HOMES: Final = {"MarkKind": "kinds", "draw_overlay": "overlay", "looks_squared": "quick"}


def __getattr__(name: str) -> Any:
    """Import a public name from its module."""
    if name not in __all__:
        raise AttributeError(f"module 'converter.squares' has no attribute {name!r}")
    return getattr(importlib.import_module(f"converter.squares.{_HOMES.get(name, 'reading')}"), name)
