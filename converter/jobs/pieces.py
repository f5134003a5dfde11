"""A piece's state becomes its chart: picture, settings, corrections by hand, border and letters, in this order.

The state is plain JSON and holds only what she chose; see `piece_state`. Everything here calls the same functions as
the command, so the same choices give the same bytes.
"""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numpy as np

from converter.errors import PictureError
from converter.files.chart_file import chart_from_bytes
from converter.files.picture import LEAST_WIDTH_PX, PIXELS_PER_STITCH, Picture, picture_from_bytes
from converter.jobs.batch import title_from
from converter.jobs.chart import MadeChart, make_chart
from converter.jobs.corrections import Corrections, Grid
from converter.jobs.draft import GUESSED, Guesser, LightPicture
from converter.jobs.piece_areas import areas_on, masks_of, with_areas
from converter.jobs.piece_border import compose_piece
from converter.jobs.piece_hands import around, fitting_hand
from converter.jobs.piece_state import State, request_from
from converter.model.arrays import PictureArray
from converter.model.chart import Chart
from converter.pipeline import Reduction
from converter.settings import ChartSettings

if TYPE_CHECKING:
    from converter.squares import SquaresReading

T = TypeVar("T")

LEAST_SIDE_PX: Final = 4
_CHARTS_KEPT: Final = 12
_PICTURES_KEPT: Final = 2
_GUESSERS_KEPT: Final = 1


@dataclass(frozen=True, eq=False)
class Made:
    """A piece as it stands.

    Parameters
    ----------
    chart : Chart
        With everything on it.
    base : Chart
        As the settings alone give it.
    whole : Chart
        With border and letters, before corrections outside the motif.
    made : MadeChart or None
        How it came from the picture; None for a chart that came as such.
    motif : tuple of int
        Row and column of the motif's first square on the chart, and its rows and columns.
    corrections, aside : int
        Corrections by hand in force, and those that do not fit this grid.
    drifted : bool
        The squares changed their size a little since the corrections were made.
    told : tuple of str
        What she must know about them.
    doubtful : tuple of (row, col)
        Squares read from squared paper that she should look at.
    areas : tuple of mapping
        Parts of the picture kept in full detail or left out, where they lie on the chart.
    """

    chart: Chart
    base: Chart
    whole: Chart
    made: MadeChart | None
    motif: tuple[int, int, int, int]
    corrections: int = 0
    aside: int = 0
    drifted: bool = False
    told: tuple[str, ...] = ()
    doubtful: tuple[tuple[int, int], ...] = ()
    areas: tuple[Mapping[str, Any], ...] = ()
    memo: dict[Any, Any] = field(default_factory=dict, repr=False)
    """What was worked out from it and takes long."""

    @property
    def reduction(self) -> Reduction | None:
        """The reduction of the picture, if there is one."""
        return None if self.made is None else self.made.reduction

    @property
    def picture_shape(self) -> tuple[int, int] | None:
        """Rows and columns of pixels of the picture, if there is one."""
        return None if self.made is None else (self.made.image.shape[0], self.made.image.shape[1])


@dataclass
class _Kept:
    """The last few results of one kind, newest last."""

    most: int
    items: OrderedDict[Any, Any] = field(default_factory=OrderedDict)

    def get(self, key: Any, make: Callable[[], T]) -> T:
        if key in self.items:
            self.items.move_to_end(key)
            kept: T = self.items[key]
            return kept
        value = make()
        self.items[key] = value
        while len(self.items) > self.most:
            self.items.popitem(last=False)
        return value


@dataclass(frozen=True, eq=False)
class _Last:
    """The last chart made in full, without corrections."""

    key: str
    """Settings, size and marked parts."""
    areas: Mapping[str, Any]
    settings: ChartSettings
    base: Chart
    made: MadeChart
    image: PictureArray

    def guesser(self) -> Guesser:
        """Return what guesses start from; it takes a moment."""
        shape = (self.image.shape[0], self.image.shape[1])
        clear = masks_of(self.areas, shape)[1] if self.areas else None
        light = LightPicture.of(self.image, self.settings.picture.invert, clear)
        return Guesser(light, self.base, self.made.reduction.kind, self.settings)


