"""The words of the sheets: English complete, other languages by a table."""

from __future__ import annotations

import gettext
import io
import re
import struct
import sys
from pathlib import Path

from converter.draw.canvas import TextOp
from converter.draw.leaflet import leaflet_drawing
from converter.draw.words import Words

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

    for path in sorted((ROOT / "converter" / "draw").glob("*.py")):
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


def test_a_table_translates_the_whole_leaflet() -> None:
    """With every sentence marked by a table, no unmarked sentence of ours is left on the teaching pages."""
    import update_words
    from helpers.leaflet_cases import CASES, content_of

    entries = {}
    for path in sorted((ROOT / "converter" / "draw").glob("*.py")):
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
