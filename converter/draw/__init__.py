"""Charts and sheets as PDF, SVG and PNG, and the stitched look."""

from converter.draw.drawings import (
    draw_pdf,
    draw_png,
    draw_stitched,
    draw_svg,
    pdf_bytes,
    png_bytes,
    stitched_bytes,
    svg_bytes,
)

__all__ = [
    "draw_pdf",
    "draw_png",
    "draw_stitched",
    "draw_svg",
    "pdf_bytes",
    "png_bytes",
    "stitched_bytes",
    "svg_bytes",
]
