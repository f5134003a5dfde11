"""Motifs on squared paper, read square by square."""
