"""The words of the sheets: English complete, other languages by a table."""

from __future__ import annotations

import ast
import gettext
import io
import re
import struct
import sys
from pathlib import Path

import pytest

from converter.draw.canvas import TextOp
from converter.draw.leaflet import leaflet_drawing
from converter.draw.words import Words
from converter.estimate.making.words import length, metres, size, threads
from converter.model.materials import Fabric
from converter.model.phrase import Phrase

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


def test_a_table_translates_the_whole_leaflet() -> None:
    """With every sentence marked by a table, no unmarked sentence of ours is left on the teaching pages."""
    import update_words
    from helpers.leaflet_cases import CASES, content_of

    entries = {}
    for path in update_words.modules():
        for one, several in update_words.collect(path):
            if several is None:
                entries[one] = f"¤{one}"
            else:
                entries[f"{one}\0{several}"] = f"¤{one}\0¤{several}"
    chart, _ = CASES["mixed"]
    words = Words("qq", table=_table(entries))
    drawing = leaflet_drawing(chart, content_of(chart, None), words=words)
    texts = [op.text for page in drawing.pages for op in page.ops if isinstance(op, TextOp)]
    joined = " ".join(texts)
    for sentence in ("How to begin", "The cross", "The backstitch", "Good habits", "You need", "Take care", "middle"):
        assert f"¤{sentence}" in joined, sentence
    assert drawing.language == "qq"
    starts = [text for text in texts if text[:1] == "¤"]
    assert len(starts) > 40
