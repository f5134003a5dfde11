"""Set the program up and make a first chart.

python3 scripts/start.py            charts a picture that comes along
python3 scripts/start.py PICTURE    charts yours

Needs nothing but Python 3.11 or newer; may be run again at any time.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path

from _setup import ROOT, SetupError, prepare

SAMPLE = ROOT / "fixtures" / "pictures" / "heron.png"


def main() -> int:
    parser = argparse.ArgumentParser(description="Set the program up and make a first chart.")
    parser.add_argument("picture", nargs="?", type=Path, default=SAMPLE, help="your picture; without it a sample")
    parser.add_argument("--wide", type=int, default=60, help="stitches across (60)")
    parser.add_argument("--out", type=Path, default=ROOT / "results", help="folder for the results (results)")
    chosen = parser.parse_args()
    picture = chosen.picture.absolute()
    try:
        python = prepare("heic", "page")
    except SetupError as error:
        print(f"start: {error}", file=sys.stderr)
        return 1
    out = chosen.out.absolute()
    command = [str(python), "-m", "converter", "chart", str(picture), "--wide", str(chosen.wide), "--out", str(out)]
    if picture == SAMPLE and out == ROOT / "results":
        # The sample's results may be made afresh; results of her own pictures are never replaced.
        command.append("--overwrite")
    done = subprocess.run(command, check=False)
    if done.returncode:
        return done.returncode
    print(f"\nThe results are in {out}")
    print("To work without commands, open the page in your browser:")
    print(f"  {python} -m converter page")
    return 0


if __name__ == "__main__":
    sys.exit(main())
