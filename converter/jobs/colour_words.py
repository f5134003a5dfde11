"""Colours in plain words, for the shopping list and the printed key."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np

from converter.model.materials import rgb

_WORDS: Final = {
    "white": "#ffffff", "cream": "#fdf5dc", "ivory": "#fffff0", "pale yellow": "#fff3a0", "yellow": "#ffd800",
    "golden yellow": "#f0b000", "orange": "#ff8000", "pale orange": "#ffc080", "coral": "#ff7050",
    "bright red": "#e8101c", "red": "#d01020", "deep red": "#b01e28", "dark red": "#8a0f1a", "wine red": "#601020",
    "pink": "#ff90b0", "pale pink": "#ffd0dc", "deep pink": "#e03080", "raspberry": "#b01860", "lilac": "#c8a8e0",
    "violet": "#7a30b0", "dark violet": "#48206c", "pale blue": "#bcdcf4", "light blue": "#70b4e8", "blue": "#1f5fc8",
    "deep blue": "#183c94", "dark blue": "#10204c", "turquoise": "#18b0b0", "dark turquoise": "#0c6468",
    "pale green": "#bce4b8", "light green": "#78c860", "green": "#1e8c3c", "deep green": "#0f6030",
    "dark green": "#103820", "olive green": "#707020", "pale brown": "#d8b48c", "sand": "#e4d4b0", "tan": "#b88850",
    "brown": "#7c4a20", "dark brown": "#442812", "rust": "#a84818", "pale gray": "#dcdcdc", "light gray": "#b8b8b8",
    "gray": "#808080", "dark gray": "#484848", "black": "#101010",
}  # fmt: skip
"""Words of ours for colours of ours; nothing to do with any maker's names."""


def _lab(colours: list[str]) -> np.ndarray:
    values = np.array([[rgb(colour) for colour in colours]], dtype=np.float32) / 255
    return np.asarray(cv2.cvtColor(values, cv2.COLOR_RGB2LAB)[0])


def colour_words(colour: str) -> str:
    """Return plain words for ``#rrggbb``: those of the nearest of our named colours in CIELAB.

    Examples
    --------
    >>> colour_words("#b01e28"), colour_words("#ffffff"), colour_words("#1a2550")
    ('deep red', 'white', 'dark blue')
    """
    names = list(_WORDS)
    apart = np.linalg.norm(_lab([_WORDS[name] for name in names]) - _lab([colour]), axis=1)
    return names[int(np.argmin(apart))]
