"""The words of the sheets: English complete, other languages by a table."""

from __future__ import annotations

import ast
import gettext
import io
import re
import string
import struct
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from converter.compose.catalogue import strips
from converter.draw.canvas import Drawing
from converter.draw.plans import strip_sheet
from converter.draw.sizes import SizeEntry, sizes_drawing
from converter.draw.words import Words
from converter.estimate.making.words import length, metres, size, threads
from converter.estimate.stitches import count_stitches
from converter.jobs.facts import gather_facts
from converter.jobs.finish import plan_finish
from converter.jobs.leaflet import leaflet_pages
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread
from converter.model.phrase import Phrase
from converter.model.results import WorkTime
from converter.settings import PIECES, WAYS, MakingSettings, ThreadSettings

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "scripts"))


def _table(entries: dict[str, str]) -> gettext.GNUTranslations:
    """Compile a table: the GNU .mo format (GNU gettext manual, "The Format of GNU MO Files")."""
    entries = {"": "Content-Type: text/plain; charset=UTF-8\nPlural-Forms: nplurals=2; plural=(n != 1);\n", **entries}
    keys = sorted(entries, key=lambda key: key.encode())
    count, start = len(keys), 28
    originals, translations, data = b"", b"", b""
    at = start + 16 * count
    for key in keys:
        raw = key.encode() + b"\0"
        originals += struct.pack("<II", len(raw) - 1, at)
        data += raw
        at += len(raw)
    for key in keys:
        raw = entries[key].encode() + b"\0"
        translations += struct.pack("<II", len(raw) - 1, at)
        data += raw
        at += len(raw)
    head = struct.pack("<7I", 0x950412DE, 0, count, start, start + 8 * count, 0, at)
    return gettext.GNUTranslations(io.BytesIO(head + originals + translations + data))


def test_the_template_holds_every_sentence() -> None:
    import update_words

    assert update_words.TEMPLATE.read_text(encoding="utf-8") == update_words.template()


def test_every_value_of_a_sentence_is_named_in_braces_once_filled() -> None:
    import update_words

    for path in update_words.modules():
        for one, several in update_words.collect(path):
            fields = set(re.findall(r"{(\w*)}", one))
            assert "" not in fields
            if several is not None:
                assert fields == set(re.findall(r"{(\w*)}", several))


def test_a_language_without_a_table_gives_english() -> None:
    assert Words("xx")("Chart") == "Chart"


def test_plural_and_units() -> None:
    words = Words()
    assert words.many("{number} cross", "{number} crosses", 1) == "1 cross"
    assert words.many("{number} cross", "{number} crosses", 12345) == "12,345 crosses"
    assert Words(units="cm").size(100.0, 55.0) == "10.0 × 5.5 cm"
    assert Words(units="in").length(25.4) == "1.00 in"


def test_a_phrase_is_said_in_another_language_and_in_her_units() -> None:
    table = _table(
        {
            "Fold {depth} under, {threads}.": "{threads}: fold, {depth}.",
            "{imperial} ({metric})": "{metric} = {imperial}",
            "{value} in": "{value} inches",
            "{number} thread\0{number} threads": "1 Faden\0{number} Fäden",
            "red": "rot",
        }
    )
    half = length(12.7)
    step = Phrase("Fold {depth} under, {threads}.", depth=half, threads=threads(7, Fabric(28, 2)))
    assert step == "Fold 1/2 in (1.3 cm) under, 7 threads."
    assert Words("qq", table=table).say(step) == "7 Fäden: fold, 1.3 cm = 1/2 inches."
    assert Words("qq", "in", table).say(step) == "7 Fäden: fold, 1/2 inches."
    assert Words(units="cm").say(step) == "Fold 1.3 cm under, 7 threads."
    assert Words("qq", table=table).say(threads(1, Fabric(28, 2))) == "1 Faden"
    # A text without a template is looked up whole; its braces are left alone.
    assert Words("qq", table=table).say("red") == "rot"
    assert Words("qq", table=table).say("{red}") == "{red}"
    assert Words("qq", table=table).say("") == ""
    # Values of a sentence are said too.
    assert Words("qq", "cm", table)("Cut {size}.", size=half) == "Cut 1.3 cm."


@pytest.mark.parametrize(
    ("text", "metric", "imperial"),
    [
        (size((406.4, 368.3)), "40.7 x 36.9 cm", "16 x 14 1/2 in"),
        (length(6.35), "6 mm", "1/4 in"),
        (length(4.0), "4 mm", "4 mm"),
        (metres(1.32), "1.4 m", "1.5 yd"),
    ],
)
def test_a_measure_is_said_in_one_system_alone(text: Phrase, metric: str, imperial: str) -> None:
    assert Words(units="cm").say(text) == metric
    assert Words(units="in").say(text) == imperial
    assert Words().say(text) == text


def test_templates_are_written_out_where_they_are_used() -> None:
    """Only a text that stands in the code can be collected for translators."""
    import update_words

    for path in update_words.modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in update_words.PHRASES:
                assert path.name == "phrase.py" or isinstance(node.args[0], ast.Constant), (path.name, node.lineno)


GREEK = dict(zip(string.ascii_letters, "αβψδεφγηιξκλμνοπθρστυωχςζ" * 3, strict=False))
"""Stand-ins for letters: with every sentence of a table in them, whatever is left in Latin letters was not in it."""


