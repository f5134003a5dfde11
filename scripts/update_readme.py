"""Paste each command's help into the README; --check only compares."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from click.testing import CliRunner

from converter.cli.main import COMMANDS, group

README = Path(__file__).resolve().parent.parent / "README.md"
BEGIN = "<!-- help begins: made by scripts/update_readme.py -->\n"
END = "<!-- help ends -->\n"


def help_text() -> str:
    parts = []
    for words in ([], *([name] for name in COMMANDS)):
        result = CliRunner().invoke(group, [*words, "--help"], prog_name="onecolour", terminal_width=100)
        if result.exit_code:
            raise SystemExit(f"update_readme: {' '.join(words)} --help failed: {result.output}")
        title = " ".join(["onecolour", *words])
        parts.append(f"### {title}\n\n```\n{result.output.rstrip()}\n```\n")
    return "\n" + "\n".join(parts) + "\n"


def main() -> int:
    parser = argparse.ArgumentParser(description="Paste each command's help into the README.")
    parser.add_argument("--check", action="store_true", help="compare only")
    chosen = parser.parse_args()
    text = README.read_text(encoding="utf-8")
    before, rest = text.split(BEGIN)
    after = rest.split(END)[1]
    fresh = before + BEGIN + help_text() + END + after
    if fresh == text:
        return 0
    if chosen.check:
        print("update_readme: README.md does not show the commands as they are; run scripts/update_readme.py.")
        return 1
    README.write_text(fresh, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
