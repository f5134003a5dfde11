"""Charts and sheets as PDF, SVG and PNG, and the stitched look."""

from converter.draw.drawings import (
    pdf_bytes,
    png_bytes,
    stitched_bytes,
    svg_bytes,
)

__all__ = [
    "pdf_bytes",
    "png_bytes",
    "stitched_bytes",
    "svg_bytes",
]