class Bench:
    """One piece being worked on: its picture decoded, its last charts at hand.

    Parameters
    ----------
    data : bytes
        The file as it came.
    file_name : str
    """

    def __init__(self, data: bytes, file_name: str) -> None:
        self.data = data
        self.file_name = file_name
        self.guard = threading.RLock()
        self._pictures = _Kept(_PICTURES_KEPT)
        self._picture_guard = threading.RLock()
        self._bases = _Kept(_CHARTS_KEPT)
        self._made = _Kept(_CHARTS_KEPT)
        self._guessers = _Kept(_GUESSERS_KEPT)
        self._guesser_guard = threading.Lock()
        self._last: _Last | None = None
        self._papers = _Kept(_CHARTS_KEPT)
        self._squares: SquaresReading | None = None
        self._squares_guard = threading.Lock()
        self._full_size: tuple[int, int] | None = None

    def picture(self, columns: int) -> Picture:
        """Return the picture as the command would read it for so many stitches across."""
        with self._picture_guard:
            key = None if self._full_size is None else self._reading(columns)
            if key is None:
                picture = picture_from_bytes(self.data, self.file_name, columns)
                if min(picture.full_size) < LEAST_SIDE_PX:
                    wide, high = picture.full_size
                    raise PictureError(
                        f"The picture is only {wide} x {high} pixels; nothing can be seen in it.", "Take a larger one."
                    )
                self._full_size = picture.full_size
                return self._pictures.get(self._reading(columns), lambda: picture)
            return self._pictures.get(key, lambda: picture_from_bytes(self.data, self.file_name, columns))

    def _reading(self, columns: int) -> int:
        """Name the decoded size: widths that need the same pixels share them."""
        assert self._full_size is not None
        width, height = self._full_size
        least = max(LEAST_WIDTH_PX, round(PIXELS_PER_STITCH * columns * max(1.0, height / width)))
        return 0 if least * 2 > max(width, height) else least

    def make(self, state: State) -> Made:
        """Return the piece as the state describes it.

        Raises
        ------
        ConverterError
            If the state asks for what cannot be made.
        """
        with self.guard:
            key = json.dumps(state, sort_keys=True)
            return self._made.get(key, lambda: self._make(state))

    def draft(self, state: State) -> Made:
        """Return about what `make` would give for a state, at once, from the last chart that was made in full.

        For showing while a control moves, also while a full one is being made; what is kept and taken away is
        always made by `make`. A change that cannot be guessed is made in full.
        """
        key = json.dumps(state, sort_keys=True)
        last = self._last
        if last is None or key in self._made.items or state["what"] != "picture":
            return self.make(state)
        before, after = last.settings, request_from(state).settings
        guessed = {name: getattr(before.reduction, name) for name in (*GUESSED, "columns")}
        if (
            state.get("areas", {}) != last.areas
            or replace(after, reduction=replace(after.reduction, **guessed)) != before
        ):
            return self.make(state)
        with self._guesser_guard:
            guesser = self._guessers.get(last.key, last.guesser)
        base = guesser.guess(last.base, after)
        return self.make(state) if base is None else self._finish(state, base, last.made)

    def get_ready_to_guess(self) -> None:
        """Do now what the first `draft` would have to wait for."""
        last = self._last
        if last is not None:
            with self._guesser_guard:
                self._guessers.get(last.key, last.guesser)

    def _make(self, state: State) -> Made:
        request = request_from(state)
        base, made = self._base(state)
        return self._finish(state, request.materials.apply(base) if made is None else base, made)

    def _finish(self, state: State, base: Chart, made: MadeChart | None) -> Made:
        hand, drifted, aside = fitting_hand(state, Grid.of(base))
        chart = _corrected(base, hand)
        motif = (0, 0, chart.rows, chart.columns)
        told: list[str] = []
        if state.get("border") or state.get("letters"):
            chart, motif, told = compose_piece(chart, state)
        whole = chart
        outer, _, outer_aside = fitting_hand(state, Grid(chart.rows, chart.columns), around(state) or None)
        chart = _corrected(chart, outer)
        inside, outside = (0 if each is None else len(each) for each in (hand, outer))
        doubtful: tuple[tuple[int, int], ...] = ()
        if state["what"] == "squares":
            at = np.argwhere(self.squares().doubtful) + np.array(motif[:2])
            doubtful = tuple((int(row), int(col)) for row, col in at)
            if doubtful:
                number = "1 square is" if len(doubtful) == 1 else f"{len(doubtful)} squares are"
                told.append(f"{number} not sure to be read rightly: ringed on the chart.")
        result = Made(
            chart, base, whole, made, motif, inside + outside, aside + outer_aside, drifted, tuple(told), doubtful
        )
        if not state.get("areas"):
            return result
        return replace(result, areas=areas_on(state["areas"], chart, result.picture_shape))

    def _base(self, state: State) -> tuple[Chart, MadeChart | None]:
        what = state["what"]
        if what == "chart":
            return self._bases.get("chart", lambda: chart_from_bytes(self.data, self.file_name)), None
        request = request_from(state)
        if what == "squares":
            from converter.jobs.squares import chart_of_reading
            from converter.squares import SURE

            reading = self.squares()
            if reading.confidence < SURE:
                raise PictureError(
                    "No squares were found in this picture that could be read one by one.", "Read it as a picture."
                )
            return chart_of_reading(reading, title=title_from(state["name"]), source=self.file_name), None
        options = state.get("options", {})
        areas = state.get("areas", {})
        key = json.dumps([state.get("settings"), options.get("wide"), options.get("high"), areas], sort_keys=True)
        reduction = request.settings.reduction
        opened = self.picture(max(reduction.columns or 0, reduction.rows or 0))

        def make() -> MadeChart:
            settings = with_areas(request.settings, areas, (opened.pixels.shape[0], opened.pixels.shape[1]))
            return make_chart(opened, settings, title=title_from(state["name"]), source=self.file_name)

        made = self._bases.get(key, make)
        fabric, thread = request.materials.fresh()
        chart = made.chart.with_(title=title_from(state["name"]), fabric=fabric, thread=thread)
        made = replace(made, chart=chart)
        self._last = _Last(key, areas, request.settings, chart, made, opened.pixels)
        return chart, made

    def squares(self) -> SquaresReading:
        """Return the picture read as squared paper, once."""
        from converter.squares import read_squares

        with self._squares_guard:
            if self._squares is None:
                self._squares = read_squares(picture_from_bytes(self.data, self.file_name).pixels)
            return self._squares

    def paper_notes(self, state: State) -> tuple[str, ...]:
        """Return a note where the picture looks like a motif on squared paper, as the command says it."""
        if state["what"] != "picture":
            return ()
        from converter.jobs.paper import squared_paper_notes

        wanted = request_from(state).settings.reduction
        picture = self.picture(max(wanted.columns or 0, wanted.rows or 0))
        with self._squares_guard:
            notes: tuple[str, ...] = self._papers.get(picture.pixels.shape, lambda: squared_paper_notes(picture))
            return notes


def _corrected(chart: Chart, hand: Corrections | None) -> Chart:
    if hand is None or not len(hand):
        return chart
    cells, lines = hand.apply(chart.cells, chart.lines)
    return chart.with_(cells=cells, lines=lines)


def picture_preview(picture: Picture, turn: int, longest: int = 900) -> bytes:
    """Return a small JPEG of the picture as it is turned, for choosing a part of it."""
    import cv2

    pixels: Any = np.rot90(picture.pixels, -(turn // 90) % 4)
    ratio = min(1.0, longest / max(pixels.shape[:2]))
    if ratio < 1:
        size = (max(1, round(pixels.shape[1] * ratio)), max(1, round(pixels.shape[0] * ratio)))
        pixels = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    if pixels.ndim == 3:
        pixels = pixels[:, :, ::-1]
    done, data = cv2.imencode(".jpg", np.ascontiguousarray(pixels), [cv2.IMWRITE_JPEG_QUALITY, 85])
    if not done:
        raise PictureError("The picture cannot be shown.")
    return bytes(data)
