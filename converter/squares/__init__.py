"""Squared paper: a motif drawn or printed on a grid becomes exact stitches."""

from converter.squares.reading import SquaresReading, read_squares

__all__ = ["SquaresReading", "read_squares"]
