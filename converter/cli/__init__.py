"""The command onecolour."""
