"""Borders, corners, letters and motifs on one grid."""
