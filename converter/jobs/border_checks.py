"""Options of a border job that would do nothing: refused, so that no wish is lost in silence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from converter.compose.frames import FRAME_NAMES
from converter.errors import UsageError


def refuse_idle(options: Mapping[str, Any]) -> None:
    """Raise for the first option that has nothing to work on.

    Parameters
    ----------
    options : mapping
        The options of ``onecolour border`` by parameter name; absent ones count as not given.

    Raises
    ------
    UsageError
    """
    names = [str(name).strip().lower() for name in options.get("strip") or ()]
    if "none" in names and len(names) > 1:
        raise UsageError("A strip is named beside 'none'.", "Leave one of them out.")
    strips = [name for name in names if name not in (*FRAME_NAMES, "none")]
    repeat = (options.get("repeat") or ("",))[0]
    needs = (
        (bool(strips), "a strip named with --strip", ("rows", "double_rows", "strip_mirror", "strip_high")),
        (bool(options.get("cloth")), "--cloth", ("margin",)),
        (bool(options.get("corner_piece")), "--corner-piece", ("corner_lines", "corner_upright")),
        (bool(options.get("join")), "--join", ("join_side", "join_align")),
        (options.get("mirror", "none") != "none", "--mirror", ("keep_half",)),
        (repeat == "ring", "--repeat ring:NxN", ("mirrored",)),
        (repeat == "grid", "--repeat grid:NxN", ("staggered",)),
        (repeat == "scatter", "--repeat scatter:NxN", ("seed",)),
        (options.get("text") is not None, "--text", ("letters", "text_method", "text_place", "text_wide")),
        (bool(repeat or options.get("join")), "--repeat or --join", ("spacing",)),
    )
    for there, needed, users in needs:
        for name in users:
            if not there and options.get(name) not in (None, False, (), _USUAL.get(name)):
                option = f"--{name.replace('_', '-')}"
                raise UsageError(f"{option} does nothing without {needed}.", "Give both or neither.")
    if options.get("text") is not None and not str(options["text"]).strip():
        raise UsageError("The text is empty.", "Give at least one letter.")


_USUAL: dict[str, Any] = {
    "strip_mirror": "none", "corner_lines": "yes", "join_side": "right", "join_align": "centre", "keep_half": "start",
    "seed": 0, "letters": "auto", "text_method": "crosses", "text_place": "below", "spacing": 2,
}  # fmt: skip
"""What these options are when nobody gave them."""