def _in_greek(template: str) -> str:
    """Return a template with its words in Greek letters and its values kept."""
    parts = re.split(r"({\w+})", template)
    return "".join(part if part.startswith("{") else "".join(GREEK.get(c, c) for c in part) for part in parts)


@cache
def _greek_table() -> gettext.GNUTranslations:
    import update_words

    entries = {}
    for path in update_words.modules():
        for one, several in update_words.collect(path):
            if several is None:
                entries[one] = _in_greek(one)
            else:
                entries[f"{one}\0{several}"] = f"{_in_greek(one)}\0{_in_greek(several)}"
    return _table(entries)


def _latin(drawing: Drawing, allowed: str) -> list[str]:
    """Return the texts of a drawing, read aloud ones too, that have Latin words other than the allowed ones."""
    texts = [drawing.title]
    for page in drawing.pages:
        texts.append(page.label)
        for op in page.ops:
            texts += [getattr(op, "text", ""), getattr(op, "alt", "")]
    known = rf"{allowed}|#[0-9a-f]{{6}}|\b\d+[a-z]\b|\d x \S"
    return [text for text in texts if re.search("[A-Za-z]", re.sub(known, "", text))]


PIECE_WAYS = [(piece, way, "both") for piece in PIECES for way in WAYS.get(piece, ("auto",))]


def _leaflet(words: Words, piece: str | None = None, way: str = "auto") -> Drawing:
    cells = np.zeros((22, 26), dtype=bool)
    cells[3:20:3, 2:24:3] = True
    thread = Thread("#1d3a6b", "Dusk") if piece == "card" else Thread("#b01e28")
    # A note out of a chart file is plain text: it is looked up as it is.
    note = "Taken for a line drawing."
    chart = Chart(cells, [[[2, 2], [8, 8]], [[8, 8], [8, 14]]], title="Quince", thread=thread, notes=(note,))
    facts = gather_facts(chart, piece=piece)
    assert len(facts.notes) == 2
    # Her cloth is too small, so that there is a warning.
    settings = MakingSettings(piece=piece or "panel", way=way, cloth_mm=(60.0, 40.0))
    making = plan_finish(chart, settings) if piece else None
    return leaflet_pages(
        chart, facts, paper="A4", thread=ThreadSettings(), making=making, words=words, order=piece is None
    )


@pytest.mark.parametrize(("piece", "way", "units"), [*PIECE_WAYS, ("panel", "two", "cm"), (None, "auto", "in")])
def test_a_table_translates_the_whole_leaflet(piece: str | None, way: str, units: str) -> None:
    """No Latin letters are left on a leaflet whose sentences are all in Greek letters.

    Left as they are: the title, the thread's name, colour codes, numbers such as 3a of crosses within crosses, and the
    sign in "2 x" before the name of a part.
    """
    drawing = _leaflet(Words("qq", units, _greek_table()), piece, way)
    assert drawing.language == "qq"
    assert sum(len(page.ops) for page in drawing.pages) > 200
    assert _latin(drawing, "Quince|Dusk") == []


def test_english_is_told_from_a_translation() -> None:
    assert len(_latin(_leaflet(Words()), "Quince|Dusk")) > 100


@pytest.mark.parametrize(("piece", "way", "units"), PIECE_WAYS)
def test_every_text_of_a_plan_can_be_said_and_is_the_same_in_english(piece: str, way: str, units: str) -> None:
    chart = Chart(np.ones((30, 90), dtype=bool), title="Quince", fabric=Fabric(28, 2))
    settings = MakingSettings(piece=piece, way=way, size_mm=(90.0, 80.0), cloth_mm=(60.0, 40.0))
    plan = plan_finish(chart, settings)
    labels = [guide.label for part in plan.parts for guide in part.guides]
    names = [text for part in plan.parts for text in (part.name, part.note)]
    texts = [*plan.steps, *plan.shopping, *plan.cautions, *plan.warnings, *labels, *names]
    assert plan.warnings
    for text in filter(None, texts):
        assert isinstance(text, Phrase), text
        assert Words(units=units).say(text) == str(text)


def test_a_table_translates_the_sheet_of_sizes() -> None:
    chart = Chart(np.ones((20, 40), dtype=bool), [[[0, 0], [0, 1]]])
    losses = tuple(Phrase("Lines that lie closer than the grid can show run together.") for _ in range(40))
    entries = [
        SizeEntry(chart, count_stitches(chart), 12.0, 0.4, 1, WorkTime(4.0, 8.0, 14.0), 91.0, losses, chosen, chosen)
        for chosen in (False, True)
    ]
    for shown in (entries, entries[:1]):
        drawing = sizes_drawing(shown, title="Quince", pace=80, words=Words("qq", table=_greek_table()))
        assert _latin(drawing, "Quince") == []
        assert len(_latin(sizes_drawing(shown, title="Quince", pace=80), "Quince")) > 10


def test_a_table_translates_the_sheet_of_strips() -> None:
    """Left as they are: the names of the strips, by which they are asked for."""
    names = "|".join(sorted(strips(), key=len, reverse=True))
    assert _latin(strip_sheet(words=Words("qq", table=_greek_table())), names) == []
    assert len(_latin(strip_sheet(), names)) > 10
