"""Borders, corners, letters, and moving motifs about: everything that makes one chart out of several parts."""

from converter.compose.catalogue import border_strips
from converter.compose.fit import fit_borders

__all__ = ["border_strips", "fit_borders"]
