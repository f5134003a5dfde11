"""Note anew what the steps of the reduction give for the pictures of tests/raster/test_records.py.

python scripts/update_records.py

Only after a change that is meant: the notes tell that something has changed, not whether it is right. The names of the
pictures and steps that changed are told.
"""

from __future__ import annotations

import json
import platform
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def main() -> int:
    sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "raster")]
    import test_records as records

    before = records.kept() if records.RECORDS.exists() else {}
    now = records.note_all()
    for name, steps in now.items():
        changed = [step for step, told in steps.items() if before.get(name, {}).get(step) != told]
        if changed:
            print(f"{name}: {', '.join(changed)}")
    rows = ",\n".join(
        f" {json.dumps(name)}: {{\n"
        + ",\n".join(f"  {json.dumps(step)}: {json.dumps(told)}" for step, told in steps.items())
        + "}"
        for name, steps in now.items()
    )
    text = f'{{"machine": {json.dumps(platform.machine())}, "notes": {{\n{rows}\n}}}}\n'
    records.RECORDS.write_text(text, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
