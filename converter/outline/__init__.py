"""Edges and thin strokes to backstitches."""
