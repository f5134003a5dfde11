"""Checks of values that come as plain JSON."""

from __future__ import annotations

from typing import Any

from converter.errors import UsageError


def as_numbers(name: str, value: Any, count: int) -> tuple[float, ...]:
    """Return so many numbers, or raise UsageError that names what they are."""
    ok = isinstance(value, (list, tuple)) and len(value) == count
    if not ok or any(isinstance(v, bool) or not isinstance(v, (int, float)) or not -1e6 < v < 1e6 for v in value):
        raise UsageError(f"{name} must be {count} numbers.")
    return tuple(value)
