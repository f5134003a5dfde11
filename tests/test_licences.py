"""Everything that an installation brings along is named in DEVELOPERS with its licence."""

import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_every_package_is_listed():
    sys.path.insert(0, str(ROOT / "scripts"))
    try:
        from list_licences import brought_along
    finally:
        sys.path.pop(0)
    found = brought_along(frozenset({"heic", "page"}))
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = {line.split("|")[1].strip() for line in text.splitlines() if line.startswith("| ")}
    # sniffio and the like come with some versions of others only.
    missing = set(found) - rows - {"sniffio", "exceptiongroup", "colorama", "click-option-group"}
    assert not missing
    assert {"numpy", "click", "pillow", "starlette", "pillow-heif"} <= set(found)
    assert not any("see its files" in licence for licence in found.values())
