"""A word where a picture would be better read square by square."""

from __future__ import annotations

from typing import Final

from converter.files.picture import Picture
from converter.model.phrase import Phrase
from converter.squares.quick import looks_squared

_SURE: Final = 0.5
"""As for the reader; named again so that the reader is not loaded for each picture."""


def squared_paper_notes(picture: Picture) -> tuple[str, ...]:
    """Return a note where a picture looks like a motif on squared paper."""
    if looks_squared(picture.pixels) < _SURE:
        return ()
    return (
        Phrase(
            "This looks like a motif on squared paper: 'onecolour squares' reads it square by square, where this chart "
            "treats it as a picture."
        ),
    )
