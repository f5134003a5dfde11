"""The pieces that are open in the page, and what is asked of them. Methods return plain JSON, or bytes to take."""

from __future__ import annotations

import base64
import logging
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from converter.errors import PictureError, UsageError
from converter.jobs import piece_results as results
from converter.jobs import pieces as jobs
from converter.jobs.history import History, Patch, apply_patch
from converter.jobs.piece_areas import area_patch
from converter.jobs.piece_hands import hand_patch
from converter.jobs.piece_state import check_state, new_state
from converter.jobs.workspace import Workspace, tidy_name
from converter.model.chart import Chart
from converter.page.words import plain

JSON = dict[str, Any]
log = logging.getLogger(__name__)
_BENCHES_KEPT: Final = 3
_CHANGEABLE: Final = ("name", "what", "settings", "options", "border", "letters")


@dataclass(frozen=True)
class Taken:
    """A file to take away."""

    data: bytes
    file_name: str
    media_type: str


class Studio:
    """What the server answers with.

    Parameters
    ----------
    workspace : Workspace
        Where the pieces are kept.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self._benches: OrderedDict[str, jobs.Bench] = OrderedDict()
        self._guard = threading.Lock()
        self._locks: dict[str, threading.RLock] = {}
        self._reckoning: dict[str, threading.Lock] = {}

    # -- the folder ---------------------------------------------------------------------------------------------------

    def session(self) -> JSON:
        """Return what the page needs to know before anything else."""
        return {"folder": str(self.workspace.folder), **results.offers()}

    def pieces(self) -> list[JSON]:
        """Return the list of pieces, last changed first."""
        return [
            {"id": entry.id, "name": entry.name, "revision": entry.revision, "glance": dict(entry.glance)}
            for entry in self.workspace.entries()
        ]

    def thrown_away(self) -> list[JSON]:
        """Return the pieces thrown away."""
        return [{"id": piece, "name": name} for piece, name in self.workspace.thrown_away()]

    def create(self, data: bytes, file_name: str) -> JSON:
        """Begin a piece from the bytes of a picture or chart file.

        So that she sees it at once, the chart of a picture comes without its lines here, and ``unfinished`` is true:
        the piece asked for again has them.
        """
        if not data:
            raise PictureError("The file is empty.", "Choose a picture or a chart.")
        state = new_state(data, file_name)
        bench = jobs.Bench(data, state["file"])
        first = {**state, "settings": {"lines": "none"}} if state["what"] == "picture" else state
        made = bench.make(first)
        piece = self.workspace.create(data, state)
        self._keep_bench(piece, bench)
        with self._piece(piece) as history:
            return self._answer(piece, history, made) | {"unfinished": first is not state}

    def copy(self, piece: str, body: JSON) -> JSON:
        """Copy a piece."""
        with self._piece(piece) as history:
            name = tidy_name(str(body.get("name") or f"{history.state['name']} (copy)"))
            return {"id": self.workspace.copy(piece, name)}

    def throw_away(self, piece: str, body: JSON) -> JSON:
        """Put a piece aside; `bring_back` returns it."""
        with self._piece(piece):
            self.workspace.throw_away(piece)
            with self._guard:
                self._benches.pop(piece, None)
        return {"id": piece}

    def bring_back(self, piece: str, body: JSON) -> JSON:
        """Return a piece that was thrown away."""
        self.workspace.bring_back(piece)
        return {"id": piece}

    # -- one piece ----------------------------------------------------------------------------------------------------

    def piece(self, piece: str) -> JSON:
        """Return a piece as it stands."""
        with self._piece(piece) as history:
            return self._answer(piece, history)

    def step(self, piece: str, body: JSON) -> JSON:
        """Make a step: a change of settings, a correction by hand, or a part of the picture kept or left out."""
        label = tidy_name(str(body.get("label", "")), "a change")
        with self._piece(piece) as history:
            history.check_revision(_revision(body))
            state = history.state
            if "hand" in body:
                hand = body["hand"]
                if not isinstance(hand, dict):
                    raise UsageError("A correction must be a mapping.")
                patch = hand_patch(state, self._bench(piece, state).make(state), hand)
            elif "area" in body:
                patch = area_patch(state, self._bench(piece, state).make(state), body["area"])
            else:
                patch = change_patch(body.get("change"))
            fresh, _ = apply_patch(state, patch)
            check_state(fresh)
            before = self._bench(piece, state).make(state)
            after = self._bench(piece, state).make(fresh)
            history.change(patch, label, _revision(body))
            answer = self._answer(piece, history)
            told = what_became_of_corrections(before, after)
            return {**answer, "told": told} if told else answer

    def undo(self, piece: str, body: JSON) -> JSON:
        """Take the last step back."""
        with self._piece(piece) as history:
            history.undo(_revision(body))
            return self._answer(piece, history)

    def redo(self, piece: str, body: JSON) -> JSON:
        """Do it again."""
        with self._piece(piece) as history:
            history.redo(_revision(body))
            return self._answer(piece, history)

    def preview(self, piece: str, body: JSON) -> JSON:
        """Show about what a change would give, or with ``full`` exactly that, keeping nothing."""
        # No lock: a control that moves must not wait for a chart that is just being made in full.
        state = self.workspace.history(piece).state
        fresh, _ = apply_patch(state, change_patch(body.get("change")))
        check_state(fresh)
        bench = self._bench(piece, state)
        return {"view": view_of(bench.make(fresh) if body.get("full") is True else bench.draft(fresh))}

    def facts(self, piece: str) -> JSON:
        """Return counts, sizes, thread and hours of a piece."""
        self.workspace.history(piece)
        # One at a time for a piece: those that waited find it done, or work on the newest state.
        with self._guard:
            turn = self._reckoning.setdefault(piece, threading.Lock())
        with turn:
            return self._facts(piece)

    def _facts(self, piece: str) -> JSON:
        state, made = self._made(piece)
        figures = results.figures_of(results.quick_facts(state, made), results.piece_making(state, made))
        # Ready before she moves a control.
        self._bench(piece, state).get_ready_to_guess()
        return figures | {name: [plain(text) for text in figures[name]] for name in ("notes", "warnings")}

    def rows(self, piece: str) -> JSON:
        """Return the chart row by row, for reading aloud."""
        _, made = self._made(piece)
        return {"rows": ["".join("#" if on else "." for on in row) for row in made.chart.cells.tolist()]}

    def squares(self, piece: str) -> JSON:
        """Return whether the picture looks like a motif on squared paper, and what to say of it."""
        # No lock: the lines may just be made, which can take longer than this.
        state = self.workspace.history(piece).state
        bench = self._bench(piece, state)
        try:
            notes = bench.paper_notes(state)
        except Exception:
            # Only an offer: a picture that cannot be looked at in this way is simply a picture.
            log.warning("looking for squares failed", exc_info=True)
            notes = ()
        return {"squares": bool(notes), "notes": [plain(note) for note in notes]}

    def fit(self, piece: str, body: JSON) -> JSON:
        """Return the largest width within her limits, and which limit held."""
        found = self._wish(piece, body, lambda bench, state, _: results.fit_piece(bench, state))
        return found | {"words": [plain(text) for text in found["words"]]}

    def sizes(self, piece: str, body: JSON) -> JSON:
        """Return the piece at several widths side by side."""
        return self._wish(piece, body, lambda bench, state, more: results.piece_sizes(bench, state, more.get("widths")))

    def borders(self, piece: str, body: JSON) -> JSON:
        """Return the border plans that fit round the piece."""
        return self._wish(piece, body, results.border_plans)

    def preview_picture(self, piece: str) -> bytes:
        """Return a small JPEG of the picture, turned as it is used."""
        state = self.workspace.history(piece).state
        if state["what"] == "chart":
            raise PictureError("This piece came as a chart; there is no picture.")
        turn = state.get("settings", {}).get("turn", 0)
        return jobs.picture_preview(self._bench(piece, state).picture(60), turn)

    def take(self, piece: str, kind: str) -> Taken:
        """Return a file to take away; ``kind`` is one of `results.TAKEABLE`."""
        if kind not in results.TAKEABLE:
            raise PictureError("There is no such file to take away.")
        state, made = self._made(piece)
        suffix, media_type = results.TAKEABLE[kind]
        data = results.piece_output(self._bench(piece, state), state, made, kind)
        return Taken(data, f"{safe_file_name(state['name'])}{suffix}", media_type)

    # -- inside -------------------------------------------------------------------------------------------------------

    def _wish(self, piece: str, body: JSON, run: Callable[..., JSON]) -> JSON:
        with self._piece(piece) as history:
            state = history.state
            if body.get("change") is not None:
                state, _ = apply_patch(state, change_patch(body["change"]))
                check_state(state)
            bench = self._bench(piece, history.state)
        return run(bench, state, {key: value for key, value in body.items() if key != "change"})

    @contextmanager
    def _piece(self, piece: str) -> Iterator[History]:
        """Hold a piece: one request at a time changes it."""
        self.workspace.history(piece)
        with self._guard:
            lock = self._locks.setdefault(piece, threading.RLock())
        with lock:
            yield self.workspace.history(piece)

    def _made(self, piece: str) -> tuple[Mapping[str, Any], jobs.Made]:
        with self._piece(piece) as history:
            state = history.state
            return state, self._bench(piece, state).make(state)

    def _bench(self, piece: str, state: Mapping[str, Any]) -> jobs.Bench:
        with self._guard:
            bench = self._benches.get(piece)
            if bench is not None:
                self._benches.move_to_end(piece)
                return bench
        bench = jobs.Bench(self.workspace.picture(piece), state["file"])
        self._keep_bench(piece, bench)
        return bench

    def _keep_bench(self, piece: str, bench: jobs.Bench) -> None:
        with self._guard:
            self._benches[piece] = bench
            while len(self._benches) > _BENCHES_KEPT:
                self._benches.popitem(last=False)

    def _answer(self, piece: str, history: History, made: jobs.Made | None = None) -> JSON:
        made = made or self._bench(piece, history.state).make(history.state)
        self.workspace.keep_glance(piece, glance_of(made.chart))
        return {
            "id": piece,
            "revision": history.revision,
            "state": {key: value for key, value in history.state.items() if key != "hands"},
            "undo": history.undo_label,
            "redo": history.redo_label,
            "view": view_of(made),
        }


def _revision(body: JSON) -> int:
    revision = body.get("revision")
    if isinstance(revision, bool) or not isinstance(revision, int):
        raise UsageError("The request names no revision.")
    return revision


def change_patch(change: Any) -> Patch:
    """Return the patch of a change ``{"settings": {...}, "options": {...}, "name": ...}``; null = back to the usual."""
    if not isinstance(change, dict) or not change or not set(change) <= set(_CHANGEABLE):
        raise UsageError("A change names parts of the piece.")
    patch: Patch = []
    for key in ("settings", "options"):
        if key in change:
            part = change[key]
            if not isinstance(part, dict):
                raise UsageError(f"The {key} must be a mapping.")
            put = {name: value for name, value in part.items() if value is not None}
            patch.append({"at": [key], "set": put, "drop": [name for name, value in part.items() if value is None]})
    top = {key: value for key, value in change.items() if key not in ("settings", "options")}
    if top:
        put = {name: value for name, value in top.items() if value is not None}
        patch.append({"at": [], "set": put, "drop": [name for name, value in top.items() if value is None]})
    return patch


def view_of(made: jobs.Made) -> JSON:
    """Return what the browser draws."""
    chart = made.chart
    view: JSON = {
        "rows": chart.rows,
        "columns": chart.columns,
        "bits": base64.b64encode(np.packbits(chart.cells).tobytes()).decode("ascii"),
        "lines": [int(v) if v == int(v) else v for v in chart.lines.ravel().tolist()],
        "motif": list(made.motif),
        "corrections": made.corrections,
        "aside": made.aside,
        "thread": chart.thread.colour,
        "ground": chart.fabric.colour,
        "strands": chart.thread.strands,
        "count": chart.fabric.count_per_inch,
        "over": chart.fabric.over,
        "told": [plain(text) for text in made.told],
        "doubtful": [list(at) for at in made.doubtful[:2000]],
        "areas": [dict(area) for area in made.areas],
        "notes": [plain(text) for text in chart.notes],
    }
    reduction = made.reduction
    if reduction is not None:
        view["kind"] = reduction.kind
        view["reason"] = reduction.reason
        view["readability"] = round(float(reduction.readability), 1)
        view["losses"] = list(reduction.losses)
    return view


def glance_of(chart: Chart, longest: int = 96) -> JSON:
    """Return a chart small enough for the list: every so many squares, stitched if a quarter of them are."""
    step = max(1, -(-max(chart.rows, chart.columns) // longest))
    high, wide = -(-chart.rows // step), -(-chart.columns // step)
    padded = np.zeros((high * step, wide * step), dtype=np.float32)
    padded[: chart.rows, : chart.columns] = chart.cells
    small = padded.reshape(high, step, wide, step).mean(axis=(1, 3)) >= 0.25
    return {
        "rows": high,
        "columns": wide,
        "bits": base64.b64encode(np.packbits(small).tobytes()).decode("ascii"),
        "lines": (chart.lines.ravel() / step).round(2).tolist()[:4000],
        "thread": chart.thread.colour,
    }


def what_became_of_corrections(before: jobs.Made, after: jobs.Made) -> list[str]:
    """Return what she is to be told when a change touched her corrections."""
    told = [text for text in after.told if text not in before.told]
    if after.aside > before.aside and before.corrections:
        lost = after.aside - before.aside
        what = "A correction by hand" if lost == 1 else f"{lost} corrections by hand"
        are, come = ("It is", "it comes") if lost == 1 else ("They are", "they come")
        told.append(
            f"{what} cannot stay: what lies there is another grid now. {are} set aside; "
            f"with the former size {come} back, or undo."
        )
    elif after.drifted and not before.drifted and after.corrections:
        told.append("The squares lie a little differently now; your corrections by hand moved along with the picture.")
    elif before.aside > after.aside and after.corrections > before.corrections:
        told.append("Your corrections by hand that were made for this grid are back.")
    return told


def safe_file_name(name: str) -> str:
    """Return a name that every system takes as a file name."""
    kept = "".join("-" if c in '<>:"/\\|?*' else c for c in name).strip(". ")
    return kept[:80].strip(". ") or "piece"
