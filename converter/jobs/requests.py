"""Options by name, as the command and the page hand them over, turned into settings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from converter.errors import UsageError
from converter.jobs.batch import Request
from converter.jobs.materials import Materials
from converter.settings import ChartSettings, LimitSettings, ThreadSettings, TimeSettings


def chart_request(options: Mapping[str, Any], flat: Mapping[str, Any]) -> Request:
    """Return the request that options stand for.

    Parameters
    ----------
    options : mapping
        Shared options by parameter name; missing ones take their defaults.
    flat : mapping
        Flat settings of the picture, reduction and lines.

    Raises
    ------
    UsageError
        If a value is out of range.
    """
    wide, high = options.get("wide"), options.get("high")
    size: dict[str, Any] = {"columns": wide, "rows": high}
    if wide is None and high is None:
        size["columns"] = 60
    limits = LimitSettings(
        fit_mm=options.get("fit"),
        stitches=options.get("stitches"),
        hours=options.get("hours"),
        skeins=options.get("skeins"),
        piece=options.get("piece"),
    )
    return Request(
        settings=ChartSettings.from_options(**size, **flat),
        wide_given=wide is not None or high is not None,
        limits=limits,
        materials=materials_from(options),
        thread=thread_settings(options),
        time=TimeSettings(pace=options.get("pace") or TimeSettings.pace),
        piece=options.get("piece"),
        paper=options.get("paper") or "A4",
        keep=options.get("keep"),
        clear=options.get("clear"),
    )


def materials_from(options: Mapping[str, Any]) -> Materials:
    """Return what the options say of cloth and thread."""
    return Materials(
        fabric=options.get("fabric"),
        ground=options.get("ground"),
        thread_colour=options.get("thread_colour"),
        thread_name=options.get("thread_name"),
        strands=options.get("strands"),
    )


def thread_settings(options: Mapping[str, Any]) -> ThreadSettings:
    """Return how thread is used, measured by her sample where she gave one."""
    crosses, length_mm = options.get("sample_crosses"), options.get("sample_length")
    if (crosses is None) != (length_mm is None):
        raise UsageError(
            "A stitched sample needs both its crosses and its length.", "Give --sample-crosses and --sample-length."
        )
    return ThreadSettings(sample_crosses=crosses, sample_length_mm=length_mm)
