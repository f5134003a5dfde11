"""Image to one-colour counted cross-stitch charts: the public names.

They are loaded when first used, so that ``import converter`` and the command's help cost nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from converter.compose import border_strips, fit_borders
    from converter.errors import ConverterError, OutputError, PictureError, RequestError, UsageError
    from converter.estimate.line_route import plan_line_thread
    from converter.estimate.route import plan_thread
    from converter.files.chart_file import load_chart, save_chart
    from converter.files.picture import load_picture
    from converter.jobs.outputs import draw_pdf, draw_png, draw_stitched, draw_svg
    from converter.model.chart import Chart
    from converter.model.materials import Fabric, Thread
    from converter.pipeline import chart_from_image, suggest_lines
    from converter.squares import read_squares

_HOMES: Final = {
    "Chart": "converter.model.chart",
    "ConverterError": "converter.errors",
    "Fabric": "converter.model.materials",
    "OutputError": "converter.errors",
    "PictureError": "converter.errors",
    "RequestError": "converter.errors",
    "Thread": "converter.model.materials",
    "UsageError": "converter.errors",
    "border_strips": "converter.compose",
    "chart_from_image": "converter.pipeline",
    "draw_pdf": "converter.jobs.outputs",
    "draw_png": "converter.jobs.outputs",
    "draw_stitched": "converter.jobs.outputs",
    "draw_svg": "converter.jobs.outputs",
    "fit_borders": "converter.compose",
    "load_chart": "converter.files.chart_file",
    "load_picture": "converter.files.picture",
    "plan_line_thread": "converter.estimate.line_route",
    "plan_thread": "converter.estimate.route",
    "read_squares": "converter.squares",
    "save_chart": "converter.files.chart_file",
    "suggest_lines": "converter.pipeline",
}

__all__ = [
    "Chart",
    "ConverterError",
    "Fabric",
    "OutputError",
    "PictureError",
    "RequestError",
    "Thread",
    "UsageError",
    "border_strips",
    "chart_from_image",
    "draw_pdf",
    "draw_png",
    "draw_stitched",
    "draw_svg",
    "fit_borders",
    "load_chart",
    "load_picture",
    "plan_line_thread",
    "plan_thread",
    "read_squares",
    "save_chart",
    "suggest_lines",
]


def __getattr__(name: str) -> Any:
    """Import a public name from its home."""
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'converter' has no attribute {name!r}")
    value = getattr(importlib.import_module(home), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted([*globals(), *__all__])
