"""Print a table of everything an installation brings along, with the licence that each package states.

python scripts/list_licences.py            what runs: the dependencies and the extras heic and page
python scripts/list_licences.py --test     and what the checks need
"""

from __future__ import annotations

import argparse
import re
from importlib.metadata import PackageNotFoundError, distribution

from packaging.requirements import Requirement

PROJECT = "onecolour"


def brought_along(extras: frozenset[str]) -> dict[str, str]:
    """Return the licence of each package that the project with these extras installs, by name."""
    found: dict[str, str] = {}
    waiting = [(PROJECT, extras)]
    seen = set()
    while waiting:
        name, wanted = waiting.pop()
        if (name, wanted) in seen:
            continue
        seen.add((name, wanted))
        try:
            package = distribution(name)
        except PackageNotFoundError:
            continue
        if name != PROJECT:
            found[name] = licence(name)
        for text in package.requires or ():
            requirement = Requirement(text)
            marker = requirement.marker
            if marker is None or any(marker.evaluate({"extra": extra}) for extra in ("", *sorted(wanted))):
                plain = re.sub(r"[-_.]+", "-", requirement.name).lower()
                waiting.append((plain, frozenset(requirement.extras)))
    return dict(sorted(found.items()))


def licence(name: str) -> str:
    """Return what a package says of its licence: the expression, else the classifiers, else the first line."""
    said = distribution(name).metadata
    expression = said.get("License-Expression")
    if expression:
        return str(expression)
    classes = [text.rsplit(" :: ", 1)[-1] for text in said.get_all("Classifier") or () if text.startswith("License ::")]
    stated = (said.get("License") or "").strip().splitlines()
    if classes:
        return ", ".join(classes)
    return stated[0] if stated and len(stated[0]) < 40 else "see its files"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--test", action="store_true", help="with what the checks need")
    extras = {"heic", "page"} | ({"test"} if parser.parse_args().test else set())
    print("| package | licence |\n|---|---|")
    for name, text in brought_along(frozenset(extras)).items():
        print(f"| {name} | {text} |")


if __name__ == "__main__":
    main()
