"""Sentences of the program as the page says them: without the names of commands and options."""

from __future__ import annotations

import re
from typing import Final

LABELS: Final = {
    "clear": "what is left out",
    "crop": "the part to use",
    "dark": "“How much is stitched”",
    "detail": "“Fine parts”",
    "fabric": "the cloth",
    "fit": "the finished size",
    "high": "the height in stitches",
    "hours": "the hours",
    "keep": "what is kept in full detail",
    "kind": "what the picture is",
    "lines": "“Backstitch lines”",
    "mirror": "“The same on both sides”",
    "out": "the folder",
    "pace": "the crosses an hour",
    "piece": "what it is for",
    "skeins": "the skeins",
    "stitches": "the stitches at most",
    "subject": "where the subject is",
    "thread": "the thread colour",
    "tidy": "“Sweep up loose stitches”",
    "turn": "the quarter turn",
    "wide": "“Stitches across”",
}
"""Options of the command and what stands beside the control in the page."""
_SENTENCES: Final = (
    (r"'onecolour sizes' shows it at several widths", "“Show several sizes side by side” helps to choose a larger one"),
    (
        r"'onecolour squares' reads it square by square",
        "under “The picture” it can be read square by square",
    ),
    (r"to chart it as a picture use 'onecolour chart'", "under “The picture” it can be read as a picture"),
    (r"use 'onecolour chart'", "drop it as a picture"),
    (r"Use 'onecolour count' or 'onecolour leaflet' for charts", "Drop it as a chart"),
    (r" with --[a-z][a-z-]*", ""),
    (r"(another|shorter|One) --([a-z]+)", r"\1 \2"),
    (r", or --overwrite to replace it", ""),
    (r"'?onecolour ([a-z]+)'?", r"“\1”"),
)
_OPTION: Final = re.compile(r"--([a-z][a-z-]*)")


def plain(text: str) -> str:
    """Return a sentence with the command's names put into the page's words.

    Examples
    --------
    >>> plain("No part of the picture is dark enough. Raise --dark or choose another crop.")
    'No part of the picture is dark enough. Raise “How much is stitched” or choose another crop.'
    >>> plain("Make room on the disk or choose another folder with --folder.")
    'Make room on the disk or choose another folder.'
    """
    if "--" not in text and "onecolour " not in text:
        return text
    for pattern, words in _SENTENCES:
        text = re.sub(pattern, words, text)
    text = _OPTION.sub(lambda found: LABELS.get(found[1], f"the {found[1].replace('-', ' ')}"), text)
    return text[:1].upper() + text[1:]
