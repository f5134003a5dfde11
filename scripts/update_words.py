"""Collect every sentence of the printed sheets into the template for translators; --check only compares."""

from __future__ import annotations

import argparse
import ast
import json
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
TEMPLATE = ROOT / "converter" / "data" / "locale" / "onecolour.pot"
CALLERS = ("words", "self")
PHRASES = ("Phrase", "Measure")
HEAD = """# Sentences of the printed sheets. Copy to LANGUAGE/LC_MESSAGES/onecolour.po and compile it to onecolour.mo.
# Words in {braces} stand for values; keep them as they are.
msgid ""
msgstr ""
"Content-Type: text/plain; charset=UTF-8\\n"
"Plural-Forms: nplurals=2; plural=(n != 1);\\n"
"""


def _speaks(node: ast.expr) -> bool:
    """Return True for the words of a language, as a name or as an attribute."""
    return (isinstance(node, ast.Name) and node.id in CALLERS) or (
        isinstance(node, ast.Attribute) and node.attr == "words"
    )


def collect(path: Path) -> list[tuple[str, str | None]]:
    """Return (sentence, plural or None) of one module, in order."""
    found: list[tuple[int, str, str | None]] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        texts = [a.value for a in node.args[:2] if isinstance(a, ast.Constant) and isinstance(a.value, str) and a.value]
        name = node.func
        phrase = isinstance(name, ast.Name) and name.id in PHRASES
        many = isinstance(name, ast.Attribute) and name.attr == "many" and _speaks(name.value)
        if texts and (phrase or _speaks(name) or many):
            found.append((node.lineno, texts[0], texts[1] if len(texts) == 2 else None))
    return [(one, several) for _, one, several in sorted(found, key=lambda entry: entry[0])]


def modules() -> list[Path]:
    """Return the modules whose sentences can be translated."""
    return sorted((ROOT / "converter").rglob("*.py"))


def template() -> str:
    """Return the whole template."""
    entries: dict[tuple[str, str | None], list[str]] = {}
    for path in modules():
        for entry in collect(path):
            place = path.relative_to(ROOT).as_posix()
            places = entries.setdefault(entry, [])
            if place not in places:
                places.append(place)
    parts = [HEAD]
    for (one, several), places in entries.items():
        lines = [f"#: {' '.join(places)}", f"msgid {json.dumps(one, ensure_ascii=False)}"]
        if several is None:
            lines.append('msgstr ""')
        else:
            lines += [f"msgid_plural {json.dumps(several, ensure_ascii=False)}", 'msgstr[0] ""', 'msgstr[1] ""']
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def main() -> int:
    """Write or compare the template."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="only say whether the template is up to date")
    wanted = template()
    if parser.parse_args().check:
        if not TEMPLATE.exists() or TEMPLATE.read_text(encoding="utf-8") != wanted:
            print("The template of sentences is out of date: run scripts/update_words.py.")
            return 1
        return 0
    TEMPLATE.parent.mkdir(parents=True, exist_ok=True)
    TEMPLATE.write_text(wanted, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
