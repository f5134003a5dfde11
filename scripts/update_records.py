"""Note anew what steps of the product give for what the tests named ``*records.py`` make.

python scripts/update_records.py

Only after a change that is meant: the notes tell that something has changed, not whether it is right. What was made and
the steps that changed are told.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def main() -> int:
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
    from helpers.records import kept, write

    for path in sorted((ROOT / "tests").rglob("test_*records.py")):
        spec = importlib.util.spec_from_file_location(path.stem, path)
        assert spec is not None and spec.loader is not None
        records = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(records)
        before = kept(records.RECORDS) if records.RECORDS.exists() else {}
        now = {name: records.note(name) for name in records.cases()}
        for name, steps in now.items():
            changed = [step for step, told in steps.items() if before.get(name, {}).get(step) != told]
            if changed:
                print(f"{path.stem}, {name}: {', '.join(changed)}")
        write(records.RECORDS, now)
    return 0


if __name__ == "__main__":
    sys.exit(main())
