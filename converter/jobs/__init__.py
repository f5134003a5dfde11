"""What both the command and the page do: read, make, measure, draw, write."""
