"""The figures of a chart as text and JSON."""
