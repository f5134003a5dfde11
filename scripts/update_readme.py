"""Paste each command's help into the README, and what bad input gets into DEVELOPERS; --check only compares.

``--pictures`` makes the pictures that the README shows, in fixtures/shown, from one run of ``onecolour chart``.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from click.testing import CliRunner

from converter.cli.main import COMMANDS, group

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))


def help_text() -> str:
    parts = []
    for words in ([], *([name] for name in COMMANDS)):
        result = CliRunner().invoke(group, [*words, "--help"], prog_name="onecolour", terminal_width=100)
        if result.exit_code:
            raise SystemExit(f"update_readme: {' '.join(words)} --help failed: {result.output}")
        title = " ".join(["onecolour", *words])
        parts.append(f"### {title}\n\n```\n{result.output.rstrip()}\n```\n")
    return "\n" + "\n".join(parts) + "\n"


def bad_input_text() -> str:
    """One row an odd or broken picture: what it is and what it gets."""
    from helpers.odd_pictures import ALL

    from converter.errors import ConverterError
    from converter.files.picture import picture_from_bytes

    rows = ["\n| file | what it gets |\n|---|---|\n"]
    for odd in ALL:
        try:
            picture = picture_from_bytes(odd.make(), "odd", 30)
            got = "read" + "".join(f"; {note}" for note in picture.notes)
        except ConverterError as error:
            got = f"{int(error.exit_code)}: {error}"
        rows.append(f"| {odd.name} | {got} |\n")
    return "".join([*rows, "\n"])


def make_pictures() -> None:
    """Chart the heron as the README tells, and keep small copies of what comes out."""
    import pypdfium2
    from PIL import Image

    shown = ROOT / "fixtures" / "shown"
    shown.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        heron = str(ROOT / "fixtures" / "pictures" / "heron.png")
        words = ["chart", heron, "--wide", "60", "--out", folder]
        result = CliRunner().invoke(group, words)
        if result.exit_code:
            raise SystemExit(f"update_readme: charting the heron failed: {result.output}")
        page = pypdfium2.PdfDocument(Path(folder) / "heron.pdf")[0].render(scale=2).to_pil()
        pictures = {
            "heron-chart.png": Image.open(Path(folder) / "heron.png"),
            "heron-stitched.png": Image.open(Path(folder) / "heron-stitched.png"),
            "heron-leaflet.png": page,
        }
        for name, image in pictures.items():
            small = image.convert("RGB")
            small.thumbnail((560, 640), Image.Resampling.LANCZOS)
            small.quantize(64, dither=Image.Dither.NONE).save(shown / name, optimize=True)


PARTS: tuple[tuple[str, str, Callable[[], str]], ...] = (
    ("README.md", "help", help_text),
    ("DEVELOPERS.md", "bad input", bad_input_text),
)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="compare only")
    parser.add_argument("--pictures", action="store_true", help="make the README's pictures too")
    chosen = parser.parse_args()
    if chosen.pictures:
        make_pictures()
    stale = 0
    for name, part, make in PARTS:
        path = ROOT / name
        text = path.read_text(encoding="utf-8")
        begin = f"<!-- {part} begins: made by scripts/update_readme.py -->\n"
        end = f"<!-- {part} ends -->\n"
        before, rest = text.split(begin)
        fresh = before + begin + make() + end + rest.split(end)[1]
        if fresh == text:
            continue
        if chosen.check:
            print(f"update_readme: {name} does not show the {part} as it is; run scripts/update_readme.py.")
            stale = 1
        else:
            path.write_text(fresh, encoding="utf-8", newline="\n")
    return stale


if __name__ == "__main__":
    sys.exit(main())
