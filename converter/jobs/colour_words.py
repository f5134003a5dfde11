"""Colours in plain words, for the shopping list and the printed key."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from converter.model.materials import rgb
from converter.model.phrase import Phrase

_WORDS: Final = (
    (Phrase("white"), "#ffffff"), (Phrase("cream"), "#fdf5dc"), (Phrase("ivory"), "#fffff0"),
    (Phrase("pale yellow"), "#fff3a0"), (Phrase("yellow"), "#ffd800"), (Phrase("golden yellow"), "#f0b000"),
    (Phrase("orange"), "#ff8000"), (Phrase("pale orange"), "#ffc080"), (Phrase("coral"), "#ff7050"),
    (Phrase("bright red"), "#e8101c"), (Phrase("red"), "#d01020"), (Phrase("deep red"), "#b01e28"),
    (Phrase("dark red"), "#8a0f1a"), (Phrase("wine red"), "#601020"), (Phrase("pink"), "#ff90b0"),
    (Phrase("pale pink"), "#ffd0dc"), (Phrase("deep pink"), "#e03080"), (Phrase("raspberry"), "#b01860"),
    (Phrase("lilac"), "#c8a8e0"), (Phrase("violet"), "#7a30b0"), (Phrase("dark violet"), "#48206c"),
    (Phrase("pale blue"), "#bcdcf4"), (Phrase("light blue"), "#70b4e8"), (Phrase("blue"), "#1f5fc8"),
    (Phrase("deep blue"), "#183c94"), (Phrase("dark blue"), "#10204c"), (Phrase("turquoise"), "#18b0b0"),
    (Phrase("dark turquoise"), "#0c6468"), (Phrase("pale green"), "#bce4b8"), (Phrase("light green"), "#78c860"),
    (Phrase("green"), "#1e8c3c"), (Phrase("deep green"), "#0f6030"), (Phrase("dark green"), "#103820"),
    (Phrase("olive green"), "#707020"), (Phrase("pale brown"), "#d8b48c"), (Phrase("sand"), "#e4d4b0"),
    (Phrase("tan"), "#b88850"), (Phrase("brown"), "#7c4a20"), (Phrase("dark brown"), "#442812"),
    (Phrase("rust"), "#a84818"), (Phrase("pale gray"), "#dcdcdc"), (Phrase("light gray"), "#b8b8b8"),
    (Phrase("gray"), "#808080"), (Phrase("dark gray"), "#484848"), (Phrase("black"), "#101010"),
)  # fmt: skip
"""Words of ours for colours of ours; nothing to do with any maker's names."""


Lab = tuple[float, float, float]


def _lab(colour: str) -> Lab:
    """Return CIE 1976 L*, a*, b* of an sRGB colour under D65 (IEC 61966-2-1; ISO/CIE 11664-4)."""
    red, green, blue = (
        share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4
        for share in (value / 255 for value in rgb(colour))
    )
    x = (0.4124 * red + 0.3576 * green + 0.1805 * blue) / 0.9505
    y = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    z = (0.0193 * red + 0.1192 * green + 0.9505 * blue) / 1.0890
    fx, fy, fz = (t ** (1 / 3) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in (x, y, z))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)


@lru_cache(maxsize=1)
def _named() -> tuple[tuple[Phrase, Lab], ...]:
    return tuple((name, _lab(colour)) for name, colour in _WORDS)


def colour_words(colour: str) -> Phrase:
    """Return plain words for ``#rrggbb``: those of the nearest of our named colours in CIELAB.

    Examples
    --------
    >>> colour_words("#b01e28"), colour_words("#ffffff"), colour_words("#1a2550")
    ('deep red', 'white', 'dark blue')
    """
    wanted = _lab(colour)
    return min(_named(), key=lambda item: sum((a - b) ** 2 for a, b in zip(item[1], wanted, strict=True)))[0]
