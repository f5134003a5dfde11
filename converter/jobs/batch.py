"""One picture or many: read, chart, measure, draw, write."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, Final

from converter.errors import ConverterError, ExitCode, OutputError, UsageError
from converter.files.output import check_name, check_targets, name_from, planned_files, write_outputs
from converter.files.picture import prepare_reader
from converter.jobs.beside import Beside
from converter.jobs.materials import Materials
from converter.jobs.opening import open_picture, read_mask, refuse_chart
from converter.settings import ChartSettings, LimitSettings, ThreadSettings, TimeSettings

CHART_SUFFIXES: Final = (".chart.json", ".png", "-stitched.png", ".pdf", ".txt", ".report.json")
"""What `onecolour chart` writes, after the name."""
_APART: Final = "-chart"
_MANY: Final = 4
"""From so many pictures on a second process pays for its start."""


@dataclass(frozen=True, eq=False)
class Request:
    """What to make of each picture.

    Parameters
    ----------
    settings : ChartSettings
    wide_given : bool
        The width is hers, not the usual one; limits may still make the chart narrower.
    limits : LimitSettings
    materials : Materials
    thread, time : ThreadSettings, TimeSettings
    piece : str, optional
    paper : str
    keep, clear : path, optional
        Mask pictures.
    """

    settings: ChartSettings
    wide_given: bool = False
    limits: LimitSettings = field(default_factory=LimitSettings)
    materials: Materials = field(default_factory=Materials)
    thread: ThreadSettings = field(default_factory=ThreadSettings)
    time: TimeSettings = field(default_factory=TimeSettings)
    piece: str | None = None
    paper: str = "A4"
    keep: Path | None = None
    clear: Path | None = None


@dataclass(frozen=True)
class Outcome:
    """What became of one picture.

    Parameters
    ----------
    picture : Path
    files : tuple of Path
    report : mapping
        The machine report; empty where it failed.
    text : str
        The report in words, or what went wrong.
    exit_code : int
    """

    picture: Path
    files: tuple[Path, ...] = ()
    report: Mapping[str, Any] = field(default_factory=dict)
    text: str = ""
    exit_code: int = int(ExitCode.DONE)


def result_names(pictures: Sequence[Path], name: str | None, folder: Path) -> list[str]:
    """Return the base names of the results of each picture, all different.

    A result never takes the name of the picture itself: ``heron.png`` charted beside itself gives
    ``heron-chart.png``.

    Raises
    ------
    UsageError
        If one name is given for several pictures, or is no file name.
    """
    if name is not None:
        if len(pictures) > 1:
            raise UsageError(
                "One --name cannot serve several pictures.", "Leave it out; they take the pictures' names."
            )
        return [check_name(name)]
    names: list[str] = []
    for picture in pictures:
        base = default_name(picture, folder, CHART_SUFFIXES)
        unique, number = base, 2
        while unique.casefold() in {n.casefold() for n in names}:
            unique, number = f"{base} {number}", number + 1
        names.append(unique)
    return names


def default_name(picture: Path, folder: Path, suffixes: tuple[str, ...]) -> str:
    """Return the name of the results of a picture: its own, but never so that a result is the picture."""
    base = name_from(picture)
    taken = any(_same_file(target, picture) for target in planned_files(folder, base, suffixes))
    return f"{base}{_APART}" if taken else base


def refuse_own_picture(picture: Path, targets: Sequence[Path]) -> None:
    """Raise OutputError if a result would replace the picture it is made from."""
    if any(_same_file(target, picture) for target in targets):
        raise OutputError(f"'{picture}' would be replaced by its own chart.", "Give another --name or --out.")


def _same_file(first: Path, second: Path) -> bool:
    try:
        return first.samefile(second)
    except (OSError, ValueError):
        return False


def title_from(name: str, source: Path | None = None) -> str:
    """Return the title of a piece: its name, with a capital letter, and spaces for the underscores of file names.

    Examples
    --------
    >>> title_from("two_herons")
    'Two herons'
    """
    if source is not None and name == name_from(source) + _APART:
        name = name_from(source)
    words = name.replace("_", " ").strip() or name
    return words[:1].upper() + words[1:]


def chart_picture(picture: Path, request: Request, folder: Path, name: str, overwrite: bool) -> Outcome:
    """Chart one picture and write its results.

    Raises
    ------
    ConverterError
    """
    refuse_chart(picture)
    targets = planned_files(folder, name, CHART_SUFFIXES)
    refuse_own_picture(picture, targets)
    check_targets(targets, overwrite)
    # Decoding needs no interpreter: the modules of the stages are loaded beside it.
    prepare_reader()
    loading = Beside(_load_stages)
    reduction = request.settings.reduction
    # Kept for the next question: limits ask for the picture at several widths.
    read = lru_cache(maxsize=1)(partial(open_picture, picture))
    opened = read(max(reduction.columns or 0, reduction.rows or 0))
    loading.result()
    from converter.jobs.chart import make_chart
    from converter.jobs.facts import gather_facts
    from converter.jobs.outputs import ChartPictures, chart_outputs
    from converter.jobs.paper import squared_paper_notes
    from converter.report.machine import report_mapping
    from converter.report.plain import report_text

    if request.keep is not None:
        reduction = replace(reduction, keep=read_mask(request.keep))
    if request.clear is not None:
        reduction = replace(reduction, clear=read_mask(request.clear))
    settings = replace(request.settings, reduction=reduction)
    paper_notes = squared_paper_notes(opened)
    limit_notes: tuple[str, ...] = ()
    if request.limits != LimitSettings():
        from converter.jobs.sizes import fit_width

        settings, limit_notes = fit_width(opened.pixels, settings, request, lambda stitches: read(stitches).pixels)
    if settings.reduction != reduction and opened.reduction > 1:
        # A wider chart than was first thought of needs more of the picture.
        opened = read(max(settings.reduction.columns or 0, settings.reduction.rows or 0))
    made = make_chart(opened, settings, request.materials, title=title_from(name, picture), source=picture.name)
    pictures = ChartPictures(made)
    facts = gather_facts(
        made.chart, thread=request.thread, time=request.time, piece=request.piece, notes=(*paper_notes, *limit_notes)
    )
    outputs = chart_outputs(made, facts, pictures, paper=request.paper, thread=request.thread)
    files = write_outputs(outputs, folder, name, overwrite)
    return Outcome(picture, tuple(files), report_mapping(facts), report_text(facts))


def _load_stages() -> None:
    """Import what follows the reading."""
    from converter.draw import pdf, png
    from converter.jobs import chart, facts, leaflet, order, outputs, paper
    from converter.report import machine, plain

    del chart, facts, leaflet, machine, order, outputs, paper, pdf, plain, png


def _attempt(picture: Path, request: Request, folder: Path, name: str, overwrite: bool) -> Outcome:
    try:
        return chart_picture(picture, request, folder, name, overwrite)
    except ConverterError as error:
        return Outcome(picture, text=str(error), exit_code=int(error.exit_code))
    except MemoryError:
        return Outcome(picture, text="There is not enough memory for this picture.", exit_code=int(ExitCode.REQUEST))


def chart_pictures(
    pictures: Sequence[Path], request: Request, folder: Path, names: Sequence[str], overwrite: bool
) -> Iterator[Outcome]:
    """Chart several pictures, one failure not stopping the rest.

    Yields
    ------
    outcome : Outcome
        In the order of the pictures.
    """
    workers = min(os.cpu_count() or 1, 2 if len(pictures) >= _MANY else 1)
    work = [(p, request, folder, n, overwrite) for p, n in zip(pictures, names, strict=True)]
    if workers == 1:
        for each in work:
            yield _attempt(*each)
        return
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_calm) as pool:
        for future in [pool.submit(_attempt, *each) for each in work]:
            yield future.result()


def _calm() -> None:
    """Keep one thread a process: there are as many processes as are useful."""
    import cv2

    cv2.setNumThreads(1)
