"""No name of a command or option reaches the page."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import converter
from converter.page.words import plain

ROOT = Path(converter.__file__).parent
COMMAND = re.compile(r"--[a-z]|'onecolour |onecolour [a-z]+'")


def sentences():
    """Yield every text of the program outside the command that names a command or an option."""
    for path in sorted(ROOT.rglob("*.py")):
        if path.is_relative_to(ROOT / "cli") or path.is_relative_to(ROOT / "page"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and COMMAND.search(node.value):
                yield path.name, node.value


def test_every_sentence_of_the_program_can_be_said_without_the_command():
    found = list(sentences())
    assert len(found) > 20
    for name, text in found:
        assert not COMMAND.search(plain(text)), (name, plain(text))


def test_plain_sentences_stay_as_they_are():
    for text in ("Nothing of the picture was left out.", "Thread -- two skeins.", ""):
        assert plain(text) == text


def test_words_of_the_controls_take_the_place_of_options():
    said = plain(
        "At this size the picture does not read well (40 of 100): 'onecolour sizes' shows it at several widths."
    )
    assert said.endswith("(40 of 100): “Show several sizes side by side” helps to choose a larger one.")
    assert plain("--dark is 999.") == "“How much is stitched” is 999."
    assert plain("Give a wider margin with --margin or a shorter fringe with --fringe.") == (
        "Give a wider margin or a shorter fringe."
    )


def test_labels_are_those_of_the_page():
    scripts = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "page" / "static").glob("*.js"))
    from converter.page import words

    quoted = re.findall(r"“([^”\\]+)”", "".join(words.LABELS.values()) + "".join(w for _, w in words._SENTENCES))
    index = (ROOT / "page" / "static" / "index.html").read_text(encoding="utf-8")
    assert len(quoted) > 5
    for label in quoted:
        assert label in scripts or label in index, label
