"""The local page in the browser."""
