"""Counts, thread, cloth, hours, and making up."""
