"""Squared paper: a motif drawn or printed on a grid becomes exact stitches."""

from converter.squares.kinds import MarkKind
from converter.squares.overlay import draw_overlay
from converter.squares.quick import looks_squared
from converter.squares.reading import DOUBTFUL, SURE, SquaresReading, read_squares

__all__ = ["DOUBTFUL", "SURE", "MarkKind", "SquaresReading", "draw_overlay", "looks_squared", "read_squares"]
